package workplace

import (
	"fmt"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections"
)

// returning is the draft of the workplace on a set's way back from a case: it left the
// room, was received, washed, inspected. Which step is recorded here is said once, and
// stays until another is; so does the washer's load, for as long as one takes and for who
// said it. Then a scan and Enter record a set with which nothing is wrong.
type returning struct {
	hand
	Step      events.ReturnStep    `json:"step,omitempty"`
	Washer    string               `json:"washer,omitempty"`
	Load      string               `json:"load,omitempty"`   // of the washer
	LoadAt    time.Time            `json:"loadAt,omitzero"`  // when that was said
	LoadBy    string               `json:"loadBy,omitempty"` // and by whose badge
	NoLoad    bool                 `json:"noLoad,omitempty"`
	Basket    string               `json:"basket,omitempty"`    // of the set that lies here, or that is scanned next
	Untreated bool                 `json:"untreated,omitempty"` // not treated at the point of use
	Faults    []events.ReturnFault `json:"faults,omitempty"`
	Odd       []events.Exception   `json:"odd,omitempty"`   // of a set that a supplier lends: not as its inventory has it
	Told      []int64              `json:"told,omitempty"`  // lines of it of which somebody said how many there are
	Clean     string               `json:"clean,omitempty"` // what says that it is not clean, and that it was washed, as a person said
	Anew      string               `json:"anew,omitempty"`  // turn of a set that lies ready and goes back, as a person said
	Lacks     string               `json:"lacks,omitempty"` // what it lacks, and that it was looked for, as a person said
}

func returnPlace() workplace {
	return bench[returning, *returning]{
		scans: map[events.ScanKind]scanned[returning]{
			events.ScanBadge: (*returning).scanBadge,
			events.ScanSet:   (*returning).scanSet,
		},
		acts: map[string]action[returning]{
			"clear":      (*returning).discard,
			"step":       (*returning).choose,
			"load":       (*returning).takeLoad,
			"same-load":  (*returning).sameLoad,
			"no-load":    (*returning).leaveLoad,
			"basket":     (*returning).takeBasket,
			"untreated":  (*returning).noteUntreated,
			"anew":       (*returning).sayAnew,
			"leave":      (*returning).discard,
			"unclean":    (*returning).sayClean,
			"lacks":      (*returning).sayLacks,
			"fault":      (*returning).noteFault,
			"odd":        (*returning).countOdd,
			"as-arrived": (*returning).sayAsArrived,
			"enter":      (*returning).record,
			"record":     (*returning).record,
		},
		typed: (*returning).typed,
	}
}

func (b *returning) wants() []want { return wanted(events.ScanSet, events.ScanBadge) }

// clear takes the set away. The step and the washer's load are those of the next set, too;
// that a load is not known is said of each, and each lay in a basket of its own.
func (b *returning) clear() {
	*b = returning{hand: b.kept(), Step: b.Step, Washer: b.Washer, Load: b.Load, LoadAt: b.LoadAt, LoadBy: b.LoadBy}
}

// entered is in which turn it was said what is wrong with the set, and what it lay in.
func (b *returning) entered(*visit) ([]string, error) {
	if !b.Untreated && len(b.Faults) == 0 && len(b.Odd)+len(b.Told) == 0 && b.Basket == "" && !b.NoLoad {
		return nil, nil
	}
	return []string{b.Turn}, nil
}

func (b *returning) anew(v *visit) (said, error) {
	set := b.Tag
	b.clear()
	return b.scanSet(v, set)
}

// onlySaid is what was seen of a set that may be washed since.
func (b *returning) onlySaid(v *visit) (string, error) {
	_, out := b.about(v)
	if b.Untreated {
		out = append(out, v.t("untreated"))
	}
	if b.Basket != "" {
		out = append(out, v.t("basket")+" "+b.Basket)
	}
	return strings.Join(out, ", "), nil
}

// scanBadge takes who works here. A washer's load that was said before any badge is of whoever shows theirs first: the
// next person mostly has another one, and is asked.
func (b *returning) scanBadge(v *visit, badge string) (said, error) {
	if err := b.whose(v, firstOf(b.Operator, badge)); err != nil {
		return said{}, err
	}
	b.Operator = badge
	return said{}, nil
}

