package workplace

import (
	"fmt"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections"
)

// sealing is the draft of the workplace where a set's list is bound to it: where
// the sheet goes, the lot of its bag, the numbers of the seals. What is recorded
// is what the sheet code then says, and the sheet is printed with it.
type sealing struct {
	hand
	Placement events.Placement `json:"placement,omitempty"`
	BagLot    string           `json:"bagLot,omitempty"`
	Seals     []string         `json:"seals,omitempty"`
	// Unpacked is the newest record for which it is packed first, of which a person has read that: it is closed all the same.
	Unpacked int64 `json:"unpackedSince,omitzero"`
	// AfterRun: it was sterile, and a person said that it was opened and is closed again.
	AfterRun bool `json:"afterRun,omitempty"`
	// Last is where the count sheet went the last time here, by list. It is offered,
	// and taken when a person says so.
	Last map[string]events.Placement `json:"last,omitempty"`
	// LastLot is the bag's lot of the last time here, likewise, and LotAsked a code that may be another one.
	LastLot string `json:"lastLot,omitempty"`
	// Knew is the record of the set's last closing when it was scanned, or when a person said that it is closed once more.
	Knew     int64  `json:"knew,omitzero"`
	LotAsked string `json:"lotAsked,omitempty"`
	// Stray is another sheet than the one that was printed, scanned to check the print: where it lay is still to be said.
	Stray *stray `json:"stray,omitempty"`
	// InLoad is the running load that the set lies in, and this is another tray, as a person said.
	InLoad string `json:"inLoad,omitempty"`
	// Read are locks that are recorded of another closed set, and were read on this one, as a person said.
	Read []string `json:"read,omitempty"`
}

func sealingPlace() workplace {
	return bench[sealing, *sealing]{
		scans: map[events.ScanKind]scanned[sealing]{
			events.ScanBadge: (*sealing).scanBadge,
			events.ScanSet:   unlessStray((*sealing).scanSet),
			events.ScanSeal:  unlessStray((*sealing).scanSeal),
			events.ScanSheet: unlessStray((*sealing).check),
		},
		acts:  sealingActs(),
		typed: (*sealing).typed,
	}
}

func sealingActs() map[string]action[sealing] {
	acts := map[string]action[sealing]{
		"clear":       (*sealing).discard,
		"placement":   (*sealing).place,
		"unpacked":    (*sealing).closeUnpacked,
		"after-run":   (*sealing).closeAfterRun,
		"close-again": (*sealing).closeAgain,
		"leave":       (*sealing).discard,
		"bag-lot":     (*sealing).takeLot,
		"lot":         (*sealing).formLot,
		"lot-ask":     (*sealing).askWhetherLot,
		"lot-no":      (*sealing).sayNoLot,
		"seal":        (*sealing).addSeals,
		"seals-none":  (*sealing).noSeals,
		"seal-off":    (*sealing).sealOff,
		"seal-read":   (*sealing).sayRead,
		"not-loaded":  (*sealing).sayNotLoaded,
		"unscanned":   (*sealing).sayUnscanned,
		"enter":       (*sealing).enter,
		"record":      (*sealing).record,
	}
	for name, do := range acts {
		acts[name] = unlessStray(do)
	}
	acts["sheet-lay"], acts["sheet-none"] = (*sealing).strayLay, (*sealing).strayNone
	return acts
}

func (b *sealing) wants() []want {
	if b.Tag == "" {
		return wanted(events.ScanSet, events.ScanBadge)
	}
	return wanted(events.ScanSeal, events.ScanBadge, events.ScanSet)
}

func (b *sealing) clear() { *b = sealing{hand: b.kept(), Last: b.Last, LastLot: b.LastLot} }

// entered is in which turn it was said where the sheet goes, and what locks the container.
func (b *sealing) entered(*visit) ([]string, error) {
	if b.Placement == "" && b.BagLot == "" && len(b.Seals) == 0 && b.Unpacked == 0 {
		return nil, nil
	}
	return []string{b.Turn}, nil
}

func (b *sealing) anew(v *visit) (said, error) {
	set := b.Tag
	b.clear()
	return b.scanSet(v, set)
}

// onlySaid: all of it is on the container, or asked anew.
func (b *sealing) onlySaid(*visit) (string, error) { return "", nil }

// placements are where a count sheet can go; their numbers are keys.
func placements() []events.Placement {
	return []events.Placement{events.InsideBag, events.InsideBare, events.Outside, events.Screen}
}

