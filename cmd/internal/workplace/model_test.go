package workplace_test

import (
	"fmt"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/site"
	"listbound/events"
)

// meant is what a person at the opening has been shown and has said: the model
// that every record is held against.
type meant struct {
	badge  string
	active time.Time // of the last input
	ref    string    // the case
	sets   []string  // read since the bench was cleared
	sheets []string
	found  []string // where the sheet was said to be, since a sheet was read
	undone bool     // a scan was taken back: what was read is one of the earlier
	aside  bool     // “put aside” was pressed
	anyway bool     // STOP was answered otherwise
	shown  map[string]any
}

func (m *meant) clear() {
	m.sets, m.sheets, m.found, m.undone, m.aside, m.anyway = nil, nil, nil, false, false, false
}

// walk is one random session at the opening of one station, with two browsers.
type walk struct {
	h     *house
	rng   *rand.Rand
	n     int
	steps []string // to tell what happened
	m     meant
	seen  map[string]float64 // the revision each browser shows
	size  int64
}

func pick[T any](w *walk, from ...T) T { return from[w.rng.IntN(len(from))] }

// step is one input, and whether it is one that may record.
type step struct {
	verb, text, action, value string
}

// asked is the input that the page asks for, ok where it asks for one.
func (w *walk) asked() (s step, ok bool) {
	says := fmt.Sprint(w.m.shown["next"], w.m.shown["words"])
	set := "LAP-014"
	if n := len(w.m.sets); n > 0 {
		set = w.m.sets[n-1]
	}
	for _, x := range []struct{ words, text string }{
		{"the outer label", "(8004)" + set}, {"scan the sheet", w.h.codes[set]}, {"Where was the sheet", "1"},
		{"Scan the case", label(w.h.t, events.ScanCase, "K-1")}, {"badge", label(w.h.t, events.ScanBadge, "B-1")},
		{"Enter records", ""},
	} {
		if strings.Contains(says, x.words) {
			return step{verb: "scan", text: x.text}, true
		}
	}
	return step{}, false
}

func (w *walk) next() step {
	t := w.h.t
	if s, ok := w.asked(); ok && w.rng.IntN(3) > 0 {
		return s
	}
	set := pick(w, "LAP-014", "LAP-022", "VAS-003")
	switch w.rng.IntN(20) {
	case 0, 1, 2:
		return step{verb: "scan", text: pick(w, label(t, events.ScanSet, set), "(8004)"+set, set)}
	case 3, 4:
		return step{verb: "scan", text: w.h.codes[set]}
	case 5, 6:
		return step{verb: "scan", text: label(t, events.ScanBadge, pick(w, "B-1", "B-2"))}
	case 7:
		return step{verb: "scan", text: label(t, events.ScanCase, pick(w, "K-1", "K-2"))}
	case 8, 9:
		return step{verb: "scan", text: pick(w, "1", "2", "3", "4", "12", "777")}
	case 10:
		return step{verb: "scan", text: pick(w, "04012345678901", "P47110815", "X9", "12"+label(t, events.ScanSet, set),
			label(t, events.ScanLoad, "L-1"), "483924")}
	case 11, 12, 13, 14:
		return step{verb: "scan"} // Enter
	case 15, 16:
		return step{verb: "do", action: "found", value: pick(w, "outside", "inside-bag", "none", "unreadable")}
	case 17:
		return step{verb: "do", action: pick(w, "put-aside", "anyway")}
	case 18:
		return step{verb: "do", action: pick(w, "forget", "clear", "next-person", "next-case", "undo")}
	}
	return step{verb: "do", action: pick(w, "record", "take-as", "take-back", "nonsense"), value: pick(w, "", "case", "none")}
}

