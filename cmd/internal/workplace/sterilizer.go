package workplace

import (
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
)

// sterilizer is the draft of the workplace that fills loads: a load is begun,
// sets are scanned into it, it runs, and its result and release are recorded for
// every set in it. The biological indicator is recorded when it has been read.
type sterilizer struct {
	hand
	Loads     []load `json:"loads,omitempty"`
	Load      string `json:"load,omitempty"`      // the one that is being filled
	Indicated string `json:"indicated,omitempty"` // recorded before, and its indicator is read now
	// Reading is what was entered of that indicator, and Ending of how a load ended, while something is still
	// asked: a person who saw it has said it, so it is kept until it is recorded or taken back.
	Reading *readingEntered `json:"reading,omitempty"`
	Ending  *endingEntered  `json:"ending,omitempty"`
	// Tests are tests of a sterilizer's day that wait for a badge.
	Tests []events.SterilizerTested `json:"tests,omitempty"`
	// Ran are the cycles that were run here, the last first, and Entered what was entered of a load that could not
	// be begun.
	Ran     []string  `json:"ran,omitempty"`
	Entered fields    `json:"entered,omitempty"`
	Renamed []renamed `json:"renamed,omitempty"` // loads that were started under another number than is on their labels
	New     string    `json:"new,omitempty"`     // sterilizer that is said to be another one than that which its name is like
	ForIs   string    `json:"forIs,omitempty"`   // said to be the case that a run for immediate use is for
}

// renamed is a load that runs under another number than the one it was begun with: its labels are printed.
type renamed struct {
	Was string `json:"was"`
	Is  string `json:"is"`
}

// load is a sterilizer run that is being loaded or is running.
type load struct {
	Load       string   `json:"load"`
	Sterilizer string   `json:"sterilizer"`
	Run        int64    `json:"run"`
	Cycle      string   `json:"cycle"`
	Sets       []string `json:"sets,omitempty"`
	Started    bool     `json:"started,omitempty"`
	Recorded   bool     `json:"recorded,omitempty"` // something of it is in the ledger, as people here know
	Forgot     bool     `json:"forgot,omitempty"`   // it ran, and sets of it were forgotten: they are scanned now
	OldDay     bool     `json:"oldDay,omitempty"`   // started with the number of another day, as a person said

	Trips map[string]string `json:"trips,omitempty"` // the turn of each set when it was put in
	Shut  map[string]int64  `json:"shut,omitempty"`  // and the record of its last closing
	// Known are the keys of what was known against each set then: it was said, and isn't asked about again.
	Known map[string][]string `json:"known,omitempty"`
	Held  []string            `json:"held,omitempty"` // sets that are recorded to have passed and to be quarantined

	StartedAt time.Time `json:"startedAt,omitzero"`
	Loader    string    `json:"loader,omitempty"` // badge of who started it

	Immediate string `json:"immediate,omitempty"` // why it is for immediate use
	For       string `json:"for,omitempty"`       // and for which case
}

// started is when it was started as it is recorded, "" where that is not known.
func (l *load) started() string {
	if l.StartedAt.IsZero() {
		return ""
	}
	return l.StartedAt.Format(time.RFC3339)
}

// clone is the load as it is now.
func (l *load) clone() *load {
	c := *l
	c.Sets, c.Trips, c.Known, c.Held = slices.Clone(l.Sets), maps.Clone(l.Trips), maps.Clone(l.Known), slices.Clone(l.Held)
	c.Shut = maps.Clone(l.Shut)
	return &c
}

func sterilizerPlace() workplace {
	return bench[sterilizer, *sterilizer]{
		scans: map[events.ScanKind]scanned[sterilizer]{
			events.ScanBadge: (*sterilizer).scanBadge,
			events.ScanLoad:  whenRecorded((*sterilizer).scanLoad),
			events.ScanSet:   whenRecorded((*sterilizer).put),
		},
		acts: map[string]action[sterilizer]{
			"clear":     whenRecorded((*sterilizer).discard),
			"forget":    (*sterilizer).forget,
			"begin":     whenRecorded((*sterilizer).begin),
			"begin-too": whenRecorded((*sterilizer).beginToo),

			"sterilizer-is":  whenRecorded((*sterilizer).sayOld),
			"sterilizer-new": whenRecorded((*sterilizer).sayNew),
			"for-is":         whenRecorded((*sterilizer).sayFor),
			"for-none":       whenRecorded((*sterilizer).sayForNone),

			"ending-too": whenRecorded((*sterilizer).endingToo),
			"choose":     whenRecorded((*sterilizer).choose),
			"put":        whenRecorded((*sterilizer).putAnyway),
			"leave-out":  func(*sterilizer, *visit, fields) (said, error) { return said{}, nil },
			"take-out":   whenRecorded((*sterilizer).takeOut),
			"start":      whenRecorded((*sterilizer).start),
			"renumber":   whenRecorded((*sterilizer).renumber),
			"old-number": whenRecorded((*sterilizer).keepNumber),
			"give-up":    whenRecorded((*sterilizer).giveUp),
			"failed-too": (*sterilizer).failedToo,
			"result":     (*sterilizer).result,
			"held":       (*sterilizer).held,
			"ended":      (*sterilizer).sayEnded,
			"ended-all":  (*sterilizer).endedAll,
			"release":    (*sterilizer).releaseAnyway,

			"parameters":     (*sterilizer).sayParameters,
			"parameters-not": (*sterilizer).sayParametersNot,

			"test":          whenRecorded((*sterilizer).test),
			"test-passed":   (*sterilizer).sayTestPassed,
			"test-failed":   (*sterilizer).sayTestFailed,
			"test-why":      (*sterilizer).sayTestWhy,
			"test-not-done": (*sterilizer).sayTestNotDone,
			"test-since":    whenRecorded((*sterilizer).sayTestSince),
			"test-leaked":   (*sterilizer).sayTestLeaked,

			"indicator": (*sterilizer).indicator,
			"short":     (*sterilizer).sayShort,
			"known":     (*sterilizer).sayKnown,
			"enter":     (*sterilizer).enter,
		},
	}
}

