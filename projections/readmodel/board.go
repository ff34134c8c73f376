package readmodel

import (
	"context"
	"database/sql"
	"fmt"
	"hash/maphash"
	"slices"
	"strings"
	"time"

	"github.com/go-json-experiment/json"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
	"listbound/projections/judge"
	"listbound/projections/rates"
)

// judged is a verdict with what the board says of a trip besides.
type judged struct {
	projections.Verdict
	trace projections.Trace // only of a broken or doubtful one
	open  *rates.Opening    // nil where nobody has opened the set
	rests []rest            // what the verdict asked for
	none  bool              // no fact belongs to it, or none does any more
}

func (m *Model) judgeTrip(w *judge.World, k projections.TripKey) (judged, error) {
	v, asks, err := w.JudgeAsking(k)
	return withTrip(w, k, v, asks, err)
}

// judgeHeld is judgeTrip where facts may have been let go.
func judgeHeld(w *judge.World, k projections.TripKey) (j judged, n needed, err error) {
	n.TripKey = k
	var v projections.Verdict
	v, n.Needed, err = w.JudgeNeeding(k)
	lacks := w.Lacking(func() { j, err = withTrip(w, k, v, n.Asks, err) })
	n.Lacks = n.Lacks || lacks
	return j, n, err
}

func withTrip(w *judge.World, k projections.TripKey, v projections.Verdict, asks []facts.Ask, err error) (judged, error) {
	j := judged{Verdict: v, rests: restsOf(k, asks), none: len(w.Trip(k).All) == 0, open: openingOf(w.Trip(k))}
	if err == nil && onBoard(&v) {
		j.trace, err = w.Trace(k)
	}
	return j, err
}

func onBoard(v *projections.Verdict) bool {
	return v.Status == projections.Broken || v.Status == projections.Doubtful
}

func seen(v *projections.Verdict) bool {
	for _, f := range v.Findings {
		if f.Severity != projections.SeverityNoted && len(f.Acknowledged) == 0 {
			return false
		}
	}
	return true
}

func (v verdictWriter) board(j *judged, was *written) error {
	k := projections.TripKey{Set: j.Set, Trip: j.Trip}
	if !onBoard(&j.Verdict) {
		if v.fresh || was != nil && !was.board {
			return nil
		}
		v.w.touch(k)
		return v.w.exec(deleteBoard, j.Set, idBytes(j.Trip))
	}
	if v.fresh {
		v.w.filled = true
	} else {
		v.w.touch(k)
	}
	handled, err := handledOf(&j.Verdict)
	if err != nil {
		return err
	}
	return v.w.exec(`INSERT OR REPLACE INTO board (set_id, trip, worst, since, list, placement, station, seen, causes, handled)
			VALUES (?,?,?,?,?,?,?,?,?,?)`, j.Set, idBytes(j.Trip), projections.Rank(&j.Verdict),
		unixNano(j.Since), j.trace.List, string(j.trace.Placement), j.trace.Station, seen(&j.Verdict),
		causesOf(&j.Verdict), handled)
}

// The kinds of mark.
const (
	markSeal  = "seal"
	markSaid  = "said" // the number of a lock that a correction puts in place
	markShort = "short"
	markBag   = "bag"
	markTag   = "tag"
)

// insertMarks files what stands on the outside of sealed sets.
func insertMarks(ctx context.Context, w *writer, added []facts.Fact) error {
	return w.insertAll(ctx, `INSERT INTO marks (what, mark, seq) VALUES `, 3, func(yield func([]any) bool) {
		for _, f := range added {
			if f.Event == nil {
				continue
			}
			if d, ok := f.Event.Data.(*events.SetEntered); ok {
				for _, tag := range d.Tags {
					if !yield([]any{markTag, tag, f.Seq}) {
						return
					}
				}
			}
			if c, ok := f.Event.Data.(*events.EventCorrected); ok {
				for _, s := range locksSaid(c) {
					if !yield([]any{markSaid, s, f.Seq}) {
						return
					}
				}
			}
			d, ok := f.Event.Data.(*events.ListSealed)
			if !ok {
				continue
			}
			for _, s := range d.Seals {
				if !yield([]any{markSeal, s, f.Seq}) {
					return
				}
			}
			if d.BagLot != "" && !yield([]any{markBag, d.BagLot, f.Seq}) {
				return
			}
			if c, err := events.ParseSheetCode(d.Code); err == nil && !yield([]any{markShort, c.Short(), f.Seq}) {
				return
			}
		}
	})
}

