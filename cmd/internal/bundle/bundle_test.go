//go:build !race

package bundle_test

import (
	"bytes"
	"encoding/base64"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"golang.org/x/mod/sumdb/note"

	"listbound/cmd/internal/bundle"
	"listbound/cmd/internal/site"
	"listbound/cmd/internal/sitetest"
	"listbound/events"
	"listbound/ledger"
	"listbound/ledger/proof"
)

const observations = `{"station":"north/packing-1","kind":"list.issued","time":"2026-03-02T05:00:00Z","data":{"list":"LAP","version":1,"title":"Laparotomy","lines":[{"line":1,"item":"FCP-125","description":"Forceps","quantity":6}]}}
{"station":"north/packing-1","kind":"set.packed","time":"2026-03-02T06:10:00Z","set":"LAP-001","data":{"list":"LAP","version":1}}
{"station":"north/packing-1","kind":"list.sealed","time":"2026-03-02T06:14:00Z","set":"LAP-001","data":{"placement":"outside"}}
`

// evidence returns the files of a bundle that answers a question, and the ledger's own key: what an operator
// has who wants to cheat.
func evidence(t *testing.T, q site.Query) (files []proof.File, signer note.Signer, key string) {
	t.Helper()
	dir := t.TempDir()
	at := time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)
	s := sitetest.Open(t, site.Options{Dir: dir, Name: "north", Clock: func() time.Time { return at }, EnrolOnSight: true})
	if err := s.Record(t.Context(), strings.NewReader(observations), func(site.Receipt) error { return nil }); err != nil {
		t.Fatal(err)
	}
	var raw bytes.Buffer
	if err := s.Evidence(t.Context(), q, &raw); err != nil {
		t.Fatal(err)
	}
	signer, verifier, _, err := ledger.LoadOrCreateKey(filepath.Join(dir, "keys", "north_ledger.key"), "north/ledger")
	if err != nil {
		t.Fatal(err)
	}
	b, problems := proof.ReadBundle(raw.Bytes(), verifier)
	if len(problems) > 0 {
		t.Fatal(problems)
	}
	return b.Files, signer, s.Key()
}

// TestOperatorCheats: a bundle whose manifest the ledger's own key has signed
// afresh over changed files. Only the tree and the stations' keys stand in the way.
func TestOperatorCheats(t *testing.T) {
	files, signer, key := evidence(t, site.Query{Set: "LAP-001"})
	find := func(path string) int {
		for i, f := range files {
			if f.Path == path {
				return i
			}
		}
		t.Fatalf("the bundle has no %s", path)
		return 0
	}
	const packed = "records/000000003.note"
	for name, c := range map[string]struct {
		change func([]proof.File) []proof.File
		says   string
	}{
		"nothing changed": {func(fs []proof.File) []proof.File { return fs }, ""},
		"another set in a record": {func(fs []proof.File) []proof.File {
			i := find(packed)
			fs[i].Data = bytes.ReplaceAll(fs[i].Data, []byte("LAP-001"), []byte("LAP-002"))
			return fs
		}, packed},
		"a later arrival": {func(fs []proof.File) []proof.File {
			i := find(packed)
			n, at, remark, err := proof.SplitArrival("north/ledger", fs[i].Data)
			if err != nil {
				t.Fatal(err)
			}
			fs[i].Data = proof.AddArrival("north/ledger", n, at.Add(time.Hour), remark)
			return fs
		}, packed},
		"two records change places": {func(fs []proof.File) []proof.File {
			i, j := find(packed), find("records/000000004.note")
			fs[i].Data, fs[j].Data = fs[j].Data, fs[i].Data
			return fs
		}, packed},
		"a proof is gone": {func(fs []proof.File) []proof.File {
			i := find("proofs/000000003.tlog-proof")
			return append(fs[:i:i], fs[i+1:]...)
		}, "it has no proof"},
		"a proof for another record": {func(fs []proof.File) []proof.File {
			fs[find("proofs/000000003.tlog-proof")].Data = fs[find("proofs/000000004.tlog-proof")].Data
			return fs
		}, "its proof is for record 4"},
		"the enrolment is left out": {func(fs []proof.File) []proof.File {
			var out []proof.File
			for _, f := range fs {
				if !strings.Contains(f.Path, "000000001") {
					out = append(out, f)
				}
			}
			return out
		}, "north/packing-1 is not enrolled"},
		"no records": {func(fs []proof.File) []proof.File {
			var out []proof.File
			for _, f := range fs {
				if !strings.Contains(f.Path, "/") {
					out = append(out, f)
				}
			}
			return out
		}, "holds no record"},
		"a log of a run that no record names": {func(fs []proof.File) []proof.File {
			return append(fs, proof.File{Path: "runs/" + strings.Repeat("0", 64), Data: []byte("Time,T1\n0,20\n")})
		}, "no record here names it"},
		"a log of a run under another's digest": {func(fs []proof.File) []proof.File {
			return append(fs, proof.File{Path: "runs/" + strings.Repeat("0", 64), Data: []byte("Time,T1\n0,20\n")})
		}, "it is another log than its name says"},
		"a file beside the logs": {func(fs []proof.File) []proof.File {
			return append(fs, proof.File{Path: "runs/log.csv", Data: []byte("Time,T1\n0,20\n")})
		}, "no bundle has a file of this name"},
		"a checkpoint of another size": {func(fs []proof.File) []proof.File {
			i := find("checkpoint")
			cp, err := proof.OpenCheckpoint(fs[i].Data, "north/ledger", mustVerifier(t, key))
			if err != nil {
				t.Fatal(err)
			}
			cp.Size++
			if fs[i].Data, err = proof.SignCheckpoint(cp, signer); err != nil {
				t.Fatal(err)
			}
			return fs
		}, "another checkpoint"},
	} {
		copied := make([]proof.File, len(files))
		copy(copied, files)
		var raw bytes.Buffer
		if err := proof.WriteBundle(&raw, c.change(copied), signer); err != nil {
			t.Fatal(err)
		}
		r := bundle.Check(raw.Bytes(), key)
		var said []string
		for _, p := range r.Problems {
			said = append(said, p.String())
		}
		if r.OK != (c.says == "") || !strings.Contains(strings.Join(said, "\n"), c.says) {
			t.Errorf("%s: ok %v, %q; should say %q", name, r.OK, said, c.says)
		}
	}
}

