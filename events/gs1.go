package events

import (
	"errors"
	"fmt"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"
)

// Element is one element of a GS1 symbol: an application identifier (AI) and
// its value.
type Element struct {
	AI    string
	Value string
}

// Title is the element's short title in words.
func (e Element) Title() string { return applicationIdentifiers[e.AI].title }

// ErrPatient is returned for a GS1 symbol that identifies a patient. What it
// says is not repeated in the error: it must not reach a log or a screen.
var ErrPatient = errors.New("this symbol identifies a patient (GS1 8018): nothing about patients is recorded here; " +
	"scan the case reference instead")

// ai is the format of one application identifier: a part of fixed length and,
// after it, a part of variable length.
type ai struct {
	title    string
	fixed    int  // digits
	check    bool // the fixed part ends in a check digit
	date     bool // the fixed part is YYMMDD
	zero     bool // the fixed part begins with a filler zero
	variable int  // most characters of the variable part
	numeric  bool // and it is digits only
	optional bool // and it may be absent
	// predefined: the length is known without a separator. 8003, 8017 and 8018
	// are fixed or begin fixed and yet are not in that list, so they need one.
	predefined bool
}

// applicationIdentifiers is after the GS1 Application Identifier Syntax
// Dictionary, gs1-syntax-dictionary.txt @0344bf4: those that stand on sets,
// badges, loads, goods and places, and their companions on a device's label.
var applicationIdentifiers = map[string]ai{
	"00":   {title: "SSCC", fixed: 18, check: true, predefined: true},
	"01":   {title: "GTIN", fixed: 14, check: true, predefined: true},
	"10":   {title: "batch or lot", variable: 20},
	"11":   {title: "production date", fixed: 6, date: true, predefined: true},
	"13":   {title: "packaging date", fixed: 6, date: true, predefined: true},
	"15":   {title: "best before", fixed: 6, date: true, predefined: true},
	"17":   {title: "expiry", fixed: 6, date: true, predefined: true},
	"20":   {title: "variant", fixed: 2, predefined: true},
	"21":   {title: "serial number", variable: 20},
	"22":   {title: "consumer product variant", variable: 20},
	"30":   {title: "count", variable: 8, numeric: true},
	"240":  {title: "additional product id", variable: 30},
	"241":  {title: "customer part number", variable: 30},
	"250":  {title: "secondary serial number", variable: 30},
	"254":  {title: "location extension", variable: 20},
	"414":  {title: "location", fixed: 13, check: true, predefined: true},
	"7023": {title: "GIAI of the assembly", variable: 30},
	"8003": {title: "GRAI", fixed: 14, check: true, zero: true, variable: 16, optional: true},
	"8004": {title: "GIAI", variable: 30},
	"8017": {title: "GSRN of staff", fixed: 18, check: true},
	"8018": {title: "GSRN of a patient", fixed: 18, check: true},
	"8019": {title: "service relation instance", variable: 10, numeric: true},
	"90":   {title: "internal 90", variable: 30},
	// 91 to 99 are for a company's own use. The first five have a meaning here.
	"91": {title: "sheet code", variable: 90},
	"92": {title: "load", variable: 90},
	"93": {title: "case", variable: 90},
	"94": {title: "badge", variable: 90},
	"95": {title: "seal", variable: 90},
	"96": {title: "internal 96", variable: 90},
	"97": {title: "internal 97", variable: 90},
	"98": {title: "internal 98", variable: 90},
	"99": {title: "internal 99", variable: 90},
}

const groupSeparator = "\x1d"

// gs1Prefixes are the symbology identifiers (ISO/IEC 15424) that promise an
// element string: GS1-128, GS1 DataMatrix, GS1 QR, GS1 DataBar, GS1 DotCode.
var gs1Prefixes = []string{"]C1", "]d2", "]Q3", "]e0", "]J1"}

// extraCharacters are those of GS1's character set 82 besides letters and digits.
const extraCharacters = "!\"%&'()*+,-./:;<=>?_"

// CheckDigit returns the GS1 check digit of a string of digits: weights 3 and 1
// from the right, the difference to the next ten.
func CheckDigit(digits string) (byte, error) {
	if digits == "" || !onlyDigits(digits) {
		return 0, fmt.Errorf("%.40q is not a string of digits", digits)
	}
	sum, weight := 0, 3
	for _, c := range slices.Backward([]byte(digits)) {
		sum += weight * int(c-'0')
		weight = 4 - weight
	}
	return byte('0' + (10-sum%10)%10), nil
}

