package workplace

import (
	"bytes"
	"cmp"
	"encoding/hex"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/xuri/excelize/v2"

	"listbound/cmd/internal/paper"
	"listbound/cmd/internal/refusal"
	"listbound/cmd/internal/tablefile"
	"listbound/events"
	"listbound/projections/rowtext"
	"listbound/projections/words"
)

// A list comes as a table, CSV or XLSX, with columns for the line, the item, the
// description and the quantity; the line may be left out, then the rows are counted.
// What helps people to tell an instrument may have columns too: mark, names, substitutes,
// parts and tray-place. Photograph is the digest of one that is kept: it comes with the page's form, and stays with its item where
// a table has no such column. Where there is a column sort, the table is one of goods, which are counted in rooms and belong to no
// set: each is of sponges, sharps or small items, in any language's words, and the quantity is that of a pack.
// The columns may stand in any order, below rows with a title. They may be named as
// the texts import.line and so on have it in any language, or as a person has matched
// them once. CSV may be separated by comma, semicolon or tab, and be in UTF-8, UTF-16
// or Windows-1252. Of a spreadsheet with several sheets the first that has the columns
// is read, or the one that is named.
//
//	line,item,description,quantity
//	1,FCP-125,"Forceps, mosquito, curved, 12.5 cm",6

// columns are what a table can say of a line. Those of mustHave must be there.
var (
	columns  = append([]string{"line"}, append(mustHave, helping...)...)
	mustHave = []string{"item", "description", "quantity"}
	helping  = []string{"mark", "names", "substitutes", "parts", "tray-place", "photograph", "sort"}
)

// RowError is what is wrong with one row of a table.
type RowError struct {
	Row  int // as the program that made the table counts, from 1; 0: the table as a whole
	What string
}

func (e RowError) Error() string {
	if e.Row == 0 {
		return e.What
	}
	return fmt.Sprintf("row %d: %s", e.Row, e.What)
}

// How says how a table is read.
type How struct {
	Names    *words.Catalogue  // has what columns are called
	In       *words.Language   // says what is wrong
	Headings map[string]string // what a person has matched: the column by its heading
	Sheet    string            // of a spreadsheet; "" for the first that has the columns
	Columns  []string          // that are looked for; nil for a list's

	// Words are what a person has matched of words that a table has of its own, such as the title of a job: the
	// program's words, by the table's.
	Words map[string]string
	Zone  *time.Location // in which a day begins
	Now   time.Time
}

func (h How) columns() []string {
	if h.Columns == nil {
		return columns
	}
	return h.Columns
}

func (h How) say(key string, args ...any) string { return h.In.Say("import."+key, args...) }

// Table is what was read. While any row is wrong it has no lines, and all that is
// wrong.
type Table struct {
	Lines  []events.Line
	Wrong  []RowError
	Sheets []string // of a spreadsheet with several
	Sheet  string   // the one that was read
	// Headings are those among which columns were not found; a person matches them.
	Headings []string
	Missing  []string

	Photographs bool // there is a column for them
}

// ReadTable reads the lines of a list.
func ReadTable(raw []byte, how How) Table {
	grids, err := how.grids(raw)
	if len(grids) == 0 {
		return Table{Wrong: []RowError{{0, err.Error()}}}
	}
	names := how.names()
	best := how.best(grids, names)
	if err != nil && len(best.at) == 0 {
		return Table{Wrong: []RowError{{0, err.Error()}}}
	}
	t := how.lines(best)
	if best.sheet != "" {
		t.Sheet = best.sheet
		for _, g := range grids {
			t.Sheets = append(t.Sheets, g.sheet)
		}
		t.Sheets = slices.Compact(t.Sheets)
	}
	return t
}

// best returns the table that has most of the columns.
func (h How) best(grids []grid, names map[string]string) found {
	least := len(mustHave)
	if h.Columns != nil {
		least = 2 // a code, and what it is
	}
	best := grids[0].find(names, least)
	for _, g := range grids[1:] {
		if f := g.find(names, least); f.better(best) {
			best = f
		}
	}
	return best
}

