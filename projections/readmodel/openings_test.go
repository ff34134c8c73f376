package readmodel_test

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
	"listbound/projections/rates"
)

// openings are the sets that were opened, as the traces of their verdicts have them, but
// for those of which another tag than their own was read, or theirs under other names:
// these are counted by tray, and judgement knows more of trays than that.
func (h *hospital) openings(kept []rates.Opening) (want, got []string) {
	w := h.world()
	plain := make(map[projections.TripKey]bool)
	for _, v := range h.verdicts() {
		k := projections.TripKey{Set: v.Set, Trip: v.Trip}
		c := w.Trip(k)
		if len(c.Trays) > 0 || slices.ContainsFunc(c.Readings, func(r facts.Reading) bool { return !r.Own() }) {
			continue
		}
		plain[k] = true
		trace, err := w.Trace(k)
		if err != nil {
			h.t.Fatal(err)
		}
		at := slices.IndexFunc(trace.Links, func(l projections.TraceLink) bool { return l.Kind == events.KindSetOpened })
		if at < 0 || !v.Opened {
			continue
		}
		o := rates.Opening{TripKey: k, At: trace.Links[at].At, List: trace.List, Placement: string(trace.Placement)}
		for _, r := range trace.Readings {
			told := r.Result != projections.ResultNone && r.Result != projections.ResultUnreadable
			o.Read = o.Read || told && !r.At.Before(o.At)
		}
		for _, it := range c.Counted {
			o.Read = o.Read || it.Code != nil
		}
		want = append(want, openingText(o))
	}
	for _, o := range kept {
		if plain[o.TripKey] {
			got = append(got, openingText(o))
		}
	}
	if len(want) == 0 && len(h.facts) > 40 {
		h.t.Error("of no set nothing but its own tag was read")
	}
	slices.Sort(want)
	slices.Sort(got)
	return want, got
}

func openingText(o rates.Opening) string {
	return fmt.Sprintf("%s %s opened %s, list %q %q, read %v", o.Set, o.Trip, o.At.Format(time.RFC3339), o.List, o.Placement, o.Read)
}

// TestOpenings: they are asked for by time, and an opening that is taken back is gone.
func TestOpenings(t *testing.T) {
	h := newHospital(t, 1)
	h.list(clock(0, 5, 0), "MIN", 1, 6)
	l := h.lists[0]
	opened := func(set string, n int, tag string, sheet *events.Reading) *events.Event {
		at, trip := clock(n, 7, 0), tripOf(set, n)
		h.record("north/packing-1", at, set, trip, &events.SetPacked{List: l.List, Version: l.Version})
		h.record("north/packing-1", at.Add(time.Minute), set, trip,
			&events.ListSealed{Placement: events.Screen, List: l.List, Version: l.Version})
		return h.record("north/or-3", at.Add(time.Hour), set, trip, &events.SetOpened{Case: "K-1", Tag: tag, Sheet: sheet})
	}
	// What was read on the shelf says nothing of the opening.
	h.record("north/storage", clock(1, 7, 30), "MIN-1", tripOf("MIN-1", 1), &events.SetChecked{Place: "A4", Tag: "MIN-1"})
	h.record("north/storage", clock(2, 7, 30), "MIN-2", tripOf("MIN-2", 2), &events.SetChecked{Place: "A4", Tag: "MIN-2"})
	opened("MIN-1", 1, "MIN-1", nil)
	opened("MIN-2", 2, "", nil)
	opened("MIN-3", 3, "", &events.Reading{Found: "none"})
	back := opened("MIN-4", 4, "MIN-4", nil)
	// A tray opened under another set's name is one opening, of the tray.
	h.record("north/packing-1", clock(6, 6, 0), "MIN-6", tripOf("MIN-6", 6), &events.SetPacked{List: l.List, Version: l.Version})
	h.record("north/packing-1", clock(6, 6, 1), "MIN-6", tripOf("MIN-6", 6),
		&events.ListSealed{Placement: events.Screen, List: l.List, Version: l.Version})
	opened("MIN-7", 6, "MIN-6", nil)
	m := h.filled()
	ask := func(since, until time.Time) (out []string) {
		for _, o := range got[[]rates.Opening](t)(m.Openings(t.Context(), since, until)) {
			if o.Station != "north/or-3" || o.Placement != "screen" || o.List != "MIN" {
				t.Errorf("%+v", o)
			}
			out = append(out, fmt.Sprint(o.Set, " ", o.Read))
		}
		return out
	}
	// Without paper it is the tag by which the right list comes up on the screen.
	sameStrings(t, "all", ask(time.Time{}, time.Time{}), []string{"MIN-1 true", "MIN-2 false", "MIN-3 false", "MIN-4 true",
		"MIN-6 false"})
	// Further away than 64 bits of nanoseconds go.
	year := func(y int) time.Time { return time.Date(y, 1, 1, 0, 0, 0, 0, time.UTC) }
	for _, far := range []int{1263, 1500, 1677} {
		sameStrings(t, fmt.Sprint("since ", far), ask(year(far), clock(2, 0, 0)), []string{"MIN-1 true"})
		sameStrings(t, fmt.Sprint("until ", far), ask(time.Time{}, year(far)), nil)
	}
	for _, far := range []int{2263, 2300, 2600, 9999} {
		sameStrings(t, fmt.Sprint("since ", far), ask(year(far), time.Time{}), nil)
		sameStrings(t, fmt.Sprint("until ", far), ask(clock(6, 0, 0), year(far)), []string{"MIN-6 false"})
	}
	sameStrings(t, "a day and a half", ask(clock(2, 8, 0), clock(3, 8, 0)), []string{"MIN-2 false"})
	h.record("north/or-3", clock(5, 9, 0), "MIN-4", back.Trip,
		&events.EventCorrected{Event: back.ID, Action: "void", Reason: "it was MIN-5"})
	h.apply(m, int64(len(h.facts)))
	sameStrings(t, "taken back", ask(clock(4, 0, 0), clock(5, 0, 0)), nil)
}

