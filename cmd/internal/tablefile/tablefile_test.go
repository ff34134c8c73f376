package tablefile

import (
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
)

// ofAllKinds has a cell of each kind, and text that means something to a spreadsheet.
func ofAllKinds() *Table {
	at := time.Date(2026, 3, 4, 8, 12, 5, 0, time.FixedZone("", 3600))
	return &Table{
		Title:   "Sets [of OR 3]: what was found, and what is usually done",
		Columns: []string{"Set", "Read", "Seen", "Share"},
		Rows: [][]any{
			{"LAP-014", int64(3), at, 0.25},
			{"=1+1", int64(-2), nil, -1.5},
			{"Grün, \"quer\"\nund ß", nil, at.Add(time.Second / 4)},
			{"-", strings.Repeat("wide ", 40), nil, nil},
		},
		Made: at,
	}
}

// python runs a program in Debian's Python, whose readers of both formats are not the ones that write them here.
func python(t *testing.T, program, file string, out any) {
	t.Helper()
	cmd := exec.CommandContext(t.Context(), "/usr/bin/python3", "-c", program, file)
	cmd.Stderr = os.Stderr
	raw, err := cmd.Output()
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(raw, out); err != nil {
		t.Fatalf("%v in %s", err, raw)
	}
}

const readsXLSX = `
import openpyxl, json, sys
w = openpyxl.load_workbook(sys.argv[1])
s = w.active
cell = lambda c: None if c.value is None else [c.data_type, c.value.isoformat() if c.is_date else c.value, c.number_format if c.is_date else '']
print(json.dumps({'sheets': w.sheetnames, 'rows': [[cell(c) for c in r] for r in s.iter_rows()], 'frozen': s.freeze_panes,
  'filter': s.auto_filter.ref, 'widths': {k: d.width for k, d in s.column_dimensions.items()}, 'bold': s['A1'].font.bold,
  'creator': w.properties.creator, 'created': w.properties.created.isoformat()}))
`

// TestWorkbook: openpyxl finds numbers, times and text where they are, a heading that stays, widths and a filter.
func TestWorkbook(t *testing.T) {
	raw, err := XLSX(ofAllKinds())
	if err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "t.xlsx")
	if err := os.WriteFile(file, raw, 0o600); err != nil {
		t.Fatal(err)
	}
	var got struct {
		Sheets                           []string
		Rows                             [][][]any
		Frozen, Filter, Creator, Created string
		Widths                           map[string]float64
		Bold                             bool
	}
	python(t, readsXLSX, file, &got)
	said, _ := json.Marshal(got.Rows)
	want := `[[["s","Set",""],["s","Read",""],["s","Seen (UTC)",""],["s","Share",""]],` +
		`[["s","LAP-014",""],["n",3,""],["d","2026-03-04T07:12:05","yyyy-mm-dd hh:mm:ss"],["n",0.25,""]],` +
		`[["s","=1+1",""],["n",-2,""],null,["n",-1.5,""]],` +
		`[["s","Grün, \"quer\"\nund ß",""],null,["d","2026-03-04T07:12:05.250000","yyyy-mm-dd hh:mm:ss"],null],` +
		`[["s","-",""],["s","` + strings.Repeat("wide ", 40) + `",""],null,null]]`
	if string(said) != want {
		t.Errorf("the rows are\n%s\nwanted\n%s", said, want)
	}
	if !slices.Equal(got.Sheets, []string{"Sets  of OR 3   what was found,"}) {
		t.Errorf("the sheet is called %q", got.Sheets)
	}
	if got.Frozen != "A2" || strings.ReplaceAll(got.Filter, "$", "") != "A1:D5" || !got.Bold {
		t.Errorf("frozen at %q, filtered %q, bold %v", got.Frozen, got.Filter, got.Bold)
	}
	if w := got.Widths; w["A"] < 16 || w["B"] != widest || w["C"] != timeWidth {
		t.Errorf("widths are %v", w)
	}
	if !strings.HasPrefix(got.Creator, "listbound ") || got.Created != "2026-03-04T07:12:05" {
		t.Errorf("made by %q at %s", got.Creator, got.Created)
	}
}

const readsCSV = `
import csv, json, sys
raw = open(sys.argv[1], 'rb').read()
print(json.dumps({'mark': raw[:3].hex(), 'rows': list(csv.reader(raw.decode('utf-8-sig').splitlines(True)))}))
`

// TestText: the same table as text, with a mark that says in which encoding, and nothing that would be computed.
func TestText(t *testing.T) {
	file := filepath.Join(t.TempDir(), "t.csv")
	f, err := os.Create(file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if err := CSV(f, ofAllKinds()); err != nil {
		t.Fatal(err)
	}
	var got struct {
		Mark string
		Rows [][]string
	}
	python(t, readsCSV, file, &got)
	want := [][]string{{"Set", "Read", "Seen", "Share"}, {"LAP-014", "3", "2026-03-04T07:12:05Z", "0.25"}, {"'=1+1", "-2", "", "-1.5"},
		{"Grün, \"quer\"\r\nund ß", "", "2026-03-04T07:12:05.25Z"}, {"'-", strings.Repeat("wide ", 40), "", ""}}
	if !slices.EqualFunc(got.Rows, want, slices.Equal) {
		t.Errorf("the rows are %q", got.Rows)
	}
	if got.Mark != "efbbbf" {
		t.Errorf("the file begins with %s", got.Mark)
	}
}

// TestSheetNames: a sheet is called by the title as far as programs take it.
func TestSheetNames(t *testing.T) {
	for title, want := range map[string]string{"": "listbound", "[]": "listbound", "'quoted'": "quoted", "OR 3": "OR 3",
		strings.Repeat("ü", 40): strings.Repeat("ü", 31)} {
		if got := sheetName(title); got != want {
			t.Errorf("%q is called %q, wanted %q", title, got, want)
		}
		if _, err := XLSX(&Table{Title: title}); err != nil {
			t.Errorf("%q: %v", title, err)
		}
	}
}
