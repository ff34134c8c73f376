package workplace

import (
	"fmt"
	"maps"
	"net/url"
	"reflect"
	"slices"
	"strconv"
	"strings"

	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
	"listbound/projections/words"
)

// packing is the draft of the workplace where a set is assembled by its list:
// line by line, what is missing, substituted or damaged, and the weight. Enter on
// the empty field takes the next line as listed; a number is what was packed
// instead. The lines are in a draft of their own.
type packing struct {
	hand
	List        string `json:"list,omitempty"`
	Version     int64  `json:"version,omitempty"`
	WeightGrams int64  `json:"weightGrams,omitempty"`
	NoWeight    bool   `json:"noWeight,omitempty"`
	Again       bool   `json:"again,omitempty"`   // it is weighed again, since it was far from the weight of the last time
	Weighed     int64  `json:"weighed,omitempty"` // grams that are far from those of the last time, and right, as a person said
	Note        string `json:"note,omitempty"`
	NewSet      string `json:"newSet,omitempty"` // said to be another one than the set whose name is like its own
	Anew        string `json:"anew,omitempty"`   // trip that lies packed and unopened, and is packed anew, as a person said
	Stay        int64  `json:"stay,omitempty"`   // version that was issued meanwhile, and is not packed by, as a person said
	OpenIn      string `json:"openIn,omitempty"` // case that the set is open in, and for which it is packed all the same, as a person said
	Lacks       string `json:"lacks,omitempty"`  // what says that a piece of it is missing, as a person has read
	Clean       string `json:"clean,omitempty"`  // what says that it came back not clean, and that it is clean, as a person said
	Packer      string `json:"packer,omitempty"` // badge that was scanned for this set: who packed the one before may be gone

	Entered *lineEntered `json:"entered,omitempty"` // the last line, to take it back
}

// lineEntered is what was entered of a line, and what the line was before.
type lineEntered struct {
	By   string `json:"by"` // the input
	Line int64  `json:"line"`
	Was  *entry `json:"was,omitempty"`
	// All lines, and the version they were counted by, where another one took their place.
	All     map[int64]*entry `json:"all,omitempty"`
	Version int64            `json:"version,omitempty"`
}

func packingPlace() workplace {
	return bench[packing, *packing]{
		scans: map[events.ScanKind]scanned[packing]{
			events.ScanBadge: (*packing).scanBadge,
			events.ScanSet:   (*packing).scanSet,
		},
		acts: map[string]action[packing]{
			"clear":   (*packing).discard,
			"new":     (*packing).sayNew,
			"anew":    (*packing).sayAnew,
			"leave":   (*packing).leave,
			"go-on":   (*packing).goOn,
			"open":    (*packing).sayOpen,
			"lacks":   (*packing).sayLacks,
			"unclean": (*packing).sayClean,
			"newest":  (*packing).takeNewest,
			"stay":    (*packing).stay,
			"list":    (*packing).chooseList,
			"line":    (*packing).enterLine,
			"reason":  (*packing).giveReason,
			"again":   (*packing).countAgain,
			"enter":   (*packing).enter,
			"weight":  (*packing).weigh,
			"weighed": (*packing).sayWeighed,
			"note":    (*packing).takeNote,
			"record":  (*packing).record,
		},
		typed: (*packing).typed,
	}
}

func (b *packing) wants() []want {
	return wanted(events.ScanSet, events.ScanBadge)
}

func (b *packing) clear() { *b = packing{hand: b.kept()} }

// lines is the draft of the lines of the set on the bench.
func (b *packing) lines(v *visit) (*draft, error) {
	d, _, err := v.d.files.draft("packing "+v.station, b.Tag, stagePacking)
	return d, err
}

// entered is in which turn the set was counted here and weighed.
func (b *packing) entered(v *visit) (turns []string, err error) {
	d, err := b.lines(v)
	if err == nil && len(d.Lines) > 0 {
		turns = append(turns, d.Trip)
	}
	if b.WeightGrams > 0 || b.NoWeight || b.Note != "" || b.Witness != "" {
		turns = append(turns, b.Turn)
	}
	return turns, err
}

func (b *packing) anew(v *visit) (said, error) {
	d, err := b.lines(v)
	if err != nil {
		return said{}, err
	}
	if err := v.d.files.removeDraft(d); err != nil {
		return said{}, err
	}
	set, anew := b.Tag, b.Anew
	b.clear()
	b.Anew = anew
	return b.scanSet(v, set)
}

// onlySaid is what is not as listed, and the note: who takes the lines as listed, one Enter after the other, passes that over.
func (b *packing) onlySaid(v *visit) (string, error) {
	p, err := b.look(v)
	if err != nil {
		return "", err
	}
	var out []string
	for _, r := range p.Rows {
		if e := r.Entry; e != nil && (e.Reason != "" || e.Counted != r.Quantity) {
			out = append(out, r.Description+": "+v.t("packed-instead", e.Counted, r.Quantity))
		}
	}
	if b.Note != "" {
		out = append(out, b.Note)
	}
	return strings.Join(out, ", "), nil
}

// askOutlived asks of a set that lies ready what is asked of any such: packed anew, it is counted anew.
func (b *packing) askOutlived(v *visit) (said, error) {
	ready, err := v.liesReady(b.Tag, b.Anew)
	if err != nil || ready == nil {
		return b.hand.askOutlived(v)
	}
	return v.askAnew(ready), nil
}

