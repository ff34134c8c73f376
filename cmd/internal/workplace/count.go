package workplace

import (
	"errors"
	"fmt"
	"net/url"
	"slices"
	"strings"
	"time"

	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections"
)

// Stages are the counts of a case in their usual order.
func Stages() []events.Stage {
	return []events.Stage{events.StageFirst, events.StageAdded, events.StageCavity, events.StageClosing, events.StageFinal, events.StageRelief}
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
	policy   events.Policy
}

func (v *visit) table(ref string, stage events.Stage) (*table, error) {
	t := &table{v: v, ref: ref, stage: stage}
	err := v.d.site.World(v, func(w *projections.World) error {
		var err error
		if t.standing, err = w.CaseStanding(ref); err != nil {
			return err
		}
		t.policy, _, err = w.PolicyAt(site.SiteOf(v.station), v.now)
		return err
	})
	if err != nil {
		return nil, err
	}
	if len(t.standing.Sets) == 0 {
		return nil, &refusal{404, v.t("no-sets-on-case", ref)}
	}
	if t.stage == "" {
		t.stage = t.due()
	}
	if !slices.Contains(Stages(), t.stage) {
		return nil, &refusal{404, v.t("no-such-stage", string(t.stage))}
	}
	for _, s := range t.standing.Sets {
		d, _, err := v.d.files.draft(ref, s.Key.Set, t.stage)
		if err != nil {
			return nil, err
		}
		d.Trip = s.Key.Trip
		t.drafts = append(t.drafts, d)
	}
	return t, nil
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

// takesPart says whether a set is counted at this stage: not again where it has
// been, for the first count of a set that was opened later.
func (t *table) takesPart(i int) bool {
	return t.stage != events.StageFirst || !slices.Contains(t.standing.Sets[i].Stages, events.StageFirst) || len(t.drafts[i].Lines) > 0
}

// expected is the number a line should have at this stage.
func (t *table) expected(i int, l *projections.LineStanding) int64 {
	switch t.stage {
	case events.StageFirst:
		return l.Packed - t.drafts[i].removedOf(l.Line.Line)
	case events.StageAdded:
		return 0
	}
	return l.Expected - t.drafts[i].removedOf(l.Line.Line)
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
		n := len(t.drafts[i].Lines)
		return progress{n, n}
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
		Complete bool       `json:"complete"` // nothing is left to count
		Sum      string     `json:"sum"`      // how far, in words
		Ask      string     `json:"ask"`      // what comes next, in words
		Open     []string   `json:"open"`     // differences, in words
		Resume   string     `json:"resume"`   // said where a count was left lying
	}
	setState struct {
		Set   string      `json:"set"`
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
		Removed  int64            `json:"removed,omitzero"`
		Note     string           `json:"note,omitempty"` // disputed or left the field, in words
	}
)

// left is after how long a count is said to have been left lying.
const leftAfter = 3 * time.Minute

func (t *table) state() *countState {
	v := t.v
	out := &countState{Stage: string(t.stage), Sets: []setState{}, Open: []string{}}
	begun := 0
	for i, d := range t.drafts {
		if !t.takesPart(i) {
			continue
		}
		p := t.progress(i)
		s := setState{Set: t.standing.Sets[i].Key.Set, Done: p.done, Total: p.total, Lines: []lineState{}}
		for k := range t.standing.Sets[i].Lines {
			l := &t.standing.Sets[i].Lines[k]
			n := l.Line.Line
			ls := lineState{Line: n, Expected: t.expected(i, l), Settled: d.settled(n, t.expected(i, l)), Removed: d.removedOf(n)}
			if e := d.Lines[n]; e != nil {
				ls.Rev, ls.Parts = e.Rev, e.Parts
				if len(e.Disputed) > 0 {
					ls.Note = v.t("disputed", e.Disputed[0], e.Disputed[1])
				} else {
					ls.Counted = &e.Counted
				}
			}
			if ls.Removed > 0 && ls.Note == "" {
				ls.Note = v.t("left-field", ls.Removed)
			}
			s.Lines = append(s.Lines, ls)
		}
		s.Sum = v.t("counted-of", p.done, p.total)
		out.Sets = append(out.Sets, s)
		out.Rev += d.Rev
		if len(d.Lines) > 0 {
			begun++
			out.Done, out.Total = out.Done+p.done, out.Total+p.total
			if v.now.Sub(d.Touched) > leftAfter && p.done < p.total {
				out.Resume = v.t("left-lying", s.Set, v.w.Time(d.Touched))
			}
		}
		out.Counter, out.Witness = firstOf(out.Counter, d.Counter), firstOf(out.Witness, d.Witness)
		out.ByPlace, out.Place = out.ByPlace || d.ByPlace, firstOf(out.Place, d.Place)
	}
	out.Complete = begun > 0 && out.Done == out.Total
	if begun == 0 { // nothing yet: all that takes part is to be counted
		for i := range t.drafts {
			out.Total += t.progress(i).total
		}
	}
	out.Sum = v.t("counted-of", out.Done, out.Total)
	if out.ByPlace && out.Place == "" {
		out.Place = CountPlaces()[0]
	}
	out.Open = append(out.Open, t.differences()...)
	out.Ask = t.ask(out)
	return out
}

