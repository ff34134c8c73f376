package sessions_test

import (
	"fmt"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"time"

	"github.com/go-json-experiment/json"

	"listbound/cmd/internal/workplace/workplacetest"
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
	again              bool   // one symbol read twice
}

func (s step) enter() bool { return s.verb == "scan" && s.text == "" }

// symbol reports whether a scanner sent it: what a person types is shorter.
func (s step) symbol() bool { return s.verb == "scan" && len(s.text) > 6 }

// player is what a person at one workplace has been shown and has said: the model
// that every record there is held against.
type player interface {
	place() string
	// next is an input that fits, or not.
	next(w *walk, shown workplacetest.Answer) step
	// learn takes in what was said by an input that was taken. shown is what the
	// browser showed before.
	learn(w *walk, s step, shown, a workplacetest.Answer)
	// promised reports whether the page said that an input records, and all that it
	// asked for was said.
	promised(w *walk, s step, shown workplacetest.Answer) bool
	// each is how many records are made at once, by what was said.
	each() int
	// held holds a new record against what was shown and said.
	held(w *walk, s step, shown workplacetest.Answer, e *events.Event)
	// busy reports whether something lies here of which another screen's late scan must not be taken.
	busy() bool
	// recorded is told when all records of an input were held.
	recorded(w *walk)
	// clone is for undoing the next input.
	clone() player
}

// walk is one random session at one workplace, with two browsers.
type walk struct {
	h        *workplacetest.House
	handler  http.Handler
	rng      *rand.Rand
	p        player
	n        int
	client   string
	steps    []string // to tell what happened
	shown    map[string]workplacetest.Answer
	badges   []string // as they were scanned, in order; emptied when they are forgotten
	operator string   // by whose badge is recorded, where a second person can scan one
	worker   worker   // who works at the station
	wrote    string   // the browser whose input was taken last
	active   time.Time
	kept     *kept
	plain    string               // scanned last, of which it was asked what it is
	wasPlain string               // before this input
	latest   workplacetest.Answer // to whichever browser
	asked    string               // the browser of which a count asks something: its page may not show it yet
	rev      any                  // of what lies there now
	looked   time.Time            // when a page last showed what there was then
	care     int                  // of 10 inputs so many are what the page asks for

	last struct { // symbol that was read last, unless somebody did something since
		step
		at time.Time
	}
	left   time.Time     // since when what lies here was left: it is asked whether it still holds
	before *said         // what had been said before the last input that said something
	prior  *said         // and before this one
	at     time.Time     // when this input was entered
	waited time.Duration // and how long it then waited for the line
	done   int           // how many records the last one came with
}

// said is all that was said, to be brought back.
type said struct {
	p        player
	badges   []string
	operator string
	plain    string
	left     time.Time
}

// lying is a player at a bench where what was entered can be left lying.
type lying interface {
	lies() bool     // something was entered that is not recorded
	onlyThey() bool // and of that something can't be seen again: Enter drops none of it
	beginAnew(*walk)
}

// worker is who scanned a badge at the station last, and with which browser.
type worker struct {
	client, badge string
	active        time.Time // when that browser did something there last
}

func (w *walk) said() *said {
	return &said{w.p.clone(), slices.Clone(w.badges), w.operator, w.plain, w.left}
}

// undo brings back what was said before. Who works here, once forgotten, stays so.
func (w *walk) undo() {
	if w.before == nil {
		return
	}
	if len(w.badges) > 0 {
		w.badges, w.operator = w.before.badges, w.before.operator
	}
	reads, _ := w.p.(*readingModel)
	closes, _ := w.p.(*closeModel)
	w.p, w.plain, w.left, w.before = w.before.p, w.before.plain, w.before.left, nil
	switch m := w.p.(type) { // the case, once it went with whoever worked here, stays away too
	case *readingModel:
		if reads.ref == "" {
			m.ref, m.old = "", "" // what lies here besides is brought back
		}
	case *closeModel:
		if closes.ref == "" {
			m.ref, m.reason, m.actions = "", "", nil
		}
	}
}