// scanBadge takes who packs; once all is counted and a second look is asked for, who looked.
func (b *packing) scanBadge(v *visit, badge string) (said, error) {
	p, err := b.look(v)
	if err != nil {
		return said{}, err
	}
	same := b.Operator != "" && sameBadge(badge, b.Operator)
	// Whoever scans a badge while something else is asked has not been asked to look.
	looks := p.Look && p.Complete && p.asked() == nil && !p.asksFirst() && b.weighed() && !p.asksWeight(b)
	switch {
	case looks && !b.packerMissing() && !same && p.countedBy(badge):
		return said{}, v.sayNo("second-look-counted", badge)
	case looks && !b.packerMissing() && !same:
		b.Witness = badge
	case same && !p.Look: // known already; nothing of it is there to be taken back
	case same:
		b.Packer = b.Operator
	default:
		if b.Operator == "" && p.lines != nil {
			p.signLines(badge) // counted before any badge was scanned
			if err := v.d.files.saveDraft(p.lines); err != nil {
				return said{}, err
			}
		}
		b.Operator, b.Packer = badge, badge
	}
	return said{}, nil
}

// countedBy reports whether a line was counted under a badge: whoever counted it doesn't look it over.
func (p *packingBody) countedBy(badge string) bool {
	return slices.ContainsFunc(p.Rows, func(r packRow) bool { return r.Entry != nil && sameBadge(r.Entry.By, badge) })
}

// signLines keeps whose badge the lines were counted under that have none yet.
func (p *packingBody) signLines(badge string) {
	for _, e := range p.lines.Lines {
		e.By = firstOf(e.By, badge)
	}
}

// packerMissing reports whether the badge of who packs was not scanned for this set, which a second look asks for: the
// two are two persons who both saw this set.
func (b *packing) packerMissing() bool { return b.Operator == "" || b.Packer != b.Operator }

// weighed reports whether the weight was read, or a person said that it isn't weighed.
func (b *packing) weighed() bool { return b.WeightGrams > 0 || b.NoWeight }

func (b *packing) scanSet(v *visit, set string) (said, error) {
	if b.Tag != "" && b.Tag != set {
		d, err := b.lines(v)
		if err != nil {
			return said{}, err
		}
		if len(d.Lines) > 0 {
			return said{}, v.sayNo("packing-begun", b.Tag)
		}
	}
	if b.Tag != set {
		if b.NewSet != set {
			if q, err := v.newSet(set); err != nil || q.Words != "" {
				return q, err
			}
		}
		switch ready, err := v.liesReady(set, b.Anew); {
		case err != nil:
			return said{}, err
		case ready != nil:
			return v.askAnew(ready), nil
		}
		newSet, anew, packer := b.NewSet, b.Anew, ""
		if b.Tag == "" {
			packer = b.Packer // scanned before the tag
		}
		b.clear()
		b.Tag, b.Done, b.NewSet, b.Anew, b.Packer = set, nil, newSet, anew, packer
	}
	list, err := v.lastList(set)
	if err != nil {
		return said{}, err
	}
	return said{}, b.choose(v, firstOf(list, b.List))
}

// liesReady is a set that lies packed and unopened, and nothing is known for which it
// would be packed anew: nil for any other. anew is the trip of which a person has said
// so.
func (v *visit) liesReady(set, anew string) (*standing, error) {
	st, err := v.standing(set)
	if err != nil || st == nil || st.Opened || st.Key.Trip == anew {
		return nil, err
	}
	verdict, err := v.verdictOf(st.Key)
	if err != nil || verdict == nil || verdict.Status == projections.Broken || wentBack(verdict) ||
		slices.ContainsFunc(verdict.Findings, func(f projections.Finding) bool { return f.Code == projections.PutAside }) {
		return nil, err
	}
	failed, err := v.failedIn(set)
	if failed != "" {
		return nil, err
	}
	return st, err
}

// wentBack reports whether a set that nobody opened went back to be cleaned, and was not
// packed since.
func wentBack(verdict *projections.Verdict) bool {
	return slices.ContainsFunc(verdict.Findings, func(f projections.Finding) bool {
		_, back := f.Detail.(*projections.WentBack)
		return back
	})
}

// askAnew asks whether a set that lies ready is packed anew.
func (v *visit) askAnew(st *standing) said {
	return ask(v.t("packed-already", st.Key.Set, v.time(st.PackedAt)), v.t("packed-already-more")).offer(
		choice{Do: "anew", Value: st.Key.Trip, Words: v.t("do-anew", st.Key.Set)},
		choice{Do: "leave", Words: v.t("do-leave", st.Key.Set)})
}

// sayAnew answers that the set is packed anew.
func (b *packing) sayAnew(v *visit, f fields) (said, error) {
	set, err := site.Answer(v.d.site, func(m *site.View) (string, error) {
		set, _, err := m.SetOfTrip(v, f["value"])
		return set, err
	})
	if err != nil || set == "" {
		return said{}, err
	}
	b.Anew = f["value"]
	switch old, err := v.outlived(b); {
	case err != nil:
		return said{}, err
	case old && set == b.Tag:
		return b.anew(v)
	}
	return b.scanSet(v, set)
}

// sayOpen answers that a set which is open in a case is packed all the same.
func (b *packing) sayOpen(v *visit, f fields) (said, error) {
	p, err := b.look(v)
	if err == nil && p.asksOpen && p.Open.Case == f["value"] {
		b.OpenIn = p.Open.Case
	}
	return said{}, err
}

