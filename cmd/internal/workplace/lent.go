package workplace

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
)

// lent is what is known of a set that a supplier lends: whose it is, until when, and the inventory that it is counted by. The
// register of sets says it: owner, until, list; where it names no list, the last packing does.
type lent struct {
	Supplier, Due string
	List          *events.ListIssued
}

// backSteps are the steps that the page offers: those of the way back, and those of a set that is lent.
func backSteps() []events.ReturnStep { return append(events.ReturnSteps(), events.LoanSteps()...) }

func (v *visit) lent(set string) (lent, error) {
	return site.Answer(v.d.site, func(m *site.View) (out lent, err error) {
		w := m.World(v)
		name := ""
		if d, ok := w.Entered(events.RegisterSets, set, v.now).Entry.(*events.SetEntered); ok {
			out.Supplier, out.Due, name = d.Owner, d.Held.Until, d.List
		}
		trip, err := m.TripNow(v, set, v.now)
		if err != nil {
			return out, err
		}
		if name == "" && trip != "" {
			if out.List = w.Trip(projections.TripKey{Set: set, Trip: trip}).List; out.List != nil {
				name = out.List.List
			}
		}
		if name == "" {
			return out, w.Failed()
		}
		all, err := w.Issued(name)
		if err == nil && len(all) > 0 {
			out.List = all[len(all)-1].List
		}
		return out, err
	})
}

// countOdd notes that a line of a lent set is not there as its inventory has it, or is after all.
func (b *returning) countOdd(v *visit, f fields) (said, error) {
	of, err := v.lent(b.Tag)
	if err != nil || b.Tag == "" || !b.Step.IsLoan() {
		return said{}, err
	}
	line, lineErr := strconv.ParseInt(strings.TrimSpace(f["line"]), 10, 64)
	n, countErr := strconv.ParseInt(strings.TrimSpace(f["counted"]), 10, 64)
	i := -1
	if of.List != nil {
		i = slices.IndexFunc(of.List.Lines, func(l events.Line) bool { return l.Line == line })
	}
	if lineErr != nil || countErr != nil || i < 0 || n < 0 || n > 9999 {
		return said{}, v.sayNo("lent-line-needs")
	}
	if !slices.Contains(b.Told, line) {
		b.Told = append(b.Told, line)
	}
	b.Odd = slices.DeleteFunc(b.Odd, func(x events.Exception) bool { return x.Line == line })
	x := events.Exception{Line: line, Counted: n, Reason: events.ReasonMissing}
	switch q := of.List.Lines[i].Quantity; {
	case n == q:
		return said{}, nil
	case n > q:
		x.Reason = events.ReasonAdded
	}
	b.Odd = append(b.Odd, x)
	sortOdd(b.Odd)
	return said{}, nil
}

// oddWords say each line that is not as the inventory has it.
func (v *visit) oddWords(odd []events.Exception, of *events.ListIssued) (out []string) {
	for _, x := range odd {
		name, q := "", int64(0)
		if of != nil {
			if i := slices.IndexFunc(of.Lines, func(l events.Line) bool { return l.Line == x.Line }); i >= 0 {
				name, q = of.Lines[i].Description, of.Lines[i].Quantity
			}
		}
		out = append(out, v.t("lent-line", v.t("piece-line", x.Line, name), x.Counted, q))
	}
	return out
}

// lentSaid is what Enter records of a set that a supplier lends.
func (b *returning) lentSaid(v *visit) (said, error) {
	if !b.Step.IsLoan() {
		return said{}, nil
	}
	of, err := v.lent(b.Tag)
	if err != nil {
		return said{}, err
	}
	now, err := v.lentNow(b.Tag)
	if err != nil {
		return said{}, err
	}
	more, told, err := b.lentDoubts(v, now, of.List)
	if err != nil {
		return said{}, err
	}
	for _, f := range b.Faults {
		more = append(more, v.t("return-"+string(f)))
	}
	if b.Step == events.ReturnArrived { // who brings it knows which set it is, and whether its label was read right
		like, err := v.likeSet(b.Tag)
		if err != nil {
			return said{}, err
		}
		if like != "" {
			more = append(more, v.t("set-alike", b.Tag, like)+". "+v.t("set-alike-more", like))
		}
	}
	doubts := len(more) > 0 || slices.ContainsFunc(b.Odd, func(x events.Exception) bool { return !b.asCame(now, x) })
	more = slices.Concat(more, v.oddWords(b.Odd, of.List), told)
	if of.List == nil {
		doubts, more = true, append(more, v.t("lent-no-inventory", b.Tag))
	} else {
		more = append(more, v.t("lent-by-inventory", of.List.List, of.List.Version))
	}
	if of.Supplier != "" {
		more = append(more, of.Supplier)
	}
	s := good(v.t("enter-returned-"+string(b.Step), b.Tag), strings.Join(more, ", "))
	if doubts {
		s = doubt(s.Words, s.More)
	}
	return s, nil
}

// asCame reports whether a line goes as it came, so that nothing is wrong with that here.
func (b *returning) asCame(now lentNow, x events.Exception) bool {
	return b.Step == events.ReturnHanded && slices.Contains(now.Exceptions, x)
}

// lentData is the step as the ledger takes it.
func (b *returning) lentData(v *visit) (*events.SetReturned, error) {
	of, err := v.lent(b.Tag)
	d := &events.SetReturned{Step: b.Step, Faults: b.Faults, Supplier: of.Supplier}
	if b.Step == events.ReturnArrived {
		d.Due = of.Due
	}
	if of.List != nil {
		d.List, d.Version, d.Exceptions = of.List.List, of.List.Version, b.Odd
	}
	return d, err
}

// lentShort are the lines that a lent set lacked when it arrived, where it was not packed since: who packs it says so, and no case
// is looked through for them.
func (v *visit) lentShort(k projections.TripKey) ([]lack, error) {
	return site.Answer(v.d.site, func(m *site.View) (out []lack, err error) {
		w := m.World(v)
		c := w.Trip(k)
		arrival := w.LentAt(c, nil)
		if arrival == nil || !slices.Contains(c.Steps, arrival) || c.LastPack() != nil && arrival.Less(c.LastPack()) {
			return nil, w.Failed()
		}
		list := w.ListOf(arrival)
		if list == nil {
			return nil, w.Failed()
		}
		for _, x := range facts.ReturnOf(arrival).Exceptions {
			i := slices.IndexFunc(list.Lines, func(l events.Line) bool { return l.Line == x.Line })
			if i < 0 || x.Counted >= list.Lines[i].Quantity {
				continue
			}
			l := list.Lines[i]
			out = append(out, lack{key: fmt.Sprintf("lent/%d/%d", arrival.Seq, x.Line),
				lines: []projections.BackLine{{Line: l.Line, Item: l.Item, Description: l.Description,
					Pieces: l.Quantity - x.Counted, Packed: x.Counted}},
				words: v.t("lack-lent", v.t("piece-line", l.Line, l.Description), x.Counted, l.Quantity, v.time(arrival.At()))})
		}
		return out, w.Failed()
	})
}
