package sessions_test

import (
	"cmp"
	"fmt"
	"maps"
	"net/url"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"time"

	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// readingModel is the model of opening and storage: what a person has said of the set
// in hand.
type readingModel struct {
	where      string
	ref        string
	tag, outer string
	told       bool   // symbols said what they are on
	noTag      bool   // it was said that there is no tag to read
	noOuter    bool   // or no label outside
	sheet      string // code that counts
	looked     bool   // for a sheet
	unreadable bool
	found      string // where the sheet was
	seals      []string
	aside      bool     // “put aside” was pressed
	third      string   // another set that was scanned, and refused; so is its sheet then
	anyway     []string // what the page said when STOP was answered otherwise

	stops, stopLeft bool // the page said STOP last, and did when what lies here was left

	left, readAt time.Time         // what was read was left lying since; and, as a person said, it was read then
	opened       map[string]string // the case that each set is open for
	last, before string            // the set that was opened last, and the case that it was open for before
	twice        bool              // it was said that it was opened once more
	begun        string            // the case that the set which was opened last was the first of
	old          string            // the case of another day that was said to be the same
}

// newReadingModel begins with sets that are packed, sealed and sterilized anew.
func newReadingModel(w *walk, where string) *readingModel {
	for _, set := range []string{"LAP-014", "LAP-022", "VAS-003"} {
		w.packAgain(set)
	}
	return &readingModel{where: where, opened: make(map[string]string)}
}

func (m *readingModel) place() string { return m.where }

func (m *readingModel) each() int { return 1 }

func (m *readingModel) busy() bool { return !m.idle() }

func (m *readingModel) idle() bool { return m.tag == "" && m.outer == "" && !m.looked }

func (m *readingModel) clone() player {
	c := *m
	c.seals, c.anyway, c.opened = slices.Clone(m.seals), slices.Clone(m.anyway), maps.Clone(m.opened)
	return &c
}

// set is the one in hand.
func (m *readingModel) set() string { return cmp.Or(m.tag, m.outer) }

// asked is the input that the page asks for, ok where it asks for one.
func (m *readingModel) asked(w *walk, shown workplacetest.Answer) (s step, ok bool) {
	set, yes := cmp.Or(m.set(), "LAP-014"), map[string]string{"value": "yes"}
	for _, x := range []struct {
		words string
		step
	}{
		{"Was it obeyed?", step{verb: "do", action: pick(w, "put-aside", "put-aside", "forget", "read-again")}},
		{"nothing was recorded", step{verb: "do", action: pick(w, "read-again", "as-read", "as-read")}},
		{"Is it the same case?", step{verb: "do", action: pick(w, "old-case", "old-case", "next-case"), fields: shown.Choice("old-case")}},
		{"Was it opened a second time?", step{verb: "do", action: pick(w, "twice", "forget")}},
		{": scan the outer label", pick(w, step{verb: "scan", text: "(8004)" + set, kind: events.ScanSet, id: set},
			step{verb: "do", action: "no-outer", fields: yes})},
		{"scan the count sheet", step{verb: "scan", text: w.h.Codes[set], kind: events.ScanSheet, id: w.h.Codes[set]}},
		{"Where was the count sheet", step{verb: "scan", text: "1"}},
		{"Scan the case", w.label(events.ScanCase, "K-1")},
		{"badge", w.label(events.ScanBadge, "B-1")},
		{"Enter records", step{verb: "scan"}},
		{"Put it aside", step{verb: "do", action: pick(w, "put-aside", "anyway", "forget")}},
		{"Scan the tag on the tray", pick(w, w.label(events.ScanTag, set), step{verb: "do", action: "no-tag", fields: yes})},
	} {
		if shown.Says(x.words) || strings.Contains(fmt.Sprint(shown["hands"]), x.words) {
			if x.kind == events.ScanSheet && x.text == "" { // it was never packed
				x.step = step{verb: "do", action: "found", fields: map[string]string{"value": "none"}}
			}
			if x.kind == events.ScanTag {
				x.kind = events.ScanSet
			}
			return x.step, true
		}
	}
	return step{}, false
}

func (m *readingModel) next(w *walk, shown workplacetest.Answer) step {
	if s, ok := m.asked(w, shown); ok && w.careful() {
		return s
	}
	if s, ok := w.common(); ok {
		return s
	}
	set := pick(w, "LAP-014", "LAP-014", "LAP-022", "VAS-003")
	value := func(v string) map[string]string { return map[string]string{"value": v} }
	switch w.rng.IntN(14) {
	case 0, 1, 2:
		return step{verb: "scan", text: pick(w, workplacetest.Label(w.h.T, events.ScanSet, set), "(8004)"+set, set,
			"12"+workplacetest.Label(w.h.T, events.ScanSet, set)), kind: events.ScanSet, id: set}
	case 3:
		s := w.label(pick(w, events.ScanTag, events.ScanOuter), set)
		s.kind = events.ScanSet
		return s
	case 4, 5:
		return step{verb: "scan", text: w.h.Codes[set], kind: events.ScanSheet, id: w.h.Codes[set]}
	case 6:
		return w.label(events.ScanCase, pick(w, "K-1", "K-2"))
	case 7:
		return w.label(events.ScanSeal, pick(w, "483924", "483922"))
	case 8:
		return step{verb: "scan", text: pick(w, "1", "2", "3", "4", "12", "777")}
	case 9, 10:
		return step{verb: "do", action: "found", fields: value(pick(w, "outside", "inside-bag", "none", "unreadable"))}
	case 11:
		return step{verb: "do", action: pick(w, "put-aside", "anyway", "swap", "seals-none")}
	case 12:
		if w.rng.IntN(2) == 0 {
			return step{verb: "do", action: pick(w, "no-tag", "no-outer"), fields: value(pick(w, "yes", "yes", ""))}
		}
		return w.neverPacked()
	}
	return step{verb: "do", action: pick(w, "forget", "clear", "next-person", "next-case", "record"), fields: value("")}
}

// neverPacked scans a set that is unknown here.
func (w *walk) neverPacked() step {
	s := w.label(pick(w, events.ScanTag, events.ScanOuter), "NEW-9")
	s.kind = events.ScanSet
	return s
}

func (m *readingModel) clear() {
	*m = readingModel{where: m.where, ref: m.ref, old: m.old, begun: m.begun, opened: m.opened, last: m.last, before: m.before}
}

// takenBack is told when the last record was taken back.
func (m *readingModel) takenBack(w *walk) {
	if m.last != "" {
		m.opened[m.last] = m.before
		if m.begun != "" {
			w.kept.cases[m.begun] = time.Time{} // a case still, and who knows since when
		}
	}
	m.last, m.begun = "", ""
}

// leave is what time does: what was read and not recorded is asked about.
func (m *readingModel) leave(w *walk) {
	if !m.idle() && m.left.IsZero() && (w.day(w.h.Clock()) != w.day(w.active) || w.h.Clock().Sub(w.active) > 20*time.Minute) {
		m.left = w.active
		if !m.readAt.IsZero() {
			m.left, m.readAt = m.readAt, time.Time{}
		}
		m.anyway, m.aside, m.stopLeft = nil, false, m.stops
	}
}

// nextHere: for which case it is, the next person says. A lock that was read before any set is of none that they have.
func (m *readingModel) nextHere() {
	if m.ref, m.old = "", ""; m.idle() {
		m.seals = nil
	}
}

// learnLeft takes in the answer to whether what was left lying was read then, or to a STOP that was, and reports whether
// an input means nothing while that is asked. What is read on top of what was read then begins anew; under STOP nothing is.
func (m *readingModel) learnLeft(w *walk, s step, shown, a workplacetest.Answer) bool {
	asks := a.Says("was read here at") || a.Says("Nobody has answered this since") ||
		a.Stops() && a.AsksAbout() != "" // what a code is stands beside it, and in place of since when
	reads := s.kind == events.ScanSet || s.kind == events.ScanSheet || s.kind == events.ScanSeal
	answered := s.action == "forget" || s.action == "put-aside" && !asks
	switch {
	case m.left.IsZero() && m.readAt.IsZero():
	case m.left.IsZero() && reads && a["sound"] == "low": // no scan goes past a STOP
		return true
	case m.left.IsZero() && reads && m.stops:
		w.fail("a scan goes past a STOP of what was read some time ago: %+v", s)
	case m.left.IsZero() && reads:
		m.clear()
	case m.left.IsZero():
		// A set is opened now: what is said of one that was read some time ago is not that it is opened all the same.
		return slices.Contains([]string{"swap", "seals-none", "no-tag", "no-outer", "anyway"}, s.action) ||
			s.action == "found" && m.placed()
	case m.stopLeft && !asks && !answered && !shown.Stops():
		w.fail("a STOP that was left lying is gone without an answer: %+v", s)
	case s.action == "forget":
	case answered:
		m.readAt, m.left, m.aside = m.left, time.Time{}, true
		w.kept.tried["STOP answered later"]++
		return true
	case asks:
		return (s.kind != events.ScanCase || m.stopLeft) && s.action != "next-case" && s.action != "old-case"
	case reads, s.action == "read-again":
		m.clear()
	case s.action == "as-read" && m.where == "storage": // a set is opened now, whenever it was read
		m.readAt, m.left = m.left, time.Time{}
	case s.kind == events.ScanCase, slices.Contains([]string{"clear", "next-case"}, s.action):
	default:
		return true
	}
	return false
}

// placed reports whether it is said where the sheet that was read was.
func (m *readingModel) placed() bool { return !m.looked || m.found != "" }

func (m *readingModel) learn(w *walk, s step, shown, a workplacetest.Answer) {
	defer func() {
		if !a.Says("Why is it taken back?") { // a question about the record before
			if s.action == "next-person" && m.stops && !a.Stops() && !m.idle() {
				w.fail("a STOP is gone with who worked here: %v", a["words"])
			}
			m.stops = a.Stops() && !m.idle()
		}
	}()
	if m.learnLeft(w, s, shown, a) {
		return
	}
	if a.Says(s.id + " is a third set") {
		m.third = s.id
	}
	switch {
	case s.action == "twice" && shown.Says("Was it opened a second time?"):
		m.twice = true
	case s.kind == events.ScanCase && m.where == "opening":
		if m.ref != s.id {
			m.old = ""
		}
		m.ref = s.id
	case s.action == "old-case" && m.ref != "" && s.fields["value"] == m.ref:
		m.old = m.ref
	case s.kind == events.ScanSet:
		m.readSet(s)
	case s.kind == events.ScanSheet:
		third := m.third
		if m.third = ""; third == "" || w.h.Codes[third] != s.id {
			m.readSheet(w, s.id)
		}
	case s.kind == events.ScanSeal && !slices.Contains(m.seals, s.id):
		m.seals = append(m.seals, s.id)
	case s.action == "seals-none":
		m.seals = nil
	case s.verb == "scan" && len(s.text) == 1 && shown["aside"] != nil && a["sound"] == "low":
		// It may have been typed at what was said last: the question is asked again.
	case s.verb == "scan" && len(s.text) == 1 && strings.Contains("123", s.text) && shown.Says("Where was the count sheet?"):
		m.saidWhere([]string{"outside", "inside-bag", "inside-bare"}[s.text[0]-'1'])
	case s.action == "found":
		m.saidWhere(s.fields["value"])
	case s.action == "swap" && !m.told:
		m.tag, m.outer, m.noTag, m.noOuter = m.outer, m.tag, false, false
	case m.where == "opening" && s.action == "no-tag" && m.tag == "":
		m.noTag = m.outer != "" && s.fields["value"] == "yes"
	case m.where == "opening" && s.action == "no-outer" && m.outer == "":
		m.noOuter = m.tag != "" && s.fields["value"] == "yes"
	case s.action == "put-aside" && m.set() != "":
		m.aside = true
	case s.action == "anyway" && m.where == "opening":
		if m.aside = false; shown["status"] == "broken" { // else there was no STOP to answer
			m.anyway = found(shown)
		}
	case s.action == "next-case" && m.where == "opening":
		m.ref, m.old = "", ""
	case s.action == "forget", s.action == "clear" && !a.Says("Answer the STOP"):
		m.clear()
	}
}

// found is all that the page says to be wrong.
func found(shown workplacetest.Answer) []string {
	out := []string{fmt.Sprint(shown["words"])}
	older, _ := shown["older"].([]any)
	for _, o := range older {
		out = append(out, fmt.Sprint(o.(map[string]any)["words"]))
	}
	return out
}

// readSet reads what is on a set: the tag on the tray, the label outside, or a code that
// does not say which of the two it is, which is the tag first. A third set is none of it,
// and such a code is not what there is none of, as a person said.
func (m *readingModel) readSet(s step) {
	at := &m.outer
	switch {
	case strings.HasPrefix(s.text, "X9T"):
		at, m.told = &m.tag, true
	case strings.Contains(s.text, "X9O"):
		m.told = true
	case strings.Contains(s.text, "X9"): // from before labels said which of the two they are: taken for the outer one
	case m.tag == "" && !m.noTag:
		at = &m.tag
	case m.outer == "" && m.noOuter && s.id == m.tag:
		at = &m.tag
	case m.outer == "" && m.noOuter, m.outer != "" && s.id != m.tag && s.id != m.outer:
		return
	}
	switch *at {
	case "":
		*at = s.id
		m.noTag, m.noOuter = m.noTag && m.tag == "", m.noOuter && m.outer == ""
	case s.id:
	default:
		if strings.Contains(s.text, "X9") {
			return
		}
	}
	m.anyway, m.aside = nil, false
}

// readSheet reads a sheet. One that is another set's stays the one that counts, and
// where a sheet was is said of that one alone.
func (m *readingModel) readSheet(w *walk, code string) {
	own := w.h.Codes[m.set()]
	// Of a known set a sheet that is not its own stays: the set's own does not put that right, and a third one is refused.
	if m.sheet != "" && m.sheet != code && (code == own || own != "" && m.sheet != own) {
		return // a page of the set's own among others
	}
	if m.sheet != "" && m.sheet != code || m.found == events.FoundNone {
		m.found = ""
	}
	m.sheet, m.looked, m.unreadable = code, true, false
	m.anyway, m.aside = nil, false
}

// saidWhere says where the sheet was, that there is none, or that it can't be read.
func (m *readingModel) saidWhere(where string) {
	switch {
	case where == "unreadable":
		if m.found == events.FoundNone {
			m.found = ""
		}
		m.sheet, m.looked, m.unreadable = "", true, true
	case m.set() == "" && !m.looked: // of which set's sheet?
	case where == events.FoundNone:
		m.sheet, m.looked, m.unreadable, m.found = "", true, false, where
	default:
		m.looked, m.found = true, where
	}
}

// asideSaid reports whether an input ends putting aside: the button, or what was asked
// for after it.
func (m *readingModel) asideSaid(s step) bool {
	return m.aside && (s.kind == events.ScanBadge || s.action == "found" || s.action == "put-aside" || len(s.text) == 1)
}

func (m *readingModel) promised(w *walk, s step, shown workplacetest.Answer) bool {
	if shown.Says("it records that") && m.aside { // “Scan your badge: it records that LAP-014 is put aside”
		return s.kind == events.ScanBadge
	}
	return s.enter() && shown.Promises()
}

func (m *readingModel) held(w *walk, s step, shown workplacetest.Answer, e *events.Event) {
	aside := m.asideSaid(s)
	if !s.enter() && s.action != "record" && !aside {
		w.fail("%s recorded by %+v", e.Kind(), s)
	}
	if s.enter() && !shown.Says("Enter records") {
		w.fail("Enter recorded what the page did not say: %v", shown["words"])
	}
	if shown.Stops() && !slices.Contains(m.anyway, fmt.Sprint(shown["words"])) && !aside {
		w.fail("a STOP that nobody answered was recorded: %v", shown["words"])
	}
	if !m.left.IsZero() {
		w.fail("recorded though nobody said that it was read by now")
	}
	var tag, outer, ref string
	var seals []string
	var sheet *events.Reading
	switch d := e.Data.(type) {
	case *events.SetOpened:
		tag, outer, sheet, ref, seals = d.Tag, d.OuterLabel, d.Sheet, d.Case, d.Seals
		if !m.readAt.IsZero() {
			w.fail("opened as of when it was read, which is not when it was opened")
		}
		if aside || m.where != "opening" || ref != m.ref || ref == "" {
			w.fail("opened for %q; the case that was said is %q", ref, m.ref)
		}
		if m.opened[m.set()] == ref && !m.twice {
			w.fail("%s is open for %s, and nobody said that it was opened again", m.set(), ref)
		}
		since := w.kept.cases[ref]
		if !since.IsZero() && w.day(since) != w.day(w.at) && m.old != ref {
			w.fail("opened for %s, which was begun on another day, and nobody said that it is the same", ref)
		}
		if m.begun = ""; since.IsZero() {
			w.kept.cases[ref], m.begun = e.Time, ref
		}
		m.last, m.before = m.set(), m.opened[m.set()]
		m.opened[m.set()] = ref
		if tag == "" && !m.noTag || outer == "" && !m.noOuter {
			w.fail("opened with the tag %q and the label %q, and nobody said that there is none", tag, outer)
		}
	case *events.SetChecked:
		tag, outer, sheet, seals, m.last = d.Tag, d.OuterLabel, d.Sheet, d.Seals, ""
		if aside != (d.Aside == events.AsidePut) || !aside && m.where != "storage" {
			w.fail("checked, aside %q; said was %v", d.Aside, aside)
		}
	default:
		w.fail("recorded: %s", e.Kind())
	}
	if aside && s.kind == events.ScanBadge && !shown.Says("it records that") {
		w.fail("put aside by a badge that the page did not ask for: %v", shown["words"])
	}
	if e.Operator != w.badge() || e.Operator == "" {
		w.fail("recorded by %q; the badge that was shown is %q", e.Operator, w.badge())
	}
	if e.Subject != m.set() || tag != m.tag || outer != m.outer || !slices.Equal(seals, m.seals) {
		w.fail("recorded of %s, tag %q, label %q, seals %v; read were %q, %q, %v", e.Subject, tag, outer, seals, m.tag, m.outer, m.seals)
	}
	var want *events.Reading
	if m.looked {
		want = &events.Reading{Code: m.sheet, Found: m.found, Unreadable: m.unreadable}
	}
	if !reflect.DeepEqual(sheet, want) {
		w.fail("recorded with the sheet %+v; said was %+v", sheet, want)
	}
}

func (m *readingModel) recorded(*walk) { m.clear() }

// packModel is the model of packing: each line as it was shown and answered.
type packModel struct {
	set   string
	lines map[int64]events.Exception            // as counted; Reason where one was said
	all   map[string]map[int64]events.Exception // lines by set
	grams int64
	light bool // it was said that it is not weighed

	about    string           // the set of which it is asked whether it is packed anew
	versions map[string]int64 // by which each set is packed
	stayed   int64            // version that the set in hand is not packed by, as was said

	openIn, openWas string // the case that the short set is open in, and was before it was packed last
	allTheSame      bool   // it was said of the set in hand that it is packed all the same

	lacks, lacksWas bool // a piece of the short set is missing since its case, or it was packed short; or was, before it was packed last
	counts          bool // it was said of the set in hand that each line is counted

	right int64                          // grams that are right, as was said, though they are far from those of the last time
	again bool                           // it is weighed again
	last  struct{ version, grams int64 } // by which version the short set was packed last here, and what it weighed then
}

func newPackModel() *packModel {
	return &packModel{lines: make(map[int64]events.Exception), all: make(map[string]map[int64]events.Exception),
		versions: make(map[string]int64)}
}

// shortSet is the set that is packed most. Its list is issued anew now and then.
const shortSet, shortList = "URO-005", "URO-MINOR"

// versionOf is a version of the short list: the lines change their numbers and quantities.
func versionOf(version int64) *events.ListIssued {
	l := workplacetest.ListShort()
	l.List, l.Version = shortList, version
	for i := range l.Lines {
		from := workplacetest.ListShort().Lines[(i+int(version))%3]
		from.Line = int64(i + 1)
		if i == 0 {
			from.Quantity += version % 3
		}
		l.Lines[i] = from
	}
	return l
}

// issue issues the short list anew.
func (w *walk) issue() {
	w.h.Shorts++
	w.h.Record("north/packing-1", events.KindListIssued, "", versionOf(w.h.Shorts))
	w.steps = append(w.steps, fmt.Sprintf("  version %d of the list is issued", w.h.Shorts))
}

// startPacking begins where the set was packed before.
func startPacking(w *walk) *packModel {
	if w.h.Shorts == 0 {
		w.issue()
	}
	w.h.Record("north/packing-1", events.KindSetPacked, shortSet, &events.SetPacked{List: shortList, Version: w.h.Shorts})
	m := newPackModel()
	if w.rng.IntN(3) == 0 {
		m.openIn = fmt.Sprintf("P-%d", w.n)
		w.h.Record("north/or-3", events.KindSetOpened, shortSet, &events.SetOpened{Case: m.openIn, Tag: shortSet})
	}
	if w.rng.IntN(3) == 0 {
		if m.openIn == "" {
			ref := fmt.Sprintf("L-%d", w.n)
			w.h.Record("north/or-3", events.KindSetOpened, shortSet, &events.SetOpened{Case: ref, Tag: shortSet})
			w.h.Record("north/or-3", events.KindCaseClosed, "", &events.CaseClosed{Case: ref, Outcome: "reconciled", Actions: []string{}})
		}
		m.lacks = true
		w.h.Record("north/or-3", events.KindSetReturned, shortSet, &events.SetReturned{Step: events.ReturnReceived,
			Faults: []events.ReturnFault{events.ReturnIncomplete}})
	}
	return m
}

func (m *packModel) place() string { return "packing" }

func (m *packModel) each() int { return 1 }

func (m *packModel) busy() bool { return m.set != "" }

func (m *packModel) promised(w *walk, s step, shown workplacetest.Answer) bool {
	return s.enter() && shown.Promises() && !m.newer(w) && !m.asksOpen() && !m.asksLacks()
}

// asksLacks reports whether a piece of the set is missing, and nobody said that its lines are counted.
func (m *packModel) asksLacks() bool { return m.set == shortSet && m.lacks && !m.counts }

// asksOpen reports whether the set is open in a case, and nobody said that it is packed all the same.
func (m *packModel) asksOpen() bool { return m.set == shortSet && m.openIn != "" && !m.allTheSame }

// newer reports whether a version was issued that nobody has answered.
func (m *packModel) newer(w *walk) bool {
	return m.set == shortSet && m.versions[shortSet] != w.h.Shorts && m.stayed != w.h.Shorts
}

func (m *packModel) clone() player {
	c := *m
	c.about = "" // a question is nothing that was entered
	c.lines, c.all, c.versions = maps.Clone(m.lines), make(map[string]map[int64]events.Exception), maps.Clone(m.versions)
	for set, lines := range m.all {
		c.all[set] = maps.Clone(lines)
	}
	if m.set != "" {
		c.all[m.set] = c.lines
	}
	return &c
}

// listed are the lines that a set is packed by.
func (m *packModel) listed() []events.Line {
	switch m.set {
	case shortSet:
		return versionOf(m.versions[shortSet]).Lines
	case "LAP-014":
		return workplacetest.List60().Lines
	}
	return workplacetest.ListShort().Lines
}

// shownLine is the line that the page asks for, nil for none.
func (m *packModel) shownLine(shown workplacetest.Answer) *events.Line {
	words, _ := shown["words"].(string)
	for _, l := range m.listed() {
		if words == fmt.Sprintf("%d × %s", l.Quantity, l.Description) {
			return &l
		}
	}
	return nil
}

// why is the line that the page asks about, 0 for none.
func (m *packModel) why(shown workplacetest.Answer) (line int64) {
	words, _ := shown["words"].(string)
	var counted, listed int64
	if n, _ := fmt.Sscanf(words, "Line %d: %d of %d. Why?", &line, &counted, &listed); n != 3 {
		return 0
	}
	return line
}

// asked is the first line that is not as listed and of which nobody said why, 0 for none: the line that is counted again,
// whatever else the page has said since it asked.
func (m *packModel) asked() int64 {
	for _, line := range slices.Sorted(maps.Keys(m.lines)) {
		if x := m.lines[line]; x.Reason == "" && x.Counted != m.listed()[line-1].Quantity {
			return line
		}
	}
	return 0
}

func (m *packModel) lies() bool { return m.set != "" && (len(m.lines) > 0 || m.grams > 0 || m.light) }

// onlyThey: lines that are not as listed.
func (m *packModel) onlyThey() bool {
	return slices.ContainsFunc(slices.Collect(maps.Values(m.lines)), func(x events.Exception) bool {
		return x.Reason != "" || x.Counted != m.listed()[x.Line-1].Quantity
	})
}

func (m *packModel) beginAnew(w *walk) {
	clear(m.lines)
	m.turn(w, m.set)
}

func (m *packModel) next(w *walk, shown workplacetest.Answer) step {
	ask := w.careful()
	switch {
	case ask && shown.Says("the last time. Weigh it again?") && w.rng.IntN(3) > 0:
		return step{verb: "do", action: "weighed", fields: map[string]string{"value": pick(w, "", fmt.Sprint(m.grams))}}
	case ask && shown.Says("Weigh it"):
		return step{verb: "scan", text: pick(w, "4.2", "7")}
	case ask && shown.Says("badge"):
		return w.label(events.ScanBadge, "B-1")
	case ask && m.why(shown) > 0:
		return step{verb: "scan", text: pick(w, "1", "2", "3", "4", "7", "")}
	case ask && shown.Says("is not opened"):
		return step{verb: "do", action: pick(w, "anew", "anew", "leave"), fields: shown.Choice("anew")}
	case ask && shown.Says("packed all the same?"):
		return step{verb: "do", action: pick(w, "open", "open", "open", "leave"), fields: shown.Choice("open")}
	case ask && shown.Says("was issued anew"):
		return step{verb: "do", action: pick(w, "newest", "newest", "stay"), fields: shown.Choice("newest")}
	case ask && shown.Says("count each line"):
		return step{verb: "do", action: pick(w, "lacks", "lacks", "lacks", "leave"), fields: shown.Choice("lacks")}
	case shown.AsksClean():
		return step{verb: "do", action: pick(w, "unclean", "unclean", "leave"), fields: shown.Choice("unclean")}
	case ask && shown.Says("Throw away what was entered"):
		return step{verb: "do", action: pick(w, "clear", "go-on"), fields: shown.Choice("clear")}
	case ask && m.set == shortSet && m.shownLine(shown) != nil: // 60 lines are more than a session has inputs
		return step{verb: "scan", text: pick(w, "", "", "", "3", "9")}
	case ask && shown.Promises():
		return step{verb: "scan"}
	}
	if s, ok := w.common(); ok {
		return s
	}
	switch w.rng.IntN(8) {
	case 0, 1, 2:
		return w.label(events.ScanSet, pick(w, shortSet, shortSet, shortSet, "LAP-014"))
	case 3:
		return step{verb: "scan", text: pick(w, "1", "2", "12", "0")}
	case 4:
		return step{verb: "do", action: "again"}
	case 5:
		return step{verb: "do", action: pick(w, "record", "enter")}
	case 6:
		return step{verb: "do", action: "weight", fields: map[string]string{"weight": pick(w, "", "5,5", "-1")}}
	}
	return step{verb: "do", action: pick(w, "next-person", "next-person", "clear")}
}

func (m *packModel) learn(w *walk, s step, shown, a workplacetest.Answer) {
	if a.Says("Read twice") {
		return
	}
	number, err := strconv.ParseInt(s.text, 10, 64)
	typed := err == nil && s.verb == "scan"
	line := m.shownLine(shown)
	enter := s.enter() || s.action == "enter"
	if s.action == "take-back" && a.Says("Taken back: "+shortSet) {
		m.openIn, m.openWas = m.openWas, ""
		m.last.version = 0 // what counts is the packing before that one
		m.lacks, m.lacksWas = m.lacksWas, false
	}
	if m.meanwhile(w, s, shown, a) {
		return
	}
	switch {
	case s.kind == events.ScanSet && s.id == m.set && len(m.lines) == 0:
		m.versions[m.set] = w.h.Shorts // nothing is counted yet
	case s.kind == events.ScanSet && s.id != m.set && a.Says("is not opened"):
		m.about = s.id
	case s.kind == events.ScanSet && !a.Says("is half packed") && s.id != m.set && fmt.Sprint(a["what"]) == s.id && a["no"] == nil:
		m.turn(w, s.id)
	case s.action == "clear" && !a.Says("Throw away what was entered"), s.action == "leave":
		m.drop()
	case s.action == "again" || s.action == "weight" || s.action == "weighed" && shown.Says("the last time. Weigh it again?"):
		m.answer(s, shown)
	case m.why(shown) > 0 && typed && number >= 1 && number <= 5:
		x, counted := m.lines[m.why(shown)]
		if !counted {
			w.fail("asked why of line %d, which nobody counted", m.why(shown))
		}
		reason := []string{"missing", "substituted", "damaged", "added", "repair"}[number-1]
		listed := m.listed()[x.Line-1].Quantity
		if reason == "substituted" || (reason == "added") == (x.Counted > listed) { // else it is asked again
			x.Reason = reason
			m.lines[x.Line] = x
		}
	case line != nil && (enter || typed && len(s.text) <= 3):
		x := events.Exception{Line: line.Line, Counted: line.Quantity}
		if typed {
			x.Counted = number
		}
		m.lines[line.Line] = x
	case shown.Says("Weigh it") && s.verb == "scan":
		if kg, err := strconv.ParseFloat(s.text, 64); err == nil && len(s.text) <= 3 && kg > 0 {
			m.grams, m.light, m.again = int64(kg*1000+0.5), false, false
		}
	}
}

// meanwhile takes in the answers to what is asked since something happened elsewhere.
func (m *packModel) meanwhile(w *walk, s step, shown, a workplacetest.Answer) bool {
	switch {
	case s.action == "open" && m.asksOpen() && shown.Says("packed all the same?") && s.fields["value"] == m.openIn:
		m.allTheSame = true
		w.kept.tried["packed while open"]++
	case s.action == "lacks" && m.asksLacks() && shown.Says("count each line") && s.fields["value"] != "":
		m.counts = true
		w.kept.tried["packed after a piece was missing"]++
	case s.action == "anew" && m.about != "" && s.fields["value"] != "":
		m.turn(w, m.about)
		m.about = ""
	case s.action == "newest" && shown.Says("was issued anew") && s.fields["value"] == fmt.Sprint(w.h.Shorts):
		was := m.listed()
		m.versions[shortSet] = w.h.Shorts
		m.grams, m.light, m.again = 0, false, false // what was weighed is another set of instruments
		for line := range m.lines {
			if m.listed()[line-1] != was[line-1] {
				delete(m.lines, line)
			}
		}
		w.kept.tried["issued meanwhile"]++
	case s.action == "stay" && shown.Says("was issued anew") && s.fields["value"] == fmt.Sprint(w.h.Shorts):
		m.stayed = w.h.Shorts
	default: // nothing but what is said of the set as a whole
		asked := m.newer(w) || m.asksOpen() || shown.AsksClean() || m.asksLacks()
		return asked && s.kind == "" && !slices.Contains([]string{"weight", "clear", "leave"}, s.action)
	}
	return true
}

// answer takes the buttons.
func (m *packModel) answer(s step, shown workplacetest.Answer) {
	switch {
	case s.action == "again":
		delete(m.lines, m.asked())
	case s.action == "weighed" && s.fields["value"] == "":
		m.grams, m.again = 0, true
	case s.action == "weighed":
		m.right, _ = strconv.ParseInt(s.fields["value"], 10, 64)
	case s.fields["weight"] == "5,5":
		m.grams, m.light, m.again = 5500, false, false
	case s.fields["weight"] == "" && !m.again && !m.far():
		m.grams, m.light = 0, true
	}
}

// far reports whether the weight is far from that of the last time, and nobody said that it is right.
func (m *packModel) far() bool {
	off := max(m.grams-m.last.grams, m.last.grams-m.grams)
	return m.set == shortSet && m.last.version == m.versions[shortSet] && m.grams > 0 && off*10 > m.last.grams && m.right != m.grams
}

func (m *packModel) held(w *walk, s step, shown workplacetest.Answer, e *events.Event) {
	d, ok := e.Data.(*events.SetPacked)
	if !ok || !s.enter() && s.action != "record" && s.action != "enter" {
		w.fail("%s recorded by %+v", e.Kind(), s)
	}
	if e.Subject != m.set || e.Operator != w.operator || e.Operator == "" || d.SecondLook != "" &&
		!slices.Contains(w.badges, d.SecondLook) {
		w.fail("packed %s by %s; said were %s and %s", e.Subject, e.Operator, m.set, w.operator)
	}
	if m.asksOpen() {
		w.fail("packed %s, which is open in case %s; nobody said that it is packed all the same", m.set, m.openIn)
	}
	if m.asksLacks() {
		w.fail("packed %s, of which a piece is missing; nobody said that its lines are counted", m.set)
	}
	if d.WeightGrams != m.grams {
		w.fail("%d g; said were %d", d.WeightGrams, m.grams)
	}
	if m.far() {
		w.fail("%d g, %d g the last time, and nobody said that it is right", m.grams, m.last.grams)
	}
	if m.set == shortSet && (d.List != shortList || d.Version != m.versions[shortSet]) {
		w.fail("packed by %s, version %d; said was %d", d.List, d.Version, m.versions[shortSet])
	}
	var want []events.Exception
	for _, l := range m.listed() {
		x, ok := m.lines[l.Line]
		if !ok {
			w.fail("line %d is packed, which nobody was shown", l.Line)
		}
		if x.Counted != l.Quantity || x.Reason != "" {
			want = append(want, x)
		}
	}
	if !slices.Equal(d.Exceptions, want) {
		w.fail("recorded %v; said were %v", d.Exceptions, want)
	}
}

func (m *packModel) recorded(*walk) {
	if m.set == shortSet {
		m.openIn, m.openWas = "", m.openIn // packed anew it is open nowhere
		m.lacks, m.lacksWas = slices.ContainsFunc(m.listed(), func(l events.Line) bool {
			return m.lines[l.Line].Counted < l.Quantity
		}), m.lacks
		m.last.version, m.last.grams = m.versions[shortSet], m.grams
		if m.grams == 0 {
			m.last.version = 0 // it was not weighed
		}
	}
	m.drop()
}

// turn takes another set up. What was counted of a set before stays.
func (m *packModel) turn(w *walk, set string) {
	if m.all[set] == nil {
		m.all[set] = make(map[int64]events.Exception)
	}
	if len(m.all[set]) == 0 {
		m.versions[set] = w.h.Shorts
	}
	m.set, m.lines, m.grams, m.light, m.stayed, m.allTheSame, m.counts = set, m.all[set], 0, false, 0, false, false
	m.right, m.again = 0, false
}

func (m *packModel) drop() {
	delete(m.all, m.set)
	*m = packModel{all: m.all, versions: m.versions, last: m.last, openIn: m.openIn, openWas: m.openWas,
		lacks: m.lacks, lacksWas: m.lacksWas, lines: make(map[int64]events.Exception)}
}

// sealModel is the model of sealing.
type sealModel struct {
	set, where, lot string
	seals           []string
	opened          bool // it was said of a set that is sterile

	owed, code string // the set whose sheet was printed and is still to be scanned, and that sheet
	waits      string // the set that waits for it

	stray string // another sheet than the printed one was scanned, and is asked about

	strayAt time.Time // when it was scanned
	lay     string    // where it was said to have lain, by this input

	lastLot, lotAsked string // of the bag: recorded last, and one that was scanned and may be something else
}

func (m *sealModel) place() string { return "sealing" }

func (m *sealModel) each() int { return 1 }

func (m *sealModel) busy() bool { return m.set != "" }

func (m *sealModel) promised(_ *walk, s step, shown workplacetest.Answer) bool {
	return s.enter() && shown.Promises()
}

func (m *sealModel) clone() player {
	c := *m
	c.seals = slices.Clone(m.seals)
	return &c
}

func (m *sealModel) lies() bool {
	return m.set != "" && (m.where != "" || m.lot != "" || len(m.seals) > 0)
}

func (m *sealModel) onlyThey() bool { return false }

func (m *sealModel) beginAnew(*walk) {
	*m = sealModel{set: m.set, owed: m.owed, code: m.code, lastLot: m.lastLot}
}

func (m *sealModel) next(w *walk, shown workplacetest.Answer) step {
	places := []string{"outside", "inside-bag", "inside-bare", "screen"}
	ask := w.careful()
	switch {
	case ask && m.stray != "" && shown.Says("that lay with"):
		return pick(w, step{verb: "do", action: "sheet-lay", fields: shown.Choice("sheet-lay")}, step{verb: "scan", text: "2"},
			step{verb: "do", action: "sheet-none", fields: shown.Choice("sheet-none")})
	case ask && shown.Says("that was printed") && w.rng.IntN(2) == 0:
		return step{verb: "scan", text: m.code, kind: events.ScanSheet, id: m.code}
	case ask && shown.Says("that was printed"):
		return step{verb: "do", action: "unscanned", fields: map[string]string{"value": pick(w, "printer", "gone", "scanner", "no")}}
	case ask && shown.Says("is sterile since its run"):
		return step{verb: "do", action: pick(w, "after-run", "after-run", "clear")}
	case ask && shown.Says("On which of the two is it?"):
		return step{verb: "do", action: pick(w, "seal-off", "seal-read"), fields: shown.Choice("seal-off")}
	case ask && shown.Says("not been packed since"):
		return step{verb: "do", action: pick(w, "unpacked", "unpacked", "clear"), fields: shown.Choice("unpacked")}
	case ask && shown.Says("badge"):
		return w.label(events.ScanBadge, "B-1")
	case ask && shown.Says("sheet go?") && w.rng.IntN(2) == 0:
		return step{verb: "scan", text: pick(w, "1", "2", "3", "4")}
	case ask && m.asked(shown) && shown.Says("as the last time") && w.rng.IntN(2) == 0:
		return step{verb: "scan"}
	case ask && m.asked(shown):
		return step{verb: "do", action: "placement", fields: map[string]string{"placement": pick(w, places...)}}
	case ask && shown.Says("is that the lot of the bag?"):
		return step{verb: "do", action: pick(w, "bag-lot", "lot-no"), fields: shown.Choice("bag-lot")}
	case ask && shown.Says("as the last time? Enter = yes, or scan it") && w.rng.IntN(2) == 0:
		return step{verb: "scan"}
	case ask && (shown.Says("lot of the bag") || shown.Says("Lot of the bag")):
		return pick(w, step{verb: "do", action: "lot", fields: map[string]string{"lot": "BG-7"}}, step{verb: "scan", text: "BG-17"})
	case ask && shown.Says("Enter binds"):
		return step{verb: "scan"}
	}
	if s, ok := w.common(); ok {
		return s
	}
	switch w.rng.IntN(7) {
	case 0, 1:
		return w.label(events.ScanSet, pick(w, "VAS-003", "LAP-014", "NEW-1"))
	case 2:
		return w.label(events.ScanSeal, pick(w, "1001", "1002", "1003"))
	case 3:
		return step{verb: "do", action: "seal-off", fields: map[string]string{"value": pick(w, "1001", "1002")}}
	case 4:
		return step{verb: "do", action: "placement", fields: map[string]string{"placement": pick(w, places...)}}
	case 5:
		return step{verb: "do", action: pick(w, "record", "seals-none", "next-person", "clear")}
	}
	code := pick(w, w.h.Codes["VAS-003"], w.h.Codes["LAP-014"], cmp.Or(m.code, w.h.Codes["LAP-022"]))
	return step{verb: "scan", text: code, kind: events.ScanSheet, id: code}
}

func (m *sealModel) learn(w *walk, s step, shown, a workplacetest.Answer) {
	lastLot := m.lastLot
	defer func() { m.lastLot = lastLot }()
	m.lay = ""
	switch {
	case a.Says("Read twice"):
	case s.action == "take-back" && a.Says("Taken back"): // whatever else is asked
		m.owed, m.code, m.waits = "", "", ""
	case m.stray != "":
		m.learnStray(w, s, a)
	case s.kind == events.ScanSheet && s.id != m.code && a.Says("that lay with"):
		m.stray, m.strayAt = s.id, w.at
	case m.owed != "" && s.kind == events.ScanSet && s.id != m.owed:
		if m.waits = s.id; !a.Says("that was printed") {
			w.fail("the sheet that was printed for %s is not asked for before %s", m.owed, s.id)
		}
	case m.owed != "" && m.answers(s):
		w.kept.tried["printed sheet scanned or not"]++
		m.owed, m.code = "", ""
		if m.waits != "" && !m.lies() {
			*m = sealModel{set: m.waits}
		}
		m.waits = ""
	case s.action == "clear":
		*m = sealModel{owed: m.owed, code: m.code}
	case s.kind == events.ScanSet && s.id != m.set && m.lies(): // that one is closed or cleared first
		if !a.Says("is not closed yet") {
			w.fail("%s takes what was entered of %s away", s.id, m.set)
		}
	case s.kind == events.ScanSet && s.id != m.set:
		*m = sealModel{set: s.id, owed: m.owed, code: m.code} // where its sheet goes is said for each set
	case s.kind == events.ScanSet:
		m.waits = ""
	case s.kind == events.ScanSeal && !slices.Contains(m.seals, s.id):
		m.seals = append(m.seals, s.id)
	case s.action == "seal-off":
		m.seals = slices.DeleteFunc(m.seals, func(seal string) bool { return seal == s.fields["value"] })
	case s.action == "seals-none":
		m.seals = nil
	case s.action == "placement":
		if m.where = s.fields["placement"]; m.where != "inside-bag" {
			m.lot, m.lotAsked = "", ""
		}
	case s.verb == "scan" && m.asked(shown) && len(s.text) == 1 && strings.Contains("1234", s.text):
		m.where = []string{"inside-bag", "inside-bare", "outside", "screen"}[s.text[0]-'1']
	case s.enter() && shown.Says("as the last time") && !shown.Says("Lot of the bag"):
		for where, words := range map[string]string{
			"inside-bag": ": inside, in a bag,", "inside-bare": ": inside, no bag,", "outside": ": outside, in the holder,",
			"screen": ": no paper, on the screen,",
		} {
			if shown.Says(words) {
				m.where = where
			}
		}
	case s.action == "after-run" && shown.Says("Was it opened?"):
		m.opened = true
	case s.action == "lot" && a.Says(s.fields["lot"]+": is that the lot of the bag?"):
		m.lot, m.lotAsked = "", s.fields["lot"]
	case s.action == "lot" && (s.fields["lot"] == m.lastLot || s.fields["lot"] == m.lot):
		m.lot, m.lotAsked = s.fields["lot"], ""
	case s.action == "bag-lot":
		m.lot, m.lotAsked = s.fields["value"], ""
	case s.action == "lot-no":
		m.lotAsked = ""
	case s.enter() && shown.Says("as the last time? Enter = yes, or scan it"):
		m.lot = m.lastLot
	case s.verb == "scan" && s.text != "" && a.Says(s.text+": is that the lot of the bag?"):
		m.lotAsked = s.text
	case s.verb == "scan" && a["kind"] == "typed" && s.text != "" && s.text == m.lastLot:
		m.lot, m.lotAsked = s.text, ""
	}
}

// learnStray takes in where another sheet than the printed one lay. Nothing else has a meaning before.
func (m *sealModel) learnStray(w *walk, s step, a workplacetest.Answer) {
	value, err := url.ParseQuery(s.fields["value"])
	switch {
	case s.action == "sheet-lay" && err == nil && value.Get("code") == m.stray:
		m.lay = value.Get("found")
	case s.verb == "scan" && len(s.text) == 1 && strings.Contains("123", s.text):
		m.lay = []string{"outside", "inside-bag", "inside-bare"}[s.text[0]-'1']
	case s.action == "sheet-none" && err == nil && value.Get("code") == m.stray:
		m.stray = ""
		w.kept.tried["another sheet lay elsewhere"]++
	case !a.Stops() && s.action != "undo":
		w.fail("a STOP is gone, and nobody answered it")
	}
}

// answers reports whether an input is the sheet that was printed, or why it is not
// scanned.
func (m *sealModel) answers(s step) bool {
	why := s.action == "unscanned" && slices.Contains([]string{"printer", "gone", "scanner"}, s.fields["value"])
	return why || s.kind == events.ScanSheet && s.id == m.code
}

// asked reports whether the page asks where the sheet of the set goes.
func (m *sealModel) asked(shown workplacetest.Answer) bool {
	return shown.Says("sheet go?") || shown.Says("as the last time") && !shown.Says("Lot of the bag")
}

func (m *sealModel) held(w *walk, s step, shown workplacetest.Answer, e *events.Event) {
	if c, read := e.Data.(*events.SetChecked); read {
		if m.lay == "" || c.Sheet == nil || c.Sheet.Code != m.stray || c.Sheet.Found != m.lay || e.Operator != w.operator {
			w.fail("sheet read: %+v by %s; said was %s, %s", c.Sheet, e.Operator, m.stray, m.lay)
		}
		w.kept.tried["another sheet with the set"]++
		return
	}
	d, ok := e.Data.(*events.ListSealed)
	if !ok || !s.enter() && s.action != "record" {
		w.fail("%s recorded by %+v", e.Kind(), s)
	}
	if s.enter() && !shown.Says("Enter binds") {
		w.fail("Enter sealed what was not shown: %v", shown["words"])
	}
	if e.Subject != m.set || e.Operator != w.badge() || string(d.Placement) != m.where || !slices.Equal(d.Seals, m.seals) {
		w.fail("sealed %s by %s, %s, %v; said were %s, %s, %s, %v", e.Subject, e.Operator, d.Placement, d.Seals,
			m.set, w.badge(), m.where, m.seals)
	}
	if d.Placement == events.InsideBag && d.BagLot != m.lot {
		w.fail("lot %q; said was %q", d.BagLot, m.lot)
	}
	if m.owed != "" && m.owed != m.set {
		w.fail("%s is closed, and nobody scanned the sheet of %s or said why not", m.set, m.owed)
	}
	m.code = d.Code
}

func (m *sealModel) recorded(*walk) {
	if m.lay != "" {
		m.stray, m.lay = "", ""
		return
	}
	next := sealModel{lastLot: cmp.Or(m.lot, m.lastLot)}
	if m.where != "screen" {
		next.owed, next.code = m.set, m.code
	}
	*m = next
}

// loadModel is the model of the sterilizer.
type loadModel struct {
	loads   map[string][]string // sets that were put into each load
	runs    map[string]bool     // loads that were started
	oldDay  map[string]bool     // loads that keep the number of another day, as was said
	load    string
	of      string // load whose indicator is read
	shows   string // what it shows, as was said; its lot too
	control string
	lot     string
	ending  string // how the load ended, as was said: result and release
	asks    string // a load that was recorded already, and of which is asked
	entered string // of a load that could not be begun
	early   bool   // so soon after the start that it is asked about
	since   bool   // something came up against its sets after they were put in, and that is asked about
	judges  bool   // the policy asks whether a run's printed values meet its cycle
	judge   bool   // that is still to be answered, and what was answered is kept until it is recorded
	judged  bool

	tests  []events.DayTest  // that the policy asks of a sterilizer's day
	stand  map[string]string // how each that is recorded ended: "S1 2026-03-04 bowie-dick"
	tested map[string]string // how those ended that were answered at a release, and are recorded with it
	test   string            // the one that is asked for
	fails  map[string]string // those that wait for a badge by themselves

	ends int  // how many records the last input makes
	gone bool // and whether its load is then gone
	read bool // and whether it is an indicator

	began map[string]time.Time // when each load was started
	kept  map[string]int       // how many sets of a load are recorded as quarantined: all of them
	comes bool                 // something was recorded or taken back: it may stand against a load that was filled before
	last  *loadModel           // before what was recorded last: taken back, its load lies here again
	alone bool                 // that was tests of a day, and no load
}

func newLoadModel() *loadModel {
	return &loadModel{loads: make(map[string][]string), runs: make(map[string]bool), oldDay: make(map[string]bool),
		began: make(map[string]time.Time), kept: make(map[string]int),
		stand: make(map[string]string), tested: make(map[string]string)}
}

// startLoads begins a session at the sterilizer. In every other one of a house, its last, the policy asks for what the
// run printed, and for one test of the day or both.
func startLoads(w *walk, i int) *loadModel {
	m := newLoadModel()
	if m.judges = i/9%2 == 1; m.judges {
		m.tests = events.DayTests()[:1+i/18%2]
		w.h.ChangesPolicy(func(p *events.Policy) {
			p.ReleaseAsks, p.DayTests = []events.ReleaseAsk{events.AskParameters}, m.tests
		})
	}
	return m
}

func (m *loadModel) place() string { return "sterilizer" }

func (m *loadModel) each() int { return m.ends }

func (m *loadModel) busy() bool { return m.load != "" || m.of != "" || len(m.fails) > 0 }

func (m *loadModel) clone() player {
	c := *m
	c.loads, c.runs = make(map[string][]string), maps.Clone(m.runs)
	c.oldDay, c.began, c.kept = maps.Clone(m.oldDay), maps.Clone(m.began), maps.Clone(m.kept)
	c.stand, c.tested, c.fails = maps.Clone(m.stand), maps.Clone(m.tested), maps.Clone(m.fails)
	for load, sets := range m.loads {
		c.loads[load] = slices.Clone(sets)
	}
	c.ends, c.gone, c.read = 0, false, false
	return &c
}

// promised: the buttons of a load that has sets, and of an indicator, record.
func (m *loadModel) promised(w *walk, s step, shown workplacetest.Answer) bool {
	if w.badge() == "" {
		return false
	}
	if shown.Says("records that") && m.waits() {
		return shown.AsksAbout() == "" && (s.kind == events.ScanBadge && shown.Says("Scan your badge: it records that") ||
			s.enter() && shown.Says("Enter records that"))
	}
	indicator := s.action == "indicator" && s.fields["value"] != "" && shown.Says("Biological indicator of S1-0304-01: what does it show?")
	if s.action == "ended" {
		return m.early && m.shows == "" && (m.ending != "passed yes" || m.test == "" && (!m.judges || m.judged))
	}
	if strings.HasPrefix(s.action, "test") {
		return m.promisedTest(w, s, shown)
	}
	if s.action == "parameters" || s.action == "parameters-not" {
		return m.judge && !m.early && !m.since && s.fields["value"] == m.load && shown.Says(printedValues)
	}
	// Whether that has come up is asked after what a code is, which is asked now.
	if m.comes && s.fields["released"] == "yes" && (shown.AsksAbout() != "" || w.plain != "") {
		return false
	}
	judges := (m.judges || len(m.tests) > 0) && s.fields["result"] == "passed" && s.fields["released"] == "yes"
	return !m.waits() && (indicator || s.action == "result" && len(m.loads[m.load]) > 0 && !m.again(s) && !m.soon(w, s) && !judges)
}

// again reports whether a result is one that is recorded already.
func (m *loadModel) again(s step) bool {
	return s.fields["result"] == "passed" && s.fields["released"] == "no" && m.kept[m.load] > 0
}

// soon reports whether a cycle is said to have passed that was only just started.
func (m *loadModel) soon(w *walk, s step) bool {
	ran := w.at.Sub(m.began[m.load])
	return s.fields["result"] == "passed" && m.runs[m.load] && ran >= 0 && ran < 3*time.Minute
}

// comeUp asks of a load that is released.
const comeUp = "Something has come up against sets of load"

// printedValues is asked of a run that is released, where the policy has it.
const printedValues = "do the printed values of the run meet"

// waits reports whether something was said that is not recorded.
func (m *loadModel) waits() bool { return m.shows != "" || m.ending != "" || len(m.fails) > 0 }

// lies: what was said of a load or its indicator.
func (m *loadModel) lies() bool { return m.waits() || m.lot != "" || m.control != "" }

func (m *loadModel) onlyThey() bool { return true }

func (m *loadModel) beginAnew(*walk) {
	if m.ending == "" {
		m.of = ""
	}
	m.shows, m.lot, m.control, m.ending, m.early, m.judged = "", "", "", "", false, false
	m.untested()
}

func (m *loadModel) next(w *walk, shown workplacetest.Answer) step {
	switch {
	case shown.Choice("put")["value"] != "" && w.careful():
		return step{verb: "do", action: pick(w, "put", "put", "leave-out"), fields: shown.Choice("put")}
	case shown.Says("Has its cycle ended already?") && w.careful():
		return step{verb: "do", action: pick(w, "ended", "ended", "forget")}
	case shown.Says(testAsked) && w.careful():
		do := pick(w, "test-passed", "test-passed", "test-passed", "test-failed", "test-why", "forget")
		return step{verb: "do", action: do, fields: shown.Choice(do)}
	case shown.Says(testWhy) && w.careful():
		return step{verb: "do", action: "test-not-done", fields: map[string]string{"value": m.load + " " + testIn(m.test),
			"reason": pick(w, "no pack left", "no pack left", "")}}
	case shown.Says(testStops) && w.careful():
		return step{verb: "do", action: "test-since", fields: shown.Choice("test-since")}
	case shown.Says(printedValues) && w.careful():
		do := pick(w, "parameters", "parameters", "parameters-not", "forget")
		return step{verb: "do", action: do, fields: shown.Choice(do)}
	case shown.Says(comeUp) && w.careful():
		do := pick(w, "release", "held", "forget")
		return step{verb: "do", action: do, fields: shown.Choice(do)}
	case (shown.Says("not as it was scanned") || shown.Says(". Has it ended?")) && w.careful():
		return step{verb: "do", action: "start", fields: shown.Choice("start")}
	case shown.Says("has the number of another day") && shown.Choice("renumber")["value"] != "" && w.careful():
		do := pick(w, "renumber", "old-number")
		return step{verb: "do", action: do, fields: shown.Choice(do)}
	case m.waits() && w.careful() && shown.Says("Scan your badge: it records that"):
		return w.label(events.ScanBadge, pick(w, "B-1", "B-2"))
	case m.waits() && w.careful() && shown.Says("Enter records that"):
		return step{verb: "scan"}
	case m.waits() && w.rng.IntN(8) == 0:
		return step{verb: "do", action: "forget"}
	case shown.Says("was recorded already") && w.careful():
		return step{verb: "do", action: "begin-too", fields: shown.Choice("begin-too")}
	}
	if shown.Says("what does it show?") && w.careful() {
		return step{verb: "do", action: "indicator", fields: map[string]string{"value": pick(w, "negative", "positive")}}
	}
	if w.careful() && (shown.Says("badge") || m.runs[m.load] && w.operator == "") {
		return w.label(events.ScanBadge, "B-1")
	}
	if s, ok := w.common(); ok {
		return s
	}
	f := func(pairs ...string) map[string]string {
		out := make(map[string]string)
		for i := 0; i < len(pairs); i += 2 {
			out[pairs[i]] = pairs[i+1]
		}
		return out
	}
	work := w.rng.IntN(12)
	if w.careful() && w.rng.IntN(2) == 0 {
		work = m.due(w)
	}
	switch work {
	case 0, 1:
		run := strconv.Itoa(100 + w.n%899)
		return step{verb: "do", action: "begin", fields: f("sterilizer", pick(w, "S1", "S2"), "run", pick(w, run,
			run, "no"), "cycle", "c-134")}
	case 2, 3, 4:
		return w.label(events.ScanSet, pick(w, "VAS-003", "LAP-014", "LAP-022"))
	case 5:
		return step{verb: "do", action: "put", fields: f("value", pick(w, "VAS-003", "LAP-014"))}
	case 6:
		return step{verb: "do", action: "take-out", fields: f("set", pick(w, "VAS-003", "LAP-014"))}
	case 7, 8:
		return step{verb: "do", action: "start"}
	case 9:
		return step{verb: "do", action: "result", fields: f("result", pick(w, "passed", "passed", "failed"),
			"released", pick(w, "yes", "no"))}
	case 10:
		return w.label(events.ScanLoad, "S1-0304-01")
	}
	if len(m.tests) > 0 && w.rng.IntN(2) == 0 {
		return step{verb: "do", action: "test", fields: f("sterilizer", "S1", "test", pick(w, "bowie-dick", "leak"),
			"result", pick(w, "passed", "passed", "failed"))}
	}
	if w.rng.IntN(2) == 0 {
		return step{verb: "do", action: "indicator", fields: f("load", "S1-0304-01", "lot", pick(w, "L-7", ""), "control", "positive",
			"incubated", "", "result", pick(w, "negative", "positive", "positive", ""))}
	}
	return step{verb: "do", action: "indicator", fields: f("value", pick(w, "negative", "positive", ""))}
}

// due is the work that is next: a load is begun, or the label of one is scanned whose
// indicator was read; it is filled, it runs, and its result is recorded.
func (m *loadModel) due(w *walk) int {
	switch n := len(m.loads[m.load]); {
	case m.load == "":
		return pick(w, 0, 0, 10)
	case m.runs[m.load]:
		return 9
	case n == 0:
		return 2
	}
	return pick(w, 2, 7, 7)
}

func (m *loadModel) learn(w *walk, s step, shown, a workplacetest.Answer) {
	m.ends, m.gone, m.read = 0, false, false
	value := cmp.Or(s.fields["result"], s.fields["value"])
	switch {
	case s.action == "forget":
		if m.shows != "" || m.lot != "" || shown.Says("what does it show?") {
			m.of = ""
		}
		m.shows, m.lot, m.control, m.ending, m.early, m.judged = "", "", "", "", false, false
		m.untested()
	case m.test != "" && strings.HasPrefix(s.action, "test-") && s.fields["value"] == m.load+" "+testIn(m.test):
		m.answerTest(s)
	case m.judge && s.action == "parameters" && s.fields["value"] == m.load:
		m.judged = true
	case m.judge && s.action == "parameters-not" && s.fields["value"] == m.load:
		m.ending, m.early, m.since = "failed no", false, false
	case s.action == "ended":
		m.early = false
	case s.action == "release" && m.since:
		m.since = false // unless it is asked again, since more has come up
	case s.action == "held" && m.since:
		if m.since, m.ending = false, "passed no"; a.Says("is recorded already") {
			m.ending = ""
		}
	case s.action == "take-back" && a.Says("Taken back: ") && m.alone:
		m.stand, m.alone = maps.Clone(m.last.stand), false
	case s.action == "take-back" && a.Says("Taken back: Load"):
		m.takenBack()
	case s.action == "result" && m.shows == "" && m.ending == "" && len(m.loads[m.load]) > 0 && m.again(s):
	case a.Says("Answer first what is shown here"):
	case s.action == "indicator" && m.ending == "" && cmp.Or(s.fields["load"], m.of) != "":
		m.of = cmp.Or(s.fields["load"], m.of)
		if lot, ok := s.fields["lot"]; ok {
			m.lot = lot
		}
		m.control = cmp.Or(s.fields["control"], m.control)
		m.shows = cmp.Or(value, m.shows)
	case s.action == "result" && m.shows == "" && (m.ending == "" || m.ending == saidEnding(s)) && len(m.loads[m.load]) > 0:
		m.early, m.ending, m.judged = m.soon(w, s), saidEnding(s), false
		if m.untested(); m.ending == "passed yes" && m.failed(w) {
			m.early, m.ending = false, ""
		}
	case !m.waits() && strings.HasPrefix(s.action, "test"):
		m.testAlone(w, s)
	case !m.waits():
		m.learnLoad(w, s, shown, a)
	}
	m.since = m.ending == "passed yes" && (m.since || a.Says(comeUp))
	m.test = m.missing(w)
	m.judge = m.judges && m.ending == "passed yes" && !m.judged && m.test == ""
	switch {
	case w.badge() == "" || m.early || m.since || m.test != "" || m.judge:
	case len(m.fails) > 0:
		m.ends = len(m.fails)
	case m.shows != "":
		m.ends, m.read = 1, true
	case m.ending != "":
		m.ends, m.gone = len(m.loads[m.load])+len(m.tested), m.ending != "passed no"
	}
}

// saidEnding is how a load ended by a button: result and release.
func saidEnding(s step) string {
	if s.fields["result"] == "failed" {
		return "failed no"
	}
	return cmp.Or(s.fields["result"], s.fields["value"]) + " " + s.fields["released"]
}

// learnLoad learns what is done with loads, while nothing waits to be recorded.
func (m *loadModel) learnLoad(w *walk, s step, shown, a workplacetest.Answer) {
	switch {
	case s.action == "begin":
		id := fmt.Sprintf("%s-%s-%02s", s.fields["sterilizer"], w.at.In(w.h.Site.Zone()).Format("0102"), s.fields["run"])
		m.entered = fmt.Sprint(s.fields)
		if _, ok := m.loads[id]; ok || s.fields["run"] == "no" || a.Says("is recorded as failed") {
			m.asks = ""
			return
		}
		if m.asks = id; !a.Says("was recorded already") {
			m.begun(id)
		}
	case s.action == "begin-too" && m.asks != "" && s.fields["value"] == m.asks:
		m.begun(m.asks)
	case s.kind == events.ScanSet && a.Choice("put")["value"] == "": // else it is asked whether it goes in
		m.put(s.id)
	case s.action == "put":
		m.put(s.fields["value"])
	case s.action == "take-out" && !m.runs[m.load] && m.load != "":
		m.loads[m.load] = slices.DeleteFunc(m.loads[m.load], func(x string) bool { return x == s.fields["set"] })
	case s.action == "renumber" && s.fields["value"] != "" && shown.Choice("renumber")["value"] == s.fields["value"] && !m.runs[m.load]:
		m.loads[s.fields["value"]] = m.loads[m.load]
		delete(m.loads, m.load)
		m.load = s.fields["value"]
		m.starts(w, a)
	case (s.action == "start" || s.action == "old-number") && !m.runs[m.load]:
		if s.action == "old-number" && m.load != "" && s.fields["value"] == m.load { // said, whatever is asked then
			m.oldDay[m.load] = true
		}
		if w.badge() != "" && len(m.loads[m.load]) > 0 {
			m.starts(w, a)
		}
	case s.kind == events.ScanLoad:
		m.of, m.lot, m.control = s.id, "", ""
	}
}

// starts starts a load, unless something is asked about it.
func (m *loadModel) starts(w *walk, a workplacetest.Answer) {
	asked := a.Says("not as it was scanned") || a.Says("Has it ended?") || a.Says("has the number of another day")
	if !asked { // a question alone is nothing that could be undone
		m.runs[m.load], m.began[m.load] = true, w.at
	}
}

func (m *loadModel) begun(id string) {
	m.load, m.entered, m.asks, m.loads[id] = id, "", "", []string{}
	delete(m.oldDay, id)
}

// takenBack lays the load here again whose result was taken back.
func (m *loadModel) takenBack() {
	m.load = m.last.load
	m.loads[m.load], m.runs[m.load], m.kept[m.load] = slices.Clone(m.last.loads[m.load]), m.last.runs[m.load], m.last.kept[m.load]
	m.stand = maps.Clone(m.last.stand)
}

// put puts a set into the load that is being filled, unless it runs or another one has it.
func (m *loadModel) put(set string) {
	sets, ok := m.loads[m.load]
	for _, others := range m.loads {
		ok = ok && !slices.Contains(others, set)
	}
	if ok && !m.runs[m.load] {
		m.loads[m.load] = append(sets, set)
	}
}

func (m *loadModel) held(w *walk, s step, shown workplacetest.Answer, e *events.Event) {
	if e.Operator == "" || e.Operator != w.badge() {
		w.fail("recorded by %q; the badge that was shown is %q", e.Operator, w.badge())
	}
	ended := s.action == "ended" && shown.Says("Has its cycle ended already?")
	comes := (s.action == "release" || s.action == "held") && shown.Says(comeUp)
	judged := (s.action == "parameters" || s.action == "parameters-not") && shown.Says(printedValues)
	tested := s.action == "test" ||
		strings.HasPrefix(s.action, "test-") && (shown.Says(testAsked) || shown.Says(testWhy) || shown.Says(testStops))
	if said := s.action == "result" || s.action == "indicator" || ended || comes || judged || tested; !said {
		asked := s.kind == events.ScanBadge && shown.Says("records that") ||
			(s.enter() || s.action == "enter") && shown.Says("Enter records that")
		if !asked {
			w.fail("%s recorded by %+v; the page said %v | %v", e.Kind(), s, shown["words"], shown["next"])
		}
	}
	switch d := e.Data.(type) {
	case *events.SetSterilized:
		released := map[bool]string{true: "yes", false: "no"}[d.Released]
		if d.Result+" "+released != m.ending {
			w.fail("%s, released %v, recorded; said was %s", d.Result, d.Released, m.ending)
		}
		if met := m.judges && d.Released; (d.Parameters == "met") != met {
			w.fail("the run's values are recorded as %q; asked and answered: %v", d.Parameters, met)
		}
		m.heldByTests(w, d)
		if d.Load != m.load || !slices.Contains(m.loads[d.Load], e.Subject) {
			w.fail("%s in load %s, which nobody put there: %v in %s", e.Subject, d.Load, m.loads, m.load)
		}
	case *events.IndicatorRead:
		if d.Result != m.shows || d.Load != m.of || d.Lot != m.lot {
			w.fail("indicator of %s, lot %s, %s; said was %s, lot %s, %s", d.Load, d.Lot, d.Result, m.of, m.lot, m.shows)
		}
	case *events.SterilizerTested:
		key := d.Sterilizer + " " + d.Day + " " + string(d.Test)
		said := cmp.Or(m.fails[key], m.tested[key])
		if said != d.Result || (d.Result == events.TestNotDone) != (d.Reason != "") {
			w.fail("%s: %s, %q; said was %q", key, d.Result, d.Reason, said)
		}
		w.kept.tried["day test "+d.Result]++
	default:
		w.fail("recorded: %s", e.Kind())
	}
}

// recorded: a load that is released or failed is gone from here.
func (m *loadModel) recorded(*walk) {
	m.comes = true
	if m.read {
		m.of, m.shows, m.lot, m.control, m.alone = "", "", "", "", false
		return
	}
	m.last = m.clone().(*loadModel)
	if m.alone = len(m.fails) > 0; m.alone {
		maps.Copy(m.stand, m.fails)
		m.fails = nil
		return
	}
	maps.Copy(m.stand, m.tested)
	m.untested()
	m.ending, m.judged, m.judge, m.test = "", false, false, ""
	if m.gone {
		delete(m.loads, m.load)
		m.load = ""
	} else {
		m.kept[m.load], m.runs[m.load] = len(m.loads[m.load]), true // nothing more goes in
	}
}

// What is said of a test of the day: how it ended, why it was not done, and that it stops the release.
const (
	testAsked = ": how did its "
	testWhy   = "Why was the "
	testStops = " FAILED its "
)

// testIn is the test that a key of one names.
func testIn(key string) string { return key[strings.LastIndex(key, " ")+1:] }

// testDay is the day of the load in hand: that of its start.
func (m *loadModel) testDay(w *walk) string {
	if at := m.began[m.load]; m.runs[m.load] && !at.IsZero() {
		return w.day(at)
	}
	return w.day(w.at)
}

// testKey names a test of the day of the load in hand.
func (m *loadModel) testKey(w *walk, test events.DayTest) string {
	sterilizer, _, _ := strings.Cut(m.load, "-")
	return sterilizer + " " + m.testDay(w) + " " + string(test)
}

// missing is the first test of its day that is not known, where it is to be released; "" for none.
func (m *loadModel) missing(w *walk) string {
	for _, test := range m.tests {
		if key := m.testKey(w, test); m.ending == "passed yes" && m.stand[key] == "" && m.tested[key] == "" {
			return key
		}
	}
	return ""
}

// failed reports whether a test of its day failed last.
func (m *loadModel) failed(w *walk) bool {
	return slices.ContainsFunc(m.tests, func(test events.DayTest) bool { return m.fell(w, test) })
}

func (m *loadModel) fell(w *walk, test events.DayTest) bool {
	return m.stand[m.testKey(w, test)] == events.TestFailed
}

// heldByTests holds the day of a release against that of its load: none of its tests is missing or failed.
func (m *loadModel) heldByTests(w *walk, d *events.SetSterilized) {
	day := ""
	if d.Released && len(m.tests) > 0 {
		day = m.testDay(w)
	}
	if d.Day != day || d.Released && (m.missing(w) != "" || m.failed(w)) {
		w.fail("released by the tests of %q; the load is of %s: %v, %v", d.Day, m.testDay(w), m.stand, m.tested)
	}
}

func (m *loadModel) untested() { m.tested, m.fails, m.test = make(map[string]string), nil, "" }

// answerTest learns how the test that is asked for ended. Nothing is answered under another question.
func (m *loadModel) answerTest(s step) {
	if m.early || m.since {
		return
	}
	switch {
	case s.action == "test-passed":
		m.tested[m.test] = events.TestPassed
	case s.action == "test-not-done" && s.fields["reason"] != "":
		m.tested[m.test] = events.TestNotDone
	case s.action == "test-failed":
		fails := maps.Clone(m.tested)
		fails[m.test] = events.TestFailed
		m.untested()
		m.fails, m.ending, m.judged = fails, "", false
	}
}

// testAlone learns of a test that is said by itself: by the form, or that it was done again and passed.
func (m *loadModel) testAlone(w *walk, s step) {
	switch test, ours := strings.CutPrefix(s.fields["value"], m.load+" "); {
	case s.action == "test":
		m.fails = map[string]string{s.fields["sterilizer"] + " " + w.day(w.at) + " " + s.fields["test"]: s.fields["result"]}
	case s.action == "test-since" && ours && m.load != "" && m.fell(w, events.DayTest(test)):
		m.fails = map[string]string{m.testKey(w, events.DayTest(test)): events.TestPassed}
	}
}

// promisedTest reports whether an answer about tests records: with the last question, or by itself.
func (m *loadModel) promisedTest(w *walk, s step, shown workplacetest.Answer) bool {
	c := m.clone().(*loadModel)
	switch {
	case s.action == "test" || s.action == "test-since":
		if c.waits() || shown.AsksAbout() != "" {
			return false
		}
		c.testAlone(w, s)
	case shown.Says(testAsked) || shown.Says(testWhy):
		if c.test == "" || s.fields["value"] != c.load+" "+testIn(c.test) || c.early || c.since || s.action == "test-why" {
			return false
		}
		c.answerTest(s)
	}
	if len(c.fails) > 0 {
		return true
	}
	return c.ending != "" && c.missing(w) == "" && len(c.tested) > len(m.tested) && (!c.judges || c.judged)
}

// countModel is the model of a count, its page included: what a browser takes for
// a number of a line, and what for a scan.
type countModel struct {
	ref   string
	stage events.Stage
	set   string
	lines map[int64]int64  // the number that holds; -1: two browsers said different numbers
	by    map[int64]string // the browser that said it

	singles map[int64]added            // lines that are on no list
	gone    map[int64][]events.Removed // what was said to have left the field, by line
	about   *added                     // a code of which the page asks whether it is an instrument's
	again   string                     // the browser that was asked whether it begins the count again

	touched time.Time // when somebody counted last
	asks    bool      // it is asked whether that still holds
	owed    bool      // since before what had waited came on top of it

	stray  string // code of another set's count sheet that was read, and of which nobody said yet where it lay
	read   time.Time
	readBy []string // whose badges were in sight then
	told   bool     // that was recorded just now
}

// added is how many came of what is on no list of the set: of goods, what is their item.
type added struct {
	what  string
	n     int64
	goods bool
}

func newCountModel(w *walk, i int) *countModel {
	m := &countModel{ref: fmt.Sprintf("K-%d", 100+i), stage: events.StageFirst, set: "VAS-003",
		lines: make(map[int64]int64), by: make(map[int64]string), singles: make(map[int64]added),
		gone: make(map[int64][]events.Removed)}
	w.openAgain(m.set, m.ref)
	return m
}

// openAgain packs a set anew and opens it for a case.
func (w *walk) openAgain(set, ref string) {
	w.packAgain(set)
	w.h.Record("north/or-3", events.KindSetOpened, set, &events.SetOpened{Case: ref, Tag: set, OuterLabel: set,
		Sheet: &events.Reading{Found: "outside", Code: w.h.Codes[set]}, Indicator: "pass"})
}

// packAgain packs, seals and sterilizes a set anew.
func (w *walk) packAgain(set string) {
	h := w.h
	list := "LAP-MAJOR"
	if strings.HasPrefix(set, "VAS") {
		list = "VAS-MINOR"
	}
	h.Trips[set] = h.Record("north/packing-1", events.KindSetPacked, set, &events.SetPacked{List: list, Version: 1, WeightGrams: 8400}).Trip
	h.Codes[set] = h.Record("north/packing-1", events.KindListSealed, set, &events.ListSealed{Placement: events.Outside}).SheetCode
	h.Record("north/sterilizer-1", events.KindSetSterilized, set, &events.SetSterilized{Load: "S1-0304-01", Sterilizer: "S1", Run: 1,
		Cycle: "dynamic-air-132", Result: "passed", Released: true})
}

func (m *countModel) place() string { return "count" }

func (m *countModel) each() int { return 1 }

func (m *countModel) busy() bool { return false } // a count is made at several screens

func (m *countModel) clone() player {
	c := *m
	c.lines, c.by = maps.Clone(m.lines), maps.Clone(m.by)
	c.singles, c.gone = maps.Clone(m.singles), maps.Clone(m.gone)
	return &c
}

// seen is what a browser says of how new its numbers are.
func (m *countModel) seen(shown workplacetest.Answer) string {
	st, _ := shown["state"].(map[string]any)
	if sets, _ := st["sets"].([]any); len(sets) > 0 {
		return fmt.Sprintf("{%q:%v}", m.set, sets[0].(map[string]any)["rev"])
	}
	return "{}"
}

// unseen is a line whose number another browser said, and this one has not shown; 0 for
// none.
func (m *countModel) unseen(w *walk, shown workplacetest.Answer) int64 {
	if len(shown.Lines()) == 0 {
		return 0
	}
	for line, n := range m.lines {
		if m.by[line] != w.client && shown.Lines()[line]["counted"] != float64(n) {
			return line
		}
	}
	return 0
}

// promised: the second badge signs a count that is complete.
func (m *countModel) promised(w *walk, s step, shown workplacetest.Answer) bool {
	for _, n := range m.lines {
		if n < 0 {
			return false
		}
	}
	second := shown.Says("Circulating nurse: scan your badge") && s.kind == events.ScanBadge && len(w.badges) > 0 && s.id != w.badges[0]
	current := m.seen(w.latest) == "{}" || m.seen(w.latest) == m.seen(shown)
	return w.asked != w.client && m.stray == "" && len(m.lines) == 3+len(m.singles) && current && m.unseen(w, shown) == 0 &&
		(second || s.enter() && shown.Promises() && len(w.badges) > 1)
}

func (m *countModel) next(w *walk, shown workplacetest.Answer) step {
	st, _ := shown["state"].(map[string]any)
	complete := st["complete"] == true
	ask := w.careful()
	if !shown.AsksLeft() && shown["choices"] == nil && ask {
		switch w.rng.IntN(16) {
		case 0:
			return m.goods(w)
		case 1, 2:
			return m.leaves(w, shown)
		case 3:
			return step{verb: "scan", text: w.h.Codes["LAP-014"], kind: events.ScanSheet, id: w.h.Codes["LAP-014"]}
		}
	}
	switch {
	case ask && shown.Choice("sheet-lay")["value"] != "":
		do := pick(w, "sheet-lay", "sheet-lay", "sheet-none")
		return step{verb: "do", action: do, fields: shown.Choice(do)}
	case ask && shown.AsksLeft():
		do := pick(w, "left-on", "left-on", "left-anew")
		return step{verb: "do", action: do, fields: shown.Choice("left-on")}
	case ask && len(shown.Choices("removed")) > 0:
		return step{verb: "do", action: "removed", fields: map[string]string{"value": pick(w, shown.Choices("removed")...)}}
	case ask && complete && shown.Says("Scrub person: scan your badge"):
		return w.label(events.ScanBadge, "B-1")
	case ask && complete && shown.Says("Circulating nurse: scan your badge"):
		return w.label(events.ScanBadge, "B-2")
	case ask && complete && shown.Says("Enter signs"):
		return step{verb: "scan"}
	}
	switch w.rng.IntN(12) {
	case 0:
		return w.noise()
	case 1:
		return step{verb: "scan"}
	case 2:
		return w.label(events.ScanBadge, pick(w, "B-1", "B-2"))
	case 3:
		return step{verb: "scan", text: pick(w, "4", "12", "123", "7")} // nothing is left to count: no number of a line
	case 4:
		return step{verb: "do", action: pick(w, "badges-clear", "sign", "nonsense", "count-on"), fields: map[string]string{}}
	case 6:
		return step{verb: "do", action: "interrupted", fields: map[string]string{"value": pick(w, "", "sure ")}}
	case 5:
		code := w.h.Codes[pick(w, "VAS-003", "LAP-014")]
		return step{verb: "scan", text: code, kind: events.ScanSheet, id: code}
	}
	switch w.rng.IntN(12) {
	case 0, 1:
		return m.single(w)
	case 2, 3:
		return m.goods(w)
	case 4:
		return m.leaves(w, shown)
	}
	all := append([]int64{1, 2, 3}, slices.Sorted(maps.Keys(m.singles))...)
	line := pick(w, all...)
	for _, l := range all {
		if ask && shown.Lines()[l] != nil && shown.Lines()[l]["counted"] == nil {
			line = l // what is still to be counted
		}
	}
	n := pick(w, m.expected(line), m.expected(line), 5)
	l := shown.Lines()[line]
	if line > 3 && l == nil { // a browser that has not looked since shows no such line
		return step{verb: "scan"}
	}
	return m.count(line, n, l)
}

// count is the number of a line that the page shows.
func (m *countModel) count(line, n int64, shown map[string]any) step {
	rev, _ := shown["rev"].(float64)
	return step{verb: "enter", lines: fmt.Sprintf(`[{"set":%q,"line":%d,"counted":%d,"seen":%v}]`, m.set, line, n, rev),
		fields: map[string]string{"line": strconv.FormatInt(line, 10), "n": strconv.FormatInt(n, 10)}}
}

func (m *countModel) learn(w *walk, s step, shown, a workplacetest.Answer) {
	asked := m.asks
	waited := s.verb == "enter" && w.waited > 0 // counted before anybody could ask: it is taken, and asked about with the rest
	switch {
	case a.AsksLeft() && !m.owed && w.at.Sub(m.touched) <= 20*time.Minute && w.day(w.at) == w.day(m.touched):
		w.fail("it is asked whether what was counted at %s still holds", m.touched)
	case a.AsksLeft() && !waited:
		m.again, m.asks = "", true
		return // nothing else is taken
	case a.AsksLeft():
		m.asks, m.owed = true, true
		w.kept.tried["waited, on what was left"]++
	case !m.asks: // or it was answered at another screen
	case s.action == "left-anew" && shown.AsksLeft():
		clear(m.lines)
		clear(m.by)
		w.kept.tried["count left, begun anew"]++
	case s.action == "left-on" && shown.AsksLeft():
		w.kept.tried["count left, gone on with"]++
	}
	if s.verb == "enter" && len(m.lines) > 0 && w.at.Sub(m.touched) > 20*time.Minute && !a.AsksLeft() {
		w.fail("counted on top of what was left at %s", m.touched)
	}
	if !a.AsksLeft() {
		m.asks, m.owed = false, false
	}
	if s.verb == "enter" || s.kind == events.ScanBadge || asked && strings.HasPrefix(s.action, "left-") || s.action == "interrupted" {
		m.touched = w.at
	}
	m.learnSingle(w, s, a)
	m.learnGoods(w, s, a)
	m.learnGone(w, s)
	if s.action == "interrupted" && a.Says("Begun again") {
		if len(m.lines) > 0 && (m.again != w.client || s.fields["value"] != "sure ") {
			w.fail("%d counted lines are thrown away, and nobody said that it is meant", len(m.lines))
		}
		clear(m.lines)
		clear(m.by)
	}
	if m.again = ""; a.Says("Begin again?") {
		m.again = w.client
	}
	switch {
	case s.kind == events.ScanSheet && s.id == w.h.Codes["LAP-014"] && !a.Says("Read twice") && a.Says("LAP-014") && m.stray == "":
		m.stray, m.read, m.readBy = s.id, w.at, slices.Clone(w.badges)
	case s.action == "sheet-none" && s.fields["value"] == m.stray:
		m.stray = ""
	}
	if s.verb != "enter" {
		return
	}
	line, _ := strconv.ParseInt(s.fields["line"], 10, 64)
	n, _ := strconv.ParseInt(s.fields["n"], 10, 64)
	m.lines[line], m.by[line] = n, w.client
	// Two browsers that had not seen each other's number: nobody's holds.
	if l := a.Lines()[line]; l["counted"] == nil {
		if !a.Says("count") && l["note"] == nil {
			w.fail("line %d was counted and has no number: %v", line, l)
		}
		m.lines[line] = -1
	} else if l["counted"] != float64(n) {
		w.fail("line %d: %d counted, the page shows %v", line, n, l["counted"])
	}
}

// single is an input that adds what is on no list, answers whether a code is an
// instrument's, or takes a line away again.
func (m *countModel) single(w *walk) step {
	f := map[string]string{"set": m.set}
	if lines := slices.Sorted(maps.Keys(m.singles)); len(lines) > 0 && w.rng.IntN(4) == 0 {
		f["line"] = strconv.FormatInt(pick(w, lines...), 10)
		return step{verb: "do", action: "single-off", fields: f}
	}
	if m.about != nil && w.rng.IntN(2) == 0 {
		f["value"] = pick(w, m.about.what, m.about.what, "QX-8")
		return step{verb: "do", action: "single-yes", fields: f}
	}
	f["what"] = pick(w, "Clamp", "clamp", "Needle holder", "(01)04012345678901", "QX-7", "QX-9", "VAS-003", "nd-ct1", "")
	f["quantity"] = pick(w, "1", "2", "", "0")
	return step{verb: "do", action: "single", fields: f}
}

// expected is how many of a line there are to count.
func (m *countModel) expected(line int64) int64 { return max(m.came(line)-m.left(line), 0) }

// came is how many of a line there were, and left how many of them left the field.
func (m *countModel) came(line int64) int64 {
	if line <= 3 {
		return workplacetest.ListShort().Lines[line-1].Quantity
	}
	return m.singles[line].n
}

func (m *countModel) left(line int64) (n int64) {
	for _, r := range m.gone[line] {
		n += r.Quantity
	}
	return n
}

// learnSingle learns that pieces of what is on no list were added, on the line that
// has such already or the next one. They are counted after that. A set is none, and
// a code is one when that was said.
func (m *countModel) learnSingle(w *walk, s step, a workplacetest.Answer) {
	n := int64(1)
	if q := s.fields["quantity"]; q != "" {
		n = int64(q[0] - '0')
	}
	switch what := s.fields["what"]; {
	case s.action == "single" && goodsItem(what) != "":
		if n > 0 {
			m.addGoods(w, goodsItem(what), n)
		}
	case s.action == "single" && m.has(what) && n > 0: // a catalog number of the case by now
		m.add(added{what: what, n: n})
	case s.action == "single" && strings.HasPrefix(what, "QX-") && n > 0:
		m.about = &added{what: what, n: n}
	case s.action == "single" && what != "" && what != "VAS-003" && n > 0:
		m.add(added{what: what, n: n})
	case s.action == "single-yes" && m.about != nil && m.about.what == s.fields["value"]:
		m.add(*m.about)
		m.about = nil
	case s.action == "single-off":
		line, _ := strconv.ParseInt(s.fields["line"], 10, 64)
		if _, named := m.singles[line]; named {
			delete(m.singles, line)
			delete(m.lines, line)
			delete(m.gone, line)
			m.touched = w.at
		}
	}
}

// has reports whether pieces of that name were added.
func (m *countModel) has(what string) bool {
	for _, had := range m.singles {
		if had.what == what {
			return true
		}
	}
	return false
}

func (m *countModel) add(x added) {
	line := int64(4)
	for l, had := range m.singles {
		if strings.EqualFold(had.what, x.what) {
			m.singles[l] = added{had.what, had.n + x.n, had.goods}
			delete(m.lines, l)
			return
		}
		line = max(line, l+1)
	}
	m.singles[line] = x
}

// goodsItem is the item of the house's goods that a code names, "" where it names none.
func goodsItem(code string) string {
	for _, g := range workplacetest.Goods().Lines {
		if strings.EqualFold(g.Item, code) {
			return g.Item
		}
	}
	return ""
}

// goods is an input that opens a pack of goods, or says more or fewer of them.
func (m *countModel) goods(w *walk) step {
	if w.rng.IntN(2) == 0 {
		return step{verb: "scan", text: pick(w, "GZ-1010", "gz-1010", "ND-CT1", "VL-1")}
	}
	for line, x := range m.singles {
		if x.goods && line%2 == 0 { // all of it
			return step{verb: "do", action: "goods", fields: map[string]string{"value": fmt.Sprintf("%s -%d", x.what, x.n)}}
		}
	}
	value := pick(w, "GZ-1010 10", "GZ-1010 -10", "ND-CT1 1", "ND-CT1 1", "ND-CT1 -1", "VL-1 2", "VL-1 -2", "XX-1 1", "ND-CT1 0", "ND-CT1")
	return step{verb: "do", action: "goods", fields: map[string]string{"value": value}}
}

// learnGoods learns that goods came, or fewer did: by the pack, or by a key.
func (m *countModel) learnGoods(w *walk, s step, a workplacetest.Answer) {
	if s.verb == "scan" && s.kind == "" && !a.Says("Read twice") {
		for _, g := range workplacetest.Goods().Lines {
			if strings.EqualFold(g.Item, s.text) {
				m.addGoods(w, g.Item, g.Quantity)
			}
		}
	}
	if s.action == "goods" {
		code, number, _ := strings.Cut(s.fields["value"], " ")
		n, err := strconv.ParseInt(number, 10, 64)
		if item := goodsItem(code); err == nil && n != 0 && item != "" {
			m.addGoods(w, item, n)
		}
	}
}

// addGoods adds goods, which are counted with that at the first count, unless two browsers count their line differently; or
// takes back what was added.
func (m *countModel) addGoods(w *walk, item string, n int64) {
	line, is := int64(0), int64(4)
	for l, had := range m.singles {
		if had.goods && had.what == item {
			line = l
		}
		is = max(is, l+1)
	}
	if line == 0 {
		line = is
	}
	x, known := m.singles[line]
	if x.n+n < 0 {
		return // it is refused
	}
	if !known {
		x = added{what: item, goods: true}
	}
	x.n += n
	m.singles[line], m.touched = x, w.at
	w.kept.tried["goods came"]++
	counted, is2 := m.lines[line]
	switch {
	case is2 && counted < 0:
	case n < 0 && counted+n <= 0:
		delete(m.lines, line)
		delete(m.by, line)
	default:
		m.lines[line], m.by[line] = counted+n, ""
	}
	if _, counted := m.lines[line]; x.n == 0 && !counted && m.left(line) == 0 {
		delete(m.singles, line)
		w.kept.tried["goods taken back"]++
	}
}

// leaves is an input that says that pieces of a line left the field, or stay in the patient on purpose, and why.
func (m *countModel) leaves(w *walk, shown workplacetest.Answer) step {
	lines := append([]int64{1, 2, 3}, slices.Sorted(maps.Keys(m.singles))...)
	lines = slices.DeleteFunc(lines, func(l int64) bool { return m.lines[l] < 0 || shown.Lines()[l] == nil })
	if len(lines) == 0 {
		return step{verb: "scan"}
	}
	return step{verb: "do", action: "removed", fields: map[string]string{"set": m.set, "value": "", "how": "",
		"line":     strconv.FormatInt(pick(w, lines...), 10),
		"quantity": pick(w, "1", "1", "1", "1", "2", "0", "99", ""),
		"reason":   pick(w, "sent to pathology", "left as packing", "left as packing", "x", ""), "stays": pick(w, "", "1")}}
}

// learnGone learns what left the field. What left of the line before is asked about.
func (m *countModel) learnGone(w *walk, s step) {
	if s.action != "removed" {
		return
	}
	f, was := s.fields, int64(-1)
	if said, err := url.ParseQuery(f["value"]); err == nil && f["value"] != "" {
		f = make(map[string]string)
		for name := range said {
			f[name] = said.Get(name)
		}
		was, _ = strconv.ParseInt(f["was"], 10, 64)
	}
	line, _ := strconv.ParseInt(f["line"], 10, 64)
	n, err := strconv.ParseInt(f["quantity"], 10, 64)
	already := m.left(line)
	most := m.came(line)
	if counted, is := m.lines[line]; is {
		most = max(most, counted+already)
	}
	if _, there := m.singles[line]; line > 3 && !there {
		return
	}
	switch {
	case err != nil, n > 0 && f["reason"] == "", f["reason"] == "x", n > most, f["how"] == "more" && already+n > most:
		return // it is refused
	case already > 0 && n > 0 && (f["how"] == "" || was != already):
		return // it is asked what is meant
	}
	gone := slices.Clone(m.gone[line])
	if f["how"] != "more" {
		gone = nil
	}
	m.touched = w.at
	if delete(m.gone, line); n > 0 {
		gone = append(gone, events.Removed{Line: line, Quantity: n, Reason: f["reason"], Stays: f["stays"] != ""})
	}
	if len(gone) > 0 {
		m.gone[line] = gone
	}
	if already > 0 && n > 0 {
		w.kept.tried["passed off, and more or instead"]++
	}
}

func (m *countModel) held(w *walk, s step, shown workplacetest.Answer, e *events.Event) {
	if read, ok := e.Data.(*events.SetChecked); ok {
		if s.action != "sheet-lay" || m.stray == "" || e.Subject != m.set || read.Sheet.Code != m.stray || read.Sheet.Found == "" ||
			e.Operator != "" && !slices.Contains(append(slices.Clone(m.readBy), w.badges...), e.Operator) {
			w.fail("%+v read with %s by %q; read was %q", read.Sheet, e.Subject, e.Operator, m.stray)
		}
		w.kept.tried["wrong sheet at the count"]++
		m.stray, m.told = "", true
		return
	}
	d, ok := e.Data.(*events.SetCounted)
	if !ok || s.verb == "enter" {
		w.fail("%s recorded by %+v", e.Kind(), s)
	}
	if m.stray != "" {
		w.fail("signed, and nobody said where the count sheet lay that was read")
	}
	if !s.enter() && s.kind != events.ScanBadge && s.action != "sign" {
		w.fail("signed by %+v", s)
	}
	if (s.kind == events.ScanBadge || s.enter()) && shown["choices"] != nil {
		w.fail("signed under another question: %v", shown["words"])
	}
	if d.Counter == d.Witness || !slices.Contains(w.badges, d.Counter) || !slices.Contains(w.badges, d.Witness) ||
		d.Case != m.ref || d.Stage != m.stage {
		w.fail("signed by %s and %s; badges since: %v", d.Counter, d.Witness, w.badges)
	}
	if line := m.unseen(w, shown); line > 0 {
		w.fail("signed line %d, whose number this browser had not shown", line)
	}
	got := make(map[int64]int64)
	for _, c := range d.Counts {
		got[c.Line] = c.Counted
	}
	came := make(map[int64]added)
	for _, x := range d.Beyond {
		what := x.Description
		switch {
		case x.Sort != "":
			what = x.Item
		case x.Item == "04012345678901":
			what = "(01)" + x.Item
		}
		came[x.Line] = added{what, x.Added, x.Sort != ""}
	}
	if !maps.Equal(came, m.singles) {
		w.fail("recorded %+v; added were %v", d.Beyond, m.singles)
	}
	m.heldGone(w, d)
	w.kept.tried["added beyond the list"] += len(came)
	if !maps.Equal(got, m.lines) || len(got) != 3+len(m.singles) {
		w.fail("recorded %v; counted were %v", got, m.lines)
	}
}

// heldGone holds what is recorded to have left the field, and to stay in the patient, against what was said.
func (m *countModel) heldGone(w *walk, d *events.SetCounted) {
	gone := make(map[int64][]events.Removed)
	for _, r := range d.Removed {
		if r.Stays {
			w.kept.tried["stays on purpose"]++
		}
		w.kept.tried["passed off"]++
		r.Short = false
		gone[r.Line] = append(gone[r.Line], r)
	}
	if !reflect.DeepEqual(gone, m.gone) {
		w.fail("recorded %+v; said to have left was %+v", d.Removed, m.gone)
	}
	for _, x := range m.singles {
		if x.goods {
			w.kept.tried["goods signed"]++
		}
	}
}

// recorded: the next count of a set that was opened anew.
func (m *countModel) recorded(w *walk) {
	if m.told {
		m.told = false
		return
	}
	*m = *newCountModel(w, w.n*10)
	w.badges = nil
	clear(w.shown)
	w.look("a")
	w.look("b")
}

// closeModel is the model of the closing page.
type closeModel struct {
	cases   []string
	closed  []string
	ref     string
	reason  string
	actions []string
}

func newCloseModel(w *walk, i int) *closeModel {
	m := &closeModel{cases: []string{fmt.Sprintf("C-%d", 100+i), fmt.Sprintf("D-%d", 100+i)}}
	w.openAgain("VAS-003", m.cases[0])
	w.openAgain("LAP-022", m.cases[1])
	for _, stage := range []events.Stage{events.StageFirst, events.StageFinal} {
		w.h.Record("north/or-3", events.KindSetCounted, "VAS-003", &events.SetCounted{Case: m.cases[0], Stage: stage, Sheet: "screen",
			Counter: "B-1", Witness: "B-2", Counts: []events.Count{{Line: 1, Counted: 4}, {Line: 2, Counted: 2}, {Line: 3, Counted: 3}}})
	}
	return m
}

func (m *closeModel) place() string { return "close" }

func (m *closeModel) each() int { return 1 }

func (m *closeModel) busy() bool { return m.ref != "" }

func (m *closeModel) clone() player {
	c := *m
	c.actions = slices.Clone(m.actions)
	return &c
}

// promised: the second badge closes a case that comes out.
func (m *closeModel) promised(w *walk, s step, shown workplacetest.Answer) bool {
	second := shown.AsksAbout() == "" && shown.Says("The counts of") && shown.Says("Scan the second person’s badge")
	return second && s.kind == events.ScanBadge && !slices.Contains(w.badges, s.id) || s.enter() && shown.Promises()
}

func (m *closeModel) lies() bool {
	return slices.Contains(m.cases, m.ref) && !slices.Contains(m.closed, m.ref) && m.onlyThey()
}

func (m *closeModel) onlyThey() bool { return m.reason != "" || len(m.actions) > 0 }

func (m *closeModel) beginAnew(w *walk) {
	m.ref, m.reason, m.actions = "", "", nil
	w.badges, w.operator = nil, ""
}

// nextHere: a case of which nothing was said goes with who looked at it.
func (m *closeModel) nextHere() {
	if !m.onlyThey() {
		m.ref = ""
	}
}

func (m *closeModel) next(w *walk, shown workplacetest.Answer) step {
	if w.careful() && w.rng.IntN(2) == 0 {
		return m.due(w)
	}
	if s, ok := w.common(); ok {
		return s
	}
	switch w.rng.IntN(9) {
	case 0, 1:
		return w.label(events.ScanCase, pick(w, m.cases...))
	case 2:
		return w.label(events.ScanSet, pick(w, "VAS-003", "LAP-022", "LAP-014"))
	case 3, 4:
		return w.label(events.ScanBadge, pick(w, "B-1", "B-2"))
	case 5:
		return step{verb: "do", action: "action", fields: map[string]string{"action": pick(w, "recounted", "image-taken"), "on": onOff(w)}}
	case 6:
		return step{verb: "do", action: "reason", fields: map[string]string{"reason": pick(w, "not found", "")}}
	case 7:
		return step{verb: "do", action: "record"}
	}
	return step{verb: "do", action: pick(w, "clear", "next-person")}
}

// due is what closing the case needs next.
func (m *closeModel) due(w *walk) step {
	open := m.ref == m.cases[1]
	switch {
	case m.ref == "":
		return w.label(events.ScanCase, pick(w, m.cases...))
	case open && len(m.actions) == 0:
		return step{verb: "do", action: "action", fields: map[string]string{"action": "recounted"}}
	case open && m.reason == "":
		return step{verb: "do", action: "reason", fields: map[string]string{"reason": "not found"}}
	case w.operator == "":
		return w.label(events.ScanBadge, "B-1")
	case open && len(w.badges) > 1:
		return step{verb: "do", action: "record"}
	}
	return w.label(events.ScanBadge, pick(w, "B-2", "B-2", "B-1"))
}

func (m *closeModel) learn(w *walk, s step, shown, a workplacetest.Answer) {
	turn := func(ref string) {
		if m.ref != "" && ref != m.ref {
			w.badges, w.operator = nil, "" // they said so of another case
		}
		if ref != m.ref {
			*m = closeModel{cases: m.cases, closed: m.closed, ref: ref}
		}
	}
	switch {
	case a.Says("Read twice"):
	case s.kind == events.ScanCase:
		turn(s.id)
	case s.kind == events.ScanSet && s.id != "LAP-014": // which is on no case
		turn(map[string]string{"VAS-003": m.cases[0], "LAP-022": m.cases[1]}[s.id])
	case m.ref == "" && (s.action == "action" || s.action == "reason"): // of which case?
	case s.action == "action":
		m.actions = slices.DeleteFunc(slices.Clone(m.actions), func(done string) bool { return done == s.fields["action"] })
		if s.fields["on"] != "no" {
			m.actions = append(m.actions, s.fields["action"])
		}
	case s.action == "reason":
		m.reason = s.fields["reason"]
	case s.action == "take-back" && a.Says("Taken back"):
		m.closed = m.closed[:len(m.closed)-1]
	case s.action == "clear":
		*m = closeModel{cases: m.cases, closed: m.closed}
		w.badges, w.operator = nil, ""
	}
}

func (m *closeModel) held(w *walk, s step, shown workplacetest.Answer, e *events.Event) {
	d, ok := e.Data.(*events.CaseClosed)
	if !ok || !s.enter() && s.action != "record" && s.kind != events.ScanBadge {
		w.fail("%s recorded by %+v", e.Kind(), s)
	}
	if e.Operator == d.Witness || e.Operator == "" || !slices.Contains(w.badges, e.Operator) || !slices.Contains(w.badges, d.Witness) {
		w.fail("closed by %q and %q; badges since: %v", e.Operator, d.Witness, w.badges)
	}
	asked := shown.Says("Scan the second person’s badge") || shown.Says("The second person scans their own") ||
		shown.Says("Enter closes the case") // scanned once more
	if s.kind == events.ScanBadge && (!asked || shown.AsksAbout() != "" || shown.Says("Why is this taken back?")) {
		w.fail("a badge closed the case, and the page did not ask for it: %v", shown["words"])
	}
	open := d.Case == m.cases[1]
	if d.Case != m.ref || open != (d.Outcome == "unreconciled") {
		w.fail("case %s closed, %s; said was %s", d.Case, d.Outcome, m.ref)
	}
	if open && (d.Reason != m.reason || d.Reason == "" || len(d.Actions) != len(m.actions) || s.kind == events.ScanBadge) {
		w.fail("closed with %q and %v; said were %q and %v", d.Reason, d.Actions, m.reason, m.actions)
	}
}

// recorded: two persons say of each case that it is closed.
func (m *closeModel) recorded(w *walk) {
	w.badges, w.operator = nil, ""
	*m = closeModel{cases: m.cases, closed: append(slices.Clip(m.closed), m.ref)}
}
