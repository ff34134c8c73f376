package workplace_test

import (
	"bytes"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/xuri/excelize/v2"

	"listbound/cmd/internal/browsertest"
	"listbound/cmd/internal/texts"
	"listbound/cmd/internal/workplace"
	"listbound/events"
	"listbound/projections/words"
)

// columnWords are the texts of this program, with a language of a site's own.
func columnWords(t testing.TB) *words.Catalogue {
	t.Helper()
	j, err := texts.Read(fstest.MapFS{"eo.json": {Data: []byte(`{"import.line": "Linio", "import.item": "Ero",
		"import.description": "Priskribo", "import.quantity": "Kvanto"}`)}})
	if err != nil {
		t.Fatal(err)
	}
	return j.Catalogue()
}

func TestReadTable(t *testing.T) {
	columns := columnWords(t)
	good := []events.Line{{Line: 1, Item: "FCP-125", Description: `Forceps, "mosquito", 12.5 cm`, Quantity: 6}, {Line: 2, Item: "007", Description: "Nadelhalter, groß", Quantity: 0}}
	x := excelize.NewFile()
	for i, row := range [][]any{{"Zeile", "Artikel", "Bezeichnung", "Anzahl"}, {1, "FCP-125", good[0].Description, 6}, {}, {2, "007", good[1].Description, 0}} {
		cell, err := excelize.CoordinatesToCellName(1, i+1)
		if err != nil {
			t.Fatal(err)
		}
		if err := x.SetSheetRow("Sheet1", cell, &row); err != nil {
			t.Fatal(err)
		}
	}
	var xlsx bytes.Buffer
	if err := x.Write(&xlsx); err != nil {
		t.Fatal(err)
	}
	if err := x.Close(); err != nil {
		t.Fatal(err)
	}
	for name, raw := range map[string]string{
		"comma":     "line,item,description,quantity\n1,FCP-125,\"Forceps, \"\"mosquito\"\", 12.5 cm\",6\n2,007,\"Nadelhalter, groß\",0\n",
		"semicolon": "\xef\xbb\xbfArtikel;Anzahl;Bezeichnung\r\nFCP-125;6;\"Forceps, \"\"mosquito\"\", 12.5 cm\"\r\n007;0;Nadelhalter, groß\r\n",
		"tab":       "item\tdescription\tqty\nFCP-125\t\"Forceps, \"\"mosquito\"\", 12.5 cm\"\t6\n\n007\tNadelhalter, groß\t0",
		"xlsx":      xlsx.String(),
		"own":       "Linio;Ero;Kvanto;Priskribo\n1;FCP-125;6;\"Forceps, \"\"mosquito\"\", 12.5 cm\"\n2;007;0;Nadelhalter, groß\n",
	} {
		lines, bad := workplace.ReadTable([]byte(raw), columns)
		if len(bad) > 0 || len(lines) != 2 || lines[0] != good[0] || lines[1] != good[1] {
			t.Errorf("%s: %+v %v", name, lines, bad)
		}
	}
	for name, c := range map[string]struct {
		raw  string
		want []string
	}{
		"empty":    {"", []string{"the table is empty"}},
		"no lines": {"item,description,quantity\n", []string{"no lines below"}},
		"column":   {"item,quantity\nA,1\n", []string{"row 1: there is no column description"}},
		"twice":    {"item,item,description,quantity\n", []string{"row 1: the column item stands twice"}},
		"rows": {"line,item,description,quantity\n1,A,one,x\n\n2,B B,two,1\n2,C,three,1\n2,D,four,1\nq,E,five,1\n6,F,,1\n7,G,seven,-1\n8,H,漢,1\n9,I,nine,1\n",
			[]string{`row 2: quantity is "x"`, `row 4: line 2: item "B B" holds a space`, "row 5: line 2 stands in row 4 already", "row 6: line 2 stands in row 4 already", `row 7: line is "q"`, "row 8: line 6: description is missing", "row 9: line 7: quantity is -1", "row 10: '漢' (U+6F22) can't be printed"}},
		"latin1": {"item,description,quantity\nA,gro\xdf,1\n", []string{"neither XLSX nor text in UTF-8"}},
		"zip":    {"PK\x03\x04nothing", []string{"can't be read as XLSX"}},
	} {
		lines, bad := workplace.ReadTable([]byte(c.raw), columns)
		if lines != nil {
			t.Errorf("%s: %d lines were imported although rows are wrong", name, len(lines))
		}
		for i, want := range c.want {
			if i >= len(bad) || !strings.Contains(bad[i].Error(), want) {
				t.Errorf("%s: %v, want %q at %d", name, bad, want, i)
			}
		}
		if len(bad) != len(c.want) {
			t.Errorf("%s: %d refusals, want %d: %v", name, len(bad), len(c.want), bad)
		}
	}
}

