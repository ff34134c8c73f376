package web

import (
	"bytes"
	"context"
	"errors"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"testing/synctest"
	"time"
)

// stalled is a client that takes nothing until it is let.
type stalled struct {
	*httptest.ResponseRecorder
	let chan struct{}
}

func (s *stalled) Write(p []byte) (int, error) {
	<-s.let
	return s.ResponseRecorder.Write(p)
}

func newHandIn(ctx context.Context, turns turns, body string, out http.ResponseWriter) *handIn {
	return &handIn{body: io.NopCloser(strings.NewReader(body)), ctx: ctx, turns: turns, out: out, flush: func() error { return nil }}
}

// TestMuchIsHandedInByTurns: of clients that hand in much one at a time is worked for, a station's scan waits for none of
// them, and neither does anybody wait for one that does not take its receipts.
func TestMuchIsHandedInByTurns(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		turns, much := newTurns(), strings.Repeat("x", 2*freely)
		begin := func(h *handIn) chan error {
			done := make(chan error, 1)
			go func() {
				_, err := io.ReadFull(h, make([]byte, freely+1))
				done <- err
			}()
			synctest.Wait()
			return done
		}
		waits := func(done chan error) bool {
			select {
			case err := <-done:
				if err != nil {
					t.Error(err)
				}
				return false
			default:
				return true
			}
		}
		slow := &stalled{httptest.NewRecorder(), make(chan struct{})}
		first := newHandIn(t.Context(), turns, much, slow)
		if waits(begin(first)) {
			t.Fatal("the first waits for nobody, and waits")
		}
		second := newHandIn(t.Context(), turns, much, httptest.NewRecorder())
		done := begin(second)
		if !waits(done) {
			t.Error("two are worked for at once")
		}
		if _, err := newHandIn(t.Context(), turns, "a scan", httptest.NewRecorder()).Read(make([]byte, 10)); err != nil {
			t.Error(err)
		}
		written := make(chan error, 1)
		go func() { written <- first.put(make([]byte, together)) }()
		synctest.Wait()
		if waits(done) {
			t.Error("one waits for another that doesn't take its receipts")
		}
		close(slow.let)
		synctest.Wait()
		if !waits(written) {
			t.Error("the first goes on though it is the second's turn")
		}
		second.leave()
		synctest.Wait()
		if waits(written) || slow.Body.Len() != together+1 {
			t.Errorf("the first has not gone on: %d bytes", slow.Body.Len())
		}
		first.leave()
	})
}

// TestWhoWaitsForATurnMayGo: whoever goes away while it waits ends, and leaves nothing behind.
func TestWhoWaitsForATurnMayGo(t *testing.T) {
	turns := newTurns()
	turns <- struct{}{}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	h := newHandIn(ctx, turns, strings.Repeat("x", 2*freely), httptest.NewRecorder())
	if _, err := io.ReadFull(h, make([]byte, 2*freely)); !errors.Is(err, context.Canceled) {
		t.Errorf("reading ended with %v", err)
	}
	if h.leave(); len(turns) != 1 {
		t.Error("it gave back a turn that it did not have")
	}
}

// TestReceiptsBeforeMoreIsRead: what was answered goes out before the server waits for more, since the client may wait too.
func TestReceiptsBeforeMoreIsRead(t *testing.T) {
	out := httptest.NewRecorder()
	h := newHandIn(t.Context(), newTurns(), "line", out)
	if err := h.put([]byte("receipt")); err != nil || out.Body.Len() > 0 {
		t.Fatalf("%v, %q", err, out.Body)
	}
	if _, err := h.Read(make([]byte, 10)); err != nil || !bytes.Equal(out.Body.Bytes(), []byte("receipt\n")) {
		t.Errorf("%v, %q", err, out.Body)
	}
}

// TestDearQuestionsRest: what costs much is done once at a time, and then there is a rest of three times as long.
func TestDearQuestionsRest(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s, begun := newSeldom(), time.Now()
		for i := range 3 {
			var at time.Duration
			_, err := s.ask(t.Context(), func() (any, error) {
				at = time.Since(begun)
				<-time.After(time.Second) // of the bubble's clock
				return nil, nil
			})
			if want := time.Duration(4*i) * time.Second; err != nil || at != want {
				t.Errorf("question %d was begun after %s, want %s: %v", i, at, want, err)
			}
		}
		ctx, cancel := context.WithCancel(t.Context())
		cancel()
		_, err := s.ask(ctx, func() (any, error) { t.Error("it was done for nobody"); return nil, nil })
		if !errors.Is(err, context.Canceled) {
			t.Errorf("a client that went away: %v", err)
		}
	})
}
