package schedule

import (
	"strconv"
	"strings"
	"time"

	"listbound/projections/rowtext"
)

// aboveHeadings is how many rows may stand above the headings.
const aboveHeadings = 40

// headingsAtMost is how many cells of a row are looked at for them: a file may be one row of nothing but separators.
const headingsAtMost = 1000

// sheet is a table below its headings.
type sheet struct {
	rows  [][]string
	first int // the line of the first, from 1
	at    map[string]int
}

func (r *reader) table(text string) {
	var best *sheet
	for _, comma := range ";\t," {
		rows, _ := rowtext.Split(text, comma, true) // a quote may stand anywhere, so nothing is wrong
		if s := r.headed(rows); s != nil && (best == nil || len(s.at) > len(best.at)) {
			best = s
		}
	}
	if best == nil {
		r.wrong(0, "no-case-column")
		return
	}
	_, start := best.at["start"]
	_, day := best.at["day"]
	_, clock := best.at["time"]
	if !start && !(day && clock) {
		r.wrong(best.first-1, "no-start-column")
		return
	}
	for i, cells := range best.rows {
		if strings.Join(cells, "") != "" {
			r.row(best, best.first+i, cells)
		}
	}
}

// headed finds the row that names most columns, the case's among them; nil without one, or where one column stands twice.
func (r *reader) headed(rows [][]string) *sheet {
	var best *sheet
	for i, cells := range rows[:min(len(rows), aboveHeadings)] {
		s := &sheet{rows: rows[i+1:], first: i + 2, at: make(map[string]int)}
		for c, cell := range cells[:min(len(cells), headingsAtMost)] {
			col, ok := r.how.Columns[Heading(cell)]
			if _, twice := s.at[col]; ok && !twice {
				s.at[col] = c
			}
		}
		if _, ok := s.at["case"]; ok && (best == nil || len(s.at) > len(best.at)) {
			best = s
		}
	}
	return best
}

func (s *sheet) cell(cells []string, column string) string {
	if at, ok := s.at[column]; ok && at < len(cells) {
		return strings.TrimSpace(cells[at])
	}
	return ""
}

func (r *reader) row(s *sheet, line int, cells []string) {
	e := &Entry{Row: line, Case: s.cell(cells, "case"), Room: room(s.cell(cells, "room"))}
	if e.Case == "" {
		r.wrong(line, "case-missing")
		return
	}
	if word := s.cell(cells, "state"); word != "" {
		state, ok := r.how.States[Heading(word)]
		if !ok {
			r.wrong(line, "state-word")
			return
		}
		e.State = state
	}
	start := s.cell(cells, "start")
	if start == "" {
		start = strings.TrimSpace(s.cell(cells, "day") + " " + s.cell(cells, "time"))
	}
	if !r.moment(line, "start", start, &e.Start) || !r.moment(line, "said", s.cell(cells, "said"), &e.Said) {
		return
	}
	for _, as := range []As{ASet, AList} {
		column := string(as) + "s"
		if _, ok := s.at[column]; !ok {
			continue
		}
		if e.Wanted == nil {
			e.Wanted = []Wanted{}
		}
		if !r.things(line, as, s.cell(cells, column), &e.Wanted) {
			return
		}
	}
	r.add(e)
}

// maxWanted is how many sets of a list a case may want.
const maxWanted = 50

// things reads ids, separated by comma, semicolon, plus or space; a list may say how many: "LAP-MAJOR x2", "2 x LAP-MAJOR".
func (r *reader) things(line int, as As, text string, into *[]Wanted) bool {
	count := int64(0)
	ofLast := false // a number that comes next is of the id before it
	for _, word := range strings.FieldsFunc(text, func(c rune) bool { return strings.ContainsRune(",;+| \t\n\u00a0", c) }) {
		low := strings.ToLower(word)
		if low == "x" || low == "×" {
			ofLast = count == 0 && len(*into) > 0
			continue
		}
		n, err := strconv.ParseInt(strings.Trim(low, "x×"), 10, 32)
		if as != AList || err != nil || len(low) > 4 {
			*into = append(*into, Wanted{IDs: []string{word}, Count: max(count, AsCount), As: as})
			count, ofLast = 0, false
			continue
		}
		if n < 1 || n > maxWanted {
			r.wrong(line, "list-quantity", maxWanted)
			return false
		}
		if last := len(*into) - 1; last >= 0 && (ofLast || strings.HasPrefix(low, "x") || strings.HasPrefix(low, "×")) {
			(*into)[last].Count, ofLast = n, false
		} else {
			count = n
		}
	}
	if count != 0 {
		r.wrong(line, "list-missing")
		return false
	}
	return true
}

// moment reads a day with a time; an empty text is none.
func (r *reader) moment(line int, column, text string, into *time.Time) bool {
	if text == "" {
		return true
	}
	if t, err := time.Parse(time.RFC3339, text); err == nil {
		*into = t
		return true
	}
	layouts := []string{"2006-01-02 15:04", "2006-01-02 15:04:05", "2006-01-02T15:04", "2006-01-02T15:04:05",
		"2.1.2006 15:04", "2.1.2006 15:04:05", "2.1.06 15:04", "20060102 1504", "200601021504"}
	if r.how.MonthFirst {
		layouts = append(layouts, "1/2/2006 15:04", "1/2/2006 15:04:05", "1/2/2006 3:04 PM", "1/2/2006 3:04PM", "1/2/2006 3:04:05 PM")
	} else if r.how.DayFirst {
		layouts = append(layouts, "2/1/2006 15:04", "2/1/2006 15:04:05", "2/1/2006 3:04 PM")
	}
	for _, layout := range layouts {
		t, err := time.Parse(layout, strings.ToUpper(text))
		if err != nil {
			continue
		}
		var shown bool
		*into, shown = r.at(t.Year(), int(t.Month()), t.Day(), t.Hour(), t.Minute(), t.Second())
		if !shown {
			r.wrong(line, "clocks-forward", column)
		}
		return shown
	}
	if strings.Contains(text, "/") && !r.how.MonthFirst && !r.how.DayFirst {
		r.wrong(line, "month-first", column)
		return false
	}
	r.wrong(line, "no-moment", column)
	return false
}
