//go:build !race

package site_test

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/site"
	"listbound/ledger/timestamp/timestamptest"
)

// stamped is a folder of 100 records whose ledger an authority timestamps, and the
// number of requests so far.
func stamped(t *testing.T, line string) (dir string, a *timestamptest.Authority, requests *int) {
	t.Helper()
	a, requests = timestamptest.New(t, nil), new(int)
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		*requests++
		a.Handler(w, r)
	}))
	t.Cleanup(srv.Close)
	dir = t.TempDir()
	s := open(t, dir, site.Options{Name: "north", EnrolOnSight: true, Clock: fixed(noon.AddDate(0, 0, 7))})
	record(t, s, strings.Join(weekLines(t)[:100], "\n"))
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if err := os.Mkdir(filepath.Join(dir, "timestamps"), 0o700); err != nil {
		t.Fatal(err)
	}
	ca, err := os.ReadFile(filepath.Join(a.Dir, "ca.pem"))
	if err != nil {
		t.Fatal(err)
	}
	writeFile(t, filepath.Join(dir, "timestamps", "ca.pem"), ca)
	writeFile(t, filepath.Join(dir, "timestamps", "authority.txt"), fmt.Appendf(nil, line, srv.URL))
	return dir, a, requests
}

func askTimestamp(t *testing.T, s *site.Site) *site.TimestampState {
	t.Helper()
	if err := s.AskTimestamp(t.Context()); err != nil {
		t.Fatal(err)
	}
	return s.Timestamps()
}

// TestTimestamped: a ledger that grows is timestamped as often as the site says, what is
// kept can be verified with OpenSSL alone, and is known after a restart.
func TestTimestamped(t *testing.T) {
	dir, a, requests := stamped(t, "%s every 12h\n")
	now := time.Now().UTC() // the authority's clock is that of the machine
	clock := func() time.Time { return now }
	o := site.Options{EnrolOnSight: true, Clock: clock}
	s := open(t, dir, o)
	first := s.Size()
	st := askTimestamp(t, s)
	if st.Size != first || *requests != 1 || st.At.Sub(now).Abs() > time.Minute || st.Error != "" {
		t.Fatalf("%+v after %d requests, of %d records", st, *requests, first)
	}
	if askTimestamp(t, s); *requests != 1 {
		t.Error("what did not grow was timestamped again")
	}
	record(t, s, strings.Join(weekLines(t)[100:150], "\n"))
	now = now.Add(11 * time.Hour)
	if askTimestamp(t, s); *requests != 1 {
		t.Error("timestamped before its time")
	}
	now = now.Add(2 * time.Hour)
	if st = askTimestamp(t, s); *requests != 2 || st.Size != s.Size() {
		t.Errorf("%+v after %d requests, of %d records", st, *requests, s.Size())
	}
	ca := filepath.Join(dir, "timestamps", "ca.pem")
	for _, size := range []int64{first, st.Size} {
		file := filepath.Join(dir, "timestamps", fmt.Sprint(size))
		out := a.OpenSSL("ts", "-verify", "-data", file+".checkpoint", "-in", file+".tsr", "-CAfile", ca)
		if !strings.Contains(out, "Verification: OK") {
			t.Errorf("of %d records: %s", size, out)
		}
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	s = open(t, dir, o)
	if again := s.Timestamps(); again.Size != st.Size || !again.At.Equal(st.At) {
		t.Errorf("after a restart: %+v, before %+v", again, st)
	}
	v, err := s.Verify(t.Context(), nil)
	if err != nil || !v.OK || v.Timestamp == nil || v.Timestamp.Size != st.Size || len(v.Remarks) > 0 {
		t.Errorf("verify: %+v, %v", v, err)
	}
}

// TestTimestampsGone: what is missing of the timestamps, or of who gives them, is said.
func TestTimestampsGone(t *testing.T) {
	dir, _, _ := stamped(t, "%s\n")
	o := site.Options{EnrolOnSight: true, Clock: time.Now}
	s := open(t, dir, o)
	size := askTimestamp(t, s).Size
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	for name, says := range map[string]string{
		fmt.Sprintf("%d.tsr", size):        "the timestamp of this checkpoint is gone",
		fmt.Sprintf("%d.checkpoint", size): "this timestamp says nothing",
		"authority.txt":                    "authority.txt, which says whose they are, is gone",
	} {
		file := filepath.Join(dir, "timestamps", name)
		whole, err := os.ReadFile(file)
		if err != nil || os.Remove(file) != nil {
			t.Fatal(err)
		}
		s := open(t, dir, o)
		v, err := s.Verify(t.Context(), nil)
		if err != nil || !v.OK || len(v.Remarks) != 1 || !strings.Contains(v.Remarks[0].What, says) {
			t.Errorf("without %s: %+v, %v", name, v, err)
		}
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
		writeFile(t, file, whole)
	}
}

// TestNoAuthority: an authority that can't be reached, or one that nobody trusts, stops
// no recording, and is said.
func TestNoAuthority(t *testing.T) {
	dir, _, _ := stamped(t, "%s\n")
	other := timestamptest.New(t, nil)
	ca, err := os.ReadFile(filepath.Join(other.Dir, "ca.pem"))
	if err != nil {
		t.Fatal(err)
	}
	writeFile(t, filepath.Join(dir, "timestamps", "ca.pem"), ca)
	s := open(t, dir, site.Options{EnrolOnSight: true, Clock: fixed(noon.AddDate(0, 0, 8))})
	if err := s.AskTimestamp(t.Context()); err == nil || !strings.Contains(err.Error(), "unknown authority") {
		t.Errorf("an authority that nobody trusts: %v", err)
	}
	if st := s.Timestamps(); st.Error == "" || st.Size != 0 || !st.Asked.Equal(noon.AddDate(0, 0, 8)) {
		t.Errorf("%+v", st)
	}
	record(t, s, weekLines(t)[100])
	if left, err := filepath.Glob(filepath.Join(dir, "timestamps", "*.tsr")); err != nil || len(left) > 0 {
		t.Errorf("kept: %v, %v", left, err)
	}
}

// TestAuthorityLine: what is wrong with the site's own files is said with their names.
func TestAuthorityLine(t *testing.T) {
	dir, _, _ := stamped(t, "%s\n")
	at := filepath.Join(dir, "timestamps", "authority.txt")
	good, err := os.ReadFile(at)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ line, says string }{
		{"", "one line"},
		{"http://192.0.2.1 daily", "one line"},
		{"http://192.0.2.1 every day", "no duration"},
		{"http://192.0.2.1 every -1h", "no duration"},
	} {
		writeFile(t, at, []byte(c.line))
		s, err := site.Open(t.Context(), site.Options{Dir: dir, Clock: fixed(noon)})
		if err == nil {
			t.Errorf("%q was taken", c.line)
			_ = s.Close()
		} else if !strings.Contains(err.Error(), c.says) || !strings.Contains(err.Error(), at) {
			t.Errorf("%q: %v", c.line, err)
		}
	}
	writeFile(t, at, good) // so that the folder can be verified at the end
}
