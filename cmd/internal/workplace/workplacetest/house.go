// Package workplacetest has a hospital for the tests of the stations' pages, people who work at them without a browser, and a
// browser.
package workplacetest

import (
	"fmt"
	"io"
	"log/slog"
	"maps"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
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

// Morning is when the house's invented day begins.
var Morning = time.Date(2026, 3, 4, 6, 0, 0, 0, time.UTC)

// House is a hospital with twins: LAP-014 and LAP-022 have word-for-word equal
// lists of 60 lines. VAS-003 has a short list and stands alone.
type House struct {
	T      *testing.T
	Site   *site.Site
	URL    string
	Goods  []events.Line     // on its count sheets
	Codes  map[string]string // sheet codes by set
	Trips  map[string]string
	Now    atomic.Int64 // nanoseconds
	Shorts int64        // versions that were issued of the list that random sessions pack by
	Cut    atomic.Bool  // the line to the server is dead
	// The browser keeps the station's pages, for tests in which the server is away: it fetches nine pages for that, which in
	// all others took a quarter of its CPU.
	Worker  atomic.Bool
	Version string // of the program, where it matters
	// Proxy answers in the server's place, where it is set.
	Proxy atomic.Pointer[http.HandlerFunc]
}

func (h *House) Clock() time.Time      { return time.Unix(0, h.Now.Load()).UTC() }
func (h *House) After(d time.Duration) { h.Now.Add(int64(d)) }

const Lines60 = 60

func List60() *events.ListIssued {
	l := &events.ListIssued{List: "LAP-MAJOR", Version: 1, Title: "Laparotomy, major"}
	kinds := []string{"Forceps, mosquito, curved, 12.5 cm", "Forceps, artery, straight, 18 cm",
		"Needle holder, 20 cm", "Scissors, dissecting, 18 cm",
		"Retractor, abdominal, blade 60 mm", "Clamp, intestinal, soft, 24 cm"}
	for i := range Lines60 {
		l.Lines = append(l.Lines, events.Line{Line: int64(i + 1), Item: fmt.Sprintf("INS-%03d", i+1),
			Description: fmt.Sprintf("%s (%d)", kinds[i%len(kinds)], i+1), Quantity: int64(1 + i%6)})
	}
	return l
}

func ListShort() *events.ListIssued {
	return &events.ListIssued{List: "VAS-MINOR", Version: 1, Title: "Vascular, minor", Lines: []events.Line{
		{Line: 1, Item: "INS-001", Description: "Forceps, mosquito, curved, 12.5 cm (1)", Quantity: 4},
		{Line: 2, Item: "VAS-002", Description: "Clamp, vascular, angled, 22 cm", Quantity: 2},
		{Line: 3, Item: "VAS-003", Description: "Probe, olive tip, 14 cm", Quantity: 3},
	}}
}

// Goods are sponges, needles and vessel loops, as a site's list has them.
func Goods() *events.ListIssued {
	return &events.ListIssued{List: "GOODS", Version: 1, Title: "Counted in every room", Goods: true, Lines: []events.Line{
		{Line: 1, Item: "GZ-1010", Description: "Gauze, X-ray detectable, 10 x 10 cm", Quantity: 10, Sort: events.Sponges},
		{Line: 2, Item: "ND-CT1", Description: "Needle, CT-1", Quantity: 1, Sort: events.Sharps},
		{Line: 3, Item: "VL-1", Description: "Vessel loop", Quantity: 2, Sort: events.SmallItems},
	}}
}

func NewHouse(t *testing.T, sets ...string) *House {
	t.Helper()
	return furnishedHouse(t, nil, sets...)
}

// HouseWithGoods is a house that has a list of goods from before its sets were packed.
func HouseWithGoods(t *testing.T, sets ...string) *House {
	t.Helper()
	return furnishedHouse(t, Goods(), sets...)
}

// HouseWith is a house whose site has options of its own.
func HouseWith(t *testing.T, o site.Options, sets ...string) *House {
	t.Helper()
	h := emptyHouse(t)
	o.Dir, o.Name, o.Clock, o.EnrolOnSight = t.TempDir(), "north", h.Clock, true
	h.Site = sitetest.Open(t, o)
	h.furnish(nil, sets)
	h.serve()
	return h
}

// furnished are the houses that tests have begun with, by their goods and sets, and the files that their folders consisted of.
// Hundreds of tests begin with one of a few: recording it anew took half as long as all that a test does.
var furnished struct {
	sync.Mutex
	houses map[string]*kept
}

type kept struct {
	house *House
	files sitetest.Files
}

// furnishedHouse is a house in a folder of its own, recorded once for all tests.
func furnishedHouse(t *testing.T, goods *events.ListIssued, sets ...string) *House {
	t.Helper()
	k := furnishedOnce(t, goods, sets)
	h := emptyHouse(t)
	h.Now.Store(k.house.Now.Load())
	h.Goods, h.Codes, h.Trips = k.house.Goods, maps.Clone(k.house.Codes), maps.Clone(k.house.Trips)
	h.Site = sitetest.Open(t, site.Options{Dir: k.files.Write(t), Name: "north", Clock: h.Clock, EnrolOnSight: true})
	h.serve()
	return h
}

func furnishedOnce(t *testing.T, goods *events.ListIssued, sets []string) *kept {
	t.Helper()
	furnished.Lock()
	defer furnished.Unlock()
	of := fmt.Sprint(goods != nil, sets)
	if k := furnished.houses[of]; k != nil {
		return k
	}
	k := &kept{house: emptyHouse(t)}
	dir := t.TempDir()
	var err error
	k.house.Site, err = site.Open(t.Context(), site.Options{Dir: dir, Name: "north", Clock: k.house.Clock, EnrolOnSight: true})
	if err != nil {
		t.Fatal(err)
	}
	k.house.furnish(goods, sets)
	if err := k.house.Site.Close(); err != nil {
		t.Fatal(err)
	}
	k.house.T, k.house.Site = nil, nil
	k.files = sitetest.Keep(t, dir)
	if furnished.houses == nil {
		furnished.houses = make(map[string]*kept)
	}
	furnished.houses[of] = k
	return k
}

func emptyHouse(t *testing.T) *House {
	h := &House{T: t, Codes: make(map[string]string), Trips: make(map[string]string)}
	h.Now.Store(Morning.UnixNano())
	return h
}

// furnish records lists, goods where there are any, and sets that are packed, closed and sterilized.
func (h *House) furnish(goods *events.ListIssued, sets []string) {
	h.T.Helper()
	h.Record("north/packing-1", events.KindListIssued, "", List60())
	h.Record("north/packing-1", events.KindListIssued, "", ListShort())
	if goods != nil {
		h.Record("north/packing-1", events.KindListIssued, "", goods)
		h.Goods = goods.Lines
	}
	for _, name := range []string{"sterilizer-1", "storage", "or-3"} {
		if _, err := h.Site.Enrol(h.T.Context(), "north/"+name, "", "test"); err != nil {
			h.T.Fatal(err)
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
		h.Trips[set] = h.Record("north/packing-1", events.KindSetPacked, set, &events.SetPacked{List: list,
			Version: 1, WeightGrams: 8400}).Trip
		h.Codes[set] = h.Record("north/packing-1", events.KindListSealed, set,
			&events.ListSealed{Placement: events.Outside, Seals: []string{"48392" + set[len(set)-1:]}}).SheetCode
		h.Record("north/sterilizer-1", events.KindSetSterilized, set, &events.SetSterilized{Load: "S1-0304-01",
			Sterilizer: "S1", Run: 1, Cycle: "dynamic-air-132", Result: "passed", Released: true})
	}
}

// serve serves the workplaces until the test ends.
func (h *House) serve() {
	h.T.Helper()
	handler := h.Handler()
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if p := h.Proxy.Load(); p != nil && r.Method == http.MethodPost {
			(*p)(w, r)
			return
		}
		if h.Cut.Load() {
			if c, _, err := http.NewResponseController(w).Hijack(); err == nil {
				c.Close()
			}
			return
		}
		if strings.HasSuffix(r.URL.Path, "/sw.js") && !h.Worker.Load() {
			http.NotFound(w, r)
			return
		}
		handler.ServeHTTP(w, r)
	}))
	h.T.Cleanup(func() { srv.CloseClientConnections(); srv.Close() })
	h.URL = srv.URL
}

