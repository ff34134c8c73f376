package events

import (
	"errors"
	"slices"
	"strings"
)

// readSheetCode reads a sheet code, typed or scanned.
func readSheetCode(p scanned) ([]Scan, error) {
	s, err := sheetIn(p.compact)
	if err != nil {
		return nil, nil
	}
	return []Scan{s}, nil
}

// sheetIn reads the code of a sheet or the symbol on one of its pages, for
// practice or not.
func sheetIn(s string) (Scan, error) {
	var practice bool
	if _, norm, err := codeValues(s); err == nil {
		if s, practice = practiceSheet(norm); !practice {
			s = norm
		}
	}
	var out Scan
	if page, err := parseSheetPage(s); err == nil {
		out = page.scan()
	} else {
		c, err := ParseSheetCode(s)
		if err != nil {
			return Scan{}, err
		}
		out = Scan{Kind: ScanSheet, Value: c.String()}
	}
	out.practice = practice
	return out, nil
}

// readRow reads a label, or several codes that ran together.
func readRow(p scanned) ([]Scan, error) {
	switch ways := takeApart(p.compact); len(ways) {
	case 0:
		return nil, nil
	case 1:
		return ways[0], nil
	}
	return nil, errors.New("the codes ran together in a way that can be read twice: scan them one at a time")
}

// readDamagedLabel refuses a damaged label, so that it is not recorded as some
// identifier: what begins like a label and was not read as one.
func readDamagedLabel(p scanned) ([]Scan, error) {
	rest, ok := strings.CutPrefix(p.compact, labelLead)
	if !ok || rest == "" || !isLabelLetter(rest[0]) {
		return nil, nil
	}
	_, err := parseLabel(p.compact)
	return nil, err
}

// readDamagedSheetCode refuses a damaged sheet code in the same way: forty and
// more characters of its alphabet that begin like one.
func readDamagedSheetCode(p scanned) ([]Scan, error) {
	s := strings.ReplaceAll(p.compact, "-", "")
	if len(s) < 40 || s[0] != sheetVersion && s[0] != practiceVersion || strings.Trim(s[:40], sheetAlphabet+"OILU") != "" {
		return nil, nil
	}
	if len(s) > sheetCodeLen {
		return nil, errors.New("this begins like a sheet code and goes on: two codes ran together, " +
			"or the code is damaged; scan again, one at a time")
	}
	_, err := ParseSheetCode(p.compact)
	return nil, err
}

// CutSheetCode reports whether a text can be the beginning of a sheet code that broke off: more characters of its alphabet
// than a person types by hand, the first of them a code's. What comes after it, and is a label by its check character, may
// by chance be the code going on.
func CutSheetCode(text string) bool {
	return len(text) > 6 && (text[0] == sheetVersion || text[0] == practiceVersion) && strings.Trim(text, sheetAlphabet) == ""
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
		if rest[0] == sheetVersion || rest[0] == practiceVersion {
			for _, n := range []int{sheetCodeLen, sheetPageLen} {
				if len(rest) < n {
					break
				}
				if sheet, err := sheetIn(rest[:n]); err == nil {
					add(from+n, sheet)
				}
			}
		}
		if strings.HasPrefix(rest, labelLead) {
			sum := 0
			for end := 1; end <= len(rest) && strings.IndexByte(labelAlphabet, rest[end-1]) >= 0; end++ {
				v := strings.IndexByte(labelAlphabet, rest[end-1])
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