// sayLacks answers that the lines are counted, of which a piece is missing.
func (b *packing) sayLacks(v *visit, f fields) (said, error) {
	p, err := b.look(v)
	if err == nil && len(p.Lacks) > 0 && lacksKeys(p.Lacks) == f["value"] {
		b.Lacks = f["value"]
	}
	return said{}, err
}

// sayClean answers that a set which came back not clean was washed.
func (b *packing) sayClean(v *visit, f fields) (said, error) {
	p, err := b.look(v)
	if err == nil && p.asksUnclean && p.unclean.key() == f["value"] {
		b.Clean = f["value"]
	}
	return said{}, err
}

// lacksKey tells what says that a piece is missing apart from what says so later.
func lacksKey(f *projections.Finding) string {
	return fmt.Sprintf("%s/%s/%d", f.Code, f.Way, slices.Max(append([]int64{0}, f.Events...)))
}

// likeSet is the set whose name is like one that was never packed here.
func (v *visit) likeSet(set string) (string, error) {
	return site.Answer(v.d.site, func(m *site.View) (string, error) { return m.LikeSet(v, set) })
}

// sayNew says that a name that is like another set's is that of a new set.
func (b *packing) sayNew(v *visit, f fields) (said, error) {
	if f["value"] == "" {
		return said{}, nil
	}
	b.NewSet = f["value"]
	return b.scanSet(v, b.NewSet)
}

// lastList is the list by which a set was packed last, "" where it never was.
func (v *visit) lastList(set string) (list string, err error) {
	err = v.d.site.Ask(func(m *site.View) error {
		trip, err := m.TripNow(v, set, v.now)
		if err != nil || trip == "" {
			return err
		}
		p, err := m.World(v).Packed(projections.TripKey{Set: set, Trip: trip})
		if p != nil {
			list = p.List
		}
		return err
	})
	return list, err
}

// registeredList is the list that the register of sets has for a set, whether the site holds to the register or not.
func (v *visit) registeredList(set string) (list string, err error) {
	err = v.d.site.Ask(func(m *site.View) error {
		w := m.World(v)
		if x := w.Entered(events.RegisterSets, set, v.now); x.State == facts.EntryHolds {
			if d, ok := x.Entry.(*events.SetEntered); ok {
				list = d.List
			}
		}
		return w.Failed()
	})
	return list, err
}

// choose takes a list in its newest version, unless the set is half packed: its lines
// are those of the version by which it was begun, and another one may give their
// numbers to other instruments.
func (b *packing) choose(v *visit, list string) error {
	d, err := b.lines(v)
	if err != nil {
		return err
	}
	if len(d.Lines) > 0 && b.List == "" {
		b.List, b.Version = d.List, d.Version
	}
	if len(d.Lines) > 0 && b.List != "" || list == "" {
		return nil
	}
	l, err := listNow(v, v.d.site, list, 0)
	if err != nil {
		return err
	}
	b.List, b.Version = l.List, l.Version
	return nil
}

// takeNewest goes on by the version that was issued meanwhile. Lines that are not the
// same there are counted again.
func (b *packing) takeNewest(v *visit, f fields) (said, error) {
	p, err := b.look(v)
	if err != nil || p.Newer == nil || f["value"] != strconv.FormatInt(p.Newer.Version, 10) {
		return said{}, err
	}
	b.Entered = &lineEntered{By: v.key, All: maps.Clone(p.lines.Lines), Version: p.List.Version}
	for line := range p.lines.Lines {
		if !sameLine(p.List, p.Newer, line) {
			delete(p.lines.Lines, line)
		}
	}
	p.lines.Rev++
	p.lines.Version = p.Newer.Version
	b.Version = p.Newer.Version
	b.WeightGrams, b.NoWeight, b.Again, b.Witness = 0, false, false, "" // what they were of is another set of instruments
	return said{}, v.d.files.saveDraft(p.lines)
}

// stay goes on by the version by which the set was begun.
func (b *packing) stay(v *visit, f fields) (said, error) {
	p, err := b.look(v)
	if err == nil && p.Newer != nil && f["value"] == strconv.FormatInt(p.Newer.Version, 10) {
		b.Stay = p.Newer.Version
	}
	return said{}, err
}

// sameLine reports whether a line is the same in two versions of a list.
func sameLine(was, is *site.ListVersion, line int64) bool {
	at := func(l *site.ListVersion) int {
		return slices.IndexFunc(l.LineRows, func(r events.Line) bool { return r.Line == line })
	}
	i, k := at(was), at(is)
	return i >= 0 && k >= 0 && reflect.DeepEqual(was.LineRows[i], is.LineRows[k])
}

type packingBody struct {
	Lists    []site.ListVersion // newest versions, to choose from
	Chosen   string             // the one that the register of sets has for this set, "" where it has none
	List     *site.ListVersion
	Rows     []packRow
	Next     int64 // line that Enter takes
	Done     int
	Limit    int64
	Look     bool // a second look is asked for
	Over     bool // heavier than the policy's limit
	Complete bool

	Open  *openIn           // the case in which the set is open, nil for none
	Ready *standing         // the set lies packed and unopened: it is asked whether it is packed anew
	Newer *site.ListVersion // the list was issued anew meanwhile: it is asked by which version to go on

	lines     *draft
	lastGrams int64  // what the set weighed the last time by this version of the list, 0 where that isn't known
	asksOpen  bool   // it is asked whether a set that is open in a case is packed all the same
	Lacks     []lack // by which the set is not complete
	asksLacks bool   // and that is still to be answered

	unclean     *unclean // why the set is not clean, by its way back
	asksUnclean bool     // and that is still to be answered
}

