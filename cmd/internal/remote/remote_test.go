package remote_test

import (
	"bytes"
	"errors"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/go-json-experiment/json"
	"go.uber.org/goleak"

	"listbound/cmd/internal/bundle"
	"listbound/cmd/internal/refusal"
	"listbound/cmd/internal/remote"
	"listbound/cmd/internal/shell"
	"listbound/cmd/internal/site"
	"listbound/cmd/internal/sitetest"
	"listbound/cmd/internal/texts"
	"listbound/cmd/internal/web"
	"listbound/ledger"
	"listbound/projections/assess"
)

const observations = `{"station":"north/packing-1","kind":"list.issued","time":"2026-03-02T05:00:00Z","data":{"list":"LAP","version":1,"title":"Laparotomy","lines":[{"line":1,"item":"FCP-125","description":"Forceps","quantity":6}]}}
{"station":"north/packing-1","kind":"set.packed","time":"2026-03-02T06:10:00Z","set":"LAP-001","data":{"list":"LAP","version":1}}
{"station":"north/packing-1","kind":"set.packed","time":"2026-03-02T06:10:00Z","set":"LAP-002","data":{"list":"NOPE","version":1}}
{"station":"north/packing-1","kind":"set.opened","time":"2026-03-02T07:10:00Z","set":"LAP-001","data":{"case":"K-1"}}
`

func TestMain(m *testing.M) {
	goleak.VerifyTestMain(m,
		goleak.IgnoreAnyFunction("github.com/nats-io/nats-server/v2/server.(*fileStore).flushLoop"))
}

// pair returns a site and a client of the server that serves it.
func pair(t *testing.T) (*site.Site, *remote.Client, *httptest.Server) {
	t.Helper()
	at := time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)
	s := sitetest.Open(t, site.Options{Dir: t.TempDir(), Name: "north", Clock: func() time.Time { return at }})
	h, err := web.New(s, slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(err)
	}
	srv := httptest.NewServer(h)
	c, err := remote.New(srv.URL, srv.Client())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		err := c.Close()
		srv.Close()
		if err != nil {
			t.Error(err)
		}
	})
	return s, c, srv
}

