package board

import (
	"context"
	"encoding/base64"
	"html/template"
	"maps"
	"net/http"
	"net/url"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/go-json-experiment/json"

	"listbound/cmd/internal/shell"
	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections"
	"listbound/projections/readmodel"
	"listbound/projections/ready"
)

// rowsOnPage is how many sets one page of the board shows.
const rowsOnPage = 40

// exportedRows bounds a table that is taken away whole.
const exportedRows = 20000

// boardBody is what the board's page shows.
type boardBody struct {
	Rows      []boardRow
	Stations  []projections.Verdict // with findings on their own records
	Claims    []claimed             // access in an emergency, of the last day
	Facets    []facet
	Counts    map[string]int
	Total     int // incidents of the filter, on Turns turns of sets
	Turns     int
	Acts      int // of them somebody can still do something about
	Share     int // the same in a hundred
	Closed    bool
	Records   int64
	Now       bool        // as known now
	Checked   *site.Check // by the background check
	Stamped   *site.TimestampState
	Registers string              // which ones the site does not hold to, "" where it holds to all
	Witnessed *site.WitnessReport // nil where nobody is asked
	Behind    int64               // how many records no verdict knows of
	Copied    *shell.Copied       // up to where a follower answers
	Filtered  bool
	Clear     string
	Next      string // the following page, "" on the last
	Begin     string // the first page, where this is a later one
	Unseen    bool
	Wanted    bool // only sets that a case waits for, the soonest first
	Table     *table

	again  bool // the rows are asked for alone
	wishes map[string]ready.Wish
	// standing are the incidents that filters count: those that are closed, or open, whatever they are filtered by.
	standing []projections.Incident
}

// boardRow is an incident, with each turn that it shows in and what is found there by its cause: the worst turn first.
type boardRow struct {
	readmodel.BoardRow
	Others   []readmodel.BoardRow
	Incident *projections.Incident
	Habit    *habit // what rooms did not read at their openings; nil of anything else
	Group    string // what has not been opened yet, is in use, is over
	Head     bool   // first of its group on the page
	Seen     bool
	Wish     *ready.Wish   // the case that waits for one of the sets first, nil for none
	HTML     template.HTML // as it stands in the page; empty where it has another form
}

// Sets are all of a row.
func (r boardRow) Sets() []readmodel.BoardRow {
	return append([]readmodel.BoardRow{r.BoardRow}, r.Others...)
}

// facet is one filter with its choices.
type facet struct {
	Name    string // of the parameter
	Choices []choice
	All     string // address without this filter
	Active  bool
}

type choice struct {
	Value, Label string
	N            int
	Address      string
	Active       bool
}

// age is a choice of how long ago the last observation was.
type age struct {
	name     string
	from, to time.Duration // ago; 0: no bound
}

var ages = []age{{"8h", 8 * time.Hour, 0}, {"24h", 24 * time.Hour, 0}, {"7d", 7 * 24 * time.Hour, 0},
	{"older", 0, 7 * 24 * time.Hour}}

// filterNames are the parameters that say which rows are meant.
var filterNames = []string{"code", "list", "placement", "station", "site", "age", "unseen", "wanted", "closed"}

func (p *pages) filter(v url.Values, now time.Time) (readmodel.BoardFilter, error) {
	f := readmodel.BoardFilter{Site: v.Get("site"), List: v.Get("list"), Code: v.Get("code"),
		Placement: v.Get("placement"),
		Station:   v.Get("station"), Unseen: v.Get("unseen") == "1"}
	if f.Code != "" && !slices.Contains(projections.Codes(), projections.Code(f.Code)) {
		return f, refuse(http.StatusBadRequest, "%q is not a finding", f.Code)
	}
	if name := v.Get("age"); name != "" {
		i := slices.IndexFunc(ages, func(a age) bool { return a.name == name })
		if i < 0 {
			return f, refuse(http.StatusBadRequest, "age %q is not one of 8h, 24h, 7d, older", name)
		}
		if ages[i].from > 0 {
			f.Since = now.Add(-ages[i].from)
		}
		if ages[i].to > 0 {
			f.Until = now.Add(-ages[i].to)
		}
	}
	return f, nil
}

// withoutRegister says which registers the site does not hold to, "" where it holds to all.
func withoutRegister(ctx context.Context, m *site.View, words *shell.Words) (string, error) {
	held, err := m.HeldTo(ctx)
	var not []string
	for _, r := range events.Registers() {
		if !slices.Contains(held, r) {
			not = append(not, words.T("workplace.register-"+string(r)))
		}
	}
	switch {
	case err != nil || len(not) == 0:
		return "", err
	case len(held) == 0:
		return words.T("board.registers-none"), nil
	}
	return words.T("board.registers-some", words.Language().List(not)), nil
}