// Handler serves the workplaces alone, with the headers that the server gives all answers.
func (h *House) Handler() http.Handler { return h.HandlerFor(false) }

// HandlerFor serves them as those for practice, too.
func (h *House) HandlerFor(practice bool) http.Handler {
	h.T.Helper()
	log := slog.New(slog.DiscardHandler)
	sh := shell.New(h.Site.Name(), h.Site.Local(), h.Clock, log)
	mux := http.NewServeMux()
	sh.Register(mux)
	prefix := ""
	if practice {
		prefix = "/practice"
	}
	if err := workplace.Register(mux, sh, h.Site, workplace.Options{Prefix: prefix, Practice: practice, Locks: 1,
		OtherPrefix: "-", Version: h.Version, Log: log}); err != nil {
		h.T.Fatal(err)
	}
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Cache-Control", "no-store")
		w.Header().Set("Content-Security-Policy", "default-src 'self'; frame-ancestors 'none'; base-uri 'none'; form-action 'self'")
		mux.ServeHTTP(w, r)
	})
}

// Record records one observation, two minutes after the last.
func (h *House) Record(station string, kind events.Kind, set string, data events.Data) site.Receipt {
	h.T.Helper()
	h.After(2 * time.Minute)
	o := &events.Observation{Station: station, Kind: kind, Time: h.Clock(), Set: set, Operator: "B-1182", Data: data}
	line, err := events.FormatObservation(o)
	if err != nil {
		h.T.Fatal(err)
	}
	var out site.Receipt
	err = h.Site.Record(h.T.Context(), strings.NewReader(string(line)+"\n"), func(r site.Receipt) error { out = r; return nil })
	if err != nil || out.Error != "" {
		h.T.Fatalf("%s: %v %s", line, err, out.Error)
	}
	return out
}