// whenRecorded is a scan or an action that waits until what was said of a load, or of
// its indicator, is recorded or taken back: it would hide that.
func whenRecorded[In any](f func(*sterilizer, *visit, In) (said, error)) func(*sterilizer, *visit, In) (said, error) {
	return func(b *sterilizer, v *visit, in In) (said, error) {
		if b.waits() {
			return v.answerFirst(), nil
		}
		return f(b, v, in)
	}
}

// answerFirst says that what is in sight is answered before anything else.
func (v *visit) answerFirst() said { return said{Aside: v.t("answer-first"), Sound: "low"} }

// waits reports whether somebody said what a load or its indicator showed, and it
// is not recorded yet.
func (b *sterilizer) waits() bool {
	return b.Ending != nil || len(b.Tests) > 0 || b.Reading != nil && b.Reading.Result != ""
}

func (b *sterilizer) wants() []want {
	here := func(id string) bool { return b.find(id) != nil }
	return append(wanted(events.ScanSet, events.ScanBadge), want{Kind: events.ScanLoad, Known: here})
}

func (b *sterilizer) idle() bool {
	return b.find(b.Load) == nil && b.Indicated == "" && len(b.Tests) == 0
}

// fills is the load that scans go into.
func (b *sterilizer) fills() string { return b.Load }

// workName is the load that the work here is on.
func (b *sterilizer) workName() string { return firstOf(b.Indicated, b.Load) }

// find returns a load of this bench, nil where there is none of that name.
func (b *sterilizer) find(id string) *load {
	for i := range b.Loads {
		if b.Loads[i].Load == id {
			return &b.Loads[i]
		}
	}
	return nil
}

func (b *sterilizer) scanBadge(v *visit, badge string) (said, error) {
	if s, taken, err := b.looks(v, badge); taken {
		return s, err
	}
	b.Operator = badge
	if b.waits() {
		if v.elsewhere || b.Said.Words != "" && b.pendingStatus() != "broken" {
			return said{}, nil // something else was in sight: it is shown, and asked again
		}
		return b.enter(v, nil)
	}
	if b.Indicated != "" {
		return said{}, nil // what it shows is asked on
	}
	return good(v.t("badge-taken", badge), b.next(v)), nil
}

// pendingStatus is how what waits stands on the page: what is broken stays in sight
// whatever else is said.
func (b *sterilizer) pendingStatus() string {
	if b.Ending != nil && b.Ending.Result == "failed" || b.Reading != nil && b.Reading.Result == "positive" ||
		len(b.Tests) > 0 && b.Tests[len(b.Tests)-1].Shows() == events.TestFailed {
		return "broken"
	}
	return "open"
}

// enter records what waits for it.
func (b *sterilizer) enter(v *visit, _ fields) (said, error) {
	switch {
	case len(b.Tests) > 0:
		return b.recordTests(v)
	case b.Reading != nil && b.Reading.Result != "":
		return b.recordIndicator(v)
	case b.Ending != nil:
		return b.recordEnding(v)
	}
	return said{}, nil
}

// forget takes back what was said of a load or its indicator, before it is recorded.
func (b *sterilizer) forget(*visit, fields) (said, error) {
	if b.Reading != nil {
		b.Indicated = ""
	}
	b.Reading, b.Ending, b.Tests = nil, nil, nil
	return said{}, nil
}

// lies reports whether somebody said what a load or its indicator showed, or of an indicator's lot and time.
func (b *sterilizer) lies(*visit) (bool, error) {
	return b.Ending != nil || b.Reading != nil || len(b.Tests) > 0, nil
}

// onlySaid is what was said: a failed cycle or a positive indicator isn't forgotten by Enter.
func (b *sterilizer) onlySaid(v *visit) (string, error) {
	s, err := b.verdict(v)
	return s.Words, err
}

func (b *sterilizer) anew(v *visit) (said, error) { return b.forget(v, nil) }

// toRecord asks for the badge that records what was said. Where who works here is
// known from another place of the station, that has only just been shown.
func (b *sterilizer) toRecord(v *visit, s said) said {
	forget := choice{Do: "forget", Words: v.t("forget-entered")}
	if b.Operator == "" {
		s.Next = v.t("badge-records")
		return s.offer(forget)
	}
	s.Next = v.t("enter-records-by", b.Operator)
	return s.offer(choice{Do: "enter", Words: v.t("do-record"), Main: true}, forget)
}

