//go:build !race

package commands

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestListsImportIssuePrint: from a table with faults to a printed sheet.
func TestListsImportIssuePrint(t *testing.T) {
	dir := t.TempDir()
	data, file := filepath.Join(dir, "d"), filepath.Join(dir, "LAP-X.csv")
	write := func(name, text string) {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	by := []string{"--data", data, "--station", "north/packing-1", "--operator", "B-1"}
	lists := func(args ...string) []string { return append(append([]string{"lists"}, args...), by...) }

	write("LAP-X.csv", "line,item,description,quantity\n1,A-1,Forceps,6\n2,A-2,Clamp,x\n")
	code, _, errs := run(t, lists("import", "--title", "Lap X", file)...)
	if code != ExitProblem || !strings.Contains(errs, `row 3: quantity is "x"`) || !strings.Contains(errs, "nothing was imported") {
		t.Errorf("a wrong table: %d %s", code, errs)
	}
	if _, err := os.Stat(data); err == nil {
		t.Error("a wrong table made a ledger")
	}
	write("LAP-X.csv", "line,item,description,quantity\n1,A-1,Forceps,6\n2,A-2,Clamp,2\n")
	code, out, errs := run(t, lists("import", "--title", "Lap X", "--cycles", "c-134", file)...)
	if code != ExitOK || !strings.Contains(out, "LAP-X version 1 is issued") {
		t.Fatalf("a right table: %d %s %s", code, out, errs)
	}
	write("LAP-X.csv", "line,item,description,quantity\n1,A-1,Forceps,6\n2,A-2,Clamp,3\n")
	code, out, _ = run(t, lists("import", "--check", file)...)
	if code != ExitOK || !strings.Contains(out, "2 x Clamp (A-2)  3 x Clamp (A-2)") || strings.Contains(out, "is issued") {
		t.Errorf("a look at a revision: %d %s", code, out)
	}
	write("l.json",
		`{"list":"LAP-X","version":9,"title":"Lap X","lines":[{"line":1,"item":"A-1","description":"Forceps","quantity":6}],`+
			`"cycles":["c-134"],"implants":true,"highRisk":true}`)
	code, out, errs = run(t, lists("issue", filepath.Join(dir, "l.json"))...)
	if code != ExitOK || !strings.Contains(out, "LAP-X version 2 is issued") {
		t.Fatalf("a list as JSON: %d %s %s", code, out, errs)
	}
	if code, _, errs = run(t, lists("issue", filepath.Join(dir, "l.json"))...); code == ExitOK ||
		!strings.Contains(errs, "says this already") {
		t.Errorf("the same again: %d %s", code, errs)
	}
	// The next version keeps what its sets hold, unless it is said.
	write("LAP-X.csv", "line,item,description,quantity\n1,A-1,Forceps,5\n")
	if code, _, errs = run(t, lists("import", "--implants", "perhaps", file)...); code == ExitOK || !strings.Contains(errs, "yes or no") {
		t.Errorf("implants, perhaps: %d %s", code, errs)
	}
	if code, _, errs = run(t, lists("import", "--high-risk", "perhaps", file)...); code == ExitOK || !strings.Contains(errs, "yes or no") {
		t.Errorf("high risk, perhaps: %d %s", code, errs)
	}
	if code, _, errs = run(t, lists("import", file)...); code != ExitOK {
		t.Fatal(errs)
	}
	for _, v := range []string{`"version":2`, `"version":3`} {
		_, out, _ = run(t, "lists", "--data", data, "--json", "LAP-X")
		if _, rest, found := strings.Cut(strings.Join(strings.Fields(out), ""), v); !found ||
			!strings.Contains(strings.SplitN(rest, `"seq"`, 3)[1], `"implants":true,"highRisk":true`) {
			t.Errorf("%s lost its implants, or its risk: %s", v, out)
		}
	}
	pdf := filepath.Join(dir, "sheet.pdf")
	if code, _, errs = run(t, "lists", "print", "--data", data, "X-1", "--out", pdf); code == ExitOK ||
		!strings.Contains(errs, "nothing is recorded here of a packing of X-1") {
		t.Errorf("a set nobody packed: %d %s", code, errs)
	}
	write("o.jsonl", `{"station":"north/packing-1","kind":"set.packed","time":"2026-03-02T05:00:00Z","set":"X-1",`+
		`"operator":"B-1","data":{"list":"LAP-X","version":2}}
{"station":"north/packing-1","kind":"list.sealed","time":"2026-03-02T05:01:00Z","set":"X-1","operator":"B-1","data":{"placement":"outside"}}
`)
	if code, _, errs = run(t, "record", "--data", data, filepath.Join(dir, "o.jsonl")); code != ExitOK {
		t.Fatal(errs)
	}
	if code, _, errs = run(t, "lists", "print", "--data", data, "X-1", "--size", "letter", "--lang", "de", "--out", pdf); code != ExitOK {
		t.Fatal(errs)
	}
	if raw, err := os.ReadFile(pdf); err != nil || !bytes.HasPrefix(raw, []byte("%PDF-")) {
		t.Errorf("the print: %v %.20q", err, raw)
	}
}
