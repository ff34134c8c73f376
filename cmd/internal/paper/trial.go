package paper

import (
	"fmt"
	"io"

	"listbound/events"
	"listbound/projections/words"
)

// A trial sheet is one page by which a site tells whether its printer, copier and phone will do: the first column has
// marks of all kinds printed in, the second is ticked with the site's own pens, the last stays empty. It is printed
// for practice, and its symbol names a trip that no ledger has.
const trialTrip = "019530a1-7c00-7def-9abc-5e1f7e57ca5e"

// TrialMark is a kind of mark that is printed on the trial sheet.
type TrialMark string

// The kinds, as a pen would have made them.
const (
	TrialTick     TrialMark = "tick"
	TrialCross    TrialMark = "cross"
	TrialFilled   TrialMark = "filled"
	TrialOverlong TrialMark = "overlong"
	TrialSlash    TrialMark = "slash"
	TrialPencil   TrialMark = "pencil"
	TrialPale     TrialMark = "pale"
	TrialErased   TrialMark = "erased"
	TrialStruck   TrialMark = "struck"
	TrialNumber   TrialMark = "number"
	TrialDot      TrialMark = "dot"
	TrialEmpty    TrialMark = "empty"
	// A number in the box: nothing that is ticked, and no tick.
	TrialNumberIn TrialMark = "number-in"
)

// TrialMarks are the marks of the first column from line 1 on; what is hardest to read stands there more than once.
func TrialMarks() []TrialMark {
	return []TrialMark{TrialTick, TrialCross, TrialFilled, TrialOverlong, TrialSlash, TrialPencil, TrialPencil,
		TrialPale, TrialPale, TrialPale, TrialErased, TrialErased, TrialStruck, TrialNumber, TrialDot, TrialEmpty, TrialEmpty, TrialEmpty,
		TrialNumberIn, TrialNumberIn, TrialNumberIn}
}

// IsTrial reports whether a page's code is that of a trial sheet.
func IsTrial(c events.SheetCode) bool { return c.Trip == trialTrip }

// TrialSheet is the trial sheet as a sheet. Where its boxes are is the same in every language.
func TrialSheet(lang *words.Language) (Sheet, error) {
	w, err := wordingOf(lang)
	if err != nil {
		return Sheet{}, err
	}
	s := Sheet{Set: "TEST", Trip: trialTrip, Title: w.say("paper.trial"), List: "TEST", Version: 1,
		Placement: events.Screen, Practice: true}
	for i, m := range TrialMarks() {
		s.Lines = append(s.Lines, events.Line{Line: int64(i + 1), Item: fmt.Sprintf("T%02d", i+1), Quantity: 1,
			Description: w.say("paper.trial-" + string(m))})
	}
	list := events.ListIssued{List: s.List, Version: s.Version, Title: s.Title, Lines: s.Lines}
	d, err := list.Digest()
	if err != nil {
		return Sheet{}, err
	}
	b, err := events.Binding(d, s.Set, s.Trip)
	if err != nil {
		return Sheet{}, err
	}
	s.Code, err = events.NewSheetCode(s.Trip, b)
	return s, err
}

// WriteTrialSheet prints the trial sheet as PDF.
func WriteTrialSheet(w io.Writer, size Size, lang *words.Language) error {
	s, err := TrialSheet(lang)
	if err != nil {
		return err
	}
	p, err := newSheetPrinter(&s, size, lang)
	if err != nil {
		return err
	}
	p.trial = TrialMarks()
	p.print()
	return p.write(w)
}

// trialDigits are numbers as a pen writes them, each a line of points from -1 to 1: 2, 3 and 5.
var trialDigits = [][]Point{
	{{-0.5, -0.6}, {-0.2, -0.9}, {0.2, -0.9}, {0.5, -0.6}, {0.4, -0.2}, {-0.5, 0.9}, {0.6, 0.9}},
	{{-0.5, -0.9}, {0.5, -0.9}, {0, -0.2}, {0.4, 0}, {0.5, 0.5}, {0.1, 0.9}, {-0.5, 0.8}},
	{{0.5, -0.9}, {-0.4, -0.9}, {-0.4, -0.2}, {0.2, -0.2}, {0.5, 0.2}, {0.4, 0.7}, {0, 0.9}, {-0.5, 0.8}},
}

func (p *sheetPrinter) handwritten(line []Point, x, y, size float64) {
	for i, to := range line[1:] {
		from := line[i]
		p.pdf.Line(x+from.X*size, y+from.Y*size, x+to.X*size, y+to.Y*size)
	}
}

// trialMark draws the mark of a line into its first box. Greys are what ballpoint and pencil leave (a choice, no
// source).
func (p *sheetPrinter) trialMark(at Row) {
	n := int(at.Line) - 1
	if n < 0 || n >= len(p.trial) {
		return
	}
	f := p.geometry.Fields[3]
	box := at.Tick(f)
	x, y, s := box.X+box.W/2, box.Y+box.H/2, box.W/2*0.8
	ink := func(width float64, grey int) {
		p.pdf.SetLineWidth(width)
		p.pdf.SetDrawColor(grey, grey, grey)
	}
	tick := func(up float64) {
		p.pdf.Line(x-s, y, x-0.3*s, y+0.9*s)
		p.pdf.Line(x-0.3*s, y+0.9*s, x+s+up, y-s-up/2)
	}
	p.pdf.SetLineCapStyle("round")
	ink(0.5, 20)
	switch p.trial[n] {
	case TrialTick:
		tick(0)
	case TrialCross:
		p.pdf.Line(x-s, y-s, x+s, y+s)
		p.pdf.Line(x+s, y-s, x-s, y+s)
	case TrialFilled:
		for k := -0.9; k <= 0.9; k += 0.15 {
			p.pdf.Line(x-0.9*s, y+k*s, x+0.9*s, y+k*s)
		}
	case TrialOverlong:
		tick(2.2)
	case TrialSlash:
		p.pdf.Line(x-s, y+s, x+s, y-s)
	case TrialPencil:
		ink(0.3, 128)
		tick(0)
	case TrialPale:
		ink(0.45, 178)
		tick(0)
	case TrialErased:
		ink(0.45, 212)
		p.pdf.Line(x-0.8, y+0.3, x-0.2, y+1.1)
		p.pdf.Line(x-0.2, y+1.1, x+1.1, y-1)
	case TrialStruck:
		tick(0)
		p.pdf.Line(box.X-1.2, y+0.2, box.X+box.W+1.4, y-0.3)
	case TrialNumber:
		c := at.Write(f)
		p.font(regular, 13)
		p.text(c.X+2, c.Y+0.5, "12")
	case TrialNumberIn:
		p.handwritten(trialDigits[n%len(trialDigits)], x, y, s)
	case TrialDot:
		p.disc(Point{x + 0.5, y - 0.4}, 0.5, false)
	}
	p.pdf.SetLineCapStyle("butt")
	ink(0.2, 0)
}