// locksSaid are the numbers of locks that a correction of a closing puts in place. Nothing else has a placement.
func locksSaid(c *events.EventCorrected) []string {
	var d struct {
		Placement string   `json:"placement"`
		Seals     []string `json:"seals"`
	}
	if len(c.Data) == 0 || json.Unmarshal(c.Data, &d) != nil || d.Placement == "" {
		return nil
	}
	return d.Seals
}

// BoardFilter says which of the broken and doubtful trips are meant. Empty
// members ask for nothing.
type BoardFilter struct {
	Site, List, Code, Placement, Station string
	// Since and Until bound the last observation: Since <= it < Until.
	Since, Until time.Time
	Unseen       bool // with a finding nobody has acknowledged
	Unopened     bool // still closed, and not packed again: only the turns of Sets
	Sets         []string
	Turns        []projections.TripKey // no others; nil: any
}

// BoardCursor is a place in the board's order. The next page begins after it,
// whatever has been put in before it meanwhile.
type BoardCursor struct {
	Worst, Since int64
	Key          projections.TripKey
}

var sumSeed = maphash.MakeSeed()

// BoardRow is one trip on the board.
type BoardRow struct {
	projections.Verdict
	List      string
	Placement string
	AtStation string // of the last observation
	Place     BoardCursor
	Sum       uint64 // of the verdict as it is kept, as long as this program runs
}

// where is the condition on the board's rows b.
func (f BoardFilter) where() (string, []any) { return f.whereOf("b") }

func (f BoardFilter) whereOf(table string) (string, []any) {
	conds, args := []string{"1"}, []any{}
	add := func(c string, a ...any) {
		conds, args = append(conds, strings.ReplaceAll(c, "b.", table+".")), append(args, a...)
	}
	for _, x := range []struct{ column, value string }{
		{"list", f.List}, {"placement", f.Placement}, {"station", f.Station},
	} {
		if x.value != "" {
			add("b."+x.column+" = ?", x.value)
		}
	}
	if f.Site != "" {
		add("b.station >= ? AND b.station < ?", f.Site+"/", f.Site+"0") // '0' follows '/'
	}
	if f.Code != "" {
		add("EXISTS (SELECT 1 FROM findings f WHERE f.set_id = b.set_id AND f.trip = b.trip AND f.code = ? AND "+
			"f.severity <> 'noted')", f.Code)
	}
	if !f.Since.IsZero() {
		add("b.since >= ?", nanos(f.Since))
	}
	if !f.Until.IsZero() {
		add("b.since < ?", nanos(f.Until))
	}
	if f.Unseen {
		add("b.seen = 0")
	}
	if f.Turns != nil {
		keys := make([]string, len(f.Turns))
		for i, k := range f.Turns {
			keys[i] = fmt.Sprintf("%s\x1f%X", k.Set, idBytes(k.Trip))
		}
		raw, _ := json.Marshal(keys) // of text
		add("b.set_id || char(31) || hex(b.trip) IN (SELECT value FROM json_each(?))", string(raw))
	}
	if f.Unopened {
		names := make([]any, len(f.Sets))
		for i, s := range f.Sets {
			names[i] = s
		}
		add("b.set_id IN (NULL"+strings.Repeat(", ?", len(names))+")", names...)
		add("EXISTS (SELECT 1 FROM trips n WHERE n.set_id = b.set_id AND n.trip = b.trip AND n.opened = 0)")
	}
	return strings.Join(conds, " AND "), args
}

// Board returns a page of the board, worst first: every trip in a row of its own.
func (m *Model) Board(ctx context.Context, f BoardFilter, after *BoardCursor, limit int) ([]BoardRow, error) {
	where, args := f.where()
	return m.boardRows(ctx, where, args, after, limit)
}

