package paper

import (
	"bytes"
	"strconv"
	"strings"
	"time"

	"listbound/cmd/internal/figure"
)

// Document is running text on A4: headings, paragraphs, tables, lines of
// codes. What does not fit on a page goes on the next.
type Document struct {
	c      *canvas
	y      float64
	page   int
	pages  int // in all; 0 while they are being counted
	footer string
	repeat func() // the heading of a table that runs over the page's end
	mark   string // across each page, "" for none
	lacked bool   // a character was replaced that the fonts lack
}

// The page of a document, in millimetres.
const (
	documentWidth  = 210.0
	documentHeight = 297.0
	documentMargin = 16.0
	documentInner  = documentWidth - 2*documentMargin
	documentBottom = documentHeight - 20
)

// WriteDocument returns a document as PDF. It is written twice, as its footer
// says how many pages there are. The footer may hold %page% and %pages%.
func WriteDocument(title, language, footer string, at time.Time, write func(*Document)) ([]byte, error) {
	pages := 0
	for {
		d := &Document{c: newCanvas(documentWidth, documentHeight, title, language, at), pages: pages, footer: footer}
		d.turn()
		write(d)
		d.foot()
		if pages == 0 {
			pages = d.page
			continue
		}
		var out bytes.Buffer
		err := d.c.write(&out)
		return out.Bytes(), err
	}
}

// shown replaces the characters that the fonts lack, so that nothing prints as
// an empty box that might pass for a letter.
func shown(s string) string {
	for _, r := range Missing(s) {
		s = strings.ReplaceAll(s, string(r), "?")
	}
	return s
}

// shown is what can be shown of a text, and notes where that is less than all of it.
func (d *Document) shown(s string) string {
	out := shown(s)
	d.lacked = d.lacked || out != s
	return out
}

// Lacked reports whether "?" stands for another character in what was written so far. Whoever reads it is told: it may be all
// that a reason says.
func (d *Document) Lacked() bool { return d.lacked }

func (d *Document) turn() {
	if d.page > 0 {
		d.foot()
	}
	d.page++
	d.c.page()
	if d.mark != "" {
		d.c.practice(d.mark, documentBand)
	}
	d.y = documentMargin
	if d.repeat != nil {
		d.repeat()
	}
}

// documentBand leaves a footer of two lines its room.
const documentBand = 3.0

// Mark writes a word across all pages and in a band at their edges, before anything else is written; "" writes none.
func (d *Document) Mark(word string) {
	if d.mark = word; word != "" {
		d.c.practice(word, documentBand)
	}
}

func (d *Document) foot() {
	d.c.font(regular, 8)
	s := strings.NewReplacer("%page%", strconv.Itoa(d.page), "%pages%", strconv.Itoa(max(d.pages, d.page))).Replace(d.footer)
	d.c.line(documentMargin, documentBottom+4, documentWidth-documentMargin, documentBottom+4, 0.2)
	for i, l := range d.c.wrap(d.shown(s), documentInner) {
		d.c.text(documentMargin, documentBottom+6+float64(i)*d.c.lineHeight(), l)
	}
}

// need turns the page where h millimetres are not left.
func (d *Document) need(h float64) {
	if d.y+h > documentBottom && d.y > documentMargin {
		d.turn()
	}
}

func (d *Document) lines(face string, size, indent float64, s string) {
	d.c.font(face, size)
	for _, l := range d.c.wrap(d.shown(s), documentInner-indent) {
		d.c.font(face, size)
		h := d.c.lineHeight()
		d.need(h)
		d.c.font(face, size) // a new page has set its own
		d.c.text(documentMargin+indent, d.y, l)
		d.y += h
	}
}

// Title begins a document.
func (d *Document) Title(s string) {
	d.lines(bold, 17, 0, s)
	d.y += 2
}

// Heading begins a part; it never stands alone at a page's foot.
func (d *Document) Heading(s string) {
	d.need(24)
	d.y += 4
	d.lines(bold, 12, 0, s)
	d.c.line(documentMargin, d.y+0.6, documentWidth-documentMargin, d.y+0.6, 0.3)
	d.y += 2
}

