package sessions_test

import (
	"fmt"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/go-json-experiment/json"

	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// TestFailureIsNoRefusal: what the server can't do is its own failure, not the
// input's, and tells nothing of the inside.
func TestFailureIsNoRefusal(t *testing.T) {
	h := workplacetest.NewHouse(t)
	mend := h.SpoilDrafts()
	send := func(body string) (int, map[string]any, string) {
		t.Helper()
		res, err := http.Post(h.URL+"/at/north/or-3/opening/scan", "application/json", strings.NewReader(body))
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
	for _, inside := range []string{h.Site.Dir(), "drafts", "directory", "open "} {
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
	h := workplacetest.NewHouse(t)
	h.Open("LAP-014", "K-0600")
	p := workplacetest.Browser(t).Tab(t, workplacetest.Phone)
	p.Open(h.At("count") + "?case=K-0600")
	p.Await(`document.querySelector("tr.now")`)
	p.Type("\r")
	p.AwaitText("#sum", "1 of 60")
	mend := h.SpoilDrafts()
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
	h := workplacetest.NewHouse(t)
	h.Open("LAP-014", "K-0600")
	p := workplacetest.Browser(t).Tab(t, workplacetest.Phone)
	p.Open(h.At("count") + "?case=K-0600")
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
		h.Proxy.Store(&proxy)
		p.Type("\r")
		<-asked
		p.AwaitText("#waiting", fmt.Sprintf("(incident %d)", answer.code))
		p.AwaitText("#waiting", "not recorded yet: 1")
		h.Proxy.Store(nil)
		p.Await(`(dispatchEvent(new Event("online")), document.querySelector("#waiting").textContent === "")`)
		p.AwaitText("#sum", fmt.Sprintf("%d of 60", i+1))
	}
}

// TestFailedRecordingIsSentAgain: what could not be recorded is recorded once it
// is sent again, as the observation that it was the first time: had it been
// stored after all, it would be known.
func TestFailedRecordingIsSentAgain(t *testing.T) {
	badge := func(h *workplacetest.House, id string) string { return workplacetest.Label(h.T, events.ScanBadge, id) }
	for _, test := range []struct {
		name    string
		prepare func(*workplacetest.House)
		path    string
		body    func(*workplacetest.House) string
		kind    events.Kind
	}{
		{"a look in storage, by Enter", func(h *workplacetest.House) {
			for i, text := range []string{workplacetest.Label(t, events.ScanSet, "VAS-003"), h.Codes["VAS-003"], badge(h, "B-1")} {
				h.Post("/at/north/storage/storage/scan", fmt.Sprintf(`{"client":"t","n":%d,"text":%s}`, i+1, workplacetest.JSONText(text)))
			}
			h.Post("/at/north/storage/storage/do", `{"client":"t","n":5,"action":"found","fields":{"value":"outside"}}`)
		}, "/at/north/storage/storage/scan",
			func(*workplacetest.House) string { return `{"client":"t","n":9,"text":""}` }, events.KindSetChecked},
		{"the end of a case, by the second badge", func(h *workplacetest.House) {
			h.Open("VAS-003", "K-1")
			for _, stage := range []string{"first", "closing", "final"} {
				c := &workplacetest.Counter{House: h, Ref: "K-1", Stage: stage}
				c.Do("begin")
				c.Lines("VAS-003", 4, 2, 3)
				c.Scan(badge(h, "B-1"))
				c.Scan(badge(h, "B-2"))
			}
			h.Post("/at/north/or-3/close/do", `{"client":"t","n":1,"action":"case","fields":{"case":"K-1"}}`)
			h.Post("/at/north/or-3/close/scan", `{"client":"t","n":2,"text":`+workplacetest.JSONText(badge(h, "B-1"))+`}`)
		}, "/at/north/or-3/close/scan", func(h *workplacetest.House) string {
			return `{"client":"t","n":9,"text":` + workplacetest.JSONText(badge(h, "B-2")) + `}`
		}, events.KindCaseClosed},
		{"a count, by the second badge", func(h *workplacetest.House) {
			h.Open("VAS-003", "K-1")
			c := &workplacetest.Counter{House: h, Ref: "K-1", Stage: "first"}
			c.Lines("VAS-003", 4, 2, 3)
			c.Scan(badge(h, "B-1"))
		}, "/at/north/or-3/count/scan", func(h *workplacetest.House) string {
			return `{"client":"t","n":99,"at":7,"case":"K-1","stage":"first","text":` + workplacetest.JSONText(badge(h, "B-2")) + `}`
		}, events.KindSetCounted},
	} {
		t.Run(test.name, func(t *testing.T) {
			h := workplacetest.NewHouse(t, "VAS-003")
			h.T = t
			h.After(time.Hour)
			test.prepare(h)
			h.After(time.Minute)
			first, before := h.Clock(), h.Size()
			a := h.FailOnce(test.path, test.body(h))
			if h.Size() != before+1 {
				t.Fatalf("%d records: %v", h.Size()-before, a["words"])
			}
			e, err := h.Site.EventAt(h.Size())
			if err != nil {
				t.Fatal(err)
			}
			if e.Kind() != test.kind || !e.Time.Equal(first) {
				t.Errorf("%s of %s, sent first at %s", e.Kind(), e.Time, first)
			}
			// And once more, should only the answer have been lost.
			again := h.Post(test.path, test.body(h))
			if h.Size() != before+1 || again["go"] != a["go"] {
				t.Errorf("sent a third time: %d records, %v", h.Size()-before, again)
			}
		})
	}
}

// TestButtonsCountOnce: a button that changes all sets of a case, and failed
// half-way, changes each of them once when it is sent again.
func TestButtonsCountOnce(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003", "VAS-004")
	h.Open("VAS-003", "K-1")
	h.Open("VAS-004", "K-1")
	c := &workplacetest.Counter{House: h, Ref: "K-1", Stage: "first"}
	c.Scan(workplacetest.Label(t, events.ScanSet, "VAS-003")) // makes the first draft
	in := filepath.Join(h.Site.Dir(), "drafts", "count", "K-1", "VAS-004%20first.json")
	if err := os.MkdirAll(filepath.Join(in, "in the way"), 0o700); err != nil {
		t.Fatal(err)
	}
	path, body := "/at/north/or-3/count/do", `{"client":"t","n":50,"case":"K-1","stage":"first","action":"by-place","fields":{}}`
	if a := h.Post(path, body); a["why"] != "failed" {
		t.Fatalf("%v", a)
	}
	if err := os.RemoveAll(in); err != nil {
		t.Fatal(err)
	}
	for range 2 {
		if a := h.Post(path, body); a["state"].(map[string]any)["byPlace"] != true {
			t.Errorf("sent again: %v", a)
		}
	}
}
