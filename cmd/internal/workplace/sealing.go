package workplace

import (
	"net/url"
	"slices"
	"strings"

	"listbound/events"
)

// sealing is the draft of the workplace where a set's list is bound to it: where
// the sheet goes, the lot of its bag, the numbers of the seals. What is recorded
// is what the sheet code then says, and the sheet is printed with it.
type sealing struct {
	hand
	Placement events.Placement `json:"placement,omitempty"`
	BagLot    string           `json:"bagLot,omitempty"`
	Seals     []string         `json:"seals,omitempty"`
}

func sealingPlace() workplace {
	return bench[sealing, *sealing]{
		scans: map[events.ScanKind]scanned[sealing]{
			events.ScanBadge: (*sealing).scanBadge,
			events.ScanSet:   (*sealing).scanSet,
			events.ScanSeal:  (*sealing).scanSeal,
			events.ScanSheet: (*sealing).check,
		},
		acts: map[string]action[sealing]{
			"clear":      (*sealing).discard,
			"placement":  (*sealing).place,
			"bag-lot":    (*sealing).takeLot,
			"seal":       (*sealing).addSeals,
			"seals-none": (*sealing).noSeals,
			"seal-off":   (*sealing).sealOff,
			"enter":      (*sealing).record,
			"record":     (*sealing).record,
		},
		typed: (*sealing).typed,
	}
}

func (b *sealing) wants() []want {
	if b.Tag == "" {
		return wanted(events.ScanSet, events.ScanBadge)
	}
	return wanted(events.ScanSeal, events.ScanBadge, events.ScanSet)
}

func (b *sealing) clear() { *b = sealing{hand: b.kept()} }

func (b *sealing) scanBadge(_ *visit, badge string) (said, error) {
	b.Operator = badge
	return said{}, nil
}

func (b *sealing) scanSet(_ *visit, set string) (said, error) {
	if b.Tag != set {
		place := b.Placement
		b.clear()
		b.Tag, b.Done, b.Placement = set, nil, place
	}
	return said{}, nil
}

func (b *sealing) scanSeal(_ *visit, seal string) (said, error) {
	if !slices.Contains(b.Seals, seal) {
		b.Seals = append(b.Seals, seal)
	}
	return said{}, nil
}

// check holds a printed sheet against the set it was just printed for.
func (b *sealing) check(v *visit, code string) (said, error) {
	if b.Done != nil && b.Done.Code == code {
		return good(v.t("sheet-belongs", b.Done.Set), v.t("print-checked")), nil
	}
	owner, where, since, err := v.sheetOwner(code)
	switch {
	case err != nil:
		return said{}, err
	case owner.Set == "":
		return wrong(v.t("sheet-of-nobody"), v.t("sheet-of-nobody-next")), nil
	case b.Done != nil && b.Done.Set == owner.Set:
		return wrong(v.t("sheet-older", owner.Set), v.t("print-again")), nil
	case b.Done == nil:
		return ask(v.t("sheet-of", owner.Set), v.nowAt(owner.Set, where, since)), nil
	}
	return wrong(v.t("sheet-of", owner.Set), v.nowAt(owner.Set, where, since)), nil
}

func (b *sealing) verdict(v *visit) (said, error) {
	switch {
	case b.Tag == "":
		return ask(v.t("scan-tag-to-seal"), ""), nil
	case b.Placement == "":
		return ask(v.t("choose-placement", b.Tag), ""), nil
	case b.lotMissing():
		return ask(v.t("bag-lot"), ""), nil
	case b.Operator == "":
		return ask(v.t("scan-badge"), ""), nil
	}
	st, err := v.standing(b.Tag)
	if err != nil {
		return said{}, err
	}
	if st == nil {
		return said{}, v.sayNo("pack-first", b.Tag)
	}
	s := ask(v.t("enter-seals", b.Tag), v.t("packs-by", st.List, st.Version))
	if st.Code != "" {
		s.Status, s.More = "doubtful", v.t("sealed-before", b.Tag)
	}
	return s, nil
}

