package paper

import (
	"fmt"
	"io"
	"math"
	"strings"
	"time"
	"unicode/utf8"

	"codeberg.org/go-pdf/fpdf"
	"github.com/boombuler/barcode"
	"github.com/boombuler/barcode/qr"
)

const (
	mmPerPoint = 25.4 / 72
	family     = "paper"
	// quiet is the white margin of a QR symbol in modules (ISO/IEC 18004: 4; from memory).
	quiet = 4
	// leading is the distance of two lines of running text, in type sizes.
	leading = 1.2
	// slack forgives rounding where a box meets the edge it was computed from.
	slack = 0.01
)

// canvas draws in millimetres from the top left corner. It remembers the first
// thing that would have been drawn off the page, so that no caller can lose a
// part of a sheet over the edge unnoticed.
type canvas struct {
	pdf  *fpdf.Fpdf
	w, h float64
	err  error
	face string
	size float64 // points
}

// newCanvas fixes everything that would make two prints of one sheet differ:
// dates, and the order of objects.
func newCanvas(w, h float64, title, language string, at time.Time) *canvas {
	pdf := fpdf.NewCustom(&fpdf.InitType{OrientationStr: "P", UnitStr: "mm", Size: fpdf.SizeType{Wd: w, Ht: h}})
	if at.IsZero() {
		at = time.Unix(0, 0)
	}
	pdf.SetCreationDate(at.UTC())
	pdf.SetModificationDate(at.UTC())
	pdf.SetCatalogSort(true)
	pdf.SetProducer("listbound", true)
	pdf.SetTitle(title, true)
	pdf.SetLang(language)
	pdf.SetAutoPageBreak(false, 0)
	pdf.SetMargins(0, 0, 0)
	pdf.SetCellMargin(0)
	pdf.AddUTF8FontFromBytes(family, "", regularTTF)
	pdf.AddUTF8FontFromBytes(family, "B", boldTTF)
	pdf.AddUTF8FontFromBytes(family+mono, "", monoTTF)
	return &canvas{pdf: pdf, w: w, h: h}
}

func (c *canvas) page() {
	c.pdf.AddPage()
	c.pdf.SetLineWidth(0.2)
	c.pdf.SetDrawColor(0, 0, 0)
	c.black()
}

func (c *canvas) black() { c.pdf.SetFillColor(0, 0, 0) }

func (c *canvas) fail(format string, args ...any) {
	if c.err == nil {
		c.err = fmt.Errorf(format, args...)
	}
}

func (c *canvas) inside(x, y, w, h float64, what string) {
	if x < -slack || y < -slack || x+w > c.w+slack || y+h > c.h+slack {
		c.fail("%q does not fit on the page (%.1f x %.1f mm)", what, c.w, c.h)
	}
}

func (c *canvas) font(face string, points float64) {
	if face == c.face && points == c.size {
		return
	}
	c.face, c.size = face, points
	if face == mono {
		c.pdf.SetFont(family+mono, "", points)
		return
	}
	c.pdf.SetFont(family, face, points)
}

func (c *canvas) lineHeight() float64 { return c.size * mmPerPoint * leading }

func (c *canvas) width(s string) float64 { return c.pdf.GetStringWidth(s) }

// text puts a line's upper left corner at x, y.
func (c *canvas) text(x, y float64, s string) {
	c.inside(x, y, c.width(s), c.lineHeight(), s)
	// The ascent of the faces is about 0.93 of the size; the rest of the leading
	// is below.
	c.pdf.Text(x, y+0.95*c.size*mmPerPoint, s)
}

// right and centre place a line in a box of width w.
func (c *canvas) right(x, y, w float64, s string)  { c.text(x+w-c.width(s), y, s) }
func (c *canvas) centre(x, y, w float64, s string) { c.text(x+(w-c.width(s))/2, y, s) }

func (c *canvas) lines(x, y float64, lines []string) float64 {
	for _, l := range lines {
		c.text(x, y, l)
		y += c.lineHeight()
	}
	return y
}

func (c *canvas) line(x1, y1, x2, y2, thick float64) {
	c.inside(min(x1, x2), min(y1, y2), math.Abs(x2-x1), math.Abs(y2-y1), "a rule")
	c.pdf.SetLineWidth(thick)
	c.pdf.Line(x1, y1, x2, y2)
}

func (c *canvas) box(x, y, w, h, thick float64) {
	c.inside(x, y, w, h, "a box")
	c.pdf.SetLineWidth(thick)
	c.pdf.Rect(x, y, w, h, "D")
}

// disc fills a circle, in white where it is a hole.
func (c *canvas) disc(at Point, diameter float64, white bool) {
	r := diameter / 2
	c.inside(at.X-r, at.Y-r, diameter, diameter, "a mark")
	if white {
		c.pdf.SetFillColor(255, 255, 255)
	}
	c.pdf.Circle(at.X, at.Y, r, "F")
	c.black()
}

// grey fills a box so lightly that a photocopy stays readable.
func (c *canvas) grey(x, y, w, h float64) {
	c.inside(x, y, w, h, "a shade")
	c.pdf.SetFillColor(228, 228, 228)
	c.pdf.Rect(x, y, w, h, "F")
	c.black()
}

