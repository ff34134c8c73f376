package board

import (
	"cmp"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"
)

// Tables are sorted and looked through by the server: a heading is a link, and what a row must have in it is a field of a
// form, so that both work by keyboard, without a script, and in what is taken away.

// head is the heading of a column, with the link that sorts by it.
type head struct {
	Text, Link string
	Sorted     string // as aria-sort has it, "" where the table isn't sorted by it
}

// longTable is from how many rows on a table is looked through rather than read.
const longTable = 12

func (t *table) sortName() string { return "sort-" + t.ID }

// OnlyName is the parameter for what its rows are to have in them.
func (t *table) OnlyName() string { return "only-" + t.ID }

// arrange sorts the rows as the address says, and leaves out those without what it says. A column is named by its number
// from 1, and by -1 for the other way round.
func (t *table) arrange(q url.Values) {
	t.Long = len(t.Rows) >= longTable
	if t.Only = strings.TrimSpace(q.Get(t.OnlyName())); t.Only != "" {
		t.Long = true
		words := strings.Fields(strings.ToLower(t.Only))
		t.Rows = slices.DeleteFunc(t.Rows, func(row []cell) bool {
			return slices.ContainsFunc(words, func(w string) bool {
				return !slices.ContainsFunc(row, func(c cell) bool { return strings.Contains(strings.ToLower(c.Text), w) })
			})
		})
	}
	n, err := strconv.Atoi(q.Get(t.sortName()))
	at := max(n, -n) - 1
	if err != nil || at < 0 || at >= len(t.Columns) {
		n, at = 0, -1
	}
	if at >= 0 {
		slices.SortStableFunc(t.Rows, func(a, b []cell) int {
			if x, y := a[at].empty(), b[at].empty(); x || y { // what says nothing stands last, either way
				return cmp.Compare(truth(x), truth(y))
			}
			if n < 0 {
				return compareCells(b[at], a[at])
			}
			return compareCells(a[at], b[at])
		})
	}
}

// hasColumn reports whether a column is named as arrange reads it, or none is.
func (t *table) hasColumn(named string) bool {
	n, err := strconv.Atoi(named)
	return named == "" || err == nil && n != 0 && max(n, -n) <= len(t.Columns)
}

// headings makes the links of a table's headings.
func (t *table) headings(path string, q url.Values) {
	sorted, _ := strconv.Atoi(q.Get(t.sortName())) // no number: by none
	t.Keep = url.Values{}
	for name, values := range q {
		if name != t.OnlyName() && name != "part" {
			t.Keep[name] = values
		}
	}
	for i, text := range t.Columns {
		h, to := head{Text: text}, strconv.Itoa(i+1)
		switch sorted {
		case i + 1:
			h.Sorted, to = "ascending", "-"+to
		case -i - 1:
			h.Sorted, to = "descending", ""
		}
		v := url.Values{}
		for name, values := range q {
			if name != t.sortName() && name != "part" {
				v[name] = values
			}
		}
		if to != "" {
			v.Set(t.sortName(), to)
		}
		h.Link = address(path, v) + "#table-" + t.ID
		t.Heads = append(t.Heads, h)
	}
}

func truth(b bool) int {
	if b {
		return 1
	}
	return 0
}

func (c cell) empty() bool { return c.Text == "" && c.Value == nil }

// compareCells compares what files have, and texts as people read them: 9 before 10.
func compareCells(a, b cell) int {
	switch x := a.Value.(type) {
	case time.Time:
		if y, ok := b.Value.(time.Time); ok {
			return x.Compare(y)
		}
	case int64:
		if y, ok := b.Value.(int64); ok {
			return cmp.Compare(x, y)
		}
	case float64:
		if y, ok := b.Value.(float64); ok {
			return cmp.Compare(x, y)
		}
	}
	return compareTexts(a.Text, b.Text)
}

func compareTexts(a, b string) int {
	for a != "" && b != "" {
		x, y := leadingNumber(a), leadingNumber(b)
		if x != "" && y != "" {
			p, q := strings.TrimLeft(x, "0"), strings.TrimLeft(y, "0")
			if c := cmp.Or(cmp.Compare(len(p), len(q)), strings.Compare(p, q)); c != 0 {
				return c
			}
			a, b = a[len(x):], b[len(y):]
			continue
		}
		r, s := firstRune(a), firstRune(b)
		if c := cmp.Or(cmp.Compare(unicode.ToLower(r), unicode.ToLower(s)), cmp.Compare(r, s)); c != 0 {
			return c
		}
		a, b = a[len(string(r)):], b[len(string(s)):]
	}
	return cmp.Compare(len(a), len(b))
}

func leadingNumber(s string) string {
	return s[:len(s)-len(strings.TrimLeft(s, "0123456789"))]
}

func firstRune(s string) rune {
	for _, r := range s {
		return r
	}
	return 0
}
