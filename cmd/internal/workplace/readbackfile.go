package workplace

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"image"
	"path/filepath"
	"reflect"
	"strings"
	"time"

	"listbound/cmd/internal/paper"
	"listbound/cmd/internal/paper/marks"
	"listbound/cmd/internal/paper/pictures"
	"listbound/cmd/internal/refusal"
	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
	"listbound/projections/judge"
	"listbound/projections/words"
)

// readMarks is marks.Read.
type readMarks func(image.Image, marks.Find) (*marks.Page, error)

// paperReader takes files with pictures of count sheets, as scanners and phones make them, into sheets that wait
// for a person.
type paperReader struct {
	site     *site.Site
	files    store
	practice bool
	read     readMarks
	seat     chan struct{}            // one picture is read at a time: it takes a processor for a while
	lock     func(code string) func() // of a sheet's file
	told     func(code string)        // that a sheet has changed
}

// What is to be said of a page besides what was read of it.
const (
	noteSameFile    = "note-same-file"
	noteTwice       = "note-twice"
	noteDiffers     = "note-differs"
	notePackedSince = "note-packed-since"
	noteOldList     = "note-old-list"
	noteRecorded    = "note-recorded"
	noteMoreCame    = "note-more-came"
	noteLate        = "note-late"
)

// PageRead is what became of one page of a file.
type PageRead struct {
	InFile  int
	Code    string // of the sheet; "" where none was found
	Set     string
	Page    int
	Of      int
	Asked   int   // how many marks a person must look at
	Err     error // why it was not taken
	trial   *marks.Trial
	notes   []phrase
	changed []changedCount // what is recorded of the sheet otherwise
	settled bool           // all of it is recorded as it reads: it doesn't wait
}

// Say says it in a language.
func (p PageRead) Say(in *words.Language) (says string, ok bool) {
	say := func(key string, args ...any) string { return in.Say("workplace.readback-"+key, args...) }
	if p.trial != nil {
		return strings.Join(p.trial.Say(in), " "), true
	}
	if p.Err != nil {
		return say("page-not", p.InFile, whyUnread(in, p.Err)), false
	}
	says = say("page-read", p.InFile, p.Set, p.Page, p.Of, p.Asked)
	for _, n := range p.notes {
		var args []any
		for _, a := range n.Args {
			args = append(args, a)
		}
		says += " " + say(n.Key, args...)
	}
	for _, c := range p.changed {
		says += " " + c.say(in)
	}
	if len(p.changed) > 0 {
		says += " " + say("changed-more")
	}
	return says, len(p.notes)+len(p.changed) == 0
}

// whyUnread says in a language why a picture was not taken.
func whyUnread(in *words.Language, err error) string {
	if e, ok := errors.AsType[*marks.Refusal](err); ok {
		return e.Say(in)
	}
	if e, ok := errors.AsType[*pictures.Error](err); ok {
		return in.Say("workplace.picture-"+string(e.Cause), e.Format, e.Limit)
	}
	if key, args := refusal.InWords(err); key != "" {
		return in.Say("workplace.refused-"+key, args...)
	}
	return in.Say("workplace.readback-failed")
}

// ReadPaper reads the pages of a file with pictures of count sheets, each into the sheet that it is of: there they wait at the
// stations' page for a person, who finishes and signs them. Nothing is recorded.
func ReadPaper(ctx context.Context, s *site.Site, practice bool, file []byte, emit func(PageRead) error) error {
	r := &paperReader{site: s, files: store{filepath.Join(s.Dir(), "drafts")}, practice: practice, read: marks.Read,
		seat: make(chan struct{}, 1), lock: func(string) func() { return func() {} }, told: func(string) {}}
	return r.take(ctx, file, emit)
}

// take reads a file, a page at a time.
func (r *paperReader) take(ctx context.Context, file []byte, emit func(PageRead) error) error {
	if err := r.files.expirePapers(r.site.Clock()); err != nil {
		return err
	}
	sum := sha256.Sum256(file)
	n := 0
	for m, err := range pictures.Pages(file, pictures.Usual()) {
		n++
		if err := ctx.Err(); err != nil {
			return err
		}
		p := PageRead{InFile: n, Err: err}
		if err == nil {
			if p, err = r.page(ctx, m, hex.EncodeToString(sum[:]), n); err != nil {
				return err
			}
		}
		if err := emit(p); err != nil {
			return err
		}
	}
	return nil
}