// askPlacement asks where the count sheet goes. The last time's answer for this
// list is in the question, and Enter gives it.
func (b *sealing) askPlacement(v *visit) (said, error) {
	s := ask(v.t("choose-placement", b.Tag), "")
	usual, last, err := b.usualPlace(v)
	if err != nil {
		return said{}, err
	}
	policy, err := v.policy()
	if err != nil {
		return said{}, err
	}
	st, err := v.standing(b.Tag)
	if err != nil {
		return said{}, err
	}
	switch {
	case usual != "" && last:
		s.Words = v.t("placement-as-last", b.Tag, v.t("found-"+string(usual)))
	case usual != "":
		s.Words = v.t("placement-by-policy", b.Tag, v.t("found-"+string(usual)))
	}
	for i, p := range placements() {
		words := fmt.Sprintf("%d %s", i+1, v.t("found-"+string(p)))
		if st != nil && !policy.MayTravel(st.List, p) {
			words = v.t("placement-not-by-policy", words)
		}
		s.Choices = append(s.Choices, choice{Do: "placement", Value: string(p), Words: words, Main: p == usual})
	}
	return s, nil
}

// usualPlace is where Enter puts the count sheet: where that of a set by this list went the last time at this station, or the
// one place that the policy has for it; "" for none.
func (b *sealing) usualPlace(v *visit) (at events.Placement, last bool, err error) {
	if b.Tag == "" {
		return "", false, nil
	}
	st, err := v.standing(b.Tag)
	if err != nil || st == nil {
		return "", false, err
	}
	policy, err := v.policy()
	if err != nil {
		return "", false, err
	}
	if at = b.Last[st.List]; at != "" && policy.MayTravel(st.List, at) {
		return at, true, nil
	}
	if len(policy.Placements) == 1 && !slices.Contains(policy.PlacedOtherwise, st.List) {
		return policy.Placements[0], false, nil
	}
	return "", false, nil
}

// placedOtherwise says that the policy has the sheet elsewhere, "" where it doesn't.
func (b *sealing) placedOtherwise(v *visit, st *standing) (string, error) {
	policy, err := v.policy()
	if err != nil || b.Placement == "" || st == nil || policy.MayTravel(st.List, b.Placement) {
		return "", err
	}
	var at []string
	for _, p := range policy.Placements {
		at = append(at, v.t("found-"+string(p)))
	}
	return v.t("placed-otherwise", st.List, strings.Join(at, "; ")), nil
}

func (b *sealing) scanBadge(_ *visit, badge string) (said, error) {
	b.Operator = badge
	return said{}, nil
}

func (b *sealing) scanSet(v *visit, set string) (said, error) {
	if d := b.unscanned(); d != nil && d.Set != set {
		d.Waits = set
		return said{}, nil // it is asked for the sheet
	}
	if b.Tag != "" && b.Tag != set && (b.Placement != "" || b.BagLot != "" || len(b.Seals) > 0) {
		return said{}, v.sayNo("closing-begun", b.Tag) // the next lock would be taken for the other set's
	}
	if b.Tag != set {
		st, err := v.standing(set)
		if err != nil {
			return said{}, err
		}
		b.clear()
		if b.Tag = set; st != nil {
			b.Knew = st.Closed
		}
	}
	b.keepUnscanned()
	return said{}, nil
}

// keepUnscanned forgets the last record, unless its count sheet is still to be
// scanned: that is asked before the next set. No other set waits for it then.
func (b *sealing) keepUnscanned() {
	if d := b.unscanned(); d != nil {
		d.Waits = ""
	} else {
		b.Done = nil
	}
}

func (b *sealing) scanSeal(_ *visit, seal string) (said, error) {
	if !slices.Contains(b.Seals, seal) {
		b.Seals = append(b.Seals, seal)
	}
	return said{}, nil
}

// unscanned is the last record where the count sheet that was printed is still to
// be scanned, nil where it isn't.
func (b *sealing) unscanned() *done {
	if b.Done == nil || !b.Done.Unscanned {
		return nil
	}
	return b.Done
}

// waits is the set that waits until the printed count sheet is scanned, "" for none.
func (b *sealing) waits() string {
	if d := b.unscanned(); d != nil {
		return d.Waits
	}
	return ""
}

