package door_test

import (
	"encoding/json"
	"html"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/door"
	"listbound/cmd/internal/site"
	"listbound/events"
)

var (
	formAnew  = regexp.MustCompile(`(?s)<form [^>]*class="ask(?: signed)?">(?:<input[^>]*>\s*)*<input type="hidden" name="anew".*?</form>`)
	inputs    = regexp.MustCompile(`<input ([^>]*)>`)
	selects   = regexp.MustCompile(`(?s)<select [^>]*name="([^"]+)">(.*?)</select>`)
	chosen    = regexp.MustCompile(`<option value="([^"]*)" selected>`)
	textareas = regexp.MustCompile(`(?s)<textarea [^>]*name="([^"]+)"[^>]*>(.*?)</textarea>`)
	attribute = func(of, name string) string {
		m := regexp.MustCompile(`\b` + name + `="([^"]*)"`).FindStringSubmatch(of)
		if m == nil {
			return ""
		}
		return html.UnescapeString(m[1])
	}
)

// anewOf is what a browser sends of the form as it stands.
func anewOf(t *testing.T, page string) url.Values {
	t.Helper()
	form := formAnew.FindString(page)
	if form == "" {
		t.Fatalf("no form says it anew: %s", page)
	}
	out := url.Values{}
	for _, m := range inputs.FindAllStringSubmatch(form, -1) {
		if strings.Contains(m[1], `type="checkbox"`) && !strings.HasSuffix(m[1], "checked") {
			continue
		}
		out.Add(attribute(m[1], "name"), attribute(m[1], "value"))
	}
	for _, m := range selects.FindAllStringSubmatch(form, -1) {
		if c := chosen.FindStringSubmatch(m[2]); c != nil {
			out.Add(m[1], c[1])
		}
	}
	for _, m := range textareas.FindAllStringSubmatch(form, -1) {
		out.Add(m[1], html.UnescapeString(m[2]))
	}
	return out
}

// recordLine records a line as a program for all stations.
func (h *house) recordLine(t *testing.T, line string) site.Receipt {
	t.Helper()
	var r site.Receipt
	all := &caller{h: h, token: h.token(t, door.Records, "*")}
	w := all.ask(t, t.Context(), http.MethodPost, "/api/observations", "application/jsonl", line+"\n")
	if err := json.Unmarshal(w.Body.Bytes(), &r); err != nil || r.Error != "" {
		t.Fatalf("%v: %s", err, w.Body)
	}
	return r
}

// inForce is the data that holds of an event.
func (h *house) inForce(t *testing.T, id string) (d events.Data) {
	t.Helper()
	if err := h.site.Ask(func(v *site.View) error {
		e, err := v.World(t.Context()).HistoryEvent(id)
		if err == nil {
			d = e.Data
		}
		return err
	}); err != nil {
		t.Fatal(err)
	}
	return d
}

// TestSaidAnewByAForm: a lead says what a record should have said, by a form that holds what it says now; what stands there
// besides stays, and nothing is recorded that can't be, that differs in nothing, or that somebody else corrected meanwhile.
func TestSaidAnewByAForm(t *testing.T) {
	h := newHouse(t)
	at := "2026-03-02T11:50:00Z"
	count := h.recordLine(t,
		`{"station":"north/or-3","kind":"set.counted","time":"`+at+`","set":"LAP-001","operator":"B-1","data":{"case":"K-1",`+
			`"stage":"first","sheet":"screen","counter":"B-1","witness":"B-2","counts":[{"line":1,"counted":5}]}}`)
	lead := h.signedIn(t, "leads")
	page := "/correct?event=" + count.ID
	_, text := lead.get(t, page)
	form := anewOf(t, text)
	if form.Get("case") != "K-1" || form.Get("stage") != "first" || form.Get("counts.0.counted") != "5" || !form.Has("counts.2.line") {
		t.Fatalf("the form holds %v", form)
	}
	form.Set("anew-badge", "B-7")
	form.Set("anew-reason", "the sixth lay under the towel")
	send := func(c *caller, path string, want int, says string, change ...string) {
		t.Helper()
		sent := url.Values{}
		for k, v := range form {
			sent[k] = v
		}
		for i := 0; i < len(change); i += 2 {
			sent.Set(change[i], change[i+1])
		}
		size := h.site.Size()
		code, text := c.post(t, path, sent)
		if code != want || !strings.Contains(text, says) || code != http.StatusOK && h.site.Size() != size {
			t.Errorf("%v: %d, want %d and %q: %s", change, code, want, says, text)
		}
	}
	const bad = http.StatusUnprocessableEntity
	send(lead, "/correct", bad, "Nothing differs")
	send(lead, "/correct", bad, "is not a number", "counts.0.counted", "six")
	send(lead, "/correct", bad, "Whose badge?", "anew-badge", "", "counts.0.counted", "6")
	send(lead, "/correct", bad, `<p role="alert">Why does it say something else?</p>`, "anew-reason", " ", "counts.0.counted", "6")
	send(lead, "/correct", http.StatusBadRequest, "", "counts.0.counted", "-1")
	send(h.signedIn(t, "audits"), "/correct", http.StatusForbidden, "", "counts.0.counted", "6")
	h.clock.move(time.Minute)
	send(lead, "/correct", http.StatusOK, "Said anew by record", "counts.0.counted", "6", "counts.1.line", "", "witness", "B-3")
	d, ok := h.inForce(t, count.ID).(*events.SetCounted)
	if !ok || len(d.Counts) != 1 || d.Counts[0].Counted != 6 || d.Witness != "B-3" || d.Case != "K-1" || d.Sheet != "screen" {
		t.Errorf("it says %+v", d)
	}
	e, err := h.site.EventAt(h.site.Size())
	if c, ok := e.Data.(*events.EventCorrected); err != nil || !ok || c.Action != "replace" || e.Operator != "B-7" ||
		e.Station != h.site.Name() || c.Reason != "the sixth lay under the towel" {
		t.Errorf("recorded: %+v, %v", e, err)
	}
	send(lead, "/correct", http.StatusConflict, "meanwhile", "counts.0.counted", "4")
	if _, text := lead.get(t, page); anewOf(t, text).Get("counts.0.counted") != "6" {
		t.Error("the form shows what does not hold any more")
	}
}

