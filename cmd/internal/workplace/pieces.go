package workplace

import (
	"fmt"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"listbound/events"
	"listbound/projections"
)

// pieces is the draft of the workplace where it is recorded what became of a piece of a
// set: sent to repair, back, replaced, missed, found.
type pieces struct {
	hand
	Line        int64         `json:"line,omitempty"` // of the list that the set was packed by last
	Item        string        `json:"item,omitempty"`
	Description string        `json:"description,omitempty"`
	Became      events.Became `json:"became,omitempty"`
	Quantity    int64         `json:"quantity,omitempty"`
	Where       string        `json:"where,omitempty"`
	Load        string        `json:"load,omitempty"` // of the washer
	Note        string        `json:"note,omitempty"`
	Opened      bool          `json:"opened,omitempty"` // a person said that the closed set was opened for it
}

func piecesPlace() workplace {
	return bench[pieces, *pieces]{
		scans: map[events.ScanKind]scanned[pieces]{
			events.ScanBadge: (*pieces).scanBadge,
			events.ScanSet:   (*pieces).scanSet,
		},
		acts: map[string]action[pieces]{
			"clear":  (*pieces).discard,
			"line":   (*pieces).chooseLine,
			"item":   (*pieces).takeItem,
			"became": (*pieces).choose,
			"many":   (*pieces).takeQuantity,
			"about":  (*pieces).takeAbout,
			"opened": (*pieces).sayOpened,
			"leave":  (*pieces).discard,
			"twice":  func(_ *pieces, v *visit, _ fields) (said, error) { return v.readTwice(), nil },
			"enter":  (*pieces).record,
			"record": (*pieces).record,
		},
		typed: (*pieces).once,
	}
}

func (b *pieces) wants() []want { return wanted(events.ScanSet, events.ScanBadge) }

func (b *pieces) clear() { *b = pieces{hand: b.kept()} }

// entered is in which turn it was said what became of which piece.
func (b *pieces) entered(*visit) ([]string, error) {
	if !b.known() && b.Became == "" && b.Quantity == 0 && b.Where == "" && b.Load == "" && b.Note == "" {
		return nil, nil
	}
	return []string{b.Turn}, nil
}

func (b *pieces) anew(v *visit) (said, error) {
	set := b.Tag
	b.clear()
	return b.scanSet(v, set)
}

// onlySaid is all of it: nobody sees a piece that is missing.
func (b *pieces) onlySaid(v *visit) (string, error) {
	var out []string
	if b.known() {
		out = append(out, b.name(v))
	}
	if b.Became != "" {
		out = append(out, v.t("became-"+string(b.Became)))
	}
	for _, s := range []string{b.Where, b.Load, b.Note} {
		if s != "" {
			out = append(out, s)
		}
	}
	return strings.Join(out, ", "), nil
}

func (b *pieces) scanBadge(_ *visit, badge string) (said, error) {
	b.Operator = badge
	return said{}, nil
}

// scanSet takes the next set. What was said of a piece of the one that lies here isn't dropped by that.
func (b *pieces) scanSet(v *visit, set string) (said, error) {
	if b.Tag == set {
		return said{}, nil
	}
	turns, err := b.entered(v)
	switch {
	case err != nil:
		return said{}, err
	case b.Tag != "" && len(turns) > 0:
		return said{}, v.sayNo("return-begun", b.Tag)
	}
	b.clear()
	b.Tag, b.Done = set, nil
	return said{}, nil
}

func (b *pieces) discard(v *visit, _ fields) (said, error) {
	b.clear()
	b.Done = nil
	return v.begin(), nil
}

// known reports whether it is said which piece is meant.
func (b *pieces) known() bool { return b.Line > 0 || b.Item != "" }

// once takes what is typed, but a number that is typed twice at once only once: each number answers another question.
func (b *pieces) once(v *visit, text string) (string, fields, bool) {
	action, f, ok := b.typed(v, text)
	if _, number := plainNumber(text); !ok || !number {
		return action, f, ok
	}
	last, at := b.Number, b.NumberAt
	b.Number, b.NumberAt = strings.TrimSpace(text), v.now
	if last == b.Number && v.now.Sub(at).Abs() < readApart {
		return "twice", nil, true
	}
	return action, f, ok
}

