package workplace_test

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"io/fs"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/go-json-experiment/json"

	"listbound/events"
)

// spoilDrafts puts a file where the drafts lie, as a full or broken disk would
// have it, and returns what puts them back.
func (h *house) spoilDrafts() (mend func()) {
	h.t.Helper()
	dir := filepath.Join(h.site.Dir(), "drafts")
	must := func(err error) {
		if err != nil {
			h.t.Fatal(err)
		}
	}
	if err := os.Rename(dir, dir+"-kept"); err != nil && !os.IsNotExist(err) {
		h.t.Fatal(err)
	}
	must(os.WriteFile(dir, []byte("no folder"), 0o600))
	return func() {
		must(os.Remove(dir))
		if err := os.Rename(dir+"-kept", dir); err != nil && !os.IsNotExist(err) {
			h.t.Fatal(err)
		}
	}
}

// TestFailureIsNoRefusal: what the server can't do is its own failure, not the
// input's, and tells nothing of the inside.
func TestFailureIsNoRefusal(t *testing.T) {
	h := newHouse(t)
	mend := h.spoilDrafts()
	send := func(body string) (int, map[string]any, string) {
		t.Helper()
		res, err := http.Post(h.url+"/at/north/or-3/opening/scan", "application/json", strings.NewReader(body))
		if err != nil {
			t.Fatal(err)
		}
		defer res.Body.Close()
		raw, err := io.ReadAll(res.Body)
		if err != nil {
			t.Fatal(err)
		}
		var v map[string]any
		if err := json.Unmarshal(raw, &v); err != nil {
			t.Fatalf("%d: %s", res.StatusCode, raw)
		}
		return res.StatusCode, v, string(raw)
	}
	scan := `{"client":"t","n":1,"text":"LAP-014"}`
	code, v, raw := send(scan)
	if code != http.StatusInternalServerError || v["why"] != "failed" || v["incident"] == "" {
		t.Errorf("a spoiled disk is answered %d: %s", code, raw)
	}
	for _, inside := range []string{h.site.Dir(), "drafts", "directory", "open "} {
		if strings.Contains(raw, inside) {
			t.Errorf("the answer tells %q of the inside: %s", inside, raw)
		}
	}
	if code, v, raw := send(`{"client":"","n":1}`); code != http.StatusBadRequest || v["why"] != "refused" {
		t.Errorf("a malformed input is answered %d: %s", code, raw)
	}
	if code, v, raw := send(`{"client":"t","n":1,"text":"` + strings.Repeat("x",
		2<<20) + `"}`); code != http.StatusRequestEntityTooLarge || v["why"] != "too-large" {
		t.Errorf("a huge input is answered %d: %s", code, raw)
	}
	mend()
	// The same input again is not taken for one that was answered.
	if code, v, raw := send(scan); code != http.StatusOK || !strings.Contains(raw, "LAP-014") {
		t.Errorf("once the disk is back: %d %v", code, v)
	}
}

// TestEntriesOutliveAFailingServer: a page keeps what was entered while the
// server fails, says so, and sends it once the server is back.
func TestEntriesOutliveAFailingServer(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.open("LAP-014", "K-0600")
	p := browser(t).Tab(t, phone)
	p.Open(h.at("count") + "?case=K-0600")
	p.Await(`document.querySelector("tr.now")`)
	p.Type("\r")
	p.AwaitText("#sum", "1 of 60")
	mend := h.spoilDrafts()
	p.Type("\r\r")
	p.AwaitText("#waiting", "The server fails (incident ")
	p.AwaitText("#waiting", "not recorded yet: 2")
	mend()
	p.AwaitText("#sum", "3 of 60")
	p.Await(`document.querySelector("#waiting").textContent === ""`)
}

// TestOnlyTheServersAnswerEndsAnEntry: what a proxy answers in the server's place
// is no answer to what was entered.
func TestOnlyTheServersAnswerEndsAnEntry(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.open("LAP-014", "K-0600")
	p := browser(t).Tab(t, phone)
	p.Open(h.at("count") + "?case=K-0600")
	p.Await(`document.querySelector("tr.now")`)
	for i, answer := range []struct {
		code int
		body string
	}{
		{http.StatusTooManyRequests, `{"error":"slow down"}`},
		{http.StatusRequestEntityTooLarge, "<html>too large"},
		{http.StatusOK, "<html>please log in"},
		{http.StatusOK, `{"status":"ok"}`},
		{http.StatusNotFound, "null"},
	} {
		asked := make(chan struct{}, 1)
		proxy := http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			w.WriteHeader(answer.code)
			io.WriteString(w, answer.body)
			select {
			case asked <- struct{}{}:
			default:
			}
		})
		h.proxy.Store(&proxy)
		p.Type("\r")
		<-asked
		p.AwaitText("#waiting", fmt.Sprintf("(incident %d)", answer.code))
		p.AwaitText("#waiting", "not recorded yet: 1")
		h.proxy.Store(nil)
		p.Await(`(dispatchEvent(new Event("online")), document.querySelector("#waiting").textContent === "")`)
		p.AwaitText("#sum", fmt.Sprintf("%d of 60", i+1))
	}
}

// trap is the context of a request that fails once the draft is ready to be
// recorded: everything before it goes well.
type trap struct {
	context.Context
	ready func() bool
}

func (c trap) Err() error {
	if c.ready() {
		return context.Canceled
	}
	return c.Context.Err()
}