// workName is the set in hand, or the one that waits.
func (b *sealing) workName() string {
	if b.Stray != nil {
		return b.Stray.Set
	}
	return firstOf(b.Tag, b.waits())
}

func (b *sealing) idle() bool { return b.Tag == "" && b.waits() == "" && b.Stray == nil }

// whyUnscanned are reasons why a printed count sheet is not scanned, by key. They
// are said of the last record on the page, and recorded nowhere.
func whyUnscanned() []choice {
	return []choice{{Value: "printer", Key: "F2"}, {Value: "gone", Key: "F4"}, {Value: "scanner", Key: "F6"}}
}

// askScan asks for the printed count sheet before the next set is begun. An
// exchanged sheet is found here, or on the operating table.
func (b *sealing) askScan(v *visit) said {
	s := ask(v.t("scan-printed", b.Done.Set), v.t("scan-printed-more", b.Done.Waits))
	for _, c := range whyUnscanned() {
		c.Do, c.Words = "unscanned", v.t("unscanned-"+c.Value)
		s.Choices = append(s.Choices, c)
	}
	return s
}

// sayUnscanned answers why the printed count sheet is not scanned.
func (b *sealing) sayUnscanned(v *visit, f fields) (said, error) {
	d := b.unscanned()
	if d == nil {
		return said{}, nil
	}
	for _, c := range whyUnscanned() {
		if c.Value == f["value"] {
			why := v.phrased("said-unscanned-" + c.Value)
			d.Says = append(d.Says, why)
			return b.goOn(v, said{Aside: v.say(why)})
		}
	}
	return b.askScan(v), nil
}

// goOn goes on to the set that waited for the printed count sheet.
func (b *sealing) goOn(v *visit, s said) (said, error) {
	set := b.Done.Waits
	b.Done.Unscanned, b.Done.Waits = false, ""
	if set == "" {
		return s, nil
	}
	_, err := b.scanSet(v, set)
	return s, err
}

func (b *sealing) verdict(v *visit) (said, error) {
	switch {
	case b.Stray != nil:
		return b.askStray(v)
	case b.waits() != "":
		return b.askScan(v), nil
	case b.Tag == "":
		return ask(v.t("scan-tag-to-seal"), ""), nil
	}
	st, err := v.standing(b.Tag)
	if err != nil {
		return said{}, err
	}
	why, err := b.packFirst(v, st)
	switch {
	case err != nil:
		return said{}, err
	case why != nil:
		return why.ask(v), nil
	}
	if in, err := b.loaded(v); err != nil || in != nil {
		return b.askLoaded(v, in), err
	}
	switch {
	case b.Placement == "":
		return b.askPlacement(v)
	case b.lotMissing():
		return b.askLot(v), nil
	case b.Operator == "":
		return ask(v.t("scan-badge"), ""), nil
	case st == nil:
		return said{}, v.sayNo("pack-first", b.Tag)
	case b.closedSince(st):
		return b.askClosedSince(v, st)
	}
	if lock, other, err := b.lockElsewhere(v); err != nil || other != nil {
		return b.askLock(v, lock, other), err
	}
	if f, err := b.afterRun(v); err != nil || f != nil {
		return b.askAfterRun(v, f), err
	}
	return b.askEnter(v, st)
}

// askEnter asks for Enter, which records that the set is closed, and says what is not as it should be.
func (b *sealing) askEnter(v *visit, st *standing) (said, error) {
	s := ask(v.t("enter-seals", b.Tag), v.t("packs-by", st.List, st.Version))
	if st.Code != "" {
		same, err := b.sameCode(v, st)
		if err != nil {
			return said{}, err
		}
		if s.Status, s.More = "doubtful", v.t("sealed-before", b.Tag); same {
			s.More = v.t("sealed-same", b.Tag)
		}
	}
	if b.BagLot != "" {
		s.More += " " + v.t("bag-lot-is", b.BagLot)
	}
	other, err := b.placedOtherwise(v, st)
	if err != nil {
		return said{}, err
	}
	if more := joined(other, b.saidSo(v)); more != "" {
		s.Status, s.More = "doubtful", joined(s.More, more)
	}
	return b.asFound(v, s)
}

// saidSo is what a person said for which the closing is not green, "" for nothing.
func (b *sealing) saidSo(v *visit) string {
	var out []string
	if len(b.Read) > 0 {
		out = append(out, v.t("lock-twice-more"))
	}
	if b.InLoad != "" {
		out = append(out, v.t("seal-in-load-more", b.InLoad))
	}
	return joined(out...)
}

