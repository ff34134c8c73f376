package workplace

import (
	"cmp"
	"slices"
	"strconv"
	"strings"

	"github.com/go-json-experiment/json"

	"listbound/events"
)

// A page may be read after counts of its sheet were recorded without it. Its lines are laid to these counts, each said anew by a
// correction: a count of these lines alone would be a first count that is begun again, or a final one by which nobody counted the
// rest. What came is the exception, since counts of that add up.

// What a person said of a page that recorded counts lack. The reading of which it was said follows.
const (
	lateAdd   = "add"
	lateLeave = "leave"
)

// has reports whether anything is in a stage's column of a page.
func (p *paperPage) has(stage events.Stage) bool { return !p.blank(stage) || p.goodsMarked(stage) }

// late are the stages whose recorded counts lack a page on which something is in their column.
func (st *readState) late() (out []events.Stage) {
	for _, stage := range st.sheet.stages() {
		if st.isDone(stage) && len(st.latePages(stage)) > 0 {
			out = append(out, stage)
		}
	}
	return out
}

func (st *readState) latePages(stages ...events.Stage) (out []int) {
	for _, p := range st.sheet.inOrder() {
		if slices.ContainsFunc(stages, func(s events.Stage) bool { return !st.isDoneOn(p, s) && p.has(s) }) {
			out = append(out, p.Page)
		}
	}
	return out
}

// late reports whether recorded counts of a sheet lack a page of it.
func (p *printed) late(page *paperPage) bool {
	return slices.ContainsFunc(page.Stages, func(s events.Stage) bool {
		was, ok := p.done[s]
		return ok && !was.has(page) && page.has(s)
	})
}

// completes reports whether pages that a recorded count lacks are laid to it.
func (st *readState) completes(b *readback, stage events.Stage) bool {
	return b.Late == lateAdd+st.sheet.reading() && slices.Contains(st.late(), stage)
}

// mends reports whether a count that the sheet comes to is laid to one that is recorded.
func (st *readState) mends(stage events.Stage) bool {
	return stage != events.StageAdded && st.isDone(stage)
}

// recordedPage reports whether a page that is not here needn't be: what it says is recorded, and no other column is begun here.
func (st *readState) recordedPage(n int) (recorded bool) {
	for _, stage := range st.sheet.stages() {
		was, ok := st.done[stage]
		if !ok && !st.blank(stage) {
			return false
		}
		_, has := was.marks[n]
		recorded = recorded || has
	}
	return recorded
}

// nextLate asks whether pages that recorded counts lack are laid to them.
func (st *readState) nextLate(v *visit, b *readback) *paperQuestion {
	reading := st.sheet.reading()
	late := st.late()
	if len(late) == 0 || b.Late == lateAdd+reading || b.Late == lateLeave+reading {
		return nil
	}
	return &paperQuestion{kind: askLate, agrees: !slices.ContainsFunc(late, func(s events.Stage) bool { return !st.mayLay(v, s) })}
}

// mayLay reports whether a recorded count can be said anew here: the station made it, and the policy doesn't leave it to a lead. Nor
// where a text of it was taken out, since the mark in its place would be recorded.
func (st *readState) mayLay(v *visit, stage events.Stage) bool {
	if !st.mends(stage) {
		return true
	}
	was := st.done[stage]
	within, limited := st.policy.MayMend()
	return was.by == v.station && (!limited || v.now.Sub(was.at) <= within) && !events.IsMark(was.data.Case) &&
		!slices.ContainsFunc(was.data.Removed, func(r events.Removed) bool { return events.IsMark(r.Reason) })
}

// lateWords says which counts lack which pages.
func (st *readState) lateWords(v *visit, late []events.Stage) string {
	var names []string
	for _, s := range late {
		names = append(names, v.t("stage-"+string(s)))
	}
	return v.t("readback-late", numbersOf(st.latePages(late...)), strings.Join(names, ", "))
}

func numbersOf(pages []int) string {
	var out []string
	for _, n := range pages {
		out = append(out, strconv.Itoa(n))
	}
	return strings.Join(out, ", ")
}