func (m *Model) boardRows(ctx context.Context, where string, args []any, after *BoardCursor, limit int) ([]BoardRow, error) {
	if after != nil {
		where += ` AND (b.worst, -b.since, b.set_id, b.trip) > (?, ?, ?, ?)`
		args = append(args, after.Worst, -after.Since, after.Key.Set, idBytes(after.Key.Trip))
	}
	args = append(args, limit)
	return scanBoard(m.read.QueryContext(ctx, boardRow+where+` ORDER BY b.worst, b.since DESC, b.set_id, b.trip LIMIT ?`, args...))
}

const boardRow = `SELECT b.worst, b.since, b.list, b.placement, b.station, t.verdict
	FROM board b CROSS JOIN trips t ON t.set_id = b.set_id AND t.trip = b.trip WHERE `

func scanBoard(rows *sql.Rows, err error) ([]BoardRow, error) {
	if err != nil {
		return nil, fmt.Errorf("read model: %w", err)
	}
	defer rows.Close()
	var out []BoardRow
	for rows.Next() {
		var r BoardRow
		var raw sql.RawBytes
		if err := rows.Scan(&r.Place.Worst, &r.Place.Since, &r.List, &r.Placement, &r.AtStation, &raw); err != nil {
			return nil, fmt.Errorf("read model: %w", err)
		}
		if err := json.Unmarshal(raw, &r.Verdict); err != nil {
			return nil, fmt.Errorf("read model: verdict: %w", err)
		}
		r.Sum = maphash.Bytes(sumSeed, raw)
		r.Place.Key = projections.TripKey{Set: r.Set, Trip: r.Trip}
		out = append(out, r)
	}
	return out, rows.Err()
}

// Tally is how many trips on the board have one value.
type Tally struct {
	Value string
	N     int
}

// BoardTallies counts the trips on the board by one of: code, list, placement,
// station, site. The filter's own value of that kind is set aside, so that the
// other choices stay in sight.
func (m *Model) BoardTallies(ctx context.Context, f BoardFilter, by string) ([]Tally, error) {
	from, value, f, err := f.without(by)
	if err != nil {
		return nil, err
	}
	where, args := f.where()
	q := `SELECT ` + value + `, count(*) ` + from + ` WHERE ` + where + ` GROUP BY 1 ORDER BY 2 DESC, 1`
	if by == "code" { // a trip may have one finding twice
		q = `SELECT v, count(*) FROM (SELECT DISTINCT ` + value + ` AS v, b.set_id, b.trip ` + from + ` WHERE ` + where + `)
			GROUP BY v ORDER BY 2 DESC, 1`
	}
	rows, err := m.read.QueryContext(ctx, q, args...)
	return scanAll(rows, err, func(t *Tally) []any { return []any{&t.Value, &t.N} })
}

// without says where a filter's own value of one kind stands, and is the filter without that.
func (f BoardFilter) without(by string) (from, value string, _ BoardFilter, err error) {
	from = `FROM board b`
	switch by {
	case "code":
		f.Code = ""
		from, value = `FROM board b CROSS JOIN findings g ON g.set_id = b.set_id AND g.trip = b.trip AND g.severity <> 'noted'`, "g.code"
	case "list":
		f.List, value = "", "b.list"
	case "placement":
		f.Placement, value = "", "b.placement"
	case "station":
		f.Station, value = "", "b.station"
	case "site":
		f.Site, value = "", "substr(b.station, 1, instr(b.station, '/') - 1)"
	default:
		err = fmt.Errorf("the board is not counted by %q", by)
	}
	return from, value, f, err
}

// BoardValue is a turn on the board with what it has of that which the board is counted by.
type BoardValue struct {
	Value string
	Key   projections.TripKey
}

