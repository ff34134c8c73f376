package workplace

import (
	"cmp"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"listbound/cmd/internal/refusal"
	"listbound/events"
	"listbound/projections"
)

// A single instrument is one that is on no list: packed by itself, and opened
// during the case. It is a line of its own in the counts of the set that it is
// laid to, until it is accounted for. In a count that only says what was added
// its number is counted at once; in any other it came since the count before,
// and is counted with the rest.

// single is a single instrument that was named by a code, while it is asked
// whether that is what the code names.
type single struct {
	Set      string `json:"set"`
	Code     string `json:"code"`
	Quantity int64  `json:"quantity"`
}

// laySingles puts the lines that drafts name beside those that were recorded.
func (t *table) laySingles() {
	for i, d := range t.drafts {
		s := &t.standing.Sets[i]
		if len(t.recorded) <= i {
			t.recorded = append(t.recorded, slices.Clone(s.Lines))
		}
		s.Lines = slices.Clone(t.recorded[i])
		for _, x := range d.Beyond {
			if !slices.ContainsFunc(s.Lines, func(l projections.LineStanding) bool { return l.Line.Line == x.Line }) {
				s.Lines = append(s.Lines, projections.LineStanding{Beyond: true,
					Line: events.Line{Line: x.Line, Item: x.Item, Description: x.Description, Sort: x.Sort}})
			}
		}
		s.Lines = goodsFirst(s.Lines)
	}
}

// addedOf is how many of a line this draft says came since the count before.
func (d *draft) addedOf(line int64) int64 {
	var n int64
	for _, x := range d.Beyond {
		if x.Line == line {
			n += x.Added
		}
	}
	return n
}

// names reports whether this draft named a line.
func (d *draft) names(line int64) bool {
	return slices.ContainsFunc(d.Beyond, func(x events.Beyond) bool { return x.Line == line })
}

// addSingle takes what the form says.
func (t *table) addSingle(f fields, a *counted) error {
	v := t.v
	n, err := strconv.ParseInt(firstOf(strings.TrimSpace(f["quantity"]), "1"), 10, 64)
	if err != nil || n < 1 || n > maxCounted {
		return v.sayNo("single-number", maxCounted)
	}
	set := f["set"]
	if i := t.find(set); i < 0 || !t.takesPart(i) {
		return v.sayNo("set-not-on-case", set, t.ref)
	}
	what := strings.TrimSpace(f["what"])
	switch {
	case what == "":
		return v.sayNo("single-empty")
	case strings.ContainsAny(what, " \u00a0"):
		return t.keepSingle(set, "", what, n, a)
	}
	if g, err := t.goodsOf(what); err != nil || g != nil {
		if err == nil {
			err = t.addGoods(g, n, a)
		}
		return err
	}
	return t.singleByCode(single{Set: set, Quantity: n}, what, a)
}

// singleByCode takes what was scanned of a package, or a name of one word. A code
// that may as well be another thing is asked about.
func (t *table) singleByCode(x single, what string, a *counted) error {
	v := t.v
	scans, err := v.recogniseLast(what)
	if err != nil {
		return refusal.Because(err)
	}
	s := scans[0]
	plain := s.Kind == events.ScanPlain || s.Kind == events.ScanShort
	if plain {
		known, err := v.plainKind(s.Value, wanted(events.ScanSet, events.ScanBadge, events.ScanCase))
		if err != nil {
			return err
		}
		if known != "" {
			return v.notAskedFor(known, s.Value)
		}
	}
	switch {
	case plain && !strings.ContainsAny(s.Value, "0123456789"):
		return t.keepSingle(x.Set, "", s.Value, x.Quantity, a)
	case s.Kind == events.ScanItem, plain && (tradeItem(s.Value) || t.listed(s.Value)):
		return t.keepSingle(x.Set, s.Value, t.called(s.Value), x.Quantity, a)
	case !plain:
		return v.notAskedFor(s.Kind, s.Value)
	}
	x.Code = s.Value
	a.said = ask(v.t("single-ask", s.Value), v.t("single-ask-more")).offer(
		choice{Do: "single-yes", Value: s.Value, Words: v.t("single-yes")},
		choice{Do: "count-on", Words: v.t("single-no")},
	)
	return t.each(x.Set, func(d *draft) error { d.Single = &x; return nil })
}

// sayIsSingle answers that a code names the instrument.
func (t *table) sayIsSingle(f fields, a *counted) error {
	for _, d := range t.drafts {
		if x := d.Single; x != nil && x.Code == f["value"] {
			return t.keepSingle(x.Set, x.Code, t.called(x.Code), x.Quantity, a)
		}
	}
	return nil // it was answered before
}

