package workplace

import (
	"context"
	"slices"
	"strings"
	"time"

	"listbound/cmd/internal/paper/marks"
	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
	"listbound/projections/judge"
	"listbound/projections/words"
)

// A sheet whose counts are recorded may be read again: for its next column, by mistake, or since somebody wrote on the paper
// afterwards. What it says of the recorded counts is held against them, and never recorded over them.

// paperCount is a count that was read back from a sheet and is recorded.
type paperCount struct {
	id, by string             // the record that has the last word, and the station that made it
	data   *events.SetCounted // what that says
	at     time.Time
	ref    string          // the case
	counts map[int64]int64 // by line; of a line that is not counted there is none. Of what came, how many in all
	asked  map[int64]bool  // lines whose mark was asked about
	came   map[int64]int64 // what is recorded as come by this count
	stays  map[int64]int64 // and what stays in the patient by it
	goods  []string        // what is recorded of goods, as goodsKey has it
	marks  map[int]string  // what was in its column, by page, as events.PaperPage has it
}

// has reports whether a page was there when the count was recorded.
func (c paperCount) has(p *paperPage) bool {
	_, ok := c.marks[p.Page]
	return ok
}

// letter is what was read of a row of a page, by its place from the top.
func (c *paperCount) letter(p *paperPage, row int) (letter string, known bool) {
	read := c.marks[p.Page]
	if len(read) != len(p.Rows)+len(p.Goods) {
		return "", false
	}
	return read[row : row+1], true
}

// countedFromPaper are the counts of a trip that were read back from a sheet before, by stage.
func countedFromPaper(w *judge.World, k projections.TripKey, code string) (map[events.Stage]paperCount, error) {
	out := make(map[events.Stage]paperCount)
	for _, it := range w.Trip(k).Counted {
		d := facts.CountOf(it)
		if it.Void || d.Paper == nil || d.Sheet != code {
			continue
		}
		c, ok := out[d.Stage]
		if !ok {
			c = paperCount{counts: make(map[int64]int64), asked: make(map[int64]bool), came: make(map[int64]int64),
				stays: make(map[int64]int64), marks: make(map[int]string)}
		}
		c.id, c.by, c.data, c.at, c.ref = it.Event.ID, it.Event.Station, d, it.At(), d.Case
		c.take(d)
		out[d.Stage] = c
	}
	return out, w.Failed()
}

// take adds what a record says. What came may be recorded more than once from a sheet.
func (c *paperCount) take(d *events.SetCounted) {
	for _, p := range d.Paper.Pages {
		c.marks[int(p.Page)] = p.Marks
	}
	for _, n := range d.Counts {
		if d.Stage != events.StageAdded {
			c.counts[n.Line] = n.Counted
			continue
		}
		c.counts[n.Line] += n.Counted
		c.came[n.Line] += n.Counted
	}
	for _, n := range d.Paper.Asked {
		c.asked[n] = true
	}
	for _, r := range d.Removed {
		c.stays[r.Line] += r.Quantity
	}
	for _, x := range d.Beyond {
		if x.Sort != "" {
			c.goods = append(c.goods, goodsKey(x.Item, x.Description))
		}
		if d.Stage != events.StageFirst && d.Stage != events.StageAdded {
			c.came[x.Line] += x.Added
		}
	}
}

// usedFor is a set, or another turn of the sheet's own, whose counts were read back from a sheet.
type usedFor struct {
	on   projections.TripKey
	done map[events.Stage]paperCount
}

// setsCountedBy are those of which counts were read back from a sheet that is not theirs.
func setsCountedBy(ctx context.Context, m *site.View, own projections.TripKey, code string) (out []usedFor, err error) {
	found, err := m.Facts(ctx, facts.DimSheet, own.Trip)
	if err != nil {
		return nil, err
	}
	w := m.World(ctx)
	for _, e := range found {
		k := projections.TripKey{Set: e.Subject, Trip: e.Trip}
		if d, ok := e.Data.(*events.SetCounted); !ok || d.Paper == nil || slices.ContainsFunc(out,
			func(u usedFor) bool { return u.on == k }) {
			continue
		}
		done, err := countedFromPaper(w, k, code)
		if err != nil {
			return nil, err
		}
		if len(done) > 0 { // what was taken back is none
			out = append(out, usedFor{k, done})
		}
	}
	return out, w.Failed()
}

// isOf reports whether the sheet's counts are those of a set: some are recorded so for the case in hand, or all are for another.
func (u *usedFor) isOf(st *readState, ref string) bool {
	all := true
	for _, stage := range st.sheet.stages() {
		was, ok := u.done[stage]
		if ok && was.ref == ref {
			return true
		}
		all = all && (ok || st.blank(stage))
	}
	return all
}

