package workplace

import (
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"listbound/events"
)

// What is asked about rows for goods on a count sheet that is read back, and what is made of the answers.

// nextGoods asks about the first row for goods that is not sure.
func (st *readState) nextGoods(b *readback) *paperQuestion {
	if !st.sheet.hasGoods() {
		return nil
	}
	if len(st.counted(b)) == 0 {
		return st.nextSince(b)
	}
	pale := slices.ContainsFunc(st.sheet.inOrder(), func(p *paperPage) bool { return p.Grey && len(p.Goods) > 0 })
	switch {
	case b.NoGoods == st.sheet.reading():
	case st.sheet.Form && !b.OnForm:
		return &paperQuestion{kind: askFormGoods}
	case pale:
		return &paperQuestion{kind: askNoGoods}
	}
	used := st.goodsUsed(b)
	for _, g := range used {
		q := st.goodsQuestion(b, g)
		if q == nil {
			continue
		}
		if q.kind == askCell &&
			q.why == whyBefore { // a count that is recorded may be of goods in two rows: what the others say is asked first
			for _, o := range used {
				if first := st.goodsQuestion(b, o); first != nil && (first.kind == askGoods || first.kind == askGoodsName) {
					return first.of(o)
				}
			}
		}
		return q.of(g)
	}
	return nil
}

// nextSince asks about rows of a sheet of which nothing else is to be recorded, whether more came since.
func (st *readState) nextSince(b *readback) *paperQuestion {
	for _, g := range st.goodsUsed(b) {
		r, _ := st.sheet.row(g.row)
		if !g.page.moreMayHaveCome(r, st.done) {
			continue
		}
		if q := st.goodsQuestion(b, g); q != nil {
			return q.of(g)
		}
	}
	return nil
}

// of makes it a question about a row for goods.
func (q *paperQuestion) of(g *paperGoods) *paperQuestion {
	q.line, q.page, q.item = g.row, g.page.Page, g.of.Description
	return q
}

func (st *readState) goodsQuestion(b *readback, g *paperGoods) *paperQuestion {
	if g.said.Numbers == nil && !g.said.None {
		return &paperQuestion{kind: askGoods}
	}
	if st.nameFirst(g) {
		return &paperQuestion{kind: askGoodsName}
	}
	if st.mayBeSame(b, g) {
		return &paperQuestion{kind: askCame, printed: st.cameThere(b, g)}
	}
	counted := false
	for _, stage := range st.counted(b) {
		n, ok := st.goodsCount(b, g, stage)
		counted = counted || !ok || n >= 0
		if ok {
			continue
		}
		c, _ := st.sheet.cell(g.row, stage)
		q := &paperQuestion{kind: askCell, stage: stage, printed: st.remain(b, g, stage), why: c.Why}
		if c.Mark == markTicked && !c.Written {
			q.why = whyNoSum
			if st.otherSum(b, g, stage) {
				q.why = whyBefore
			}
		}
		q.agrees = !c.Written && len(g.said.Numbers) > 0 && g.here && (q.why == whyNoSum || !slices.Contains(noTick, q.why))
		return q
	}
	if counted && g.of.Description == "" {
		return &paperQuestion{kind: askGoodsName}
	}
	for _, stage := range st.counted(b) {
		s := b.fewer(stage, g)
		if s.Fewer == "" && s.Picture != "" && !s.Not && len(g.said.Numbers) > 0 && s.Counted < st.remain(b, g, stage) {
			return &paperQuestion{kind: askFewer, stage: stage, printed: s.Counted, agrees: !st.isLast(stage) && st.cameSince(b, g, stage)}
		}
	}
	return nil
}

