package events

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"
)

// ScanKind says what a person scanned.
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
	ScanPlain ScanKind = "identifier"
)

// Scan is one thing that was scanned.
type Scan struct {
	Kind ScanKind
	// Value is the identifier as events carry it: the 54 characters of a sheet
	// code, the set id, the GTIN of an item, the GLN of a place.
	Value string
	// Elements are all elements of a GS1 symbol, nil otherwise.
	Elements []Element

	symbol int    // which symbol of the scan named it
	plain  string // the text, where it could just as well be a plain identifier
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

// A label this program prints says
//
//	X9 <kind> <identifier> <check character>
//
// without spaces: X9SLAP-0140 is the tag of set LAP-014. Kinds are S for a set,
// B for a badge, L for a load, C for a case, K for a seal. Only digits, capitals
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
	maxScan       = 2000 // characters; a symbol holds fewer
)

var labelKinds = []struct {
	letter byte
	kind   ScanKind
}{{'S', ScanSet}, {'B', ScanBadge}, {'L', ScanLoad}, {'C', ScanCase}, {'K', ScanSeal}}

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
		return text + string(labelAlphabet[labelCheck(text)]), nil
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

func labelCheck(text string) int { return (labelTotal + 37 - 2*labelSum(text)%37) % 37 }

// parseLabel reads a label's text.
func parseLabel(s string) (Scan, error) {
	if i := strings.IndexFunc(s, func(r rune) bool { return !strings.ContainsRune(labelAlphabet, r) }); i >= 0 {
		r, _ := utf8.DecodeRuneInString(s[i:])
		return Scan{}, fmt.Errorf("the label holds %q, which no label has: the scanner types for another keyboard layout than the computer's, or two codes ran together; correct the layout or scan again", r)
	}
	damaged := errors.New("the label is damaged, or two codes ran together: scan it again, one at a time")
	if len(s) < len(labelLead)+3 || labelSum(s) != labelTotal {
		return Scan{}, damaged
	}
	letter, id := s[len(labelLead)], s[len(labelLead)+1:len(s)-1]
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
		return Scan{Kind: k.kind, Value: id}, nil
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

// A Wedge is a scanner that types what it reads. Separators are what it types
// for the separator of GS1 symbols, besides the GS character itself.
type Wedge struct {
	Separators []string
}

// CommonSeparators are what scanners are usually set to type for GS. None of
// the signs can stand in a GS1 value; the two words practically never do.
func CommonSeparators() []string { return []string{"^", "~", "|", "{GS}", "<GS>"} }

// Recognise is Wedge.Recognise for a scanner with one of the common settings.
func Recognise(scan string, want ...ScanKind) (Scan, error) {
	return Wedge{CommonSeparators()}.Recognise(scan, want...)
}

// RecogniseAll is Wedge.RecogniseAll for a scanner with one of the common settings.
func RecogniseAll(scan string) ([]Scan, error) {
	return Wedge{CommonSeparators()}.RecogniseAll(scan)
}

// Recognise says what one scan is. It reads sheet codes and short codes, the
// labels this program prints, GS1 symbols (as element string with or without
// symbology prefix, as printed in brackets, as web address), and plain
// identifiers.
//
// With want, it says which kinds are asked for: a plain identifier is then
// taken for the one that is, another kind is refused, and of a symbol that
// names several things the one asked for is returned. Two codes that ran
// together are refused when both count; RecogniseAll takes them apart.
func (w Wedge) Recognise(scan string, want ...ScanKind) (Scan, error) {
	all, err := w.RecogniseAll(scan)
	if err != nil {
		return Scan{}, err
	}
	if same(all) { // one code scanned twice
		all = all[:1]
	}
	var fit []Scan
	symbols := 0
	for _, s := range all {
		symbols = max(symbols, s.symbol+1)
		if s, ok := s.as(want); ok {
			fit = append(fit, s)
		}
	}
	switch {
	case symbols > 1:
		return Scan{}, fmt.Errorf("%d codes in one scan (%s): scan them one at a time", symbols, describe(all))
	case len(fit) == 0:
		var asked []string
		for _, k := range want {
			asked = append(asked, string(k))
		}
		return Scan{}, fmt.Errorf("this is %s; asked for is: %s", describe(all), strings.Join(asked, " or "))
	case len(fit) == 1:
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
		if s.Kind != all[0].Kind || s.Value != all[0].Value {
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
func (w Wedge) RecogniseAll(scan string) ([]Scan, error) {
	if !utf8.ValidString(scan) {
		return nil, errors.New("the scan holds bytes that are no characters: set the scanner to type text, and scan again")
	}
	if len(scan) > maxScan {
		return nil, fmt.Errorf("the scan has %d characters, more than any code: empty the field and scan again", len(scan))
	}
	var out []Scan
	symbol := 0
	for _, line := range strings.FieldsFunc(scan, func(r rune) bool { return r == '\r' || r == '\n' || r == '\t' }) {
		for _, part := range atPrefixes(line) {
			if strings.TrimSpace(part) == "" {
				continue
			}
			scans, err := w.recognise(strings.Trim(part, " "))
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

// recognise reads a part with at most one symbology prefix, at its start.
func (w Wedge) recognise(s string) ([]Scan, error) {
	gs1, text := false, s
	if hasPrefix(s) {
		gs1 = slices.Contains(gs1Prefixes, s[:3])
		text = s[3:]
		if text == "" {
			return nil, errors.New("the scanner sent a prefix and no code: scan again")
		}
	}
	elements := w.separated(text)
	if patientInside(elements) {
		return nil, ErrPatient
	}
	switch {
	case gs1:
		return fromElements(parseElements(elements))
	case isLink(text):
		return fromElements(parseLink(text))
	case strings.HasPrefix(text, "(") && bracketed(text):
		return fromElements(parseBracketed(text))
	case strings.Contains(elements, groupSeparator) && startsWithAI(strings.TrimPrefix(elements, groupSeparator)):
		return fromElements(parseElements(elements))
	case strings.Contains(text, groupSeparator):
		return nil, errors.New("the scan holds the separator of GS1 symbols but does not begin like one: scan it again")
	}
	if scans, ok := bareElements(text); ok {
		return scans, nil
	}
	return recognisePlain(text)
}

// separated writes every separator as GS.
func (w Wedge) separated(s string) string {
	for _, sep := range w.Separators {
		if sep != "" {
			s = strings.ReplaceAll(s, sep, groupSeparator)
		}
	}
	return s
}

func isLink(s string) bool {
	l := strings.ToLower(s[:min(len(s), 8)])
	return strings.HasPrefix(l, "https://") || strings.HasPrefix(l, "http://")
}

func bracketed(s string) bool {
	n, _, ok := strings.Cut(s[1:], ")")
	return ok && len(n) >= 2 && len(n) <= 4 && onlyDigits(n)
}

func startsWithAI(s string) bool { _, _, ok := knownAI(s); return ok }

// patientInside sees a patient's number (8018 and 18 digits) anywhere in a
// scan: where an element begins, whatever its check digit, and elsewhere when
// the check digit fits, since a scanner may have swallowed the separator.
func patientInside(s string) bool {
	const id = "8018"
	for from := 0; ; {
		i := strings.Index(s[from:], id)
		if i < 0 {
			return false
		}
		i += from
		from = i + 1
		rest := s[i+len(id):]
		if rest != "" && (rest[0] == ')' || rest[0] == '/' || rest[0] == '=') {
			rest = rest[1:]
		}
		if len(rest) < 18 || !onlyDigits(rest[:18]) {
			continue
		}
		if i == 0 || strings.IndexByte(groupSeparator+"(/?&", s[i-1]) >= 0 {
			return true
		}
		if c, err := CheckDigit(rest[:17]); err == nil && c == rest[17] {
			return true
		}
	}
}

// bareElements reads an element string that comes with neither prefix nor
// separator. Since plain identifiers begin with digits too, something in it
// must prove it: a check digit, a valid sheet code, or the six and more digits
// of a company prefix that an asset's number begins with.
func bareElements(s string) ([]Scan, bool) {
	es, err := parseElements(s)
	if err != nil {
		return nil, false
	}
	proof, weak := false, false
	for _, e := range es {
		switch {
		case applicationIdentifiers[e.AI].check:
			proof = true
		case e.AI == "91":
			_, err := ParseSheetCode(e.Value)
			proof = proof || err == nil
		case e.AI == "8004" || e.AI == "7023":
			weak = weak || len(e.Value) >= 6 && onlyDigits(e.Value[:6])
		}
	}
	if !proof && !weak {
		return nil, false
	}
	scans, err := fromElements(es, nil)
	if err != nil {
		return nil, false
	}
	if !proof {
		for i := range scans {
			scans[i].plain = s
		}
	}
	return scans, true
}

// fromElements says which things a GS1 symbol names.
func fromElements(es []Element, err error) ([]Scan, error) {
	if err != nil {
		return nil, err
	}
	v := make(map[string]string, len(es))
	for _, e := range es {
		v[e.AI] = e.Value
	}
	var out []Scan
	add := func(k ScanKind, value string) { out = append(out, Scan{Kind: k, Value: value, Elements: es}) }
	asset, err := assetOf(v)
	if err != nil {
		return nil, err
	}
	if asset != "" {
		add(ScanSet, asset)
	}
	if staff := v["8017"]; staff != "" {
		add(ScanBadge, staff)
	}
	if v["01"] != "" || v["00"] != "" {
		// On a maker's or carrier's label the internal identifiers are theirs.
		if v["01"] != "" {
			add(ScanItem, v["01"])
		}
	} else {
		if code := v["91"]; code != "" {
			c, err := ParseSheetCode(code)
			if err != nil {
				return nil, fmt.Errorf("GS1 91: %w", err)
			}
			add(ScanSheet, c.String())
		}
		for _, in := range []struct {
			id   string
			kind ScanKind
		}{{"92", ScanLoad}, {"93", ScanCase}, {"94", ScanBadge}, {"95", ScanSeal}} {
			if value := v[in.id]; value != "" {
				if err := checkID("GS1 "+in.id+": "+string(in.kind), value); err != nil {
					return nil, err
				}
				add(in.kind, value)
			}
		}
	}
	if place := v["414"]; place != "" {
		if extension := v["254"]; extension != "" {
			place += "." + extension
		}
		add(ScanPlace, place)
	}
	if len(out) == 0 {
		return nil, fmt.Errorf("a GS1 symbol with %s: it names no set, sheet, badge, load, case, seal, item or place; scan the label that does", readSoFar(es))
	}
	return out, nil
}

// assetOf returns the set id a symbol names. A set's id is the value of its
// GIAI (8004) or GRAI (8003).
func assetOf(v map[string]string) (string, error) {
	giai, grai, assembly := v["8004"], v["8003"], v["7023"]
	switch {
	case giai != "" && grai != "":
		return "", fmt.Errorf("one symbol names two assets, %s (GS1 8004) and %s (GS1 8003): scan the tag of the set", giai, grai)
	case giai != "" && assembly != "" && giai != assembly:
		return "", fmt.Errorf("this is the label of a part, %s, of the assembly %s (GS1 7023): scan the tag of the set itself", giai, assembly)
	case grai != "" && len(grai) == applicationIdentifiers["8003"].fixed:
		return "", fmt.Errorf("GS1 8003 %s has no serial number: it names a type of container, not this one; scan the tag of the set", grai)
	case giai != "":
		return giai, nil
	case grai != "":
		return grai, nil
	}
	return assembly, nil
}

// recognisePlain reads what is no GS1 symbol.
func recognisePlain(s string) ([]Scan, error) {
	folded := s
	if strings.ToLower(s) == s { // caps lock turned round
		folded = strings.ToUpper(s)
	}
	compact := strings.ReplaceAll(folded, " ", "")
	if c, err := ParseSheetCode(compact); err == nil {
		return []Scan{{Kind: ScanSheet, Value: c.String()}}, nil
	}
	switch ways := takeApart(compact); len(ways) {
	case 1:
		return ways[0], nil
	case 2:
		return nil, errors.New("the codes ran together in a way that can be read twice: scan them one at a time")
	}
	if strings.HasPrefix(compact, labelLead) && len(compact) > len(labelLead) && strings.IndexByte("SBLCKX", compact[len(labelLead)]) >= 0 {
		_, err := parseLabel(compact)
		return nil, err
	}
	if likeSheetCode(compact) {
		if _, err := ParseSheetCode(compact); err != nil {
			if len(strings.ReplaceAll(compact, "-", "")) > sheetCodeLen {
				return nil, fmt.Errorf("this begins like a sheet code and goes on: two codes ran together, or the code is damaged; scan again, one at a time")
			}
			return nil, err
		}
	}
	id := s
	if err := checkID("the scan", id); err != nil {
		return nil, fmt.Errorf("%w; taken for a plain identifier: scan the code again, or type what is printed beside it", err)
	}
	if len(s) == 9 && s[4] == '-' {
		if short, err := ParseShortCode(s); err == nil && short == s {
			return []Scan{{Kind: ScanShort, Value: short, plain: s}}, nil
		}
	}
	return []Scan{{Kind: ScanPlain, Value: id, plain: id}}, nil
}

// likeSheetCode sees a damaged sheet code, so that it is not recorded as some
// identifier: forty and more characters of its alphabet that begin like one.
func likeSheetCode(s string) bool {
	s = strings.ReplaceAll(s, "-", "")
	if len(s) < 40 || s[0] != sheetVersion {
		return false
	}
	return strings.Trim(s[:40], sheetAlphabet+"OILU") == ""
}

// takeApart returns the ways to read a text as a row of sheet codes and labels,
// at most two ways.
func takeApart(s string) [][]Scan {
	ways := make([][][]Scan, len(s)+1) // of s[:i]
	ways[0] = [][]Scan{nil}
	for from := range len(s) {
		if len(ways[from]) == 0 {
			continue
		}
		add := func(to int, next Scan) {
			for _, before := range ways[from] {
				if len(ways[to]) < 2 {
					next.symbol = len(before)
					ways[to] = append(ways[to], append(slices.Clone(before), next))
				}
			}
		}
		rest := s[from:]
		if len(rest) >= sheetCodeLen && rest[0] == sheetVersion {
			if c, err := ParseSheetCode(rest[:sheetCodeLen]); err == nil {
				add(from+sheetCodeLen, Scan{Kind: ScanSheet, Value: c.String()})
			}
		}
		if strings.HasPrefix(rest, labelLead) {
			sum := 0
			for end := 1; end <= len(rest); end++ {
				v := strings.IndexByte(labelAlphabet, rest[end-1])
				if v < 0 {
					break
				}
				if sum = (2*sum + v) % 37; sum != labelTotal {
					continue
				}
				if l, err := parseLabel(rest[:end]); err == nil {
					add(from+end, l)
				}
			}
		}
	}
	return ways[len(s)]
}
