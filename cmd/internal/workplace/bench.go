package workplace

import (
	"bytes"
	"errors"
	"fmt"
	"hash/maphash"
	"html/template"
	"net/http"
	"slices"
	"strings"
	"time"

	"listbound/cmd/internal/refusal"
	"listbound/cmd/internal/shell"
	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections"
)

// hand is what the drafts of all benches share: who works there, what lies
// under the hand, and what was said and recorded last.
type hand struct {
	Rev      int64           `json:"rev"`
	Seen     once            `json:"seen,omitempty"`
	Said     said            `json:"said"`             // empty: what the verdict says
	Lang     string          `json:"lang,omitempty"`   // of Said
	Others   map[string]said `json:"others,omitempty"` // Said in the other languages
	Operator string          `json:"operator,omitempty"`
	Shown    time.Time       `json:"shown,omitzero"`    // when the badge of who works here was read
	Witness  string          `json:"witness,omitempty"` // a second person, where one is asked for
	Active   time.Time       `json:"active,omitzero"`   // when somebody did something here last
	Case     string          `json:"case,omitempty"`
	Tag      string          `json:"tag,omitempty"`    // the set that lies here
	Turn     string          `json:"turn,omitempty"`   // of that set, when something was entered of it first
	Plain    string          `json:"plain,omitempty"`  // scanned, and it may be several things
	Called   *called         `json:"called,omitempty"` // scanned, and known by what people said
	Echo     echo            `json:"echo,omitzero"`    // the last scan
	Writer   string          `json:"writer,omitempty"` // the browser that did something here last
	Taking   string          `json:"taking,omitempty"` // the browser that was told that another one is at work here
	TakingAt time.Time       `json:"takingAt,omitzero"`
	Before   []byte          `json:"before,omitempty"` // the draft before the last input, to take that back
	Done     *done           `json:"done,omitempty"`   // what was recorded last
	Work     string          `json:"work,omitempty"`   // the load that scans go into,
	WorkRev  int64           `json:"workRev,omitzero"` // since after this revision,
	WorkBy   string          `json:"workBy,omitempty"` // as this browser chose
	Left     time.Time       `json:"left,omitzero"`    // when what lies here was left: it is asked whether it still holds
	LeftBy   string          `json:"leftBy,omitempty"` // and whose badge was on it
	Number   string          `json:"number,omitempty"` // that was typed last: once more at once it answers no further question
	NumberAt time.Time       `json:"numberAt,omitzero"`
	At       time.Time       `json:"at,omitzero"`    // fixed before recording: a second try is the same event
	AtBy     string          `json:"atBy,omitempty"` // the input that fixed it
}

func (h *hand) shared() *hand { return h }

// idle reports whether nothing of a next set lies on the bench.
func (h *hand) idle() bool { return h.Tag == "" }

// kept is what stays when a bench is cleared: who works here, on which case, and
// what was recorded last.
func (h *hand) kept() hand {
	return hand{
		Rev: h.Rev, Seen: h.Seen, Operator: h.Operator, Shown: h.Shown, Active: h.Active, Case: h.Case, Echo: h.Echo, Done: h.Done,
	}
}

// away reports whether nobody has worked somewhere for so long, or not yet today,
// that another person may stand there now.
func (v *visit) away(active time.Time) (bool, error) {
	p, err := v.policy()
	// What waited may be older than what was done here since: then nobody was away.
	return err == nil && !v.now.Before(active) && (v.now.Sub(active) > p.BadgeHolds() || !v.today(active)), err
}

// shiftOver reports whether a badge was read so long ago that whoever showed it has gone
// home, however busy the station was since.
func (v *visit) shiftOver(shown time.Time) bool {
	const shift = 9 * time.Hour
	return v.now.Sub(shown) > shift
}

// today reports whether a time is of the day that it is now.
func (v *visit) today(at time.Time) bool {
	const day = "2006-01-02"
	zone := v.d.site.Zone()
	return at.In(zone).Format(day) == v.now.In(zone).Format(day)
}

// policy is the one in force at this station now.
func (v *visit) policy() (*events.Policy, error) {
	if v.inForce != nil {
		return v.inForce, nil
	}
	return v.inForce, v.d.site.Ask(func(m *site.View) error {
		p, _, err := m.World(v).PolicyAt(site.SiteOf(v.station), v.now)
		if err != nil {
			return err
		}
		v.inForce = &p
		cycles, err := v.registeredCycles(m)
		if len(cycles) > 0 {
			p.Cycles = cycles
		}
		return err
	})
}

// worker is who works at a station, by the badge that a browser scanned there last:
// who goes on at the next place of the station with the same browser is the same.
type worker struct {
	Client string    `json:"client,omitempty"`
	Badge  string    `json:"badge,omitempty"`
	Active time.Time `json:"active,omitzero"` // when that browser did something there last
	Shown  time.Time `json:"shown,omitzero"`  // when the badge was read
}

const workerName = "worker"

// goesOn keeps who works at the station, and takes over who worked at the place
// before. The badge is shown before anything is recorded by it: it is taken over
// after an input, never for one. Who closes a case says so at its page. After the key
// for the next person, or where a badge was taken off, nobody is taken over.
func (v *visit) goesOn(h *hand, in *input, t *taken) error {
	if v.place == "close" {
		return nil
	}
	v.d.workers.Lock()
	defer v.d.workers.Unlock()
	var w worker
	if _, err := v.d.files.load(&w, "bench", v.station, workerName); err != nil && !errors.Is(err, errUnreadable) {
		return err
	}
	away, err := v.away(w.Active)
	if err != nil {
		return err
	}
	none, err := v.noBadge(w.Badge)
	if err != nil {
		return err
	}
	was, scanned := w, h.Operator != t.operator || t.kind == string(events.ScanBadge)
	away = away || none || v.shiftOver(w.Shown)
	switch {
	case in.Action == "next-person", h.Operator == "" && t.operator != "":
		w = worker{}
	case h.Operator == "" && w.Client == in.Client && !away:
		h.Operator, h.Shown, w.Active = w.Badge, w.Shown, v.now
	case h.Operator != "" && (scanned || w.Client == in.Client && w.Badge == h.Operator):
		w = worker{Client: in.Client, Badge: h.Operator, Active: v.now, Shown: h.Shown}
	}
	if w == was {
		return nil
	}
	return v.d.files.save(w, "bench", v.station, workerName)
}

