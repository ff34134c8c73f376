//go:build !race

package packing_test

import (
	"fmt"
	"io"
	"net/http"
	"slices"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/workplace"
	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// helped is a list whose lines say what helps to tell an instrument: all of it, one thing,
// nothing.
func helped(version int64) *events.ListIssued {
	l := workplacetest.ListShort()
	l.Version = version
	l.Lines[0].Mark, l.Lines[0].Names, l.Lines[0].Substitutes = "two blue rings", "Halsted, \"mosquito\"", "INS-101, INS-102"
	l.Lines[0].Parts, l.Lines[0].TrayPlace = 2, "left, upper layer"
	l.Lines[2].TrayPlace = "pin mat"
	return l
}

// TestLinesThatHelp: what a list says of a line besides is in its table, which reads
// itself back, and on the pages where people pack and count; lines that say nothing
// leave nothing there.
func TestLinesThatHelp(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Record("north/packing-1", events.KindListIssued, "", helped(2))
	h.Trips["VAS-003"] = h.Record("north/packing-1", events.KindSetPacked, "VAS-003", &events.SetPacked{List: "VAS-MINOR", Version: 2}).Trip
	h.After(time.Minute)
	res, err := http.Get(h.URL + "/lists/VAS-MINOR/table.csv")
	if err != nil {
		t.Fatal(err)
	}
	raw, err := io.ReadAll(res.Body)
	res.Body.Close()
	if err != nil {
		t.Fatal(err)
	}
	got := workplace.ReadTable(raw, columnWords(t))
	if !slices.Equal(got.Lines, helped(2).Lines) {
		t.Errorf("read back from\n%s: %+v %v", raw, got.Lines, got.Wrong)
	}
	h.Record("north/or-3", events.KindSetOpened, "VAS-003", &events.SetOpened{Case: "K-1", Tag: "VAS-003"})
	s := &workplacetest.Scanner{House: h, Path: "/at/north/packing-1/packing"}
	h.After(time.Minute)
	bench := fmt.Sprint(s.Scan(workplacetest.Label(t, events.ScanTag, "VAS-003"))["bench"])
	for where, page := range map[string]string{
		"packing": bench, "count": h.Get("/at/north/or-3/count?case=K-1"), "lists": h.Get("/lists/VAS-MINOR"),
	} {
		for _, says := range []string{"marked two blue rings", "2 parts each", "on the tray: left, upper layer", "also called Halsted"} {
			if strings.Count(page, says) < 1 {
				t.Errorf("%s doesn't say %q", where, says)
			}
		}
		if where != "count" && !strings.Contains(page, "in its place: INS-101, INS-102") {
			t.Errorf("%s doesn't say what may be packed in its place", where)
		}
	}
	if n := strings.Count(bench, "on the tray:"); n != 2 {
		t.Errorf("packing says %d places on the tray, want 2", n)
	}
}

// TestTablesThatHelp: such columns come under the names that people give them, and a
// number of parts is a whole number.
func TestTablesThatHelp(t *testing.T) {
	how := columnWords(t)
	got := workplace.ReadTable([]byte("REF;Bezeichnung;Anzahl;Teile;Kennzeichnung;Platz auf dem Sieb\n"+
		"A-1;Schere;2;3,0;rot;oben\nA-2;Klemme;1;;;\n"), how)
	want := []events.Line{{Line: 1, Item: "A-1", Description: "Schere", Quantity: 2, Parts: 3, Mark: "rot", TrayPlace: "oben"},
		{Line: 2, Item: "A-2", Description: "Klemme", Quantity: 1}}
	if !slices.Equal(got.Lines, want) {
		t.Errorf("%+v %v", got.Lines, got.Wrong)
	}
	for cell, says := range map[string]string{
		"some": "parts is \"some\", not a whole number", "-1": "parts is -1", "2.5": "not a whole number",
	} {
		got := workplace.ReadTable([]byte("item,description,quantity,parts\nA-1,Scissors,2,"+cell+"\n"), how)
		if len(got.Wrong) != 1 || !strings.Contains(got.Wrong[0].Error(), says) {
			t.Errorf("%q parts: %v", cell, got.Wrong)
		}
	}
}