// loaded is the running load that the set in hand lies in, nil where a person said that this is another tray.
func (b *sealing) loaded(v *visit) (*loadThere, error) {
	in, err := v.runsIn(b.Tag)
	if in != nil && in.Load == b.InLoad {
		in = nil
	}
	return in, err
}

func (b *sealing) askLoaded(v *visit, in *loadThere) said {
	if in == nil {
		return said{}
	}
	return doubt(v.t("seal-in-load", b.Tag, in.Load, v.time(in.StartedAt)), v.t("seal-in-load-more", in.Load)).offer(
		choice{Do: "clear", Words: v.t("do-leave", b.Tag)},
		choice{Do: "not-loaded", Value: in.Load, Words: v.t("do-not-loaded", b.Tag)})
}

// sayNotLoaded answers that the tray in hand is the set all the same.
func (b *sealing) sayNotLoaded(v *visit, f fields) (said, error) {
	in, err := b.loaded(v)
	if in != nil && f["value"] == in.Load {
		b.InLoad = in.Load
	}
	return said{}, err
}

// lockElsewhere is a lock that is entered here and recorded of another set that is closed, with that set; nil for none.
// One lock is on one container: a number was read off the other tray, or is not what it says.
func (b *sealing) lockElsewhere(v *visit) (lock string, other *standing, err error) {
	for _, lock := range b.Seals {
		if slices.Contains(b.Read, lock) {
			continue
		}
		const most = 20 // of one number, the newest first
		trips, err := site.Answer(v.d.site, func(m *site.View) ([]projections.TripKey, error) { return m.SharesSeals(v, lock, lock, most) })
		if err != nil {
			return "", nil, err
		}
		for _, k := range trips {
			if k.Set == b.Tag {
				continue
			}
			st, err := v.standing(k.Set)
			if err != nil || st != nil && st.Key == k && !st.Opened && slices.Contains(st.Seals, lock) {
				return lock, st, err
			}
		}
	}
	return "", nil, nil
}

func (b *sealing) askLock(v *visit, lock string, other *standing) said {
	if other == nil {
		return said{}
	}
	return doubt(v.t("lock-twice", lock, other.Key.Set), v.t("lock-twice-more")).offer(
		choice{Do: "seal-off", Value: lock, Words: v.t("do-lock-off")},
		choice{Do: "seal-read", Value: lock, Words: v.t("do-lock-read", b.Tag)})
}

// sayRead answers that the lock was read on this container.
func (b *sealing) sayRead(v *visit, f fields) (said, error) {
	lock, other, err := b.lockElsewhere(v)
	if err == nil && other != nil && lock == f["value"] {
		b.Read = append(b.Read, lock)
	}
	return said{}, err
}

// closedSince reports whether the set was closed elsewhere after it was scanned here, and nobody said that it is closed
// once more.
func (b *sealing) closedSince(st *standing) bool { return st.Closed > b.Knew }

// askClosedSince asks whether a set that was closed elsewhere in between is closed once more: that makes two count sheets.
func (b *sealing) askClosedSince(v *visit, st *standing) (said, error) {
	e, err := v.d.site.EventAt(st.Closed)
	if err != nil {
		return said{}, err
	}
	return doubt(v.t("closed-since", b.Tag, e.Station), v.time(e.Time)).offer(
		choice{Do: "leave", Words: v.t("do-leave", b.Tag)},
		choice{Do: "close-again", Value: strconv.FormatInt(st.Closed, 10), Words: v.t("do-close-again")}), nil
}

// closeAgain answers that it is.
func (b *sealing) closeAgain(v *visit, f fields) (said, error) {
	st, err := v.standing(b.Tag)
	if err == nil && st != nil && f["value"] == strconv.FormatInt(st.Closed, 10) {
		b.Knew = st.Closed
	}
	return said{}, err
}

// sameCode reports whether the count sheet has the same code where the set is closed once more: it is of the list, the set
// and the turn, so only another version of the list makes the earlier sheet void.
func (b *sealing) sameCode(v *visit, st *standing) (bool, error) {
	list, err := listNow(v, v.d.site, st.List, st.Version)
	if err != nil {
		return false, err
	}
	digest, err := list.Issue().Digest()
	if err != nil {
		return false, err
	}
	binding, err := events.Binding(digest, st.Key.Set, st.Key.Trip)
	if err != nil {
		return false, err
	}
	code, err := events.NewSheetCode(st.Key.Trip, binding)
	return code.String() == st.Code, err
}