func (b *sterilizer) scanLoad(v *visit, id string) (said, error) {
	if b.find(id) != nil {
		b.Load, b.Done, b.Indicated, b.Reading = id, nil, "", nil
		return ask(v.t("load-is", id), b.next(v)), nil
	}
	if _, _, err := v.sterilizerOf(id); err != nil {
		is, failed := v.nowNamed(b, id)
		if is == id || failed != nil {
			return said{}, errors.Join(err, failed)
		}
		s, err := b.scanLoad(v, is)
		s.Aside = v.t("load-renamed", id, is)
		return s, err
	}
	b.Indicated, b.Done, b.Reading = id, nil, nil
	return v.askIndicator(id), nil
}

// put loads a set. One that is not sterile after this cycle alone is asked about: it was in a failed
// load, was opened or went back to be cleaned, and was not packed since, or its list asks for another
// cycle. So is one that was scanned before its screen showed that another one had chosen this load.
func (b *sterilizer) put(v *visit, set string) (said, error) {
	l := b.find(b.Load)
	if l == nil || l.Started && !l.Forgot || slices.Contains(l.Sets, set) {
		return b.fill(v, set)
	}
	not, err := v.notReady(l, set)
	if err != nil {
		return said{}, err
	}
	answers := []choice{
		{Do: "leave-out", Words: v.t("leave-out", set)}, {Do: "put", Value: set, Words: v.t("do-put", set)},
	}
	if not != nil {
		return wrong(not.words, not.more).offer(answers...), nil
	}
	if other, err := v.loadElsewhere(set); err != nil || other != "" {
		return wrong(other, v.t("set-in-two-loads-more")).offer(answers...), err
	}
	switch {
	case v.shown != 0 && v.shown <= b.WorkRev && b.WorkBy != v.client:
		return ask(v.t("other-load", set, l.Load), v.t("other-load-more")).offer(answers...), nil
	}
	return b.fill(v, set)
}

// against is what is known against a set of a load.
type against struct {
	set   string
	key   string // tells it apart, in whatever language it is said
	words string
	more  string
	stops bool // else it is doubtful
}

// notReady is why a set does not belong into a load before it is packed again, nil where it does.
func (v *visit) notReady(l *load, set string) (*against, error) {
	failed, err := v.failedIn(set)
	if err != nil {
		return nil, err
	}
	if failed != "" {
		return &against{set, "failed " + failed, v.t("failed-before", set, failed), v.t("failed-before-more"), true}, nil
	}
	st, err := v.standing(set)
	if err != nil || st == nil {
		return nil, err
	}
	if st.Opened && l.Immediate == "" {
		return &against{set, "opened", v.t("loaded-open", set), v.t("packed-first"), true}, nil
	}
	verdict, err := v.verdictOf(st.Key)
	if err != nil {
		return nil, err
	}
	if verdict != nil && wentBack(verdict) {
		return &against{set, "went back", v.t("loaded-washed", set), v.t("packed-first"), true}, nil
	}
	if allowed := v.otherCycles(st, l); len(allowed) > 0 {
		return &against{set, "cycle", v.t("wrong-cycle", set, l.Cycle), v.t("cycles-allowed", strings.Join(allowed, ", ")), true}, nil
	}
	if f := stopsContainer(verdict); f != nil {
		found := v.found(set, f)
		return &against{set, wayOf(f), found.Words, strings.TrimSpace(found.More + " " + v.t("packed-first")), true}, nil
	}
	return v.readyAlready(l, set)
}

// readyAlready says that a set is sterile by another load, and was neither opened nor packed since: then the tray in hand is
// mostly another one, such as its twin.
func (v *visit) readyAlready(l *load, set string) (*against, error) {
	ready, err := v.liesReady(set, "")
	if err != nil || ready == nil {
		return nil, err
	}
	last, err := v.lastRun(set)
	if err != nil || last == nil || last.Load == l.Load {
		return nil, err
	}
	return &against{set, "sterile " + last.Load, v.t("loaded-sterile", set, last.Load), v.t("loaded-sterile-more"), true}, nil
}

// stopsContainer is what says that a set lies aside, or that its locks are not as recorded, nil for nothing: no cycle puts
// that right.
func stopsContainer(verdict *projections.Verdict) *projections.Finding {
	if verdict == nil {
		return nil
	}
	for i := range verdict.Findings {
		if f := &verdict.Findings[i]; stopsHere(f) {
			return f
		}
	}
	return nil
}

func stopsHere(f *projections.Finding) bool {
	if _, twice := f.Detail.(*projections.LockTwice); twice {
		return false // a number is wrong, and nothing tells that this container was opened
	}
	return (f.Code == projections.PutAside || f.Code == projections.SealDiffers) && f.Severity != projections.SeverityNoted
}

// otherCycles are the cycles that a set may run by the list that it was packed by, where the load's is none of them.
func (v *visit) otherCycles(st *standing, l *load) []string {
	if st.List == "" {
		return nil
	}
	list, err := listNow(v, v.d.site, st.List, st.Version)
	if err != nil || slices.Contains(list.Cycles, l.Cycle) {
		return nil
	}
	return list.Cycles
}