// kept is what the sessions in one house have come to.
type kept struct {
	records map[events.Kind]int
	learned map[string]map[events.ScanKind]bool // what plain codes are, as people have said
	cases   map[string]time.Time                // that sets were opened for, and since when
	tried   map[string]int                      // what happened beside records, and how often
}

func pick[T any](w *walk, from ...T) T { return from[w.rng.IntN(len(from))] }

// careful reports whether the next input is what the page asks for.
func (w *walk) careful() bool { return w.rng.IntN(10) < w.care }

func (w *walk) badge() string {
	if len(w.badges) == 0 {
		return ""
	}
	return w.badges[len(w.badges)-1]
}

func (w *walk) label(kind events.ScanKind, id string) step {
	s := step{verb: "scan", text: workplacetest.Label(w.h.T, kind, id), kind: kind, id: id}
	return s
}

// noise is what nobody means to scan here.
func (w *walk) noise() step {
	texts := []string{"04012345678901", "P47110815", "X9", "X9SLAP-01", "777777777777", "]C18018950600013435000012", "QQ-7"}
	if w.rng.IntN(3) == 0 {
		code := w.h.Codes["LAP-014"]
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
	case 8:
		if w.operator != "" && !strings.HasPrefix(w.operator, "B-") { // else it was not said to be one
			return step{verb: "do", action: "unsay", fields: map[string]string{"value": w.operator, "kind": "badge"}}, true
		}
	}
	return step{}, false
}

// send posts one input, and sometimes once more, as a page does that had no answer.
func (w *walk) send(client string, s step) workplacetest.Answer {
	w.h.T.Helper()
	w.n++
	fields, err := json.Marshal(s.fields)
	if err != nil || s.fields == nil {
		fields = []byte("{}")
	}
	rev, _ := w.shown[client]["rev"].(float64)
	if _, ok := w.p.(*countModel); ok {
		rev, _ = w.shown[client]["asks"].(float64)
	}
	body := fmt.Sprintf(`{"client":%q,"n":%d,"ago":%d,"sure":%v`, client, w.n, w.waited.Milliseconds(), w.waited > 12*time.Hour)
	if s.lines != "" {
		body += `,"lines":` + s.lines
	} else {
		body += fmt.Sprintf(`,"rev":%v,"text":%s,"action":%q,"fields":%s`, rev, workplacetest.JSONText(s.text), s.action, fields)
	}
	if c, ok := w.p.(*countModel); ok {
		body += fmt.Sprintf(`,"case":%q,"stage":%q,"seen":%s,"under":%v`, c.ref, c.stage, c.seen(w.shown[client]),
			w.shown[client]["choices"] != nil)
	}
	path := "/at/north/or-3/" + w.p.place() + "/" + s.verb + "?lang=en"
	a := w.post(path, body+"}")
	w.steps = append(w.steps, fmt.Sprintf("%s %s: %s %s %.40s %v %s -> %v | %v | %v | %v",
		w.h.Clock().Format("15:04:05"), client, s.verb, s.action,
		s.text, s.fields, s.lines, a["words"], a["next"], a["aside"], a["sound"]))
	if w.rng.IntN(15) == 0 {
		size := w.h.Size()
		w.post(path, body+"}")
		if w.h.Size() != size {
			w.fail("the same input, sent again, recorded again")
		}
		w.steps = append(w.steps, "  sent again")
	}
	return a
}

func (w *walk) post(path, body string) workplacetest.Answer {
	w.h.T.Helper()
	return w.ask(httptest.NewRequest(http.MethodPost, path, strings.NewReader(body)), body)
}

func (w *walk) ask(r *http.Request, body string) workplacetest.Answer {
	w.h.T.Helper()
	rec := httptest.NewRecorder()
	w.handler.ServeHTTP(rec, r)
	var out workplacetest.Answer
	if err := json.Unmarshal(rec.Body.Bytes(), &out); err != nil || rec.Code != http.StatusOK {
		w.fail("%s %s: %d %s", r.URL, body, rec.Code, rec.Body)
	}
	return out
}

func (w *walk) fail(format string, args ...any) {
	w.h.T.Helper()
	w.h.T.Fatalf("%s\n%s", fmt.Sprintf(format, args...), strings.Join(w.steps, "\n"))
}

