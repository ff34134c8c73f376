package projections

import "time"

// Together is what a verdict has in common with others that lists show as one
// row: how the counts of a room were made in one week. Who counts alone, and
// whose last count nobody wrote down, is asked of a room and not of a set.
type Together struct {
	Room string `json:"room"` // the station at which the set was opened
	Week string `json:"week"` // its Monday in UTC, as 2006-01-02

	Opened time.Time `json:"opened,omitzero"` // the set: the week where the site is follows from it
}

// WeekOf returns the Monday of a moment's week in UTC, as 2006-01-02.
func WeekOf(t time.Time) string {
	t = t.UTC()
	return t.AddDate(0, 0, -(int(t.Weekday())+6)%7).Format(time.DateOnly)
}

// AboutRoom reports whether all that weighs in a verdict is how the counts of a
// room were made: by one person, or with a stage that nobody recorded. While a
// case is running a count can still be made, so only what is over is.
func AboutRoom(v *Verdict) bool {
	if v.Status != Doubtful || !v.Opened || !v.Over {
		return false
	}
	for i := range v.Findings {
		f := &v.Findings[i]
		_, stages := f.Detail.(*StagesMissing)
		if f.Severity != SeverityNoted && f.Code != CountOnePerson && !stages {
			return false
		}
	}
	return true
}

// Rows returns the rows in which lists show verdicts: each alone, but those that
// stand together in one, at the place of the first. It keeps their order.
func Rows(vs []Verdict) [][]Verdict {
	var out [][]Verdict
	type room struct{ name, week string }
	at := make(map[room]int)
	for _, v := range vs {
		if v.Together == nil {
			out = append(out, []Verdict{v})
			continue
		}
		r := room{v.Together.Room, v.Together.Week}
		n, ok := at[r]
		if !ok {
			n = len(out)
			at[r] = n
			out = append(out, nil)
		}
		out[n] = append(out[n], v)
	}
	return out
}