// whose takes a washer's load that was said before any badge for theirs who show one first, unless a badge would be forgotten by then.
func (b *returning) whose(v *visit, badge string) error {
	if b.Load == "" || b.LoadBy != "" {
		return nil
	}
	away, err := v.away(b.LoadAt)
	if err == nil && !away {
		b.LoadBy = badge
	}
	return err
}

// wentOn is told that who works here is known from another place of the station.
func (b *returning) wentOn(v *visit) error { return b.whose(v, b.Operator) }

// scanSet takes the next set. What was said of the one that lies here isn't dropped by that, and that nothing of it is recorded is
// said.
func (b *returning) scanSet(v *visit, set string) (s said, err error) {
	if b.Tag == set {
		return said{}, nil
	}
	next := b.Basket
	if b.Tag != "" {
		switch said, err := b.entered(v); {
		case err != nil:
			return s, err
		case len(said) > 0:
			return s, v.sayNo("return-begun", b.Tag)
		}
		s.Aside, s.Sound, next = v.t("return-dropped", b.Tag), "low", ""
	}
	b.clear()
	b.Tag, b.Basket, b.Done = set, next, nil
	return s, nil
}

// notBack is why a set is not on its way back: it lies ready, "" where it is.
func (b *returning) notBack(v *visit) (string, error) {
	ready, err := v.liesReady(b.Tag, b.Anew)
	if err != nil || ready == nil {
		return "", err
	}
	return ready.Key.Trip, nil
}

// sayAnew answers that a set which lies ready is processed anew.
func (b *returning) sayAnew(_ *visit, f fields) (said, error) {
	b.Anew = f["value"]
	return said{}, nil
}

func (b *returning) discard(v *visit, _ fields) (said, error) {
	b.clear()
	b.Done = nil
	return v.begin(), nil
}

// typed: a number chooses the step where none is chosen; after a plus it is what is wrong
// with the set that lies here.
func (b *returning) typed(v *visit, text string) (string, fields, bool) {
	if fault, ok := pressed(text, keyPackage, events.ReturnFaults()); ok && b.Tag != "" {
		return "fault", fields{"value": string(fault)}, true
	}
	n, ok := plainNumber(text)
	if steps := events.ReturnSteps(); ok && b.Tag != "" && b.Step == "" && n >= 1 && int(n) <= len(steps) {
		if trip, err := b.notBack(v); err != nil || trip != "" {
			return "enter", nil, true // it answers nothing of what is asked
		}
		return "step", fields{"value": string(steps[n-1])}, true
	}
	return "", nil, false
}

func (b *returning) choose(v *visit, f fields) (said, error) {
	step := events.ReturnStep(f["value"])
	if !slices.Contains(backSteps(), step) {
		return said{}, v.sayNo("no-such-button", f["value"])
	}
	if b.Step = step; !step.IsLoan() {
		b.Odd, b.Told = nil, nil
	}
	return said{}, nil
}

// takeLoad takes the washer and the number of its load today.
func (b *returning) takeLoad(v *visit, f fields) (said, error) {
	washer := strings.ToUpper(strings.TrimSpace(f["washer"]))
	run, err := strconv.ParseInt(strings.TrimSpace(f["run"]), 10, 64)
	load := fmt.Sprintf("%s-%s-%02d", washer, v.now.In(v.d.site.Zone()).Format("0102"), run)
	d := events.SetReturned{Step: events.ReturnWashed, Washer: washer, WasherLoad: load}
	if washer == "" || err != nil || run < 1 || d.Check() != nil {
		return said{}, v.sayNo("washer-needs")
	}
	b.Washer, b.Load, b.NoLoad = washer, load, false
	b.LoadAt, b.LoadBy = v.now, b.Operator
	return said{}, nil
}

// sameLoad answers that the set that lies here was in the washer's load of before, too.
func (b *returning) sameLoad(v *visit, f fields) (said, error) {
	if b.Load != "" && f["value"] == b.Load {
		b.LoadAt, b.LoadBy = v.now, b.Operator
	}
	return said{}, nil
}

// leaveLoad says that the washer's load is not known.
func (b *returning) leaveLoad(*visit, fields) (said, error) {
	b.Washer, b.Load, b.NoLoad = "", "", true
	return said{}, nil
}