// failOnce sends an input that fails while it is recorded, then the same again a
// minute later, as the page does.
func (h *house) failOnce(path, body string) map[string]any {
	h.t.Helper()
	drafts := os.DirFS(filepath.Join(h.site.Dir(), "drafts"))
	timed := func() (files int) { // whose draft has a time: it is fixed before recording
		err := fs.WalkDir(drafts, ".", func(name string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() {
				return err
			}
			raw, err := fs.ReadFile(drafts, name)
			if bytes.Contains(raw, []byte("\n \"at\": ")) {
				files++
			}
			return err
		})
		if err != nil {
			return 0
		}
		return files
	}
	others := timed() // such as what was said of a count before
	ready := func() bool { return timed() > others }
	before := h.size()
	r := httptest.NewRequestWithContext(trap{h.t.Context(), ready}, http.MethodPost, path, strings.NewReader(body))
	w := httptest.NewRecorder()
	h.handler().ServeHTTP(w, r)
	if !ready() || w.Code < 400 || h.size() != before {
		h.t.Fatalf("the trap did not shut: %d, %d records: %.300s", w.Code, h.size()-before, w.Body)
	}
	h.after(time.Minute)
	return h.post(path, body)
}

// TestFailedRecordingIsSentAgain: what could not be recorded is recorded once it
// is sent again, as the observation that it was the first time: had it been
// stored after all, it would be known.
func TestFailedRecordingIsSentAgain(t *testing.T) {
	badge := func(h *house, id string) string { return label(h.t, events.ScanBadge, id) }
	for _, test := range []struct {
		name    string
		prepare func(*house)
		path    string
		body    func(*house) string
		kind    events.Kind
	}{
		{"a look in storage, by Enter", func(h *house) {
			for i, text := range []string{label(t, events.ScanSet, "VAS-003"), h.codes["VAS-003"], badge(h, "B-1")} {
				h.post("/at/north/storage/storage/scan", fmt.Sprintf(`{"client":"t","n":%d,"text":%s}`, i+1, jsonText(text)))
			}
			h.post("/at/north/storage/storage/do", `{"client":"t","n":5,"action":"found","fields":{"value":"outside"}}`)
		}, "/at/north/storage/storage/scan", func(*house) string { return `{"client":"t","n":9,"text":""}` }, events.KindSetChecked},
		{"the end of a case, by the second badge", func(h *house) {
			h.open("VAS-003", "K-1")
			for _, stage := range []string{"first", "closing", "final"} {
				c := &counter{h: h, ref: "K-1", stage: stage}
				c.do("begin")
				c.lines("VAS-003", 4, 2, 3)
				c.scan(badge(h, "B-1"))
				c.scan(badge(h, "B-2"))
			}
			h.post("/at/north/or-3/close/do", `{"client":"t","n":1,"action":"case","fields":{"case":"K-1"}}`)
			h.post("/at/north/or-3/close/scan", `{"client":"t","n":2,"text":`+jsonText(badge(h, "B-1"))+`}`)
		}, "/at/north/or-3/close/scan", func(h *house) string {
			return `{"client":"t","n":9,"text":` + jsonText(badge(h, "B-2")) + `}`
		}, events.KindCaseClosed},
		{"a count, by the second badge", func(h *house) {
			h.open("VAS-003", "K-1")
			c := &counter{h: h, ref: "K-1", stage: "first"}
			c.lines("VAS-003", 4, 2, 3)
			c.scan(badge(h, "B-1"))
		}, "/at/north/or-3/count/scan", func(h *house) string {
			return `{"client":"t","n":99,"at":7,"case":"K-1","stage":"first","text":` + jsonText(badge(h, "B-2")) + `}`
		}, events.KindSetCounted},
	} {
		t.Run(test.name, func(t *testing.T) {
			h := newHouse(t, "VAS-003")
			h.t = t
			h.after(time.Hour)
			test.prepare(h)
			h.after(time.Minute)
			first, before := h.clock(), h.size()
			a := h.failOnce(test.path, test.body(h))
			if h.size() != before+1 {
				t.Fatalf("%d records: %v", h.size()-before, a["words"])
			}
			e, err := h.site.EventAt(h.size())
			if err != nil {
				t.Fatal(err)
			}
			if e.Kind() != test.kind || !e.Time.Equal(first) {
				t.Errorf("%s of %s, sent first at %s", e.Kind(), e.Time, first)
			}
			// And once more, should only the answer have been lost.
			again := h.post(test.path, test.body(h))
			if h.size() != before+1 || again["go"] != a["go"] {
				t.Errorf("sent a third time: %d records, %v", h.size()-before, again)
			}
		})
	}
}

// TestButtonsCountOnce: a button that changes all sets of a case, and failed
// half-way, changes each of them once when it is sent again.
func TestButtonsCountOnce(t *testing.T) {
	h := newHouse(t, "VAS-003", "VAS-004")
	h.open("VAS-003", "K-1")
	h.open("VAS-004", "K-1")
	c := &counter{h: h, ref: "K-1", stage: "first"}
	c.scan(label(t, events.ScanSet, "VAS-003")) // makes the first draft
	in := filepath.Join(h.site.Dir(), "drafts", "count", "K-1", "VAS-004%20first.json")
	if err := os.MkdirAll(filepath.Join(in, "in the way"), 0o700); err != nil {
		t.Fatal(err)
	}
	path, body := "/at/north/or-3/count/do", `{"client":"t","n":50,"case":"K-1","stage":"first","action":"by-place","fields":{}}`
	if a := h.post(path, body); a["why"] != "failed" {
		t.Fatalf("%v", a)
	}
	if err := os.RemoveAll(in); err != nil {
		t.Fatal(err)
	}
	for range 2 {
		if a := h.post(path, body); a["state"].(map[string]any)["byPlace"] != true {
			t.Errorf("sent again: %v", a)
		}
	}
}
