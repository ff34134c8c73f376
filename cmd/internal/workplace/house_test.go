package workplace_test

import (
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/go-json-experiment/json"

	"listbound/cmd/internal/browsertest"
	"listbound/cmd/internal/shell"
	"listbound/cmd/internal/site"
	"listbound/cmd/internal/sitetest"
	"listbound/cmd/internal/workplace"
	"listbound/events"
)

// morning is when the house's invented day begins.
var morning = time.Date(2026, 3, 4, 6, 0, 0, 0, time.UTC)

// house is a hospital with twins: LAP-014 and LAP-022 have word-for-word equal
// lists of 60 lines. VAS-003 has a short list and stands alone.
type house struct {
	t      *testing.T
	site   *site.Site
	url    string
	codes  map[string]string // sheet codes by set
	trips  map[string]string
	now    atomic.Int64 // nanoseconds
	shorts int64        // versions that were issued of the list that random sessions pack by
	cut    atomic.Bool  // the line to the server is dead
	// The browser keeps the station's pages, for tests in which the server is away: it fetches nine pages for that, which in
	// all others took a quarter of its CPU.
	worker  atomic.Bool
	version string // of the program, where it matters
	// proxy answers in the server's place, where it is set.
	proxy atomic.Pointer[http.HandlerFunc]
}

func (h *house) clock() time.Time      { return time.Unix(0, h.now.Load()).UTC() }
func (h *house) after(d time.Duration) { h.now.Add(int64(d)) }

const lines60 = 60

func list60() *events.ListIssued {
	l := &events.ListIssued{List: "LAP-MAJOR", Version: 1, Title: "Laparotomy, major"}
	kinds := []string{"Forceps, mosquito, curved, 12.5 cm", "Forceps, artery, straight, 18 cm",
		"Needle holder, 20 cm", "Scissors, dissecting, 18 cm",
		"Retractor, abdominal, blade 60 mm", "Clamp, intestinal, soft, 24 cm"}
	for i := range lines60 {
		l.Lines = append(l.Lines, events.Line{Line: int64(i + 1), Item: fmt.Sprintf("INS-%03d", i+1),
			Description: fmt.Sprintf("%s (%d)", kinds[i%len(kinds)], i+1), Quantity: int64(1 + i%6)})
	}
	return l
}

func listShort() *events.ListIssued {
	return &events.ListIssued{List: "VAS-MINOR", Version: 1, Title: "Vascular, minor", Lines: []events.Line{
		{Line: 1, Item: "INS-001", Description: "Forceps, mosquito, curved, 12.5 cm (1)", Quantity: 4},
		{Line: 2, Item: "VAS-002", Description: "Clamp, vascular, angled, 22 cm", Quantity: 2},
		{Line: 3, Item: "VAS-003", Description: "Probe, olive tip, 14 cm", Quantity: 3},
	}}
}

func newHouse(t *testing.T, sets ...string) *house {
	t.Helper()
	return houseWith(t, site.Options{}, sets...)
}

// houseWith is a house whose site has options of its own.
func houseWith(t *testing.T, o site.Options, sets ...string) *house {
	t.Helper()
	h := &house{t: t, codes: make(map[string]string), trips: make(map[string]string)}
	h.now.Store(morning.UnixNano())
	o.Dir, o.Name, o.Clock, o.EnrolOnSight = t.TempDir(), "north", h.clock, true
	h.site = sitetest.Open(t, o)
	h.record("north/packing-1", events.KindListIssued, "", list60())
	h.record("north/packing-1", events.KindListIssued, "", listShort())
	for _, name := range []string{"sterilizer-1", "storage", "or-3"} {
		if _, err := h.site.Enrol(t.Context(), "north/"+name, "", "test"); err != nil {
			t.Fatal(err)
		}
	}
	if len(sets) == 0 {
		sets = []string{"LAP-014", "LAP-022", "VAS-003"}
	}
	for _, set := range sets {
		list := "LAP-MAJOR"
		if strings.HasPrefix(set, "VAS") {
			list = "VAS-MINOR"
		}
		h.trips[set] = h.record("north/packing-1", events.KindSetPacked, set, &events.SetPacked{List: list,
			Version: 1, WeightGrams: 8400}).Trip
		h.codes[set] = h.record("north/packing-1", events.KindListSealed, set,
			&events.ListSealed{Placement: events.Outside, Seals: []string{"48392" + set[len(set)-1:]}}).SheetCode
		h.record("north/sterilizer-1", events.KindSetSterilized, set, &events.SetSterilized{Load: "S1-0304-01",
			Sterilizer: "S1", Run: 1, Cycle: "dynamic-air-132", Result: "passed", Released: true})
	}
	handler := h.handler()
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if p := h.proxy.Load(); p != nil && r.Method == http.MethodPost {
			(*p)(w, r)
			return
		}
		if h.cut.Load() {
			if c, _, err := http.NewResponseController(w).Hijack(); err == nil {
				c.Close()
			}
			return
		}
		if strings.HasSuffix(r.URL.Path, "/sw.js") && !h.worker.Load() {
			http.NotFound(w, r)
			return
		}
		handler.ServeHTTP(w, r)
	}))
	t.Cleanup(func() { srv.CloseClientConnections(); srv.Close() })
	h.url = srv.URL
	return h
}

// handler serves the workplaces alone, with the headers that the server gives all answers.
func (h *house) handler() http.Handler { return h.handlerFor(false) }

