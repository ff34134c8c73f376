package projections

import (
	"slices"
	"strings"
	"time"

	"listbound/events"
)

// Text is what a finding tells a reader in one language.
type Text struct {
	Says string `json:"says"`
	Next string `json:"next"`
}

// sentences is everything that judgement says. Each language is one
// implementation, in a file of its own; one that lacks a sentence does not
// compile. What people typed, and every name and number of a set, list, load,
// station or badge, stands in a sentence as it was recorded.
type sentences interface {
	sayRighted(r *reading) string
	saySwapped(x, y *chain, rs []*reading, ring []TripKey, back *reading, from, to time.Time, places []string) string
	sayLabelToo(other string) string
	nextSwapped(opened bool) string
	sayStale(c, old *chain, r *reading) string
	nextStale() string
	sayAltered(c *chain, r *reading) string
	nextAltered() string
	sayUnknown(c *chain, r *reading) string
	nextUnknown() string
	sayAbsent(c *chain, r *reading, p events.Placement, with TripKey, held *reading) string
	nextAbsent() string
	sayUnreadable(c *chain, r *reading, good bool) string
	nextUnreadable() string
	sayMoved(c *chain, r *reading, sealed events.Placement) string
	nextMoved() string
	sayTrayWithSheet(k TripKey, r *reading, tray string, whose TripKey) string
	sayRecordOfOther(r *reading, tray string) string
	nextIdentity() string
	sayLabelSwapped(r *reading, tray, outer string) string
	sayLabelRighted(set string, r *reading) string
	sayUnderOtherName(k TripKey, r *reading, x TripKey) string
	nextLabel() string
	sayInDoubt(y, x *chain, bad, gone *reading, start *chain, from, to time.Time, places []string) string
	nextInDoubt(opened bool) string
	saySeals(k TripKey, r *reading, gone, strange []string) string
	nextSeals() string
	sayLinkMissing(c *chain, missing []events.Kind, by *item) string
	nextLinkMissing() string
	sayOpenedUnread(c *chain, r *reading, p events.Placement) string
	nextOpenedUnread() string
	sayOutOfOrder(k TripKey, it, before *item) string
	nextOutOfOrder() string
	sayPackedAfterRun(k TripKey, run, pack, open *item) string
	sayReopened(k TripKey, a, b *item) string
	sayCountedOtherCase(k TripKey, open, count *item) string
	nextReopened() string
	sayRepacked(k TripKey, next *item) string
	nextRepacked() string
	sayTwoTrips(older *chain, after *item) string
	sayTwoPlaces(k TripKey, a, b *item) string
	nextTwoPlaces() string
	sayNotReleased(k TripKey, open, last *item) string
	sayFailedRun(k TripKey, run *item) string
	sayWrongCycle(k TripKey, run *item, l *events.ListIssued) string
	sayIndicatorFail(k TripKey, open *item) string
	nextNotReleased() string
	sayRecalled(k TripKey, run *item, p *readLoad, sev Severity, why string, from time.Time) string
	sayRepeatPositive(l *readLoad) string
	sayRepeatOf(l *readLoad) string
	sayRepeatsNegative() string
	sayRepeatsAwaited(n int) string
	nextRecalled(sev Severity, opened bool) string
	saySuperseded(k TripKey, it *item, list string, version int64, newer *item, sealed bool) string
	nextSuperseded() string
	sayListUnknown(k TripKey, it *item, p *events.SetPacked) string
	nextListUnknown() string
	saySealedOther(k TripKey, it *item, p *events.SetPacked, list string, version int64) string
	saySealFalse(k TripKey, it *item, p *events.SetPacked) string
	nextSealedOther() string
	sayCountDiffers(k TripKey, it *item, ds []lineDiff) string
	nextCountDiffers() string
	sayMiddle(k TripKey, it *item, ds []lineDiff, then sequel) string
	nextMiddle(sev Severity, then sequel) string
	sayBetweenLines(k TripKey, ds []lineDiff) string
	sayMisplaced(k TripKey, ds []lineDiff, moves []Move) string
	sayLeft(k TripKey, ds []lineDiff, left, total int64, sets int) string
	nextCount(sev Severity) string
	sayLinesUncounted(c *chain, it *item, lines []int64) string
	sayAfterFinal(k TripKey, final *item, ls []unseenLine) string
	sayStagesMissing(c *chain, missing []events.Stage) string
	nextCountMissing() string
	sayOnePerson(k TripKey, its []*item) string
	nextOnePerson() string
	sayWrongList(c, y *chain, cl class, its []*item) string
	nextWrongList() string
	sayClosed(k TripKey, it *item, d *events.CaseClosed, open []openItem) string
	nextClosed() string
	sayRemark(code Code, station string, its []*item) string
	nextRemark(code Code) string
	sayRemarks(r events.Remark) []string
	sayFixUnread(it, fix *item) string
	nextFixUnread() string
	sayEvent(it *item) string
}

// besides are the languages spoken besides English, by language tag (BCP 47).
var besides = [...]struct {
	lang string
	sentences
}{{"de", german{}}}

// say puts a finding into words. They are made here and kept with the verdict,
// since what they are made from is not.
func (f *Finding) say(words func(sentences) Text) {
	t := words(english{})
	f.Says, f.Next = t.Says, t.Next
	f.Texts = make(map[string]Text, len(besides))
	for _, l := range besides {
		f.Texts[l.lang] = words(l.sentences)
	}
}

// more adds a sentence to what a finding says.
func (f *Finding) more(words func(sentences) string) {
	f.Says += words(english{})
	for _, l := range besides {
		t := f.Texts[l.lang]
		t.Says += words(l.sentences)
		f.Texts[l.lang] = t
	}
}

// In returns what a finding says in a language, in English where it does not
// speak that one. A verdict kept by an earlier version may speak English only.
func (f Finding) In(lang string) Text {
	if t, ok := f.Texts[lang]; ok {
		return t
	}
	return Text{f.Says, f.Next}
}

func (h *HistoryEvent) say(it *item) {
	h.Says = english{}.sayEvent(it)
	h.SaysIn = make(map[string]string, len(besides))
	for _, l := range besides {
		h.SaysIn[l.lang] = l.sayEvent(it)
	}
}

// In returns the event's line in a language, in English where it is not spoken.
func (h HistoryEvent) In(lang string) string {
	if s, ok := h.SaysIn[lang]; ok {
		return s
	}
	return h.Says
}

func spoken(lang string) sentences {
	for _, l := range besides {
		if l.lang == lang {
			return l.sentences
		}
	}
	return english{}
}

// RemarksIn names what is wrong with a record itself in a language.
func RemarksIn(lang string, r events.Remark) []string { return spoken(lang).sayRemarks(r) }

// RemarksIn names the event's remarks in a language.
func (h HistoryEvent) RemarksIn(lang string) []string {
	out := slices.Clone(h.Remarks)
	for r := events.Remark(1); r != 0; r <<= 1 {
		for i, name := range h.Remarks {
			if name == r.String() {
				out[i] = strings.Join(RemarksIn(lang, r), "; ")
			}
		}
	}
	return out
}
