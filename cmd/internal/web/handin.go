package web

import (
	"bytes"
	"context"
	"io"
	"net/http"
	"time"

	"listbound/cmd/internal/refusal"
)

const (
	// freely is how many bytes of observations a request hands in before it has to take turns with the others that hand in
	// as much: what a station scans and counts stays far below, an import doesn't.
	freely = 16 << 10
	// together is how many bytes of receipts go out at once.
	together = 32 << 10
)

// turns lets one at a time be worked for of those that hand in much. Stations share the processors and the lock of the
// intake with one of them then, however many there are.
type turns chan struct{}

func newTurns() turns { return make(turns, 1) }

// handIn is one request's observations on their way in and its receipts on their way out. While it waits for its client, to
// send or to take, it has no turn: a client that does neither holds up nobody.
type handIn struct {
	body  io.ReadCloser
	ctx   context.Context
	turns turns
	out   http.ResponseWriter
	flush func() error

	read     int64
	mine     bool // it is its turn
	receipts bytes.Buffer
}

// Read hands over what came. What its lines before were answered goes out first, since the client may wait for it.
func (h *handIn) Read(p []byte) (int, error) {
	if err := h.send(); err != nil {
		return 0, err
	}
	n, err := h.body.Read(p)
	if err != nil && err != io.EOF {
		err = refusal.Because(&cutShort{err})
	}
	if h.read += int64(n); h.read > freely {
		if waited := h.take(); waited != nil {
			return 0, waited
		}
	}
	return n, err
}

// put adds a receipt to those that go out.
func (h *handIn) put(receipt []byte) error {
	h.receipts.Write(append(receipt, '\n'))
	if h.receipts.Len() < together {
		return nil
	}
	again := h.mine
	if err := h.send(); err != nil || !again {
		return err
	}
	return h.take()
}

// send gives the turn back, then writes the receipts.
func (h *handIn) send() error {
	if h.leave(); h.receipts.Len() == 0 {
		return nil
	}
	if err := h.end(); err != nil {
		return err
	}
	return h.flush()
}

// end is send for the last receipts, which go out with the end of the answer: where they are all there are, as for what a
// station scans, the whole answer is one write, of a length that it says.
func (h *handIn) end() error {
	h.leave()
	_, err := h.out.Write(h.receipts.Bytes())
	h.receipts.Reset()
	return err
}

func (h *handIn) take() error {
	select {
	case h.turns <- struct{}{}:
		h.mine = true
		return nil
	case <-h.ctx.Done():
		return h.ctx.Err()
	}
}

func (h *handIn) leave() {
	if h.mine {
		h.mine = false
		<-h.turns
	}
}

// seldom does what costs much, whoever asks for it: one at a time, and each time it rests for a few times
// what it took, so that stations have most of the machine.
type seldom struct{ free chan struct{} }

const restTimes = 3

func newSeldom() seldom { return seldom{make(chan struct{}, 1)} }

// ask waits for its turn and does it.
func (s seldom) ask(ctx context.Context, do func() (any, error)) (any, error) {
	select {
	case s.free <- struct{}{}:
	case <-ctx.Done():
		return nil, ctx.Err()
	}
	begun := time.Now()
	defer func() { time.AfterFunc(restTimes*time.Since(begun), func() { <-s.free }) }()
	return do()
}
