package workplace

import (
	"net/url"
	"slices"
	"strings"
	"time"

	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections/facts"
)

// leave finds out whether what was counted here was left: nobody has counted for as long as a badge holds, or another
// count of the case was signed since it was begun. Who goes on signs for all of it, so that is asked first. A count that
// was begun and of which nothing lies here is to be begun again.
func (t *table) leave() error {
	for i, d := range t.drafts {
		if t.takesPart(i) && !d.Left.IsZero() && (t.left.IsZero() || d.Left.Before(t.left)) {
			t.left, t.leftBy = d.Left, d.LeftBy
		}
	}
	if !t.left.IsZero() {
		return nil
	}
	var last, begun time.Time
	lies := false
	for i, d := range t.drafts {
		if !t.takesPart(i) {
			continue
		}
		for _, at := range []time.Time{d.Open, d.Touched, d.Badged, d.Kept} {
			if at.After(last) {
				last, t.leftBy = at, d.Counter
			}
		}
		since := d.Open
		for _, at := range []time.Time{d.Begun, d.Kept} {
			if !at.IsZero() {
				since = at
			}
		}
		if !since.IsZero() && (begun.IsZero() || since.Before(begun)) {
			begun = since
		}
		lies = lies || d.begun()
	}
	if last.IsZero() {
		return nil
	}
	away, err := t.v.away(last)
	if err != nil {
		return err
	}
	if !away && t.stage != events.StageAdded {
		if away, err = t.anotherSince(begun); err != nil {
			return err
		}
	}
	switch {
	case away && lies:
		t.left = last
	case away && !t.v.waited: // what waited was counted when its page showed the count as begun
		for _, d := range t.drafts {
			d.Open = time.Time{}
		}
	}
	return nil
}

// anotherSince reports whether another count of the case was signed since then, and stands. One that only says what was
// added looks at nothing that lies there already.
func (t *table) anotherSince(begun time.Time) (bool, error) {
	return site.Answer(t.v.d.site, func(m *site.View) (bool, error) {
		w := m.World(t.v)
		for _, s := range t.standing.Sets {
			for _, it := range w.Trip(s.Key).Counted {
				c := facts.CountOf(it)
				if c.Case == t.ref && c.Stage != t.stage && c.Stage != events.StageAdded && it.At().After(begun) {
					return true, w.Failed()
				}
			}
		}
		return false, w.Failed()
	})
}

// askLeft asks about what was counted and left. Beginning anew throws nothing away that anybody still knows.
func (t *table) askLeft() said {
	v := t.v
	s := ask(v.t("count-left", v.t("stage-"+string(t.stage)), v.w.Time(t.left)), v.t("count-left-more"))
	gone, _ := t.passedOff(t.leftBy, func(*draft) bool { return true })
	if len(gone) > 0 { // whoever counts from the start signs for that, too
		s.More = v.t("count-left-gone", strings.Join(gone, " ")) + " " + s.More
	}
	if t.leftBy != "" {
		s.More = v.t("count-left-by", t.leftBy) + " " + s.More
	}
	return s.offer(choice{Do: "left-anew", Value: t.leftValue(), Words: v.t("do-left-anew"), Main: true},
		choice{Do: "left-on", Value: t.leftValue(), Words: v.t("do-left-on")})
}

// leftValue tells one question from another: a screen that shows an earlier one answers nothing of this.
func (t *table) leftValue() string { return t.left.UTC().Format(time.RFC3339Nano) }

// answersLeft reports whether a button answers that, or leads away from here.
func answersLeft(action string) bool {
	return slices.Contains([]string{"left-anew", "left-on", "close"}, action)
}

// leftAnew begins the count again.
func (t *table) leftAnew(f fields, a *counted) error {
	if !t.left.IsZero() && f["value"] != t.leftValue() {
		a.said = t.askLeft()
		return nil
	}
	t.goHere(a)
	if t.left.IsZero() {
		return nil // answered already
	}
	return t.each("", func(d *draft) error { d.anew(t.v.now); return nil })
}

// leftOn goes on with what was counted then: a person says that it still holds.
func (t *table) leftOn(f fields, a *counted) error {
	if !t.left.IsZero() && f["value"] != t.leftValue() {
		a.said = t.askLeft()
		return nil
	}
	t.goHere(a)
	if t.left.IsZero() {
		return nil
	}
	return t.each("", func(d *draft) error {
		d.handOver()
		d.Kept, d.Left, d.LeftBy = t.v.now.UTC(), time.Time{}, ""
		if d.Open.IsZero() {
			d.Open = d.Kept
		}
		d.Rev++
		return nil
	})
}

// goHere leads to the page of this count.
func (t *table) goHere(a *counted) {
	query := url.Values{"case": {t.ref}, "stage": {string(t.stage)}}.Encode()
	a.Go = t.v.d.stationPath(t.v.station, "count") + "?" + query
}
