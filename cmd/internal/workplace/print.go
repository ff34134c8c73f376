package workplace

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"

	"listbound/cmd/internal/paper"
	"listbound/cmd/internal/refusal"
	"listbound/cmd/internal/shell"
	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
	"listbound/projections/words"
)

func (d *Desk) registerPrint(mux shell.Mux) {
	p := "GET " + d.opts.Prefix + "/print/"
	mux.HandleFunc(p+"sheet.pdf", d.print(func(r *http.Request, w io.Writer, lang *words.Language) error {
		size := paper.A4
		if s := r.FormValue("size"); s != "" {
			var err error
			if size, err = paper.ParseSize(s); err != nil {
				return refusal.Say(refusal.Because(err), "paper-size", s)
			}
		}
		sheet, err := sheetOf(r.Context(), d.site, r.FormValue("set"), r.FormValue("trip"))
		if err != nil {
			return err
		}
		sheet.Practice = d.opts.Practice
		return refusal.Because(paper.WriteSheet(w, sheet, size, lang))
	}))
	mux.HandleFunc(p+"set-label.pdf", d.print(func(r *http.Request, w io.Writer, lang *words.Language) error {
		s, err := sheetOf(r.Context(), d.site, r.FormValue("set"), r.FormValue("trip"))
		if err != nil {
			return err
		}
		label := paper.SetLabel{
			Set: s.Set, Title: s.Title, List: s.List, Version: s.Version, Packed: s.Packed, Short: s.Code.Short(),
			Practice: d.opts.Practice,
		}
		if label.Badge, label.Load, err = packerAndLoad(r.Context(), d.site, s.Set, s.Trip); err != nil {
			return err
		}
		return refusal.Because(paper.WriteSetLabel(w, label, labelSize(r), lang))
	}))
	mux.HandleFunc(p+"load-label.pdf", d.print(func(r *http.Request, w io.Writer, lang *words.Language) error {
		l, err := d.loadLabel(r)
		if err != nil {
			return err
		}
		l.Practice = d.opts.Practice
		return refusal.Because(paper.WriteLoadLabel(w, l, labelSize(r), lang))
	}))
	mux.HandleFunc(p+"loan.pdf", d.print(d.loanPDF))
	mux.HandleFunc(p+"list.pdf", d.print(d.listPDF))
	mux.HandleFunc(p+"labels.pdf", d.print(func(r *http.Request, w io.Writer, lang *words.Language) error {
		labels, err := idLabels(r)
		if err != nil {
			return err
		}
		for i := range labels {
			labels[i].Practice = d.opts.Practice
		}
		return refusal.Because(paper.WriteIDLabels(w, labels, labelSize(r), lang))
	}))
	mux.HandleFunc(p+"day.zip", d.printDay)
	mux.HandleFunc("GET "+d.opts.Prefix+"/labels/{$}", d.page(d.labelsPage))
}

// packerAndLoad tells who packed a set in a trip, and the load by which it is sterile, ""
// where there is none: one that failed, or is quarantined, on a set's label would be read as one.
func packerAndLoad(ctx context.Context, s *site.Site, set, trip string) (packer, load string, err error) {
	h, err := site.Answer(s, func(m *site.View) (projections.History, error) {
		return m.World(ctx).History(projections.HistoryOf{Set: set, Trip: trip})
	})
	for _, e := range h.Events {
		if e.Void {
			continue
		}
		switch data := e.Data.(type) {
		case *events.SetPacked:
			packer = e.Operator
		case *events.SetSterilized:
			if load = ""; data.Result == "passed" && data.Released {
				load = data.Load
			}
		}
	}
	return packer, load, err
}

// labelKinds are the labels that name one thing, in the order of a set's way.
var labelKinds = []struct {
	name string
	kind events.ScanKind
}{{"tag", events.ScanTag}, {"badge", events.ScanBadge}, {"case", events.ScanCase}, {"seal", events.ScanSeal}}

// mostLabels are printed at once.
const mostLabels = 500

