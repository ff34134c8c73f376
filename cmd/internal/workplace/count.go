package workplace

import (
	"errors"
	"net/http"
	"slices"
	"strings"
	"time"

	"listbound/cmd/internal/refusal"
	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections"
	"listbound/projections/judge"
)

// counting is the workplace where the sets of a case are counted. Its drafts are
// one for each set and stage, and belong to the case, not to the station.
type counting struct{}

func countPlace() workplace { return counting{} }

// input takes what a count page sends.
func (counting) input(v *visit, verb string) (any, error) {
	switch verb {
	case "enter":
		return v.countEnter()
	case "scan", "do":
		return v.countInput(verb)
	}
	return nil, refusal.WithCode(http.StatusNotFound, "there is no %s", verb)
}

// Stages are the counts of a case in their usual order.
func Stages() []events.Stage {
	return []events.Stage{
		events.StageFirst, events.StageAdded, events.StageCavity,
		events.StageClosing, events.StageFinal, events.StageRelief,
	}
}

// saidName is the file with what was said when a count was recorded. Drafts have
// a space in their names.
const saidName = "said"

func countKey(ref string) string { return "count\x00" + ref }

// table is a count as it stands: the case's sets, and a draft of each.
type table struct {
	v        *visit
	ref      string
	stage    events.Stage
	standing projections.CaseStanding
	drafts   []*draft // beside standing.Sets
	whole    *whole
	recorded [][]projections.LineStanding // the lines of each set without what its draft names
	carried  []map[int64]int64            // by set and line, what lay with an earlier turn of it in this case
	policy   events.Policy
	names    map[string]string // of the items of all turns of the case
	step     int               // how many changes the input has made to the drafts

	client  string   // the browser that sends the input
	offered []choice // the answers to what is asked
	asks    bool     // that is in sight of this browser, in place of what a badge signs
	hand    string   // the set that it counts
	shows   int64    // and the question that it shows, if it is one that a badge answers

	left      time.Time // when somebody counted here last, where it is asked whether that still holds
	leftBy    string    // whose badge was on it
	strayLeft bool      // the wrong sheet that is asked about was read so long ago
	forgotten []string  // sets whose draft could not be read
	reopened  []string  // sets that were processed and opened anew for the case while their count was not signed
}

func (v *visit) table(ref string, stage events.Stage) (*table, error) {
	t := &table{v: v, ref: ref, stage: stage}
	err := v.d.site.Ask(func(m *site.View) (err error) {
		w := m.World(v)
		if t.standing, err = w.CaseStanding(ref); err != nil {
			return err
		}
		t.policy, _, err = w.PolicyAt(site.SiteOf(v.station), v.now)
		return err
	})
	if err != nil {
		return nil, err
	}
	if err := v.layGoodsAlone(&t.standing); err != nil {
		return nil, err
	}
	if len(t.standing.Sets) == 0 {
		// A wrong sheet that was read here is asked about, whatever became of the set with which it lay.
		switch w, err := v.d.files.whole(ref); {
		case ignoreUnreadable(err) != nil:
			return nil, err
		case err != nil, w.Stray == nil:
			return nil, v.noSets(ref)
		}
	}
	if t.stage == "" {
		t.stage = t.due()
	}
	if !slices.Contains(Stages(), t.stage) {
		return nil, refusal.WithCode(http.StatusNotFound, "%s", v.t("no-such-stage", string(t.stage)))
	}
	t.names = v.itemNames(t.standing.Sets)
	all := t.standing.Sets
	t.standing.Sets = lastTurns(all)
	t.carryOver(all)
	if err := t.layDrafts(); err != nil {
		return nil, err
	}
	t.laySingles()
	if err := t.layWhole(); err != nil {
		return nil, err
	}
	if err := t.leave(); err != nil {
		return nil, err
	}
	return t, t.forgetBadges()
}