// nextPerson forgets who works here.
func (h *hand) nextPerson() { h.Operator, h.Witness = "", "" }

// echo is the last scan, to know it again when a scanner reads one symbol twice.
type echo struct {
	Client string    `json:"client,omitempty"`
	Heard  uint64    `json:"heard,omitempty"` // a hash of what was scanned: it may be what is refused
	N      int64     `json:"n,omitempty"`
	At     int64     `json:"at,omitempty"` // milliseconds, by the browser's clock
	Time   time.Time `json:"time,omitzero"`
}

// twice reports whether a scan is the last one read once more, and keeps it. The
// browser's clock is asked only for how long after its own last scan it was. What
// a browser sends again because it had no answer is no second scan.
func (e *echo) twice(v *visit, in *input) bool {
	last := *e
	*e = echo{Client: in.Client, N: in.N, Heard: maphash.String(v.d.seed, in.Text), At: in.At, Time: v.now}
	if last.Client == in.Client && last.N == in.N {
		return false
	}
	since := v.now.Sub(last.Time)
	if in.At != 0 && last.At != 0 && in.Client == last.Client {
		since = time.Duration(in.At-last.At) * time.Millisecond
	}
	return last.Heard == e.Heard && since.Abs() < readApart
}

// readApart is how long after a scan the same one is another scan.
const readApart = 2 * time.Second

// done is what the last record was, and where one goes from it.
type done struct {
	Says  []phrase  `json:"says,omitempty"`
	Words string    `json:"words,omitempty"` // instead, in the drafts of earlier versions
	At    time.Time `json:"at,omitzero"`     // when it was recorded, whenever what it says was seen
	Set   string    `json:"set,omitempty"`
	Trip  string    `json:"trip,omitempty"`
	Case  string    `json:"case,omitempty"`
	Code  string    `json:"code,omitempty"`
	Seqs  []int64   `json:"seqs,omitempty"`
	IDs   []string  `json:"ids,omitempty"` // of the events, to take them back
	Links []link    `json:"links,omitempty"`
	// Unscanned: the count sheet that was printed is still to be scanned. Waits is the
	// set that was scanned meanwhile, and waits for it.
	Unscanned bool   `json:"unscanned,omitempty"`
	Waits     string `json:"waits,omitempty"`
	// Load is as it was before: it lies there again where this is taken back. Stop: what was recorded
	// stops sets, Released: it lets them go. Positive is the load whose indicator was.
	Load     *load  `json:"load,omitempty"`
	Stop     bool   `json:"stop,omitempty"`
	Released bool   `json:"released,omitempty"`
	Positive string `json:"positive,omitempty"`
}

type link struct {
	Address string `json:"address"`
	Says    phrase `json:"says,omitzero"`
	Words   string `json:"words,omitempty"` // instead, in the drafts of earlier versions
	Main    bool   `json:"main,omitempty"`  // Enter on an empty field goes there
}

// phrase is a sentence that is made when it is shown, in the language of the page.
type phrase struct {
	Key  string   `json:"key"`
	Args []string `json:"args,omitempty"`
	Of   []phrase `json:"of,omitempty"` // the sentences that it is about, in place of its argument

	Parts map[int]phrase `json:"parts,omitempty"` // sentences that stand in place of some of its arguments
}

func (*visit) phrased(key string, args ...any) phrase {
	p := phrase{Key: key}
	for _, a := range args {
		p.Args = append(p.Args, fmt.Sprint(a))
	}
	return p
}

func (v *visit) say(phrases ...phrase) string {
	var out []string
	for _, p := range phrases {
		var args []any
		for _, a := range p.Args {
			args = append(args, a)
		}
		for i, part := range p.Parts {
			args[i] = v.say(part)
		}
		if len(p.Of) > 0 {
			args = []any{v.say(p.Of...)}
		}
		out = append(out, v.t(p.Key, args...))
	}
	return strings.Join(out, " ")
}

// words says what was recorded.
func (d *done) words(v *visit) string { return firstOf(v.say(d.Says...), d.Words) }

// shownDone is the last record as the page shows it: what it comes to by now, too.
type shownDone struct {
	*done
	Words, Since string
	Links        []link
}

// shownDone tells of the last record in the page's language, and what the ledger
// says of it now: what follows a record may change that.
func (v *visit) shownDone(d *done) (*shownDone, error) {
	if d == nil {
		return nil, nil
	}
	out := &shownDone{done: d, Words: d.words(v)}
	for _, l := range d.Links {
		if l.Says.Key != "" {
			l.Words = v.say(l.Says)
		}
		out.Links = append(out.Links, l)
	}
	var err error
	switch {
	case v.place == "close" && d.Case != "":
		now, e := v.closedSince(d.Case)
		out.Since, err = now.String(), e
	case d.Trip != "":
		out.Since, _, err = v.foundSince(projections.TripKey{Set: d.Set, Trip: d.Trip}, v.d.site.Size())
	}
	return out, err
}

// foundSince is the worst that is known of a trip, "" for nothing that stops a set; fresh where a record shows it that came
// after the one of a number.
func (v *visit) foundSince(k projections.TripKey, seq int64) (found string, fresh bool, err error) {
	verdict, err := v.verdictOf(k)
	if err != nil || verdict == nil {
		return "", false, err
	}
	s := v.judged(verdict, seq, said{}, projections.CountMissing)
	if s.Status != "broken" {
		return "", false, nil
	}
	return s.Words, s.fresh, nil
}

// foundByNow says of the set that was recorded last what has stopped it since. What stopped it before was told with
// the record, and doesn't hide what that said.
func (v *visit) foundByNow(d *done, then said) (said, error) {
	found, fresh, err := v.foundSince(projections.TripKey{Set: d.Set, Trip: d.Trip}, slices.Max(append([]int64{0}, d.Seqs...)))
	if !fresh || err != nil {
		return then, err
	}
	s := wrong(v.t("by-now")+" "+found, "")
	s.Aside = then.Words
	return s.offer(then.Choices...), nil // what was asked just now is still answered
}

// mainLink is where Enter goes from the last record, "" for nowhere.
func (h *hand) mainLink() string {
	if h.Done != nil {
		for _, l := range h.Done.Links {
			if l.Main {
				return l.Address
			}
		}
	}
	return ""
}

