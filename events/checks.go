package events

import (
	"encoding/hex"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"
)

const (
	maxCount = 9999 // of one line
	// maxRecords is 2^53-1, the last whole number that every reader of JSON keeps exactly (RFC 8259, 6).
	maxRecords = 1<<53 - 1
	MaxLines   = 1000   // of one list
	maxGrams   = 100000 // 100 kg: more is a slip of the decimal point
	maxID      = 64     // runes
	maxText    = 400    // runes
)

// checks looks at one value after the other, in the order in which a person
// would correct them, and keeps the first fault. After it nothing more is
// looked at, and as long as there is none nothing is formatted.
type checks struct {
	err   error
	where string // which lines are looked at, such as "counts: "
	line  int64  // the line that is looked at, 0 for none
}

// Fault is what is wrong with one value of an observation, for whoever says it in
// another language than English.
type Fault struct {
	Key   string // the entry of faultText
	Value string // which value, by its member: description, or "seal 2" of several
	Line  int64  // the line of a list or count that it stands in, 0 for none
	Args  []any  // what the sentence says beside the value's name
}

// faultText has the sentences of faults, of a value's name and the arguments.
var faultText = map[string]string{
	"missing":    "%s is missing",
	"not-utf8":   "%s is not valid UTF-8",
	"too-long":   "%s has more than %d characters",
	"no-id":      "%s %q holds a space or a character that can't be printed",
	"control":    "%s holds a control character",
	"line-break": "%s holds %s, which breaks or turns round a line of text",
	"range":      "%s is %d; it goes from %d to %d",
	"no-plain":   "%s %q is not in its plain form, which is %q",
}

// Faults returns the keys of all faults.
func Faults() []string { return slices.Sorted(maps.Keys(faultText)) }

func (f *Fault) Error() string {
	return fmt.Sprintf(faultText[f.Key], append([]any{f.Value}, f.Args...)...)
}

func fault(key, value string, args ...any) error { return &Fault{Key: key, Value: value, Args: args} }

// keep keeps an error, with the line it was found in.
func (c *checks) keep(err error) {
	if f, ok := err.(*Fault); ok && c.err == nil {
		f.Line = c.line
	}
	switch {
	case err == nil || c.err != nil:
	case c.line != 0:
		c.err = fmt.Errorf("%sline %d: %w", c.where, c.line, err)
	case c.where != "":
		c.err = fmt.Errorf("%s%w", c.where, err)
	default:
		c.err = err
	}
}

// must refuses what is not so.
func (c *checks) must(ok bool, format string, args ...any) {
	if c.err == nil && !ok {
		c.keep(fmt.Errorf(format, args...))
	}
}

// startLine begins the checks of one line. Its number must not be among those
// before it; nil lets a number stand twice.
func (c *checks) startLine(where string, line int64, before map[int64]struct{}) {
	if c.err != nil {
		return
	}
	c.where, c.line = where, 0
	if _, ok := before[line]; ok {
		in := ""
		if where == "" {
			in = " in the list"
		}
		c.keep(fmt.Errorf("line %d stands twice%s", line, in))
	}
	c.inRange("line", line, 1, maxCount)
	c.line = line
	if before != nil {
		before[line] = struct{}{}
	}
}

// endLines ends the checks of lines.
func (c *checks) endLines() { c.where, c.line = "", 0 }

func (c *checks) id(what, s string) {
	if c.err == nil {
		c.keep(checkID(what, s))
	}
}

func (c *checks) optionalID(what, s string) {
	if c.err == nil {
		c.keep(checkOptionalID(what, s))
	}
}

func (c *checks) optionalTime(what, s string) {
	if s != "" { // an error of what is left out would be made for nothing
		_, err := time.Parse(time.RFC3339, s)
		c.must(err == nil, "%s: %q is no time such as 2026-03-02T08:02:00Z", what, s)
	}
}

func (c *checks) text(what, s string) {
	if c.err == nil {
		c.keep(checkText(what, s))
	}
}

func (c *checks) optionalText(what, s string) {
	if c.err == nil {
		c.keep(checkOptionalText(what, s))
	}
}

// utf8 accepts any text: a code that can't be one is kept as it was signed.
func (c *checks) utf8(what, s string) {
	c.must(utf8.ValidString(s), "%s is not valid UTF-8", what)
}

// each looks at several values, and numbers them only when one is refused.
func (c *checks) each(what string, values []string, check func(what, s string) error) {
	for i, s := range values {
		if check(what, s) != nil {
			c.keep(check(fmt.Sprintf("%s %d", what, i+1), s))
		}
	}
}

func (c *checks) station(s string) {
	if c.err == nil {
		c.keep(CheckStation(s))
	}
}

func (c *checks) uuid(what, s string) {
	if c.err == nil {
		c.keep(checkUUID(what, s))
	}
}