// idLabels are the labels asked for: of each id, and of count numbers from the first
// id on, as for a lot of seals.
func idLabels(r *http.Request) ([]paper.IDLabel, error) {
	var kind events.ScanKind
	for _, k := range labelKinds {
		if k.name == r.FormValue("kind") {
			kind = k.kind
		}
	}
	if kind == "" {
		return nil, refusal.Keyed("label-kind", "kind is tag, badge, case or seal, not %q", r.FormValue("kind"))
	}
	ids := strings.FieldsFunc(r.FormValue("id"), func(r rune) bool { return r == ',' || unicode.IsSpace(r) })
	if kind == events.ScanCase { // a reference with blanks in it is one case, not several
		ids = nil
		for _, line := range strings.FieldsFunc(r.FormValue("id"), func(r rune) bool { return strings.ContainsRune(",\r\n\t", r) }) {
			if id := strings.TrimSpace(line); id != "" {
				ids = append(ids, id)
			}
		}
	}
	if s := r.FormValue("count"); s != "" && len(ids) == 1 {
		n, err := strconv.Atoi(s)
		if err != nil || n < 1 || n > mostLabels {
			return nil, refusal.Keyed("label-count", "count is %q; it is a number from 1 to %d", s, mostLabels)
		}
		if ids, err = numbered(ids[0], n); err != nil {
			return nil, err
		}
	}
	if len(ids) > mostLabels {
		return nil, refusal.Keyed("labels-many", "%d labels are asked for; at most %d are printed at once", len(ids), mostLabels)
	}
	var out []paper.IDLabel
	for _, id := range ids {
		out = append(out, paper.IDLabel{Kind: kind, ID: id})
	}
	return out, nil
}

// numbered returns n ids from the first on: the digits at its end are counted up
// and keep their length.
func numbered(first string, n int) ([]string, error) {
	head := strings.TrimRight(first, "0123456789")
	digits := first[len(head):]
	from, err := strconv.ParseUint(digits, 10, 63)
	if n > 1 && (err != nil || len(strconv.FormatUint(from+uint64(n)-1, 10)) > max(len(digits), 1)) {
		return nil, refusal.Keyed("labels-digits", "%d numbers can't be counted up from %q: it ends with %d digits", n, first, len(digits))
	}
	out := []string{first}
	for i := 1; i < n; i++ {
		out = append(out, fmt.Sprintf("%s%0*d", head, len(digits), from+uint64(i)))
	}
	return out, nil
}

// labelsPage is where labels of badges, cases, tags and seals are asked for.
func (d *Desk) labelsPage(v *visit) (*rendered, error) {
	var kinds []string
	for _, k := range labelKinds {
		kinds = append(kinds, k.name)
	}
	body := struct {
		Kinds []string
		Sizes []paper.LabelSize
	}{kinds, paper.LabelSizes()}
	return &rendered{name: "labels", title: v.t("labels"), data: body}, nil
}

// loadLabel is what the label of a load says: what was recorded of it, or, before
// its cycle has ended, what lies at its station. A time is that of the start, never
// of the record.
func (d *Desk) loadLabel(r *http.Request) (paper.LoadLabel, error) {
	l := paper.LoadLabel{Load: r.FormValue("load")}
	found, err := site.Answer(d.site, func(m *site.View) ([]*events.Event, error) {
		return m.Facts(r.Context(), facts.DimLoad, l.Load)
	})
	for _, e := range found {
		if s, ok := e.Data.(*events.SetSterilized); ok {
			l.Sterilizer, l.Run, l.Cycle, l.Badge = s.Sterilizer, s.Run, s.Cycle, s.Loader
			if at, err := time.Parse(time.RFC3339, s.Started); err == nil {
				l.Started = at.In(d.site.Zone())
			}
		}
	}
	if err == nil {
		l.Failed, err = d.failed(r.Context(), l.Load)
	}
	if err != nil || l.Sterilizer != "" {
		return l, err
	}
	var b sterilizer
	if at := r.FormValue("at"); events.CheckStation(at) == nil {
		if _, err := d.files.load(&b, "bench", at, "sterilizer"); err != nil {
			return l, err
		}
	}
	x := b.find(l.Load)
	if x == nil {
		return l, refusal.Say(fmt.Errorf("%w of load %s", site.ErrNotFound, l.Load), "nothing-of", l.Load)
	}
	l.Sterilizer, l.Run, l.Cycle, l.Started, l.Badge = x.Sterilizer, x.Run, x.Cycle, x.StartedAt.In(d.site.Zone()), x.Loader
	return l, nil
}

