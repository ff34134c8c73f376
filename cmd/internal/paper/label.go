package paper

import (
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"

	"listbound/events"
	"listbound/projections/words"
)

// LabelSize is a label's width and height in millimetres.
type LabelSize struct {
	Name          string
	Width, Height float64
}

const mmPerInch = 25.4

// LabelSizes are common ones; ParseLabelSize takes any.
func LabelSizes() []LabelSize {
	return []LabelSize{
		{"100x50", 100, 50},
		{"62x29", 62, 29},
		{"4x2in", 4 * mmPerInch, 2 * mmPerInch},
		{"3x2in", 3 * mmPerInch, 2 * mmPerInch},
		{"57x32", 57, 32},
		{"89x36", 89, 36},
	}
}

// ParseLabelSize reads width and height, in millimetres ("80x40") or inches
// ("4x2in").
func ParseLabelSize(s string) (LabelSize, error) {
	refused := fmt.Errorf("label size %q is not width x height, such as 100x50 (millimetres) or 4x2in, with sides from 20 to 300 mm", s)
	text, unit := s, 1.0
	if t, ok := strings.CutSuffix(s, "in"); ok {
		text, unit = t, mmPerInch
	}
	ws, hs, ok := strings.Cut(text, "x")
	if !ok {
		return LabelSize{}, refused
	}
	w, errW := strconv.ParseFloat(strings.TrimSpace(ws), 64)
	h, errH := strconv.ParseFloat(strings.TrimSpace(hs), 64)
	l := LabelSize{Name: s, Width: w * unit, Height: h * unit}
	if errW != nil || errH != nil || !l.possible() {
		return LabelSize{}, refused
	}
	return l, nil
}

func (l LabelSize) possible() bool {
	return l.Width >= 20 && l.Width <= 300 && l.Height >= 20 && l.Height <= 300
}

// SetLabel is the label outside on a packed set. Its symbol names the set, and says
// that it is an outer label: it can't be taken for the tag on the tray. Where who
// packed it, when, or the load is not known, there is room to write it by hand if the
// label has it; other empty fields are left out.
type SetLabel struct {
	Set, Title, List string
	Version          int64
	Packed           time.Time // printed in its own zone
	Badge            string    // who packed it
	Load             string    // in which it is or was sterilized
	Short            string    // the short code of the set's sheet, for comparing by eye
	Practice         bool
}

// LoadLabel is the label of a sterilizer load. Its symbol names the load.
type LoadLabel struct {
	Load, Sterilizer string
	Run              int64
	Cycle            string
	Started          time.Time // printed in its own zone
	Badge            string    // who loaded it
	Failed           bool      // no set is sterile by it, which is printed first
	Practice         bool
}

// IDLabel is the label of a person's badge, of a case, of a tray's tag or of a seal:
// its symbol names nothing else.
type IDLabel struct {
	Kind     events.ScanKind // ScanBadge, ScanCase, ScanTag or ScanSeal
	ID       string
	Practice bool
}

// idCaptions are what is printed over an IDLabel.
var idCaptions = map[events.ScanKind]string{
	events.ScanBadge: "paper.label-badge", events.ScanCase: "paper.label-case",
	events.ScanTag: "paper.label-tag", events.ScanSeal: "paper.label-seal",
}

// WriteSetLabel prints a set's label as PDF of the label's size.
func WriteSetLabel(w io.Writer, l SetLabel, size LabelSize, lang *words.Language) error {
	text, err := wordingOf(lang)
	if err != nil {
		return err
	}
	p := labelText{caption: text.say("paper.set-label"), id: l.Set, title: l.Title}
	if l.List != "" {
		p.facts = append(p.facts, text.say("paper.list", l.List, l.Version))
	}
	p.facts = append(p.facts, signed(text, "paper.packed-short", l.Packed, l.Badge)...)
	if l.Load != "" {
		p.facts = append(p.facts, text.say("paper.load", l.Load))
	}
	if l.Packed.IsZero() {
		p.blanks = append(p.blanks, text.say("paper.packed-blank"))
	}
	if l.Badge == "" {
		p.blanks = append(p.blanks, text.say("paper.by", blank))
	}
	if l.Load == "" {
		p.blanks = append(p.blanks, text.say("paper.load", blank))
	}
	if l.Short != "" {
		p.short = text.say("paper.sheet", l.Short)
	}
	return writeLabels(w, events.ScanOuter, []labelText{p}, l.Practice, size, lang, l.Packed)
}

// blank is room to write by hand.
const blank = "____________"

// WriteIDLabels prints labels as PDF, one on each page of the label's size. They
// are all of one kind.
func WriteIDLabels(w io.Writer, labels []IDLabel, size LabelSize, lang *words.Language) error {
	text, err := wordingOf(lang)
	if err != nil {
		return err
	}
	var out []labelText
	for _, l := range labels {
		caption := idCaptions[l.Kind]
		if caption == "" || l.Kind != labels[0].Kind || l.Practice != labels[0].Practice {
			return fmt.Errorf("there is no label of a %s here", l.Kind)
		}
		out = append(out, labelText{caption: text.say(caption), id: l.ID})
	}
	if len(out) == 0 {
		return errors.New("no label is asked for")
	}
	return writeLabels(w, labels[0].Kind, out, labels[0].Practice, size, lang, time.Time{})
}