func (w *walk) send(client string, s step) map[string]any {
	w.n++
	w.steps = append(w.steps, fmt.Sprintf("%s %s: %s %s %.20s%s", w.h.clock().Format("15:04:05"), client, s.verb, s.action, s.text, s.value))
	return w.h.post("/at/north/or-3/opening/"+s.verb+"?lang=en", fmt.Sprintf(
		`{"client":%q,"n":%d,"rev":%v,"text":%s,"action":%q,"fields":{"value":%q}}`,
		client, w.n, w.seen[client], jsonText(s.text), s.action, s.value))
}

func (w *walk) fail(format string, args ...any) {
	w.h.t.Helper()
	w.h.t.Fatalf("%s\n%s", fmt.Sprintf(format, args...), strings.Join(w.steps, "\n"))
}

func (w *walk) step() {
	w.h.after(pick(w, time.Second, 3*time.Second, 3*time.Second, 10*time.Second, time.Minute))
	if w.rng.IntN(40) == 0 {
		w.h.after(25 * time.Minute)
	}
	client := "a"
	if w.rng.IntN(8) == 0 {
		client = "b"
	}
	s := w.next()
	if w.h.clock().Sub(w.m.active) > 20*time.Minute {
		w.m.badge = ""
	}
	shown, idle := w.m.shown, w.h.clock().Sub(w.m.active)
	a := w.send(client, s)
	if a["error"] != nil {
		w.fail("the input was answered with an error: %v", a["error"])
	}
	w.seen[client] = a["rev"].(float64)
	w.m.active = w.h.clock()
	stale := strings.Contains(fmt.Sprint(a["words"], a["aside"]), "Another screen")
	if !stale {
		w.learn(s, a)
	}
	w.check(s, a, shown, stale, idle)
	w.m.shown = a
}

// learn takes what the person just said into the model.
func (w *walk) learn(s step, a map[string]any) {
	kind, _ := a["kind"].(string)
	what, _ := a["what"].(string)
	switch {
	case kind == "badge":
		w.m.badge = what
	case kind == "case":
		w.m.ref = what
	case kind == "set" && strings.Contains(fmt.Sprint(a["words"], a["aside"]), "third set"):
	case kind == "set":
		w.m.sets, w.m.anyway, w.m.aside = append(w.m.sets, what), false, false
	case kind == "sheet code":
		w.m.sheets, w.m.anyway, w.m.aside = append(w.m.sheets, what), false, false
	case kind == "typed":
		w.m.found = append(w.m.found, map[string]string{"1": "outside", "2": "inside-bag", "3": "inside-bare"}[what])
	case s.action == "found":
		w.m.found = append(w.m.found, s.value)
	case s.action == "put-aside":
		w.m.aside = true
	case s.action == "anyway":
		w.m.anyway, w.m.aside = true, false
	case s.action == "next-person":
		w.m.badge = ""
	case s.action == "next-case":
		w.m.ref = ""
	case s.action == "undo":
		w.m.undone = true
	case s.action == "forget", s.action == "clear" && !strings.Contains(fmt.Sprint(a["words"], a["aside"]), "Answer the STOP"):
		w.m.clear()
	}
}

// check holds what was recorded against the model, and what wasn't.
func (w *walk) check(s step, a, shown map[string]any, stale bool, idle time.Duration) {
	size := w.h.size()
	recorded := size - w.size
	w.size = size
	enter := s.verb == "scan" && s.text == ""
	stop := shown != nil && shown["status"] == "broken"
	if recorded == 0 {
		promised := shown != nil && strings.Contains(fmt.Sprint(shown["words"], shown["next"]), "Enter records:")
		if enter && promised && !stale && idle < 20*time.Minute && !(stop && !w.m.anyway) {
			w.fail("the page said that Enter records, and it recorded nothing: %v %v; before: %v %v", a["words"], a["aside"], shown["next"], shown["aside"])
		}
		return
	}
	pending := w.m.aside && (a["kind"] == "badge" || a["kind"] == "typed" || s.action == "found" || s.action == "put-aside")
	if recorded != 1 || stale || !(enter || s.action == "record" || pending) {
		w.fail("%d records by %+v", recorded, s)
	}
	if stop && !w.m.anyway && !pending {
		w.fail("a STOP that nobody answered was recorded: %v", shown["words"])
	}
	w.held(s, pending)
	w.m.clear()
}

