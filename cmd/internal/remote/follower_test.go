//go:build !race

package remote_test

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"html"
	"io"
	"log/slog"
	"maps"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"listbound/cmd/internal/door"
	"listbound/cmd/internal/remote"
	"listbound/cmd/internal/scenario"
	"listbound/cmd/internal/site"
	"listbound/cmd/internal/sitetest"
	"listbound/cmd/internal/web"
	"listbound/events"
	"listbound/projections"
)

// followed is a ledger that is written, the server that serves its log, and a follower of that with a server of its own.
type followed struct {
	*testing.T
	now     atomic.Int64
	dir     string
	writer  *site.Site
	lines   []scenario.Line
	handler atomic.Pointer[http.Handler] // what answers at the writer's address; nil: nobody
	at      *httptest.Server

	copied   string
	follower *site.Site
	here     *httptest.Server
}

func (f *followed) clock() time.Time { return time.Unix(0, f.now.Load()).UTC() }

func newFollowed(t *testing.T) *followed {
	t.Helper()
	f := &followed{T: t, dir: t.TempDir(), copied: filepath.Join(t.TempDir(), "copy")}
	week, err := scenario.Load()
	if err != nil {
		t.Fatal(err)
	}
	for l, err := range week.Lines() {
		if err != nil {
			t.Fatal(err)
		}
		f.lines = append(f.lines, l)
	}
	f.now.Store(f.lines[0].RecordAt.UnixNano())
	f.writer = f.open(f.dir)
	f.at = httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if h := f.handler.Load(); h != nil {
			(*h).ServeHTTP(w, r)
			return
		}
		panic(http.ErrAbortHandler) // as if nobody were there
	}))
	t.Cleanup(f.at.Close)
	f.serve(f.writer)
	return f
}

func (f *followed) open(dir string) *site.Site {
	return sitetest.Open(f.T, site.Options{Dir: dir, Name: "north", EnrolOnSight: true, Clock: f.clock})
}

// serve has a site answer at the writer's address.
func (f *followed) serve(s *site.Site) { f.answer(f.handlerOf(s)) }

func (f *followed) answer(h http.Handler) { f.handler.Store(&h) }

func (f *followed) handlerOf(s *site.Site) http.Handler {
	f.Helper()
	h, err := web.New(s, slog.New(slog.DiscardHandler))
	if err != nil {
		f.Fatal(err)
	}
	return h
}

// record records the week's next lines.
func (f *followed) record(n int) {
	f.Helper()
	for n > 0 {
		const atOnce = 100
		part := f.lines[:min(n, atOnce, len(f.lines))]
		if len(part) == 0 {
			f.Fatal("the week is over")
		}
		f.lines, n = f.lines[len(part):], n-len(part)
		var raw bytes.Buffer
		for _, l := range part {
			fmt.Fprintf(&raw, "%s\n", l.Raw)
		}
		f.now.Store(part[len(part)-1].RecordAt.UnixNano())
		f.recordIn(f.writer, raw.String())
	}
}

func (f *followed) recordIn(s *site.Site, lines string) {
	f.Helper()
	err := s.Record(f.Context(), strings.NewReader(lines), func(r site.Receipt) error {
		if r.Error != "" {
			return fmt.Errorf("refused: %s", r.Error)
		}
		return nil
	})
	if err != nil {
		f.Fatal(err)
	}
	if _, err := s.Checkpoint(f.Context()); err != nil {
		f.Fatal(err)
	}
}

// follow opens the follower, and serves it.
func (f *followed) follow() {
	f.Helper()
	c, err := remote.New(f.at.URL, f.at.Client())
	if err != nil {
		f.Fatal(err)
	}
	log := c.Log()
	f.follower = sitetest.Open(f.T, site.Options{Dir: f.copied, Clock: f.clock,
		Follow: &site.Following{Of: f.at.URL, Key: f.writer.Key(), Log: log, Asks: log.Asks, Age: log.Age}})
	f.here = httptest.NewServer(f.handlerOf(f.follower))
	f.Cleanup(f.here.Close)
}

