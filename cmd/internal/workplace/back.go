package workplace

import (
	"bytes"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/go-json-experiment/json"

	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections"
)

// snapshot is the draft as it can be taken back to.
func (p bench[B, P]) snapshot(b *B) ([]byte, error) {
	h := P(b).shared()
	kept := h.Before
	h.Before = nil
	raw, err := json.Marshal(b)
	h.Before = kept
	if err != nil {
		return nil, fmt.Errorf("draft: %w", err)
	}
	return raw, nil
}

// content is what lies on the bench, without what every input changes.
func (p bench[B, P]) content(b *B) ([]byte, error) {
	h := P(b).shared()
	all := *h
	*h = hand{Operator: all.Operator, Witness: all.Witness, Case: all.Case, Tag: all.Tag, Plain: all.Plain, Done: all.Done, Left: all.Left}
	raw, err := json.Marshal(b, json.Deterministic(true))
	*h = all
	if err != nil {
		return nil, fmt.Errorf("draft: %w", err)
	}
	return raw, nil
}

// keepBefore keeps what the draft was before the last input that changed it. A
// record is taken back otherwise.
func (p bench[B, P]) keepBefore(b *B, before []byte, t *taken) error {
	h := P(b).shared()
	old := new(B)
	if err := json.Unmarshal(before, old); err != nil {
		return fmt.Errorf("draft: %w", err)
	}
	was := P(old).shared()
	recorded := h.Done != nil && (was.Done == nil || !slices.Equal(h.Done.Seqs, was.Done.Seqs))
	switch {
	case t.undone || recorded || P(b).idle():
		h.Before = nil
	default:
		had, err := p.content(old)
		if err != nil {
			return err
		}
		has, err := p.content(b)
		if err != nil {
			return err
		}
		if !bytes.Equal(had, has) {
			h.Before = before
		}
	}
	return nil
}

// undo takes the last input back; no record was made since then. Who works here and for which case, once
// forgotten, is not brought back with it.
func (p bench[B, P]) undo(v *visit, b *B, f fields, t *taken) error {
	h := P(b).shared()
	left := false // what was left lying is answered: without its last scan a STOP would be gone, and no longer left
	if l, ok := any(P(b)).(leftLying); ok {
		left = l.askedLeft()
	}
	if l, ok := any(P(b)).(interface{ askedStray() bool }); ok && l.askedStray() {
		left = true
	}
	if len(h.Before) == 0 || left {
		return v.sayNo("nothing-to-undo")
	}
	old := new(B)
	if err := json.Unmarshal(h.Before, old); err != nil {
		return fmt.Errorf("draft: %w", err)
	}
	if asks, ok := any(P(b)).(interface{ askUndo(*visit, *B) said }); ok && f["value"] != sureUndo {
		if t.said = asks.askUndo(v, old); t.said.Words != "" {
			return nil
		}
	}
	if lines, ok := any(P(b)).(interface{ takeBack(*visit, *B) error }); ok {
		if err := lines.takeBack(v, old); err != nil {
			return err
		}
	}
	o := P(old).shared()
	o.Rev, o.Seen, o.Echo = h.Rev, h.Seen, echo{}
	o.Work, o.WorkRev, o.WorkBy = h.Work, h.WorkRev, h.WorkBy
	if h.Operator == "" {
		o.nextPerson()
	}
	if l, ok := any(P(old)).(interface{ caseGone() }); ok && h.Case == "" {
		l.caseGone()
	}
	if h.Case == "" {
		o.Case = ""
	}
	o.Active = h.Active
	*b = *old
	if again, ok := any(P(b)).(interface{ askAgain() }); ok {
		again.askAgain()
	}
	t.undone = true
	return nil
}

// sureUndo answers that the last input is taken back, where that was asked.
const sureUndo = "sure"

// reasonsBack are why a record of a place is taken back.
func reasonsBack(place string) []string {
	wrong := "wrong-set"
	switch place {
	case "close", "count":
		wrong = "wrong-case"
	case "sterilizer":
		wrong = "wrong-load"
	}
	return []string{wrong, "not-done", "by-mistake"}
}

