package workplace

import (
	"slices"
	"strconv"
	"strings"
	"time"

	"listbound/cmd/internal/paper"
	"listbound/events"
	"listbound/projections"
)

// verdict says what is asked now, or, once nothing is, what will be recorded and who is to sign it.
func (b *readback) verdict(v *visit) (said, error) {
	st, q, err := b.now(v)
	switch {
	case err != nil:
		return said{}, err
	case st == nil && b.Form:
		return ask(v.t("readback-ask-form"), v.t("readback-form-more")).offer(choice{Do: "clear", Words: v.t("readback-aside")}), nil
	case st == nil:
		b.clear() // somebody else has finished it, or thrown it away
		return ask(v.t("readback-gone"), ""), nil
	case q == nil:
		return b.sum(v, st), nil
	}
	s := b.ask(v, st, q)
	if len(st.done) > 0 && q.kind != askLate { // which says so itself
		s.Aside = joined(s.Aside, v.t("readback-note-recorded"), st.changedSince(v, b))
	}
	return s, nil
}

// ask is a question with its answers.
func (b *readback) ask(v *visit, st *readState, q *paperQuestion) said {
	stage := ""
	if q.stage != "" {
		stage = v.t("stage-" + string(q.stage))
	}
	switch q.kind {
	case askPages:
		return doubt(v.t("readback-ask-pages", numbersOf(st.sheet.missing()), st.sheet.Of, st.sheet.Set),
			v.t("readback-ask-pages-more")).offer(
			choice{Do: "without", Words: v.t("readback-without")}, choice{Do: "aside", Words: v.t("readback-aside")})
	case askCase:
		s := ask(v.t("readback-ask-case", st.sheet.Set), v.t("readback-case-more"))
		if q.proposed != "" {
			says := v.t("readback-case-is", q.proposed)
			if q.label {
				says = v.t("readback-on-label", q.proposed)
			}
			s.Choices = []choice{{Do: "enter", Words: says, Main: true}}
		}
		return s
	case askKnown:
		return b.askKnown(v)
	case askWhose:
		return b.askWhose(v, st)
	case askClosed:
		return b.askClosed(v, st)
	case askLate:
		return b.askLate(v, st, q)
	case askThere:
		return b.askThere(v, st, q.stage)
	case askDay:
		return b.askDay(v, st)
	case askMoment:
		return b.askMoment(v, st)
	case askOpened:
		return ask(v.t("readback-ask-opened", st.on.Set, b.Case), v.t("readback-time-more"))
	case askFound:
		return b.askFound(v, st)
	case askMade:
		return ask(v.t("readback-ask-made", stage, st.sheet.Set), "").offer(
			choice{Do: "made", Words: v.t("readback-made"), Main: true}, choice{Do: "not-stage", Words: v.t("readback-not-stage")})
	case askBlank:
		return ask(v.t("readback-ask-blank", stage), v.t("readback-blank-more")).offer(
			choice{Do: "not-stage", Words: v.t("readback-not-stage"), Main: true}, choice{Do: "aside", Words: v.t("readback-aside")})
	case askBlankPage:
		return ask(v.t("readback-ask-blank-page", stage, q.page), v.t("readback-blank-more")).offer(
			choice{Do: "blank-page", Words: v.t("readback-not-page")}, choice{Do: "aside", Words: v.t("readback-aside")})
	case askCounter:
		return askPerson(v, q, v.t("readback-ask-counter", stage))
	case askWitness:
		s := askPerson(v, q, v.t("readback-ask-witness", stage))
		s.Choices = append(s.Choices, choice{Do: "alone", Words: v.t("readback-alone")})
		return s
	case askAt:
		return ask(v.t("readback-ask-at", stage), v.t("readback-time-more"))
	case askFormGoods, askNoGoods, askGoodsName, askGoods, askFewer, askCame:
		return b.askGoods(v, st, q, stage)
	}
	return b.askCell(v, q, stage)
}