// asksFirst reports whether something is asked of the set as a whole before anything else is taken.
func (p *packingBody) asksFirst() bool {
	return p.Ready != nil || p.asksOpen || p.Newer != nil || p.asksUnclean || p.asksLacks
}

// short reports whether fewer of a line are packed than listed.
func (r packRow) short() bool { return r.Entry != nil && r.Entry.Counted < r.Quantity }

// tells reports whether the lines as they are packed tell of something that the set lacks. What is missing is known by its line,
// and that one must be short; else any line that is packed short because a piece is missing. A clamp that is damaged says
// nothing of a forceps that is gone.
func (p *packingBody) tells(l lack) bool {
	switch {
	case l.damaged:
		return slices.ContainsFunc(p.Rows, func(r packRow) bool {
			return r.Entry != nil && r.Entry.Reason != "" && r.Entry.Reason != events.ReasonAdded
		})
	case len(l.lines) == 0:
		return slices.ContainsFunc(p.Rows, func(r packRow) bool { return r.short() && r.Entry.Reason == events.ReasonMissing })
	}
	for _, m := range l.lines { // a piece that the list has no more is no line's to tell of, nor one of which it now has fewer
		i := slices.IndexFunc(p.Rows, func(r packRow) bool { return m.Item == r.Item && (m.Item != "" || m.Line == r.Line.Line) })
		if i >= 0 && !p.Rows[i].short() && (l.said || p.Rows[i].Quantity > m.Packed) {
			return false
		}
	}
	return true
}

// lackDoubts are what is to be said of what the set lacks: that it is packed as if it lacked nothing, and where a case is short of
// it, that too which it is packed without.
func (p *packingBody) lackDoubts(v *visit, set string) (all []packDoubt) {
	short := slices.ContainsFunc(p.Rows, packRow.short)
	for _, l := range p.Lacks {
		d, told := packDoubt{words: l.words}, p.tells(l)
		switch {
		case told && !l.counted: // the record says it
			continue
		case told:
			d.call = v.t("lack-not-here", l.call)
		case l.said && short:
			d.words, d.more = v.t("packed-missing-untold", set), v.t("packed-though-missing-more")
		case l.said:
			d.words, d.more = v.t("packed-though-missing", set), v.t("packed-though-missing-more")
		case !short && !l.damaged:
			d.words, d.more = v.t("packed-though-lacking", set), l.words+"."
		}
		if !told && l.call != "" {
			d.call = v.t("lack-came-out", l.call)
		}
		all = append(all, d)
	}
	return all
}

// missedLines are the lines of which a finding says that a piece is missing, none where it doesn't say which.
func missedLines(f *projections.Finding) []projections.BackLine {
	switch d := f.Detail.(type) {
	case *projections.PieceMissed:
		return d.Lines
	case *projections.MissingSincePacked:
		return d.Lines
	case *projections.CameBack:
		return d.Lines
	}
	return nil
}

type packRow struct {
	events.Line
	Entry *entry
	Now   bool
	Ask   bool // the number differs and the reason is still to say
}

// asked is the row whose reason is still to say, nil where there is none.
func (p *packingBody) asked() *packRow {
	for i := range p.Rows {
		if p.Rows[i].Ask {
			return &p.Rows[i]
		}
	}
	return nil
}

// Reasons are why a line is not packed as listed, in the order of their numbers: a further
// one comes last, so that none of them changes its number.
func Reasons() []string {
	return []string{events.ReasonMissing, events.ReasonSubstituted, events.ReasonDamaged, events.ReasonAdded, events.ReasonRepair}
}

// fits reports whether a reason can be why so many were packed where another number is listed.
func fits(reason string, counted, listed int64) bool {
	switch reason {
	case events.ReasonAdded:
		return counted > listed
	case events.ReasonSubstituted:
		return true
	}
	return counted < listed
}

// Reasons are those that fit what was packed of the line.
func (r packRow) Reasons() []string {
	return slices.DeleteFunc(Reasons(), func(reason string) bool { return !fits(reason, r.Entry.Counted, r.Quantity) })
}

func (b *packing) body(v *visit) (any, error) { return b.look(v) }

// look finds how far the packing is.
func (b *packing) look(v *visit) (*packingBody, error) {
	out := new(packingBody)
	policy, err := v.d.site.Policy(v)
	if err != nil {
		return nil, err
	}
	out.Limit = policy.Policy.WeightLimitGrams
	out.Over = out.Limit > 0 && b.WeightGrams > out.Limit
	out.Look = slices.Contains(policy.Policy.SecondLook, b.List)
	switch {
	case b.Tag == "":
		return out, nil
	case b.List == "":
		if out.Chosen, err = v.registeredList(b.Tag); err != nil {
			return nil, err
		}
		all, err := v.d.site.Lists(v, "")
		out.Lists = slices.DeleteFunc(newest(all), func(l site.ListVersion) bool { return l.Goods }) // nothing is packed by those
		return out, err
	}
	if out.List, err = listNow(v, v.d.site, b.List, b.Version); err != nil {
		return nil, err
	}
	newest, err := listNow(v, v.d.site, b.List, 0)
	if err != nil {
		return nil, err
	}
	if newest.Version != b.Version && newest.Version != b.Stay {
		out.Newer = newest
	}
	if out.Ready, err = v.liesReady(b.Tag, b.Anew); err != nil {
		return nil, err
	}
	if out.lines, err = b.lines(v); err != nil {
		return nil, err
	}
	if err := out.known(v, b); err != nil {
		return nil, err
	}
	for _, l := range out.List.LineRows {
		r := packRow{Line: l, Entry: out.lines.Lines[l.Line]}
		switch {
		case r.Entry != nil:
			out.Done++
			r.Ask = r.Entry.Counted != l.Quantity && r.Entry.Reason == ""
		case out.Next == 0:
			out.Next, r.Now = l.Line, true
		}
		out.Rows = append(out.Rows, r)
	}
	out.Complete = out.Next == 0
	return out, nil
}

