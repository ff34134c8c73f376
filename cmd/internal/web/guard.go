package web

import (
	"context"
	"errors"
	"io"
	"mime"
	"net"
	"net/http"
	"net/netip"
	"net/url"
	"os"
	"path"
	"slices"
	"strings"
	"time"

	"listbound/cmd/internal/door"
	"listbound/cmd/internal/refusal"
	"listbound/cmd/internal/shell"
)

// Hosts names the hosts, beside those that are always known, under which the
// server may be asked: what people type into a browser's address.
func Hosts(names ...string) Option {
	return func(o *options) { o.hosts = append(o.hosts, names...) }
}

// knownHosts returns what the header Host may name. A page of another site can
// have its own name re-pointed to this machine, and a browser then takes the
// two for one site, so that nothing but this header tells them apart. An
// address in figures can't be re-pointed.
func knownHosts(names []string) func(host string) bool {
	known := OwnNames()
	for _, n := range names {
		known = append(known, strings.ToLower(n))
	}
	return func(host string) bool {
		if name, _, err := net.SplitHostPort(host); err == nil {
			host = name
		}
		host = strings.TrimSuffix(strings.ToLower(host), ".")
		if _, err := netip.ParseAddr(strings.Trim(host, "[]")); err == nil {
			return true
		}
		return slices.Contains(known, host)
	}
}

// OwnNames are those by which a server is always known.
func OwnNames() []string {
	known := []string{"localhost"}
	if name, err := os.Hostname(); err == nil {
		known = append(known, strings.ToLower(name))
	}
	return known
}

// guardHost refuses requests that were meant for another host.
func guardHost(next http.Handler, sh *shell.Shell, watch *door.Watch, names []string) http.Handler {
	known := knownHosts(names)
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if !known(r.Host) {
			watch.Refused(r, door.WhyHost, "nobody")
			sh.FailText(w, r, refusal.WithCode(http.StatusMisdirectedRequest,
				"this server is not known as %q; ask it by its address, or have it started with --host %s",
				r.Host, hostName(r.Host)))
			return
		}
		next.ServeHTTP(w, r)
	})
}

// guardOrigin refuses what a page of another origin asks for, whatever the
// method: reading is dear too, and a read answer is out. A link to a page may
// be followed from anywhere. Where a browser sends neither header, as for an
// image over plain HTTP, the answer's own resource policy keeps it from the page.
func guardOrigin(next http.Handler, sh *shell.Shell, watch *door.Watch) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if !foreign(r) {
			next.ServeHTTP(w, r)
			return
		}
		watch.Refused(r, door.WhyOrigin, "nobody")
		err := refusal.WithCode(http.StatusForbidden, "%s", sh.Words(r).T("shell.foreign-page"))
		if strings.HasPrefix(r.URL.Path, apiPrefix) {
			sh.FailJSON(w, r, err)
			return
		}
		sh.FailText(w, r, err)
	})
}

// foreign reports whether a request was made by a page of another origin.
func foreign(r *http.Request) bool {
	switch r.Header.Get("Sec-Fetch-Site") {
	case "none", "same-origin": // no page can set this header; a proxy may have changed Host
		return false
	case "":
		origin := r.Header.Get("Origin")
		if origin == "" {
			return false
		}
		u, err := url.Parse(origin)
		return err != nil || u.Host != r.Host // "null" has no host
	}
	get := r.Method == http.MethodGet || r.Method == http.MethodHead
	link := get && r.Header.Get("Sec-Fetch-Mode") == "navigate" && r.Header.Get("Sec-Fetch-Dest") == "document"
	return !link || strings.HasPrefix(r.URL.Path, apiPrefix)
}

func hostName(host string) string {
	if name, _, err := net.SplitHostPort(host); err == nil {
		return name
	}
	return host
}

const (
	// idle is how long a client may leave the server waiting for the next bytes
	// of a request, or with bytes of an answer that it doesn't take. A station
	// on a bad wireless line is slower than anything else that is honest.
	idle = 30 * time.Second
	// maxBody bounds what one request may send, but observations, which are read
	// and recorded line by line. A list in a spreadsheet is the largest.
	maxBody = 33 << 20
	// recordPath takes observations.
	recordPath = "/api/observations"
)