// takeBack asks why the last record is taken back; with a reason it is voided. The
// record stays, and so does the correction.
func (p bench[B, P]) takeBack(v *visit, b *B, f fields, t *taken) error {
	h := P(b).shared()
	switch {
	case h.Done == nil || len(h.Done.IDs) == 0:
		return v.sayNo("nothing-to-undo")
	case v.tooLate(h.Done):
		return v.sayNo("back-too-late", v.w.Time(h.Done.At))
	case h.Operator == "":
		t.said = ask(v.t("scan-badge"), v.t("back-why", h.Done.words(v)))
		return nil
	}
	costs, err := v.costs(h.Done)
	if err != nil {
		return err
	}
	if !slices.Contains(reasonsBack(v.place), f["value"]) {
		t.said = v.askWhyBack(h.Done, costs)
		return nil
	}
	at, err := v.recordAt(P(b))
	if err != nil {
		return err
	}
	var obs []*events.Observation
	for _, id := range h.Done.IDs {
		obs = append(obs, &events.Observation{
			Station: v.station, Kind: events.KindEventCorrected, Time: at, Operator: h.Operator,
			Data: &events.EventCorrected{Event: id, Action: "void", Reason: v.t("back-" + f["value"])},
		})
	}
	rs, err := v.observe(obs...)
	if err != nil {
		return err
	}
	says := v.phrased("taken-back", h.Done.words(v))
	says.Of = h.Done.Says
	t.said = good(v.say(says), v.t("back-more"))
	if costs != "" { // what stopped sets is gone, or what others went by, on one person's word
		t.said = doubt(v.say(says), costs+" "+v.t("back-more"))
	}
	if f["value"] == "wrong-load" && h.Done.Positive != "" {
		t.said.Next = v.t("back-which-load")
	}
	if lay, ok := any(P(b)).(interface{ tookBack(*done) }); ok {
		lay.tookBack(h.Done)
	}
	h.Done, h.At = &done{Says: []phrase{says}, Seqs: seqs(rs)}, time.Time{}
	return nil
}

func (v *visit) askWhyBack(d *done, costs string) said {
	s := ask(v.t("back-why", d.words(v)), v.t("back-more"))
	switch {
	case d.Stop:
		s = wrong(v.t("back-why-stop", d.words(v)), costs+" "+s.More)
	case costs != "":
		s = doubt(s.Words, costs+" "+s.More)
	}
	for _, r := range reasonsBack(v.place) {
		s.Choices = append(s.Choices, choice{Do: "take-back", Value: r, Words: v.t("back-" + r)})
	}
	return s
}

// tooLate reports whether a record of another day is one that nobody takes back in passing: what a set was put aside for, or
// doubted by, is answered by its release, and a case that is closed by whoever leads there.
func (v *visit) tooLate(d *done) bool {
	return !d.At.IsZero() && !v.today(d.At) && (d.Stop && d.Trip != "" || d.Case != "" && v.place == "close")
}

// stops are the sets that a reading stops or brings into doubt: the one that was read, and those whose things lay there.
func (v *visit) stops(d *done) ([]string, error) {
	sets := []string{d.Set}
	verdict, err := v.verdictOf(projections.TripKey{Set: d.Set, Trip: d.Trip})
	if err != nil || verdict == nil {
		return sets, err
	}
	for i := range verdict.Findings {
		f := &verdict.Findings[i]
		of := slices.ContainsFunc(d.Seqs, func(seq int64) bool { return slices.Contains(f.Events, seq) })
		if other := otherSet(f); of && other != "" && !slices.Contains(sets, other) {
			sets = append(sets, other)
		}
	}
	return sets, nil
}

// costs says what becomes of other things where a record is taken back, "" for nothing.
func (v *visit) costs(d *done) (string, error) {
	switch {
	case d.Stop:
		return v.frees(d)
	case d.Released && d.Load != nil:
		used, err := v.inUse(d.Load.Sets)
		return joined(v.say(used...), v.t("back-release", d.Load.Load, strings.Join(d.Load.Sets, ", "))), err
	}
	after, err := v.after(d)
	if err != nil || len(after) == 0 {
		return "", err
	}
	return v.t("back-after", d.Set, v.w.Language().List(after)), nil
}

// after names what was recorded of a set since it was packed, closed or opened, and would stand without that.
func (v *visit) after(d *done) (kinds []string, err error) {
	if d.Trip == "" || !slices.Contains([]string{"packing", "sealing", "opening"}, v.place) {
		return nil, nil
	}
	on := []events.Kind{events.KindListSealed, events.KindSetSterilized, events.KindSetChecked, events.KindSetOpened, events.KindSetCounted}
	err = v.d.site.Ask(func(m *site.View) error {
		w := m.World(v)
		for _, it := range w.Trip(projections.TripKey{Set: d.Set, Trip: d.Trip}).Steps {
			kind := v.w.Kind(it.Kind)
			if it.Seq > slices.Max(append([]int64{0}, d.Seqs...)) && slices.Contains(on, it.Kind) && !slices.Contains(kinds, kind) {
				kinds = append(kinds, kind)
			}
		}
		return w.Failed()
	})
	return kinds, err
}

// frees says which sets are stopped no more where a record that stops some is taken back.
func (v *visit) frees(d *done) (string, error) {
	if d.Trip != "" {
		sets, err := v.stops(d)
		return v.t("back-frees-sets", strings.Join(sets, ", ")), err
	}
	load := d.Positive
	if load == "" && d.Load != nil {
		load = d.Load.Load
	}
	var of []projections.TripKey
	err := v.d.site.Ask(func(m *site.View) error {
		w := m.World(v)
		of, _ = w.LoadOf(load)
		return w.Failed()
	})
	sets := firstOf(names(of), "–")
	if d.Positive != "" {
		return v.t("back-frees-recalled", load, sets), err
	}
	return v.t("back-frees-failed", load, sets), err
}