// step is one input, and what comes of it.
func (w *walk) step() {
	w.h.After(pick(w, time.Second, 3*time.Second, 3*time.Second, 10*time.Second, time.Minute))
	if w.rng.IntN(60) == 0 {
		w.h.After(25 * time.Minute)
	}
	client := "a"
	if w.rng.IntN(8) == 0 {
		client = "b"
	}
	if w.rng.IntN(3) == 0 { // the stream has told the page
		w.look(client)
	}
	w.client = client
	if w.rng.IntN(10) == 0 {
		w.elsewhere()
	}
	if w.rng.IntN(6) == 0 {
		w.late()
	}
	if _, packs := w.p.(*packModel); packs && w.rng.IntN(8) == 0 {
		w.issue()
	}
	w.at, w.waited = w.h.Clock(), 0
	forgotten := w.forget()
	shown := w.shown[client]
	s := w.p.next(w, shown)
	if _, bench := w.p.(lying); bench && shown.AsksLeft() && w.careful() {
		s = step{verb: "do", action: pick(w, "left-on", "left-on", "left-anew"), fields: shown.Choice("left-on")}
	}
	if w.rng.IntN(12) == 0 && w.last.text != "" { // a scanner that reads twice
		s = w.last.step
	}
	if s.symbol() && s.text == w.last.text && w.h.Clock().Sub(w.last.at) < 2*time.Second {
		s = step{verb: "scan", text: s.text, again: true} // it is one scan
	}
	w.input(client, s, forgotten)
}

// input makes an input and holds what comes of it.
func (w *walk) input(client string, s step, forgotten bool) {
	shown, had := w.shown[client], w.operator
	old := shown["rev"] != w.rev
	blind := s.verb == "do" || strings.Trim(s.text, "0123456789.") == "" && !s.symbol()
	unseen := old && blind
	promised := !old && !forgotten && !s.again && w.left.IsZero() && w.p.promised(w, s, shown)
	back := !unseen && !forgotten && w.left.IsZero() && s.action == "take-back" && s.fields["value"] != "" &&
		shown.Says("Why is this taken back?")
	if w.waits(s) {
		return
	}
	if w.waited > 0 && w.p.place() == "close" && s.kind == events.ScanBadge {
		promised = false // a badge that waited meets what its page did not show: Enter is asked for
	}
	size := w.h.Size()
	a := w.send(client, s)
	if w.rng.IntN(12) > 0 { // else the next input is sent before the answer is there
		w.shown[client] = a
	}
	if w.asked = ""; s.verb != "enter" && a["choices"] != nil {
		w.asked = client
	}
	switch {
	case unseen && !a.Stale():
		w.fail("taken, though the screen showed something else: %+v", s)
	case !old && !s.symbol() && a.Stale() && a["rev"] != nil: // the page of a count has several
		w.fail("not taken, though the screen showed what there is: %+v", s)
	case s.again && a["sound"] != "low" && !a.Stale():
		w.fail("a symbol read twice within two seconds is another scan")
	}
	s = w.learn(s, shown, a)
	w.goOn(s, a, had)
	if !a.Stale() {
		w.wrote = client
	}
	w.steps = append(w.steps, fmt.Sprintf("    said: %+v %v", w.p, w.badges))
	w.hold(s, shown, a, size)
	// What came up meanwhile against sets of a load is asked first.
	if w.h.Size() == size && (promised || back && had != "") && !a.Stale() && !a.Says(comeUp) {
		w.fail("the page said that it records, and it recorded nothing: %+v", s)
	}
	if back && had == "" && !a.Stale() && (w.h.Size() != size || !a.Says("Scan your badge")) {
		w.fail("taken back by nobody, or nobody is asked who they are: %v", a["words"])
	}
}

