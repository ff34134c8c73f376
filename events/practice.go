package events

import (
	"errors"
	"fmt"
	"strings"
)

// ErrPractice refuses what was printed for practice where it is no practice.
var ErrPractice = errors.New("this was printed for practice; it belongs to no set here: take it away from the sets")

// What is printed for practice has codes of its own. A sheet code, and the text of
// a page's symbol, begin with P where a real one begins with 1; a label begins with
// X9P where a real one begins with X9. The check characters follow. The ledger for
// practice holds ordinary codes: they are turned when they are printed, and back
// when they are scanned there.
const (
	practiceVersion = 'P'
	practiceLetter  = 'P'
)

// PracticeText returns the form for practice of what a symbol says: of a sheet
// code, the page of a sheet or a label.
func PracticeText(text string) (string, error) {
	if strings.HasPrefix(text, labelLead) {
		if _, err := parseLabel(text); err != nil {
			return "", err
		}
		return labelWithCheck(labelLead + string(practiceLetter) + text[len(labelLead):len(text)-1]), nil
	}
	if n := len(text); n != sheetCodeLen && n != sheetPageLen || text[0] != sheetVersion {
		return "", fmt.Errorf("%.80q is neither a sheet code nor a label", text)
	}
	return reversioned(text, practiceVersion), nil
}

// reversioned returns the text of a sheet code or page with another version.
func reversioned(text string, version byte) string {
	out := withCheck(string(version) + text[1:sheetCodeLen-1])
	if len(text) == sheetPageLen {
		out = withCheck(out + text[sheetCodeLen:sheetPageLen-1])
	}
	return out
}

// practiceSheet returns what the code or page of a sheet for practice, in normal
// form, says otherwise. ok is false where it is none or damaged.
func practiceSheet(norm string) (string, bool) {
	if n := len(norm); n != sheetCodeLen && n != sheetPageLen || norm[0] != practiceVersion {
		return "", false
	}
	vals, _, err := codeValues(norm)
	if err != nil || sum(vals) != 0 || sum(vals[:sheetCodeLen]) != 0 {
		return "", false
	}
	return reversioned(norm, sheetVersion), true
}

// practiceLabel reads the text of a label for practice, whose check character fits.
func practiceLabel(s string) (Scan, error) {
	if s[len(labelLead)+1] == practiceLetter {
		return Scan{}, errors.New("the label is damaged: a label for practice of one for practice")
	}
	l, err := parseLabel(labelWithCheck(labelLead + s[len(labelLead)+1:len(s)-1]))
	l.practice = true
	return l, err
}

// RecognisePractice is RecogniseAll where people practise: what was printed for
// practice is read there and nowhere else.
func RecognisePractice(scan string) ([]Scan, error) { return recogniseAll(scan) }

// Real reports whether a scan is of a count sheet or label that was printed by this program, and not for practice. Of a
// plain identifier or another maker's symbol that can't be told.
func (s Scan) Real() bool { return (s.Kind == ScanSheet || s.labelled) && !s.practice }

func refusePractice(all []Scan) error {
	for _, s := range all {
		if s.practice {
			return fmt.Errorf("%s: %w", describe([]Scan{s}), ErrPractice)
		}
	}
	return nil
}
