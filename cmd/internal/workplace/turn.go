package workplace

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"listbound/cmd/internal/refusal"
	"listbound/cmd/internal/site"
	"listbound/projections"
)

// ofTurn is a draft of a bench with what was counted or seen of one turn of its set. Left
// lying until the set was packed or opened elsewhere, it says nothing of what lies here
// now: a piece that stayed in a patient would be recorded as packed.
type ofTurn interface {
	shared() *hand
	// entered lists in which turns of the set it was entered, each as turnOf says it; nil
	// where nothing was.
	entered(*visit) ([]string, error)
	// anew drops all of it; the set stays.
	anew(*visit) (said, error)
	// askOutlived asks what is to be done with it then. No other input goes past that.
	askOutlived(*visit) (said, error)
}

// turnOf names the turn in which a set is at a moment, and how often it was opened in it.
func (v *visit) turnOf(set string, at time.Time) (string, error) {
	return site.Answer(v.d.site, func(m *site.View) (string, error) {
		trip, err := m.TripNow(v, set, at)
		if err != nil || trip == "" {
			return "none yet", err
		}
		w, opened := m.World(v), 0
		for _, it := range w.Trip(projections.TripKey{Set: set, Trip: trip}).Opened {
			if !it.Void {
				opened++
			}
		}
		return fmt.Sprintf("%s opened %d", trip, opened), w.Failed()
	})
}

// outlived reports whether something that lies here was entered in another turn of its set.
func (p bench[B, P]) outlived(v *visit, b *B) (bool, error) {
	of, ok := any(P(b)).(ofTurn)
	if !ok {
		return false, nil
	}
	return v.outlived(of)
}

func (v *visit) outlived(of ofTurn) (bool, error) {
	if of.shared().Tag == "" {
		return false, nil
	}
	turns, err := of.entered(v)
	if err != nil || len(turns) == 0 {
		return false, err
	}
	at := v.now
	if h := of.shared(); at.Before(h.Active) { // an input that waited looks at what was entered here since it was made
		at = h.Active
	}
	now, err := v.turnOf(of.shared().Tag, at)
	return slices.ContainsFunc(turns, func(t string) bool { return t != now }), err
}

// keepTurn keeps in which turn of its set something is entered from now on.
func (p bench[B, P]) keepTurn(v *visit, b *B) (err error) {
	of, ok := any(P(b)).(ofTurn)
	if !ok {
		return nil
	}
	switch h := of.shared(); {
	case h.Tag == "":
		h.Turn = ""
	case h.Turn == "":
		h.Turn, err = v.turnOf(h.Tag, v.now)
	}
	return err
}

// renewTurn forgets in which turn nothing was entered. What an earlier version kept was
// entered in nobody knows which.
func (p bench[B, P]) renewTurn(v *visit, b *B) error {
	of, ok := any(P(b)).(ofTurn)
	if !ok || of.shared().Tag == "" {
		return nil
	}
	turns, err := of.entered(v)
	switch {
	case err != nil:
		return err
	case len(turns) == 0:
		of.shared().Turn = ""
	case of.shared().Turn == "":
		of.shared().Turn = "unknown"
	}
	return p.keepTurn(v, b)
}

func (h *hand) askOutlived(v *visit) (said, error) {
	return ask(v.t("outlived", h.Tag), v.t("outlived-more")).offer(
		choice{Do: beginAnew, Words: v.t("do-outlived", h.Tag)},
		choice{Do: "clear", Words: v.t("do-leave", h.Tag)}), nil
}

// beginAnew is the button that drops what was entered in another turn.
const beginAnew = "outlived"

// dropsOutlived reports whether a button takes what lies here away, or begins with it anew.
func dropsOutlived(name string) bool {
	return slices.Contains([]string{"clear", "leave", "anew"}, name)
}

// lying is a draft in which what a person entered can be left lying. Whoever records it later says that it was seen then,
// so after as long as a badge holds, or on another day, it is asked whether it still holds.
type lying interface {
	// onlySaid tells what of it whoever looks at what lies here can't see again, "" for nothing: it would be lost unseen.
	onlySaid(*visit) (string, error)
	anew(*visit) (said, error) // drops all of it
}

