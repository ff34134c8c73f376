package workplace_test

import (
	"fmt"
	"maps"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/go-json-experiment/json"

	"listbound/events"
)

// step is one input of a person or a scanner. what it is, the model knows itself:
// it does not ask the page what a code was taken for.
type step struct {
	verb, text, action string
	fields             map[string]string
	kind               events.ScanKind // of a labelled code
	id                 string
	lines              string // of a count, in JSON
}

func (s step) enter() bool { return s.verb == "scan" && s.text == "" }

// player is what a person at one workplace has been shown and has said: the model
// that every record there is held against.
type player interface {
	place() string
	// next is an input that fits, or not.
	next(w *walk, shown answer) step
	// learn takes in what was said by an input that was taken. shown is what the
	// browser showed before.
	learn(w *walk, s step, shown, a answer)
	// held holds a new record against what was shown and said.
	held(w *walk, s step, shown answer, e *events.Event)
	// recorded is told when all records of an input were held.
	recorded(w *walk)
}

type answer map[string]any

func (a answer) says(text string) bool {
	return strings.Contains(fmt.Sprint(a["words"], " ", a["next"], " ", a["aside"]), text)
}

// asked is what the page asks the meaning of, in "QQ-7: what is it?".
var asked = regexp.MustCompile(`(\S+): (?:what is it\?|not seen before here)`)

// asksAbout returns the plain code of which the page asks what it is, "" if of none.
func (a answer) asksAbout() string {
	if m := asked.FindStringSubmatch(fmt.Sprint(a["words"], " ", a["next"], " ", a["aside"])); m != nil {
		return m[1]
	}
	return ""
}

// promises reports whether the page says that Enter records.
func (a answer) promises() bool {
	return a != nil && strings.Contains(fmt.Sprint(a["words"], " ", a["next"]), "Enter records:") && a["status"] != "broken"
}

// stale reports whether the input was not taken because another screen was here.
func (a answer) stale() bool { return a.says("Another screen") }

// walk is one random session at one workplace, with two browsers.
type walk struct {
	h       *house
	handler http.Handler
	rng     *rand.Rand
	p       player
	n       int
	steps   []string // to tell what happened
	shown   map[string]answer
	size    int64
	badges  []string // as they were scanned, in order; emptied when they are forgotten
	active  time.Time
	kept    *kept
	plain   string // scanned last, of which it was asked what it is
	latest  answer // to whichever browser
}

// kept is what the sessions in one house have come to.
type kept struct {
	records map[events.Kind]int
	learned map[string]map[events.ScanKind]bool // what plain codes are, as people have said
}

func pick[T any](w *walk, from ...T) T { return from[w.rng.IntN(len(from))] }

func (w *walk) badge() string {
	if len(w.badges) == 0 {
		return ""
	}
	return w.badges[len(w.badges)-1]
}

func (w *walk) label(kind events.ScanKind, id string) step {
	return step{verb: "scan", text: label(w.h.t, kind, id), kind: kind, id: id}
}

// noise is what nobody means to scan here.
func (w *walk) noise() step {
	texts := []string{"04012345678901", "P47110815", "X9", "X9SLAP-01", "777777777777", "]C18018950600013435000012", "QQ-7"}
	if w.rng.IntN(3) == 0 {
		code := w.h.codes["LAP-014"]
		return step{verb: "scan", text: code[:1+w.rng.IntN(len(code)-1)]}
	}
	return step{verb: "scan", text: pick(w, texts...)}
}

// common are inputs that every workplace gets.
func (w *walk) common() (step, bool) {
	switch w.rng.IntN(12) {
	case 0:
		return w.noise(), true
	case 1, 2:
		return step{verb: "scan"}, true
	case 3:
		return w.label(events.ScanBadge, pick(w, "B-1", "B-2")), true
	case 4:
		return step{verb: "do", action: "undo"}, true
	case 5:
		return step{verb: "do", action: "nonsense"}, true
	case 6:
		return step{verb: "do", action: "take-back", fields: map[string]string{"value": pick(w, "", "by-mistake")}}, true
	case 7:
		return step{verb: "do", action: "take-as", fields: map[string]string{"value": pick(w, "", "badge", "seal", "case")}}, true
	}
	return step{}, false
}

// send posts one input, and sometimes once more, as a page does that had no answer.
func (w *walk) send(client string, s step) answer {
	w.h.t.Helper()
	w.n++
	fields, err := json.Marshal(s.fields)
	if err != nil || s.fields == nil {
		fields = []byte("{}")
	}
	rev, _ := w.shown[client]["rev"].(float64)
	body := fmt.Sprintf(`{"client":%q,"n":%d,"rev":%v,"text":%s,"action":%q,"fields":%s`, client, w.n, rev,
		jsonText(s.text), s.action, fields)
	if s.lines != "" {
		body = fmt.Sprintf(`{"client":%q,"n":%d,"lines":%s`, client, w.n, s.lines)
	}
	if c, ok := w.p.(*countModel); ok {
		body += fmt.Sprintf(`,"case":%q,"stage":%q`, c.ref, c.stage)
	}
	path := "/at/north/or-3/" + w.p.place() + "/" + s.verb + "?lang=en"
	a := w.post(path, body+"}")
	w.steps = append(w.steps, fmt.Sprintf("%s %s: %s %s %.40s %v %s -> %v | %v | %v",
		w.h.clock().Format("15:04:05"), client, s.verb, s.action,
		s.text, s.fields, s.lines, a["words"], a["next"], a["aside"]))
	if w.rng.IntN(15) == 0 {
		size := w.h.size()
		w.post(path, body+"}")
		if w.h.size() != size {
			w.fail("the same input, sent again, recorded again")
		}
		w.steps = append(w.steps, "  sent again")
	}
	return a
}