// WriteLoadLabel prints a load's label as PDF of the label's size.
func WriteLoadLabel(w io.Writer, l LoadLabel, size LabelSize, lang *words.Language) error {
	text, err := wordingOf(lang)
	if err != nil {
		return err
	}
	p := labelText{caption: text.say("paper.load-label"), id: l.Load}
	if l.Sterilizer != "" {
		p.title = text.say("paper.sterilizer", l.Sterilizer)
	}
	if l.Failed {
		p.title = text.say("paper.load-failed")
	}
	if l.Run > 0 {
		p.facts = append(p.facts, text.say("paper.run", l.Run))
	}
	if l.Cycle != "" {
		p.facts = append(p.facts, text.say("paper.cycle", l.Cycle))
	}
	p.facts = append(p.facts, signed(text, "paper.started", l.Started, l.Badge)...)
	return writeLabels(w, events.ScanLoad, []labelText{p}, l.Practice, size, lang, l.Started)
}

// signed says when something was done, by the text of a key, and by whom.
func signed(text wording, key string, at time.Time, badge string) []string {
	var out []string
	if !at.IsZero() {
		out = append(out, text.say(key, at))
	}
	if badge != "" {
		out = append(out, text.say("paper.by", badge))
	}
	return out
}

// labelText is what stands beside a label's symbol.
type labelText struct {
	caption, id, title string
	facts              []string
	blanks             []string // to be written by hand; left out where there is no room
	short              string   // bold, since it is compared with the sheet's
}

const (
	labelMargin  = 2.0
	labelSymbol  = 0.42 // of the width, at most
	leastType    = 6.0  // points
	captionType  = 7.0  // points at scale 1, a label of about 100 x 50 mm
	idType       = 24.0
	titleType    = 11.0
	factType     = 9.0
	largestScale = 1.4
	scaleStep    = 0.02
	labelBand    = 2.0 // of the word that marks practice
)

// writeLabels prints a label on each page.
func writeLabels(
	w io.Writer, kind events.ScanKind, labels []labelText, practice bool, size LabelSize, lang *words.Language, at time.Time,
) error {
	if !size.possible() {
		return fmt.Errorf("label size %s (%.1f x %.1f mm) is not possible: sides go from 20 to 300 mm", size.Name, size.Width, size.Height)
	}
	word := ""
	if practice {
		text, err := wordingOf(lang)
		if err != nil {
			return err
		}
		word = text.say("paper.practice")
	}
	c := newCanvas(size.Width, size.Height, labels[0].caption+" "+labels[0].id, lang.Tag(), at)
	for _, l := range labels {
		if err := drawLabel(c, kind, l, size, word); err != nil {
			return err
		}
	}
	return c.write(w)
}

// drawLabel draws one label on a page of its own; practice is the word across it.
func drawLabel(c *canvas, kind events.ScanKind, l labelText, size LabelSize, practice string) error {
	symbol, err := events.LabelText(kind, l.id)
	if err == nil && practice != "" {
		symbol, err = events.PracticeText(symbol)
	}
	if err != nil {
		return err
	}
	for _, f := range append([]string{l.id, l.title, l.short}, l.facts...) {
		if err := checkPrintable(fmt.Sprintf("the label of %s", l.id), f); err != nil {
			return err
		}
	}
	edge := labelMargin
	if practice != "" {
		edge = 1.3 * labelBand
	}
	height := size.Height - 2*edge
	side := min(height, labelSymbol*size.Width)
	x := labelMargin + side + labelMargin/2
	p := &labelPrinter{canvas: c, x: x, room: size.Width - x - labelMargin, labelText: l}
	if !p.fit(height) {
		p.blanks = nil
	}
	if !p.fit(height) {
		return fmt.Errorf("what belongs on the label of %s does not fit on %s: take a larger label", l.id, size.Name)
	}
	c.page()
	if practice != "" {
		c.practice(practice, labelBand)
	}
	c.symbol(labelMargin, (size.Height-side)/2, side, symbol, leastModule)
	// The type is as large as fits; what is left over is shared above and below.
	p.put(edge+(height-p.put(0, false))/2, true)
	return nil
}

type labelPrinter struct {
	*canvas
	labelText
	x, room float64
	scale   float64
	titles  int // lines the title may take
}

// fit finds the largest type, and then the longest part of the title, with
// which everything stays within a height.
func (p *labelPrinter) fit(height float64) bool {
	for p.titles = 3; p.titles >= 1; p.titles-- {
		for p.scale = largestScale; p.scale*factType >= leastType; p.scale -= scaleStep {
			if p.put(0, false) <= height {
				return true
			}
		}
	}
	return false
}

// put lays the text out from y and returns where it ends.
func (p *labelPrinter) put(y float64, draw bool) float64 {
	block := func(lines []string) {
		if draw {
			p.lines(p.x, y, lines)
		}
		y += float64(len(lines)) * p.lineHeight()
	}
	p.font(bold, max(leastType, captionType*p.scale))
	block(p.wrap(p.caption, p.room))
	most := idType * p.scale
	block(p.shrink(bold, most, most/2, p.id, p.room))
	if p.title != "" {
		p.font(bold, max(leastType, titleType*p.scale))
		block(p.cut(p.wrap(p.title, p.room), p.titles))
	}
	p.font(regular, max(leastType, factType*p.scale))
	for _, f := range slices.Concat(p.facts, p.blanks) {
		block(p.wrap(f, p.room))
	}
	if p.short != "" {
		p.font(bold, max(leastType, factType*p.scale))
		block(p.wrap(p.short, p.room))
	}
	return y
}

// cut shortens a title to n lines and shows that it did.
func (p *labelPrinter) cut(lines []string, n int) []string {
	if len(lines) <= n {
		return lines
	}
	lines = lines[:n]
	r := []rune(lines[n-1])
	for len(r) > 0 && p.width(string(r)+"…") > p.room {
		r = r[:len(r)-1]
	}
	lines[n-1] = strings.TrimRight(string(r), " ,;") + "…"
	return lines
}