// handlerFor serves them as those for practice, too.
func (h *house) handlerFor(practice bool) http.Handler {
	h.t.Helper()
	log := slog.New(slog.DiscardHandler)
	sh := shell.New(h.site.Name(), h.site.Local(), h.clock, log)
	mux := http.NewServeMux()
	sh.Register(mux)
	prefix := ""
	if practice {
		prefix = "/practice"
	}
	if err := workplace.Register(mux, sh, h.site, workplace.Options{Prefix: prefix, Practice: practice,
		OtherPrefix: "-", Version: h.version, Log: log}); err != nil {
		h.t.Fatal(err)
	}
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Cache-Control", "no-store")
		w.Header().Set("Content-Security-Policy", "default-src 'self'; frame-ancestors 'none'; base-uri 'none'; form-action 'self'")
		mux.ServeHTTP(w, r)
	})
}

// record records one observation, two minutes after the last.
func (h *house) record(station string, kind events.Kind, set string, data events.Data) site.Receipt {
	h.t.Helper()
	h.after(2 * time.Minute)
	o := &events.Observation{Station: station, Kind: kind, Time: h.clock(), Set: set, Operator: "B-1182", Data: data}
	line, err := events.FormatObservation(o)
	if err != nil {
		h.t.Fatal(err)
	}
	var out site.Receipt
	err = h.site.Record(h.t.Context(), strings.NewReader(string(line)+"\n"), func(r site.Receipt) error { out = r; return nil })
	if err != nil || out.Error != "" {
		h.t.Fatalf("%s: %v %s", line, err, out.Error)
	}
	return out
}

// open opens a set properly for a case.
func (h *house) open(set, ref string) {
	h.t.Helper()
	h.record("north/or-3", events.KindSetOpened, set, &events.SetOpened{Case: ref, Tag: set, OuterLabel: set,
		Sheet: &events.Reading{Found: "outside", Code: h.codes[set]}, Seals: []string{"48392" + set[len(set)-1:]}, Indicator: "pass"})
}

// used opens sets for a case that is then closed: they are on their way back.
func (h *house) used(ref string, sets ...string) {
	h.t.Helper()
	for _, set := range sets {
		h.open(set, ref)
	}
	h.record("north/or-3", events.KindCaseClosed, "", &events.CaseClosed{Case: ref, Outcome: "reconciled", Actions: []string{}})
}

// packed packs and closes sets that were used, so that they are ready for a load.
func (h *house) packed(sets ...string) {
	h.t.Helper()
	for _, set := range sets {
		h.used("K-"+set, set)
		list := "LAP-MAJOR"
		if strings.HasPrefix(set, "VAS") {
			list = "VAS-MINOR"
		}
		h.record("north/packing-1", events.KindSetPacked, set, &events.SetPacked{List: list, Version: 1, WeightGrams: 8400})
		h.codes[set] = h.record("north/packing-1", events.KindListSealed, set, &events.ListSealed{Placement: events.Outside}).SheetCode
	}
}

func (h *house) at(place string) string { return h.url + "/at/north/or-3/" + place }

// events returns the data of all events of a kind, with the texts that stand beside their records.
func (h *house) events(q site.Query, kind events.Kind) []events.Data {
	h.t.Helper()
	hist, err := h.site.History(h.t.Context(), q)
	if err != nil {
		h.t.Fatal(err)
	}
	var out []events.Data
	for _, line := range hist.Events {
		if line.Kind != string(kind) {
			continue
		}
		e, err := h.site.EventAt(line.Seq)
		if err != nil {
			h.t.Fatal(err)
		}
		out = append(out, e.Data)
	}
	return out
}

// size is the number of records in the ledger.
func (h *house) size() int64 { return h.site.Size() }

func label(t *testing.T, kind events.ScanKind, id string) string {
	t.Helper()
	s, err := events.LabelText(kind, id)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// post sends what a page sends, without a browser.
func (h *house) post(path, body string) map[string]any {
	h.t.Helper()
	res, err := http.Post(h.url+path, "application/json", strings.NewReader(body))
	if err != nil {
		h.t.Fatal(err)
	}
	defer res.Body.Close()
	raw, err := io.ReadAll(res.Body)
	if err != nil {
		h.t.Fatal(err)
	}
	var out map[string]any
	if err := json.Unmarshal(raw, &out); err != nil {
		h.t.Fatalf("%s: %s", path, raw)
	}
	return out
}

// get fetches a page without a browser.
func (h *house) get(path string) string {
	h.t.Helper()
	res, err := http.Get(h.url + path)
	if err != nil {
		h.t.Fatal(err)
	}
	defer res.Body.Close()
	raw, err := io.ReadAll(res.Body)
	if err != nil {
		h.t.Fatal(err)
	}
	return string(raw)
}

// The sizes that are looked at.
var (
	wall   = browsertest.Size{Name: "wall", Width: 1920, Height: 1080}
	tablet = browsertest.Size{Name: "tablet", Width: 1024, Height: 768}
	phone  = browsertest.Size{Name: "phone", Width: 390, Height: 844}
)

// TestEveryPlaceHasAPage: each row of workplaces() shows a page of its own, also
// with nothing on the bench.
func TestEveryPlaceHasAPage(t *testing.T) {
	h := newHouse(t)
	for _, place := range workplace.Places() {
		res, err := http.Get(h.at(place))
		if err != nil {
			t.Fatal(err)
		}
		res.Body.Close()
		if res.StatusCode != http.StatusOK {
			t.Errorf("the page of %s is answered %d: does a file in templates/ define bench-%[1]s?", place, res.StatusCode)
		}
	}
}

// changesPolicy adopts the policy with a change.
func (h *house) changesPolicy(change func(p *events.Policy)) {
	h.t.Helper()
	st, err := h.site.Policy(h.t.Context())
	if err != nil {
		h.t.Fatal(err)
	}
	p := st.Policy
	change(&p)
	h.record("north/packing-1", events.KindPolicyAdopted, "", &events.PolicyAdopted{Policy: p})
}