// observation is the closing as it is recorded.
func (b *sealing) observation(v *visit) *events.Observation {
	data := &events.ListSealed{Placement: b.Placement, Seals: b.Seals, BagLot: b.BagLot}
	return &events.Observation{Station: v.station, Kind: events.KindListSealed, Time: v.now.UTC(),
		Set: b.Tag, Operator: b.Operator, Data: data}
}

// afterRun is what this closing would show of the run before it: that the container was open
// since. nil where it shows nothing, or a person said that it was.
func (b *sealing) afterRun(v *visit) (*projections.Finding, error) {
	if b.AfterRun {
		return nil, nil
	}
	verdict, err := v.preview(b.observation(v))
	if err != nil {
		return nil, err
	}
	for i, f := range verdict.Findings {
		if _, ok := f.Detail.(*projections.ClosedAfterRun); ok {
			return &verdict.Findings[i], nil
		}
	}
	return nil, nil
}

func (b *sealing) askAfterRun(v *visit, f *projections.Finding) said {
	if f == nil {
		return said{}
	}
	s := v.found(b.Tag, f)
	s.Words, s.Status, s.Sound = v.t("seal-after-run", b.Tag), "doubtful", "ask"
	return s.offer(choice{Do: "clear", Words: v.t("do-stays-closed")}, choice{Do: "after-run", Words: v.t("do-after-run")})
}

// closeAfterRun answers that the container was open since its run.
func (b *sealing) closeAfterRun(v *visit, _ fields) (said, error) {
	f, err := b.afterRun(v)
	b.AfterRun = b.AfterRun || f != nil
	return said{}, err
}

// lotMissing reports whether the sheet goes into a bag whose lot is still to say.
func (b *sealing) lotMissing() bool { return b.Placement == events.InsideBag && b.BagLot == "" }

func (b *sealing) discard(v *visit, _ fields) (said, error) {
	b.clear()
	b.keepUnscanned()
	return v.begin(), nil
}

func (b *sealing) place(_ *visit, f fields) (said, error) {
	b.Placement = events.Placement(firstOf(f["placement"], f["value"]))
	if b.Placement != events.InsideBag {
		b.BagLot, b.LotAsked = "", ""
	}
	return said{}, nil
}

// bagLot reads the lot of a bag. A text with a blank is none: that is said now, not when the container is closed.
func (v *visit) bagLot(text string) (string, error) {
	lot, err := v.lotNumber(text)
	if err == nil && strings.ContainsFunc(lot, unicode.IsSpace) {
		return "", inField("lot", v.sayNo("which-nothing", lot))
	}
	return lot, err
}

func (b *sealing) takeLot(v *visit, f fields) (said, error) {
	lot, err := v.bagLot(f["value"])
	if err != nil {
		return said{}, err
	}
	b.BagLot, b.LotAsked = lot, ""
	return said{}, nil
}

// formLot takes the bag's lot as it was typed into its field, like one that was scanned: what nobody has said to be a lot is
// asked about, and what is known as something else is refused.
func (b *sealing) formLot(v *visit, f fields) (said, error) {
	lot, err := v.bagLot(f["lot"])
	if err != nil {
		return said{}, err
	}
	known, err := b.isLot(v, lot)
	switch {
	case err != nil:
		return said{}, err
	case known:
		return b.takeLot(v, fields{"value": lot})
	}
	if before, err := b.asksBefore(v); err != nil || before {
		return said{Sound: "low"}, err // it would be asked about unseen
	}
	b.BagLot = "" // it is another one, if it is one
	return b.askWhetherLot(v, f)
}

// isLot reports whether a text is a lot by the site's pattern, or the one of the last bag here.
func (b *sealing) isLot(v *visit, text string) (bool, error) {
	lot, err := v.patterned(text, func(k events.ScanKind) bool { return k == events.ScanLot })
	return err == nil && lot != "" || text != "" && (text == b.LastLot || text == b.BagLot), err
}

