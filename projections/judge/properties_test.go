package judge

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"

	"github.com/go-json-experiment/json"
	"pgregory.net/rapid"
)

// shelf is a Source over a slice. It goes through all facts each time and
// shares no code with World's indexes but Keys.
type shelf struct {
	all   []facts.Fact
	asked map[facts.DimKey]int
	filed [][]filing                    // of each fact that was there when something was last looked for
	found map[facts.DimKey][]facts.Fact // among those
}

// filing is one of a fact's variants, and where it belongs.
type filing struct {
	data events.Data
	keys []facts.DimKey
}

// filings are worked out once for all that is there: where a fact belongs doesn't turn on what is looked for.
func (s *shelf) filings() [][]filing {
	if len(s.filed) == len(s.all) {
		return s.filed
	}
	s.filed, s.found = make([][]filing, len(s.all)), make(map[facts.DimKey][]facts.Fact)
	for i, f := range s.all {
		for _, d := range s.variants(f.Event, 0) {
			s.filed[i] = append(s.filed[i], filing{d, facts.Keys(f.Event, d)})
		}
	}
	return s.filed
}

// variants returns an event's data and all that any correction ever put in its place.
func (s *shelf) variants(e *events.Event, depth int) []events.Data {
	out := []events.Data{e.Data}
	if depth > 3 {
		return out
	}
	for _, f := range s.all {
		if c, ok := f.Event.Data.(*events.EventCorrected); !ok || c.Event != e.ID {
			continue
		}
		for _, d := range s.variants(f.Event, depth+1) {
			if c, ok := d.(*events.EventCorrected); ok && c.Action == "replace" {
				if n, err := events.ParseObservedData(e.Kind(), c.Data); err == nil {
					out = append(out, n)
				}
			}
		}
	}
	return out
}

func (s *shelf) Facts(dim facts.Dim, key string) ([]facts.Fact, error) {
	s.count(facts.DimKey{Dim: dim, Key: key})
	return s.find(dim, key)
}

func (s *shelf) count(k facts.DimKey) {
	if s.asked == nil {
		s.asked = make(map[facts.DimKey]int)
	}
	s.asked[k]++
}

func (s *shelf) find(dim facts.Dim, key string) ([]facts.Fact, error) {
	want := facts.DimKey{Dim: dim, Key: key}
	filed := s.filings()
	if found, ok := s.found[want]; ok {
		return slices.Clone(found), nil
	}
	in := make(map[int64]bool)
	positive := false
	for n, f := range s.all {
		for _, v := range filed[n] {
			if dim == facts.DimStation {
				in[f.Seq] = f.Event.Station == key && f.Remarks != 0
			} else if slices.Contains(v.keys, want) {
				in[f.Seq] = true
				if i, ok := v.data.(*events.IndicatorRead); ok && i.Result == "positive" {
					positive = true
				}
			}
		}
	}
	if dim == facts.DimSterilizer && !positive {
		return nil, nil
	}
	var out []facts.Fact
	ids := make(map[string]bool)
	for range 5 { // corrections of corrections
		for _, f := range s.all {
			c, ok := f.Event.Data.(*events.EventCorrected)
			if ok && ids[c.Event] {
				in[f.Seq] = true
			}
			if in[f.Seq] {
				ids[f.Event.ID] = true
			}
		}
	}
	for _, f := range s.all {
		if in[f.Seq] {
			out = append(out, f)
		}
	}
	s.found[want] = out
	return slices.Clone(out), nil
}