// grid is a table as cells; sheet names that of a spreadsheet, "" for a text.
type grid struct {
	sheet  string
	rows   [][]string
	shown  [][]string   // the same cells as the spreadsheet shows them
	hidden map[int]bool // rows that nobody sees there
	merged []merged     // cells over several rows, as shown
}

// merged is a cell that stands for those below it, up to a row.
type merged struct{ column, row, end int }

// cell returns what stands in a row at a place. A number that the spreadsheet shows as something else, such as
// catalog number 12-3 that it took for a day, is not what a person sees: ok is false then, and the text is what is shown.
func (g grid) cell(row, at int) (text string, ok bool) {
	if at >= len(g.rows[row]) {
		return "", true
	}
	text = strings.TrimSpace(g.rows[row][at])
	if g.shown == nil || row >= len(g.shown) || at >= len(g.shown[row]) {
		return text, true
	}
	shown := strings.TrimSpace(g.shown[row][at])
	n, err := strconv.ParseFloat(text, 64)
	switch {
	case slices.Contains(spreadsheetErrors, shown):
		return shown, false
	case err != nil, shown == text:
		return text, true
	case strings.Trim(shown, "0123456789") == "": // 004711
		return shown, true
	case strings.HasPrefix(shown, text): // 4 pcs
		return text, true
	}
	same, err := strconv.ParseFloat(strings.ReplaceAll(shown, ",", ""), 64)
	if err != nil || math.Abs(same-n) > math.Abs(n)/1000 {
		return shown, false
	}
	return text, true
}

// spreadsheetErrors are what stands where a formula can't be computed: ECMA-376 part 1, 18.17.3.
var spreadsheetErrors = []string{"#DIV/0!", "#N/A", "#NAME?", "#NULL!", "#NUM!", "#REF!", "#VALUE!", "#GETTING_DATA"}

// found is a table and where its headings are.
type found struct {
	grid
	heading int            // the row's index, -1 in an empty table
	at      map[string]int // the place of each column
	twice   string         // a column that stands twice
}

func (f found) better(o found) bool {
	return cmp.Or(cmp.Compare(len(f.at), len(o.at)), cmp.Compare(f.width(), o.width())) > 0
}

func (f found) width() int {
	if f.heading < 0 {
		return 0
	}
	return cells(f.rows[f.heading])
}

func cells(row []string) int {
	n := 0
	for _, c := range row {
		if strings.TrimSpace(c) != "" {
			n++
		}
	}
	return n
}

// above is how many rows may stand above the headings.
const above = 40

// find looks for the row that names most columns. Where none names any, it is the
// first with as many cells as a table has at least, for a person to match.
func (g grid) find(names map[string]string, least int) found {
	out := found{grid: g, heading: -1}
	for i, row := range g.rows[:min(len(g.rows), above)] {
		if cells(row) == 0 {
			continue
		}
		f := found{grid: g, heading: i, at: make(map[string]int)}
		for c, name := range row {
			if col := names[heading(name)]; col != "" {
				if _, twice := f.at[col]; twice {
					f.twice = col
				}
				f.at[col] = c
			}
		}
		if out.heading < 0 || len(f.at) > len(out.at) || len(out.at) == 0 && out.width() < least && f.width() >= least {
			out = f
		}
	}
	return out
}

// heading is a heading as it is compared.
func heading(s string) string {
	return strings.ToLower(strings.Join(strings.Fields(strings.NewReplacer(".", "", ":", "").Replace(s)), " "))
}

// maxTable bounds what is unpacked from a spreadsheet.
const maxTable = 32 << 20

// grids returns the tables that a file may be: the sheets of a spreadsheet, or a text
// by each separator that can be read. The error is that of one that can't.
func (h How) grids(raw []byte) ([]grid, error) {
	if bytes.HasPrefix(raw, []byte("PK\x03\x04")) {
		return h.spreadsheet(raw)
	}
	text, err := rowtext.Decode(raw)
	if err != nil {
		return nil, refusal.New("%s", h.say("no-text"))
	}
	var out []grid
	var first error
	for _, comma := range ",;\t" {
		rows, err := h.separated(text, comma)
		if err != nil {
			first = cmp.Or(first, err)
			continue
		}
		out = append(out, grid{rows: rows})
	}
	return out, first
}

