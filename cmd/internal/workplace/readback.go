package workplace

import (
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"listbound/cmd/internal/refusal"
	"listbound/events"
	"listbound/projections"
)

// readback is the draft of the workplace where filled-in count sheets are read back. What the pages show lies beside it
// (paperSheet); here is what a person says to that. One question is asked at a time, and what is sure is not asked at all.
type readback struct {
	hand
	Code    string                      `json:"code,omitempty"`    // the sheet in hand
	On      projections.TripKey         `json:"on,omitzero"`       // the set that was counted by it, where that was asked
	Without []int                       `json:"without,omitempty"` // pages that it goes on without
	Opened  time.Time                   `json:"opened,omitzero"`   // as the sheet says, where no opening is recorded
	Found   string                      `json:"found,omitempty"`   // where the sheet was then: a placement, or unknown
	Stages  map[events.Stage]*stageSaid `json:"stages,omitempty"`
	Cells   map[string]cellSaid         `json:"cells,omitempty"`   // by cellName
	First   firstBadge                  `json:"first,omitzero"`    // of who read it back
	Read    string                      `json:"read,omitempty"`    // what was read of the sheet when the page showed it
	Sure    string                      `json:"sure,omitempty"`    // a case that nothing is known of, and that is written so
	Closed  string                      `json:"closed,omitempty"`  // the closing that the counts are recorded after all the same
	Late    string                      `json:"late,omitempty"`    // what a person said of pages that recorded counts lack, as nextLate has it
	Day     string                      `json:"day,omitempty"`     // the date on the sheet, where that was asked
	LastDay string                      `json:"lastDay,omitempty"` // of the sheet before
	Form    bool                        `json:"form,omitzero"`     // a blank form is to be typed in: of which set is asked
	Redate  bool                        `json:"redate,omitzero"`   // the date is asked since what followed was wrong
	Doubt   *doubtfulTime               `json:"doubt,omitempty"`
	Goods   map[int64]goodsSaid         `json:"goods,omitempty"`   // by line of the row, below zero
	NoGoods string                      `json:"noGoods,omitempty"` // a reading, of which a person saw that no goods are on the paper
	OnForm  bool                        `json:"onForm,omitzero"`   // goods are on the blank form
}

// firstBadge is a badge on what was shown with it: on anything else it is none.
type firstBadge struct {
	Badge string `json:"badge,omitempty"`
	On    string `json:"on,omitempty"` // hex SHA-256 of what is signed
}

// stageSaid is what the sheet says of a stage and no mark does.
type stageSaid struct {
	Left    bool      `json:"left,omitempty"`  // its column is blank, and it was not counted
	Blank   []int     `json:"blank,omitempty"` // pages on which nothing is marked, as a person has seen
	Counter string    `json:"counter,omitempty"`
	Witness string    `json:"witness,omitempty"`
	Alone   bool      `json:"alone,omitempty"` // no second person stands there
	At      time.Time `json:"at,omitzero"`
	Beside  string    `json:"beside,omitempty"`  // the recorded count that this one is recorded beside,
	Made    bool      `json:"made,omitzero"`     // it is on a blank form
	LeftOut string    `json:"leftOut,omitempty"` // or for the sake of which it is not recorded
}

// cellSaid is what a person said of a mark. It is of one picture: on another one the mark may be another.
type cellSaid struct {
	Counted int64  `json:"counted"`
	Not     bool   `json:"not,omitempty"`    // the line was not counted
	Fewer   string `json:"fewer,omitempty"`  // of goods fewer than the sum: where the rest is
	Reason  string `json:"reason,omitempty"` // and why, where it stays
	There   int64  `json:"there,omitzero"`   // so many of what came were recorded otherwise when a person said,
	Same    bool   `json:"same,omitzero"`    // that they are the same,
	Some    int64  `json:"some,omitzero"`    // or so many of them
	Picture string `json:"picture"`
}

func cellName(stage events.Stage, line int64) string { return fmt.Sprintf("%s/%d", stage, line) }

// placeUnknown is where a sheet lay when nobody wrote that down.
const placeUnknown = "unknown"