// loadElsewhere says in which load of another station a set lies that is not recorded yet, "" for none: one set is in one
// sterilizer, so one of the two was another tray.
func (v *visit) loadElsewhere(set string) (string, error) {
	loads, err := v.loadsElsewhere()
	if err != nil {
		return "", err
	}
	for _, l := range loads {
		if slices.Contains(l.Sets, set) {
			return v.t("set-in-two-loads", set, l.Load, l.station), nil
		}
	}
	return "", nil
}

type loadThere struct {
	load
	station string
}

// loadsElsewhere are the loads that lie at the site's other stations.
func (v *visit) loadsElsewhere() (out []loadThere, err error) { return v.loadsThere(v.station) }

// loadsThere are the loads that lie at the site's stations, but at one.
func (v *visit) loadsThere(except string) (out []loadThere, err error) {
	err = v.eachSterilizer(except, func(station string, there *sterilizer) {
		for _, l := range there.Loads {
			out = append(out, loadThere{l, station})
		}
	})
	return out, err
}

// eachSterilizer looks at what lies at the sterilizer's place of each station of the site, but of one.
func (v *visit) eachSterilizer(except string, look func(station string, there *sterilizer)) error {
	known, err := site.Answer(v.d.site, func(m *site.View) ([]events.Station, error) { return m.Stations(v) })
	if err != nil {
		return err
	}
	for _, k := range known {
		if k.Name == except {
			continue
		}
		there := new(sterilizer)
		switch _, err := v.d.files.load(there, "bench", k.Name, "sterilizer"); {
		case errors.Is(err, errUnreadable): // its own page says so
		case err != nil:
			return err
		default:
			look(k.Name, there)
		}
	}
	return nil
}

// runsIn is the load that a set lies in and that runs, by what people have said, nil for none: whoever has it in the hand has
// another tray.
func (v *visit) runsIn(set string) (*loadThere, error) {
	loads, err := v.loadsThere("")
	for i, l := range loads {
		if l.Started && !l.Recorded && slices.Contains(l.Sets, set) {
			return &loads[i], err
		}
	}
	return nil, err
}

// loadThere is a load of a name that lies at another station, nil where none does.
func (v *visit) loadThere(id string) (*loadThere, error) {
	loads, err := v.loadsElsewhere()
	for i := range loads {
		if loads[i].Load == id {
			return &loads[i], err
		}
	}
	return nil, err
}

// askThere asks whether a load is the one that lies at another station: two runs under one number would share what their
// indicator shows.
func (v *visit) askThere(l *loadThere) said {
	if l == nil {
		return said{}
	}
	words := v.t("load-there", l.Load, l.station)
	if l.Started {
		words = v.t("load-runs-there", l.Load, l.station, v.time(l.StartedAt))
	}
	return ask(words, v.t("load-recorded-more")).offer(choice{Do: "begin-too", Value: l.Load, Words: v.t("do-begin-there")})
}

// runSure stands before a load that is started though another one is running in its sterilizer, or it runs elsewhere.
const runSure = "sure "

// running is the same load where it was started at another station, or else another one that runs in the same sterilizer
// by what people have said, nil for none: either its end was not recorded, or a number was misread.
func (b *sterilizer) running(v *visit, l *load) (*loadThere, error) {
	loads, err := v.loadsElsewhere()
	if err != nil {
		return nil, err
	}
	if i := slices.IndexFunc(loads, func(o loadThere) bool { return o.Load == l.Load && o.Started }); i >= 0 {
		return &loads[i], nil
	}
	for i := range b.Loads {
		loads = append(loads, loadThere{b.Loads[i], v.station})
	}
	for i, o := range loads {
		// Of a test cycle no end is recorded.
		if o.Load != l.Load && o.Sterilizer == l.Sterilizer && o.Started && !o.Recorded && len(o.Sets) > 0 {
			return &loads[i], nil
		}
	}
	return nil, nil
}

func (v *visit) askRunning(l *load, o *loadThere) said {
	words, sure := v.t("load-running", o.Load, o.Sterilizer, o.station, v.time(o.StartedAt)), v.t("do-start-all-the-same")
	if o.Load == l.Load {
		words, sure = v.t("load-runs-there", o.Load, o.station, v.time(o.StartedAt)), v.t("do-begin-there")
	}
	return ask(words, v.t("load-running-more")).offer(
		choice{Do: "choose", Value: l.Load, Words: v.t("start-not-yet"), Main: true},
		choice{Do: "start", Value: runSure + l.Load, Words: sure})
}

// putAnyway loads a set all the same. It is not green.
func (b *sterilizer) putAnyway(v *visit, f fields) (said, error) {
	set, l := f["value"], b.find(b.Load)
	if set == "" || l == nil {
		return said{}, nil
	}
	not, err := v.notReady(l, set)
	if err != nil {
		return said{}, err
	}
	words := ""
	if not != nil {
		words = not.words
	} else if words, err = v.loadElsewhere(set); err != nil {
		return said{}, err
	}
	s, err := b.fill(v, set)
	if words != "" {
		s.Status, s.Sound, s.More = "broken", "wrong", words
	}
	return s, err
}

// failedIn is the load whose cycle failed with this set in it, where that is the
// last that is known of the set's sterilization in this trip.
func (v *visit) failedIn(set string) (string, error) {
	last, err := v.lastRun(set)
	if err != nil || last == nil || last.Result != "failed" {
		return "", err
	}
	return last.Load, nil
}