// BoardValues returns what BoardTallies counts, turn by turn, for who counts something else by it.
func (m *Model) BoardValues(ctx context.Context, f BoardFilter, by string) ([]BoardValue, error) {
	from, value, f, err := f.without(by)
	if err != nil {
		return nil, err
	}
	where, args := f.where()
	rows, err := m.read.QueryContext(ctx, `SELECT `+value+`, b.set_id, b.trip `+from+` WHERE `+where, args...)
	if err != nil {
		return nil, fmt.Errorf("read model: %w", err)
	}
	defer rows.Close()
	var out []BoardValue
	for rows.Next() {
		var v BoardValue
		var trip []byte
		if err := rows.Scan(&v.Value, &v.Key.Set, &trip); err != nil {
			return nil, fmt.Errorf("read model: %w", err)
		}
		v.Key.Trip = idString(trip)
		out = append(out, v)
	}
	return out, rows.Err()
}

// BoardCount counts the trips on the board.
func (m *Model) BoardCount(ctx context.Context, f BoardFilter) (int, error) {
	where, args := f.where()
	var n int
	err := m.read.QueryRowContext(ctx, `SELECT count(*) FROM board b WHERE `+where, args...).Scan(&n)
	if err != nil {
		return 0, fmt.Errorf("read model: %w", err)
	}
	return n, nil
}

// JudgedTrip returns a set that a trip was judged for, also where no packing of
// it is recorded; ok is false where nobody knows it.
func (m *Model) JudgedTrip(ctx context.Context, trip string) (set string, ok bool, err error) {
	if len(idBytes(trip)) == 0 {
		return "", false, nil
	}
	ks, err := m.keys(ctx, `SELECT set_id, trip FROM trips WHERE trip = ? ORDER BY set_id LIMIT 1`, idBytes(trip))
	if err != nil || len(ks) == 0 {
		return "", false, err
	}
	return ks[0].Set, true, nil
}

// StationVerdicts returns the verdicts on stations' own records that have findings.
func (m *Model) StationVerdicts(ctx context.Context) ([]projections.Verdict, error) {
	vs, err := m.verdictRows(ctx, `SELECT verdict FROM stations WHERE verdict IS NOT NULL ORDER BY name`)
	projections.Sort(vs)
	return vs, err
}

// Hit is something that a search found by what a person scanned or typed.
type Hit struct {
	What string // set, trip, case, load, list, station, badge, seal, bag
	ID   string
	Set  string // the set a trip, seal or code belongs to
	Trip string
	Seq  int64 // of the list.sealed, for a mark
	N    int   // records, for a badge
}

// hitsAtMost bounds each kind of hit.
const hitsAtMost = 20

// Find looks a text up as each thing it may name; begins also finds what only
// begins with it.
func (m *Model) Find(ctx context.Context, text string, begins bool) ([]Hit, error) {
	f := finder{m: m, ctx: ctx, text: text, upper: text + "\U0010FFFF", begins: begins}
	f.names("set", `SELECT DISTINCT set_id FROM trips WHERE set_id %s`)
	f.names("case", `SELECT DISTINCT case_ref FROM events WHERE case_ref IS NOT NULL AND case_ref %s`)
	f.names("load", `SELECT DISTINCT load FROM events WHERE load IS NOT NULL AND load %s`)
	f.names("list", `SELECT DISTINCT list FROM events WHERE kind IN ('list.issued', 'event.corrected') AND list %s`)
	f.names("station", `SELECT name FROM stations WHERE name %s`)
	f.names("badge", `SELECT DISTINCT mark FROM spans WHERE what IN ('badge', 'named') AND mark %s`)
	f.names("station", `SELECT name FROM stations WHERE instr(name, '/') > 0 AND substr(name, instr(name, '/') + 1) %s`)
	f.marks()
	f.trip()
	f.strange()
	return f.hits, f.err
}

type finder struct {
	m           *Model
	ctx         context.Context
	text, upper string
	begins      bool
	hits        []Hit
	err         error
}

func (f *finder) names(what, q string) {
	if f.err != nil {
		return
	}
	cond, args := "= ?1", []any{f.text}
	if f.begins {
		cond, args = "BETWEEN ?1 AND ?2", []any{f.text, f.upper}
	}
	found, err := f.m.texts(f.ctx, strings.ReplaceAll(q, "%s", cond)+fmt.Sprintf(" ORDER BY 1 LIMIT %d", hitsAtMost), args...)
	for _, id := range found {
		h := Hit{What: what, ID: id}
		if what == "set" {
			h.Set = id
		}
		f.hits = append(f.hits, h)
	}
	f.err = err
}