func (b *readback) askFound(v *visit, st *readState) said {
	s := ask(v.t("readback-ask-found", st.sheet.Set), "")
	for _, place := range foundPlaces() {
		s.Choices = append(s.Choices, choice{Do: "found", Value: place, Words: v.t("readback-found-" + place)})
	}
	return s
}

func askPerson(v *visit, q *paperQuestion, words string) said {
	s := ask(words, "")
	says := v.t("readback-same-person", q.proposed)
	switch {
	case q.proposed == "":
		return s
	case q.label:
		says = v.t("readback-on-label", q.proposed)
	case q.with != "":
		says = v.t("readback-same-persons", q.proposed, q.with)
	}
	s.Choices = []choice{{Do: "enter", Words: says, Main: true}}
	return s
}

// askWhose: the sheet is not that of a set as it was opened for the case.
func (b *readback) askWhose(v *visit, st *readState) said {
	s := wrong(v.t("readback-ask-whose", st.sheet.Set, b.Case), v.t("readback-whose-more"))
	for _, k := range st.likely {
		words := v.t("readback-counted-by", k.Set)
		if k.Set == st.sheet.Set {
			words = v.t("readback-counted-turn", k.Set)
		}
		s.Choices = append(s.Choices, choice{Do: "counted-by", Value: k.Set + " " + k.Trip, Words: words})
	}
	own := st.own()
	s.Choices = append(s.Choices,
		choice{Do: "counted-by", Value: own.Set + " " + own.Trip, Words: v.t("readback-opened-too", own.Set)},
		choice{Do: "aside", Words: v.t("readback-aside")})
	return s
}

func (b *readback) askCell(v *visit, q *paperQuestion, stage string) said {
	words := v.t("readback-ask-cell", q.line, stage, q.printed)
	switch {
	case q.line < 0:
		words = v.t("readback-ask-goods-cell", lineName(q.line), stage)
	case q.why == whyForm:
		words = v.t("readback-ask-typed", q.line, stage, q.printed)
	}
	s := ask(words, v.t("readback-why-"+q.why))
	switch s.Next = v.t("readback-next-number", q.item); {
	case q.item == "":
		s.Next = ""
	case q.why == whyForm: // the question says already what to type
		s.Next = q.item
	}
	switch {
	case q.agrees && q.line < 0:
		s.Choices = append(s.Choices, choice{Do: "as-printed", Words: v.t("readback-as-sum", q.printed), Main: true})
	case q.agrees:
		s.Choices = append(s.Choices, choice{Do: "as-printed", Words: v.t("readback-as-printed", q.printed), Main: true})
	}
	s.Choices = append(s.Choices, choice{Do: "not-line", Words: v.t("readback-not-line")})
	return s
}

// sum is what will be recorded, and who signs it.
func (b *readback) sum(v *visit, st *readState) said {
	counts := st.counts(b)
	if len(counts) == 0 {
		return b.nothing(v, st)
	}
	var more []string
	for _, c := range counts {
		more = append(more, c.words(v))
	}
	if st.sheet.hasGoods() && len(st.goodsUsed(b)) == 0 {
		more = append(more, v.t("readback-no-goods"))
	}
	words := v.t("readback-sign-first")
	switch {
	case b.signedBy(st) != "" && st.policy.TwoPersons:
		words = v.t("readback-sign-second")
	case b.signedBy(st) != "":
		words = v.t("readback-sign-enter")
	}
	s := ask(words, strings.Join(append(more, v.t("count-no-proof")), " "))
	for _, c := range counts {
		if len(c.others)+len(c.without)+len(c.removed) > 0 {
			s.Status = "doubtful"
		}
	}
	if st.on != st.own() {
		s.Status, s.Sound = "broken", "wrong"
		s.Aside = v.t("readback-swapped", st.on.Set, st.sheet.Set)
	}
	if st.closed.id != "" {
		s.Status, s.Sound = "broken", "wrong"
		s.Aside = joined(s.Aside, v.t("readback-ask-closed", b.Case, v.time(st.closed.at)))
	}
	s.Choices = []choice{{Do: "other-day", Words: v.t("readback-other-day")}}
	return s
}

