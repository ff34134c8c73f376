package workplace

import (
	"bytes"
	"cmp"
	"context"
	"encoding/csv"
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"listbound/cmd/internal/refusal"
	"listbound/cmd/internal/site"
	"listbound/cmd/internal/tablefile"
	"listbound/events"
	"listbound/projections/facts"
)

// A register comes as a table, as a list does: CSV or XLSX, its columns in any order below rows with a title, named as
// the texts import.badge and so on have them in any language or as a person has matched them once. The first column of
// each must be there; of the others what is there is read. Several words in a cell are separated by commas,
// semicolons, bars or new lines. A table of another program has words of its own for what people and stations do: what
// they mean is asked once.

// registerColumns are what a table can say of an entry.
var registerColumns = map[events.Register][]string{
	events.RegisterPeople:      {"badge", "name", "first-name", "roles", "from", "until"},
	events.RegisterSets:        {"set", "list", "owner", "home", "high-risk", "tags", "from", "until"},
	events.RegisterPlaces:      {"place", "title", "from", "until"},
	events.RegisterStations:    {"station", "works", "sterilizers", "where", "from", "until"},
	events.RegisterSterilizers: {"sterilizer", "cycles", "where", "from", "until"},
}

// RegisterTable is what was read of a register's table.
type RegisterTable struct {
	Entries []events.Entry
	Rows    []int             // of each entry, as the program that made the table counts
	Names   map[string]string // of people, by badge
	Wrong   []RowError
	Sheets  []string // of a spreadsheet with several
	Sheet   string   // the one that was read
	// Headings are those among which the first column was not found, or that mean nothing here; a person matches them.
	Headings []string
	Missing  []string // columns that were not found, the first one first
	// Unknown are words of the table that a person says the meaning of.
	Unknown []string
	// Past is how many rows were over before now.
	Past int
}

// ReadRegister reads the table of a register. A code stands in its one form, unless it is known otherwise.
func ReadRegister(raw []byte, r events.Register, known func(id string) bool, how How) RegisterTable {
	how.Columns = registerColumns[r]
	grids, err := how.grids(raw)
	if len(grids) == 0 {
		return RegisterTable{Wrong: []RowError{{0, err.Error()}}}
	}
	best := how.best(grids, how.names())
	if err != nil && len(best.at) == 0 {
		return RegisterTable{Wrong: []RowError{{0, err.Error()}}}
	}
	t := registerReader{How: how, register: r, found: best, known: known}
	out := t.read()
	if best.sheet != "" {
		out.Sheet = best.sheet
		for _, g := range grids {
			out.Sheets = append(out.Sheets, g.sheet)
		}
		out.Sheets = slices.Compact(out.Sheets)
	}
	return out
}

// mostEntries bounds the rows of a register's table: far more than a house has, and so few that each of them is looked at in seconds.
const mostEntries = 20_000

type registerReader struct {
	How
	found
	register events.Register
	known    func(id string) bool
	row      int
	wrong    string          // of the row, the first fault
	unknown  map[string]bool // words
	out      RegisterTable
}

