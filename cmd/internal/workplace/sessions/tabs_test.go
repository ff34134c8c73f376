package sessions_test

import (
	"fmt"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"strconv"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/chromedp/chromedp/kb"

	"listbound/cmd/internal/browsertest"
	"listbound/cmd/internal/site"
	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// person works at one place of a station in a real browser: the model of what the
// screen showed and what the person meant by each key and scan.
type person struct {
	h    *workplacetest.House
	b    *browsertest.Browser
	line *workplacetest.Line
	deaf atomic.Bool                   // the next input is taken, and its answer is lost
	mute atomic.Bool                   // no input comes through, which no page has noticed yet
	gate atomic.Pointer[chan struct{}] // inputs come through when it is closed
	rng  *rand.Rand
	size browsertest.Size

	tabs  []*openTab
	now   int // the tab in hand
	work  work
	steps []string
	want  []meant
}

type openTab struct {
	*browsertest.Tab
	end func()
}

// meant is a record as it was shown and meant.
type meant struct {
	kind events.Kind
	set  string
	by   string
	at   time.Time
	data events.Data
}

// work is what the person does at a place.
type work interface {
	place() string // with its query
	// answer is what the person enters where the page shows something; "" is Enter.
	answer(p *person, shown string) (text string, ok bool)
	// scans are what a person can scan unasked, with the server away.
	scans(p *person) []string
	// said takes in that it was entered where that was shown.
	said(p *person, shown, text string)
}

// serve is the server at the end of the line.
func (p *person) serve(handler http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if gate := p.gate.Load(); gate != nil && r.Method == http.MethodPost {
			select {
			case <-*gate:
			case <-r.Context().Done():
				return
			}
		}
		lost, mute := r.Method == http.MethodPost && p.deaf.CompareAndSwap(true, false), r.Method == http.MethodPost && p.mute.Load()
		if !lost && !mute {
			handler.ServeHTTP(w, r)
			return
		}
		if lost {
			handler.ServeHTTP(httptest.NewRecorder(), r)
		}
		if c, _, err := http.NewResponseController(w).Hijack(); err == nil {
			c.Close()
		}
	})
}

// clock is a script that lets a page's time be the house's, which never goes back.
func (p *person) clock() string {
	return fmt.Sprintf(`try {
		localStorage.setItem("now", Math.max(%d, Number(localStorage.getItem("now"))));
		Date.now = () => Number(localStorage.getItem("now"));
	} catch { /* a page without an address */ }`, p.h.Clock().UnixMilli())
}

// pass lets time pass, in the house and in the browser.
func (p *person) pass(d time.Duration) {
	p.h.After(d)
	browsertest.Eval[bool](p.tab(), fmt.Sprintf(`(localStorage.setItem("now", %d), true)`, p.h.Clock().UnixMilli()))
}

func (p *person) tab() *browsertest.Tab { return p.tabs[p.now].Tab }

// open opens one more tab at the place, and takes it in hand.
func (p *person) open() {
	p.h.T.Helper()
	tab, end := p.b.TabToClose(p.h.T, p.size)
	if len(p.tabs) == 0 {
		p.h.After(10 * time.Second) // before the page is there: it may send what waited by the time that it finds
	}
	tab.Before(p.clock())
	p.tabs, p.now = append(p.tabs, &openTab{tab, end}), len(p.tabs)
	p.goTo(p.work.place())
	p.note("tab %d opened", p.now)
}

// fresh waits until the tab has heard of what another one did: whoever answers sooner
// answers what is no longer asked.
func (p *person) fresh() {
	p.h.T.Helper()
	if _, ok := p.work.(*counting); ok {
		p.tab().Reload()
		p.ready()
		return
	}
	browsertest.Eval[bool](p.tab(), `(async () => {
		for (;;) {
			const res = await fetch(location.pathname + "/state");
			if (String((await res.json()).rev) === document.getElementById("bench").dataset.rev) return true;
			await new Promise(done => setTimeout(done, 20));
		}
	})()`)
}

func (p *person) goTo(place string) {
	p.h.T.Helper()
	p.tab().Open(p.h.At(place))
	p.ready()
}

func (p *person) ready() {
	p.h.T.Helper()
	p.tab().Await(`document.getElementById("scan").dataset.ready && document.getElementById("verdict").innerText.trim()`)
}