func firstOf(a, b string) string {
	if a != "" {
		return a
	}
	return b
}

func (t *table) ask(s *countState) string {
	v := t.v
	switch {
	case !s.Complete && t.stage == events.StageAdded:
		return v.t("ask-added")
	case !s.Complete:
		return v.t("ask-line")
	case s.Counter == "":
		return v.t("ask-counter")
	case s.Witness == "" && t.policy.TwoPersons:
		return v.t("ask-witness")
	}
	return v.t("ask-sign")
}

// differences says what does not come out, over all sets of the case, and where
// the piece may be.
func (t *table) differences() []string {
	if t.stage == events.StageAdded {
		return nil
	}
	var bs []projections.Balance
	names := make(map[string]string)
	for i, d := range t.drafts {
		s := &t.standing.Sets[i]
		for k := range s.Lines {
			l := &s.Lines[k]
			e := d.Lines[l.Line.Line]
			if e == nil || !d.settled(l.Line.Line, t.expected(i, l)) {
				continue
			}
			item := l.Item
			if item == "" {
				item = fmt.Sprintf("%s line %d", s.Key.Set, l.Line.Line)
			}
			names[item] = l.Description
			bs = append(bs, projections.Balance{Key: s.Key, Item: item, Expected: t.expected(i, l), Counted: e.Counted})
		}
	}
	moves, left := projections.Reconcile(bs)
	return t.v.explain(moves, left, names)
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

// countPageBody is the page of a count; without a case it asks for one.
type countPageBody struct {
	Case   string
	Stage  events.Stage
	Stages []stageLink
	Sets   []countSet
	State  *countState
	Cases  []string
	Places []string
	Said   said
	Closed bool
}

type stageLink struct {
	Stage   events.Stage
	Address string
	Now     bool
	Counted int // by how many sets already
	Of      int
}

type countSet struct {
	projections.SetStanding
	Part  bool
	Rows  []countRow
	State *setState
}

type countRow struct {
	projections.LineStanding
	State *lineState
}

func (d *Desk) countPage(v *visit) (*rendered, error) {
	ref := v.r.FormValue("case")
	out := &rendered{name: "place-count", title: v.t("place-count") + " – " + v.station, wide: true}
	if ref == "" {
		cases, err := d.site.OpenCases(v, v.station, v.now.Add(-dayAndHalf))
		if err != nil {
			return nil, err
		}
		out.scripts = []string{d.opts.Prefix + "/workplace/count.js"}
		out.data = countPageBody{Cases: cases, Said: v.begin()}
		return out, nil
	}
	defer d.lock(countKey(ref))()
	t, err := v.table(ref, events.Stage(v.r.FormValue("stage")))
	if err != nil {
		return nil, err
	}
	out.title = v.t("stage-"+string(t.stage)) + " – " + ref
	out.scripts = []string{d.opts.Prefix + "/workplace/count.js"}
	st := t.state()
	body := countPageBody{Case: ref, Stage: t.stage, State: st, Places: CountPlaces(), Closed: t.standing.Closed}
	body.Said = ask(st.Ask, "")
	if v.r.FormValue("done") != "" {
		if _, err := d.files.load(&body.Said, "count", ref, saidName); err != nil {
			return nil, err
		}
	}
	body.Said.Sound = ""
	for _, stage := range Stages() {
		l := stageLink{Stage: stage, Now: stage == t.stage, Of: len(t.standing.Sets),
			Address: "?" + url.Values{"case": {ref}, "stage": {string(stage)}}.Encode()}
		for _, s := range t.standing.Sets {
			if slices.Contains(s.Stages, stage) {
				l.Counted++
			}
		}
		body.Stages = append(body.Stages, l)
	}
	at := 0
	for i, s := range t.standing.Sets {
		cs := countSet{SetStanding: s, Part: t.takesPart(i)}
		if cs.Part {
			cs.State = &st.Sets[at]
			at++
			for k := range s.Lines {
				cs.Rows = append(cs.Rows, countRow{s.Lines[k], &cs.State.Lines[k]})
			}
		}
		body.Sets = append(body.Sets, cs)
	}
	out.data = body
	return out, nil
}

func (d *Desk) countState(v *visit) (any, error) {
	ref := v.r.FormValue("case")
	defer d.lock(countKey(ref))()
	t, err := v.table(ref, events.Stage(v.r.FormValue("stage")))
	if err != nil {
		return nil, err
	}
	return t.state(), nil
}

// counted answers what a count page sends.
type counted struct {
	N int64 `json:"n,omitzero"`
	said
	Kind    string      `json:"kind,omitempty"`
	What    string      `json:"what,omitempty"`
	Verdict string      `json:"verdict,omitempty"`
	State   *countState `json:"state,omitempty"`
	Line    *lineRef    `json:"line,omitempty"` // go to this line
	Go      string      `json:"go,omitempty"`
}

type lineRef struct {
	Set  string `json:"set"`
	Line int64  `json:"line"`
}

// countEnter takes counted lines.
func (d *Desk) countEnter(v *visit) (any, error) {
	in, err := v.input()
	if err != nil {
		return nil, err
	}
	defer d.lock(countKey(in.Case))()
	t, err := v.table(in.Case, in.Stage)
	if err != nil {
		return nil, err
	}
	a := &counted{N: in.N}
	changed := make(map[int]bool) // false: sent again after a broken connection, it has counted already
	for _, l := range in.Lines {
		i := t.find(l.Set)
		if i < 0 {
			return nil, v.sayNo("set-not-on-case", l.Set, in.Case)
		}
		if !slices.ContainsFunc(t.standing.Sets[i].Lines, func(s projections.LineStanding) bool { return s.Line.Line == l.Line }) {
			return nil, v.sayNo("no-such-line", l.Line, l.Set)
		}
		fresh, seen := changed[i]
		if !seen {
			fresh = t.drafts[i].Seen.fresh(in.Client, in.N)
			changed[i] = fresh
		}
		if !fresh {
			continue
		}
		disputed, err := t.drafts[i].enter(in.Client, l, v.now)
		if err != nil {
			return nil, err
		}
		if disputed {
			e := t.drafts[i].Lines[l.Line]
			a.said = wrong(v.t("disputed", e.Disputed[0], e.Disputed[1]), v.t("disputed-next", l.Line, l.Set))
		}
	}
	for _, l := range in.Lines {
		if i := t.find(l.Set); changed[i] && !l.Clear && a.Words == "" {
			a.said = t.differs(i, l.Line)
		}
	}
	for i, fresh := range changed {
		if !fresh {
			continue
		}
		if err := d.files.saveDraft(t.drafts[i]); err != nil {
			return nil, err
		}
	}
	a.State = t.state()
	if a.Words == "" {
		a.said = ask(a.State.Ask, "")
		a.Sound = ""
		if a.State.Complete {
			a.Sound = "ask"
		}
	}
	a.Verdict, err = v.fragment("verdict", a.said)
	d.hub.tell(countKey(in.Case), in.Client)
	return a, err
}

// differs says that a line's number is another than expected; nothing where it isn't.
func (t *table) differs(i int, line int64) said {
	d := t.drafts[i]
	for k := range t.standing.Sets[i].Lines {
		l := &t.standing.Sets[i].Lines[k]
		e := d.Lines[line]
		if l.Line.Line != line || t.stage == events.StageAdded || e == nil || !d.settled(line, t.expected(i, l)) || e.Counted == t.expected(i, l) {
			continue
		}
		return doubt(t.v.t("line-differs", line, e.Counted, t.expected(i, l)), strings.Join(t.differences(), " "))
	}
	return said{}
}

// countInput takes a scan or a button of a count page.
func (d *Desk) countInput(v *visit) (any, error) {
	in, err := v.input()
	if err != nil {
		return nil, err
	}
	if in.Case == "" {
		return d.chooseCase(v, in)
	}
	defer d.lock(countKey(in.Case))()
	t, err := v.table(in.Case, in.Stage)
	if err != nil {
		return nil, err
	}
	a := &counted{N: in.N}
	switch verb := v.r.PathValue("verb"); {
	case verb == "scan" && strings.TrimSpace(in.Text) == "":
		err = t.sign(a)
	case verb == "scan":
		err = t.scan(in.Text, a)
	case verb == "do":
		err = t.do(in, a)
	default:
		return nil, &refusal{404, "there is no " + verb}
	}
	if err != nil {
		a.said = v.refused(err)
	}
	if a.Go == "" {
		a.State = t.state()
	}
	if a.Words == "" {
		a.said = ask(a.State.Ask, "")
	}
	a.Verdict, err = v.fragment("verdict", a.said)
	d.hub.tell(countKey(in.Case), in.Client)
	return a, err
}

// chooseCase turns a set, a sheet or a case reference into the count's address.
func (d *Desk) chooseCase(v *visit, in *input) (any, error) {
	a := &counted{N: in.N}
	ref, err := v.caseOf(in.Text, a)
	switch {
	case err != nil:
		a.said = v.refused(err)
	default:
		a.Go = d.stationPath(v.station, "count") + "?case=" + url.QueryEscape(ref)
		a.said = good(v.t("go-count", ref), "")
	}
	a.Verdict, err = v.fragment("verdict", a.said)
	return a, err
}

func (v *visit) caseOf(text string, a *counted) (string, error) {
	scans, err := events.RecogniseAll(text)
	if err != nil {
		return "", err
	}
	s := scans[0]
	a.Kind, a.What = string(s.Kind), s.Value
	set := s.Value
	switch s.Kind {
	case events.ScanCase:
		return s.Value, nil
	case events.ScanSet:
	case events.ScanSheet:
		owner, _, _, err := v.sheetOwner(s.Value)
		if err != nil {
			return "", err
		}
		set = owner.Set
	case events.ScanPlain, events.ScanShort:
		var known projections.CaseStanding
		err := v.d.site.World(v, func(w *projections.World) (err error) { known, err = w.CaseStanding(s.Value); return err })
		if err != nil {
			return "", err
		}
		if len(known.Sets) > 0 {
			return s.Value, nil
		}
	default:
		return "", v.sayNo("scan-set-or-case")
	}
	trip, err := v.d.site.TripNow(v, set, v.now)
	if err != nil {
		return "", err
	}
	verdict, err := v.d.site.Verdict(v, projections.TripKey{Set: set, Trip: trip})
	if err != nil {
		return "", err
	}
	if verdict == nil || verdict.Case == "" {
		return "", v.sayNo("set-on-no-case", set)
	}
	return verdict.Case, nil
}

// scan takes what is not a number: badges, a set to go to, a sheet to count
// against, an item to find.
func (t *table) scan(text string, a *counted) error {
	v := t.v
	scans, err := events.RecogniseAll(text)
	if err != nil {
		return err
	}
	for _, s := range scans {
		a.Kind, a.What = string(s.Kind), s.Value
		if s.Kind == events.ScanPlain || s.Kind == events.ScanShort || s.Kind == events.ScanItem {
			if ref := t.item(s.Value); ref != nil {
				a.Kind, a.Line = "item", ref
				a.said = ask(v.t("at-line", ref.Line, ref.Set), "")
				continue
			}
			if s.Kind != events.ScanItem {
				s.Kind = events.ScanBadge
				if t.find(s.Value) >= 0 {
					s.Kind = events.ScanSet
				}
			}
			a.Kind = string(s.Kind)
		}
		switch s.Kind {
		case events.ScanBadge:
			if err := t.badge(s.Value, a); err != nil {
				return err
			}
		case events.ScanSet:
			i := t.find(s.Value)
			if i < 0 {
				return v.sayNo("set-not-on-case", s.Value, t.ref)
			}
			a.Line = t.firstOpen(i)
			a.said = ask(v.t("at-set", s.Value), "")
		case events.ScanSheet:
			if err := t.sheet(s.Value, a); err != nil {
				return err
			}
		default:
			return v.sayNo("taken-for-not-here", v.t("kind-"+strings.ReplaceAll(string(s.Kind), " ", "-")), s.Value)
		}
	}
	return nil
}

func (t *table) firstOpen(i int) *lineRef {
	for k := range t.standing.Sets[i].Lines {
		l := &t.standing.Sets[i].Lines[k]
		if !t.drafts[i].settled(l.Line.Line, t.expected(i, l)) {
			return &lineRef{t.standing.Sets[i].Key.Set, l.Line.Line}
		}
	}
	return nil
}

// item finds a line by its item's number.
func (t *table) item(id string) *lineRef {
	for i := range t.standing.Sets {
		for k := range t.standing.Sets[i].Lines {
			if l := &t.standing.Sets[i].Lines[k]; strings.EqualFold(l.Item, id) {
				return &lineRef{t.standing.Sets[i].Key.Set, l.Line.Line}
			}
		}
	}
	return nil
}

// sheet counts against a paper sheet: it must be the sheet of one of the sets.
func (t *table) sheet(code string, a *counted) error {
	v := t.v
	c, err := events.ParseSheetCode(code)
	if err != nil {
		return err
	}
	for i, s := range t.standing.Sets {
		if s.Key.Trip != c.Trip {
			continue
		}
		if s.Code != code {
			a.said = wrong(v.t("sheet-altered-here", s.Key.Set), v.t("count-on-screen"))
			return nil
		}
		t.drafts[i].Sheet = code
		t.drafts[i].Rev++
		a.Line = t.firstOpen(i)
		a.said = good(v.t("sheet-belongs", s.Key.Set), "")
		return v.d.files.saveDraft(t.drafts[i])
	}
	owner, where, since, err := v.sheetOwner(code)
	if err != nil {
		return err
	}
	if owner.Set == "" {
		a.said = wrong(v.t("sheet-of-nobody"), v.t("count-on-screen"))
		return nil
	}
	a.said = wrong(v.t("sheet-not-of-case", owner.Set), v.nowAt(owner.Set, where, since)+" "+v.t("count-on-screen"))
	return nil
}

// badge takes the counter's badge, then the witness's. One badge is never both.
func (t *table) badge(badge string, a *counted) error {
	v := t.v
	st := t.state()
	switch {
	case st.Counter == "":
		a.said = good(v.t("counter-is", badge), "")
		st.Counter = badge
	case badge == st.Counter:
		return v.sayNo("same-badge", badge)
	case st.Witness == "" || badge == st.Witness:
		a.said = good(v.t("witness-is", badge), "")
		st.Witness = badge
	default:
		return v.sayNo("two-badges", st.Counter, st.Witness)
	}
	for i, d := range t.drafts {
		if !t.takesPart(i) {
			continue
		}
		d.Counter, d.Witness = st.Counter, st.Witness
		d.Rev++
		if err := v.d.files.saveDraft(d); err != nil {
			return err
		}
	}
	// The second badge signs what is complete; before that it only says who counts.
	if st.Complete && st.Counter != "" && (st.Witness != "" || !t.policy.TwoPersons) {
		return t.sign(a)
	}
	return nil
}

// sign records the count of each set that is complete.
func (t *table) sign(a *counted) error {
	v := t.v
	st := t.state()
	switch {
	case !st.Complete:
		a.said = ask(st.Ask, st.Sum)
		return nil
	case st.Counter == "" || st.Witness == "" && t.policy.TwoPersons:
		a.said = ask(st.Ask, "")
		return nil
	}
	var obs []*events.Observation
	var drafts []*draft
	for i, d := range t.drafts {
		if len(d.Lines) == 0 && (t.stage != events.StageAdded || len(d.Removed) == 0) {
			continue
		}
		if d.At.IsZero() {
			d.At = v.now.UTC()
			if err := v.d.files.saveDraft(d); err != nil {
				return err
			}
		}
		c := &events.SetCounted{Case: t.ref, Stage: t.stage, Sheet: d.Sheet, Counter: st.Counter, Witness: st.Witness, Counts: []events.Count{}, Removed: d.Removed}
		if c.Sheet == "" {
			c.Sheet = events.SheetScreen
		}
		for k := range t.standing.Sets[i].Lines {
			n := t.standing.Sets[i].Lines[k].Line.Line
			if e := d.Lines[n]; e != nil {
				c.Counts = append(c.Counts, events.Count{Line: n, Counted: e.Counted})
			}
		}
		obs = append(obs, &events.Observation{Station: v.station, Kind: events.KindSetCounted, Time: d.At, Set: d.Set, Trip: d.Trip, Operator: st.Counter, Data: c})
		drafts = append(drafts, d)
	}
	if _, err := v.d.site.Observe(v, obs...); err != nil {
		for _, d := range drafts {
			d.At = time.Time{}
			err = errors.Join(err, v.d.files.saveDraft(d))
		}
		return err
	}
	open := t.differences()
	for _, d := range drafts {
		// A crash before this shows the draft again; signing it again is the same event.
		if err := v.d.files.removeDraft(d); err != nil {
			return err
		}
	}
	a.said = good(v.t("count-recorded", v.t("stage-"+string(t.stage)), len(drafts), st.Counter, st.Witness), v.t("count-no-proof"))
	if len(open) > 0 {
		a.said = wrong(v.t("count-recorded-open", v.t("stage-"+string(t.stage)), len(open)), strings.Join(open, " "))
		a.Next = v.t("count-open-next")
	}
	a.Go = v.d.stationPath(v.station, "count") + "?" + url.Values{"case": {t.ref}, "done": {string(t.stage)}}.Encode()
	// The next page says it again.
	return v.d.files.save(a.said, "count", t.ref, saidName)
}

// do takes the buttons of a count.
func (t *table) do(in *input, a *counted) error {
	v := t.v
	each := func(set string, f func(i int, d *draft) error) error {
		for i, d := range t.drafts {
			if set != "" && t.standing.Sets[i].Key.Set != set || !t.takesPart(i) {
				continue
			}
			if err := f(i, d); err != nil {
				return err
			}
			if err := v.d.files.saveDraft(d); err != nil {
				return err
			}
		}
		return nil
	}
	switch in.Action {
	case "sign", "enter":
		return t.sign(a)
	case "interrupted":
		a.said = ask(v.t("begun-again"), "")
		return each(in.Fields["set"], func(i int, d *draft) error { d.interrupt(v.now); return nil })
	case "by-place":
		return each("", func(i int, d *draft) error {
			if len(d.Lines) > 0 {
				return v.sayNo("by-place-late")
			}
			d.ByPlace = !d.ByPlace
			d.Place = ""
			if d.ByPlace {
				d.Place = CountPlaces()[0]
			}
			d.Rev++
			return nil
		})
	case "place":
		place := in.Fields["place"]
		if !slices.Contains(CountPlaces(), place) {
			return v.sayNo("no-such-button", place)
		}
		a.said = ask(v.t("now-counting", v.t("at-"+place)), "")
		return each("", func(i int, d *draft) error { d.Place = place; d.Rev++; return nil })
	case "badges-clear":
		return each("", func(i int, d *draft) error { d.Counter, d.Witness = "", ""; d.Rev++; return nil })
	case "removed":
		var line, quantity int64
		if _, err := fmt.Sscan(in.Fields["line"], &line); err != nil {
			return v.sayNo("removed-line")
		}
		if _, err := fmt.Sscan(in.Fields["quantity"], &quantity); err != nil || quantity < 0 || quantity > maxCounted {
			return v.sayNo("removed-line")
		}
		reason := strings.TrimSpace(in.Fields["reason"])
		if reason == "" && quantity > 0 {
			return v.sayNo("removed-reason")
		}
		i := t.find(in.Fields["set"])
		if i < 0 {
			return v.sayNo("set-not-on-case", in.Fields["set"], t.ref)
		}
		if !slices.ContainsFunc(t.standing.Sets[i].Lines, func(l projections.LineStanding) bool { return l.Line.Line == line }) {
			return v.sayNo("no-such-line", line, in.Fields["set"])
		}
		return each(in.Fields["set"], func(i int, d *draft) error {
			d.Removed = slices.DeleteFunc(d.Removed, func(r events.Removed) bool { return r.Line == line })
			if quantity > 0 {
				d.Removed = append(d.Removed, events.Removed{Line: line, Quantity: quantity, Reason: reason})
			}
			d.Rev++
			return nil
		})
	}
	return v.sayNo("no-such-button", in.Action)
}
