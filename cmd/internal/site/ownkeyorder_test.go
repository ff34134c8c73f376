//go:build !race

package site_test

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/refusal"
	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections"
)

// TestRetiredAsOf: a tablet that was lost is retired as of the moment when that was. What it observed until then stands, what it
// observed later is doubtful, in whatever order records and retirement come; a bundle of them says the same, and so does the folder
// when it is judged anew. A new key goes on meanwhile.
func TestRetiredAsOf(t *testing.T) {
	moment := noon.Add(-40 * time.Minute)
	var first []string
	for _, order := range []string{"12345R", "R12345", "5R3142", "42R531", "R54321"} {
		clock := noon.Add(-2 * time.Hour)
		s := open(t, t.TempDir(), site.Options{Name: "north", Clock: func() time.Time { return clock }})
		own := &chained{ownKey: enrolOwnKey(t, s, "north/or-9")}
		var notes [][]byte
		for i, minutes := range []int{60, 40, 39, 20, 5} {
			notes = append(notes, own.note(seen(fmt.Sprintf("LAP-00%d", i+1), minutes)))
		}
		clock = noon
		for _, step := range order {
			if step != 'R' {
				record(t, s, signedLine(t, notes[step-'1']))
				continue
			}
			if _, err := s.Retire(t.Context(), own.name, "tablet lost", moment); err != nil {
				t.Fatal(err)
			}
			sts, err := s.Stations(t.Context())
			if i := slices.IndexFunc(sts, func(st site.Station) bool { return st.Name == own.name }); err != nil || i < 0 ||
				!sts[i].RetiredAsOf.Equal(moment) {
				t.Errorf("%s: stations %+v, %v; want it retired as of %s", order, sts, err, moment)
			}
		}
		clock = noon.Add(time.Minute)
		next := &chained{ownKey: enrolOwnKey(t, s, "north/or-9")}
		record(t, s, signedLine(t, next.note(seen("LAP-009", -1))))
		if sts, err := s.Stations(t.Context()); err != nil || slices.ContainsFunc(sts, func(st site.Station) bool {
			return !st.RetiredAsOf.IsZero()
		}) {
			t.Errorf("%s: enrolled again, and %+v, %v", order, sts, err)
		}
		var got []string
		for _, set := range []string{"LAP-001", "LAP-002", "LAP-003", "LAP-004", "LAP-005", "LAP-009"} {
			got = append(got, strings.Join(remarked(t, s, set), "; "))
			evidenceOf(t, s, site.Query{Set: set}) // which holds
		}
		late := events.RemarkRetired.String()
		if want := []string{"", "", late, late, late, ""}; !slices.Equal(got, want) {
			t.Errorf("%s: remarks %q, want %q", order, got, want)
		}
		vs, err := s.Broken(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		var found []string
		for _, v := range vs {
			for _, f := range v.Findings {
				found = append(found, fmt.Sprintln(v.Set, v.Status, f.Code, f.Severity, f.From, f.To, f.Detail))
			}
		}
		slices.Sort(found)
		if first == nil {
			first = found
		}
		if !slices.Equal(found, first) || !strings.Contains(strings.Join(found, ""), "LAP-003 doubtful station-retired") {
			t.Errorf("%s: found %q, in the first order %q", order, found, first)
		}
	}
	s := open(t, t.TempDir(), site.Options{Name: "north"})
	own := enrolOwnKey(t, s, "north/or-9")
	if _, err := s.Retire(t.Context(), own.name, "lost", noon.Add(time.Minute)); !refusal.Is(err) {
		t.Errorf("as of a moment still to come: %v", err)
	}
	enrolOwnKey(t, s, "north/or-9")
	if _, err := s.Retire(t.Context(), own.name, "lost", noon.Add(-time.Minute)); !refusal.Is(err) {
		t.Errorf("as of when it had another key: %v", err)
	}
}

// TestAnyOrderOfSending: records that are sent in another order than they were made are whole in the end, whatever the order
// and however they are divided among requests; and what was known in between can still be asked.
func TestAnyOrderOfSending(t *testing.T) {
	for seed := range uint64(8) {
		r := rand.New(rand.NewPCG(seed, 3))
		clock := noon
		s := open(t, t.TempDir(), site.Options{Name: "north", Clock: func() time.Time { return clock }})
		own := &chained{ownKey: enrolOwnKey(t, s, "north/or-9")}
		var notes [][]byte
		for i := range 6 {
			notes = append(notes, own.note(seen("LAP-001", 60-10*i)))
		}
		order := []int{1, 0, 3, 2, 4, 5}
		if seed > 0 {
			order = r.Perm(len(notes))
		}
		for _, i := range order {
			clock = clock.Add(time.Minute)
			record(t, s, signedLine(t, notes[i]))
			if seed == 0 && i == 1 && !slices.Equal(codes(t, s), []projections.Code{projections.StationGap}) {
				t.Errorf("while record 1 is missing: %v", codes(t, s))
			}
		}
		if got := codes(t, s); len(got) > 0 {
			t.Errorf("sent as %v: %v", order, got)
		}
		if got := strings.Join(remarked(t, s, "LAP-001"), ""); got != "" {
			t.Errorf("sent as %v: %s", order, got)
		}
		if seed > 0 {
			continue
		}
		h, err := s.History(t.Context(), site.Query{Set: "LAP-001", AsOf: noon.Add(90 * time.Second)})
		if err != nil || len(h.Events) != 1 || !slices.Equal(h.Events[0].Remarks, []string{events.RemarkGap.String()}) {
			t.Errorf("as of when record 2 alone was there: %+v, %v", h.Events, err)
		}
	}
}
