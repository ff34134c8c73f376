package workplace

import (
	"strings"
	"time"

	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections"
	"listbound/projections/judge"
)

// The state of a count, as the page keeps it.
type (
	countState struct {
		Rev      int64      `json:"rev"`
		Stage    string     `json:"stage"`
		Sets     []setState `json:"sets"`
		Counter  string     `json:"counter"`
		Witness  string     `json:"witness"`
		ByPlace  bool       `json:"byPlace"`
		Place    string     `json:"place"`
		Done     int        `json:"done"`
		Total    int        `json:"total"`
		Complete bool       `json:"complete"`        // nothing is left to count
		Sum      string     `json:"sum"`             // how far, in words
		Ask      string     `json:"ask"`             // what comes next, in words
		Open     []string   `json:"open"`            // differences, in words
		Resume   string     `json:"resume"`          // said where a count was left lying
		Unsay    []unsay    `json:"unsay,omitzero"`  // badges in them that are some because a person said so
		Warn     []string   `json:"warn,omitzero"`   // what is known to be wrong with the sheets of the sets
		Pause    string     `json:"pause,omitempty"` // what is said before the count begins; "" while it is made
		Goods    []goodsRow `json:"goods,omitzero"`
	}
	unsay struct {
		Code  string `json:"code"`
		Words string `json:"words"` // on the button that takes it back
	}
	setState struct {
		Set   string      `json:"set"`
		Rev   int64       `json:"rev"`
		Done  int         `json:"done"`
		Total int         `json:"total"`
		Sum   string      `json:"sum"`
		Lines []lineState `json:"lines"`
	}
	lineState struct {
		Line     int64            `json:"line"`
		Expected int64            `json:"expected"`
		Counted  *int64           `json:"counted,omitempty"`
		Parts    map[string]int64 `json:"parts,omitempty"`
		Rev      int64            `json:"rev"`
		Settled  bool             `json:"settled"`
		Hidden   bool             `json:"hidden,omitzero"` // what is expected is shown once a number is given
		Removed  int64            `json:"removed,omitzero"`
		Mine     bool             `json:"mine,omitzero"`  // a line on no list that this count named
		Note     string           `json:"note,omitempty"` // disputed, left the field or missed, in words
	}
)

// left is after how long a count is said to have been left lying.
const leftAfter = 3 * time.Minute

func (t *table) state() *countState {
	v := t.v
	out := &countState{Stage: string(t.stage), Sets: []setState{}, Open: []string{}}
	for i, d := range t.drafts {
		if !t.takesPart(i) {
			continue
		}
		s := t.setState(i)
		out.Sets = append(out.Sets, s)
		out.Complete = out.Complete || t.complete(i)
		out.Rev += d.Rev
		out.Done, out.Total = out.Done+s.Done, out.Total+s.Total
		if len(d.Lines) > 0 && v.now.Sub(d.Touched) > leftAfter && s.Done < s.Total {
			out.Resume = v.t("left-lying", s.Set, v.time(d.Touched))
		}
		out.Counter, out.Witness = firstOf(out.Counter, d.Counter), firstOf(out.Witness, d.Witness)
		out.ByPlace, out.Place = out.ByPlace || d.ByPlace, firstOf(out.Place, d.Place)
	}
	out.Complete = out.Complete && out.Done == out.Total
	if len(t.forgotten) > 0 {
		out.Resume = v.t("count-forgotten", strings.Join(t.forgotten, ", "))
	}
	if len(t.reopened) > 0 {
		out.Resume = v.t("count-reopened", strings.Join(t.reopened, ", "))
	}
	out.Sum = v.t("counted-of", out.Done, out.Total)
	if out.ByPlace && out.Place == "" {
		out.Place = CountPlaces()[0]
	}
	if said, err := v.saidBadges(out.Counter, out.Witness); err == nil {
		for _, code := range said {
			out.Unsay = append(out.Unsay, unsay{code, v.t("unsay-badge", code)})
		}
	}
	if rows, err := t.goodsRows(); err == nil { // else the page asks again in a moment, as for all of its state
		out.Goods = rows
	}
	out.Open = append(out.Open, t.differences()...)
	out.Ask = t.ask(out)
	return out
}