func (f *followed) get(srv *httptest.Server, path string) (int, http.Header, string) {
	f.Helper()
	res, err := srv.Client().Get(srv.URL + path)
	if err != nil {
		f.Fatal(err)
	}
	defer res.Body.Close()
	if strings.HasPrefix(res.Header.Get("Content-Type"), "text/event-stream") { // which doesn't end
		return res.StatusCode, res.Header, ""
	}
	body, err := io.ReadAll(res.Body)
	if err != nil {
		f.Fatal(err)
	}
	return res.StatusCode, res.Header, string(body)
}

// page returns a page of the follower.
func (f *followed) page(path string) string {
	f.Helper()
	code, _, body := f.get(f.here, path)
	if code != http.StatusOK {
		f.Fatalf("%s: %d, %.300s", path, code, body)
	}
	return body
}

// rows are those of the board's table, but for what says a text: a case's reference, and the sentences and keys with it.
func (f *followed) rows(srv *httptest.Server, more string) (out []string) {
	f.Helper()
	code, _, body := f.get(srv, "/?table=board&format=csv"+more)
	if code != http.StatusOK {
		f.Fatalf("the board: %d, %.300s", code, body)
	}
	all, err := csv.NewReader(strings.NewReader(body)).ReadAll()
	if err != nil || len(all) < 2 {
		f.Fatalf("%d rows: %v", len(all), err)
	}
	var kept []int
	columns := []string{"Set", "Turn", "Chain", "Stage", "Finding", "First known", "Where", "List", "Count sheet travels", "Station",
		"Code", "Way", "Further findings", "In doubt before use since", "Opened"}
	for i, name := range all[0] {
		if slices.Contains(columns, strings.TrimPrefix(name, "\ufeff")) {
			kept = append(kept, i)
		}
	}
	if len(kept) != len(columns) {
		f.Fatalf("the table has the columns %q", all[0])
	}
	for _, row := range all[1:] {
		var cells []string
		for _, i := range kept {
			cells = append(cells, row[i])
		}
		out = append(out, strings.Join(cells, " | "))
	}
	slices.Sort(out)
	return out
}

// same holds what the follower finds against what the writer does.
func (f *followed) same() {
	f.Helper()
	theirs, ours := f.verdicts(f.writer), f.verdicts(f.follower)
	if len(theirs) == 0 || !slices.Equal(theirs, ours) {
		f.Errorf("the follower finds\n%s\nthe writer\n%s", strings.Join(ours, "\n"), strings.Join(theirs, "\n"))
	}
	if theirs, ours := f.rows(f.at, ""), f.rows(f.here, ""); !slices.Equal(theirs, ours) {
		f.Errorf("the follower's board has\n%s\nthe writer's\n%s", strings.Join(ours, "\n"), strings.Join(theirs, "\n"))
	}
}

func (f *followed) verdicts(s *site.Site) (out []string) {
	f.Helper()
	vs, err := s.Broken(f.Context())
	if err != nil {
		f.Fatal(err)
	}
	for i := range vs {
		out = append(out, verdictLine(&vs[i]))
	}
	slices.Sort(out)
	return out
}

func verdictLine(v *projections.Verdict) string {
	line := fmt.Sprintf("%s %s %s:", v.Set, v.Trip, v.Status)
	for _, x := range v.Findings {
		line += fmt.Sprintf(" %s %s %v %s-%s known %s", x.Code, x.Severity, x.Events, x.From.Format(time.RFC3339),
			x.To.Format(time.RFC3339), x.Known.Format(time.RFC3339))
	}
	return line
}

func (f *followed) takeIn() {
	f.Helper()
	if err := f.follower.TakeIn(f.Context()); err != nil {
		f.Fatal(err)
	}
}

