package board

import (
	"context"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"listbound/cmd/internal/refusal"
	"listbound/cmd/internal/shell"
	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
	"listbound/projections/judge"
)

// touchedAtMost bounds one list of touched sets; the page says when it is cut.
const touchedAtMost = 1000

// touchedBody is what shares something with a fault.
type touchedBody struct {
	Heading string
	Then    string // as known at which moment; "" for now
	Rule    string // by which the sets were chosen
	From    string
	To      string
	Hold    []touchedSet // nobody has opened them: keep them closed
	Used    []touchedSet
	Again   []touchedSet // packed again since
	Table   *table
	Cut     bool
	PDF     string
	Other   []askLink // further things that the set shares
	Form    touchedForm
}

// None reports whether no set is found. That is what a slip in the typing looks like, too.
func (b *touchedBody) None() bool { return len(b.Hold)+len(b.Used)+len(b.Again) == 0 }

type touchedForm struct{ What, Key, Version, First, Last, From, To string }

type askLink struct{ Label, Address string }

type touchedSet struct {
	Verdict projections.Verdict
	Trace   projections.Trace
	Opened  time.Time
	Room    string
}

// question is one thing that sets can share.
type question struct {
	what, key   string
	version     int64
	first, last string
	from, to    time.Time
	heading     string
	rule        string
}

func (p *pages) question(r *http.Request, words *shell.Words) (*question, error) {
	v := r.URL.Query()
	q := new(question)
	var err error
	if q.from, err = moment(words, v.Get("from"), "from"); err != nil {
		return nil, err
	}
	if q.to, err = moment(words, v.Get("to"), "to"); err != nil {
		return nil, err
	}
	for _, what := range []string{"trip", "set", "case", "load", "sterilizer", "list", "bag", "seal", "station",
		"badge", "packer"} {
		if v.Get(what) != "" {
			q.what, q.key = what, v.Get(what)
			break
		}
	}
	switch q.what {
	case "":
		return q, nil
	case "list":
		if s := v.Get("version"); s != "" {
			if q.version, err = strconv.ParseInt(s, 10, 64); err != nil || q.version < 1 {
				return nil, refuse(http.StatusBadRequest, "version %q is not a number", s)
			}
		}
	case "seal":
		q.first, q.last, _ = strings.Cut(q.key, "-")
		if s := v.Get("last"); s != "" {
			q.first, q.last = q.key, s
		}
		if q.last == "" {
			q.last = q.first
		}
		if len(q.first) != len(q.last) || q.last < q.first {
			return nil, refuse(http.StatusBadRequest,
				"a batch of seals has a first and a last number of one length, the first not above the last")
		}
	}
	q.heading = words.T("board.touched-by", words.T("board.what-"+q.what), q.key)
	q.rule = words.T("board.rule-" + q.what)
	return q, nil
}

func (p *pages) touchedPage(r *http.Request, words *shell.Words) (*answer, error) {
	q, err := p.question(r, words)
	if err != nil {
		return nil, err
	}
	b := &touchedBody{Form: touchedForm{What: q.what, Key: q.key, Version: r.URL.Query().Get("version"), First: q.first,
		Last: q.last, From: r.URL.Query().Get("from"), To: r.URL.Query().Get("to")}}
	a := &answer{template: "touched", title: words.T("board.touched"), body: b}
	if q.what == "" {
		return a, nil
	}
	err = p.ask(r, func(m *site.View) error {
		w := m.World(r.Context())
		return p.touched(r, words, m, w, q, b)
	})
	if err != nil {
		return nil, err
	}
	b.Heading, b.Rule = q.heading, q.rule
	if at := asOf(r); !at.IsZero() {
		b.Then = words.Time(at)
	}
	b.From, b.To = words.Time(q.from), words.Time(q.to)
	b.Table = touchedTable(words, b)
	a.tables = append(a.tables, b.Table)
	v := r.URL.Query()
	v.Set("format", "pdf")
	b.PDF = "/recall?" + v.Encode()
	if q.what == "trip" && len(b.Hold)+len(b.Used)+len(b.Again) == 0 && len(b.Other) == 0 {
		return nil, refusal.Say(fmt.Errorf("%w of trip %s", site.ErrNotFound, q.key), "nothing-of", q.key)
	}
	return a, nil
}