func (c *checks) optionalUUID(what, s string) {
	if s != "" {
		c.uuid(what, s)
	}
}

func (c *checks) year(t time.Time) {
	if c.err == nil {
		c.keep(checkYear(t))
	}
}

func (c *checks) inRange(what string, n, lo, hi int64) {
	if c.err == nil && (n < lo || n > hi) {
		c.keep(fault("range", what, n, lo, hi))
	}
}

// optionalDigest accepts the one written form of a SHA-256 digest.
func (c *checks) optionalDigest(what, s string) {
	if c.err != nil || s == "" {
		return
	}
	b, err := hex.DecodeString(s)
	c.must(err == nil && len(b) == 32 && strings.ToLower(s) == s, "%s is not 64 small hexadecimal digits", what)
}

// optionalCode accepts the code of a sheet; in is where it stands, such as "sheet: ".
func (c *checks) optionalCode(in, s string) {
	if c.err != nil || s == "" {
		return
	}
	if _, err := ParseSheetCode(s); err != nil {
		c.keep(fmt.Errorf("%s%w", in, err))
	}
}

func (c *checks) medium(s string) {
	c.must(s == "" || s == MediumPaper, "medium is %q; it is %q, or left out", s, MediumPaper)
}

// oneOf accepts one of some words.
func oneOf[T ~string](c *checks, what string, s T, words ...T) {
	if c.err != nil || slices.Contains(words, s) {
		return
	}
	names := make([]string, len(words))
	for i, w := range words {
		names[i] = string(w)
	}
	list := strings.Join(names, ", ")
	c.must(s != "", "%s is missing; it is one of %s", what, list)
	c.must(false, "%s is %q; it is one of %s", what, s, list)
}

// checkID refuses an empty, overlong or unprintable identifier: it must survive
// a label, a scanner and a file name in a report.
func checkID(what, s string) error {
	switch {
	case s == "":
		return fault("missing", what)
	case !utf8.ValidString(s):
		return fault("not-utf8", what)
	case utf8.RuneCountInString(s) > maxID:
		return fault("too-long", what, maxID)
	}
	for _, r := range s {
		if unicode.IsSpace(r) || !unicode.IsGraphic(r) {
			return fault("no-id", what, s)
		}
	}
	return nil
}

func checkOptionalID(what, s string) error {
	if s == "" {
		return nil
	}
	return checkID(what, s)
}

func checkText(what, s string) error {
	if strings.TrimSpace(s) == "" {
		return fault("missing", what)
	}
	return checkOptionalText(what, s)
}

// checkOptionalText refuses what a page or a printed report can't show on its lines.
func checkOptionalText(what, s string) error {
	switch {
	case !utf8.ValidString(s):
		return fault("not-utf8", what)
	case utf8.RuneCountInString(s) > maxText:
		return fault("too-long", what, maxText)
	}
	for _, r := range s {
		switch {
		case unicode.IsControl(r):
			return fault("control", what)
		case !shown(r):
			return fault("line-break", what, fmt.Sprintf("U+%04X", r))
		}
	}
	return nil
}

// asTyped returns what was typed or scanned in a form that checkOptionalText
// accepts: characters that no line can show stand as U+FFFD, and what is too long
// is cut.
func asTyped(s string) string {
	out := []rune(strings.ToValidUTF8(s, "\uFFFD"))
	out = out[:min(len(out), maxText)]
	for i, r := range out {
		if !shown(r) {
			out[i] = '\uFFFD'
		}
	}
	return string(out)
}

// shown reports whether a page or a printed report can show a character on its
// line: no control character, and no separator of lines or mark of direction, by
// which a printed line would read otherwise than what was signed.
func shown(r rune) bool {
	return !unicode.IsControl(r) && (r < 0x2028 || r > 0x202e) && (r < 0x2066 || r > 0x2069)
}

// CheckStation refuses what is not a site/station name. The name becomes two
// tokens of a stream subject and the name of a key, hence the small alphabet.
func CheckStation(s string) error {
	site, name, ok := strings.Cut(s, "/")
	if !ok || !isNameToken(site) || !isNameToken(name) {
		return fmt.Errorf("station %q is not of the form site/station in small letters, digits and hyphens "+
			"(for example north/packing-1)", s)
	}
	return nil
}

func isNameToken(s string) bool {
	if s == "" || len(s) > 40 || s[0] == '-' {
		return false
	}
	for _, c := range []byte(s) {
		if (c < 'a' || c > 'z') && (c < '0' || c > '9') && c != '-' {
			return false
		}
	}
	return true
}

// checkYear refuses what only a clock that was set wrong can say.
func checkYear(t time.Time) error {
	if y := t.UTC().Year(); y < 2000 || y > 2199 {
		return fmt.Errorf("time %s is not in the years 2000 to 2199", t.UTC().Format(time.RFC3339))
	}
	return nil
}