// lastRun is the last that is known of a set's sterilization in this trip, nil for nothing.
func (v *visit) lastRun(set string) (last *events.SetSterilized, err error) {
	err = v.d.site.Ask(func(m *site.View) error {
		trip, err := m.TripNow(v, set, v.now)
		if err != nil || trip == "" {
			return err
		}
		w := m.World(v)
		for _, it := range w.Trip(projections.TripKey{Set: set, Trip: trip}).Steps {
			if run := facts.RunOf(it); run != nil {
				last = run
			}
		}
		return w.Failed()
	})
	return last, err
}

// fill loads a set, after a look at what its list allows.
func (b *sterilizer) fill(v *visit, set string) (said, error) {
	l := b.find(b.Load)
	if l == nil {
		return said{}, v.sayNo("begin-a-load", set)
	}
	switch {
	case l.Forgot:
	case len(l.Held) > 0:
		return said{}, v.sayNo("load-over", l.Load)
	case l.Started:
		return said{}, v.sayNo("load-runs", l.Load)
	}
	for _, other := range b.Loads {
		if slices.Contains(other.Sets, set) {
			if other.Load == l.Load {
				return ask(v.t("in-load-already", set, l.Load), ""), nil
			}
			return said{}, v.sayNo("in-other-load", set, other.Load)
		}
	}
	st, err := v.standing(set)
	if err != nil {
		return said{}, err
	}
	l.Sets = append(l.Sets, set)
	if st != nil {
		if l.Trips == nil {
			l.Trips = make(map[string]string)
		}
		if l.Shut == nil {
			l.Shut = make(map[string]int64)
		}
		l.Trips[set], l.Shut[set] = st.Key.Trip, st.Closed
	}
	if err := v.keepKnown(l, set, st); err != nil {
		return said{}, err
	}
	b.Done = nil
	loaded := v.t("loaded", set, l.Load, len(l.Sets))
	switch {
	case st == nil:
		return doubt(loaded, v.t("never-packed", set)), nil
	case st.Code == "":
		return doubt(loaded, v.t("not-sealed", set)), nil
	case st.Opened:
		return wrong(loaded, v.t("loaded-open", set)), nil
	}
	if allowed := v.otherCycles(st, l); len(allowed) > 0 {
		return wrong(loaded, v.t("wrong-cycle", set, l.Cycle)), nil
	}
	return v.loadedAs(st, loaded)
}

// loadedAs says that a set is in a load. It is green only where nothing is known
// against the set: another cycle puts nothing right.
func (v *visit) loadedAs(st *standing, loaded string) (said, error) {
	verdict, err := v.verdictOf(st.Key)
	if err != nil || verdict == nil {
		return good(loaded, ""), err
	}
	if wentBack(verdict) {
		return wrong(loaded, v.t("loaded-washed", st.Key.Set)), nil
	}
	s := v.judged(verdict, v.d.site.Size(), good(loaded, ""), projections.CountMissing)
	if s.Words != loaded {
		s.Words, s.Answer = loaded+" "+s.Words, ""
	}
	if err := v.sayStopsElsewhere(st.Key.Set, &s); err != nil {
		return said{}, err
	}
	if s.Next == loaded {
		s.Words, s.Next = loaded+". "+s.Words, ""
	}
	return s, v.whereOther(verdict, &s)
}

func (b *sterilizer) verdict(v *visit) (said, error) {
	switch {
	case len(b.Tests) > 0:
		return b.askTested(v), nil
	case b.waits() && b.Ending != nil:
		return b.askEnding(v)
	case b.Reading != nil:
		return b.askReading(v), nil
	case b.Indicated != "":
		return v.askIndicator(b.Indicated), nil
	}
	if l := b.find(b.Load); l != nil && l.Started { // another station may have read it
		if positive, err := v.positiveOf(l.Load); err != nil || !positive.IsZero() {
			return wrong(v.t("load-positive", l.Load, v.time(positive)), b.next(v)), err
		}
	}
	return ask(b.next(v), ""), nil
}

func (b *sterilizer) next(v *visit) string {
	l := b.find(b.Load)
	switch {
	case l == nil:
		return v.t("begin-sterilizer")
	case l.Forgot:
		return v.t("scan-forgotten", l.Load)
	case !l.Started:
		return v.t("scan-into", l.Load)
	case len(l.Sets) == 0:
		return v.t("test-cycle", l.Load)
	case len(l.Held) > 0:
		return v.t("load-is-held", l.Load)
	case b.Operator == "":
		return v.t("scan-badge")
	}
	return v.t("result-next", l.Load)
}

func (b *sterilizer) discard(v *visit, _ fields) (said, error) {
	b.Done, b.Indicated, b.Reading = nil, "", nil
	return v.begin(), nil
}

func (b *sterilizer) begin(v *visit, f fields) (said, error) { return b.beginRun(v, f, "") }

// beginToo answers that a load that was recorded is the same run: sets of it were forgotten.
func (b *sterilizer) beginToo(v *visit, f fields) (said, error) {
	return b.beginRun(v, b.Entered, f["value"])
}

