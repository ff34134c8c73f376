//go:build !race

package soak

import (
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"golang.org/x/mod/sumdb/note"

	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/ledger"
	"listbound/ledger/proof"
	"listbound/ledger/timestamp/timestamptest"
	"listbound/ledger/witness"
)

// house is a data folder (d), with two witnesses that others run, each with a folder of its own (south, west), and an
// authority for timestamps. Nothing of it needs a network.
type house struct {
	root      string
	ledger    note.Verifier // the key of the ledger, as the witnesses know it
	authority *timestamptest.Authority

	witnesses map[string]http.Handler // those that were asked
	said      strings.Builder         // what they warned of
}

var neighbours = []string{"south", "west"}

// newHouse records lines, and has witnesses and the authority see the ledger. With south that witness's key is another house's.
func newHouse(t *testing.T, lines []string, south string) *house {
	t.Helper()
	h := &house{root: t.TempDir(), authority: timestamptest.New(t, nil)}
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	dir := filepath.Join(h.root, "d")
	copyFolder(t, filled(t, lines), dir)
	key, err := ledger.VerifierKey(filepath.Join(dir, "keys", "north_ledger.key"))
	must(err)
	h.ledger, err = note.NewVerifier(key)
	must(err)
	var policy strings.Builder
	for _, name := range neighbours {
		at := filepath.Join(h.root, name)
		must(os.Mkdir(at, 0o700))
		if name == "south" && south != "" {
			raw, err := os.ReadFile(filepath.Join(south, name, "witness.key"))
			must(err)
			must(os.WriteFile(filepath.Join(at, "witness.key"), raw, 0o600))
		}
		c, err := h.cosigner(name)
		must(err)
		fmt.Fprintf(&policy, "witness %s %s http://%[1]s.example\n", name, c.VerifierKey())
	}
	must(os.WriteFile(filepath.Join(dir, "witnesses.txt"), []byte(policy.String()+"group both 2 south west\nquorum both\n"), 0o600))
	stamps := filepath.Join(dir, "timestamps")
	must(os.Mkdir(stamps, 0o700))
	ca, err := os.ReadFile(filepath.Join(h.authority.Dir, "ca.pem"))
	must(err)
	must(os.WriteFile(filepath.Join(stamps, "ca.pem"), ca, 0o600))
	must(os.WriteFile(filepath.Join(stamps, "authority.txt"), []byte("http://time.example/tsr\n"), 0o600))
	h.goOn(t, nil)
	return h
}

// copied is a copy of a house.
func (h *house) copied(t *testing.T, to string) *house {
	t.Helper()
	copyFolder(t, h.root, to)
	return &house{root: to, ledger: h.ledger, authority: h.authority}
}

// goOn records lines and has all who see the ledger see it.
func (h *house) goOn(t *testing.T, lines []string) {
	t.Helper()
	o := h.options()
	o.EnrolOnSight = true
	s, err := site.Open(t.Context(), o)
	if err != nil {
		t.Fatal(err)
	}
	err = s.Record(t.Context(), strings.NewReader(strings.Join(lines, "\n")), func(site.Receipt) error { return nil })
	recordRuns(t, s)
	recordPictures(t, s)
	issuePhotographs(t, s)
	if err := errors.Join(err, s.AskWitnesses(t.Context()), s.AskTimestamp(t.Context()), s.Close()); err != nil {
		t.Fatal(err)
	}
}

// recordRuns records the logs of two runs, once.
func recordRuns(t *testing.T, s *site.Site) {
	t.Helper()
	for _, load := range []string{"S2-0301-91", "S2-0301-92"} {
		kept, err := s.KeepRunLog(t.Context(), []byte("Time,T1\n0,20\n1,"+load+"\n"))
		if err != nil {
			t.Fatal(err)
		}
		rs, err := s.Observe(t.Context(), &events.Observation{Station: "north/sterilizer-2", Kind: events.KindRunLogged, Time: begun,
			Operator: "B-2044", Data: &events.RunLogged{Load: load, Sterilizer: "S2", Started: begun.Format(time.RFC3339), Log: kept.Log,
				Read: &events.RunReading{Time: "Time", Clock: "s", Zone: "UTC", Temperatures: []string{"T1"}, TemperatureUnit: "C",
					BarometerPascal: 101325},
				Cycle:   events.RunCycle{Name: "own", Source: "instructions", LowMilliC: 134000, HoldSeconds: 180},
				Figures: events.RunFigures{Points: 1, MinMilliC: 20000, MaxMilliC: 20000}}})
		if err != nil || rs[0].Error != "" {
			t.Fatal(rs, err)
		}
	}
}

// recordPictures records counts read back from paper, of which pictures are kept, once.
func recordPictures(t *testing.T, s *site.Site) {
	t.Helper()
	for _, stage := range []events.Stage{events.StageFirst, events.StageFinal} {
		kept, err := s.KeepPicture(t.Context(), []byte("the marks of the "+stage+" count"))
		if err != nil {
			t.Fatal(err)
		}
		rs, err := s.Observe(t.Context(), &events.Observation{Station: "north/or-3", Kind: events.KindSetCounted,
			Time: begun, Set: "LAP-001",
			Operator: "B-2201", Medium: events.MediumPaper, Data: &events.SetCounted{Case: "K-16", Stage: stage,
				Sheet: events.SheetUnreadable, Counter: "B-3310",
				Counts: []events.Count{{Line: 1, Counted: 1}}, Paper: &events.FromPaper{Pages: []events.PaperPage{{Page: 1, Of: 1,
					Picture: kept, Marks: "t", Kept: kept}}}}})
		if err != nil || rs[0].Error != "" {
			t.Fatal(rs, err)
		}
	}
}

