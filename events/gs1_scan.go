package events

import (
	"errors"
	"fmt"
	"strings"
)

// readPatient refuses a patient's number before anything else sees it.
func readPatient(p scanned) ([]Scan, error) {
	if patientInside(p.elements) {
		return nil, ErrPatient
	}
	return nil, nil
}

// readPromisedElements reads what a symbology prefix says to be a GS1 symbol.
func readPromisedElements(p scanned) ([]Scan, error) {
	if !p.gs1 {
		return nil, nil
	}
	return fromElements(parseElements(p.elements))
}

// readLink reads a GS1 symbol in the form of a web address.
func readLink(p scanned) ([]Scan, error) {
	start := strings.ToLower(p.text[:min(len(p.text), len("https://"))])
	if start != "https://" && !strings.HasPrefix(start, "http://") {
		return nil, nil
	}
	return fromElements(parseLink(p.text))
}

// readBracketed reads a GS1 symbol as it is printed for people: a bracket, two
// to four digits, a bracket.
func readBracketed(p scanned) ([]Scan, error) {
	s, ok := strings.CutPrefix(p.text, "(")
	id, _, closed := strings.Cut(s, ")")
	if !ok || !closed || len(id) < 2 || len(id) > 4 || !onlyDigits(id) {
		return nil, nil
	}
	return fromElements(parseBracketed(p.text))
}

// readSeparated reads a GS1 symbol without a prefix by its separators. Only GS
// itself is sure to be one: what else is typed for it may stand in other codes.
func readSeparated(p scanned) ([]Scan, error) {
	_, _, known := knownAI(strings.TrimPrefix(p.elements, groupSeparator))
	switch {
	case known && strings.Contains(p.elements, groupSeparator):
		return fromElements(parseElements(p.elements))
	case strings.Contains(p.text, groupSeparator):
		return nil, errors.New("the scan holds the separator of GS1 symbols but does not begin like one: scan it again")
	}
	return nil, nil
}

// readBareElements reads an element string that comes with neither prefix nor
// separator. Since plain identifiers begin with digits too, something in it
// must prove it: a check digit, a valid sheet code, or the six and more digits
// of a company prefix that an asset's number begins with.
func readBareElements(p scanned) ([]Scan, error) {
	es, err := parseElements(p.text)
	if err != nil {
		return nil, nil
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
		return nil, nil
	}
	scans, err := fromElements(es, nil)
	if err != nil {
		return nil, nil
	}
	if !proof {
		for i := range scans {
			scans[i].plain = p.text
		}
	}
	return scans, nil
}

// patientInside reports whether a patient's number (8018 and 18 digits) is
// anywhere in a scan: where an element begins, whatever its check digit, and elsewhere when
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

// ownElements are those of a company's own use that have a meaning here.
var ownElements = []struct {
	ai   string
	kind ScanKind
}{{"92", ScanLoad}, {"93", ScanCase}, {"94", ScanBadge}, {"95", ScanSeal}}

// fromElements returns the things that a GS1 symbol names.
func fromElements(es []Element, err error) ([]Scan, error) {
	if err != nil {
		return nil, err
	}
	v := make(map[string]string, len(es))
	for _, e := range es {
		v[e.AI] = e.Value
	}
	var out []Scan
	add := func(k ScanKind, value string) {
		if value != "" {
			out = append(out, Scan{Kind: k, Value: value, Elements: es})
		}
	}
	asset, err := assetOf(v)
	if err != nil {
		return nil, err
	}
	add(ScanSet, asset)
	add(ScanBadge, v["8017"])
	add(ScanItem, v["01"])
	// On a maker's or carrier's label the internal identifiers are theirs.
	if v["01"] == "" && v["00"] == "" {
		if err := addOwn(v, add); err != nil {
			return nil, err
		}
	}
	place := v["414"]
	if extension := v["254"]; extension != "" {
		place += "." + extension
	}
	add(ScanPlace, place)
	if len(out) == 0 {
		return nil, fmt.Errorf("a GS1 symbol with %s: it names no set, sheet, badge, load, case, seal, item or place; "+
			"scan the label that does", readSoFar(es))
	}
	return out, nil
}

// addOwn adds what the internal identifiers 91 to 95 name.
func addOwn(v map[string]string, add func(ScanKind, string)) error {
	if code := v["91"]; code != "" {
		c, err := ParseSheetCode(code)
		if err != nil {
			return fmt.Errorf("GS1 91: %w", err)
		}
		add(ScanSheet, c.String())
	}
	for _, own := range ownElements {
		if err := checkOptionalID("GS1 "+own.ai+": "+string(own.kind), v[own.ai]); err != nil {
			return err
		}
		add(own.kind, v[own.ai])
	}
	return nil
}

// assetOf returns the set id a symbol names. A set's id is the value of its
// GIAI (8004) or GRAI (8003).
func assetOf(v map[string]string) (string, error) {
	giai, grai, assembly := v["8004"], v["8003"], v["7023"]
	switch {
	case giai != "" && grai != "":
		return "", fmt.Errorf("one symbol names two assets, %s (GS1 8004) and %s (GS1 8003): "+
			"scan the tag of the set", giai, grai)
	case giai != "" && assembly != "" && giai != assembly:
		return "", fmt.Errorf("this is the label of a part, %s, of the assembly %s (GS1 7023): "+
			"scan the tag of the set itself", giai, assembly)
	case grai != "" && len(grai) == applicationIdentifiers["8003"].fixed:
		return "", fmt.Errorf("GS1 8003 %s has no serial number: it names a type of container, not this one; "+
			"scan the tag of the set", grai)
	case giai != "":
		return giai, nil
	case grai != "":
		return grai, nil
	}
	return assembly, nil
}
