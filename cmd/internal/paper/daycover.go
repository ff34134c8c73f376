package paper

import (
	"io"
	"time"

	"listbound/projections/words"
)

// DayCase is a case of a day that is printed ahead, with the sets that it wants.
type DayCase struct {
	Case, Room string
	Start      time.Time // by the site's clocks
	Sets       []DaySet
}

// DaySet is one of them. Of a list that no set was found for, Set is empty.
type DaySet struct {
	Set, Trip, List, Title string
	Printed                bool // its count sheet lies behind the cover
	Stopped                bool // it is not to be opened as it is
}

// WriteDayCover prints the page that lies on top of a case's count sheets: when and where it is, and which of its sets have
// their count sheet behind it. It is no count sheet, and nothing on it is read back.
func WriteDayCover(w io.Writer, of DayCase, size Size, practice bool, lang *words.Language) error {
	text, err := wordingOf(lang)
	if err != nil {
		return err
	}
	width, height, err := size.millimetres()
	if err != nil {
		return err
	}
	c := newCanvas(width, height, text.say("paper.cover", of.Case), lang.Tag(), time.Time{})
	const row, head, large, next = 8.0, 40.0, 28.0, 16.0
	y := height // as on a page that is full
	for _, s := range of.Sets {
		if y+2*row > height-margin {
			c.page()
			if practice {
				c.practice(text.say("paper.practice"), sheetBand)
			}
			c.font(bold, large)
			c.text(side, margin+4, of.Start.Format("15:04")+"  "+of.Room)
			c.font(bold, next)
			c.text(side, margin+18, text.say("paper.cover", of.Case))
			c.font(regular, body)
			c.lines(side, margin+28, c.wrap(text.say("paper.cover-why", of.Start.Format("2006-01-02")), width-2*side))
			y = margin + head
		}
		name, says := s.Set, text.say("paper.cover-printed")
		if name == "" {
			name = s.List
		}
		switch {
		case s.Stopped:
			says = text.say("paper.cover-stopped")
		case !s.Printed:
			says = text.say("paper.cover-lacks")
		}
		c.line(side, y, width-side, y, 0.2)
		c.shrink(bold, 11, 7, name, 40)
		c.text(side, y+2, name)
		c.shrink(regular, body, 7, s.Title, width-2*side-92)
		c.text(side+42, y+2.3, s.Title)
		c.shrink(regular, body, 7, says, 48)
		c.text(width-side-48, y+2.3, says)
		y += row
	}
	return c.write(w)
}