// want is something that a bench takes.
type want struct {
	Kind  events.ScanKind
	Known func(id string) bool // a plain identifier that is one; may be nil
}

// wanted are the kinds that a bench takes, most likely first.
func wanted(kinds ...events.ScanKind) []want {
	var out []want
	for _, k := range kinds {
		out = append(out, want{Kind: k})
	}
	return out
}

// fields are what a button or a form sends with its action.
type fields map[string]string

// onBench is what the draft of a bench can do: *B is what lies there, scanned
// and entered, not yet recorded.
type onBench[B any] interface {
	*B
	shared() *hand
	idle() bool
	// wants lists what a plain identifier may be taken for, most likely first.
	wants() []want
	// verdict says what all that lies here comes to, or what is to be done next.
	verdict(*visit) (said, error)
	// body returns what the page's template shows beside the draft.
	body(*visit) (any, error)
}

// A scanned function takes one thing of its kind. What it returns is said; where
// that is empty, the verdict is, and it is asked anew whenever the page is shown.
type scanned[B any] func(b *B, v *visit, value string) (said, error)

// An action does what a button or a form says. Like scanned, it may leave what is
// said to the verdict.
type action[B any] func(b *B, v *visit, f fields) (said, error)

// bench is a workplace with a draft of type B.
type bench[B any, P onBench[B]] struct {
	scans map[events.ScanKind]scanned[B]
	// acts holds the actions by name; "enter" is Enter on the empty field.
	acts map[string]action[B]
	// typed tells which action a typed text means that is no scan: a number, a
	// weight, the lot of a bag. It may be nil.
	typed func(b *B, v *visit, text string) (action string, f fields, ok bool)
}

func benchKey(station, place string) string { return "bench\x00" + station + "\x00" + place }

// atAnyStation picks the keys of a place.
func atAnyStation(place string) func(key string) bool {
	return func(key string) bool { return strings.HasSuffix(key, "\x00"+place) }
}

// refresher is a draft in which something can be out of date when it is taken up
// again.
type refresher interface{ refresh(*visit) error }

// load reads the draft. One that can't be read is forgotten, and the page says so.
// So is a badge after a while.
func (p bench[B, P]) load(v *visit) (*B, error) {
	b := new(B)
	_, err := v.d.files.load(b, "bench", v.station, v.place)
	if errors.Is(err, errUnreadable) {
		v.d.opts.Log.Warn("draft forgotten", "station", v.station, "place", v.place, "error", err)
		b, err = new(B), nil
		P(b).shared().say(v, doubt(v.t("draft-forgotten"), v.t("draft-forgotten-more")))
	}
	if err != nil {
		return nil, err
	}
	h := P(b).shared()
	h.Rev = max(h.Rev, 1) // 0 is a sender that shows nothing
	away, err := v.away(h.Active)
	if err != nil {
		return nil, err
	}
	noBadge, err := v.noBadge(h.Operator)
	if err != nil {
		return nil, err
	}
	since, by := time.Time{}, h.Operator
	if away {
		since = h.Active
	}
	if away || noBadge || h.Operator != "" && v.shiftOver(h.Shown) {
		p.nextPerson(b)
	}
	if l, ok := any(P(b)).(leftLying); ok && away {
		l.left(h.Active)
	}
	if r, ok := any(P(b)).(refresher); ok {
		if err := r.refresh(v); err != nil {
			return nil, err
		}
	}
	if err := p.renewTurn(v, b); err != nil {
		return nil, err
	}
	return b, p.leave(v, b, since, by)
}

// leftLying is a draft in which something can lie that nobody who works here now has seen.
type leftLying interface {
	nextHere()         // the next person comes
	left(at time.Time) // nobody was here since then
	askedLeft() bool   // that is asked about
	// stopLeft reports whether that says STOP, which no scan goes past.
	stopLeft(*visit) (bool, error)
}

// nextPerson forgets who works here, and what only they know.
func (p bench[B, P]) nextPerson(b *B) {
	P(b).shared().nextPerson()
	if l, ok := any(P(b)).(interface{ nextHere() }); ok {
		l.nextHere()
	}
}

// say keeps what is said until the next input.
func (h *hand) say(v *visit, s said) { h.Said, h.Lang, h.Others = s, v.w.Lang, v.others(s) }

// tell returns what the page says now: what was said last, or, where that is
// nothing, what all that lies here comes to. A STOP stays
// in sight whatever else is said.
func (p bench[B, P]) tell(v *visit, b *B) (said, error) {
	h := P(b).shared()
	last := v.again(h.Said, h.Lang, h.Others)
	if last.Words != "" && P(b).idle() {
		switch {
		case h.Done == nil || v.place != "close" && (h.Done.Trip == "" || last.Status == "broken"):
			return last, nil
		case v.place != "close":
			return v.foundByNow(h.Done, last)
		case h.Done.Case == "":
			return last, nil
		}
		return v.closedByNow(h.Done.Case, last)
	}
	s, err := p.live(v, b)
	switch {
	case refusal.Is(err):
		if s, err = v.refusedBy(h, err); err != nil {
			return said{}, err
		}
	case err != nil:
		return said{}, err
	}
	switch {
	case last.Status == "broken" && s.Words == last.Words:
		return last, nil // the same STOP, once
	case last.Under && s.Status != "broken":
		return s, nil
	case last.Words == "":
		if h.Plain != "" && s.Status == "broken" && last.Aside != "" { // what a code is stands beside the STOP, as its answers do
			last.Aside = joined(last.Aside, s.Aside)
		}
		s.Aside, s.Sound = firstOf(last.Aside, s.Aside), firstOf(last.Sound, s.Sound)
		return s, nil
	case s.Status != "broken":
		return last, nil
	}
	s.Aside, s.Off = strings.TrimSpace(last.Words+" "+last.More), last.Off
	if len(last.Choices) > 0 {
		s.Choices = last.Choices
	}
	return s, nil
}

// hides reports whether what was said last stands on the page in place of verdict, which says what a badge records. asked
// are sentences that ask for that badge themselves.
func (h *hand) hides(v *visit, verdict func(*visit) (said, error), asked ...string) (bool, error) {
	last := v.again(h.Said, h.Lang, h.Others)
	if last.Words == "" || slices.Contains(asked, last.Words) {
		return false, nil
	}
	s, err := verdict(v)
	return s.Status != "broken", err
}