func (f *finder) marks() {
	if f.err != nil {
		return
	}
	rows, err := f.m.read.QueryContext(f.ctx, fmt.Sprintf(`SELECT m.what, m.mark, m.seq, e.subject, coalesce(e.trip, x'') FROM marks m
		JOIN events e ON e.seq = m.seq WHERE m.mark = ? AND m.what NOT IN ('bag', 'tag') ORDER BY m.seq DESC LIMIT %d`, hitsAtMost), f.text)
	type row struct {
		Hit
		trip []byte
	}
	found, err := scanAll(rows, err, func(r *row) []any { return []any{&r.What, &r.ID, &r.Seq, &r.Set, &r.trip} })
	if f.err = err; err != nil {
		return
	}
	for _, r := range found {
		r.Trip = idString(r.trip)
		f.hits = append(f.hits, r.Hit)
	}
	var bag int
	f.err = f.m.read.QueryRowContext(f.ctx,
		`SELECT count(*) FROM (SELECT 1 FROM marks WHERE mark = ? AND what = 'bag' LIMIT 1)`, f.text).Scan(&bag)
	if bag > 0 {
		f.hits = append(f.hits, Hit{What: markBag, ID: f.text})
	}
}

func (f *finder) trip() {
	if f.err != nil {
		return
	}
	set, ok, err := f.m.SetOfTrip(f.ctx, f.text)
	if f.err = err; ok {
		trip := idString(idBytes(f.text)) // however it was written
		f.hits = append(f.hits, Hit{What: "trip", ID: trip, Set: set, Trip: trip})
	}
}

// strange looks up what was seen on a set though nothing says that it belongs there: a lock that nobody sealed anything
// with. What was found of it names it; so nothing has to be kept of all that is read.
func (f *finder) strange() {
	if f.err != nil || f.begins || len(f.hits) > 0 {
		return
	}
	quoted := strings.NewReplacer("\\", "\\\\", "%", "\\%", "_", "\\_").Replace(f.text)
	keys, err := f.m.keys(f.ctx, fmt.Sprintf(`SELECT DISTINCT set_id, trip FROM findings WHERE code IN ('seal-differs', 'label-swapped')
		AND detail LIKE '%%"' || ? || '"%%' ESCAPE '\' ORDER BY trip DESC LIMIT %d`, hitsAtMost), quoted)
	for _, k := range keys {
		f.hits = append(f.hits, Hit{What: "strange", ID: f.text, Set: k.Set, Trip: k.Trip})
	}
	f.err = err
}

// CaseAt is a case as far as it was at one station.
type CaseAt struct {
	Case           string
	At             time.Time // its first opening there
	Sets, Troubled int       // opened there, and of them broken or doubtful
}

// CasesAt returns the cases for which sets were opened at a station, the last first.
func (m *Model) CasesAt(ctx context.Context, station string, limit int) ([]CaseAt, error) {
	rows, err := m.query(ctx, `SELECT t.case_ref, min(o.at), count(*), sum(t.status IN ('broken', 'doubtful')) FROM openings o
		JOIN trips t USING (set_id, trip) WHERE o.station = ? AND t.case_ref IS NOT NULL GROUP BY 1 ORDER BY 2 DESC LIMIT ?`, station, limit)
	type row struct {
		CaseAt
		at int64
	}
	found, err := scanAll(rows, err, func(r *row) []any { return []any{&r.Case, &r.at, &r.Sets, &r.Troubled} })
	var out []CaseAt
	for _, r := range found {
		r.At = time.Unix(0, r.at).UTC()
		out = append(out, r.CaseAt)
	}
	return out, err
}

// LastPacked is when a badge last packed a set, zero where it never did.
func (m *Model) LastPacked(ctx context.Context, badge string) (time.Time, error) {
	rows, err := m.query(ctx, `SELECT e.observed FROM `+inSpans["badge"]+` AND e.kind = 'set.packed'
		ORDER BY s.span DESC, e.seq DESC LIMIT 1`, badge)
	found, err := scanAll(rows, err, func(at *int64) []any { return []any{at} })
	if err != nil || len(found) == 0 {
		return time.Time{}, err
	}
	return time.Unix(0, found[0]).UTC(), nil
}