// differs are the lines of a page that read otherwise than they are recorded. printed is the number beside a line where the page
// itself doesn't say it.
func (p *paperPage) differs(stage events.Stage, done map[events.Stage]paperCount, printed func(line int64) int64) (out []int64) {
	was := done[stage]
	k := slices.Index(p.Stages, stage)
	if k < 0 {
		return nil
	}
	for i, r := range p.Rows {
		if k >= len(r.Cells) {
			continue
		}
		n, counted := was.counts[r.Line]
		beside := printed(r.Line)
		if r.Printed != nil {
			beside = *r.Printed
		}
		same := false
		switch c := r.Cells[k]; {
		case c.Mark == markAsked, c.Written:
			before, _ := was.letter(p, i)
			same = was.asked[r.Line] || before == markAsked || !counted && c.Why == string(marks.Unmarked) ||
				stage == events.StageAdded && p.moreMayHaveCome(&r, done) // which is asked
		case c.Mark == markTicked:
			same = counted && (n == beside || was.asked[r.Line])
		default:
			same = !counted || stage == events.StageAdded && n == 0
		}
		if !same {
			out = append(out, r.Line)
		}
	}
	return out
}

// changedSince says of each recorded count of the sheet which lines read otherwise by now, "" for none.
func (st *readState) changedSince(v *visit, b *readback) string {
	printed := func(line int64) int64 {
		for i := range st.lines {
			if st.lines[i].Line.Line == line {
				return st.lines[i].Packed
			}
		}
		return 0
	}
	var out []string
	for _, stage := range st.sheet.stages() {
		was, ok := st.done[stage]
		if !ok {
			continue
		}
		var lines []int64
		for _, p := range st.sheet.inOrder() {
			if !was.has(p) {
				continue
			}
			lines = append(lines, p.differs(stage, st.done, printed)...)
			lines = append(lines, p.goodsDiffer(stage, was, st.sheet.Goods)...)
		}
		if len(lines) > 0 {
			out = append(out, v.t("readback-changed-lines", v.t("stage-"+string(stage)), v.time(was.at), linesOf(lines)))
		}
	}
	if rows := st.fewerCame(b); len(rows) > 0 {
		out = append(out, v.t("readback-fewer-came", linesOf(rows)))
	}
	if late := st.late(); len(late) > 0 && b.Late == lateLeave+st.sheet.reading() {
		out = append(out, st.lateWords(v, late))
	}
	return strings.Join(out, " ")
}

// nothing says that all of the sheet is recorded already, and what of it reads otherwise by now.
func (b *readback) nothing(v *visit, st *readState) said {
	drop := choice{Do: "drop", Value: st.sheet.Trip, Words: v.t("readback-drop")}
	aside := choice{Do: "aside", Words: v.t("readback-aside")}
	if changed := st.changedSince(v, b); changed != "" {
		return doubt(v.t("readback-changed", st.sheet.Set), changed+" "+v.t("readback-changed-more")).offer(drop, aside)
	}
	drop.Main = true
	return ask(v.t("readback-nothing"), "").offer(drop, aside)
}

// changedCount is a recorded count, and the lines of a page that read otherwise than it says.
type changedCount struct {
	stage events.Stage
	at    time.Time
	lines []int64
}

// settled reports whether a page says nothing that is not recorded, and as it says it. changed is what it says otherwise.
func (p *printed) settled(page *paperPage) (settled bool, changed []changedCount) {
	numbers := p.numbers()
	settled = len(p.done) > 0
	for _, stage := range page.Stages {
		was, ok := p.done[stage]
		if !ok {
			settled = settled && page.blank(stage) && (!page.goodsMarked(stage) || p.cameSaid(page, stage))
			continue
		}
		if !was.has(page) {
			settled = settled && !page.has(stage)
			continue
		}
		lines := page.differs(stage, p.done, func(line int64) int64 { return numbers[line] })
		if lines = append(lines, page.goodsDiffer(stage, was, p.sheet.Goods)...); len(lines) > 0 {
			settled = false
			changed = append(changed, changedCount{stage, was.at, lines})
		}
	}
	return settled && !p.moreMayHaveCome(page), changed
}

// moreMayHaveCome reports whether more may have come since the sheet's counts were recorded.
func (p *printed) moreMayHaveCome(page *paperPage) bool {
	return slices.ContainsFunc(page.all(), func(r paperRow) bool { return page.moreMayHaveCome(&r, p.done) })
}

// cameSaid reports whether a recorded count after what came says how much that was.
func (p *printed) cameSaid(page *paperPage, stage events.Stage) bool {
	if stage != events.StageAdded {
		return false
	}
	later := page.Stages[slices.Index(page.Stages, stage)+1:]
	return slices.ContainsFunc(later, func(s events.Stage) bool { return p.done[s].counts != nil })
}

// say says it in a language.
func (c *changedCount) say(in *words.Language) string {
	return in.Say("workplace.readback-changed-lines", in.Say("workplace.stage-"+string(c.stage)), in.Date("shell.time", c.at),
		linesOf(c.lines))
}