// die closes all tabs at once, as a battery does. Time passes before the next one: until
// a tab has been silent for some seconds it may be there still, and its entries are its own.
func (p *person) die() {
	for _, t := range p.tabs {
		t.end()
	}
	p.tabs, p.now = nil, 0
	p.note("all tabs are gone")
}

func (p *person) note(format string, args ...any) {
	p.steps = append(p.steps, p.h.Clock().Format("15:04:05 ")+fmt.Sprintf(format, args...))
}

func (p *person) fail(format string, args ...any) {
	p.h.T.Helper()
	p.h.T.Fatalf("%s\n%s", fmt.Sprintf(format, args...), strings.Join(p.steps, "\n"))
}

// look is what the screen says.
func (p *person) look() string {
	p.h.T.Helper()
	p.tab().Await(`document.getElementById("verdict").innerText.trim()`)
	return browsertest.Eval[string](p.tab(), `(() => {
		const text = q => document.querySelector(q)?.innerText ?? "";
		const line = document.querySelector("#now-line")?.textContent;
		return [line ? "now: " + text("#now-set") + " " + line + "." : "", text("#verdict"), text("#away"), text("#waiting")].join("\n");
	})()`)
}

// settle waits until nothing waits any more.
func (p *person) settle() {
	p.h.T.Helper()
	p.tab().Await(`!Object.keys(localStorage).some(k => k.startsWith("waiting:")) &&
		document.getElementById("scan").dataset.ready && document.getElementById("verdict").innerText.trim() &&
		document.getElementById("away").textContent === ""`)
}

// cut takes the server away, and mend brings it back.
func (p *person) cut() { p.line.Cut(); p.note("the line is cut") }

func (p *person) mend() {
	p.h.T.Helper()
	p.line.Mend()
	p.mute.Store(false)
	p.note("the line is back")
	if len(p.tabs) == 0 {
		p.open()
	}
	for _, t := range p.tabs {
		browsertest.Eval[bool](t.Tab, `(dispatchEvent(new Event("online")), true)`)
	}
	if p.rng.IntN(2) == 0 {
		p.tab().Reload()
		p.ready()
	}
	p.settle()
}

// enter enters a text in one of the ways in which a keyboard and a scanner send one
// thing. All of it is entered before the page has an answer, however busy the machine is.
func (p *person) enter(text string) {
	p.h.T.Helper()
	gate := make(chan struct{})
	p.gate.Store(&gate)
	defer func() {
		p.gate.Store(nil)
		close(gate)
	}()
	how := p.rng.IntN(4)
	p.note("tab %d: entered %.30q, way %d", p.now, text, how)
	_, counting := p.work.(*counting)
	switch {
	case text == "" && how == 0:
		p.tab().Press("")
		p.tab().Hold("\r", 4)
	case text == "" && how == 1 && !counting:
		p.tab().Press("\r\r") // pressed twice; the second time it answers nothing that was shown
	case len(text) < 7:
		p.tab().Press(text + "\r")
	case how == 0:
		p.tab().Type(text + "\r\r") // CR and LF
	case how == 1:
		p.tab().Type(text + "\r" + text + "\r") // read twice
	default:
		p.tab().Type(text + "\r")
	}
}

// taken reports whether the page said that it took what was entered last.
func taken(shown string) bool {
	return !strings.Contains(shown, "Another screen") && !strings.Contains(shown, "This was not taken")
}

// step is one answer to what is shown, with or without a mishap. It reports whether
// there was anything to answer.
func (p *person) step() bool {
	p.h.T.Helper()
	p.pass(time.Duration(3+p.rng.IntN(20)) * time.Second)
	switch p.rng.IntN(12) {
	case 0:
		p.tab().Reload()
		p.ready()
		p.note("reloaded")
	case 1:
		if len(p.tabs) < 3 {
			p.open()
		}
	case 2, 3:
		p.now = p.rng.IntN(len(p.tabs))
		p.fresh()
	case 4:
		p.backAndForth()
	case 5:
		return p.whileCut()
	case 6:
		p.deaf.Store(true)
		p.note("the next answer is lost")
	}
	shown := p.look()
	text, ok := p.work.answer(p, shown)
	if !ok {
		p.deaf.Store(false)
		return false
	}
	p.enter(text)
	at := p.h.Clock()
	p.settle()
	p.deaf.Store(false)
	after := p.look()
	p.note("  %q -> %q", brief(shown), brief(after))
	if taken(after) {
		p.say(shown, text, at)
	}
	return true
}

