package workplace

import (
	"fmt"
	"maps"
	"slices"
	"strconv"
	"time"

	"listbound/cmd/internal/paper"
	"listbound/cmd/internal/shell"
	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections"
)

// What is done for practice only: tasks with things to scan. Laying them out
// records invented sets, new ones each time, so that a class may do a task again and
// again. Whether a task is done is told by what was recorded since.

func (d *Desk) registerTasks(mux shell.Mux) {
	if !d.opts.Practice {
		return
	}
	at := d.opts.Prefix + "/at/{site}/{station}/tasks"
	mux.HandleFunc("GET "+at, d.page(d.tasksPage))
	mux.HandleFunc("POST "+at, d.page(d.layTasks))
}

// laidOut is what lies ready for practice at a station.
type laidOut struct {
	Number int64             `json:"number"` // tells these sets from all that were laid out before
	At     time.Time         `json:"at"`
	Trips  map[string]string `json:"trips"` // by set
	Codes  map[string]string `json:"codes"` // of sheets, by set
}

// The sets of the tasks, by what becomes of them.
const (
	setRight  = "A"
	setTwin   = "B" // it has the sheet of setOther
	setOther  = "C"
	setCount  = "D"
	setFailed = "E"
)

// setOf is the set that each task is about.
var setOf = map[string]string{"right": setRight, "twin": setTwin, "count": setCount, "failed": setFailed}

func taskNames() []string { return slices.Sorted(maps.Keys(setOf)) }

func (l *laidOut) set(of string) string   { return fmt.Sprintf("PR%d-%s", l.Number, of) }
func (l *laidOut) caseOf(n string) string { return fmt.Sprintf("PRK%d-%s", l.Number, n) }

func (l *laidOut) trip(of string) projections.TripKey {
	set := l.set(of)
	return projections.TripKey{Set: set, Trip: l.Trips[set]}
}

// Who practises, and who laid out what they practise with.
const (
	practiceBadge   = "B-9001"
	practiceWitness = "B-9002"
	practiceLayer   = "B-9000"
)

// Where a task's load is run.
const practiceSterilizer = "P1"

// missingLine is the line of which a piece is missing in the task of the count.
const missingLine = 2

func practiceList() *events.ListIssued {
	return &events.ListIssued{List: "PRACTICE-3", Version: 1, Title: "Practice set", Lines: []events.Line{
		{Line: 1, Item: "PR-001", Description: "Forceps, dressing, straight, 14 cm", Quantity: 4},
		{Line: missingLine, Item: "PR-002", Description: "Clamp, curved, 16 cm", Quantity: 2},
		{Line: 3, Item: "PR-003", Description: "Probe, double-ended, 14 cm", Quantity: 3},
	}}
}

// layTasks records new sets to practise with.
func (d *Desk) layTasks(v *visit) (*rendered, error) {
	defer d.lock(benchKey(v.station, "tasks"))()
	l := &laidOut{Number: d.site.Size(), At: v.now.UTC(), Trips: make(map[string]string), Codes: make(map[string]string)}
	list := practiceList()
	have, err := d.site.Lists(v, "")
	if err == nil && !slices.ContainsFunc(have, func(l site.ListVersion) bool { return l.List == list.List }) {
		_, err = v.lay("", list)
	}
	if err != nil {
		return nil, err
	}
	for _, of := range []string{setRight, setTwin, setOther, setCount, setFailed} {
		if err := v.laySet(l, l.set(of), list, of != setFailed); err != nil {
			return nil, err
		}
	}
	if err := v.layCount(l, list); err != nil {
		return nil, err
	}
	if err := d.files.save(l, "tasks", v.station); err != nil {
		return nil, err
	}
	return nil, &moved{to: d.stationPath(v.station, "tasks")}
}

// lay records one observation of who lays the tasks out.
func (v *visit) lay(set string, data events.Data) (site.Receipt, error) {
	rs, err := v.observe(&events.Observation{
		Station: v.station, Kind: data.Kind(), Time: v.now.UTC(), Set: set, Operator: practiceLayer, Data: data,
	})
	if err != nil {
		return site.Receipt{}, err
	}
	return rs[0], nil
}