func (b *returning) takeBasket(_ *visit, f fields) (said, error) {
	b.Basket = strings.TrimSpace(f["basket"])
	return said{}, nil
}

func (b *returning) noteUntreated(_ *visit, f fields) (said, error) {
	b.Untreated = f["on"] != notSeen
	return said{}, nil
}

// noteFault notes what is wrong with the set, or that it is not so after all.
func (b *returning) noteFault(v *visit, f fields) (said, error) {
	fault := events.ReturnFault(f["value"])
	if !slices.Contains(events.ReturnFaults(), fault) {
		return said{}, v.sayNo("no-such-button", f["value"])
	}
	b.Faults = note(b.Faults, fault, f)
	return said{}, nil
}

// washerHolds is for how long a washer's load is not asked about again: few programs take
// an hour, and then the next one is in the washer.
const washerHolds = time.Hour

// asksLoad reports whether the washer's load is still to be said, or said again: it may be
// over by now, and another person has mostly another one. Where no badge was on it, whoever scans one after a
// badge would be forgotten is another person.
func (b *returning) asksLoad(v *visit) (bool, error) {
	if b.Step != events.ReturnWashed || b.NoLoad {
		return false, nil
	}
	if b.Load == "" || v.now.Sub(b.LoadAt) > washerHolds {
		return true, nil
	}
	if b.LoadBy != "" || b.Operator == "" {
		return b.Operator != "" && b.Operator != b.LoadBy, nil
	}
	return v.away(b.LoadAt)
}

// askLoad asks in which load of which washer a set was.
func (b *returning) askLoad(v *visit) said {
	unknown := choice{Do: "no-load", Words: v.t("no-washer-load")}
	if b.Load == "" || b.LoadAt.IsZero() { // or it lies here from an earlier version
		return ask(v.t("washer-load", b.Tag), "").offer(unknown)
	}
	return ask(v.t("washer-load-still", b.Tag, b.Load), v.t("washer-load-said", v.time(b.LoadAt))).
		offer(choice{Do: "same-load", Value: b.Load, Words: v.t("do-same-load", b.Load)}, unknown)
}

// about is what is recorded of a set besides its step, and what is wrong with it.
func (b *returning) about(v *visit) (about, faults []string) {
	if b.Step == events.ReturnWashed && b.Load != "" {
		about = append(about, b.Load)
	}
	if b.Step == events.ReturnWashed && b.Basket != "" {
		about = append(about, v.t("basket")+" "+b.Basket)
	}
	for _, f := range b.Faults {
		faults = append(faults, v.t("return-"+string(f)))
	}
	return about, faults
}

func (b *returning) verdict(v *visit) (said, error) {
	if b.Tag == "" {
		return ask(v.t("scan-tag"), ""), nil
	}
	switch trip, err := b.notBack(v); {
	case err != nil:
		return said{}, err
	case trip != "":
		return ask(v.t("return-ready", b.Tag), v.t("return-ready-more")).offer(
			choice{Do: "anew", Value: trip, Words: v.t("do-return-anew", b.Tag)},
			choice{Do: "leave", Words: v.t("do-leave", b.Tag)}), nil
	}
	asksLoad, err := b.asksLoad(v)
	if err != nil {
		return said{}, err
	}
	switch {
	case b.Step == "":
		return b.askStep(v), nil
	case asksLoad:
		return b.askLoad(v), nil
	case b.Operator == "":
		return ask(v.t("scan-badge"), v.t("step-"+string(b.Step))), nil
	case b.Step == events.ReturnArrived:
		return b.lentSaid(v)
	}
	if s, asks, err := b.askAsArrived(v); err != nil || asks {
		return s, err
	}
	known, err := b.amiss(v)
	if err != nil {
		return said{}, err
	}
	if s, asks := known.ask(v, b); asks {
		return s, nil
	}
	return b.ready(v, known)
}

