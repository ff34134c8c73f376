package workplace

import (
	"slices"
	"strings"
	"time"

	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
)

// lentNow is where the loan of a set stands by what is recorded: the arrival that is not handed back, else the last time that it
// was; nothing of a set that was never lent.
type lentNow struct {
	Arrived, Handed time.Time
	At              string             // the station
	Came            time.Time          // when it arrived, also where it was handed back since
	Exceptions      []events.Exception // as it came
	List            string             // by which that was counted
	Version         int64
}

// came takes in how it came.
func (n *lentNow) came(arrival *facts.Item) {
	d := facts.ReturnOf(arrival)
	n.Came, n.Exceptions, n.List, n.Version = arrival.At(), d.Exceptions, d.List, d.Version
}

// sameInventory reports whether it is counted now by what it was counted by when it came: else a line's number is of another line.
func (n *lentNow) sameInventory(of *events.ListIssued) bool {
	return of != nil && of.List == n.List && of.Version == n.Version
}

func (v *visit) lentNow(set string) (lentNow, error) {
	return site.Answer(v.d.site, func(m *site.View) (out lentNow, err error) {
		w := m.World(v)
		trip, err := m.TripNow(v, set, v.now)
		if err != nil {
			return out, err
		}
		c := w.Trip(projections.TripKey{Set: set, Trip: trip})
		if arrival := w.LentAt(c, nil); arrival != nil {
			out.Arrived, out.At = arrival.At(), arrival.Event.Station
			out.came(arrival)
			return out, w.Failed()
		}
		for _, it := range slices.Backward(c.Steps) {
			if d := facts.ReturnOf(it); d != nil && d.Step == events.ReturnHanded {
				if out.Handed.IsZero() {
					out.Handed, out.At = it.At(), it.Event.Station
				}
				if arrival := w.LentAt(c, it); arrival != nil {
					out.came(arrival)
					break
				}
			}
		}
		return out, w.Failed()
	})
}

// unsaid are the lines of which a set arrived with another number than its inventory has, and of which nobody has said how many
// go: Enter would say that all are there.
func (b *returning) unsaid(now lentNow) (out []events.Exception) {
	if b.Step != events.ReturnHanded {
		return nil
	}
	for _, x := range now.Exceptions {
		if !slices.Contains(b.Told, x.Line) {
			out = append(out, x)
		}
	}
	return out
}

// askAsArrived asks about them.
func (b *returning) askAsArrived(v *visit) (said, bool, error) {
	if b.Step != events.ReturnHanded {
		return said{}, false, nil
	}
	now, err := v.lentNow(b.Tag)
	if err != nil {
		return said{}, false, err
	}
	of, err := v.lent(b.Tag)
	lines := b.unsaid(now)
	if err != nil || len(lines) == 0 || !now.sameInventory(of.List) {
		return said{}, false, err
	}
	words := strings.Join(v.oddWords(lines, of.List), ", ")
	s := ask(v.t("lent-as-arrived", b.Tag, v.time(now.Came), words), "").offer(
		choice{Do: "as-arrived", Value: now.Came.UTC().Format(time.RFC3339), Words: v.t("do-lent-as-arrived")})
	s.Next = v.t("lent-as-arrived-next")
	return s, true, nil
}

// sayAsArrived answers that these lines go as they came.
func (b *returning) sayAsArrived(v *visit, f fields) (said, error) {
	now, err := v.lentNow(b.Tag)
	if err != nil || f["value"] != now.Came.UTC().Format(time.RFC3339) {
		return said{}, err
	}
	for _, x := range b.unsaid(now) {
		b.Told = append(b.Told, x.Line)
		b.Odd = append(b.Odd, x)
	}
	sortOdd(b.Odd)
	return said{}, nil
}

func sortOdd(odd []events.Exception) {
	slices.SortFunc(odd, func(x, y events.Exception) int { return int(x.Line - y.Line) })
}

// lentDoubts are what speaks against recording the step of a loan: it came already, went already, or never came.
func (b *returning) lentDoubts(v *visit, now lentNow, of *events.ListIssued) (doubts, told []string, err error) {
	if b.Step == events.ReturnHanded && now.List != "" && !now.sameInventory(of) {
		doubts = append(doubts, v.t("lent-other-inventory", now.List, now.Version))
	}
	switch {
	case b.Step == events.ReturnArrived && !now.Arrived.IsZero():
		doubts = append(doubts, v.t("lent-arrived-before", v.time(now.Arrived), now.At))
	case b.Step == events.ReturnHanded && !now.Handed.IsZero():
		doubts = append(doubts, v.t("lent-handed-before", v.time(now.Handed), now.At))
	case b.Step == events.ReturnHanded && now.Arrived.IsZero():
		doubts = append(doubts, v.t("lent-never-arrived"))
	}
	st, err := v.standing(b.Tag)
	if err != nil || st != nil || b.Step != events.ReturnHanded {
		return doubts, nil, err
	}
	if now.Came.IsZero() {
		return append(doubts, v.t("never-packed", b.Tag)), nil, nil
	}
	return doubts, []string{v.t("lent-unused")}, nil
}

// lentBody is the inventory that a set on loan is counted by, as the page shows it.
type lentBody struct {
	*events.ListIssued
	Came bool // how many came is known
	Rows []lentRow
}

type lentRow struct {
	events.Line
	Came int64 // how many of it came
	Here int64 // are there now, as far as anybody said
	Said bool  // that it is otherwise
}

// lentBody is nil where no set on loan lies here, or its inventory is not known.
func (b *returning) lentBody(v *visit) (*lentBody, error) {
	if b.Tag == "" || !b.Step.IsLoan() {
		return nil, nil
	}
	of, err := v.lent(b.Tag)
	if err != nil || of.List == nil {
		return nil, err
	}
	now, err := v.lentNow(b.Tag)
	out := &lentBody{ListIssued: of.List, Came: b.Step == events.ReturnHanded && !now.Came.IsZero() && now.sameInventory(of.List)}
	counted := func(xs []events.Exception, l events.Line) (int64, bool) {
		if i := slices.IndexFunc(xs, func(x events.Exception) bool { return x.Line == l.Line }); i >= 0 {
			return xs[i].Counted, true
		}
		return l.Quantity, false
	}
	for _, l := range of.List.Lines {
		r := lentRow{Line: l}
		r.Came, _ = counted(now.Exceptions, l)
		r.Here, r.Said = counted(b.Odd, l)
		out.Rows = append(out.Rows, r)
	}
	return out, err
}
