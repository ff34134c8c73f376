//go:build !race

package packing_test

import (
	"bytes"
	"fmt"
	"maps"
	"strings"
	"testing"
	"time"

	"github.com/xuri/excelize/v2"

	"listbound/cmd/internal/workplace"
	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// TestTwoIssueOneList: what is issued is what was shown. One who checked a change while another issued a version sees what
// it would change now, and nothing of the other's is taken away unseen.
func TestTwoIssueOneList(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	const table = "line,item,description,quantity\n1,INS-001,Forceps,4\n2,VAS-002,Clamp,%d\n3,VAS-003,Probe,3\n"
	one := map[string]string{"list": "VAS-MINOR", "title": "Vascular, minor", "badge": "B-1", "station": "north/packing-1",
		"table": fmt.Sprintf(table, 3)}
	other := maps.Clone(one)
	other["table"], other["issue"] = fmt.Sprintf(table, 2)+"4,NDL-1,\"Needle, suture\",2\n", "2"
	if page := h.PostList(one); !strings.Contains(page, `name="issue" value="2"`) {
		t.Fatalf("the page to check doesn't say which version it was shown as: %s", page)
	}
	if page := h.PostList(other); !strings.Contains(page, "VAS-MINOR version 2 is issued") {
		t.Fatalf("the other's: %s", page)
	}
	one["issue"] = "2"
	before := h.Size()
	page := h.PostList(one)
	if h.Size() != before || !strings.Contains(page, "somebody else issued this list meanwhile") || !strings.Contains(page, "NDL-1") ||
		!strings.Contains(page, `name="issue" value="3"`) {
		t.Errorf("%d records; the page that was checked before says: %s", h.Size()-before, page)
	}
	one["issue"] = "3"
	if page := h.PostList(one); !strings.Contains(page, "VAS-MINOR version 3 is issued") {
		t.Errorf("shown anew: %s", page)
	}
}

// TestReadTableAsItIsSeen: a row from which something else would be read than its maker sees is refused, not guessed.
func TestReadTableAsItIsSeen(t *testing.T) {
	how := columnWords(t)
	x := excelize.NewFile()
	row := func(n int, cells ...any) {
		t.Helper()
		if err := x.SetSheetRow("Sheet1", fmt.Sprintf("A%d", n), &cells); err != nil {
			t.Fatal(err)
		}
	}
	shownAs := func(cell, format string) {
		t.Helper()
		style, err := x.NewStyle(&excelize.Style{CustomNumFmt: &format})
		if err == nil {
			err = x.SetCellStyle("Sheet1", cell, cell, style)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	row(1, "REF", "Instrument", "Qty")
	row(2, time.Date(2026, 12, 3, 0, 0, 0, 0, time.UTC), "Clamp", 2) // typed as 12-3
	shownAs("A2", "d-mmm")
	row(3, "H-1", "Hook", 2)
	if err := x.SetRowVisible("Sheet1", 3, false); err != nil {
		t.Fatal(err)
	}
	row(4, "P-1", "#N/A", 2)
	row(5, true, "Retractor", 2)
	row(6, "Q-1", "Probe", 46359)
	shownAs("C6", "d-mmm")
	var wrong, right bytes.Buffer
	if err := x.Write(&wrong); err != nil {
		t.Fatal(err)
	}
	got := workplace.ReadTable(wrong.Bytes(), how)
	for i, want := range []string{`row 2: item is shown as "3-Dec"`, "row 3: this row is hidden", `row 4: description is shown as "#N/A"`,
		`row 5: item is shown as "TRUE"`, `row 6: quantity is shown as "3-Dec"`} {
		if i >= len(got.Wrong) || !strings.HasPrefix(got.Wrong[i].Error(), want) {
			t.Errorf("refusal %d of %v, want %s", i, got.Wrong, want)
		}
	}
	x = excelize.NewFile()
	row(1, "REF", "Instrument", "Qty")
	row(2, 4711, "Clamp", 1000)
	shownAs("A2", "000000")
	shownAs("C2", "#,##0.00")
	row(3, 123456789012345, "Probe", 2)
	shownAs("C3", `0 "pcs"`)
	row(4, "Z-1", "Hook", 3, "what stands beside the table is nobody's")
	if err := x.Write(&right); err != nil {
		t.Fatal(err)
	}
	got = workplace.ReadTable(right.Bytes(), how)
	want := []events.Line{{Line: 1, Item: "004711", Description: "Clamp", Quantity: 1000},
		{Line: 2, Item: "123456789012345", Description: "Probe", Quantity: 2}, {Line: 3, Item: "Z-1", Description: "Hook", Quantity: 3}}
	if fmt.Sprint(got.Lines) != fmt.Sprint(want) {
		t.Errorf("%+v %v, want %+v", got.Lines, got.Wrong, want)
	}

	for _, text := range []string{
		"REF,Instrument,Qty\nSC-1,Scissors 14,5,2\n", // 14,5 cm
		"REF,Instrument,Qty,\nSC-1,Scissors 14,5,2\n",
		"REF;Instrument;Qty\nA-1;Clamp;2\nSC-1;Scissors;curved;2\n",
	} {
		got := workplace.ReadTable([]byte(text), how)
		if len(got.Wrong) != 1 || !strings.Contains(got.Wrong[0].What, "more cells than headings") {
			t.Errorf("%q: %+v %v", text, got.Lines, got.Wrong)
		}
	}
	got = workplace.ReadTable([]byte("REF,Instrument,Qty\nSC-1,\"Scissors 14,5\",2,\n"), how)
	if len(got.Lines) != 1 || got.Lines[0].Quantity != 2 {
		t.Errorf("a comma at the end of a row: %+v %v", got.Lines, got.Wrong)
	}
}

// TestListKeepsItsMarks: what a list says of its sets as a whole is not taken away by a form that came without it, and
// each change of it is shown before it is issued, and after.
func TestListKeepsItsMarks(t *testing.T) {
	h := workplacetest.NewHouse(t)
	h.Record("north/packing-1", events.KindListIssued, "", &events.ListIssued{List: "IMP", Version: 1, Title: "Implants", Implants: true,
		HighRisk: true, Cycles: []string{"c-134"}, Lines: workplacetest.ListShort().Lines})
	const table = "line,item,description,quantity\n1,INS-001,Forceps,%d\n"
	form := map[string]string{"list": "IMP", "badge": "B-1", "station": "north/packing-1", "table": fmt.Sprintf(table, 4)}
	page := h.PostList(form)
	for _, want := range []string{`name="implants" value="1"`, `name="highrisk" value="1"`, `name="cycles" value="c-134"`} {
		if !strings.Contains(page, want) {
			t.Errorf("the form for any list takes %s away", want)
		}
	}
	if strings.Contains(page, `class="marks"`) {
		t.Error("a change is shown where there is none")
	}
	// From the list's own form somebody takes the tick away and names another cycle.
	form["marks"], form["cycles"], form["highrisk"] = "IMP", "c-134; C-121", "1"
	page = h.PostList(form)
	for _, want := range []string{"wait for the biological indicator: yes → no",
		"Sterilizer cycles it may run (empty: any): c-134 → c-134, C-121"} {
		if !strings.Contains(page, want) {
			t.Errorf("%q isn't shown before it is issued: %s", want, page)
		}
	}
	form["issue"] = "2"
	if page := h.PostList(form); !strings.Contains(page, "IMP version 2 is issued") || !strings.Contains(page, "yes → no") {
		t.Errorf("nor after: %s", page)
	}
	if e, err := h.Site.EventAt(h.Size()); err != nil || fmt.Sprint(e.Data.(*events.ListIssued).Cycles) != "[c-134 C-121]" {
		t.Errorf("recorded %+v: %v", e.Data, err)
	}
}

// TestListAlmostAsAnother: a list whose number is almost another's is issued only by who was told so. A cycle that policy
// doesn't name, and a badge that may not work here, issue none.
func TestListAlmostAsAnother(t *testing.T) {
	h := workplacetest.NewHouse(t)
	const table = "line,item,description,quantity\n1,INS-001,Forceps,4\n"
	form := map[string]string{"list": "VAS-M1NOR", "title": "Vascular", "badge": "B-1", "station": "north/packing-1", "table": table,
		"issue": "1"}
	before := h.Size()
	if page := h.PostList(form); !strings.Contains(page, "There is no list VAS-M1NOR yet, but there is VAS-MINOR") || h.Size() != before {
		t.Errorf("%d records: %s", h.Size()-before, page)
	}
	form["like"] = "VAS-MINOR"
	if page := h.PostList(form); !strings.Contains(page, "VAS-M1NOR version 1 is issued") {
		t.Errorf("told so: %s", page)
	}
	p := events.DefaultPolicy()
	p.Cycles = []string{"c-134"}
	h.Record("north/packing-1", events.KindPolicyAdopted, "", &events.PolicyAdopted{Policy: p})
	form = map[string]string{"list": "NEW", "title": "New", "badge": "B-1", "station": "north/packing-1", "table": table,
		"cycles": "C134,c-999"}
	if page := h.PostList(form); !strings.Contains(page, "Cycle c-999 is not one of this site") {
		t.Errorf("a cycle that nobody runs: %s", page)
	}
	form["cycles"] = "C134"
	if page := h.PostList(form); !strings.Contains(page, `name="cycles" value="c-134"`) {
		t.Errorf("a cycle in other letters: %s", page)
	}
	h.HoldTo(events.RegisterPeople)
	form["badge"], form["issue"] = "B-9999", "1"
	before = h.Size()
	if page := h.PostList(form); !strings.Contains(page, "B-9999") || strings.Contains(page, "is issued") || h.Size() != before {
		t.Errorf("%d records by a badge in no register: %s", h.Size()-before, page)
	}
}
