package site

import (
	"context"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"time"

	"listbound/cmd/internal/refusal"
	"listbound/events"
	"listbound/projections/facts"
	"listbound/projections/schedule"
)

// What the surgical schedule says comes in as a file, and what is new in it becomes records of a station of its own. Of
// patients nothing is read (package schedule), and of what a case wants only what a list or set here is called is kept: what
// stands in such a field besides may be anything, a person's name too.

// ScheduleAsked says how a schedule is taken in.
type ScheduleAsked struct {
	Operator string // whoever brings it: a badge, or what the interface is called
	Days     string // mdy or dmy: what 3/4/2026 means; "" refuses it
	Check    bool   // say what would be recorded and record nothing
}

// ScheduleImported is what became of a schedule.
type ScheduleImported struct {
	New       int `json:"new"`
	Changed   int `json:"changed"`
	Cancelled int `json:"cancelled"`
	Same      int `json:"same"`     // says what stands already
	Older     int `json:"older"`    // a later word of the schedule is recorded already
	NotThere  int `json:"notThere"` // cancels what was never scheduled here
	Passed    int `json:"passed"`   // messages of another kind, and appointments that are not booked
	Unknown   int `json:"unknown"`  // things that cases want and no list or set here is called
	Recorded  int `json:"recorded"` // records
}

// scheduleStation is the station that signs what a schedule says; its key is kept here.
func (s *Site) scheduleStation() string { return SiteOf(s.Name()) + "/schedule" }

// ImportSchedule implements Service. All of a file is taken or, where a line of it is wrong, nothing; the same file again
// records nothing.
func (s *Site) ImportSchedule(ctx context.Context, raw []byte, asked ScheduleAsked) (*ScheduleImported, error) {
	if asked.Operator == "" && !asked.Check {
		return nil, refusal.New("operator is missing: a record says who brought the schedule, by a badge or the interface's name")
	}
	s.scheduling.Lock()
	defer s.scheduling.Unlock()
	now := s.Clock().UTC().Truncate(time.Millisecond)
	var out *ScheduleImported
	var obs []*events.Observation
	err := s.Ask(func(v *View) error {
		t := taker{v: v, ctx: ctx, station: s.scheduleStation(), now: now, operator: asked.Operator}
		if err := t.read(raw, asked); err != nil {
			return err
		}
		out, obs = &t.out, t.obs
		return nil
	})
	if err != nil || asked.Check || len(obs) == 0 {
		return out, err
	}
	if err := s.enrolSchedule(ctx); err != nil {
		return nil, err
	}
	for part := range slices.Chunk(obs, s.opts.Batch) {
		rs, err := s.Observe(ctx, part...)
		if err != nil {
			return nil, err
		}
		out.Recorded += len(rs)
	}
	return out, nil
}

// enrolSchedule enrols the station the first time. A retired one stays retired.
func (s *Site) enrolSchedule(ctx context.Context) error {
	stations, err := s.Stations(ctx)
	if err != nil || slices.ContainsFunc(stations, func(x Station) bool { return x.Name == s.scheduleStation() }) {
		return err
	}
	_, err = s.Enrol(ctx, s.scheduleStation(), "", "the server's own, for what the surgical schedule says")
	return err
}

// taker finds what a schedule says that is not recorded yet.
type taker struct {
	v        *View
	ctx      context.Context
	station  string
	operator string
	now      time.Time

	lists, sets map[string]bool // known here
	out         ScheduleImported
	obs         []*events.Observation
	wrong       []schedule.Problem
}

func (t *taker) read(raw []byte, asked ScheduleAsked) error {
	how, err := t.how(asked)
	if err != nil {
		return err
	}
	r := schedule.Parse(raw, how)
	t.out.Passed, t.wrong = r.Passed, r.Problems
	if len(t.wrong) == 0 {
		if err := t.known(); err != nil {
			return err
		}
		last := lastOfCases(r.Entries)
		for i := range last {
			if err := t.entry(&last[i]); err != nil {
				return err
			}
		}
	}
	if len(t.wrong) == 0 {
		return nil
	}
	const most = 20
	said := make([]string, 0, most)
	for _, p := range t.wrong[:min(most, len(t.wrong))] {
		said = append(said, p.String())
	}
	if n := len(t.wrong) - most; n > 0 {
		said = append(said, fmt.Sprintf("and %d more", n))
	}
	return &ScheduleRefused{Problems: t.wrong, err: refusal.WithCode(http.StatusUnprocessableEntity,
		"nothing of the schedule was recorded: %s", strings.Join(said, "; "))}
}

