package judge

import (
	"crypto/sha256"
	"fmt"
	"slices"
	"strings"
	"time"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
	"listbound/projections/words"

	"github.com/go-json-experiment/json"
)

// A story is a history told by a test: who observed what, when.
type story struct {
	seq   int64
	seqs  map[string]int64
	all   []facts.Fact
	lists map[string]*events.ListIssued
	now   time.Time // as of when it is judged; zero: nothing is late
}

// tester is what *testing.T, *testing.B and *rapid.T have in common.
type tester interface {
	Helper()
	Fatal(args ...any)
	Fatalf(format string, args ...any)
	Errorf(format string, args ...any)
}

// must ends a test whose own story can't be told.
func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

var monday = time.Date(2026, 3, 2, 0, 0, 0, 0, time.UTC)

// at returns an hour and minute of a day of the story: clock(1, 6, 30).
func clock(day, hour, minute int) time.Time {
	return monday.Add(time.Duration(day)*24*time.Hour + time.Duration(hour)*time.Hour + time.Duration(minute)*time.Minute)
}

func newStory() *story {
	return &story{seqs: make(map[string]int64), lists: make(map[string]*events.ListIssued)}
}

func derivedID(at time.Time, name string) string {
	return events.DerivedID(at, sha256.Sum256([]byte(name)))
}

// tripOf names a trip of a set by a number.
func tripOf(set string, n int) string {
	return derivedID(monday.Add(time.Duration(n)*time.Hour), fmt.Sprintf("trip %s %d", set, n))
}

func key(set string, n int) projections.TripKey {
	return projections.TripKey{Set: set, Trip: tripOf(set, n)}
}

// tell adds a fact, recorded a second after it was observed, and returns it.
func (s *story) tell(station string, at time.Time, subject, trip string, d events.Data) *facts.Fact {
	s.seq++
	station = "north/" + station
	s.seqs[station]++
	e := &events.Event{
		ID: derivedID(at, fmt.Sprint("event ", s.seq)), Station: station, Subject: subject, Time: at, Trip: trip,
		Operator: "B-1182", StationSeq: s.seqs[station], Data: d,
	}
	s.all = append(s.all, facts.Fact{Seq: s.seq, Recorded: at.Add(time.Second), Event: e})
	return &s.all[len(s.all)-1]
}

// list issues a version of a list on Sunday. Each line is an item and a quantity.
func (s *story) list(id string, version int64, quantities ...int64) *events.ListIssued {
	return s.listAt(clock(-1, 5, int(version)), id, version, quantities...)
}

var itemNames = []string{"Forceps, mosquito", "Scissors, Mayo", "Clamp, Kocher", "Retractor, Langenbeck",
	"Needle holder", "Forceps, tissue"}

func (s *story) listAt(at time.Time, id string, version int64, quantities ...int64) *events.ListIssued {
	l := &events.ListIssued{List: id, Version: version, Title: id}
	for i, q := range quantities {
		l.Lines = append(l.Lines, events.Line{Line: int64(i + 1), Item: fmt.Sprintf("ITEM-%d", i+1),
			Description: itemNames[i%len(itemNames)], Quantity: q})
	}
	s.lists[fmt.Sprint(id, version)] = l
	s.tell("packing-1", at, id, "", l)
	return l
}

func binding(l *events.ListIssued, set, trip string) (listDigest, bindingDigest events.Digest) {
	d := must(l.Digest())
	return d, must(events.Binding(d, set, trip))
}

func sheetCode(l *events.ListIssued, set, trip string) string {
	_, b := binding(l, set, trip)
	return must(events.NewSheetCode(trip, b)).String()
}

func sealed(l *events.ListIssued, set, trip string) *events.ListSealed {
	d, b := binding(l, set, trip)
	return &events.ListSealed{
		Placement: events.Outside, List: l.List, Version: l.Version, Seals: []string{"48" + set},
		ListDigest: d.String(), Binding: b.String(), Code: sheetCode(l, set, trip),
	}
}

func countAll(l *events.ListIssued) []events.Count {
	var out []events.Count
	for _, x := range l.Lines {
		out = append(out, events.Count{Line: x.Line, Counted: x.Quantity})
	}
	return out
}

// turn is one turn of a set, without a fault unless a test puts one in.
type turn struct {
	set  string
	n    int
	day  int
	list *events.ListIssued
	ref  string // case

	pack   *events.SetPacked
	seal   *events.ListSealed
	run    *events.SetSterilized
	check  *events.SetChecked
	open   *events.SetOpened
	first  *events.SetCounted
	final  *events.SetCounted
	closed *events.CaseClosed // nil: another turn of the case closes it
}

func (t *turn) key() projections.TripKey { return projections.TripKey{Set: t.set, Trip: t.trip()} }

// trip is "" for a number below 0: what was seen of a set that nobody packed.
func (t *turn) trip() string {
	if t.n < 0 {
		return ""
	}
	return tripOf(t.set, t.n)
}

