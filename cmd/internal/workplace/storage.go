package workplace

import (
	"maps"
	"slices"
	"time"

	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections"
)

// storage is the draft of a look at a set between sterilizer and operating room.
type storage struct{ reading }

func storagePlace() workplace {
	return bench[storage, *storage]{
		scans: map[events.ScanKind]scanned[storage]{
			events.ScanBadge: (*storage).scanBadge,
			events.ScanPlace: (*storage).scanPlace,
			events.ScanSet:   (*storage).scanSet,
			events.ScanTag:   (*storage).scanTag,
			events.ScanOuter: (*storage).scanOuter,
			events.ScanLabel: (*storage).scanLabel,
			events.ScanSheet: (*storage).scanSheet,
			events.ScanShort: (*storage).scanShort,
			events.ScanSeal:  (*storage).scanSeal,
		},
		acts:  storageActs(),
		typed: (*storage).typed,
	}
}

func storageActs() map[string]action[storage] {
	acts := unlessLeft(func(b *storage) *reading { return &b.reading }, map[string]action[storage]{
		"swap":        (*storage).swap,
		"found":       (*storage).findSheet,
		"few-pages":   (*storage).fewPages,
		"release":     (*storage).release,
		"package":     (*storage).notePackage,
		"stop-first":  (*storage).stopFirst,
		"seal-broken": (*storage).noteSealBroken,
		"seals-none":  (*storage).noSeals,
		"seal-off":    (*storage).sealOff,
		"enter":       (*storage).record,
		"record":      (*storage).record,
	})
	maps.Copy(acts, map[string]action[storage]{
		"clear":      (*storage).discard,
		"forget":     (*storage).forget,
		"put-aside":  (*storage).putAside,
		"read-again": (*storage).readAgain,
		"as-read":    (*storage).asRead,
		"where":      (*storage).takeWhere,
	})
	return acts
}

func (b *storage) wants() []want {
	return wanted(events.ScanSet, events.ScanBadge, events.ScanSeal, events.ScanShort, events.ScanPlace)
}

func (b *storage) clear() { *b = storage{b.kept()} }

func (b *storage) discard(v *visit, _ fields) (said, error) { return b.reading.discard(v, b.verdict) }

func (b *storage) stopLeft(v *visit) (bool, error) { return b.reading.stopLeft(v, b.verdict) }

// asRead answers that it was read when it was left lying: it is recorded as of then. To a STOP that is no answer.
func (b *storage) asRead(v *visit, _ fields) (said, error) {
	if stop, err := b.stopLeft(v); err != nil || stop || b.Left.IsZero() {
		return said{}, err
	}
	b.ReadAt, b.Left = b.Left, time.Time{}
	return said{}, nil
}

func (b *storage) readAgain(v *visit, _ fields) (said, error) {
	return b.reading.readAgain(v, b.verdict)
}

func (b *storage) putAside(v *visit, f fields) (said, error) { return b.asideThen(v, f, b.verdict) }

func (b *storage) typed(v *visit, text string) (string, fields, bool) {
	return b.reading.typed(v, text, b.verdict)
}

func (b *storage) verdict(v *visit) (said, error) {
	sheet, err := b.supposed(v)
	if err != nil {
		return said{}, err
	}
	o := b.check(v)
	o.Data.(*events.SetChecked).Sheet = sheet
	s, err := b.judge(v, o, question{words: b.asks(v)})
	if err != nil || b.id() == "" || !b.Left.IsZero() {
		return s, err
	}
	inside, err := b.wasInside(v)
	if err != nil {
		return said{}, err
	}
	if inside && s.Status == "whole" {
		// Who reads a sheet that was closed inside has it in the hand, or the set is open: neither is in order.
		s.Status, s.Sound, s.Words = "doubtful", "ask", v.t("sheet-was-inside", b.id())
	}
	if err := b.unfit(v, o, &s); err != nil {
		return said{}, err
	}
	return s, v.sayStopsElsewhere(b.id(), &s)
}

// wasInside reports whether the sheet that was read was closed inside, and the set was not
// opened since.
func (b *storage) wasInside(v *visit) (bool, error) {
	cur, err := b.current(v)
	if err != nil || cur == nil || b.Sheet == nil || b.Sheet.Code == "" {
		return false, err
	}
	return !cur.Opened && (cur.Placement == events.InsideBag || cur.Placement == events.InsideBare), nil
}