func (w *walk) post(path, body string) answer {
	w.h.t.Helper()
	rec := httptest.NewRecorder()
	w.handler.ServeHTTP(rec, httptest.NewRequest(http.MethodPost, path, strings.NewReader(body)))
	var out answer
	if err := json.Unmarshal(rec.Body.Bytes(), &out); err != nil || rec.Code != http.StatusOK {
		w.fail("%s %s: %d %s", path, body, rec.Code, rec.Body)
	}
	return out
}

func (w *walk) fail(format string, args ...any) {
	w.h.t.Helper()
	w.h.t.Fatalf("%s\n%s", fmt.Sprintf(format, args...), strings.Join(w.steps, "\n"))
}

// step is one input, and what comes of it.
func (w *walk) step() {
	w.h.after(pick(w, time.Second, 3*time.Second, 3*time.Second, 10*time.Second, time.Minute))
	if w.rng.IntN(60) == 0 {
		w.h.after(25 * time.Minute)
	}
	client := "a"
	if w.rng.IntN(8) == 0 {
		client = "b"
	}
	if w.rng.IntN(3) == 0 && w.shown[client] != nil { // the stream has told the page
		w.look(client)
	}
	forgotten := w.h.clock().Sub(w.active) > 20*time.Minute
	if forgotten {
		w.badges = nil
	}
	shown := w.shown[client]
	s := w.p.next(w, shown)
	before := w.h.size()
	a := w.send(client, s)
	w.shown[client] = a
	s = w.meaning(s, shown, a)
	w.latest = a
	if !a.stale() {
		w.active = w.h.clock()
		w.learnBadge(s)
		w.p.learn(w, s, shown, a)
	}
	w.size = w.h.size()
	if w.size == before && s.enter() && shown.promises() && !a.stale() && !forgotten {
		w.fail("the page said that Enter records, and it recorded nothing")
	}
	for seq := before + 1; seq <= w.size; seq++ {
		e, err := w.h.site.EventAt(seq)
		if err != nil {
			w.fail("%v", err)
		}
		w.kept.records[e.Kind()]++
		if a.stale() {
			w.fail("recorded by an input that was not taken: %s", e.Kind())
		}
		if c, ok := e.Data.(*events.EventCorrected); ok {
			if s.action != "take-back" || s.fields["value"] == "" || c.Action != "void" || !slices.Contains(w.badges, e.Operator) {
				w.fail("taken back by %+v", s)
			}
			continue
		}
		w.p.held(w, s, shown, e)
		if seq == w.size {
			w.p.recorded(w)
		}
	}
}

// meaning is what a plain code means: what a person says now that it is, or has said
// of such codes before.
func (w *walk) meaning(s step, shown, a answer) step {
	if s.enter() && shown.says("Is it a set? Enter = yes") {
		s.action, s.fields = "take-as", map[string]string{"value": string(events.ScanSet)}
	}
	kind := events.ScanKind(s.fields["value"])
	if s.action == "take-as" {
		w.plain = w.latest.asksAbout() // a question comes back when what was scanned after it is undone
	}
	switch {
	case a.stale():
	case s.action == "take-as" && len(w.plain) >= 12 && len(w.plain) <= 14 && strings.Trim(w.plain, "0123456789") == "":
		// A trade item's number is no badge, case or seal, whatever a person says.
	case s.action == "take-as" && kind != "" && w.plain != "":
		shape := w.plain
		if kind != events.ScanBadge {
			shape = events.CodeShape(shape)
		}
		if w.kept.learned[shape] == nil {
			w.kept.learned[shape] = make(map[events.ScanKind]bool)
		}
		w.kept.learned[shape][kind] = true
		s.kind, s.id, w.plain = kind, w.plain, ""
	case s.kind != "":
		w.plain = ""
	case s.verb == "scan" && s.kind == "" && s.text != "":
		if a.asksAbout() == s.text {
			w.plain = s.text
		}
		kind, _ := a["kind"].(string)
		for _, shape := range []string{s.text, events.CodeShape(s.text)} {
			if w.kept.learned[shape][events.ScanKind(kind)] {
				s.kind, s.id = events.ScanKind(kind), s.text
			}
		}
	}
	return s
}

func (w *walk) learnBadge(s step) {
	switch {
	case s.kind == events.ScanBadge:
		w.badges = append(w.badges, s.id)
	case s.action == "next-person" || s.action == "badges-clear":
		w.badges = nil
	}
}

