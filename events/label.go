package events

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"
)

// A label this program prints says
//
//	X9 <kind> <identifier> <check character>
//
// without spaces: X9OLAP-014P is the outer label of set LAP-014. Kinds are T for
// the tag on a set's tray, O for the label outside on it, S for a set where it is
// not said which of the two it is on (all were S once), B for a badge, L for a
// load, C for a case, K for a seal. Only digits, capitals
// and hyphens occur, which QR and Code 128 hold compactly and which a keyboard
// wedge types with one key each. An identifier with other characters is written
// as X9X <kind> <the bytes of the identifier in the sheet code's alphabet, five
// bits to a character, padded with zeros> <check character>.
//
// The check character makes the sum over all characters of value times 2^i one
// modulo 37 (0 to 9, A to Z, hyphen are 0 to 36; i counts from the right). 37 is
// prime and 2 generates its multiplicative group, so every single wrong
// character and every swap of neighbours shows. One and not zero, since with
// zero any two labels that ran together would be a third.
const (
	labelLead     = "X9"
	labelTotal    = 1
	labelCoded    = 'X'
	labelAlphabet = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ-"
)

var labelKinds = []struct {
	letter byte
	kind   ScanKind
}{{'S', ScanSet}, {'T', ScanTag}, {'O', ScanOuter}, {'B', ScanBadge}, {'L', ScanLoad}, {'C', ScanCase}, {'K', ScanSeal}}

func isLabelLetter(b byte) bool {
	if b == practiceLetter {
		return true
	}
	for _, k := range labelKinds {
		if k.letter == b {
			return true
		}
	}
	return b == labelCoded
}

// LabelText returns what the symbol on a label says.
func LabelText(kind ScanKind, id string) (string, error) {
	if err := checkID(string(kind), id); err != nil {
		return "", err
	}
	for _, k := range labelKinds {
		if k.kind != kind {
			continue
		}
		text := labelLead + string(k.letter) + id
		if strings.Trim(id, labelAlphabet) != "" {
			text = labelLead + string(labelCoded) + string(k.letter) + encode32([]byte(id))
		}
		return labelWithCheck(text), nil
	}
	return "", fmt.Errorf("there are no labels for a %s", kind)
}

// labelSum is the weighted sum, -1 where a character has no value.
func labelSum(s string) int {
	sum := 0
	for _, r := range s {
		v := strings.IndexRune(labelAlphabet, r)
		if v < 0 {
			return -1
		}
		sum = (2*sum + v) % 37
	}
	return sum
}

func labelWithCheck(text string) string { return text + string(labelAlphabet[labelCheck(text)]) }

func labelCheck(text string) int { return (labelTotal + 37 - 2*labelSum(text)%37) % 37 }

// parseLabel reads a label's text.
func parseLabel(s string) (Scan, error) {
	if foreign := strings.Trim(s, labelAlphabet); foreign != "" {
		r, _ := utf8.DecodeRuneInString(foreign)
		return Scan{}, fmt.Errorf("the label holds %q, which no label has: the scanner types for another keyboard layout "+
			"than the computer's, or two codes ran together; correct the layout or scan again", r)
	}
	damaged := errors.New("the label is damaged, or two codes ran together: scan it again, one at a time")
	if len(s) < len(labelLead)+3 || labelSum(s) != labelTotal {
		return Scan{}, damaged
	}
	letter, id := s[len(labelLead)], s[len(labelLead)+1:len(s)-1]
	if letter == practiceLetter {
		return practiceLabel(s)
	}
	coded := letter == labelCoded
	if coded {
		letter, id = id[0], id[1:]
		b, err := decode32(id)
		if err != nil {
			return Scan{}, damaged
		}
		id = string(b)
	}
	for _, k := range labelKinds {
		if k.letter != letter {
			continue
		}
		// One identifier has one label: the coded form is for what the plain one
		// can't hold.
		if err := checkID(string(k.kind), id); err != nil || coded == (strings.Trim(id, labelAlphabet) == "") {
			return Scan{}, damaged
		}
		switch k.kind {
		case ScanSet:
			return Scan{Kind: ScanSet, Symbol: ScanLabel, Value: id, labelled: true}, nil
		case ScanTag, ScanOuter:
			return Scan{Kind: ScanSet, Symbol: k.kind, Value: id, labelled: true}, nil
		}
		return Scan{Kind: k.kind, Value: id, labelled: true}, nil
	}
	return Scan{}, fmt.Errorf("the label is of a kind %q not known here: it was printed by a newer program", letter)
}

func encode32(b []byte) string {
	out := make([]byte, 0, len(b)*8/5+1)
	padded := append(slices.Clone(b), 0)
	for i := range (len(b)*8 + 4) / 5 {
		out = append(out, sheetAlphabet[bits5(padded, i)])
	}
	return string(out)
}

func decode32(s string) ([]byte, error) {
	b := make([]byte, len(s)*5/8+2)
	for i := range len(s) {
		v := strings.IndexByte(sheetAlphabet, s[i])
		if v < 0 {
			return nil, fmt.Errorf("%q is not in the alphabet", s[i])
		}
		put5(b, i, byte(v))
	}
	n := len(s) * 5 / 8
	if encode32(b[:n]) != s {
		return nil, errors.New("the padding is not zero")
	}
	return b[:n], nil
}