func (p *pages) boardPage(r *http.Request, words *shell.Words) (*answer, error) {
	q := r.URL.Query()
	now := p.now(r)
	f, err := p.filter(q, now)
	if err != nil {
		return nil, err
	}
	after, err := parseCursor[incidentCursor](q.Get("after"))
	if err != nil {
		return nil, err
	}
	if err := switches(q, words); err != nil {
		return nil, err
	}
	b := &boardBody{
		Records: p.site.Size(), Unseen: f.Unseen, Counts: make(map[string]int),
		Wanted: q.Get("wanted") == "1", Closed: q.Get("closed") == "1", again: q.Get("part") == "rows",
	}
	b.ofNow(p, asOf(r), words)
	limit := rowsOnPage
	if q.Get("format") != "" || b.Wanted { // a table is taken away whole; what is waited for stands in an order of its own
		limit, after = exportedRows, nil
	}
	var rows []boardRow
	var claims []int64
	err = p.ask(r, func(m *site.View) error {
		if !b.Now {
			b.Records = m.Position()
		}
		if b.wishes, err = p.wishes.ask(r.Context(), m, now); err != nil {
			return err
		}
		if b.Wanted {
			f.Unopened, f.Sets = true, wantedSets(b.wishes)
		}
		if rows, err = laidOutNow(r.Context(), m, shownOfHabit(q), func() ([]projections.Incident, error) {
			ins, err := b.incidents(r.Context(), m, f, q)
			return pageOf(ins, after, limit+1), err
		}); err != nil {
			return err
		}
		if claims, err = m.ClaimsSince(r.Context(), now.Add(-claimsShown)); err != nil {
			return err
		}
		return b.beside(r, m, f, words)
	})
	if err != nil {
		return nil, err
	}
	if b.Claims, err = p.claims(words, claims); err != nil {
		return nil, err
	}
	b.fill(rows, q, limit)
	var taken []boardRow
	if r.FormValue("format") != "" {
		taken = b.Rows
	} else if err := p.write(b.Rows, words); err != nil { // the page has the table's addresses alone
		return nil, err
	}
	b.Table = boardTable(taken, b.wishes, words)
	a := &answer{template: "board", title: words.T("board.title"), wide: true, live: true, copied: true, body: b, tables: []*table{b.Table}}
	if b.again {
		a.template = "board-rows"
	}
	return a, nil
}

// switches refuses what is neither on nor off.
func switches(q url.Values, words *shell.Words) error {
	for _, name := range []string{"unseen", "wanted", "closed"} {
		if v := q.Get(name); v != "" && v != "0" && v != "1" {
			return refuse(http.StatusBadRequest, "%s", words.T("board.one-or-none", name, v))
		}
	}
	return nil
}

// shownOfHabit is how many turns of a habit are laid out: all in a table that is taken away.
func shownOfHabit(q url.Values) int {
	if q.Get("format") != "" {
		return -1
	}
	return setsOfHabit
}

// ofNow fills in what is known of the ledger now, and nothing of it on a page as of an earlier moment.
func (b *boardBody) ofNow(p *pages, at time.Time, words *shell.Words) {
	if b.Now = at.IsZero(); b.Now {
		b.Copied = p.sh.CopiedIn(words)
		b.Behind, b.Checked, b.Witnessed, b.Stamped = p.site.Behind(), p.site.Checked(), p.site.Witnesses(), p.site.Timestamps()
	}
}

// beside asks for what stands below the rows, what is found of stations' own records; and for what stands beside them, which a
// board that looks again leaves as it is: how many there are, and what else is to be seen.
func (b *boardBody) beside(r *http.Request, m *site.View, f readmodel.BoardFilter, words *shell.Words) (err error) {
	if b.Stations, err = m.StationVerdicts(r.Context()); err != nil {
		return err
	}
	if err := m.TellKnown(r.Context(), time.Time{}, b.Stations); err != nil || b.again {
		return err
	}
	if b.Registers, err = withoutRegister(r.Context(), m, words); err != nil {
		return err
	}
	counts, err := m.Status(r.Context())
	if err != nil {
		return err
	}
	for status, n := range counts {
		b.Counts[string(status)] = n
	}
	b.Facets, err = b.facets(r, m, f, words)
	return err
}

