package workplace

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"image"
	"image/png"
	"slices"
	"time"

	"listbound/cmd/internal/paper/marks"
	"listbound/events"
)

// paperSheet is a count sheet that is read back: what was found on its pages, one file a sheet. It is
// nobody's count until a person has looked at it and signed. Of the pictures it holds what is
// asked about, a cell or a field each, and never the head of a page, where a patient's label may be.
type paperSheet struct {
	Code    string             `json:"code"`
	Set     string             `json:"set"`
	Trip    string             `json:"trip"`
	List    string             `json:"list"`
	Version int64              `json:"version"`
	Title   string             `json:"title"`
	Of      int                `json:"of"` // pages
	Pages   map[int]*paperPage `json:"pages"`
	Form    bool               `json:"form,omitempty"`  // nothing was read: it is typed in off a blank form
	Goods   []events.Line      `json:"goods,omitempty"` // that rows are named of, from the first one on
	ReadAt  time.Time          `json:"readAt"`          // when the last of its pages was read

	hand paperHand
}

// paperPage is a page as it was read.
type paperPage struct {
	Page    int            `json:"page"`
	Picture string         `json:"picture"` // hex SHA-256 of the file
	InFile  int            `json:"inFile"`  // which page of the file it was
	Stages  []events.Stage `json:"stages"`
	Rows    []paperRow     `json:"rows"`
	Goods   []paperRow     `json:"goods,omitempty"` // their lines are below zero, as on the sheet
	Grey    bool           `json:"grey,omitempty"`  // what is pale has become white on it
	Fields  []paperField   `json:"fields,omitempty"`
	Strip   []byte         `json:"strip,omitempty"` // PNG of the marks, where the policy keeps them
}

type paperRow struct {
	Line    int64       `json:"line"`
	Printed *int64      `json:"printed,omitempty"` // the number beside the line; in earlier drafts it is not kept
	Cells   []paperCell `json:"cells"`             // in the order of the page's stages
	Cut     []byte      `json:"cut,omitempty"`     // PNG of all of a row for goods
}

// paperCell is what one stage of one line shows.
type paperCell struct {
	Mark    string `json:"mark"` // as in events.PaperPage
	Why     string `json:"why,omitempty"`
	Written bool   `json:"written,omitempty"`
	Cut     []byte `json:"cut,omitempty"` // PNG, of what is asked about
}

// paperField is a place to fill in beside the lines.
type paperField struct {
	Name    string `json:"name"`
	Symbol  string `json:"symbol,omitempty"` // of a label that was stuck there
	Written bool   `json:"written,omitempty"`
	Foreign bool   `json:"foreign,omitempty"` // a label with a symbol of something else is stuck there: it is not kept
	Cut     []byte `json:"cut,omitempty"`
}

// The letters of a mark.
const (
	markTicked = "t"
	markEmpty  = "e"
	markAsked  = "a"
)

// pageOf takes over what was read of a page.
func pageOf(p *marks.Page, picture string, inFile int, keep bool) (*paperPage, error) {
	out := &paperPage{Page: p.Symbol.Page, Picture: picture, InFile: inFile, Stages: p.Stages, Grey: p.GreyLost}
	var err error
	for _, r := range p.Goods {
		row := paperRow{Line: -r.Line}
		for _, c := range r.Cells {
			row.Cells = append(row.Cells, cellOf(c))
		}
		if r.Used() {
			if row.Cut, err = pngOf(r.CutOut()); err != nil {
				return nil, err
			}
		}
		out.Goods = append(out.Goods, row)
	}
	for _, r := range p.Rows {
		row := paperRow{Line: r.Line}
		for _, c := range r.Cells {
			cell := cellOf(c)
			if cell.Mark == markAsked || c.Written {
				if cell.Cut, err = pngOf(c.CutOut()); err != nil {
					return nil, err
				}
			}
			row.Cells = append(row.Cells, cell)
		}
		out.Rows = append(out.Rows, row)
	}
	for _, f := range p.Fields {
		field := paperField{Name: f.Name, Written: f.Written, Foreign: f.Symbol != "" && !isOurs(f.Symbol)}
		if isOurs(f.Symbol) {
			field.Symbol = f.Symbol
		}
		if f.Written && !field.Foreign {
			if field.Cut, err = pngOf(f.CutOut()); err != nil {
				return nil, err
			}
		}
		out.Fields = append(out.Fields, field)
	}
	if keep {
		out.Strip, err = pngOf(p.Strip())
	}
	return out, err
}

func cellOf(c marks.Cell) paperCell {
	out := paperCell{Mark: markEmpty, Why: string(c.Why), Written: c.Written}
	switch c.Verdict {
	case marks.Ticked:
		out.Mark = markTicked
	case marks.Ask:
		out.Mark = markAsked
	}
	return out
}

// all are the rows of lines, and below them those for goods.
func (p *paperPage) all() []paperRow { return slices.Concat(p.Rows, p.Goods) }

// isOurs tells the label of a badge or a case from all that may be stuck there by mistake, such as a patient's, of which nothing
// is kept.
func isOurs(symbol string) bool {
	all, err := events.RecogniseAll(symbol)
	if errors.Is(err, events.ErrPractice) {
		all, err = events.RecognisePractice(symbol)
	}
	return err == nil && len(all) == 1 && (all[0].Kind == events.ScanBadge || all[0].Kind == events.ScanCase)
}

func pngOf(m image.Image) ([]byte, error) {
	if m == nil {
		return nil, nil
	}
	var out bytes.Buffer
	if err := png.Encode(&out, m); err != nil {
		return nil, fmt.Errorf("cut-out: %w", err)
	}
	return out.Bytes(), nil
}