func readbackPlace() workplace {
	return bench[readback, *readback]{
		scans: map[events.ScanKind]scanned[readback]{
			events.ScanCase:  (*readback).scanCase,
			events.ScanBadge: (*readback).scanBadge,
			events.ScanSheet: (*readback).scanSheet,
			events.ScanSet:   (*readback).scanFormSet,
		},
		acts: map[string]action[readback]{
			"take-up":    (*readback).takeUp,
			"aside":      (*readback).layAside,
			"clear":      (*readback).layAside,
			"drop":       (*readback).drop,
			"case":       (*readback).takeCase,
			"without":    (*readback).goWithout,
			"counted-by": (*readback).countedBy,
			"found":      (*readback).foundAt,
			"time":       (*readback).takeTime,
			"moment":     (*readback).takeMoment,
			"day":        (*readback).takeDay,
			"other-day":  (*readback).otherDay,
			"closed":     (*readback).takeClosed,
			"late":       (*readback).takeLate,
			"beside":     (*readback).beside,
			"leave-out":  (*readback).leaveOut,
			"case-sure":  (*readback).sureOfCase,
			"form":       (*readback).typeForm,
			"made":       (*readback).made,
			"alone":      (*readback).alone,
			"not-stage":  (*readback).notStage,
			"blank-page": (*readback).blankPage,
			"number":     (*readback).takeNumber,
			"as-printed": (*readback).asPrinted,
			"not-line":   (*readback).notLine,
			"again":      (*readback).again,
			"goods":      (*readback).takeGoods,
			"goods-name": (*readback).nameGoods,
			"goods-none": (*readback).noNumbers,
			"goods-else": (*readback).otherGoods,
			"no-goods":   (*readback).noGoods,
			"on-form":    (*readback).onForm,
			"fewer":      (*readback).takeFewer,
			"came":       (*readback).takeCame,
			"stays":      (*readback).takeStays,
			"enter":      (*readback).enter,
			"record":     (*readback).record,
		},
		typed: (*readback).typed,
	}
}

func (b *readback) wants() []want {
	if b.Code == "" && b.Form {
		return wanted(events.ScanSet, events.ScanSheet, events.ScanBadge)
	}
	if b.Code == "" {
		return wanted(events.ScanSheet, events.ScanBadge)
	}
	if b.Case == "" {
		return wanted(events.ScanCase, events.ScanBadge)
	}
	return wanted(events.ScanBadge, events.ScanCase)
}

func (b *readback) idle() bool { return b.Code == "" && !b.Form }

// workName is the case, or the sheet before that is known.
func (b *readback) workName() string { return b.Case }

func (b *readback) clear() {
	*b = readback{hand: b.kept(), LastDay: b.LastDay}
	b.Case, b.Witness = "", ""
}

// scripts of the page besides that of every bench.
func (*readback) scripts() []string { return []string{"readback.js"} }

// scanSheet takes up the sheet whose symbol was scanned off the paper.
func (b *readback) scanSheet(v *visit, code string) (said, error) {
	return b.takeUp(v, fields{"value": code})
}

// takeUp takes a sheet that waits.
func (b *readback) takeUp(v *visit, f fields) (said, error) {
	code := f["value"]
	sheet, found, err := v.d.files.paper(code)
	if ignoreUnreadable(err) != nil {
		return said{}, err
	}
	if !found || err != nil {
		return said{}, v.sayNo("readback-not-here")
	}
	if b.Code == code {
		return said{}, nil
	}
	if err := b.letGo(v, false); err != nil {
		return said{}, err
	}
	b.clear()
	b.Code, b.Done, b.Read = code, nil, sheet.reading()
	return said{}, v.d.files.savePaperHand(code, paperHand{Station: v.station})
}

// takeNext takes up, of the sheets that wait and lie at no other station, the one that waits longest, and says so.
func (b *readback) takeNext(v *visit) (said, error) {
	all, err := v.waitingPapers()
	if err != nil {
		return said{}, err
	}
	next := nextPaper(all, v.station)
	if next == nil {
		return said{}, nil
	}
	if s, err := b.takeUp(v, fields{"value": next.Code}); err != nil || s.Words != "" {
		return s, err
	}
	return said{Aside: v.t("readback-next", next.Set)}, nil
}

// nextPaper is the sheet that Enter takes up at a station, nil where none waits.
func nextPaper(all []*paperSheet, station string) *paperSheet {
	for _, s := range all {
		if s.hand.Station == "" || s.hand.Station == station {
			return s
		}
	}
	return nil
}

