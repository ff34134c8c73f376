package paper

import (
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"listbound/events"
	"listbound/projections/words"
)

// Sheet is one list, bound to one set and one trip, ready to print.
type Sheet struct {
	Set, Trip, Title, List string
	Version                int64
	Lines                  []events.Line
	Cycles                 []string // the list's; not printed, but part of what the code commits to
	Implants, HighRisk     bool     // likewise
	Exceptions             []events.Exception
	Code                   events.SheetCode
	Placement              events.Placement
	Packed                 time.Time // printed in its own zone
	Seals                  []string
	CheckLine              string        // the ledger's line (events.CheckLine) at the foot, "" for none
	Practice               bool          // printed across every page, and said by the symbol
	Cavity, Relief         bool          // whether there are columns for these stages, which not every policy has
	Goods                  []events.Line // that have a row each, in the order of counting; none for a sheet without such rows
}

// SheetOf puts a sheet together from what was recorded of a trip. At is when
// the set was packed, in the zone to print.
func SheetOf(set, trip string, list *events.ListIssued, packed *events.SetPacked, at time.Time, sealed *events.ListSealed) (Sheet, error) {
	if packed.List != list.List || packed.Version != list.Version {
		return Sheet{}, fmt.Errorf("set %s was packed by list %s version %d, not by %s version %d", set,
			packed.List, packed.Version, list.List, list.Version)
	}
	code, err := events.ParseSheetCode(sealed.Code)
	if err != nil {
		return Sheet{}, err
	}
	return Sheet{
		Set: set, Trip: trip, Title: list.Title, List: list.List, Version: list.Version, Lines: list.Lines, Cycles: list.Cycles,
		Implants: list.Implants, HighRisk: list.HighRisk,
		Exceptions: packed.Exceptions, Code: code, Placement: sealed.Placement, Packed: at, Seals: sealed.Seals,
	}, nil
}

// Size is a paper size.
type Size int

// The sizes of a count sheet.
const (
	A4 Size = iota
	Letter
)

// ParseSize reads "a4" or "letter".
func ParseSize(s string) (Size, error) {
	switch strings.ToLower(s) {
	case "a4":
		return A4, nil
	case "letter":
		return Letter, nil
	}
	return 0, fmt.Errorf("paper size %q is not known; it is a4 or letter", s)
}

func (s Size) millimetres() (w, h float64, err error) {
	switch s {
	case A4:
		return 210, 297, nil
	case Letter:
		return 215.9, 279.4, nil
	}
	return 0, 0, fmt.Errorf("paper size %d is not known; it is A4 or Letter", s)
}

// WriteSheet prints a count sheet as PDF. It refuses a sheet whose code was
// not made for exactly this list, set and trip, and a character it can't show.
// The same sheet gives the same bytes.
func WriteSheet(w io.Writer, s Sheet, size Size, lang *words.Language) error {
	p, err := newSheetPrinter(&s, size, lang)
	if err != nil {
		return err
	}
	p.print()
	return p.write(w)
}

func newSheetPrinter(s *Sheet, size Size, lang *words.Language) (*sheetPrinter, error) {
	text, err := wordingOf(lang)
	if err != nil {
		return nil, err
	}
	if _, _, err := size.millimetres(); err != nil {
		return nil, err
	}
	if err := s.check(); err != nil {
		return nil, err
	}
	at, err := newPlan(s, layoutOf(s, size))
	if err != nil {
		return nil, err
	}
	at.pdf.SetTitle(text.say("paper.count-sheet")+" "+s.Set, true)
	at.pdf.SetLang(lang.Tag())
	p := &sheetPrinter{plan: at, words: text, code: s.Code.String(), short: s.Code.Short()}
	if s.Practice {
		if p.code, err = events.PracticeText(p.code); err != nil {
			return nil, err
		}
	}
	p.headScale = p.fitHead()
	return p, nil
}

// check refuses what must not leave the printer.
func (s *Sheet) check() error {
	list := events.ListIssued{List: s.List, Version: s.Version, Title: s.Title, Lines: s.Lines, Cycles: s.Cycles, Implants: s.Implants,
		HighRisk: s.HighRisk}
	if err := list.Check(); err != nil {
		return fmt.Errorf("list %s: %w", s.List, err)
	}
	if s.Set == "" {
		return errors.New("the sheet names no set")
	}
	if s.Code.Trip != s.Trip {
		return fmt.Errorf("the sheet code was made for trip %s, the sheet is for trip %s: seal the list again", s.Code.Trip, s.Trip)
	}
	d, err := list.Digest()
	if err != nil {
		return err
	}
	b, err := events.Binding(d, s.Set, s.Trip)
	if err != nil {
		return err
	}
	if !s.Code.Matches(b) {
		return fmt.Errorf("the sheet code does not belong to list %s version %d on set %s: print with the list "+
			"as it was sealed", s.List, s.Version, s.Set)
	}
	for _, e := range s.Exceptions {
		if !slices.ContainsFunc(s.Lines, func(l events.Line) bool { return l.Line == e.Line }) {
			return fmt.Errorf("an exception names line %d, which list %s version %d does not have", e.Line, s.List, s.Version)
		}
	}
	return s.checkCharacters()
}

func (s *Sheet) checkCharacters() error {
	fields := []struct{ where, text string }{
		{"the set's id", s.Set}, {"the list's id", s.List}, {"the title", s.Title},
		{"a seal's number", strings.Join(s.Seals, "")}, {"the time zone", zone(s.Packed)},
	}
	for _, l := range s.Lines {
		fields = append(fields, struct{ where, text string }{fmt.Sprintf("line %d: the item", l.Line), l.Item},
			struct{ where, text string }{fmt.Sprintf("line %d: the description", l.Line), l.Description})
	}
	for _, e := range s.Exceptions {
		fields = append(fields, struct{ where, text string }{fmt.Sprintf("line %d: the reason of the exception", e.Line), e.Reason})
	}
	for _, f := range fields {
		if err := checkPrintable(f.where, f.text); err != nil {
			return err
		}
	}
	return nil
}

func zone(t time.Time) string { name, _ := t.Zone(); return name }

// checkPrintable names the characters that can't be shown, for the person who
// wrote the list.
func checkPrintable(where, text string) error {
	missing := Missing(text)
	if len(missing) == 0 {
		return nil
	}
	var names []string
	for _, r := range missing {
		names = append(names, fmt.Sprintf("%q (%U)", r, r))
	}
	return fmt.Errorf("%s has characters that can't be printed: %s; write them in Latin, Greek or Cyrillic letters and common signs",
		where, strings.Join(names, ", "))
}
