//go:build !race

package soak

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/site"
	"listbound/projections"
)

// kinds are the kinds of file in a data folder and in the folders of its witnesses, each with the files that are of it.
var kinds = []struct{ name, glob string }{
	{"stream block", "d/stream/jetstream/*/streams/*/msgs/*.blk"},
	{"stream index", "d/stream/jetstream/*/streams/*/msgs/*.db"},
	{"stream description", "d/stream/jetstream/*/streams/*/meta.*"},
	{"entry bundle", "d/log/tile/entries/*"},
	{"tree tile", "d/log/tile/[0-9]/*"},
	{"checkpoint", "d/log/checkpoint"},
	{"memory of the checkpoint", "d/newest.checkpoint"},
	{"copy of the heads", "d/newest.heads"},
	{"clean stop", "d/stream.clean"},
	{"ledger's key", "d/keys/north_ledger.key"},
	{"station's key", "d/keys/north_[a-km-z]*.key"},
	{"texts beside the records", "d/addenda"},
	{"log of a sterilizer's run", "d/runs/*"},
	{"picture of a page's marks", "d/pictures/*"},
	{"photograph of a line", "d/photographs/*"},
	{"read model", "d/readmodel.db*"},
	{"who witnesses", "d/witnesses.txt"},
	{"what a witness signed", "d/witnesses/*.checkpoint"},
	{"timestamp", "d/timestamps/*.tsr"},
	{"what was timestamped", "d/timestamps/*.checkpoint"},
	{"who timestamps", "d/timestamps/authority.txt"},
	{"certificates for timestamps", "d/timestamps/ca.pem"},
	{"a witness's memory", "[sw]*/*/checkpoint*"},
	{"a witness's key", "[sw]*/witness.key"},
}

// noKinds are files whose content nothing rests on: a lock, and what the test itself needs.
var noKinds = []string{"d/owner.lock", "d/as-of"}

// kindsAreAll holds that each file of a folder is of a kind, and each kind has a file.
func kindsAreAll(t *testing.T, dir string) {
	t.Helper()
	known := make(map[string]bool)
	for _, name := range noKinds {
		known[filepath.Join(dir, name)] = true
	}
	for _, k := range kinds {
		files, err := filepath.Glob(filepath.Join(dir, k.glob))
		if err != nil || len(files) == 0 {
			t.Errorf("no file is a %s: %v", k.name, err)
		}
		for _, f := range files {
			known[f] = true
		}
	}
	err := filepath.WalkDir(dir, func(path string, d os.DirEntry, err error) error {
		if err == nil && !d.IsDir() && !known[path] && !known[filepath.Dir(path)] {
			t.Errorf("%s is of no kind that is damaged here", path)
		}
		return err
	})
	if err != nil {
		t.Error(err)
	}
}

// folder is a whole folder, with what is known of it.
type folder struct {
	dir    string
	root   string
	size   int64
	broken []projections.Verdict
	here   []string // the stations that it signs for
	// remarks is how many things verify says of it that are no problem.
	remarks int
}

func options(dir string) site.Options {
	at := time.Date(2026, 3, 9, 12, 0, 0, 0, time.UTC) // asOf
	return site.Options{Dir: dir, Existing: true, Clock: func() time.Time { return at },
		Logger: slog.New(slog.NewTextHandler(io.Discard, nil))}
}

func whole(t *testing.T, dir string) *folder {
	t.Helper()
	return wholeWith(t, options(dir))
}

