package site_test

import (
	"bytes"
	"net/url"
	"os"
	"path/filepath"
	"testing"
	"time"

	"listbound/cmd/internal/site"
	"listbound/events"

	"github.com/go-json-experiment/json"
)

const ledgerKey = "keys/north_ledger.key"

// inFolder opens a folder, has something done, and closes it.
func inFolder(t *testing.T, o site.Options, do func(s *site.Site)) {
	t.Helper()
	s, err := site.Open(t.Context(), o)
	if err != nil {
		t.Fatal(err)
	}
	do(s)
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
}

func put(t *testing.T, dir, name string, data []byte) {
	t.Helper()
	path := filepath.Join(dir, filepath.FromSlash(name))
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		t.Fatal(err)
	}
	writeFile(t, path, data)
}

func get(t *testing.T, dir, name string) []byte {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(dir, filepath.FromSlash(name)))
	if err != nil {
		t.Fatal(err)
	}
	return data
}

func mustBeIntact(t *testing.T, when string, s *site.Site) {
	t.Helper()
	v, err := s.Verify(t.Context(), nil)
	if err != nil || !v.OK {
		t.Errorf("%s: %v %+v", when, err, v)
	}
}

func caseEvidence(t *testing.T, s *site.Site, q site.Query) []byte {
	t.Helper()
	var out bytes.Buffer
	if err := s.Evidence(t.Context(), q, &out); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

func writeFile(t *testing.T, path string, data []byte) {
	t.Helper()
	if err := os.WriteFile(path, data, 0o600); err != nil {
		t.Fatal(err)
	}
}

// told is a folder in which a case was told of with names, and all files that a server keeps of it.
func told(t *testing.T, o site.Options) (*site.Site, []site.Receipt) {
	t.Helper()
	s := open(t, o.Dir, o)
	obs := closing(noon.Add(-2 * time.Hour))
	obs = append(obs, &events.Observation{Station: "north/or-3", Kind: events.KindSetOpened, Time: noon.Add(-time.Hour), Set: "LAP-022",
		Data: &events.SetOpened{Case: "K-2"}})
	rs, err := s.Observe(t.Context(), obs...)
	if err != nil {
		t.Fatal(err)
	}
	// A correction that says all of it once more.
	raw, err := json.Marshal(obs[1].Data)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.Observe(t.Context(), &events.Observation{Station: "north/or-3", Kind: events.KindEventCorrected,
		Time: noon.Add(-time.Minute), Operator: "B-3310",
		Data: &events.EventCorrected{Event: rs[1].ID, Action: "replace", Reason: saidReason, Data: raw}}); err != nil {
		t.Fatal(err)
	}
	files := map[string]string{
		"drafts/count-1.json":       `{"case":"` + saidCase + `"}`,
		"drafts/count-2.json":       `{"case":"K-2"}`,
		"door/reads-2026-03.jsonl":  "{\"ask\":\"case=" + saidCase + "\"}\n{\"ask\":\"reason=" + url.QueryEscape(saidReason) + "\"}\n",
		"drafts/spoken-or-3-1.json": string(raw),
	}
	for name, text := range files {
		path := filepath.Join(o.Dir, filepath.FromSlash(name))
		if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return s, rs
}

func nowhere(t *testing.T, dir string, texts ...string) {
	t.Helper()
	for _, text := range texts {
		for _, form := range []string{text, url.QueryEscape(text)} {
			if found := holding(t, dir, form); len(found) > 0 {
				t.Errorf("%q is still in %v", form, found)
			}
		}
	}
}

// TestFoldersOfAnyName: what a person calls a folder is a pattern to nobody, and the start of another name to nobody.
func TestFoldersOfAnyName(t *testing.T) {
	root := t.TempDir()
	keys := make(map[string]bool)
	for _, name := range []string{"a", "a?", "a#1", "a#2", "[a]", "*"} {
		o := site.Options{Dir: filepath.Join(root, name), Name: "north", EnrolOnSight: true, Clock: fixed(noon)}
		var key string
		inFolder(t, o, func(s *site.Site) {
			key = s.Key()
			record(t, s, `{"station":"north/packing-1","kind":"set.packed","time":"2026-03-02T06:10:00Z","set":"LAP-001","data":{"list":"LAP","version":1}}`)
		})
		o.Name = ""
		inFolder(t, o, func(s *site.Site) {
			if s.Key() != key || keys[key] {
				t.Errorf("%s: opened again with the key %s, not %s", name, s.Key(), key)
			}
			mustBeIntact(t, name, s)
		})
		keys[key] = true
	}
}
