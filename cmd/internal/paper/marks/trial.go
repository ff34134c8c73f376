package marks

import (
	"math"

	"listbound/cmd/internal/paper"
	"listbound/events"
	"listbound/projections/words"
)

// Fitness is whether sheets can be read by what made a picture of the trial sheet: printer, copier or scanner, or
// phone.
type Fitness string

// The grades.
const (
	Fit     Fitness = "fit"     // all is read, the pale marks too or asked
	AsksAll Fitness = "asks"    // nothing is read wrong, but much more is asked than paper needs
	Unfit   Fitness = "unfit"   // marks are lost, or read where there are none
	Unasked Fitness = "unasked" // own pens only: their column was not ticked
)

// Tried is how one kind of mark was read.
type Tried struct {
	Mark  paper.TrialMark // OwnPen for the column that is ticked by hand
	Of    int
	Right int // as it should be: ticked, or asked where a person must look
	Asked int // ticked, but asked
	Wrong int // a mark that is lost, or one where there is none
}

// OwnPen stands for what the site's own pens wrote.
const OwnPen paper.TrialMark = "own-pen"

// Trial is what a picture of the trial sheet tells.
type Trial struct {
	Fitness Fitness // by the printed marks
	OwnPens Fitness // by the column that was ticked by hand
	Kinds   []Tried // in the order of the sheet, then OwnPen and the column that stays empty
	Page    *Page
}

// TrialOf reads the picture of a trial sheet that Read has read.
func TrialOf(p *Page) Trial {
	out := Trial{Page: p}
	at := make(map[paper.TrialMark]int)
	count := func(m paper.TrialMark, c Cell) {
		i, ok := at[m]
		if !ok {
			i = len(out.Kinds)
			at[m] = i
			out.Kinds = append(out.Kinds, Tried{Mark: m})
		}
		out.Kinds[i].count(m, c)
	}
	list := paper.TrialMarks()
	for _, r := range p.Rows {
		for _, c := range r.Cells {
			if c.Stage == events.StageFirst && int(r.Line) <= len(list) {
				count(list[r.Line-1], c)
			}
		}
	}
	out.Fitness = fitness(out.Kinds)
	if p.GreyLost && out.Fitness == Fit {
		out.Fitness = Unfit
	}
	pens, rest := Tried{Mark: OwnPen}, Tried{Mark: paper.TrialEmpty}
	for _, r := range p.Rows {
		for _, c := range r.Cells {
			switch c.Stage {
			case events.StageClosing:
				pens.count(paper.TrialTick, c)
			case events.StageFinal:
				rest.count(paper.TrialEmpty, c)
			}
		}
	}
	out.Kinds = append(out.Kinds, pens, rest)
	if rest.Wrong > 0 {
		out.Fitness = Unfit
	}
	out.OwnPens = fitness([]Tried{pens})
	for _, s := range p.Blank {
		if s == events.StageClosing {
			out.OwnPens = Unasked
		}
	}
	return out
}

func (t *Tried) count(m paper.TrialMark, c Cell) {
	t.Of++
	switch m {
	case paper.TrialErased, paper.TrialStruck, paper.TrialNumber, paper.TrialNumberIn:
		// A person must look; an erased mark may also leave nothing.
		if c.Verdict == Ask || m == paper.TrialErased && c.Verdict == Empty {
			t.Right++
		} else {
			t.Wrong++
		}
	case paper.TrialDot, paper.TrialEmpty:
		if c.Verdict == Ticked {
			t.Wrong++
		} else {
			t.Right++
		}
	default:
		switch {
		case c.Verdict == Ticked:
			t.Right++
		case c.Verdict == Ask && c.Why != Unmarked:
			t.Asked++
		default:
			t.Wrong++
		}
	}
}

func fitness(kinds []Tried) Fitness {
	asked, of := 0, 0
	for _, t := range kinds {
		if t.Wrong > 0 {
			return Unfit
		}
		if t.Mark != paper.TrialPale { // which may be asked about
			asked, of = asked+t.Asked, of+t.Of
		}
	}
	if 10*asked > of { // a choice, no source: a tenth is what nobody would put up with
		return AsksAll
	}
	return Fit
}

// Overall is whether sheets can be read back by this way, as far as one page tells: by the printed marks and by those of the
// site's own pens, whichever did worse. Where these were not tried, the page tells of printer and camera alone.
func (t *Trial) Overall() Fitness {
	switch {
	case t.Fitness == Unfit || t.OwnPens == Unfit:
		return Unfit
	case t.OwnPens == Unasked:
		return Unasked
	case t.Fitness == AsksAll || t.OwnPens == AsksAll:
		return AsksAll
	}
	return Fit
}

// wrong is how many marks of the page were read as what they are not, and how many there are.
func (t *Trial) wrong() (wrong, of int) {
	for _, k := range t.Kinds {
		if k.Mark == OwnPen && t.OwnPens == Unasked {
			continue
		}
		wrong, of = wrong+k.Wrong, of+k.Of
	}
	return wrong, of
}

// atMost is the share in a hundred, rounded up, that may be read wrong where none of so many was: the upper bound of 95 %
// confidence (exact, by the binomial distribution).
func atMost(of int) int {
	const doubt = 0.05
	return int(math.Ceil(100 * (1 - math.Pow(doubt, 1/float64(of)))))
}

// Say says what the picture of the trial sheet tells, a line each: whether it will do, then kind by kind.
func (t Trial) Say(in *words.Language) []string {
	wrong, of := t.wrong()
	out := []string{in.Say("paper.fitness-"+string(t.Overall()), wrong, of, atMost(max(of, 1))), in.Say("paper.pens-" + string(t.OwnPens)),
		in.Say("paper.trial-picture", in.Figures(t.Page.PixelsPerMillimetre, 2), in.Figures(100*t.Page.Darkness, 2))}
	if t.Page.GreyLost {
		out = append(out, in.Say("paper.trial-grey-lost"))
	}
	for _, k := range t.Kinds {
		out = append(out, in.Say("paper.trial-kind", in.Say("paper.trial-"+string(k.Mark)), k.Of, k.Right, k.Asked, k.Wrong))
	}
	return out
}
