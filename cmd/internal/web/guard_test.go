package web

import (
	"bufio"
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"listbound/cmd/internal/site"
	"listbound/cmd/internal/sitetest"
)

func newSite(t *testing.T) *site.Site {
	t.Helper()
	at := time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)
	return sitetest.Open(t, site.Options{
		Dir: t.TempDir(), Name: "north", EnrolOnSight: true, Clock: func() time.Time { return at },
	})
}

// TestHostIsChecked asks under names of all kinds. A page at another name that is re-pointed to this machine is of the
// same origin for the browser, so that no other header tells it apart.
func TestHostIsChecked(t *testing.T) {
	s := newSite(t)
	h, err := New(s, slog.New(slog.DiscardHandler), Hosts("OR-Desk.north.example"))
	if err != nil {
		t.Fatal(err)
	}
	srv := httptest.NewServer(h)
	defer srv.Close()
	for host, want := range map[string]int{
		"":                           http.StatusOK, // the server's own address
		"localhost:8320":             http.StatusOK,
		"LOCALHOST.":                 http.StatusOK,
		"[::1]:8320":                 http.StatusOK,
		"192.0.2.7":                  http.StatusOK,
		"or-desk.north.example:8320": http.StatusOK,
		"evil.example":               http.StatusMisdirectedRequest,
		"localhost.evil.example":     http.StatusMisdirectedRequest,
		"127.0.0.1.evil.example":     http.StatusMisdirectedRequest,
		"north.example":              http.StatusMisdirectedRequest,
	} {
		for _, method := range []string{http.MethodGet, http.MethodPost} {
			path := "/api/stations"
			if method == http.MethodPost {
				path = "/api/stations/enrol?station=north/x"
			}
			r, err := http.NewRequestWithContext(t.Context(), method, srv.URL+path, nil)
			if err != nil {
				t.Fatal(err)
			}
			r.Host = host
			if method == http.MethodPost { // as a page at that name would send it
				r.Header.Set("Origin", "http://"+cmp.Or(host, strings.TrimPrefix(srv.URL, "http://")))
				r.Header.Set("Sec-Fetch-Site", "same-origin")
			}
			size := s.Size()
			resp, err := http.DefaultClient.Do(r)
			if err != nil {
				t.Fatal(err)
			}
			text, err := io.ReadAll(resp.Body)
			resp.Body.Close()
			if err != nil || resp.StatusCode != want {
				t.Errorf("%s under %q: %d, %v: %s", method, host, resp.StatusCode, err, text)
			}
			if want != http.StatusOK && (s.Size() != size || !strings.Contains(string(text), "--host")) {
				t.Errorf("%s under %q: %d records more, %s", method, host, s.Size()-size, text)
			}
		}
	}
}

// TestBodiesAreBounded sends more than any page or program has to send, in a form too, which would otherwise be laid
// down on the disk for anybody.
func TestBodiesAreBounded(t *testing.T) {
	h, err := New(newSite(t), slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(err)
	}
	srv := httptest.NewServer(h)
	defer srv.Close()
	read := &counted{r: io.LimitReader(filler{}, 2*maxBody)}
	head := "--x\r\nContent-Disposition: form-data; name=\"station\"; filename=\"a\"\r\n\r\n"
	body := io.MultiReader(strings.NewReader(head), read)
	r, err := http.NewRequestWithContext(t.Context(), http.MethodPost, srv.URL+"/api/stations/enrol", body)
	if err != nil {
		t.Fatal(err)
	}
	r.Header.Set("Content-Type", "multipart/form-data; boundary=x")
	resp, err := http.DefaultClient.Do(r)
	if err == nil { // the server may also hang up on so much
		resp.Body.Close()
		if resp.StatusCode < http.StatusBadRequest {
			t.Errorf("answered %d", resp.StatusCode)
		}
	}
	const inFlight = 8 << 20 // what the two sockets hold
	if n := read.n.Load(); n > maxBody+inFlight {
		t.Errorf("%d bytes were taken, %d are allowed", n, maxBody)
	}
	// Nor does a handler that would take all of it get more.
	got := int64(0)
	guardPace(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		got, err = io.Copy(io.Discard, r.Body)
	})).ServeHTTP(httptest.NewRecorder(), httptest.NewRequest(http.MethodPost, "/near-misses", io.LimitReader(filler{}, 2*maxBody)))
	if _, large := errors.AsType[*http.MaxBytesError](err); !large || got > maxBody {
		t.Errorf("a handler got %d bytes, %v", got, err)
	}
}

type filler struct{}

func (filler) Read(p []byte) (int, error) {
	for i := range p {
		p[i] = 'a'
	}
	return len(p), nil
}

// counted counts what is read, also while a client that was refused still sends.
type counted struct {
	r io.Reader
	n atomic.Int64
}

func (c *counted) Read(p []byte) (int, error) {
	n, err := c.r.Read(p)
	c.n.Add(int64(n))
	return n, err
}

// deadlines notes what a connection's deadlines are set to.
type deadlines struct {
	http.ResponseWriter
	read, write time.Time
	sets        []string
}

func (d *deadlines) SetReadDeadline(t time.Time) error {
	d.read, d.sets = t, append(d.sets, "read")
	return nil
}

func (d *deadlines) SetWriteDeadline(t time.Time) error {
	d.write, d.sets = t, append(d.sets, "write")
	return nil
}