// say takes in what an answer meant, and when it was given.
func (p *person) say(shown, text string, at time.Time) {
	n := len(p.want)
	p.work.said(p, shown, text)
	for i := n; i < len(p.want); i++ {
		p.want[i].at = at
	}
}

func brief(s string) string { return strings.Join(strings.Fields(fmt.Sprintf("%.150s", s)), " ") }

// backAndForth goes to another page of the station and back.
func (p *person) backAndForth() {
	p.tab().Open(p.h.At("tasks-and-back"))
	browsertest.Eval[bool](p.tab(), `(history.back(), true)`)
	p.ready()
	p.note("gone and come back")
}

// whileCut is what is entered while the server is away: one answer that was asked for
// before, then scans; then perhaps the tab dies, or is loaded again.
func (p *person) whileCut() bool {
	p.h.T.Helper()
	p.tab().Reload() // so that it shows what is here now
	p.ready()
	p.settle()
	shown := p.look()
	text, ok := p.work.answer(p, shown)
	if !ok {
		return false
	}
	p.mute.Store(true)
	p.enter(text)
	p.tab().Await(`document.getElementById("waiting").textContent`)
	p.say(shown, text, p.h.Clock())
	p.cut()
	p.tab().Await(`document.getElementById("away").textContent !== ""`)
	for _, text := range p.work.scans(p) {
		p.pass(time.Duration(3+p.rng.IntN(60)) * time.Second)
		seen := p.look()
		p.enter(text)
		if _, counting := p.work.(*counting); text != "" || counting { // else Enter answers nothing that is shown now
			p.say(seen, text, p.h.Clock())
		}
	}
	p.pass(time.Duration(3+p.rng.IntN(200)) * time.Second)
	switch p.rng.IntN(4) {
	case 0:
		p.die()
	case 1:
		p.tab().Reload()
		p.ready()
		p.note("reloaded")
	case 2:
		p.die()
		p.open()
	}
	p.mend()
	p.note("  %q", brief(p.look()))
	return true
}

// session is one piece of work, from the fresh page to the record.
func (p *person) session(i int) {
	p.h.T.Helper()
	makers := []func() work{
		func() work { return newRead(p, "storage", i) }, func() work { return newCounting(p, i) },
		func() work { return newRead(p, "opening", i) }, func() work { return newPacks(p) },
		func() work { return newSeals(p) },
	}
	if err := os.RemoveAll(filepath.Join(p.h.Site.Dir(), "drafts")); err != nil {
		p.h.T.Fatal(err)
	}
	p.work, p.steps = makers[i%len(makers)](), nil
	p.note("session %d: %T", i, p.work)
	before, meant := p.h.Size(), len(p.want)
	p.open()
	if i%6 == 0 {
		p.tab().Await(`document.body.dataset.kept`)
	}
	if s, ok := p.work.(*seals); ok && p.rng.IntN(2) == 0 {
		s.comes(p)
	}
	for range 40 {
		if len(p.want) > meant || !p.step() {
			break
		}
	}
	p.settle()
	if !strings.Contains(p.look(), "Enter records") { // else what was scanned with the server away began another set, and it answers that
		p.tab().Press("\r") // once too often
		p.settle()
	}
	p.held(before, p.want[meant:])
	browsertest.Eval[bool](p.tab(), `(localStorage.clear(), true)`)
	p.die()
}

// held holds what is recorded against what was meant.
func (p *person) held(before int64, want []meant) {
	p.h.T.Helper()
	var got []meant
	for seq := before + 1; seq <= p.h.Size(); seq++ {
		e, err := p.h.Site.EventAt(seq)
		if err != nil {
			p.fail("%v", err)
		}
		if d, ok := e.Data.(*events.ListSealed); ok { // what the server adds
			d.List, d.Version, d.ListDigest, d.Binding, d.Code = "", 0, "", "", ""
		}
		got = append(got, meant{e.Kind(), e.Subject, e.Operator, e.Time, e.Data})
	}
	for i := range max(len(got), len(want)) {
		switch {
		case i >= len(got):
			p.fail("not recorded: %+v %+v", want[i], want[i].data)
		case i >= len(want):
			p.fail("recorded, and nobody meant it: %+v %+v", got[i], got[i].data)
		case !reflect.DeepEqual(got[i], want[i]):
			p.fail("recorded %+v %+v\nmeant    %+v %+v", got[i], got[i].data, want[i], want[i].data)
		}
	}
}