// Shares returns the trips that share one thing: what is load, sterilizer,
// list (key is list@version or list), bag, seals (key is from-to), station. From and
// to bound the sharing event's observed time (zero: no bound).
func (m *Model) Shares(ctx context.Context, what, key string, from, to time.Time, limit int) ([]projections.TripKey, error) {
	lo, hi := bounds(from, to)
	sel := `SELECT DISTINCT e.subject, ` + tripOf + ` FROM `
	const window = ` AND e.observed BETWEEN ?2 AND ?3 ORDER BY e.observed DESC LIMIT ?4`
	switch what {
	case "load":
		return m.keys(ctx, sel+`events e WHERE e.load = ?1 AND e.kind = 'set.sterilized'`+window, key, lo, hi, limit)
	case "sterilizer":
		return m.keys(ctx, sel+`events e WHERE e.sterilizer = ?1 AND e.kind = 'set.sterilized'`+window, key, lo, hi, limit)
	case "list":
		return m.keys(ctx, sel+`events e WHERE e.list = ?1 AND e.kind = 'set.packed'`+window, key, lo, hi, limit)
	case "bag":
		return m.keys(ctx,
			sel+`marks m CROSS JOIN events e ON e.seq = m.seq WHERE m.mark = ?1 AND m.what = 'bag'`+window, key, lo, hi, limit)
	case "packer":
		return m.keys(ctx, sel+inSpans["badge"]+` AND e.kind = 'set.packed' AND e.observed BETWEEN ?2 AND ?3
			ORDER BY s.span DESC, e.seq DESC LIMIT ?4`, key, lo, hi, limit)
	case "station", "badge":
		return m.keys(ctx,
			sel+inSpans[what]+` AND e.kind IN `+kindsOfSet+` AND e.observed BETWEEN ?2 AND ?3
				ORDER BY s.span DESC, e.seq DESC LIMIT ?4`, key, lo, hi, limit)
	}
	return nil, fmt.Errorf("nothing is shared by %q", what)
}

// tripOf is the trip of an event e, as SQL has it: its own, else that of the set's
// last packing at or before it.
const tripOf = `coalesce(e.trip, (SELECT p.trip FROM events p WHERE p.subject = e.subject AND p.kind = 'set.packed'
	AND p.trip IS NOT NULL AND p.observed <= e.observed ORDER BY p.observed DESC, p.id DESC LIMIT 1), x'')`

// SharesSeals returns the trips sealed with a number from first to last. Numbers
// of one batch have one length and go up, so they are compared as texts of that length.
func (m *Model) SharesSeals(ctx context.Context, first, last string, limit int) ([]projections.TripKey, error) {
	return m.keys(ctx, `SELECT DISTINCT e.subject, coalesce(e.trip, x'') FROM marks m CROSS JOIN events e ON e.seq = m.seq
		WHERE m.mark BETWEEN ?1 AND ?2 AND length(m.mark) = ?3 AND m.what = 'seal'
		ORDER BY e.observed DESC LIMIT ?4`, first, last, len(first), limit)
}

// inSpans joins a station's or a badge's stretches of records, from the last
// backwards, so that a limit ends the look early. '?1' is the key.
var inSpans = map[string]string{
	"station": `spans s CROSS JOIN events e ON e.seq BETWEEN s.span * 1024 + 1 AND s.span * 1024 + 1024
		WHERE s.what = 'station' AND s.mark = ?1 AND e.station = ?1`,
	"badge": `spans s CROSS JOIN events e ON e.seq BETWEEN s.span * 1024 + 1 AND s.span * 1024 + 1024
		WHERE s.what = 'badge' AND s.mark = ?1 AND e.operator = ?1`,
}

// spanLen is the number of records in a stretch; the queries above have it too.
const spanLen = 1024