// TestFollower: a follower finds what the writer finds, goes on with it, answers with its position, and records nothing.
func TestFollower(t *testing.T) {
	f := newFollowed(t)
	f.record(600)
	f.follow()
	f.same()
	early := f.clock()
	for range 2 {
		f.record(250)
		if f.follower.Size() == f.writer.Size() {
			t.Fatal("it has what it was not given")
		}
		f.takeIn()
		f.same()
	}
	size := f.writer.Size()
	for _, path := range []string{"/", "/api/broken", "/history?set=LAP-014", "/day", "/wall", "/lists", "/readyz"} {
		code, head, body := f.get(f.here, path)
		at, err := time.Parse(time.RFC3339, head.Get("Listbound-Heard"))
		if code != http.StatusOK || head.Get("Listbound-Record") != strconv.FormatInt(size, 10) ||
			head.Get("Listbound-Follows") != f.at.URL || err != nil || !at.Equal(f.clock()) || head.Get("Age") != "0" ||
			head.Get("Listbound-Recorded") == "" {
			t.Errorf("%s: %d, %v", path, code, head)
		}
		if strings.HasPrefix(head.Get("Content-Type"), "text/html") && (!strings.Contains(body, fmt.Sprintf("up to record %d", size)) ||
			!strings.Contains(body, "references of cases") || strings.Contains(body, `class="notice"`)) {
			t.Errorf("%s doesn't say up to where it answers:\n%.3000s", path, body)
		}
	}
	then := "&as-of=" + early.Format(time.RFC3339)
	if theirs, ours := f.rows(f.at, then), f.rows(f.here, then); !slices.Equal(theirs, ours) || slices.Equal(ours, f.rows(f.here, "")) {
		t.Errorf("as known then the follower has\n%s\nthe writer\n%s", strings.Join(ours, "\n"), strings.Join(theirs, "\n"))
	}
	for _, c := range []struct{ method, path string }{{http.MethodPost, "/api/observations"}, {http.MethodPost, "/incident"},
		{http.MethodPost, "/policy"}, {http.MethodGet, "/at/"}, {http.MethodGet, "/api/evidence?set=LAP-014"},
		{http.MethodGet, "/print/labels.pdf"}} {
		req, err := http.NewRequestWithContext(t.Context(), c.method, f.here.URL+c.path, strings.NewReader("{}"))
		if err != nil {
			t.Fatal(err)
		}
		res, err := f.here.Client().Do(req)
		if err != nil {
			t.Fatal(err)
		}
		body, err := io.ReadAll(res.Body)
		path, _, _ := strings.Cut(c.path, "?")
		if err != nil || res.StatusCode != http.StatusForbidden || !strings.Contains(string(body), f.at.URL+path) {
			t.Errorf("%s %s: %d %s", c.method, c.path, res.StatusCode, body)
		}
		res.Body.Close()
	}
	for what, do := range map[string]func() error{
		"enrolled":      func() error { _, err := f.follower.Enrol(t.Context(), "north/new", "", "x"); return err },
		"made a bundle": func() error { return f.follower.Evidence(t.Context(), site.Query{Set: "LAP-014"}, io.Discard) },
		"kept a run":    func() error { _, err := f.follower.KeepRunLog(t.Context(), []byte("Time,T1\n0,20\n")); return err },
		"redacted": func() error {
			_, err := f.follower.Redact(t.Context(), site.Redaction{Records: []int64{9}, Reason: "x"})
			return err
		},
		"recorded a line": func() error { return f.follower.Record(t.Context(), bytes.NewReader(f.lines[0].Raw), nil) },
	} {
		if err := do(); err == nil || !strings.Contains(err.Error(), f.at.URL) {
			t.Errorf("a follower %s: %v", what, err)
		}
	}
	if f.follower.Size() != size {
		t.Error("something was recorded in a copy")
	}
	_, err := site.Open(t.Context(), site.Options{Dir: f.copied, Clock: f.clock})
	if err == nil || !strings.Contains(err.Error(), "listbound follow") {
		t.Errorf("a follower's folder was opened as a ledger's own: %v", err)
	}
}