func (p *person) label(kind events.ScanKind, id string) string {
	return workplacetest.Label(p.h.T, kind, id)
}

// read reads a set's tag, label and sheet, for a case or in storage.
type read struct {
	where, set, ref, sheet string
	tag, outer, code       string
	found, by, of          string
	aside                  bool
}

// asideNow stands for the button that puts a set aside of which all is said.
const asideNow = "put aside"

func newRead(p *person, where string, i int) *read {
	w := &walk{h: p.h}
	for _, set := range []string{"LAP-014", "LAP-022"} {
		w.packAgain(set)
	}
	r := &read{where: where, set: "LAP-014", ref: fmt.Sprintf("R-%d", 100+i)}
	r.sheet = p.h.Codes["LAP-014"]
	if p.rng.IntN(4) == 0 {
		r.sheet = p.h.Codes["LAP-022"]
	}
	return r
}

func (r *read) place() string { return r.where }

func (r *read) answer(p *person, shown string) (string, bool) {
	has := func(s string) bool { return strings.Contains(shown, s) }
	switch {
	case has("put aside and recorded"), has(" checked."), has("LAP-014 opened for " + r.ref + "."):
		return "", false
	case has("it records that"), has("Scan your badge"):
		return p.label(events.ScanBadge, "B-1"), true
	case has("Where was the count sheet?"):
		return pick(&walk{rng: p.rng}, "1", "2", "3"), true
	case has("WRONG COUNT SHEET"):
		p.tab().Touch(`[data-do="put-aside"]`)
		p.note("put aside")
		p.settle()
		if r.aside = true; r.found != "" && r.by != "" {
			p.say(shown, asideNow, p.h.Clock())
		}
		return r.answer(p, p.look())
	case has("Scan the case"):
		return p.label(events.ScanCase, r.ref), true
	case has("Scan the tag"):
		return p.label(events.ScanTag, r.set), true
	case has("scan the outer label"):
		return p.label(events.ScanOuter, r.set), true
	case has("scan the count sheet"):
		return r.sheet, true
	case has("Enter records"):
		return "", true
	}
	p.fail("%s asks nothing: %s", r.where, shown)
	return "", false
}

func (r *read) scans(p *person) []string {
	all := []string{"", p.label(events.ScanBadge, "B-1"), p.label(events.ScanTag, r.set), r.sheet, ""}
	return all[:p.rng.IntN(len(all)+1)]
}

func (r *read) said(p *person, shown, text string) {
	switch {
	case text == p.label(events.ScanBadge, "B-1"):
		r.by = "B-1"
		if strings.Contains(shown, "it records that") {
			p.want = append(p.want, r.checked(events.AsidePut))
		}
	case text == asideNow:
		p.want = append(p.want, r.checked(events.AsidePut))
	case text == p.label(events.ScanTag, r.set):
		r.tag = r.set
	case text == p.label(events.ScanOuter, r.set):
		r.outer = r.set
	case text == p.label(events.ScanCase, r.ref):
		r.of = r.ref
	case text == r.sheet:
		r.code = text
	case len(text) == 1:
		r.found = []string{"outside", "inside-bag", "inside-bare"}[text[0]-'1']
		if r.aside && r.by != "" {
			p.want = append(p.want, r.checked(events.AsidePut))
		}
	case !strings.Contains(shown, "Enter records"):
	case r.where == "opening":
		p.want = append(p.want, meant{kind: events.KindSetOpened, set: r.set, by: r.by, data: &events.SetOpened{Case: r.of, Tag: r.tag,
			OuterLabel: r.outer, Sheet: &events.Reading{Found: r.found, Code: r.code}}})
	default:
		p.want = append(p.want, r.checked(""))
	}
}

func (r *read) checked(aside events.Aside) meant {
	d := &events.SetChecked{Tag: r.tag, OuterLabel: r.outer, Aside: aside}
	if r.code != "" {
		d.Sheet = &events.Reading{Found: r.found, Code: r.code}
	}
	return meant{kind: events.KindSetChecked, set: r.set, by: r.by, data: d}
}

// counting is the first count of a short set.
type counting struct {
	ref     string
	lines   map[int64]int64
	by      []string
	singles []string // what was added that is on no list; each is a line after the list's
}