// waits makes the line fail for a while after an input, sometimes, and reports whether
// the input came to nothing: what waited for a shift is not taken before a person has
// said that it is still meant.
func (w *walk) waits(s step) bool {
	if w.rng.IntN(25) > 0 {
		return false
	}
	w.waited = pick(w, 5*time.Second, 3*time.Minute, 40*time.Minute, 6*time.Hour, 13*time.Hour, 30*time.Hour)
	w.h.After(w.waited)
	w.kept.tried["waited"]++
	if w.waited < 12*time.Hour {
		return false
	}
	size := w.h.Size()
	w.n++
	text := s.text
	if text == "" {
		text = workplacetest.Label(w.h.T, events.ScanBadge, "B-1")
	}
	path := "/at/north/or-3/" + w.p.place() + "/scan?lang=en"
	rec := httptest.NewRecorder()
	body := fmt.Sprintf(`{"client":%q,"n":%d,"ago":%d,"text":%s}`, w.client, w.n, w.waited.Milliseconds(), workplacetest.JSONText(text))
	w.handler.ServeHTTP(rec, httptest.NewRequest(http.MethodPost, path, strings.NewReader(body)))
	if rec.Code != http.StatusBadRequest || w.h.Size() != size {
		w.fail("taken after %s, and nobody had said that it is still meant: %s", w.waited, rec.Body)
	}
	return w.rng.IntN(2) == 0 // else somebody says so
}

// late sends what a screen entered that died before another one went on here: it is of
// a set that is no longer in hand, and none of it is taken, however often it was scanned.
func (w *walk) late() {
	shown := w.shown["a"]
	// A case that is only scanned at the page that closes it goes with whoever scanned it: nothing lies there then. A step of
	// the way back goes with its day: what waited for a night was entered the day before.
	nextDay := w.day(w.h.Clock()) != w.day(w.active)
	idle := w.p.place() == "close" && (nextDay || w.h.Clock().Sub(w.active) > 20*time.Minute) || w.p.place() == "return" && nextDay
	if shown["rev"] == nil || shown["rev"] == w.rev || w.wrote != "b" || !w.p.busy() || idle {
		return
	}
	w.kept.tried["too late"]++
	size, rev := w.h.Size(), w.rev
	ago := time.Duration(60+w.rng.IntN(3000)) * time.Second
	for _, s := range []step{w.label(events.ScanTag, "LAP-022"), w.label(events.ScanTag, "VAS-003"), w.label(events.ScanTag, "VAS-003")} {
		w.waited, w.at = ago, w.h.Clock()
		if a := w.send("a", s); !a.Stale() || w.h.Size() != size {
			w.fail("taken from a screen that nobody works at any more: %v", a["aside"])
		}
		ago -= 5 * time.Second
	}
	w.look("b")
	if w.rev != rev {
		w.fail("what came too late has changed the bench")
	}
}

func (w *walk) day(t time.Time) string { return t.In(w.h.Site.Zone()).Format(time.DateOnly) }

// forget is what time makes forgotten: who works here, and with the day the case, the step
// back and the washer's load.
func (w *walk) forget() bool {
	day, now := w.day, w.h.Clock()
	if m, ok := w.p.(*readingModel); ok {
		m.leave(w)
	}
	if m, ok := w.p.(*returnModel); ok && day(now) != day(w.active) {
		if m.step != "" && day(w.looked) != day(now) {
			w.rev = "of another day" // no page shows that the step is gone
		}
		m.step, m.load, m.noLoad, m.basket, m.loadAt, m.loadBy = "", "", false, "", time.Time{}, ""
	}
	if m, ok := w.p.(lying); ok && !m.lies() { // of what is gone with the day nothing is asked
		w.left = time.Time{}
	}
	if now.Sub(w.active) <= 20*time.Minute && day(now) == day(w.active) {
		return false
	}
	w.nextHere()
	if m, ok := w.p.(lying); ok && w.left.IsZero() && m.lies() {
		w.left, w.plain = w.active, ""
	}
	return true
}