// askGoods are the questions of goods.
func (b *readback) askGoods(v *visit, st *readState, q *paperQuestion, stage string) said {
	row := lineName(q.line)
	switch q.kind {
	case askFormGoods:
		return ask(v.t("readback-ask-form-goods"), v.t("readback-form-goods-more")).offer(
			choice{Do: "no-goods", Words: v.t("readback-none-there"), Main: true}, choice{Do: "on-form",
				Words: v.t("readback-goods-there")})
	case askNoGoods:
		return ask(v.t("readback-ask-no-goods"), v.t("readback-blank-more")).offer(
			choice{Do: "no-goods", Words: v.t("readback-none-there"), Main: true}, choice{Do: "aside", Words: v.t("readback-aside")})
	case askGoodsName:
		return ask(v.t("readback-ask-goods-name", row), v.t("readback-goods-name-more"))
	case askCame:
		return b.askCame(v, st, q)
	case askFewer:
		s := doubt(v.t("readback-ask-fewer", row, stage, q.printed), joined(q.item+".", v.t("readback-fewer-more")))
		s.Choices = []choice{{Do: "fewer", Value: fewerMissing, Words: v.t("readback-fewer-missing"), Main: true}}
		if q.agrees {
			s.Choices = append(s.Choices, choice{Do: "fewer", Value: fewerLater, Words: v.t("readback-fewer-later", stage)})
		}
		return s
	}
	s := ask(v.t("readback-ask-goods", row), v.t("readback-goods-more"))
	if q.item != "" {
		s.Next = v.t("readback-next-numbers", q.item)
	}
	s.Choices = []choice{{Do: "goods-none", Words: v.t("readback-goods-none"), Main: st.sheet.Form}}
	if q.item != "" {
		s.Choices = append(s.Choices, choice{Do: "goods-else", Words: v.t("readback-goods-else")})
	}
	return s
}

// askCame asks whether what came by the paper is what recorded counts have.
func (b *readback) askCame(v *visit, st *readState, q *paperQuestion) said {
	came, name := int64(0), lineName(q.line)
	for _, g := range st.goodsUsed(b) {
		if g.row == q.line {
			if came = st.notHere(b, g); st.other.whole[g.line] {
				came += st.inFirst(b, g)
			}
		}
	}
	if q.line > 0 {
		came, name = st.came(b, st.lineAdded(b, q.line)), v.t("readback-line", q.line)
	}
	return doubt(v.t("readback-ask-came", name, came, q.printed), joined(q.item+".", v.t("readback-came-more"))).offer(
		choice{Do: "came", Value: cameSame, Words: v.t("readback-came-same", q.printed)},
		choice{Do: "came", Value: cameBesides, Words: v.t("readback-came-besides")},
		choice{Do: "aside", Words: v.t("readback-aside")})
}

// What a person said of goods that came by the paper and by recorded counts.
const (
	cameSame    = "same"
	cameBesides = "besides"
)

// takeCame says whether what came by the paper is what recorded counts have.
func (b *readback) takeCame(v *visit, f fields) (said, error) {
	st, q, err := b.now(v)
	if err != nil || st == nil || q == nil || q.kind != askCame {
		return said{}, err
	}
	some := q.printed
	switch f["value"] {
	case cameSame:
	case cameBesides:
		some = 0
	default:
		if some, err = strconv.ParseInt(f["value"], 10, 64); err != nil || some < 0 || some > q.printed {
			return said{}, v.sayNo("readback-no-number", f["value"])
		}
	}
	if name := cellName(q.stage, q.line); q.line > 0 {
		s := b.Cells[name]
		s.There, s.Same, s.Some = q.printed, some > 0, some
		b.Cells[name] = s
		return said{}, nil
	}
	s := b.Goods[q.line]
	s.There, s.Same, s.Some = q.printed, some > 0, some
	b.Goods[q.line] = s
	return said{}, nil
}

var sumTyped = regexp.MustCompile(`^[0-9]{1,4}( *\+ *[0-9]{1,4})*$`)

func looksLikeSum(text string) bool { return sumTyped.MatchString(text) }

// takeGoods takes the numbers of a row: those of the first count, and each that came, with a plus between them.
func (b *readback) takeGoods(v *visit, f fields) (said, error) {
	text := strings.TrimSpace(f["value"])
	if !looksLikeSum(text) {
		return said{}, v.sayNo("readback-no-number", text)
	}
	var numbers []int64
	for part := range strings.SplitSeq(text, "+") {
		n, err := strconv.ParseInt(strings.TrimSpace(part), 10, 64)
		if err != nil || n > maxCounted {
			return said{}, v.sayNo("readback-no-number", text)
		}
		numbers = append(numbers, n)
	}
	return b.sayGoods(v, func(st *readState, q *paperQuestion, s *goodsSaid) string {
		c, _ := st.sheet.cell(q.line, events.StageAdded)
		if c != nil && c.Written && len(numbers) == 1 {
			return v.t("readback-goods-plus", lineName(q.line))
		}
		s.Numbers = numbers
		return ""
	})
}