// practice writes a word across the page, large and so lightly that the page stays
// readable, and in a black band at its upper and lower edge, which no copier loses.
func (c *canvas) practice(word string, band float64) {
	c.font(bold, 12)
	slope := math.Atan2(c.h, c.w)
	size := 12 * 0.8 * math.Hypot(c.w, c.h) / c.width(word)
	c.font(bold, min(size, 2.2*c.h))
	c.pdf.SetTextColor(222, 222, 222)
	c.pdf.TransformBegin()
	c.pdf.TransformRotate(slope*180/math.Pi, c.w/2, c.h/2)
	c.pdf.Text((c.w-c.width(word))/2, c.h/2+0.35*c.size*mmPerPoint, word)
	c.pdf.TransformEnd()
	c.pdf.SetTextColor(255, 255, 255)
	const inset = 0.25 // of the band, as a printer leaves the edge white
	c.font(bold, 0.75*band/mmPerPoint)
	row := word
	for c.width(row+" · "+word) < c.w-2*band {
		row += " · " + word
	}
	for _, y := range []float64{band * inset, c.h - band*(1+inset)} {
		c.pdf.Rect(band*inset, y, c.w-2*band*inset, band, "F")
		c.centre(0, y+(band-c.lineHeight())/2, c.w, row)
	}
	c.pdf.SetTextColor(0, 0, 0)
}

// wrap breaks a text into lines of at most w millimetres, at spaces where it
// can and inside a word where it must.
func (c *canvas) wrap(s string, w float64) []string {
	var out []string
	line := ""
	for _, word := range unbroken(s) {
		next := word
		if line != "" {
			next = line + " " + word
		}
		if c.width(next) <= w {
			line = next
			continue
		}
		if line != "" {
			out = append(out, line)
		}
		for c.width(word) > w {
			n := c.fitting(word, w)
			out = append(out, word[:n])
			word = word[n:]
		}
		line = word
	}
	if line != "" {
		out = append(out, line)
	}
	return out
}

// unbroken splits a text at its spaces, but leaves a short unit with its figure:
// "16 cm" on two lines is misread.
func unbroken(s string) []string {
	var out []string
	for _, word := range strings.Fields(s) {
		if n := len(out) - 1; n >= 0 && len(word) <= 3 && out[n][len(out[n])-1] >= '0' && out[n][len(out[n])-1] <= '9' {
			out[n] += " " + word
			continue
		}
		out = append(out, word)
	}
	return out
}

// fitting returns how many bytes of a word fit into w, at least one character;
// a hyphen or slash near the end is the better place to break.
func (c *canvas) fitting(word string, w float64) int {
	n, soft := 0, 0
	for i, r := range word {
		end := i + utf8.RuneLen(r)
		if n > 0 && c.width(word[:end]) > w {
			break
		}
		n = end
		if r == '-' || r == '/' || r == '.' {
			soft = end
		}
	}
	if soft > n/2 {
		return soft
	}
	return n
}

// shrink selects the largest size between most and least at which s fits into
// w on one line, and returns its lines: more than one only at the least size.
func (c *canvas) shrink(face string, most, least float64, s string, w float64) []string {
	for p := most; p > least; p -= 0.5 {
		c.font(face, p)
		if c.width(s) <= w {
			return []string{s}
		}
	}
	c.font(face, least)
	return c.wrap(s, w)
}

// alphanumeric are the characters that a QR symbol holds in the least room (ISO/IEC
// 18004, table 5).
const alphanumeric = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ $%*+-./:"

// symbolOf encodes a text as a QR symbol with error correction Q: a quarter of it
// may be damaged or written over. Our codes are of capitals, digits and hyphens;
// a key has small letters too, and takes more room.
func symbolOf(text string) (barcode.Barcode, error) { return symbolAt(text, qr.Q) }

// symbolAt is a symbol with another correction: M takes a seventh, in less room.
func symbolAt(text string, level qr.ErrorCorrectionLevel) (barcode.Barcode, error) {
	mode := qr.AlphaNumeric
	if strings.Trim(text, alphanumeric) != "" {
		mode = qr.Unicode
	}
	b, err := qr.Encode(text, level, mode)
	if err != nil {
		return nil, fmt.Errorf("making the symbol: %w", err)
	}
	return b, nil
}

// symbol draws a QR symbol, its quiet zone included, into a square. Each run of
// dark modules is drawn along its row and again along its column: rows alone
// leave hairlines between them in some renderers, which decoders trip over.
func (c *canvas) symbol(x, y, side float64, text string, least float64) {
	c.symbolWith(qr.Q, x, y, side, text, least)
}

func (c *canvas) symbolWith(level qr.ErrorCorrectionLevel, x, y, side float64, text string, least float64) {
	b, err := symbolAt(text, level)
	if err != nil {
		c.fail("%w", err)
		return
	}
	c.inside(x, y, side, side, "the symbol")
	n := b.Bounds().Dx()
	m := side / float64(n+2*quiet)
	if m < least {
		c.fail("the symbol of %q needs %.0f mm; %.0f mm are free: take a larger label", text, math.Ceil(least*float64(n+2*quiet)), side)
		return
	}
	c.pdf.SetFillColor(255, 255, 255) // nothing shows through the symbol
	c.pdf.Rect(x, y, side, side, "F")
	x, y = x+quiet*m, y+quiet*m
	dark := func(i, j int) bool {
		if i < 0 || j < 0 || i >= n || j >= n {
			return false
		}
		r, _, _, _ := b.At(i, j).RGBA()
		return r == 0
	}
	c.black()
	for j := range n {
		for i := range n {
			if dark(i, j) && !dark(i-1, j) {
				w := 1
				for dark(i+w, j) {
					w++
				}
				c.pdf.Rect(x+float64(i)*m, y+float64(j)*m, float64(w)*m, m, "F")
			}
			if dark(i, j) && !dark(i, j-1) {
				h := 1
				for dark(i, j+h) {
					h++
				}
				c.pdf.Rect(x+float64(i)*m, y+float64(j)*m, m, float64(h)*m, "F")
			}
		}
	}
}

func (c *canvas) write(w io.Writer) error {
	if c.err != nil {
		return c.err
	}
	if err := c.pdf.Output(w); err != nil {
		return fmt.Errorf("writing the PDF: %w", err)
	}
	return nil
}
