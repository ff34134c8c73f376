package workplace

import (
	"maps"
	"slices"
	"strings"
	"unicode/utf8"

	"listbound/cmd/internal/refusal"
	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections"
)

// known is what people of this site have said of plain codes: which are badges,
// and which codes are what else. It is asked once, not of each code: of one that is
// like another it was said before (see alike).
type known struct {
	Badges map[string]bool              `json:"badges,omitempty"`
	Codes  map[events.ScanKind][]string `json:"codes,omitempty"` // said last, of each shape the latest few
	Not    []string                     `json:"not,omitempty"`   // said to be no badges after all, the latest
}

// called is a plain code that was taken for something because a person had said so of it, or of one alike.
type called struct {
	Code string          `json:"code"`
	Kind events.ScanKind `json:"kind"`
}

// alike reports whether a code is what another is said to be: it has its shape, and only
// the last characters of a number that goes on are others. A wristband may have the shape
// of a case, and a badge that of a lock, but seldom the number before the next.
func alike(code, said string) bool {
	const counts = 4 // digits that go on from one to the next
	same := 0
	for same < min(len(code), len(said)) && code[same] == said[same] {
		same++
	}
	return events.CodeShape(code) == events.CodeShape(said) && same >= max(2, len(code)-counts)
}

// says reports whether a code, or one alike, was said to be a thing of a kind.
func (k *known) says(code string, kind events.ScanKind) bool {
	return slices.ContainsFunc(k.Codes[kind], func(said string) bool { return alike(code, said) })
}

// patterned is the kind of thing that the site's policy says codes like this one
// are, "" where it says nothing or says two.
func (v *visit) patterned(code string, wanted func(events.ScanKind) bool) (events.ScanKind, error) {
	p, err := v.policy()
	if err != nil {
		return "", err
	}
	var fit []events.ScanKind
	for _, c := range p.Codes {
		// Nobody is asked whether a code is a lot or a place: where one is due, what is typed is one.
		can := c.Kind == events.ScanLot || c.Kind == events.ScanPlace || canBe(c.Kind, code)
		if c.Matches(code) && wanted(c.Kind) && can && !slices.Contains(fit, c.Kind) {
			fit = append(fit, c.Kind)
		}
	}
	if len(fit) != 1 {
		return "", nil
	}
	return fit[0], nil
}

// neverBadge reports whether a plain code can't be a badge, whatever a person
// says: a number of instruments (up to three digits), what is too short to name a
// person, and a trade item's number.
func neverBadge(code string) bool {
	const shortest = 3
	return len(code) < shortest || fewDigits(code) || tradeItem(code)
}

// fewDigits reports whether a code is rather a number of instruments that was typed too late or too early.
func fewDigits(code string) bool { return onlyDigits(code) && len(code) <= 3 }

// isWeight reports whether a code is a number with decimals, as a weight is typed: no label says that.
func isWeight(code string) bool {
	whole, part, ok := strings.Cut(strings.Replace(code, ",", ".", 1), ".")
	return ok && onlyDigits(whole) && onlyDigits(part)
}

// tradeItem reports whether a code has the 12 to 14 digits of a trade item's number.
func tradeItem(code string) bool { return onlyDigits(code) && len(code) >= 12 && len(code) <= 14 }

// sameBadge reports whether two codes are one badge: written otherwise, as a keyboard in capitals does, it is the same person.
func sameBadge(a, b string) bool { return events.NormalCode(a) == events.NormalCode(b) }

func onlyDigits(s string) bool { return s != "" && strings.Trim(s, "0123456789") == "" }

// reason reads why something was done, as a person wrote it. A code is no reason: a
// scanner typed into the field, perhaps what was on a wristband.
func (v *visit) reason(text string) (string, error) {
	text = strings.TrimSpace(text)
	if looksLikeCode(text) {
		return "", v.sayNo("reason-is-code", text)
	}
	if utf8.RuneCountInString(text) == 1 { // a key that was hit tells nobody anything
		return "", v.sayNo("reason-letter", text)
	}
	return text, nil
}

