package workplace

import "listbound/events"

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
		acts: map[string]action[storage]{
			"clear":       (*storage).discard,
			"swap":        (*storage).swap,
			"found":       (*storage).findSheet,
			"few-pages":   (*storage).fewPages,
			"put-aside":   (*storage).putAside,
			"release":     (*storage).release,
			"package":     (*storage).togglePackage,
			"forget":      (*storage).forget,
			"stop-first":  (*storage).stopFirst,
			"seal-broken": (*storage).toggleSealBroken,
			"seals-none":  (*storage).noSeals,
			"seal-off":    (*storage).sealOff,
			"where":       (*storage).takeWhere,
			"enter":       (*storage).record,
			"record":      (*storage).record,
		},
		typed: (*storage).typed,
	}
}

func (b *storage) wants() []want {
	return wanted(events.ScanSet, events.ScanBadge, events.ScanSeal, events.ScanShort, events.ScanPlace)
}

func (b *storage) clear() { *b = storage{b.kept()} }

func (b *storage) discard(v *visit, _ fields) (said, error) { return b.reading.discard(v, b.verdict) }

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
	s, err := b.judge(v, o, question{words: b.next(v)})
	if err != nil || s.Status != "whole" || b.Sheet == nil || b.Sheet.Code == "" {
		return s, err
	}
	cur, err := b.current(v)
	if err != nil || cur == nil || cur.Opened ||
		cur.Placement != events.InsideBag && cur.Placement != events.InsideBare {
		return s, err
	}
	// Who reads a sheet that was closed inside has it in the hand, or the set is open: neither is in order.
	s.Status, s.Sound, s.Words = "doubtful", "ask", v.t("sheet-was-inside", cur.Key.Set)
	return s, nil
}

// next says what is scanned next, or that Enter records.
func (b *storage) next(v *visit) string {
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
	return v.t("enter-checks", b.id())
}

// record takes what was read into the ledger. What is wrong is recorded too: it
// is what happened.
func (b *storage) record(v *visit, _ fields) (said, error) {
	if _, err := b.verdict(v); err != nil || b.stop || b.id() == "" || b.placeMissing() || b.Operator == "" {
		return said{}, err // what is missing is asked for; a STOP is answered first
	}
	if page, err := b.pageMissing(v); err != nil || page > 0 {
		return said{}, err
	}
	at, err := v.recordAt(b)
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
	if err != nil {
		return said{}, err
	}
	b.clear()
	b.Done = d
	return s, nil
}

func (b *storage) body(v *visit) (any, error) {
	set, err := b.current(v)
	return readingBody{Stop: b.stop, Waits: b.waits, Set: set, Faults: events.PackageFaults()}, err
}
