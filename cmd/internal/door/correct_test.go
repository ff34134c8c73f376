package door_test

import (
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/door"
	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections"
)

// TestTakeBackOnThePage: a lead takes an event of any station back, from its line in a history, with a badge and a reason, once;
// it stays in the history, and the correction can be taken back, too. Nobody else does, and not what is said anew instead.
func TestTakeBackOnThePage(t *testing.T) {
	h := newHouse(t)
	all := &caller{h: h, token: h.token(t, door.Records, "*")}
	record := func(line string) site.Receipt {
		t.Helper()
		var r site.Receipt
		w := all.ask(t, t.Context(), http.MethodPost, "/api/observations", "application/jsonl", line+"\n")
		if err := json.Unmarshal(w.Body.Bytes(), &r); err != nil || r.Error != "" {
			t.Fatalf("%v: %s", err, w.Body)
		}
		return r
	}
	seen := record(`{"station":"north/or-1","kind":"set.checked","time":"2026-03-02T11:59:00Z","set":"LAP-001","data":{"place":"shelf-4"}}`)
	lead := h.signedIn(t, "leads")
	page := "/correct?event=" + seen.ID
	if _, text := lead.get(t, "/history?set=LAP-001"); !strings.Contains(text, `href="`+page+`"`) {
		t.Error("the history does not lead there")
	}
	for lang, says := range map[string]string{"en": "Why is it taken back?", "de": "Warum wird es zurückgenommen?"} {
		lead.head = http.Header{"Accept-Language": {lang}}
		if code, text := lead.get(t, page); code != http.StatusOK || !strings.Contains(text, says) || !strings.Contains(text, "shelf-4") {
			t.Errorf("%s: %d %s", lang, code, text)
		}
	}
	lead.head = nil
	if code, _ := lead.get(t, "/correct?event="+strings.Repeat("0", 8)+seen.ID[8:]); code != http.StatusNotFound {
		t.Errorf("what nobody recorded: %d", code)
	}
	size := h.site.Size()
	send := func(c *caller, event, badge, reason string, want int, says string) {
		t.Helper()
		code, text := c.post(t, "/correct", url.Values{"event": {event}, "badge": {badge}, "reason": {reason}})
		if code != want || !strings.Contains(text, says) {
			t.Errorf("%d, want %d and %q: %s", code, want, says, text)
		}
		if code != http.StatusOK && h.site.Size() != size {
			t.Error("it was refused and recorded")
		}
		size = h.site.Size()
	}
	void := func() bool {
		t.Helper()
		_, text := lead.get(t, page)
		return !strings.Contains(text, `action="/correct"`) && strings.Contains(text, "void by record")
	}
	send(h.signedIn(t, "investigates"), seen.ID, "B-1", "wrong set", http.StatusForbidden, "")
	send(h.atStation(t, "north/or-1"), seen.ID, "B-1", "wrong set", http.StatusForbidden, "")
	send(lead, seen.ID, " ", "wrong set", http.StatusUnprocessableEntity, "Whose badge?")
	send(lead, seen.ID, "B-1", " ", http.StatusUnprocessableEntity, "Why is it taken back?")
	if void() {
		t.Fatal("taken back by nobody")
	}
	h.clock.move(time.Minute)
	send(lead, seen.ID, "B-1", "the neighbour was scanned", http.StatusOK, fmt.Sprintf("Taken back by record %d.", size+1))
	if !void() {
		t.Error("it still counts")
	}
	e, err := h.site.EventAt(size)
	if d, ok := e.Data.(*events.EventCorrected); err != nil || !ok || d.Event != seen.ID || d.Action != "void" || e.Operator != "B-1" ||
		e.Station != h.site.Name() || d.Reason != "the neighbour was scanned" || !e.Time.Equal(h.clock.now()) {
		t.Errorf("recorded: %+v, %v", e, err)
	}
	send(lead, seen.ID, "B-1", "once more", http.StatusConflict, "taken back already")
	if _, text := lead.get(t, "/history?set=LAP-001"); !strings.Contains(text, "the neighbour was scanned") {
		t.Error("the history hides it")
	}
	h.clock.move(time.Minute)
	send(lead, e.ID, "B-1", "it was this set", http.StatusOK, "Taken back by record")
	if void() {
		t.Error("the correction was taken back, and still holds")
	}
	enrolled := 0
	for seq := int64(1); seq <= size; seq++ {
		if e, err := h.site.EventAt(seq); err == nil && e.Kind() == events.KindStationEnrolled {
			send(lead, e.ID, "B-1", "x", http.StatusUnprocessableEntity, "recorded anew")
			enrolled++
		}
	}
	if enrolled == 0 {
		t.Error("no enrolment was tried")
	}
}

