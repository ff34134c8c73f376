package marks

import (
	"bytes"
	"image"
	"reflect"
	"strings"
	"testing"

	"listbound/cmd/internal/paper"
	"listbound/cmd/internal/paper/marks/markstest"
	"listbound/cmd/internal/texts"
	"listbound/events"
)

// TestTrialSheet: a good picture of the trial sheet will do, a copy that loses pale ink won't, and where the own pens
// were not tried it says so. It is read without knowing in which language it was printed.
func TestTrialSheet(t *testing.T) {
	languages, err := texts.Load()
	if err != nil {
		t.Fatal(err)
	}
	languages.OnError(func(err error) { t.Error(err) })
	en, de := languages.In("en"), languages.In("de")
	s, err := paper.TrialSheet(en)
	if err != nil {
		t.Fatal(err)
	}
	gs, err := paper.TrialSheet(de)
	if err != nil {
		t.Fatal(err)
	}
	g, err := paper.GeometryOf(&s, 3)
	if err != nil {
		t.Fatal(err)
	}
	if other, err := paper.GeometryOf(&gs, 3); err != nil || !reflect.DeepEqual(g, other) || len(g.Pages) != 1 {
		t.Fatalf("in German its boxes stand elsewhere, or on %d pages (%v)", len(g.Pages), err)
	}
	var b bytes.Buffer
	if err := paper.WriteTrialSheet(&b, paper.A4, de); err != nil {
		t.Fatal(err)
	}
	page := markstest.Render(t, b.Bytes(), copyDPI())[0]
	var pens []markstest.Mark
	for _, l := range s.Lines {
		pens = append(pens, markstest.Mark{Line: l.Line, Stage: events.StageClosing, Kind: markstest.Tick})
	}
	ticked := markstest.Over(t, page, markstest.SVG(g, 1, pens, 800))
	find := func(x Symbol) (*paper.Sheet, error) {
		if !paper.IsTrial(x.Code) || !x.Practice {
			t.Errorf("it is read as %+v", x)
		}
		return &s, nil
	}
	for _, tt := range []struct {
		name          string
		copied, pens  bool
		fitness, hand Fitness
		says          string
	}{
		{"a scan", false, true, Fit, Fit, "none of 63 marks was read as what it is not. So few show only that fewer than 5 in 100 are"},
		{"a scan without pens", false, false, Fit, Unasked, "That tells of printer and camera alone"},
		{"a copy", true, true, Unfit, Fit, "will not do"},
	} {
		var from image.Image = page
		if tt.pens {
			from = ticked
		}
		if tt.copied {
			from = copied(t, ticked, 800)
		}
		p, err := Read(from, find)
		if err != nil {
			t.Errorf("%s: %v", tt.name, err)
			continue
		}
		got := TrialOf(p)
		if says := got.Say(en)[0]; !strings.Contains(says, tt.says) {
			t.Errorf("%s: it begins with %q", tt.name, says)
		}
		if got.Fitness != tt.fitness || got.OwnPens != tt.hand {
			t.Errorf("%s: %s, %s:\n%s", tt.name, got.Fitness, got.OwnPens, strings.Join(got.Say(en), "\n"))
		}
		if lines := got.Say(de); len(lines) < 15 || strings.Contains(strings.Join(lines, ""), "paper.") {
			t.Errorf("%s says %q", tt.name, lines)
		}
	}
}

// The first sentence is no more certain than the worst of the figures below it.
func TestTrialSaysNoMoreThanItsFigures(t *testing.T) {
	languages, err := texts.Load()
	if err != nil {
		t.Fatal(err)
	}
	kinds := []Tried{{Mark: paper.TrialTick, Of: 22, Right: 22}, {Mark: OwnPen, Of: 18, Wrong: 18}}
	trial := Trial{Fitness: Fit, OwnPens: Unfit, Kinds: kinds, Page: new(Page)}
	if says := trial.Say(languages.In("en"))[0]; !strings.Contains(says, "will not do: 18 of 40 marks") {
		t.Error(says)
	}
	// Of 60 without one that is wrong, as many as 4.87 in 100 may be (1 - 0.05^(1/60), by hand).
	if got := atMost(60); got != 5 {
		t.Errorf("at most %d in 100", got)
	}
}
