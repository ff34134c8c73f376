package door_test

import (
	"encoding/json"
	"errors"
	"io/fs"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"listbound/cmd/internal/door"
	"listbound/cmd/internal/site"
	"listbound/events"
)

const (
	toldCase   = "K-QUASTENFLOSSER-7"
	toldReason = "clamp on the floor, Dr. Zwickenbart saw it"
)

// holds returns the files and folders that have a text in them or in their name, as it is or as addresses have it.
func holds(t *testing.T, dir, text string) (found []string) {
	t.Helper()
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if errors.Is(err, fs.ErrNotExist) { // it is written anew under its own name
			return nil
		}
		if err != nil {
			return err
		}
		rel, _ := filepath.Rel(dir, path)
		raw := []byte(rel)
		if d.Type().IsRegular() {
			switch raw, err = os.ReadFile(path); {
			case errors.Is(err, fs.ErrNotExist):
				return nil
			case err != nil:
				return err
			}
		}
		for _, form := range []string{text, url.QueryEscape(text)} {
			if strings.Contains(rel+"\n"+string(raw), form) {
				found = append(found, rel)
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return found
}

// toldOf has a case told of in every way that leaves something in the folder.
func (h *house) toldOf(t *testing.T) {
	t.Helper()
	all := &caller{h: h, token: h.token(t, door.Records, "*")}
	w := all.ask(t, t.Context(), http.MethodPost, "/api/observations", "application/jsonl",
		`{"station":"north/or-1","kind":"set.opened","time":"2026-03-02T09:00:00Z","set":"LAP-001","data":{"case":"`+toldCase+`"}}
{"station":"north/or-1","kind":"case.closed","time":"2026-03-02T10:00:00Z","operator":"B-1","data":{"case":"`+toldCase+
			`","outcome":"unreconciled","actions":["told to the surgeon"],"reason":"`+toldReason+`"}}
`)
	if strings.Contains(w.Body.String(), "error") {
		t.Fatal(w.Body)
	}
	station := h.atStation(t, "north/or-1")
	w = station.ask(t, t.Context(), http.MethodPost, "/at/north/or-1/opening/scan", "application/json",
		`{"client":"c1","n":1,"text":"`+toldCase+`"}`)
	if w.Code != http.StatusOK {
		t.Fatal(w.Body)
	}
	if code, text := h.signedIn(t, "investigates").get(t, "/history?case="+toldCase); code != http.StatusOK {
		t.Fatal(text)
	}
	for _, file := range []string{"drafts", "door/reads-", "readmodel.db", "addenda"} {
		found := holds(t, h.dir, toldCase)
		if !strings.Contains(strings.Join(found, "\n"), file) && file != "addenda" { // there it stands in base64
			t.Fatalf("%s is not among what has the case: %v", file, found)
		}
	}
}

// TestRedactionAtAServer: a lead takes a case out on the page while others ask and record; afterwards no file of the folder
// has it, and the ledger is whole.
func TestRedactionAtAServer(t *testing.T) {
	h := newHouse(t)
	h.toldOf(t)
	lead := h.signedIn(t, "leads")
	form := url.Values{"case": {toldCase}, "reason": {"asked for by the person"}, "badge": {"B-1"}}
	code, text := lead.post(t, "/texts/find", form)
	if code != http.StatusOK || !strings.Contains(text, toldReason) || !strings.Contains(text, `action="/texts/redact"`) ||
		!strings.Contains(text, "drafts/bench") {
		t.Fatalf("%d: what is found is not shown: %s", code, text)
	}
	if len(holds(t, h.dir, toldCase)) == 0 {
		t.Fatal("asking took it out")
	}
	ended := make(chan struct{})
	var busy sync.WaitGroup
	for _, path := range []string{"/", "/history?set=LAP-001", "/api/near-misses", "/texts"} {
		reader := h.signedIn(t, "investigates")
		busy.Go(func() {
			for {
				select {
				case <-ended:
					return
				default:
				}
				if code, text := reader.get(t, path); code != http.StatusOK {
					t.Errorf("%s during a redaction: %d %s", path, code, text)
					return
				}
			}
		})
	}
	code, text = lead.post(t, "/texts/redact", form)
	close(ended)
	busy.Wait()
	if code != http.StatusOK || !strings.Contains(text, "taken out, of 2 records") || strings.Contains(text, toldCase) ||
		strings.Contains(text, toldReason) || strings.Contains(text, "still found") {
		t.Errorf("%d: %s", code, text)
	}
	for _, said := range []string{toldCase, toldReason} {
		if found := holds(t, h.dir, said); len(found) > 0 {
			t.Errorf("%s is still in %v", said, found)
		}
	}
	if v, err := h.site.Verify(t.Context(), nil); err != nil || !v.OK {
		t.Errorf("verify: %+v, %v", v, err)
	}
	if code, text := lead.get(t, "/history?set=LAP-001"); code != http.StatusOK || strings.Contains(text, toldCase) {
		t.Errorf("the set's history: %d, %s", code, text)
	}
}

// TestTextsByProgram: holds, retention and redactions over the programs' interface, by those who may.
func TestTextsByProgram(t *testing.T) {
	h := newHouse(t)
	h.toldOf(t)
	admin := &caller{h: h, token: h.tokens[door.Administers]}
	say := func(c *caller, kind events.Kind, data string) site.Receipt {
		t.Helper()
		h.clock.move(time.Second)
		w := c.ask(t, t.Context(), http.MethodPost, "/api/observations", "application/jsonl",
			`{"station":"north/ledger","kind":"`+string(kind)+`","time":"`+h.clock.now().Format(time.RFC3339)+
				`","operator":"B-1","data":`+data+"}\n")
		var r site.Receipt
		if err := json.Unmarshal(w.Body.Bytes(), &r); err != nil {
			t.Fatalf("%d %s", w.Code, w.Body)
		}
		return r
	}
	redact := func(c *caller, body string) (int, string, site.Redacted) {
		t.Helper()
		w := c.ask(t, t.Context(), http.MethodPost, "/api/texts/redact", "application/json", body)
		var out site.Redacted
		if w.Code == http.StatusOK {
			if err := json.Unmarshal(w.Body.Bytes(), &out); err != nil {
				t.Fatal(err)
			}
		}
		return w.Code, w.Body.String(), out
	}
	if r := say(admin, events.KindHoldPlaced, `{"hold":"H-1","case":"`+toldCase+`","reason":"court"}`); r.Error != "" {
		t.Fatalf("%+v", r)
	}
	if r := say(&caller{h: h, token: h.tokens[door.Records]}, events.KindHoldLifted, `{"hold":"H-1","reason":"x"}`); r.Error == "" {
		t.Error("a station lifted a hold")
	}
	asked := `{"case":"` + toldCase + `","reason":"asked for","operator":"B-1"}`
	if code, text, _ := redact(admin, asked); code != http.StatusBadRequest || !strings.Contains(text, "legal hold H-1 keeps") {
		t.Errorf("held: %d %s", code, text)
	}
	auditor := &caller{h: h, token: h.tokens[door.Audits]}
	if code, text := auditor.get(t, "/api/texts"); code != http.StatusOK || !strings.Contains(text, `"days":0`) ||
		!strings.Contains(text, `"hold":"H-1"`) || !strings.Contains(text, `"reason":"court"`) {
		t.Errorf("%d %s", code, text)
	}
	if r := say(admin, events.KindHoldLifted, `{"hold":"H-1","reason":"ruled"}`); r.Error != "" {
		t.Fatalf("%+v", r)
	}
	if code, text, _ := redact(admin, `{"cases":"x"}`); code != http.StatusBadRequest {
		t.Errorf("an unknown member: %d %s", code, text)
	}
	if _, _, out := redact(admin, `{"case":"`+toldCase+`","check":true}`); out.Texts != 3 || len(out.Found) != 3 || len(out.By) > 0 {
		t.Errorf("checked: %+v", out)
	}
	if _, text, out := redact(admin, asked); out.Texts != 3 || len(out.By) != 1 || len(out.Left) > 0 || strings.Contains(text, toldCase) {
		t.Errorf("taken out: %s", text)
	}
	// What was asked for in an address since, to see that it is gone, is a question that somebody typed.
	if found := holds(t, h.dir, toldReason); len(found) > 0 {
		t.Errorf("still in %v", found)
	}
}

// TestOwnBadgeTakesOut: who has a badge takes texts out under that one.
func TestOwnBadgeTakesOut(t *testing.T) {
	h := newHouse(t)
	h.toldOf(t)
	form := url.Values{"login": {"carla"}, "name": {"Carla"}, "badge": {"B-77"}, "role": {string(door.Leads)}}
	_, text := h.admin.post(t, "/people/add", form)
	c := &caller{h: h}
	if code, text := c.post(t, "/code", url.Values{"code": {secretIn(t, text)}, "login": {"carla"}, "password": {password},
		"again": {password}}); code != http.StatusSeeOther {
		t.Fatal(text)
	}
	form = url.Values{"case": {toldCase}, "reason": {"asked for"}, "badge": {"B-1"}}
	if code, text := c.post(t, "/texts/redact", form); code != http.StatusForbidden || !strings.Contains(text, "B-77") {
		t.Errorf("under another badge: %d %s", code, text)
	}
	if len(holds(t, h.dir, toldCase)) == 0 {
		t.Error("it was taken out")
	}
	form.Set("badge", "B-77")
	if code, text := c.post(t, "/texts/redact", form); code != http.StatusOK || len(holds(t, h.dir, toldCase)) > 0 {
		t.Errorf("under the own badge: %d %s", code, text)
	}
}

// TestTextsPage: a lead places and ends a hold and says for how long texts are kept, on the page, in both languages; what is
// not said is asked for.
func TestTextsPage(t *testing.T) {
	h := newHouse(t)
	lead := h.signedIn(t, "leads")
	lead.head = http.Header{"Accept-Language": {"de"}}
	try := func(path string, want int, says string, form url.Values) {
		t.Helper()
		h.clock.move(time.Second)
		if code, text := lead.post(t, path, form); code != want || !strings.Contains(text, says) {
			t.Errorf("%s %v: %d, want %d and %q: %s", path, form, code, want, says, text)
		}
	}
	size := h.site.Size()
	try("/texts/hold", http.StatusUnprocessableEntity, "Wessen Ausweis?", url.Values{"hold": {"H-9"}, "reason": {"Gericht"}})
	try("/texts/hold", http.StatusUnprocessableEntity, "Bitte begründen", url.Values{"hold": {"H-9"}, "badge": {"B-1"}})
	try("/texts/hold", http.StatusBadRequest, `role="alert"`, url.Values{"reason": {"Gericht"}, "badge": {"B-1"}})
	try("/texts/keep", http.StatusUnprocessableEntity, "„bald“ ist keine Zahl", url.Values{"days": {"bald"}, "badge": {"B-1"}})
	try("/texts/find", http.StatusBadRequest, "Eines von dreien", url.Values{"reason": {"x"}, "badge": {"B-1"}})
	try("/texts/find", http.StatusBadRequest, "kein Text", url.Values{"case": {"K-NONE"}, "reason": {"x"}, "badge": {"B-1"}})
	try("/texts/find", http.StatusUnprocessableEntity, "„zwei“ ist keine Zahl",
		url.Values{"records": {"1, zwei"}, "reason": {"x"}, "badge": {"B-1"}})
	try("/texts/find", http.StatusBadRequest, "Aufzeichnung 4711", url.Values{"records": {"4711"}, "reason": {"x"}, "badge": {"B-1"}})
	if h.site.Size() != size {
		t.Error("what was refused is on record")
	}
	try("/texts/hold", http.StatusOK, "Löschsperre H-9 aufheben",
		url.Values{"hold": {"H-9"}, "set": {"LAP-001"}, "reason": {"Gericht"}, "badge": {"B-1"}})
	try("/texts/keep", http.StatusOK, "3650 Tage nach dem", url.Values{"days": {"3650"}, "badge": {"B-1"}})
	lead.head = nil
	try("/texts/lift", http.StatusOK, "No legal hold is in force", url.Values{"hold": {"H-9"}, "reason": {"ruled"}, "badge": {"B-1"}})
	if code, text := lead.get(t, "/texts"); code != http.StatusOK || !strings.Contains(text, "3650 days after") {
		t.Errorf("%d %s", code, text)
	}
}