func (t *registerReader) read() RegisterTable {
	if t.heading < 0 {
		return RegisterTable{Wrong: []RowError{{0, t.say("empty")}}}
	}
	if n := len(t.rows) - t.heading - 1; n > mostEntries {
		return RegisterTable{Wrong: []RowError{{0, t.say("too-many-rows", n, mostEntries)}}}
	}
	t.spread()
	if t.twice != "" {
		return RegisterTable{Wrong: []RowError{{t.heading + 1, t.say("twice", t.column(t.twice))}}}
	}
	for _, column := range t.Columns {
		if _, ok := t.at[column]; !ok {
			t.out.Missing = append(t.out.Missing, column)
		}
	}
	used := slices.Collect(maps.Values(t.at))
	for i, name := range t.rows[t.heading] {
		if strings.TrimSpace(name) != "" && !slices.Contains(used, i) {
			t.out.Headings = append(t.out.Headings, strings.TrimSpace(name))
		}
	}
	if _, ok := t.at[t.Columns[0]]; !ok {
		t.out.Wrong = []RowError{{t.heading + 1, t.say("no-column", t.column(t.Columns[0]))}}
		return t.out
	}
	t.out.Names, t.unknown = make(map[string]string), make(map[string]bool)
	seen := make(map[string]int)
	for t.row = t.heading + 1; t.row < len(t.rows); t.row++ {
		if cells(t.rows[t.row]) == 0 {
			continue
		}
		t.wrong = ""
		e := t.entry()
		_, id := e.Named()
		if before, twice := seen[id]; twice && id != "" {
			t.fault(t.say("entry-twice", id, before))
		}
		seen[id] = t.row + 1
		if err := e.Check(); err != nil {
			t.fault(faultIn(t.In, err))
		}
		if t.wrong != "" {
			t.out.Wrong = append(t.out.Wrong, RowError{t.row + 1, t.wrong})
			continue
		}
		if _, until := e.Holding().Span(); !until.IsZero() && !until.After(t.Now) {
			t.out.Past++
		}
		t.out.Entries, t.out.Rows = append(t.out.Entries, e), append(t.out.Rows, t.row+1)
	}
	t.out.Unknown = slices.Sorted(maps.Keys(t.unknown))
	if len(t.out.Wrong) == 0 && len(t.out.Entries) == 0 && len(t.out.Unknown) == 0 {
		t.out.Wrong = []RowError{{0, t.say("no-entries")}}
	}
	if len(t.out.Wrong) > 0 || len(t.out.Unknown) > 0 {
		t.out.Entries, t.out.Rows = nil, nil
	}
	return t.out
}

// spread gives each row below the headings what stands in a cell that was merged over several: a department beside all of its sets.
func (t *registerReader) spread() {
	const most = 1 << 20 // cells
	n := 0
	for _, m := range t.merged {
		for row := m.row + 1; m.row > t.heading && row < min(m.end, len(t.rows), len(t.shown)) && n < most; row++ {
			n++
			if cells(t.rows[row]) > 0 {
				t.rows[row] = put(t.rows[row], m.column, t.rows[m.row])
				t.shown[row] = put(t.shown[row], m.column, t.shown[m.row])
			}
		}
	}
}

// put takes a cell of a row from another one, if nothing stands there.
func put(row []string, at int, from []string) []string {
	for at >= len(row) {
		row = append(row, "")
	}
	if at < len(from) && row[at] == "" {
		row[at] = from[at]
	}
	return row
}

func (t *registerReader) fault(what string) { t.wrong = cmp.Or(t.wrong, what) }

// raw is what a file has for a cell: of a day in a spreadsheet its number.
func (t *registerReader) raw(column string) string {
	c, ok := t.at[column]
	if !ok || c >= len(t.rows[t.row]) {
		return ""
	}
	return t.rows[t.row][c]
}

// text is what people see in a cell: 004711, of which a spreadsheet has 4711 and a form. What it shows as something else, such as a code
// that it took for a day, is a fault.
func (t *registerReader) text(column string) string {
	c, ok := t.at[column]
	if !ok {
		return ""
	}
	text, asShown := t.grid.cell(t.row, c)
	if !asShown {
		t.fault(t.say("not-as-shown", t.column(column), text))
	}
	return text
}

func (t *registerReader) cell(column string) string {
	return unguarded(strings.Join(strings.Fields(t.text(column)), " "))
}

// code reads a code in its one form.
func (t *registerReader) code(column string) string {
	s := events.PlainCode(t.cell(column))
	if s == "" {
		t.fault(t.say("code-missing", t.column(column)))
	}
	if strings.Contains(s, " ") {
		t.fault(t.say("code-space", t.column(column), s))
	}
	if t.known(s) {
		return s
	}
	return events.NormalCode(s)
}

// several are the words of a cell.
func (t *registerReader) several(column string) []string {
	var out []string
	for w := range strings.FieldsFuncSeq(t.text(column), func(r rune) bool { return strings.ContainsRune(",;|\n", r) }) {
		if w = strings.TrimSpace(w); w != "" && !slices.Contains(out, w) {
			out = append(out, w)
		}
	}
	return out
}