// typed: a line's number or a catalogue number says which piece is meant, then a number
// what became of it, then a number how many there are.
func (b *pieces) typed(v *visit, text string) (string, fields, bool) {
	if b.Tag == "" {
		return "", nil, false
	}
	text = strings.TrimSpace(text)
	n, number := plainNumber(text)
	switch {
	case !b.known():
		l, err := b.find(v, func(l *events.Line) bool { return number && l.Line == n || text != "" && l.Item == text })
		if err == nil && l != nil {
			return "line", fields{"line": strconv.FormatInt(l.Line, 10)}, true
		}
		if st, err := v.standing(b.Tag); fewDigits(text) && err == nil && st != nil && len(st.Lines) > 0 {
			return "line", fields{"line": text}, true // that there is none is said: as a set's code it would be remembered
		}
	case b.Became == "" && number && n >= 1 && int(n) <= len(events.Becames()):
		return "became", fields{"value": string(events.Becames()[n-1])}, true
	case b.Became != "" && number && n >= 1:
		if f, err := b.closed(v); err != nil || f != nil {
			return "enter", nil, true // it answers nothing of what is asked
		}
		return "many", fields{"quantity": text}, true
	}
	return "", nil, false
}

// closed is what the report would show of a set that nobody has opened: its container was open, or the piece is
// another set's. nil where it shows nothing of that, or a person said that it was opened.
func (b *pieces) closed(v *visit) (*projections.Finding, error) {
	if b.Opened || b.Operator == "" || b.Became != events.BecameRepair && b.Became != events.BecameReplaced {
		return nil, nil
	}
	verdict, err := v.preview(b.observation(v))
	if err != nil {
		return nil, err
	}
	for i := range verdict.Findings {
		if d, ok := verdict.Findings[i].Detail.(*projections.ChangedClosed); ok && d.Opened == nil {
			return &verdict.Findings[i], nil
		}
	}
	return nil, nil
}

// sayOpened answers that the set was opened for it: for the piece that was asked about, on the screen that asks.
func (b *pieces) sayOpened(v *visit, f fields) (said, error) {
	found, err := b.closed(v)
	b.Opened = b.Opened || found != nil && f["value"] == b.about()
	return said{}, err
}

// about tells what is said of which piece apart from what is said of another.
func (b *pieces) about() string {
	return url.Values{"set": {b.Tag}, "line": {fmt.Sprint(b.Line)}, "item": {b.Item}, "became": {string(b.Became)}}.Encode()
}

// find returns a line of the list that the set was packed by, nil where there is none.
func (b *pieces) find(v *visit, is func(*events.Line) bool) (*events.Line, error) {
	st, err := v.standing(b.Tag)
	if err != nil || st == nil {
		return nil, err
	}
	i := slices.IndexFunc(st.Lines, func(l projections.LineStanding) bool { return !l.Beyond && is(&l.Line) })
	if i < 0 {
		return nil, nil
	}
	return &st.Lines[i].Line, nil
}

func (b *pieces) chooseLine(v *visit, f fields) (said, error) {
	n, err := strconv.ParseInt(f["line"], 10, 64)
	if err != nil || b.Tag == "" {
		return said{}, v.sayNo("no-such-line", f["line"], b.Tag)
	}
	l, err := b.find(v, func(l *events.Line) bool { return l.Line == n })
	switch {
	case err != nil:
		return said{}, err
	case l == nil:
		return said{}, v.sayNo("no-such-line", n, b.Tag)
	}
	b.take(l.Line, l.Item, l.Description)
	return said{}, nil
}

// take takes which piece is meant. What was said of another one is not of this one, nor
// how many, which the list of no line was asked about.
func (b *pieces) take(line int64, item, description string) {
	switch {
	case b.Line == line && b.Item == item:
		return
	case b.known():
		set := b.Tag
		b.clear()
		b.Tag = set
	}
	b.Line, b.Item, b.Description, b.Quantity, b.Opened = line, item, description, 0, false
}

// takeItem takes a piece that is on no list known here by its catalogue number.
func (b *pieces) takeItem(v *visit, f fields) (said, error) {
	d := events.PieceReported{Became: events.BecameLost, Item: strings.TrimSpace(f["item"]), Quantity: 1}
	if b.Tag == "" || d.Item == "" || d.Check() != nil {
		return said{}, v.sayNo("piece-item")
	}
	b.take(0, d.Item, "")
	return said{}, nil
}