func newCounting(p *person, i int) *counting {
	c := &counting{ref: fmt.Sprintf("N-%d", 100+i), lines: make(map[int64]int64)}
	(&walk{h: p.h}).openAgain("VAS-003", c.ref)
	return c
}

func (c *counting) place() string { return "count?case=" + c.ref }

var nowLine = regexp.MustCompile(`now: VAS-003 Line (\d+)\.`)

// line is the one that is shown to be counted, nil for none.
func (c *counting) line(shown string) *events.Line {
	m := nowLine.FindStringSubmatch(shown)
	if m == nil {
		return nil
	}
	n, err := strconv.Atoi(m[1])
	if err != nil {
		return nil
	}
	if listed := workplacetest.ListShort().Lines; n <= len(listed) {
		return &listed[n-1]
	}
	return &events.Line{Line: int64(n), Quantity: 1}
}

// add adds an instrument that is on no list, by its key.
func (c *counting) add(p *person) {
	p.h.T.Helper()
	what := fmt.Sprintf("Clamp %d of %s", len(c.singles)+1, c.ref)
	c.singles = append(c.singles, what)
	p.note("tab %d: F9, %s", p.now, what)
	p.tab().Press(kb.F9)
	p.tab().Await(`document.activeElement.id === "swhat"`)
	p.tab().Type(what + "\r")
	p.tab().AwaitText(fmt.Sprintf(`tr[data-line="%d"]`, len(workplacetest.ListShort().Lines)+len(c.singles)), what)
	p.ready()
	p.settle()
}

func (c *counting) answer(p *person, shown string) (string, bool) {
	has := func(s string) bool { return strings.Contains(shown, s) }
	if c.line(shown) != nil && len(c.singles) < 2 && p.rng.IntN(8) == 0 {
		c.add(p)
		shown = p.look()
	}
	switch {
	case has("First count recorded"), has("Begin: Final count"):
		return "", false
	case c.line(shown) != nil && len(c.by) < 2 && p.rng.IntN(6) == 0:
		return p.label(events.ScanBadge, fmt.Sprintf("B-%d", len(c.by)+1)), true // who counts, said before
	case c.line(shown) != nil:
		return pick(&walk{rng: p.rng}, "", "", "3", "7"), true
	case has("once more. It signs"):
		return p.label(events.ScanBadge, "B-2"), true
	case has("Enter signs") || len(c.by) == 2:
		return "", true
	}
	return p.label(events.ScanBadge, fmt.Sprintf("B-%d", len(c.by)+1)), true
}

func (c *counting) scans(p *person) []string {
	return []string{"", "7", "3"}[:p.rng.IntN(4)]
}

func (c *counting) said(p *person, shown, text string) {
	l := c.line(shown)
	switch {
	case len(text) > 3 && strings.Contains(shown, "once more. It signs"):
		c.sign(p)
	case len(text) > 3:
		c.by = append(c.by, fmt.Sprintf("B-%d", len(c.by)+1))
		if len(c.by) == 2 && strings.Contains(shown, "Circulating nurse: scan your badge") {
			c.sign(p)
		}
	case l == nil && text == "" && strings.Contains(shown, "Enter signs"):
		c.sign(p)
	case l == nil:
	case text == "":
		c.lines[l.Line] = l.Quantity
	default:
		c.lines[l.Line] = int64(text[0] - '0')
	}
}

func (c *counting) sign(p *person) {
	d := &events.SetCounted{Case: c.ref, Stage: events.StageFirst, Sheet: events.SheetScreen, Counter: c.by[0], Witness: c.by[1]}
	for n := range int64(3 + len(c.singles)) {
		d.Counts = append(d.Counts, events.Count{Line: n + 1, Counted: c.lines[n+1]})
	}
	for i, what := range c.singles {
		d.Beyond = append(d.Beyond, events.Beyond{Line: int64(4 + i), Description: what, Added: 1})
	}
	p.want = append(p.want, meant{kind: events.KindSetCounted, set: "VAS-003", by: c.by[0], data: d})
}

// packs packs a short set.
type packs struct {
	set, by string
	counted map[int64]events.Exception
	grams   int64
}

// newPacks begins with a set that was used: what lies ready is asked about.
func newPacks(p *person) *packs {
	p.h.Used("K-0", "VAS-003")
	return &packs{counted: make(map[int64]events.Exception)}
}

func (k *packs) place() string { return "packing" }

