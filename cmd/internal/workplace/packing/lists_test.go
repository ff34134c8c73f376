//go:build !race

package packing_test

import (
	"bytes"
	"errors"
	"fmt"
	"html"
	"io"
	"maps"
	"mime/multipart"
	"net/http"
	"net/http/cookiejar"
	"regexp"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/xuri/excelize/v2"

	"listbound/cmd/internal/browsertest"
	"listbound/cmd/internal/texts"
	"listbound/cmd/internal/workplace"
	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// columnWords are the texts of this program, with a language of a site's own.
func columnWords(t testing.TB) workplace.How {
	t.Helper()
	j, err := texts.Read(fstest.MapFS{"eo.json": {Data: []byte(`{"import.line": "Linio", "import.item": "Ero",
		"import.description": "Priskribo", "import.quantity": "Kvanto"}`)}})
	if err != nil {
		t.Fatal(err)
	}
	return workplace.How{Names: j.Catalogue(), In: j.Catalogue().In("en")}
}

func TestReadTable(t *testing.T) {
	columns := columnWords(t)
	good := []events.Line{{Line: 1, Item: "FCP-125", Description: `Forceps, "mosquito", 12.5 cm`, Quantity: 6},
		{Line: 2, Item: "007", Description: "Nadelhalter, groß", Quantity: 0}}
	x := excelize.NewFile()
	for i, row := range [][]any{{"Zeile", "Artikel", "Bezeichnung", "Anzahl"}, {1, "FCP-125", good[0].Description,
		6}, {}, {2, "007", good[1].Description, 0}} {
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
		"comma": "line,item,description,quantity\n1,FCP-125,\"Forceps, \"\"mosquito\"\", 12.5 cm\",6\n2,007,\"Nadelhalter, groß\",0\n",
		"semicolon": "\xef\xbb\xbfArtikel;Anzahl;Bezeichnung\r\n" +
			"FCP-125;6;\"Forceps, \"\"mosquito\"\", 12.5 cm\"\r\n007;0;Nadelhalter, groß\r\n",
		"tab":  "item\tdescription\tqty\nFCP-125\t\"Forceps, \"\"mosquito\"\", 12.5 cm\"\t6\n\n007\tNadelhalter, groß\t0",
		"xlsx": xlsx.String(),
		"own":  "Linio;Ero;Kvanto;Priskribo\n1;FCP-125;6;\"Forceps, \"\"mosquito\"\", 12.5 cm\"\n2;007;0;Nadelhalter, groß\n",
	} {
		read := workplace.ReadTable([]byte(raw), columns)
		lines, bad := read.Lines, read.Wrong
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
		"rows": {"line,item,description,quantity\n1,A,one,x\n\n2,B B,two,1\n" +
			"2,C,three,1\n2,D,four,1\nq,E,five,1\n6,F,,1\n7,G,seven,-1\n8,H,漢,1\n9,I,nine,1\n",
			[]string{`row 2: quantity is "x"`, `row 4: line 2: catalog number "B B" contains a space`,
				"row 5: line 2 stands in row 4 already", "row 6: line 2 stands in row 4 already",
				`row 7: line is "q"`, "row 8: line 6: description is missing", "row 9: line 7: quantity is -1",
				"row 10: '漢' (U+6F22) can't be printed"}},
		"open": {"item,description,quantity\nA,\"one,1\nB,two,1\n", []string{"a quotation mark in the text is not closed"}},
		"zip":  {"PK\x03\x04nothing", []string{"can't be read as XLSX"}},
	} {
		read := workplace.ReadTable([]byte(c.raw), columns)
		lines, bad := read.Lines, read.Wrong
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

// spreadsheet writes an XLSX of several sheets.
func spreadsheet(t testing.TB, sheets ...[][]any) string {
	t.Helper()
	x := excelize.NewFile()
	for n, rows := range sheets {
		name := fmt.Sprintf("Sheet%d", n+1)
		if _, err := x.NewSheet(name); err != nil {
			t.Fatal(err)
		}
		for i, row := range rows {
			if err := x.SetSheetRow(name, fmt.Sprintf("A%d", i+1), &row); err != nil {
				t.Fatal(err)
			}
		}
	}
	var out bytes.Buffer
	if err := errors.Join(x.Write(&out), x.Close()); err != nil {
		t.Fatal(err)
	}
	return out.String()
}

// TestReadTableAsPeopleHaveIt: as German and American spreadsheets save it, with
// inch marks, title rows, whole numbers written with decimals, a cover sheet, and
// headings of the trade.
func TestReadTableAsPeopleHaveIt(t *testing.T) {
	how := columnWords(t)
	want := []events.Line{{Line: 1, Item: "FCP-125", Description: `Clamp 6" curved`, Quantity: 4}, {Line: 2,
		Item: "NH-7", Description: "Nadelhalter, groß ½", Quantity: 12}}
	cover := [][]any{{"Main theatre"}, {}, {"Lists of 2026", "do not copy"}}
	for name, raw := range map[string]string{
		// ß is DF and ½ BD in Windows-1252 (Unicode's CP1252.TXT; from memory).
		"windows":   "Pos.;REF;Instrument;Anzahl\r\n1;FCP-125;\"Clamp 6\"\" curved\";4\r\n2;NH-7;Nadelhalter, gro\xdf \xbd;12\r\n",
		"inch mark": "Pos,Catalog number,Instrument,Qty\n1,FCP-125,Clamp 6\" curved,4.0\n2,NH-7,\"Nadelhalter, groß ½\",12.00\n",
		"titles": "Laparotomy;;;\nas of March;;;\n\n#;Cat. No;Description;Quantity\n" +
			"1;FCP-125;Clamp 6\" curved;4,0\n2;NH-7;Nadelhalter, groß ½;12\n",
		"utf-16": "\xff\xfe" + utf16le("REF\tInstrument\tQty\r\nFCP-125\tClamp 6\" curved\t4\r\nNH-7\tNadelhalter, groß ½\t12\r\n"),
		"cover": spreadsheet(t, cover, [][]any{{"Laparotomy"}, {"REF", "Instrument", "Qty"}, {"FCP-125",
			want[0].Description, 4.0}, {"NH-7", want[1].Description, 12}}),
	} {
		got := workplace.ReadTable([]byte(raw), how)
		if len(got.Wrong) > 0 || len(got.Lines) != 2 || got.Lines[0] != want[0] || got.Lines[1] != want[1] {
			t.Errorf("%s: %+v %v", name, got.Lines, got.Wrong)
		}
		if name == "cover" && (got.Sheet != "Sheet2" || len(got.Sheets) != 2) {
			t.Errorf("sheet %q of %v was read", got.Sheet, got.Sheets)
		}
	}
	how.Sheet = "Sheet1"
	both := spreadsheet(t, cover, [][]any{{"REF", "Instrument", "Qty"}, {"A", "a", 1}})
	if got := workplace.ReadTable([]byte(both), how); got.Lines != nil {
		t.Errorf("another sheet than the one asked for was read: %+v", got)
	}
	how.Sheet = ""
	unknown := "Katalog;Was;Wieviel\nFCP-125;Clamp 6\" curved;4\n"
	got := workplace.ReadTable([]byte(unknown), how)
	if fmt.Sprint(got.Missing, got.Headings) != "[item description quantity] [Katalog Was Wieviel]" {
		t.Errorf("to match are %v among %v", got.Missing, got.Headings)
	}
	how.Headings = map[string]string{"katalog": "item", "was": "description", "wieviel": "quantity"}
	if got := workplace.ReadTable([]byte(unknown), how); len(got.Lines) != 1 || got.Lines[0] != want[0] {
		t.Errorf("matched it is %+v", got)
	}
	how.In = how.Names.In("de")
	for raw, says := range map[string]string{
		"REF;Instrument;Anzahl\nA;a;4,5\n": "Anzahl ist „4,5“, keine ganze Zahl",
		"REF;Instrument;Anzahl\n;a;4\n":    "Zeile 1: Artikel fehlt",
		"REF;Instrument\nA;a\n":            "Es fehlt die Spalte Anzahl", "": "Die Tabelle ist leer",
	} {
		if got := workplace.ReadTable([]byte(raw), how); len(got.Wrong) != 1 || !strings.Contains(got.Wrong[0].What, says) {
			t.Errorf("%q: %v, want %q", raw, got.Wrong, says)
		}
	}
}

// TestCatalogNumberOfASpreadsheet: what a spreadsheet has made of a catalog number that looks like a number is not taken
// for one, unless a person says so with the quote that spreadsheets have for it. The row below a wrong one is not wrong.
func TestCatalogNumberOfASpreadsheet(t *testing.T) {
	how := columnWords(t)
	read := func(items ...string) workplace.Table {
		raw := "REF;Instrument;Qty\n"
		for _, item := range items {
			raw += item + ";Probe;2\n"
		}
		return workplace.ReadTable([]byte(raw), how)
	}
	for _, item := range []string{"1.2E+05", "1,2E+05", "4E5", "4e5", "123456.0", "123456,00", "1E-3"} {
		got := read("A-1", item, "A-2")
		says := fmt.Sprintf(`line 2: catalog number "%s" looks like a number that the spreadsheet has written otherwise`, item)
		if len(got.Wrong) != 1 || got.Wrong[0].Row != 3 || !strings.Contains(got.Wrong[0].What, says) {
			t.Errorf("%s: %v", item, got.Wrong)
		}
		if got := read("'" + item); len(got.Wrong) != 0 || len(got.Lines) != 1 || got.Lines[0].Item != item {
			t.Errorf("'%s: %+v", item, got)
		}
	}
	for _, item := range []string{"123456", "0012", "12.5", "E5", "4E", "4E5-A", "FCP-125", "12.05"} {
		if got := read(item); len(got.Wrong) != 0 || got.Lines[0].Item != item {
			t.Errorf("%s: %v", item, got.Wrong)
		}
	}
	for raw, want := range map[string]string{
		"REF;Instrument;Qty\nA;Clamp;\nB;Probe;3\n":        `[row 2: quantity is "", not a whole number]`,
		"REF;Instrument;Qty\nA;;1\nB;Probe;3\nC;Clamp;x\n": `[row 2: line 1: description is missing row 4: quantity is "x", not a whole number]`,
	} {
		if got := workplace.ReadTable([]byte(raw), how); !strings.EqualFold(fmt.Sprint(got.Wrong), want) {
			t.Errorf("%q: %v", raw, got.Wrong)
		}
	}
}

// utf16le is a text of the basic plane as a spreadsheet saves it as Unicode.
func utf16le(s string) string {
	var out []byte
	for _, r := range s {
		out = append(out, byte(r), byte(r>>8))
	}
	return string(out)
}

// TestMatchHeadings: columns that nobody knows are matched once by a person, and the
// next table of the site is read by itself. A file beside a text is said.
func TestMatchHeadings(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	send := func(fields map[string]string, file string) string {
		var body bytes.Buffer
		w := multipart.NewWriter(&body)
		for k, v := range fields {
			if err := w.WriteField(k, v); err != nil {
				t.Fatal(err)
			}
		}
		if file != "" {
			part, err := w.CreateFormFile("file", "list.csv")
			if err != nil {
				t.Fatal(err)
			}
			part.Write([]byte(file)) // into memory
		}
		if err := w.Close(); err != nil {
			t.Fatal(err)
		}
		res, err := http.Post(h.URL+"/lists?lang=de", w.FormDataContentType(), &body)
		if err != nil {
			t.Fatal(err)
		}
		defer res.Body.Close()
		raw, err := io.ReadAll(res.Body)
		if err != nil {
			t.Fatal(err)
		}
		return html.UnescapeString(string(raw))
	}
	form := map[string]string{"list": "NEW", "title": "Neu", "badge": "B-1", "station": "north/packing-1"}
	file := "Katalog;Was;Wieviel\nFCP-125;Clamp 6\" curved;4\n"
	got := send(form, file)
	raw := regexp.MustCompile(`name="raw" value="([^"]+)"`).FindStringSubmatch(got)
	if raw == nil || !strings.Contains(got, "<option>Wieviel</option>") || !strings.Contains(got, "Überschriften der Tabelle") {
		t.Fatalf("nobody is asked: %s", got)
	}
	matched := maps.Clone(form)
	matched["raw"], matched["match-item"], matched["match-description"], matched["match-quantity"] = raw[1], "Katalog", "Was", "Wieviel"
	if got := send(matched, ""); !strings.Contains(got, `"Clamp 6"" curved",4`) || strings.Contains(got, `role="alert"`) {
		t.Fatalf("matched, it is not read: %s", got)
	}
	if got := send(form, file); strings.Contains(got, `role="alert"`) {
		t.Errorf("the next time it is asked again: %s", got)
	}
	form["table"] = "REF;Instrument;Anzahl\nA;a;1\n"
	if got := send(form, file); !strings.Contains(got, "Datei und Text zugleich") {
		t.Errorf("a file beside a text is not said: %s", got)
	}
	res, err := http.Get(h.URL + "/lists/empty.xlsx?lang=de")
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	empty, err := io.ReadAll(res.Body)
	if err != nil {
		t.Fatal(err)
	}
	if got := workplace.ReadTable(empty, columnWords(t)); len(got.Wrong) != 1 || !strings.Contains(got.Wrong[0].What, "no lines below") {
		t.Errorf("the empty table is read as %+v", got)
	}
}

func FuzzReadTable(f *testing.F) {
	columns := columnWords(f)
	seeds := []string{"item,description,quantity\nA,a,1\n", "line;item;description;quantity\r\n1;A;\"a\nb\";2",
		"PK\x03\x04", "\xef\xbb\xbf\n\n"}
	for _, s := range seeds {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, raw []byte) {
		read := workplace.ReadTable(raw, columns)
		lines, bad := read.Lines, read.Wrong
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
	t.Parallel()
	h := workplacetest.NewHouse(t, "VAS-003")
	p := workplacetest.Browser(t).Tab(t, workplacetest.Wall)
	p.Open(h.URL + "/lists/VAS-MINOR")
	p.AwaitText("main", "No packed set carries an older version")
	fill := func(table string) {
		browsertest.Eval[bool](p,
			`(document.querySelector("#lf-table").value = `+quote(table)+`,
				document.querySelector("#lf-badge").value = "B-1001",
				document.querySelector("#lf-station").value = "north/packing-1",
				document.querySelector(".listform").requestSubmit(), true)`)
	}
	before := h.Size()
	fill("line,item,description,quantity\n1,INS-001,Forceps,many\n2,,Clamp,2\n")
	p.AwaitText("[role=alert]", "Row 2: quantity is \"many\"")
	p.AwaitText("[role=alert]", "Row 3: line 2: item is missing")
	p.Axe()
	fill("line,item,description,quantity\n1,INS-001,\"Forceps, mosquito, curved, 12.5 cm (1)\",5\n" +
		"2,VAS-002,\"Clamp, vascular, angled, 22 cm\",2\n4,VAS-004,Dilator,1\n")
	p.AwaitText("main", "Issue version 2")
	p.AwaitText("table", "4 × Forceps, mosquito")
	p.AwaitText("table", "line removed")
	p.AwaitText("table", "new line")
	p.Axe()
	p.Shot("list-changes-wall")
	if h.Size() != before {
		t.Fatal("a list was issued before it was confirmed")
	}
	p.Touch(`form:has(input[name="issue"]) button`)
	p.AwaitText("main", "VAS-MINOR version 2 is issued")
	p.AwaitText(".openlines", "VAS-003: version 1")
	p.Axe()
	vs, err := h.Site.Lists(t.Context(), "VAS-MINOR")
	if err != nil {
		t.Fatal(err)
	}
	if n := len(vs); n != 2 || vs[1].By != "B-1001" || len(vs[1].LineRows) != 3 {
		t.Errorf("versions: %+v", vs)
	}
	fill(browsertest.Eval[string](p, `document.querySelector("#lf-table").value`))
	p.AwaitText("[role=alert]", "says this already")
}

// TestListStationIsChosen: no station is chosen for who writes a list; the one that
// was chosen is offered to the same browser again.
func TestListStationIsChosen(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	client := &http.Client{Jar: jar}
	read := func(res *http.Response, err error) string {
		if err != nil {
			t.Fatal(err)
		}
		defer res.Body.Close()
		raw, err := io.ReadAll(res.Body)
		if err != nil {
			t.Fatal(err)
		}
		return string(raw)
	}
	send := func(station string) string {
		var body strings.Builder
		w := multipart.NewWriter(&body)
		for k, v := range map[string]string{"list": "NEW", "title": "New", "badge": "B-1", "station": station, "issue": "1", // version 1
			"table": "item,description,quantity\nA,a,1\n"} {
			if err := w.WriteField(k, v); err != nil {
				t.Fatal(err)
			}
		}
		if err := w.Close(); err != nil {
			t.Fatal(err)
		}
		return read(client.Post(h.URL+"/lists", w.FormDataContentType(), strings.NewReader(body.String())))
	}
	if page := read(client.Get(h.URL + "/lists")); strings.Contains(page, "selected") || !strings.Contains(page,
		`<option value="">choose`) {
		t.Error("a station is chosen that nobody chose")
	}
	if got := send(""); !strings.Contains(got, "Choose the station that issues the list") {
		t.Errorf("without a station: %s", got)
	}
	if got := send("north/packing-1"); !strings.Contains(got, "NEW version 1 is issued") {
		t.Fatalf("with a station: %s", got)
	}
	if page := read(client.Get(h.URL + "/lists")); !strings.Contains(page, "<option selected>north/packing-1") {
		t.Error("the station chosen last is not offered again")
	}
	if page := h.Get("/lists"); strings.Contains(page, "selected") {
		t.Error("another browser is offered it too")
	}
}

// TestListFaultsInGerman: what the ledger would refuse of a list is said in the page's
// language, with the line, for every kind of fault; nothing of it is issued.
func TestListFaultsInGerman(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	before := h.Size()
	const head = "Zeile;Artikel;Bezeichnung;Anzahl\n"
	long := strings.Repeat("x", 401)
	many := head
	for i := range events.MaxLines + 1 {
		many += fmt.Sprintf("%d;A-%d;Klemme;1\n", i+1, i+1)
	}
	for name, c := range map[string]struct{ list, title, cycles, table, want string }{
		"list":        {"VAS 9", "Neu", "", head + "1;A;Klemme;1\n", "Listennummer „VAS 9“ enthält ein Leerzeichen"},
		"title":       {"VAS-9", long, "", head + "1;A;Klemme;1\n", "Titel: mehr als 400 Zeichen"},
		"no title":    {"VAS-9", "", "", head + "1;A;Klemme;1\n", "Titel fehlt"},
		"cycle":       {"VAS-9", "Neu", "ok " + long, head + "1;A;Klemme;1\n", "Programm: mehr als 64 Zeichen"},
		"description": {"VAS-9", "Neu", "", head + "1;A;Klemme;1\n7;B;" + long + ";1\n", "Zeile 7: Bezeichnung: mehr als 400 Zeichen"},
		"turned":      {"VAS-9", "Neu", "", head + "1;A;Kle\u202Emme;1\n", "Zeile 1: Bezeichnung: enthält U+202E"},
		"control":     {"VAS-9", "Neu", "", head + "1;A;Kle\u0001mme;1\n", "Zeile 1: Bezeichnung: enthält ein Steuerzeichen"},
		"quantity":    {"VAS-9", "Neu", "", head + "3;A;Klemme;10000\n", "Zeile 3: Anzahl ist 10000; erlaubt ist 0 bis 9999"},
		"line":        {"VAS-9", "Neu", "", head + "10000;A;Klemme;1\n", "Zeilennummer ist 10000; erlaubt ist 1 bis 9999"},
		"lines":       {"VAS-9", "Neu", "", many, "höchstens 1000 Zeilen"},
	} {
		var body strings.Builder
		w := multipart.NewWriter(&body)
		for k, v := range map[string]string{"list": c.list, "title": c.title, "cycles": c.cycles, "table": c.table,
			"badge": "B-1", "station": "north/packing-1", "issue": "1"} {
			if err := w.WriteField(k, v); err != nil {
				t.Fatal(err)
			}
		}
		if err := w.Close(); err != nil {
			t.Fatal(err)
		}
		r, err := http.NewRequestWithContext(t.Context(), http.MethodPost, h.URL+"/lists", strings.NewReader(body.String()))
		if err != nil {
			t.Fatal(err)
		}
		r.Header.Set("Content-Type", w.FormDataContentType())
		r.Header.Set("Accept-Language", "de")
		res, err := http.DefaultClient.Do(r)
		if err != nil {
			t.Fatal(err)
		}
		raw, err := io.ReadAll(res.Body)
		if err = errors.Join(err, res.Body.Close()); err != nil {
			t.Fatal(err)
		}
		if page := html.UnescapeString(string(raw)); !strings.Contains(page, c.want) {
			_, page, _ = strings.Cut(page, `role="alert"`)
			t.Errorf("%s: want %q in %.400s", name, c.want, page)
		}
	}
	if h.Size() != before {
		t.Errorf("%d records of lists with faults", h.Size()-before)
	}
	de := columnWords(t).Names.In("de")
	for _, key := range events.Faults() {
		if !de.Has("workplace.fault-" + key) {
			t.Errorf("no entry for the fault %q", key)
		}
	}
}

func quote(s string) string {
	return "`" + strings.ReplaceAll(s, "`", "\\`") + "`"
}

// TestListTableIsNoFormula: what a spreadsheet would compute has a quote before it in a list's table, which reads back as
// the same lines.
func TestListTableIsNoFormula(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	lines := []events.Line{
		{Line: 1, Item: "=1+1", Description: "@SUM(A1)", Quantity: 2}, {Line: 2, Item: "-A", Description: "+B", Quantity: 1},
		{Line: 3, Item: "A'", Description: "'quoted'", Quantity: 1}, {Line: 4, Item: "4E5", Description: "4E5", Quantity: 1}}
	h.Record("north/packing-1", events.KindListIssued, "", &events.ListIssued{List: "SUM", Version: 1, Title: "t", Lines: lines})
	raw := h.Get("/lists/SUM/table.csv")
	for cell := range strings.FieldsFuncSeq(raw, func(r rune) bool { return strings.ContainsRune(",\n\"", r) }) {
		if strings.ContainsRune("=+-@", rune(cell[0])) {
			t.Errorf("%q begins a formula in\n%s", cell, raw)
		}
	}
	if got := workplace.ReadTable([]byte(raw), columnWords(t)); len(got.Wrong) > 0 || fmt.Sprint(got.Lines) != fmt.Sprint(lines) {
		t.Errorf("%+v", got)
	}
}