// TestFollowersPagesLeadNowhere: no page of a follower has a form that records, and what it doesn't serve its links have the
// writer's address for.
func TestFollowersPagesLeadNowhere(t *testing.T) {
	f := newFollowed(t)
	f.record(450)
	f.follow()
	seen, queue := map[string]bool{}, []string{"/", "/day", "/policy", "/registers"}
	link := regexp.MustCompile(`<a [^>]*href="([^"]*)"`)
	led := 0
	kinds := map[string]int{}
	for len(queue) > 0 {
		path := queue[0]
		queue = queue[1:]
		kind, _, _ := strings.Cut(path, "?")
		if seen[path] || kinds[kind] >= 3 || strings.Contains(path, "format=") || strings.HasPrefix(kind, "/api/") {
			continue
		}
		seen[path] = true
		kinds[kind]++
		code, head, body := f.get(f.here, path)
		if code != http.StatusOK {
			t.Errorf("%s: %d, %.200s", path, code, body)
			continue
		}
		if !strings.HasPrefix(head.Get("Content-Type"), "text/html") {
			continue
		}
		if strings.Contains(body, `method="post"`) {
			t.Errorf("%s has a form that records", path)
		}
		if bare := markShown.FindString(tag.ReplaceAllString(body, " ")); bare != "" {
			t.Errorf("%s shows the mark %s", path, bare)
		}
		for _, m := range link.FindAllStringSubmatch(body, -1) {
			switch to := html.UnescapeString(m[1]); {
			case strings.HasPrefix(to, "/"):
				to, _, _ = strings.Cut(to, "#")
				queue = append(queue, to)
			case strings.HasPrefix(to, f.at.URL+"/"):
				led++
			}
		}
	}
	if len(kinds) < 15 || led == 0 {
		t.Errorf("%d kinds of pages, %d links to the writer: %v", len(kinds), led, kinds)
	}
}

var (
	tag       = regexp.MustCompile(`<[^>]*>`)
	markShown = regexp.MustCompile(`sha-256\.[A-Za-z0-9_-]{43}`)
)