// live is what all that lies here comes to, asked anew.
func (p bench[B, P]) live(v *visit, b *B) (said, error) {
	h := P(b).shared()
	if h.Plain == "" && P(b).idle() {
		return v.begin(), nil
	}
	if of, ok := any(P(b)).(ofTurn); ok {
		if old, err := v.outlived(of); err != nil {
			return said{}, err
		} else if old {
			return of.askOutlived(v)
		}
	}
	if !h.Left.IsZero() {
		return p.askLeft(v, b)
	}
	s, err := P(b).verdict(v)
	if h.Plain == "" || err != nil && !refusal.Is(err) {
		return s, err
	}
	q, failed := v.which(h.Plain, P(b).wants(), P(b).idle())
	if failed != nil || err != nil || s.Status != "broken" {
		return q, failed
	}
	s.Aside, s.Next = q.Words, ""
	return s.offer(append(q.Choices, s.Choices...)...), nil
}

func (p bench[B, P]) save(v *visit, b *B) error {
	if err := p.keepTurn(v, b); err != nil {
		return err
	}
	P(b).shared().Rev++
	return v.d.files.save(b, "bench", v.station, v.place)
}

// answered is what the page gets back.
type answered struct {
	N    int64  `json:"n,omitzero"`
	Rev  int64  `json:"rev"`
	Kind string `json:"kind,omitempty"` // what a scan was taken for
	What string `json:"what,omitempty"`
	said
	Lies    *lies  `json:"lies,omitempty"`
	Verdict string `json:"verdict"` // HTML
	Bench   string `json:"bench"`   // HTML
	Go      string `json:"go,omitempty"`
	Stale   bool   `json:"stale,omitempty"` // the input was not taken: its page showed something else
}

// benchBody is what the template of a bench gets.
type benchBody struct {
	Draft any
	Body  any
	Hand  *hand
	Done  *shownDone
}

func (v *visit) fragment(name string, data any) (string, error) {
	var out bytes.Buffer
	body := view{
		Station: v.station, Place: v.place, Practice: v.d.opts.Practice, Behind: v.d.site.Behind(), Data: data,
	}
	err := v.d.tmpl[v.w.Lang].ExecuteTemplate(&out, name, body)
	return out.String(), err
}

func (p bench[B, P]) show(v *visit, b *B) (*answered, error) {
	h := P(b).shared()
	told, err := p.tell(v, b)
	if err != nil {
		return nil, err
	}
	body, err := P(b).body(v)
	if err != nil {
		return nil, err
	}
	if name := p.name(b); !strings.Contains(told.Words, name) {
		told.Of = name
	}
	a := &answered{Rev: h.Rev, said: told}
	if r, ok := any(P(b)).(readsSheets); ok {
		a.Lies = r.lies()
	}
	if a.Verdict, err = v.verdict(&a.said); err != nil {
		return nil, err
	}
	last, err := v.shownDone(h.Done)
	if err != nil {
		return nil, err
	}
	a.Bench, err = v.fragment(v.layout(), benchBody{Draft: b, Body: body, Hand: h, Done: last})
	return a, err
}

// layout names the template of the page: the workplace's own, or, where it has
// none, the plain one, which shows what every bench has.
func (v *visit) layout() string {
	if own := "bench-" + v.place; v.d.tmpl[v.w.Lang].Lookup(own) != nil {
		return own
	}
	return "bench-plain"
}

// name is what the work here is on, which is always in sight.
func (p bench[B, P]) name(b *B) string {
	if l, ok := any(P(b)).(interface{ workName() string }); ok {
		return l.workName()
	}
	return firstOf(P(b).shared().Tag, P(b).shared().Case)
}

type benchPageBody struct {
	Verdict, Bench template.HTML // rendered by this package's own templates
	Rev            int64
	Lies           *lies
	Away           []awayVerdict
}

func (p bench[B, P]) page(v *visit) (*rendered, error) {
	defer v.d.lock(benchKey(v.station, v.place))()
	b, err := p.load(v)
	if err != nil {
		return nil, err
	}
	h := P(b).shared()
	if ref := v.r.FormValue("set"); ref != "" && h.Tag == "" {
		if err := p.scanAndSave(v, b, events.ScanSet, ref); err != nil {
			return nil, err
		}
	}
	busy := ""
	if ref := v.r.FormValue("case"); ref != "" && ref != h.Case {
		at, err := p.atWork(v, b)
		if at {
			busy = v.t("address-busy", h.Case, ref)
		} else if err == nil {
			err = p.scanAndSave(v, b, events.ScanCase, ref)
		}
		if err != nil {
			return nil, err
		}
	}
	a, err := p.show(v, b)
	if err != nil {
		return nil, err
	}
	if busy != "" {
		a.Aside = strings.TrimSpace(busy + " " + a.Aside)
		if a.Verdict, err = v.verdict(&a.said); err != nil {
			return nil, err
		}
	}
	away, err := v.awayVerdicts()
	if err != nil {
		return nil, err
	}
	scripts := []string{v.d.opts.Prefix + "/workplace/bench.js"}
	if own, ok := any(P(b)).(interface{ scripts() []string }); ok {
		for _, name := range own.scripts() {
			scripts = append(scripts, v.d.opts.Prefix+"/workplace/"+name)
		}
	}
	return &rendered{
		name: "place", title: v.t("place-"+v.place) + " – " + v.station, wide: true, scripts: scripts,
		data: benchPageBody{template.HTML(a.Verdict), template.HTML(a.Bench), a.Rev, a.Lies, away},
	}, nil
}

// atWork reports whether somebody has entered something for the case in hand: an address
// doesn't take that away.
func (p bench[B, P]) atWork(v *visit, b *B) (bool, error) {
	h := P(b).shared()
	if h.Case == "" || P(b).idle() || h.Operator != "" || h.Witness != "" {
		return h.Case != "" && !P(b).idle(), nil
	}
	l, ok := any(P(b)).(lying)
	if !ok {
		return false, nil
	}
	only, err := l.onlySaid(v) // a reason, before any badge
	return only != "", err
}