// page reads a picture of a page. The error is of the machine; what is wrong with the page is in its answer.
func (r *paperReader) page(ctx context.Context, m image.Image, picture string, inFile int) (PageRead, error) {
	out := PageRead{InFile: inFile}
	var of *printed
	p, err := r.seated(ctx, m, func(s marks.Symbol) (*paper.Sheet, error) {
		if paper.IsTrial(s.Code) {
			sheet, err := paper.TrialSheet(r.site.Local().Catalogue().In("en"))
			return &sheet, err
		}
		var err error
		if of, err = r.printed(ctx, s); err != nil {
			return nil, err
		}
		return &of.sheet, nil
	})
	_, unread := errors.AsType[*marks.Refusal](err)
	switch {
	case unread, err != nil && refusal.Is(err):
		out.Err = err
		return out, nil
	case err != nil:
		return out, err
	}
	if of == nil { // it shows whether this printer, copier and camera will do, and is of no set
		trial := marks.TrialOf(p)
		out.trial = &trial
		return out, nil
	}
	policy, err := r.policy(ctx)
	if err != nil {
		return out, err
	}
	page, err := pageOf(p, picture, inFile, policy.KeepPictures)
	if err != nil {
		return out, err
	}
	numbers := of.beside()
	for i, row := range page.Rows {
		if n, ok := numbers[row.Line]; ok {
			page.Rows[i].Printed = &n
		}
	}
	out.Code, out.Set, out.Page, out.Of, out.Asked = of.sheet.Code.String(), of.sheet.Set, page.Page, p.Symbol.Pages, page.asked()
	out.notes = of.notes
	settled, changed := of.settled(page)
	out.changed = changed
	if late := of.late(page); late {
		out.notes = append(out.notes, phrase{Key: noteLate})
	} else if len(of.done) > 0 && len(changed) == 0 {
		out.notes = append(out.notes, phrase{Key: noteRecorded})
		if of.moreMayHaveCome(page) {
			out.notes = append(out.notes, phrase{Key: noteMoreCame})
		}
	}
	if settled && p.Symbol.Pages == 1 { // of more pages, others may have what is not recorded
		out.settled = true
		return out, r.files.removePaper(out.Code)
	}
	return out, r.keep(of, page, p.Symbol.Pages, &out)
}

func (r *paperReader) seated(ctx context.Context, m image.Image, find marks.Find) (*marks.Page, error) {
	select {
	case r.seat <- struct{}{}:
	case <-ctx.Done():
		return nil, ctx.Err()
	}
	defer func() { <-r.seat }()
	return r.read(m, find)
}

func (r *paperReader) policy(ctx context.Context) (p events.Policy, err error) {
	err = r.site.Ask(func(m *site.View) (err error) {
		p, _, err = m.World(ctx).PolicyAt(site.SiteOf(r.site.Name()), r.site.Clock())
		return err
	})
	return p, err
}

// keep lays a page to those of its sheet that wait.
func (r *paperReader) keep(of *printed, page *paperPage, pages int, out *PageRead) error {
	code := of.sheet.Code.String()
	defer r.lock(code)()
	s, found, err := r.files.paper(code)
	if ignoreUnreadable(err) != nil {
		return err
	}
	if !found || err != nil || s.Of != pages {
		s = &paperSheet{Code: code, Set: of.sheet.Set, Trip: of.sheet.Trip, List: of.sheet.List, Version: of.sheet.Version,
			Title: of.sheet.Title, Of: pages}
	}
	s.Goods = of.sheet.Goods
	if s.Pages == nil {
		s.Pages = make(map[int]*paperPage)
	}
	switch old := s.Pages[page.Page]; {
	case old == nil:
	case old.Picture == page.Picture && old.InFile == page.InFile:
		out.notes = append(out.notes, phrase{Key: noteSameFile})
	case old.same(page):
		out.notes = append(out.notes, phrase{Key: noteTwice})
	default: // the newer one holds: what was answered of the other does not
		out.notes = append(out.notes, phrase{Key: noteDiffers})
	}
	s.Pages[page.Page], s.ReadAt = page, r.site.Clock().UTC()
	if err := r.files.savePaper(s); err != nil {
		return err
	}
	r.told(code)
	return nil
}

// printed is a sheet as it was printed, and what is to be said of it before anything is read.
type printed struct {
	sheet paper.Sheet
	notes []phrase
	done  map[events.Stage]paperCount // counts that were read back from it before
	// before are the numbers of an earlier print of it, by line, where there may be one.
	before map[int64]int64
}

// printed finds the sheet that a symbol names.
func (r *paperReader) printed(ctx context.Context, s marks.Symbol) (*printed, error) {
	switch {
	case s.Practice && !r.practice:
		return nil, refusal.Keyed("paper-practice", "the sheet was printed for practice: nothing of it is recorded here")
	case !s.Practice && r.practice:
		return nil, refusal.Keyed("paper-real", "the sheet was not printed for practice: read it back where it is recorded")
	}
	return site.Answer(r.site, func(m *site.View) (*printed, error) {
		set, known, err := m.SetOfTrip(ctx, s.Code.Trip)
		if err != nil {
			return nil, err
		}
		if !known {
			return nil, refusal.Keyed("paper-unknown", "nothing is known here of sheet %s: it is of another ledger", s.Code.Short())
		}
		out, err := printedFor(ctx, m, projections.TripKey{Set: set, Trip: s.Code.Trip}, s.Code)
		if err != nil {
			return nil, err
		}
		out.sheet.Practice = s.Practice
		return out, r.note(ctx, m, out)
	})
}

