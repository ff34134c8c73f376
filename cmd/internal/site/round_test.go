package site_test

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"listbound/cmd/internal/refusal"
	"listbound/cmd/internal/site"
	"listbound/events"
)

// crowd has requests wait while another one is taken, so that they go into one round, in the order in which they are added.
type crowd struct {
	t    *testing.T
	s    *site.Site
	hold atomic.Bool   // the clock waits for go
	held chan struct{} // the clock waits
	let  chan struct{}
	all  sync.WaitGroup
	now  atomic.Int64
}

func newCrowd(t *testing.T) *crowd {
	c := &crowd{t: t, held: make(chan struct{}), let: make(chan struct{})}
	c.s = open(t, t.TempDir(), site.Options{Name: "north", EnrolOnSight: true, Clock: func() time.Time {
		if c.hold.CompareAndSwap(true, false) {
			close(c.held)
			<-c.let
		}
		return noon.Add(time.Duration(c.now.Add(1)) * time.Millisecond)
	}})
	return c
}

// begin has one observation taken until the crowd is there.
func (c *crowd) begin() {
	c.hold.Store(true)
	c.all.Go(func() {
		if _, err := c.s.Observe(c.t.Context(), checked(c.t, "FIRST")); err != nil {
			c.t.Error(err)
		}
	})
	<-c.held
}

// answer is what a request of the crowd came to.
type answer struct {
	rs  []site.Receipt
	err error
}

func (c *crowd) add(ctx context.Context, obs ...*events.Observation) *answer {
	a, waiting := new(answer), c.s.Waiting()
	c.all.Go(func() { a.rs, a.err = c.s.Observe(ctx, obs...) })
	for c.s.Waiting() == waiting {
	}
	return a
}

func (c *crowd) end() {
	close(c.let)
	c.all.Wait()
}

func packed(set string) *events.Observation {
	return &events.Observation{Station: "north/packing-1", Kind: events.KindSetPacked, Time: noon, Set: set, Operator: "B-1",
		Data: &events.SetPacked{List: "LAP-MAJOR", Version: 3, NewSet: true}}
}

func sealed(set string) *events.Observation {
	return &events.Observation{Station: "north/packing-2", Kind: events.KindListSealed, Time: noon.Add(time.Minute), Set: set,
		Operator: "B-1", Data: &events.ListSealed{Placement: events.Outside}}
}

// TestOneRound: what is handed in while another request is taken goes into the ledger together; each has its own answer, a
// line may refer to what another request of the round says, and to nothing of one that is refused.
func TestOneRound(t *testing.T) {
	c := newCrowd(t)
	record(t, c.s, oneList)
	gone, leave := context.WithCancel(t.Context())
	c.begin()
	good := c.add(t.Context(), packed("A"))
	seal := c.add(t.Context(), sealed("A"))
	half := c.add(t.Context(), packed("B"), sealed("NOBODY-PACKED")) // the second is refused, so the first is too
	ofHalf := c.add(t.Context(), sealed("B"))
	once, again := c.add(t.Context(), checked(t, "C")), c.add(t.Context(), checked(t, "C"))
	left := c.add(gone, checked(t, "D"))
	last := c.add(t.Context(), checked(t, "E"), checked(t, "F"))
	leave()
	c.end()

	arrived := make(map[time.Time]int)
	for what, a := range map[string]*answer{"packed": good, "sealed": seal, "once": once, "again": again, "last": last} {
		if a.err != nil {
			t.Fatalf("%s: %v", what, a.err)
		}
		for _, r := range a.rs {
			at, err := c.s.ArrivedAt(r.Seq)
			if err != nil {
				t.Fatal(err)
			}
			arrived[at]++
		}
	}
	if len(arrived) != 1 {
		t.Errorf("the requests went into the ledger in %d rounds: %v", len(arrived), arrived)
	}
	if seal.rs[0].Trip == "" || seal.rs[0].Trip != good.rs[0].Trip || seal.rs[0].SheetCode == "" {
		t.Errorf("the seal %+v is not of the packing %+v", seal.rs[0], good.rs[0])
	}
	if once.rs[0].Known || !again.rs[0].Known || once.rs[0].Seq != again.rs[0].Seq {
		t.Errorf("one observation handed in twice: %+v and %+v", once.rs[0], again.rs[0])
	}
	if len(last.rs) != 2 || last.rs[1].Seq != last.rs[0].Seq+1 {
		t.Errorf("two observations together: %+v", last.rs)
	}
	for what, a := range map[string]*answer{"half": half, "of what half says": ofHalf} {
		if !refusal.Is(a.err) || !strings.Contains(a.err.Error(), "record set.packed first") || a.rs != nil {
			t.Errorf("%s: %+v, %v", what, a.rs, a.err)
		}
	}
	if !errors.Is(left.err, context.Canceled) {
		t.Errorf("of one who has gone: %+v, %v", left.rs, left.err)
	}
	for _, set := range []string{"B", "D"} {
		h, err := c.s.History(t.Context(), site.Query{Set: set})
		if err == nil {
			t.Errorf("of %s, of which nothing was recorded: %+v", set, h)
		}
	}
	before := fmt.Sprint(c.s.Broken(t.Context()))
	if _, err := c.s.Rebuild(t.Context(), nil); err != nil {
		t.Fatal(err)
	}
	if after := fmt.Sprint(c.s.Broken(t.Context())); after != before {
		t.Errorf("a rebuild judges otherwise:\n%s\n%s", before, after)
	}
}