// stageCount is a count as the sheet has it.
type stageCount struct {
	stage   events.Stage
	at      time.Time
	counter string
	witness string
	counts  []events.Count
	asked   []int64     // lines whose number a person said
	others  []otherLine // lines counted otherwise than printed
	without []int64     // lines that were not counted
	beyond  []events.Beyond
	removed []events.Removed
	goods   []goodsNumber
	mends   paperCount // the recorded count that this is laid to, of pages that it lacks
}

// otherLine is a line that was counted otherwise than printed.
type otherLine struct{ line, counted, printed int64 }

// othersOf says all of them: whoever signs holds each against the paper.
func (c *stageCount) othersOf(v *visit) string {
	var out []string
	for _, o := range c.others {
		out = append(out, v.t("readback-other", lineName(o.line), o.counted, o.printed))
	}
	return strings.Join(out, "; ")
}

// counts are what the sheet comes to, once nothing is asked.
func (st *readState) counts(b *readback) (out []stageCount) {
	goods := st.goodsUsed(b)
	for _, stage := range st.counted(b) {
		said := b.Stages[stage]
		c := stageCount{stage: stage, counts: []events.Count{}}
		switch {
		case st.mends(stage):
			was := st.done[stage]
			c.mends, c.at, c.counter, c.witness = was, was.at, was.data.Counter, was.data.Witness
		case said == nil:
			continue
		default:
			c.at, c.counter, c.witness = said.At, said.Counter, said.Witness
		}
		for i := range st.lines {
			l := &st.lines[i]
			if l.Beyond && (st.on != st.own() || slices.ContainsFunc(goods, func(g *paperGoods) bool { return g.line == l.Line.Line })) {
				continue // it lies with another set, or has a row for goods
			}
			n, _ := st.value(b, l, stage)
			cell, page := st.sheet.cell(l.Line.Line, stage)
			if n < 0 {
				if stage != events.StageAdded && (!st.mends(stage) || cell != nil && !st.isDoneOn(page, stage)) {
					c.without = append(c.without, l.Line.Line)
				}
				continue
			}
			c.counts = append(c.counts, events.Count{Line: l.Line.Line, Counted: n})
			if s, ok := b.Cells[cellName(stage, l.Line.Line)]; ok && cell != nil && s.Picture == page.Picture {
				c.asked = append(c.asked, l.Line.Line)
			}
			if stage != events.StageAdded && n != l.Packed {
				c.others = append(c.others, otherLine{l.Line.Line, n, l.Packed})
			}
		}
		st.goodsCounts(b, goods, &c)
		if len(c.counts) > 0 {
			out = append(out, c)
		}
	}
	return out
}

func (c *stageCount) words(v *visit) string {
	stage := v.t("stage-" + string(c.stage))
	at, who := v.time(c.at), v.t("readback-by-one", c.counter)
	if c.witness != "" {
		who = v.t("readback-by-two", c.counter, c.witness)
	}
	s := v.t("readback-count", stage, at, who, len(c.counts))
	if len(c.others) > 0 {
		s += " " + v.t("readback-others", c.othersOf(v))
	}
	if len(c.without) > 0 {
		s += " " + v.t("readback-uncounted", linesOf(c.without))
	}
	if goods := c.goodsWords(v); goods != "" {
		s += " " + goods
	}
	if c.mends.id != "" {
		s += " " + v.t("readback-late-added")
	}
	return s
}

// linesOf lists some lines: of many the first.
func linesOf(lines []int64) string {
	const most = 12
	var out []string
	for _, n := range lines[:min(len(lines), most)] {
		out = append(out, lineName(n))
	}
	if len(lines) > most {
		return strings.Join(out, ", ") + " …"
	}
	return strings.Join(out, ", ")
}