// ready says what Enter records.
func (b *returning) ready(v *visit, known amiss) (said, error) {
	about, faults := b.about(v)
	s := good(v.t("enter-returned-"+string(b.Step), b.Tag), strings.Join(append(about, faults...), ", "))
	if b.Step == events.ReturnHanded {
		var err error
		if s, err = b.lentSaid(v); err != nil {
			return said{}, err
		}
	}
	if b.Step == events.ReturnLeft && b.Untreated {
		s = doubt(v.t("enter-returned-untreated", b.Tag), s.More)
	}
	if len(faults) > 0 {
		s = doubt(s.Words, s.More)
	}
	s = known.tell(v, b.Tag, s)
	st, err := v.standing(b.Tag)
	if err != nil {
		return said{}, err
	}
	if st == nil && b.Step == events.ReturnHanded {
		return s, nil // which says so
	}
	if st == nil {
		return doubt(s.Words, strings.TrimSpace(v.t("never-packed", b.Tag)+" "+s.More)), nil
	}
	open, err := v.openCase(st.Key)
	if open != "" {
		s = doubt(s.Words, strings.TrimSpace(v.t("return-case-open", open, b.Tag)+" "+s.More))
	}
	return s, err
}

// askStep asks which step it is. Those of a loan are chosen on the page: they are rare, and so all answers stay in view.
func (b *returning) askStep(v *visit) said {
	s := ask(v.t("return-which", b.Tag), "")
	for i, step := range events.ReturnSteps() {
		words := fmt.Sprintf("%d %s", i+1, v.t("step-"+string(step)))
		s.Choices = append(s.Choices, choice{Do: "step", Value: string(step), Words: words})
	}
	return s
}

// unclean is why a set that is recorded as inspected is not clean, by what is recorded of it; nil where nothing says so, or a
// fault that is seen now does.
func (b *returning) unclean(v *visit) (*unclean, error) {
	if b.Step != events.ReturnInspected || slices.Contains(b.Faults, events.ReturnSoiled) {
		return nil, nil
	}
	st, err := v.standing(b.Tag)
	if err != nil || st == nil {
		return nil, err
	}
	return v.uncleanNow(st.Key)
}

// sayClean answers that it was washed.
func (b *returning) sayClean(v *visit, f fields) (said, error) {
	u, err := b.unclean(v)
	if err == nil && u != nil && u.key() == f["value"] {
		b.Clean = f["value"]
	}
	return said{}, err
}

// lacks is by what a set that is recorded as inspected is not complete, unless that is said of it now.
func (b *returning) lacks(v *visit) ([]lack, error) {
	if b.Step != events.ReturnInspected {
		return nil, nil
	}
	st, err := v.standing(b.Tag)
	if err != nil || st == nil {
		return nil, err
	}
	all, err := v.lacking(st.Key)
	return slices.DeleteFunc(all, func(l lack) bool {
		return l.damaged && slices.Contains(b.Faults, events.ReturnDamaged) ||
			!l.damaged && slices.Contains(b.Faults, events.ReturnIncomplete)
	}), err
}

// amiss is what is known against a set that is recorded as inspected.
type amiss struct {
	dirty *unclean
	lacks []lack
}

func (b *returning) amiss(v *visit) (a amiss, err error) {
	if a.dirty, err = b.unclean(v); err == nil {
		a.lacks, err = b.lacks(v)
	}
	return a, err
}

// ask asks about what nobody has answered yet. Of pieces it asks for those that people look for: what is in repair, or was packed
// short, nobody takes for complete by an inspection.
func (a amiss) ask(v *visit, b *returning) (s said, asks bool) {
	switch {
	case a.dirty != nil && a.dirty.key() != b.Clean:
		return a.dirty.ask(v, b.Tag, v.t("do-inspect-unclean")), true
	case slices.ContainsFunc(a.lacks, func(l lack) bool { return l.call != "" }) && b.Lacks != lacksKeys(a.lacks):
		return doubt(v.t("return-lacks", b.Tag), v.lackWords(a.lacks)).offer(
			choice{Do: "fault", Value: string(events.ReturnIncomplete), Words: v.t("do-return-incomplete")},
			choice{Do: "lacks", Value: lacksKeys(a.lacks), Words: v.t("do-inspect-lacking")},
			choice{Do: "leave", Words: v.t("do-leave", b.Tag)}), true
	}
	return said{}, false
}

// tell tells of it with what else is said.
func (a amiss) tell(v *visit, set string, s said) said {
	var out []string
	if a.dirty != nil {
		out = append(out, a.dirty.words(v, set)+".")
	}
	if out = append(out, v.lackWords(a.lacks)); joined(out...) == "" {
		return s
	}
	if s.More != "" {
		s.More = strings.TrimSuffix(s.More, ".") + "."
	}
	return doubt(s.Words, joined(append([]string{s.More}, out...)...))
}

