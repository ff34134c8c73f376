package workplace

import (
	"net/url"
	"strings"

	"listbound/events"
)

// opening is the draft of a set that is opened for a case.
type opening struct {
	reading
	Indicator string `json:"indicator,omitempty"`
}

func openingPlace() workplace {
	return bench[opening, *opening]{
		scans: map[events.ScanKind]scanned[opening]{
			events.ScanBadge: (*opening).scanBadge,
			events.ScanCase:  (*opening).scanCase,
			events.ScanPlace: (*opening).scanPlace,
			events.ScanSet:   (*opening).scanSet,
			events.ScanSheet: (*opening).scanSheet,
			events.ScanShort: (*opening).scanShort,
			events.ScanSeal:  (*opening).scanSeal,
		},
		acts: map[string]action[opening]{
			"clear":       (*opening).discard,
			"swap":        (*opening).swap,
			"found":       (*opening).findSheet,
			"indicator":   (*opening).takeIndicator,
			"seal-broken": (*opening).toggleSealBroken,
			"seals-none":  (*opening).noSeals,
			"where":       (*opening).takeWhere,
			"case":        (*opening).takeCase,
			"enter":       (*opening).record,
			"record":      (*opening).record,
		},
	}
}

func (b *opening) wants() []want {
	return append(b.wantsRead(), want{events.ScanSeal, b.Tag != ""}, want{events.ScanCase, b.Case == ""})
}

func (b *opening) clear() { *b = opening{reading: b.kept()} }

func (b *opening) discard(v *visit, _ fields) (said, error) {
	b.clear()
	b.Done = nil
	return v.begin(), nil
}

func (b *opening) scanCase(_ *visit, ref string) (said, error) {
	b.Case = ref
	return said{}, nil
}

func (b *opening) observation(v *visit) *events.Observation {
	return &events.Observation{
		Station: v.station, Kind: events.KindSetOpened, Time: v.now.UTC(), Set: b.id(), Operator: b.Operator,
		Data: &events.SetOpened{
			Case: b.Case, Room: b.Where, Tag: b.Tag, OuterLabel: b.Outer, Sheet: b.Sheet,
			Seals: b.Seals, SealBroken: b.SealBroken, Indicator: b.Indicator,
		},
	}
}

func (b *opening) verdict(v *visit) (said, error) {
	o := b.observation(v)
	if b.Case == "" {
		o.Data.(*events.SetOpened).Case = "–" // not scanned yet; nothing of this is recorded
	}
	return b.judge(v, o, b.next(v))
}

// next says what is scanned next, or that Enter records.
func (b *opening) next(v *visit) string {
	switch {
	case b.Tag == "":
		return v.t("scan-tag")
	case b.Outer == "":
		return v.t("scan-outer", b.Tag)
	case b.Sheet == nil:
		return v.t("scan-sheet", b.Tag)
	case b.Case == "":
		return v.t("scan-case")
	case b.Operator == "":
		return v.t("scan-badge")
	}
	return v.t("enter-opens", b.Tag, b.Case)
}

func (b *opening) takeIndicator(_ *visit, f fields) (said, error) {
	if b.Indicator = f["indicator"]; b.Indicator != "pass" && b.Indicator != "fail" {
		b.Indicator = ""
	}
	return said{}, nil
}

func (b *opening) takeCase(v *visit, f fields) (said, error) {
	if b.Case = strings.TrimSpace(f["case"]); b.Case == "" {
		return ask(b.next(v), ""), nil
	}
	return said{}, nil
}

// record takes what was read into the ledger. What is wrong is recorded too: it
// is what happened.
func (b *opening) record(v *visit, _ fields) (said, error) {
	cur, err := b.current(v)
	switch {
	case err != nil:
		return said{}, err
	case b.id() == "":
		return ask(b.next(v), ""), nil
	case b.Case == "":
		return ask(v.t("scan-case"), ""), nil
	case b.Operator == "":
		return ask(v.t("scan-badge"), ""), nil
	case b.Sheet == nil && cur != nil && cur.Placement != events.Screen:
		return ask(v.t("sheet-or-none", b.id()), ""), nil
	}
	at, err := v.recordAt(b)
	if err != nil {
		return said{}, err
	}
	o := b.observation(v)
	o.Time = at
	s, d, err := v.recordReading(o, good(v.t("recorded-opening", o.Set, b.Case), ""))
	if err != nil {
		return said{}, err
	}
	d.Case = b.Case
	count := v.d.stationPath(v.station, "count") + "?case=" + url.QueryEscape(b.Case)
	d.Links = []link{{count, v.t("go-count", b.Case), true}}
	b.clear()
	b.Done = d
	return s, nil
}

// readingBody is what the pages of storage and opening show.
type readingBody struct {
	Opening bool
	Set     *standing
	Cases   []string
}

func (b *opening) body(v *visit) (any, error) {
	cur, err := b.current(v)
	if err != nil {
		return nil, err
	}
	if cur == nil && b.Done != nil && b.Done.Set != "" {
		if cur, err = v.standing(b.Done.Set); err != nil {
			return nil, err
		}
	}
	cases, err := v.d.site.OpenCases(v, v.station, v.now.Add(-dayAndHalf))
	return readingBody{Opening: true, Set: cur, Cases: cases}, err
}