// layAside leaves the sheet for later: it waits behind those that nobody has looked at, and what was said of it is asked again.
func (b *readback) layAside(v *visit, _ fields) (said, error) {
	if err := b.letGo(v, true); err != nil {
		return said{}, err
	}
	b.clear()
	return said{}, nil
}

// letGo lets another station take up the sheet in hand.
func (b *readback) letGo(v *visit, aside bool) error {
	if b.Code == "" {
		return nil
	}
	h := v.d.files.paperHand(b.Code)
	if h.Station == v.station {
		h.Station = ""
	}
	if aside {
		h.Aside = v.now.UTC()
	}
	return v.d.files.savePaperHand(b.Code, h)
}

// drop throws away what was read of the sheet, once that was confirmed. The paper is still there.
func (b *readback) drop(v *visit, f fields) (said, error) {
	if b.Code == "" {
		return said{}, nil
	}
	sheet, found, err := v.d.files.paper(b.Code)
	if ignoreUnreadable(err) != nil {
		return said{}, err
	}
	if found && err == nil && f["value"] != sheet.Trip { // a button with the sheet's code would be taken for a scan of it
		return ask(v.t("readback-drop-sure"), v.t("readback-drop-more")).offer(
			choice{Do: "again", Words: v.t("readback-go-on"), Main: true},
			choice{Do: "drop", Value: sheet.Trip, Words: v.t("readback-drop")}), nil
	}
	if err := v.d.files.removePaper(b.Code); err != nil {
		return said{}, err
	}
	b.clear()
	return said{}, nil
}

func (b *readback) again(*visit, fields) (said, error) { return said{}, nil }

func (b *readback) scanCase(_ *visit, ref string) (said, error) {
	if b.Code == "" {
		return said{}, nil
	}
	if _, err := events.LabelText(events.ScanCase, ref); err != nil && ref != "" {
		return said{}, refusal.Because(err)
	}
	if ref != b.Case {
		b.On, b.Opened, b.Found, b.Doubt = projections.TripKey{}, time.Time{}, "", nil
	}
	b.Case = ref
	return said{}, nil
}

func (b *readback) takeCase(v *visit, f fields) (said, error) {
	ref := strings.TrimSpace(firstOf(f["case"], f["value"]))
	if err := v.checkCase(events.ScanCase, ref); err != nil {
		return said{}, err
	}
	return b.scanCase(v, ref)
}

// scanBadge takes the badge that is asked for: who counted or witnessed, as it is written on the sheet; at the end who read it
// back, and the second person who holds that against the paper.
func (b *readback) scanBadge(v *visit, badge string) (said, error) {
	st, q, err := b.now(v)
	if err != nil {
		return said{}, err
	}
	if st == nil {
		b.Operator = badge
		return said{}, nil
	}
	if q == nil {
		return b.sign(v, st, badge)
	}
	switch q.kind {
	case askCounter:
		b.stage(q.stage).Counter = badge
	case askWitness:
		if sameBadge(badge, b.stage(q.stage).Counter) {
			return said{}, v.sayNo("same-badge", badge)
		}
		b.stage(q.stage).Witness = badge
	default:
		b.Operator = badge
	}
	return said{}, nil
}

// refresh takes notice of pages that came in since: what the page showed before is an older revision then.
func (b *readback) refresh(v *visit) error {
	if b.Code == "" {
		return nil
	}
	sheet, found, err := v.d.files.paper(b.Code)
	if ignoreUnreadable(err) != nil {
		return err
	}
	if !found || err != nil || b.Read == sheet.reading() {
		return nil
	}
	b.Read = sheet.reading()
	b.Rev++
	return v.d.files.save(b, "bench", v.station, v.place)
}

// sign takes the badge of who has held the sum against the paper, and after that of the second person, who records it.
func (b *readback) sign(v *visit, st *readState, badge string) (said, error) {
	if v.shown != 0 && v.shown != b.Rev { // whoever scanned it had something else in sight
		return said{Aside: v.t("readback-not-shown"), Sound: "wrong"}, nil
	}
	first := b.signedBy(st)
	if first == "" || sameBadge(first, badge) {
		b.Operator, b.First = badge, firstBadge{badge, b.sumOf(st)}
		return said{}, nil
	}
	b.Witness = badge
	if v.elsewhere || v.waited {
		return said{}, nil
	}
	if hidden, err := b.hides(v, b.verdict); hidden || err != nil {
		return said{}, err
	}
	return b.record(v, nil)
}

