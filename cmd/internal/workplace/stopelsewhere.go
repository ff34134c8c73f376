package workplace

import (
	"errors"
	"time"

	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections"
)

// stopThere is a STOP by what was read at another place, and of which nothing is recorded: who obeyed it by walking off, or
// has not answered yet, is the only one who knows.
type stopThere struct {
	station string
	at      time.Time // when somebody did something there last
	of      string    // the set that was read there: the one in hand, or the one that lay with its sheet
	words   string
}

// stopsElsewhere are those of a set. What lies at another bench ages like what lies here, and is looked at as of when it was
// read: what became of the set later, the ledger knows.
func (v *visit) stopsElsewhere(set string) (out []stopThere, err error) {
	st, err := v.standing(set)
	if err != nil || st == nil {
		return nil, err
	}
	known, err := site.Answer(v.d.site, func(m *site.View) ([]events.Station, error) { return m.Stations(v) })
	if err != nil {
		return nil, err
	}
	for _, k := range known {
		for _, place := range []string{"opening", "storage"} {
			if k.Name == v.station && place == v.place {
				continue
			}
			there := new(storage) // and what an opening shares with it
			switch _, err := v.d.files.load(there, "bench", k.Name, place); {
			case errors.Is(err, errUnreadable): // its own page says so
				continue
			case err != nil:
				return nil, err
			}
			found, err := v.stopOf(&there.reading, st, k.Name)
			if err != nil {
				return nil, err
			}
			if found != nil {
				out = append(out, *found)
			}
		}
	}
	return out, nil
}

// stopOf is the STOP that what was read at a station shows of a set or of its sheet, nil for none. A reading of before the
// set was packed is of another turn.
func (v *visit) stopOf(r *reading, st *standing, station string) (*stopThere, error) {
	at := r.Active
	for _, earlier := range []time.Time{r.Left, r.ReadAt} {
		if !earlier.IsZero() && earlier.Before(at) {
			at = earlier
		}
	}
	itsSheet := r.Sheet != nil && r.Sheet.Code != "" && r.Sheet.Code == st.Code
	if r.id() == "" || r.id() != st.Key.Set && !itsSheet || at.Before(st.PackedAt) || at.After(v.now) {
		return nil, nil
	}
	o := r.check(v)
	sheet, err := r.supposed(v)
	if err != nil {
		return nil, err
	}
	o.Station, o.Time, o.Data.(*events.SetChecked).Sheet = station, at.UTC(), sheet
	since := v.d.site.Size()
	verdict, err := v.preview(o)
	if err != nil {
		return nil, err
	}
	skip := append(r.tooEarly(v, o), projections.LinkMissing, projections.SheetAbsent)
	s := v.judged(verdict, since, said{}, skip...)
	if s.Status != "broken" || !s.fresh {
		return nil, nil // what the ledger knows is told anyway
	}
	return &stopThere{station, at, r.id(), s.Words}, nil
}

// sayStopsElsewhere adds them to what is said of a set: it is not green.
func (v *visit) sayStopsElsewhere(set string, s *said) error {
	stops, err := v.stopsElsewhere(set)
	for _, x := range stops {
		s.alsoDoubtful(v.t("stop-elsewhere", x.station, x.of, v.time(x.at), x.words), v.t("stop-elsewhere-more", x.station))
	}
	return err
}

// alsoDoubtful adds what makes a set doubtful. What is asked next stays in sight, and so does what is worse.
func (s *said) alsoDoubtful(words, more string) {
	if s.Status == "whole" || s.Status == "open" {
		s.Answer, s.Next = "", firstOf(s.Next, s.Words)
		s.Status, s.Sound, s.Words, s.More = "doubtful", "ask", words, more
		return
	}
	s.Older = append(s.Older, older{"doubtful", words, more})
}
