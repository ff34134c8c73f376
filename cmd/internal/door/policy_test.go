package door_test

import (
	"html"
	"net/http"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/door"
	"listbound/events"
)

// policyFields are the values of the form on the page of the policy, as a browser would send them.
func policyFields(t *testing.T, page string) url.Values {
	t.Helper()
	form := url.Values{}
	attr := func(tag, name string) string {
		if m := regexp.MustCompile(` ` + name + `="([^"]*)"`).FindStringSubmatch(tag); m != nil {
			return html.UnescapeString(m[1])
		}
		return ""
	}
	for _, tag := range regexp.MustCompile(`<input [^>]*>`).FindAllString(page, -1) {
		if attr(tag, "type") != "checkbox" || strings.Contains(tag, " checked") {
			form.Add(attr(tag, "name"), attr(tag, "value"))
		}
	}
	for _, m := range regexp.MustCompile(`(?s)<textarea ([^>]*)>(.*?)</textarea>`).FindAllStringSubmatch(page, -1) {
		form.Add(attr(" "+m[1], "name"), html.UnescapeString(m[2]))
	}
	for _, m := range regexp.MustCompile(`(?s)<select ([^>]*)>(.*?)</select>`).FindAllStringSubmatch(page, -1) {
		on := regexp.MustCompile(`value="([^"]*)" selected`).FindStringSubmatch(m[2])
		if on == nil {
			t.Fatalf("nothing is chosen in %s", m[0])
		}
		form.Add(attr(" "+m[1], "name"), on[1])
	}
	return form
}

// TestPolicyPage: a lead sees each line of the policy with its unit, is shown what would change, and adopts it once, from now
// on; a form that was made before another policy was adopted adopts nothing, and nobody but a lead does.
func TestPolicyPage(t *testing.T) {
	h := newHouse(t)
	lead := h.signedIn(t, "leads")
	code, page := lead.get(t, "/policy")
	if code != http.StatusOK {
		t.Fatalf("%d %s", code, page)
	}
	form := policyFields(t, page)
	for _, m := range events.PolicyMembers() {
		if _, ok := form[m.Name]; !ok && m.Form != events.PolicyYesNo && m.Form != events.PolicySomeOf {
			t.Errorf("%s is not asked for", m.Name)
		}
	}
	send := func(c *caller, form url.Values) (int, string) { t.Helper(); return c.post(t, "/policy", form) }
	size := h.site.Size()
	if code, text := send(lead, form); code != http.StatusUnprocessableEntity || !strings.Contains(text, "Whose badge?") {
		t.Errorf("without a badge: %d %s", code, text)
	}
	form.Set("badge", "B-1")
	form.Set("reason", "the committee of March")
	if code, text := send(lead, form); code != http.StatusUnprocessableEntity || !strings.Contains(text, "word for word") {
		t.Errorf("unchanged: %d %s", code, text)
	}
	form.Set("weightLimitGrams", "zehn")
	if code, text := send(lead, form); code != http.StatusUnprocessableEntity || !strings.Contains(text, "“zehn” is not a number") {
		t.Errorf("no number: %d %s", code, text)
	}
	form.Set("weightLimitGrams", "9000")
	form.Set("codes", "case K-9999\r\nlot @@9*\n\nnothing X")
	if code, text := send(lead, form); code != http.StatusBadRequest || !strings.Contains(text, "codes:") {
		t.Errorf("no kind: %d %s", code, text)
	}
	form.Set("codes", "case K-9999\r\nlot @@9*\n")
	form.Set("waits.countHours", "6")
	form.Set("recall", string(events.RecallAll))
	form.Add("mayStayUnread", string(events.InsideBag))
	form.Del("twoPersons")
	form.Set("hideExpected", "1")
	form.Set("secondLook", "LAP")
	code, asked := send(lead, form)
	if code != http.StatusOK || !strings.Contains(asked, "Adopt it?") || h.site.Size() != size {
		t.Fatalf("%d, %d records more: %s", code, h.site.Size()-size, asked)
	}
	if n := strings.Count(asked, "<tr>") - 1; n != 8 {
		t.Errorf("%d lines are told to change: %s", n, asked)
	}
	sure := policyFields(t, asked)
	admin := h.signedIn(t, "administers")
	if code, _ := send(admin, sure); code != http.StatusForbidden {
		t.Errorf("an administrator: %d", code)
	}
	h.clock.move(time.Minute)
	if code, text := send(lead, sure); code != http.StatusOK || !strings.Contains(text, "holds from now on") {
		t.Fatalf("%d %s", code, text)
	}
	now, err := h.site.Policy(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	p := now.Policy
	if p.WeightLimitGrams != 9000 || p.Waits.Count != 6 || p.Waits.Run != 72 || p.Recall != events.RecallAll || p.TwoPersons ||
		!p.HideExpected || !slices.Equal(p.SecondLook, []string{"LAP"}) || len(p.MayStayUnread) != 2 ||
		!slices.Equal(p.Codes, []events.CodePattern{{Kind: events.ScanCase, Like: "K-9999"}, {Kind: events.ScanLot, Like: "@@9*"}}) {
		t.Errorf("in force: %+v", p)
	}
	if !now.Since.Equal(h.clock.now()) || h.site.Size() != size+1 {
		t.Errorf("since %s, %d records more", now.Since, h.site.Size()-size)
	}
	// The same form once more was made for the policy of before.
	if code, text := send(lead, sure); code == http.StatusOK || h.site.Size() != size+1 {
		t.Errorf("sent again: %d %s", code, text)
	}
	sure.Set("weightLimitGrams", "9100")
	if code, text := send(lead, sure); code != http.StatusConflict || !strings.Contains(text, "adopted meanwhile") {
		t.Errorf("an old form: %d %s", code, text)
	}
	lead.head = http.Header{"Accept-Language": {"de"}}
	if _, text := lead.get(t, "/policy"); !strings.Contains(text, "Richtlinie") || !strings.Contains(text, `value="9000"`) ||
		!strings.Contains(text, "Gramm") {
		t.Error("in German: ", text)
	}
	if !door.MayRecord(door.Leads, events.KindPolicyAdopted) {
		t.Error("a lead may not adopt one")
	}
}