// Around keeps to the letter of the contract: never a packing more than asked for.
func (s *shelf) Around(set string, at time.Time, n int) ([]facts.Fact, error) {
	s.count(facts.DimKey{Dim: facts.DimSet, Key: fmt.Sprint(set, at, n)})
	all, err := s.find(facts.DimSet, set)
	if err != nil {
		return nil, err
	}
	var packs []facts.Fact
	for _, f := range all {
		if f.Event.Kind() == events.KindSetPacked && f.Event.Trip != "" {
			packs = append(packs, f)
		}
	}
	slices.SortFunc(packs, func(a, b facts.Fact) int {
		return facts.Compare(&facts.Item{Fact: a}, &facts.Item{Fact: b})
	})
	mid := 0
	for mid < len(packs) && !packs[mid].Event.Time.After(at) {
		mid++
	}
	lo, hi := max(0, mid-n), min(len(packs), mid+n)
	keep := make(map[string]bool)
	for _, p := range packs[lo:hi] {
		keep[p.Event.ID] = true
	}
	var out []facts.Fact
	for _, f := range all {
		switch {
		case f.Event.Kind() == events.KindSetPacked && f.Event.Trip != "":
			if keep[f.Event.ID] {
				out = append(out, f)
			}
		case f.Event.Kind() == events.KindEventCorrected:
			out = append(out, f)
		case lo == mid-n && n > 0 && mid-n >= 0 && f.Event.Time.Before(packs[lo].Event.Time):
		case hi == mid+n && f.Event.Time.After(packs[hi-1].Event.Time):
		default:
			out = append(out, f)
		}
	}
	return out, nil
}

func (s *shelf) Trips(dim facts.Dim, key string, from, to time.Time) ([]projections.TripKey, error) {
	w := worldOf(s.all)
	seen := make(map[projections.TripKey]struct{})
	for _, f := range s.all {
		if f.Event.Time.Before(from) || !to.IsZero() && !f.Event.Time.Before(to) {
			continue
		}
		for _, d := range s.variants(f.Event, 0) {
			hit := dim == facts.DimPolicy && f.Event.Station[:len(key)] == key
			switch d := d.(type) {
			case *events.SetSterilized:
				hit = hit || dim == facts.DimSterilizer && d.Sterilizer == key
			case *events.SetPacked:
				hit = hit || dim == facts.DimList && d.List == key
			}
			if k := w.Resolve(f); hit && k != (projections.TripKey{}) {
				seen[k] = struct{}{}
			}
		}
	}
	return facts.SortedKeys(seen), nil
}

func shuffled(t *rapid.T, all []facts.Fact) []facts.Fact {
	out := slices.Clone(all)
	r := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "order"), 1))
	r.Shuffle(len(out), func(i, j int) { out[i], out[j] = out[j], out[i] })
	return out
}

// verdicts judges every trip afresh. They aren't put into words, which are made of what is shown of a finding anyway, and
// take longer than judging.
func verdicts(t tester, w *World) map[projections.TripKey]string {
	t.Helper()
	out := make(map[projections.TripKey]string)
	for _, k := range w.Trips() {
		v, err := w.Judge(k)
		if err != nil {
			t.Fatal(err)
		}
		out[k] = show(v)
	}
	return out
}

func same(t tester, what string, got, want map[projections.TripKey]string) {
	for k, v := range want {
		if got[k] != v {
			t.Fatalf("%s: %v is\n%s\nshould be\n%s", what, k, got[k], v)
		}
	}
	if len(got) < len(want) {
		t.Fatalf("%s: %d verdicts, should be %d", what, len(got), len(want))
	}
}

