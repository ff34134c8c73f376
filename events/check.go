package events

import (
	"encoding/hex"
	"fmt"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"golang.org/x/mod/sumdb/note"
)

const (
	maxCount = 9999   // of one line
	maxLines = 1000   // of one list
	maxGrams = 100000 // 100 kg: a slip of the decimal point, not a set
	maxID    = 64     // runes
	maxText  = 400    // runes
)

func (p Placement) known() bool {
	return p == InsideBag || p == InsideBare || p == Outside || p == Screen
}

func (s Stage) known() bool {
	switch s {
	case StageFirst, StageAdded, StageCavity, StageClosing, StageFinal, StageRelief:
		return true
	}
	return false
}

// checkID refuses an empty, overlong or unprintable identifier: it must survive
// a label, a scanner and a file name in a report.
func checkID(what, s string) error {
	switch {
	case s == "":
		return fmt.Errorf("%s is missing", what)
	case !utf8.ValidString(s):
		return fmt.Errorf("%s is not valid UTF-8", what)
	case utf8.RuneCountInString(s) > maxID:
		return fmt.Errorf("%s has more than %d characters", what, maxID)
	}
	for _, r := range s {
		if unicode.IsSpace(r) || !unicode.IsGraphic(r) {
			return fmt.Errorf("%s %q holds a space or a character that can't be printed", what, s)
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

// checkText refuses what a page or a printed report can't show on its lines.
func checkText(what, s string, must bool) error {
	switch {
	case must && strings.TrimSpace(s) == "":
		return fmt.Errorf("%s is missing", what)
	case !utf8.ValidString(s):
		return fmt.Errorf("%s is not valid UTF-8", what)
	case utf8.RuneCountInString(s) > maxText:
		return fmt.Errorf("%s has more than %d characters", what, maxText)
	}
	for _, r := range s {
		switch {
		case unicode.IsControl(r):
			return fmt.Errorf("%s holds a control character", what)
		case unicode.In(r, unicode.Zl, unicode.Zp) || r >= 0x202a && r <= 0x202e || r >= 0x2066 && r <= 0x2069:
			// They would let a printed line read otherwise than what was signed.
			return fmt.Errorf("%s holds U+%04X, which breaks or turns round a line of text", what, r)
		}
	}
	return nil
}

// CheckStation refuses what is not a site/station name. The name becomes two
// tokens of a stream subject and the name of a key, hence the small alphabet.
func CheckStation(s string) error {
	site, name, ok := strings.Cut(s, "/")
	if !ok || !nameToken(site) || !nameToken(name) {
		return fmt.Errorf("station %q is not of the form site/station in small letters, digits and hyphens (for example north/packing-1)", s)
	}
	return nil
}

func nameToken(s string) bool {
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

// checkYear refuses a time that a clock set wrong gives, and that an id can't hold.
func checkYear(t time.Time) error {
	if y := t.UTC().Year(); y < 2000 || y > 2199 {
		return fmt.Errorf("time %s is not in the years 2000 to 2199", t.UTC().Format(time.RFC3339))
	}
	return nil
}

func oneOf(what, s string, of ...string) error {
	if slices.Contains(of, s) {
		return nil
	}
	if s == "" {
		return fmt.Errorf("%s is missing; it is one of %s", what, strings.Join(of, ", "))
	}
	return fmt.Errorf("%s is %q; it is one of %s", what, s, strings.Join(of, ", "))
}

func inRange(what string, n, lo, hi int64) error {
	if n < lo || n > hi {
		return fmt.Errorf("%s is %d; it goes from %d to %d", what, n, lo, hi)
	}
	return nil
}

func checkSeals(seals []string) error {
	for i, s := range seals {
		if err := checkID(fmt.Sprintf("seal %d", i+1), s); err != nil {
			return err
		}
	}
	return nil
}

// checkOptionalHex accepts the one written form of a SHA-256 digest.
func checkOptionalHex(what, s string) error {
	if s == "" {
		return nil
	}
	if b, err := hex.DecodeString(s); err != nil || len(b) != 32 || strings.ToLower(s) != s {
		return fmt.Errorf("%s is not 64 small hexadecimal digits", what)
	}
	return nil
}

// first returns the first error of some checks, in the order a person would
// correct them.
func first(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

// Check implements Data.
func (d *ListIssued) Check() error {
	if err := first(checkID("list", d.List), inRange("version", d.Version, 1, maxCount), checkText("title", d.Title, true)); err != nil {
		return err
	}
	if len(d.Lines) == 0 || len(d.Lines) > maxLines {
		return fmt.Errorf("the list has %d lines; it has from 1 to %d", len(d.Lines), maxLines)
	}
	seen := make(map[int64]bool, len(d.Lines))
	for _, l := range d.Lines {
		at := fmt.Sprintf("line %d: ", l.Line)
		if seen[l.Line] {
			return fmt.Errorf("line %d stands twice in the list", l.Line)
		}
		seen[l.Line] = true
		if err := first(inRange("line", l.Line, 1, maxCount), checkID(at+"item", l.Item), checkText(at+"description", l.Description, true),
			inRange(at+"quantity", l.Quantity, 0, maxCount)); err != nil {
			return err
		}
	}
	for _, c := range d.Cycles {
		if err := checkID("cycle", c); err != nil {
			return err
		}
	}
	return nil
}

// Check implements Data.
func (d *SetPacked) Check() error {
	if err := first(checkID("list", d.List), inRange("version", d.Version, 1, maxCount),
		inRange("weightGrams", d.WeightGrams, 0, maxGrams), checkText("note", d.Note, false),
		checkOptionalID("secondLook", d.SecondLook)); err != nil {
		return err
	}
	seen := make(map[int64]bool)
	for _, x := range d.Exceptions {
		if seen[x.Line] {
			return fmt.Errorf("exceptions: line %d stands twice", x.Line)
		}
		seen[x.Line] = true
		if err := first(inRange("exceptions: line", x.Line, 1, maxCount),
			inRange(fmt.Sprintf("exceptions: line %d: counted", x.Line), x.Counted, 0, maxCount),
			checkText(fmt.Sprintf("exceptions: line %d: reason", x.Line), x.Reason, true)); err != nil {
			return err
		}
	}
	return nil
}

// Check implements Data.
func (d *ListSealed) Check() error {
	if !d.Placement.known() {
		return oneOf("placement", string(d.Placement), string(InsideBag), string(InsideBare), string(Outside), string(Screen))
	}
	if err := first(checkOptionalID("list", d.List), inRange("version", d.Version, 0, maxCount), checkSeals(d.Seals), checkOptionalID("bagLot", d.BagLot)); err != nil {
		return err
	}
	if err := first(checkOptionalHex("listDigest", d.ListDigest), checkOptionalHex("binding", d.Binding)); err != nil {
		return err
	}
	if d.Code != "" {
		if _, err := ParseSheetCode(d.Code); err != nil {
			return err
		}
	}
	return nil
}

// Check implements Data.
func (d *SetSterilized) Check() error {
	return first(checkID("load", d.Load), checkID("sterilizer", d.Sterilizer), inRange("run", d.Run, 1, 9999999),
		checkID("cycle", d.Cycle), oneOf("result", d.Result, "passed", "failed"))
}

func (r *Reading) check() error {
	if r == nil {
		return nil
	}
	if err := oneOf("sheet: found", r.Found, string(InsideBag), string(InsideBare), string(Outside), string(Screen), FoundNone); err != nil {
		return err
	}
	switch {
	case r.Found == FoundNone && (r.Code != "" || r.Unreadable):
		return fmt.Errorf("sheet: found none, yet a code or a damaged code is given")
	case r.Unreadable && r.Code != "":
		return fmt.Errorf("sheet: a code is given and called unreadable; give one of the two")
	case r.Code != "":
		if _, err := ParseSheetCode(r.Code); err != nil {
			return fmt.Errorf("sheet: %w", err)
		}
	}
	return nil
}

// Check implements Data.
func (d *SetChecked) Check() error {
	return first(checkText("place", d.Place, false), checkOptionalID("tag", d.Tag), checkOptionalID("outerLabel", d.OuterLabel),
		d.Sheet.check(), checkSeals(d.Seals))
}

// Check implements Data.
func (d *SetOpened) Check() error {
	if d.Indicator != "" {
		if err := oneOf("indicator", d.Indicator, "pass", "fail"); err != nil {
			return err
		}
	}
	return first(checkID("case", d.Case), checkText("room", d.Room, false), checkOptionalID("tag", d.Tag),
		checkOptionalID("outerLabel", d.OuterLabel), d.Sheet.check(), checkSeals(d.Seals))
}

// Check implements Data.
func (d *SetCounted) Check() error {
	if !d.Stage.known() {
		return oneOf("stage", string(d.Stage), "first", "added", "cavity", "closing", "final", "relief")
	}
	if err := first(checkID("case", d.Case), checkID("counter", d.Counter), checkOptionalID("witness", d.Witness)); err != nil {
		return err
	}
	if d.Sheet == "" {
		return fmt.Errorf("sheet is missing: give the code counted against, or %q for the list on the screen", SheetScreen)
	}
	if d.Sheet != SheetScreen {
		if _, err := ParseSheetCode(d.Sheet); err != nil {
			return fmt.Errorf("sheet: %w", err)
		}
	}
	seen := make(map[int64]bool, len(d.Counts))
	for _, c := range d.Counts {
		if seen[c.Line] {
			return fmt.Errorf("counts: line %d stands twice", c.Line)
		}
		seen[c.Line] = true
		if err := first(inRange("counts: line", c.Line, 1, maxCount), inRange(fmt.Sprintf("counts: line %d: counted", c.Line), c.Counted, 0, maxCount)); err != nil {
			return err
		}
	}
	for _, r := range d.Removed {
		if err := first(inRange("removed: line", r.Line, 1, maxCount), inRange(fmt.Sprintf("removed: line %d: quantity", r.Line), r.Quantity, 1, maxCount),
			checkText(fmt.Sprintf("removed: line %d: reason", r.Line), r.Reason, true)); err != nil {
			return err
		}
	}
	return nil
}

// Check implements Data.
func (d *CaseClosed) Check() error {
	if err := first(checkID("case", d.Case), oneOf("outcome", d.Outcome, "reconciled", "unreconciled"),
		checkText("reason", d.Reason, false), checkOptionalID("witness", d.Witness)); err != nil {
		return err
	}
	for i, a := range d.Actions {
		if err := checkText(fmt.Sprintf("action %d", i+1), a, true); err != nil {
			return err
		}
	}
	return nil
}

// Check implements Data.
func (d *IndicatorRead) Check() error {
	return first(checkID("load", d.Load), checkID("sterilizer", d.Sterilizer), oneOf("result", d.Result, "negative", "positive"))
}

// Check implements Data.
func (d *PolicyAdopted) Check() error {
	return first(d.Policy.Check(), checkText("reason", d.Reason, false))
}

// Check implements Data.
func (d *StationEnrolled) Check() error {
	if err := CheckStation(d.Station); err != nil {
		return err
	}
	v, err := note.NewVerifier(d.Key)
	if err != nil {
		return fmt.Errorf("key of %s is not a signed-note verifier key (name+hash+base64)", d.Station)
	}
	if v.Name() != d.Station {
		return fmt.Errorf("the key is named %q, the station %q; a station's key carries its name", v.Name(), d.Station)
	}
	return checkText("reason", d.Reason, false)
}

// Check implements Data.
func (d *StationRetired) Check() error {
	return first(CheckStation(d.Station), checkText("reason", d.Reason, true))
}

// Check implements Data.
func (d *FindingAcknowledged) Check() error {
	return first(checkID("code", d.Code), checkText("reason", d.Reason, true))
}

// Check implements Data.
func (d *EventCorrected) Check() error {
	if err := checkUUID("event", d.Event); err != nil {
		return err
	}
	if err := first(oneOf("action", d.Action, "void", "replace"), checkText("reason", d.Reason, true)); err != nil {
		return err
	}
	if (d.Action == "replace") != (len(d.Data) > 0) {
		return fmt.Errorf("action %s: data is given with replace, and only then", d.Action)
	}
	return nil
}

// Check implements Data.
func (d *Unknown) Check() error { return nil }