func (b *boardBody) fill(rows []boardRow, q url.Values, limit int) {
	for _, name := range filterNames {
		b.Filtered = b.Filtered || q.Get(name) != ""
	}
	b.Clear = "/"
	if len(rows) > limit {
		next := keep(q, filterNames...)
		next.Set("after", formatCursor(placeOf(rows[limit-1].Incident)))
		b.Next = address("/", next)
		rows = rows[:limit]
	}
	if q.Get("after") != "" {
		b.Begin = address("/", keep(q, filterNames...))
	}
	last := ""
	for i := range rows {
		x := &rows[i]
		x.Group, x.Seen = x.group(), len(x.Others)+1 >= len(x.Incident.Members)
		x.Head, last = x.Group != last, x.Group
		for _, r := range x.Sets() {
			x.Seen = x.Seen && !slices.ContainsFunc(r.Findings, unseen)
			if w := wishOf(b.wishes, &r.Verdict); w != nil && (x.Wish == nil || w.Start.Before(x.Wish.Start)) {
				x.Wish = w
			}
		}
	}
	b.Rows = rows
}

func unseen(f projections.Finding) bool {
	return f.Severity != projections.SeverityNoted && len(f.Acknowledged) == 0
}

// groupOf is of a turn with what is found of it by one cause.
func groupOf(v *projections.Verdict) string {
	switch {
	case projections.CameShort(v):
		return "came-short"
	case projections.Reused(v):
		return "reused"
	case v.Over && v.Opened:
		return "over"
	case v.Over:
		return "repacked"
	case v.Opened:
		return "in-use"
	}
	return "unopened"
}

// keep returns the named parameters that are set.
func keep(v url.Values, names ...string) url.Values {
	out := url.Values{}
	for _, n := range names {
		if s := v.Get(n); s != "" {
			out.Set(n, s)
		}
	}
	return out
}

func with(v url.Values, name, value string) url.Values {
	out := keep(v, filterNames...)
	out.Del(name)
	if value != "" {
		out.Set(name, value)
	}
	return out
}

func address(path string, v url.Values) string {
	if len(v) == 0 {
		return path
	}
	return path + "?" + v.Encode()
}

// tallier counts the board's rows, which are incidents, by what their turns have.
type tallier struct {
	ins []projections.Incident
	of  map[projections.TripKey][]int // the incidents that a turn is in
}

func newTallier(ins []projections.Incident) *tallier {
	t := &tallier{ins: ins, of: make(map[projections.TripKey][]int)}
	for i := range ins {
		for _, x := range ins[i].Members {
			t.of[x.TripKey] = append(t.of[x.TripKey], i)
		}
	}
	return t
}

// count counts the incidents that are shown for each value, the most first; with a code, only those with a finding of it.
func (t *tallier) count(values []readmodel.BoardValue, isCode bool, code string) []readmodel.Tally {
	type shown struct {
		value string
		at    int
	}
	seen, n := make(map[shown]bool), make(map[string]int)
	for _, v := range values {
		want := projections.Code(code)
		if isCode {
			want = projections.Code(v.Value)
		}
		for _, i := range t.of[v.Key] {
			if x := (shown{v.Value, i}); !seen[x] && (want == "" || slices.Contains(t.ins[i].Codes, want)) {
				seen[x] = true
				n[v.Value]++
			}
		}
	}
	var out []readmodel.Tally
	for _, value := range slices.Sorted(maps.Keys(n)) {
		out = append(out, readmodel.Tally{Value: value, N: n[value]})
	}
	slices.SortStableFunc(out, func(a, b readmodel.Tally) int { return b.N - a.N })
	return out
}

func (b *boardBody) facets(r *http.Request, m *site.View, f readmodel.BoardFilter, words *shell.Words) ([]facet, error) {
	var out []facet
	q, rows := r.URL.Query(), newTallier(b.standing)
	for _, name := range []string{"code", "list", "placement", "station", "site"} {
		values, err := m.BoardValues(r.Context(), f, name)
		if err != nil {
			return nil, err
		}
		tallies := rows.count(values, name == "code", f.Code)
		x := facet{Name: name, All: address("/", with(q, name, "")), Active: q.Get(name) != ""}
		for _, t := range tallies {
			if t.Value == "" {
				continue
			}
			c := choice{Value: t.Value, Label: t.Value, N: t.N, Address: address("/", with(q, name, t.Value)),
				Active: q.Get(name) == t.Value}
			switch name {
			case "code":
				c.Label = words.Code(projections.Code(t.Value))
			case "placement":
				c.Label = words.T("board.placement-" + t.Value)
			}
			x.Choices = append(x.Choices, c)
		}
		if len(x.Choices) > 1 || x.Active {
			out = append(out, x)
		}
	}
	x := facet{Name: "age", All: address("/", with(q, "age", "")), Active: q.Get("age") != ""}
	for _, a := range ages {
		x.Choices = append(x.Choices, choice{Value: a.name, Label: words.T("board.age-" + a.name), N: -1,
			Address: address("/", with(q, "age", a.name)), Active: q.Get("age") == a.name})
	}
	return append(out, x), nil
}

