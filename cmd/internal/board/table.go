package board

import (
	"encoding/csv"
	"fmt"
	"net/http"
	"time"

	"github.com/xuri/excelize/v2"

	"listbound/cmd/internal/report"
	"listbound/cmd/internal/shell"
)

// table is a table on a page, which can be taken away.
type table struct {
	ID      string
	Title   string
	Columns []string
	Rows    [][]cell
	CSV     string // addresses
	XLSX    string
}

type cell struct {
	Text string
	Link string
	File string // as files have it, where that differs: a time in RFC 3339, a number with a point
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

func number(n int64) cell { return cell{Text: fmt.Sprint(n)} }

func when(words *shell.Words, t time.Time) cell {
	if t.IsZero() {
		return cell{}
	}
	return cell{Text: words.Time(t), File: rfc3339(t)}
}

func (c cell) to(link string) cell {
	if c.Text != "" {
		c.Link = link
	}
	return c
}

// file is what the cell is in a file: times with all their digits, and no
// text that a spreadsheet would take for a formula.
func (c cell) file() string {
	if c.File != "" {
		return c.File
	}
	return report.Inert(c.Text)
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
	id := r.FormValue("table")
	for _, t := range a.tables {
		if t.ID != id && id != "" {
			continue
		}
		var err error
		switch format {
		case "csv":
			err = t.writeCSV(w)
		case "xlsx":
			err = t.writeXLSX(w)
		default:
			err = refuse(http.StatusBadRequest, "a table can be had as csv or xlsx, not as %q", format)
		}
		if err != nil {
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

func (t *table) writeCSV(w http.ResponseWriter) error {
	attach(w, "text/csv; charset=utf-8; header=present", t.ID+".csv")
	c := csv.NewWriter(w)
	c.UseCRLF = true // RFC 4180
	if err := c.Write(t.Columns); err != nil {
		return nil // the client has gone away
	}
	row := make([]string, len(t.Columns))
	for _, r := range t.Rows {
		for i := range r {
			row[i] = r[i].file()
		}
		if err := c.Write(row); err != nil {
			return nil
		}
	}
	c.Flush()
	return nil
}

func (t *table) writeXLSX(w http.ResponseWriter) error {
	f := excelize.NewFile()
	defer f.Close()
	const sheet = "Sheet1"
	sw, err := f.NewStreamWriter(sheet)
	if err != nil {
		return fmt.Errorf("table as xlsx: %w", err)
	}
	row := make([]any, len(t.Columns))
	for i, c := range t.Columns {
		row[i] = c
	}
	if err := sw.SetRow("A1", row); err != nil {
		return fmt.Errorf("table as xlsx: %w", err)
	}
	for n, r := range t.Rows {
		for i := range r {
			row[i] = r[i].file()
		}
		at, err := excelize.CoordinatesToCellName(1, n+2)
		if err == nil {
			err = sw.SetRow(at, row[:len(r)])
		}
		if err != nil {
			return fmt.Errorf("table as xlsx: %w", err)
		}
	}
	if err := sw.Flush(); err != nil {
		return fmt.Errorf("table as xlsx: %w", err)
	}
	attach(w, "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet", t.ID+".xlsx")
	return f.Write(w)
}