// newTurn is packed and sterilized on a day, and opened on the next.
func newTurn(set string, n int, l *events.ListIssued) *turn {
	trip := tripOf(set, n)
	code := sheetCode(l, set, trip)
	ref := fmt.Sprintf("K-%s-%d", set, n)
	return &turn{
		set: set, n: n, day: 3 * n, list: l, ref: ref,
		pack: &events.SetPacked{List: l.List, Version: l.Version},
		seal: sealed(l, set, trip),
		run: &events.SetSterilized{Load: fmt.Sprintf("S2-%02d-04", 3*n), Sterilizer: "S2", Run: 4,
			Cycle: "dynamic-air-132", Result: "passed", Released: true},
		check: &events.SetChecked{Place: "storage A4", Sheet: &events.Reading{Found: "outside", Code: code}},
		open: &events.SetOpened{Case: ref, Tag: set, OuterLabel: set, Sheet: &events.Reading{Found: "outside",
			Code: code}, Seals: []string{"48" + set}, Indicator: "pass"},
		first: &events.SetCounted{Case: ref, Stage: events.StageFirst, Sheet: code, Counter: "B-3310",
			Witness: "B-3322", Counts: countAll(l)},
		final: &events.SetCounted{Case: ref, Stage: events.StageFinal, Sheet: "screen", Counter: "B-3310",
			Witness: "B-3322", Counts: countAll(l)},
		closed: &events.CaseClosed{Case: ref, Outcome: "reconciled", Actions: []string{}},
	}
}

// forCase puts a turn into a case that another turn closes.
func (t *turn) forCase(ref string) *turn {
	t.ref, t.open.Case, t.first.Case, t.final.Case, t.closed = ref, ref, ref, ref, nil
	return t
}

// unused leaves a turn on the shelf.
func (t *turn) unused() *turn {
	t.open, t.first, t.final, t.closed = nil, nil, nil, nil
	return t
}

// Times of a turn's steps.
func (t *turn) packedAt() time.Time     { return clock(t.day, 6, 11) }
func (t *turn) sealedAt() time.Time     { return clock(t.day, 6, 14) }
func (t *turn) sterilizedAt() time.Time { return clock(t.day, 8, 2) }
func (t *turn) checkedAt() time.Time    { return clock(t.day, 12, 0) }
func (t *turn) openedAt() time.Time     { return clock(t.day+1, 7, 12) }
func (t *turn) firstAt() time.Time      { return clock(t.day+1, 7, 20) }
func (t *turn) finalAt() time.Time      { return clock(t.day+1, 9, 30) }
func (t *turn) closedAt() time.Time     { return clock(t.day+1, 9, 40) }

// live tells a turn. A step that is nil was not recorded.
func (s *story) live(t *turn) {
	trip := t.trip()
	if t.pack != nil {
		s.tell("packing-1", t.packedAt(), t.set, trip, t.pack)
	}
	if t.seal != nil {
		s.tell("packing-1", t.sealedAt(), t.set, trip, t.seal)
	}
	if t.run != nil {
		s.tell("sterilizer-2", t.sterilizedAt(), t.set, trip, t.run)
	}
	if t.check != nil {
		s.tell("storage", t.checkedAt(), t.set, trip, t.check)
	}
	if t.open != nil {
		s.tell("or-3", t.openedAt(), t.set, trip, t.open)
	}
	if t.first != nil {
		s.tell("or-3", t.firstAt(), t.set, trip, t.first)
	}
	if t.final != nil {
		s.tell("or-3", t.finalAt(), t.set, trip, t.final)
	}
	if t.closed != nil {
		s.tell("or-3", t.closedAt(), t.closed.Case, "", t.closed)
	}
}

// last returns the fact told last of a kind.
func (s *story) last(k events.Kind) *facts.Fact {
	for i := len(s.all) - 1; i >= 0; i-- {
		if e := s.all[i].Event; e != nil && e.Kind() == k {
			return &s.all[i]
		}
	}
	return must[*facts.Fact](nil, fmt.Errorf("the story has no %s", k))
}

// correct tells a correction of a fact: with nil data it takes the fact back.
func (s *story) correct(f *facts.Fact, at time.Time, d events.Data) *facts.Fact {
	c := &events.EventCorrected{Event: f.Event.ID, Action: "void", Reason: "typed at the wrong set"}
	if d != nil {
		c.Action, c.Data = "replace", must(json.Marshal(d))
	}
	return s.tell("packing-1", at, f.Event.Subject, f.Event.Trip, c)
}

// policy puts the default policy in force from before the story on, with changes.
func (s *story) policy(change func(*events.Policy)) {
	p := events.DefaultPolicy()
	change(&p)
	s.tell("packing-1", clock(-1, 6, 0), "north", "", &events.PolicyAdopted{Policy: p})
}

// resealed gives a turn a sheet of its list as that is now.
func (s *story) resealed(x *turn) {
	x.seal = sealed(x.list, x.set, x.trip())
	if x.check != nil {
		x.check.Sheet.Code = x.seal.Code
	}
	if x.open != nil {
		x.open.Sheet.Code = x.seal.Code
	}
	if x.first != nil {
		x.first.Sheet = x.seal.Code
	}
}