// layDrafts takes up what was counted of each set and is not signed.
func (t *table) layDrafts() error {
	for _, s := range t.standing.Sets {
		d, _, err := t.v.d.files.draft(t.ref, s.Key.Set, t.stage)
		if errors.Is(err, errUnreadable) {
			t.v.d.opts.Log.Warn("count draft forgotten", "case", t.ref, "set", s.Key.Set, "error", err)
			t.forgotten = append(t.forgotten, s.Key.Set)
			d, err = &draft{Case: t.ref, Set: s.Key.Set, Stage: t.stage}, nil
		}
		if err != nil {
			return err
		}
		if d.Trip != "" && d.Trip != s.Key.Trip { // what lies there was counted in the turn before
			t.reopened = append(t.reopened, s.Key.Set)
			d = &draft{Case: t.ref, Set: s.Key.Set, Stage: t.stage, Lines: make(map[int64]*entry)}
		}
		d.Trip = s.Key.Trip
		t.drafts = append(t.drafts, d)
	}
	return nil
}

// lastTurns leaves out the turns of sets that were processed and opened once more for the
// same case: what is counted is what lies there now.
func lastTurns(sets []projections.SetStanding) []projections.SetStanding {
	var out []projections.SetStanding
	for i, s := range sets {
		again := slices.ContainsFunc(sets[i+1:], func(o projections.SetStanding) bool { return o.Key.Set == s.Key.Set })
		if !again {
			out = append(out, s)
		}
	}
	return out
}

// forgetBadges forgets who counts where a badge was scanned too long ago, or on another
// day. Who works at a bench is taken to stay while something happens there; a count
// goes on at several screens, and whoever counts at one says nothing of who stands at
// the others.
func (t *table) forgetBadges() error {
	for _, d := range t.drafts {
		away, err := t.v.away(d.Badged)
		if err != nil {
			return err
		}
		if away {
			d.handOver()
		}
		for _, who := range []*string{&d.Counter, &d.Witness} {
			no, err := t.v.noBadge(*who)
			if err != nil {
				return err
			}
			if no {
				*who = ""
			}
		}
	}
	return nil
}

// due is the stage that comes next: the first of the policy's that a set lacks;
// a set that was opened later still has its first count to come.
func (t *table) due() events.Stage {
	for _, st := range t.policy.Stages {
		for _, s := range t.standing.Sets {
			if !slices.Contains(s.Stages, st) {
				return st
			}
		}
	}
	return events.StageFinal
}

// open reports whether this count goes on: a person said that it begins. The
// first count of a case begins by coming to it; the next ones don't, so that a key
// pressed once too often counts nothing.
func (t *table) open() bool {
	if !t.left.IsZero() {
		return false
	}
	for i, d := range t.drafts {
		if t.takesPart(i) && (t.stage == events.StageFirst || !d.Open.IsZero() || d.begun()) {
			return true
		}
	}
	return false
}

// begin opens the count of this stage.
func (t *table) begin(a *counted) error {
	if t.stray() != nil { // a STOP is answered first
		a.said = t.askStray()
		return nil
	}
	err := t.each("", func(d *draft) error { d.Open = t.v.now.UTC(); return nil })
	t.goHere(a)
	return err
}

// pause is what is said before a count begins. after is what was said when the
// last one was recorded.
func (t *table) pause(after said) (said, error) {
	v := t.v
	s := after
	if s.Words == "" {
		s = ask(v.t("begin-stage", v.t("stage-"+string(t.stage))), "")
	}
	open, err := t.unsettled()
	if err != nil {
		return said{}, err
	}
	if len(open) > 0 && after.Status != "broken" { // it stays, at every screen, until a count comes out
		there, err := t.v.astray(t.ref, t.standing.Left, t.names)
		if err != nil {
			return said{}, err
		}
		s = wrong(v.t("count-unsettled", t.ref, len(open)), strings.Join(append(open, there...), " "))
		s.Next, s.Aside = v.t("count-open-next"), after.Words
	}
	if !t.left.IsZero() {
		left := t.askLeft()
		if s.Status == "broken" {
			s.Aside = left.Words + " " + left.More
			return s.offer(left.Choices...), nil
		}
		return left, nil
	}
	if t.stray() != nil {
		q := t.askStray()
		if q.Aside = after.Words; s.Status == "broken" {
			q.Aside = s.Words
		}
		return q, nil
	}
	begin := choice{Do: "begin", Words: v.t("begin-stage", v.t("stage-"+string(t.stage)))}
	more := []choice{{Do: "begin-single", Words: v.t("single"), Key: "F9"}}
	if last, err := t.lastSigned(); err == nil && last != nil {
		more = append(more, choice{Do: "take-back", Words: v.t("count-back", v.t("stage-"+string(last.Stage)))})
	}
	if t.allCounted() {
		return s.offer(append([]choice{{Do: "close", Words: v.t("go-close", t.ref), Main: len(open) == 0}, begin}, more...)...), nil
	}
	begin.Main = len(open) == 0
	return s.offer(append([]choice{begin}, more...)...), nil
}