func (b *packing) verdict(v *visit) (said, error) {
	p, err := b.look(v)
	switch {
	case err != nil:
		return said{}, err
	case b.Tag == "":
		return ask(v.t("scan-tag-to-pack"), ""), nil
	case b.List == "":
		return ask(v.t("choose-list", b.Tag), ""), nil
	}
	if s, asked := p.meanwhile(v, b.Tag); asked {
		return s, nil
	}
	if r := p.asked(); r != nil {
		return v.askReason(r), nil
	}
	for _, r := range p.Rows {
		if r.Now {
			return ask(v.t("pack-line", r.Quantity, r.Description), v.t("counted-of", p.Done, len(p.Rows))), nil
		}
	}
	switch {
	case !b.weighed() && b.Again:
		return ask(v.t("weigh-it", v.weight(p.Limit)), ""), nil
	case !b.weighed():
		return ask(v.t("weigh-it", v.weight(p.Limit)), "").offer(
			choice{Do: "weight", Words: v.t("not-weighed-key"), Key: "F4"}), nil
	case b.Operator == "":
		return ask(v.t("scan-badge"), ""), nil
	case p.asksWeight(b):
		return b.askWeight(v, p), nil
	case p.Look && b.packerMissing():
		return ask(v.t("second-look-packer", b.Tag), v.t("second-look", b.List)), nil
	case p.Look && b.Witness == "":
		return ask(v.t("second-look", b.List), ""), nil
	}
	if all := p.doubts(v, b); len(all) > 0 {
		s := doubt(all[0].words, joined(all[0].more, all[0].call, sentences(all[1:])))
		s.Next = v.t("enter-packs", b.Tag)
		return s, nil
	}
	return good(v.t("enter-packs", b.Tag), v.t("packs-by", b.List, b.Version)), nil
}

// packDoubt is something for which a set is packed, and not green.
type packDoubt struct {
	words, more string
	call        string // who is to be told
}

// doubts are all of them, the heaviest first.
func (p *packingBody) doubts(v *visit, b *packing) (all []packDoubt) {
	all = p.lackDoubts(v, b.Tag)
	add := func(words, more string) { all = append(all, packDoubt{words: words, more: more}) }
	if p.unclean != nil {
		add(p.unclean.words(v, b.Tag), v.t("came-back-unclean-more"))
	}
	if p.Open != nil {
		add(v.t("packing-case-open", b.Tag, p.Open.Case), "")
	}
	if b.Stay != 0 {
		add(v.t("list-stays", b.List, b.Version, b.Stay), v.t("list-stays-more"))
	}
	if p.Over {
		add(v.t("too-heavy", v.weight(b.WeightGrams), v.weight(p.Limit)), v.t("too-heavy-more"))
	}
	return all
}

// sentences are the words of doubts one after the other, each with its stop.
func sentences(all []packDoubt) string {
	var out []string
	for _, d := range all {
		out = append(out, strings.TrimSuffix(d.words, ".")+".", d.call)
	}
	return joined(out...)
}

// joined are those of the texts that say something.
func joined(texts ...string) string {
	return strings.Join(slices.DeleteFunc(texts, func(s string) bool { return s == "" }), " ")
}

// known takes in what the ledger knows of the set: whether it is open in a case, lacks a piece, came back not
// clean, and what it weighed.
func (p *packingBody) known(v *visit, b *packing) error {
	st, err := v.standing(b.Tag)
	if err != nil {
		return err
	}
	if st == nil {
		p.Lacks, err = v.lentShort(projections.TripKey{Set: b.Tag})
		p.asksLacks = len(p.Lacks) > 0 && lacksKeys(p.Lacks) != b.Lacks
		return err
	}
	if p.Open, err = v.openSince(st.Key); err != nil {
		return err
	}
	p.asksOpen = p.Open != nil && p.Open.Case != b.OpenIn
	if p.Lacks, err = v.lacking(st.Key); err != nil {
		return err
	}
	short, err := v.lentShort(st.Key)
	if err != nil {
		return err
	}
	p.Lacks = append(p.Lacks, short...)
	p.asksLacks = len(p.Lacks) > 0 && lacksKeys(p.Lacks) != b.Lacks
	if p.unclean, err = v.uncleanNow(st.Key); err != nil {
		return err
	}
	p.asksUnclean = p.unclean != nil && p.unclean.key() != b.Clean
	last, err := site.Answer(v.d.site, func(m *site.View) (*events.SetPacked, error) { return m.World(v).Packed(st.Key) })
	if last != nil && last.List == b.List && last.Version == b.Version {
		p.lastGrams = last.WeightGrams
	}
	return err
}