// signedBy is who has signed the sum as it is now, "" for nobody.
func (b *readback) signedBy(st *readState) string {
	if b.First.On != b.sumOf(st) {
		return ""
	}
	return b.First.Badge
}

// sumOf is a digest of all that is signed: whose counts, by which pictures, and each number.
func (b *readback) sumOf(st *readState) string {
	sum := sha256.New()
	fmt.Fprintln(sum, b.Code, st.on, b.Case, b.Opened.UTC(), b.Found)
	for _, p := range st.sheet.inOrder() {
		fmt.Fprintln(sum, p.Page, p.Picture, p.InFile)
	}
	for _, c := range st.counts(b) {
		fmt.Fprintln(sum, c.stage, c.at.UTC(), c.counter, c.witness, c.counts, c.asked, c.beyond, c.removed, c.mends.id)
	}
	return hex.EncodeToString(sum.Sum(nil))
}

func (b *readback) stage(st events.Stage) *stageSaid {
	if b.Stages == nil {
		b.Stages = make(map[events.Stage]*stageSaid)
	}
	if b.Stages[st] == nil {
		b.Stages[st] = new(stageSaid)
	}
	return b.Stages[st]
}

func (b *readback) goWithout(v *visit, _ fields) (said, error) {
	st, _, err := b.now(v)
	if err == nil && st != nil {
		b.Without = st.sheet.missing()
	}
	return said{}, err
}

// countedBy says which set was counted by the sheet.
func (b *readback) countedBy(v *visit, f fields) (said, error) {
	st, q, err := b.now(v)
	if err != nil || st == nil || q == nil || q.kind != askWhose {
		return said{}, err
	}
	for _, k := range append(slices.Clone(st.likely), st.own()) {
		if k.Set+" "+k.Trip == f["value"] {
			b.On = k
		}
	}
	return said{}, nil
}

func (b *readback) foundAt(v *visit, f fields) (said, error) {
	if slices.Contains(foundPlaces(), f["value"]) {
		b.Found = f["value"]
	}
	return said{}, nil
}

// foundPlaces are where a sheet may have been when its set was opened.
func foundPlaces() []string {
	return []string{string(events.InsideBag), string(events.InsideBare), string(events.Outside), placeUnknown}
}

func (b *readback) alone(v *visit, _ fields) (said, error) {
	_, q, err := b.now(v)
	if err == nil && q != nil && q.kind == askWitness {
		b.stage(q.stage).Alone = true
	}
	return said{}, err
}

func (b *readback) notStage(v *visit, _ fields) (said, error) {
	_, q, err := b.now(v)
	if err == nil && q != nil && (q.kind == askBlank || q.kind == askMade) {
		b.stage(q.stage).Left = true
	}
	return said{}, err
}

func (b *readback) blankPage(v *visit, _ fields) (said, error) {
	_, q, err := b.now(v)
	if err == nil && q != nil && q.kind == askBlankPage {
		st := b.stage(q.stage)
		st.Blank = append(st.Blank, q.page)
	}
	return said{}, err
}

// takeNumber takes the number that a person has read off the cut-out.
func (b *readback) takeNumber(v *visit, f fields) (said, error) {
	n, err := strconv.ParseInt(strings.TrimSpace(f["value"]), 10, 64)
	if err != nil || n < 0 || n > maxCounted {
		return said{}, v.sayNo("readback-no-number", f["value"])
	}
	return b.say(v, func(c *cellSaid, _ *paperQuestion) { c.Counted = n })
}

// asPrinted says that a mark means the number that is printed beside it.
func (b *readback) asPrinted(v *visit, _ fields) (said, error) {
	return b.say(v, func(c *cellSaid, q *paperQuestion) { c.Counted = q.printed })
}

func (b *readback) notLine(v *visit, _ fields) (said, error) {
	return b.say(v, func(c *cellSaid, _ *paperQuestion) { c.Not = true })
}