// lineName is how the sheet names a row.
func lineName(line int64) string {
	if line < 0 {
		return paper.GoodsName(int(-line))
	}
	return strconv.FormatInt(line, 10)
}

// record records the counts of the sheet, and its opening where none is recorded: all, or none of them.
func (b *readback) record(v *visit, _ fields) (said, error) {
	v.d.papers.Lock() // two stations may have the same sheet in hand
	defer v.d.papers.Unlock()
	st, q, err := b.now(v)
	if err != nil || st == nil || q != nil {
		return said{}, err
	}
	first := b.signedBy(st)
	if first == "" || st.policy.TwoPersons && (b.Witness == "" || sameBadge(b.Witness, first)) {
		return said{Sound: "low"}, nil
	}
	b.Operator = first
	counts := st.counts(b)
	if len(counts) == 0 {
		return said{Sound: "low"}, nil
	}
	kept, err := v.keepPictures(st)
	if err != nil {
		return said{}, err
	}
	size := v.d.site.Size()
	all, err := b.observations(v, st, counts, kept)
	if err != nil {
		return said{}, err
	}
	rs, err := v.observe(all...)
	if err != nil {
		return said{}, err
	}
	if err := v.d.files.removePaper(b.Code); err != nil {
		return said{}, err
	}
	verdict, err := v.verdictOf(st.on)
	if err != nil {
		return said{}, err
	}
	says := v.phrased("readback-recorded", len(counts), st.on.Set, b.Case)
	s := good(v.say(says), v.t("count-no-proof"))
	if verdict != nil {
		s = v.judged(verdict, size, s, projections.CountMissing)
	}
	ref, on := b.Case, st.on
	b.clear()
	b.Done = &done{Says: []phrase{says}, Set: on.Set, Trip: on.Trip, Case: ref, Seqs: seqs(rs), IDs: ids(rs),
		Links: []link{{Address: v.d.stationPath(v.station, "close") + "?case=" + esc(ref), Says: v.phrased("go-close", ref)}}}
	return s, nil
}

// observations are what the sheet and those who read it back say.
func (b *readback) observations(v *visit, st *readState, counts []stageCount, kept map[int]string) ([]*events.Observation, error) {
	observed := func(at time.Time, d events.Data) *events.Observation {
		return &events.Observation{Station: v.station, Kind: d.Kind(), Time: at, Set: st.on.Set, Trip: st.on.Trip, Operator: b.Operator,
			Medium: events.MediumPaper, Data: d}
	}
	var out []*events.Observation
	if st.opened.IsZero() {
		d := &events.SetOpened{Case: b.Case}
		if b.Found != placeUnknown && !st.sheet.Form {
			d.Sheet = &events.Reading{Found: b.Found, Code: b.Code, Of: int64(st.sheet.Of)}
			for _, p := range st.sheet.inOrder() {
				d.Sheet.Pages = append(d.Sheet.Pages, int64(p.Page))
			}
		}
		out = append(out, observed(b.Opened, d))
	}
	for _, c := range counts {
		if c.mends.id != "" {
			o, err := b.laidTo(v, st, &c, kept)
			if err != nil {
				return nil, err
			}
			out = append(out, o)
			continue
		}
		from := &events.FromPaper{Asked: c.asked}
		if st.policy.TwoPersons {
			from.CheckedBy = b.Witness
		}
		for _, p := range st.sheet.inOrder() {
			from.Pages = append(from.Pages, st.pageOf(p, c.stage, kept))
		}
		slices.Sort(from.Asked)
		d := &events.SetCounted{Case: b.Case, Stage: c.stage, Sheet: b.Code, Counter: c.counter, Witness: c.witness, Counts: c.counts,
			Beyond: c.beyond, Removed: c.removed, Paper: from}
		if st.sheet.Form {
			d.Sheet, d.SheetText = events.SheetUnreadable, formText
			d.Paper = &events.FromPaper{Typed: true, CheckedBy: from.CheckedBy}
		}
		out = append(out, observed(c.at, d))
	}
	return out, nil
}
