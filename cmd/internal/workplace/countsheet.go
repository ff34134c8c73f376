package workplace

import (
	"errors"
	"fmt"
	"net/url"
	"slices"
	"strings"
	"time"

	"listbound/events"
)

// stray is a count sheet that was read where a case is counted and is not the sheet of the turn of any of its sets.
// Who obeys the STOP has seen something: it is recorded, so that the set whose sheet it is comes into doubt.
type stray struct {
	Code     string       `json:"code"`
	Stage    events.Stage `json:"stage,omitempty"` // of the count at which it was read
	Set      string       `json:"set,omitempty"`   // with which it lay, as far as is known
	By       string       `json:"by,omitempty"`    // the input that said where it was
	At       time.Time    `json:"at,omitzero"`     // when it was read
	Found    string       `json:"found,omitempty"`
	Operator string       `json:"operator,omitempty"`
}

// whole is what belongs to the counts of a case and to no set of it: the scan that was read last, and a wrong sheet. A set
// may come to the case, be signed or be taken off it meanwhile.
type whole struct {
	Echo echo `json:"echo,omitzero"`
	// Doubles are the last inputs that were the scan before them, read once more: sent again, they still are.
	Doubles []string `json:"doubles,omitempty"`
	Stray   *stray   `json:"stray,omitempty"` // of which is still to be said where it lay
	Told    *stray   `json:"told,omitempty"`  // the one that was recorded last
	// Under is the last input that came while a question stood in place of what it would sign: sent again, it still did.
	Under string `json:"under,omitempty"`
	// Goods are counted though no set is open for the case: what they are called, and the list that was chosen.
	Goods *goodsAlone `json:"goods,omitempty"`
}

// readTwice reports whether a scan is the last one read once more, and keeps it.
func (w *whole) readTwice(v *visit, in *input) bool {
	if slices.Contains(w.Doubles, in.key()) {
		return true
	}
	if !w.Echo.twice(v, in) {
		return false
	}
	w.Doubles = append(w.Doubles, in.key())
	w.Doubles = w.Doubles[max(len(w.Doubles)-inputsKept, 0):]
	return true
}

// wholeName is the file with it. Drafts have a space in their names.
const wholeName = "whole"

func (s store) whole(ref string) (*whole, error) {
	w := new(whole)
	_, err := s.load(w, "count", ref, wholeName)
	return w, err
}

func (t *table) saveWhole() error { return t.v.d.files.save(t.whole, "count", t.ref, wholeName) }

// layWhole takes up what belongs to the case; a wrong sheet too that an earlier version kept in the draft of one set.
func (t *table) layWhole() (err error) {
	if t.whole, err = t.v.d.files.whole(t.ref); errors.Is(err, errUnreadable) {
		t.v.d.opts.Log.Warn("what belongs to a count is forgotten", "case", t.ref, "error", err)
		t.whole, err = new(whole), nil
	}
	for _, d := range t.drafts {
		if d.Stray == nil || err != nil {
			continue
		}
		if t.whole.Stray == nil {
			t.whole.Stray, t.whole.Stray.Stage = d.Stray, t.stage
		}
		if err = t.saveWhole(); err == nil {
			d.Stray = nil
			err = t.v.d.files.saveDraft(d)
		}
	}
	if x := t.whole.Stray; x != nil && err == nil {
		if x.Set != "" && t.find(x.Set) < 0 && len(t.standing.Sets) > 0 {
			x.Set = "" // it lay here all the same, and the set has another name
		}
		if !x.At.IsZero() {
			t.strayLeft, err = t.v.away(x.At)
		}
	}
	return err
}

// strayRead says STOP, and asks with which set such a sheet lay, and where. s is what is wrong with it.
func (t *table) strayRead(code, set string, s said, a *counted) error {
	if sets := t.counts(); set == "" && len(sets) == 1 {
		set = sets[0]
	}
	t.whole.Stray = &stray{Code: code, Set: set, Stage: t.stage, At: t.v.now.UTC(), Operator: t.state().Counter}
	q := t.askStray()
	a.said, a.Next = s.offer(q.Choices...), q.Words
	return t.saveWhole()
}

// stray is the wrong sheet of which it is still to be said where it lay, nil for none.
func (t *table) stray() *stray { return t.whole.Stray }

