package events

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"
)

// ScanKind is what a person scanned.
type ScanKind string

// What a scan can be. ScanPlain is an identifier that doesn't say what it
// identifies; the field it was scanned into does.
const (
	ScanSheet ScanKind = "sheet code"
	ScanShort ScanKind = "short code"
	ScanSet   ScanKind = "set"
	ScanBadge ScanKind = "badge"
	ScanLoad  ScanKind = "load"
	ScanCase  ScanKind = "case"
	ScanSeal  ScanKind = "seal"
	ScanItem  ScanKind = "item"
	ScanPlace ScanKind = "place"
	ScanLot   ScanKind = "lot" // of a bag; no symbol of this program names one
	ScanPlain ScanKind = "identifier"
)

// What names a set, where the symbol says so; see Scan.Symbol.
const (
	ScanTag   ScanKind = "tag"         // on the tray itself
	ScanOuter ScanKind = "outer label" // on the wrap or container, printed for one turn
	ScanLabel ScanKind = "label"       // of a set, from before labels said which of the two they are
)

// Scan is one thing that was scanned.
type Scan struct {
	Kind ScanKind
	// Value is the identifier as events carry it: the 54 characters of a sheet
	// code, the set id, the GTIN of an item, the GLN of a place.
	Value string
	// Symbol is ScanTag, ScanOuter or ScanLabel where the symbol that names a set
	// says what it is on, and empty otherwise. Only a tag is on the tray itself:
	// what is printed and put outside proves nothing about which tray is inside.
	Symbol ScanKind
	// Elements are all elements of a GS1 symbol, nil otherwise.
	Elements []Element
	// Page of how many Pages of a printed sheet was scanned; 0 where its symbol
	// doesn't say.
	Page, Pages int

	practice bool   // printed for practice
	labelled bool   // on a label of this program
	symbol   int    // which symbol of the scan named it
	plain    string // the text, where it could just as well be a plain identifier
}

// Element returns the value of one of the symbol's GS1 elements.
func (s Scan) Element(id string) (string, bool) {
	for _, e := range s.Elements {
		if e.AI == id {
			return e.Value, true
		}
	}
	return "", false
}

const maxScan = 2000 // characters; a symbol holds fewer

// separators are what scanners are usually set to type for the separator of
// GS1 symbols, besides the GS character itself. None of the signs can stand in
// a GS1 value; the two words practically never do.
var separators = []string{"^", "~", "|", "{GS}", "<GS>"}

// Recognise says what one scan is. It reads sheet codes and short codes, the
// labels this program prints, GS1 symbols (as element string with or without
// symbology prefix, as printed in brackets, as web address), and plain
// identifiers.
//
// With want, it says which kinds are asked for: a plain identifier is then
// taken for the one that is, another kind is refused, and of a symbol that
// names several things the one asked for is returned. Two codes that ran
// together are refused when both count; RecogniseAll takes them apart.
func Recognise(scan string, want ...ScanKind) (Scan, error) {
	all, err := RecogniseAll(scan)
	if err != nil {
		return Scan{}, err
	}
	if same(all) { // one code scanned twice
		all = all[:1]
	}
	if symbols := all[len(all)-1].symbol + 1; symbols > 1 {
		return Scan{}, fmt.Errorf("%d codes in one scan (%s): scan them one at a time", symbols, describe(all))
	}
	var fit []Scan
	for _, s := range all {
		if s, ok := s.as(want); ok {
			fit = append(fit, s)
		}
	}
	switch len(fit) {
	case 0:
		var asked []string
		for _, k := range want {
			asked = append(asked, string(k))
		}
		return Scan{}, fmt.Errorf("this is %s; asked for is: %s", describe(all), strings.Join(asked, " or "))
	case 1:
		return fit[0], nil
	}
	// A sheet's own symbol may name its set as well: then it is the sheet.
	if i := slices.IndexFunc(fit, func(s Scan) bool { return s.Kind == ScanSheet }); i >= 0 {
		return fit[i], nil
	}
	return Scan{}, fmt.Errorf("one symbol names %s: scan a label that names only what is asked for", describe(all))
}

func same(all []Scan) bool {
	for _, s := range all {
		if a := all[0]; s.Kind != a.Kind || s.Value != a.Value || s.Symbol != a.Symbol || s.Page != a.Page {
			return false
		}
	}
	return true
}

// as returns a scan as one of the wanted kinds.
func (s Scan) as(want []ScanKind) (Scan, bool) {
	if len(want) == 0 || slices.Contains(want, s.Kind) {
		return s, true
	}
	text := s.plain
	if text == "" {
		return s, false
	}
	if slices.Contains(want, ScanShort) {
		if short, err := ParseShortCode(text); err == nil {
			return Scan{Kind: ScanShort, Value: short}, true
		}
	}
	var plain []ScanKind
	for _, k := range want {
		if k != ScanSheet && k != ScanShort {
			plain = append(plain, k)
		}
	}
	switch len(plain) {
	case 0:
		return s, false
	case 1:
		return Scan{Kind: plain[0], Value: text}, true
	}
	return Scan{Kind: ScanPlain, Value: text}, true
}