// Text is a paragraph.
func (d *Document) Text(s string) {
	d.lines(regular, 9.5, 0, s)
	d.y += 1.2
}

// Strong is a paragraph in bold type.
func (d *Document) Strong(s string) {
	d.need(14)
	d.lines(bold, 10, 0, s)
}

// Indented is a paragraph that belongs to the one before.
func (d *Document) Indented(s string) {
	d.lines(regular, 9.5, 6, s)
	d.y += 0.8
}

// Code is a line of a digest, a key or a command.
func (d *Document) Code(s string) { d.lines(mono, 7, 6, s) }

// Gap leaves room.
func (d *Document) Gap() { d.y += 3 }

// Column of a table: its heading and its share of the width.
type Column struct {
	Title string
	Share float64
	Code  bool // in the face for codes
}

// Table is a table whose heading is repeated on each page.
func (d *Document) Table(columns []Column, rows [][]string) {
	const size, gap = 8.0, 1.6
	total := 0.0
	for _, c := range columns {
		total += c.Share
	}
	put := func(face string, texts []string) {
		cells := make([][]string, len(columns))
		most := 1
		for i := range columns {
			f, s := face, size
			if columns[i].Code && face != bold {
				f, s = mono, 6.2
			}
			d.c.font(f, s)
			if i < len(texts) {
				cells[i] = d.c.wrap(d.shown(texts[i]), documentInner*columns[i].Share/total-gap)
			}
			most = max(most, len(cells[i]))
		}
		d.c.font(regular, size)
		h := float64(most)*d.c.lineHeight() + 1
		d.need(h)
		x := documentMargin
		for i := range columns {
			f, s := face, size
			if columns[i].Code && face != bold {
				f, s = mono, 6.2
			}
			d.c.font(regular, size)
			step := d.c.lineHeight()
			d.c.font(f, s)
			for n, l := range cells[i] {
				d.c.text(x, d.y+float64(n)*step, l)
			}
			x += documentInner * columns[i].Share / total
		}
		d.y += h
		d.c.line(documentMargin, d.y-0.5, documentWidth-documentMargin, d.y-0.5, 0.1)
	}
	heads := make([]string, len(columns))
	for i, c := range columns {
		heads[i] = c.Title
	}
	d.need(16)
	put(bold, heads)
	d.repeat = func() { put(bold, heads) }
	for _, r := range rows {
		put(regular, r)
	}
	d.repeat = nil
	d.y += 2
}

// Boxes draws an empty box before a line, to be ticked by hand.
func (d *Document) Boxes(lines []string) {
	for _, l := range lines {
		d.need(7)
		d.c.box(documentMargin, d.y+0.3, 3.4, 3.4, 0.3)
		d.lines(regular, 10, 6, l)
		d.y += 1
	}
}

// Sign draws lines to be written on by hand, side by side, each with what belongs there below it.
func (d *Document) Sign(what []string) {
	const room, gap = 16.0, 6.0
	d.need(room + 8)
	d.y += room
	width := (documentInner - gap*float64(len(what)-1)) / float64(len(what))
	d.c.font(regular, 8)
	for i, w := range what {
		x := documentMargin + float64(i)*(width+gap)
		d.c.line(x, d.y, x+width, d.y, 0.3)
		d.c.text(x, d.y+1, d.shown(w))
	}
	d.y += d.c.lineHeight() + 2
}

// Figure draws a picture as wide as the text, with its title above and how it is read below. One that is too high for a
// page is drawn smaller.
func (d *Document) Figure(f *figure.Figure) {
	const title, says = 9.0, 10.0
	scale := min(documentInner/figure.Wide, (documentBottom-documentMargin-title-says)/f.H)
	d.need(f.H*scale + title + says)
	d.y += 1.5
	d.Strong(f.Title)
	d.c.figure(f, documentMargin, d.y+1, scale)
	d.y += f.H*scale + 2
	d.lines(regular, 8, 0, f.Says)
	d.y += 2.5
}