// askLot asks for the bag's lot. The last time's is in the question, and Enter says that it is the same.
func (b *sealing) askLot(v *visit) said {
	switch {
	case b.LotAsked != "":
		return ask(v.t("lot-which", b.LotAsked), v.t("which-more")).offer(
			choice{Do: "bag-lot", Value: b.LotAsked, Words: v.t("do-lot")}, choice{Do: "lot-no", Words: v.t("lot-no")})
	case b.LastLot != "":
		return ask(v.t("bag-lot-as-last", b.LastLot), "").offer(
			choice{Do: "bag-lot", Value: b.LastLot, Words: v.t("do-lot-as-last", b.LastLot), Main: true})
	}
	return ask(v.t("bag-lot"), "")
}

// askWhetherLot asks about a code that nobody has said here to be the bag's lot: it may be a badge or a wristband as well.
func (b *sealing) askWhetherLot(v *visit, f fields) (said, error) {
	lot, err := v.bagLot(f["lot"])
	if err == nil && b.lotMissing() {
		b.LotAsked, b.Plain = lot, ""
	}
	return said{}, err
}

// sayNoLot answers that it is something else: what, is asked like of any code.
func (b *sealing) sayNoLot(*visit, fields) (said, error) {
	code := b.LotAsked
	b.LotAsked = ""
	if slices.ContainsFunc(b.wants(), func(w want) bool { return canBe(w.Kind, code) }) {
		b.Plain = code
	}
	return said{}, nil
}

// addSeals takes the numbers of locks, several at once with commas or blanks between. What is
// none of them is refused, or asked about where there is but one.
func (b *sealing) addSeals(v *visit, f fields) (said, error) {
	all := strings.FieldsFunc(f["seal"], func(r rune) bool { return r == ',' || unicode.IsSpace(r) })
	if len(all) == 1 {
		seal, err := v.formCode(&b.hand, events.ScanSeal, all[0])
		if err != nil || seal == "" {
			return said{}, err
		}
		return b.scanSeal(v, seal)
	}
	for _, seal := range all {
		kind, err := v.plainKind(seal, wanted(events.ScanSet, events.ScanBadge, events.ScanCase, events.ScanSeal))
		switch {
		case err != nil:
			return said{}, err
		case !canBe(events.ScanSeal, seal):
			return said{}, v.sayNo("which-nothing", seal)
		case kind != "" && kind != events.ScanSeal:
			return said{}, v.notAskedFor(kind, seal)
		}
	}
	for _, seal := range all {
		if _, err := b.scanSeal(v, seal); err != nil {
			return said{}, err
		}
	}
	return said{}, nil
}

func (b *sealing) sealOff(_ *visit, f fields) (said, error) {
	is := func(s string) bool { return s == f["value"] }
	b.Seals, b.Read = slices.DeleteFunc(b.Seals, is), slices.DeleteFunc(b.Read, is)
	return said{}, nil
}

func (b *sealing) noSeals(_ *visit, _ fields) (said, error) {
	b.Seals, b.Read = nil, nil
	return said{}, nil
}

// typed: a number answers where the count sheet goes while that is asked; what is
// no label and not known otherwise may be the lot of the bag where one is asked for.
func (b *sealing) typed(v *visit, text string) (string, fields, bool) {
	n, number := plainNumber(text)
	if b.Stray != nil && number {
		if n < 1 || int(n) > len(places()) {
			return "enter", nil, true
		}
		return "sheet-lay", fields{"value": strayValue(b.Stray, b.Stray.Set, string(places()[n-1]))}, true
	}
	if number && b.Tag != "" {
		if before, err := b.asksBefore(v); err != nil || before {
			return "enter", nil, true // it answers nothing of what is asked
		}
	}
	if number && b.Tag != "" && b.Placement == "" && n >= 1 && int(n) <= len(placements()) {
		return "placement", fields{"placement": string(placements()[n-1])}, true
	}
	all, err := v.read(text)
	if b.Tag == "" || b.Said.Words != "" || !b.lotMissing() || err != nil || len(all) != 1 || all[0].Kind != events.ScanPlain {
		return "", nil, false
	}
	if before, err := b.asksBefore(v); err != nil || before {
		return "", nil, false // it is a code like any other: nobody was asked for a lot
	}
	if known, err := b.isLot(v, text); err == nil && known {
		return "bag-lot", fields{"value": text}, true
	}
	if kind, err := v.plainKind(text, wanted(events.ScanSet, events.ScanBadge)); err != nil || kind != "" {
		return "", nil, false
	}
	return "lot-ask", fields{"lot": text}, true
}

