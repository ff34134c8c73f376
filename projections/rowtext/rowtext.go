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

// Decode returns a text in UTF-8: with a byte order mark UTF-8 or UTF-16, without one UTF-16 if it shows, and what is neither that nor
// UTF-8 is Windows-1252, as spreadsheets in western Europe and America save it.
func Decode(raw []byte) (string, error) {
	from := charmap.Windows1252.NewDecoder()
	if order, ok := unmarked(raw); ok {
		from = unicode.UTF16(order, unicode.IgnoreBOM).NewDecoder()
	} else if utf8.Valid(raw) {
		from = unicode.UTF8.NewDecoder()
	}
	text, _, err := transform.Bytes(unicode.BOMOverride(from), raw)
	return string(text), err
}

// unmarked finds UTF-16 that nothing says is it: in the languages of Europe most letters have a byte of zero, all on the same side,
// and in no other text is there any.
func unmarked(raw []byte) (order unicode.Endianness, ok bool) {
	const enough = 4096
	head := raw[:min(len(raw), enough)&^1]
	var zero [2]int // in the first and the second byte of two
	for i, b := range head {
		if b == 0 {
			zero[i%2]++
		}
	}
	most, least, order := zero[1], zero[0], unicode.LittleEndian
	if zero[0] > zero[1] {
		most, least, order = zero[0], zero[1], unicode.BigEndian
	}
	const half, few = 2, 100 // more than every second letter, and hardly any on the other side
	return order, most*half*2 > len(head) && least*few <= most
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
