package marks

import (
	"image"
	"slices"

	"listbound/cmd/internal/paper"
	"listbound/events"
)

// Symbol is what the symbol on a page says.
type Symbol struct {
	events.SheetPage        // sheet code (which names the trip), page, pages, layout
	Practice         bool   // printed for practice
	Text             string // as it stands in the symbol
}

// Find returns the sheet that a symbol names, as it was printed: with its lines,
// exceptions and stages. An error of it is returned by Read as it is; the twin's page, an old
// version of a list or a practice sheet is told there, before a box is looked at.
type Find func(Symbol) (*paper.Sheet, error)

// Verdict is what a box shows.
type Verdict string

// The verdicts.
const (
	Ticked Verdict = "ticked"
	Empty  Verdict = "empty"
	Ask    Verdict = "ask" // Why says what for
)

// Why a cell is asked.
type Why string

// The reasons. With Number and NumberToo a person types what is written; with the others a
// person says first what the box means.
const (
	Number      Why = "number"      // nothing ticked, something written beside: type it
	NumberToo   Why = "number-too"  // ticked, and something written beside
	Unmarked    Why = "unmarked"    // empty among ticked ones, nothing beside
	Pale        Why = "pale"        // a mark, but much paler than print
	Small       Why = "small"       // a mark that is too small or off the box's middle
	Shape       Why = "shape"       // a mark, but no tick, cross, slash or filled box: it may be a number
	RunsOn      Why = "runs-on"     // a line goes through this row and those beside it
	StruckOut   Why = "struck-out"  // a line through the box and beyond it
	Smudged     Why = "smudged"     // something, but no stroke of a pen; an erased mark is such
	BesideBox   Why = "beside-box"  // a mark just outside
	Creased     Why = "creased"     // a fold or a shadow's edge runs through it
	LineUnclear Why = "line-unsure" // the box is sure; whether something is on the line is not
	Outside     Why = "outside"     // not in the picture
)

// Cell is what one stage of one line has: a box to tick, and a line to write on. Stage
// added has the line only: it is Empty, or asked with Number.
type Cell struct {
	Stage   events.Stage
	Verdict Verdict
	Why     Why     // "" unless asked
	Ink     float64 // share of the box's inside that is written on
	Dark    float64 // of the mark in the box; 1 is as dark as the print
	Written bool    // something is on the line

	cut func() image.Image
}

// CutOut is the cell straightened, and a little around it, for a person to look at.
// It shows no other part of the page.
func (c Cell) CutOut() image.Image { return c.cut() }

// Row is a line of the list on the page, or one for goods.
type Row struct {
	Line  int64
	Cells []Cell // in the order of Page.Stages

	cut func() image.Image
}

// CutOut is a row for goods straightened, from its number to its last column: the numbers of it are typed together. nil of a line.
func (r Row) CutOut() image.Image {
	if r.cut == nil {
		return nil
	}
	return r.cut()
}

// Used reports whether anything is in the row.
func (r Row) Used() bool {
	return slices.ContainsFunc(r.Cells, func(c Cell) bool { return c.Written || c.Verdict != Empty })
}

// Field is a place beside the table that people fill in, such as the case; a person types what
// it shows. It is named as in paper.Places.
type Field struct {
	Name    string
	Written bool   // something is there
	Symbol  string // of a label that was stuck there and could be read, "" otherwise

	cut func() image.Image
}

// CutOut is the field straightened.
func (f Field) CutOut() image.Image { return f.cut() }

// Page is what was read of one page.
type Page struct {
	Symbol Symbol
	Stages []events.Stage // the columns from left to right
	Rows   []Row
	Goods  []Row   // rows for goods, with their number from 1 on as the line
	Fields []Field // all but the place for the patient's label, which nothing looks at

	// Blank are the stages in whose column nothing at all is on this page. Where that is so on every
	// page of the sheet, ask once whether the stage was not counted.
	Blank []events.Stage

	// GreyLost: the picture comes from a copier or scanner that makes pale things white. An empty box says even less
	// on it, and a blank stage may have been ticked in pale ink.
	GreyLost bool

	// How good the picture is.
	PixelsPerMillimetre float64
	Darkness            float64 // of the printed frames: 1 is black on white
	Sharpness           float64 // how dark thin lines are beside wide ones, 1 where nothing is blurred
	Dots, DotsOf        int     // of the edge, found and printed

	strip func() image.Image
}

// Strip is the part of the page, straightened, that has the counts' columns and nothing else: no description,
// no head, no label of a patient. It is what a site may keep.
func (p *Page) Strip() image.Image { return p.strip() }

// Asked is how many cells are asked.
func (p *Page) Asked() int {
	n := 0
	for _, r := range slices.Concat(p.Rows, p.Goods) {
		for _, c := range r.Cells {
			if c.Verdict == Ask {
				n++
			}
		}
	}
	return n
}