// takesFile reports whether a request may bring a file: a list, a register, a schedule or a run's log, which are read in memory. Anywhere
// else the parts of a body would be written to the disk by whoever looks at the form.
func takesFile(r *http.Request) bool {
	if r.Method != http.MethodPost || strings.HasPrefix(r.URL.Path, apiPrefix) {
		return false
	}
	last := path.Base(r.URL.Path)
	return last == "lists" || last == "day" || last == "run" || path.Base(path.Dir(r.URL.Path)) == "registers"
}

// guardFiles refuses files where none is taken, before anything of them is read.
func guardFiles(next http.Handler, sh *shell.Shell) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		// A header that can't be read names no boundary either, so no part is found by it.
		kind, _, _ := mime.ParseMediaType(r.Header.Get("Content-Type"))
		if !strings.HasPrefix(kind, "multipart/") || takesFile(r) {
			next.ServeHTTP(w, r)
			return
		}
		err := refusal.WithCode(http.StatusUnsupportedMediaType, "%s", sh.Words(r).T("shell.no-file-here", r.URL.Path))
		if strings.HasPrefix(r.URL.Path, apiPrefix) {
			sh.FailJSON(w, r, err)
			return
		}
		sh.FailText(w, r, err)
	})
}

// guardPace gives up a client that neither sends nor takes anything, and refuses
// bodies beyond what any page or program has to send.
func guardPace(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		rc := http.NewResponseController(w)
		if r.URL.Path != recordPath {
			r.Body = http.MaxBytesReader(w, r.Body, maxBody)
		}
		r.Body = &pacedBody{ReadCloser: r.Body, rc: rc}
		// The last bytes, and an answer without a body, go out after the handler.
		defer func() { _ = rc.SetWriteDeadline(time.Now().Add(idle)) }()
		next.ServeHTTP(&pacedWriter{ResponseWriter: w, rc: rc}, r)
	})
}

// pacedBody moves the deadline on with each read. A connection without
// deadlines, as in a test, goes without.
type pacedBody struct {
	io.ReadCloser
	rc *http.ResponseController
}

func (b *pacedBody) Read(p []byte) (int, error) {
	if err := b.rc.SetReadDeadline(time.Now().Add(idle)); err != nil && !errors.Is(err, http.ErrNotSupported) {
		return 0, err
	}
	n, err := b.ReadCloser.Read(p)
	if err == nil {
		return n, nil
	}
	// The handler may now take as long as it needs: the server watches the
	// connection meanwhile, and a deadline would look as if the client had gone.
	if clear := b.rc.SetReadDeadline(time.Time{}); clear != nil && !errors.Is(clear, http.ErrNotSupported) {
		return n, errors.Join(err, clear)
	}
	return n, err
}

// pacedWriter moves the deadline on with each write.
type pacedWriter struct {
	http.ResponseWriter
	rc *http.ResponseController
}

func (w *pacedWriter) Write(p []byte) (int, error) {
	if err := w.rc.SetWriteDeadline(time.Now().Add(idle)); err != nil && !errors.Is(err, http.ErrNotSupported) {
		return 0, err
	}
	return w.ResponseWriter.Write(p)
}

// Unwrap lets a response controller find what is wrapped.
func (w *pacedWriter) Unwrap() http.ResponseWriter { return w.ResponseWriter }

// Run serves until the context ends. What was accepted by then is finished, for
// a few seconds; the streams that tell pages of changes end at once.
func Run(ctx context.Context, srv *http.Server, serve func() error) error {
	streams, endStreams := context.WithCancel(context.WithoutCancel(ctx))
	defer endStreams()
	requests, endRequests := context.WithCancel(shell.WithStreams(context.WithoutCancel(ctx), streams.Done()))
	defer endRequests()
	srv.BaseContext = func(net.Listener) context.Context { return requests }
	srv.RegisterOnShutdown(endStreams)

	failed := make(chan error, 1)
	go func() { failed <- serve() }()
	select {
	case err := <-failed:
		return err
	case <-ctx.Done():
	}
	const grace = 5 * time.Second
	end, cancel := context.WithTimeout(context.WithoutCancel(ctx), grace)
	defer cancel()
	err := srv.Shutdown(end)
	endRequests() // whoever is not done by now is told
	if served := <-failed; !errors.Is(served, http.ErrServerClosed) {
		err = errors.Join(err, served)
	}
	return err
}