func (h How) spreadsheet(raw []byte) ([]grid, error) {
	opts := excelize.Options{UnzipSizeLimit: maxTable, UnzipXMLSizeLimit: maxTable, RawCellValue: true}
	f, err := excelize.OpenReader(bytes.NewReader(raw), opts)
	if err != nil {
		return nil, refusal.New("%s", h.say("no-xlsx"))
	}
	var out []grid
	for _, name := range f.GetSheetList() {
		if h.Sheet != "" && h.Sheet != name {
			continue
		}
		g := grid{sheet: name}
		var bad error
		if g.rows, bad = f.GetRows(name); bad == nil {
			g.shown, bad = f.GetRows(name, excelize.Options{RawCellValue: false})
		}
		if bad == nil {
			g.hidden, bad = hiddenRows(f, name)
		}
		if bad == nil {
			g.merged, bad = mergedDown(f, name)
		}
		if bad == nil {
			out = append(out, g)
		}
	}
	if err := f.Close(); err != nil {
		return nil, refusal.New("%s", h.say("no-xlsx"))
	}
	if len(out) == 0 {
		return nil, refusal.New("%s", h.say("no-sheet", h.Sheet))
	}
	return out, nil
}

// mergedDown finds the cells that are merged over several rows.
func mergedDown(f *excelize.File, sheet string) ([]merged, error) {
	const withoutValues = true
	all, err := f.GetMergeCells(sheet, withoutValues)
	if err != nil {
		return nil, err
	}
	var out []merged
	for _, m := range all {
		column, first, err := excelize.CellNameToCoordinates(m.GetStartAxis())
		if err != nil {
			return nil, err
		}
		_, last, err := excelize.CellNameToCoordinates(m.GetEndAxis())
		if err != nil {
			return nil, err
		}
		if last > first {
			out = append(out, merged{column: column - 1, row: first - 1, end: last})
		}
	}
	return out, nil
}

func hiddenRows(f *excelize.File, sheet string) (map[int]bool, error) {
	rows, err := f.Rows(sheet)
	if err != nil {
		return nil, err
	}
	hidden := make(map[int]bool)
	for i := 0; rows.Next(); i++ {
		if _, err := rows.Columns(); err != nil {
			return nil, err
		}
		if rows.GetRowOpts().Hidden {
			hidden[i] = true
		}
	}
	return hidden, rows.Close()
}

// separated reads a text as a table. A mark that stands for inches, as in
// Clamp 6" curved, is no quotation.
func (h How) separated(text string, comma rune) ([][]string, error) {
	for _, lazy := range []bool{false, true} {
		table, err := rowtext.Split(text, comma, lazy)
		swallowed := slices.ContainsFunc(table, func(row []string) bool {
			return slices.ContainsFunc(row, func(c string) bool { return lazy && strings.Contains(c, "\n") })
		})
		if err == nil && !swallowed {
			return table, nil
		}
	}
	return nil, refusal.New("%s", h.say("open-quote"))
}

// names maps what a column may be called to what it is. A text has the names of a
// column in its language, separated by commas; what a person has matched counts most.
func (h How) names() map[string]string {
	names := make(map[string]string)
	for _, lang := range h.Names.Languages() {
		for _, column := range h.columns() {
			for name := range strings.SplitSeq(h.Names.In(lang).Say("import."+column), ",") {
				names[heading(name)] = column
			}
		}
	}
	for name, column := range h.Headings {
		if column == "" {
			delete(names, heading(name))
			continue
		}
		names[heading(name)] = column
	}
	return names
}