// printedFor is the sheet of a trip that has a code: the list with which its code was made, of those that the set was packed by.
func printedFor(ctx context.Context, m *site.View, k projections.TripKey, code events.SheetCode) (*printed, error) {
	found, err := m.Facts(ctx, facts.DimTrip, k.Trip)
	if err != nil {
		return nil, err
	}
	for i := range found {
		e := found[len(found)-1-i]
		packed, ok := e.Data.(*events.SetPacked)
		if !ok || e.Subject != k.Set {
			continue
		}
		list, err := m.List(ctx, packed.List, packed.Version)
		if err != nil {
			return nil, err
		}
		sheet, err := paper.SheetOf(k.Set, k.Trip, list.Issue(), packed, e.Time.In(m.Zone()), &events.ListSealed{Code: code.String()})
		if err != nil {
			return nil, refusal.Because(err)
		}
		digest, err := list.Issue().Digest()
		if err != nil {
			return nil, err
		}
		binding, err := events.Binding(digest, k.Set, k.Trip)
		if err != nil {
			return nil, err
		}
		if code.Matches(binding) {
			out := &printed{sheet: sheet}
			w := m.World(ctx)
			if out.sheet.Goods, err = goodsOn(ctx, m, w.Trip(k), code); err != nil {
				return nil, err
			}
			return out, out.printedOf(w, k, packed)
		}
	}
	return nil, refusal.Keyed("paper-altered", "sheet %s was not made of the list that %s was packed by: read nothing from it",
		code.Short(), k.Set)
}

// printedOf tells of which packing a sheet was printed. A packing that was corrected has two prints with one code, which differ in
// numbers and in where the lines stand. Where it was corrected before the set was closed, the later print is the one that went
// with the set: its lines stand where the correction puts them, else the page is refused (marks.OtherPrint), and a tick on a line
// that the correction changed is asked about. Where it was corrected after that, nothing tells the two apart.
func (p *printed) printedOf(w *judge.World, k projections.TripKey, packed *events.SetPacked) error {
	now, err := w.Packed(k)
	if err != nil || now == nil || reflect.DeepEqual(now.Exceptions, packed.Exceptions) {
		return err
	}
	c := w.Trip(k)
	var corrected, closed time.Time
	for _, it := range c.Packed {
		if !it.Void && it.By != nil && it.By.At().After(corrected) {
			corrected = it.By.At()
		}
	}
	for _, it := range c.Sealed {
		if !it.Void && (closed.IsZero() || it.At().Before(closed)) {
			closed = it.At()
		}
	}
	if !corrected.IsZero() && corrected.Before(closed) {
		p.before = p.numbers()
		p.sheet.Exceptions = now.Exceptions
		return w.Failed()
	}
	return refusal.Keyed("paper-corrected",
		"the packing of %s was corrected: which numbers are printed on this count sheet can't be told; type its counts in", k.Set)
}

// numbers are what is printed beside the lines.
func (p *printed) numbers() map[int64]int64 {
	out := make(map[int64]int64)
	for _, l := range p.sheet.Lines {
		out[l.Line] = l.Quantity
	}
	for _, x := range p.sheet.Exceptions {
		out[x.Line] = x.Counted
	}
	return out
}

// beside are the numbers beside the lines, as far as one can be told: of a line that a correction changed it is the one of before,
// so that a tick there is asked about.
func (p *printed) beside() map[int64]int64 {
	out := p.numbers()
	for line, n := range p.before {
		out[line] = n
	}
	return out
}

// note tells what the reader of a sheet must know of it.
func (r *paperReader) note(ctx context.Context, m *site.View, p *printed) error {
	now, err := m.TripNow(ctx, p.sheet.Set, r.site.Clock())
	if err != nil {
		return err
	}
	if now != "" && now != p.sheet.Trip {
		p.notes = append(p.notes, phrase{Key: notePackedSince, Args: []string{p.sheet.Set}})
	}
	all, err := m.Versions(ctx, p.sheet.List)
	if err != nil {
		return err
	}
	for _, v := range all {
		if v.Version > p.sheet.Version {
			p.notes = append(p.notes, phrase{Key: noteOldList, Args: []string{fmt.Sprint(p.sheet.Version), fmt.Sprint(v.Version)}})
			break
		}
	}
	own, code := projections.TripKey{Set: p.sheet.Set, Trip: p.sheet.Trip}, p.sheet.Code.String()
	p.done, err = countedFromPaper(m.World(ctx), own, code)
	if err != nil || len(p.done) > 0 {
		return err
	}
	used, err := setsCountedBy(ctx, m, own, code)
	if len(used) > 0 {
		p.done = used[len(used)-1].done
	}
	return err
}