// TestFollowerTellsTexts: where a text belongs that is at the ledger, a follower says that it is not here; where it was taken out
// there, that it was.
func TestFollowerTellsTexts(t *testing.T) {
	f := newFollowed(t)
	f.record(700)
	f.recordIn(f.writer, fmt.Sprintf(`{"station":"north/or-1","kind":"access.claimed","time":%q,"operator":"B-1182",`+
		`"data":{"badge":"B-1182","reason":"nobody else is here"}}`, f.clock().Format(time.RFC3339)))
	f.follow()
	if body := f.page("/?lang=en"); !strings.Contains(body, "</a>: [not here ") {
		t.Errorf("the board doesn't say that there is a reason for the access that was claimed:\n%.3000s", body)
	}
	theirs := map[string]string{} // the case's reference, by the id under which it stands here
	there := map[string]string{}
	for _, s := range []*site.Site{f.writer, f.follower} {
		vs, err := s.Broken(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		for _, v := range vs {
			if s == f.writer {
				there[v.Trip] = v.Case
			} else if v.Case != "" {
				theirs[v.Case] = there[v.Trip]
			}
		}
	}
	all := slices.Sorted(maps.Keys(theirs))
	if len(all) < 2 {
		t.Fatalf("there are findings about the cases %v", theirs)
	}
	words := func(m string) (not, redacted string) {
		short := strings.TrimPrefix(m, "sha-256.")[:6]
		return "[not here " + short + "]", "[redacted " + short + "]"
	}
	ofCase := func(id string) string { return f.page("/history?lang=en&case=" + id) }
	for _, id := range all {
		not, redacted := words(id)
		if body := ofCase(id); !strings.Contains(body, not) || strings.Contains(body, redacted) {
			t.Errorf("the history of a case should say %s:\n%.3000s", not, body)
		}
	}
	_, _, board := f.get(f.here, "/?table=board&format=csv&lang=de")
	if !strings.Contains(board, "[nicht hier ") || markShown.MatchString(board) {
		t.Errorf("the board as a file, in German:\n%.2000s", board)
	}
	_, _, report := f.get(f.here, "/report?case="+all[0])
	pdf := exec.CommandContext(t.Context(), "pdftotext", "-", "-")
	pdf.Stdin = strings.NewReader(report)
	printed, err := pdf.Output()
	said := strings.ReplaceAll(string(printed), "--case "+all[0], "--case ID") // of the command that makes the evidence
	if not, _ := words(all[0]); err != nil || !strings.Contains(said, not) || markShown.MatchString(said) {
		t.Errorf("on paper (%v):\n%.2000s", err, printed)
	}
	if strings.Contains(said, "keep a key of their own") || strings.Contains(said, "Nobody outside") ||
		!strings.Contains(said, "Whose key lies where, and who outside") {
		t.Errorf("on paper it says of keys and witnesses what it can't know:\n%s", said)
	}
	for _, s := range []*site.Site{f.writer, f.follower} {
		stations, err := s.Stations(t.Context())
		if err != nil || len(stations) < 3 {
			t.Fatal(stations, err)
		}
		for _, st := range stations {
			if st.KeysElsewhere != (s == f.follower) {
				t.Errorf("of the key of %s: elsewhere %v", st.Name, st.KeysElsewhere)
			}
		}
	}
	// The reference of one of them is taken out where the ledger is written.
	redaction := site.Redaction{Case: theirs[all[0]], Reason: "asked for by the court", Operator: "B-1182"}
	if _, err := f.writer.Redact(t.Context(), redaction); err != nil {
		t.Fatal(err)
	}
	if _, err := f.writer.Checkpoint(t.Context()); err != nil {
		t.Fatal(err)
	}
	f.takeIn()
	for range 2 {
		for i, id := range all {
			not, redacted := words(id)
			body := ofCase(id)
			if i == 0 && (!strings.Contains(body, redacted) || strings.Contains(body, not)) {
				t.Errorf("it was taken out, and should be %s:\n%.3000s", redacted, body)
			}
			if i > 0 && (!strings.Contains(body, not) || strings.Contains(body, redacted)) {
				t.Errorf("it was not taken out, and should be %s:\n%.3000s", not, body)
			}
		}
		if err := f.follower.Close(); err != nil {
			t.Fatal(err)
		}
		f.follow() // and knows that after a start
	}
}

// TestFollowerLacksFiles: of a run's log and of a signed assessment a follower says that they are where the ledger is written.
func TestFollowerLacksFiles(t *testing.T) {
	f := newFollowed(t)
	f.record(100)
	k, err := f.writer.KeepRunLog(t.Context(), []byte("Time,T1\n0,20\n"))
	if err != nil {
		t.Fatal(err)
	}
	at := f.clock()
	_, err = f.writer.Observe(t.Context(), &events.Observation{Station: "north/sterilizer-2", Time: at, Operator: "B-2044",
		Kind: events.KindRunLogged, Data: &events.RunLogged{Load: "L-1", Sterilizer: "S2", Started: at.Add(-time.Hour).Format(time.RFC3339),
			Log: k.Log, Read: &events.RunReading{Time: "t", Clock: "s", Zone: "UTC", Temperatures: []string{"T1"}, TemperatureUnit: "C",
				BarometerPascal: 101325},
			Cycle:   events.RunCycle{Name: "own", Source: "instructions", LowMilliC: 134000, HoldSeconds: 180},
			Figures: events.RunFigures{Points: 1, HoldMillis: 190000, MinMilliC: 134100, MaxMilliC: 135000}}})
	if err != nil {
		t.Fatal(err)
	}
	f.recordIn(f.writer, fmt.Sprintf(`{"station":"north/office","kind":"placements.assessed","time":%q,"operator":"B-1001",`+
		`"data":{"placements":["outside"],"document":"{}"}}`, at.Format(time.RFC3339)))
	f.follow()
	for _, c := range []struct{ path, en, de string }{
		{"/run?load=L-1", "is kept where the ledger is written, and is not here", "liegt dort, wo das Verzeichnis geschrieben wird"},
		{"/assess", "The document is kept where the ledger is written", "Das Dokument liegt dort, wo das Verzeichnis geschrieben wird"},
		{fmt.Sprintf("/assess?record=%d", f.follower.Size()), "The document is kept where the ledger is written",
			"Das Dokument liegt dort"},
	} {
		if body := f.page(c.path); !strings.Contains(body, c.en) || strings.Contains(body, "any more") {
			t.Errorf("%s should say %q:\n%.4000s", c.path, c.en, body)
		}
		lang := "?lang=de"
		if strings.Contains(c.path, "?") {
			lang = "&lang=de"
		}
		if body := f.page(c.path + lang); !strings.Contains(body, c.de) || strings.Contains(body, "nicht mehr") {
			t.Errorf("%s should say %q:\n%.4000s", c.path, c.de, body)
		}
	}
}

// TestFollowerAlone: while the writer is away a follower answers what it knows, as of then, and says so loudly; killed, it
// loses nothing.
func TestFollowerAlone(t *testing.T) {
	f := newFollowed(t)
	f.record(450)
	f.follow()
	f.record(5)
	f.takeIn()
	was := f.verdicts(f.follower)
	heard := f.clock()
	f.handler.Store(nil)
	f.now.Add(int64(14 * time.Second))
	if err := f.follower.TakeIn(t.Context()); err == nil {
		t.Error("nobody is there, and something was heard")
	}
	if body := f.page("/"); strings.Contains(body, `class="notice"`) || !strings.Contains(body, "14 s before this was shown") {
		t.Errorf("silent for 14 s:\n%.2000s", body)
	}
	changes, end := f.follower.Changes()
	defer end()
	f.now.Add(int64(3 * time.Hour))
	for range 2 {
		if err := f.follower.TakeIn(t.Context()); err == nil {
			t.Error("nobody is there, and something was heard")
		}
	}
	if len(changes) == 0 {
		t.Error("pages that are open are not told that the ledger is silent")
	}
	if err := f.follower.Advance(t.Context()); err != nil {
		t.Fatal(err)
	}
	for range 2 {
		if now := f.verdicts(f.follower); !slices.Equal(was, now) {
			t.Errorf("judged as of a time that nothing was heard of:\n%s\nwas\n%s", strings.Join(now, "\n"), strings.Join(was, "\n"))
		}
		for _, path := range []string{"/", "/?part=rows", "/wall", "/wall?part=rows", "/day?part=rows", "/history?set=LAP-014", "/rates"} {
			_, head, body := f.get(f.here, path)
			if !strings.Contains(body, `role="alert" class="notice"`) ||
				!strings.Contains(body, "Nothing has been heard from the ledger for 3 h") || head.Get("Age") != "10814" {
				t.Errorf("%s doesn't say that nothing is heard (Age %s):\n%.2000s", path, head.Get("Age"), body)
			}
		}
		if !f.follower.Clock().Equal(heard) {
			t.Errorf("it is %s by the follower, which heard of the ledger last at %s", f.follower.Clock(), heard)
		}
		// It is ended, and started again with the writer still away.
		if err := f.follower.Close(); err != nil {
			t.Fatal(err)
		}
		f.follow()
	}
	f.serve(f.writer)
	f.record(100)
	f.takeIn()
	f.same()
	if body := f.page("/"); strings.Contains(body, `class="notice"`) {
		t.Errorf("the ledger is heard of again:\n%.2000s", body)
	}
}

// TestFollowerRefuses: a record that was changed on the way, and another history under the ledger's own key, are refused; the
// follower says so and goes on with what it has.
func TestFollowerRefuses(t *testing.T) {
	f := newFollowed(t)
	f.record(300)
	fork := filepath.Join(t.TempDir(), "fork")
	if err := f.writer.Close(); err != nil {
		t.Fatal(err)
	}
	if err := os.CopyFS(fork, os.DirFS(f.dir)); err != nil {
		t.Fatal(err)
	}
	keys, err := filepath.Glob(filepath.Join(fork, "keys", "*"))
	if err != nil || len(keys) == 0 {
		t.Fatal(keys, err)
	}
	for _, key := range keys {
		if err := os.Chmod(key, 0o600); err != nil { // others may not read them
			t.Fatal(err)
		}
	}
	f.writer = f.open(f.dir)
	f.serve(f.writer)
	f.record(100)
	f.follow()
	was := f.rows(f.here, "")
	f.record(40)
	right := f.handlerOf(f.writer)
	f.answer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if !strings.HasPrefix(r.URL.Path, "/log/tile/entries/") {
			right.ServeHTTP(w, r)
			return
		}
		rec := httptest.NewRecorder()
		right.ServeHTTP(rec, r)
		w.WriteHeader(rec.Code)
		body := rec.Body.Bytes()
		if i := bytes.LastIndex(body, []byte(`"subject":"`)); i > 0 {
			body[i+len(`"subject":"`)]++
		}
		_, _ = w.Write(body)
	}))
	refused := func(says, page string) {
		t.Helper()
		err := f.follower.TakeIn(t.Context())
		if err == nil || !strings.Contains(err.Error(), says) {
			t.Fatalf("should be refused with %q: %v", says, err)
		}
		if body := f.page("/"); !strings.Contains(body, `role="alert" class="notice"`) || !strings.Contains(body, page) {
			t.Errorf("the page doesn't say %q:\n%.2000s", page, body)
		}
		if now := f.rows(f.here, ""); !slices.Equal(was, now) {
			t.Errorf("its rows are others:\n%s\nwere\n%s", strings.Join(now, "\n"), strings.Join(was, "\n"))
		}
	}
	refused("does not have the hash in its tree", "is not what the ledger has signed (record 4")
	other := f.open(fork)
	var lines bytes.Buffer
	for _, l := range f.lines[:200] {
		fmt.Fprintf(&lines, "%s\n", l.Raw)
	}
	f.recordIn(other, lines.String())
	f.serve(other)
	refused("shows another history than the one it showed before", "another history is shown than before, and is refused")
	both, err := os.ReadFile(filepath.Join(f.copied, "two-histories.txt"))
	if err != nil || strings.Count(string(both), "— north/ledger ") != 2 {
		t.Errorf("what proves it is not kept: %v\n%s", err, both)
	}
	f.serve(f.writer)
	f.takeIn()
	f.same()
	if body := f.page("/"); !strings.Contains(body, "signed two histories") {
		t.Errorf("that there were two is forgotten:\n%.2000s", body)
	}
}