// lines reads the rows below the headings.
func (h How) lines(f found) Table {
	if f.heading < 0 {
		return Table{Wrong: []RowError{{0, h.say("empty")}}}
	}
	if f.twice != "" {
		return Table{Wrong: []RowError{{f.heading + 1, h.say("twice", h.column(f.twice))}}}
	}
	var t Table
	for _, must := range mustHave {
		if _, ok := f.at[must]; !ok {
			t.Missing = append(t.Missing, must)
			t.Wrong = append(t.Wrong, RowError{f.heading + 1, h.say("no-column", h.column(must))})
		}
	}
	if len(t.Missing) > 0 {
		for _, name := range f.rows[f.heading] {
			if strings.TrimSpace(name) != "" {
				t.Headings = append(t.Headings, strings.TrimSpace(name))
			}
		}
		return t
	}
	_, t.Photographs = f.at["photograph"]
	seen := make(map[int64]int)
	next := int64(0) // a row that is wrong has its number, too: the rows below it are not wrong for its sake
	for i := f.heading + 1; i < len(f.rows); i++ {
		if cells(f.rows[i]) == 0 {
			continue
		}
		if len(t.Lines) == events.MaxLines {
			t.Wrong = append(t.Wrong, RowError{i + 1, h.say("too-many", events.MaxLines)})
			break
		}
		next++
		l, wrong := h.line(f, i, next)
		if before, twice := seen[l.Line]; twice {
			wrong = h.say("line-twice", l.Line, before)
		} else if l.Line != 0 {
			seen[l.Line] = i + 1
		}
		if wrong != "" {
			t.Wrong = append(t.Wrong, RowError{i + 1, wrong})
			continue
		}
		t.Lines = append(t.Lines, l)
	}
	if len(t.Wrong) == 0 && len(t.Lines) == 0 {
		t.Wrong = []RowError{{0, h.say("no-lines")}}
	}
	t.Wrong = append(t.Wrong, h.unsorted(t.Lines)...)
	if len(t.Wrong) > 0 {
		t.Lines = nil
	}
	return t
}

// column is the name of a column in the reader's language.
func (h How) column(name string) string {
	first, _, _ := strings.Cut(h.say(name), ",")
	return first
}

// line reads one row; next is the line's number where the table has none. wrong says
// what is wrong with it; a line without a number is line 0.
func (h How) line(f found, row int, next int64) (l events.Line, wrong string) {
	if wrong = h.notAsSeen(f, row); wrong != "" {
		return l, wrong
	}
	raw := func(col string) string {
		c, ok := f.at[col]
		if !ok {
			return ""
		}
		text, _ := f.cell(row, c)
		return text
	}
	cell := func(col string) string { return unguarded(raw(col)) }
	l = events.Line{Line: next, Item: cell("item"), Description: cell("description"), Mark: cell("mark"), Names: cell("names"),
		Substitutes: cell("substitutes"), TrayPlace: cell("tray-place"), Photograph: strings.ToLower(cell("photograph"))}
	if _, ok := f.at["line"]; ok {
		if l.Line, ok = wholeNumber(cell("line")); !ok {
			return l, h.say("not-whole", h.column("line"), cell("line"))
		}
	}
	var ok bool
	if l.Quantity, ok = wholeNumber(cell("quantity")); !ok {
		return l, h.say("not-whole", h.column("quantity"), cell("quantity"))
	}
	if parts := cell("parts"); parts != "" {
		if l.Parts, ok = wholeNumber(parts); !ok {
			return l, h.say("not-whole", h.column("parts"), parts)
		}
	}
	if l.Sort, ok = h.sort(cell("sort")); !ok {
		return l, h.say("no-sort", l.Line, cell("sort"), strings.Join(h.sorts(), ", "))
	}
	if sum, err := hex.DecodeString(l.Photograph); err != nil || l.Photograph != "" && len(sum) != len(events.Digest{}) {
		return l, h.say("no-photograph", l.Line)
	}
	for _, column := range []string{"item", "description"} {
		if cell(column) == "" {
			return l, h.say("missing", l.Line, h.column(column))
		}
	}
	if _, said := strings.CutPrefix(raw("item"), "'"); !said && rewritten(l.Item) {
		return l, h.say("item-rewritten", l.Line, l.Item)
	}
	if strings.ContainsFunc(l.Item, func(r rune) bool { return r == ' ' || r == '\u00a0' }) {
		return l, h.say("item-space", l.Line, l.Item)
	}
	if l.Quantity < 0 {
		return l, h.say("negative", l.Line, l.Quantity)
	}
	one := &events.ListIssued{List: "L", Version: 1, Title: "t", Lines: []events.Line{l}, Goods: l.Sort != ""}
	if err := one.Check(); err != nil {
		return l, faultIn(h.In, err)
	}
	if missing := paper.Missing(l.Description + l.Item + l.Mark + l.TrayPlace); len(missing) > 0 {
		return l, h.say("no-print", fmt.Sprintf("%q (U+%04X)", missing[0], missing[0]))
	}
	return l, ""
}

