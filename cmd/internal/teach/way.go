package teach

import (
	"context"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"listbound/cmd/internal/shell"
	"listbound/cmd/internal/site"
	"listbound/projections"
	"listbound/projections/practise"
)

// Step is one on the way to the answer, with what it leads to.
type Step struct {
	Says  string
	Links []Link
}

// Link leads to a page or record of the incident's ledger.
type Link struct{ Text, To string }

func (p *pages) way(r *http.Request, words *shell.Words) ([]Step, error) {
	return Way(r.Context(), words, p.Class)
}

// Way says how the answer could be found, from the board to what happened.
func Way(ctx context.Context, words *shell.Words, c *Class) ([]Step, error) {
	t := &c.In.Truth
	first := Step{Says: words.T("practise.way-board", strings.Join(t.Touched(), ", ")), Links: []Link{{words.T("shell.board"), "/"}}}
	var found []Step
	for _, key := range t.Turns {
		first.Links = append(first.Links, Link{key.Set, "/history?" + url.Values{"trip": {key.Trip}}.Encode()})
		steps, err := c.clues(ctx, words, key)
		if err != nil {
			return nil, err
		}
		found = append(found, steps...)
	}
	out := append([]Step{first}, found...)
	out = append(out, Step{Says: words.T("practise.way-window", words.Time(t.From), words.Time(t.To), int(practise.Slack.Seconds()))},
		Step{Says: words.T("practise.way-steps", sayAll(words, t.Open))})
	if len(t.Touched()) > 1 {
		out = append(out, Step{Says: words.T("practise.way-touched", strings.Join(t.Touched(), ", "))})
	} else {
		out = append(out, Step{Says: words.T("practise.way-alone", t.Touched()[0])})
	}
	return append(out, Step{Says: words.T("practise.way-truth", c.In.Cause.In(words.Lang).Name, words.Time(t.At),
		SayStep(words, t.Step))}), nil
}

// clues say what is found of a turn, each with the records that show it.
func (c *Class) clues(ctx context.Context, words *shell.Words, key projections.TripKey) ([]Step, error) {
	h, err := c.Site.History(ctx, site.Query{Set: key.Set, Trip: key.Trip})
	if err != nil {
		return nil, err
	}
	var out []Step
	for i := range h.Verdicts {
		v := &h.Verdicts[i]
		for k := range v.Findings {
			f := &v.Findings[k]
			if v.Trip != key.Trip || !slices.Contains(c.In.Cause.Found, f.Code) {
				continue
			}
			s := Step{Says: words.T("practise.way-found", key.Set, words.Code(f.Code), words.Finding(f).Says)}
			for _, seq := range f.Events {
				s.Links = append(s.Links, recordOf(words, h, seq))
			}
			out = append(out, s)
		}
	}
	return out, nil
}

// recordOf leads to a record, with what it says where it is of the history.
func recordOf(words *shell.Words, h *projections.History, seq int64) Link {
	l := Link{words.T("practise.record", seq), fmt.Sprintf("/api/events?after=%d&limit=1", seq-1)}
	for i := range h.Events {
		if e := &h.Events[i]; e.Seq == seq {
			l.Text = words.T("practise.record-says", seq, words.Time(e.Observed), words.Event(e))
		}
	}
	return l
}

// SayStep names a step.
func SayStep(words *shell.Words, s practise.Step) string {
	return words.T("practise.step-" + string(s))
}

func sayAll(words *shell.Words, steps []practise.Step) string {
	var out []string
	for _, s := range practise.Steps() {
		if slices.Contains(steps, s) {
			out = append(out, SayStep(words, s))
		}
	}
	return strings.Join(out, ", ")
}
