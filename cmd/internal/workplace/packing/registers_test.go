//go:build !race

package packing_test

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/xuri/excelize/v2"

	"listbound/cmd/internal/site"
	"listbound/cmd/internal/workplace"
	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
	"listbound/projections/facts"
)

// registerHow reads registers' tables as of the end of November 2026.
func registerHow(t testing.TB) workplace.How {
	t.Helper()
	how := columnWords(t)
	how.Zone, how.Now = time.UTC, time.Date(2026, 11, 27, 8, 0, 0, 0, time.UTC)
	return how
}

// TestReadRegister: tables of people as other programs write them, with what is wrong by row.
func TestReadRegister(t *testing.T) {
	how := registerHow(t)
	read := func(raw string, r events.Register) workplace.RegisterTable {
		return workplace.ReadRegister([]byte(raw), r, func(id string) bool { return id == "b-0077" }, how)
	}
	got := read("Staff list\n\nBadge No.;Surname;First name;Roles;Valid from;Valid to\n"+
		"b‑1001;Weiß;Zoë;records, leads;2019-04-01;30.6.2027\n b-0077 ;;;records;2027-02-01;\n", events.RegisterPeople)
	if len(got.Wrong) > 0 || len(got.Entries) != 2 {
		t.Fatalf("%+v", got)
	}
	d := got.Entries[0].(*events.PersonEntered)
	if d.Badge != "B-1001" || len(d.Roles) != 2 || d.Held.From != "" || d.Held.Until != "2027-07-01T00:00:00Z" ||
		got.Names["B-1001"] != "Zoë Weiß" {
		t.Errorf("%+v %v", d, got.Names)
	}
	if d := got.Entries[1].(*events.PersonEntered); d.Badge != "b-0077" || d.Held.From != "2027-02-01T00:00:00Z" {
		t.Errorf("known by a name in small letters: %+v", d)
	}
	got = read("tray no,list,high risk,tags\n'=LAP-014,LAP-MAJOR,Y,\"70014; 70015\"\n", events.RegisterSets)
	if d := got.Entries[0].(*events.SetEntered); d.Set != "=LAP-014" || !d.HighRisk || len(d.Tags) != 2 {
		t.Errorf("%+v", d)
	}
	got = read("station,work,where\nNorth/OR-3,OP,OR 3\nnorth/x,Foyer,\n", events.RegisterStations)
	if len(got.Entries) != 0 || fmt.Sprint(got.Unknown) != "[Foyer]" {
		t.Errorf("a word nobody knows: %+v", got)
	}
	how.Words = map[string]string{"foyer": "packing,storage"}
	got = read("station,work,where\nNorth/OR-3,OP,OR 3\nnorth/x,Foyer,\n", events.RegisterStations)
	if len(got.Entries) != 2 || len(got.Entries[1].(*events.StationEntered).Works) != 2 ||
		got.Entries[0].(*events.StationEntered).Name != "north/or-3" {
		t.Errorf("said once: %+v", got)
	}
	got = read("set\n"+strings.Repeat("A-1\n", 20_001), events.RegisterSets)
	if len(got.Wrong) != 1 || !strings.Contains(got.Wrong[0].What, "has 20001 rows") {
		t.Errorf("more rows than any house has: %d faults", len(got.Wrong))
	}
	how.In = how.Names.In("de")
	for raw, want := range map[string]string{
		"Ausweis,Rollen\nB-1,leitet\nB-1,leitet\n":                 "Zeile 3: B-1 steht schon in Zeile 2",
		"Ausweis,Rollen\n,leitet\n":                                "Zeile 2: Ausweis fehlt",
		"Ausweis,Rollen\nB 1,leitet\n":                             `Zeile 2: Ausweis "B 1" enthält ein Leerzeichen`,
		"Ausweis,Rollen,bis\nB-1,leitet,bald\n":                    `Zeile 2: bis: "bald" ist kein Tag`,
		"Name,Rollen\nWeiß,leitet\n":                               "Es fehlt die Spalte Ausweis",
		"Ausweis,Rollen\nB-1,\n":                                   "Zeile 2: Rollen fehlt",
		"Ausweis,Rollen\n" + strings.Repeat("B", 65) + ",leitet\n": "Zeile 2: Ausweis: mehr als 64 Zeichen",
	} {
		got := read(raw, events.RegisterPeople)
		said := ""
		for _, w := range got.Wrong {
			if said = w.What; w.Row > 1 {
				said = fmt.Sprintf("Zeile %d: %s", w.Row, w.What)
			}
		}
		if len(got.Wrong) != 1 || !strings.Contains(said, want) || got.Entries != nil {
			t.Errorf("%q: %q, want %q", raw, said, want)
		}
	}
}

