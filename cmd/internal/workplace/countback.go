package workplace

import (
	"net/url"
	"slices"
	"time"

	"listbound/events"
)

// lastSigned is the count of the case that was signed last and can be taken back: of
// today. It is nil where there is none.
func (t *table) lastSigned() (*signature, error) {
	s, err := t.lastSaid()
	if err != nil || s == nil || len(s.IDs) == 0 || !t.v.today(s.At) {
		return nil, err
	}
	return s, nil
}

// takeBack asks why the count that was signed last is taken back, and then for the badge
// that records it. The record stays, and so does the correction.
func (t *table) takeBack(f fields, a *counted) error {
	v := t.v
	last, err := t.lastSigned()
	if err != nil {
		return err
	}
	if last == nil {
		return v.sayNo("nothing-to-undo")
	}
	why := v.t("back-why", last.words(v).Words)
	last.Back, last.Asks, last.AskedBy, last.AskedAt = "", 0, "", time.Time{}
	if slices.Contains(reasonsBack(v.place), f["value"]) {
		last.Back, last.Asks, last.AskedBy, last.AskedAt = f["value"], a.N, t.client, v.now.UTC()
		t.askBack(last, a)
	} else {
		a.said = ask(why, v.t("back-more"))
		for _, r := range reasonsBack(v.place) {
			a.Choices = append(a.Choices, choice{Do: "take-back", Value: r, Words: v.t("back-" + r)})
		}
	}
	return v.d.files.save(last, "count", t.ref, saidName)
}

// asksBack is the count signed last, where the page that sends an input asks for the badge that takes it back; else nil.
func (t *table) asksBack() (*signature, error) {
	last, err := t.lastSigned()
	if err != nil || last == nil || last.Back == "" || last.AskedBy != t.client || last.Asks != t.shows {
		return nil, err
	}
	if away, err := t.v.away(last.AskedAt); err != nil || away {
		return nil, err
	}
	return last, nil
}

// askBack asks for that badge.
func (t *table) askBack(last *signature, a *counted) {
	v := t.v
	a.said = ask(v.t("count-back-badge", v.t("stage-"+string(last.Stage))), v.t("back-why", last.words(v).Words))
	a.Asks = last.Asks
}

// backBy records that the count signed last is taken back, where the page that sends the badge asks for it: it was asked
// there, is still in sight, and not so long ago that somebody else may stand there.
func (t *table) backBy(badge string, a *counted) (taken bool, err error) {
	v := t.v
	last, err := t.asksBack()
	if err != nil || last == nil {
		return false, err
	}
	if no, err := v.admit(badge); err != nil || no.Words != "" {
		a.said = no
		return true, err
	}
	var obs []*events.Observation
	for _, id := range last.IDs {
		obs = append(obs, &events.Observation{
			Station: v.station, Kind: events.KindEventCorrected, Time: v.now.UTC(), Operator: badge,
			Data: &events.EventCorrected{Event: id, Action: "void", Reason: v.t("back-" + last.Back)},
		})
	}
	if _, err := v.observe(obs...); err != nil {
		return false, err
	}
	a.said = good(v.t("taken-back", last.words(v).Words), v.t("back-more"))
	query := url.Values{"case": {t.ref}, "done": {string(last.Stage)}}.Encode()
	a.Go = v.d.stationPath(v.station, "count") + "?" + query
	// The next page says it again.
	return true, t.keepSaid(signature{said: a.said, By: v.key, Stage: t.stage, Go: a.Go})
}
