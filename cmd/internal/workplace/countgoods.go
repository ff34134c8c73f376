package workplace

import (
	"slices"
	"strconv"
	"strings"
	"sync"

	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections"
)

// Goods are what is opened and counted in a room and belongs to no set: sponges, sharps, small items. The site's lists of
// goods say what there is and how many are in a pack. A pack that is opened is counted as it is opened, so in the first
// count and between counts what a key or a package's code adds is counted by that; in any other count it came since the
// one before, and is counted with the rest. Its line lies with a set of the case, as that of a single instrument does, and
// comes before the set's own: sponges, sharps, small items, instruments is the order of IFPN's guideline 1002.

// goodsRow is what of the site's lists of goods can be added, and what of it is there.
type goodsRow struct {
	Item        string `json:"item"`
	Description string `json:"-"`
	Pack        int64  `json:"pack"`           // how many are in one
	There       int64  `json:"there"`          // by the counts and by what is added here
	Added       int64  `json:"added,omitzero"` // by this count, so that it can be taken back
}

// goodsKept are the goods as of a record: each input at a count asks for them, and lists seldom change.
type goodsKept struct {
	mu    sync.Mutex
	asOf  int64
	lines []events.Line
}

// goods are what the site's lists of goods have, in the order in which they are counted.
func (v *visit) goods() ([]events.Line, error) {
	k := &v.d.goods
	k.mu.Lock()
	defer k.mu.Unlock()
	changed, err := site.Answer(v.d.site, func(m *site.View) (int64, error) { return m.ListsChanged(v) })
	if err != nil || changed == k.asOf {
		return k.lines, err
	}
	lines, err := v.goodsNow()
	if err == nil {
		k.asOf, k.lines = changed, lines
	}
	return lines, err
}

func (v *visit) goodsNow() ([]events.Line, error) {
	all, err := v.d.site.Lists(v, "")
	if err != nil {
		return nil, err
	}
	return goodsIn(all), nil
}

// inOrder is the place of a sort in the order of counting; instruments come last.
func inOrder(s events.Sort) int {
	if i := slices.Index(events.Sorts(), s); i >= 0 {
		return i
	}
	return len(events.Sorts())
}

// goodsRows are what can be added at this count.
func (t *table) goodsRows() ([]goodsRow, error) {
	goods, err := t.v.goods()
	if err != nil {
		return nil, err
	}
	var out []goodsRow
	for _, g := range goods {
		r := goodsRow{Item: g.Item, Description: g.Description, Pack: g.Quantity}
		for i, s := range t.standing.Sets {
			for k := range s.Lines {
				if l := &s.Lines[k]; l.Sort != "" && strings.EqualFold(l.Item, g.Item) {
					r.There += t.expectedAll(i, l)
					r.Added += t.addedHere(i, l.Line.Line)
				}
			}
		}
		out = append(out, r)
	}
	return out, nil
}

// expectedAll is how many of a line there are, at a count of what was added, too.
func (t *table) expectedAll(i int, l *projections.LineStanding) int64 {
	if t.stage != events.StageAdded {
		return t.expected(i, l)
	}
	return l.Expected - t.drafts[i].removedOf(l.Line.Line) + t.addedHere(i, l.Line.Line)
}

// addedHere is how many of a line this count says came.
func (t *table) addedHere(i int, line int64) int64 {
	d := t.drafts[i]
	if e := d.Lines[line]; t.stage == events.StageAdded && e != nil && d.names(line) {
		return e.Counted
	}
	return d.addedOf(line)
}

// goodsOf finds what a code names among the site's goods, nil for nothing.
func (t *table) goodsOf(code string) (*events.Line, error) {
	goods, err := t.v.goods()
	i := slices.IndexFunc(goods, func(g events.Line) bool { return strings.EqualFold(g.Item, code) })
	if err != nil || i < 0 {
		return nil, err
	}
	return &goods[i], nil
}

// packScanned takes the code of a pack that was opened. It reports whether it is one.
func (t *table) packScanned(code string, a *counted) (bool, error) {
	g, err := t.goodsOf(code)
	if err != nil || g == nil {
		return false, err
	}
	return true, t.addGoods(g, g.Quantity, a)
}

// pressGoods takes a key of the panel: so many more, or fewer, of what this count added.
func (t *table) pressGoods(f fields, a *counted) error {
	item, number, _ := strings.Cut(f["value"], " ")
	n, err := strconv.ParseInt(number, 10, 64)
	if err != nil || n == 0 || max(n, -n) > maxCounted {
		return t.v.sayNo("single-number", maxCounted)
	}
	g, err := t.goodsOf(item)
	switch {
	case err != nil:
		return err
	case g == nil:
		return t.v.sayNo("goods-unknown", item)
	}
	return t.addGoods(g, n, a)
}