// TestClientsKeepPace holds a deadline over each wait for a client, and none over the server's own work.
func TestClientsKeepPace(t *testing.T) {
	d := &deadlines{ResponseWriter: httptest.NewRecorder()}
	guardPace(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		one := make([]byte, 1)
		if _, err := r.Body.Read(one); err != nil || d.read.IsZero() {
			t.Errorf("while a body is read: deadline %v, %v", d.read, err)
		}
		if _, err := io.Copy(io.Discard, r.Body); err != nil || !d.read.IsZero() {
			t.Errorf("when all is read: deadline %v, %v", d.read, err)
		}
		before := d.write
		fmt.Fprint(w, "answer")
		if d.write.Equal(before) {
			t.Error("an answer was written without a deadline")
		}
		d.write = time.Time{}
	})).ServeHTTP(d, httptest.NewRequestWithContext(t.Context(), http.MethodPost, "/", strings.NewReader("ab")))
	if d.write.IsZero() {
		t.Error("the last bytes go out without a deadline")
	}
}

// TestStopFinishesWhatWasAccepted stops a server while it works on a request and while a page listens for changes: the
// request gets its answer, the stream ends, and nobody waits for the end of the grace.
func TestStopFinishesWhatWasAccepted(t *testing.T) {
	h, err := New(newSite(t), slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(err)
	}
	begun, goOn := make(chan struct{}), make(chan struct{})
	mux := http.NewServeMux()
	mux.Handle("/", h)
	mux.HandleFunc("GET /slow", func(w http.ResponseWriter, r *http.Request) {
		close(begun)
		<-goOn
		if r.Context().Err() == nil {
			fmt.Fprint(w, "finished")
		}
	})
	l, err := (&net.ListenConfig{}).Listen(t.Context(), "tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(t.Context())
	srv := &http.Server{Handler: mux, ReadHeaderTimeout: time.Minute}
	ended := make(chan error, 1)
	go func() { ended <- Run(ctx, srv, func() error { return srv.Serve(l) }) }()
	get := func(path string) *http.Response {
		r, err := http.NewRequestWithContext(t.Context(), http.MethodGet, "http://"+l.Addr().String()+path, nil)
		if err != nil {
			t.Error(err)
			return nil
		}
		resp, err := http.DefaultClient.Do(r)
		if err != nil {
			t.Error(err)
			return nil
		}
		return resp
	}
	stream := get("/changes")
	if stream == nil {
		t.FailNow()
	}
	defer stream.Body.Close()
	events := bufio.NewReader(stream.Body)
	if line, err := events.ReadString('\n'); err != nil || !strings.HasPrefix(line, "retry") {
		t.Fatalf("%d: %q, %v", stream.StatusCode, line, err)
	}
	answer := make(chan string, 1)
	go func() {
		resp := get("/slow")
		if resp == nil {
			answer <- ""
			return
		}
		defer resp.Body.Close()
		text, _ := io.ReadAll(resp.Body)
		answer <- string(text)
	}()
	<-begun
	stop()
	if _, err := io.Copy(io.Discard, events); err != nil {
		t.Errorf("the stream broke off instead of ending: %v", err)
	}
	close(goOn)
	if got := <-answer; got != "finished" {
		t.Errorf("what was accepted was answered %q", got)
	}
	if err := <-ended; err != nil {
		t.Errorf("stopping: %v", err)
	}
}

// TestFormsWithFilesAreTaken: a form that sends a file leads where one is taken, also in practice.
func TestFormsWithFilesAreTaken(t *testing.T) {
	forms := 0
	fill := regexp.MustCompile(`{{[^}]*\.Register}}`)
	for _, m := range formsWithFiles(t, "../*/templates/*.html") {
		for _, prefix := range []string{"", "/practice"} {
			forms++
			at := fill.ReplaceAllString(strings.ReplaceAll(m, "{{prefix}}", prefix), "people")
			if !takesFile(httptest.NewRequest(http.MethodPost, at, nil)) {
				t.Errorf("a page has a form with a file for %s, which takes none", at)
			}
		}
	}
	if forms == 0 {
		t.Fatal("no form sends a file")
	}
}

// formsWithFiles are where the templates' forms lead that send files.
func formsWithFiles(t *testing.T, templates string) (actions []string) {
	t.Helper()
	files, err := filepath.Glob(templates)
	if err != nil {
		t.Fatal(err)
	}
	form := regexp.MustCompile(`<form [^>]*\baction="([^"#]*)[^>]*enctype="multipart/form-data"`)
	for _, f := range files {
		text, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		found := form.FindAllStringSubmatch(string(text), -1)
		if n := strings.Count(string(text), "multipart/form-data"); n != len(found) {
			t.Errorf("%s: %d of %d forms with files are found", f, len(found), n)
		}
		for _, m := range found {
			actions = append(actions, m[1])
		}
	}
	return actions
}

// A file is taken where lists and registers are, and nowhere else: whoever looks at a form would write its parts to the disk.
func TestFilesOnlyWhereTaken(t *testing.T) {
	f := newFailing(t)
	handler, err := New(f.site, slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(err)
	}
	body, kind := multipartForm(t, map[string]string{"station": "north/or-9"})
	for target, taken := range map[string]bool{
		"POST /api/stations/enrol": false, "POST /acknowledge": false, "GET /api/lists": false, "POST /api/lists": false,
		"POST /lists": true, "POST /registers/people": true, "POST /registers/people/hold": false, "GET /registers/people": false,
		"POST /api/registers/people": false,
	} {
		method, path, _ := strings.Cut(target, " ")
		r := httptest.NewRequestWithContext(t.Context(), method, "http://localhost"+path, strings.NewReader(body))
		r.Header.Set("Content-Type", kind)
		w := httptest.NewRecorder()
		handler.ServeHTTP(w, r)
		if (w.Code != http.StatusUnsupportedMediaType) != taken {
			t.Errorf("%s with a file: %d %s", target, w.Code, w.Body)
		}
	}
}
