// Package tablefile writes tables as files for spreadsheets: as CSV (RFC 4180) and as XLSX with typed cells. All files
// that people take away from a page are written here.
package tablefile

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/xuri/excelize/v2"

	"listbound/cmd/internal/version"
	"listbound/projections/rowtext"
)

// Table is a table with a heading. A cell is a string, an int64, a float64, a time.Time, or nil where there is nothing.
type Table struct {
	Title   string // the sheet's name in a spreadsheet; it may be shortened there
	Columns []string
	Rows    [][]any
	Made    time.Time // when, for the file's properties; zero: not said
}

// ByteOrderMark tells spreadsheet programs that a file is UTF-8. Without it some show umlauts wrong.
const ByteOrderMark = "\ufeff"

// CSV writes a table as RFC 4180 has it, after a byte-order mark: times in RFC 3339 and UTC, numbers with a point, and
// before text that a spreadsheet would compute a quote.
func CSV(w io.Writer, t *Table) error {
	if _, err := io.WriteString(w, ByteOrderMark); err != nil {
		return err
	}
	c := csv.NewWriter(w)
	c.UseCRLF = true
	if err := c.Write(t.Columns); err != nil {
		return err
	}
	row := make([]string, 0, len(t.Columns))
	for _, r := range t.Rows {
		row = row[:0]
		for _, v := range r {
			row = append(row, plain(v))
		}
		if err := c.Write(row); err != nil {
			return err
		}
	}
	c.Flush()
	return c.Error()
}

// plain is a cell in a file of text.
func plain(v any) string {
	switch v := v.(type) {
	case nil:
		return ""
	case string:
		return rowtext.Inert(v)
	case time.Time:
		return v.UTC().Format(time.RFC3339Nano)
	case float64:
		return strconv.FormatFloat(v, 'g', 8, 64)
	}
	return fmt.Sprint(v)
}

// The widths of columns, in characters, and how a date and time is shown.
const (
	narrowest, widest = 8, 60
	timeWidth         = 20
	timeFormat        = "yyyy-mm-dd hh:mm:ss"
)

// XLSX writes a table as an Office Open XML workbook (ECMA-376) of one sheet: numbers and times are numbers and times,
// the heading stays in view, and each column can be filtered. A workbook's times have no zone, so they are UTC and their
// headings say so.
func XLSX(t *Table) ([]byte, error) {
	f := excelize.NewFile()
	var out bytes.Buffer
	err := fill(f, t)
	if err == nil {
		err = f.Write(&out)
	}
	if err := errors.Join(err, f.Close()); err != nil {
		return nil, fmt.Errorf("table as xlsx: %w", err)
	}
	return out.Bytes(), nil
}

func fill(f *excelize.File, t *Table) error {
	sheet := sheetName(t.Title)
	if err := f.SetSheetName("Sheet1", sheet); err != nil {
		return err
	}
	if err := describe(f, t); err != nil {
		return err
	}
	corner, err := excelize.CoordinatesToCellName(max(1, len(t.Columns)), len(t.Rows)+1)
	if err != nil {
		return err
	}
	if err := f.AutoFilter(sheet, "A1:"+corner, nil); err != nil {
		return err
	}
	sw, err := f.NewStreamWriter(sheet)
	if err != nil {
		return err
	}
	if err := layOut(sw, t); err != nil {
		return err
	}
	if err := head(f, sw, t); err != nil {
		return err
	}
	if err := body(f, sw, t); err != nil {
		return err
	}
	return sw.Flush()
}

// describe sets the properties of the file: the library's own would name it as the author, in 2006.
func describe(f *excelize.File, t *Table) error {
	program := "listbound " + version.String()
	p := &excelize.DocProperties{Creator: program, LastModifiedBy: program, Title: t.Title}
	if !t.Made.IsZero() {
		p.Created = t.Made.UTC().Format(time.RFC3339)
		p.Modified = p.Created
	}
	return f.SetDocProps(p)
}

// layOut gives the columns widths that fit what is in them, and keeps the heading in view.
func layOut(sw *excelize.StreamWriter, t *Table) error {
	for i, c := range t.Columns {
		width := utf8.RuneCountInString(c) + 3 // the filter's arrow
		for _, r := range t.Rows {
			if i >= len(r) {
				continue
			}
			if _, ok := r[i].(time.Time); ok {
				width = max(width, timeWidth)
			} else if r[i] != nil {
				width = max(width, utf8.RuneCountInString(fmt.Sprint(r[i]))+1)
			}
		}
		if err := sw.SetColWidth(i+1, i+1, float64(min(max(width, narrowest), widest))); err != nil {
			return err
		}
	}
	return sw.SetPanes(&excelize.Panes{Freeze: true, YSplit: 1, TopLeftCell: "A2", ActivePane: "bottomLeft"})
}

func head(f *excelize.File, sw *excelize.StreamWriter, t *Table) error {
	bold, err := f.NewStyle(&excelize.Style{Font: &excelize.Font{Bold: true}})
	if err != nil {
		return err
	}
	row := make([]any, len(t.Columns))
	for i, c := range t.Columns {
		if timed(t, i) {
			c += " (UTC)"
		}
		row[i] = excelize.Cell{StyleID: bold, Value: c}
	}
	return sw.SetRow("A1", row)
}

// timed reports whether a column has times.
func timed(t *Table, column int) bool {
	for _, r := range t.Rows {
		if column < len(r) {
			if _, ok := r[column].(time.Time); ok {
				return true
			}
		}
	}
	return false
}

func body(f *excelize.File, sw *excelize.StreamWriter, t *Table) error {
	format := timeFormat
	moment, err := f.NewStyle(&excelize.Style{CustomNumFmt: &format})
	if err != nil {
		return err
	}
	row := make([]any, 0, len(t.Columns))
	for n, r := range t.Rows {
		row = row[:0]
		for _, v := range r {
			if at, ok := v.(time.Time); ok {
				v = excelize.Cell{StyleID: moment, Value: at.UTC()}
			}
			row = append(row, v)
		}
		at, err := excelize.CoordinatesToCellName(1, n+2)
		if err == nil {
			err = sw.SetRow(at, row)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// sheetName is a title as a sheet may be called: at most 31 characters and none of seven (ECMA-376 leaves the limit to
// programs; the library refuses what they refuse).
func sheetName(title string) string {
	name := strings.Map(func(r rune) rune {
		if strings.ContainsRune(`:\/?*[]`, r) {
			return ' '
		}
		return r
	}, title)
	if r := []rune(name); len(r) > excelize.MaxSheetNameLength {
		name = string(r[:excelize.MaxSheetNameLength])
	}
	if name = strings.Trim(name, "' "); name == "" {
		return "listbound"
	}
	return name
}