// lotNumber reads the lot of a bag or an indicator. What is known here as something else is none: a scanner typed it into
// the wrong field. Where the site's patterns say that codes like it are lots, it is one.
func (v *visit) lotNumber(text string) (string, error) {
	text = strings.TrimSpace(text)
	kind, err := v.knownAs(text)
	if err != nil || kind == "" {
		return text, err
	}
	return "", inField("lot", v.sayNo("lot-is-known", text, v.kind(kind)))
}

// knownAs is what a plain code is known as here, unless that is a lot: "" for nothing.
func (v *visit) knownAs(code string) (events.ScanKind, error) {
	every := func(events.ScanKind) bool { return true }
	if code == "" {
		return "", nil
	}
	kind, err := v.patterned(code, every)
	if err != nil || kind == events.ScanLot {
		return "", err
	}
	if slices.Contains([]events.ScanKind{events.ScanBadge, events.ScanCase, events.ScanSet, events.ScanLoad}, kind) {
		return kind, nil
	}
	for _, form := range []string{code, events.NormalCode(code)} {
		if kind, err = v.knownExactly(form); err != nil || kind != "" {
			return kind, err
		}
	}
	v.d.knownMu.Lock()
	defer v.d.knownMu.Unlock()
	k, err := v.d.loadKnown()
	for _, kind := range []events.ScanKind{events.ScanCase, events.ScanSet} {
		if k.says(code, kind) {
			return kind, err
		}
	}
	return "", err
}

// knownExactly is what is recorded, registered or remembered here under a code.
func (v *visit) knownExactly(code string) (events.ScanKind, error) {
	kind, _, err := v.registered(code, func(events.ScanKind) bool { return true })
	if err != nil || kind != "" {
		return kind, err
	}
	if badge, err := v.isBadge(code); err != nil || badge {
		return events.ScanBadge, err
	}
	if st, err := v.standing(code); err != nil || st != nil {
		return events.ScanSet, err
	}
	if st, err := v.caseStanding(code); err != nil || len(st.Sets) > 0 {
		return events.ScanCase, err
	}
	if run, err := v.loadKnown(code); err != nil || run != nil {
		return events.ScanLoad, err
	}
	stations, err := v.d.site.Stations(v)
	for _, s := range stations {
		if _, own, _ := strings.Cut(s.Name, "/"); strings.EqualFold(s.Name, code) || strings.EqualFold(own, code) {
			return kindStation, err
		}
	}
	return "", err
}

// kindStation is no kind of scan: nothing is printed of a station.
const kindStation events.ScanKind = "station"

// placeName reads what people call a place, which may have a number in it; not one as long as
// that on a wristband.
func (v *visit) placeName(text string) (string, error) {
	text = strings.TrimSpace(text)
	if looksLikeCode(text) && digitsIn(text) >= 6 {
		return "", v.sayNo("reason-is-code", text)
	}
	return text, nil
}

// looksLikeCode reports whether a text is one word with three digits or more.
func looksLikeCode(text string) bool {
	return digitsIn(text) >= 3 && !strings.ContainsAny(text, " \u00a0\t\n")
}

func digitsIn(text string) (n int) {
	for _, r := range text {
		if r >= '0' && r <= '9' {
			n++
		}
	}
	return n
}

// canBe reports whether a plain code can be a thing of this kind.
func canBe(kind events.ScanKind, code string) bool {
	if strings.HasPrefix(code, "X9") || isWeight(code) {
		return false // a part of a label, and what a scale says
	}
	switch kind {
	case events.ScanBadge:
		return !neverBadge(code)
	case events.ScanSet, events.ScanLoad:
		return true
	case events.ScanCase, events.ScanSeal:
		return !tradeItem(code)
	}
	return false
}

// loadKnown reads what is known. The caller holds knownMu.
func (d *Desk) loadKnown() (known, error) {
	var k known
	_, err := d.files.load(&k, "known")
	return k, err
}