// sayLacks answers that it was looked for what the set lacks.
func (b *returning) sayLacks(v *visit, f fields) (said, error) {
	all, err := b.lacks(v)
	if err == nil && len(all) > 0 && lacksKeys(all) == f["value"] {
		b.Lacks = f["value"]
	}
	return said{}, err
}

// record takes the step into the ledger, once nothing is asked any more.
func (b *returning) record(v *visit, _ fields) (said, error) {
	if b.Tag == "" || b.Step == "" || b.Operator == "" {
		return said{}, nil
	}
	if asks, err := b.asksLoad(v); err != nil || asks {
		return said{}, err
	}
	if trip, err := b.notBack(v); err != nil || trip != "" {
		return said{}, err // that is asked
	}
	known, err := v.standing(b.Tag)
	if err != nil {
		return said{}, err
	}
	amiss, err := b.amiss(v)
	if err != nil {
		return said{}, err
	}
	if _, asks := amiss.ask(v, b); asks {
		return said{}, nil // and this
	}
	if _, asks, err := b.askAsArrived(v); err != nil || asks {
		return said{}, err
	}
	loan, err := b.lentSaid(v)
	open := ""
	if err == nil && known != nil {
		open, err = v.openCase(known.Key)
	}
	if err != nil {
		return said{}, err
	}
	since := v.d.site.Size()
	rs, err := b.observe(v)
	if err != nil {
		return said{}, err
	}
	if b.Load != "" && b.LoadBy == "" {
		b.LoadBy = b.Operator // said before a badge was scanned
	}
	set := b.Tag
	says := v.phrased("recorded-returned-"+string(b.Step), set)
	s := amiss.tell(v, set, v.returned(b, known, loan, v.say(says)))
	k := projections.TripKey{Set: set, Trip: rs[0].Trip}
	if open != "" {
		s = doubt(s.Words, strings.TrimSpace(v.t("return-case-open", open, set)+" "+s.More))
	} else if s, err = v.showsBack(k, since, s); err != nil {
		return said{}, err
	}
	if slices.Contains(b.Faults, events.ReturnIncomplete) && b.Step != events.ReturnArrived {
		if s, err = v.missed(k, rs[0].Seq, s); err != nil {
			return said{}, err
		}
	}
	to := &done{Says: []phrase{says}, Set: set, Trip: rs[0].Trip, Seqs: seqs(rs), IDs: ids(rs), Links: b.next(v)}
	b.clear()
	b.Done = to
	return s, nil
}

// observe records the step.
func (b *returning) observe(v *visit) ([]site.Receipt, error) {
	at, err := v.recordAt(b)
	if err != nil {
		return nil, err
	}
	data, err := b.returned(v)
	if err != nil {
		return nil, err
	}
	return v.observe(&events.Observation{Station: v.station, Kind: events.KindSetReturned, Time: at, Set: b.Tag,
		Operator: b.Operator, Data: data})
}

// returned is the step as the ledger takes it.
func (b *returning) returned(v *visit) (*events.SetReturned, error) {
	if b.Step.IsLoan() {
		return b.lentData(v)
	}
	d := &events.SetReturned{Step: b.Step, Faults: b.Faults}
	switch b.Step {
	case events.ReturnLeft:
		d.Treated = "yes"
		if b.Untreated {
			d.Treated = "no"
		}
	case events.ReturnWashed:
		d.Washer, d.WasherLoad, d.Basket = b.Washer, b.Load, b.Basket
	}
	return d, nil
}

// next leads to where the set goes after the step: a piece that is damaged or missing is reported, what is in order is packed.
func (b *returning) next(v *visit) []link {
	to := func(place string, says phrase) []link {
		return []link{{Address: v.d.stationPath(v.station, place) + "?set=" + url.QueryEscape(b.Tag), Says: says, Main: true}}
	}
	switch {
	case b.Step.IsLoan():
		paper := link{Address: v.d.opts.Prefix + "/print/loan.pdf?set=" + url.QueryEscape(b.Tag), Says: v.phrased("print-loan")}
		if slices.Contains(b.Faults, events.ReturnDamaged) {
			return append(to("pieces", v.phrased("go-pieces", b.Tag)), paper)
		}
		return []link{paper}
	case slices.Contains(b.Faults, events.ReturnDamaged), slices.Contains(b.Faults, events.ReturnIncomplete):
		return to("pieces", v.phrased("go-pieces", b.Tag))
	case b.Step == events.ReturnInspected && len(b.Faults) == 0:
		return to("packing", v.phrased("go-pack", b.Tag))
	}
	return nil
}