// addGoods lays goods to the count, or takes what it laid there back.
func (t *table) addGoods(g *events.Line, n int64, a *counted) error {
	i := t.goodsSet(g.Item)
	if i < 0 {
		return t.v.sayNo("goods-no-set")
	}
	line, err := t.singleLine(i, g.Item, g.Description)
	if err != nil {
		return err
	}
	if has := t.addedHere(i, line); has+n < 0 {
		return t.v.sayNo("goods-not-added", -n, g.Description, has)
	}
	x := events.Beyond{Line: line, Item: g.Item, Description: g.Description, Sort: g.Sort}
	err = t.each(t.standing.Sets[i].Key.Set, func(d *draft) error { return t.layGoods(i, d, x, n) })
	if err != nil {
		return err
	}
	l := t.lineOf(i, line)
	switch {
	case n < 0:
		a.said = good(t.v.t("goods-back", -n, g.Description), "")
	case t.countedAsOpened():
		a.said = good(t.v.t("goods-added", n, g.Description, t.expectedAll(i, l)), "")
	default:
		a.said = good(t.v.t("goods-came", n, g.Description, t.expectedAll(i, l)), "")
	}
	return nil
}

// countedAsOpened reports whether goods are counted by being added.
func (t *table) countedAsOpened() bool {
	return t.stage == events.StageFirst || t.stage == events.StageAdded
}

// layGoods puts goods into the draft of the set that they lie with.
func (t *table) layGoods(i int, d *draft, x events.Beyond, n int64) error {
	before, disputed := int64(0), false
	if e := d.Lines[x.Line]; e != nil {
		before, disputed = e.Counted, len(e.Disputed) > 0
	}
	k := slices.IndexFunc(d.Beyond, func(b events.Beyond) bool { return b.Line == x.Line })
	if k < 0 {
		k = len(d.Beyond)
		d.Beyond = append(d.Beyond, x)
	}
	if t.stage != events.StageAdded {
		d.Beyond[k].Added += n
	}
	d.touch(t.v.now)
	d.Rev++
	switch {
	case !t.countedAsOpened():
		delete(d.Lines, x.Line) // counted before these came
	case n < 0 && before+n <= 0 && !disputed:
		delete(d.Lines, x.Line)
	default:
		if err := d.more(t.v.key, x.Line, n, t.v.now); err != nil {
			return err
		}
	}
	nothing := d.Beyond[k].Added == 0 && d.Lines[x.Line] == nil && d.removedOf(x.Line) == 0
	if nothing && !slices.ContainsFunc(t.recorded[i], func(l projections.LineStanding) bool { return l.Line.Line == x.Line }) {
		d.Beyond = slices.Delete(d.Beyond, k, k+1)
	}
	t.laySingles()
	return nil
}

// goodsSet is what goods lie with: the set where such lie already, else where goods without a set are counted, else the first
// set that is counted at this stage; -1 for none.
func (t *table) goodsSet(item string) int {
	first := slices.IndexFunc(t.standing.Sets, func(s projections.SetStanding) bool { return s.Goods })
	if first >= 0 && !t.takesPart(first) {
		first = -1
	}
	for i, s := range t.standing.Sets {
		switch {
		case !t.takesPart(i):
		case slices.ContainsFunc(s.Lines, func(l projections.LineStanding) bool {
			return l.Sort != "" && strings.EqualFold(l.Item, item)
		}):
			return i
		case first < 0:
			first = i
		}
	}
	return first
}

// lineOf finds a line of a set; one that nobody knows has nothing of it.
func (t *table) lineOf(i int, line int64) *projections.LineStanding {
	lines := t.standing.Sets[i].Lines
	if k := slices.IndexFunc(lines, func(l projections.LineStanding) bool { return l.Line.Line == line }); k >= 0 {
		return &lines[k]
	}
	return new(projections.LineStanding)
}

// goodsFirst puts what a set's counts have of goods before its instruments.
func goodsFirst(lines []projections.LineStanding) []projections.LineStanding {
	slices.SortStableFunc(lines, func(a, b projections.LineStanding) int { return inOrder(a.Sort) - inOrder(b.Sort) })
	return lines
}

// staysWords tells what stays in the patient on purpose by the counts of a case's sets, and why.
func (v *visit) staysWords(sets []projections.SetStanding) []string {
	var out []string
	for i := range sets {
		said, _ := v.passedOff(&sets[i], slices.DeleteFunc(slices.Clone(sets[i].Removed), func(r projections.RemovedStanding) bool {
			return !r.Stays
		}))
		out = append(out, said...)
	}
	return out
}
