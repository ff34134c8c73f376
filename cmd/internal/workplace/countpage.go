package workplace

import (
	"net/url"
	"slices"
	"strings"

	"listbound/events"
	"listbound/projections"
)

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
	Led    said // asked first of whoever came by Enter
	Closed bool
	Open   bool // it is counted; else it is asked whether it begins
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

func (counting) page(v *visit) (*rendered, error) {
	ref := v.r.FormValue("case")
	out := &rendered{
		name: "place-count", title: v.t("place-count") + " – " + v.station, wide: true,
		scripts: []string{v.d.opts.Prefix + "/workplace/count.js"},
	}
	if ref == "" {
		cases, err := v.openCases(v.station)
		out.data = countPageBody{Cases: cases, Said: v.begin()}
		return out, err
	}
	defer v.d.lock(countKey(ref))()
	t, err := v.table(ref, events.Stage(v.r.FormValue("stage")))
	if err != nil {
		return nil, err
	}
	out.title = v.t("stage-"+string(t.stage)) + " – " + ref
	st := t.state()
	body := countPageBody{
		Case: ref, Stage: t.stage, Stages: t.stageLinks(), Sets: t.countSets(st), State: st,
		Places: CountPlaces(), Closed: t.standing.Closed, Said: ask(st.Ask, ""), Open: t.open(),
	}
	begin := choice{Do: "count-on", Words: v.t("begin-stage", v.t("stage-"+string(t.stage))), Main: true}
	if st.Done > 0 {
		begin.Words = v.t("count-on")
	}
	body.Led = ask(begin.Words, st.Sum).offer(begin)
	if err = t.tell(st); err != nil {
		return nil, err
	}
	var after said
	if v.r.FormValue("done") != "" {
		last, err := t.lastSaid()
		if err != nil {
			return nil, err
		}
		if last != nil {
			after = last.words(v)
		}
	}
	if !body.Open {
		if body.Said, err = t.pause(after); err != nil {
			return nil, err
		}
	} else if t.stray() != nil { // after a reload, too
		body.Said = t.askStray()
	} else if after.Words != "" {
		body.Said = after
	}
	body.Said.Sound = ""
	out.data = body
	return out, nil
}

// warnings tell what the room must know of the sets, and what the signed counts differ in while another count is made:
// between two counts that is said large.
func (t *table) warnings() ([]string, error) {
	out, err := t.v.warnings(t.standing.Sets)
	if err != nil {
		return nil, err
	}
	if t.open() {
		open, err := t.unsettled()
		if err != nil {
			return nil, err
		}
		if len(open) > 0 {
			out = append(out, t.v.t("counted-before", strings.Join(open, " ")))
		}
	}
	if t.stray() != nil {
		out = append(out, t.v.t("count-stray", t.v.t("stage-"+string(t.stray().Stage))))
	}
	out = append(out, t.v.staysWords(t.standing.Sets)...)
	said, _ := t.passedOff(t.state().Counter, func(d *draft) bool {
		return slices.ContainsFunc(d.Removed, func(r events.Removed) bool { return r.Short })
	})
	out = append(out, said...)
	differed, err := t.v.atOpening(t.standing.Sets)
	return append(out, differed...), err
}

// atOpening tells which first counts were not what packing recorded: the counts after them come out all the same.
func (v *visit) atOpening(sets []projections.SetStanding) ([]string, error) {
	var out []string
	for _, s := range sets {
		f, _, err := v.differedAtOpening(s.Key)
		if err != nil {
			return nil, err
		}
		if f != nil && f.Severity != projections.SeverityNoted {
			says, _ := v.finding(f)
			out = append(out, says)
		}
	}
	return out, nil
}

// warnings tell what the room must know of the sets of a case, by whomever and whenever it was found: which was
// opened with a sheet that is not its own, so that it is counted by this screen, and which is known not to be sterile.
func (v *visit) warnings(sets []projections.SetStanding) ([]string, error) {
	out := []string{}
	for _, s := range sets {
		verdict, err := v.verdictOf(s.Key)
		if err != nil {
			return nil, err
		}
		if verdict == nil {
			continue
		}
		first := func(codes []projections.Code, do string) {
			for i := range verdict.Findings {
				f := &verdict.Findings[i]
				_, twice := f.Detail.(*projections.LockTwice) // tells nothing of whether the container was opened
				if f.Severity != projections.SeverityNoted && slices.Contains(codes, f.Code) && !twice {
					out = append(out, v.stationLine(s.Key.Set, f)+". "+do)
					return
				}
			}
		}
		first(unsterile(), v.t("opened-unsterile", s.Key.Set))
		first(wrongSheet(), v.t("count-by-screen", s.Key.Set))
		first([]projections.Code{projections.CameBackShort}, v.t("piece-lost-more"))
	}
	return out, nil
}

// unsterile are the findings after which a set is not taken for sterile.
func unsterile() []projections.Code {
	return []projections.Code{
		projections.NotReleased, projections.LoadRecalled, projections.NotReprocessed, projections.PackageUnfit,
		projections.ImplantTooEarly, projections.PutAside, projections.SealDiffers,
	}
}

// wrongSheet are the findings after which a set is not counted by its paper.
func wrongSheet() []projections.Code {
	return []projections.Code{
		projections.SheetSwapped, projections.SheetStale, projections.SheetAltered, projections.SheetUnknown,
		projections.SheetUnreadable, projections.SheetInDoubt, projections.LabelSwapped,
	}
}

// stageLinks are the counts of the case, and how many sets each has.
func (t *table) stageLinks() []stageLink {
	var out []stageLink
	for _, stage := range Stages() {
		address := "?" + url.Values{"case": {t.ref}, "stage": {string(stage)}}.Encode()
		l := stageLink{Stage: stage, Now: stage == t.stage, Of: len(t.standing.Sets), Address: address}
		for _, s := range t.standing.Sets {
			if slices.Contains(s.Stages, stage) {
				l.Counted++
			}
		}
		out = append(out, l)
	}
	return out
}

// countSets are the rows of the case's sets beside their state.
func (t *table) countSets(st *countState) []countSet {
	var out []countSet
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
		out = append(out, cs)
	}
	return out
}

func (counting) state(v *visit) (any, error) {
	ref := v.r.FormValue("case")
	defer v.d.lock(countKey(ref))()
	t, err := v.table(ref, events.Stage(v.r.FormValue("stage")))
	if err != nil {
		return nil, err
	}
	st := t.state()
	return st, t.tell(st)
}

// tell adds what the room must know, and what is said where the count has not begun.
func (t *table) tell(st *countState) (err error) {
	if st.Warn, err = t.warnings(); err != nil || t.open() {
		return err
	}
	s, err := t.pause(said{})
	if err != nil {
		return err
	}
	st.Pause, err = t.v.verdict(&s)
	return err
}
