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
			events.ScanSheet: (*storage).scanSheet,
			events.ScanShort: (*storage).scanShort,
			events.ScanSeal:  (*storage).scanSeal,
		},
		acts: map[string]action[storage]{
			"clear":       (*storage).discard,
			"swap":        (*storage).swap,
			"found":       (*storage).findSheet,
			"seal-broken": (*storage).toggleSealBroken,
			"seals-none":  (*storage).noSeals,
			"where":       (*storage).takeWhere,
			"enter":       (*storage).record,
			"record":      (*storage).record,
		},
	}
}

func (b *storage) wants() []want { return append(b.wantsRead(), want{events.ScanSeal, false}) }

func (b *storage) clear() { *b = storage{b.kept()} }

func (b *storage) discard(v *visit, _ fields) (said, error) {
	b.clear()
	b.Done = nil
	return v.begin(), nil
}

func (b *storage) observation(v *visit) *events.Observation {
	return &events.Observation{
		Station: v.station, Kind: events.KindSetChecked, Time: v.now.UTC(), Set: b.id(), Operator: b.Operator,
		Data: &events.SetChecked{
			Place: b.Where, Tag: b.Tag, OuterLabel: b.Outer, Sheet: b.Sheet, Seals: b.Seals, SealBroken: b.SealBroken,
		},
	}
}

func (b *storage) verdict(v *visit) (said, error) { return b.judge(v, b.observation(v), b.next(v)) }

// next says what is scanned next, or that Enter records.
func (b *storage) next(v *visit) string {
	switch {
	case b.Tag == "":
		return v.t("scan-tag")
	case b.Sheet == nil:
		return v.t("scan-sheet", b.Tag)
	case b.Operator == "":
		return v.t("scan-badge")
	}
	return v.t("enter-checks", b.Tag)
}

// record takes what was read into the ledger. What is wrong is recorded too: it
// is what happened.
func (b *storage) record(v *visit, _ fields) (said, error) {
	switch {
	case b.id() == "":
		return ask(b.next(v), ""), nil
	case b.Operator == "":
		return ask(v.t("scan-badge"), ""), nil
	}
	at, err := v.recordAt(b)
	if err != nil {
		return said{}, err
	}
	o := b.observation(v)
	o.Time = at
	s, d, err := v.recordReading(o, good(v.t("recorded-check", o.Set), ""))
	if err != nil {
		return said{}, err
	}
	b.clear()
	b.Done = d
	return s, nil
}

func (b *storage) body(v *visit) (any, error) {
	set, err := b.current(v)
	return readingBody{Set: set}, err
}