// noNumbers says that neither under the first count nor under what came a number is written.
func (b *readback) noNumbers(v *visit, _ fields) (said, error) {
	return b.sayGoods(v, func(_ *readState, _ *paperQuestion, s *goodsSaid) string { s.None = true; return "" })
}

// otherGoods says that another name stands there than this program knows of the row.
func (b *readback) otherGoods(v *visit, _ fields) (said, error) {
	return b.sayGoods(v, func(_ *readState, _ *paperQuestion, s *goodsSaid) string { s.Else = true; return "" })
}

// nameGoods takes what is written as the name of goods that the sheet was not printed with.
func (b *readback) nameGoods(v *visit, f fields) (said, error) {
	name := strings.Join(strings.Fields(f["name"]), " ")
	sort := events.Sort(f["sort"])
	if name == "" || !slices.Contains(events.Sorts(), sort) {
		return said{}, v.sayNo("readback-goods-nameless")
	}
	goods, err := v.goods()
	if err != nil {
		return said{}, err
	}
	return b.sayGoods(v, func(st *readState, _ *paperQuestion, s *goodsSaid) string {
		s.Name, s.Sort = name, sort
		for _, g := range slices.Concat(goods, st.sheet.Goods) { // its code, or its name as the site's list or the sheet has it
			if strings.EqualFold(g.Item, name) || strings.EqualFold(g.Description, name) {
				s.Item, s.Name, s.Sort = g.Item, g.Description, g.Sort
			}
		}
		return ""
	})
}

// sayGoods keeps what was said of the row that is asked about; where set says why it can't be, the question stays.
func (b *readback) sayGoods(v *visit, set func(*readState, *paperQuestion, *goodsSaid) string) (said, error) {
	st, q, err := b.now(v)
	if err != nil || st == nil || q == nil || q.kind != askGoods && q.kind != askGoodsName {
		return said{}, err
	}
	r, page := st.sheet.row(q.line)
	if r == nil {
		return said{}, fmt.Errorf("row %d of sheet %s is gone", q.line, st.sheet.Code)
	}
	s := b.Goods[q.line]
	if s.Picture != page.Picture {
		s = goodsSaid{Picture: page.Picture}
	}
	if no := set(st, q, &s); no != "" {
		return said{Aside: no, Sound: "wrong"}, nil
	}
	if b.Goods == nil {
		b.Goods = make(map[int64]goodsSaid)
	}
	b.Goods[q.line] = s
	return said{}, nil
}

// noGoods says that no goods are on the paper.
func (b *readback) noGoods(v *visit, _ fields) (said, error) {
	st, q, err := b.now(v)
	if err == nil && q != nil && (q.kind == askNoGoods || q.kind == askFormGoods) {
		b.NoGoods = st.sheet.reading()
	}
	return said{}, err
}

// onForm says that goods are on the blank form.
func (b *readback) onForm(v *visit, _ fields) (said, error) {
	_, q, err := b.now(v)
	if err == nil && q != nil && q.kind == askFormGoods {
		b.OnForm = true
	}
	return said{}, err
}

// takeFewer says of a count that came to fewer than the sum whether the rest came after it or was missing.
func (b *readback) takeFewer(v *visit, f fields) (said, error) {
	return b.sayFewer(v, func(s *cellSaid, q *paperQuestion) string {
		if f["value"] == fewerMissing || f["value"] == fewerLater && q.agrees {
			s.Fewer = f["value"]
		}
		return ""
	})
}

// takeStays says that the rest was left in the patient on purpose, and why.
func (b *readback) takeStays(v *visit, f fields) (said, error) {
	return b.sayFewer(v, func(s *cellSaid, _ *paperQuestion) string {
		if s.Reason = strings.TrimSpace(f["reason"]); s.Reason == "" {
			return v.t("readback-stays-why")
		}
		s.Fewer = fewerStays
		return ""
	})
}

func (b *readback) sayFewer(v *visit, set func(*cellSaid, *paperQuestion) string) (said, error) {
	_, q, err := b.now(v)
	if err != nil || q == nil || q.kind != askFewer {
		return said{}, err
	}
	name := cellName(q.stage, q.line)
	s := b.Cells[name]
	if no := set(&s, q); no != "" {
		return said{Aside: no, Sound: "wrong"}, nil
	}
	b.Cells[name] = s
	return said{}, nil
}
