package door_test

import (
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/sitetest"
	"listbound/events"
)

// asksPINs adopts a policy by which badges need their PIN.
func (h *house) asksPINs(t *testing.T) {
	t.Helper()
	p := events.DefaultPolicy()
	p.PINAtStations = true
	if _, err := h.site.Observe(t.Context(), &events.Observation{Station: h.site.Name(), Kind: events.KindPolicyAdopted,
		Time:     h.clock.now(),
		Operator: "B-1", Data: &events.PolicyAdopted{Policy: p, Reason: "x"}}); err != nil {
		t.Fatal(err)
	}
	h.clock.move(time.Minute)
}

// bench sends a bench of a station an input, and returns what it says.
func (h *house) bench(t *testing.T, c *caller, station, verb, input string) string {
	t.Helper()
	w := c.ask(t, t.Context(), http.MethodPost, "/at/"+station+"/storage/"+verb, "application/json", input)
	if w.Code != http.StatusOK {
		t.Fatalf("%s: %d %s", input, w.Code, w.Body)
	}
	return w.Body.String()
}

// TestPINAtAStation: where the policy asks, a badge is taken at a station only once its PIN was given there, which its owner chose;
// a wrong one is counted and has to wait, a lead takes one away, and in an emergency it goes without, on record.
func TestPINAtAStation(t *testing.T) {
	h := newHouse(t)
	n := 0
	scan := func(c *caller, station, badge string) string {
		t.Helper()
		n++
		badge, err := events.LabelText(events.ScanBadge, badge)
		if err != nil {
			t.Fatal(err)
		}
		return h.bench(t, c, station, "scan", fmt.Sprintf(`{"client":"c-%s","n":%d,"text":%q}`,
			strings.ReplaceAll(station, "/", "-"), n, badge))
	}
	const missing = "the PIN was not given here"
	or1, packing := h.atStation(t, "north/or-1"), h.atStation(t, "north/packing-1")
	if text := scan(or1, "north/or-1", "B-1"); strings.Contains(text, missing) {
		t.Errorf("no policy asks: %s", text)
	}
	if _, text := or1.get(t, "/at/north/or-1/storage"); strings.Contains(text, "Enter the PIN") {
		t.Error("the page offers it where no policy asks")
	}
	h.asksPINs(t)
	if _, text := or1.get(t, "/at/north/or-1/storage"); !strings.Contains(text, `href="/at/north/or-1/pin"`) {
		t.Errorf("the page does not lead there: %s", text)
	}
	give := func(c *caller, station, badge, pin string, again ...string) (int, string) {
		t.Helper()
		form := url.Values{"badge": {badge}, "pin": {pin}}
		if len(again) > 0 {
			form.Set("again", again[0])
		}
		return c.post(t, "/at/"+station+"/pin", form)
	}
	if text := scan(or1, "north/or-1", "B-1"); !strings.Contains(text, missing) || !strings.Contains(text, "Emergency: PIN forgotten") {
		t.Errorf("without a PIN: %s", text)
	}
	if code, text := give(or1, "north/or-1", "B-1", "4711"); code != http.StatusOK || !strings.Contains(text, "has no PIN yet") {
		t.Errorf("a first one: %d %s", code, text)
	}
	for _, bad := range [][2]string{{"471", "471"}, {"4711", "4712"}, {"1111", "1111"}, {"3456", "3456"}, {"9876",
		"9876"}, {"47x1", "47x1"},
		{"1234567890123", "1234567890123"}} {
		if code, text := give(or1, "north/or-1", "B-1", bad[0], bad[1]); code != http.StatusUnprocessableEntity {
			t.Errorf("%v: %d %s", bad, code, text)
		}
	}
	if code, text := give(or1, "north/or-1", "B-1", "4711", "4711"); code != http.StatusOK || !strings.Contains(text,
		"is taken at this station") {
		t.Fatalf("%d %s", code, text)
	}
	if text := scan(or1, "north/or-1", "B-1"); strings.Contains(text, missing) {
		t.Errorf("given, and refused: %s", text)
	}
	if text := scan(packing, "north/packing-1", "B-1"); !strings.Contains(text, missing) {
		t.Errorf("given at another station: %s", text)
	}
	if code, _ := give(packing, "north/packing-1", "B-1", "4711", "4711"); code != http.StatusOK {
		t.Errorf("chosen already, and right: %d", code)
	}
	h.clock.move(12*time.Hour - time.Minute)
	if text := scan(or1, "north/or-1", "B-1"); strings.Contains(text, missing) {
		t.Errorf("within twelve hours: %s", text)
	}
	h.clock.move(time.Minute)
	if text := scan(or1, "north/or-1", "B-1"); !strings.Contains(text, missing) {
		t.Errorf("twelve hours later: %s", text)
	}
	wrong := h.refused(t, "pin")
	for range 6 {
		if code, text := give(or1, "north/or-1", "B-1", "0815"); code == http.StatusOK {
			t.Errorf("a wrong one: %s", text)
		}
	}
	if h.refused(t, "pin") == wrong {
		t.Error("wrong ones are not counted")
	}
	if code, _ := give(packing, "north/packing-1", "B-1", "4711"); code != http.StatusTooManyRequests {
		t.Errorf("the right one after six guesses, elsewhere: %d", code)
	}
	// In an emergency without, on record.
	size := h.site.Size()
	n++
	text := h.bench(t, or1, "north/or-1", "do",
		fmt.Sprintf(`{"client":"c-north-or-1","n":%d,"action":"emergency","fields":{"value":"pin-forgotten B-1"}}`, n))
	e, err := h.site.EventAt(size + 1)
	if d, ok := e.Data.(*events.AccessClaimed); err != nil || !ok || d.Badge != "B-1" || d.Reason != "PIN forgotten" ||
		strings.Contains(text, missing) {
		t.Errorf("an emergency: %+v, %v, %s", e, err, text)
	}
	if _, text := h.signedIn(t, "leads").get(t, "/"); !strings.Contains(text, "PIN forgotten") {
		t.Error("the board does not show the emergency")
	}
	lead := h.signedIn(t, "leads")
	if code, text := lead.post(t, "/people/pin-end", url.Values{"badge": {"B-1"}}); code != http.StatusOK {
		t.Fatalf("%d %s", code, text)
	}
	if text := scan(or1, "north/or-1", "B-1"); !strings.Contains(text, missing) {
		t.Errorf("taken away, and taken: %s", text)
	}
	if code, _ := lead.post(t, "/people/pin-end", url.Values{"badge": {"B-1"}}); code != http.StatusUnprocessableEntity {
		t.Errorf("taken away twice: %d", code)
	}
	h.pinIsNowhere(t, or1)
}

