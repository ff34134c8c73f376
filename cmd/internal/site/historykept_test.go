//go:build !race

package site_test

import (
	"encoding/json"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/site"
	"listbound/events"
)

// TestHistoryKept: a history that shows verdicts that are kept is, byte for byte, one for which all is judged anew: of each trip,
// set, load and case of the week.
func TestHistoryKept(t *testing.T) {
	s := open(t, t.TempDir(), site.Options{Name: "north", EnrolOnSight: true, Clock: fixed(time.Date(2026, 3, 9, 0, 0, 0, 0, time.UTC))})
	record(t, s, strings.Join(weekLines(t), "\n"))
	all, err := site.Answer(s, func(v *site.View) (all []site.Query, err error) {
		verdicts, err := v.Verdicts(t.Context())
		for _, x := range verdicts {
			all = append(all, site.Query{Set: x.Set, Trip: x.Trip})
		}
		return all, err
	})
	if err != nil {
		t.Fatal(err)
	}
	text := func(h any, err error) string {
		t.Helper()
		raw, failed := json.Marshal(h)
		if err != nil || failed != nil {
			t.Fatal(err, failed)
		}
		return string(raw)
	}
	asked := make(map[string]bool)
	kept, of := 0, make(map[string]int)
	for i := 0; i < len(all); i++ {
		q := all[i]
		key := strings.Join([]string{q.Set, q.Trip, q.Load, q.Case}, "|")
		if asked[key] || key == "|||" {
			continue
		}
		asked[key] = true
		h, err := s.History(t.Context(), q)
		a, b := text(h, err), text(s.HistoryJudged(t.Context(), q))
		if a != b {
			t.Errorf("%+v: %s", q, diffLines(strings.ReplaceAll(a, ",", "\n"), strings.ReplaceAll(b, ",", "\n")))
		}
		for _, v := range h.Verdicts {
			if len(v.Findings) == 0 {
				kept++
			}
		}
		of[map[bool]string{q.Load != "": "load", q.Case != "": "case", q.Trip != "": "trip"}[true]]++
		if q.Trip == "" {
			continue
		}
		all = append(all, site.Query{Set: q.Set})
		for _, e := range h.Events {
			all = append(all, site.Query{Case: events.CaseOf(e.Data)})
			if d, ok := e.Data.(*events.SetSterilized); ok {
				all = append(all, site.Query{Load: d.Load})
			}
		}
	}
	if of["trip"] < 100 || of["load"] < 10 || of["case"] < 10 || of[""] < 50 || kept < 200 {
		t.Errorf("of %v were asked, %d verdicts were kept: hardly anything was compared", of, kept)
	}
}
