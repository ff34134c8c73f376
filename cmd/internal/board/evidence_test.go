//go:build !race

package board_test

import (
	"archive/zip"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/bundle"
	"listbound/cmd/internal/shell"
	"listbound/cmd/internal/site"
)

// needTool fails a test where a public tool is absent, and names its Debian package.
func needTool(t testing.TB, name, debian string) {
	t.Helper()
	if _, err := exec.LookPath(name); err != nil {
		t.Fatalf("%s is not here: install the Debian package %s (apt-get install %s)", name, debian, debian)
	}
}

// commands are the blocks of a README's numbered steps: what is indented below
// a step's text.
func commands(readme string) map[string]string {
	out := make(map[string]string)
	step := ""
	for line := range strings.Lines(readme) {
		if m := regexp.MustCompile(`^(\d)\. `).FindStringSubmatch(line); m != nil {
			step = m[1]
		} else if line != "\n" && !strings.HasPrefix(line, " ") {
			step = ""
		}
		if code, ok := strings.CutPrefix(line, "    "); ok && step != "" {
			out[step] += code
		}
	}
	return out
}

// TestStrangersCheck does what README.txt in the bundle says, with unzip,
// sha256sum, openssl and python3, by the README's own commands.
func TestStrangersCheck(t *testing.T) {
	for _, x := range [][2]string{{"unzip", "unzip"}, {"sha256sum", "coreutils"}, {"base64", "coreutils"},
		{"openssl", "openssl"}, {"python3", "python3"}, {"bash", "bash"}} {
		needTool(t, x[0], x[1])
	}
	srv, s := weekServer(t)
	_, _, raw := get(t, srv.URL+"/api/evidence?case=K-0430")
	dir := t.TempDir()
	file := filepath.Join(dir, "evidence.zip")
	if err := os.WriteFile(file, []byte(raw), 0o600); err != nil {
		t.Fatal(err)
	}
	sh := func(dir, script string) (string, error) {
		c := exec.CommandContext(t.Context(), "bash", "-e", "-c", script)
		c.Dir = dir
		out, err := c.CombinedOutput()
		return string(out), err
	}
	if out, err := sh(dir, "unzip -q evidence.zip -d bundle"); err != nil {
		t.Fatal(out)
	}
	in := filepath.Join(dir, "bundle")
	readme, err := os.ReadFile(filepath.Join(in, "README.txt"))
	if err != nil {
		t.Fatal(err)
	}
	steps := commands(string(readme))
	for _, n := range []string{"1", "2", "3", "4"} {
		if steps[n] == "" {
			t.Fatalf("the README's step %s has no commands: %q", n, steps)
		}
	}
	records, err := filepath.Glob(filepath.Join(in, "records", "*.note"))
	if err != nil || len(records) < 50 {
		t.Fatalf("%d records in the bundle: %v", len(records), err)
	}
	check := func(name string) []string {
		var failed []string
		if out, err := sh(in, steps["1"]); err != nil {
			failed = append(failed, "1: "+out)
		}
		if out, err := sh(in, steps["2"]); err != nil {
			failed = append(failed, "2: "+out)
		}
		out, err := sh(in, steps["3"])
		if n := strings.Count(out, "Signature Verified Successfully"); err != nil || n != 2 {
			failed = append(failed, fmt.Sprintf("3: %d signatures verified: %s", n, out))
		}
		if err := os.WriteFile(filepath.Join(in, "check.py"), []byte(steps["4"]), 0o600); err != nil {
			t.Fatal(err)
		}
		if out, err := sh(in, "python3 check.py"); err != nil ||
			out != fmt.Sprintf("%d records proved\n", len(records)) {
			failed = append(failed, "4: "+out)
		}
		return failed
	}
	if bad := check("as made"); len(bad) > 0 {
		t.Fatalf("the bundle as made: %s", bad)
	}
	// Steps 5 and 6, of one record, in the words of the README.
	one := stationStep(t, in, records)
	if out, err := sh(in, one); err != nil || !strings.Contains(out, "Signature Verified Successfully") {
		t.Errorf("step 5: %s", out)
	}
	// And each step fails where it must.
	damage := func(name, path string, step string, change func([]byte) []byte) {
		full := filepath.Join(in, path)
		was, err := os.ReadFile(full)
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(full, change(slices.Clone(was)), 0o600); err != nil {
			t.Fatal(err)
		}
		bad := check(name)
		if !slices.ContainsFunc(bad, func(s string) bool { return strings.HasPrefix(s, step) }) {
			t.Errorf("%s: step %s did not notice: %q", name, step, bad)
		}
		if err := os.WriteFile(full, was, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	record := strings.TrimPrefix(records[len(records)/2], in+"/")
	flip := func(b []byte) []byte { b[len(b)/3] ^= 1; return b }
	damage("a record's byte", record, "1", flip)
	damage("a record's byte", record, "4", flip)
	damage("the manifest", "manifest", "3",
		func(b []byte) []byte { return []byte(strings.Replace(string(b), "history", "History", 1)) })
	root := func(b []byte) []byte {
		lines := strings.SplitN(string(b), "\n", 4)
		lines[1] += "1"
		return []byte(strings.Join(lines, "\n"))
	}
	damage("the checkpoint's size", "checkpoint", "3", root)
	// Our own checker agrees.
	if r := bundle.Check([]byte(raw), s.Key()); !r.OK || r.Records != len(records) {
		t.Errorf("the checker: %+v", r.Problems)
	}
}

// stationStep is the README's step 5 for the first record of a station: its key
// from the record that enrolled it, then steps 2 and 3 with that key.
func stationStep(t *testing.T, dir string, records []string) string {
	t.Helper()
	keys := make(map[string]string)
	for _, path := range records {
		raw, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		text, _, _ := strings.Cut(string(raw), "\n\n")
		var e struct {
			Type, Source string
			Data         struct{ Station, Key string }
		}
		if err := json.Unmarshal([]byte(text), &e); err != nil {
			t.Fatal(err)
		}
		if e.Type == "listbound.station.enrolled.v1" {
			keys["//"+e.Data.Station] = e.Data.Key
			continue
		}
		if key := keys[e.Source]; key != "" {
			name, err := filepath.Rel(dir, path)
			if err != nil {
				t.Fatal(err)
			}
			return fmt.Sprintf(`printf '%%s\n' '%s' > station.vkey
( printf '\060\052\060\005\006\003\053\145\160\003\041\000'; cut -d+ -f3- station.vkey | base64 -d | tail -c 32 ) > s.der
openssl pkey -pubin -inform DER -in s.der -out s.pem
sed '/^$/,$d' %[2]s > text
sed -n '/^$/{n;p;q}' %[2]s | sed 's/.* //' | base64 -d | tail -c 64 > sig
openssl pkeyutl -verify -pubin -inkey s.pem -rawin -in text -sigfile sig`, key, name)
		}
	}
	t.Fatal("no station in the bundle has its enrolment before a record of its own")
	return ""
}

// TestReport: the report names every record with its digest and signatures, and
// says the same each time.
func TestReport(t *testing.T) {
	needTool(t, "pdftotext", "poppler-utils")
	srv, s := weekServer(t)
	text := pdfText(t, page(t, srv.URL+"/report?case=K-0430"))
	if again := pdfText(t, page(t, srv.URL+"/report?case=K-0430")); again != text {
		t.Error("two reports of the same differ")
	}
	flat := strings.Join(strings.Fields(text), "")
	h, err := s.History(t.Context(), site.Query{Case: "K-0430", Records: true})
	if err != nil {
		t.Fatal(err)
	}
	if len(h.Events) < 40 {
		t.Fatalf("%d events in the case", len(h.Events))
	}
	_, _, raw := get(t, srv.URL+"/api/evidence?case=K-0430")
	manifest := inside(t, unzipped(t, raw), "manifest")
	if !strings.Contains(manifest, "records/") {
		t.Fatal("no records in the bundle's manifest")
	}
	for _, e := range h.Events {
		leaf := leafHash(e.Record)
		for _, want := range []string{leaf, fmt.Sprint(e.Seq), e.Station} {
			if !strings.Contains(flat, want) {
				t.Errorf("the report lacks %s of record %d", want, e.Seq)
			}
		}
	}
	for _, want := range []string{s.Key(), "A count that was called correct is no proof",
		"What can't be known from this", "not released", "listbound-verify"} {
		if !strings.Contains(flat, strings.Join(strings.Fields(want), "")) {
			t.Errorf("the report lacks %q", want)
		}
	}
	if german := pdfText(t, page(t, srv.URL+"/report?case=K-0430&lang=de")); !strings.Contains(german,
		"Wie es zu prüfen ist") {
		t.Error("the German report is not in German")
	}
	recall := pdfText(t, page(t, srv.URL+"/recall?load=S4-0304-01"))
	for _, want := range []string{"LSC-001", "LSC-007", "LSC-006", "K-0429", "Not opened: hold these", "Table 12"} {
		if !strings.Contains(recall, want) {
			t.Errorf("the recall list lacks %q", want)
		}
	}
}

// TestRecallOfNothing: a load that is written wrong gives no list that reads like an answer, on the page or on paper.
func TestRecallOfNothing(t *testing.T) {
	needTool(t, "pdftotext", "poppler-utils")
	srv, s := weekServer(t)
	for _, lang := range s.Words().Languages() {
		says := shell.WordsIn(s.Words(), lang).T("board.touched-none")
		for load, none := range map[string]bool{"S4-0304-1": true, "S4-0304-01": false} {
			of := "?lang=" + lang + "&load=" + load
			if strings.Contains(page(t, srv.URL+"/touched"+of), says) != none {
				t.Errorf("the page of %s, %s: says that nothing is found: %v", load, lang, !none)
			}
			print := strings.Join(strings.Fields(pdfText(t, page(t, srv.URL+"/recall"+of))), " ")
			if strings.Contains(print, says) != none {
				t.Errorf("the list of %s, %s: says that nothing is found: %v", load, lang, !none)
			}
		}
	}
}

func inside(t testing.TB, z *zip.Reader, name string) string {
	t.Helper()
	f, err := z.Open(name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	raw, err := io.ReadAll(f)
	if err != nil {
		t.Fatal(err)
	}
	return string(raw)
}

// BenchmarkEvidence makes the bundle and the report of the week's case with the
// most sets and records.
func BenchmarkEvidence(b *testing.B) {
	srv, s := weekServer(b)
	best, most := "", 0
	for i := range 60 {
		ref := fmt.Sprintf("K-%04d", 400+i)
		if h, err := s.History(b.Context(), site.Query{Case: ref}); err == nil && len(h.Events) > most {
			best, most = ref, len(h.Events)
			b.Logf("%s: %d sets, %d events", ref, len(h.Verdicts), most)
		}
	}
	for _, what := range []string{"/api/evidence", "/report"} {
		b.Run(strings.Trim(what, "/"), func(b *testing.B) {
			for b.Loop() {
				page(b, srv.URL+what+"?case="+best)
			}
		})
	}
	const limit = 3 * time.Second
	base, n := longCase(b)
	for _, what := range []string{"/api/evidence", "/report"} {
		b.Run(fmt.Sprintf("%s-6-sets-%d-events", strings.Trim(what, "/"), n), func(b *testing.B) {
			slowest := time.Duration(0)
			for b.Loop() {
				begin := time.Now()
				page(b, base+what+"?case=K-LONG")
				slowest = max(slowest, time.Since(begin))
			}
			b.ReportMetric(float64(slowest.Milliseconds()), "ms/slowest")
			if slowest > limit {
				b.Errorf("it took %v, it may take %v", slowest, limit)
			}
		})
	}
}

// longCase records six sets with 300 events in one case and serves them.
func longCase(t testing.TB) (string, int) {
	t.Helper()
	s, err := playWeekHead(t)
	if err != nil {
		t.Fatal(err)
	}
	srv, err := serve(s)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(srv.Close)
	var lines []string
	at := time.Date(2026, 3, 5, 6, 0, 0, 0, time.UTC)
	add := func(station, set, kind, data string) {
		at = at.Add(time.Minute)
		lines = append(lines,
			fmt.Sprintf(`{"station":"north/%s","kind":%q,"time":%q,"set":%q,"operator":"B-1","data":%s}`, station,
				kind, at.Format(time.RFC3339), set, data))
	}
	for i := range 6 {
		set := fmt.Sprintf("SET-%d", i)
		add("packing-1", set, "set.packed", `{"list":"MIN-BASIC","version":3}`)
		add("packing-1", set, "list.sealed", `{"placement":"screen"}`)
		add("sterilizer-1", set, "set.sterilized",
			`{"load":"L-1","sterilizer":"S1","run":1,"cycle":"dynamic-air-132","result":"passed","released":true}`)
		add("or-1", set, "set.opened", `{"case":"K-LONG","tag":"`+set+`"}`)
		for range 46 {
			add("or-1", set, "set.counted",
				`{"case":"K-LONG","stage":"relief","sheet":"screen","counter":"B-1","witness":"B-2","counts":[{"line":1,"counted":1}]}`)
		}
	}
	n := 0
	err = s.Record(t.Context(), strings.NewReader(strings.Join(lines, "\n")), func(r site.Receipt) error {
		if r.Error != "" {
			return fmt.Errorf("line %d: %s", r.Line, r.Error)
		}
		n++
		return nil
	})
	if err != nil || n != 300 {
		t.Fatalf("%d recorded: %v", n, err)
	}
	return srv.URL, n
}

// TestLongReport: a case of six sets and 300 events is told whole. How long
// that takes is the benchmark's to say.
func TestLongReport(t *testing.T) {
	url, n := longCase(t)
	for what, begins := range map[string]string{"/report": "%PDF-", "/api/evidence": "PK"} {
		raw := page(t, url+what+"?case=K-LONG")
		if !strings.HasPrefix(raw, begins) || len(raw) < 100*n {
			t.Errorf("%s of 6 sets and %d events: %d bytes that begin with %.8q", what, n, len(raw), raw)
		}
	}
}