func (b *readback) say(v *visit, set func(*cellSaid, *paperQuestion)) (said, error) {
	st, q, err := b.now(v)
	if err != nil || st == nil || q == nil || q.kind != askCell {
		return said{}, err
	}
	_, page := st.sheet.cell(q.line, q.stage)
	c := cellSaid{Picture: page.Picture}
	set(&c, q)
	if b.Cells == nil {
		b.Cells = make(map[string]cellSaid)
	}
	b.Cells[cellName(q.stage, q.line)] = c
	return said{}, nil
}

// typed tells what a typed text answers.
func (b *readback) typed(v *visit, text string) (string, fields, bool) {
	if b.Code == "" && isFormSymbol(text) {
		return "form", nil, true
	}
	st, q, err := b.now(v)
	if err != nil || st == nil || q == nil {
		return "", nil, false
	}
	switch {
	case q.time() && looksLikeTime(text):
		return "time", fields{"value": text}, true
	case looksLikeDay(text), q.kind == askDay && onlyDigits(text) && len(text) <= 3:
		return "day", fields{"value": text}, true
	case q.kind == askCell && onlyDigits(text) && len(text) <= 4:
		return "number", fields{"value": text}, true
	case q.kind == askCame && onlyDigits(text) && len(text) <= 4:
		return "came", fields{"value": text}, true
	case q.kind == askGoods && looksLikeSum(text):
		return "goods", fields{"value": text}, true
	}
	return "", nil, false
}

// enter agrees to what is proposed; it answers nothing that is not.
func (b *readback) enter(v *visit, _ fields) (said, error) {
	if b.Code == "" {
		return b.takeNext(v)
	}
	st, q, err := b.now(v)
	switch {
	case err != nil || st == nil:
		return said{}, err
	case q == nil && len(st.counts(b)) == 0 && st.changedSince(v, b) == "":
		return b.drop(v, fields{"value": st.sheet.Trip}) // all of it is recorded
	case q == nil:
		return b.record(v, nil)
	case q.kind == askCase && q.proposed != "":
		return b.takeCase(v, fields{"value": q.proposed})
	case q.kind == askDay && b.LastDay != "":
		return b.takeDay(v, fields{"value": b.LastDay})
	case (q.kind == askCounter || q.kind == askWitness) && q.proposed != "":
		return b.samePerson(v, q)
	case q.kind == askLate && q.agrees:
		return b.takeLate(v, fields{"value": lateAdd})
	case q.kind == askBlank:
		return b.notStage(v, nil)
	case q.kind == askMade:
		return b.made(v, nil)
	case q.kind == askCell && q.agrees:
		return b.asPrinted(v, nil)
	case q.kind == askNoGoods, q.kind == askFormGoods:
		return b.noGoods(v, nil)
	case q.kind == askGoods && st.sheet.Form:
		return b.noNumbers(v, nil)
	case q.kind == askFewer:
		return b.takeFewer(v, fields{"value": fewerMissing})
	}
	return said{Sound: "low"}, nil
}

// samePerson takes who is proposed, as if the badge had been scanned.
func (b *readback) samePerson(v *visit, q *paperQuestion) (said, error) {
	for _, badge := range []string{q.proposed, q.with} {
		if badge == "" {
			continue
		}
		if no, err := v.admit(badge); err != nil || no.Words != "" {
			return no, err
		}
		if s, err := b.scanBadge(v, badge); err != nil || s.Words != "" {
			return s, err
		}
	}
	return said{}, nil
}

// waitingPapers are the sheets that wait, with what is known of them: first those that nobody laid aside, the oldest first.
func (v *visit) waitingPapers() (out []*paperSheet, err error) {
	if err := v.d.files.expirePapers(v.now); err != nil {
		return nil, err
	}
	names, err := v.d.files.list(paperFolder)
	if err != nil {
		return nil, err
	}
	for _, code := range names {
		s, found, err := v.d.files.paper(code)
		if ignoreUnreadable(err) != nil {
			return nil, err
		}
		if err != nil {
			v.d.opts.Log.Warn("what was read of a sheet is forgotten", "sheet", code, "error", err)
		}
		if found && err == nil {
			s.hand = v.d.files.paperHand(code)
			out = append(out, s)
		}
	}
	slices.SortFunc(out, func(a, b *paperSheet) int {
		switch {
		case a.aside() && !b.aside():
			return 1
		case b.aside() && !a.aside():
			return -1
		}
		return cmp.Or(a.ReadAt.Compare(b.ReadAt), cmp.Compare(a.Code, b.Code))
	})
	return out, nil
}
