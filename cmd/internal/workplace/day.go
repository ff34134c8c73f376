package workplace

import (
	"archive/zip"
	"bytes"
	"cmp"
	"context"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"listbound/cmd/internal/paper"
	"listbound/cmd/internal/refusal"
	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections"
	"listbound/projections/ready"
	"listbound/projections/words"
)

// Day is what is printed at night, so that a day can be worked through on paper should the server be away.
type Day struct {
	Date     string // that it is for, as 2026-03-04; "" for the one that comes: until noon today, from then on tomorrow
	Size     paper.Size
	Label    paper.LabelSize
	Blank    int      // forms for what nobody planned
	Sets     []string // of these alone, and not of all that are ready
	Practice bool
}

// dayAhead is the day that is printed for where nobody says which.
func dayAhead(now time.Time) string {
	const noon = 12
	if now.Hour() >= noon {
		now = now.AddDate(0, 0, 1)
	}
	return now.Format(time.DateOnly)
}

// PrintDay writes an archive: of each case of the day by the schedule a folder with a cover, the count sheets and the labels of its
// sets; those of all other sets that are closed and not yet counted to their end; forms without a list; and a list of what is in
// it and which sets have no count sheet. The archive's comment is the day.
func PrintDay(ctx context.Context, s *site.Site, d Day, lang *words.Language, w io.Writer) error {
	if d.Date == "" {
		d.Date = dayAhead(s.Clock().In(s.Zone()))
	}
	line, err := s.CheckLine(ctx)
	if err != nil {
		return err
	}
	keys, stopped, without, err := readySets(ctx, s, d.Sets)
	if err != nil {
		return err
	}
	cases, err := d.cases(ctx, s, keys, stopped)
	if err != nil {
		return err
	}
	lists, err := s.Lists(ctx, "")
	if err != nil {
		return err
	}
	p := &dayPrinter{Day: d, site: s, lang: lang, zip: zip.NewWriter(w), line: line.Printed(), without: without, goods: goodsIn(lists),
		stopped: stopped}
	fmt.Fprintf(&p.contents, "%s\n", lang.Say("workplace.day-contents", s.Name(), len(keys), d.Date))
	if err := p.print(ctx, cases, keys); err != nil {
		return err
	}
	if err := p.zip.SetComment(d.Date); err != nil {
		return err
	}
	return p.zip.Close()
}

// notForIt are the states of a set whose count sheet doesn't belong to the case that wants it.
var notForIt = []ready.State{ready.Spoken, ready.Out, ready.Broken, ready.Missing, ready.NeverSeen}

// cases are those of the day that want sets, the soonest first; where sets are named, those that want one of these.
func (d *Day) cases(ctx context.Context, s *site.Site, keys, stopped []projections.TripKey) ([]paper.DayCase, error) {
	day, err := s.Schedule(ctx, site.ScheduleQuery{Day: d.Date})
	if err != nil {
		return nil, err
	}
	var out []paper.DayCase
	for i := range day.Cases {
		c := &day.Cases[i]
		if c.Class == ready.Closed || c.Class == ready.Cancelled {
			continue
		}
		x := paper.DayCase{Case: c.Case, Room: c.Room, Start: c.Start.In(s.Zone())}
		printed := false
		for _, n := range c.Needs {
			stop := slices.Contains(stopped, n.TripKey)
			has := slices.Contains(keys, n.TripKey) && !slices.Contains(notForIt, n.State) && !stop
			printed = printed || has
			x.Sets = append(x.Sets, paper.DaySet{Set: n.Set, Trip: n.Trip, List: n.List, Title: n.Title, Printed: has, Stopped: stop})
		}
		if printed || len(d.Sets) == 0 && len(x.Sets) > 0 {
			out = append(out, x)
		}
	}
	slices.SortStableFunc(out, func(a, b paper.DayCase) int { return cmp.Or(a.Start.Compare(b.Start), cmp.Compare(a.Room, b.Room)) })
	return out, nil
}

// dayPrinter puts a day's papers into an archive.
type dayPrinter struct {
	Day
	site     *site.Site
	lang     *words.Language
	zip      *zip.Writer
	line     string
	goods    []events.Line // of today
	contents strings.Builder
	without  []string
	stopped  []projections.TripKey // of the sets whose papers are printed: they are not to be opened as they are
}