// unsorted are the lines that lack a sort in a table of goods.
func (h How) unsorted(lines []events.Line) (wrong []RowError) {
	sorted := func(l events.Line) bool { return l.Sort != "" }
	if !slices.ContainsFunc(lines, sorted) {
		return nil
	}
	for _, l := range lines {
		if !sorted(l) {
			wrong = append(wrong, RowError{0, h.say("missing", l.Line, h.column("sort"))})
		}
	}
	return wrong
}

// sort is what kind of goods a cell names, in any language; "" for none.
func (h How) sort(cell string) (events.Sort, bool) {
	if cell == "" {
		return "", true
	}
	for _, s := range events.Sorts() {
		for _, lang := range h.Names.Languages() {
			for name := range strings.SplitSeq(h.Names.In(lang).Say("import.sort-"+string(s)), ",") {
				if heading(name) == heading(cell) {
					return s, true
				}
			}
		}
	}
	return "", false
}

// sorts are the kinds of goods in the reader's language.
func (h How) sorts() []string {
	var out []string
	for _, s := range events.Sorts() {
		name, _, _ := strings.Cut(h.say("sort-"+string(s)), ",")
		out = append(out, name)
	}
	return out
}

// notAsSeen says what of a row is not what its maker saw, "" for nothing: a text with a comma that ended its cell moves
// what follows into the next column, where a size would be a quantity.
func (h How) notAsSeen(f found, row int) string {
	if f.hidden[row] {
		return h.say("hidden")
	}
	if f.sheet == "" {
		named := f.rows[f.heading]
		for len(named) > 0 && strings.TrimSpace(named[len(named)-1]) == "" {
			named = named[:len(named)-1]
		}
		if r := f.rows[row]; len(r) > len(named) && cells(r[len(named):]) > 0 {
			return h.say("cell-more")
		}
	}
	for _, col := range columns {
		if at, ok := f.at[col]; ok {
			if text, ok := f.cell(row, at); !ok {
				return h.say("not-as-shown", h.column(col), text)
			}
		}
	}
	return ""
}

// numbers are the forms in which a spreadsheet writes what it takes for a number: 1.2E+05 for 120000, 123456.0 for
// 123456, and 400000 or 4.00E+05 for a catalog number 4E5.
var numbers = regexp.MustCompile(`^[0-9]+([.,][0-9]+)?[eE][+-]?[0-9]+$|^[0-9]+[.,]0+$`)

// rewritten reports whether a catalog number may be another one that a spreadsheet took for a number.
func rewritten(item string) bool { return numbers.MatchString(item) }

// unguarded takes the quote away that a table's export puts before what a spreadsheet would compute or write otherwise.
func unguarded(s string) string {
	if rest, quoted := strings.CutPrefix(s, "'"); quoted && (guardedCell(rest) != rest || rewritten(rest)) {
		return rest
	}
	return s
}

// wholeNumber reads a number as spreadsheets write whole ones: 4, 4.0 and 4,00.
func wholeNumber(s string) (int64, bool) {
	whole := s
	if i := strings.IndexAny(s, ".,"); i > 0 && strings.Trim(s[i+1:], "0") == "" {
		whole = s[:i]
	}
	n, err := strconv.ParseInt(whole, 10, 64)
	return n, err == nil
}

// emptyTable returns a spreadsheet with the headings alone.
func emptyTable(h How) ([]byte, error) {
	t := &tablefile.Table{}
	for _, c := range columns {
		t.Columns = append(t.Columns, h.column(c))
	}
	return tablefile.XLSX(t)
}
