//go:build !race

package site_test

import (
	"archive/zip"
	"bytes"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/bundle"
	"listbound/cmd/internal/site"
	"listbound/events"
)

// logged is a record of a run's log; hold is for how many seconds it was in its band.
func logged(load, digest string, hold int64, at time.Time) *events.Observation {
	d := &events.RunLogged{Load: load, Sterilizer: "S2", Started: at.Add(-time.Hour).Format(time.RFC3339), Log: digest,
		Read: &events.RunReading{Time: "t", Clock: "s", Zone: "UTC", Temperatures: []string{"T " + load}, TemperatureUnit: "C",
			BarometerPascal: 101325},
		Cycle:   events.RunCycle{Name: "own", Source: "instructions", LowMilliC: 134000, HoldSeconds: 180},
		Figures: events.RunFigures{Points: 1, HoldMillis: 1000 * hold, MinMilliC: 134100, MaxMilliC: 135000}}
	return &events.Observation{Station: "north/sterilizer-2", Kind: events.KindRunLogged, Time: at, Operator: "B-2044", Data: d}
}

// TestRunLogs: a log is kept once, as it came; a record of one that isn't kept is refused; and the last one in force says
// how the next is read.
func TestRunLogs(t *testing.T) {
	s := open(t, t.TempDir(), site.Options{Name: "north", EnrolOnSight: true, Clock: func() time.Time { return noon }})
	keep := func(raw string) string {
		t.Helper()
		k, err := s.KeepRunLog(t.Context(), []byte(raw))
		if err != nil {
			t.Fatal(err)
		}
		return k.Log
	}
	first, second := keep("Time,T\n0,20\n"), keep("Time,T\n1,20\n")
	if again := keep("Time,T\n0,20\n"); again != first || first == second || len(first) != 64 {
		t.Fatal(first, second, again)
	}
	if got, err := s.RunLog(first); err != nil || string(got) != "Time,T\n0,20\n" {
		t.Fatalf("%q, %v", got, err)
	}
	for _, bad := range []string{"../addenda", strings.Repeat("0", 64), ""} {
		if _, err := s.RunLog(bad); err == nil {
			t.Errorf("there is a log %q", bad)
		}
	}
	if _, err := s.KeepRunLog(t.Context(), nil); err == nil {
		t.Error("nothing was kept")
	}
	if rs, err := s.Observe(t.Context(), logged("L-0", strings.Repeat("0", 64), 190, noon)); err == nil && rs[0].Error == "" {
		t.Errorf("a log that isn't kept was recorded: %+v", rs)
	}
	rs, err := s.Observe(t.Context(), logged("L-1", first, 190, noon.Add(-2*time.Hour)), logged("L-2", second, 100, noon.Add(-time.Hour)))
	if err != nil || len(rs) != 2 {
		t.Fatal(rs, err)
	}
	last := func() string {
		t.Helper()
		got, err := s.Runs(t.Context(), site.RunsQuery{Sterilizer: "S2"})
		if err != nil || len(got) != 1 {
			t.Fatal(got, err)
		}
		return got[0].Said.Read.Temperatures[0]
	}
	if got := last(); got != "T L-2" {
		t.Errorf("the next is read as %s", got)
	}
	got, err := s.Runs(t.Context(), site.RunsQuery{Load: "L-2"})
	if err != nil || len(got) != 1 || len(got[0].Lacks) != 1 || got[0].Seq != rs[1].Seq || got[0].Operator != "B-2044" {
		t.Errorf("%+v, %v", got, err)
	}
	void := &events.Observation{Station: "north/sterilizer-2", Kind: events.KindEventCorrected, Time: noon, Operator: "B-2044",
		Data: &events.EventCorrected{Event: rs[1].ID, Action: "void", Reason: "another sterilizer's"}}
	if _, err := s.Observe(t.Context(), void); err != nil {
		t.Fatal(err)
	}
	if got := last(); got != "T L-1" {
		t.Errorf("after a correction the next is read as %s", got)
	}
	if _, err := s.Runs(t.Context(), site.RunsQuery{}); err == nil {
		t.Error("asked for nothing, and answered")
	}
}

