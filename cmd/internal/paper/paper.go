// Package paper prints what has to be on paper, as PDF: the count sheet that travels
// with a set, and the labels of sets, loads, badges, cases, tags and seals.
//
// A count sheet carries its sheet code three times: as a QR symbol (error
// correction Q), as 54 characters in nine groups of six, and as the short code
// in a box for reading aloud. Every page carries all three, the set, and which
// page of how many it is; the symbol says the page too, so that a page of another
// sheet among them shows. Lines are never split over pages. A line whose packed
// number is not the list's is marked on its own line and shaded. Black and
// white are enough; nothing is told by colour. Where everything stands is described
// once, by Geometry, and drawn from there.
//
// It can be read back from a picture (package marks): rings at the corners, dots along the
// table's edges, the symbol a second time at the foot, for each stage a box to tick and a
// place to write the number where it is another. Where all of it stands follows from the
// number of the layout in the symbol and from the list's lines, in whatever language it was printed.
//
// What is printed for practice says so across every page and label, and its
// symbols have codes that no ledger but one for practice takes.
//
// Fonts are embedded: Latin, Greek and Cyrillic letters and common signs print
// as they are; anything else is refused by name (Missing) and never becomes an
// empty box. The same input gives the same bytes, so the digest of a print can
// be recorded.
package paper
