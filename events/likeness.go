package events

import (
	"strings"
	"unicode"

	"golang.org/x/text/unicode/norm"
)

// alikes are letters that look like a Latin one, of those that Unicode Technical
// Standard 39 lists as confusable with a Latin capital: Greek and Cyrillic capitals, which
// a keyboard that was switched over writes.
var alikes = strings.NewReplacer(
	"Α", "A", "Β", "B", "Ε", "E", "Ζ", "Z", "Η", "H", "Ι", "I", "Κ", "K", "Μ", "M", "Ν", "N", "Ο", "O", "Ρ", "P", "Τ", "T",
	"Υ", "Y", "Χ", "X",
	"А", "A", "В", "B", "Е", "E", "З", "3", "І", "I", "Ј", "J", "К", "K", "М", "M", "Н", "H", "О", "O", "Р", "P", "С", "C",
	"Ѕ", "S", "Т", "T", "У", "Y", "Х", "X",
)

// Likeness returns what two identifiers share that a person takes for the same: letters
// of either case, with or without hyphens, O or 0, and I, L or 1, as in Crockford's
// base 32; full-width and other forms of one character (NFKC); and Greek or Cyrillic
// capitals that look like Latin ones. It says nothing of what an identifier means, and
// names nothing: LAP-014, lap-O14 and LAP014 are three sets until somebody says
// otherwise, but none of them comes to be by a slip.
func Likeness(id string) string {
	id = alikes.Replace(strings.ToUpper(norm.NFKC.String(id)))
	return strings.Map(func(r rune) rune {
		switch {
		case r == 'O':
			return '0'
		case r == 'I' || r == 'L':
			return '1'
		case unicode.IsLetter(r) || unicode.IsDigit(r):
			return r
		}
		return -1
	}, id)
}
