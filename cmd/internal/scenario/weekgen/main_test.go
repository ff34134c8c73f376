package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestCommitted: the files in the tree are what the plan makes, byte for byte,
// twice over.
func TestCommitted(t *testing.T) {
	const dir = "../week"
	files, err := generate()
	if err != nil {
		t.Fatal(err)
	}
	again, err := generate()
	if err != nil {
		t.Fatal(err)
	}
	if len(files) < 7 {
		t.Fatalf("%d files, want scenario.json, the start and five days", len(files))
	}
	for i, f := range files {
		if !bytes.Equal(f.data, again[i].data) {
			t.Errorf("%s: two runs made two files", f.name)
		}
		have, err := os.ReadFile(filepath.Join(dir, f.name))
		if err != nil {
			t.Error(err)
		} else if !bytes.Equal(have, f.data) {
			t.Errorf("%s is not what the plan makes: run go generate ./cmd/internal/scenario", f.name)
		}
	}
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	if len(entries) != len(files) {
		t.Errorf("%d files in %s, the plan makes %d", len(entries), dir, len(files))
	}
}

// TestCatalogue: one description an item, one item a description, and no item
// that no list has.
func TestCatalogue(t *testing.T) {
	items, err := readCatalogue()
	if err != nil {
		t.Fatal(err)
	}
	used := make(map[string]bool)
	for _, k := range kinds {
		lines, err := readLines(items, k.lines)
		if err != nil {
			t.Fatalf("%s: %v", k.list, err)
		}
		for _, l := range lines {
			used[l.Item] = true
		}
	}
	more, err := readLines(items, revision.added)
	if err != nil {
		t.Fatal(err)
	}
	used[more[0].Item] = true
	names := make(map[string]string)
	for _, i := range items {
		if strings.Contains(i.description, "%") {
			t.Errorf("%s reads %q", i.id, i.description)
		}
		if other, ok := names[i.description]; ok {
			t.Errorf("%s and %s are both %q", i.id, other, i.description)
		}
		names[i.description] = i.id
		if !used[i.id] {
			t.Errorf("%s stands in no list", i.id)
		}
	}
	if len(items) < 300 {
		t.Errorf("%d items, want at least 300", len(items))
	}
}

func TestReadLinesRefusals(t *testing.T) {
	items := []item{{"FCP-125", "Forceps, mosquito, curved, 12.5 cm"}}
	for _, c := range []struct{ text, want string }{
		{"FCP-125", "is not ITEM*quantity"},
		{"FCP-125*x", "is not ITEM*quantity"},
		{"FCP-126*1", "is not in the catalogue"},
		{"SCS-~*1", "is not in the catalogue"},
	} {
		if _, err := readLines(items, c.text); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%q: error %v, want %q in it", c.text, err, c.want)
		}
	}
}

// TestPlanStands: a change of the plan that can't be carried out is refused.
func TestPlanStands(t *testing.T) {
	w := &week{byID: make(map[string]*set)}
	if err := w.makeKinds(); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"LAP-001@K-9999", "XXX-001@K-0401", "LAP-001"} {
		if _, err := w.find(name); err == nil {
			t.Errorf("%s was found", name)
		}
	}
	if len(planned) < 30 {
		t.Errorf("%d trips are planned to go wrong", len(planned))
	}
}

func TestDemoKeys(t *testing.T) {
	own, verifier, err := demoKey("north/or-5", "own")
	if err != nil {
		t.Fatal(err)
	}
	other, otherVerifier, err := demoKey("north/or-5", "somebody else's")
	if err != nil {
		t.Fatal(err)
	}
	if own.Name() != "north/or-5" || other.Name() != own.Name() || verifier == otherVerifier {
		t.Errorf("keys %s and %s", verifier, otherVerifier)
	}
	if _, again, err := demoKey("north/or-5", "own"); err != nil || again != verifier {
		t.Errorf("the second time the key is %s, error %v", again, err)
	}
}
