package events

import (
	"errors"
	"fmt"
)

// The symbol on a page of a printed sheet says which page it is:
//
//	<sheet code> <page> <pages> <layout> <check character>
//
// without spaces, 60 characters: the 54 of the sheet code, two each for the page
// and how many there are, one for the layout by which the page was drawn, five bits
// to a character, and a check character over all of them as in a sheet code. The
// sheet code alone, which is printed beside the symbol for typing, is what older
// prints say.
const (
	sheetPageLen = sheetCodeLen + 6
	maxPages     = 99 // more than the longest list needs
	maxLayout    = 31
)

// SheetPage is one page of a printed sheet.
type SheetPage struct {
	Code        SheetCode
	Page, Pages int
	Layout      int // by which description of the sheet's geometry it was drawn
}

// Text returns what the symbol on the page says.
func (p SheetPage) Text() (string, error) {
	code := p.Code.String()
	switch {
	case code == "":
		return "", errors.New("the page of a sheet needs the sheet's code")
	case p.Page < 1 || p.Page > p.Pages || p.Pages > maxPages:
		return "", fmt.Errorf("page %d of %d: a sheet has from 1 to %d pages", p.Page, p.Pages, maxPages)
	case p.Layout < 1 || p.Layout > maxLayout:
		return "", fmt.Errorf("layout %d: layouts go from 1 to %d", p.Layout, maxLayout)
	}
	return withCheck(code + number32(p.Page) + number32(p.Pages) + sheetAlphabet[p.Layout:p.Layout+1]), nil
}

func number32(n int) string { return string([]byte{sheetAlphabet[n/32], sheetAlphabet[n%32]}) }

func withCheck(s string) string { return s + string(sheetAlphabet[checkValue([]byte(s))]) }

// parseSheetPage reads the text of a page's symbol.
func parseSheetPage(s string) (SheetPage, error) {
	bad := fmt.Errorf("the page's symbol is damaged: %w", ErrSheetCode)
	vals, norm, err := codeValues(s)
	if err != nil || len(vals) != sheetPageLen || sum(vals) != 0 {
		return SheetPage{}, bad
	}
	c, err := ParseSheetCode(norm[:sheetCodeLen])
	if err != nil {
		return SheetPage{}, err
	}
	n := vals[sheetCodeLen:]
	p := SheetPage{Code: c, Page: int(n[0])*32 + int(n[1]), Pages: int(n[2])*32 + int(n[3]), Layout: int(n[4])}
	if _, err := p.Text(); err != nil {
		return SheetPage{}, bad
	}
	return p, nil
}

// ReadSheetPage reads the text of a page's symbol as a camera sees it, with the number of its
// layout; practice is true of a page that was printed for practice.
func ReadSheetPage(text string) (p SheetPage, practice bool, err error) {
	_, norm, err := codeValues(text)
	if err != nil {
		return SheetPage{}, false, err
	}
	if real, ok := practiceSheet(norm); ok {
		norm, practice = real, true
	}
	p, err = parseSheetPage(norm)
	return p, practice, err
}

func (p SheetPage) scan() Scan {
	return Scan{Kind: ScanSheet, Value: p.Code.String(), Page: p.Page, Pages: p.Pages}
}