func (p *dayPrinter) print(ctx context.Context, cases []paper.DayCase, keys []projections.TripKey) error {
	done := make(map[projections.TripKey]bool)
	for i := range cases {
		c := &cases[i]
		folder := fmt.Sprintf("cases/%02d %s/", i+1, safeName(strings.Join([]string{c.Start.Format("1504"), c.Room, c.Case}, " ")))
		fmt.Fprintf(&p.contents, "\n%s\n", p.lang.Say("workplace.day-case",
			strings.TrimSpace(c.Start.Format("15:04")+" "+c.Room), c.Case))
		err := p.add(folder+"0 cover.pdf", func(w io.Writer) error {
			return paper.WriteDayCover(w, *c, p.Size, p.Practice, p.lang)
		})
		if err != nil {
			return err
		}
		withGoods := true // the first count sheet of a case alone has rows for goods
		for _, n := range c.Sets {
			k := projections.TripKey{Set: n.Set, Trip: n.Trip}
			if n.Stopped {
				continue
			}
			if !n.Printed {
				p.without = append(p.without, p.lang.Say("workplace.day-lacks", c.Case, cmp.Or(n.Set, n.List)))
				continue
			}
			if err := p.set(ctx, k, withGoods, folder, folder+"label "); err != nil {
				return err
			}
			done[k], withGoods = true, false
		}
	}
	if len(cases) > 0 {
		fmt.Fprintf(&p.contents, "\n%s\n", p.lang.Say("workplace.day-spare"))
	} else {
		fmt.Fprintln(&p.contents)
	}
	for _, k := range keys {
		if done[k] {
			continue
		}
		if err := p.set(ctx, k, true, "sheets/", "labels/"); err != nil {
			return err
		}
	}
	return p.rest()
}

// rest are the forms, and the list of all.
func (p *dayPrinter) rest() error {
	if p.Blank > 0 {
		err := p.add("forms.pdf", func(w io.Writer) error {
			return paper.WriteBlankForms(w, p.Blank, p.Size, p.goods, p.Practice, p.lang)
		})
		if err != nil {
			return err
		}
	}
	if len(p.stopped) > 0 {
		fmt.Fprintf(&p.contents, "\n%s\n", p.lang.Say("workplace.day-stopped"))
		for _, k := range p.stopped {
			fmt.Fprintln(&p.contents, k.Set)
		}
	}
	if len(p.without) > 0 {
		fmt.Fprintf(&p.contents, "\n%s\n%s\n", p.lang.Say("workplace.day-without"), strings.Join(p.without, "\n"))
	}
	return p.add("contents.txt", func(w io.Writer) error {
		_, err := io.WriteString(w, p.contents.String())
		return err
	})
}

// set adds the count sheet and the label of a set. Where there are none, the others are printed all the same.
func (p *dayPrinter) set(ctx context.Context, k projections.TripKey, goods bool, sheets, labels string) error {
	sheet, err := sheetOf(ctx, p.site, k.Set, k.Trip)
	if err == nil {
		if !goods {
			sheet.Goods = nil
		}
		sheet.CheckLine, sheet.Practice = p.line, p.Practice
		err = p.addSet(ctx, &sheet, sheets, labels)
	}
	switch {
	case refusal.Is(err):
		p.without = append(p.without, k.Set+": "+whyUnread(p.lang, err))
		return nil
	case err == nil:
		fmt.Fprintf(&p.contents, "%s  %s  %s\n", k.Set, sheet.Code.Short(), sheet.Title)
	}
	return err
}

// safeName is a name as one of a file: nothing in it leads elsewhere.
func safeName(name string) string {
	return strings.ReplaceAll(strings.ReplaceAll(url.PathEscape(name), ".", "%2E"), "%20", " ")
}