// TestAnotherPersonAcknowledges: a correction by which something broken is gone stays unseen until another badge than its own
// has acknowledged it, which the page says.
func TestAnotherPersonAcknowledges(t *testing.T) {
	h := newHouse(t)
	broken, err := h.site.Broken(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	lead := h.signedIn(t, "leads")
	var key projections.TripKey
	hidden := func() *projections.Finding {
		t.Helper()
		var found *projections.Finding
		if err := h.site.Ask(func(m *site.View) error {
			v, err := m.Verdict(t.Context(), key)
			if err != nil || v == nil {
				return err
			}
			for i, f := range v.Findings {
				if d, ok := f.Detail.(*projections.RestsOnCorrection); ok && len(d.Hides) > 0 {
					found = &v.Findings[i]
				}
			}
			return nil
		}); err != nil {
			t.Fatal(err)
		}
		return found
	}
	h.clock.move(time.Minute)
	for _, v := range broken {
		if v.Status != projections.Broken || len(v.Findings[0].Events) == 0 {
			continue
		}
		key = projections.TripKey{Set: v.Set, Trip: v.Trip}
		for _, seq := range v.Findings[0].Events {
			e, err := h.site.EventAt(seq)
			if err != nil {
				t.Fatal(err)
			}
			if hidden() == nil && e.Kind() != events.KindSetPacked {
				lead.post(t, "/correct", url.Values{"event": {e.ID}, "badge": {"B-1"}, "reason": {"never happened"}})
			}
		}
		if hidden() != nil {
			break
		}
	}
	f := hidden()
	if f == nil || f.Severity != projections.SeverityDoubtful {
		t.Fatalf("nothing broken is gone by a correction: %+v", f)
	}
	h.clock.move(time.Minute)
	ack := func(badge string) (int, string) {
		return lead.post(t, "/acknowledge", url.Values{"set": {key.Set}, "trip": {key.Trip}, "code": {string(f.Code)}, "badge": {badge},
			"reason": {"asked there"}})
	}
	size := h.site.Size()
	if code, text := ack("b-1"); code != http.StatusUnprocessableEntity || !strings.Contains(text, "Another person looks at this") ||
		h.site.Size() != size {
		t.Errorf("by who corrected: %d %s", code, text)
	}
	var in *projections.Incident
	all, err := h.site.Incidents(t.Context(), false, time.Time{})
	for i := range all {
		if slices.ContainsFunc(all[i].Members, func(m projections.IncidentMember) bool {
			return m.TripKey == key && slices.Contains(all[i].Codes, f.Code)
		}) {
			in = &all[i]
		}
	}
	if err != nil || in == nil {
		t.Fatalf("the correction is no incident: %v", err)
	}
	if code, text := lead.post(t, "/incident", url.Values{"key": {in.Key}, "step": {"closed"}, "badge": {"B-1"}, "text": {"seen"},
		"outcome": {"found"}}); code != http.StatusUnprocessableEntity || !strings.Contains(text, "Another person looks at this") {
		t.Errorf("closed by who corrected: %d %s", code, text)
	}
	if code, text := ack("B-2"); code != http.StatusSeeOther || len(hidden().Acknowledged) != 1 {
		t.Errorf("by another person: %d %s, %+v", code, text, hidden())
	}
}