// scanAndSave takes what the page's address names.
func (p bench[B, P]) scanAndSave(v *visit, b *B, kind events.ScanKind, value string) error {
	s, err := p.scan(v, b, kind, value)
	if err != nil {
		return err
	}
	P(b).shared().say(v, s)
	P(b).shared().Active = v.now // else what the address names would be gone as what somebody left
	if err := p.save(v, b); err != nil {
		return err
	}
	v.d.hub.Tell(benchKey(v.station, v.place), "") // another screen may show what lay here
	return nil
}

func (p bench[B, P]) state(v *visit) (any, error) {
	defer v.d.lock(benchKey(v.station, v.place))()
	b, err := p.load(v)
	if err != nil {
		return nil, err
	}
	return p.show(v, b)
}

// input takes a scan or what a button says. A thing that can't be taken is an
// answer too, in words and with the sound for it.
func (p bench[B, P]) input(v *visit, verb string) (any, error) {
	if verb != "scan" && verb != "do" {
		return nil, refusal.WithCode(http.StatusNotFound, "there is no %s", verb)
	}
	in, err := v.input()
	if err != nil {
		return nil, err
	}
	defer v.d.lock(benchKey(v.station, v.place))()
	b, err := p.load(v)
	if err != nil {
		return nil, err
	}
	h := P(b).shared()
	if h.Seen.has(in.Client, in.N) {
		a, err := p.show(v, b)
		if err != nil {
			return nil, err
		}
		if a.N = in.N; h.Seen.stale(in.Client, in.N) { // and the answer that said so was lost
			err = v.notTaken(a, p.name(b), &taken{})
		}
		return a, err
	}
	in.Text = strings.TrimSpace(in.Text)
	if h.AtBy != in.key() && (!in.records() || v.now.Sub(h.At) > triesAgain) {
		h.At = time.Time{} // what is recorded next is another observation
	}
	v.key = in.key()
	t := &taken{operator: h.Operator}
	before, err := p.snapshot(b)
	if err != nil {
		return nil, err
	}
	switch err := p.takeFrom(v, b, in, verb, t); {
	case err == nil:
	case refusal.Is(err):
		t.said = v.refused(err)
		if in.records() {
			if t.said, err = v.refusedBy(h, err); err != nil {
				return nil, err
			}
		}
	default:
		return nil, err // the page sends it again, so it has not been seen yet
	}
	if err := p.keepTaken(v, b, in, before, t); err != nil {
		return nil, err
	}
	v.d.hub.Tell(benchKey(v.station, v.place), in.Client)
	a, err := p.show(v, b)
	if err != nil {
		return nil, err
	}
	a.N, a.Kind, a.What, a.Go = in.N, t.kind, t.what, t.goTo
	if t.stale {
		err = v.notTaken(a, p.name(b), t)
	}
	return a, err
}

// refusedBy says why an input was refused. Where that is because the badge that works here ended meanwhile, or is held to a
// register since, its ways out are offered as when it was scanned: nothing was misread.
func (v *visit) refusedBy(h *hand, refused error) (said, error) {
	if h.Operator != "" {
		if s, err := v.admit(h.Operator); err != nil || s.Words != "" {
			s.Next = v.t("scan-badge")
			return s, err
		}
	}
	return v.refused(refused), nil
}

// keepTaken saves the bench with what an input came to.
func (p bench[B, P]) keepTaken(v *visit, b *B, in *input, before []byte, t *taken) error {
	h := P(b).shared()
	h.Seen.add(in.Client, in.N)
	h.Seen[len(h.Seen)-1].Stale = t.stale
	if !t.stale { // else the other browser goes on undisturbed
		h.say(v, t.said)
		h.Active, h.Writer, h.Taking = v.now, in.Client, ""
		if h.Done != nil && h.Done.At.IsZero() {
			h.Done.At = v.now
		}
		if h.Operator != t.operator || t.kind == string(events.ScanBadge) {
			h.Shown = v.now
		}
		had := h.Operator
		if err := v.goesOn(h, in, t); err != nil {
			return err
		}
		if w, ok := any(P(b)).(interface{ wentOn(*visit) error }); ok && had == "" && h.Operator != "" {
			if err := w.wentOn(v); err != nil {
				return err
			}
		}
		if l, ok := any(P(b)).(interface{ fills() string }); ok && l.fills() != h.Work {
			h.Work, h.WorkRev, h.WorkBy = l.fills(), h.Rev, in.Client
		}
	}
	if err := p.keepBefore(b, before, t); err != nil {
		return err
	}
	if t.stale {
		h.Rev-- // nothing has changed: what the other browser shows still stands
	}
	return p.save(v, b)
}

// notTaken says that an input was not taken, and why. work is what lies here, where that has a name. What is asked
// beside a STOP stays in sight: its answers do.
func (v *visit) notTaken(a *answered, work string, t *taken) (err error) {
	asks := a.Aside
	a.Stale, a.Aside, a.Sound = true, v.t("changed-elsewhere"), "wrong"
	switch {
	case t.taken && work == "":
		a.Aside = v.t("bench-taken-unnamed")
	case t.taken:
		a.Aside = v.t("bench-taken", work)
	case t.early:
		a.Aside, a.Sound = v.t("not-shown-yet"), "low"
	}
	if len(a.Choices) > 0 {
		a.Aside = joined(a.Aside, asks)
	}
	a.Verdict, err = v.verdict(&a.said)
	return err
}

// triesAgain is for how long a person who had no answer and presses once more means the
// same observation; later it is one of its own, by whoever stands there now.
const triesAgain = 2 * time.Minute

// records reports whether an input may record: then it may be one that was sent
// before, and whose answer was lost.
func (in *input) records() bool {
	return slices.Contains([]string{"enter", "record", "result", "indicator", "take-back"}, in.Action) ||
		in.Text == "" && in.Action == ""
}

// taken is what an input was taken for, and what is said to it.
type taken struct {
	kind, what, goTo string
	operator         string // who worked here before it
	said             said
	undone, stale    bool
	taken            bool // stale, since another screen is at work here
	early            bool // stale, since it was entered before its own screen showed what is asked now
}

// longestTyped is how many characters a person types by hand: a number, a weight.
const longestTyped = 6