// readBio tells what the biological indicator of a turn's load shows.
func (s *story) readBio(x *turn, at time.Time, result, control string) *facts.Fact {
	return s.tell("sterilizer-2", at, x.run.Load, "", &events.IndicatorRead{
		Load: x.run.Load, Sterilizer: x.run.Sterilizer, Result: result, Control: control,
	})
}

// checked tells a look at a turn's set in storage, some time after its own.
func (s *story) checked(x *turn, after time.Duration, d *events.SetChecked) {
	s.tell("storage", x.checkedAt().Add(after), x.set, x.trip(), d)
}

// runAt tells a run of a turn that passed and was released.
func (s *story) runAt(x *turn, at time.Time) {
	s.tell("sterilizer-2", at, x.set, x.trip(), &events.SetSterilized{
		Load: "S2-99-01", Sterilizer: "S2", Run: 9, Cycle: "dynamic-air-132", Result: "passed", Released: true,
	})
}

// startedAt tells a further run of a turn that passed and was released, when it was started and when that it ended was recorded.
func (s *story) startedAt(x *turn, at, ended time.Time) *events.SetSterilized {
	d := &events.SetSterilized{Load: "S2-99-01", Sterilizer: "S2", Run: 9, Cycle: "dynamic-air-132", Result: "passed",
		Released: true, Started: at.Format(time.RFC3339)}
	s.tell("sterilizer-2", ended, x.set, x.trip(), d)
	return d
}

// uncleanBefore tells of a turn's set what it went through before: it was used, and a step of its way back says that it
// was not clean. The turn is made the next one.
func (s *story) uncleanBefore(x *turn, step events.ReturnStep) {
	s.live(x)
	s.tell("washing", clock(1, 12, 0), x.set, x.trip(), &events.SetReturned{Step: step, Faults: []events.ReturnFault{events.ReturnSoiled}})
	*x = *newTurn(x.set, 1, x.list)
}

func (s *story) world() *World {
	w := worldOf(s.all)
	w.SetMoment(s.now)
	return w
}

func worldOf(all []facts.Fact) *World {
	w := NewWorld(nil)
	for _, f := range all {
		w.Add(f)
	}
	return w
}

func judge(t tester, w *World, k projections.TripKey) projections.Verdict {
	t.Helper()
	v, err := w.Judge(k)
	if err != nil {
		t.Fatal(err)
	}
	words.Embedded().Tell(&v)
	return v
}

func in(lang string, f projections.Finding) projections.Text {
	return words.Embedded().Finding(lang, &f)
}

// find returns a verdict's findings of a code.
func find(v projections.Verdict, c projections.Code) []projections.Finding {
	var out []projections.Finding
	for _, f := range v.Findings {
		if f.Code == c {
			out = append(out, f)
		}
	}
	return out
}

func codes(v projections.Verdict) string {
	var out []string
	for _, f := range v.Findings {
		out = append(out, string(f.Code)+":"+string(f.Severity))
	}
	return strings.Join(out, " ")
}

func show(v projections.Verdict) string {
	raw, err := json.Marshal(v)
	if err != nil {
		return err.Error()
	}
	return string(raw)
}

// checkVerdict holds every verdict to what all of them promise.
func checkVerdict(t tester, v projections.Verdict) {
	t.Helper()
	for _, f := range v.Findings {
		en := in(words.Reference, f)
		if en.Says == "" || en.Next == "" {
			t.Errorf("%s says nothing: %q / %q", f.Code, en.Says, en.Next)
		}
		if !slices.Contains(projections.Codes(), f.Code) {
			t.Errorf("code %q is not listed", f.Code)
		}
		if len(f.Events) == 0 || !slices.IsSorted(f.Events) || f.Events[0] <= 0 {
			t.Errorf("%s rests on events %v", f.Code, f.Events)
		}
		if !f.From.IsZero() && f.To.Before(f.From) {
			t.Errorf("%s: window runs backwards, %s to %s", f.Code, f.From, f.To)
		}
		for _, bad := range []string{"retained", "%!", "\x00"} {
			if strings.Contains(en.Says+en.Next, bad) {
				t.Errorf("%s says %q", f.Code, en.Says+en.Next)
			}
		}
		for _, bad := range []string{"  ", "..", " ."} {
			if strings.Contains(en.Says, bad) || strings.Contains(en.Next, bad) {
				t.Errorf("%s: %q in %q / %q", f.Code, bad, en.Says, en.Next)
			}
		}
	}
}

// told puts a history into words, as whoever shows one does.
func told(h projections.History, err error) (projections.History, error) {
	words.Embedded().TellHistory(&h)
	return h, err
}

var stageNames = map[events.Stage]string{
	events.StageFirst: "first count", events.StageCavity: "count before closing a cavity",
	events.StageClosing: "count before closing the wound", events.StageFinal: "final count",
	events.StageRelief: "count at a change of people", events.StageAdded: "count of added pieces",
}