// likeSterilizer is the sterilizer that ran or is loaded here, and whose name is like one that never did; "" for none. What
// an indicator shows reaches the loads of one name.
func (b *sterilizer) likeSterilizer(v *visit, name string) (like string, err error) {
	if name == b.New {
		return "", nil
	}
	names, err := site.Answer(v.d.site, func(m *site.View) ([]string, error) { return m.SterilizerNames(v) })
	if err != nil {
		return "", err
	}
	there, err := v.loadsElsewhere()
	if err != nil {
		return "", err
	}
	for _, l := range there {
		names = append(names, l.Sterilizer)
	}
	for _, l := range b.Loads {
		names = append(names, l.Sterilizer)
	}
	for _, n := range names {
		switch {
		case n == name:
			return "", nil
		case like == "" && events.Likeness(n) == events.Likeness(name):
			like = n
		}
	}
	return like, nil
}

// sayOld answers that the sterilizer is the one that ran here, sayNew that it is another one.
func (b *sterilizer) sayOld(v *visit, f fields) (said, error) {
	if b.Entered == nil || events.Likeness(f["value"]) != events.Likeness(b.Entered["sterilizer"]) {
		return said{}, nil
	}
	again := maps.Clone(b.Entered)
	again["sterilizer"] = f["value"]
	return b.beginRun(v, again, "")
}

func (b *sterilizer) sayNew(v *visit, f fields) (said, error) {
	if b.Entered == nil || f["value"] == "" || f["value"] != b.Entered["sterilizer"] {
		return said{}, nil
	}
	b.New = f["value"]
	return b.beginRun(v, b.Entered, "")
}

// askBegun asks whether a load is one of which something was recorded: all of that may have been
// taken back since.
func (v *visit) askBegun(id string, before *events.Event) (said, error) {
	inForce := false
	err := v.d.site.Ask(func(m *site.View) error {
		w := m.World(v)
		trips, _ := w.LoadOf(id)
		inForce = len(trips) > 0 || len(w.ResultOf(id)) > 0
		return w.Failed()
	})
	recorded, too := v.t("load-recorded", id, v.time(before.Time)), v.t("do-begin-too")
	if !inForce {
		recorded, too = v.t("load-taken-back", id, v.time(before.Time)), v.t("do-begin-again")
	}
	return ask(recorded, v.t("load-recorded-more")).offer(choice{Do: "begin-too", Value: id, Words: too}), err
}

// failedRun reports whether a record says that a load failed: no set was sterilized in it.
func failedRun(e *events.Event) bool {
	d, ok := e.Data.(*events.SetSterilized)
	return ok && d.Result == "failed"
}

// again takes what was recorded of a run, for a set of it that was forgotten, or for all of it where that
// was taken back. run is nil where only its indicator is recorded.
func (l *load) again(run *events.Event) {
	l.Recorded, l.Forgot = true, true
	if run == nil {
		return
	}
	d := run.Data.(*events.SetSterilized)
	l.Started, l.Loader, l.Cycle = true, d.Loader, d.Cycle
	if at, err := time.Parse(time.RFC3339, d.Started); err == nil {
		l.StartedAt = at
	}
}

// loadID names a load by sterilizer, day and cycle number, and by the year too where
// the same name was given in another one: two runs under one name would share what
// their indicators showed. before is the record of the load, where it has one.
func (b *sterilizer) loadID(v *visit, name string, run int64) (id string, before *events.Event, err error) {
	for _, id = range v.loadIDs(name, run) {
		if before, err = v.loadKnown(id); err != nil || before == nil || v.today(before.Time) {
			return id, before, err
		}
	}
	return id, before, nil
}

// loadIDs are the names that a run of today can have, in that order.
func (v *visit) loadIDs(sterilizer string, run int64) (out []string) {
	for _, day := range []string{"0102", "060102"} {
		out = append(out, fmt.Sprintf("%s-%s-%02d", sterilizer, v.now.In(v.d.site.Zone()).Format(day), run))
	}
	return out
}

// numberedToday reports whether a load has a number of today: one that was begun before may not have run since.
func (v *visit) numberedToday(l *load) bool {
	return slices.Contains(v.loadIDs(l.Sterilizer, l.Run), l.Load)
}

// askDay asks which number a load has that was begun on another day: what is printed by the sterilizer, and what an
// indicator reaches, goes by the day of the run.
func (b *sterilizer) askDay(v *visit, l *load) (said, error) {
	id, before, err := b.loadID(v, l.Sterilizer, l.Run)
	if err != nil {
		return said{}, err
	}
	s := ask(v.t("start-old-day", l.Load), v.t("start-old-day-more")).offer(
		choice{Do: "choose", Value: l.Load, Words: v.t("start-not-yet"), Main: true})
	there, err := v.loadThere(id)
	if before == nil && there == nil && b.find(id) == nil {
		s.Choices = append(s.Choices, choice{Do: "renumber", Value: id, Words: v.t("do-renumber", id)})
	}
	return s.offer(append(s.Choices, choice{Do: "old-number", Value: l.Load, Words: v.t("do-old-number", l.Load)})...), err
}