// laySet packs, seals and, where asked for, sterilizes a set.
func (v *visit) laySet(l *laidOut, set string, list *events.ListIssued, sterile bool) error {
	r, err := v.lay(set, &events.SetPacked{List: list.List, Version: list.Version})
	if err != nil {
		return err
	}
	l.Trips[set] = r.Trip
	if r, err = v.lay(set, &events.ListSealed{Placement: events.Outside, Seals: []string{}}); err != nil {
		return err
	}
	l.Codes[set] = r.SheetCode
	if sterile {
		_, err = v.lay(set, &events.SetSterilized{
			Load: fmt.Sprintf("PRL-%d", l.Number), Sterilizer: practiceSterilizer, Run: l.Number, Cycle: "dynamic-air-132",
			Result: "passed", Released: true,
		})
	}
	return err
}

// layCount opens the set of the count and counts it once.
func (v *visit) layCount(l *laidOut, list *events.ListIssued) error {
	set, ref := l.set(setCount), l.caseOf("2")
	_, err := v.lay(set, &events.SetOpened{
		Case: ref, Tag: set, OuterLabel: set, Seals: []string{}, Indicator: "pass",
		Sheet: &events.Reading{Found: string(events.Outside), Code: l.Codes[set]},
	})
	if err != nil {
		return err
	}
	first := &events.SetCounted{
		Case: ref, Stage: events.StageFirst, Sheet: events.SheetScreen, Counter: practiceBadge, Witness: practiceWitness,
	}
	for _, line := range list.Lines {
		first.Counts = append(first.Counts, events.Count{Line: line.Line, Counted: line.Quantity})
	}
	_, err = v.lay(set, first)
	return err
}

// task is one thing to practise, and how far it is.
type task struct {
	Name, Place string
	Case        string // that is counted
	Does        string // what is to be done, in words
	Things      []thing
	State       string // open, done or otherwise: recorded, but not as the task says
}

// thing is something to scan: what it is, and what its symbol says.
type thing struct {
	What, ID, Text string
	Symbol         paper.Symbol
}

// tasksAt returns the tasks that are laid out at the station of a visit, and when
// that was; none where nothing is.
func (v *visit) tasksAt() ([]task, *laidOut, error) {
	l := new(laidOut)
	found, err := v.d.files.load(l, "tasks", v.station)
	if err != nil || !found {
		return nil, nil, err
	}
	right, twin, count := l.set(setRight), l.set(setTwin), l.set(setCount)
	all := []task{
		{Name: "right", Place: "opening", Does: v.t("task-right-do"), Things: []thing{
			v.thing("badge", events.ScanBadge, practiceBadge), v.thing("case", events.ScanCase, l.caseOf("1")),
			v.thing("tag", events.ScanTag, right), v.thing("outer", events.ScanOuter, right), v.sheetThing(l, setRight),
		}},
		{Name: "twin", Place: "opening", Does: v.t("task-twin-do"), Things: []thing{
			v.thing("badge", events.ScanBadge, practiceBadge), v.thing("case", events.ScanCase, l.caseOf("1")),
			v.thing("tag", events.ScanTag, twin), v.thing("outer", events.ScanOuter, twin), v.sheetThing(l, setOther),
		}},
		{Name: "count", Place: "count", Case: l.caseOf("2"), Does: v.t("task-count-do", count, missingLine), Things: []thing{
			v.thing("badge", events.ScanBadge, practiceBadge), v.thing("second-badge", events.ScanBadge, practiceWitness),
		}},
		{Name: "failed", Place: "sterilizer", Does: v.t("task-failed-do", practiceSterilizer, strconv.FormatInt(l.Number, 10)),
			Things: []thing{
				v.thing("badge", events.ScanBadge, practiceBadge), v.thing("outer", events.ScanOuter, l.set(setFailed)),
			}},
	}
	for _, t := range all {
		for i := range t.Things {
			if err := t.Things[i].draw(); err != nil {
				return nil, nil, err
			}
		}
	}
	return all, l, nil
}

func (v *visit) thing(what string, kind events.ScanKind, id string) thing {
	text, err := events.LabelText(kind, id)
	if err != nil {
		text = id // drawn as it is, and refused where it can't be
	}
	return thing{What: what, ID: id, Text: text}
}