// learnLeft takes in the answer to whether what was left lying still holds, and reports whether that is asked: then an
// input says nothing else.
func (w *walk) learnLeft(s step, shown, a workplacetest.Answer) bool {
	m, ok := w.p.(lying)
	set := slices.Contains([]string{"packing", "sealing", "return", "pieces"}, w.p.place())
	if s.action == "next-person" && set && w.left.IsZero() && m.lies() { // whoever comes signs for what lies here
		w.left, w.plain, w.wasPlain = w.at, "", ""
		return false
	}
	if !ok || w.left.IsZero() || s.action == "next-person" {
		if ok && w.left.IsZero() && a.AsksLeft() && s.action != "undo" { // which brings the question back
			w.fail("it is asked whether what lies here still holds, and nothing was left")
		}
		return false
	}
	before := w.said()
	switch {
	case s.action == "left-on" && s.fields["value"] != "":
		w.left, w.before = time.Time{}, before
		w.kept.tried["bench left, gone on with"]++
	case s.action == "left-anew", (s.enter() || s.action == "enter") && !m.onlyThey():
		m.beginAnew(w)
		w.left, w.before = time.Time{}, nil
		w.kept.tried["bench left, begun anew"]++
	case !a.AsksLeft():
		w.fail("what was left at %s is not asked about", w.left)
	}
	return true
}

// nextHere is what the next person says anew.
func (w *walk) nextHere() {
	w.badges, w.operator = nil, ""
	if m, ok := w.p.(interface{ nextHere() }); ok {
		m.nextHere()
	}
}

// bench reports whether a badge that was scanned here goes on to another place of the
// station, and comes from there. Who counts or closes a case says so on its page.
func (w *walk) bench() bool { return w.p.place() != "count" && w.p.place() != "close" }

// elsewhere is what the person does at another place of the station in between: a
// badge is scanned there, or the next person comes.
func (w *walk) elsewhere() {
	if !w.bench() {
		return
	}
	w.h.After(3 * time.Second)
	place := "storage"
	if w.p.place() == place {
		place = "packing"
	}
	w.n++
	verb, rest := "scan", `"text":`
	if id := pick(w, "B-1", "B-2", "B-2", ""); id != "" {
		w.worker = worker{w.client, id, w.h.Clock()}
		rest += workplacetest.JSONText(workplacetest.Label(w.h.T, events.ScanBadge, id))
	} else {
		w.worker = worker{}
		verb, rest = "do", `"action":"next-person","fields":{}`
	}
	w.post("/at/north/or-3/"+place+"/"+verb+"?lang=en", fmt.Sprintf(`{"client":%q,"n":%d,%s}`, w.client, w.n, rest))
	w.steps = append(w.steps, fmt.Sprintf("  %s at %s: %s", w.client, place, rest))
}

// goOn takes in who works here after an input, where that was had before: whoever
// scanned a badge at the station with the same browser goes on.
func (w *walk) goOn(s step, a workplacetest.Answer, had string) {
	if a.Stale() || !w.bench() {
		return
	}
	now, day := w.at, w.day
	here := now.Sub(w.worker.active) <= 20*time.Minute && day(now) == day(w.worker.active)
	switch {
	case s.action == "next-person", had != "" && w.operator == "":
		w.worker = worker{}
	case w.operator == "" && w.worker.client == w.client && here:
		w.badges, w.operator = append(w.badges, w.worker.badge), w.worker.badge
		if w.prior != nil {
			w.before = w.prior // undoing that input takes the badge off again
		}
		w.worker.active = now
		w.kept.tried["badge went on"]++
		if m, ok := w.p.(*returnModel); ok {
			m.whose(w)
		}
	case w.operator != "" && !s.again && s.kind == events.ScanBadge, w.worker.client == w.client && w.worker.badge == w.operator:
		w.worker = worker{w.client, w.operator, now}
	}
}