// TestSaidAnewGoodsStay: a count of goods whose number is said anew keeps what stays in the patient on purpose, and which sort of thing
// each line is; a form that is sent as it stands changes nothing.
func TestSaidAnewGoodsStay(t *testing.T) {
	h := newHouse(t)
	count := h.recordLine(t,
		`{"station":"north/or-3","kind":"set.counted","time":"2026-03-02T11:50:00Z","set":"LAP-001","operator":"B-1","data":{"case":"K-1",`+
			`"stage":"final","sheet":"screen","counter":"B-1","witness":"B-2","counts":[{"line":1,"counted":5},{"line":61,"counted":9}],`+
			`"removed":[{"line":61,"quantity":1,"reason":"nasal packing","stays":true}],`+
			`"beyond":[{"line":61,"item":"GZ-1","description":"Gauze","added":10,"sort":"sponges"}]}}`)
	lead := h.signedIn(t, "leads")
	_, text := lead.get(t, "/correct?event="+count.ID)
	form := anewOf(t, text)
	form.Set("anew-badge", "B-7")
	form.Set("anew-reason", "line 1 was misread")
	if code, text := lead.post(t, "/correct", form); code != http.StatusUnprocessableEntity || !strings.Contains(text, "Nothing differs") {
		t.Errorf("sent as it stands: %d %s", code, text)
	}
	h.clock.move(time.Minute)
	_, text = lead.get(t, "/correct?event="+count.ID)
	form.Set("since", anewOf(t, text).Get("since"))
	form.Set("counts.0.counted", "6")
	if code, text := lead.post(t, "/correct", form); code != http.StatusOK {
		t.Fatalf("%d %s", code, text)
	}
	d := h.inForce(t, count.ID).(*events.SetCounted)
	if d.Counts[0].Counted != 6 || len(d.Removed) != 1 || !d.Removed[0].Stays || len(d.Beyond) != 1 || d.Beyond[0].Sort != events.Sponges {
		t.Errorf("it says %+v", d)
	}
}

// TestStationSaysItAnew: a station does the same with its own, in its own name, and with nobody else's. For how long the policy lets it,
// intake holds (site.TestOwnWithinTime).
func TestStationSaysItAnew(t *testing.T) {
	h := newHouse(t)
	seen := h.recordLine(t,
		`{"station":"north/or-1","kind":"set.checked","time":"2026-03-02T11:59:00Z","set":"LAP-001","data":{"place":"shelf-4"}}`)
	others := h.recordLine(t,
		`{"station":"north/or-3","kind":"set.checked","time":"2026-03-02T11:59:30Z","set":"LAP-001","data":{"place":"shelf-4"}}`)
	or1 := h.atStation(t, "north/or-1")
	const path = "/at/north/or-1/correct"
	if code, text := or1.get(t, path+"?event="+others.ID); code != http.StatusForbidden || !strings.Contains(text,
		"recorded at north/or-3") {
		t.Errorf("another's: %d %s", code, text)
	}
	h.clock.move(time.Minute)
	_, text := or1.get(t, path+"?event="+seen.ID)
	form := anewOf(t, text)
	form.Set("place", "shelf-5")
	form.Set("anew-badge", "B-1")
	form.Set("anew-reason", "the wrong shelf was scanned")
	if code, text := or1.post(t, path, form); code != http.StatusOK || !strings.Contains(text, "Said anew") {
		t.Fatalf("%d %s", code, text)
	}
	e, err := h.site.EventAt(h.site.Size())
	if err != nil || e.Station != "north/or-1" || e.Operator != "B-1" || h.inForce(t, seen.ID).(*events.SetChecked).Place != "shelf-5" {
		t.Errorf("recorded: %+v, %v", e, err)
	}
}