func FuzzReadTable(f *testing.F) {
	columns := columnWords(f)
	seeds := []string{"item,description,quantity\nA,a,1\n", "line;item;description;quantity\r\n1;A;\"a\nb\";2", "PK\x03\x04", "\xef\xbb\xbf\n\n"}
	for _, s := range seeds {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, raw []byte) {
		lines, bad := workplace.ReadTable(raw, columns)
		if (lines == nil) == (len(bad) == 0) {
			t.Fatalf("%d lines and %d refusals", len(lines), len(bad))
		}
		if lines != nil {
			d := &events.ListIssued{List: "L", Version: 1, Title: "t", Lines: lines}
			if err := d.Check(); err != nil && len(lines) <= 1000 {
				t.Fatalf("lines that can't be issued were read: %v", err)
			}
		}
	})
}

// TestListPages: a wrong table imports nothing and says why per row; a right
// one shows what changes before it is issued; sets on the shelf with the older
// version are named.
func TestListPages(t *testing.T) {
	h := newHouse(t, "VAS-003")
	p := browser(t).Tab(t, wall)
	p.Open(h.url + "/lists/VAS-MINOR")
	p.AwaitText("main", "No packed set carries an older version")
	fill := func(table string) {
		browsertest.Eval[bool](p, `(document.querySelector("#lf-table").value = `+quote(table)+`, document.querySelector("#lf-badge").value = "B-1001", document.querySelector("#lf-station").value = "north/packing-1", document.querySelector(".listform").requestSubmit(), true)`)
	}
	before := h.size()
	fill("line,item,description,quantity\n1,INS-001,Forceps,many\n2,,Clamp,2\n")
	p.AwaitText("[role=alert]", "Row 2: quantity is \"many\"")
	p.AwaitText("[role=alert]", "Row 3: line 2: item is missing")
	p.Axe()
	fill("line,item,description,quantity\n1,INS-001,\"Forceps, mosquito, curved, 12.5 cm (1)\",5\n2,VAS-002,\"Clamp, vascular, angled, 22 cm\",2\n4,VAS-004,Dilator,1\n")
	p.AwaitText("main", "Issue version 2")
	p.AwaitText("table", "4 × Forceps, mosquito")
	p.AwaitText("table", "line removed")
	p.AwaitText("table", "new line")
	p.Axe()
	p.Shot("list-changes-wall")
	if h.size() != before {
		t.Fatal("a list was issued before it was confirmed")
	}
	p.Touch(`form:has(input[name="issue"]) button`)
	p.AwaitText("main", "VAS-MINOR version 2 is issued")
	p.AwaitText(".openlines", "VAS-003: version 1")
	p.Axe()
	vs, err := h.site.Lists(t.Context(), "VAS-MINOR")
	if err != nil {
		t.Fatal(err)
	}
	if n := len(vs); n != 2 || vs[1].By != "B-1001" || len(vs[1].LineRows) != 3 {
		t.Errorf("versions: %+v", vs)
	}
	fill(browsertest.Eval[string](p, `document.querySelector("#lf-table").value`))
	p.AwaitText("[role=alert]", "says this already")
}

func quote(s string) string {
	return "`" + strings.ReplaceAll(s, "`", "\\`") + "`"
}
