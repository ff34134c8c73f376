package board_test

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/board"
	"listbound/cmd/internal/site"
	"listbound/cmd/internal/sitetest"
	"listbound/events"
	"listbound/projections/run"
	"listbound/projections/run/logfile"
)

// runLog is a log of a run at 134 °C with a dip, in a chamber that holds some air.
func runLog() []byte {
	var b strings.Builder
	b.WriteString("Time,T1,P\n")
	for i := range 900 {
		c := math.Min(135, 60+float64(i)/3)
		if i == 360 {
			c = 133.4
		}
		p := run.PressureOf(c) / 0.99
		if i > 480 {
			c, p = 100-float64(i-480)/20, 8
		}
		fmt.Fprintf(&b, "%d,%.2f,%.2f\n", i, c, p)
	}
	return []byte(b.String())
}

// recordRun records a log for a load, with the figures that it has.
func recordRun(s *site.Site, load, sterilizer, station string, at time.Time, raw []byte) error {
	how := &events.RunReading{Time: "Time", Clock: "s", Zone: "UTC", Temperatures: []string{"T1"}, TemperatureUnit: "C", Pressure: "P",
		PressureUnit: "kPa", BarometerPascal: 101325}
	started := at.Add(-time.Hour)
	l, err := logfile.Read(raw, how, started)
	if err != nil {
		return err
	}
	c, err := run.Find("csc-134")
	if err != nil {
		return err
	}
	r, err := run.Judge(l, &c)
	if err != nil {
		return err
	}
	kept, err := s.KeepRunLog(context.Background(), raw)
	if err != nil {
		return err
	}
	_, err = s.Observe(context.Background(), &events.Observation{Station: station, Kind: events.KindRunLogged, Time: at, Operator: "B-2044",
		Data: &events.RunLogged{Load: load, Sterilizer: sterilizer, Started: started.Format(time.RFC3339), Cycle: c, Figures: r.Figures,
			Log: kept.Log, Read: how}})
	return err
}

// TestRunPage: the page has the picture, all its numbers in tables, and says what isn't met, in both languages; and where
// the log that is kept isn't the one that was recorded, it says that instead of drawing it.
func TestRunPage(t *testing.T) {
	dir := t.TempDir()
	s := sitetest.Open(t, site.Options{Dir: dir, Name: "north", EnrolOnSight: true, Clock: func() time.Time { return friday }})
	if err := recordRun(s, "S2-1", "S2", "north/sterilizer-2", friday.Add(-time.Hour), runLog()); err != nil {
		t.Fatal(err)
	}
	srv, err := serve(s)
	if err != nil {
		t.Fatal(err)
	}
	defer srv.Close()
	for lang, says := range map[string][]string{
		"en": {"the cycle was NOT met", "Not in the band for long enough", "Below the band", "saturated steam at P",
			"no proof that a load is sterile"},
		"de": {"NICHT eingehalten", "Nicht lange genug ohne Unterbrechung", "Unter dem Band", "Sattdampf bei P",
			"kein Beweis, dass eine Charge steril"},
	} {
		body := page(t, srv.URL+"/run?load=S2-1&lang="+lang)
		for _, want := range says {
			if !strings.Contains(body, want) {
				t.Errorf("%s: the page lacks %q", lang, want)
			}
		}
		if !strings.Contains(body, "<svg class=\"picture\"") {
			t.Errorf("%s: no picture", lang)
		}
	}
	_, figures := rows(t, srv.URL+"/run?load=S2-1&format=csv&table=run-1-figures")
	if len(figures) < 9 || figures[0][1] != "137" || figures[0][2] != "180" {
		t.Errorf("figures %q", figures)
	}
	_, faults := rows(t, srv.URL+"/run?load=S2-1&format=csv&table=run-1-faults")
	if len(faults) != 1 || faults[0][2] != "360" || faults[0][5] != "133.4" {
		t.Errorf("faults %q", faults)
	}
	if _, readings := rows(t, srv.URL+"/run?load=S2-1&format=csv&table=run-1-readings"); len(readings) != 900 ||
		readings[360][1] != "133.40" {
		t.Errorf("%d readings", len(readings))
	}
	if none := page(t, srv.URL+"/run?load=S2-9"); !strings.Contains(none, "No log and no print") {
		t.Error("a load without a log has one")
	}
	name := filepath.Join(dir, "runs", digest(runLog()))
	if err := os.WriteFile(name, []byte("Time,T1,P\n0,1,1\n1,1,1\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	gone := page(t, srv.URL+"/run?load=S2-1")
	if !strings.Contains(gone, "or is another one") || strings.Contains(gone, "<svg class=\"picture\"") {
		t.Error("another log is drawn")
	}
	if err := os.WriteFile(name, runLog(), 0o600); err != nil {
		t.Fatal(err)
	}
}

func digest(raw []byte) string {
	sum := sha256.Sum256(raw)
	return hex.EncodeToString(sum[:])
}

// TestRunOnPaper: the report of a load has its run: what isn't met, and the tables; and the picture's strokes end where nothing was
// read.
func TestRunOnPaper(t *testing.T) {
	now := friday
	s := sitetest.Open(t, site.Options{Dir: t.TempDir(), Name: "north", EnrolOnSight: true, Clock: func() time.Time { return now }})
	if _, err := s.Observe(t.Context(), &events.Observation{Station: "north/sterilizer-2", Kind: events.KindSetSterilized, Set: "LAP-1",
		Time: friday.Add(-2 * time.Hour), Operator: "B-2044", Data: &events.SetSterilized{Load: "S2-1",
			Sterilizer: "S2", Run: 1, Cycle: "c-134",
			Result: "failed"}}); err != nil {
		t.Fatal(err)
	}
	now = friday.Add(time.Hour)
	if err := recordRun(s, "S2-1", "S2", "north/sterilizer-2", friday.Add(-time.Hour), runLog()); err != nil {
		t.Fatal(err)
	}
	arrived := now
	now = friday.Add(2 * time.Hour)
	srv, err := serve(s)
	if err != nil {
		t.Fatal(err)
	}
	defer srv.Close()
	for _, at := range []time.Time{arrived.Add(-time.Second), arrived} {
		q := site.Query{Load: "S2-1", AsOf: at}
		raw, err := board.Report(t.Context(), s, "en", q)
		if err != nil {
			t.Fatal(err)
		}
		paper := strings.Contains(pdfText(t, string(raw)), "Below the band")
		body := page(t, srv.URL+"/history?load=S2-1&as-of="+at.UTC().Format(time.RFC3339))
		if shown := strings.Contains(body, "Below the band"); paper != at.Equal(arrived) || shown != paper {
			t.Errorf("as known at %s the run is on paper: %t, on the page: %t", at, paper, shown)
		}
	}
	for lang, says := range map[string][]string{
		"en": {"the cycle was NOT met", "Below the band", "in the band"}, "de": {"NICHT eingehalten", "Unter dem Band"},
	} {
		raw, err := board.Report(t.Context(), s, lang, site.Query{Load: "S2-1"})
		if err != nil {
			t.Fatal(err)
		}
		if out := os.Getenv("LISTBOUND_PAPERS"); out != "" {
			if err := os.WriteFile(filepath.Join(out, "run-"+lang+".pdf"), raw, 0o600); err != nil {
				t.Fatal(err)
			}
		}
		text := strings.Join(strings.Fields(pdfText(t, string(raw))), " ")
		for _, want := range says {
			if !strings.Contains(text, want) {
				t.Errorf("%s: the report lacks %q", lang, want)
			}
		}
	}
}