// enter says yes to what is asked: where the count sheet goes or the bag's lot, if that is as the
// last time, or that the container is locked.
func (b *sealing) enter(v *visit, f fields) (said, error) {
	if b.waits() != "" {
		return said{}, nil // it is asked for the sheet; Enter answers nothing of that
	}
	if b.Tag != "" {
		if before, err := b.asksBefore(v); err != nil || before {
			return said{Sound: "low"}, err // nor of this
		}
	}
	if b.Tag != "" && b.lotMissing() && b.LotAsked == "" && b.LastLot != "" {
		return b.takeLot(v, fields{"value": b.LastLot})
	}
	if b.Tag == "" || b.Placement != "" {
		return b.record(v, f)
	}
	usual, _, err := b.usualPlace(v)
	if err == nil && usual != "" {
		return b.place(v, fields{"placement": string(usual)})
	}
	return said{}, err
}

// asksBefore reports whether something is asked that comes before where the count sheet goes: whether the set is packed first,
// or is in a load that runs. What is entered meanwhile for a later question would be answered with nobody having been asked.
func (b *sealing) asksBefore(v *visit) (bool, error) {
	st, err := v.standing(b.Tag)
	if err != nil {
		return false, err
	}
	if why, err := b.packFirst(v, st); err != nil || why != nil {
		return true, err
	}
	in, err := b.loaded(v)
	return in != nil, err
}

// asksFirst reports whether something is asked of the set before it is closed.
func (b *sealing) asksFirst(v *visit, st *standing) (bool, error) {
	if in, err := b.loaded(v); err != nil || in != nil {
		return true, err
	}
	if why, err := b.packFirst(v, st); err != nil || why != nil || b.closedSince(st) {
		return true, err
	}
	if _, other, err := b.lockElsewhere(v); err != nil || other != nil {
		return true, err
	}
	f, err := b.afterRun(v)
	return f != nil, err
}

func (b *sealing) record(v *visit, _ fields) (said, error) {
	if b.Tag == "" || b.Placement == "" || b.lotMissing() || b.Operator == "" {
		return said{}, nil
	}
	st, err := v.standing(b.Tag)
	if err != nil || st == nil {
		return said{Sound: "ask"}, err // it is asked on
	}
	if asked, err := b.asksFirst(v, st); err != nil || asked {
		return said{Sound: "ask"}, err
	}
	at, err := v.recordAt(b)
	if err != nil {
		return said{}, err
	}
	o := b.observation(v)
	o.Time = at
	rs, err := v.observe(o)
	if err != nil {
		return said{}, err
	}
	code, err := events.ParseSheetCode(rs[0].SheetCode)
	if err != nil {
		return said{}, err
	}
	policy, err := v.policy()
	if err != nil {
		return said{}, err
	}
	set, place := b.Tag, b.Placement
	says := v.phrased("recorded-seal", set, code.Short())
	s, err := v.loadedAs(st, v.say(says))
	if err != nil {
		return said{}, err
	}
	if more := b.saidSo(v); more != "" && s.Status != "broken" {
		s.Status, s.Sound, s.More = "doubtful", "ask", joined(s.More, more)
	}
	query := "?" + url.Values{"set": {set}, "trip": {rs[0].Trip}}.Encode()
	var links []link
	if place != events.Screen {
		s.Next = strings.TrimSpace(s.Next + " " + v.t("print-and-scan"))
		links = append(links, link{Address: v.d.opts.Prefix + "/print/sheet.pdf" + query, Says: v.phrased("print-sheet")})
	}
	links = append(links, link{Address: v.d.opts.Prefix + "/print/set-label.pdf" + query, Says: v.phrased("print-label")})
	if b.Last == nil {
		b.Last = make(map[string]events.Placement)
	}
	b.Last[st.List] = place
	b.LastLot = firstOf(b.BagLot, b.LastLot)
	b.clear()
	b.Done = &done{
		Says: []phrase{says}, Set: set, Trip: rs[0].Trip, Code: rs[0].SheetCode, Seqs: seqs(rs), IDs: ids(rs), Links: links,
		Unscanned: place != events.Screen && policy.AsksSheetScan(),
	}
	return s, nil
}

type sealingBody struct {
	Set        *standing
	Placements []events.Placement
}

func (b *sealing) body(v *visit) (any, error) {
	out := sealingBody{Placements: placements()}
	var err error
	if b.Tag != "" {
		out.Set, err = v.standing(b.Tag)
	}
	return out, err
}