// unfit adds what would stop the set at its opening, though nothing of it can be read on the
// set: a run that failed or was never made, a use since. Who hands it out is told now.
func (b *storage) unfit(v *visit, o *events.Observation, s *said) error {
	here, err := v.preview(o)
	if err != nil {
		return err
	}
	d := o.Data.(*events.SetChecked)
	opening := &events.Observation{
		Station: o.Station, Kind: events.KindSetOpened, Time: o.Time, Set: o.Set, Operator: o.Operator,
		Data: &events.SetOpened{Case: v.caseToCome(), Tag: d.Tag, OuterLabel: d.OuterLabel, Sheet: d.Sheet, Seals: d.Seals},
	}
	// It would be opened in a room. By the register of stations nobody opens anything in a storage.
	would, err := site.Answer(v.d.site, func(m *site.View) (*projections.Verdict, error) { return m.PreviewElsewhere(v, opening) })
	if err != nil {
		return err
	}
	for i := range would.Findings {
		f := &would.Findings[i]
		same := func(g projections.Finding) bool { return g.Code == f.Code && g.Way == f.Way }
		if f.Severity == projections.SeverityNoted || !beforeOpening(f) || slices.ContainsFunc(here.Findings, same) {
			continue
		}
		says := v.found(o.Set, f)
		s.alsoDoubtful(says.Words, v.t("if-opened", says.More))
	}
	return nil
}

// beforeOpening reports whether a finding of an opening is about what came before it.
func beforeOpening(f *projections.Finding) bool {
	switch f.Detail.(type) {
	case *projections.OpenedUnread, *projections.IndicatorUnchanged:
		return false // about the opening itself
	case *projections.ShelfLifeOver:
		return true
	}
	return slices.Contains([]projections.Code{
		projections.NotReprocessed, projections.LinkMissing, projections.LinkOutOfOrder, projections.NotReleased,
		projections.ImplantTooEarly,
	}, f.Code)
}

// scanBadge takes the badge, which is asked for last where a set is put aside or released.
func (b *storage) scanBadge(v *visit, badge string) (said, error) {
	s, err := b.reading.scanBadge(v, badge, b.verdict)
	if err != nil || v.elsewhere || b.Release == "" {
		return s, err
	}
	if hidden, err := b.hides(v, b.verdict); hidden || err != nil {
		return said{}, err
	}
	return b.reading.release(v, b.Release, b.verdict)
}

func (b *storage) release(v *visit, f fields) (said, error) {
	return b.reading.release(v, f["reason"], b.verdict)
}

// findSheet notes where the sheet was. It may be all that a release still lacks.
func (b *storage) findSheet(v *visit, f fields) (said, error) {
	hidden, err := b.hides(v, b.verdict)
	if err != nil {
		return said{}, err
	}
	s, err := b.reading.findSheet(v, f, b.verdict)
	if err != nil || s.Words != "" || b.Release == "" || hidden {
		return s, err
	}
	return b.reading.release(v, b.Release, b.verdict)
}

// asks says what is scanned next, or that Enter records.
func (b *storage) asks(v *visit) string {
	switch {
	case b.id() == "":
		return v.t("scan-tag")
	case b.placeMissing():
		return v.t("where-was-sheet")
	case b.Sheet == nil && b.Operator != "":
		return v.t("sheet-or-enter", b.id())
	case b.Sheet == nil:
		return v.t("scan-sheet", b.id())
	case b.Operator == "":
		return v.t("scan-badge")
	}
	if !b.ReadAt.IsZero() {
		return v.t("enter-checks-then", b.id(), v.w.Time(b.ReadAt))
	}
	if b.Where != "" {
		return v.t("enter-checks-at", b.id(), b.Where)
	}
	return v.t("enter-checks", b.id())
}

// record takes what was read into the ledger. What is wrong is recorded too: it
// is what happened.
func (b *storage) record(v *visit, _ fields) (said, error) {
	if _, err := b.verdict(v); err != nil || !b.Left.IsZero() || b.stop || b.id() == "" || b.placeMissing() || b.Operator == "" {
		return said{}, err // what is missing is asked for; a STOP is answered first
	}
	if b.Aside || b.Release != "" {
		return said{Sound: "low"}, nil // that is what is to be recorded of it, by its button or a badge
	}
	if page, err := b.pageMissing(v); err != nil || page > 0 {
		return said{}, err
	}
	at, err := b.readAt(v, b)
	if err != nil {
		return said{}, err
	}
	o := b.check(v)
	o.Time = at
	says := v.phrased("recorded-check", o.Set)
	if b.Tag == "" {
		says = v.phrased("recorded-check-outside", o.Set)
	}
	s, d, err := v.recordReading(o, says)
	if err == nil {
		s.Older = slices.Clone(s.Older)
		err = b.unfit(v, o, &s)
	}
	if err == nil {
		err = v.sayStopsElsewhere(o.Set, &s)
	}
	if err != nil {
		return said{}, err
	}
	b.clear()
	b.Done = d
	return s, nil
}

func (b *storage) body(v *visit) (any, error) {
	set, err := b.current(v)
	return readingBody{Stop: b.stop, Waits: b.waits && !b.fresh, Set: set, Faults: events.PackageFaults()}, err
}