func (p *pages) touched(r *http.Request, words *shell.Words, m *site.View, w *judge.World, q *question,
	b *touchedBody) error {
	var keys []projections.TripKey
	var err error
	switch q.what {
	case "trip":
		// A trip shares many things: the page offers each of them.
		set, ok, err := m.JudgedTrip(r.Context(), q.key)
		if err != nil {
			return err
		}
		if !ok {
			return refusal.Say(fmt.Errorf("%w of trip %s", site.ErrNotFound, q.key), "nothing-of", q.key)
		}
		keys = []projections.TripKey{{Set: set, Trip: q.key}}
		q.heading = words.T("board.touched-by", words.T("board.what-set"), set)
	case "set":
		keys, err = m.TripsOfSet(r.Context(), q.key)
		slices.Reverse(keys)
		keys = keys[:min(len(keys), 1)]
	case "case":
		keys, err = w.Case(q.key)
	case "load":
		keys, err = p.recalled(r, words, m, w, q)
	case "seal":
		keys, err = m.SharesSeals(r.Context(), q.first, q.last, touchedAtMost+1)
	default:
		keys, err = m.Shares(r.Context(), q.what, q.key, q.from, q.to, touchedAtMost+1)
	}
	if err != nil {
		return err
	}
	if len(keys) > touchedAtMost {
		b.Cut, keys = true, keys[:touchedAtMost]
	}
	for _, k := range keys {
		v, err := w.Judge(k)
		if err != nil {
			return err
		}
		t, err := w.Trace(k)
		if err != nil {
			return err
		}
		if q.version > 0 && t.Version != q.version {
			continue
		}
		b.sort(touchedSet{Verdict: v, Trace: t})
	}
	if q.what == "trip" || q.what == "set" || q.what == "case" {
		b.offer(words)
	}
	return nil
}

// recalled returns what a fault of a load reaches by the rule in force: with a
// positive indicator, every load of the sterilizer from the last negative one
// to the next; else the load alone.
func (p *pages) recalled(r *http.Request, words *shell.Words, m *site.View, w *judge.World,
	q *question) ([]projections.TripKey, error) {
	keys, err := m.TripsOfLoad(r.Context(), q.key)
	if err != nil || len(keys) == 0 {
		return keys, err
	}
	from, to, found, err := recallOf(w, keys)
	if err != nil {
		return nil, err
	}
	where, sterilizer, err := sterilizerOf(r.Context(), m, q.key)
	if err != nil {
		return nil, err
	}
	if !found || sterilizer == "" {
		return keys, nil
	}
	policy, _, err := w.PolicyAt(where, to)
	if err != nil {
		return nil, err
	}
	q.from, q.to = from, to
	q.heading = words.T("board.recall-of", sterilizer, q.key)
	q.rule = words.T("board.rule-recall-" + string(policy.Recall))
	all, err := m.Shares(r.Context(), "sterilizer", sterilizer, from, to, touchedAtMost+1)
	if err != nil {
		return nil, err
	}
	// Only what the judgement itself says is covered: the ends of the window
	// are loads that were negative.
	var out []projections.TripKey
	for _, k := range all {
		v, err := w.Judge(k)
		if err != nil {
			return nil, err
		}
		if slices.Contains(keys, k) || slices.ContainsFunc(v.Findings,
			func(f projections.Finding) bool { return f.Code == projections.LoadRecalled }) {
			out = append(out, k)
		}
	}
	return out, nil
}

// recallOf returns what the recalls of some trips cover together; found is false
// where none of them is recalled.
func recallOf(w *judge.World, keys []projections.TripKey) (from, to time.Time, found bool, err error) {
	for _, k := range keys {
		v, err := w.Judge(k)
		if err != nil {
			return from, to, false, err
		}
		for _, f := range v.Findings {
			if f.Code != projections.LoadRecalled {
				continue
			}
			if !found || f.From.Before(from) {
				from = f.From
			}
			if f.To.After(to) {
				to = f.To
			}
			found = true
		}
	}
	return from, to, found, nil
}

// sterilizerOf returns the site and the sterilizer of a load, "" where none is recorded.
func sterilizerOf(ctx context.Context, m *site.View, load string) (where, sterilizer string, err error) {
	its, err := m.Source(ctx).Facts(facts.DimLoad, load)
	for _, f := range its {
		if d, ok := f.Event.Data.(*events.SetSterilized); ok && d.Load == load {
			sterilizer = d.Sterilizer
			where, _, _ = strings.Cut(f.Event.Station, "/")
		}
	}
	return where, sterilizer, err
}