// TestKeeperForges: who keeps the ledger writes a station's record himself, in a tree and under a checkpoint that fit it, and
// his history tells it. All that he lacks is the station's key.
func TestKeeperForges(t *testing.T) {
	honest, signer, key := evidence(t, site.Query{All: true})
	made := func(files []proof.File) []byte {
		var b bytes.Buffer
		if err := proof.WriteBundle(&b, files, signer); err != nil {
			t.Fatal(err)
		}
		return b.Bytes()
	}
	// written returns the bundle with a record of his, and all that follows from it made anew.
	written := func(path string, data []byte) []byte {
		files, tree := slices.Clone(honest), &proof.Tree{}
		for i, f := range files {
			if f.Path == path {
				files[i].Data = data
			}
			if strings.HasPrefix(f.Path, "records/") {
				tree.Append(proof.LeafHash(files[i].Data), nil)
			}
		}
		at := slices.IndexFunc(files, func(f proof.File) bool { return f.Path == "checkpoint" })
		cp, err := proof.OpenCheckpoint(files[at].Data, "north/ledger", mustVerifier(t, key))
		if err != nil {
			t.Fatal(err)
		}
		cp.Root = tree.Root()
		if files[at].Data, err = proof.SignCheckpoint(cp, signer); err != nil {
			t.Fatal(err)
		}
		return made(retold(files, bundle.Check(made(files), key)))
	}
	// lied says something else with the same signature; signed says the same with the signature of another.
	lied := func(old, new string) func(string) string {
		return func(record string) string { return strings.Replace(record, old, new, 1) }
	}
	signed := func(by string) func(string) string {
		return func(record string) string {
			before, rest, _ := strings.Cut(record, "\n— "+by+" ")
			sig, after, _ := strings.Cut(rest, "\n")
			raw, err := base64.StdEncoding.DecodeString(sig)
			if err != nil {
				t.Fatal(err)
			}
			raw[len(raw)-40] ^= 1
			return before + "\n— " + by + " " + base64.StdEncoding.EncodeToString(raw) + "\n" + after
		}
	}
	// Where he says that he noticed it himself nothing is wrong with the bundle, and a reader is told.
	noticed := func(record string) string {
		before, line, _ := strings.Cut(signed("north/packing-1")(record), "\n— north/ledger ")
		raw, err := base64.StdEncoding.DecodeString(strings.TrimSuffix(line, "\n"))
		if err != nil {
			t.Fatal(err)
		}
		raw[14] = byte(events.RemarkSignature) // behind the mark, the time and two zeros
		return before + "\n— north/ledger " + base64.StdEncoding.EncodeToString(raw) + "\n"
	}
	const enrolled, issued, sealed = "records/000000001.note", "records/000000002.note", "records/000000004.note"
	for what, c := range map[string]struct {
		path, says string
		change     func(record string) string
	}{
		"nothing":                    {sealed, "", lied("", "")},
		"where the list was":         {sealed, "not signed by the key of north/packing-1", lied(`"outside"`, `"inside-bag"`)},
		"who sealed it":              {sealed, "not signed by the key of north/packing-1", signed("north/packing-1")},
		"what is on the list":        {issued, "not signed by the key of north/packing-1", lied(`"Forceps"`, `"Scissors"`)},
		"who may record, by himself": {enrolled, "signed by another key than the ledger's", signed("north/ledger")},
	} {
		data := file(t, honest, c.path)
		forged := c.change(string(data))
		if (forged == string(data)) != (c.says == "") {
			t.Fatalf("%s: nothing was forged in %s", what, data)
		}
		r := bundle.Check(written(c.path, []byte(forged)), key)
		if r.OK != (c.says == "") || !r.OK && !strings.HasPrefix(r.Problems[0].String(), c.path+": "+c.says) {
			t.Errorf("%s: ok %v, %v; should say %q", what, r.OK, r.Problems, c.says)
		}
	}
	r := bundle.Check(written(sealed, []byte(noticed(string(file(t, honest, sealed))))), key)
	if said := strings.Join(r.Remarks, "\n"); said != "record 4: the signature did not verify when the record came" {
		t.Errorf("noticed by the keeper: %v, %q", r.Problems, said)
	}
}

func mustVerifier(t *testing.T, key string) note.Verifier {
	t.Helper()
	v, err := note.NewVerifier(key)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// TestOtherKey: a bundle that is whole, but another ledger's.
func TestOtherKey(t *testing.T) {
	files, signer, key := evidence(t, site.Query{Set: "LAP-001"})
	_, _, other := evidence(t, site.Query{Set: "LAP-001"})
	var raw bytes.Buffer
	if err := proof.WriteBundle(&raw, files, signer); err != nil {
		t.Fatal(err)
	}
	if r := bundle.Check(raw.Bytes(), key); !r.OK {
		t.Fatalf("its own key: %+v", r.Problems)
	}
	if r := bundle.Check(raw.Bytes(), other); r.OK {
		t.Error("another ledger's key was satisfied")
	}
}
