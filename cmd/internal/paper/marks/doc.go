// Package marks reads a count sheet back: where on a picture of it a pen has ticked,
// where it has not, and what a person must look at.
//
// Read finds one page in one picture. A picture may be a scan or a photo, turned,
// in perspective, bent or in bad light. The page says by its symbol which sheet it is of;
// whoever calls knows that sheet and hands it over, and the place of every box follows
// from it and from the number of the layout in the symbol (paper.PlacesOf). Nothing is
// read that is not a box to tick or a line to write on: text is never recognised.
//
// Three verdicts, never two. Ticked: nobody who looks would doubt it. Empty: no more
// than paper shows where nothing is written. All else is asked, with the reason and a
// cut-out for a person. A number is never read: that something is written is
// (Cell.Written), and a person types it from the cut-out. Empty alone states nothing: a mark
// too pale for a copier leaves no trace. So an empty box among ticked ones is asked, and where a whole
// column is empty Page.Blank says so, to be asked once for the sheet.
//
// What can't be read is refused as a *Refusal, which says why and what to do.
package marks