func (b *pieces) choose(v *visit, f fields) (said, error) {
	became := events.Became(f["value"])
	if !slices.Contains(events.Becames(), became) {
		return said{}, v.sayNo("no-such-button", f["value"])
	}
	if b.Became != became {
		b.Opened = false // it was said of something else
	}
	if b.Became = became; became != events.BecameFound {
		b.Load = ""
	}
	return said{}, nil
}

func (b *pieces) takeQuantity(v *visit, f fields) (said, error) {
	n, ok := plainNumber(f["quantity"])
	if !ok || n < 1 {
		return said{}, v.sayNo("not-a-number", f["quantity"])
	}
	if l, err := b.find(v, func(l *events.Line) bool { return l.Line == b.Line }); err != nil {
		return said{}, err
	} else if l != nil && n > max(l.Quantity, 1) {
		return said{}, v.sayNo("piece-more", n, l.Quantity)
	}
	b.Quantity = n
	return said{}, nil
}

// takeAbout takes where a piece was found or went to, the washer's load and a note.
func (b *pieces) takeAbout(v *visit, f fields) (said, error) {
	note, err := v.reason(f["note"])
	if err != nil {
		return said{}, err
	}
	if _, err := v.placeName(f["where"]); err != nil {
		return said{}, err
	}
	d := events.PieceReported{Became: events.BecameFound, Line: 1, Quantity: 1, Place: strings.TrimSpace(f["where"]),
		WasherLoad: strings.ToUpper(strings.TrimSpace(f["load"])), Note: note}
	if d.Check() != nil {
		return said{}, v.sayNo("piece-about")
	}
	b.Where, b.Load, b.Note = d.Place, d.WasherLoad, d.Note
	if b.Load != "" && b.Became == "" {
		b.Became = events.BecameFound
	}
	return said{}, nil
}

func (b *pieces) verdict(v *visit) (said, error) {
	switch {
	case b.Tag == "":
		return ask(v.t("scan-tag"), ""), nil
	case !b.known():
		return ask(v.t("piece-which", b.Tag), ""), nil
	case b.Became == "":
		s := ask(v.t("piece-became", b.Tag, b.name(v)), "")
		for i, x := range events.Becames() {
			words := fmt.Sprintf("%d %s", i+1, v.t("became-"+string(x)))
			s.Choices = append(s.Choices, choice{Do: "became", Value: string(x), Words: words})
		}
		return s, nil
	case b.Operator == "":
		return ask(v.t("scan-badge"), ""), nil
	}
	if f, err := b.closed(v); err != nil || f != nil {
		return b.askClosed(v, f), err
	}
	return b.told(v, v.t("enter-piece", b.Tag, max(b.Quantity, 1), b.name(v), v.t("became-"+string(b.Became))))
}

func (b *pieces) askClosed(v *visit, f *projections.Finding) said {
	if f == nil {
		return said{}
	}
	s := v.found(b.Tag, f)
	s.Words, s.Status, s.Sound = v.t("piece-closed", b.Tag), "doubtful", "ask"
	return s.offer(choice{Do: "leave", Words: v.t("do-leave", b.Tag)}, choice{Do: "opened", Value: b.about(),
		Words: v.t("do-piece-opened", b.Tag)})
}

// told is what a report comes to, with what is known of its set: green where others need not be told of it.
func (b *pieces) told(v *visit, words string) (said, error) {
	var more []string
	if b.Became == events.BecameLost {
		more = append(more, v.t("piece-lost-more"))
	}
	if b.Opened {
		more = append(more, v.t("piece-opened-more", b.Tag))
	}
	st, err := v.standing(b.Tag)
	if err != nil {
		return said{}, err
	}
	if st != nil {
		open, err := v.openCase(st.Key)
		if err != nil {
			return said{}, err
		}
		if open != "" {
			more = append(more, v.t("piece-case-open", b.Tag, open))
		}
		if b.Became == events.BecameLost {
			already, err := b.toldLost(v, st.Key)
			if err != nil {
				return said{}, err
			}
			more = slices.DeleteFunc(append(more, already), func(s string) bool { return s == "" })
		}
		if b.Became == events.BecameFound {
			found, err := b.toldFound(v, st.Key)
			if err != nil {
				return said{}, err
			}
			more = append(more, found...)
		}
	}
	if len(more) > 0 {
		return doubt(words, strings.Join(more, " ")), nil
	}
	return good(words, ""), nil
}

