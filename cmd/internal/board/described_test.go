//go:build !race

package board_test

import (
	"encoding/json"
	"fmt"
	"maps"
	"mime"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"

	"listbound/cmd/internal/browsertest"
	"listbound/cmd/internal/site"
	"listbound/projections"
)

// TestDescriptionFitsTheServer asks every described address and holds the
// answer, member by member, against its description.
func TestDescriptionFitsTheServer(t *testing.T) {
	srv, _ := weekServer(t)
	d := description(t, srv.URL)
	for _, path := range slices.Sorted(maps.Keys(d.Paths)) {
		op, ok := d.Paths[path]["get"]
		if !ok || len(d.Paths[path]) != 1 {
			t.Errorf("%s: the description is of what reads, and that is get", path)
			continue
		}
		q, at := url.Values{}, path
		for _, p := range op.Parameters {
			switch {
			case p.In == "path":
				at = strings.ReplaceAll(at, "{"+p.Name+"}", fmt.Sprint(p.Example))
			case p.Example != nil:
				q.Set(p.Name, fmt.Sprint(p.Example))
			}
		}
		code, head, body := get(t, srv.URL+at+"?"+q.Encode())
		kind, _, err := mime.ParseMediaType(head.Get("Content-Type"))
		if code != http.StatusOK || err != nil {
			t.Errorf("%s: %d, %s: %.200s", path, code, head.Get("Content-Type"), body)
			continue
		}
		content, ok := op.Responses["200"].Content[kind]
		if !ok {
			t.Errorf("%s answers %s, which is not described", path, kind)
			continue
		}
		if kind != "application/json" {
			if body == "" {
				t.Errorf("%s answers nothing", path)
			}
			continue
		}
		var v any
		if err := json.Unmarshal([]byte(body), &v); err != nil {
			t.Errorf("%s: %v", path, err)
			continue
		}
		if a, ok := v.([]any); ok && len(a) == 0 {
			t.Errorf("%s answers an empty array, which shows nothing", path)
		}
		for _, bad := range d.check(path, content.Schema, v) {
			t.Error(bad)
		}
		if _, ok := op.Responses["400"]; ok {
			code, _, body := get(t, srv.URL+path+"?limit=none&as-of=never&case=K")
			var e any
			if err := json.Unmarshal([]byte(body), &e); code != http.StatusBadRequest || err != nil {
				t.Errorf("%s with a question that can't be read: %d %s", path, code, body)
			} else if bad := d.check(path, op.Responses["400"].Content["application/json"].Schema, e); len(bad) > 0 {
				t.Error(bad)
			}
		}
	}
}