// lies reports whether something lies here that somebody entered.
func (p bench[B, P]) lies(v *visit, b *B) (bool, error) {
	switch x := any(P(b)).(type) {
	case ofTurn:
		if x.shared().Tag == "" {
			return false, nil
		}
		turns, err := x.entered(v)
		return len(turns) > 0, err
	case interface {
		lies(*visit) (bool, error)
	}:
		return x.lies(v)
	}
	return false, nil
}

// leave notes since when nobody was here, and whose badge was on it; a zero time asks only whether what was left lies here
// still. What was entered in another turn of the set holds no more, whoever comes.
func (p bench[B, P]) leave(v *visit, b *B, since time.Time, by string) error {
	h := P(b).shared()
	if _, can := any(P(b)).(lying); !can || since.IsZero() && h.Left.IsZero() {
		return nil
	}
	lies, err := p.lies(v, b)
	if err != nil {
		return err
	}
	old, err := p.outlived(v, b)
	switch {
	case err != nil:
		return err
	case !lies || old:
		h.Left, h.LeftBy = time.Time{}, ""
	case h.Left.IsZero():
		h.Left, h.LeftBy, h.Plain = since, by, ""
		h.say(v, said{}) // what was asked then is asked again after this
	}
	return nil
}

// handOver forgets who works here. What was entered of the set that lies here is asked about like what was left: whoever comes next
// signs for it, and is not who counted.
func (p bench[B, P]) handOver(v *visit, b *B) error {
	by := P(b).shared().Operator
	p.nextPerson(b)
	if _, of := any(P(b)).(ofTurn); !of {
		return nil
	}
	return p.leave(v, b, v.now, by)
}

// askLeft asks whether what was left still holds. A STOP stays in sight. Enter begins anew where nothing is lost by that.
func (p bench[B, P]) askLeft(v *visit, b *B) (said, error) {
	h := P(b).shared()
	only, err := any(P(b)).(lying).onlySaid(v)
	if err != nil {
		return said{}, err
	}
	words, more := v.t("bench-left", p.name(b), v.time(h.Left)), v.t("bench-left-more")
	if h.LeftBy != "" {
		more = v.t("bench-left-by", h.LeftBy) + " " + more
	}
	s, err := P(b).verdict(v)
	if only != "" && (s.Status != "broken" || s.Words != only) {
		more = v.t("bench-left-only", only) + " " + more
	}
	switch {
	case err != nil && !refusal.Is(err):
		return said{}, err
	case s.Status == "broken":
		s.More, s.Next = strings.TrimSpace(s.More+" "+more), words
	default:
		s = ask(words, more)
	}
	return s.offer(choice{Do: "left-anew", Words: v.t("do-bench-anew"), Main: only == ""},
		choice{Do: "left-on", Value: h.leftValue(), Words: v.t("do-bench-on")}), nil
}

// leftValue tells one question from another.
func (h *hand) leftValue() string { return h.Left.UTC().Format(time.RFC3339Nano) }

// answerLeft takes the answer to that. Nothing else has a meaning before.
func (p bench[B, P]) answerLeft(v *visit, b *B, in *input, verb string, t *taken) (err error) {
	h := P(b).shared()
	l := any(P(b)).(lying)
	enter := verb == "do" && in.Action == "enter" || verb != "do" && in.Text == ""
	if enter {
		only, err := l.onlySaid(v)
		if enter = only == ""; err != nil {
			return err
		}
	}
	switch {
	case verb == "do" && in.Action == "left-on" && in.Fields["value"] == h.leftValue():
		h.Left, h.LeftBy = time.Time{}, ""
	case enter, verb == "do" && in.Action == "left-anew":
		t.undone = true // what was counted is gone
		h.Left, h.LeftBy = time.Time{}, ""
		t.said, err = l.anew(v)
	default:
		t.said = said{Sound: "low"}
	}
	return err
}