// A cursor is base64url of JSON: nobody types it, and its form may change.
func formatCursor(c any) string {
	raw, err := json.Marshal(c)
	if err != nil {
		return ""
	}
	return base64.RawURLEncoding.EncodeToString(raw)
}

func parseCursor[C incidentCursor | readmodel.BoardCursor](s string) (*C, error) {
	if s == "" {
		return nil, nil
	}
	raw, err := base64.RawURLEncoding.DecodeString(s)
	c := new(C)
	if err == nil {
		err = json.Unmarshal(raw, c)
	}
	if err != nil {
		return nil, refuse(http.StatusBadRequest, "the address of this page is cut off; begin again at the board")
	}
	return c, nil
}

func boardTable(rows []boardRow, wishes map[string]ready.Wish, words *shell.Words) *table {
	t := newTable(words, "board", "board.title", "set", "trip", "status", "stage", "finding", "says", "next", "since",
		"where", "list", "placement", "station", "case", "others", "seen-by",
		"wanted-by", "begins", "code", "way", "detail", "doubted", "opened-at", "incident", "state", "owner", "due")
	t.Rows = slices.Concat(atOnce(rows, func(row *boardRow) (out [][]cell) {
		for _, r := range row.Sets() {
			group := groupOf(&r.Verdict)
			if row.Incident.Habit != nil {
				group = row.group()
			}
			out = append(out, append(boardCells(&r, group, wishes, words), incidentCells(row.Incident, words)...))
		}
		return out
	})...)
	return t
}

// atOnce makes something of each of many on all processors: the sentences of ten thousand rows are a second's work.
func atOnce[T, R any](of []T, make1 func(*T) R) []R {
	out := make([]R, len(of))
	const least = 500 // for each
	parts := max(1, min(runtime.GOMAXPROCS(0), len(of)/least))
	var wg sync.WaitGroup
	for n := range parts {
		wg.Go(func() {
			for i := n; i < len(of); i += parts {
				out[i] = make1(&of[i])
			}
		})
	}
	wg.Wait()
	return out
}

func boardCells(r *readmodel.BoardRow, group string, wishes map[string]ready.Wish, words *shell.Words) []cell {
	f := first(r.Findings)
	told := words.Finding(f)
	var wantedBy, begins, doubted, openedAt cell
	if u := r.UsedInDoubt; u != nil {
		doubted, openedAt = when(words, u.Since), when(words, u.Opened)
	}
	if w := wishOf(wishes, &r.Verdict); w != nil {
		wantedBy, begins = text(strings.TrimSpace(w.Room+" "+w.Case)), when(words, w.Start)
	}
	var seen []string
	for _, x := range r.Findings {
		for _, a := range x.Acknowledged {
			if !slices.Contains(seen, a.By) {
				seen = append(seen, a.By)
			}
		}
	}
	return []cell{text(r.Set).to(tripLink(r.Set, "")), text(r.Trip).to(tripLink(r.Set, r.Trip)),
		text(words.T("shell.status-" + string(r.Status))), text(words.T("board.group-" + group)),
		text(words.Code(f.Code)), text(told.Says), text(told.Next),
		when(words, knownSince(&r.Verdict)), text(words.Place(r.Where)), text(r.List), placement(words, r.Placement),
		text(r.AtStation), text(r.Case).to(caseLink(r.Case)), text(strconv.Itoa(more(r.Findings))), text(strings.Join(seen, ", ")),
		wantedBy, begins, text(string(f.Code)), text(f.Way), text(detailOf(f)), doubted, openedAt}
}

func incidentCells(in *projections.Incident, words *shell.Words) []cell {
	return []cell{text(in.Key).to(incidentLink(in.Key)), text(words.T("board.incident-" + string(in.State))),
		text(in.Assignee()), when(words, in.DueBy)}
}

// detailOf is a finding's detail as programs read it, whatever the page's language.
func detailOf(f *projections.Finding) string {
	raw, err := json.Marshal(f.Detail)
	if err != nil {
		return ""
	}
	return string(raw)
}

// knownSince is when what a row says of a verdict was first known here.
func knownSince(v *projections.Verdict) time.Time {
	if f := first(v.Findings); f != nil {
		return f.Known
	}
	return time.Time{}
}

// Key names the row in the page, so that a changed row takes its own place.
func (r boardRow) Key() string { return "i-" + r.Incident.Key }

func placement(words *shell.Words, s string) cell {
	if s == "" {
		return text("")
	}
	return text(words.T("board.placement-" + s))
}
