//go:build !race

package bundle_test

import (
	"bytes"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"golang.org/x/mod/sumdb/note"

	"listbound/cmd/internal/bundle"
	"listbound/cmd/internal/scenario"
	"listbound/cmd/internal/site"
	"listbound/cmd/internal/sitetest"
	"listbound/events"
	"listbound/ledger"
	"listbound/ledger/proof"
)

// week is the ledger of the invented week, and its keys.
type week struct {
	dir    string
	s      *site.Site
	signer note.Signer
	v      note.Verifier
	check  func(raw []byte, key string) bundle.Report // remembers: the same 180 records are in some 400 bundles
}

// The week's first lines come a day before the others.
const firstLines = 770

// mapping is the line of covers that names the record by which newest records are proved.
var mapping = regexp.MustCompile(`(?m)^map \d+$`)

var firstCame = time.Date(2026, 3, 5, 18, 10, 0, 0, time.UTC)

// recordWeek records the week in two goes. Its keys are those of another
// folder, "" for new ones, and something in it may be changed.
func recordWeek(t *testing.T, keys string, change func(string) string) *week {
	t.Helper()
	w, err := scenario.Load()
	if err != nil {
		t.Fatal(err)
	}
	var lines strings.Builder
	for l, err := range w.Lines() {
		if err != nil {
			t.Fatal(err)
		}
		lines.Write(l.Raw)
		lines.WriteByte('\n')
	}
	dir := t.TempDir()
	if keys != "" {
		sitetest.CopyKeys(t, keys, dir)
	}
	now := firstCame
	s := sitetest.Open(t, site.Options{Dir: dir, Name: "north", Clock: func() time.Time { return now }, EnrolOnSight: true})
	text := change(lines.String())
	at := len(text)
	for range strings.Count(text, "\n") - firstLines {
		at = strings.LastIndexByte(text[:at-1], '\n') + 1
	}
	for _, part := range []string{text[:at], text[at:]} {
		if err := s.Record(t.Context(), strings.NewReader(part), func(r site.Receipt) error {
			if r.Error != "" {
				t.Errorf("line %d: %s", r.Line, r.Error)
			}
			return nil
		}); err != nil {
			t.Fatal(err)
		}
		now = time.Date(2026, 3, 6, 18, 10, 0, 0, time.UTC)
	}
	signer, v, _, err := ledger.LoadOrCreateKey(filepath.Join(dir, "keys", "north_ledger.key"), "north/ledger")
	if err != nil {
		t.Fatal(err)
	}
	return &week{dir, s, signer, v, remembering()}
}

// evidence returns the files of a bundle that holds.
func (w *week) evidence(t *testing.T, q site.Query) []proof.File {
	t.Helper()
	var raw bytes.Buffer
	if err := w.s.Evidence(t.Context(), q, &raw); err != nil {
		t.Fatal(err)
	}
	r := w.check(raw.Bytes(), w.s.Key())
	if !r.OK || r.Coverage == nil || !r.Coverage.Proven || len(r.Coverage.Beyond) > 0 {
		t.Fatalf("%+v: the bundle as made: %v %+v %v", q, r.Problems, r.Coverage, r.Remarks)
	}
	if len(r.Remarks) > 0 && strings.Contains(strings.Join(r.Remarks, " "), "made by another program") {
		t.Errorf("%+v: %v", q, r.Remarks)
	}
	b, _ := proof.ReadBundle(raw.Bytes(), w.v)
	return b.Files
}

// remake makes a bundle of files with all keys in hand.
func (w *week) remake(t *testing.T, files []proof.File) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := proof.WriteBundle(&b, files, w.signer); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// retold replaces the history of files by what the checker makes of their records, as a careful liar would.
func retold(files []proof.File, r bundle.Report) []proof.File {
	out := slices.Clone(files)
	for i, f := range out {
		if f.Path == "history.txt" {
			out[i].Data = []byte(r.History)
		}
	}
	return out
}

