package marks

import (
	"image"
	"strings"
	"testing"

	"listbound/cmd/internal/paper"
	"listbound/cmd/internal/paper/marks/markstest"
	"listbound/events"
)

// TestCutOuts: a person is shown the cell that is asked and no more; fields say whether something is in them; of the
// place for the patient's label nothing comes out, and the strip that a site may keep ends where the descriptions
// begin.
func TestCutOuts(t *testing.T) {
	s := sheet(t, 10, nil)
	drawn, g := printedAt(t, s, paper.Letter, flatDPI)
	svg := markstest.SVG(g, 1, []markstest.Mark{{Line: 3, Stage: events.StageFinal, Kind: markstest.Number, Text: "17"}}, 700)
	var patient, room paper.Rect
	for _, p := range g.Pages[0].Places {
		switch p.Name {
		case paper.PlacePatient:
			patient = p.Rect
		case paper.PlaceRoom:
			room = p.Rect
		}
	}
	svg = strings.Replace(svg, "</svg>", markstest.Text("SECRET NAME", patient.X+5, patient.Y+20, 8)+
		markstest.Text("OR 3", room.X+6, room.Y+6.2, 4)+"</svg>", 1)
	p, err := Read(flat(markstest.Over(t, drawn[0], svg)), of(s))
	if err != nil {
		t.Fatal(err)
	}
	c := p.Rows[2].Cells[len(p.Stages)-1]
	if c.Verdict != Ask || c.Why != Number || !c.Written {
		t.Errorf("a number is %s %s %v", c.Verdict, c.Why, c.Written)
	}
	if n := darkPixels(c.CutOut()); n < 200 {
		t.Errorf("the cut-out of a number has %d dark points", n)
	}
	if b := c.CutOut().Bounds(); b.Dx() > 240 || b.Dy() > 100 {
		t.Errorf("the cut-out is %v", b)
	}
	for _, f := range p.Fields {
		if f.Name == paper.PlacePatient {
			t.Error("the patient's label is looked at")
		}
		if f.Written != (f.Name == paper.PlaceRoom) {
			t.Errorf("%s is written: %v", f.Name, f.Written)
		}
		if f.Name == paper.PlaceRoom && darkPixels(f.CutOut()) < 100 {
			t.Error("the room's cut-out is empty")
		}
	}
	strip := p.Strip().Bounds()
	first := g.Fields[3]
	end := g.Pages[0].Rows[9]
	w, h := (g.Width-16-first.X)*stripPerMM, (end.Y+end.H-g.Pages[0].Table.Y)*stripPerMM
	if float64(strip.Dx()) > w+1 || float64(strip.Dy()) > h+1 {
		t.Errorf("the strip is %v", strip)
	}
}

func darkPixels(m image.Image) (n int) {
	for _, v := range brightness(m, 1).pix {
		if v < 128 {
			n++
		}
	}
	return n
}
