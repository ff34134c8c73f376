package projections

import (
	"slices"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
)

// UsedInDoubt says that a set was opened though it was known here that it was not in order.
type UsedInDoubt struct {
	Since  time.Time `json:"since"`       // from then on, without a break until it was opened
	By     int64     `json:"by,omitzero"` // the record that showed it; 0: only time had passed
	Code   Code      `json:"code"`        // of the heaviest finding then
	Opened time.Time `json:"opened"`      // by the station's clock
}

// KnownAs reports whether a finding of the verdict as known at an earlier moment is this one: of the same code, about
// the same thing, and with a line in common where lines are named. It may have weighed less, as a doubt does that the next
// record makes sure, but not nothing. Windows, ways and numbers may have become known better since.
func (f *Finding) KnownAs(then *Finding) bool {
	if f.Code != then.Code || weight(then.Severity) == 0 && weight(f.Severity) > 0 {
		return false
	}
	if f.Other != nil && then.Other != nil && f.Other.Set != then.Other.Set {
		return false
	}
	if len(f.Lines) > 0 && len(then.Lines) > 0 &&
		!slices.ContainsFunc(f.Lines, func(n int64) bool { return slices.Contains(then.Lines, n) }) {
		return false
	}
	return aboutSame(f.Detail, then.Detail)
}

// abouts are the members of details that name what a finding is about besides its set: of a recall, the load whose
// indicator was positive.
var abouts = []string{"positive", "load", "washerLoad", "case", "item", "station", "stage", "step"}

// aboutSame reports whether two details name nothing that differs.
func aboutSame(a, b Detail) bool {
	x, y := membersOf(a), membersOf(b)
	return !slices.ContainsFunc(abouts, func(name string) bool {
		v, w := x[name], y[name]
		return v.Kind() == '"' && w.Kind() == '"' && string(v) != string(w)
	})
}

func membersOf(d Detail) (members map[string]jsontext.Value) {
	raw, err := json.Marshal(d)
	if err != nil || json.Unmarshal(raw, &members) != nil {
		return nil
	}
	return members
}