// showsBack says what a step that looks in order shows of the set, by what the ledger holds with it: somebody else may have
// recorded the same set elsewhere a moment ago.
func (v *visit) showsBack(k projections.TripKey, since int64, s said) (said, error) {
	verdict, err := v.verdictOf(k)
	if err != nil || verdict == nil || s.Status != "whole" {
		return s, err
	}
	for i := range verdict.Findings {
		f := &verdict.Findings[i]
		shows := slices.ContainsFunc(f.Events, func(seq int64) bool { return seq > since })
		if shows && f.Code == projections.TwoPlaces && f.Severity != projections.SeverityNoted {
			found := v.found(k.Set, f)
			found.Words = s.Words + " " + found.Words
			return found, nil
		}
	}
	return s, nil
}

// returned says that a step is recorded. It is not in order where something is wrong with the set: where a
// piece is missing, somebody may still look for it at its case.
func (v *visit) returned(b *returning, known *standing, loan said, words string) said {
	_, faults := b.about(v)
	more := strings.Join(faults, ", ")
	switch {
	case b.Step.IsLoan() && loan.Status != "doubtful":
		return good(words, loan.More)
	case b.Step == events.ReturnArrived && len(faults)+len(b.Odd) > 0:
		return doubt(words, v.t("lent-tell"))
	case b.Step == events.ReturnHanded && len(b.Odd) > 0:
		return doubt(words, v.t("lent-handed-odd"))
	case b.Step.IsLoan():
		return doubt(words, loan.More)
	case slices.Contains(b.Faults, events.ReturnIncomplete):
		return doubt(words, more+". "+v.t("piece-lost-more"))
	case len(faults) > 0:
		return doubt(words, more)
	case known == nil:
		return doubt(words, v.t("never-packed", b.Tag))
	}
	return good(words, "")
}

type returningBody struct {
	Steps  []events.ReturnStep
	Faults []events.ReturnFault
	Lent   *lentBody
}

func (b *returning) body(v *visit) (any, error) {
	lent, err := b.lentBody(v)
	return returningBody{backSteps(), events.ReturnFaults(), lent}, err
}

// refresh drops the step and the washer's load of an earlier day: who goes on says them. What waited may be older than what
// was said here since, and drops nothing.
func (b *returning) refresh(v *visit) error {
	if !v.today(b.Active) && !v.now.Before(b.Active) {
		if b.Step != "" { // a number answers which step it is: a page that shows yesterday's doesn't ask that
			b.Rev++
		}
		b.Step, b.Washer, b.Load, b.NoLoad, b.Basket = "", "", "", false, ""
		b.LoadAt, b.LoadBy = time.Time{}, ""
	}
	return nil
}

// openIn is a case that is not closed, and since when a set is open for it.
type openIn struct {
	Case  string
	Since time.Time
}

// openSince is openCase with the time of the opening, nil for none.
func (v *visit) openSince(k projections.TripKey) (*openIn, error) {
	ref, err := v.openCase(k)
	if err != nil || ref == "" {
		return nil, err
	}
	out := &openIn{Case: ref}
	return out, v.d.site.Ask(func(m *site.View) error {
		w := m.World(v)
		for _, it := range w.Trip(k).Opened {
			if !it.Void && events.CaseOf(it.Data) == ref {
				out.Since = it.Event.Time
			}
		}
		return w.Failed()
	})
}

// openCase is the case for which a set was opened in a turn, where it is not closed; ""
// where it is, or there is none.
func (v *visit) openCase(k projections.TripKey) (string, error) {
	verdict, err := v.verdictOf(k)
	if err != nil || verdict == nil || verdict.Case == "" {
		return "", err
	}
	st, err := v.caseStanding(verdict.Case)
	if err != nil || st.Closed {
		return "", err
	}
	return verdict.Case, nil
}
