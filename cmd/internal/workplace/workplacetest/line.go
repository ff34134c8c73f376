package workplacetest

import (
	"errors"
	"net"
	"net/http"
	"sync/atomic"
	"testing"
)

// Line is the way to a house's server: a listener that is closed, and opened again
// at the same address.
type Line struct {
	t       *testing.T
	addr    string
	handler atomic.Pointer[http.Handler]
	srv     *http.Server
	ended   chan error
}

// NewLine puts the house at an address of its own.
func NewLine(h *House) *Line {
	l := &Line{t: h.T, addr: "127.0.0.1:0"}
	l.Serve(h.Handler())
	l.Mend()
	h.URL = "http://" + l.addr
	h.T.Cleanup(l.Cut)
	return l
}

func (l *Line) Serve(handler http.Handler) { l.handler.Store(&handler) }

func (l *Line) Mend() {
	l.t.Helper()
	ln, err := net.Listen("tcp", l.addr)
	if err != nil {
		l.t.Fatal(err)
	}
	l.addr = ln.Addr().String()
	l.srv = &http.Server{Handler: http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		(*l.handler.Load()).ServeHTTP(w, r)
	})}
	l.ended = make(chan error, 1)
	go func(srv *http.Server, ended chan<- error) { ended <- srv.Serve(ln) }(l.srv, l.ended)
}

func (l *Line) Cut() {
	if l.srv == nil {
		return
	}
	l.srv.Close()
	if err := <-l.ended; !errors.Is(err, http.ErrServerClosed) {
		l.t.Error(err)
	}
	l.srv = nil
}