// renumber gives a load that was begun on another day its number of today, and starts it.
func (b *sterilizer) renumber(v *visit, f fields) (said, error) {
	l := b.find(b.Load)
	if l == nil || l.Started || v.numberedToday(l) {
		return said{}, nil
	}
	s, err := b.askDay(v, l)
	if err != nil || !slices.ContainsFunc(s.Choices, func(c choice) bool { return c.Do == "renumber" && c.Value == f["value"] }) {
		return s, err // it was taken by another load since
	}
	const most = 100 // more than lie about with their first label
	b.Renamed = append(b.Renamed, renamed{l.Load, f["value"]})
	b.Renamed = b.Renamed[max(0, len(b.Renamed)-most):]
	l.Load, b.Load = f["value"], f["value"]
	return b.start(v, nil)
}

// nowNamed is the number under which a load runs whose label has another one; the label's where it runs under that.
func (v *visit) nowNamed(b *sterilizer, id string) (string, error) {
	all := slices.Clone(b.Renamed)
	err := v.eachSterilizer(v.station, func(_ string, there *sterilizer) { all = append(all, there.Renamed...) })
	for _, r := range slices.Backward(all) {
		if r.Was == id {
			return r.Is, err
		}
	}
	return id, err
}

// keepNumber starts it with the number that it was begun with.
func (b *sterilizer) keepNumber(v *visit, f fields) (said, error) {
	l := b.find(b.Load)
	if l == nil || l.Started || f["value"] != l.Load {
		return said{}, nil
	}
	l.OldDay = true
	return b.start(v, nil)
}

// cycle is a cycle as it is listed: by the policy, or by what ran here. Where the
// policy lists cycles there are no others.
func (b *sterilizer) cycle(v *visit, name string) (string, error) {
	p, err := v.policy()
	if err != nil || name == "" {
		return name, err
	}
	if len(p.Cycles) > 0 {
		return v.cycleIn(p.Cycles, name)
	}
	return firstOf(cycleLike(b.Ran, name), name), nil
}

// cycleLike is the cycle among some whose name is the same but for blanks, dashes and capitals, "" for none.
func cycleLike(known []string, name string) string {
	plain := strings.NewReplacer(" ", "", "-", "").Replace
	for _, c := range known {
		if strings.EqualFold(plain(c), plain(name)) {
			return c
		}
	}
	return ""
}

// cycleIn is a cycle as the site's policy names it. One that it doesn't name is refused; where it names none, any will do.
func (v *visit) cycleIn(policy []string, name string) (string, error) {
	if c := cycleLike(policy, name); c != "" || len(policy) == 0 {
		return firstOf(c, name), nil
	}
	return "", v.sayNo("cycle-not-listed", name, strings.Join(policy, ", "))
}

func (b *sterilizer) choose(v *visit, f fields) (said, error) {
	id := firstOf(f["load"], f["value"])
	if b.find(id) == nil {
		return said{}, v.sayNo("load-not-here", id)
	}
	b.Load = id
	return said{}, nil
}

func (b *sterilizer) takeOut(v *visit, f fields) (said, error) {
	l, set := b.find(b.Load), f["set"]
	if l == nil || l.Started || !slices.Contains(l.Sets, set) {
		return said{}, nil
	}
	l.Sets = slices.DeleteFunc(l.Sets, func(s string) bool { return s == set })
	delete(l.Trips, set)
	delete(l.Shut, set)
	delete(l.Known, set)
	return ask(v.t("taken-out", set, l.Load, len(l.Sets)), b.next(v)), nil
}

func (b *sterilizer) start(v *visit, f fields) (said, error) {
	l := b.find(b.Load)
	if l == nil {
		return said{}, v.sayNo("nothing-loaded")
	}
	sure := f["value"] == l.Load || f["value"] == runSure+l.Load
	switch {
	case len(l.Sets) == 0 && !sure: // as the cycles are that are repeated after a positive indicator
		return ask(v.t("start-empty", l.Load), v.t("start-empty-more")).offer(
			choice{Do: "choose", Value: l.Load, Words: v.t("start-not"), Main: true},
			choice{Do: "start", Value: l.Load, Words: v.t("do-start-empty")}), nil
	case l.Started:
		return said{}, nil // who pressed first started it, and then
	case b.Operator == "":
		return ask(v.t("scan-badge"), v.t("start-badge", l.Load)), nil
	case !l.OldDay && !v.numberedToday(l):
		return b.askDay(v, l)
	}
	if !sure {
		if since, err := v.changedSince(l); err != nil || len(since) > 0 {
			return wrong(v.t("start-changed", l.Load), strings.Join(since, " ")).offer(
				choice{Do: "choose", Value: l.Load, Words: v.t("start-not-yet"), Main: true},
				choice{Do: "start", Value: l.Load, Words: v.t("do-start-all-the-same")}), err
		}
	}
	other, err := b.running(v, l)
	switch {
	case err != nil:
		return said{}, err
	case other != nil && f["value"] != runSure+l.Load:
		return v.askRunning(l, other), nil
	}
	l.Started, l.StartedAt, l.Loader = true, v.now.UTC(), b.Operator
	if other != nil && other.Load == l.Load { // one cycle has one start
		l.StartedAt, l.Loader = other.StartedAt, other.Loader
	}
	return said{}, nil
}