// TestSpoiltLogs: verify tells of a log that is gone, and of one that is another.
func TestSpoiltLogs(t *testing.T) {
	dir := t.TempDir()
	s := open(t, dir, site.Options{Name: "north", EnrolOnSight: true, Clock: func() time.Time { return noon }})
	k, err := s.KeepRunLog(t.Context(), []byte("Time,T\n0,20\n"))
	if err != nil {
		t.Fatal(err)
	}
	rs, err := s.Observe(t.Context(), logged("L-1", k.Log, 190, noon.Add(-time.Hour)))
	if err != nil {
		t.Fatal(err)
	}
	for _, spoil := range []func(path string) error{os.Remove, func(path string) error { return os.WriteFile(path, []byte("x"), 0o600) }} {
		path := filepath.Join(dir, "runs", k.Log)
		if v, err := s.Verify(t.Context(), nil); err != nil || !v.OK {
			t.Fatalf("%+v, %v", v, err)
		}
		if err := spoil(path); err != nil {
			t.Fatal(err)
		}
		v, err := s.Verify(t.Context(), nil)
		if err != nil || v.OK || len(v.Problems) != 1 || v.Problems[0].Seq != rs[0].Seq {
			t.Errorf("a spoilt log: %+v, %v", v, err)
		}
		if err := os.WriteFile(path, []byte("Time,T\n0,20\n"), 0o600); err != nil {
			t.Fatal(err)
		}
	}
}

// TestLogInBundle: a bundle has the log as it came, and the checker holds it against its digest and its figures.
func TestLogInBundle(t *testing.T) {
	dir := t.TempDir()
	s := open(t, dir, site.Options{Name: "north", EnrolOnSight: true, Clock: func() time.Time { return noon }})
	raw := "t,T L-1\n0,134.1\n190,135\n"
	k, err := s.KeepRunLog(t.Context(), []byte(raw))
	if err != nil {
		t.Fatal(err)
	}
	o := logged("L-1", k.Log, 190, noon.Add(-time.Hour))
	o.Data.(*events.RunLogged).Figures.StepMillis = 190_000
	o.Data.(*events.RunLogged).Figures.F0Seconds = 1 // which is wrong
	if _, err := s.Observe(t.Context(), o); err != nil {
		t.Fatal(err)
	}
	exported := func() bundle.Report {
		t.Helper()
		var out bytes.Buffer
		if err := s.Evidence(t.Context(), site.Query{All: true}, &out); err != nil {
			t.Fatal(err)
		}
		if z, err := zip.NewReader(bytes.NewReader(out.Bytes()), int64(out.Len())); err != nil {
			t.Fatal(err)
		} else if f, err := z.Open("runs/" + k.Log); err == nil {
			if got, err := io.ReadAll(f); err != nil || string(got) != raw {
				t.Errorf("%q, %v", got, err)
			}
		}
		return bundle.Check(out.Bytes(), s.Key())
	}
	if r := exported(); !r.OK || len(r.Remarks) != 1 || !strings.Contains(r.Remarks[0], "gives other figures") {
		t.Errorf("%+v, %q", r.Problems, r.Remarks)
	}
	if err := os.Remove(filepath.Join(dir, "runs", k.Log)); err != nil {
		t.Fatal(err)
	}
	if r := exported(); !r.OK || len(r.Remarks) != 1 || !strings.Contains(r.Remarks[0], "isn't in the bundle") {
		t.Errorf("%+v, %q", r.Problems, r.Remarks)
	}
	if _, err := s.KeepRunLog(t.Context(), []byte(raw)); err != nil { // so that the folder is whole at the end
		t.Fatal(err)
	}
}