// TestRegisterOfASpreadsheet: a department merged beside its sets counts for each of them, a code of digits has its zeros as they are
// shown, what a formula comes to is read, and a code that was taken for a day is asked about.
func TestRegisterOfASpreadsheet(t *testing.T) {
	how := registerHow(t)
	x := excelize.NewFile()
	digits := "000000"
	style, err := x.NewStyle(&excelize.Style{CustomNumFmt: &digits})
	if err != nil {
		t.Fatal(err)
	}
	day, err := x.NewStyle(&excelize.Style{NumFmt: 14})
	if err != nil {
		t.Fatal(err)
	}
	set := func(cell string, v any) {
		t.Helper()
		if err := x.SetCellValue("Sheet1", cell, v); err != nil {
			t.Fatal(err)
		}
	}
	set("A1", "Sets of the house")
	for i, name := range []string{"set", "owner", "home", "from"} {
		set(string(rune('A'+i))+"3", name)
	}
	set("A4", 4711)
	set("A5", "LAP-2")
	set("A6", 815)
	set("A8", "LAP-4")
	set("B4", "Urology")
	set("D4", 46357) // 1 December 2026
	if err := errors.Join(x.SetCellFormula("Sheet1", "C4", `"A"&"1"`), x.SetCellStr("Sheet1", "C5", "B1"),
		x.SetCellStyle("Sheet1", "A4", "A4", style), x.SetCellStyle("Sheet1", "D4", "D4", day),
		x.MergeCell("Sheet1", "A1", "D2"), x.MergeCell("Sheet1", "B4", "B7")); err != nil {
		t.Fatal(err)
	}
	read := func() workplace.RegisterTable {
		t.Helper()
		var raw bytes.Buffer
		if err := x.Write(&raw); err != nil {
			t.Fatal(err)
		}
		return workplace.ReadRegister(raw.Bytes(), events.RegisterSets, func(string) bool { return false }, how)
	}
	got, said := read(), ""
	for _, e := range got.Entries {
		d := e.(*events.SetEntered)
		said += fmt.Sprintf("%s of %q from %q; ", d.Set, d.Owner, d.Held.From)
	}
	if want := `004711 of "Urology" from "2026-12-01T00:00:00Z"; LAP-2 of "Urology" from ""; 815 of "Urology" from ""; ` +
		`LAP-4 of "" from ""; `; said != want || len(got.Wrong) > 0 {
		t.Errorf("%s %+v, want %s", said, got.Wrong, want)
	}
	if err := x.SetCellStyle("Sheet1", "A6", "A6", day); err != nil {
		t.Fatal(err)
	}
	if got := read(); len(got.Wrong) != 1 || got.Wrong[0].Row != 6 {
		t.Errorf("a code that was taken for a day: %+v", got.Wrong)
	}
}