// askUndo asks whether a load was not started after all, where that would be taken back some time later: the cycle runs, and
// another set that is then put in never was in it.
func (b *sterilizer) askUndo(v *visit, before *sterilizer) said {
	const meant = time.Minute // sooner it is the start itself that is taken back
	for i := range b.Loads {
		l := &b.Loads[i]
		was := before.find(l.Load)
		if l.Started && (was == nil || !was.Started) && v.now.Sub(l.StartedAt) > meant {
			return ask(v.t("undo-start", l.Load, v.time(l.StartedAt)), v.t("undo-start-more")).offer(
				choice{Do: "choose", Value: l.Load, Words: v.t("undo-not"), Main: true},
				choice{Do: "undo", Value: sureUndo, Words: v.t("do-undo-start")})
		}
	}
	return said{}
}

// changedSince says what has come up against the sets of a load since they were put into it, and which of them lie in
// another load, too.
func (v *visit) changedSince(l *load) (out []string, err error) {
	come, err := v.comeUp(l, nil)
	if err != nil {
		return nil, err
	}
	if len(come) > 0 {
		out = append(out, wordsOf(come))
	}
	for _, set := range l.Sets {
		if other, err := v.loadElsewhere(set); err != nil {
			return nil, err
		} else if other != "" {
			out = append(out, other+".")
		}
	}
	return out, nil
}

// giveUp takes a load away that was not recorded. Its button stands beside others,
// so a load with sets in it is asked about. Where another station has recorded that it failed, that is to be recorded of the sets
// that lie here, too: nothing would keep them out of the next load.
func (b *sterilizer) giveUp(v *visit, f fields) (said, error) {
	l := b.find(b.Load)
	if l != nil && len(l.Sets) > 0 {
		if failed, err := v.hasFailed(l.Load); err != nil || failed {
			return wrong(v.t("give-up-failed", l.Load), v.t("load-failed-sets", strings.Join(l.Sets, ", "))).offer(
				choice{Do: "failed-too", Value: l.Load, Words: v.t("do-failed-too", len(l.Sets))},
				choice{Do: "choose", Value: l.Load, Words: v.t("give-up-not")}), err
		}
	}
	if l != nil && (len(l.Sets) > 0 || l.Started && !l.Forgot) && f["value"] != l.Load {
		sure := v.t("give-up-sure", l.Load, len(l.Sets))
		if len(l.Held) > 0 {
			sure = v.t("give-up-held", l.Load, len(l.Held))
		}
		return ask(sure, strings.Join(l.Sets, ", ")).offer(
			choice{Do: "choose", Value: l.Load, Words: v.t("give-up-not"), Main: true},
			choice{Do: "give-up", Value: l.Load, Words: v.t("give-up")}), nil
	}
	b.drop()
	return said{}, nil
}

// failedToo answers that the load failed for the sets that lie here, as it did for those of the other station.
func (b *sterilizer) failedToo(v *visit, f fields) (said, error) {
	l := b.find(b.Load)
	if l == nil || f["value"] != l.Load {
		return said{}, nil
	}
	l.Recorded = true // at the other station
	return b.result(v, fields{"result": "failed"})
}

// drop takes the load that is being filled away.
func (b *sterilizer) drop() {
	b.Loads = slices.DeleteFunc(b.Loads, func(l load) bool { return l.Load == b.Load })
	b.Load = ""
}

type sterilizerBody struct {
	Tests      []events.DayTest // that the policy asks of a day
	Day        string           // the local day now
	Sterilizer string           // that works here
	Today      []string         // how its tests stand today

	Active   *load
	Running  string // since when, and whose badge started it
	Cycles   []string
	Other    bool // another cycle may be entered
	Positive bool // its indicator was read so: who releases it says why
	Early    bool // so does who releases it before its indicator is negative: it runs with implants, and the policy waits
}

// implants reports whether a set of a load holds implants, by the list it was packed by: one that lies here, or
// one that is recorded of it, at whatever station, and quarantined.
func (v *visit) implants(l *load) (bool, error) {
	for _, set := range l.Sets {
		st, err := v.standing(set)
		if err != nil {
			return false, err
		}
		if st == nil || st.List == "" {
			continue
		}
		if list, err := listNow(v, v.d.site, st.List, st.Version); err == nil && list.Implants {
			return true, nil
		}
	}
	return v.implantsHeld(l.Load)
}

func (b *sterilizer) body(v *visit) (any, error) {
	p, err := v.policy()
	if err != nil {
		return nil, err
	}
	cycles, free := p.Cycles, len(p.Cycles) == 0
	if free {
		cycles = b.Ran
	}
	out := sterilizerBody{Tests: p.DayTests, Day: v.dayNow(), Active: b.find(b.Load), Cycles: cycles, Other: free}
	if out.Sterilizer = b.Entered["sterilizer"]; out.Active != nil {
		out.Sterilizer = out.Active.Sterilizer
	}
	if out.Today, err = v.testsToday(p, out.Sterilizer); err != nil {
		return nil, err
	}
	if l := out.Active; l != nil && l.Started {
		if !l.StartedAt.IsZero() {
			out.Running = v.t("running-since", v.time(l.StartedAt), firstOf(l.Loader, "–"))
		}
		positive, err := v.positiveOf(l.Load)
		if err != nil {
			return nil, err
		}
		out.Positive = !positive.IsZero()
		if out.Early, err = v.waitsForIndicator(l); err != nil {
			return nil, err
		}
	}
	return out, nil
}