// learn remembers what a person said that a code is: of a badge that one alone, of other
// things what is alike, as cases K-0412 and K-0977 are.
func (v *visit) learn(kind events.ScanKind, code string) error {
	v.d.knownMu.Lock()
	defer v.d.knownMu.Unlock()
	k, err := v.d.loadKnown()
	if err != nil {
		return err
	}
	switch {
	case kind == events.ScanBadge && !k.Badges[code]:
		if k.Badges == nil {
			k.Badges = make(map[string]bool)
		}
		k.Badges[code] = true
	case kind != events.ScanBadge && !slices.Contains(k.Codes[kind], code):
		if k.Codes == nil {
			k.Codes = make(map[events.ScanKind][]string)
		}
		const most = 64 // the latest: those of today and yesterday
		all := append(k.Codes[kind], code)
		k.Codes[kind] = all[max(0, len(all)-most):]
	default:
		return nil
	}
	return v.d.files.save(k, "known")
}

// unlearn forgets what a person said that a code is, and the shape that was learnt with it: whatever is alike is asked
// about again.
func (v *visit) unlearn(kind events.ScanKind, code string) error {
	v.d.knownMu.Lock()
	defer v.d.knownMu.Unlock()
	k, err := v.d.loadKnown()
	if err != nil {
		return err
	}
	if kind == events.ScanBadge {
		const most = 64
		maps.DeleteFunc(k.Badges, func(said string, _ bool) bool { return sameBadge(said, code) })
		all := append(k.Not, code)
		k.Not = all[max(0, len(all)-most):]
	} else {
		k.Codes[kind] = slices.DeleteFunc(k.Codes[kind], func(said string) bool { return alike(code, said) })
	}
	return v.d.files.save(k, "known")
}

// isOne takes a badge that is shown: by its label, by a register, or as a person says now. That it was said to be none
// holds no more.
func (v *visit) isOne(badge string) error {
	v.d.knownMu.Lock()
	defer v.d.knownMu.Unlock()
	k, err := v.d.loadKnown()
	none := func(not string) bool { return sameBadge(not, badge) }
	if err != nil || !slices.ContainsFunc(k.Not, none) {
		return err
	}
	k.Not = slices.DeleteFunc(k.Not, none)
	return v.d.files.save(k, "known")
}

// saidBadges are those of some badges that are some because a person said so.
func (v *visit) saidBadges(badges ...string) ([]string, error) {
	v.d.knownMu.Lock()
	defer v.d.knownMu.Unlock()
	k, err := v.d.loadKnown()
	return slices.DeleteFunc(badges, func(badge string) bool { return !k.Badges[badge] }), err
}

// noBadge reports whether a person has said that what was taken for a badge is none. Who was taken by it to work
// somewhere doesn't.
func (v *visit) noBadge(badge string) (bool, error) {
	if badge == "" {
		return false, nil
	}
	v.d.knownMu.Lock()
	defer v.d.knownMu.Unlock()
	k, err := v.d.loadKnown()
	return slices.ContainsFunc(k.Not, func(not string) bool { return sameBadge(not, badge) }), err
}

// isBadge reports whether a person, or the policy, has said that a plain code is a badge.
func (v *visit) isBadge(code string) (bool, error) {
	kind, err := v.patterned(code, func(events.ScanKind) bool { return true })
	if err != nil || kind == events.ScanBadge {
		return kind != "", err
	}
	v.d.knownMu.Lock()
	defer v.d.knownMu.Unlock()
	k, err := v.d.loadKnown()
	return k.Badges[code], err
}

