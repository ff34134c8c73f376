//go:build !race

package board_test

import (
	"errors"
	"slices"
	"testing"
	"time"

	"github.com/go-json-experiment/json"

	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections"
)

// TestLoadHistoryIsJudged: the history of each load of the week, of which only the verdicts are judged in which something is
// found, is that in which all are.
func TestLoadHistoryIsJudged(t *testing.T) {
	_, s := weekServer(t)
	loads := make(map[string]bool)
	for seq := range s.Size() {
		e, err := s.EventAt(seq + 1)
		if err != nil {
			t.Fatal(err)
		}
		if load := e.Data.Keys()[events.KeyLoad]; load != "" {
			loads[load] = true
		}
	}
	untroubled := 0
	for load := range loads {
		var judged projections.History
		err := s.Ask(func(v *site.View) (err error) {
			judged, err = v.World(t.Context()).History(projections.HistoryOf{Load: load})
			return errors.Join(err, v.TellIncidents(t.Context(), judged.Verdicts),
				v.TellKnown(t.Context(), time.Time{}, judged.Verdicts))
		})
		if err != nil {
			t.Fatal(err)
		}
		if len(judged.Events) == 0 { // only an indicator names it
			continue
		}
		told, err := s.History(t.Context(), site.Query{Load: load})
		if err != nil {
			t.Fatal(err)
		}
		if verdicts(t, told) != verdicts(t, &judged) {
			t.Errorf("%s: told as %s, judged as %s", load, verdicts(t, told), verdicts(t, &judged))
		}
		for _, v := range told.Verdicts {
			if len(v.Findings) == 0 {
				untroubled++
			}
		}
	}
	if len(loads) < 20 || untroubled < 50 {
		t.Errorf("the week has %d loads, and %d turns in them in which nothing is found", len(loads), untroubled)
	}
}

// verdicts are a history's, with what it shows of events, less the sentences.
func verdicts(t *testing.T, h *projections.History) string {
	t.Helper()
	var shown []int64
	for _, e := range h.Events {
		shown = append(shown, e.Seq)
	}
	vs := slices.Clone(h.Verdicts)
	for i := range vs {
		vs[i].Findings = slices.Clone(vs[i].Findings)
		for k := range vs[i].Findings {
			f := &vs[i].Findings[k]
			f.Says, f.Next, f.Texts = "", "", nil
		}
	}
	raw, err := json.Marshal(map[string]any{"events": shown, "verdicts": vs}, json.Deterministic(true))
	if err != nil {
		t.Fatal(err)
	}
	return string(raw)
}
