//go:build !race

package main

import (
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"testing"

	"listbound/cmd/internal/sitetest"
)

// folders holds data folders as earlier versions left them; its README.md says
// how they were made.
const folders = "../../testdata/folders"

// expected is the folder whose program gave the expected answers.
const expected = "44e5aec"

// TestFolderOfAnEarlierVersion opens folders that earlier versions left, each
// with the read model of its own: what is wrong in them is found as it was
// found then, finding by finding, and a rebuild changes nothing.
func TestFolderOfAnEarlierVersion(t *testing.T) {
	for _, commit := range []string{expected, "d1b1408"} {
		t.Run(commit, func(t *testing.T) {
			dir := sitetest.Unpack(t, filepath.Join(folders, commit+".tar.gz"))
			// Asked before anything else: the first to open the folder finds the old read model.
			asked := answers(t, dir)
			answer(t, dir, "rebuild")
			rebuilt := answers(t, dir)
			for name, got := range asked {
				if string(got) != string(rebuilt[name]) {
					t.Errorf("%s: a rebuild changes the answer from\n%s\nto\n%s", name, got, rebuilt[name])
				}
				raw, err := os.ReadFile(filepath.Join(folders, name))
				if err != nil {
					t.Fatal(err)
				}
				want := decoded(t, raw)
				if commit != expected {
					dropRecords(want) // its stations have keys of their own
				}
				if err := covers(want, decoded(t, got)); err != nil {
					t.Errorf("%s: the answer has changed: %v", name, err)
				}
			}
			checkVerified(t, dir)
		})
	}
}

// answers asks what the expected answers answer.
func answers(t *testing.T, dir string) map[string][]byte {
	t.Helper()
	return map[string][]byte{
		"broken.json":         answer(t, dir, "broken"),
		"history-K-0104.json": answer(t, dir, "history", "--case", "K-0104"),
		"history-K-0108.json": answer(t, dir, "history", "--case", "K-0108"),
	}
}

// dropRecords removes the signed records from a history.
func dropRecords(history any) {
	h, ok := history.(map[string]any)
	if !ok {
		return
	}
	if list, ok := h["events"].([]any); ok {
		for _, e := range list {
			if e, ok := e.(map[string]any); ok {
				delete(e, "record")
			}
		}
	}
}

// checkVerified holds that the folder's records are intact, the one of a kind
// that no version knows among them.
func checkVerified(t *testing.T, dir string) {
	t.Helper()
	const records = 109
	verified(t, dir, records)
}

// covers reports as an error where got lacks something that want has. Shapes
// may only be added to: members that want doesn't know are passed over, elements
// of an array are not.
func covers(want, got any) error {
	switch w := want.(type) {
	case map[string]any:
		g, ok := got.(map[string]any)
		if !ok {
			return fmt.Errorf("is %v, was an object", got)
		}
		for name, value := range w {
			have, ok := g[name]
			if !ok {
				return fmt.Errorf("%s is missing", name)
			}
			if err := covers(value, have); err != nil {
				return fmt.Errorf("%s: %w", name, err)
			}
		}
		return nil
	case []any:
		g, ok := got.([]any)
		if !ok || len(g) != len(w) {
			return fmt.Errorf("has %d elements, had %d", len(g), len(w))
		}
		for i, value := range w {
			if err := covers(value, g[i]); err != nil {
				return fmt.Errorf("element %d: %w", i, err)
			}
		}
		return nil
	}
	if !reflect.DeepEqual(want, got) {
		return fmt.Errorf("is\n%v\nand was\n%v", got, want)
	}
	return nil
}

func TestCovers(t *testing.T) {
	for _, tt := range []struct {
		want, got string
		ok        bool
	}{
		{`{"a":1}`, `{"a":1,"b":2}`, true},
		{`[{"a":1}]`, `[{"a":1,"b":2}]`, true},
		{`{"a":1}`, `{"b":1}`, false},
		{`{"a":1}`, `{"a":2}`, false},
		{`{"a":1}`, `[]`, false},
		{`[1]`, `[1,2]`, false},
		{`[1,2]`, `[2,1]`, false},
		{`{"a":null}`, `{}`, false},
	} {
		if err := covers(decoded(t, []byte(tt.want)), decoded(t, []byte(tt.got))); (err == nil) != tt.ok {
			t.Errorf("%s against %s: %v", tt.want, tt.got, err)
		}
	}
}