// TestFollowerSaysWhy: a follower that hears nothing says on its pages why, in the reader's language, and is not ready; so does
// one that follows another follower, though that one answers.
func TestFollowerSaysWhy(t *testing.T) {
	f := newFollowed(t)
	f.record(100)
	other := newFollowed(t)
	other.record(150)
	f.follow()
	second := &followed{T: t, writer: f.writer, copied: filepath.Join(t.TempDir(), "second"), at: f.here}
	second.now.Store(f.now.Load())
	second.follow()
	defer second.here.Close()
	right := f.handlerOf(f.writer)
	code := func(code int) http.Handler {
		return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { w.WriteHeader(code) })
	}
	cached := http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Age", "3600")
		right.ServeHTTP(w, r)
	})
	for _, c := range []struct {
		what   string
		h      http.Handler
		en, de string
	}{
		{"nobody", nil, "Nobody answers at " + f.at.URL + " (EOF)", "Unter " + f.at.URL + " antwortet niemand"},
		{"no token", code(http.StatusUnauthorized), "does not let this follower read its log (401 Unauthorized)",
			"lässt diesen Mitleser nicht lesen"},
		{"no right", code(http.StatusForbidden), "does not let this follower read its log (403 Forbidden)",
			"lässt diesen Mitleser nicht lesen"},
		{"no log", code(http.StatusNotFound), "no ledger’s log (404 Not Found)", "zeigt kein Verzeichnis (404 Not Found)"},
		{"a gateway", code(http.StatusBadGateway), "no ledger’s log (502 Bad Gateway)", "Der Server dort ist gestört"},
		{"a cache", cached, "has heard nothing from the ledger itself", "hat aber selbst nichts vom Verzeichnis gehört"},
		{"another ledger", other.handlerOf(other.writer), "not signed with this ledger’s key",
			"nicht mit dem Schlüssel dieses Verzeichnisses unterschrieben"},
	} {
		if f.handler.Store(nil); c.h != nil {
			f.answer(c.h)
		}
		f.now.Add(int64(time.Minute))
		second.now.Store(f.now.Load())
		err := f.follower.TakeIn(t.Context())
		if c.what == "no log" && (err == nil || !strings.Contains(err.Error(), "there is no ledger's log at "+f.at.URL)) {
			t.Errorf("%s: %v", c.what, err)
		}
		_ = second.follower.TakeIn(t.Context())                        // the first one answers
		shut := strings.HasPrefix(c.what, "no ") && c.what != "no log" // the page says that it shows nothing
		for lang, says := range map[string]string{"en": c.en, "de": c.de} {
			if said := web.Unheard(f.follower.Local().Catalogue().In(lang).Say, f.follower.Position()); !strings.Contains(said, says) {
				t.Errorf("%s: it says %q, and should say %q", c.what, said, says)
			}
			for _, path := range []string{"/?part=rows&lang=", "/rates?lang="} {
				if code, _, body := f.get(f.here, path+lang); shut != (code == http.StatusForbidden) ||
					!shut && !strings.Contains(body, html.EscapeString(says)) {
					t.Errorf("%s: %s%s doesn't say %q:\n%.2500s", c.what, path, lang, says, body)
				}
			}
		}
		if c.what == "another ledger" && !strings.Contains(f.page("/?lang=en"), "this copy stays as it was") {
			t.Error("it is called silent, and something was refused")
		}
		for _, at := range []*httptest.Server{f.here, second.here} {
			code, _, body := f.get(at, "/readyz")
			if code != http.StatusServiceUnavailable || !strings.Contains(body, "nothing has been heard from") {
				t.Errorf("%s: ready: %d %s", c.what, code, body)
			}
			if code, _, _ := f.get(at, "/healthz"); code != http.StatusOK {
				t.Errorf("%s: it is not alive", c.what)
			}
		}
		if _, _, body := f.get(second.here, "/?lang=en"); !shut && !strings.Contains(body, "has heard nothing from the ledger itself") {
			t.Errorf("%s: the second one doesn't say that the first one hears nothing:\n%.2500s", c.what, body)
		}
		f.answer(right)
		f.now.Add(int64(time.Minute)) // it asks once a minute whether people are asked who they are
		second.now.Store(f.now.Load())
		f.takeIn()
		second.takeIn()
		for _, at := range []*httptest.Server{f.here, second.here} {
			if code, _, body := f.get(at, "/readyz"); code != http.StatusOK {
				t.Errorf("after %s: %d %s", c.what, code, body)
			}
			if _, _, body := f.get(at, "/?lang=en"); strings.Contains(body, `class="notice"`) {
				t.Errorf("after %s it still says:\n%.2500s", c.what, body)
			}
		}
	}
}

