//go:build !race

package board_test

import (
	"context"
	"net/http"
	"net/http/httptest"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"

	"listbound/cmd/internal/browsertest"
	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections/assess"
)

// assessForm is a form in which much is said.
func assessForm() url.Values {
	return url.Values{
		"placements": {assess.InsideBag, assess.Outside}, "dependence": {"moderate"}, "unused": {"1"},
		"controls": {assess.CodeRead, "barrier"}, "own-lost-on-the-way": {"250,5"}, "factor-lost-on-the-way": {"10"},
		"severity-wrong-list": {"4"}, "words-wrong-list": {"we <say> so"}, "likelihood-ink-outside": {"2"}, "severity-ink": {"3"},
		"weak-ink-outside": {"1"}, "controlled-ink-outside": {"1"}, "obvious-wrong-list-outside": {"1"},
		"residual": {"what is left"}, "review": {"in a year"}, "decides": {"the head of the department"}, "badge": {"B-1111"},
	}
}

// sendAssess sends a form, and returns the page that answers.
func sendAssess(t *testing.T, srv *httptest.Server, form url.Values) (code int, body string) {
	t.Helper()
	res, err := http.PostForm(srv.URL+"/assess", form)
	code, _, body = answered(t, res, err)
	return code, body
}

var shownDigest = regexp.MustCompile(`name="shown" value="([0-9a-f]{64})"`)

// TestAssessPage: what a form says comes back in it and in what follows from it, and only what was shown can be signed;
// what was signed stays as it was signed, in either language.
func TestAssessPage(t *testing.T) {
	srv, s := ownWeek(t)
	if !strings.Contains(page(t, srv.URL+"/"), `href="/assess"`) {
		t.Error("no way leads from the board to the assessment")
	}
	form := assessForm()
	code, shown := sendAssess(t, srv, form)
	digest := shownDigest.FindStringSubmatch(shown)
	if code != http.StatusOK || digest == nil {
		t.Fatalf("%d: %.300s", code, shown)
	}
	for _, want := range []string{
		`value="outside" checked`, `value="250.5"`, `<option value="moderate" selected>`, `name="unused" value="1" checked`,
		`name="weak-ink-outside" value="1" checked`, "we &lt;say&gt; so</textarea>", "<td>we &lt;say&gt; so</td>",
		"Who decides: the head of the department.",
		"Taken here: moderate.", "can&#39;t tell yet", "<td>6</td>", "Stops: an effective control is there", "SHA-256 <code>" + digest[1],
		`id="assess-tree-wrong-list-outside-t"`, `id="assess-tornado-wrong-list-inside-bag-t"`, `id="assess-intervals-wrong-list-t"`,
	} {
		if !strings.Contains(shown, want) {
			t.Errorf("what was shown lacks %q", want)
		}
	}
	size := s.Size()
	form.Set("sign", "1")
	for says, change := range map[string][2]string{
		"not what was shown": {"review", "in two years"}, "Whose badge": {"badge", ""}, "Say who decides": {"decides", " "},
		"is not a number": {"own-unreadable", "many"}, "placements": {"placements", ""}, "dependence": {"dependence", "some"},
	} {
		other := url.Values{"shown": {digest[1]}}
		for k, v := range form {
			other[k] = v
		}
		other.Set(change[0], change[1])
		if change[1] == "" {
			other.Del(change[0])
		}
		if code, body := sendAssess(t, srv, other); code < 400 || code > 499 || !strings.Contains(body, says) {
			t.Errorf("%s: %d", says, code)
		}
	}
	if code, _ := sendAssess(t, srv, form); code != http.StatusConflict || s.Size() != size {
		t.Errorf("signed without having been shown: %d, %d records more", code, s.Size()-size)
	}
	form.Set("shown", digest[1])
	if code, body := sendAssess(t, srv, form); code != http.StatusOK || !strings.Contains(body, "The assessment is signed") {
		t.Fatalf("signing: %d: %.300s", code, body)
	}
	signedAssessment(t, srv, s)
}