func wholeWith(t *testing.T, o site.Options) *folder {
	t.Helper()
	f := &folder{dir: o.Dir}
	s, err := site.Open(t.Context(), o)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	v, err := s.Verify(t.Context(), nil)
	if err != nil || !v.OK {
		t.Fatalf("verify: %+v, %v", v, err)
	}
	if f.broken, err = s.Broken(t.Context()); err != nil {
		t.Fatal(err)
	}
	f.size, f.root, f.remarks = v.Size, v.Root, len(v.Remarks)
	sts, err := s.Stations(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for _, st := range sts {
		if st.Here && st.Enrolled > 0 {
			f.here = append(f.here, st.Name)
		}
	}
	return f
}

// TestDamaged damages a folder in every way that a disk or a careless hand can, and
// asks whether anybody was told, or nothing that the folder says has changed.
func TestDamaged(t *testing.T) {
	lines := week(t, 1300) // so many that there is a copy of the heads, and a bundle that is full, in each folder
	old := newHouse(t, lines[:1010], "")
	now := old.copied(t, filepath.Join(t.TempDir(), "now"))
	now.goOn(t, lines[1010:])
	f := wholeWith(t, now.options())
	kindsAreAll(t, now.root)
	other := newHouse(t, lines[:1150], old.root)
	if len(f.broken) == 0 {
		t.Fatal("nothing is broken whose vanishing would show")
	}
	tb := &table{t: t, inMemory: true}
	for _, d := range []struct {
		name string
		do   func(s *soak, dir, file string) bool
	}{
		{"a bit flipped", flipped}, {"cut", cut}, {"removed", removed},
		{"put back from an old copy", from(old.root)}, {"another ledger's", from(other.root)}, {"two exchanged", exchanged},
	} {
		tb.atLeast(d.name, 4, 100, func(s *soak) { damage(s, now, f, d.do) })
	}
	tb.print()
}

func damage(s *soak, good *house, f *folder, do func(s *soak, dir, file string) bool) {
	dir := filepath.Join(s.TempDir(), "h")
	h := good.copied(s.T, dir)
	kind := kinds[s.rnd.IntN(len(kinds))]
	files, err := filepath.Glob(filepath.Join(dir, kind.glob))
	s.must(err)
	files = slices.DeleteFunc(files, func(path string) bool {
		st, err := os.Stat(path)
		return err != nil || st.IsDir()
	})
	if len(files) == 0 {
		s.Fatalf("there is no file of the kind %s", kind.name)
	}
	file := files[s.rnd.IntN(len(files))]
	if !do(s, dir, file) {
		s.tried--
		return
	}
	s.hit++
	rel, err := filepath.Rel(dir, file)
	s.must(err)
	what := fmt.Sprintf("%s (%s)", rel, kind.name)
	told, changed := s.held(f, h)
	switch {
	case told != "":
		s.noticed++
		const enough = 300
		s.Logf("%s: %.*s", what, enough, told)
	case changed == "":
		s.harmless++
	default:
		s.lose("%s: nobody was told, and %s", what, changed)
	}
}

// held opens a damaged folder and asks it. told is what it says is wrong, changed
// what it says otherwise than before.
func (s *soak) held(f *folder, h *house) (told, changed string) {
	s.Helper()
	o := h.options()
	var warnings strings.Builder
	o.Logger = slog.New(slog.NewTextHandler(&warnings, &slog.HandlerOptions{Level: slog.LevelWarn}))
	d, err := site.Open(s.Context(), o)
	if err != nil {
		return err.Error(), ""
	}
	defer func() {
		if err := d.Close(); err != nil && told == "" {
			told = err.Error()
		}
	}()
	if p := d.Damage(); len(p) > 0 {
		return fmt.Sprint(p), ""
	}
	v, err := d.Verify(s.Context(), nil)
	if err != nil {
		return err.Error(), ""
	}
	if !v.OK {
		return fmt.Sprint(v.Problems), ""
	}
	if len(v.Remarks) > f.remarks {
		return fmt.Sprint(v.Remarks), ""
	}
	broken, err := d.Broken(s.Context())
	switch {
	case err != nil:
		return err.Error(), ""
	case v.Size < f.size:
		return "", fmt.Sprintf("%d of %d records are gone", f.size-v.Size, f.size)
	case v.Root != f.root && v.Size == f.size:
		return "", "the root is another"
	case !reflect.DeepEqual(broken, f.broken):
		return "", "other sets are broken"
	}
	if err := recordEverywhere(s.Context(), d, f.here); err != nil {
		return err.Error(), ""
	}
	if v, err = d.Verify(s.Context(), nil); err != nil || !v.OK {
		return fmt.Sprint(v, err), ""
	}
	return h.allSee(s, d)
}

// recordEverywhere records a scan at every station.
func recordEverywhere(ctx context.Context, d *site.Site, stations []string) error {
	var lines strings.Builder
	for _, name := range stations {
		fmt.Fprintf(&lines, `{"station":%q,"kind":"set.checked","time":%q,"set":"LAP-001","data":{"place":"A1"}}`+"\n", name, asOf)
	}
	var refused []string
	err := d.Record(ctx, strings.NewReader(lines.String()), func(r site.Receipt) error {
		if r.Error != "" {
			refused = append(refused, r.Error)
		}
		return nil
	})
	if err == nil && len(refused) > 0 {
		err = fmt.Errorf("refused: %s", strings.Join(refused, "; "))
	}
	return err
}

func flipped(s *soak, _, file string) bool {
	raw, err := os.ReadFile(file)
	s.must(err)
	if len(raw) == 0 {
		return false
	}
	raw[s.rnd.IntN(len(raw))] ^= 1 << s.rnd.IntN(8)
	s.must(os.WriteFile(file, raw, 0o600))
	return true
}

func cut(s *soak, _, file string) bool {
	st, err := os.Stat(file)
	s.must(err)
	if st.Size() == 0 {
		return false
	}
	s.must(os.Truncate(file, s.rnd.Int64N(st.Size())))
	return true
}

func removed(s *soak, _, file string) bool {
	s.must(os.Remove(file))
	return true
}

// from puts back the file of the same name from another folder, where that is another file. What is named after a number
// of records has another name there.
func from(root string) func(s *soak, dir, file string) bool {
	return func(s *soak, dir, file string) bool {
		rel, err := filepath.Rel(dir, file)
		s.must(err)
		theirs := filepath.Join(root, rel)
		if _, err := os.Stat(theirs); err != nil {
			alike, err := filepath.Glob(filepath.Join(filepath.Dir(theirs), "*"+filepath.Ext(rel)))
			s.must(err)
			if filepath.Ext(rel) == "" || len(alike) == 0 {
				return false // it has none
			}
			theirs = alike[s.rnd.IntN(len(alike))]
		}
		raw, err := os.ReadFile(theirs)
		if err != nil {
			return false // it has none
		}
		own, err := os.ReadFile(file)
		s.must(err)
		if string(own) == string(raw) {
			return false
		}
		s.must(os.WriteFile(file, raw, 0o600))
		return true
	}
}

// exchanged exchanges a file with another one of its folder.
func exchanged(s *soak, _, file string) bool {
	all, err := os.ReadDir(filepath.Dir(file))
	s.must(err)
	var others []string
	for _, e := range all {
		if path := filepath.Join(filepath.Dir(file), e.Name()); path != file && !e.IsDir() {
			others = append(others, path)
		}
	}
	if len(others) == 0 {
		return false
	}
	with := others[s.rnd.IntN(len(others))]
	s.must(os.Rename(file, file+".x"))
	s.must(os.Rename(with, file))
	s.must(os.Rename(file+".x", with))
	return true
}