// name is the piece as people call it.
func (b *pieces) name(v *visit) string {
	if b.Line == 0 {
		return b.Item
	}
	return v.t("piece-line", b.Line, b.Description)
}

// record takes the report into the ledger, once nothing is asked any more.
func (b *pieces) record(v *visit, _ fields) (said, error) {
	if b.Tag == "" || !b.known() || b.Became == "" || b.Operator == "" {
		return said{}, nil
	}
	if f, err := b.closed(v); err != nil || f != nil {
		return said{Sound: "ask"}, err // it is asked on
	}
	at, err := v.recordAt(b)
	if err != nil {
		return said{}, err
	}
	o := b.observation(v)
	o.Time = at
	if b.Became == events.BecameFound {
		if o.Trip, err = b.missedIn(v); err != nil {
			return said{}, err
		}
	}
	says := v.phrased("recorded-piece", b.Tag, max(b.Quantity, 1), b.name(v), v.t("became-"+string(b.Became)))
	// Whoever reads it later may read another language.
	says.Parts = map[int]phrase{3: v.phrased("became-" + string(b.Became))}
	if b.Line > 0 {
		says.Parts[2] = v.phrased("piece-line", b.Line, b.Description)
	}
	set := b.Tag
	s, err := b.told(v, v.say(says))
	if err != nil {
		return said{}, err
	}
	rs, err := v.observe(o)
	if err != nil {
		return said{}, err
	}
	if b.Became == events.BecameLost {
		if s, err = v.missed(projections.TripKey{Set: set, Trip: rs[0].Trip}, rs[0].Seq, s); err != nil {
			return said{}, err
		}
	}
	if b.Became == events.BecameFound {
		if s, err = b.stillMissed(v, projections.TripKey{Set: set, Trip: rs[0].Trip}, s); err != nil {
			return said{}, err
		}
	}
	b.clear()
	b.Done = &done{Says: []phrase{says}, Set: set, Trip: rs[0].Trip, Seqs: seqs(rs), IDs: ids(rs)}
	return s, nil
}

// observation is the report as it is recorded.
func (b *pieces) observation(v *visit) *events.Observation {
	d := &events.PieceReported{Became: b.Became, Line: b.Line, Item: b.Item, Description: b.Description,
		Quantity: max(b.Quantity, 1), Place: b.Where, Note: b.Note}
	if b.Became == events.BecameFound {
		d.WasherLoad = b.Load
	}
	return &events.Observation{Station: v.station, Kind: events.KindPieceReported, Time: v.now.UTC(), Set: b.Tag,
		Operator: b.Operator, Data: d}
}

// sought are what is missing of the set and may be the piece, in its present turn and in the one before.
func (b *pieces) sought(v *visit, k projections.TripKey) (now, before []lack, err error) {
	now, before, err = v.missing(k)
	other := func(l lack) bool { return len(l.lines) > 0 && !slices.ContainsFunc(l.lines, b.is) }
	return slices.DeleteFunc(now, other), slices.DeleteFunc(before, other), err
}

// missedIn is the turn before the present one where a piece like this is missed since its case, "" where
// none is: who finds one there most likely has that one in the hand, though the set was packed since.
func (b *pieces) missedIn(v *visit) (string, error) {
	st, err := v.standing(b.Tag)
	if err != nil || st == nil {
		return "", err
	}
	_, before, err := b.sought(v, st.Key)
	for _, l := range before {
		if len(l.lines) > 0 {
			return l.trip, err
		}
	}
	return "", err
}

// is reports whether a line of a set is that of the piece.
func (b *pieces) is(l projections.BackLine) bool {
	return b.Item != "" && l.Item == b.Item || b.Item == "" && l.Line == b.Line
}