// pinIsNowhere searches all files and the log for a PIN that was just chosen.
func (h *house) pinIsNowhere(t *testing.T, c *caller) {
	t.Helper()
	const pin = "918273645546"
	if code, text := c.post(t, "/at/north/or-1/pin", url.Values{"badge": {"B-9"}, "pin": {pin}, "again": {pin}}); code != http.StatusOK {
		t.Fatalf("%d %s", code, text)
	}
	if strings.Contains(h.log.String(), pin) {
		t.Error("the PIN stands in the log")
	}
	sitetest.EachFile(t, h.dir, func(rel string, raw []byte) {
		if strings.Contains(string(raw), pin) {
			t.Errorf("%s holds the PIN", rel)
		}
	})
}

// TestPINBeforeACorrection: nor is a badge taken on the page on which a station corrects its own.
func TestPINBeforeACorrection(t *testing.T) {
	h := newHouse(t)
	seen := h.recordLine(t,
		`{"station":"north/or-1","kind":"set.checked","time":"2026-03-02T11:59:00Z","set":"LAP-001","data":{"place":"shelf-4"}}`)
	or1 := h.atStation(t, "north/or-1")
	h.asksPINs(t)
	const path = "/at/north/or-1/"
	form := url.Values{"event": {seen.ID}, "badge": {"B-1"}, "reason": {"never happened"}}
	size := h.site.Size()
	if code, text := or1.post(t, path+"correct", form); code != http.StatusForbidden || !strings.Contains(text,
		"the PIN was not given here") ||
		h.site.Size() != size {
		t.Errorf("without: %d %s", code, text)
	}
	or1.post(t, path+"pin", url.Values{"badge": {"B-1"}, "pin": {"739214"}, "again": {"739214"}})
	if code, text := or1.post(t, path+"correct", form); code != http.StatusOK || h.site.Size() != size+1 {
		t.Errorf("with: %d %s", code, text)
	}
}