// meanwhile asks about what happened elsewhere while the set lies here.
func (p *packingBody) meanwhile(v *visit, set string) (s said, asked bool) {
	switch {
	case p.Ready != nil:
		return v.askAnew(p.Ready), true
	case p.asksOpen:
		return ask(v.t("packing-open-since", set, p.Open.Case, v.time(p.Open.Since)), v.t("packing-open-more")).offer(
			choice{Do: "leave", Words: v.t("do-leave", set)},
			choice{Do: "open", Value: p.Open.Case, Words: v.t("do-pack-open")}), true
	case p.Newer == nil && p.asksUnclean:
		return p.unclean.ask(v, set, v.t("do-pack-unclean")), true
	case p.Newer == nil && p.asksLacks:
		return p.askLacks(v, set), true
	case p.Newer == nil:
		return said{}, false
	}
	again := 0
	for line := range p.lines.Lines {
		if !sameLine(p.List, p.Newer, line) {
			again++
		}
	}
	version := strconv.FormatInt(p.Newer.Version, 10)
	return ask(v.t("list-newer", p.List.List, p.Newer.Version, p.List.Version), v.t("list-newer-more", again)).offer(
		choice{Do: "newest", Value: version, Words: v.t("do-newest", p.Newer.Version)},
		choice{Do: "stay", Value: version, Words: v.t("do-stay", p.List.Version)}), true
}

// askLacks asks of a set that is known not to be complete that its lines are counted, not taken as listed one after the other.
func (p *packingBody) askLacks(v *visit, set string) said {
	words := v.t("packing-lacks", set)
	if !slices.ContainsFunc(p.Lacks, func(l lack) bool { return !l.damaged }) {
		words = v.t("packing-damaged", set)
	}
	return doubt(words, v.lackWords(p.Lacks)).offer(
		choice{Do: "lacks", Value: lacksKeys(p.Lacks), Words: v.t("do-count-lines")}, choice{Do: "leave", Words: v.t("do-leave", set)})
}

// askReason asks why a line is not packed as listed. Nothing but an answer goes
// on: the number of the reason, its button, or the line once more.
func (v *visit) askReason(r *packRow) said {
	s := ask(v.t("reason-for-line", r.Line.Line, r.Entry.Counted, r.Quantity), r.Description)
	for i, reason := range Reasons() {
		if !fits(reason, r.Entry.Counted, r.Quantity) {
			continue
		}
		words := fmt.Sprintf("%d %s", i+1, v.t("reason-"+reason))
		s.Choices = append(s.Choices, choice{Do: "reason", Value: reason, Words: words})
	}
	return s.offer(append(s.Choices, choice{Do: "again", Words: v.t("count-line-again", r.Line.Line)})...)
}

// plainNumber reads a number that a person typed.
func plainNumber(text string) (int64, bool) {
	text = strings.TrimSpace(text)
	if strings.Trim(text, "0123456789") != "" {
		return 0, false // “+4” is the key of a button, also where there is no such button
	}
	n, err := strconv.ParseInt(text, 10, 64)
	return n, err == nil && len(text) <= 3
}

// parseWeight reads a weight with a point or a comma, in the site's unit.
func (v *visit) parseWeight(s string) (grams int64, ok bool) {
	n, ok := parseThousandths(s)
	if v.d.site.Local().Catalogue().Local().Pounds {
		n = words.Grams(float64(n) / 1000)
	}
	return n, ok
}

func parseThousandths(s string) (int64, bool) {
	s = strings.Replace(strings.TrimSpace(s), ",", ".", 1)
	whole, part, _ := strings.Cut(s, ".")
	if len(part) > 3 || len(whole) > 3 || whole == "" && part == "" {
		return 0, false
	}
	part += strings.Repeat("0", 3-len(part))
	if whole == "" {
		whole = "0"
	}
	kg, err1 := strconv.ParseUint(whole, 10, 16)
	g, err2 := strconv.ParseUint(part, 10, 16)
	return int64(kg*1000 + g), err1 == nil && err2 == nil
}

// discard clears the bench. Its button stands beside the one that records, and nothing brings back what was entered
// since the tag was scanned: that is asked about.
func (b *packing) discard(v *visit, f fields) (said, error) {
	entered, err := b.entered(v)
	if err != nil {
		return said{}, err
	}
	old, err := v.outlived(b)
	if err != nil {
		return said{}, err
	}
	if len(entered) == 0 || old || f["value"] == b.Tag {
		return b.leave(v, f)
	}
	d, err := b.lines(v)
	return ask(v.t("clear-sure", b.Tag, len(d.Lines)), "").offer(
		choice{Do: "go-on", Words: v.t("clear-not"), Main: true},
		choice{Do: "clear", Value: b.Tag, Words: v.t("clear-yes")}), err
}

// goOn answers that nothing is cleared.
func (b *packing) goOn(*visit, fields) (said, error) { return said{}, nil }

// leave takes the set away with all that was entered of it.
func (b *packing) leave(v *visit, _ fields) (said, error) {
	if b.Tag != "" && b.List != "" {
		d, err := b.lines(v)
		if err != nil {
			return said{}, err
		}
		if err := v.d.files.removeDraft(d); err != nil {
			return said{}, err
		}
	}
	b.clear()
	b.Done = nil
	return v.begin(), nil
}

