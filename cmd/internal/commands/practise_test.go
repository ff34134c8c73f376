package commands

import (
	"bytes"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/spf13/cobra"

	"listbound/cmd/internal/browsertest"
	"listbound/cmd/internal/teach"
	"listbound/cmd/internal/web"
	"listbound/projections"
)

// told reads what tell says is right.
var told = regexp.MustCompile(`set (.+), step (\w+), from (\S+), to (\S+)\n`)

// onePage returns the text of a PDF of one page.
func onePage(t *testing.T, raw []byte) string {
	t.Helper()
	text, n := printed(t, raw)
	if n != 1 {
		t.Errorf("%d pages", n)
	}
	return text
}

// printed returns the text of a PDF, and how many pages it has.
func printed(t *testing.T, raw []byte) (text string, pages int) {
	t.Helper()
	c := exec.CommandContext(t.Context(), "pdftotext", "-layout", "-", "-")
	c.Stdin = bytes.NewReader(raw)
	out, err := c.Output()
	if err != nil {
		t.Fatalf("pdftotext, of the Debian package poppler-utils: %v", err)
	}
	return strings.Join(strings.Fields(string(out)), " "), bytes.Count(out, []byte("\f"))
}

// TestPractise: an incident is made once, told, answered and certified at the command line, and before a class; nothing
// of it can be changed there, every page says that it is practice, and a real folder is refused.
func TestPractise(t *testing.T) {
	dir := t.TempDir()
	now := func() time.Time { return time.Date(2026, 5, 4, 9, 30, 0, 0, time.UTC) }
	run := func(args ...string) (int, string) {
		t.Helper()
		var out bytes.Buffer
		code := Run(t.Context(), Env{Clock: now, In: strings.NewReader(""), Out: &out, Err: &out}, append(args, "--data", dir))
		return code, out.String()
	}
	code, says := run("practise", "tell", "--seed", "7")
	right := told.FindStringSubmatch(says)
	if code != ExitOK || right == nil {
		t.Fatalf("%d %s", code, says)
	}
	sets := strings.Split(right[1], " and ")
	pdf := filepath.Join(dir, "c.pdf")
	answer := []string{"practise", "answer", "--seed", "7", "--set", sets[0], "--step", right[2], "--from", right[3], "--to", right[4],
		"--touched", strings.Join(sets[1:], ","), "--who", "B-17 Özge"}
	if code, says = run(append(answer, "--certificate", pdf)...); code != ExitOK || strings.Count(says, ": right.") != 4 {
		t.Errorf("%d %s", code, says)
	}
	raw, err := os.ReadFile(pdf)
	if err != nil {
		t.Fatal(err)
	}
	page := onePage(t, raw)
	for _, want := range []string{"Certificate of competence", "B-17 Özge", "4 May 2026 09:30", "Seed 7", "All 4 parts",
		"first answer", "PRACTICE",
		"no patient data", "signature", "Program"} {
		if !strings.Contains(page, want) {
			t.Errorf("the certificate lacks %q: %s", want, page)
		}
	}
	if code, says = run(append(answer, "--step", "return", "--lang", "de")...); code != ExitProblem ||
		!strings.Contains(says, "falsch. Nach den") {
		t.Errorf("%d %s", code, says)
	}
	for _, wrong := range [][]string{{"--who", ""}, {"--step", "roof"}, {"--from", "noon"}, {"--lang", "xx"}, {"--cause", "none"},
		{"--causes", filepath.Join(dir, "none")}} {
		if code, says = run(append(answer, wrong...)...); code == ExitOK || strings.Contains(says, "right.") {
			t.Errorf("%v: %d %s", wrong, code, says)
		}
	}
	if err := os.Mkdir(filepath.Join(dir, "log"), 0o700); err != nil {
		t.Fatal(err)
	}
	if code, says = run(answer...); code == ExitOK || !strings.Contains(says, "data folder of a ledger") {
		t.Errorf("practised in a real folder: %d %s", code, says)
	}
	if err := os.Remove(filepath.Join(dir, "log")); err != nil {
		t.Fatal(err)
	}
	beforeClass(t, &app{env: Env{Clock: now, Out: io.Discard, Err: io.Discard}, data: dir}, sets, right)
}

