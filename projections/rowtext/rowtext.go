// Package rowtext is about text files of rows, as spreadsheets and sterilizers write and read them. It knows nothing of what
// the rows mean.
package rowtext

import (
	"encoding/csv"
	"errors"
	"io"
	"strings"
	"unicode/utf8"

	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/unicode"
	"golang.org/x/text/transform"
)

// Decode returns a text in UTF-8: with a byte order mark UTF-8 or UTF-16, without
// one what is no UTF-8 is Windows-1252, as spreadsheets in western Europe and America
// save it.
func Decode(raw []byte) (string, error) {
	from := charmap.Windows1252.NewDecoder()
	if utf8.Valid(raw) {
		from = unicode.UTF8.NewDecoder()
	}
	text, _, err := transform.Bytes(unicode.BOMOverride(from), raw)
	return string(text), err
}

// Split returns the rows of a text, each with as many cells as it has; row i is the
// one that begins in the file's line i+1, and an empty line is a row without cells. A
// quote may stand within a cell where lazy is set, as one for inches does. The error
// is the CSV reader's and names the line.
func Split(text string, comma rune, lazy bool) ([][]string, error) {
	r := csv.NewReader(strings.NewReader(text))
	r.FieldsPerRecord, r.Comma, r.LazyQuotes = -1, comma, lazy
	var rows [][]string
	for {
		row, err := r.Read()
		if errors.Is(err, io.EOF) {
			return rows, nil
		}
		if err != nil {
			return nil, err
		}
		// The reader passes over empty lines.
		at, _ := r.FieldPos(0)
		for len(rows) < at-1 {
			rows = append(rows, nil)
		}
		rows = append(rows, row)
	}
}

// Inert puts a quote before what a spreadsheet would compute. Ids and badges come from scanners, so anybody can print one
// that begins with an equals sign. A text cell of a workbook needs none: it is text by its type.
func Inert(s string) string {
	if s != "" && strings.ContainsRune("=+-@\t\r", rune(s[0])) {
		return "'" + s
	}
	return s
}