// ScheduleRefused is a schedule with lines that are wrong: nothing of it was recorded.
type ScheduleRefused struct {
	Problems []schedule.Problem
	err      error
}

func (e *ScheduleRefused) Error() string { return e.err.Error() }

// Unwrap returns the refusal.
func (e *ScheduleRefused) Unwrap() error { return e.err }

// how is how this site's schedule is read: headings and words for states in all its languages.
func (t *taker) how(asked ScheduleAsked) (*schedule.How, error) {
	how := &schedule.How{Zone: t.v.Zone(), Columns: make(map[string]string), States: make(map[string]schedule.State)}
	switch asked.Days {
	case "":
	case "mdy":
		how.MonthFirst = true
	case "dmy":
		how.DayFirst = true
	default:
		return nil, refusal.New("days is mdy, where 3/4/2026 is in March, or dmy, where it is in April")
	}
	p, _, err := t.v.World(t.ctx).PolicyAt(SiteOf(t.station), t.now)
	if err != nil {
		return nil, err
	}
	how.CaseFits = p.CaseFits
	c := t.v.site.Words().Catalogue()
	for _, lang := range c.Languages() {
		l := c.In(lang)
		for _, column := range schedule.Columns() {
			for name := range strings.SplitSeq(l.Say("import.schedule-"+column), ",") {
				how.Columns[schedule.Heading(name)] = column
			}
		}
		for _, state := range []schedule.State{schedule.Booked, schedule.Changed, schedule.Cancelled} {
			for word := range strings.SplitSeq(l.Say("import.scheduled-"+string(state)), ",") {
				how.States[schedule.Heading(word)] = state
			}
		}
	}
	return how, nil
}

// known asks what lists and sets there are.
func (t *taker) known() error {
	t.lists, t.sets = make(map[string]bool), make(map[string]bool)
	lists, err := t.v.Lists(t.ctx)
	if err != nil {
		return err
	}
	for _, id := range lists {
		t.lists[id] = true
	}
	packed, err := t.v.SetNames(t.ctx)
	if err != nil {
		return err
	}
	entered, err := t.v.EntryNames(t.ctx, string(events.RegisterSets))
	if err != nil {
		return err
	}
	for _, id := range slices.Concat(packed, entered) {
		t.sets[id] = true
	}
	return nil
}

// lastOfCases are the last words of a file on its cases, in the file's order: by when the schedule said them, then by place.
func lastOfCases(entries []schedule.Entry) (out []schedule.Entry) {
	at := make(map[string]int)
	for _, e := range entries {
		i, ok := at[e.Case]
		if !ok {
			at[e.Case] = len(out)
			out = append(out, e)
			continue
		}
		if before := out[i]; !e.Said.Before(before.Said) || e.Said.IsZero() {
			// What the last word leaves out stands as the one before said it.
			if e.Start.IsZero() {
				e.Start = before.Start
			}
			if e.Room == "" {
				e.Room = before.Room
			}
			if e.Wanted == nil {
				e.Wanted = before.Wanted
			}
			out[i] = e
		}
	}
	return out
}