func (b *packing) chooseList(v *visit, f fields) (said, error) {
	if f["list"] == "" { // no list is as good a guess as another
		return said{}, v.sayNo("list-not-chosen", b.Tag)
	}
	return said{}, b.choose(v, f["list"])
}

func (b *packing) enter(v *visit, f fields) (said, error) {
	p, err := b.look(v)
	switch {
	case err != nil, p.asked() != nil, p.asksFirst(): // it is asked again
		return said{}, err
	case p.Complete:
		return b.record(v, f)
	}
	return b.enterLine(v, f)
}

// giveReason answers why the line that is asked about is not packed as listed.
func (b *packing) giveReason(v *visit, f fields) (said, error) {
	p, err := b.look(v)
	if err != nil || p.asked() == nil {
		return said{}, err
	}
	return b.enterLine(v, fields{"line": lineNo(p.asked()), "reason": f["value"]})
}

// countAgain takes the number of the line that is asked about away.
func (b *packing) countAgain(v *visit, _ fields) (said, error) {
	p, err := b.look(v)
	if err != nil || p.asked() == nil {
		return said{}, err
	}
	return b.enterLine(v, fields{"line": lineNo(p.asked()), "clear": "1"})
}

func lineNo(r *packRow) string { return strconv.FormatInt(r.Line.Line, 10) }

// enterLine notes how many of a line were packed, or why not as listed. Without
// a line it is the next one; without a number as many as are listed.
func (b *packing) enterLine(v *visit, f fields) (said, error) {
	p, err := b.look(v)
	if err != nil || p.lines == nil {
		return said{}, err
	}
	in := lineInput{Set: b.Tag, Line: p.Next, Reason: f["reason"], Clear: f["clear"] != ""}
	if s := f["line"]; s != "" {
		if in.Line, err = strconv.ParseInt(s, 10, 64); err != nil {
			return said{}, v.sayNo("no-such-line", s, b.Tag)
		}
	}
	i := slices.IndexFunc(p.Rows, func(r packRow) bool { return r.Line.Line == in.Line })
	if i < 0 {
		return said{}, v.sayNo("no-such-line", in.Line, b.Tag)
	}
	in.Counted = p.Rows[i].Quantity
	if s := f["counted"]; s != "" {
		n, ok := plainNumber(s)
		if !ok {
			return said{}, v.sayNo("not-a-number", s)
		}
		in.Counted = n
	}
	if in.Reason != "" && !slices.Contains(Reasons(), in.Reason) {
		return said{}, v.sayNo("no-such-button", in.Reason)
	}
	if p.asksFirst() {
		return said{}, nil
	}
	if e := p.Rows[i].Entry; e != nil {
		in.Seen = e.Rev
		if in.Reason != "" && f["counted"] == "" {
			in.Counted = e.Counted
		}
	}
	if listed := p.Rows[i].Quantity; in.Reason != "" && !in.Clear && !fits(in.Reason, in.Counted, listed) {
		return said{}, v.sayNo("reason-unfit", v.t("reason-"+in.Reason), in.Counted, listed)
	}
	b.Entered = &lineEntered{By: v.key, Line: in.Line}
	if e := p.Rows[i].Entry; e != nil {
		was := *e
		b.Entered.Was = &was
	}
	p.lines.List, p.lines.Version, p.lines.Trip = b.List, b.Version, b.Turn
	b.Witness = "" // who looked it over saw another number
	if _, err := p.lines.enter("bench", in, v.now); err != nil {
		return said{}, err
	}
	if e := p.lines.Lines[in.Line]; e != nil {
		e.By = ""
	}
	p.signLines(b.Operator)
	return said{}, v.d.files.saveDraft(p.lines)
}

// takeBack makes the line what it was before, where that is what was entered last.
func (b *packing) takeBack(v *visit, before *packing) error {
	last := b.Entered
	if last == nil || before.Entered != nil && before.Entered.By == last.By {
		return nil
	}
	d, err := b.lines(v)
	if err != nil {
		return err
	}
	switch {
	case last.Version != 0:
		d.Lines, d.Version = last.All, last.Version
	case last.Was != nil:
		d.Lines[last.Line] = last.Was
	default:
		delete(d.Lines, last.Line)
	}
	d.Rev++
	return v.d.files.saveDraft(d)
}

func (b *packing) weigh(v *visit, f fields) (said, error) {
	if strings.TrimSpace(f["weight"]) == "" {
		p, err := b.look(v)
		if err != nil || b.Again || p.asksWeight(b) {
			return said{Sound: "low"}, err // the scale said something, and that is asked about
		}
		b.Witness = "" // who looked it over saw another weight
		b.NoWeight, b.WeightGrams = true, 0
		return said{}, nil
	}
	const heaviest = 100_000 // grams; nobody lifts more
	g, ok := v.parseWeight(f["weight"])
	if !ok || g == 0 || g > heaviest {
		return said{}, v.sayNo("not-a-weight", f["weight"])
	}
	b.WeightGrams, b.NoWeight, b.Again, b.Witness = g, false, false, ""
	return said{}, nil
}

// asksWeight reports whether a set weighs more than a tenth less or more than when it was packed last by the same list: the
// weight is the one check that doesn't rest on who counted. It is asked until a person says that it is right.
func (p *packingBody) asksWeight(b *packing) bool {
	off := b.WeightGrams - p.lastGrams
	return p.lastGrams > 0 && b.WeightGrams > 0 && b.Weighed != b.WeightGrams && max(off, -off)*10 > p.lastGrams
}

