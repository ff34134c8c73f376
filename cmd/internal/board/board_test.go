package board_test

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/csv"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"mime/multipart"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"listbound/cmd/internal/browsertest"
	"listbound/cmd/internal/scenario"
	"listbound/cmd/internal/site"
	"listbound/cmd/internal/sitetest"
	"listbound/cmd/internal/tablefile"
	"listbound/cmd/internal/web"
)

// The week is recorded once. Tests that only ask share one server of it; those
// that record get a copy of its folder.
var week struct {
	once     sync.Once
	recorded string // the folder, closed
	dir      string // the shared copy
	site     *site.Site
	srv      *httptest.Server
	err      error
}

// chromium is shared too: each test has a profile of its own in it.
var chromium struct {
	once sync.Once
	b    *browsertest.Browser
	stop func()
}

func TestMain(m *testing.M) {
	code := m.Run()
	if chromium.stop != nil {
		chromium.stop()
	}
	if week.srv != nil {
		week.srv.Close()
	}
	if week.site != nil {
		if err := errors.Join(sitetest.Verify(context.Background(), week.site), week.site.Close()); err != nil {
			fmt.Fprintln(os.Stderr, err)
			code = 1
		}
	}
	os.RemoveAll(week.recorded)
	os.RemoveAll(week.dir)
	os.Exit(code)
}

// friday is when the week's board is looked at: its Friday afternoon.
var friday = time.Date(2026, 3, 6, 15, 0, 0, 0, time.UTC)

func weekServer(t testing.TB) (*httptest.Server, *site.Site) {
	t.Helper()
	week.once.Do(func() { week.err = recordWeek() })
	if week.err != nil {
		t.Fatal(week.err)
	}
	return week.srv, week.site
}

// ownWeek returns the week in a folder of the test's own, open until the test ends.
func ownWeek(t testing.TB) (*httptest.Server, *site.Site) {
	t.Helper()
	weekServer(t)
	s, err := openWeek(t.Context(), t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { sitetest.Close(t, s) })
	return served(t, s), s
}

// headServer serves the head of the week, for a test that adds to it.
func headServer(t testing.TB) (*httptest.Server, *site.Site) {
	t.Helper()
	s, err := playWeekHead(t)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { sitetest.Close(t, s) })
	return served(t, s), s
}

// served serves a site until a test ends.
func served(t testing.TB, s *site.Site) *httptest.Server {
	t.Helper()
	srv, err := serve(s)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		srv.CloseClientConnections()
		srv.Close()
	})
	return srv
}

// postFile sends a form with a file, as a browser does, and returns the answer's code and text.
func postFile(t testing.TB, address, name, file string, fields url.Values) (int, string) {
	t.Helper()
	var body bytes.Buffer
	w := multipart.NewWriter(&body)
	for field, values := range fields {
		for _, v := range values {
			if err := w.WriteField(field, v); err != nil {
				t.Fatal(err)
			}
		}
	}
	part, err := w.CreateFormFile("file", name)
	if err == nil {
		_, err = io.WriteString(part, file)
	}
	if err == nil {
		err = w.Close()
	}
	if err != nil {
		t.Fatal(err)
	}
	res, err := http.Post(address, w.FormDataContentType(), &body)
	code, _, said := answered(t, res, err)
	return code, said
}

func recordWeek() error {
	var err error
	if week.recorded, err = os.MkdirTemp("", "board-test-"); err != nil {
		return err
	}
	if week.dir, err = os.MkdirTemp("", "board-test-"); err != nil {
		return err
	}
	if err := playWeek(context.Background(), week.recorded); err != nil {
		return err
	}
	if week.site, err = openWeek(context.Background(), week.dir); err != nil {
		return err
	}
	week.srv, err = serve(week.site)
	return err
}

// openWeek copies the recorded week into an empty folder and opens it on Friday.
func openWeek(ctx context.Context, dir string) (*site.Site, error) {
	if err := os.CopyFS(dir, os.DirFS(week.recorded)); err != nil {
		return nil, err
	}
	keys, err := filepath.Glob(filepath.Join(dir, "keys", "*"))
	if err != nil {
		return nil, err
	}
	for _, key := range keys { // CopyFS makes what others may read
		if err := os.Chmod(key, 0o600); err != nil {
			return nil, err
		}
	}
	return site.Open(ctx, site.Options{Dir: dir, EnrolOnSight: true, Clock: func() time.Time { return friday }})
}