// Open opens a set properly for a case.
func (h *House) Open(set, ref string) {
	h.T.Helper()
	h.Record("north/or-3", events.KindSetOpened, set, &events.SetOpened{Case: ref, Tag: set, OuterLabel: set,
		Sheet: &events.Reading{Found: "outside", Code: h.Codes[set]}, Seals: []string{"48392" + set[len(set)-1:]}, Indicator: "pass"})
}

// Used opens sets for a case that is then closed: they are on their way back.
func (h *House) Used(ref string, sets ...string) {
	h.T.Helper()
	for _, set := range sets {
		h.Open(set, ref)
	}
	h.Record("north/or-3", events.KindCaseClosed, "", &events.CaseClosed{Case: ref, Outcome: "reconciled", Actions: []string{}})
}

// Packed packs and closes sets that were used, so that they are ready for a load.
func (h *House) Packed(sets ...string) {
	h.T.Helper()
	for _, set := range sets {
		h.Used("K-"+set, set)
		list := "LAP-MAJOR"
		if strings.HasPrefix(set, "VAS") {
			list = "VAS-MINOR"
		}
		h.Record("north/packing-1", events.KindSetPacked, set, &events.SetPacked{List: list, Version: 1, WeightGrams: 8400})
		h.Codes[set] = h.Record("north/packing-1", events.KindListSealed, set, &events.ListSealed{Placement: events.Outside}).SheetCode
	}
}

func (h *House) At(place string) string { return h.URL + "/at/north/or-3/" + place }

// Events returns the data of all events of a kind, with the texts that stand beside their records.
func (h *House) Events(q site.Query, kind events.Kind) []events.Data {
	h.T.Helper()
	hist, err := h.Site.History(h.T.Context(), q)
	if err != nil {
		h.T.Fatal(err)
	}
	var out []events.Data
	for _, line := range hist.Events {
		if line.Kind != string(kind) {
			continue
		}
		e, err := h.Site.EventAt(line.Seq)
		if err != nil {
			h.T.Fatal(err)
		}
		out = append(out, e.Data)
	}
	return out
}

// Size is the number of records in the ledger.
func (h *House) Size() int64 { return h.Site.Size() }

func Label(t *testing.T, kind events.ScanKind, id string) string {
	t.Helper()
	s, err := events.LabelText(kind, id)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// Post sends what a page sends, without a browser.
func (h *House) Post(path, body string) map[string]any {
	h.T.Helper()
	res, err := http.Post(h.URL+path, "application/json", strings.NewReader(body))
	if err != nil {
		h.T.Fatal(err)
	}
	defer res.Body.Close()
	raw, err := io.ReadAll(res.Body)
	if err != nil {
		h.T.Fatal(err)
	}
	var out map[string]any
	if err := json.Unmarshal(raw, &out); err != nil {
		h.T.Fatalf("%s: %s", path, raw)
	}
	return out
}

// Get fetches a page without a browser.
func (h *House) Get(path string) string {
	h.T.Helper()
	res, err := http.Get(h.URL + path)
	if err != nil {
		h.T.Fatal(err)
	}
	defer res.Body.Close()
	raw, err := io.ReadAll(res.Body)
	if err != nil {
		h.T.Fatal(err)
	}
	return string(raw)
}

// The sizes that are looked at.
var (
	Wall   = browsertest.Size{Name: "wall", Width: 1920, Height: 1080}
	Tablet = browsertest.Size{Name: "tablet", Width: 1024, Height: 768}
	Phone  = browsertest.Size{Name: "phone", Width: 390, Height: 844}
)

// ChangesPolicy adopts the policy with a change.
func (h *House) ChangesPolicy(change func(p *events.Policy)) {
	h.T.Helper()
	st, err := h.Site.Policy(h.T.Context())
	if err != nil {
		h.T.Fatal(err)
	}
	p := st.Policy
	change(&p)
	h.Record("north/packing-1", events.KindPolicyAdopted, "", &events.PolicyAdopted{Policy: p})
}