func (k *packs) answer(p *person, shown string) (string, bool) {
	m := newPackModel()
	a := workplacetest.Answer{"words": words(shown)}
	has := func(s string) bool { return strings.Contains(shown, s) }
	switch {
	case has("VAS-003 packed. Lines"):
		return "", false
	case has("Scan the tag"):
		return p.label(events.ScanTag, "VAS-003"), true
	case m.why(a) > 0:
		return pick(&walk{rng: p.rng}, "1", "3"), true
	case m.shownLine(a) != nil:
		return pick(&walk{rng: p.rng}, "", "", "1"), true
	case has("Weigh it"):
		return "8.2", true
	case has("Scan your badge"):
		return p.label(events.ScanBadge, "B-1"), true
	case has("Enter records"):
		return "", true
	}
	p.fail("packing asks nothing: %s", shown)
	return "", false
}

// words are the large ones of what is shown.
func words(shown string) string {
	for line := range strings.Lines(shown) {
		if _, rest, ok := strings.Cut(strings.TrimSpace(line), ": "); ok {
			return rest
		}
	}
	return ""
}

func (k *packs) scans(p *person) []string {
	all := []string{"", p.label(events.ScanBadge, "B-1"), p.label(events.ScanTag, "VAS-003"), ""}
	return all[:p.rng.IntN(len(all)+1)]
}

func (k *packs) said(p *person, shown, text string) {
	m := newPackModel()
	a := workplacetest.Answer{"words": words(shown)}
	switch l := m.shownLine(a); {
	case text == p.label(events.ScanBadge, "B-1"):
		k.by = "B-1"
	case len(text) > 3:
		k.set = "VAS-003"
	case m.why(a) > 0:
		x := k.counted[m.why(a)]
		x.Reason = []string{"missing", "substituted", "damaged", "added"}[text[0]-'1']
		k.counted[x.Line] = x
	case l != nil && text == "":
		k.counted[l.Line] = events.Exception{Line: l.Line, Counted: l.Quantity}
	case l != nil:
		k.counted[l.Line] = events.Exception{Line: l.Line, Counted: 1}
	case text == "8.2":
		k.grams = 8200
	case text == "" && strings.Contains(shown, "Enter records"):
		d := &events.SetPacked{List: "VAS-MINOR", Version: 1, WeightGrams: k.grams}
		for _, l := range workplacetest.ListShort().Lines {
			if x := k.counted[l.Line]; x.Counted != l.Quantity {
				d.Exceptions = append(d.Exceptions, x)
			}
		}
		p.want = append(p.want, meant{kind: events.KindSetPacked, set: k.set, by: k.by, data: d})
	}
}

// seals closes a packed set.
type seals struct {
	set, by, lot string
	where        events.Placement
	seals        []string

	printed   string   // count sheet of the set before, which is scanned before this one is begun
	from      *openTab // where a badge was scanned at packing; it goes on with this tab
	tag, done bool     // the tag was scanned while the sheet waited; the sheet was answered
}

// newSeals begins after another set was closed here. Its sheet is printed, and nobody
// has scanned it yet.
func newSeals(p *person) *seals {
	for _, of := range [][2]string{{"LAP-014", "LAP-MAJOR"}, {"VAS-003", "VAS-MINOR"}} { // they may have been opened
		p.h.Record("north/packing-1", events.KindSetPacked, of[0], &events.SetPacked{List: of[1], Version: 1, WeightGrams: 8400})
	}
	rec := &workplacetest.Scanner{House: p.h, Path: "/at/north/or-3/sealing", Number: int(p.h.Now.Load() % 1e6)}
	p.h.After(3 * time.Second)
	rec.Scan(workplacetest.Label(p.h.T, events.ScanBadge, "B-9"))
	p.h.After(3 * time.Second)
	rec.Scan(workplacetest.Label(p.h.T, events.ScanTag, "LAP-014"))
	rec.Do("placement", "placement", "outside")
	rec.Scan("")
	rec.Do("next-person")
	all := p.h.Events(site.Query{Set: "LAP-014"}, events.KindListSealed)
	return &seals{printed: all[len(all)-1].(*events.ListSealed).Code}
}

// comes scans a badge at packing, and goes on to closing with the same tab.
func (s *seals) comes(p *person) {
	p.h.T.Helper()
	p.goTo("packing")
	p.tab().Type(p.label(events.ScanBadge, "B-2") + "\r")
	p.tab().AwaitText("#bench", "B-2")
	p.settle()
	p.goTo(s.place())
	s.from = p.tabs[p.now]
	p.note("comes from packing as B-2")
}