// TestInventedWorlds holds the generator to its purpose: within a fixed number
// of weeks every finding turns up, and whole chains too.
func TestInventedWorlds(t *testing.T) {
	worlds, least := 1200, 2
	if testing.Short() { // too few for the findings that are rare
		worlds, least = 120, 0
	}
	seen := make(map[projections.Code]map[projections.Severity]int)
	status := make(map[projections.Status]int)
	weeks := rapid.Custom(invent)
	for seed := range worlds {
		w := worldOf(weeks.Example(seed))
		w.SetMoment(clock(20, 0, 0))
		for _, k := range w.Trips() {
			v := must(w.Judge(k))
			checkVerdict(t, v)
			status[v.Status]++
			for _, f := range v.Findings {
				if seen[f.Code] == nil {
					seen[f.Code] = make(map[projections.Severity]int)
				}
				seen[f.Code][f.Severity]++
			}
		}
	}
	for _, c := range projections.Codes() {
		if len(seen[c]) == 0 && c != projections.StationSilent && least > 0 { // that one is of no trip
			t.Errorf("no invented week has %s", c)
		}
	}
	for _, s := range []projections.Status{projections.Whole, projections.Open, projections.Doubtful, projections.Broken} {
		if status[s] == 0 {
			t.Errorf("no invented trip is %s", s)
		}
	}
	for _, c := range []projections.Code{projections.SheetSwapped, projections.LoadRecalled, projections.CountShort,
		projections.SheetUnreadable} {
		if len(seen[c]) < least {
			t.Errorf("%s only ever as %v", c, seen[c])
		}
	}
	t.Log(seen, status)
}

func TestAnyArrivalOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		all := invent(t)
		w := worldOf(all)
		want := make(map[projections.TripKey]string)
		for _, k := range w.Trips() {
			v := must(w.Judge(k))
			checkVerdict(t, v)
			want[k] = show(v)
		}
		same(t, "shuffled", verdicts(t, worldOf(shuffled(t, all))), want)
	})
}

func TestAddedTwice(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		all := invent(t)
		w := worldOf(all)
		want, n := verdicts(t, w), w.Len()
		for _, f := range all {
			w.Add(f)
		}
		if w.Len() != n || n != len(all) {
			t.Fatalf("%d facts held, %d added", w.Len(), len(all))
		}
		same(t, "added twice", verdicts(t, w), want)
	})
}

// sparing asks for one packing at a time, so that a set packed twice is seen in parts.
func sparing(src facts.Source) *World {
	w := NewWorld(src)
	w.Least = 1
	return w
}

// TestPartialWorld: a World that fetches what it needs judges as one that
// holds everything, and asks for nothing twice.
func TestPartialWorld(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		all := invent(t)
		full := worldOf(all)
		one, src := &shelf{all: shuffled(t, all)}, &shelf{all: all}
		shared := sparing(one)
		for _, k := range full.Trips() {
			want := show(must(full.Judge(k)))
			if got := show(must(sparing(src).Judge(k))); got != want {
				t.Fatalf("%v alone is\n%s\nshould be\n%s", k, got, want)
			}
			if got := show(must(shared.Judge(k))); got != want {
				t.Fatalf("%v after others is\n%s\nshould be\n%s", k, got, want)
			}
		}
		for what, n := range one.asked {
			if n != 1 {
				t.Fatalf("asked %d times for %v", n, what)
			}
		}
		stations := make(map[string]bool)
		for _, f := range all {
			stations[f.Event.Station] = true
		}
		for st := range stations {
			got, err1 := NewWorld(one).JudgeStation(events.Station{Name: st})
			want, err2 := full.JudgeStation(events.Station{Name: st})
			if err1 != nil || err2 != nil || show(got) != show(want) {
				t.Fatalf("%s is\n%s\nshould be\n%s (%v, %v)", st, show(got), show(want), err1, err2)
			}
		}
	})
}

// TestAsOfIsAPrefix: what a set's history says as known at a moment is what a
// ledger that ends there says, trips that came later included in neither.
func TestAsOfIsAPrefix(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		all := invent(t)
		at := all[rapid.IntRange(0, len(all)-1).Draw(t, "until")].Recorded
		var prefix []facts.Fact
		for _, f := range all {
			if !f.Recorded.After(at) {
				prefix = append(prefix, f)
			}
		}
		full, then := worldOf(all), worldOf(prefix)
		sets := make(map[string][]projections.TripKey)
		for _, k := range full.Trips() {
			sets[k.Set] = append(sets[k.Set], k)
		}
		for set, known := range sets {
			w := sparing(facts.AsKnownAt(&shelf{all: all}, at))
			got := must(told(w.History(projections.HistoryOf{Set: set, Trips: known})))
			want := must(told(then.History(projections.HistoryOf{Set: set})))
			if got, want := must(json.Marshal(got)), must(json.Marshal(want)); string(got) != string(want) {
				t.Fatalf("%s as known at %s is\n%s\na ledger that ends there says\n%s", set, at, got, want)
			}
		}
	})
}

