package workplace_test

import (
	"io"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/go-json-experiment/json"
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
	if code, v, raw := send(`{"client":"t","n":1,"text":"` + strings.Repeat("x", 2<<20) + `"}`); code != http.StatusRequestEntityTooLarge || v["why"] != "too-large" {
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
