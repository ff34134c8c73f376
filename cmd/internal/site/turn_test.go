package site_test

import (
	"slices"
	"sync"
	"testing"

	"listbound/cmd/internal/site"
)

// TestTurnsInOrder: who asks first is let in first, also before the one that lets go and asks again at once.
func TestTurnsInOrder(t *testing.T) {
	var turn site.Turn
	var mu sync.Mutex
	var order []int
	in := func(n int) {
		mu.Lock()
		defer mu.Unlock()
		order = append(order, n)
	}
	turn.Lock()
	if turn.TryLock() {
		t.Fatal("taken twice")
	}
	const others = 20
	var all sync.WaitGroup
	for n := range others {
		all.Go(func() {
			turn.Lock()
			in(n)
			turn.Unlock()
		})
		for turn.Waiting() != n+1 { // it asks before the next one does
		}
	}
	turn.Unlock()
	turn.Lock()
	in(others)
	turn.Unlock()
	all.Wait()
	if len(order) != others+1 || !slices.IsSorted(order) {
		t.Errorf("let in in the order %v", order)
	}
	if !turn.TryLock() {
		t.Error("nobody has it, and it isn't free")
	}
}