func recordAll(t *testing.T, s site.Service) (out []site.Receipt) {
	t.Helper()
	if err := s.Record(t.Context(), strings.NewReader(observations), func(r site.Receipt) error {
		out = append(out, r)
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	return out
}

// TestSameAnswers: a server answers each question as the data folder does.
func TestSameAnswers(t *testing.T) {
	s, c, _ := pair(t)
	if r := recordAll(t, c); len(r) != 4 || !strings.Contains(r[0].Error, "not enrolled") {
		t.Fatalf("a stranger recorded: %+v", r)
	}
	if _, err := c.Enrol(t.Context(), "north/packing-1", "", "new"); err != nil {
		t.Fatal(err)
	}
	got := recordAll(t, c)
	if len(got) != 4 || got[1].Seq != 3 || got[1].Trip == "" || got[2].Line != 3 ||
		got[2].Error == "" || got[3].Seq != 4 {
		t.Fatalf("receipts %+v", got)
	}
	again := recordAll(t, s)
	if !again[1].Known || again[1].Seq != got[1].Seq {
		t.Errorf("the folder does not know what the server recorded: %+v", again[1])
	}
	kept, err := c.KeepRunLog(t.Context(), []byte("Time,T1\n0,20\n1,21\n"))
	if err != nil {
		t.Fatal(err)
	}
	if raw, err := s.RunLog(kept.Log); err != nil || string(raw) != "Time,T1\n0,20\n1,21\n" {
		t.Fatalf("%q, %v", raw, err)
	}
	run := `{"station":"north/packing-1","kind":"run.logged","time":"2026-03-02T08:00:00Z","operator":"B-1","data":{"load":"L",` +
		`"sterilizer":"S2","started":"2026-03-02T07:00:00Z","cycle":{"name":"c","source":"s","lowMilliC":134000,"holdSeconds":180},` +
		`"figures":{"points":1,"holdMillis":190000,"minMilliC":134100,"maxMilliC":135000},"log":"` + kept.Log + `","read":{"time":"Time",` +
		`"clock":"s","zone":"UTC","temperatures":["T1"],"temperatureUnit":"C","barometerPascal":101325}}}`
	err = c.Record(t.Context(), strings.NewReader(run+"\n"), func(r site.Receipt) error {
		if r.Error != "" {
			t.Error(r.Error)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	taken, err := c.ImportSchedule(t.Context(), []byte("case,start,lists\nK-5,3/4/2026 07:30,LAP\n"),
		site.ScheduleAsked{Operator: "B-1", Days: "mdy"})
	if err != nil || taken.New != 1 || taken.Recorded != 1 {
		t.Fatalf("%+v, %v", taken, err)
	}
	q := site.Query{Set: "LAP-001", Records: true}
	for name, ask := range map[string]func(site.Service) (any, error){
		"broken": func(x site.Service) (any, error) { return x.Broken(t.Context()) },
		"incidents": func(x site.Service) (any, error) {
			ins, err := x.Incidents(t.Context(), false, time.Time{})
			if err == nil && len(ins) == 0 {
				t.Error("no incident")
			}
			return ins, err
		},
		"rates": func(x site.Service) (any, error) {
			r, err := x.Rates(t.Context(), site.RatesQuery{Since: time.Date(2020, 1, 1, 0, 0, 0, 0, time.UTC),
				Until: time.Date(2030, 1, 1, 0, 0, 0, 0, time.UTC), Usual: 0.002, Raised: 0.004, Openings: true})
			if err == nil && len(r.Openings) != 1 {
				t.Errorf("%d openings", len(r.Openings))
			}
			return r, err
		},
		"assess": func(x site.Service) (any, error) {
			return x.Assess(t.Context(), site.AssessQuery{Seed: 3, Choices: assess.Choices{
				Placements: assess.Placements(), Dependence: assess.DependenceHigh}})
		},
		"runs":     func(x site.Service) (any, error) { return x.Runs(t.Context(), site.RunsQuery{Sterilizer: "S2"}) },
		"schedule": func(x site.Service) (any, error) { return daysCases(t, x) },
		"history":  func(x site.Service) (any, error) { return x.History(t.Context(), q) },
		"verify":   func(x site.Service) (any, error) { return x.Verify(t.Context(), nil) },
		"lists":    func(x site.Service) (any, error) { return x.Lists(t.Context(), "LAP") },
		"stations": func(x site.Service) (any, error) { return x.Stations(t.Context()) },
		"policy":   func(x site.Service) (any, error) { return x.Policy(t.Context()) },
		"lists then": func(x site.Service) (any, error) {
			return x.ListsAt(t.Context(), "LAP", time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC))
		},
		"stations then": func(x site.Service) (any, error) {
			return x.StationsAt(t.Context(), time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC))
		},
		"policy then": func(x site.Service) (any, error) {
			return x.PolicyAt(t.Context(), time.Date(2026, 3, 2, 11, 0, 0, 0, time.UTC))
		},
		"texts": func(x site.Service) (any, error) { return x.Texts(t.Context()) },
		"redact": func(x site.Service) (any, error) {
			return x.Redact(t.Context(), site.Redaction{Case: "K-1", Check: true})
		},
		"rebuild": func(x site.Service) (any, error) { return x.Rebuild(t.Context(), nil) },
	} {
		here, err := ask(s)
		if err != nil {
			t.Fatalf("%s here: %v", name, err)
		}
		there, err := ask(c)
		if err != nil {
			t.Fatalf("%s there: %v", name, err)
		}
		// As a reader sees them: a history also holds what its lines were made of.
		if a, b := asJSON(t, here), asJSON(t, there); a != b {
			t.Errorf("%s differs:\n%s\n%s", name, a, b)
		}
		if v := reflect.ValueOf(here); v.Kind() == reflect.Slice && v.Len() == 0 {
			t.Errorf("%s is empty and compares nothing", name)
		}
	}
	var b bytes.Buffer
	if err := c.Evidence(t.Context(), site.Query{Set: "LAP-001"}, &b); err != nil {
		t.Fatal(err)
	}
	if r := bundle.Check(b.Bytes(), s.Key()); !r.OK || r.Records == 0 {
		t.Errorf("the bundle from the server: %+v", r)
	}
}

// TestRefusals: what the folder refuses the client says in the same words.
func TestRefusals(t *testing.T) {
	s, c, srv := pair(t)
	for name, ask := range map[string]func(site.Service) error{
		"history of nothing": func(x site.Service) error {
			_, err := x.History(t.Context(), site.Query{Set: "NONE"})
			return err
		},
		"no question": func(x site.Service) error { _, err := x.History(t.Context(), site.Query{}); return err },
		"evidence": func(x site.Service) error {
			return x.Evidence(t.Context(), site.Query{Case: "NONE"}, io.Discard)
		},
		"redact": func(x site.Service) error {
			_, err := x.Redact(t.Context(), site.Redaction{Case: "NONE", Reason: "x"})
			return err
		},
		"list": func(x site.Service) error { _, err := x.Lists(t.Context(), "NONE"); return err },
		"enrol": func(x site.Service) error {
			_, err := x.Enrol(t.Context(), "NORTH", "", "")
			return err
		},
		"retire": func(x site.Service) error {
			_, err := x.Retire(t.Context(), "north/none", "x", time.Time{})
			return err
		},
	} {
		here, there := ask(s), ask(c)
		if here == nil || there == nil || here.Error() != there.Error() ||
			errors.Is(here, site.ErrNotFound) != errors.Is(there, site.ErrNotFound) ||
			!refusal.Is(here) || !refusal.Is(there) {
			t.Errorf("%s: %v here, %v there", name, here, there)
		}
	}
	if _, err := remote.New("nowhere", srv.Client()); err == nil {
		t.Error("an address without a scheme was taken")
	}
	other := httptest.NewServer(http.NotFoundHandler())
	defer other.Close()
	stranger, err := remote.New(other.URL, other.Client())
	if err != nil {
		t.Fatal(err)
	}
	if _, err := stranger.Broken(t.Context()); err == nil ||
		!strings.Contains(err.Error(), "no answer of a listbound server") {
		t.Errorf("another server: %v", err)
	}
}

// TestFailuresAreNoRefusals: what failed on the server is the same kind of
// failure to the client, in words that the server may say outside.
func TestFailuresAreNoRefusals(t *testing.T) {
	for name, is := range map[string]error{
		"unknown outcome": ledger.ErrUnknownOutcome, "stopped": ledger.ErrStopped,
		"another": errors.New("open /srv/data"),
	} {
		t.Run(name, func(t *testing.T) {
			said, err := texts.Read()
			if err != nil {
				t.Fatal(err)
			}
			sh := shell.New("north/ledger", said, time.Now, slog.New(slog.DiscardHandler))
			mux := http.NewServeMux()
			mux.HandleFunc("GET /", func(w http.ResponseWriter, r *http.Request) { sh.FailJSON(w, r, is) })
			mux.HandleFunc("POST /api/observations", func(w http.ResponseWriter, r *http.Request) {
				sh.WriteJSON(w, r, http.StatusOK, site.Receipt{Seq: 1})
				sh.WriteJSON(w, r, http.StatusOK, sh.Failure(r, is)) // as the last line
			})
			srv := httptest.NewServer(mux)
			defer srv.Close()
			c, err := remote.New(srv.URL, srv.Client())
			if err != nil {
				t.Fatal(err)
			}
			_, asked := c.Broken(t.Context())
			receipts := 0
			recorded := c.Record(t.Context(), strings.NewReader(observations),
				func(site.Receipt) error { receipts++; return nil })
			for _, err := range []error{asked, recorded} {
				if err == nil || refusal.Is(err) || !strings.Contains(err.Error(), "(incident ") ||
					strings.Contains(err.Error(), "/srv") {
					t.Errorf("%v", err)
				}
				if known := name != "another"; errors.Is(err, is) != known {
					t.Errorf("%v is %v: %t", err, is, !known)
				}
			}
			if receipts != 1 {
				t.Errorf("%d receipts", receipts)
			}
		})
	}
}

// TestWholeAnswer: receipts that are all there are go out with the answer's end, in one write, so that it says its length.
func TestWholeAnswer(t *testing.T) {
	s, _, srv := pair(t)
	if _, err := s.Enrol(t.Context(), "north/packing-1", "", ""); err != nil {
		t.Fatal(err)
	}
	res, err := srv.Client().Post(srv.URL+"/api/observations", "application/jsonl", strings.NewReader(observations))
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	if receipts, err := io.ReadAll(res.Body); err != nil || len(receipts) == 0 || res.ContentLength != int64(len(receipts)) {
		t.Errorf("receipts of %d bytes, and the answer says %d: %v", len(receipts), res.ContentLength, err)
	}
}

// TestForeignPage: a page of another origin can't record through a browser.
func TestForeignPage(t *testing.T) {
	s, _, srv := pair(t)
	if _, err := s.Enrol(t.Context(), "north/packing-1", "", ""); err != nil {
		t.Fatal(err)
	}
	before := s.Size()
	for _, header := range [][2]string{{"Sec-Fetch-Site", "cross-site"}, {"Origin", "http://elsewhere.example"}} {
		req, err := http.NewRequestWithContext(t.Context(), http.MethodPost, srv.URL+"/api/observations",
			strings.NewReader(observations))
		if err != nil {
			t.Fatal(err)
		}
		req.Header.Set(header[0], header[1])
		res, err := srv.Client().Do(req)
		if err != nil {
			t.Fatal(err)
		}
		res.Body.Close()
		if res.StatusCode != http.StatusForbidden || s.Size() != before {
			t.Errorf("%s: status %d, %d records", header, res.StatusCode, s.Size()-before)
		}
	}
}

func asJSON(t *testing.T, v any) string {
	t.Helper()
	raw, err := json.Marshal(v, json.Deterministic(true))
	if err != nil {
		t.Fatal(err)
	}
	return string(raw)
}

// daysCases are the cases of a day; as of when they are told is another moment each time.
func daysCases(t *testing.T, x site.Service) (any, error) {
	t.Helper()
	d, err := x.Schedule(t.Context(), site.ScheduleQuery{Day: "2026-03-04"})
	if err == nil && len(d.Cases) != 1 {
		t.Errorf("%+v", d)
	}
	return d.Cases, err
}