// TestRegisterComesBack: what was entered is exported, and imported again it changes nothing; a row that is gone ends
// where that is asked for, and a code that looks like another one is asked about.
func TestRegisterComesBack(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	in := func(r events.Register, raw string, asked workplace.ImportAsked) *workplace.Imported {
		t.Helper()
		asked.Operator = "B-1001"
		got, err := workplace.ImportRegister(t.Context(), h.Site, r, []byte(raw), asked)
		if err != nil {
			t.Fatal(err)
		}
		return got
	}
	for r, raw := range map[events.Register]string{
		events.RegisterPeople:      "badge,name,roles,until\nB-1001,Zoë Weiß,records; leads,2030-01-31\nB-1002,=cmd,records,\n",
		events.RegisterSets:        "set,list,owner,home,high risk,tags\nVAS-003,VAS-MINOR,Vascular,A4,yes,70003\nLAP-014,,,,,\n",
		events.RegisterPlaces:      "place,title\nST-A4,\"Store, A4\"\n",
		events.RegisterStations:    "station,works,sterilizers,where\nnorth/ster-2,sterilizer,S2,hall\n",
		events.RegisterSterilizers: "sterilizer,cycles,where\nS2,c-134; c-121,\n",
	} {
		got := in(r, raw, workplace.ImportAsked{})
		if len(got.Wrong)+len(got.Unknown) > 0 || got.Entered == nil || got.Entered.Records != len(got.New) || got.Entered.Held {
			t.Fatalf("%s: %+v %+v", r, got, got.Entered)
		}
		for _, xlsx := range []bool{false, true} {
			for _, lang := range []string{"en", "de"} {
				how := workplace.How{Names: h.Site.Words().Catalogue(), In: h.Site.Words().Catalogue().In(lang)}
				table, err := workplace.ExportRegister(t.Context(), h.Site, r, xlsx, how)
				if err != nil {
					t.Fatal(err)
				}
				again := in(r, string(table), workplace.ImportAsked{Whole: true})
				if again.RegisterChange == nil || again.Entered == nil || again.Entered.Records != 0 || again.Same != len(got.New) {
					t.Errorf("%s, %s, xlsx %v: %+v of\n%s", r, lang, xlsx, again, table)
				}
			}
		}
	}
	raw, err := os.ReadFile(filepath.Join(h.Site.Dir(), "people.json"))
	if err != nil {
		t.Fatal(err)
	}
	names := string(raw)
	if !strings.Contains(names, "Zoë Weiß") || !strings.Contains(names, "=cmd") {
		t.Errorf("names: %s", names)
	}
	size := h.Size()
	if got := in(events.RegisterSets, "set\nVAS-OO3\n", workplace.ImportAsked{}); h.Size() != size || len(got.Alike) != 1 ||
		got.Alike[0] != (workplace.Alike{Row: 2, ID: "VAS-OO3", Like: "VAS-003"}) {
		t.Errorf("a code that looks like another one: %+v", got)
	}
	if got := in(events.RegisterSets, "set\nVAS-OO3\n", workplace.ImportAsked{Different: true}); got.Entered.Records != 1 {
		t.Errorf("said to be another one: %+v", got)
	}
	got := in(events.RegisterPeople, "badge,roles\nB-1001,records\n", workplace.ImportAsked{Whole: true, Hold: true})
	if fmt.Sprint(got.Changed, got.NotThere) != "[B-1001] [B-1002]" || !got.Entered.Held {
		t.Errorf("%+v %+v", got, got.Entered)
	}
	rows, err := site.Answer(h.Site, func(v *site.View) ([]site.RegisterRow, error) {
		return v.Register(t.Context(), events.RegisterPeople)
	})
	if err != nil || len(rows) != 2 || rows[1].State != facts.EntryEnded || rows[0].State != facts.EntryHolds || rows[0].Name == "" {
		t.Errorf("%+v %v", rows, err)
	}
	size = h.Size()
	if got := in(events.RegisterPeople, "badge,until\nB-1,2020-01-01\n", workplace.ImportAsked{}); got.Past != 1 || h.Size() != size {
		t.Errorf("somebody who left long ago: %+v", got)
	}
	if _, err := workplace.ImportRegister(t.Context(), h.Site, "teapots", nil, workplace.ImportAsked{}); err == nil {
		t.Error("a register of teapots")
	}
}