// strayStays keeps that question the one with the buttons, whatever else is said.
func (t *table) strayStays(a *counted) {
	if t.stray() == nil || a.Go != "" {
		return
	}
	q := t.askStray()
	if a.Words == q.Words || a.Next == q.Words || !t.open() {
		return
	}
	q.Aside, q.Sound = strings.TrimSpace(strings.Join([]string{a.Words, a.More, a.Aside}, " ")), firstOf(a.Sound, "low")
	a.said = q
}

// counts are the sets that are counted at this stage.
func (t *table) counts() (sets []string) {
	for i := range t.drafts {
		if t.takesPart(i) {
			sets = append(sets, t.standing.Sets[i].Key.Set)
		}
	}
	return sets
}

// askStray asks with which set the sheet lay, then where.
func (t *table) askStray() said {
	v, x := t.v, t.stray()
	none := choice{Do: "sheet-none", Value: x.Code, Words: v.t("sheet-none")}
	more := v.t("sheet-lay-more")
	if t.strayLeft {
		more = v.t("sheet-lay-then", v.w.Time(x.At)) + " " + more
	}
	if x.Set == "" {
		s := wrong(v.t("sheet-lay-with"), more)
		for _, o := range t.standing.Sets {
			s.Choices = append(s.Choices, choice{Do: "sheet-with", Value: strayValue(x, o.Key.Set, ""), Words: o.Key.Set})
		}
		return s.offer(append(s.Choices, none)...)
	}
	return wrong(v.t("sheet-lay-where", x.Set), more).offer(append(strayAnswers(v, x), none)...)
}

// strayAnswers say where such a sheet lay.
func strayAnswers(v *visit, x *stray) (out []choice) {
	for i, p := range places() {
		words := fmt.Sprintf("%d %s", i+1, v.t("found-"+string(p)))
		out = append(out, choice{Do: "sheet-lay", Value: strayValue(x, x.Set, string(p)), Words: words})
	}
	return out
}

// strayValue is what a button says of a sheet: an answer to another question is none to this one.
func strayValue(x *stray, set, found string) string {
	return url.Values{"code": {x.Code}, "set": {set}, "found": {found}}.Encode()
}

// sheetWith answers with which set the sheet lay.
func (t *table) sheetWith(f fields, a *counted) error {
	x := t.stray()
	if x == nil {
		return nil
	}
	for _, o := range t.standing.Sets {
		if x.Set == "" && f["value"] == strayValue(x, o.Key.Set, "") {
			x.Set = o.Key.Set
		}
	}
	a.said = t.askStray()
	return t.saveWhole()
}

// sheetNone answers that the sheet does not lie here: nothing of it is recorded.
func (t *table) sheetNone(f fields, a *counted) error {
	if t.stray() == nil || f["value"] != t.stray().Code {
		return nil
	}
	if len(t.standing.Sets) == 0 { // nothing is left here
		a.Go = t.v.d.stationPath(t.v.station, "count")
	}
	t.whole.Stray = nil
	return t.saveWhole()
}

// sheetLay records the reading as of when it was made, by the badge of who counted then. The same input sent again is the same
// record.
func (t *table) sheetLay(f fields, a *counted) error {
	v := t.v
	if last := t.whole.Told; last != nil && last.By == v.key {
		return t.recordStray(a) // and the answer was lost
	}
	x := t.stray()
	if x == nil {
		return nil
	}
	for _, p := range places() {
		if x.Set == "" || f["value"] != strayValue(x, x.Set, string(p)) {
			continue
		}
		told := *x
		told.By, told.Found = v.key, string(p)
		if told.At.IsZero() {
			told.At = v.now.UTC()
		}
		if told.Operator == "" && !t.strayLeft { // else who counts now need not have been here
			told.Operator = t.state().Counter
		}
		t.whole.Told = &told
		if err := t.saveWhole(); err != nil {
			return err
		}
		return t.recordStray(a)
	}
	a.said = t.askStray()
	return nil
}

func (t *table) recordStray(a *counted) error {
	v, x := t.v, t.whole.Told
	o := &events.Observation{Station: v.station, Kind: events.KindSetChecked, Time: x.At, Set: x.Set, Operator: x.Operator,
		Data: &events.SetChecked{Sheet: &events.Reading{Code: x.Code, Found: x.Found}}}
	if i := t.find(x.Set); i >= 0 {
		o.Trip = t.standing.Sets[i].Key.Trip
	}
	s, _, err := v.recordReading(o, v.phrased("recorded-stray", x.Set))
	if err != nil {
		return err
	}
	a.said, t.whole.Stray = s, nil
	a.More = strings.TrimSpace(a.More + " " + v.t("count-on-screen"))
	return t.saveWhole()
}
