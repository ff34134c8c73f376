package workplace

import (
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
	Code     string    `json:"code"`
	Set      string    `json:"set,omitempty"` // with which it lay, as far as is known
	By       string    `json:"by,omitempty"`  // the input that said where it was
	At       time.Time `json:"at,omitzero"`
	Found    string    `json:"found,omitempty"`
	Operator string    `json:"operator,omitempty"`
}

// strayRead says STOP, and asks with which set such a sheet lay, and where. s is what is wrong with it.
func (t *table) strayRead(code, set string, s said, a *counted) error {
	if sets := t.counts(); set == "" && len(sets) == 1 {
		set = sets[0]
	}
	whole := t.whole()
	whole.Stray = &stray{Code: code, Set: set}
	q := t.askStray()
	a.said, a.Next = s.offer(q.Choices...), q.Words
	return t.v.d.files.saveDraft(whole)
}

// whole is the draft that keeps what is of the count and not of one set: the wrong sheet, and the scan read last. That
// began in the first one's; a set that comes to the case later may sort before it.
func (t *table) whole() *draft {
	for _, keeps := range []func(*draft) bool{
		func(d *draft) bool { return d.Stray != nil },
		func(d *draft) bool { return d.Told != nil || d.Echo.Heard != 0 },
	} {
		if i := slices.IndexFunc(t.drafts, keeps); i >= 0 {
			return t.drafts[i]
		}
	}
	return t.drafts[0]
}

// stray is the wrong sheet of which it is still to be said where it lay, nil for none.
func (t *table) stray() *stray { return t.whole().Stray }

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
	if x.Set == "" {
		s := wrong(v.t("sheet-lay-with"), v.t("sheet-lay-more"))
		for _, set := range t.counts() {
			s.Choices = append(s.Choices, choice{Do: "sheet-with", Value: strayValue(x, set, ""), Words: set})
		}
		return s.offer(append(s.Choices, none)...)
	}
	return wrong(v.t("sheet-lay-where", x.Set), v.t("sheet-lay-more")).offer(append(strayAnswers(v, x), none)...)
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
	whole := t.whole()
	if whole.Stray == nil {
		return nil
	}
	for _, set := range t.counts() {
		if whole.Stray.Set == "" && f["value"] == strayValue(whole.Stray, set, "") {
			whole.Stray.Set = set
		}
	}
	a.said = t.askStray()
	return t.v.d.files.saveDraft(whole)
}

// sheetNone answers that the sheet does not lie here: nothing of it is recorded.
func (t *table) sheetNone(f fields, _ *counted) error {
	whole := t.whole()
	if whole.Stray == nil || f["value"] != whole.Stray.Code {
		return nil
	}
	whole.Stray = nil
	return t.v.d.files.saveDraft(whole)
}

// sheetLay records the reading, by the badge of who counts where that was scanned. The same input sent again is the same record.
func (t *table) sheetLay(f fields, a *counted) error {
	v, whole := t.v, t.whole()
	if last := whole.Told; last != nil && last.By == v.key {
		return t.recordStray(a) // and the answer was lost
	}
	x := whole.Stray
	if x == nil {
		return nil
	}
	for _, p := range places() {
		if x.Set == "" || f["value"] != strayValue(x, x.Set, string(p)) {
			continue
		}
		whole.Told = &stray{Code: x.Code, Set: x.Set, By: v.key, At: v.now.UTC(), Found: string(p), Operator: t.state().Counter}
		if err := v.d.files.saveDraft(whole); err != nil {
			return err
		}
		return t.recordStray(a)
	}
	a.said = t.askStray()
	return nil
}

func (t *table) recordStray(a *counted) error {
	v, whole := t.v, t.whole()
	x := whole.Told
	o := &events.Observation{Station: v.station, Kind: events.KindSetChecked, Time: x.At, Set: x.Set, Operator: x.Operator,
		Data: &events.SetChecked{Sheet: &events.Reading{Code: x.Code, Found: x.Found}}}
	if i := t.find(x.Set); i >= 0 {
		o.Trip = t.standing.Sets[i].Key.Trip
	}
	s, _, err := v.recordReading(o, v.phrased("recorded-stray", x.Set))
	if err != nil {
		return err
	}
	a.said, whole.Stray = s, nil
	a.More = strings.TrimSpace(a.More + " " + v.t("count-on-screen"))
	return v.d.files.saveDraft(whole)
}