// failed reports whether it is recorded of a load that its cycle failed.
func (d *Desk) failed(ctx context.Context, load string) (bool, error) {
	return site.Answer(d.site, func(m *site.View) (bool, error) {
		w := m.World(ctx)
		trips, _ := w.LoadOf(load)
		failed := slices.ContainsFunc(trips, func(k projections.TripKey) bool {
			last := endedIn(w.Trip(k), load)
			return last != nil && last.Result == "failed"
		})
		return failed, w.Failed()
	})
}

// labelSize is the size asked for, or the first that is common.
func labelSize(r *http.Request) paper.LabelSize {
	if l, err := paper.ParseLabelSize(r.FormValue("size")); err == nil {
		return l
	}
	return paper.LabelSizes()[0]
}

// print answers with a PDF, whole or not at all.
func (d *Desk) print(write func(*http.Request, io.Writer, *words.Language) error) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		var out bytes.Buffer
		err := d.sh.CheckLanguage(r)
		if err == nil {
			err = write(r, &out, d.sh.Words(r).Language())
		}
		if err != nil {
			d.sh.FailText(w, r, err)
			return
		}
		w.Header().Set("Content-Type", "application/pdf")
		w.Header().Set("Content-Disposition", "inline")
		w.Write(out.Bytes()) // a client that has gone away needs no answer
	}
}

// PrintSheet writes the sheet that was sealed last in a set's trip; without a
// trip, in its open one.
func PrintSheet(ctx context.Context, s *site.Site, set, trip string, size paper.Size, lang *words.Language, w io.Writer) error {
	sheet, err := sheetOf(ctx, s, set, trip)
	if err != nil {
		return err
	}
	// After the seal is recorded, so that the sheet bears witness to its own.
	line, err := s.CheckLine(ctx)
	if err != nil {
		return err
	}
	sheet.CheckLine = line.Printed()
	return refusal.Because(paper.WriteSheet(w, sheet, size, lang)) // into memory: what fails is what it says
}

func sheetOf(ctx context.Context, s *site.Site, set, trip string) (paper.Sheet, error) {
	if set == "" {
		return paper.Sheet{}, refusal.Keyed("sheet-of-what", "name the set whose sheet is to be printed")
	}
	return site.Answer(s, func(m *site.View) (paper.Sheet, error) {
		if trip == "" {
			now, err := m.TripNow(ctx, set, s.Clock())
			if err != nil {
				return paper.Sheet{}, err
			}
			trip = now
		}
		sheet, err := sealedSheet(ctx, m, projections.TripKey{Set: set, Trip: trip})
		if err != nil {
			return paper.Sheet{}, err
		}
		policy, _, err := m.World(ctx).PolicyAt(site.SiteOf(s.Name()), s.Clock())
		sheet.Cavity = slices.Contains(policy.Stages, events.StageCavity)
		sheet.Relief = slices.Contains(policy.Stages, events.StageRelief)
		return sheet, err
	})
}

// sealedSheet is the sheet that was sealed last in a trip.
func sealedSheet(ctx context.Context, m *site.View, k projections.TripKey) (paper.Sheet, error) {
	var none paper.Sheet
	w := m.World(ctx)
	packed, err := w.Packed(k)
	if err != nil {
		return none, err
	}
	sealed, err := w.Sealed(k)
	switch {
	case err != nil:
		return none, err
	case packed == nil:
		return none, refusal.Say(fmt.Errorf("%w of a packing of %s", site.ErrNotFound, k.Set), "not-packed", k.Set)
	case sealed == nil:
		return none, refusal.Keyed("no-sheet-yet",
			"set %s is not sealed in this trip, so there is no sheet yet; record list.sealed first", k.Set)
	}
	v, err := m.List(ctx, packed.List, packed.Version)
	if err != nil {
		return none, err
	}
	found, err := m.Facts(ctx, facts.DimTrip, k.Trip)
	if err != nil {
		return none, err
	}
	var at time.Time
	for _, e := range found {
		if e.Kind() == events.KindSetPacked {
			at = e.Time.In(m.Zone())
		}
	}
	sheet, err := paper.SheetOf(k.Set, k.Trip, v.Issue(), packed, at, sealed)
	if err != nil {
		return sheet, refusal.Because(err)
	}
	sheet.Goods, err = goodsOn(ctx, m, w.Trip(k), sheet.Code)
	return sheet, err
}