// lotMissing reports whether the sheet goes into a bag whose lot is still to say.
func (b *sealing) lotMissing() bool { return b.Placement == events.InsideBag && b.BagLot == "" }

func (b *sealing) discard(v *visit, _ fields) (said, error) {
	b.clear()
	b.Done = nil
	return v.begin(), nil
}

func (b *sealing) place(_ *visit, f fields) (said, error) {
	b.Placement = events.Placement(f["placement"])
	if b.Placement != events.InsideBag {
		b.BagLot = ""
	}
	return said{}, nil
}

func (b *sealing) takeLot(_ *visit, f fields) (said, error) {
	b.BagLot = strings.TrimSpace(f["lot"])
	return said{}, nil
}

func (b *sealing) addSeals(v *visit, f fields) (said, error) {
	for seal := range strings.FieldsSeq(strings.ReplaceAll(f["seal"], ",", " ")) {
		if _, err := b.scanSeal(v, seal); err != nil {
			return said{}, err
		}
	}
	return said{}, nil
}

func (b *sealing) sealOff(_ *visit, f fields) (said, error) {
	b.Seals = slices.DeleteFunc(b.Seals, func(s string) bool { return s == f["value"] })
	return said{}, nil
}

func (b *sealing) noSeals(_ *visit, _ fields) (said, error) {
	b.Seals = nil
	return said{}, nil
}

// typed: what is no label and not known otherwise is the lot of the bag where one
// is asked for.
func (b *sealing) typed(v *visit, text string) (string, fields, bool) {
	all, err := v.read(text)
	if b.Tag == "" || !b.lotMissing() || err != nil || len(all) != 1 || all[0].Kind != events.ScanPlain {
		return "", nil, false
	}
	if kind, err := v.plainKind(text, wanted(events.ScanSet, events.ScanBadge)); err != nil || kind != "" {
		return "", nil, false
	}
	return "bag-lot", fields{"lot": text}, true
}

func (b *sealing) record(v *visit, _ fields) (said, error) {
	if b.Tag == "" || b.Placement == "" || b.lotMissing() || b.Operator == "" {
		return said{}, nil
	}
	at, err := v.recordAt(b)
	if err != nil {
		return said{}, err
	}
	data := &events.ListSealed{Placement: b.Placement, Seals: b.Seals, BagLot: b.BagLot}
	rs, err := v.observe(&events.Observation{Station: v.station, Kind: events.KindListSealed, Time: at,
		Set: b.Tag, Operator: b.Operator, Data: data})
	if err != nil {
		return said{}, err
	}
	code, err := events.ParseSheetCode(rs[0].SheetCode)
	if err != nil {
		return said{}, err
	}
	set, place := b.Tag, b.Placement
	says := v.phrased("recorded-seal", set, code.Short())
	s := good(v.say(says), "")
	query := "?" + url.Values{"set": {set}, "trip": {rs[0].Trip}}.Encode()
	var links []link
	if place != events.Screen {
		s.Next = v.t("print-and-scan")
		links = append(links, link{Address: v.d.opts.Prefix + "/print/sheet.pdf" + query, Says: v.phrased("print-sheet")})
	}
	links = append(links, link{Address: v.d.opts.Prefix + "/print/set-label.pdf" + query, Says: v.phrased("print-label")})
	b.clear()
	b.Placement = place
	b.Done = &done{
		Says: []phrase{says}, Set: set, Trip: rs[0].Trip, Code: rs[0].SheetCode, Seqs: seqs(rs), IDs: ids(rs), Links: links,
	}
	return s, nil
}

type sealingBody struct {
	Set        *standing
	Placements []events.Placement
}

func (b *sealing) body(v *visit) (any, error) {
	out := sealingBody{
		Placements: []events.Placement{events.InsideBag, events.InsideBare, events.Outside, events.Screen},
	}
	var err error
	if b.Tag != "" {
		out.Set, err = v.standing(b.Tag)
	}
	return out, err
}
