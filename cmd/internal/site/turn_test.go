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

// TestTurnNotWanted: who no longer wants it is not let in and keeps nobody out, whichever of the two comes first, and nobody who waits
// behind it waits for it.
func TestTurnNotWanted(t *testing.T) {
	var turn site.Turn
	for n := range 3000 {
		over := make(chan struct{})
		var all sync.WaitGroup
		turn.Lock()
		all.Go(func() {
			if turn.LockUnless(over) {
				turn.Unlock()
			}
		})
		for turn.Waiting() == 0 {
		}
		all.Go(func() { close(over) })
		got := 0
		for range 2 { // others who ask meanwhile get it
			all.Go(func() {
				turn.Lock()
				defer turn.Unlock()
				got++
			})
		}
		if n%3 == 0 {
			<-over
		}
		turn.Unlock()
		all.Wait()
		if !turn.TryLock() || got != 2 {
			t.Fatalf("%d. time: nobody wants it, and it isn't free, or not both of the others had it: %d", n, got)
		}
		turn.Unlock()
	}
	over := make(chan struct{})
	turn.Lock()
	var all sync.WaitGroup
	all.Go(func() {
		if turn.LockUnless(over) {
			t.Error("let in, and it didn't want it")
			turn.Unlock()
		}
	})
	for turn.Waiting() != 1 {
	}
	close(over)
	all.Wait()
	if turn.Waiting() != 0 {
		t.Error("it waits still")
	}
	turn.Unlock()
}