// setState is how far the count of one set is.
func (t *table) setState(i int) setState {
	v, d, p := t.v, t.drafts[i], t.progress(i)
	s := setState{Set: t.standing.Sets[i].Key.Set, Rev: d.Rev, Done: p.done, Total: p.total, Lines: []lineState{}}
	for k := range t.standing.Sets[i].Lines {
		l := &t.standing.Sets[i].Lines[k]
		n := l.Line.Line
		ls := lineState{
			Line: n, Expected: t.expected(i, l), Settled: d.settled(n, t.expected(i, l)), Removed: d.removedOf(n),
			Mine: d.names(n),
		}
		if e := d.Lines[n]; e != nil {
			ls.Rev, ls.Parts = e.Rev, e.Parts
			if len(e.Disputed) > 0 {
				ls.Note = v.t("disputed", e.Disputed[0], e.Disputed[1])
			} else {
				ls.Counted = &e.Counted
			}
		}
		// What is reported as missed is counted, not taken as expected.
		missed := l.Missed > 0 && t.stage == events.StageFirst
		ls.Hidden = (t.policy.HideExpected || missed) && ls.Counted == nil && t.stage != events.StageAdded
		if ls.Removed > 0 && ls.Note == "" {
			ls.Note = v.t("left-field", ls.Removed)
		}
		if missed && ls.Note == "" {
			ls.Note = v.t("missed-since-packed", l.Missed)
		}
		s.Lines = append(s.Lines, ls)
	}
	s.Sum = v.t("counted-of", p.done, p.total)
	return s
}

func firstOf(a, b string) string {
	if a != "" {
		return a
	}
	return b
}

// ask is what is asked next. Where badges sign from here on, it says in front that the count does not come out: the list of
// what is not accounted for is below what is in sight of whoever scans.
func (t *table) ask(s *countState) string {
	words := t.askNext(s)
	if s.Complete && len(s.Open) > 0 && t.stray() == nil {
		return t.v.t("ask-differs", len(s.Open), words)
	}
	return words
}

func (t *table) askNext(s *countState) string {
	v := t.v
	switch {
	case !s.Complete && t.stage == events.StageAdded:
		return v.t("ask-added")
	case !s.Complete && t.policy.HideExpected:
		return v.t("ask-line-hidden")
	case !s.Complete:
		return v.t("ask-line")
	case s.Counter == "":
		return v.t("ask-counter")
	case t.stray() != nil: // at whichever screen
		return t.askStray().Words
	case s.Witness == "" && t.policy.TwoPersons:
		return v.t("ask-witness")
	case t.policy.TwoPersons && t.unwitnessed():
		return v.t("ask-witness-again", s.Witness)
	}
	return v.t("ask-sign")
}

// differences tells what does not come out, over all sets of the case, and where
// the piece may be.
func (t *table) differences() []string { return t.v.explain(t.reconciled()) }

// reconciled holds what this count has by now against what is expected; names has what the items are called.
func (t *table) reconciled() (moves []projections.Move, left []projections.Leftover, names map[string]string) {
	if t.stage == events.StageAdded {
		return nil, nil, nil
	}
	var bs []projections.Balance
	names = make(map[string]string)
	for i, d := range t.drafts {
		s := &t.standing.Sets[i]
		for k := range s.Lines {
			l := &s.Lines[k]
			e := d.Lines[l.Line.Line]
			if e == nil || !d.settled(l.Line.Line, t.expected(i, l)) {
				continue
			}
			item := judge.ItemOf(s.Key, l.Line)
			names[item] = l.Description
			bs = append(bs, projections.Balance{Key: s.Key, Item: item, Expected: t.expected(i, l), Counted: e.Counted})
		}
	}
	moves, left = judge.Reconcile(bs)
	return moves, left, names
}

// elsewhere tells what the counts of other cases of these days have over where this one is short, or the other way round:
// a piece that went astray between two rooms.
func (v *visit) astray(of string, left []projections.Leftover, names map[string]string) (out []string, err error) {
	if len(left) == 0 {
		return nil, nil
	}
	cases, err := site.Answer(v.d.site, func(m *site.View) ([]string, error) { return m.CasesSince(v, v.now.Add(-dayAndHalf)) })
	if err != nil {
		return nil, err
	}
	for _, ref := range cases {
		if ref == of {
			continue
		}
		st, err := v.caseStanding(ref)
		if err != nil {
			return nil, err
		}
		for _, l := range left {
			for _, o := range st.Left {
				switch {
				case o.Item != l.Item:
				case l.Quantity > 0 && o.Quantity < 0:
					out = append(out, v.t("over-elsewhere", -o.Quantity, names[l.Item], o.Key.Set, ref))
				case l.Quantity < 0 && o.Quantity > 0:
					out = append(out, v.t("short-elsewhere", o.Quantity, names[l.Item], o.Key.Set, ref))
				}
			}
		}
	}
	return out, nil
}

func (v *visit) explain(moves []projections.Move, left []projections.Leftover, names map[string]string) []string {
	var out []string
	for _, m := range moves {
		out = append(out, v.t("one-over-in", m.Quantity, names[m.Item], m.From.Set, m.To.Set))
	}
	for _, l := range left {
		if l.Quantity > 0 {
			out = append(out, v.t("short-of", l.Quantity, names[l.Item], l.Key.Set))
		} else {
			out = append(out, v.t("over-by", -l.Quantity, names[l.Item], l.Key.Set))
		}
	}
	return out
}