// look fetches the page's state, as its stream makes it do.
func (w *walk) look(client string) {
	path := "/at/north/or-3/" + w.p.place() + "/state?lang=en"
	if c, ok := w.p.(*countModel); ok {
		path += "&case=" + c.ref + "&stage=" + string(c.stage)
	}
	rec := httptest.NewRecorder()
	w.handler.ServeHTTP(rec, httptest.NewRequest(http.MethodGet, path, nil))
	var out answer
	if err := json.Unmarshal(rec.Body.Bytes(), &out); err != nil || rec.Code != http.StatusOK {
		w.fail("%s: %d %s", path, rec.Code, rec.Body)
	}
	if _, ok := w.p.(*countModel); ok {
		out = answer{"state": map[string]any(out), "words": out["ask"], "status": "open"}
	}
	w.shown[client] = out
	w.steps = append(w.steps, fmt.Sprintf("  %s shows %v | %v", client, out["words"], out["next"]))
}

// TestRandomSessions drives every workplace with random scans, keys, pauses, inputs
// sent again and two browsers: nothing is recorded that was not shown and meant, and
// what the page says that Enter records is recorded. LISTBOUND_SESSIONS is how many
// sessions of 40 inputs are tried, LISTBOUND_SEED which.
func TestRandomSessions(t *testing.T) {
	// The same sessions each time: what a new one finds is to be found by whoever looks for it, not by whoever
	// changes something else.
	sessions, seed := 42, uint64(20261126)
	if testing.Short() {
		sessions = 14
	}
	for name, set := range map[string]func(uint64){
		"LISTBOUND_SESSIONS": func(n uint64) { sessions = int(n) }, "LISTBOUND_SEED": func(n uint64) { seed = n },
	} {
		if s := os.Getenv(name); s != "" {
			n, err := strconv.ParseUint(s, 10, 64)
			if err != nil {
				t.Fatal(err)
			}
			set(n)
		}
	}
	t.Logf("LISTBOUND_SEED=%d", seed)
	total := make(map[events.Kind]int)
	const perHouse = 14 // a house gets slower with its history
	for first := 0; first < sessions; first += perHouse {
		t.Run(strconv.Itoa(first), func(t *testing.T) {
			h := newHouse(t)
			k := &kept{records: total, learned: make(map[string]map[events.ScanKind]bool)}
			handler := h.handler()
			for i := first; i < min(first+perHouse, sessions); i++ {
				w := &walk{h: h, handler: handler, rng: rand.New(rand.NewPCG(seed, uint64(i))), n: i * 1000,
					kept: k, shown: make(map[string]answer)}
				w.session(i)
			}
		})
		if t.Failed() {
			return
		}
	}
	t.Log(total)
	want := []events.Kind{events.KindSetPacked, events.KindListSealed, events.KindSetSterilized,
		events.KindIndicatorRead, events.KindSetChecked,
		events.KindSetOpened, events.KindSetCounted, events.KindCaseClosed, events.KindEventCorrected}
	for _, kind := range want {
		if sessions >= 100 && total[kind] == 0 {
			t.Errorf("%d sessions recorded no %s: they try nothing of it", sessions, kind)
		}
	}
}

// session is one session of 40 inputs.
func (w *walk) session(i int) {
	w.n += 1
	players := []func() player{
		func() player { return &readingModel{where: "opening"} }, func() player { return &readingModel{where: "storage"} },
		func() player { return newPackModel() }, func() player { return new(sealModel) }, func() player { return newLoadModel() },
		func() player { return newCountModel(w, i) }, func() player { return newCloseModel(w, i) },
	}
	w.p = players[i%len(players)]()
	w.active = w.h.clock()
	if err := os.RemoveAll(filepath.Join(w.h.site.Dir(), "drafts")); err != nil {
		w.h.t.Fatal(err)
	}
	clear(w.kept.learned)
	w.look("a")
	w.look("b")
	for range 40 {
		w.step()
	}
}

// readingModel is the model of opening and storage.
type readingModel struct {
	where  string
	ref    string
	refs   []string // all that were said
	sets   []string // read since the bench was cleared
	sheets []string
	seals  []string
	found  []string // where the sheet was said to be
	undone bool     // a scan was taken back: what was read is one of the earlier
	aside  bool     // “put aside” was pressed
	anyway bool     // STOP was answered otherwise
}

func (m *readingModel) place() string { return m.where }

// asked is the input that the page asks for, ok where it asks for one.
func (m *readingModel) asked(w *walk, shown answer) (s step, ok bool) {
	set := "LAP-014"
	if n := len(m.sets); n > 0 {
		set = m.sets[n-1]
	}
	for _, x := range []struct {
		words string
		step
	}{
		{"the outer label", step{verb: "scan", text: "(8004)" + set, kind: events.ScanSet, id: set}},
		{"scan the count sheet", step{verb: "scan", text: w.h.codes[set], kind: events.ScanSheet, id: w.h.codes[set]}},
		{"Where was the sheet", step{verb: "scan", text: "1"}},
		{"Scan the case", w.label(events.ScanCase, "K-1")},
		{"badge", w.label(events.ScanBadge, "B-1")},
		{"Enter records", step{verb: "scan"}},
	} {
		if shown.says(x.words) {
			return x.step, true
		}
	}
	return step{}, false
}