// sheetThing is the count sheet of a set, which need not be with it.
func (v *visit) sheetThing(l *laidOut, of string) thing {
	out := thing{What: "sheet", Text: l.Codes[l.set(of)]}
	if c, err := events.ParseSheetCode(out.Text); err == nil {
		out.ID = c.Short()
	}
	return out
}

// draw makes the symbol, with a code that no ledger takes but one for practice.
func (x *thing) draw() (err error) {
	if x.Text, err = events.PracticeText(x.Text); err == nil {
		x.Symbol, err = paper.SymbolOf(x.Text)
	}
	return err
}

// judgeTasks says how far each task is, by what was recorded of its set and what that
// comes to.
func (v *visit) judgeTasks(all []task, l *laidOut) error {
	for i := range all {
		k := l.trip(setOf[all[i].Name])
		verdict, err := v.verdictOf(k)
		if err != nil {
			return err
		}
		h, err := site.Answer(v.d.site, func(m *site.View) (projections.History, error) {
			return m.World(v).History(projections.HistoryOf{Set: k.Set, Trip: k.Trip, Trips: []projections.TripKey{k}})
		})
		if err != nil {
			return err
		}
		done := recorded{l: l, verdict: verdict}
		for _, e := range h.Events {
			if !e.Void && e.Operator != practiceLayer {
				done.data = append(done.data, e.Data)
			}
		}
		all[i].State = done.state(all[i].Name)
	}
	return nil
}

// recorded is what people recorded of a task's set, and what it comes to.
type recorded struct {
	l       *laidOut
	verdict *projections.Verdict
	data    []events.Data
}

func (r *recorded) found(code projections.Code) bool {
	return r.verdict != nil && slices.ContainsFunc(r.verdict.Findings, func(f projections.Finding) bool { return f.Code == code })
}

// last returns the data of the last record of its kind.
func last[D events.Data](all []events.Data) (out D, ok bool) {
	for _, d := range all {
		if x, is := d.(D); is {
			out, ok = x, true
		}
	}
	return out, ok
}

// state says how far a task is.
func (r *recorded) state(name string) string {
	recorded, done := false, false
	switch name {
	case "right":
		var d *events.SetOpened
		d, recorded = last[*events.SetOpened](r.data)
		done = recorded && d.Sheet != nil && d.Sheet.Code == r.l.Codes[r.l.set(setRight)] && r.verdict.Status != projections.Broken
	case "twin":
		_, recorded = last[*events.SetOpened](r.data)
		d, checked := last[*events.SetChecked](r.data)
		done = !recorded && checked && d.Sheet != nil && d.Sheet.Code == r.l.Codes[r.l.set(setOther)] &&
			r.found(projections.SheetSwapped)
	case "count":
		var d *events.SetCounted
		d, recorded = last[*events.SetCounted](r.data)
		done = recorded && d.Stage == events.StageFinal && r.found(projections.CountShort) &&
			slices.ContainsFunc(d.Counts, func(c events.Count) bool { return c.Line == missingLine && c.Counted == 1 })
	case "failed":
		var d *events.SetSterilized
		d, recorded = last[*events.SetSterilized](r.data)
		done = recorded && d.Result == "failed" && r.found(projections.NotReleased)
	}
	switch {
	case done:
		return "done"
	case recorded:
		return "otherwise"
	}
	return "open"
}

type tasksBody struct {
	Tasks []task
	Laid  *laidOut
}

// tasksPage shows the tasks of a station with their symbols.
func (d *Desk) tasksPage(v *visit) (*rendered, error) {
	all, l, err := v.tasksAt()
	if err == nil && l != nil {
		err = v.judgeTasks(all, l)
	}
	if err != nil {
		return nil, err
	}
	return &rendered{name: "tasks", title: v.t("tasks"), wide: true, data: tasksBody{all, l}}, nil
}

// thingsHere are the tasks whose things can be scanned by a press of a button at the
// page of a visit.
func (v *visit) thingsHere() ([]task, error) {
	if !v.d.opts.Practice || v.place == "" {
		return nil, nil
	}
	all, _, err := v.tasksAt()
	return slices.DeleteFunc(all, func(t task) bool {
		return t.Place != v.place || t.Case != "" && t.Case != v.r.FormValue("case")
	}), err
}