// learn takes in what an input said, and returns it with what it means.
func (w *walk) learn(s step, shown, a workplacetest.Answer) step {
	w.rev, w.prior = a["rev"], nil
	_, count := w.p.(*countModel)
	if s.again {
		if !a.Stale() {
			w.last.at = w.at
			if !count { // somebody is there
				w.active = w.at
			}
		}
		return s
	}
	entered := s
	left := !a.Stale() && w.learnLeft(s, shown, a)
	if !left {
		s = w.meaning(s, shown, a)
	}
	w.latest = a
	if a.Stale() {
		return s
	}
	if left {
		s = step{verb: s.verb}
	}
	if entered.symbol() {
		w.last.step, w.last.at = entered, w.at
	} else if !count || entered.lines != "" {
		w.last.step = step{}
	}
	// Who counts is known by the badge, as long as policy says; who works at a bench also by what happens there.
	taken := a["status"] != "broken" || a.Says("is the scrub person") || a.Says("is the circulating nurse") // under a STOP, too
	if !count || s.kind == events.ScanBadge && taken && !a.AsksLeft() {
		w.active = w.at
	}
	if left {
		return s
	}
	if s.action == "undo" {
		switch {
		case a.Says("nothing to take back"):
			w.prior = w.said() // a badge that goes on with it is taken off by the next one
			w.prior.plain = w.wasPlain
		case !a.Says("Take the start back?"):
			w.undo()
		}
		return s
	}
	before := w.said()
	before.plain = w.wasPlain
	w.prior = before
	w.learnBadge(s, a)
	w.p.learn(w, s, shown, a)
	if !reflect.DeepEqual(before, w.said()) {
		w.before = before
	}
	return s
}

// hold holds what an input recorded, from after a size of the ledger on, against what
// was shown and said.
func (w *walk) hold(s step, shown, a workplacetest.Answer, size int64) {
	records, corrected := 0, 0
	for seq := size + 1; seq <= w.h.Size(); seq++ {
		e, err := w.h.Site.EventAt(seq)
		if err != nil {
			w.fail("%v", err)
		}
		w.kept.records[e.Kind()]++
		if a.Stale() || s.again {
			w.fail("recorded by an input that says nothing: %s", e.Kind())
		}
		at := w.at
		if m, ok := w.p.(*readingModel); ok && !m.readAt.IsZero() && e.Kind() != events.KindEventCorrected {
			at = m.readAt // as a person said
		}
		if m, ok := w.p.(*sealModel); ok && m.stray != "" && e.Kind() == events.KindSetChecked {
			at = m.strayAt // as of when the sheet was read
		}
		if m, ok := w.p.(*countModel); ok && e.Kind() == events.KindSetChecked {
			at = m.read
		}
		if !e.Time.Equal(at) {
			w.fail("%s recorded as of %s; it was entered at %s", e.Kind(), e.Time, at)
		}
		if c, ok := e.Data.(*events.EventCorrected); ok {
			corrected++
			if s.action != "take-back" || s.fields["value"] == "" || c.Action != "void" || !slices.Contains(w.badges, e.Operator) {
				w.fail("taken back by %+v", s)
			}
			continue
		}
		records++
		w.p.held(w, s, shown, e)
	}
	switch {
	case corrected > 0 && (corrected != w.done || records > 0):
		w.fail("taken back: %d of %d records", corrected, w.done)
	case corrected > 0:
		w.before = nil
		if m, ok := w.p.(*readingModel); ok {
			m.takenBack(w)
		}
	case records > 0 && records != w.p.each():
		w.fail("recorded: %d; said was %d", records, w.p.each())
	case records > 0:
		w.p.recorded(w)
		w.before, w.done = nil, records
	}
}