// takeFrom takes an input, unless it belongs to something else than what lies
// here: another browser has been here since the page was shown, or an input of the
// same one that its page had no answer to yet. Enter, a number and a button answer
// what is in sight; a scan says what it says.
func (p bench[B, P]) takeFrom(v *visit, b *B, in *input, verb string, t *taken) error {
	h := P(b).shared()
	blind := verb == "do" || len(in.Text) <= longestTyped
	if own := h.Writer == in.Client; blind && in.Rev != 0 && in.Rev != h.Rev && (!own || verb == "do" || onlyAnswers(in.Text)) {
		t.stale, t.early = true, own
		return nil
	}
	taken, err := p.takesOver(v, b, in, blind)
	if err != nil || taken {
		t.stale, t.taken = taken, taken
		return err
	}
	return p.take(v, b, in, verb, t)
}

// onlyAnswers reports whether a text means nothing without a question: Enter, a number
// or a button's key. A short code names something.
func onlyAnswers(text string) bool {
	return strings.Trim(text, "0123456789., "+keyPackage+keyIndicator) == ""
}

// takesOver reports whether a scan would take the bench from another screen that is
// at work here. That is said first; the scan, made again, takes it. What waited while
// the line was down is not asked about: nobody is there any more to scan it again. While
// its screen shows what lies here now, nobody else has done anything since, and it is
// taken; else it is of a set that is no longer in hand, however often it was scanned.
func (p bench[B, P]) takesOver(v *visit, b *B, in *input, blind bool) (bool, error) {
	h := P(b).shared()
	waited := in.Ago > 0
	own := h.Writer == "" || h.Writer == in.Client
	switch {
	case blind, in.Rev == 0, P(b).idle(), own, waited && in.Rev == h.Rev:
		return false, nil
	case waited:
		return true, nil
	case v.place == "sterilizer", h.Taking == in.Client && v.now.Sub(h.TakingAt) >= readApart:
		return false, nil
	}
	away, err := v.away(h.Active)
	if err == nil && !away && h.Taking != in.Client {
		h.Taking, h.TakingAt = in.Client, v.now
	}
	return err == nil && !away, err
}

func (p bench[B, P]) take(v *visit, b *B, in *input, verb string, t *taken) (err error) {
	h := P(b).shared()
	v.elsewhere = h.Plain != "" || len(h.Said.Choices) > 0 || in.Rev != 0 && in.Rev != h.Rev
	v.client, v.shown, v.waited = in.Client, in.Rev, in.Ago > 0
	if verb == "do" || in.Text == "" {
		h.Echo = echo{} // a person did something: the same code again is another scan
	}
	if verb == "scan" {
		h.Called = nil
	}
	switch {
	case !h.Left.IsZero() && !(verb == "do" && in.Action == "next-person"):
		return p.answerLeft(v, b, in, verb, t)
	case verb == "do" && in.Action == "take-as":
		return p.takeAs(v, b, events.ScanKind(in.Fields["value"]), t)
	case verb == "do" && in.Action == "next-person":
		return p.handOver(v, b)
	case verb == "do" && in.Action == "undo":
		return p.undo(v, b, in.Fields, t)
	case verb == "do" && in.Action == "emergency":
		return p.emergency(v, b, in.Fields, t)
	case verb == "do" && in.Action == "take-back":
		return p.takeBack(v, b, in.Fields, t)
	case verb == "do" && in.Action == "unsay":
		return p.unsay(v, b, in.Fields, t)
	case verb == "do" && in.Action != "enter":
		return p.do(v, b, in, t)
	case verb == "do" || in.Text == "":
		switch {
		case h.Plain != "" && v.place == "packing" && P(b).idle() && !fewDigits(h.Plain):
			return p.takeAs(v, b, events.ScanSet, t) // as the question says
		case h.Plain != "":
			return nil // what it is, is asked until it is answered
		}
		if t.goTo = h.mainLink(); t.goTo != "" && P(b).idle() {
			t.said = h.Said
			return nil
		}
		t.goTo = ""
		if len(h.Said.Choices) > 0 && !slices.ContainsFunc(h.Said.Choices, func(c choice) bool { return c.Main }) {
			t.said = h.Said // Enter is none of the answers
			t.said.Sound = "low"
			return nil
		}
		if h.Said.Words != "" && !P(b).idle() {
			// Enter was pressed on what was said last. Unless a STOP was in sight with
			// what Enter does, that is shown first.
			if s, err := p.live(v, b); err != nil || s.Status != "broken" {
				return err
			}
		}
		t.said, err = p.act(v, b, "enter", nil)
	default:
		err = p.text(v, b, in, t)
	}
	return err
}

// takeAs takes a plain code for what a person says it is, and remembers it.
func (p bench[B, P]) takeAs(v *visit, b *B, kind events.ScanKind, t *taken) (err error) {
	h := P(b).shared()
	code := h.Plain
	if code != "" && h.Said.Words != "" {
		return nil // something else was said since: it is asked again
	}
	h.Plain = ""
	if code == "" || kind == "" {
		return nil
	}
	if !canBe(kind, code) {
		return v.notAskedFor(kind, code)
	}
	t.kind, t.what = string(kind), code
	if t.said, err = p.scan(v, b, kind, code); err == nil {
		err = v.learn(kind, code)
		h.Called = &called{code, kind}
	}
	return err
}

// unsay takes back what a person said that a plain code is, and what came of it here: it is asked about again.
func (p bench[B, P]) unsay(v *visit, b *B, f fields, t *taken) (err error) {
	h := P(b).shared()
	c := h.Called
	if c == nil || c.Code != f["value"] || string(c.Kind) != f["kind"] {
		return v.sayNo("nothing-to-undo")
	}
	if err := v.unlearn(c.Kind, c.Code); err != nil {
		return err
	}
	h.Called = nil
	switch {
	case c.Kind == events.ScanBadge && sameBadge(h.Operator, c.Code):
		p.nextPerson(b)
	case c.Kind == events.ScanBadge && sameBadge(h.Witness, c.Code):
		h.Witness = ""
	case c.Kind == events.ScanSeal && p.acts["seal-off"] != nil:
		t.said, err = p.act(v, b, "seal-off", fields{"value": c.Code})
	case c.Kind == events.ScanCase && h.Case == c.Code && p.acts["next-case"] != nil:
		t.said, err = p.act(v, b, "next-case", nil)
	case c.Kind == events.ScanCase && h.Case == c.Code, c.Kind == events.ScanSet && h.Tag == c.Code:
		t.said, err = p.act(v, b, "clear", nil)
	}
	t.said.Aside = v.t("unsaid", v.t("unsay-"+string(c.Kind), c.Code))
	t.said.Sound = firstOf(t.said.Sound, "ask")
	return err
}