// plainKind finds what a plain identifier names: what is known here by that name,
// else what people have said of codes of its shape; "" where a person has to say.
func (v *visit) plainKind(code string, wants []want) (events.ScanKind, error) {
	wanted := func(k events.ScanKind) bool {
		return slices.ContainsFunc(wants, func(w want) bool { return w.Kind == k })
	}
	if kind, _, err := v.registered(code, wanted); err != nil || kind != "" {
		return kind, err
	}
	if wanted(events.ScanSet) {
		trip, err := site.Answer(v.d.site, func(m *site.View) (string, error) { return m.TripNow(v, code, v.now) })
		if err != nil || trip != "" {
			return events.ScanSet, err
		}
	}
	for _, w := range wants {
		if w.Known != nil && w.Known(code) {
			return w.Kind, nil
		}
	}
	if wanted(events.ScanCase) {
		if st, err := v.caseStanding(code); err != nil || len(st.Sets) > 0 {
			return events.ScanCase, err
		}
	}
	if kind, err := v.patterned(code, wanted); err != nil || kind != "" {
		return kind, err
	}
	v.d.knownMu.Lock()
	defer v.d.knownMu.Unlock()
	k, err := v.d.loadKnown()
	if err != nil {
		return "", err
	}
	if k.Badges[code] && wanted(events.ScanBadge) {
		v.bySaid = code
		return events.ScanBadge, nil
	}
	var fit []events.ScanKind
	for kind := range k.Codes {
		if wanted(kind) && canBe(kind, code) && k.says(code, kind) {
			fit = append(fit, kind)
		}
	}
	if len(fit) == 1 {
		v.bySaid = code
		return fit[0], nil
	}
	return "", nil
}

// formCode reads what was typed or scanned into a form's field for a thing of a kind, by the
// rules of the scan field: a code that nobody has seen before is asked about, "" is returned.
func (v *visit) formCode(h *hand, kind events.ScanKind, text string) (string, error) {
	text = strings.TrimSpace(text)
	if text == "" {
		return "", nil
	}
	scans, err := v.recognise(text, wanted(kind, events.ScanSet, events.ScanBadge, events.ScanCase, events.ScanSeal), h)
	switch {
	case err != nil || len(scans) == 0:
		return "", err
	case len(scans) > 1 || scans[0].Kind != kind:
		return "", v.notAskedFor(scans[0].Kind, scans[0].Value)
	}
	if err := v.checkCase(kind, scans[0].Value); err != nil {
		return "", err
	}
	return scans[0].Value, v.learn(kind, scans[0].Value)
}

// checkCase refuses what can't be a case here by the site's policy, before it is in any draft. Of other kinds nothing is
// asked.
func (v *visit) checkCase(kind events.ScanKind, code string) error {
	if kind != events.ScanCase {
		return nil
	}
	return v.d.site.Ask(func(m *site.View) error { return m.CheckCase(v, v.station, code, v.now) })
}

// canBeOne returns which of the wanted things a plain code can be. why refuses it where it can be none.
func (v *visit) canBeOne(code string, wants []want) (can []events.ScanKind, why, err error) {
	why = v.sayNo("which-nothing", code)
	for _, w := range wants {
		if !canBe(w.Kind, code) {
			continue
		}
		switch err := v.checkCase(w.Kind, code); {
		case err == nil:
			can = append(can, w.Kind)
		case refusal.Is(err):
			why = err // which doesn't say it: what is said is kept
		default:
			return nil, nil, err
		}
	}
	return can, why, nil
}

// caseStanding is a case as it stands.
func (v *visit) caseStanding(ref string) (projections.CaseStanding, error) {
	return site.Answer(v.d.site, func(m *site.View) (projections.CaseStanding, error) {
		return m.World(v).CaseStanding(ref)
	})
}

// which asks what a plain code is. The answers are the things that it can be here.
// idle says that nothing of a set lies here yet.
func (v *visit) which(code string, wants []want, idle bool) (said, error) {
	s := ask(v.t("which", code), v.t("which-more"))
	if v.place == "packing" && idle && !fewDigits(code) {
		// A set that comes for the first time is the ordinary case.
		s.Words = v.t("which-set", code)
	}
	can, _, err := v.canBeOne(code, wants)
	for _, kind := range can {
		s.Choices = append(s.Choices, choice{Do: "take-as", Value: string(kind), Words: v.kind(kind)})
	}
	return s.offer(append(s.Choices, choice{Do: "take-as", Words: v.t("which-none")})...), err
}

// kind is the word for a kind of thing.
func (v *visit) kind(k events.ScanKind) string {
	return v.t("kind-" + strings.ReplaceAll(string(k), " ", "-"))
}