func (b *packing) askWeight(v *visit, p *packingBody) said {
	return doubt(v.t("weight-differs", v.weight(b.WeightGrams), v.weight(p.lastGrams)), v.t("weight-differs-more")).offer(
		choice{Do: "weighed", Words: v.t("do-weigh-again")},
		choice{Do: "weighed", Value: strconv.FormatInt(b.WeightGrams, 10), Words: v.t("do-weight-right", v.weight(b.WeightGrams))})
}

// sayWeighed answers that the weight is right, or is weighed again.
func (b *packing) sayWeighed(v *visit, f fields) (said, error) {
	p, err := b.look(v)
	switch {
	case err != nil, !p.asksWeight(b):
	case f["value"] == "":
		b.WeightGrams, b.Again = 0, true
	case f["value"] == strconv.FormatInt(b.WeightGrams, 10):
		b.Weighed = b.WeightGrams
	}
	return said{}, err
}

func (b *packing) takeNote(v *visit, f fields) (said, error) {
	note, err := v.reason(f["note"])
	if err == nil {
		b.Note = note
	}
	return said{}, err
}

// typed: a number on a half packed set is how many of the line were packed, or
// why it is not as listed; after the lines it is the weight.
func (b *packing) typed(v *visit, text string) (string, fields, bool) {
	if b.Tag == "" || b.List == "" {
		return "", nil, false
	}
	p, err := b.look(v)
	if err != nil {
		return "", nil, false
	}
	n, number := plainNumber(text)
	_, weight := v.parseWeight(text)
	switch {
	case (number || weight) && p.asksFirst():
		return "enter", nil, true // no answer to what is asked
	case number && p.asked() != nil && n >= 1 && int(n) <= len(Reasons()) && slices.Contains(p.asked().Reasons(), Reasons()[n-1]):
		return "reason", fields{"value": Reasons()[n-1]}, true
	case number && p.asked() != nil:
		return "enter", nil, true // no answer to the question: it is asked again
	case number && !p.Complete:
		return "line", fields{"counted": text, "line": strconv.FormatInt(p.Next, 10)}, true
	}
	if weight && p.Complete && (b.WeightGrams == 0 || p.asksWeight(b)) {
		return "weight", fields{"weight": text}, true
	}
	return "", nil, false
}

// record takes the packing into the ledger, once nothing is asked any more.
// cameBack says of a packing that was just recorded what it shows of the case in which the
// set was used before: who packs it is the first to know, and others are to be told.
func (v *visit) cameBack(k projections.TripKey, seq int64, s said) (said, error) {
	before, err := site.Answer(v.d.site, func(m *site.View) (*projections.Verdict, error) { return m.TurnBefore(v, k) })
	if err != nil || before == nil {
		return s, err
	}
	for i := range before.Findings { // the heaviest first
		f := &before.Findings[i]
		if _, ok := f.Detail.(*projections.CameBack); ok && f.Severity != projections.SeverityNoted && slices.Contains(f.Events, seq) {
			found := v.found(k.Set, f)
			found.Words, found.Aside = s.Words+" "+found.Words, s.More
			return found, nil
		}
	}
	return s, nil
}

func (b *packing) record(v *visit, _ fields) (said, error) {
	p, err := b.look(v)
	switch {
	case err != nil:
		return said{}, err
	case p.lines == nil, !p.Complete, p.asked() != nil, p.asksFirst(), p.asksWeight(b), b.Operator == "",
		!b.weighed(),
		p.Look && (b.Witness == "" || b.packerMissing()):
		return said{}, nil
	}
	data := &events.SetPacked{
		List: b.List, Version: b.Version, WeightGrams: b.WeightGrams, Note: b.Note, SecondLook: b.Witness,
		NewSet: b.NewSet == b.Tag,
	}
	for _, r := range p.Rows {
		if e := r.Entry; e.Counted != r.Quantity || e.Reason != "" {
			x := events.Exception{Line: r.Line.Line, Counted: e.Counted, Reason: e.Reason}
			data.Exceptions = append(data.Exceptions, x)
		}
	}
	at, err := v.recordAt(b)
	if err != nil {
		return said{}, err
	}
	rs, err := v.observe(&events.Observation{Station: v.station, Kind: events.KindSetPacked, Time: at,
		Set: b.Tag, Operator: b.Operator, Data: data})
	if err != nil {
		return said{}, err
	}
	if err := v.d.files.removeDraft(p.lines); err != nil {
		return said{}, err
	}
	set := b.Tag
	says := v.phrased("recorded-packing", set, len(data.Exceptions))
	s := good(v.say(says), "")
	if all := p.doubts(v, b); len(all) > 0 {
		s = doubt(s.Words, sentences(all))
		if len(p.Lacks) > 0 {
			s.More = joined(s.More, all[0].more)
		}
	}
	if len(data.Exceptions) > 0 {
		if s, err = v.cameBack(projections.TripKey{Set: set, Trip: rs[0].Trip}, rs[0].Seq, s); err != nil {
			return said{}, err
		}
	}
	b.clear()
	b.Done = &done{Says: []phrase{says}, Set: set, Trip: rs[0].Trip, Seqs: seqs(rs), IDs: ids(rs), Links: []link{{
		Address: v.d.stationPath(v.station, "sealing") + "?set=" + url.QueryEscape(set),
		Says:    v.phrased("go-seal", set), Main: true,
	}}}
	return s, nil
}