// held holds the last record against what was read and said.
func (w *walk) held(s step, aside bool) {
	last := w.h.last()
	var tag, ref string
	var sheet *events.Reading
	switch d := last.Data.(type) {
	case *events.SetOpened:
		tag, sheet, ref = d.Tag, d.Sheet, d.Case
		if aside || ref != w.m.ref {
			w.fail("opened for %s by %+v; the case that was said is %s", ref, s, w.m.ref)
		}
	case *events.SetChecked:
		tag, sheet = d.Tag, d.Sheet
		if !aside {
			w.fail("put aside by %+v, which nobody said", s)
		}
	default:
		w.fail("recorded: %s", last.Kind())
	}
	if last.Operator == "" || last.Operator != w.m.badge {
		w.fail("recorded by %q; the badge that was shown is %q", last.Operator, w.m.badge)
	}
	if tag != "" && !slices.Contains(w.m.sets, tag) || last.Subject != tag && !slices.Contains(w.m.sets, last.Subject) {
		w.fail("recorded of %s, tag %s; read were %v", last.Subject, tag, w.m.sets)
	}
	if sheet == nil {
		return
	}
	if sheet.Code != "" && (!slices.Contains(w.m.sheets, sheet.Code) || !w.m.undone && sheet.Code != w.m.sheets[len(w.m.sheets)-1]) {
		w.fail("recorded with the sheet %s; read were %v", sheet.Code, w.m.sheets)
	}
	if !slices.Contains(w.m.found, sheet.Found) {
		w.fail("recorded as found %s; said was %v", sheet.Found, w.m.found)
	}
}

// last is the newest record.
func (h *house) last() *events.Event {
	h.t.Helper()
	e, err := h.site.EventAt(h.site.Size())
	if err != nil {
		h.t.Fatal(err)
	}
	return e
}

// TestRandomSessions drives the opening with random scans, keys, pauses, double
// scans and two browsers: nothing is recorded that was not shown and meant, and
// what the page says that Enter records is recorded. LISTBOUND_SESSIONS is how
// many sessions of 40 inputs are tried.
func TestRandomSessions(t *testing.T) {
	sessions := 20
	if testing.Short() {
		sessions = 10
	}
	if s := os.Getenv("LISTBOUND_SESSIONS"); s != "" {
		var err error
		if sessions, err = strconv.Atoi(s); err != nil {
			t.Fatal(err)
		}
	}
	seed := uint64(time.Now().UnixNano())
	if s := os.Getenv("LISTBOUND_SEED"); s != "" {
		var err error
		if seed, err = strconv.ParseUint(s, 10, 64); err != nil {
			t.Fatal(err)
		}
	}
	t.Logf("LISTBOUND_SEED=%d", seed)
	var h *house
	opened, checked := 0, 0
	for i := range sessions {
		if i%20 == 0 { // a house gets slower with its history
			h = newHouse(t)
		}
		w := &walk{h: h, rng: rand.New(rand.NewPCG(seed, uint64(i))), n: i * 1000, seen: make(map[string]float64), size: h.size()}
		w.send("a", step{verb: "do", action: "next-person"})
		w.send("a", step{verb: "do", action: "forget"})
		w.send("a", step{verb: "do", action: "next-case"})
		w.m.active = h.clock()
		for range 40 {
			w.step()
		}
		for _, set := range []string{"LAP-014", "LAP-022", "VAS-003"} {
			if i%20 == 19 || i == sessions-1 {
				opened += len(h.events(site.Query{Set: set}, events.KindSetOpened))
				checked += len(h.events(site.Query{Set: set}, events.KindSetChecked))
			}
		}
	}
	if sessions >= 10 && (opened == 0 || checked == 0) {
		t.Fatalf("%d sessions recorded %d openings and %d sets put aside: they try nothing", sessions, opened, checked)
	}
}