func (m *readingModel) next(w *walk, shown answer) step {
	if s, ok := m.asked(w, shown); ok && w.rng.IntN(3) > 0 {
		return s
	}
	if s, ok := w.common(); ok {
		return s
	}
	set := pick(w, "LAP-014", "LAP-022", "VAS-003")
	value := func(v string) map[string]string { return map[string]string{"value": v} }
	switch w.rng.IntN(12) {
	case 0, 1, 2:
		return step{verb: "scan", text: pick(w, label(w.h.t, events.ScanSet, set), "(8004)"+set, set,
			"12"+label(w.h.t, events.ScanSet, set)),
			kind: events.ScanSet, id: set}
	case 3, 4:
		return step{verb: "scan", text: w.h.codes[set], kind: events.ScanSheet, id: w.h.codes[set]}
	case 5:
		return w.label(events.ScanCase, pick(w, "K-1", "K-2"))
	case 6:
		return w.label(events.ScanSeal, pick(w, "483924", "483922"))
	case 7:
		return step{verb: "scan", text: pick(w, "1", "2", "3", "4", "12", "777")}
	case 8, 9:
		return step{verb: "do", action: "found", fields: value(pick(w, "outside", "inside-bag", "none", "unreadable"))}
	case 10:
		return step{verb: "do", action: pick(w, "put-aside", "anyway", "swap", "seals-none")}
	}
	return step{verb: "do", action: pick(w, "forget", "clear", "next-person", "next-case", "record"), fields: value("")}
}

func (m *readingModel) clear() {
	*m = readingModel{where: m.where, ref: m.ref, refs: m.refs, undone: m.undone}
}

func (m *readingModel) learn(w *walk, s step, shown, a answer) {
	switch {
	case s.kind == events.ScanCase && m.where == "opening":
		m.ref, m.refs = s.id, append(m.refs, s.id)
	case s.kind == events.ScanSet && a.says("third set"), a.says("Read twice"):
	case s.kind == events.ScanSet:
		m.sets, m.anyway, m.aside = append(m.sets, s.id), false, false
	case s.kind == events.ScanSheet:
		m.sheets, m.anyway, m.aside = append(m.sheets, s.id), false, false
	case s.kind == events.ScanSeal:
		m.seals = append(m.seals, s.id)
	case len(s.text) == 1 && (shown.says("Where was the sheet") || a["kind"] == "typed"):
		m.found = append(m.found, map[string]string{"1": "outside", "2": "inside-bag", "3": "inside-bare"}[s.text])
	case s.action == "found":
		m.found = append(m.found, s.fields["value"])
	case s.action == "put-aside":
		m.aside = true
	case s.action == "anyway":
		m.anyway, m.aside = true, false
	case s.action == "next-case":
		m.ref = ""
	case s.action == "undo":
		m.undone, m.anyway, m.aside = true, false, false
	case s.action == "forget", s.action == "clear" && !a.says("Answer the STOP"):
		m.clear()
	}
}

func (m *readingModel) held(w *walk, s step, shown answer, e *events.Event) {
	saysWhere := s.action == "found" || len(s.text) == 1
	aside := m.aside && (s.kind == events.ScanBadge || saysWhere || s.action == "put-aside")
	if !s.enter() && s.action != "record" && !aside {
		w.fail("%s recorded by %+v", e.Kind(), s)
	}
	if shown["status"] == "broken" && !m.anyway && !aside {
		w.fail("a STOP that nobody answered was recorded: %v", shown["words"])
	}
	var tag, ref string
	var seals []string
	var sheet *events.Reading
	switch d := e.Data.(type) {
	case *events.SetOpened:
		tag, sheet, ref, seals = d.Tag, d.Sheet, d.Case, d.Seals
		if aside || m.where != "opening" || ref != m.ref && !(m.undone && slices.Contains(m.refs, ref)) {
			w.fail("opened for %s; the case that was said is %s", ref, m.ref)
		}
	case *events.SetChecked:
		tag, sheet, seals = d.Tag, d.Sheet, d.Seals
		if !aside && m.where != "storage" {
			w.fail("put aside, which nobody said")
		}
	default:
		w.fail("recorded: %s", e.Kind())
	}
	if !slices.Contains(w.badges, e.Operator) || e.Operator != w.badge() && !m.undone {
		w.fail("recorded by %q; the badges that were shown are %v", e.Operator, w.badges)
	}
	if tag != "" && !slices.Contains(m.sets, tag) || e.Subject != tag && !slices.Contains(m.sets, e.Subject) {
		w.fail("recorded of %s, tag %s; read were %v", e.Subject, tag, m.sets)
	}
	for _, seal := range seals {
		if !slices.Contains(m.seals, seal) {
			w.fail("recorded with seal %s; read were %v", seal, m.seals)
		}
	}
	m.heldSheet(w, sheet)
}

func (m *readingModel) heldSheet(w *walk, sheet *events.Reading) {
	if sheet == nil {
		return
	}
	newest := func() bool { return m.undone || sheet.Code == m.sheets[len(m.sheets)-1] }
	if sheet.Code != "" && (!slices.Contains(m.sheets, sheet.Code) || !newest()) {
		w.fail("recorded with the sheet %s; read were %v", sheet.Code, m.sheets)
	}
	if !slices.Contains(m.found, sheet.Found) {
		w.fail("recorded as found %s; said was %v", sheet.Found, m.found)
	}
}

func (m *readingModel) recorded(*walk) { m.clear() }