// meant finds what the words of a cell mean: as the texts import.PREFIX-WORD have them in any language, or as a person
// has said. What none says is asked.
func (t *registerReader) meant(column, prefix string, words []string) []string {
	var out []string
	for _, w := range t.several(column) {
		said := t.Words[heading(w)]
		if said == "" {
			said = t.wordOf(prefix, words, heading(w))
		}
		if said == "" {
			t.unknown[w] = true
		}
		for m := range strings.SplitSeq(said, ",") {
			if m != "" && m != nobody && !slices.Contains(out, m) {
				out = append(out, m)
			}
		}
	}
	return out
}

// nobody, as the meaning of a word, says that it means nothing here.
const nobody = "-"

func (t *registerReader) wordOf(prefix string, words []string, w string) string {
	for _, lang := range t.Names.Languages() {
		for _, word := range words {
			for name := range strings.SplitSeq(t.Names.In(lang).Say("import."+prefix+"-"+word), ",") {
				if heading(name) == w || word == w {
					return word
				}
			}
		}
	}
	return ""
}

func (t *registerReader) held() (h events.Held) {
	if from := t.day("from", false); from.After(t.Now) {
		h.From = from.UTC().Format(time.RFC3339)
	}
	if until := t.day("until", true); !until.IsZero() {
		h.Until = until.UTC().Format(time.RFC3339)
	}
	return h
}

// day reads a day, or a moment. One until which something holds ends with the day.
func (t *registerReader) day(column string, end bool) time.Time {
	s := unguarded(strings.TrimSpace(t.raw(column)))
	if s == "" {
		return time.Time{}
	}
	if at, err := time.Parse(time.RFC3339, s); err == nil {
		return at
	}
	var day time.Time
	for _, layout := range []string{"2006-01-02", "2006/01/02", "2.1.2006", "2006-01-02 15:04:05"} {
		if at, err := time.ParseInLocation(layout, s, t.Zone); err == nil {
			day = at
		}
	}
	const firstSerial, lastSerial = 20000, 80000 // 1954 to 2119, in days since the end of 1899, as spreadsheets count them
	if n, err := strconv.ParseFloat(s, 64); err == nil && n >= firstSerial && n < lastSerial {
		day = time.Date(1899, 12, 30+int(math.Floor(n)), 0, 0, 0, 0, t.Zone)
	}
	if day.IsZero() {
		t.fault(t.say("no-day", t.column(column), s))
		return day
	}
	if end {
		return time.Date(day.Year(), day.Month(), day.Day()+1, 0, 0, 0, 0, t.Zone)
	}
	return day
}

// yes reads whether something is so.
func (t *registerReader) yes(column string) bool {
	s := heading(t.cell(column))
	if s == "" {
		return false
	}
	for _, lang := range t.Names.Languages() {
		for _, x := range []struct {
			key string
			is  bool
		}{{"yes", true}, {"no", false}} {
			for name := range strings.SplitSeq(t.Names.In(lang).Say("import."+x.key), ",") {
				if heading(name) == s {
					return x.is
				}
			}
		}
	}
	t.fault(t.say("not-yes", t.column(column), s))
	return false
}

func (t *registerReader) entry() events.Entry {
	switch t.register {
	case events.RegisterPeople:
		d := &events.PersonEntered{Badge: t.code("badge"), Held: t.held()}
		if _, ok := t.at["roles"]; !ok {
			d.Roles = []events.Role{events.RoleRecords} // a table of staff says no more than who is there
		} else {
			for _, m := range t.meant("roles", "role", text(events.Roles())) {
				d.Roles = append(d.Roles, events.Role(m))
			}
			if len(d.Roles) == 0 && t.cell("roles") == "" {
				t.fault(t.say("code-missing", t.column("roles")))
			}
			if len(d.Roles) == 0 { // a word that is asked about, or that means nothing here
				d.Held.Ended = true
			}
		}
		if name := strings.TrimSpace(t.cell("first-name") + " " + t.cell("name")); name != "" {
			t.out.Names[d.Badge] = name
		}
		return d
	case events.RegisterSets:
		d := &events.SetEntered{
			Set: t.code("set"), List: t.cell("list"), Owner: t.cell("owner"), Home: t.cell("home"), HighRisk: t.yes("high-risk"),
			Held: t.held(),
		}
		for _, tag := range t.several("tags") {
			if tag = events.PlainCode(tag); tag != d.Set {
				d.Tags = append(d.Tags, tag)
			}
		}
		return d
	case events.RegisterPlaces:
		return &events.PlaceEntered{Place: t.code("place"), Title: t.cell("title"), Held: t.held()}
	case events.RegisterStations:
		d := &events.StationEntered{
			Name: strings.ToLower(t.cell("station")), Where: t.cell("where"), Held: t.held(), Sterilizers: t.codes("sterilizers"),
		}
		for _, m := range t.meant("works", "work", text(events.Works())) {
			d.Works = append(d.Works, events.Work(m))
		}
		if len(d.Works) == 0 {
			d.Held.Ended = true
		}
		return d
	}
	return &events.SterilizerEntered{
		Sterilizer: t.code("sterilizer"), Cycles: t.several("cycles"), Where: t.cell("where"), Held: t.held(),
	}
}

