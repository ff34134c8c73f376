package paper

import (
	"bytes"

	"codeberg.org/go-pdf/fpdf"
)

// Card is a thing with its picture.
type Card struct {
	Picture []byte // a JPEG; nil where there is none
	Digest  string // of the picture: one that is on several cards is in the file once
	Title   string
	Lines   []string
	Without string // stands in the picture's place
}

// The cards of a document, two in a row. A picture is large enough to tell two clamps apart at arm's length.
const (
	cardGap     = 4.0
	cardWidth   = (documentInner - cardGap) / 2
	cardHeight  = 39.4
	cardPicture = 37.4
	cardInset   = 0.4 // of the picture in its frame
	cardSize    = 8.5 // points
)

// Cards draws things with their pictures. A text that doesn't fit beside its picture is cut, and says so by an ellipsis.
func (d *Document) Cards(cards []Card) {
	for i := range cards {
		x := documentMargin
		if i%2 == 0 {
			d.need(cardHeight)
		} else {
			x += cardWidth + cardGap
		}
		d.card(x, &cards[i])
		if i%2 == 1 || i+1 == len(cards) {
			d.y += cardHeight
		}
	}
}

func (d *Document) card(x float64, k *Card) {
	top, left := d.y+1, x+cardPicture+2
	d.c.box(x, top, cardPicture, cardPicture, 0.1)
	if k.Picture != nil {
		d.c.picture(x+cardInset, top+cardInset, cardPicture-2*cardInset, k.Digest, k.Picture)
	} else {
		d.c.font(regular, cardSize)
		d.c.lines(x+2, top+cardPicture/2-d.c.lineHeight(), d.c.wrap(shown(k.Without), cardPicture-4))
	}
	y := top
	put := func(face, s string) {
		d.c.font(face, cardSize)
		for _, l := range d.c.wrap(shown(s), x+cardWidth-left) {
			d.c.font(face, cardSize)
			switch last := y+2*d.c.lineHeight() > top+cardPicture; {
			case y+d.c.lineHeight() > top+cardPicture:
				return
			case last:
				l = "…"
			}
			d.c.text(left, y, l)
			y += d.c.lineHeight()
		}
	}
	put(bold, k.Title)
	for _, l := range k.Lines {
		put(regular, l)
	}
}

// picture draws a JPEG in the middle of a square, as it is: not stretched.
func (c *canvas) picture(x, y, side float64, name string, jpeg []byte) {
	as := fpdf.ImageOptions{ImageType: "JPG"}
	info := c.pdf.RegisterImageOptionsReader(name, as, bytes.NewReader(jpeg))
	if info == nil || c.pdf.Err() {
		c.fail("picture %s can't be printed", name)
		return
	}
	w, h := side, side
	if info.Width() > info.Height() {
		h = side * info.Height() / info.Width()
	} else {
		w = side * info.Width() / info.Height()
	}
	c.inside(x, y, w, h, "a picture")
	c.pdf.ImageOptions(name, x+(side-w)/2, y+(side-h)/2, w, h, false, as, 0, "")
}