// meaning is what a plain code means: what a person says now that it is, or has said
// of such codes before.
func (w *walk) meaning(s step, shown, a workplacetest.Answer) step {
	w.wasPlain = w.plain
	if (s.enter() || s.action == "enter") && shown.Says("Is it a set? Enter = yes") {
		s.action, s.fields = "take-as", map[string]string{"value": string(events.ScanSet)}
	}
	kind := events.ScanKind(s.fields["value"])
	if s.action == "take-as" && !a.Stale() {
		w.plain = w.latest.AsksAbout() // a question comes back when what was scanned after it is undone
	}
	switch {
	case a.Stale():
	case s.action == "take-as" && a.AsksAbout() != "" && (a.AsksAbout() == w.plain || a.AsksAbout() == w.wasPlain):
		w.plain = a.AsksAbout() // it can't be that, or nothing was in sight to say it of, and is asked on: nothing was said
		w.wasPlain = w.plain
	case s.action == "take-as" && kind == "": // it is something else, which is scanned again
		w.plain = ""
	case s.action == "take-as" && kind == events.ScanBadge &&
		(len(w.plain) < 3 || len(w.plain) == 3 && strings.Trim(w.plain, "0123456789") == ""):
		w.plain = "" // a number of instruments is no badge, and a button's key neither
	case s.action == "take-as" && kind != events.ScanSet && len(w.plain) >= 12 && len(w.plain) <= 14 &&
		strings.Trim(w.plain, "0123456789") == "":
		// A trade item's number is no badge, case or seal, whatever a person says.
		if asks := a.AsksAbout(); asks == w.plain {
			w.wasPlain = asks // it is asked on: nothing was said
		} else {
			w.plain = ""
		}
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
	case s.action == "lot-no" && a.AsksAbout() != "": // it is asked what it is instead
		w.plain = a.AsksAbout()
	case s.kind != "":
		w.plain = ""
	case s.verb == "scan" && s.kind == "" && s.text != "":
		switch {
		case a.AsksAbout() == s.text:
			w.plain = s.text
		case a.Says(s.text + " is nothing that is asked for here"): // it was scanned since all the same
			w.plain = ""
		}
		kind, _ := a["kind"].(string)
		if _, known := w.kept.cases[s.text]; known && kind == string(events.ScanCase) {
			s.kind, s.id = events.ScanCase, s.text
		}
		for _, shape := range []string{s.text, events.CodeShape(s.text)} {
			if w.kept.learned[shape][events.ScanKind(kind)] {
				s.kind, s.id = events.ScanKind(kind), s.text
			}
		}
	}
	return s
}

func (w *walk) learnBadge(s step, a workplacetest.Answer) {
	switch {
	case s.action == "unsay" && a.Says("is no badge"):
		w.kept.tried["badge unsaid"]++
		delete(w.kept.learned[s.fields["value"]], events.ScanBadge)
		if _, closes := w.p.(*closeModel); closes && len(w.badges) > 1 { // the second person's
			w.badges = w.badges[:len(w.badges)-1]
			w.operator = w.badge()
			break
		}
		w.nextHere()
	case a.AsksLeft() && s.action != "next-person": // who comes next says who they are, whatever was left
		return
	case s.kind != events.ScanBadge:
	case a.Says("is the same badge"):
		return // it was not taken
	default:
		w.operator = s.id
	}
	switch {
	case s.kind == events.ScanBadge && s.id != w.badge():
		w.badges = append(w.badges, s.id)
	case s.action == "next-person" || s.action == "badges-clear":
		w.nextHere()
	}
}

// look fetches the page's state, as its stream makes it do.
func (w *walk) look(client string) {
	path := "/at/north/or-3/" + w.p.place() + "/state?lang=en"
	if c, ok := w.p.(*countModel); ok {
		path += "&case=" + c.ref + "&stage=" + string(c.stage)
	}
	out := w.ask(httptest.NewRequest(http.MethodGet, path, nil), "")
	if _, ok := w.p.(*countModel); ok {
		out = workplacetest.Answer{"state": map[string]any(out), "words": out["ask"], "status": "open"}
		if was := w.shown[client]; was["choices"] != nil && w.wrote == client { // what is said stays in sight
			out["words"], out["choices"] = was["words"], was["choices"]
		}
	}
	w.shown[client], w.latest, w.rev, w.looked = out, out, out["rev"], w.h.Clock()
	w.steps = append(w.steps, fmt.Sprintf("  %s shows %v | %v", client, out["words"], out["next"]))
}

// session is one session of 40 inputs.
func (w *walk) session(i int) {
	w.n += 1
	w.care = pick(w, 9, 8, 6)
	players := []func() player{
		func() player { return newReadingModel(w, "opening") }, func() player { return newReadingModel(w, "storage") },
		func() player { return startPacking(w) }, func() player { return new(sealModel) }, func() player { return startLoads(w, i) },
		func() player { return newCountModel(w, i) }, func() player { return newCloseModel(w, i) },
		func() player { return newReturnModel(w) }, func() player { return newPieceModel(w) },
	}
	w.p = players[i%len(players)]()
	w.active = w.h.Clock()
	if err := os.RemoveAll(filepath.Join(w.h.Site.Dir(), "drafts")); err != nil {
		w.h.T.Fatal(err)
	}
	clear(w.kept.learned)
	w.look("a")
	w.look("b")
	for range 40 {
		w.step()
	}
}