// packModel is the model of packing: each line as it was shown and answered.
type packModel struct {
	set    string
	lines  map[int64]events.Exception            // as counted; Reason where one was said
	all    map[string]map[int64]events.Exception // lines by set
	grams  int64
	undone bool
}

func newPackModel() *packModel {
	return &packModel{lines: make(map[int64]events.Exception), all: make(map[string]map[int64]events.Exception)}
}

func (m *packModel) place() string { return "packing" }

// shownLine is the line that the page asks for, 0 for none.
func (m *packModel) shownLine(shown answer) *events.Line {
	words, _ := shown["words"].(string)
	for _, l := range listShort().Lines {
		if words == fmt.Sprintf("%d × %s", l.Quantity, l.Description) {
			return &l
		}
	}
	return nil
}

// why is the line that the page asks about, 0 for none.
func (m *packModel) why(shown answer) (line int64) {
	words, _ := shown["words"].(string)
	var counted, listed int64
	if n, _ := fmt.Sscanf(words, "Line %d: %d of %d. Why?", &line, &counted, &listed); n != 3 {
		return 0
	}
	return line
}

func (m *packModel) next(w *walk, shown answer) step {
	ask := w.rng.IntN(4) > 0
	switch {
	case ask && shown.says("Weigh it"):
		return step{verb: "scan", text: pick(w, "4.2", "7")}
	case ask && shown.says("badge"):
		return w.label(events.ScanBadge, "B-1")
	case ask && m.why(shown) > 0:
		return step{verb: "scan", text: pick(w, "1", "2", "3", "7", "")}
	case ask && m.shownLine(shown) != nil:
		return step{verb: "scan", text: pick(w, "", "", "", "3", "9")}
	case ask && shown.promises():
		return step{verb: "scan"}
	}
	if s, ok := w.common(); ok {
		return s
	}
	switch w.rng.IntN(8) {
	case 0, 1, 2:
		return w.label(events.ScanSet, pick(w, "VAS-003", "VAS-003", "VAS-003", "LAP-014"))
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

func (m *packModel) learn(w *walk, s step, shown, a answer) {
	if a.says("Read twice") {
		return
	}
	number, err := strconv.ParseInt(s.text, 10, 64)
	typed := err == nil && s.verb == "scan"
	line := m.shownLine(shown)
	enter := s.enter() || s.action == "enter"
	switch {
	case s.kind == events.ScanSet && !a.says("is half packed") && s.id != m.set && fmt.Sprint(a["what"]) == s.id && !a.says("Not taken"):
		m.turn(s.id)
	case s.action == "clear":
		m.drop()
	case s.action == "undo":
		m.undone = true
	case s.action == "again" || s.action == "weight":
		m.answer(s, shown)
	case m.why(shown) > 0 && typed && number >= 1 && number <= 4:
		x := m.lines[m.why(shown)]
		x.Reason = []string{"missing", "substituted", "damaged", "added"}[number-1]
		m.lines[x.Line] = x
	case line != nil && (enter || typed && len(s.text) <= 3):
		x := events.Exception{Line: line.Line, Counted: line.Quantity}
		if typed {
			x.Counted = number
		}
		m.lines[line.Line] = x
	case shown.says("Weigh it") && s.verb == "scan":
		if kg, err := strconv.ParseFloat(s.text, 64); err == nil && len(s.text) <= 3 && kg > 0 {
			m.grams = int64(kg*1000 + 0.5)
		}
	}
}

// answer takes the buttons.
func (m *packModel) answer(s step, shown answer) {
	switch {
	case s.action == "again":
		delete(m.lines, m.why(shown))
	case s.fields["weight"] == "5,5":
		m.grams = 5500
	case s.fields["weight"] == "":
		m.grams = 0
	}
}

func (m *packModel) held(w *walk, s step, shown answer, e *events.Event) {
	d, ok := e.Data.(*events.SetPacked)
	if !ok || !s.enter() && s.action != "record" && s.action != "enter" {
		w.fail("%s recorded by %+v", e.Kind(), s)
	}
	if e.Subject != m.set && !m.undone || !slices.Contains(w.badges, e.Operator) || d.SecondLook != "" &&
		!slices.Contains(w.badges, d.SecondLook) {
		w.fail("packed %s by %s; said were %s and %s", e.Subject, e.Operator, m.set, w.badge())
	}
	if d.WeightGrams != m.grams && !m.undone {
		w.fail("%d g; said were %d", d.WeightGrams, m.grams)
	}
	var want []events.Exception
	for _, l := range listShort().Lines {
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

func (m *packModel) recorded(*walk) { m.drop() }

// turn takes another set up. What was counted of a set before stays.
func (m *packModel) turn(set string) {
	if m.all[set] == nil {
		m.all[set] = make(map[int64]events.Exception)
	}
	m.set, m.lines, m.grams = set, m.all[set], 0
}

func (m *packModel) drop() {
	delete(m.all, m.set)
	*m = packModel{all: m.all, lines: make(map[int64]events.Exception), undone: m.undone}
}

// sealModel is the model of sealing.
type sealModel struct {
	set, where, lot string
	seals           []string
	undone          bool
}

func (m *sealModel) place() string { return "sealing" }

func (m *sealModel) next(w *walk, shown answer) step {
	places := []string{"outside", "inside-bag", "inside-bare", "screen"}
	ask := w.rng.IntN(3) > 0
	switch {
	case ask && shown.says("badge"):
		return w.label(events.ScanBadge, "B-1")
	case ask && shown.says("sheet go?") && w.rng.IntN(2) == 0:
		return step{verb: "scan", text: pick(w, "1", "2", "3", "4")}
	case ask && shown.says("as the last time") && w.rng.IntN(2) == 0:
		return step{verb: "scan"}
	case ask && (shown.says("sheet go?") || shown.says("as the last time")):
		return step{verb: "do", action: "placement", fields: map[string]string{"placement": pick(w, places...)}}
	case ask && shown.says("lot of the bag"):
		return step{verb: "do", action: "bag-lot", fields: map[string]string{"lot": "BG-7"}}
	case ask && shown.says("Enter binds"):
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
		return step{verb: "do", action: pick(w, "record", "seals-none", "next-person")}
	}
	return step{verb: "scan", text: w.h.codes[pick(w, "VAS-003", "LAP-014")], kind: events.ScanSheet}
}

func (m *sealModel) learn(w *walk, s step, shown, a answer) {
	switch {
	case a.says("Read twice"):
	case s.kind == events.ScanSet && s.id != m.set:
		*m = sealModel{set: s.id, undone: m.undone} // where its sheet goes is said for each set
	case s.kind == events.ScanSeal && !slices.Contains(m.seals, s.id):
		m.seals = append(m.seals, s.id)
	case s.action == "seal-off":
		m.seals = slices.DeleteFunc(m.seals, func(seal string) bool { return seal == s.fields["value"] })
	case s.action == "seals-none":
		m.seals = nil
	case s.action == "placement":
		m.where = s.fields["placement"]
	case s.verb == "scan" && m.asked(shown) && len(s.text) == 1 && strings.Contains("1234", s.text):
		m.where = []string{"inside-bag", "inside-bare", "outside", "screen"}[s.text[0]-'1']
	case s.enter() && shown.says("as the last time"):
		for where, words := range map[string]string{
			"inside-bag": ": inside, in a bag,", "inside-bare": ": inside, no bag,", "outside": ": outside, in the holder,",
			"screen": ": no paper, on the screen,",
		} {
			if shown.says(words) {
				m.where = where
			}
		}
	case s.action == "bag-lot":
		m.lot = s.fields["lot"]
	case s.verb == "scan" && s.kind == "" && s.text != "" && shown.says("lot of the bag"):
		m.lot = s.text
	case s.action == "undo":
		m.undone = true
	}
}

// asked reports whether the page asks where the sheet of the set goes.
func (m *sealModel) asked(shown answer) bool {
	return shown.says("sheet go?") || shown.says("as the last time")
}

func (m *sealModel) held(w *walk, s step, shown answer, e *events.Event) {
	d, ok := e.Data.(*events.ListSealed)
	if !ok || !s.enter() && s.action != "record" {
		w.fail("%s recorded by %+v", e.Kind(), s)
	}
	if s.enter() && !shown.says("Enter binds") {
		w.fail("Enter sealed what was not shown: %v", shown["words"])
	}
	if e.Operator == "" || m.undone {
		return // what was taken back is one of the earlier
	}
	if e.Subject != m.set || e.Operator != w.badge() || string(d.Placement) != m.where || !slices.Equal(d.Seals, m.seals) {
		w.fail("sealed %s by %s, %s, %v; said were %s, %s, %s, %v", e.Subject, e.Operator, d.Placement, d.Seals,
			m.set, w.badge(), m.where, m.seals)
	}
	if d.Placement == events.InsideBag && d.BagLot != m.lot {
		w.fail("lot %q; said was %q", d.BagLot, m.lot)
	}
}

func (m *sealModel) recorded(*walk) { *m = sealModel{} }

// loadModel is the model of the sterilizer.
type loadModel struct {
	loads  map[string][]string // sets that were put into each load
	load   string
	run    int
	undone bool
}

func newLoadModel() *loadModel { return &loadModel{loads: make(map[string][]string)} }

func (m *loadModel) place() string { return "sterilizer" }

func (m *loadModel) next(w *walk, shown answer) step {
	if w.rng.IntN(4) > 0 && shown.says("badge") {
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
	switch w.rng.IntN(12) {
	case 0, 1:
		m.run++
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
	return step{verb: "do", action: "indicator", fields: f("value", pick(w, "negative", "positive", ""))}
}

func (m *loadModel) learn(w *walk, s step, shown, a answer) {
	if a.says("Read twice") {
		return
	}
	in := func(set string) bool { return slices.Contains(m.loads[m.load], set) }
	loaded := strings.Contains(fmt.Sprint(a["words"]), " into ") || a.says("is in load") || a.says("loaded")
	_ = loaded
	switch {
	case s.action == "begin":
		id := fmt.Sprintf("%s-%s-%02s", s.fields["sterilizer"], w.h.clock().Format("0102"), s.fields["run"])
		if _, ok := m.loads[id]; !ok && s.fields["run"] != "no" {
			m.load = id
			m.loads[id] = nil
		}
	case s.kind == events.ScanSet && m.load != "" && !in(s.id):
		m.loads[m.load] = append(m.loads[m.load], s.id) // perhaps: the page may ask first
	case s.action == "put" && m.load != "" && !in(s.fields["value"]):
		m.loads[m.load] = append(m.loads[m.load], s.fields["value"])
	case s.action == "take-out" && !m.undone && fmt.Sprint(a["bench"]) != "" &&
		!strings.Contains(fmt.Sprint(a["bench"]), `scope="row">`+s.fields["set"]+"<"):
		m.loads[m.load] = slices.DeleteFunc(m.loads[m.load], func(x string) bool { return x == s.fields["set"] })
	case s.action == "undo":
		m.undone = true
	}
}

func (m *loadModel) held(w *walk, s step, shown answer, e *events.Event) {
	if e.Operator == "" || e.Operator != w.badge() && !m.undone {
		w.fail("recorded by %q; the badge that was shown is %q", e.Operator, w.badge())
	}
	switch d := e.Data.(type) {
	case *events.SetSterilized:
		if s.action != "result" || d.Result != s.fields["result"] || d.Released && (s.fields["released"] != "yes" || d.Result == "failed") {
			w.fail("%s, released %v, recorded by %+v", d.Result, d.Released, s)
		}
		if !m.undone && (d.Load != m.load || !slices.Contains(m.loads[d.Load], e.Subject)) {
			w.fail("%s in load %s, which nobody put there: %v in %s", e.Subject, d.Load, m.loads, m.load)
		}
	case *events.IndicatorRead:
		if s.action != "indicator" || s.fields["value"] == "" || d.Result != s.fields["value"] || d.Load != "S1-0304-01" {
			w.fail("indicator of %s %s, recorded by %+v", d.Load, d.Result, s)
		}
	default:
		w.fail("recorded: %s", e.Kind())
	}
}

func (m *loadModel) recorded(*walk) {}

// countModel is the model of a count, its page included: what a browser takes for
// a number of a line, and what for a scan.
type countModel struct {
	ref   string
	stage events.Stage
	set   string
	lines map[int64]int64 // the number that holds; -1: two browsers said different numbers
	by    map[int64]string
}

func newCountModel(w *walk, i int) *countModel {
	m := &countModel{ref: fmt.Sprintf("K-%d", 100+i), stage: events.StageFirst, set: "VAS-003",
		lines: make(map[int64]int64), by: make(map[int64]string)}
	w.openAgain(m.set, m.ref)
	return m
}

// openAgain packs a set anew and opens it for a case.
func (w *walk) openAgain(set, ref string) {
	h := w.h
	list := "LAP-MAJOR"
	if strings.HasPrefix(set, "VAS") {
		list = "VAS-MINOR"
	}
	h.trips[set] = h.record("north/packing-1", events.KindSetPacked, set, &events.SetPacked{List: list, Version: 1, WeightGrams: 8400}).Trip
	h.codes[set] = h.record("north/packing-1", events.KindListSealed, set, &events.ListSealed{Placement: events.Outside}).SheetCode
	h.record("north/sterilizer-1", events.KindSetSterilized, set, &events.SetSterilized{Load: "S1-0304-01", Sterilizer: "S1", Run: 1,
		Cycle: "dynamic-air-132", Result: "passed", Released: true})
	h.record("north/or-3", events.KindSetOpened, set, &events.SetOpened{Case: ref, Tag: set, OuterLabel: set,
		Sheet: &events.Reading{Found: "outside", Code: h.codes[set]}, Indicator: "pass"})
}

func (m *countModel) place() string { return "count" }

func (m *countModel) next(w *walk, shown answer) step {
	st, _ := shown["state"].(map[string]any)
	complete := st["complete"] == true
	ask := w.rng.IntN(4) > 0
	switch {
	case ask && complete && shown.says("Scrub person: scan your badge"):
		return w.label(events.ScanBadge, "B-1")
	case ask && complete && shown.says("Circulating nurse: scan your badge"):
		return w.label(events.ScanBadge, "B-2")
	case ask && complete && shown.says("Enter signs"):
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
	case 5:
		return step{verb: "scan", text: w.h.codes[pick(w, "VAS-003", "LAP-014")], kind: events.ScanSheet}
	}
	line := int64(1 + w.rng.IntN(3))
	n := pick(w, listShort().Lines[line-1].Quantity, listShort().Lines[line-1].Quantity, 5)
	rev := 0.0
	if sets, ok := st["sets"].([]any); ok && len(sets) > 0 {
		lines := sets[0].(map[string]any)["lines"].([]any)
		rev, _ = lines[line-1].(map[string]any)["rev"].(float64)
	}
	return step{verb: "enter", lines: fmt.Sprintf(`[{"set":%q,"line":%d,"counted":%d,"seen":%v}]`, m.set, line, n, rev),
		fields: map[string]string{"line": strconv.FormatInt(line, 10), "n": strconv.FormatInt(n, 10)}}
}

func (m *countModel) learn(w *walk, s step, shown, a answer) {
	if s.verb != "enter" {
		return
	}
	line, _ := strconv.ParseInt(s.fields["line"], 10, 64)
	n, _ := strconv.ParseInt(s.fields["n"], 10, 64)
	m.lines[line] = n
	// Two browsers that had not seen each other's number: nobody's holds.
	sets := a["state"].(map[string]any)["sets"].([]any)
	if l := sets[0].(map[string]any)["lines"].([]any)[line-1].(map[string]any); l["counted"] == nil {
		if !a.says("count") && l["note"] == nil {
			w.fail("line %d was counted and has no number: %v", line, l)
		}
		m.lines[line] = -1
	} else if l["counted"] != float64(n) {
		w.fail("line %d: %d counted, the page shows %v", line, n, l["counted"])
	}
}

func (m *countModel) held(w *walk, s step, shown answer, e *events.Event) {
	d, ok := e.Data.(*events.SetCounted)
	if !ok || s.verb == "enter" {
		w.fail("%s recorded by %+v", e.Kind(), s)
	}
	if !s.enter() && s.kind != events.ScanBadge && s.action != "sign" {
		w.fail("signed by %+v", s)
	}
	if d.Counter == d.Witness || !slices.Contains(w.badges, d.Counter) || !slices.Contains(w.badges, d.Witness) ||
		d.Case != m.ref || d.Stage != m.stage {
		w.fail("signed by %s and %s; badges since: %v", d.Counter, d.Witness, w.badges)
	}
	got := make(map[int64]int64)
	for _, c := range d.Counts {
		got[c.Line] = c.Counted
	}
	if !maps.Equal(got, m.lines) || len(got) != 3 {
		w.fail("recorded %v; counted were %v", got, m.lines)
	}
}

// recorded: the next count of a set that was opened anew.
func (m *countModel) recorded(w *walk) {
	*m = *newCountModel(w, w.n*10)
	w.badges = nil
	clear(w.shown)
	w.look("a")
	w.look("b")
}

// closeModel is the model of the closing page.
type closeModel struct {
	cases   []string
	ref     string
	reason  string
	actions []string
	undone  bool
}

func newCloseModel(w *walk, i int) *closeModel {
	m := &closeModel{cases: []string{fmt.Sprintf("C-%d", 100+i), fmt.Sprintf("D-%d", 100+i)}}
	w.openAgain("VAS-003", m.cases[0])
	w.openAgain("LAP-022", m.cases[1])
	for _, stage := range []events.Stage{events.StageFirst, events.StageFinal} {
		w.h.record("north/or-3", events.KindSetCounted, "VAS-003", &events.SetCounted{Case: m.cases[0], Stage: stage, Sheet: "screen",
			Counter: "B-1", Witness: "B-2", Counts: []events.Count{{Line: 1, Counted: 4}, {Line: 2, Counted: 2}, {Line: 3, Counted: 3}}})
	}
	return m
}

func (m *closeModel) place() string { return "close" }

func (m *closeModel) next(w *walk, shown answer) step {
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
		return step{verb: "do", action: "action", fields: map[string]string{"action": pick(w, "recounted", "image-taken")}}
	case 6:
		return step{verb: "do", action: "reason", fields: map[string]string{"reason": pick(w, "not found", "")}}
	case 7:
		return step{verb: "do", action: "record"}
	}
	return step{verb: "do", action: pick(w, "clear", "next-person")}
}

func (m *closeModel) learn(w *walk, s step, shown, a answer) {
	turn := func(ref string) {
		if ref != m.ref {
			*m = closeModel{cases: m.cases, ref: ref}
		}
	}
	switch {
	case a.says("Read twice"):
	case s.kind == events.ScanCase:
		turn(s.id)
	case s.kind == events.ScanSet && !a.says("no case"):
		turn(map[string]string{"VAS-003": m.cases[0], "LAP-022": m.cases[1]}[s.id])
	case m.ref == "" && (s.action == "action" || s.action == "reason"): // of which case?
	case s.action == "action":
		if i := slices.Index(m.actions, s.fields["action"]); i >= 0 {
			m.actions = slices.Delete(m.actions, i, i+1)
		} else {
			m.actions = append(m.actions, s.fields["action"])
		}
	case s.action == "reason":
		m.reason = s.fields["reason"]
	case s.action == "clear":
		*m = closeModel{cases: m.cases}
	case s.action == "undo":
		m.undone = true
	}
}

func (m *closeModel) held(w *walk, s step, shown answer, e *events.Event) {
	d, ok := e.Data.(*events.CaseClosed)
	if !ok || !s.enter() && s.action != "record" && s.kind != events.ScanBadge {
		w.fail("%s recorded by %+v", e.Kind(), s)
	}
	if e.Operator == d.Witness || e.Operator == "" || !slices.Contains(w.badges, e.Operator) || !slices.Contains(w.badges, d.Witness) {
		w.fail("closed by %q and %q; badges since: %v", e.Operator, d.Witness, w.badges)
	}
	if m.undone {
		return
	}
	open := d.Case == m.cases[1]
	if d.Case != m.ref || open != (d.Outcome == "unreconciled") {
		w.fail("case %s closed, %s; said was %s", d.Case, d.Outcome, m.ref)
	}
	if open && (d.Reason != m.reason || d.Reason == "" || len(d.Actions) != len(m.actions) || s.kind == events.ScanBadge) {
		w.fail("closed with %q and %v; said were %q and %v", d.Reason, d.Actions, m.reason, m.actions)
	}
}

func (m *closeModel) recorded(*walk) { *m = closeModel{cases: m.cases} }