// tells reports whether the history of files is what the checker makes of their records already, or is not there.
func tells(files []proof.File, r bundle.Report) bool {
	return !slices.ContainsFunc(files, func(f proof.File) bool { return f.Path == "history.txt" && string(f.Data) != r.History })
}

func without(files []proof.File, paths ...string) []proof.File {
	return slices.DeleteFunc(slices.Clone(files), func(f proof.File) bool { return slices.Contains(paths, f.Path) })
}

// said is all problems of a bundle in one text.
func said(r bundle.Report) string {
	var out []string
	for _, p := range r.Problems {
		out = append(out, p.String())
	}
	return strings.Join(out, "\n")
}

// stranger unpacks files and runs what README.txt tells a stranger to run, and returns what that prints.
func stranger(t *testing.T, files []proof.File) string {
	t.Helper()
	dir := t.TempDir()
	var readme string
	for _, f := range files {
		path := filepath.Join(dir, filepath.FromSlash(f.Path))
		if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, f.Data, 0o600); err != nil {
			t.Fatal(err)
		}
		if f.Path == "README.txt" {
			readme = string(f.Data)
		}
	}
	for name, begins := range map[string]string{
		"check.py": "    import base64, glob, hashlib\n", "complete.py": "    import base64, calendar, glob, json, time\n",
	} {
		_, rest, ok := strings.Cut(readme, begins)
		if !ok {
			t.Fatalf("README.txt has no script that begins with %q", begins)
		}
		script := strings.TrimPrefix(begins, "    ")
		for line := range strings.Lines(rest) {
			code, ok := strings.CutPrefix(line, "    ")
			if !ok {
				break
			}
			script += code
		}
		if err := os.WriteFile(filepath.Join(dir, name), []byte(script), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	cmd := exec.CommandContext(t.Context(), "python3", "complete.py")
	cmd.Dir = dir
	out, err := cmd.CombinedOutput()
	if err != nil {
		return fmt.Sprintf("%s\n%v", out, err)
	}
	return string(out)
}

// TestWeek holds what a bundle of the invented week shows.
func TestWeek(t *testing.T) {
	w := recordWeek(t, "", func(lines string) string { return lines })
	t.Run("whole", w.questions)
	files := w.evidence(t, site.Query{Case: "K-0409"})
	t.Run("left out", func(t *testing.T) { w.leftOut(t, files) })
	t.Run("as known earlier", w.asKnownEarlier)
	t.Run("tampered", func(t *testing.T) { w.tampered(t, files) })
	t.Run("written anew", func(t *testing.T) { w.writtenAnew(t, files) })
}

// writtenAnew: with all keys in hand the week is written anew, the case that was closed with a piece missing as reconciled.
// The bundle alone is as good as the honest one; beside what the ledger gave out before, a bundle or a printed sheet, it
// is not.
func (w *week) writtenAnew(t *testing.T, files []proof.File) {
	line, err := w.s.CheckLine(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	anew := recordWeek(t, w.dir, func(lines string) string {
		return strings.ReplaceAll(lines, `"case":"K-0409","outcome":"unreconciled"`, `"case":"K-0409","outcome":"reconciled"`)
	})
	other := anew.evidence(t, site.Query{Case: "K-0409"}) // which holds
	c, err := bundle.Compare(w.remake(t, files), w.remake(t, other), w.s.Key())
	if err != nil || !c.Known || c.Same || c.Earlier != c.Later {
		t.Errorf("beside the bundle from before: %+v, %v", c, err)
	}
	for _, given := range []string{line.String(), line.String()[:25]} {
		read, err := events.ParseCheckLine(given)
		if err != nil {
			t.Fatal(err)
		}
		then, err := anew.s.RootAt(t.Context(), read.Size)
		if err != nil {
			t.Fatal(err)
		}
		same, err := w.s.RootAt(t.Context(), read.Size)
		if err != nil || read.Agrees(then) || !read.Agrees(same) {
			t.Errorf("the line %s agrees with the ledger that was written anew: %v, with the honest one: %v, %v",
				given, read.Agrees(then), read.Agrees(same), err)
		}
	}
}

// questions: the evidence of each sort of question holds, tells what the checker makes of it, and is complete.
func (w *week) questions(t *testing.T) {
	for _, q := range []site.Query{
		{Set: "LAP-004"}, {Load: "S4-0304-02"}, {Case: "K-0431"}, {Set: "MIN-005"}, {All: true},
		{Case: "K-0409", AsOf: time.Date(2026, 3, 6, 18, 10, 0, 0, time.UTC)},
	} {
		w.evidence(t, q)
	}
	for _, q := range []site.Query{{All: true, Case: "K-0409"}, {All: true, AsOf: time.Date(2026, 3, 6, 18, 10, 0, 0, time.UTC)}} {
		if err := w.s.Evidence(t.Context(), q, io.Discard); err == nil {
			t.Errorf("%+v is answered", q)
		}
	}
}

// leftOut: take any one record out of the evidence of a case, remake the rest with all keys, history included: the
// checker names the gap, and so does a stranger with the scripts of README.txt.
func (w *week) leftOut(t *testing.T, files []proof.File) {
	if out := stranger(t, files); !strings.Contains(out, "records proved\nnot covered: nothing\n") || strings.Contains(out, "MISSING") {
		t.Fatalf("of the whole bundle a stranger is told %s", out)
	}
	tried, strange := 0, 0
	for _, f := range files {
		name, ok := strings.CutPrefix(f.Path, "records/")
		if !ok {
			continue
		}
		number := strings.TrimSuffix(name, ".note")
		cut := without(files, f.Path, "proofs/"+number+".tlog-proof")
		r := w.check(w.remake(t, cut), w.s.Key())
		if tried%20 == 0 { // a check takes long where others work as well
			r = w.check(w.remake(t, retold(cut, r)), w.s.Key())
		}
		want := "record " + strings.TrimLeft(number, "0")
		mapped := bytes.Contains(f.Data, []byte("listbound.records.mapped.v1"))
		if text := said(r); r.Whole || !strings.Contains(text, "MISSING") && !mapped || !strings.Contains(text, want) {
			t.Errorf("without %s the checker says %q", want, text)
		}
		// A python is slow to start: it tries some of the case's own records, and some others.
		tried++
		if own := bytes.Contains(f.Data, []byte(`"case":"K-0409"`)); !mapped && tried%40 != 0 && (!own || tried%4 != 0) {
			continue
		}
		strange++
		if out := stranger(t, cut); !strings.Contains(out, "MISSING: "+want+" ") && !mapped || mapped &&
			!strings.Contains(out, "KeyError") {
			t.Errorf("without %s a stranger is told %q", want, out)
		}
	}
	t.Logf("%d records left out, each named by the checker; %d tried by a stranger's script", tried, strange)
	if tried < 100 || strange < 5 {
		t.Error("that is too few")
	}
}

// asKnownEarlier: of evidence as known at an earlier moment any one record is left out, and the end of each chain with what
// came next: the checker names what is missing, and a stranger is told of it. So it is of a moment that is said to
// have been earlier in the ledger than it was.
func (w *week) asKnownEarlier(t *testing.T) {
	files := w.evidence(t, site.Query{Case: "K-0409", AsOf: firstCame.Add(time.Hour)})
	if out := stranger(t, files); !strings.Contains(out, "records proved\nnot covered: nothing\n") || strings.Contains(out, "MISSING") {
		t.Fatalf("of the whole bundle a stranger is told %s", out)
	}
	var upto int64
	var numbers []int64
	for _, f := range files {
		if name, ok := strings.CutPrefix(f.Path, "records/"); ok {
			n, err := strconv.ParseInt(strings.TrimSuffix(name, ".note"), 10, 64)
			if err != nil {
				t.Fatal(err)
			}
			numbers = append(numbers, n)
		}
		if _, rest, ok := strings.Cut(string(f.Data), "\nupto "); ok && f.Path == "covers" {
			if _, err := fmt.Sscan(rest, &upto); err != nil {
				t.Fatal(err)
			}
		}
	}
	paths := func(n int64) []string {
		return []string{fmt.Sprintf("records/%09d.note", n), fmt.Sprintf("proofs/%09d.tlog-proof", n)}
	}
	later, before := 0, int64(0)
	for i, n := range numbers {
		cut := without(files, paths(n)...)
		r := w.check(w.remake(t, cut), w.s.Key())
		text := said(r)
		if n <= upto {
			before = n
			if !strings.Contains(text, "MISSING: record "+fmt.Sprint(n)) && !strings.Contains(text, "MISSING: numbers") || r.Whole {
				t.Errorf("without record %d the checker says %q", n, text)
			}
			continue
		}
		later++
		if r.Whole || r.Coverage != nil && r.Coverage.Proven {
			t.Errorf("without record %d, which came later, the checker says %q", n, text)
		}
		if i%3 == 0 {
			if out := stranger(t, cut); !strings.Contains(out, "MISSING") && !strings.Contains(out, "KeyError") {
				t.Errorf("without record %d, which came later, a stranger is told %q", n, out)
			}
		}
	}
	if later < 5 || before == 0 {
		t.Errorf("%d records show what came later", later)
	}
	// All that shows the end of the newest chains is taken away, and what they ended with.
	cut := files
	for _, n := range numbers {
		if n >= before && !bytes.Contains(file(t, files, paths(n)[0]), []byte("listbound.records.mapped.v1")) {
			cut = without(cut, paths(n)...)
		}
	}
	cut = retold(cut, w.check(w.remake(t, cut), w.s.Key()))
	if r := w.check(w.remake(t, cut), w.s.Key()); r.Whole || !strings.Contains(said(r), "which came after the moment") {
		t.Errorf("without the end of its chains: %q", said(r))
	}
	// And it is said that an earlier program made it, which put nothing there.
	cut = retold(edited(cut, "covers", "\njudgement ", "\njudgement 00"), bundle.Report{})
	if r := w.check(w.remake(t, cut), w.s.Key()); r.Coverage == nil || r.Coverage.Proven || len(r.Coverage.Open) == 0 {
		t.Errorf("by an earlier program: %+v", r.Coverage)
	}
	moved := edited(files, "covers", fmt.Sprintf("\nupto %d\n", upto), fmt.Sprintf("\nupto %d\n", before-1))
	want := fmt.Sprintf("records/%09d.note", before)
	if r := w.check(w.remake(t, moved), w.s.Key()); r.Whole || !strings.Contains(said(r), want) ||
		!strings.Contains(said(r), "it had come by the moment") {
		t.Errorf("of a moment said to be earlier: %q", said(r))
	}
	if out := stranger(t, moved); !strings.Contains(out, fmt.Sprintf("MISSING: record %d had come by that moment", before)) {
		t.Errorf("of a moment said to be earlier a stranger is told %q", out)
	}
}

func file(t *testing.T, files []proof.File, path string) []byte {
	t.Helper()
	for _, f := range files {
		if f.Path == path {
			return f.Data
		}
	}
	t.Fatalf("there is no %s", path)
	return nil
}

// edited replaces a text in one file.
func edited(files []proof.File, path, old, new string) []proof.File {
	out := slices.Clone(files)
	for i, f := range out {
		if f.Path == path {
			out[i].Data = []byte(strings.Replace(string(f.Data), old, new, 1))
		}
	}
	return out
}

// tampered: what else can be done to a bundle with all keys in hand, and what the checker says of it. What it can't see
// is a ledger that was written anew from the beginning: see writtenAnew.
func (w *week) tampered(t *testing.T, files []proof.File) {
	file := func(path string) []byte { return file(t, files, path) }
	with := func(path string, data string) []proof.File {
		return append(without(files, path), proof.File{Path: path, Data: []byte(data)})
	}
	history, covers := string(file("history.txt")), string(file("covers"))
	type tampering struct {
		what, says string
		files      []proof.File
	}
	all := []tampering{
		{"a history that is rewritten", "history.txt", with("history.txt", strings.ReplaceAll(history, "[X]", "[=]"))},
		{"a history.json that is", "history.json", with("history.json",
			strings.ReplaceAll(string(file("history.json")), `"broken"`, `"whole"`))},
		{"no history", "it is missing", without(files, "history.txt")},
		{"another README", "another text", with("README.txt", "All counts were correct.\n")},
		{"a former README", "another text", with("README.txt", "WHAT THIS IS\n")},
		{"a name of other case", "differs only in case", with("HISTORY.TXT", "whole")},
		{"a record's name of other case", "no bundle has", with("Records/000000106.note", "x")},
		{"a file of its own", "no bundle has", with("OFFICIAL-REPORT.html", "<p>all is well")},
		{"a name without its zeros", "no bundle has", with("records/106.note", string(file("records/000000106.note")))},
		{"another text", "not what any record here says", with("addenda",
			"WyJBQUFBQUFBQUFBQUFBQUFBQUFBQUFBIiwgInJlYXNvbiIsICJ4Il0\n")},
		{"no text", "it does not say what the records say", without(files, "addenda")},
		{"no word of what it covers", "it is missing", without(files, "covers")},
		{"a proof without its record", "no bundle has", with("proofs/000000002.tlog-proof", "x")},
		{"another question", "which it is made for",
			with("covers", regexp.MustCompile(`of case \S+`).ReplaceAllString(covers, "of set MIN-005"))},
		{"another moment", "before record", with("covers", strings.Replace(covers, "judged 2026-03-06", "judged 2026-03-05", 1))},
		{"no word of where a station's key lies", "where the key of", with("keys", "listbound keys v1\n")},
		{"no mapping", "", with("covers", mapping.ReplaceAllString(covers, "map 0"))},
	}
	if !mapping.MatchString(covers) {
		t.Errorf("covers names no mapping: %s", covers)
	}
	for line := range strings.Lines(covers) {
		if word, _, _ := strings.Cut(line, " "); word == "whole" || word == "part" || word == "none" {
			all = append(all, tampering{"without the line " + line, "", with("covers", strings.Replace(covers, line, "", 1))})
		}
		if key, ok := strings.CutPrefix(line, "whole "); ok {
			none := strings.Replace(covers, line, "", 1) + "none " + key
			all = append(all, tampering{"none for whole " + key, "of which it says that there is none", with("covers", none)})
		}
	}
	for _, f := range files {
		if strings.HasPrefix(f.Path, "heads/") {
			all = append(all, tampering{"without " + f.Path, "", without(files, f.Path)},
				tampering{"another count in " + f.Path, f.Path, with(f.Path, strings.Replace(string(f.Data), "\nindex", "0\nindex", 1))})
		}
	}
	for _, c := range all {
		r := w.check(w.remake(t, c.files), w.s.Key())
		if c.what != "a history that is rewritten" && c.what != "another moment" && !tells(c.files, r) {
			r = w.check(w.remake(t, retold(c.files, r)), w.s.Key())
		}
		told := said(r) + strings.Join(r.Remarks, "\n")
		// It need not be a fault: less may be covered, if that is said.
		seen := !r.OK || r.Coverage == nil || !r.Coverage.Proven || len(r.Coverage.Beyond) > 0 || c.what == "another moment"
		if !seen || !strings.Contains(told, c.says) {
			t.Errorf("%s: the checker says %q, want %q", c.what, told, c.says)
		}
	}
	t.Logf("%d tamperings, each seen from the bundle alone", len(all))
	if len(all) < 80 {
		t.Error("that is too few")
	}
}