// TestFollowerShowsNoMore: where the writer asks people who they are, a follower that asks nobody shows nothing.
func TestFollowerShowsNoMore(t *testing.T) {
	f := newFollowed(t)
	f.record(100)
	f.follow()
	f.page("/")
	right := f.handlerOf(f.writer)
	for _, code := range []int{http.StatusUnauthorized, http.StatusForbidden, http.StatusSeeOther} {
		f.answer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			if r.Header.Get("Authorization") == "" {
				w.Header().Set("Location", "/sign-in")
				w.WriteHeader(code)
				return
			}
			right.ServeHTTP(w, r)
		}))
		f.now.Add(int64(2 * time.Minute))
		_ = f.follower.TakeIn(t.Context()) // without a token it can't
		for _, path := range []string{"/", "/api/broken", "/log/checkpoint", "/history?set=LAP-014", "/changes"} {
			if got, _, body := f.get(f.here, path); got != http.StatusForbidden || !strings.Contains(body, "--administrator") {
				t.Errorf("the writer answers %d, and the follower shows %s: %d, %.200s", code, path, got, body)
			}
		}
		if got, _, _ := f.get(f.here, "/healthz"); got != http.StatusOK {
			t.Errorf("/healthz: %d", got)
		}
		f.answer(right)
		f.now.Add(int64(2 * time.Minute))
		f.takeIn()
		f.page("/")
	}
}

// TestFollowerHasADoor: a follower with accounts of its own asks for them, whoever the writer asks.
func TestFollowerHasADoor(t *testing.T) {
	f := newFollowed(t)
	f.record(100)
	f.follow()
	d, err := door.Open(door.Options{Dir: f.copied, Clock: f.clock})
	if err != nil {
		t.Fatal(err)
	}
	h, err := web.New(f.follower, slog.New(slog.DiscardHandler), web.Accounts(d))
	if err != nil {
		t.Fatal(err)
	}
	srv := httptest.NewServer(h)
	defer srv.Close()
	if code, _, body := f.get(srv, "/api/broken"); code != http.StatusUnauthorized || strings.Contains(body, "LAP") {
		t.Errorf("nobody asked who reads: %d, %.200s", code, body)
	}
	code, _, body := f.get(srv, "/code")
	if code != http.StatusOK || !strings.Contains(body, `<form method="post" action="/code"`) ||
		!strings.Contains(body, "up to record") {
		t.Errorf("there is no way in: %d\n%.3000s", code, body)
	}
	if code, _, body := f.get(srv, "/at/"); code != http.StatusForbidden || !strings.Contains(body, f.at.URL) {
		t.Errorf("a station's page: %d, %.200s", code, body)
	}
}
