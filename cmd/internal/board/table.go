package board

import (
	"fmt"
	"net/http"
	"net/url"
	"time"

	"listbound/cmd/internal/shell"
	"listbound/cmd/internal/tablefile"
)

// table is a table on a page, which can be taken away.
type table struct {
	ID      string
	Title   string
	Columns []string
	Rows    [][]cell
	CSV     string // addresses
	XLSX    string
	Heads   []head // of the columns, once it stands on a page
	Only    string // what its rows are to have in them
	Keep    url.Values
	Long    bool // long enough to be looked through
}

type cell struct {
	Text  string
	Link  string
	Value any // as files have it, where that is not text: a time.Time, an int64, a float64
}

func newTable(words *shell.Words, id, title string, columns ...string) *table {
	t := &table{ID: id, Title: words.T(title)}
	for _, c := range columns {
		t.Columns = append(t.Columns, words.T("board.column-"+c))
	}
	return t
}

func (t *table) add(cells ...cell) { t.Rows = append(t.Rows, cells) }

func text(s string) cell { return cell{Text: s} }

func number(n int64) cell { return cell{Text: fmt.Sprint(n), Value: n} }

func when(words *shell.Words, t time.Time) cell {
	if t.IsZero() {
		return cell{}
	}
	return cell{Text: words.Time(t), Value: t}
}

func (c cell) to(link string) cell {
	if c.Text != "" {
		c.Link = link
	}
	return c
}

// file is what the cell is in a file.
func (c cell) file() any {
	switch {
	case c.Value != nil:
		return c.Value
	case c.Text == "":
		return nil
	}
	return c.Text
}

// address fills in where the table can be had as a file.
func (t *table) address(r *http.Request) {
	q := r.URL.Query()
	q.Del("part")
	q.Set("table", t.ID)
	q.Set("format", "csv")
	t.CSV = r.URL.Path + "?" + q.Encode()
	q.Set("format", "xlsx")
	t.XLSX = r.URL.Path + "?" + q.Encode()
}

func (p *pages) export(w http.ResponseWriter, r *http.Request, words *shell.Words, a *answer, format string) {
	if format == "pdf" && a.pdf != nil {
		raw, err := a.pdf()
		if err != nil {
			p.refuse(w, r, words, err)
			return
		}
		w.Header().Set("Content-Type", "application/pdf")
		w.Header().Set("Content-Disposition", fmt.Sprintf("inline; filename=%q", a.template+".pdf"))
		_, _ = w.Write(raw) // fails only where the client has gone away
		return
	}
	id := r.FormValue("table")
	for _, t := range a.tables {
		if t.ID != id && id != "" {
			continue
		}
		t.arrange(r.URL.Query())
		if err := p.writeTable(w, words, t, format, asOf(r)); err != nil {
			p.refuse(w, r, words, err)
		}
		return
	}
	p.refuse(w, r, words, refuse(http.StatusNotFound, "this page has no table %q", id))
}

func attach(w http.ResponseWriter, kind, name string) {
	w.Header().Set("Content-Type", kind)
	w.Header().Set("Content-Disposition", fmt.Sprintf("attachment; filename=%q", name))
}

// writeTable writes a table as a file, whose name says as of when it is where that is not now.
func (p *pages) writeTable(w http.ResponseWriter, words *shell.Words, t *table, format string, at time.Time) error {
	name := t.ID
	if !at.IsZero() {
		name += at.UTC().Format("-as-known-20060102T150405Z")
	}
	file := &tablefile.Table{Title: t.Title, Columns: t.Columns, Made: p.site.Clock()}
	for _, r := range t.Rows {
		row := make([]any, len(r))
		for i := range r {
			row[i] = r[i].file()
			if text, ok := row[i].(string); ok {
				row[i] = words.Elsewhere(text)
			}
		}
		file.Rows = append(file.Rows, row)
	}
	switch format {
	case "csv":
		attach(w, "text/csv; charset=utf-8; header=present", name+".csv")
		_ = tablefile.CSV(w, file) // fails only where the client has gone away
	case "xlsx":
		raw, err := tablefile.XLSX(file)
		if err != nil {
			return err
		}
		attach(w, "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet", name+".xlsx")
		_, _ = w.Write(raw) // the same
	default:
		return refuse(http.StatusBadRequest, "a table can be had as csv or xlsx, not as %q", format)
	}
	return nil
}