// insertSpans files in which stretches the batch's stations and badges occur.
func insertSpans(ctx context.Context, w *writer, added []facts.Fact) error {
	return w.insertAll(ctx, `INSERT OR IGNORE INTO spans (what, mark, span) VALUES `, 3, func(yield func([]any) bool) {
		var places []place
		for _, f := range added {
			if f.Event == nil {
				continue
			}
			span := (f.Seq - 1) / spanLen
			places = append(places[:0], place{"station", f.Event.Station}, place{"badge", f.Event.Operator})
			for _, b := range events.BadgesIn(f.Event.Data) {
				places = append(places, place{"named", b.Badge})
			}
			for _, p := range places {
				if p.mark == "" || w.filed(p, span) {
					continue
				}
				if !yield([]any{p.what, p.mark, span}) {
					return
				}
			}
		}
	})
}

// namedInSpans is as inSpans, of records whose data names a badge in a member.
func namedInSpans(member string) string {
	return `spans s CROSS JOIN events e ON e.seq BETWEEN s.span * 1024 + 1 AND s.span * 1024 + 1024
		WHERE s.what = 'named' AND s.mark = ?1 AND e.named IS NOT NULL
		AND instr(e.named, char(10) || '` + member + ` ' || ?1 || char(10)) > 0`
}

// Held is how often a badge stands in records of one kind as one thing.
type Held struct {
	As          string // operator, or a member of events.BadgeMembers
	Kind        events.Kind
	Records     int64
	First, Last time.Time // observed
}

// HeldAbout counts the records in which a badge stands, by as what and by kind.
func (m *Model) HeldAbout(ctx context.Context, badge string) (out []Held, err error) {
	for _, as := range append([]string{"operator"}, events.BadgeMembers()...) {
		from := inSpans["badge"]
		if as != "operator" {
			from = namedInSpans(as)
		}
		rows, err := m.query(ctx, `SELECT e.kind, count(*), min(e.observed), max(e.observed) FROM `+from+
			` GROUP BY e.kind ORDER BY e.kind`, badge)
		type row struct {
			kind           string
			n, first, last int64
		}
		found, err := scanAll(rows, err, func(r *row) []any { return []any{&r.kind, &r.n, &r.first, &r.last} })
		for _, r := range found {
			out = append(out, Held{as, events.Kind(r.kind), r.n, time.Unix(0, r.first).UTC(), time.Unix(0, r.last).UTC()})
		}
		if err != nil {
			return nil, err
		}
	}
	return out, nil
}

// RecordsOf returns sequences of a station's or a badge's records, latest first,
// below a sequence (0: from the end). What may also be a member of data that names a badge.
func (m *Model) RecordsOf(ctx context.Context, what, key string, below int64, limit int) ([]int64, error) {
	from, ok := inSpans[what]
	if !ok && slices.Contains(events.BadgeMembers(), what) {
		from, ok = namedInSpans(what), true
	}
	if !ok {
		return nil, fmt.Errorf("records are not listed by %q", what)
	}
	return m.seqs(ctx, `SELECT e.seq FROM `+from+` AND (?2 = 0 OR e.seq < ?2) ORDER BY s.span DESC, e.seq DESC LIMIT ?3`, key, below, limit)
}

// Remarked returns the sequences of a station's records with a remark, latest first.
func (m *Model) Remarked(ctx context.Context, station string, limit int) ([]int64, error) {
	return m.seqs(ctx,
		`SELECT seq FROM events WHERE station = ?1 AND remarks <> 0 AND remarks <> 256 ORDER BY seq DESC LIMIT ?2`, station, limit)
}

func (m *Model) seqs(ctx context.Context, q string, args ...any) ([]int64, error) {
	rows, err := m.query(ctx, q, args...)
	return scanAll(rows, err, func(n *int64) []any { return []any{n} })
}

// RemarksOf returns what the audit remarked on a record.
func (m *Model) RemarksOf(ctx context.Context, seq int64) (events.Remark, error) {
	var r int64
	if err := m.read.QueryRowContext(ctx, `SELECT remarks FROM events WHERE seq = ?`, seq).Scan(&r); err != nil {
		return 0, fmt.Errorf("read model: record %d: %w", seq, err)
	}
	return events.Remark(r & allRemarks), nil
}