func (s *seals) place() string { return "sealing" }

func (s *seals) answer(p *person, shown string) (string, bool) {
	has := func(text string) bool { return strings.Contains(shown, text) }
	switch {
	case has("VAS-003 closed."):
		return "", false
	case has("sheet that was printed") && p.rng.IntN(2) == 0:
		p.tab().Touch(`[data-do="unscanned"][data-value="gone"]`)
		p.note("the printed sheet is out of reach")
		p.settle()
		s.answered()
		s.goOn(p)
		return s.answer(p, p.look())
	case has("sheet that was printed"):
		return s.printed, true
	case has("Scan the tag"):
		return p.label(events.ScanTag, "VAS-003"), true
	case has("as the last time"), has("sheet go?"):
		return pick(&walk{rng: p.rng}, "1", "2", "3", "4"), true
	case has("lot of the bag"):
		return "BG-70718", true
	case has("Scan your badge"):
		return p.label(events.ScanBadge, "B-1"), true
	case has("Enter binds") && len(s.seals) < 2:
		return p.label(events.ScanSeal, fmt.Sprintf("10%d", len(s.seals))), true
	case has("Enter binds"):
		return "", true
	}
	p.fail("sealing asks nothing: %s", shown)
	return "", false
}

func (s *seals) scans(p *person) []string {
	all := []string{"", p.label(events.ScanBadge, "B-1"), p.label(events.ScanTag, "VAS-003"), ""}
	return all[:p.rng.IntN(len(all)+1)]
}

// answered: the printed sheet was scanned, or it was said why not. The set that was
// scanned meanwhile lies there then.
func (s *seals) answered() {
	s.done = true
	if s.tag {
		s.set = "VAS-003"
	}
}

// goOn: whoever scanned a badge at packing works here after the tab's first input.
func (s *seals) goOn(p *person) {
	if s.by == "" && s.from != nil && p.tabs[p.now] == s.from {
		s.by = "B-2"
	}
}

func (s *seals) said(p *person, shown, text string) {
	defer s.goOn(p)
	switch {
	case text == p.label(events.ScanBadge, "B-1"):
		s.by = "B-1"
	case text == p.label(events.ScanTag, "VAS-003"):
		if s.tag = true; s.done {
			s.set = "VAS-003"
		}
	case text == s.printed:
		s.answered()
	case text == "BG-70718":
		s.lot = text
	case len(text) > 3:
		s.seals = append(s.seals, fmt.Sprintf("10%d", len(s.seals)))
	case len(text) == 1:
		s.where = []events.Placement{events.InsideBag, events.InsideBare, events.Outside, events.Screen}[text[0]-'1']
	case strings.Contains(shown, "Enter binds"):
		p.want = append(p.want, meant{kind: events.KindListSealed, set: s.set, by: s.by,
			data: &events.ListSealed{Placement: s.where, BagLot: s.lot, Seals: s.seals}})
	}
}

