//go:build !race

package board_test

import (
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/browsertest"
	"listbound/cmd/internal/site"
	"listbound/projections/readmodel"
)

// TestDayPage: the day's page in both languages says of each case what it lacks, the board who waits for a set, and both lead
// to each other; a table of either has the same.
func TestDayPage(t *testing.T) {
	srv, s := ownWeek(t)
	now := s.Clock()
	var broken readmodel.BoardRow
	err := s.Ask(func(v *site.View) error {
		rows, err := v.Board(t.Context(), readmodel.BoardFilter{}, nil, 1000)
		for _, r := range rows {
			if !r.Opened && !r.Over && r.Trip != "" {
				broken = r
			}
		}
		return err
	})
	if err != nil || broken.Set == "" {
		t.Fatalf("no set on the board that is still closed: %v", err)
	}
	start := now.Add(40 * time.Minute).UTC()
	file := "case,room,start,sets,lists\nK-0901,OR 3," + start.Format(time.RFC3339) + "," + broken.Set + ",\nK-0902,OR 4," +
		start.Add(time.Minute).Format(time.RFC3339) + ",,\nK-0903,OR 5," + start.Format(time.RFC3339) + ",NOBODY,\n"
	if _, err := s.ImportSchedule(t.Context(), []byte(file), site.ScheduleAsked{Operator: "B-1"}); err != nil {
		t.Fatal(err)
	}
	day := "/day?day=" + start.In(s.Zone()).Format(time.DateOnly)
	for lang, says := range map[string][]string{
		"en": {"Before incision", "Something is missing", "OR 3", "K-0901", ">" + broken.Set + "<",
			"3 cases by the schedule, 2 of them lack something",
			"1 more thing is wanted that no list or set here is called", "in 40 min", "All that is wanted is there"},
		"de": {"Vor dem Schnitt", "Es fehlt etwas", "3 Eingriffe nach dem Plan, 2 davon fehlt etwas", "in 40 Min."},
	} {
		body := page(t, srv.URL+day+"&lang="+lang)
		for _, x := range says {
			if !strings.Contains(body, x) {
				t.Errorf("%s: the day's page lacks %q", lang, x)
			}
		}
	}
	if part := page(t, srv.URL+day+"&part=rows"); strings.Contains(part, "<html") || !strings.Contains(part, "K-0901") {
		t.Error("the part that is asked for again is the whole page")
	}
	header, found := rows(t, srv.URL+day+"&format=csv&table=day")
	if len(found) != 3 || len(header) != 10 {
		t.Errorf("%q\n%q", header, found)
	}
	body := page(t, srv.URL+"/?wanted=1")
	if !strings.Contains(body, "Wanted by OR 3") || strings.Count(body, `<article class="row`) < 1 ||
		!strings.Contains(body, `href="/day"`) {
		t.Error("the board doesn't say which case waits for the set")
	}
	header, all := rows(t, srv.URL+"/?format=csv&table=board")
	group, first := slices.Index(header, "Stage"), ""
	for _, row := range all {
		if first == "" && group >= 0 && row[group] == "Not opened yet" {
			first = row[0]
		}
	}
	if first != broken.Set {
		t.Errorf("of what is not opened yet %q stands first, and the case in 40 min waits for %s: %q", first, broken.Set, header)
	}
	header, wanted := rows(t, srv.URL+"/?wanted=1&format=csv&table=board")
	incident := slices.Index(header, "Incident")
	if len(wanted) == 0 || wanted[0][0] != broken.Set || !strings.Contains(strings.Join(wanted[0], "|"), "OR 3 K-0901") {
		t.Errorf("%q", wanted)
	}
	for _, row := range wanted { // what else shows in the same incident goes with it
		if row[incident] != wanted[0][incident] {
			t.Errorf("of another incident: %q", row)
		}
	}
	if body := page(t, srv.URL+"/?list="+url.QueryEscape(broken.List)); !strings.Contains(body, "Wanted by OR 3") {
		t.Error("without the filter a row doesn't say it")
	}
}

// TestDayInTheBrowser: the day's page at each size and in both languages has nothing that sticks out sideways or that axe
// finds, and follows what the schedule says, without being loaded anew.
func TestDayInTheBrowser(t *testing.T) {
	srv, s := ownWeek(t)
	at := s.Clock().Truncate(time.Minute).UTC()
	lines := []string{"case,room,start,sets,lists,state"}
	add := func(ref, room string, minutes int, sets, lists string) {
		lines = append(lines, strings.Join([]string{ref, room,
			at.Add(time.Duration(minutes) * time.Minute).Format(time.RFC3339), sets, lists, ""}, ","))
	}
	var sets, lists []string
	err := s.Ask(func(v *site.View) (err error) {
		if sets, err = v.SetNames(t.Context()); err == nil {
			lists, err = v.Lists(t.Context())
		}
		return err
	})
	if err != nil || len(sets) < 8 || len(lists) < 3 {
		t.Fatalf("%d sets, %d lists, %v", len(sets), len(lists), err)
	}
	add("K-0901", "OR 3", 35, sets[0]+" "+sets[5], lists[0])
	add("K-0902", "Operating room for long names 4", 50, strings.Join(sets[1:8], " "), lists[1]+" x3 "+lists[2])
	add("K-0903", "OR 5", 95, "NOBODY", "")
	add("K-0904", "OR 6", 20, "", lists[len(lists)-1])
	add("K-0905", "OR 7", -300, sets[2], "")
	add("K-0906", "", 200, "", "")
	add("K-0907", "OR 8", 240, sets[1], "")
	take := func(file string) {
		t.Helper()
		if _, err := s.ImportSchedule(t.Context(), []byte(file), site.ScheduleAsked{Operator: "B-1"}); err != nil {
			t.Fatal(err)
		}
	}
	take(strings.Join(lines, "\n") + "\n")
	take("case,start,state\nK-0907,,cancelled\n")
	day := "/day?day=" + at.In(s.Zone()).Format(time.DateOnly)
	b := browser(t)
	for _, size := range browsertest.Sizes() {
		tab := b.Tab(t, size)
		for _, lang := range []string{"en", "de"} {
			tab.Open(srv.URL + day + "&lang=" + lang)
			if wide := browsertest.Eval[int](tab, "document.documentElement.scrollWidth - innerWidth"); wide > 0 {
				t.Errorf("%s at %s is %d pixels wider than the window", lang, size.Name, wide)
			}
			if strings.Contains(browsertest.Eval[string](tab, "document.body.innerText"), "board.") {
				t.Errorf("%s shows the key of a text", lang)
			}
			tab.Shot("day-" + size.Name + "-" + lang)
			if (lang == "de") == (size.Name == "phone") { // of the words axe knows no language
				tab.Axe()
			}
		}
		if size.Name != "desk" {
			continue
		}
		tab.Until(`document.getElementById("live").textContent != ""`)
		take("case,start\nK-0999," + at.Add(5*time.Minute).Format(time.RFC3339) + "\n")
		tab.Until(`document.getElementById("rows").innerText.includes("K-0999")`)
		tab.Open(srv.URL + "/?wanted=1")
		tab.Shot("board-wanted")
		tab.Axe()
	}
}