func onlyDigits(s string) bool {
	return strings.Trim(s, "0123456789") == ""
}

// knownAI returns the identifier a string begins with. No identifier of the
// table is the beginning of another.
func knownAI(s string) (string, ai, bool) {
	for n := 2; n <= 4 && n <= len(s); n++ {
		if a, ok := applicationIdentifiers[s[:n]]; ok {
			return s[:n], a, true
		}
	}
	return "", ai{}, false
}

// parseElements reads an element string whose separators are GS characters.
func parseElements(s string) ([]Element, error) {
	var out []Element
	s = strings.TrimPrefix(s, groupSeparator)
	for s != "" {
		id, a, ok := knownAI(s)
		if !ok {
			return nil, fmt.Errorf("taken for a GS1 symbol, it goes on with %.8q, which is no identifier known here "+
				"(read so far: %s): if the scanner leaves separators out, set it to send GS or ^", s, readSoFar(out))
		}
		s = s[len(id):]
		var value string
		if a.predefined {
			n := min(a.fixed, len(s))
			value, s = s[:n], s[n:]
			s = strings.TrimPrefix(s, groupSeparator)
		} else {
			value, s, _ = strings.Cut(s, groupSeparator)
		}
		if err := a.checkValue(id, value); err != nil {
			return nil, err
		}
		out = append(out, Element{AI: id, Value: value})
	}
	return out, checkTogether(out)
}

// parseBracketed reads the form printed for people, (01)09521234543213(21)12345.
func parseBracketed(s string) ([]Element, error) {
	var out []Element
	for s != "" {
		id, a, ok := knownAI(strings.TrimPrefix(s, "("))
		if !ok || !strings.HasPrefix(s, "("+id+")") {
			return nil, fmt.Errorf("taken for a GS1 symbol in brackets, %.12q is no identifier known here: "+
				"type it as printed, for example (8004)4012345AAbb", s)
		}
		s = s[len(id)+2:]
		end := len(s)
		for i := range len(s) {
			if s[i] != '(' {
				continue
			}
			if next, _, ok := knownAI(s[i+1:]); ok && strings.HasPrefix(s[i+1+len(next):], ")") {
				end = i
				break
			}
		}
		value := strings.TrimSpace(s[:end])
		s = s[end:]
		if err := a.checkValue(id, value); err != nil {
			return nil, err
		}
		out = append(out, Element{AI: id, Value: value})
	}
	return out, checkTogether(out)
}

// parseLink reads a GS1 Digital Link: identifiers and values are pairs of path
// segments, further ones stand in the query.
func parseLink(s string) ([]Element, error) {
	u, err := url.Parse(s)
	if err != nil || u.Host == "" {
		return nil, fmt.Errorf("%.60q is not a web address that can be read: scan the symbol again", s)
	}
	path := strings.Split(strings.Trim(u.EscapedPath(), "/"), "/")
	start := slices.IndexFunc(path, func(p string) bool {
		_, ok := applicationIdentifiers[p]
		return ok
	})
	if start < 0 || (len(path)-start)%2 != 0 {
		return nil, fmt.Errorf("%.60q is a web address without a GS1 identifier: "+
			"scan the label of the set, badge, load or case", s)
	}
	var out []Element
	add := func(id, value string) error {
		a, ok := applicationIdentifiers[id]
		if !ok {
			return fmt.Errorf("the GS1 web address names %.8q, which is no identifier known here: "+
				"scan the label of the set, badge, load or case", id)
		}
		if err := a.checkValue(id, value); err != nil {
			return err
		}
		out = append(out, Element{AI: id, Value: value})
		return nil
	}
	for i := start; i < len(path); i += 2 {
		value, err := url.PathUnescape(path[i+1])
		if err != nil {
			return nil, fmt.Errorf("%.60q is damaged: scan the symbol again", s)
		}
		if err := add(path[i], value); err != nil {
			return nil, err
		}
	}
	for _, q := range strings.Split(u.RawQuery, "&") {
		id, value, _ := strings.Cut(q, "=")
		if id == "" || !onlyDigits(id) {
			continue // a word for the web, no element
		}
		value, err := url.QueryUnescape(value)
		if err != nil {
			return nil, fmt.Errorf("%.60q is damaged: scan the symbol again", s)
		}
		if err := add(id, value); err != nil {
			return nil, err
		}
	}
	return out, checkTogether(out)
}

