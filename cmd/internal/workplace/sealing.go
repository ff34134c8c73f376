package workplace

import (
	"net/url"
	"slices"
	"strings"

	"listbound/events"
)

// sealing is the workplace where a set's list is bound to it: where the sheet
// goes, the lot of its bag, the numbers of the seals. What is recorded is what
// the sheet code then says, and the sheet is printed with it.
type sealing struct{}

func (sealing) wants(v *visit, b *bench) []events.ScanKind {
	return []events.ScanKind{events.ScanSet, events.ScanBadge, events.ScanSeal, events.ScanSheet}
}

func (w sealing) scan(v *visit, b *bench, s events.Scan) (said, error) {
	switch s.Kind {
	case events.ScanBadge:
		b.Operator = s.Value
	case events.ScanSet:
		if b.Tag != s.Value {
			place := b.Placement
			b.clear()
			b.Tag, b.Done, b.Placement = s.Value, nil, place
		}
	case events.ScanSeal:
		if !slices.Contains(b.Seals, s.Value) {
			b.Seals = append(b.Seals, s.Value)
		}
	case events.ScanSheet:
		return w.check(v, b, s.Value)
	default:
		return said{}, v.sayNo("taken-for-not-here", v.t("kind-"+strings.ReplaceAll(string(s.Kind), " ", "-")), s.Value)
	}
	return w.verdict(v, b)
}

// check holds a printed sheet against the set it was just printed for.
func (w sealing) check(v *visit, b *bench, code string) (said, error) {
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
	}
	s := wrong(v.t("sheet-of", owner.Set), v.nowAt(owner.Set, where, since))
	if b.Done == nil {
		s.Status, s.Sound = "open", "ask"
	}
	return s, nil
}

func (w sealing) verdict(v *visit, b *bench) (said, error) {
	switch {
	case b.Tag == "":
		return ask(v.t("scan-tag-to-seal"), ""), nil
	case b.Placement == "":
		return ask(v.t("choose-placement", b.Tag), ""), nil
	case b.Placement == events.InsideBag && b.BagLot == "":
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

func (w sealing) do(v *visit, b *bench, action string, fields map[string]string) (said, error) {
	switch action {
	case "clear":
		b.clear()
		b.Done = nil
		return v.begin(), nil
	case "placement":
		b.Placement = events.Placement(fields["placement"])
		if b.Placement != events.InsideBag {
			b.BagLot = ""
		}
	case "bag-lot":
		b.BagLot = strings.TrimSpace(fields["lot"])
	case "seal":
		for seal := range strings.FieldsSeq(strings.ReplaceAll(fields["seal"], ",", " ")) {
			if !slices.Contains(b.Seals, seal) {
				b.Seals = append(b.Seals, seal)
			}
		}
	case "seals-none":
		b.Seals = nil
	case "enter", "record":
		return w.record(v, b)
	default:
		return said{}, v.sayNo("no-such-button", action)
	}
	return w.verdict(v, b)
}

// typed: what is no label is the lot of the bag where one is asked for, else a
// seal's number.
func (w sealing) typed(v *visit, b *bench, text string) (string, map[string]string, bool) {
	all, err := events.RecogniseAll(text)
	if b.Tag == "" || err != nil || len(all) != 1 || all[0].Kind != events.ScanPlain {
		return "", nil, false
	}
	if b.Placement == events.InsideBag && b.BagLot == "" {
		return "bag-lot", map[string]string{"lot": text}, true
	}
	if st, err := v.standing(text); err != nil || st != nil || b.Operator == "" {
		return "", nil, false // a set, or it may be the badge
	}
	return "seal", map[string]string{"seal": text}, true
}

func (w sealing) record(v *visit, b *bench) (said, error) {
	if b.Tag == "" || b.Placement == "" || b.Placement == events.InsideBag && b.BagLot == "" || b.Operator == "" {
		return w.verdict(v, b)
	}
	at, err := v.recordAt(b)
	if err != nil {
		return said{}, err
	}
	data := &events.ListSealed{Placement: b.Placement, Seals: b.Seals, BagLot: b.BagLot}
	rs, err := v.observe(b, &events.Observation{Station: v.station, Kind: events.KindListSealed, Time: at, Set: b.Tag, Operator: b.Operator, Data: data})
	if err != nil {
		return said{}, err
	}
	code, err := events.ParseSheetCode(rs[0].SheetCode)
	if err != nil {
		return said{}, err
	}
	set, place := b.Tag, b.Placement
	s := good(v.t("recorded-seal", set, code.Short()), "")
	links := []link{{v.d.opts.Prefix + "/print/set-label.pdf?" + url.Values{"set": {set}, "trip": {rs[0].Trip}}.Encode(), v.t("print-label"), false}}
	if place != events.Screen {
		s.Next = v.t("print-and-scan")
		links = append([]link{{v.d.opts.Prefix + "/print/sheet.pdf?" + url.Values{"set": {set}, "trip": {rs[0].Trip}}.Encode(), v.t("print-sheet"), false}}, links...)
	}
	b.clear()
	b.Placement = place
	b.Done = &done{Words: s.Words, Set: set, Trip: rs[0].Trip, Code: rs[0].SheetCode, Seqs: seqs(rs), Links: links}
	return s, nil
}

type sealingBody struct {
	Set        *standing
	Placements []events.Placement
	Wants      []events.ScanKind
}

func (w sealing) body(v *visit, b *bench) (any, error) {
	out := sealingBody{Placements: []events.Placement{events.InsideBag, events.InsideBare, events.Outside, events.Screen}, Wants: w.wants(v, b)}
	var err error
	if b.Tag != "" {
		out.Set, err = v.standing(b.Tag)
	}
	return out, err
}