// readySets are the turns whose sets are closed and not yet counted to their end, and those of them that nobody opens as they are;
// without are those that a person named and that are not.
func readySets(ctx context.Context, s *site.Site, named []string) (keys, stopped []projections.TripKey, without []string, err error) {
	err = s.Ask(func(m *site.View) error {
		all, err := m.TurnsNow(ctx, s.Clock())
		if err != nil {
			return err
		}
		w := m.World(ctx)
		found := make(map[string]bool)
		for _, k := range all {
			if len(named) > 0 && !slices.Contains(named, k.Set) {
				continue
			}
			c := w.Trip(k)
			sealed, closed := false, false
			for _, it := range c.Sealed {
				sealed = sealed || !it.Void
			}
			for _, it := range c.Opened {
				if it.Void {
					continue
				}
				st, err := w.CaseStanding(events.CaseOf(it.Data))
				if err != nil {
					return err
				}
				closed = closed || st.Closed
			}
			if !sealed || closed {
				continue
			}
			keys = append(keys, k)
			found[k.Set] = true
			v, err := m.Verdict(ctx, k)
			if err != nil {
				return err
			}
			if v != nil && stops(v) {
				stopped = append(stopped, k)
			}
		}
		for _, set := range named {
			if !found[set] {
				without = append(without, set)
			}
		}
		return w.Failed()
	})
	return keys, stopped, without, err
}

// stops reports whether a set is not to be opened as it is, by what is recorded of it.
func stops(v *projections.Verdict) bool {
	return !v.Opened && (v.Status == projections.Broken || slices.ContainsFunc(v.Findings, func(f projections.Finding) bool {
		return f.Code == projections.PutAside && f.Severity != projections.SeverityNoted
	}))
}

// addSet adds a set's count sheet and label.
func (p *dayPrinter) addSet(ctx context.Context, sheet *paper.Sheet, sheets, labels string) error {
	label := paper.SetLabel{Set: sheet.Set, Title: sheet.Title, List: sheet.List, Version: sheet.Version, Packed: sheet.Packed,
		Short: sheet.Code.Short(), Practice: p.Practice}
	var err error
	if label.Badge, label.Load, err = packerAndLoad(ctx, p.site, sheet.Set, sheet.Trip); err != nil {
		return err
	}
	name := safeName(sheet.Set) + ".pdf"
	err = p.add(sheets+name, func(w io.Writer) error { return paper.WriteSheet(w, *sheet, p.Size, p.lang) })
	if err != nil {
		return err
	}
	return p.add(labels+name, func(w io.Writer) error { return paper.WriteSetLabel(w, label, p.Label, p.lang) })
}

// add adds a file once it is whole.
func (p *dayPrinter) add(name string, write func(io.Writer) error) error {
	var out bytes.Buffer
	if err := write(&out); err != nil {
		return refusal.Because(err)
	}
	f, err := p.zip.Create(name)
	if err == nil {
		_, err = f.Write(out.Bytes())
	}
	return err
}

// printDay answers with the archive of a day.
func (d *Desk) printDay(w http.ResponseWriter, r *http.Request) {
	day := Day{Label: paper.LabelSizes()[0], Practice: d.opts.Practice, Sets: r.Form["set"], Date: r.FormValue("day")}
	var err error
	if s := r.FormValue("size"); s != "" {
		if day.Size, err = paper.ParseSize(s); err != nil {
			d.sh.FailText(w, r, refusal.Say(refusal.Because(err), "paper-size", s))
			return
		}
	}
	if s := r.FormValue("label"); s != "" { // size is the paper's
		if day.Label, err = paper.ParseLabelSize(s); err != nil {
			d.sh.FailText(w, r, refusal.Because(err))
			return
		}
	}
	if s := r.FormValue("blank"); s != "" {
		if day.Blank, err = strconv.Atoi(s); err != nil || day.Blank < 0 || day.Blank > mostLabels {
			d.sh.FailText(w, r, refusal.New("blank is a number of forms from 0 to %d, not %q", mostLabels, s))
			return
		}
	}
	var out bytes.Buffer
	if err = d.sh.CheckLanguage(r); err == nil {
		err = PrintDay(r.Context(), d.site, day, d.sh.Words(r).Language(), &out)
	}
	if err != nil {
		d.sh.FailText(w, r, err)
		return
	}
	w.Header().Set("Content-Type", "application/zip")
	w.Header().Set("Content-Disposition", `attachment; filename="papers.zip"`)
	w.Write(out.Bytes()) // a client that has gone away needs no answer
}