func readSoFar(es []Element) string {
	if len(es) == 0 {
		return "nothing"
	}
	var out []string
	for _, e := range es {
		if e.AI == "8018" {
			return "a patient's identifier"
		}
		out = append(out, e.Title()+" "+e.Value)
	}
	return strings.Join(out, ", ")
}

// checkValue refuses a value that is not of the format. Errors of a patient's element
// don't repeat the value.
func (a ai) checkValue(id, v string) error {
	if id == "8018" {
		return ErrPatient
	}
	bad := func(format string, args ...any) error {
		return fmt.Errorf("GS1 %s (%s) %.40q %s: scan it again", id, a.title, v, fmt.Sprintf(format, args...))
	}
	for _, r := range v {
		if !alphanumeric(r) && !strings.ContainsRune(extraCharacters, r) {
			return bad("holds %q, which no GS1 value has", r)
		}
	}
	if len(v) < a.fixed {
		return bad("has %d characters of %d", len(v), a.fixed)
	}
	head, tail := v[:a.fixed], v[a.fixed:]
	switch {
	case !onlyDigits(head):
		return bad("has a letter where a digit belongs")
	case a.zero && head[0] != '0':
		return bad("does not begin with the filler 0")
	case len(tail) > a.variable:
		return bad("is followed by more without a separator, or too long (%d characters, at most %d); "+
			"if this comes again, set the scanner to send GS or ^ as separator", len(v), a.fixed+a.variable)
	case tail == "" && a.variable > 0 && !a.optional:
		return bad("is empty")
	case a.numeric && !onlyDigits(tail):
		return bad("has a letter where a digit belongs")
	}
	if a.check {
		if want, err := CheckDigit(head[:len(head)-1]); err != nil || want != head[len(head)-1] {
			return bad("is damaged (the check digit should be %c)", want)
		}
	}
	if a.date {
		if _, err := time.Parse("060102", dayOne(head)); err != nil {
			return bad("is no date (year, month, day)")
		}
	}
	return nil
}

func alphanumeric[C byte | rune](c C) bool {
	return c >= '0' && c <= '9' || c >= 'A' && c <= 'Z' || c >= 'a' && c <= 'z'
}

// dayOne replaces day 00, "the month as a whole", so that the date can be read.
func dayOne(d string) string {
	if strings.HasSuffix(d, "00") {
		return d[:4] + "01"
	}
	return d
}

// checkTogether refuses what contradicts itself in one symbol. What GS1 asks
// to be present besides (10 with 01, say) may stand in a second symbol on the
// same thing, so it is not asked for; 254 and 8019 mean nothing alone.
func checkTogether(es []Element) error {
	have := make(map[string]string, len(es))
	for _, e := range es {
		if v, ok := have[e.AI]; ok && v != e.Value {
			return fmt.Errorf("GS1 %s (%s) stands twice in one scan, as %.40q and %.40q: "+
				"two symbols ran together; scan them one at a time", e.AI, e.Title(), v, e.Value)
		}
		have[e.AI] = e.Value
	}
	for id, with := range map[string]string{"254": "414", "8019": "8017"} {
		if _, ok := have[id]; ok && have[with] == "" {
			return fmt.Errorf("GS1 %s (%s) means nothing without %s: scan the whole symbol",
				id, applicationIdentifiers[id].title, with)
		}
	}
	return nil
}

// Date returns the date an element says, for AIs 11 to 17. Day 00 is the last
// of the month. The century is the one that brings the year within 49 years
// before and 50 after now (GS1 General Specifications, 7.12; from memory).
func (e Element) Date(now time.Time) (time.Time, error) {
	if !applicationIdentifiers[e.AI].date || len(e.Value) != 6 || !onlyDigits(e.Value) {
		return time.Time{}, fmt.Errorf("GS1 %s %.40q is no date", e.AI, e.Value)
	}
	yy, _ := strconv.Atoi(e.Value[:2])
	day, _ := strconv.Atoi(e.Value[4:])
	year := now.Year() - now.Year()%100 + yy
	switch diff := yy - now.Year()%100; {
	case diff >= 51:
		year -= 100
	case diff <= -50:
		year += 100
	}
	first, err := time.Parse("2006-01", fmt.Sprintf("%04d-%s", year, e.Value[2:4]))
	on := first.AddDate(0, 0, day-1)
	if day == 0 {
		on = first.AddDate(0, 1, -1)
	}
	if err != nil || on.Month() != first.Month() {
		return time.Time{}, fmt.Errorf("GS1 %s %q is no date in %d", e.AI, e.Value, year)
	}
	return on, nil
}
