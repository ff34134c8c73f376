package readmodel

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/go-json-experiment/json"

	"listbound/projections"
)

// causesOf is the column causes of a verdict: a board of ten thousand rows is grouped at each look, which reads every one.
func causesOf(v *projections.Verdict) string {
	var b strings.Builder
	for _, c := range projections.CausesOf(v) {
		fmt.Fprintf(&b, "%s\t%s\t%d\t%d\t%s", c.Code, c.Mark, c.Rank, c.Opening, c.Own)
		for _, l := range c.Links {
			b.WriteString("\t" + l)
		}
		b.WriteString("\n")
	}
	return b.String()
}

func handledOf(v *projections.Verdict) (string, error) {
	if len(v.Handled) == 0 {
		return "", nil
	}
	raw, err := json.Marshal(v.Handled)
	if err != nil {
		return "", fmt.Errorf("read model: handled: %w", err)
	}
	return string(raw), nil
}

// causesIn reads the column causes. A line that can't be read is an error: passed over, a broken set would be on no row.
func causesIn(column string) (out []projections.Cause, err error) {
	for line := range strings.Lines(column) {
		parts := strings.Split(strings.TrimSuffix(line, "\n"), "\t")
		const fixed = 5 // before the links
		if len(parts) <= fixed {
			return nil, fmt.Errorf("read model: causes: %q", line)
		}
		rank, err := strconv.ParseInt(parts[2], 10, 64)
		opening, more := strconv.ParseInt(parts[3], 10, 64)
		if err = cmp.Or(err, more); err != nil {
			return nil, fmt.Errorf("read model: causes: %w", err)
		}
		out = append(out, projections.Cause{Code: projections.Code(parts[0]), Mark: parts[1], Rank: rank, Opening: opening,
			Own: parts[4], Links: parts[fixed:]})
	}
	if len(out) == 0 {
		return nil, errors.New("read model: causes: of a row of the board there is none")
	}
	return out, nil
}

// reckoned are the incidents after so many changes of the model, in a week.
type reckoned struct {
	changes   int64
	moved     int64     // changes of the board
	until     time.Time // the earliest end of a week that one of them can be acted on in
	incidents []projections.Incident
}

// Incidents returns what is broken or doubtful by its causes, those first that most need somebody. Stations' own records
// are not among them. What was reckoned is kept until something changes.
func (m *Model) Incidents(ctx context.Context) ([]projections.Incident, error) {
	changes, now := m.changes.Load(), m.Moment()
	last, known := m.reckoned.Load(), int64(-1)
	if last != nil && (last.until.IsZero() || now.Before(last.until)) {
		if known = last.moved; last.changes == changes {
			return slices.Clone(last.incidents), ctx.Err()
		}
	}
	parts, moved, err := m.incidentParts(ctx, known)
	if err != nil {
		return nil, err
	}
	if moved == known { // what changed is on no board
		m.reckoned.Store(&reckoned{changes, moved, last.until, last.incidents})
		return slices.Clone(last.incidents), nil
	}
	r := &reckoned{changes: changes, moved: moved,
		incidents: projections.Incidents(parts, projections.Calendar{Zone: m.opts.Zone, Now: now})}
	for i := range r.incidents {
		if h := r.incidents[i].Habit; h != nil && r.incidents[i].CanAct && (r.until.IsZero() || h.Until.Before(r.until)) {
			r.until = h.Until
		}
	}
	m.reckoned.Store(r)
	return slices.Clone(r.incidents), nil
}

// BoardKeys returns the turns on the board that a filter means.
func (m *Model) BoardKeys(ctx context.Context, f BoardFilter) (map[projections.TripKey]bool, error) {
	where, args := f.where()
	ks, err := m.keys(ctx, `SELECT b.set_id, b.trip FROM board b WHERE `+where, args...)
	out := make(map[projections.TripKey]bool, len(ks))
	for _, k := range ks {
		out[k] = true
	}
	return out, err
}