// same reports whether two readings of a page came to the same marks.
func (p *paperPage) same(o *paperPage) bool {
	if len(p.Rows) != len(o.Rows) || len(p.Goods) != len(o.Goods) || len(p.Stages) != len(o.Stages) {
		return false
	}
	others := o.all()
	for i, r := range p.all() {
		for k, c := range r.Cells {
			x := others[i]
			if x.Line != r.Line || k >= len(x.Cells) || x.Cells[k].Mark != c.Mark || x.Cells[k].Written != c.Written {
				return false
			}
		}
	}
	return true
}

// asked is how many cells of the page a person must look at.
func (p *paperPage) asked() (n int) {
	for _, r := range p.all() {
		for _, c := range r.Cells {
			if c.Mark == markAsked {
				n++
			}
		}
	}
	return n
}

// marksOf are the letters of a stage's column, those of lines first.
func (p *paperPage) marksOf(stage events.Stage) string {
	var out []byte
	for k, st := range p.Stages {
		if st != stage {
			continue
		}
		for _, r := range p.all() {
			if k < len(r.Cells) {
				out = append(out, r.Cells[k].Mark...)
			}
		}
	}
	return string(out)
}

// blank reports whether nothing at all is in a stage's column of the page, as far as lines go.
func (p *paperPage) blank(stage events.Stage) bool {
	for k, st := range p.Stages {
		if st != stage {
			continue
		}
		for _, r := range p.Rows {
			if c := r.Cells[k]; c.Mark == markTicked || c.Written || c.Mark == markAsked && c.Why != string(marks.Unmarked) {
				return false
			}
		}
	}
	return true
}

// reading is a digest of what was read of the sheet's pages.
func (s *paperSheet) reading() string {
	sum := sha256.New()
	for _, p := range s.inOrder() {
		fmt.Fprintln(sum, p.Page, p.Picture, p.InFile)
		for _, r := range p.all() {
			fmt.Fprint(sum, r.Line)
			for _, c := range r.Cells {
				fmt.Fprint(sum, c.Mark, c.Why, c.Written)
			}
		}
	}
	return hex.EncodeToString(sum.Sum(nil))
}

// missing are the pages that were not read.
func (s *paperSheet) missing() (out []int) {
	for n := 1; n <= s.Of; n++ {
		if s.Pages[n] == nil {
			out = append(out, n)
		}
	}
	return out
}

// inOrder are the pages that were read.
func (s *paperSheet) inOrder() (out []*paperPage) {
	for n := 1; n <= s.Of; n++ {
		if p := s.Pages[n]; p != nil {
			out = append(out, p)
		}
	}
	return out
}

// stages are those that have a column on the sheet, in its order.
func (s *paperSheet) stages() []events.Stage {
	for _, p := range s.inOrder() {
		return p.Stages
	}
	return nil
}

// field is a place of the sheet by its name, and the page that it is on: what is written wins.
func (s *paperSheet) field(name string) (paperField, int) {
	var found paperField
	on := 0
	for _, p := range s.inOrder() {
		for _, f := range p.Fields {
			if f.Name == name && (on == 0 || f.Written && !found.Written) {
				found, on = f, p.Page
			}
		}
	}
	return found, on
}

// cell is one stage of one line, nil where its page was not read.
func (s *paperSheet) cell(line int64, stage events.Stage) (*paperCell, *paperPage) {
	r, p := s.row(line)
	if r == nil {
		return nil, nil
	}
	for k, st := range p.Stages {
		if st == stage && k < len(r.Cells) {
			return &r.Cells[k], p
		}
	}
	return nil, nil
}

// row is that of a line, or for goods that of its number below zero; nil where its page was not read.
func (s *paperSheet) row(line int64) (*paperRow, *paperPage) {
	for _, p := range s.inOrder() {
		for _, rows := range [][]paperRow{p.Rows, p.Goods} {
			if i := slices.IndexFunc(rows, func(r paperRow) bool { return r.Line == line }); i >= 0 {
				return &rows[i], p
			}
		}
	}
	return nil, nil
}

// otherwisePrinted reports whether another number is printed beside a line than the one that it was packed with by now.
func (s *paperSheet) otherwisePrinted(line, packed int64) bool {
	for _, p := range s.inOrder() {
		for _, r := range p.Rows {
			if r.Line == line && r.Printed != nil {
				return *r.Printed != packed
			}
		}
	}
	return false
}

const paperFolder = "paper"

func (s store) paper(code string) (*paperSheet, bool, error) {
	p := &paperSheet{Code: code}
	found, err := s.load(p, paperFolder, code)
	return p, found, err
}

func (s store) savePaper(p *paperSheet) error { return s.save(p, paperFolder, p.Code) }

func (s store) removePaper(code string) error {
	return errors.Join(s.remove(paperFolder, code), s.remove(paperHandFolder, code))
}

// paperHand is where a sheet that waits is. It is kept beside the sheet, which pages are laid to meanwhile, and decides only
// what Enter takes up next: what of it is lost is no loss.
type paperHand struct {
	Station string    `json:"station,omitempty"` // that has it in hand
	Aside   time.Time `json:"aside,omitzero"`    // when somebody left it for later
}

const paperHandFolder = "paper-hand"

func (s store) paperHand(code string) (h paperHand) {
	if _, err := s.load(&h, paperHandFolder, code); err != nil {
		return paperHand{}
	}
	return h
}

func (s store) savePaperHand(code string, h paperHand) error { return s.save(h, paperHandFolder, code) }

// aside reports whether somebody left the sheet for later, and no page of it came in since.
func (s *paperSheet) aside() bool { return s.hand.Aside.After(s.ReadAt) }
