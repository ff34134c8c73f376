package hub_test

import (
	"strings"
	"sync"
	"testing"

	"listbound/cmd/internal/workplace/hub"
)

// told reports whether a listener was told since the last look.
func told(l *hub.Listener) bool {
	select {
	case <-l.Changed():
		return true
	default:
		return false
	}
}

// TestHub: who listens to one key hears of it, the last time at least.
func TestHub(t *testing.T) {
	var h hub.Hub
	mine, second, other := h.Listen("k", "me"), h.Listen("k", ""), h.Listen("l", "")
	var all sync.WaitGroup
	for range 100 {
		all.Go(func() { h.Tell("k", "another") })
		all.Go(func() { h.Listen("m", "").End() })
		all.Go(func() { h.TellAll(func(key string) bool { return key == "m" }) })
		all.Go(func() {
			if n := h.Keys(); n < 2 || n > 3 {
				t.Errorf("%d keys while some come and go", n)
			}
		})
	}
	all.Wait()
	if !told(mine) || !told(second) {
		t.Error("a listener heard nothing")
	}
	if told(mine) || told(second) {
		t.Error("a slow listener hears the same again")
	}
	if told(other) {
		t.Error("a listener heard of another key")
	}
	h.Tell("k", "me")
	if told(mine) {
		t.Error("a browser is told of its own input")
	}
	if !told(second) {
		t.Error("another one is not told of that input")
	}
	h.Tell("k", "")
	if !told(mine) || !told(second) {
		t.Error("what nobody's own input was is not told to all")
	}
	h.TellAll(func(key string) bool { return strings.HasSuffix(key, "l") })
	if told(mine) || told(second) || !told(other) {
		t.Error("those who are picked are told, and nobody else")
	}
	mine.Nudge()
	if !told(mine) || told(second) {
		t.Error("a nudge is for one")
	}
	for i, l := range []*hub.Listener{mine, second, other} {
		if want := []int{2, 2, 1}[i]; h.Keys() != want {
			t.Errorf("%d keys are kept before %d of 3 left", h.Keys(), i+1)
		}
		told(l)
		l.End()
		h.Tell("k", "")
		if told(l) {
			t.Error("who left is told")
		}
	}
	if h.Keys() != 0 {
		t.Errorf("%d keys are kept after everybody left", h.Keys())
	}
}
