package workplace

import (
	"math"
	"slices"
	"strconv"
	"strings"

	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
)

// packFirst is why a set is usually packed before it is closed, and since which record that is so.
type packFirst struct {
	says  []string // what comes first is asked
	more  []string // what is said of it
	known int64
}

// add takes in what a record says, unless a person has read that and closes the set all the same.
func (w *packFirst) add(answered, seq int64, words string, more ...string) {
	if seq > answered {
		w.says, w.more, w.known = append(w.says, words), append(w.more, more...), max(w.known, seq)
	}
}

func (w *packFirst) ask(v *visit) said {
	more := append(slices.Clone(w.says[1:]), w.more...)
	return doubt(w.says[0], strings.Join(append(more, v.t("seal-opened-more")), " ")).offer(
		choice{Do: "clear", Words: v.t("do-pack-first")},
		choice{Do: "unpacked", Value: strconv.FormatInt(w.known, 10), Words: v.t("do-unpacked")})
}

// packFirst is why the set in hand is packed first: it was opened in this turn, went back to be cleaned, or lies aside or with other
// locks than the recorded ones, and nobody said that it is closed all the same. nil for any other. What is recorded after an
// answer is asked anew.
func (b *sealing) packFirst(v *visit, st *standing) (*packFirst, error) {
	if st == nil {
		return nil, nil
	}
	verdict, err := v.verdictOf(st.Key)
	if err != nil || verdict == nil {
		return nil, err
	}
	opened, back, err := v.usedIn(st.Key)
	if err != nil {
		return nil, err
	}
	out := new(packFirst)
	if !st.OpenedAt.IsZero() {
		out.add(b.Unpacked, opened, v.t("seal-opened", b.Tag, st.OpenedFor, v.time(st.OpenedAt)))
	}
	if !st.OpenedAt.IsZero() && back > opened || wentBack(verdict) {
		out.add(b.Unpacked, back, v.t("loaded-washed", b.Tag))
	}
	for i := range verdict.Findings { // the heaviest first
		if f := &verdict.Findings[i]; stopsHere(f) {
			found := v.found(b.Tag, f)
			out.add(b.Unpacked, slices.Max(append([]int64{0}, f.Events...)), found.Words, found.More)
		}
	}
	if len(out.says) == 0 {
		return nil, nil
	}
	return out, nil
}

// usedIn are the records by which a set was opened in a turn, and went back to be cleaned, the newest of each; 0 for none.
func (v *visit) usedIn(k projections.TripKey) (opened, back int64, err error) {
	err = v.d.site.Ask(func(m *site.View) error {
		w := m.World(v)
		for _, it := range w.Trip(k).Steps {
			switch {
			case it.Kind == events.KindSetOpened:
				opened = max(opened, it.Seq)
			case facts.ReturnOf(it) != nil:
				back = max(back, it.Seq)
			}
		}
		return w.Failed()
	})
	return opened, back, err
}

// closeUnpacked answers that the set is closed all the same.
func (b *sealing) closeUnpacked(v *visit, f fields) (said, error) {
	st, err := v.standing(b.Tag)
	if err != nil {
		return said{}, err
	}
	why, err := b.packFirst(v, st)
	if why != nil && f["value"] == strconv.FormatInt(why.known, 10) {
		b.Unpacked = why.known
	}
	return said{}, err
}

// asFound says of a closing that is not recorded yet what judgement finds of the set with it: then it is not green.
func (b *sealing) asFound(v *visit, s said) (said, error) {
	verdict, err := v.preview(b.observation(v))
	if err != nil {
		return said{}, err
	}
	q := v.judged(verdict, math.MaxInt64, good("", ""), projections.CountMissing)
	if q.Status != "whole" {
		s.Status, s.Older = "doubtful", q.Older
		s.More = strings.TrimSpace(q.Words + " " + s.More)
	}
	return s, nil
}