// entry adds what is new of a case.
func (t *taker) entry(e *schedule.Entry) error {
	w := t.v.World(t.ctx)
	if err := checkCase(w, t.v.Source(t.ctx), t.station, e.Case, t.now); err != nil {
		if !refusal.Is(err) {
			return err
		}
		t.wrong = append(t.wrong, schedule.Wrong(e.Row, "case-refused", err.Error()))
		return nil
	}
	planned := w.Planned(e.Case)
	if err := w.Failed(); err != nil {
		return err
	}
	var stands *facts.Item
	if n := len(planned); n > 0 {
		stands = planned[n-1]
	}
	d := t.data(e, stands)
	switch {
	case stands == nil && d.State == events.ScheduleCancelled:
		t.out.NotThere++
		return nil
	case stands != nil && !e.Said.IsZero() && e.Said.Before(facts.SaidAt(stands)):
		t.out.Older++
		return nil
	case stands != nil && sameWord(d, facts.PlanOf(stands)):
		t.out.Same++
		return nil
	case d.State == events.ScheduleCancelled:
		t.out.Cancelled++
	case stands == nil:
		t.out.New++
	default:
		t.out.Changed++
	}
	o := &events.Observation{Station: t.station, Kind: events.KindCaseScheduled, Time: t.now, Operator: t.operator, Data: d}
	if err := o.Check(); err != nil {
		// A case's reference that can be none may be anything: what is said of it has no value in it.
		t.wrong = append(t.wrong, schedule.Wrong(e.Row, "case-unprintable"))
		return nil
	}
	t.obs = append(t.obs, o)
	return nil
}

// data is what an entry says, with what it leaves out as it stands.
func (t *taker) data(e *schedule.Entry, stands *facts.Item) *events.CaseScheduled {
	d := &events.CaseScheduled{Case: e.Case, State: events.ScheduleState(e.State), Room: e.Room,
		Start: stampOf(e.Start), Said: stampOf(e.Said)}
	said := t.wanted(e, d)
	if stands == nil {
		if d.State == "" || d.State == events.ScheduleChanged {
			d.State = events.ScheduleBooked // here it is new
		}
		return d
	}
	was := facts.PlanOf(stands)
	if d.State == "" || d.State == events.ScheduleBooked {
		d.State = events.ScheduleChanged
	}
	if d.Start == "" {
		d.Start = was.Start
	}
	if d.Room == "" {
		d.Room = was.Room
	}
	if !said {
		d.Sets, d.Lists, d.Unknown = was.Sets, was.Lists, was.Unknown
	}
	return d
}

func stampOf(at time.Time) string {
	if at.IsZero() {
		return ""
	}
	return at.UTC().Format(time.RFC3339)
}

// wanted keeps what is known here of what a case wants. It reports whether anything is said of that: resources of which none
// is a list or set say nothing.
func (t *taker) wanted(e *schedule.Entry, d *events.CaseScheduled) bool {
	said := e.Wanted != nil && len(e.Wanted) == 0
	for _, w := range e.Wanted {
		list := slices.IndexFunc(w.IDs, func(id string) bool { return w.As != schedule.ASet && t.lists[id] })
		set := slices.IndexFunc(w.IDs, func(id string) bool { return w.As != schedule.AList && t.sets[id] })
		switch {
		case list >= 0:
			addList(d, w.IDs[list], w.Count)
		case set >= 0:
			if !slices.Contains(d.Sets, w.IDs[set]) {
				d.Sets = append(d.Sets, w.IDs[set])
			}
		case w.Perhaps:
			t.out.Unknown++
			continue
		default:
			t.out.Unknown++
			d.Unknown++
		}
		said = true
	}
	return said
}

func addList(d *events.CaseScheduled, id string, n int64) {
	if i := slices.IndexFunc(d.Lists, func(l events.WantedList) bool { return l.List == id }); i >= 0 {
		d.Lists[i].Sets = min(d.Lists[i].Sets+n, events.MaxWanted)
		return
	}
	d.Lists = append(d.Lists, events.WantedList{List: id, Sets: n})
}

// sameWord reports whether two words of a schedule come to the same, whenever they were said.
func sameWord(a, b *events.CaseScheduled) bool {
	off := func(d *events.CaseScheduled) bool { return d.State == events.ScheduleCancelled }
	return off(a) == off(b) && a.StartsAt().Equal(b.StartsAt()) && a.Room == b.Room && slices.Equal(a.Sets, b.Sets) &&
		slices.Equal(a.Lists, b.Lists) && a.Unknown == b.Unknown
}