func (b *touchedBody) sort(s touchedSet) {
	for _, l := range s.Trace.Links {
		if l.Kind == events.KindSetOpened && l.State == projections.LinkThere {
			s.Opened, s.Room = l.At, l.Place
		}
	}
	switch {
	case s.Verdict.Opened:
		b.Used = append(b.Used, s)
	case s.Verdict.Over:
		b.Again = append(b.Again, s)
	default:
		b.Hold = append(b.Hold, s)
	}
}

// offer links to everything that the sets shown share with others.
func (b *touchedBody) offer(words *shell.Words) {
	seen := make(map[string]bool)
	add := func(what, key, label string, v url.Values) {
		if key == "" || seen[what+key] {
			return
		}
		seen[what+key] = true
		b.Other = append(b.Other, askLink{words.T("board.shares", words.T("board.what-"+what), label),
			address("/touched", v)})
	}
	for _, group := range [][]touchedSet{b.Hold, b.Used, b.Again} {
		for _, s := range group {
			t := s.Trace
			add("load", t.Load, t.Load, url.Values{"load": {t.Load}})
			add("case", t.Case, t.Case, url.Values{"case": {t.Case}})
			add("list", t.List, fmt.Sprintf("%s, %s %d", t.List, words.T("board.version"), t.Version),
				url.Values{"list": {t.List}, "version": {strconv.FormatInt(t.Version, 10)}})
			add("bag", t.BagLot, t.BagLot, url.Values{"bag": {t.BagLot}})
			for _, n := range t.Seals {
				first, last := batch(n)
				add("seal", first, first+"–"+last, url.Values{"seal": {first}, "last": {last}})
			}
			for _, l := range t.Links {
				if l.State == projections.LinkThere &&
					(l.Kind == events.KindSetPacked || l.Kind == events.KindSetOpened) {
					add("station", l.Place, l.Place,
						url.Values{"station": {l.Place}, "from": {rfc3339(l.At.Add(-12 * time.Hour))},
							"to": {rfc3339(l.At.Add(12 * time.Hour))}})
				}
			}
		}
	}
}

// batch returns the hundred that a seal's number is in: seals come in bags of a
// hundred (common practice, no source). A number with letters stands alone.
func batch(n string) (first, last string) {
	if len(n) < 3 || strings.Trim(n[len(n)-2:], "0123456789") != "" {
		return n, n
	}
	return n[:len(n)-2] + "00", n[:len(n)-2] + "99"
}

func touchedTable(words *shell.Words, b *touchedBody) *table {
	t := newTable(words, "touched", "board.touched-table", "do", "set", "list", "where", "last-seen", "load", "case",
		"opened-at", "status", "trip")
	add := func(group string, sets []touchedSet) {
		for _, s := range sets {
			t.add(text(words.T("board.do-"+group)), text(s.Verdict.Set).to(tripLink(s.Verdict.Set, s.Verdict.Trip)),
				text(s.Trace.List), text(words.Place(s.Verdict.Where)), when(words, s.Verdict.Since),
				text(s.Trace.Load).to(loadLink(s.Trace.Load)), text(s.Verdict.Case).to(caseLink(s.Verdict.Case)),
				when(words, s.Opened), text(words.T("shell.status-"+string(s.Verdict.Status))), text(s.Verdict.Trip))
		}
	}
	add("hold", b.Hold)
	add("used", b.Used)
	add("again", b.Again)
	return t
}

// recallPDF is the list on paper.
func (p *pages) recallPDF(w http.ResponseWriter, r *http.Request) {
	words := p.sh.Words(r)
	r, err := p.atMoment(r, words)
	if err != nil {
		p.refuse(w, r, words, err)
		return
	}
	a, err := p.touchedPage(r, words)
	if err != nil {
		p.refuse(w, r, words, err)
		return
	}
	b := a.body.(*touchedBody)
	if b.Table == nil {
		p.refuse(w, r, words, refuse(http.StatusBadRequest, "say what the sets share, for example load=S2-0302-04"))
		return
	}
	raw, err := p.writeRecall(words, b)
	if err != nil {
		p.refuse(w, r, words, err)
		return
	}
	w.Header().Set("Content-Type", "application/pdf")
	w.Header().Set("Content-Disposition", `inline; filename="recall.pdf"`)
	w.Write(raw) // a client that has gone away needs no answer
}