// do takes a button or a form. What a scanner typed into a form's field is a scan.
func (p bench[B, P]) do(v *visit, b *B, in *input, t *taken) (err error) {
	if err := v.noPatient(in.Fields); err != nil {
		return err
	}
	for name, value := range in.Fields {
		if name == "for" && v.caseIn(value) != "" {
			continue // the very thing that the field asks for
		}
		if code := v.codeIn(value); code != "" {
			in.Text = code
			return p.text(v, b, in, t)
		}
		if _, err := v.read(value); errors.Is(err, events.ErrPatient) {
			return refusal.Because(err) // whatever field it is
		}
	}
	t.said, err = p.act(v, b, in.Action, in.Fields)
	return err
}

// noPatient refuses a form with a symbol in it that identifies a patient, in whichever field.
func (v *visit) noPatient(f fields) error {
	for name, value := range f {
		for _, text := range append(strings.Fields(strings.ReplaceAll(value, ",", " ")), value) {
			if _, err := v.read(text); errors.Is(err, events.ErrPatient) {
				return inField(name, v.sayNo("refused-patient"))
			}
		}
	}
	return nil
}

// codeIn returns the label or sheet code with which a text ends, "" where there
// is none: a person had typed something before, or the scanner typed into
// another field than its own.
func (v *visit) codeIn(text string) string {
	text = strings.TrimSpace(text)
	for _, from := range []int{len(text) - sheetPageLen, strings.LastIndex(text, "X9"), len(text) - sheetCodeLen} {
		if from < 0 {
			continue
		}
		all, err := v.read(text[from:])
		if errors.Is(err, events.ErrPractice) || errors.Is(err, errRealPaper) {
			return text[from:]
		}
		label := strings.HasPrefix(text[from:], "X9") && !events.CutSheetCode(text[:from])
		label = label && len(all) == 1 && all[0].Kind != events.ScanPlain // a code of somebody else's may begin so
		if err == nil && len(all) == 1 && (all[0].Kind == events.ScanSheet || label) {
			return text[from:]
		}
	}
	return ""
}

// caseIn returns the case whose label was scanned into a field, "" where it was none.
func (v *visit) caseIn(text string) string {
	all, err := v.read(v.codeIn(text))
	if err != nil || len(all) != 1 || all[0].Kind != events.ScanCase {
		return ""
	}
	return all[0].Value
}

// recogniseLast reads what was scanned, without what was left in the field before.
func (v *visit) recogniseLast(text string) ([]events.Scan, error) {
	scans, err := v.read(text)
	if code := v.codeIn(text); code != "" && (err != nil || len(scans) == 1 && scans[0].Kind == events.ScanPlain) {
		scans, err = v.read(code)
	}
	switch {
	case errors.Is(err, events.ErrPractice):
		return nil, v.sayNo("practice-paper")
	case errors.Is(err, errRealPaper):
		return nil, v.sayNo("real-paper")
	}
	return scans, err
}

// errRealPaper refuses what was printed for real work where people practise: who works there by mistake believes it recorded.
var errRealPaper = errors.New("this was not printed for practice")

// read tells what was scanned. What was printed for practice is read where people
// practise, and nowhere else; what was printed for real work is not read there.
func (v *visit) read(text string) ([]events.Scan, error) {
	if !v.d.opts.Practice {
		return events.RecogniseAll(text)
	}
	all, err := events.RecognisePractice(text)
	if slices.ContainsFunc(all, events.Scan.Real) {
		return nil, errRealPaper
	}
	return all, err
}

// How many characters a sheet code has, and the symbol on a page of a sheet.
const (
	sheetCodeLen = 54
	sheetPageLen = 60
)

// text takes what came through the scan field: something typed that means an
// action here, or one or several scans.
func (p bench[B, P]) text(v *visit, b *B, in *input, t *taken) error {
	h := P(b).shared()
	_, number := plainNumber(strings.TrimPrefix(in.Text, keyPackage)) // or a button's key
	weight := len(h.Said.Choices) > 0 && strings.Trim(in.Text, "0123456789.,") == "" && strings.ContainsAny(in.Text, ".,")
	if (number || weight) && (h.Plain != "" || h.Said.Words != "" && !P(b).idle()) {
		t.said = said{Sound: "low"} // it answers something else than what is in sight, which is said again
		return nil
	}
	byHand := len(in.Text) <= longestTyped // a number may be typed twice
	if !byHand && h.Echo.twice(v, in) {
		t.said = v.readTwice()
		return nil
	}
	if shown := in.Rev == 0 || in.Rev == h.Rev; shown && p.typed != nil { // else it answers what was not in sight
		if name, f, ok := p.typed(b, v, in.Text); ok {
			t.kind, t.what = "typed", in.Text
			var err error
			t.said, err = p.act(v, b, name, f)
			return err
		}
	}
	if byHand && h.Echo.twice(v, in) {
		t.said = v.readTwice()
		return nil
	}
	if isWeight(in.Text) && !P(b).idle() {
		t.said = said{Sound: "low"} // nothing weighs what lies here now; what is asked of it is said again
		return nil
	}
	scans, err := v.recognise(in.Text, P(b).wants(), h)
	if twoOfOne(scans) {
		t.said = said{Aside: v.t("two-in-one"), Sound: "low"}
		return nil
	}
	for _, s := range scans {
		t.kind, t.what, v.scan = string(s.Kind), s.Value, s
		kind := s.Kind
		if _, ok := p.scans[s.Symbol]; ok {
			kind = s.Symbol // this place tells a tag from a label
		}
		if t.said, err = p.scan(v, b, kind, s.Value); err != nil {
			break
		}
	}
	return err
}

