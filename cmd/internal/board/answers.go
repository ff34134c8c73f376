package board

import (
	"time"

	"listbound/events"
	"listbound/projections/facts"
)

// answerIn says what was done with a set once a record had shown that it was not to be used, and when that arrived: it was put
// aside, or opened all the same. The record that showed it may be the answer itself, since a station says STOP at the scan and
// records what was answered with it.
func answerIn(all []*facts.Item, shownBy int64) (answer string, at time.Time) {
	for _, it := range all {
		if it.Void || it.Seq < shownBy || !at.IsZero() && !it.Recorded.Before(at) {
			continue
		}
		switch d := it.Data.(type) {
		case *events.SetChecked:
			if d.Aside == events.AsidePut {
				answer, at = "put-aside", it.Recorded
			}
		case *events.SetOpened:
			answer, at = "opened", it.Recorded
		}
	}
	return answer, at
}
