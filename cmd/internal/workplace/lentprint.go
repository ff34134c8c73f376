package workplace

import (
	"fmt"
	"io"
	"net/http"
	"slices"
	"strconv"

	"listbound/cmd/internal/paper"
	"listbound/cmd/internal/refusal"
	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections"
	"listbound/projections/words"
)

// What the supplier of a set on loan is told: how it came and how it went, by its inventory. It names no case and nobody: where in
// between it was is the house's own.

// loanStep is a step of a loan as it is recorded.
type loanStep struct {
	projections.HistoryEvent
	*events.SetReturned
}

// lastLoan are the arrival of a set's last loan, and each time that it was handed back since; either may be missing.
func lastLoan(all []projections.HistoryEvent) (came *loanStep, went []*loanStep) {
	for _, e := range all {
		d, ok := e.Data.(*events.SetReturned)
		if !ok || e.Void || !d.Step.IsLoan() {
			continue
		}
		if s := (&loanStep{e, d}); d.Step == events.ReturnArrived {
			came, went = s, nil
		} else {
			went = append(went, s)
		}
	}
	return came, went
}

func (d *Desk) loanPDF(r *http.Request, w io.Writer, in *words.Language) error {
	set := r.FormValue("set")
	h, err := d.site.History(r.Context(), site.Query{Set: set})
	if err != nil {
		return err
	}
	came, went := lastLoan(h.Events)
	if came == nil && len(went) == 0 {
		return refusal.Say(fmt.Errorf("%w: no loan of set %s is recorded", site.ErrNotFound, set), "no-loan", set)
	}
	list, supplier := "", ""
	for _, s := range append([]*loanStep{came}, went...) {
		if s != nil {
			list, supplier = firstOf(s.List, list), firstOf(s.Supplier, supplier)
		}
	}
	var lists []site.ListVersion
	if list != "" {
		if lists, err = d.site.Lists(r.Context(), list); err != nil {
			return err
		}
	}
	title := in.Say("workplace.loan-title", set)
	made := d.site.Clock()
	footer := in.Say("workplace.loan-footer", set, in.Time(made), "%page%", "%pages%")
	raw, err := paper.WriteDocument(title, in.Tag(), footer, made, func(doc *paper.Document) {
		doc.Mark(d.practising(in))
		doc.Title(title)
		doc.Text(in.Say("workplace.loan-about", d.site.Name(), firstOf(supplier, "–"), firstOf(list, "–")))
		doc.Heading(in.Say("workplace.step-arrived"))
		loanPart(doc, in, came, nil, lists)
		doc.Heading(in.Say("workplace.step-handed-back"))
		for _, s := range went {
			loanPart(doc, in, s, came, lists)
		}
		if len(went) == 0 {
			loanPart(doc, in, nil, came, lists)
		}
		doc.Heading(in.Say("workplace.loan-sign"))
		for _, who := range []string{in.Say("workplace.loan-house"), in.Say("workplace.loan-supplier")} {
			doc.Gap()
			doc.Gap()
			doc.Text("________________________________   ________________________________")
			doc.Text(who)
		}
		doc.Gap()
		doc.Text(in.Say("workplace.count-no-proof"))
	})
	if err == nil {
		_, err = w.Write(raw)
	}
	return err
}

// loanPart says how a set came or went; before is how it came, where that is known.
func loanPart(doc *paper.Document, in *words.Language, s, before *loanStep, lists []site.ListVersion) {
	if s == nil {
		doc.Text(in.Say("workplace.loan-not-recorded"))
		return
	}
	doc.Strong(in.Say("workplace.loan-counted", in.Time(s.Observed), s.Station))
	for _, f := range s.Faults {
		doc.Text("– " + in.Say("workplace.return-"+string(f)))
	}
	if s.SetReturned.List == "" {
		doc.Text(in.Say("workplace.loan-no-inventory"))
		return
	}
	doc.Text(in.Say("workplace.lent-by-inventory", s.SetReturned.List, s.Version))
	var lines []events.Line
	for _, l := range lists {
		if l.List == s.SetReturned.List && l.Version == s.Version {
			lines = l.LineRows
		}
	}
	var rows [][]string
	for _, l := range lines {
		here, odd := loanCount(s, l)
		came, cameOdd := loanCount(before, l)
		if !odd && !cameOdd {
			continue
		}
		row := []string{strconv.FormatInt(l.Line, 10), l.Description, l.Item, strconv.FormatInt(l.Quantity, 10)}
		if before != nil {
			row = append(row, strconv.FormatInt(came, 10))
		}
		rows = append(rows, append(row, strconv.FormatInt(here, 10)))
	}
	if len(rows) == 0 {
		doc.Text(in.Say("workplace.loan-all"))
		return
	}
	columns := []paper.Column{{Title: in.Say("workplace.line"), Share: 1}, {Title: in.Say("workplace.description"), Share: 6},
		{Title: in.Say("workplace.item"), Share: 3}, {Title: in.Say("workplace.listed"), Share: 1.4}}
	if before != nil {
		columns = append(columns, paper.Column{Title: in.Say("workplace.lent-came"), Share: 1.6})
	}
	doc.Table(append(columns, paper.Column{Title: in.Say("workplace.counted"), Share: 1.4}), rows)
	doc.Text(in.Say("workplace.loan-rest"))
}

// loanCount is how many of a line a step says there were, and whether that is another number than the inventory's.
func loanCount(s *loanStep, l events.Line) (n int64, odd bool) {
	if s == nil {
		return l.Quantity, false
	}
	i := slices.IndexFunc(s.Exceptions, func(x events.Exception) bool { return x.Line == l.Line })
	if i < 0 {
		return l.Quantity, false
	}
	return s.Exceptions[i].Counted, true
}