func (t *registerReader) codes(column string) []string {
	var out []string
	for _, s := range t.several(column) {
		out = append(out, events.NormalCode(s))
	}
	return out
}

// text writes words as strings.
func text[T ~string](words []T) []string {
	out := make([]string, len(words))
	for i, w := range words {
		out[i] = string(w)
	}
	return out
}

// Alike is an entry whose code looks like another one's.
type Alike struct {
	Row  int    `json:"row"` // of the table
	ID   string `json:"id"`
	Like string `json:"like"`
}

// RegisterChange is what a table would change in a register.
type RegisterChange struct {
	Register events.Register   `json:"register"`
	Enter    []events.Entry    `json:"-"`
	Names    map[string]string `json:"-"`
	New      []string          `json:"new,omitempty"`     // codes
	Changed  []string          `json:"changed,omitempty"` // codes
	Same     int               `json:"same"`
	Past     int               `json:"past,omitzero"`      // rows that were over before now, of what was never entered
	NotThere []string          `json:"notThere,omitempty"` // in the register, and not in the table
	Alike    []Alike           `json:"alike,omitempty"`    // asked about
	Held     bool              `json:"held"`               // the site holds to the register already
}

// ChangeOf compares a table with the register as it stands. Whole says that the table is all there is: what is not in it
// ends.
func ChangeOf(ctx context.Context, s *site.Site, r events.Register, t RegisterTable, whole bool) (*RegisterChange, error) {
	out := &RegisterChange{Register: r, Names: t.Names}
	before, known, err := out.before(ctx, s)
	if err != nil {
		return nil, err
	}
	there := make(map[string]bool)
	for i, e := range t.Entries {
		_, id := e.Named()
		there[id] = true
		row, entered := before[id]
		h := e.Holding()
		_, until := h.Span()
		over := h.Ended || !until.IsZero() && !until.After(s.Clock())
		switch {
		case !entered && over:
			out.Past++
			continue
		case entered && site.SameEntry(row, e):
			out.Same++
			continue
		case !entered:
			out.New = append(out.New, id)
			if like := site.AlikeIn(known, id); like != "" && r != events.RegisterStations {
				out.Alike = append(out.Alike, Alike{t.Rows[i], id, like})
				h.NewCode = true
				e = site.WithHeld(e, h) // entered only once somebody has said so
			}
		default:
			out.Changed = append(out.Changed, id)
		}
		known.learn(id)
		out.Enter = append(out.Enter, e)
	}
	for _, id := range slices.Sorted(maps.Keys(before)) {
		row := before[id]
		if there[id] || row.State == facts.EntryEnded {
			continue
		}
		out.NotThere = append(out.NotThere, id)
		if whole {
			out.Enter = append(out.Enter, Ended(row.Entry))
		}
	}
	return out, nil
}

// likenesses are codes by what they look like.
type likenesses map[string][]string

func (k likenesses) learn(id string) {
	if l := events.Likeness(id); !slices.Contains(k[l], id) {
		k[l] = append(k[l], id)
	}
}