// TestTouchedIsEnough: judging only what a fact touches, by what each verdict
// asked for, leaves after any order of facts what judging everything anew gives.
func TestTouchedIsEnough(t *testing.T) {
	enough := func(t *rapid.T, partial bool) {
		all := shuffled(t, invent(t))
		if rapid.Bool().Draw(t, "in order") {
			slices.SortFunc(all, func(a, b facts.Fact) int { return int(a.Seq - b.Seq) })
		}
		same(t, "touched only", pieceByPiece(t, all, partial, time.Time{}), verdicts(t, worldOf(all)))
	}
	if testing.Short() { // one of the two, as it is drawn
		rapid.Check(t, func(t *rapid.T) { enough(t, rapid.Bool().Draw(t, "partial")) })
		return
	}
	for _, partial := range []bool{false, true} {
		t.Run(fmt.Sprintf("partial=%t", partial), func(t *testing.T) {
			rapid.Check(t, func(t *rapid.T) { enough(t, partial) })
		})
	}
}

// pieceByPiece returns the verdicts that stand when all facts were added one after
// the other, each judged as of a moment when it was touched last: with all facts at
// hand, or out of a Source.
func pieceByPiece(t tester, all []facts.Fact, partial bool, at time.Time) map[projections.TripKey]string {
	t.Helper()
	kept := make(map[projections.TripKey]projections.Verdict)
	rests := make(map[projections.TripKey][]facts.Ask)
	full := NewWorld(nil)
	full.SetMoment(at)
	for i, f := range all {
		full.Add(f)
		w := full
		if partial {
			w = sparing(&shelf{all: all[:i+1]})
			w.SetMoment(at)
			w.Add(f)
		}
		touch, err := w.Touched(f)
		if err != nil {
			t.Fatal(err)
		}
		for _, k := range touchedTrips(touch, rests) {
			v, asks, err := w.JudgeAsking(k)
			if err != nil {
				t.Fatal(err)
			}
			kept[k], rests[k] = v, asks
		}
	}
	shown := make(map[projections.TripKey]string)
	for k, v := range kept {
		shown[k] = show(v)
	}
	return shown
}

// touchedTrips returns the trips of a touch, and those that rest on it.
func touchedTrips(touch facts.Touch, rests map[projections.TripKey][]facts.Ask) []projections.TripKey {
	out := slices.Clone(touch.Trips)
	for k, asks := range rests {
		if slices.ContainsFunc(asks, func(a facts.Ask) bool { return slices.ContainsFunc(touch.Asked, a.Meets) }) {
			out = append(out, k)
		}
	}
	return out
}

// TestWholeStaysWhole: whatever happens to other sets, and in whatever order
// it is told, a chain without a fault stays whole.
func TestWholeStaysWhole(t *testing.T) {
	quiet := newStory()
	quiet.seq = 10000
	x := newTurn("QUIET-1", 0, quiet.list("QUIET", 1, 6, 2))
	x.run.Sterilizer = "S9"
	quiet.live(x)
	rapid.Check(t, func(t *rapid.T) {
		all := invent(t)
		for _, f := range quiet.all {
			e := *f.Event
			e.Station = "south" + e.Station[len("north"):]
			all = append(all, facts.Fact{Seq: f.Seq, Recorded: f.Recorded, Event: &e})
		}
		if v := judge(t, worldOf(shuffled(t, all)), x.key()); v.Status != projections.Whole || len(v.Findings) != 0 {
			t.Fatal(show(v))
		}
	})
}
