package web

import (
	"context"
	"errors"
	"io"
	"net"
	"net/http"
	"net/netip"
	"os"
	"slices"
	"strings"
	"time"

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
	known := []string{"localhost"}
	if name, err := os.Hostname(); err == nil {
		known = append(known, strings.ToLower(name))
	}
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

// guardHost refuses requests that were meant for another host.
func guardHost(next http.Handler, sh *shell.Shell, names []string) http.Handler {
	known := knownHosts(names)
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if !known(r.Host) {
			sh.FailText(w, r, refusal.WithCode(http.StatusMisdirectedRequest,
				"this server is not known as %q; ask it by its address, or have it started with --host %s",
				r.Host, hostName(r.Host)))
			return
		}
		next.ServeHTTP(w, r)
	})
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