// browser returns a profile of the test's own in the shared Chromium.
func browser(t testing.TB) *browsertest.Browser {
	t.Helper()
	chromium.once.Do(func() { chromium.b, chromium.stop = browsertest.Launch(t) })
	if chromium.b == nil {
		t.Fatal("Chromium did not start")
	}
	return chromium.b.Profile(t)
}

func serve(s *site.Site) (*httptest.Server, error) {
	h, err := web.New(s, slog.New(slog.DiscardHandler))
	if err != nil {
		return nil, err
	}
	return httptest.NewServer(h), nil
}

// playWeek records the built-in week in an empty folder, by the clock that it had.
func playWeek(ctx context.Context, dir string) (err error) {
	w, err := scenario.Load()
	if err != nil {
		return err
	}
	var now atomic.Pointer[time.Time]
	now.Store(new(time.Time))
	s, err := site.Open(ctx, site.Options{
		Dir: dir, Name: w.Site, EnrolOnSight: true, Clock: func() time.Time { return *now.Load() },
	})
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, s.Close()) }()
	err = s.Play(ctx, sitetest.Arriving(w), func(at time.Time) { now.Store(&at) }, func(r site.Receipt) error {
		if r.Error != "" {
			return errors.New(r.Error)
		}
		return nil
	})
	if err != nil {
		return err
	}
	return recordRun(s, "S9-0304-90", "S9", "north/sterilizer-1", now.Load().Add(-time.Hour), runLog())
}

func get(t testing.TB, url string) (int, http.Header, string) {
	t.Helper()
	res, err := http.Get(url)
	return answered(t, res, err)
}

// answered reads an answer to its end.
func answered(t testing.TB, res *http.Response, err error) (int, http.Header, string) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	body, err := io.ReadAll(res.Body)
	if err != nil {
		t.Fatal(err)
	}
	return res.StatusCode, res.Header, string(body)
}

func page(t testing.TB, url string) string {
	t.Helper()
	code, _, body := get(t, url)
	if code != http.StatusOK {
		t.Fatalf("%s: %d: %.400s", url, code, body)
	}
	return body
}

// rows reads one of a page's tables as CSV, the heading apart.
func rows(t testing.TB, url string) (head []string, out [][]string) {
	t.Helper()
	all, err := csv.NewReader(strings.NewReader(strings.TrimPrefix(page(t, url), tablefile.ByteOrderMark))).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if len(all) == 0 {
		t.Fatalf("%s has no heading", url)
	}
	return all[0], all[1:]
}

// playWeekHead returns a site of its own with the week's first records, for
// tests that change it.
func playWeekHead(t testing.TB) (*site.Site, error) {
	t.Helper()
	w, err := scenario.Load()
	if err != nil {
		return nil, err
	}
	s := sitetest.Open(t, site.Options{Dir: t.TempDir(), Name: w.Site, EnrolOnSight: true, Clock: func() time.Time { return friday }})
	var lines bytes.Buffer
	n := 0
	for l, err := range w.Lines() {
		if err != nil {
			return nil, err
		}
		if n++; n > 14 { // the lists and the policy
			break
		}
		lines.Write(l.Raw)
		lines.WriteByte('\n')
	}
	return s, s.Record(t.Context(), &lines, func(r site.Receipt) error {
		if r.Error != "" {
			return errors.New(r.Error)
		}
		return nil
	})
}

// leafHash is the tree's leaf of a record (RFC 6962, 2.1), worked out here.
func leafHash(record string) string {
	h := sha256.Sum256(append([]byte{0}, record...))
	return hex.EncodeToString(h[:])
}

// pdfText is what poppler reads of a PDF.
func pdfText(t testing.TB, raw string) string {
	t.Helper()
	c := exec.CommandContext(t.Context(), "pdftotext", "-layout", "-", "-")
	c.Stdin = strings.NewReader(raw)
	out, err := c.Output()
	if err != nil {
		t.Fatalf("pdftotext: %v", err)
	}
	return string(out)
}

// cellOf is a row's cell under a heading, "" where there is none.
func cellOf(head, row []string, title string) string {
	if n := slices.Index(head, title); n >= 0 {
		return row[n]
	}
	return ""
}
