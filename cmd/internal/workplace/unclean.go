package workplace

import (
	"fmt"
	"slices"
	"time"

	"listbound/cmd/internal/site"
	"listbound/projections"
	"listbound/projections/facts"
)

// unclean is why a set is not clean by what is recorded of its way back.
type unclean struct {
	at     time.Time
	seq    int64
	soiled bool // seen not to be clean; else no washing is recorded, where that of the turn before is
}

// key tells it apart from what is seen later.
func (u *unclean) key() string { return fmt.Sprint(u.seq) }

// uncleanNow is why a set that was used or is on its way back is not clean, nil where nothing says so. Where washing is not recorded
// for every set its absence shows nothing, so it is held against the set's turn before.
func (v *visit) uncleanNow(k projections.TripKey) (out *unclean, err error) {
	err = v.d.site.Ask(func(m *site.View) error {
		w := m.World(v)
		c := w.Trip(k)
		back := func(it *facts.Item) bool { return facts.ReturnOf(it) != nil }
		switch it := c.Unclean(nil); {
		case it != nil:
			out = &unclean{it.At(), it.Seq, true}
		case c.Prev != "" && !c.Washed() && (len(c.Opened) > 0 || slices.ContainsFunc(c.Steps, back)) &&
			w.Trip(projections.TripKey{Set: k.Set, Trip: c.Prev}).Washed():
			last := c.Steps[len(c.Steps)-1]
			out = &unclean{at: last.At(), seq: last.Seq}
		}
		return w.Failed()
	})
	return out, err
}

// words says so.
func (u *unclean) words(v *visit, set string) string {
	if u.soiled {
		return v.t("came-back-unclean", set, v.time(u.at))
	}
	return v.t("came-back-unwashed", set)
}

// ask asks whether the set was washed, and that was only not recorded.
func (u *unclean) ask(v *visit, set, anyway string) said {
	if u == nil {
		return said{}
	}
	return doubt(u.words(v, set), v.t("came-back-unclean-more")).offer(
		choice{Do: "leave", Words: v.t("do-leave", set)}, choice{Do: "unclean", Value: u.key(), Words: anyway})
}