// signedAssessment looks at the one that was signed.
func signedAssessment(t *testing.T, srv *httptest.Server, s *site.Site) {
	t.Helper()
	signed, err := s.SignedAssessments(t.Context())
	if err != nil || len(signed) != 1 {
		t.Fatalf("%d signed: %v", len(signed), err)
	}
	x := signed[0]
	if x.By != "B-1111" || !slices.Equal(x.Placements, []events.Placement{events.InsideBag, events.Outside}) || !events.IsMark(x.Mark) ||
		x.Assessment == nil || x.Assessment.Decides != "the head of the department" || x.Void {
		t.Errorf("%+v", x)
	}
	record, err := s.SignedAt(x.Seq)
	if err != nil || record.Station != "north/board" || record.Kind() != events.KindPlacementsAssessed {
		t.Errorf("%+v, %v", record, err)
	}
	_, table := rows(t, srv.URL+"/assess?format=csv&table=assess-signed")
	if len(table) != 1 || table[0][2] != "B-1111" {
		t.Errorf("%q", table)
	}
	for lang, says := range map[string][]string{
		"en": {"Signed by badge B-1111", "we &lt;say&gt; so", x.Mark, "Who decides: the head"},
		"de": {"Unterschrieben mit Ausweis B-1111", "we &lt;say&gt; so", "Es entscheidet: the head", "Restrisiko"},
	} {
		body := page(t, srv.URL+"/assess?lang="+lang+"&record="+table[0][0])
		for _, want := range says {
			if !strings.Contains(strings.ReplaceAll(body, "restrisiko", "Restrisiko"), want) {
				t.Errorf("%s: what was signed lacks %q", lang, want)
			}
		}
		if strings.Contains(body, "<form method=\"post\"") {
			t.Error("what was signed can be changed")
		}
	}
	for lang, says := range map[string]string{"en": "Signed by badge B-1111", "de": "Unterschrieben mit Ausweis B-1111"} {
		if text := pdfText(t, page(t, srv.URL+"/assess?format=pdf&lang="+lang+"&record="+table[0][0])); !strings.Contains(text, says) ||
			!strings.Contains(text, x.Mark) {
			t.Errorf("%s: the print lacks who signed: %.400s", lang, text)
		}
	}
	// The next one begins with what the last one chose, but as nobody has looked at it yet, unsigned.
	if next := page(t, srv.URL+"/assess"); !strings.Contains(next, "what is left</textarea>") || shownDigest.MatchString(next) {
		t.Error("the next one doesn't begin where the last one ended")
	}
	// A text that is taken out is gone from the page, and the record stays.
	if _, err := s.Redact(t.Context(), site.Redaction{Records: []int64{x.Seq}, Reason: "asked for", Operator: "B-1"}); err != nil {
		t.Fatal(err)
	}
	body := page(t, srv.URL+"/assess?record="+table[0][0])
	if !strings.Contains(body, "here any more") || strings.Contains(body, "we &lt;say") {
		t.Error("what was taken out is still there")
	}
}

// TestAssessInTheBrowser: a person fills in the form and sees what comes of it, on a phone too, with nothing that
// sticks out sideways or that axe finds; and in print there is no form.
func TestAssessInTheBrowser(t *testing.T) {
	t.Parallel()
	srv, _ := weekServer(t)
	for _, size := range browsertest.Sizes()[1:] {
		tab := browser(t).Tab(t, size)
		tab.Open(srv.URL + "/assess")
		browsertest.Eval[bool](tab, `(() => { document.getElementById("words-ink").value = "ours"; return true })()`)
		tab.Click("button.main")
		tab.Await(`document.querySelector("input[name=shown]") !== null && document.readyState === "complete"`)
		if wide := browsertest.Eval[int](tab, "document.documentElement.scrollWidth - innerWidth"); wide > 0 {
			t.Errorf("at %s it is %d pixels wider than the window", size.Name, wide)
		}
		if got := browsertest.Eval[string](tab, `document.getElementById("words-ink").value`); got != "ours" {
			t.Errorf("what was typed came back as %q", got)
		}
		tab.Shot("assess-shown-" + size.Name)
		tab.Axe()
		tab.Do(func(ctx context.Context, on *chromedp.Target) (none chromedp.Void, err error) {
			_, err = cdp.Call(ctx, on, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: "print"})
			return none, err
		})
		if browsertest.Eval[bool](tab, `document.querySelector("form.assess").checkVisibility()`) ||
			!browsertest.Eval[bool](tab, `document.getElementById("table-assess-table").checkVisibility()`) {
			t.Error("in print there is the form, or not the table")
		}
	}
}