// called is what the lists of the case call a catalog number; the number itself
// where they don't have it.
func (t *table) called(item string) string {
	for _, s := range t.standing.Sets {
		for _, l := range s.Lines {
			if strings.EqualFold(l.Item, item) {
				return l.Description
			}
		}
	}
	return item
}

// keepSingle lays pieces to a set: on a line that has such already, else on one
// of their own.
func (t *table) keepSingle(set, item, name string, n int64, a *counted) error {
	i := t.find(set)
	line, err := t.singleLine(i, item, name)
	if err != nil {
		return err
	}
	a.said = good(t.v.t("single-added", n, name, line, set), "")
	return t.each(set, func(d *draft) error {
		k := slices.IndexFunc(d.Beyond, func(x events.Beyond) bool { return x.Line == line })
		if k < 0 {
			k = len(d.Beyond)
			d.Beyond = append(d.Beyond, events.Beyond{Line: line, Item: item, Description: name})
		}
		if d.Single != nil && d.Single.Code == item {
			d.Single = nil // answered; what another screen asks about stays asked
		}
		d.touch(t.v.now)
		d.Rev++
		t.laySingles()
		if t.stage != events.StageAdded {
			d.Beyond[k].Added += n
			delete(d.Lines, line) // counted before this piece came
			return nil
		}
		return d.more(t.v.key, line, n, t.v.now)
	})
}

// singleLine finds the line that a set's counts have for such pieces, or a number
// above all that the set's list and counts have.
func (t *table) singleLine(i int, item, name string) (int64, error) {
	set := &t.standing.Sets[i]
	last := int64(0)
	for _, l := range set.Lines {
		if l.Beyond && l.Item == item && strings.EqualFold(l.Description, name) {
			return l.Line.Line, nil
		}
		last = max(last, l.Line.Line)
	}
	for _, stage := range Stages() {
		d, _, err := t.v.d.files.draft(t.ref, set.Key.Set, stage)
		if err != nil {
			continue // a draft that can't be read is told of where it is taken up
		}
		for _, x := range d.Beyond {
			last = max(last, x.Line)
		}
	}
	if last >= maxCounted {
		return 0, t.v.sayNo("single-full", set.Key.Set)
	}
	return last + 1, nil
}

// dropSingle takes a line back that this count named.
func (t *table) dropSingle(f fields, _ *counted) error {
	line, err := strconv.ParseInt(f["line"], 10, 64)
	if err != nil {
		return t.v.sayNo("removed-line")
	}
	return t.each(f["set"], func(d *draft) error {
		if !d.names(line) {
			return nil
		}
		d.Beyond = slices.DeleteFunc(d.Beyond, func(x events.Beyond) bool { return x.Line == line })
		d.Removed = slices.DeleteFunc(d.Removed, func(r events.Removed) bool { return r.Line == line })
		delete(d.Lines, line)
		d.touch(t.v.now)
		d.Rev++
		t.laySingles()
		return nil
	})
}

// beginSingle begins the count of what was added, from the page of any other.
func (t *table) beginSingle(_ fields, a *counted) error {
	to, err := t.v.table(t.ref, events.StageAdded)
	if err != nil {
		return err
	}
	if !to.open() {
		if err := to.each("", func(d *draft) error { d.Open = t.v.now.UTC(); return nil }); err != nil {
			return err
		}
	}
	query := url.Values{"case": {t.ref}, "stage": {string(events.StageAdded)}}.Encode()
	a.Go = t.v.d.stationPath(t.v.station, "count") + "?" + query + "#single"
	return nil
}

// beyond names the counted lines of a set that are on no list, as they are recorded.
func (t *table) beyond(i int, c *events.SetCounted) {
	d := t.drafts[i]
	for _, l := range t.standing.Sets[i].Lines {
		n := l.Line.Line
		if !l.Beyond {
			continue
		}
		if !slices.ContainsFunc(c.Counts, func(x events.Count) bool { return x.Line == n }) {
			if d.removedOf(n) == 0 {
				continue
			}
			c.Counts = append(c.Counts, events.Count{Line: n}) // none came; what left is named
		}
		x := events.Beyond{Line: n, Item: l.Item, Description: l.Description, Sort: l.Sort}
		if t.stage != events.StageAdded {
			x.Added = d.addedOf(n) + t.carried[i][n]
		}
		c.Beyond = append(c.Beyond, x)
	}
	slices.SortFunc(c.Counts, func(a, b events.Count) int { return cmp.Compare(a.Line, b.Line) }) // goods stand first on the page
	slices.SortFunc(c.Beyond, func(a, b events.Beyond) int { return cmp.Compare(a.Line, b.Line) })
}

// begun reports whether something was entered into the draft.
func (d *draft) begun() bool { return len(d.Lines) > 0 || len(d.Beyond) > 0 || len(d.Removed) > 0 }
