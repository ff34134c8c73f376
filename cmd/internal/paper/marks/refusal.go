package marks

import (
	"fmt"
	"strings"

	"listbound/projections/words"
)

// Cause is why a picture could not be read.
type Cause string

// The causes.
const (
	NoSheet       Cause = "no-sheet"       // no corner mark and no symbol: other paper
	BlankForm     Cause = "blank-form"     // a form for a set without a count sheet, filled in by hand
	SymbolUnread  Cause = "symbol"         // the page is there, both symbols are covered or damaged
	CornersUnseen Cause = "corners"        // the symbol is there, too few corner marks are
	CutOff        Cause = "cut-off"        // a part of the page lies outside the picture
	Mirrored      Cause = "mirrored"       // seen in a mirror or from the back
	TooCoarse     Cause = "coarse"         // too few pixels per millimetre
	TooPale       Cause = "pale"           // the print itself is too pale or blurred for marks to be told
	PaleInk       Cause = "pale-ink"       // a black-and-white copy on which pale ink vanishes
	SeveralSheets Cause = "several-sheets" // parts of more than one sheet
	OldLayout     Cause = "layout"         // printed by a version of the sheet that has no boxes
	OtherPrint    Cause = "other-print"    // its boxes stand elsewhere than the lines of the sheet in hand say
	Bent          Cause = "bent"           // too many marks of the edge are hidden to tell where the boxes are
)

// Refusal says why a picture was not read. It is about the picture, not the program.
type Refusal struct {
	Cause   Cause
	Symbols []Symbol // those that were read all the same: of one page, or with SeveralSheets of several
	Has     float64  // what the picture has, with TooCoarse and TooPale
	Needs   float64
}

// Error says it in English.
func (r *Refusal) Error() string {
	return map[Cause]string{
		NoSheet: "no count sheet is in the picture: take the whole page, lying flat, with its four corner marks",
		BlankForm: "this is a blank form, which no program reads: type it in at a station's page \"Read count sheets back\", by its " +
			"button \"Type in a blank form\"",
		SymbolUnread:  "neither symbol of the page could be read: uncover one of them, or type the counts in",
		CornersUnseen: "not enough corner marks are to be seen: uncover them and take the picture again",
		CutOff:        "a part of the page is outside the picture: take it again with a margin around the page",
		Mirrored:      "the picture is mirrored: switch mirroring off in the camera, or take the page from its front",
		TooCoarse: fmt.Sprintf("the picture has %.1f pixels per millimetre, %.1f are needed: go nearer, or scan with 150 dpi",
			r.Has, r.Needs),
		TooPale:       "the print is too pale or too blurred for marks to be told from paper: more light, a steady hand, or a scan",
		PaleInk:       "it is a black-and-white copy with hardly a mark on it, and such a copy loses pale ink: scan the original in grey",
		SeveralSheets: "more than one sheet is in the picture: take one at a time" + r.named(),
		OldLayout:     "this sheet was printed before sheets could be read back: type its counts in",
		OtherPrint: "the boxes stand elsewhere than this set's packing says: the page was printed of another packing of this set, " +
			"or by another layout: type its counts in",
		Bent: "the page is too bent, or too many marks at its edge are hidden: lay it flat and take it again",
	}[r.Cause]
}

func (r *Refusal) named() string {
	var out []string
	for _, s := range r.Symbols {
		out = append(out, fmt.Sprintf("%s page %d", s.Code.Short(), s.Page))
	}
	if len(out) == 0 {
		return ""
	}
	return " (" + strings.Join(out, ", ") + ")"
}

// Say says it in a language of the program.
func (r *Refusal) Say(in *words.Language) string {
	return in.Say("paper.unread-"+string(r.Cause), in.Figures(r.Has, 2), in.Figures(r.Needs, 2))
}
