package workplace

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/xuri/excelize/v2"

	"listbound/cmd/internal/paper"
	"listbound/cmd/internal/refusal"
	"listbound/events"
	"listbound/projections/words"
)

// A list comes as a table, CSV or XLSX, with the columns line, item,
// description, quantity in its first row; line may be left out, then the rows
// are counted. The columns may stand in any order and be named in any language
// that has texts for import.line and so on, such as Zeile, Artikel, Bezeichnung,
// Anzahl. CSV may be separated by comma, semicolon or tab, and begin with a byte
// order mark.
//
//	line,item,description,quantity
//	1,FCP-125,"Forceps, mosquito, curved, 12.5 cm",6

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

// ReadTable reads the lines of a list, whose columns are named in a language of
// the catalogue. While any row is wrong it returns no lines, and all that is
// wrong.
func ReadTable(raw []byte, c *words.Catalogue) ([]events.Line, []RowError) {
	rows, err := cells(raw)
	if err != nil {
		return nil, []RowError{{0, err.Error()}}
	}
	return lines(rows, columnNames(c))
}

// maxTable bounds what is unpacked from a spreadsheet.
const maxTable = 32 << 20

func cells(raw []byte) ([][]string, error) {
	if bytes.HasPrefix(raw, []byte("PK\x03\x04")) {
		opts := excelize.Options{UnzipSizeLimit: maxTable, UnzipXMLSizeLimit: maxTable, RawCellValue: true}
		f, err := excelize.OpenReader(bytes.NewReader(raw), opts)
		if err != nil {
			return nil, refusal.New("the file begins like a spreadsheet but can't be read as XLSX: %w", err)
		}
		sheets := f.GetSheetList()
		if len(sheets) == 0 {
			return nil, errors.Join(refusal.New("the spreadsheet has no sheet"), f.Close())
		}
		rows, err := f.GetRows(sheets[0])
		return rows, errors.Join(err, f.Close())
	}
	raw = bytes.TrimPrefix(raw, []byte("\xef\xbb\xbf"))
	if !utf8.Valid(raw) {
		return nil, refusal.New("the file is neither XLSX nor text in UTF-8: save it as XLSX, or as CSV in UTF-8")
	}
	head, _, _ := bytes.Cut(raw, []byte("\n"))
	r := csv.NewReader(bytes.NewReader(raw))
	r.FieldsPerRecord = -1
	for _, sep := range ";\t" {
		if bytes.Count(head, []byte(string(sep))) > bytes.Count(head, []byte(string(r.Comma))) {
			r.Comma = sep
		}
	}
	var rows [][]string
	for {
		row, err := r.Read()
		if errors.Is(err, io.EOF) {
			return rows, nil
		}
		if err != nil {
			return nil, refusal.New("the text can't be read as a table: %w", err)
		}
		// Empty lines are passed over by the reader; row numbers are the file's.
		at, _ := r.FieldPos(0)
		for len(rows) < at-1 {
			rows = append(rows, nil)
		}
		rows = append(rows, row)
	}
}

// columnNames maps what a column may be called to what it is. A text has the
// names of a column in its language, separated by commas.
func columnNames(c *words.Catalogue) map[string]string {
	names := make(map[string]string)
	for _, lang := range c.Languages() {
		for column, key := range map[string]string{
			"line": "import.line", "item": "import.item",
			"description": "import.description", "quantity": "import.quantity",
		} {
			for name := range strings.SplitSeq(c.In(lang).Say(key), ",") {
				names[strings.ToLower(strings.TrimSpace(name))] = column
			}
		}
	}
	return names
}

func lines(rows [][]string, columns map[string]string) ([]events.Line, []RowError) {
	at := make(map[string]int)
	first := -1
	for i, row := range rows {
		if strings.TrimSpace(strings.Join(row, "")) == "" {
			continue
		}
		for c, name := range row {
			if col, ok := columns[strings.ToLower(strings.Trim(strings.TrimSpace(name), "."))]; ok {
				if _, twice := at[col]; twice {
					return nil, []RowError{{i + 1, fmt.Sprintf("the column %s stands twice", col)}}
				}
				at[col] = c
			}
		}
		first = i
		break
	}
	if first < 0 {
		return nil, []RowError{{0, "the table is empty"}}
	}
	for _, must := range []string{"item", "description", "quantity"} {
		if _, ok := at[must]; !ok {
			says := fmt.Sprintf("there is no column %s; the first row names the columns: "+
				"line, item, description, quantity", must)
			return nil, []RowError{{first + 1, says}}
		}
	}
	var out []events.Line
	var bad []RowError
	seen := make(map[int64]int)
	for i := first + 1; i < len(rows); i++ {
		if strings.TrimSpace(strings.Join(rows[i], "")) == "" {
			continue
		}
		cell := func(col string) string {
			c, ok := at[col]
			if !ok || c >= len(rows[i]) {
				return ""
			}
			return strings.TrimSpace(rows[i][c])
		}
		wrong := func(format string, args ...any) { bad = append(bad, RowError{i + 1, fmt.Sprintf(format, args...)}) }
		l := events.Line{Line: int64(len(out) + 1), Item: cell("item"), Description: cell("description")}
		if _, ok := at["line"]; ok {
			n, err := strconv.ParseInt(cell("line"), 10, 64)
			if err != nil {
				wrong("line is %q, not a whole number", cell("line"))
				continue
			}
			l.Line = n
		}
		n, err := strconv.ParseInt(cell("quantity"), 10, 64)
		if err != nil {
			wrong("quantity is %q, not a whole number", cell("quantity"))
			continue
		}
		l.Quantity = n
		if before, twice := seen[l.Line]; twice {
			wrong("line %d stands in row %d already", l.Line, before)
			continue
		}
		seen[l.Line] = i + 1
		one := &events.ListIssued{List: "L", Version: 1, Title: "t", Lines: []events.Line{l}}
		if err := one.Check(); err != nil {
			wrong("%s", err)
			continue
		}
		if missing := append(paper.Missing(l.Description), paper.Missing(l.Item)...); len(missing) > 0 {
			wrong("%q (U+%04X) can't be printed on a sheet: write it otherwise", missing[0], missing[0])
			continue
		}
		out = append(out, l)
	}
	if len(bad) > 0 {
		return nil, bad
	}
	if len(out) == 0 {
		return nil, []RowError{{0, "the table has no lines below its first row"}}
	}
	return out, nil
}