// TestDeadTabsInOrder: what waited in several tabs that died while the line was down is
// sent once by the next page at the station, at whichever place: in the order in which
// it was entered, and as of then.
func TestDeadTabsInOrder(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t)
	p := &person{h: h, b: workplacetest.Browser(t), line: workplacetest.NewLine(h), size: workplacetest.Tablet,
		rng: rand.New(rand.NewPCG(1, 2))}
	p.line.Serve(p.serve(h.Handler()))
	rec := func(place string, texts ...string) {
		s := &workplacetest.Scanner{House: h, Path: "/at/north/or-3/" + place, Number: int(h.Now.Load() % 1e6)}
		for _, text := range texts {
			h.After(3 * time.Second)
			s.Scan(text)
		}
	}
	badge := workplacetest.Label(t, events.ScanBadge, "B-1")
	rec("storage", workplacetest.Label(t, events.ScanTag, "LAP-022"), h.Codes["LAP-022"], "1", badge)
	rec("opening", workplacetest.Label(t, events.ScanCase, "K-1"), badge, workplacetest.Label(t, events.ScanTag,
		"LAP-014"), workplacetest.Label(t, events.ScanOuter, "LAP-014"),
		h.Codes["LAP-014"], "1")
	h.Used("K-0", "VAS-003")
	rec("packing", badge, workplacetest.Label(t, events.ScanTag, "VAS-003"), "", "", "", "8.2")
	places := []string{"storage", "opening", "packing"}
	kinds := []events.Kind{events.KindSetChecked, events.KindSetOpened, events.KindSetPacked}
	for _, place := range places {
		p.work = at(place)
		p.open()
		p.tab().AwaitText("#verdict", "Enter records")
	}
	p.mute.Store(true)
	before := h.Size()
	order := []int{2, 0, 1}
	var entered []time.Time
	for _, i := range order {
		p.now = i
		p.pass(4 * time.Second)
		p.tab().Press("\r")
		p.tab().AwaitText("#waiting", "not recorded yet: 1")
		entered = append(entered, h.Clock())
		// Each says that it is there, so that none takes over from another.
		p.tab().Await(`Object.keys(localStorage).filter(k => k.startsWith("alive:")).every(k => Number(localStorage[k]) === Date.now())`)
	}
	for _, tab := range p.tabs { // a slow machine leaves them time to say once more that they are there
		browsertest.Eval[bool](tab.Tab, `(Storage.prototype.setItem = (set => function(key, value) {
			if (!key.startsWith("alive:")) set.call(this, key, value);
		})(Storage.prototype.setItem), true)`)
	}
	p.pass(10 * time.Minute)
	p.cut()
	p.die()
	p.work = at("close")
	p.mend()
	if got := h.Size() - before; got != 3 {
		t.Fatalf("recorded: %d, want 3", got)
	}
	for k, i := range order {
		e, err := h.Site.EventAt(before + 1 + int64(k))
		if err != nil {
			t.Fatal(err)
		}
		if e.Kind() != kinds[i] || !e.Time.Equal(entered[k]) {
			t.Errorf("record %d is %s of %s, want %s of %s", k+1, e.Kind(), e.Time, kinds[i], entered[k])
		}
	}
}

// at is a place where nothing is to be done.
type at string

func (a at) place() string                         { return string(a) }
func (a at) answer(*person, string) (string, bool) { return "", false }
func (a at) scans(*person) []string                { return nil }
func (a at) said(*person, string, string)          {}

// TestDuplicatedTab: a tab that is duplicated begins with a copy of the other's storage.
// It is another tab all the same, so that what both enter counts, whichever comes first.
func TestDuplicatedTab(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Open("VAS-003", "K-1")
	b := workplacetest.Browser(t)
	first := b.Tab(t, workplacetest.Tablet)
	first.Open(h.At("count") + "?case=K-1")
	first.Await(`document.querySelector("tr.now")`)
	kept := browsertest.Eval[string](first, `JSON.stringify({...sessionStorage})`)
	second := b.Tab(t, workplacetest.Tablet)
	second.Before(fmt.Sprintf(`try { Object.assign(sessionStorage, %s) } catch { /* a page without an address */ }`, kept))
	second.Open(h.At("count") + "?case=K-1")
	second.Await(`document.querySelector("tr.now")`)
	h.Cut.Store(true)
	first.Press("4\r")
	first.AwaitText("#waiting", "not recorded yet: 1")
	h.Cut.Store(false)
	second.Touch(`tr[data-line="2"]`)
	second.Press("2\r")
	second.AwaitText(`tr[data-line="2"] .cell`, "2 ✓")
	for _, tab := range []*browsertest.Tab{first, second} {
		tab.AwaitText("#sum", "2 of 3")
	}
}

// TestClockSetBack: what one tab entered while the line was down is sent in the order in
// which it was entered, also where its clock was set back in between.
func TestClockSetBack(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Open("VAS-003", "K-1")
	b := workplacetest.Browser(t)
	p, end := b.TabToClose(t, workplacetest.Tablet)
	p.Before(`window.ahead = 0; const real = Date.now; Date.now = () => real() + ahead`)
	p.Open(h.At("count") + "?case=K-1")
	p.Await(`document.querySelector("tr.now")`)
	h.Cut.Store(true)
	p.Press("4\r")
	browsertest.Eval[bool](p, `(ahead = -3600000, true)`)
	p.Press("2\r")
	p.AwaitText("#waiting", "not recorded yet: 2")
	end()
	h.Cut.Store(false)
	p = b.Tab(t, workplacetest.Tablet)
	p.Open(h.At("count") + "?case=K-1")
	p.AwaitText("#sum", "2 of 3")
}