// toldFound is what it comes to that a piece was found: who looks for it is told. One that the set does not miss is mostly
// another set's; those of its case that miss one are named.
func (b *pieces) toldFound(v *visit, k projections.TripKey) (more []string, err error) {
	now, before, err := b.sought(v, k)
	if err != nil {
		return nil, err
	}
	for _, l := range slices.Concat(now, before) {
		if words := v.t("piece-found-call", l.call); l.counted && !slices.Contains(more, words) {
			more = append(more, words)
		}
	}
	if len(now)+len(before) > 0 {
		if missed, known := b.missedPieces(slices.Concat(now, before)); known && max(b.Quantity, 1) > missed {
			more = append(more, v.t("piece-found-more", missed))
		}
		return more, nil
	}
	more = []string{v.t("piece-not-missed", b.Tag)}
	others, err := b.missedBy(v, k)
	if len(others) > 0 {
		more = append(more, v.t("piece-missed-by", strings.Join(others, ", ")))
	}
	return more, err
}

// missedPieces is how many pieces like it are missed, where that is known.
func (b *pieces) missedPieces(all []lack) (n int64, known bool) {
	for _, l := range all {
		for _, x := range l.lines {
			if b.is(x) {
				n += x.Pieces
			}
		}
		if len(l.lines) == 0 {
			return 0, false
		}
	}
	return n, true
}

// toldLost is what it comes to that a piece is missed: where one like it is reported as missed already, it may be the same.
func (b *pieces) toldLost(v *visit, k projections.TripKey) (string, error) {
	now, _, err := b.sought(v, k)
	if err != nil {
		return "", err
	}
	for _, l := range now {
		for _, x := range l.lines {
			if l.said && b.is(x) && !x.Missed.IsZero() {
				return v.t("piece-missed-already", v.time(x.Missed)), nil
			}
		}
	}
	return "", nil
}

// missedBy are the other sets of the case that miss a piece like this one.
func (b *pieces) missedBy(v *visit, k projections.TripKey) (sets []string, err error) {
	verdict, err := v.verdictOf(k)
	if err != nil || verdict == nil || verdict.Case == "" {
		return nil, err
	}
	st, err := v.caseStanding(verdict.Case)
	if err != nil {
		return nil, err
	}
	for _, s := range st.Sets {
		if s.Key.Set == k.Set {
			continue
		}
		now, _, err := v.missing(s.Key)
		if err != nil {
			return nil, err
		}
		if slices.ContainsFunc(now, func(l lack) bool { return slices.ContainsFunc(l.lines, b.isItem) }) {
			sets = append(sets, s.Key.Set)
		}
	}
	return sets, nil
}

// isItem reports whether a line of another set is of the same item.
func (b *pieces) isItem(l projections.BackLine) bool { return b.Item != "" && l.Item == b.Item }

// missed says what it comes to that a piece is missed, or missing on the way back: others are to be told.
func (v *visit) missed(k projections.TripKey, seq int64, s said) (said, error) {
	verdict, err := v.verdictOf(k)
	if err != nil || verdict == nil {
		return s, err
	}
	for i := range verdict.Findings {
		f := &verdict.Findings[i]
		if f.Code == projections.CameBackShort && missingPiece(f) && slices.Contains(f.Events, seq) {
			found := v.found(k.Set, f)
			found.Words, found.More = s.Words+" "+found.Words, strings.TrimSpace(s.More+" "+found.More)
			return found, nil
		}
	}
	return s, nil
}

// stillMissed says of a piece that was found that others like it are missed on.
func (b *pieces) stillMissed(v *visit, k projections.TripKey, s said) (said, error) {
	verdict, err := v.verdictOf(k)
	if err != nil || verdict == nil {
		return s, err
	}
	for i := range verdict.Findings {
		if f := &verdict.Findings[i]; missingPiece(f) && slices.ContainsFunc(missedLines(f), b.is) {
			still, _ := v.finding(f)
			return doubt(s.Words, strings.TrimSpace(v.t("piece-still-missing", still)+" "+s.More)), nil
		}
	}
	return s, nil
}

// missingPiece reports whether a finding says that a piece is missing, and nothing recorded since tells where it is.
func missingPiece(f *projections.Finding) bool {
	return (f.Code == projections.CameBackShort || f.Code == projections.PieceMissing) && f.Severity != projections.SeverityNoted
}

type piecesBody struct {
	Set     *standing // as the ledger knows it, nil where it was never packed here
	Becames []events.Became
}

func (b *pieces) body(v *visit) (any, error) {
	out := piecesBody{Becames: events.Becames()}
	if b.Tag == "" {
		return out, nil
	}
	var err error
	out.Set, err = v.standing(b.Tag)
	return out, err
}