// issuePhotographs issues a list of which two lines have photographs, once.
func issuePhotographs(t *testing.T, s *site.Site) {
	t.Helper()
	l := &events.ListIssued{List: "PHOTOS", Version: 1, Title: "With photographs"}
	for i := range int64(2) {
		kept, err := s.KeepPhotograph(t.Context(), fmt.Appendf(nil, "the photograph of line %d", i))
		if err != nil {
			t.Fatal(err)
		}
		l.Lines = append(l.Lines, events.Line{Line: i + 1, Item: "A", Description: "Clamp", Quantity: 1, Photograph: kept})
	}
	rs, err := s.Observe(t.Context(), &events.Observation{Station: "north/packing-1", Kind: events.KindListIssued, Time: begun,
		Operator: "B-1182", Data: l})
	if err != nil || rs[0].Error != "" {
		t.Fatal(rs, err)
	}
}

// options are those of the house's data folder, long enough after its timestamps that the next one is due.
func (h *house) options() site.Options {
	o := options(filepath.Join(h.root, "d"))
	at := begun.AddDate(0, 0, 2)
	o.Clock, o.HTTP = func() time.Time { return at }, &http.Client{Transport: h}
	return o
}

func (h *house) cosigner(name string) (*proof.Cosigner, error) {
	skey, err := ledger.LoadOrCreateSecret(filepath.Join(h.root, name, "witness.key"), name+".example/witness")
	if err != nil {
		return nil, err
	}
	return proof.NewCosigner(skey, time.Now)
}

// witness starts a witness, as its program does.
func (h *house) witness(name string) (http.Handler, error) {
	if w := h.witnesses[name]; w != nil {
		return w, nil
	}
	c, err := h.cosigner(name)
	if err != nil {
		return nil, err
	}
	w, err := witness.Open(witness.Options{
		Dir: filepath.Join(h.root, name), Signer: c, Ledgers: []note.Verifier{h.ledger},
		Logger: slog.New(slog.NewTextHandler(&h.said, &slog.HandlerOptions{Level: slog.LevelWarn})),
	})
	if err != nil {
		return nil, err
	}
	if h.witnesses == nil {
		h.witnesses = make(map[string]http.Handler)
	}
	h.witnesses[name] = w.Handler()
	return h.witnesses[name], nil
}

// RoundTrip answers as those whose addresses the data folder has.
func (h *house) RoundTrip(r *http.Request) (*http.Response, error) {
	var to http.Handler
	var err error
	switch host := strings.TrimSuffix(r.URL.Host, ".example"); host {
	case "south", "west":
		to, err = h.witness(host)
	case "time":
		mux := http.NewServeMux()
		mux.HandleFunc("POST /tsr", func(w http.ResponseWriter, r *http.Request) {
			query, err := io.ReadAll(r.Body)
			if err == nil {
				_, err = w.Write(h.authority.Answer(query))
			}
			if err != nil {
				http.Error(w, err.Error(), http.StatusInternalServerError)
			}
		})
		to = mux
	default:
		err = fmt.Errorf("nobody is at %s", r.URL)
	}
	if err != nil {
		return nil, err
	}
	answer := httptest.NewRecorder()
	to.ServeHTTP(answer, r)
	return answer.Result(), nil
}

// allSee holds that witnesses and the authority see the ledger as it is. told is what is wrong with them.
func (h *house) allSee(t *soak, d *site.Site) (told, changed string) {
	if err := errors.Join(d.AskWitnesses(t.Context()), d.AskTimestamp(t.Context())); err != nil {
		return err.Error(), ""
	}
	if h.said.Len() > 0 {
		return h.said.String(), ""
	}
	r, st := d.Witnesses(), d.Timestamps()
	switch {
	case r == nil:
		return "", "nobody witnesses the ledger"
	case r.Enough.IsZero() || len(r.Witnesses) != len(neighbours):
		return "", fmt.Sprintf("the witnesses have not seen it: %+v", r)
	case st == nil || st.Size != d.Size():
		return "", fmt.Sprintf("it is not timestamped: %+v", st)
	}
	for _, w := range r.Witnesses {
		if w.Size != d.Size() {
			return "", fmt.Sprintf("witness %s has not seen all %d records: %+v", w.Name, d.Size(), w)
		}
	}
	return "", ""
}

// forgetful takes a witness's memory away, or puts an old one back. The ledger, which has its signature, tells.
func forgetful(s *soak, old, now *house) {
	h := now.copied(s.T, filepath.Join(s.TempDir(), "h"))
	name := neighbours[s.rnd.IntN(len(neighbours))]
	at := filepath.Join(name, witness.OriginID(h.ledger.Name()))
	s.must(os.RemoveAll(filepath.Join(h.root, at)))
	if s.rnd.IntN(2) == 0 {
		copyFolder(s.T, filepath.Join(old.root, at), filepath.Join(h.root, at))
	}
	d, err := site.Open(s.Context(), h.options())
	s.must(err)
	defer func() { s.must(d.Close()) }()
	s.must(d.Record(s.Context(), strings.NewReader(scanAt(s.rnd.IntN(60))+"\n"), func(site.Receipt) error { return nil }))
	s.hit++
	if err := d.AskWitnesses(s.Context()); err == nil || !strings.Contains(err.Error(), name+": it had signed") {
		s.lose("%s remembers less than it has signed, and nobody is told: %v", name, err)
		return
	}
	s.noticed++
	if _, changed := h.allSee(s, d); changed != "" {
		s.lose("after a witness's memory was lost: %s", changed)
	}
}