// TestOpenedUnderAnotherName: where a tray is opened under another set's name, the count sheet that is read beside it, or that none is
// there, is seen of the tray.
func TestOpenedUnderAnotherName(t *testing.T) {
	h := newHospital(t, 1)
	h.list(clock(0, 5, 0), "MIN", 1, 6)
	l := h.lists[0]
	for i, sheet := range []*events.Reading{
		{Found: "outside", Code: h.code(l, "MIN-1", tripOf("MIN-1", 1))}, {Found: "none"}, {Found: "outside", Unreadable: true}, nil,
	} {
		n := i + 1
		tray, named := fmt.Sprintf("MIN-%d", n), fmt.Sprintf("MIN-%d", n+10)
		for _, set := range []string{tray, named} {
			trip := tripOf(set, n)
			h.record("north/packing-1", clock(n, 7, 0), set, trip, &events.SetPacked{List: l.List, Version: l.Version})
			h.record("north/packing-1", clock(n, 7, 1), set, trip,
				&events.ListSealed{Placement: events.Outside, List: l.List, Version: l.Version, Code: h.code(l, set, trip)})
		}
		h.record("north/or-3", clock(n, 8, 0), named, tripOf(named, n), &events.SetOpened{Case: "K-1", Tag: tray, Sheet: sheet})
	}
	var read []string
	for _, o := range got[[]rates.Opening](t)(h.filled().Openings(t.Context(), time.Time{}, time.Time{})) {
		read = append(read, fmt.Sprint(o.Set, " ", o.Read))
	}
	sameStrings(t, "read", read, []string{"MIN-1 true", "MIN-2 true", "MIN-3 false", "MIN-4 false"})
}

// TestFoundBy: the verdicts that a code occurs in, noted ones too, and no others.
func TestFoundBy(t *testing.T) {
	found := 0
	for seed := range seeds(3) {
		h := week(t, seed)
		m := h.filled()
		var want []projections.Verdict
		for _, v := range h.verdicts() {
			if slices.ContainsFunc(v.Findings, func(f projections.Finding) bool { return slices.Contains(rates.Codes(), f.Code) }) {
				want = append(want, v)
			}
		}
		found += len(want)
		sameStrings(t, "found", asJSON(t, got[[]projections.Verdict](t)(m.FoundBy(t.Context(), rates.Codes()))), asJSON(t, want))
		if none := got[[]projections.Verdict](t)(m.FoundBy(t.Context(), nil)); len(none) > 0 {
			t.Errorf("found by nothing: %v", none)
		}
	}
	if found == 0 {
		t.Error("no invented week has any")
	}
}