// TestPagesInTheBrowser opens every page in every size and both languages, runs
// axe-core on it, and holds that nothing sticks out of the window sideways.
func TestPagesInTheBrowser(t *testing.T) {
	t.Parallel()
	srv, _ := weekServer(t)
	b := browser(t)
	pages := addresses(t)
	if len(pages) < 15 {
		t.Fatal("too few pages")
	}
	for name, path := range pages {
		want := http.StatusOK
		if name == "refused" {
			want = http.StatusNotFound
		}
		if got, _, _ := get(t, srv.URL+path); got != want {
			t.Errorf("%s is answered %d, want %d", name, got, want)
		}
	}
	for _, size := range browsertest.Sizes() {
		tab := b.Tab(t, size)
		for name, path := range pages {
			if size.Name == "old" && !slices.Contains([]string{"board", "swapped", "case", "touched", "station"}, name) {
				continue // of the others the two sizes beside it say as much
			}
			tab.Open(srv.URL + path)
			if wide := browsertest.Eval[int](tab, "document.documentElement.scrollWidth - innerWidth"); wide > 0 {
				t.Errorf("%s at %s is %d pixels wider than the window", name, size.Name, wide)
			}
			for _, word := range browsertest.Eval[[]string](tab, wordsOutside) {
				t.Errorf("%s at %s: %q is wider than its link", name, size.Name, word)
			}
			if strings.Contains(browsertest.Eval[string](tab, "document.body.innerText"), "board.") {
				t.Errorf("%s shows the key of a text", name)
			}
			tab.Shot(name + "-" + size.Name)
			if size.Name == "desk" || size.Name == "phone" && slices.Contains([]string{"board", "swapped", "touched", "station"}, name) {
				tab.Axe()
			}
		}
	}
	tab := b.Tab(t, browsertest.Sizes()[2]) // German words are long, so where there is least room
	for name, path := range pages {
		join := "?"
		if strings.Contains(path, "?") {
			join = "&"
		}
		tab.Open(srv.URL + path + join + "lang=de")
		text := browsertest.Eval[string](tab, "document.body.innerText")
		if strings.Contains(text, "board.") || !strings.Contains(text, "Zeiten in UTC") {
			t.Errorf("%s in German is not whole", name)
		}
		if wide := browsertest.Eval[int](tab, "document.documentElement.scrollWidth - innerWidth"); wide > 0 {
			t.Errorf("%s in German is %d pixels wider than a phone", name, wide)
		}
		for _, word := range browsertest.Eval[[]string](tab, wordsOutside) {
			t.Errorf("%s in German: %q is wider than its link", name, word)
		}
		tab.Shot(name + "-de")
	}
}

// TestBothClocksAndCorrections: the week's late and corrected records are marked
// as such in their set's picture, in words and by shape, and in the table.
func TestBothClocksAndCorrections(t *testing.T) {
	srv, s := weekServer(t)
	var late, corrected int
	seen := make(map[string]bool)
	var stored struct {
		Events []struct {
			Event struct{ Subject, Trip, Type string }
		}
		Next string
	}
	for at := "/api/events?limit=1000"; at != ""; at = stored.Next {
		stored.Next = ""
		stored.Events = nil
		if err := json.Unmarshal([]byte(page(t, srv.URL+at)), &stored); err != nil {
			t.Fatal(err)
		}
		for _, e := range stored.Events {
			if e.Event.Trip != "" {
				seen[e.Event.Trip] = true
			}
		}
	}
	for trip := range seen {
		h, err := s.History(t.Context(), site.Query{Trip: trip})
		if err != nil {
			t.Fatal(err)
		}
		i := slices.IndexFunc(h.Events, func(e projections.HistoryEvent) bool {
			return e.Trip == trip && (e.Voided != 0 || e.Replaced != 0 || e.Late)
		})
		if i < 0 {
			continue
		}
		e := h.Events[i]
		body := page(t, srv.URL+"/history?trip="+trip)
		picture := svgs.FindString(body)
		words := described(t, trip, picture)
		switch {
		case e.Voided != 0:
			corrected++
			if !strings.Contains(words, fmt.Sprintf("Record %d is void by record %d.", e.Seq, e.Voided)) ||
				!strings.Contains(body, fmt.Sprintf("void by record %d", e.Voided)) {
				t.Errorf("record %d is void; the page of %s does not say so", e.Seq, e.Set)
			}
		case e.Replaced != 0:
			corrected++
			if !strings.Contains(words, fmt.Sprintf("Record %d was corrected by record %d.", e.Seq, e.Replaced)) ||
				!strings.Contains(body, fmt.Sprintf("corrected by record %d", e.Replaced)) {
				t.Errorf("record %d was corrected; the page of %s does not say so", e.Seq, e.Set)
			}
		default:
			late++
			if !strings.Contains(words, fmt.Sprintf("Record %d was observed", e.Seq)) || !strings.Contains(picture, ">Recorded<") {
				t.Errorf("record %d came late; the picture of %s does not say so: %s", e.Seq, e.Set, words)
			}
		}
	}
	if late == 0 || corrected == 0 {
		t.Fatalf("%d late and %d corrected records in the week", late, corrected)
	}
}