// beforeClass answers on the pages.
func beforeClass(t *testing.T, a *app, sets, right []string) {
	t.Helper()
	c := new(cobra.Command)
	c.Flags().String("data", "", "")
	c.SetContext(t.Context())
	if err := c.Flags().Set("data", a.data); err != nil {
		t.Fatal(err)
	}
	class, err := a.class(c, &lesson{seed: 7})
	if err != nil {
		t.Fatal(err)
	}
	defer func() {
		if err := class.Site.Close(); err != nil {
			t.Error(err)
		}
	}()
	h, err := web.New(class.Site, slog.New(slog.DiscardHandler), web.Teaching(class.Register))
	if err != nil {
		t.Fatal(err)
	}
	size := class.Site.Size()
	wrong, err := class.Site.Broken(t.Context())
	if err != nil || len(wrong) == 0 {
		t.Fatalf("nothing is wrong on the board: %v", err)
	}
	for _, v := range wrong {
		if !slices.Contains(sets, v.Set) && slices.ContainsFunc(v.Findings, func(f projections.Finding) bool {
			return f.Severity != projections.SeverityNoted && f.Code != projections.LinkMissing
		}) {
			t.Errorf("the ledger tells of %s as well: %s", v.Set, v.Findings[0].Code)
		}
	}
	ask := func(method, path string, form url.Values) (int, string) {
		t.Helper()
		r := httptest.NewRequest(method, "http://127.0.0.1"+path, strings.NewReader(form.Encode()))
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		w := httptest.NewRecorder()
		h.ServeHTTP(w, r)
		return w.Code, w.Body.String()
	}
	for _, path := range []string{"/", "/rates", "/history?set=" + sets[0], "/practise", "/assess", "/at/", "/lists",
		"/registers", "/day", "/find?q=x"} {
		if _, body := ask(http.MethodGet, path, nil); !strings.Contains(body, "PRACTICE") {
			t.Errorf("%s is not marked", path)
		}
	}
	for _, x := range [][2]string{{"/report?lang=de&set=" + sets[0], "ÜBUNG · ÜBUNG"}, {"/recall?set=" + sets[0], "PRACTICE · PRACTICE"}} {
		_, raw := ask(http.MethodGet, x[0], nil)
		text, pages := printed(t, []byte(raw))
		if marked := strings.Count(text, x[1]); pages == 0 || marked < 2*pages {
			t.Errorf("%s: %d pages, %d bands", x[0], pages, marked)
		}
	}
	for _, path := range []string{"/day", "/assess", "/acknowledge", "/api/observations", "/practise/certificate",
		"/at/practice/or-1/opening/do"} {
		if code, body := ask(http.MethodPost, path, nil); code != http.StatusForbidden || !strings.Contains(body, "reading alone") {
			t.Errorf("%s: %d %.200s", path, code, body)
		}
	}
	form := url.Values{"set": {sets[0]}, "step": {right[2]}, "from": {right[3]}, "to": {right[4]}, "touched": sets[1:], "who": {"B-18"}}
	code, body := ask(http.MethodPost, "/practise", form)
	for _, want := range []string{"Right, all of it", "The way to the answer", `href="/history?trip=`,
		`href="/api/events?after=`, "certificate?n=3"} {
		if code != http.StatusOK || !strings.Contains(body, want) {
			t.Errorf("%d, lacks %q: %s", code, want, body)
		}
	}
	form.Set("set", "SET-999")
	form.Set("who", "b-18")
	if code, body = ask(http.MethodPost, "/practise?lang=de", form); code != http.StatusOK || !strings.Contains(body, "kein Sieb SET-999") {
		t.Errorf("%d %s", code, body)
	}
	if _, body = ask(http.MethodGet, "/practise/certificate?n=4&lang=de", nil); !strings.Contains(onePage(t,
		[]byte(body)), "Antwort Nummer 2") {
		t.Error("the second answer is certified as the first")
	}
	for _, wrong := range [][2]string{{"who", ""}, {"from", "noon"}, {"who", strings.Repeat("x", 61)}} {
		form := url.Values{"set": {sets[0]}, "who": {"B-18"}, wrong[0]: {wrong[1]}}
		if code, _ := ask(http.MethodPost, "/practise", form); code != http.StatusUnprocessableEntity {
			t.Errorf("%v: %d", wrong, code)
		}
	}
	if code, _ = ask(http.MethodGet, "/practise/certificate?n=99", nil); code != http.StatusNotFound {
		t.Errorf("a certificate of nothing: %d", code)
	}
	practiseInTheBrowser(t, h)
	book, err := teach.OpenBook(filepath.Dir(filepath.Join(class.Site.Dir(), "x")))
	if err != nil || book.Find(5) == nil || book.Find(6) != nil || class.Site.Size() != size {
		t.Errorf("the book: %v, %d records", err, class.Site.Size()-size)
	}
}

// practiseInTheBrowser: the page and its marks are as wide as a phone in German, and axe finds nothing on them.
func practiseInTheBrowser(t *testing.T, h http.Handler) {
	t.Helper()
	srv := httptest.NewServer(h)
	defer srv.Close()
	tab, end := browsertest.Start(t).TabToClose(t, browsertest.Sizes()[2])
	defer end()
	look := func(name string) {
		t.Helper()
		if wide := browsertest.Eval[int](tab, "document.documentElement.scrollWidth - innerWidth"); wide > 0 {
			t.Errorf("%s is %d pixels wider than a phone", name, wide)
		}
		tab.Axe()
		tab.Shot(name)
	}
	tab.Open(srv.URL + "/practise?lang=de")
	look("practise-ask")
	browsertest.Eval[bool](tab, `(document.getElementById("p-who").value = "B-19", true)`)
	tab.Click("form button.main")
	tab.Await(`document.querySelector("form") && document.querySelector("table")`)
	look("practise-marked")
}