// before reads what a register has, whether it is held to, and the codes that are known.
func (c *RegisterChange) before(ctx context.Context, s *site.Site) (map[string]site.RegisterRow, likenesses, error) {
	before, known := make(map[string]site.RegisterRow), make(likenesses)
	err := s.Ask(func(v *site.View) error {
		rows, err := v.Register(ctx, c.Register)
		if err != nil {
			return err
		}
		for _, row := range rows {
			before[row.ID()] = row
			known.learn(row.ID())
		}
		held, err := v.HeldTo(ctx)
		if err != nil {
			return err
		}
		c.Held = slices.Contains(held, c.Register)
		if c.Register != events.RegisterSets {
			return nil
		}
		packed, err := v.PackedNames(ctx)
		for _, set := range packed {
			known.learn(set)
		}
		return err
	})
	return before, known, err
}

// Ended returns the event that ends an entry.
func Ended(e events.Entry) events.Entry { return site.WithHeld(e, events.Held{Ended: true}) }

// registerRows are a register as a table that ReadRegister reads: what holds, or is to come.
func registerRows(h How, r events.Register, rows []site.RegisterRow) [][]string {
	var head []string
	var columns []string
	for _, c := range registerColumns[r] {
		if c != "first-name" { // a name is written in one piece
			columns, head = append(columns, c), append(head, h.column(c))
		}
	}
	out := [][]string{head}
	for i := range rows {
		if rows[i].State == facts.EntryEnded {
			continue
		}
		var line []string
		for _, c := range columns {
			line = append(line, guardedCell(registerCell(h, &rows[i], c)))
		}
		out = append(out, line)
	}
	return out
}

// guardedCell puts a quote before what a spreadsheet would compute.
func guardedCell(s string) string {
	if s != "" && strings.ContainsRune("=+-@", rune(s[0])) {
		return "'" + s
	}
	return s
}

func registerCell(h How, row *site.RegisterRow, column string) string {
	held := row.Entry.Holding()
	words := func(prefix string, of []string) string {
		var out []string
		for _, w := range of {
			first, _, _ := strings.Cut(h.say(prefix+"-"+w), ",")
			out = append(out, first)
		}
		return strings.Join(out, "; ")
	}
	switch column {
	case "from":
		return held.From
	case "until":
		return held.Until
	case "name":
		return row.Name
	case registerColumns[registerOf(row.Entry)][0]:
		return row.ID()
	}
	switch d := row.Entry.(type) {
	case *events.PersonEntered:
		return words("role", text(d.Roles))
	case *events.SetEntered:
		risk := ""
		if d.HighRisk {
			risk, _, _ = strings.Cut(h.say("yes"), ",")
		}
		return map[string]string{
			"list": d.List, "owner": d.Owner, "home": d.Home, "high-risk": risk, "tags": strings.Join(d.Tags, "; "),
		}[column]
	case *events.PlaceEntered:
		return d.Title
	case *events.StationEntered:
		return map[string]string{
			"works": words("work", text(d.Works)), "sterilizers": strings.Join(d.Sterilizers, "; "), "where": d.Where,
		}[column]
	case *events.SterilizerEntered:
		return map[string]string{"cycles": strings.Join(d.Cycles, "; "), "where": d.Where}[column]
	}
	return ""
}

func registerOf(e events.Entry) events.Register {
	r, _ := e.Named()
	return r
}

// ExportRegister writes a register as a table, CSV or XLSX, that imports again.
func ExportRegister(ctx context.Context, s *site.Site, r events.Register, xlsx bool, h How) ([]byte, error) {
	if _, ok := registerColumns[r]; !ok {
		return nil, refusal.New("%q is no register; they are %s", r, strings.Join(text(events.Registers()), ", "))
	}
	rows, err := site.Answer(s, func(v *site.View) ([]site.RegisterRow, error) { return v.Register(ctx, r) })
	if err != nil {
		return nil, err
	}
	table := registerRows(h, r, rows)
	if !xlsx {
		var out bytes.Buffer
		w := csv.NewWriter(&out)
		if err := w.WriteAll(table); err != nil {
			return nil, fmt.Errorf("writing the register of %s: %w", r, err)
		}
		return out.Bytes(), nil
	}
	t := &tablefile.Table{Title: string(r), Columns: table[0]}
	for _, line := range table[1:] {
		row := make([]any, len(line))
		for j, c := range line {
			row[j] = c
		}
		t.Rows = append(t.Rows, row)
	}
	return tablefile.XLSX(t)
}