func (b *readback) askLate(v *visit, st *readState, q *paperQuestion) said {
	late := st.late()
	leave := choice{Do: "late", Value: lateLeave, Words: v.t("readback-late-leave")}
	aside := choice{Do: "aside", Words: v.t("readback-aside")}
	words, lacks := v.t("readback-ask-late", numbersOf(st.latePages(late...))), st.lateWords(v, late)
	if q.agrees {
		return doubt(words, joined(lacks, v.t("readback-late-more"))).offer(
			choice{Do: "late", Value: lateAdd, Words: v.t("readback-late-add"), Main: true}, leave, aside)
	}
	more := v.t("readback-late-lead")
	if by := st.lateAt(v, late); by != "" {
		more = v.t("readback-late-station", by)
	}
	return doubt(words, joined(lacks, more)).offer(aside, leave)
}

// lateAt is the one other station that can lay pages to recorded counts, "" where there is none.
func (st *readState) lateAt(v *visit, late []events.Stage) (by string) {
	_, limited := st.policy.MayMend()
	for _, s := range late {
		was := st.done[s]
		switch {
		case !st.mends(s):
		case limited || was.by == v.station || by != "" && was.by != by:
			return ""
		default:
			by = was.by
		}
	}
	return by
}

func (b *readback) takeLate(v *visit, f fields) (said, error) {
	st, q, err := b.now(v)
	if err == nil && q != nil && q.kind == askLate && (f["value"] == lateAdd && q.agrees || f["value"] == lateLeave) {
		b.Late = f["value"] + st.sheet.reading()
	}
	return said{}, err
}

// pageOf is what a record says of a page.
func (st *readState) pageOf(p *paperPage, stage events.Stage, kept map[int]string) events.PaperPage {
	return events.PaperPage{Page: int64(p.Page), Of: int64(st.sheet.Of), Picture: p.Picture, Marks: p.marksOf(stage), Kept: kept[p.Page]}
}

// laidTo says a recorded count anew, with what pages have that it lacks.
func (b *readback) laidTo(v *visit, st *readState, c *stageCount, kept map[int]string) (*events.Observation, error) {
	d := *c.mends.data
	d.Counts, d.Beyond, d.Removed = slices.Clone(d.Counts), slices.Clone(d.Beyond), slices.Concat(d.Removed, c.removed)
	for _, n := range c.counts {
		if k := slices.IndexFunc(d.Counts, func(o events.Count) bool { return o.Line == n.Line }); k >= 0 {
			d.Counts[k].Counted += n.Counted // goods that have a row on another page
		} else {
			d.Counts = append(d.Counts, n)
		}
	}
	for _, x := range c.beyond {
		if k := slices.IndexFunc(d.Beyond, func(o events.Beyond) bool { return o.Line == x.Line }); k >= 0 {
			d.Beyond[k].Added += x.Added
		} else {
			d.Beyond = append(d.Beyond, x)
		}
	}
	slices.SortFunc(d.Counts, func(a, b events.Count) int { return cmp.Compare(a.Line, b.Line) })
	slices.SortFunc(d.Beyond, func(a, b events.Beyond) int { return cmp.Compare(a.Line, b.Line) })
	from := *d.Paper
	from.Asked = slices.Concat(from.Asked, c.asked)
	slices.Sort(from.Asked)
	from.Asked, from.Pages = slices.Compact(from.Asked), slices.Clone(from.Pages)
	var pages []int
	for _, p := range st.sheet.inOrder() {
		if !c.mends.has(p) {
			from.Pages, pages = append(from.Pages, st.pageOf(p, c.stage, kept)), append(pages, p.Page)
		}
	}
	slices.SortFunc(from.Pages, func(a, b events.PaperPage) int { return cmp.Compare(a.Page, b.Page) })
	d.Paper = &from
	raw, err := json.Marshal(&d, json.Deterministic(true))
	if err != nil {
		return nil, err
	}
	who := v.t("readback-by-one", b.Operator)
	if st.policy.TwoPersons {
		who = v.t("readback-by-two", b.Operator, b.Witness)
	}
	return &events.Observation{Station: v.station, Kind: events.KindEventCorrected, Time: v.now.UTC(), Operator: b.Operator,
		Data: &events.EventCorrected{Event: c.mends.id, Action: "replace", Data: raw,
			Reason: v.t("readback-late-reason", numbersOf(pages), who)}}, nil
}