func describe(all []Scan) string {
	var out []string
	for _, s := range all {
		v := s.Value
		if c, err := ParseSheetCode(v); s.Kind == ScanSheet && err == nil {
			v = c.Short()
		}
		out = append(out, fmt.Sprintf("%s %.64s", s.Kind, v))
	}
	return strings.Join(out, " and ")
}

// RecogniseAll returns everything one scan names, in order. Codes that a fast
// scanner typed without an Enter between them are taken apart where there is
// only one way to do it: at symbology prefixes, and between codes that carry
// their own check character. Plain identifiers that ran together can't be
// told from a longer one.
func RecogniseAll(scan string) ([]Scan, error) {
	all, err := recogniseAll(scan)
	if err == nil {
		err = refusePractice(all)
	}
	if err != nil {
		return nil, err
	}
	return all, nil
}

func recogniseAll(scan string) ([]Scan, error) {
	if !utf8.ValidString(scan) {
		return nil, errors.New("the scan holds bytes that are no characters: " +
			"set the scanner to type text, and scan again")
	}
	if len(scan) > maxScan {
		return nil, fmt.Errorf("the scan has %d characters, more than any code: empty the field and scan again", len(scan))
	}
	var out []Scan
	symbol := 0
	for line := range strings.FieldsFuncSeq(scan, func(r rune) bool { return strings.ContainsRune("\r\n\t", r) }) {
		for _, part := range atPrefixes(line) {
			if strings.TrimSpace(part) == "" {
				continue
			}
			scans, err := recognise(strings.Trim(part, " "))
			if err != nil {
				return nil, err
			}
			for i := range scans {
				scans[i].symbol += symbol
			}
			symbol = scans[len(scans)-1].symbol + 1
			out = append(out, scans...)
		}
	}
	if len(out) == 0 {
		return nil, errors.New("nothing was scanned: scan the code again, or type what is printed beside it")
	}
	return out, nil
}

// atPrefixes cuts before each symbology prefix: ], a letter, a digit or letter.
func atPrefixes(s string) []string {
	var out []string
	from := 0
	for i := 1; i < len(s); i++ {
		if hasPrefix(s[i:]) {
			out = append(out, s[from:i])
			from = i
		}
	}
	return append(out, s[from:])
}

func hasPrefix(s string) bool {
	return len(s) >= 3 && s[0] == ']' && alphanumeric(s[1]) && (s[1] < '0' || s[1] > '9') && alphanumeric(s[2])
}

// scanned is a part of a scan with at most one symbology prefix, at its start,
// in the forms in which it is looked at.
type scanned struct {
	text     string // without the prefix
	gs1      bool   // the prefix promises an element string
	elements string // the text with GS for every separator
	compact  string // the text without blanks, and in capitals where it has none: caps lock may have turned it round
}

// readings are the ways to read a scan, in their order of precedence: first
// what says itself how to read it, then what a check digit or character
// proves, then what is nearly one of those and therefore damaged. The first
// that returns a scan or an error decides. What none of them reads may be
// anything: readIdentifier.
var readings = []func(scanned) ([]Scan, error){
	readPatient,
	readPromisedElements,
	readLink,
	readBracketed,
	readSeparated,
	readBareElements,
	readSheetCode,
	readRow,
	readDamagedLabel,
	readDamagedSheetCode,
}

// recognise reads a part of a scan that is not empty.
func recognise(s string) ([]Scan, error) {
	p := scanned{text: s}
	if hasPrefix(s) {
		p.gs1, p.text = slices.Contains(gs1Prefixes, s[:3]), s[3:]
		if p.text == "" {
			return nil, errors.New("the scanner sent a prefix and no code: scan again")
		}
	}
	p.elements = p.text
	for _, sep := range separators {
		p.elements = strings.ReplaceAll(p.elements, sep, groupSeparator)
	}
	p.compact = strings.ReplaceAll(p.text, " ", "")
	if strings.ToLower(p.text) == p.text {
		p.compact = strings.ToUpper(p.compact)
	}
	for _, read := range readings {
		if scans, err := read(p); scans != nil || err != nil {
			return scans, err
		}
	}
	return readIdentifier(p)
}

// readIdentifier reads what is nothing else: a plain identifier, or a short
// code typed as it is printed.
func readIdentifier(p scanned) ([]Scan, error) {
	s := p.text
	if err := checkID("the scan", s); err != nil {
		return nil, fmt.Errorf("%w; taken for a plain identifier: scan the code again, "+
			"or type what is printed beside it", err)
	}
	if short, err := ParseShortCode(s); err == nil && short == s {
		return []Scan{{Kind: ScanShort, Value: short, plain: s}}, nil
	}
	return []Scan{{Kind: ScanPlain, Value: s, plain: s}}, nil
}
