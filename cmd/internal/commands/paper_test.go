package commands

import (
	"bytes"
	"context"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/site"
	"listbound/cmd/internal/sitetest"
	"listbound/events"
)

// sealedFolder is a data folder with a set that is closed, one that was counted to its end and one without a count sheet.
func sealedFolder(t *testing.T) (dir string, clock func() time.Time) {
	t.Helper()
	now := time.Date(2026, 3, 4, 20, 0, 0, 0, time.UTC)
	clock = func() time.Time { return now }
	s := sitetest.Open(t, site.Options{Dir: t.TempDir(), Name: "south", Clock: clock, EnrolOnSight: true})
	at := now.Add(-12 * time.Hour)
	record := func(kind events.Kind, set string, d events.Data) {
		t.Helper()
		at = at.Add(time.Minute)
		o := &events.Observation{Station: "south/packing-1", Kind: kind, Time: at, Set: set, Operator: "B-1", Data: d}
		if _, err := s.Observe(t.Context(), o); err != nil {
			t.Fatal(err)
		}
	}
	record(events.KindListIssued, "", &events.ListIssued{List: "HAND", Version: 1, Title: "Hand, minor",
		Lines: []events.Line{{Line: 1, Item: "A-1", Description: "Forceps, fine", Quantity: 2}}})
	record(events.KindListIssued, "", &events.ListIssued{List: "GOODS", Version: 1, Title: "Goods", Goods: true,
		Lines: []events.Line{{Line: 1, Item: "GZ-1", Description: "Gauze", Quantity: 10, Sort: events.Sponges}}})
	for _, set := range []string{"HAND-1", "HAND-2", "HAND-3", "HAND-4"} {
		record(events.KindSetPacked, set, &events.SetPacked{List: "HAND", Version: 1})
		if set != "HAND-3" {
			record(events.KindListSealed, set, &events.ListSealed{Placement: events.Outside})
		}
	}
	record(events.KindSetOpened, "HAND-2", &events.SetOpened{Case: "K-1"})
	record(events.KindCaseClosed, "", &events.CaseClosed{Case: "K-1", Outcome: "reconciled", Actions: []string{}})
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	return s.Dir(), clock
}

func paperRun(t *testing.T, clock func() time.Time, args ...string) (code int, out string) {
	t.Helper()
	var b bytes.Buffer
	code = Run(t.Context(), Env{Clock: clock, Out: &b, Err: &b}, args)
	return code, b.String()
}

// A file is read once a copier has finished it, and moved away; one that the server was away for stays.
func TestWatchedFolder(t *testing.T) {
	dir := t.TempDir()
	a := &app{env: Env{Out: new(bytes.Buffer), Err: new(bytes.Buffer)}}
	var read []string
	var fail error
	reader := func(_ context.Context, file []byte, tell func(pageSaid)) error {
		if fail == nil {
			read = append(read, string(file))
			switch text := string(file); text {
			case "bad":
				tell(pageSaid{Words: "not read"})
			case "half bad":
				tell(pageSaid{"read", true, true})
				tell(pageSaid{Words: "not read"})
			default:
				tell(pageSaid{"read, with a note", false, true})
			}
		}
		return fail
	}
	put := func(name, content string) {
		t.Helper()
		if err := os.WriteFile(filepath.Join(dir, name), []byte(content), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	seen := make(map[string]fs.FileInfo)
	look := func() error { return a.look(t.Context(), dir, seen, reader) }
	put("scan.pdf", "half")
	put(".hidden", "no")
	if err := look(); err != nil || len(read) != 0 {
		t.Fatalf("%v %v: a file was read at first sight", read, err)
	}
	put("scan.pdf", "halves")
	if err := look(); err != nil || len(read) != 0 {
		t.Fatalf("%v %v: a file that grows was read", read, err)
	}
	fail = errors.New("the server is away")
	if err := look(); err == nil {
		t.Fatal("that the server is away is not said")
	}
	fail = nil
	put("bad.pdf", "bad")
	put("half.pdf", "half bad")
	for range 2 {
		if err := look(); err != nil {
			t.Fatal(err)
		}
	}
	if !slices.Equal(read, []string{"halves", "bad", "half bad"}) {
		t.Errorf("read %q", read)
	}
	put("scan.pdf", "another of that name")
	for range 2 {
		if err := look(); err != nil {
			t.Fatal(err)
		}
	}
	for _, name := range []string{"read/scan.pdf", "read/scan-2.pdf", "not-read/bad.pdf", "partly-read/half.pdf", ".hidden"} {
		if _, err := os.Stat(filepath.Join(dir, name)); err != nil {
			t.Error(err)
		}
	}
}

// A file's name that a terminal would obey is printed quoted.
func TestNamesArePrintedPlain(t *testing.T) {
	for name, want := range map[string]string{
		"/srv/scans/scan 1.pdf":         "scan 1.pdf",
		"/srv/scans/Zählliste.pdf":      "Zählliste.pdf",
		"/srv/scans/\x1b]0;own\x07.pdf": `"\x1b]0;own\a.pdf"`,
		"/srv/scans/a\nb.pdf":           `"a\nb.pdf"`,
	} {
		if got := plainName(name); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}

// A file that can't be opened keeps the others from nothing: it stays, and that is said.
func TestWatchGoesOnPastABadFile(t *testing.T) {
	dir := t.TempDir()
	for _, name := range []string{"a.pdf", "b.pdf", "c.pdf"} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(name), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	var said bytes.Buffer
	a := &app{env: Env{Out: new(bytes.Buffer), Err: &said}}
	var read []string
	reader := func(_ context.Context, file []byte, tell func(pageSaid)) error {
		if string(file) == "b.pdf" { // as of a share whose file is locked; a mode keeps no superuser from it
			return &fs.PathError{Op: "read", Path: filepath.Join(dir, "b.pdf"), Err: fs.ErrPermission}
		}
		read = append(read, string(file))
		tell(pageSaid{"read", true, true})
		return nil
	}
	seen := make(map[string]fs.FileInfo)
	for range 2 {
		if err := a.look(t.Context(), dir, seen, reader); err != nil {
			t.Fatal(err)
		}
	}
	if !slices.Equal(read, []string{"a.pdf", "c.pdf"}) || !strings.Contains(said.String(), `"b.pdf" can't be read`) {
		t.Errorf("read %q, said %q", read, &said)
	}
}