// twoOfOne reports whether one scan names two different sets, badges, loads or cases: the first would be taken, and nothing that
// is asked about it seen.
func twoOfOne(scans []events.Scan) bool {
	one := []events.ScanKind{events.ScanSet, events.ScanBadge, events.ScanLoad, events.ScanCase}
	for i, s := range scans {
		if slices.Contains(one, s.Kind) && slices.ContainsFunc(scans[:i], func(o events.Scan) bool {
			return o.Kind == s.Kind && o.Symbol == s.Symbol && o.Value != s.Value
		}) {
			return true
		}
	}
	return false
}

// brokeOff reports whether a text is the beginning of a count sheet's code with a label behind it: neither is to be taken for what
// it says.
func (v *visit) brokeOff(text string) bool {
	at := strings.LastIndex(text, "X9")
	if at < 0 || !events.CutSheetCode(text[:at]) {
		return false
	}
	all, err := v.read(text[at:])
	return err == nil && len(all) == 1 && all[0].Kind != events.ScanPlain
}

// readTwice says that a symbol was read twice, and taken once.
func (v *visit) readTwice() said { return said{Aside: v.t("read-twice"), Sound: "low"} }

func (p bench[B, P]) scan(v *visit, b *B, kind events.ScanKind, value string) (said, error) {
	f, ok := p.scans[kind]
	switch {
	case !P(b).shared().Left.IsZero():
		return said{Sound: "low"}, nil // whatever a page's address names
	case !ok:
		return said{}, v.notAskedFor(kind, value)
	}
	if err := v.checkCase(kind, value); err != nil {
		return said{}, err
	}
	if kind == events.ScanBadge {
		if s, err := v.admit(value); err != nil || s.Words != "" {
			return s, err
		}
		if err := v.isOne(value); err != nil {
			return said{}, err
		}
	} else if l, ok := any(P(b)).(leftLying); ok {
		if stop, err := l.stopLeft(v); err != nil || stop {
			return said{Sound: "low"}, err
		}
	} else if kind != events.ScanSet {
		if old, err := p.outlived(v, b); err != nil || old {
			return said{Sound: "low"}, err
		}
	}
	return f(b, v, value)
}

func (p bench[B, P]) act(v *visit, b *B, name string, f fields) (said, error) {
	old, err := p.outlived(v, b)
	if err != nil {
		return said{}, err
	}
	if of, ok := any(P(b)).(ofTurn); ok && old && name == beginAnew {
		return of.anew(v)
	}
	do, ok := p.acts[name]
	switch {
	case !ok:
		return said{}, v.sayNo("no-such-button", name)
	case old && !dropsOutlived(name):
		return said{Sound: "low"}, nil // it is asked first
	}
	return do(b, v, f)
}

// notAskedFor refuses a scan that has no meaning here.
func (v *visit) notAskedFor(kind events.ScanKind, value string) error {
	return v.sayNo("taken-for-not-here", v.kind(kind), value)
}

// recognise tells what a scan is. Several labels in one scan are all taken. A
// plain identifier that may be several things is kept until a person has said
// which.
func (v *visit) recognise(text string, wants []want, h *hand) ([]events.Scan, error) {
	scans, err := v.recogniseLast(text)
	if err != nil {
		return nil, refusal.Because(err)
	}
	h.Plain = ""
	short := slices.ContainsFunc(wants, func(w want) bool { return w.Kind == events.ScanShort })
	for i, s := range scans {
		if s.Kind == events.ScanShort && !short {
			s.Kind, scans[i].Kind = events.ScanPlain, events.ScanPlain
		}
		if s.Kind != events.ScanPlain {
			continue
		}
		if v.brokeOff(s.Value) {
			return nil, v.sayNo("code-broke-off")
		}
		wanted := func(k events.ScanKind) bool {
			return slices.ContainsFunc(wants, func(w want) bool { return w.Kind == k })
		}
		known, value, err := v.registered(s.Value, wanted)
		if err != nil {
			return nil, err
		}
		if known != "" {
			scans[i].Kind, scans[i].Value = known, value
			continue
		}
		if known, err = v.plainKind(s.Value, wants); err != nil {
			return nil, err
		}
		if known == "" {
			can, why, err := v.canBeOne(s.Value, wants)
			if err != nil {
				return nil, err
			}
			if len(can) == 0 {
				return nil, why
			}
			h.Plain = s.Value
			return nil, nil // it is asked what it is
		}
		if err := v.checkCase(known, s.Value); err != nil {
			return nil, err
		}
		scans[i].Kind = known
		if v.bySaid == s.Value {
			h.Called = &called{s.Value, known}
		}
	}
	return scans, nil
}

// sheetOwner finds whose sheet a code is: its set, and where that set is now.
func (v *visit) sheetOwner(code string) (owner projections.TripKey, where string, since time.Time, err error) {
	c, err := events.ParseSheetCode(code)
	if err != nil {
		return owner, "", since, refusal.Because(err)
	}
	owner.Trip = c.Trip
	err = v.d.site.Ask(func(m *site.View) (err error) {
		if owner.Set, _, err = m.SetOfTrip(v, c.Trip); err != nil || owner.Set == "" {
			return err
		}
		verdict, err := m.Verdict(v, owner)
		if verdict != nil {
			where, since = verdict.Where, verdict.Since
		}
		return err
	})
	return owner, where, since, err
}

// observe records.
func (v *visit) observe(obs ...*events.Observation) ([]site.Receipt, error) {
	v.stood = nil
	return v.d.site.Observe(v, obs...)
}

// recordAt fixes the observed time before recording: should the answer be lost
// and the person try again, it is the same event and is stored once.
func (v *visit) recordAt(b interface{ shared() *hand }) (time.Time, error) {
	h := b.shared()
	if h.At.IsZero() {
		h.At, h.AtBy = v.now.UTC(), v.key
		if err := v.d.files.save(b, "bench", v.station, v.place); err != nil {
			return time.Time{}, err
		}
	}
	return h.At, nil
}

func ids(rs []site.Receipt) []string {
	var out []string
	for _, r := range rs {
		out = append(out, r.ID)
	}
	return out
}

func seqs(rs []site.Receipt) []int64 {
	var out []int64
	for _, r := range rs {
		out = append(out, r.Seq)
	}
	return out
}

// nowAt tells where a set was seen last.
func (v *visit) nowAt(set, where string, since time.Time) string {
	if where == "" {
		return ""
	}
	return v.t("now-at", set, v.make(func(w *shell.Words) string { return w.Place(where) }), v.time(since))
}
