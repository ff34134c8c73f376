package workplace

import (
	"fmt"
	"slices"

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

// turnOf names the turn in which a set is, and how often it was opened in it.
func (v *visit) turnOf(set string) (string, error) {
	return site.Answer(v.d.site, func(m *site.View) (string, error) {
		trip, err := m.TripNow(v, set, v.now)
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
	now, err := v.turnOf(of.shared().Tag)
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
		h.Turn, err = v.turnOf(h.Tag)
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