// unsettled tells what does not come out by the counts that are signed: by the last one that speaks of each line, and by
// the first where no other followed it, since later ones are held against what it found. It is nothing where a case was
// closed with it.
func (t *table) unsettled() ([]string, error) {
	if t.standing.Closed && t.standing.Outcome == "unreconciled" {
		return nil, nil
	}
	out := t.v.explain(t.standing.Moves, t.standing.Left, t.names)
	var bs []projections.Balance
	for _, s := range t.standing.Sets {
		if slices.ContainsFunc(s.Stages, func(st events.Stage) bool { return st != events.StageFirst && st != events.StageAdded }) {
			continue
		}
		_, differs, err := t.v.differedAtOpening(s.Key)
		if err != nil {
			return nil, err
		}
		if differs == nil {
			continue
		}
		for _, l := range differs.Lines {
			item := judge.ItemOf(s.Key, events.Line{Line: l.Line, Item: l.Item})
			bs = append(bs, projections.Balance{Key: s.Key, Item: item, Expected: l.Expected, Counted: l.Counted})
		}
	}
	moves, left := judge.Reconcile(bs)
	return append(out, t.v.explain(moves, left, t.names)...), nil
}

// differedAtOpening is the finding that the first count of a set is not what packing recorded, nil for none.
func (v *visit) differedAtOpening(k projections.TripKey) (*projections.Finding, *projections.FirstDiffers, error) {
	verdict, err := v.verdictOf(k)
	if err != nil || verdict == nil {
		return nil, nil, err
	}
	for i := range verdict.Findings {
		f := &verdict.Findings[i]
		if d, ok := f.Detail.(*projections.FirstDiffers); ok && f.Code == projections.CountDiffersAtOpen {
			return f, d, nil
		}
	}
	return nil, nil, nil
}

// itemNames are the names of what is counted of sets.
func (v *visit) itemNames(sets []projections.SetStanding) map[string]string {
	names := make(map[string]string)
	for _, s := range sets {
		for _, l := range s.Lines {
			names[judge.ItemOf(s.Key, l.Line)] = firstOf(l.Description, v.t("of-line", l.Line.Line))
		}
	}
	return names
}

// allCounted reports whether every set has every count that the policy asks for.
func (t *table) allCounted() bool {
	for _, st := range t.policy.Stages {
		for _, s := range t.standing.Sets {
			if !slices.Contains(s.Stages, st) {
				return false
			}
		}
	}
	return true
}

// takesPart reports whether a set is counted at this stage: not again where it has
// been, for the first count of a set that was opened later.
func (t *table) takesPart(i int) bool {
	return t.stage != events.StageFirst || len(t.drafts[i].Lines) > 0 ||
		!slices.Contains(t.standing.Sets[i].Stages, events.StageFirst)
}

// expected is the number a line should have at this stage.
func (t *table) expected(i int, l *projections.LineStanding) int64 {
	d, n := t.drafts[i], l.Expected
	switch {
	case t.stage == events.StageAdded:
		return 0
	case t.stage == events.StageFirst && !l.Beyond:
		n = l.Packed
	}
	return n + d.addedOf(l.Line.Line) - d.removedOf(l.Line.Line)
}

func (t *table) find(set string) int {
	return slices.IndexFunc(t.standing.Sets, func(s projections.SetStanding) bool { return s.Key.Set == set })
}

// progress of one set.
type progress struct{ done, total int }

func (t *table) progress(i int) progress {
	if !t.takesPart(i) {
		return progress{}
	}
	if t.stage == events.StageAdded {
		p := progress{total: len(t.drafts[i].Lines)}
		for _, e := range t.drafts[i].Lines {
			if len(e.Disputed) == 0 {
				p.done++
			}
		}
		return p
	}
	var p progress
	for k := range t.standing.Sets[i].Lines {
		l := &t.standing.Sets[i].Lines[k]
		p.total++
		if t.drafts[i].settled(l.Line.Line, t.expected(i, l)) {
			p.done++
		}
	}
	return p
}
