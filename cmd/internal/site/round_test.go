package site_test

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"path/filepath"
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

// TestGoneBackBetween: where the read model goes back to what is written of it after an intake was begun, nothing is to get a number
// that its station's last record has, and what is handed in again is known.
func TestGoneBackBetween(t *testing.T) {
	dir := t.TempDir()
	var s *site.Site
	var looks atomic.Int64 // at the clock, behind which it goes back; 0 for never
	gone := 0
	goBack := func() {
		defer locked(t, dir)()
		if s.Behind() > 0 { // else it was written in time
			gone++
		}
	}
	s = open(t, dir, site.Options{Name: "north", EnrolOnSight: true, LockWait: time.Millisecond, Clock: func() time.Time {
		if looks.Load() > 0 && looks.Add(-1) == 0 {
			goBack()
		}
		return noon
	}})
	at := noon.Add(-time.Hour)
	next := func() *events.Observation {
		at = at.Add(time.Second)
		o := checked(t, "LAP-014")
		o.Time = at
		return o
	}
	observe := func(ctx context.Context, obs ...*events.Observation) []site.Receipt {
		t.Helper()
		rs, err := s.Observe(ctx, obs...)
		if err != nil {
			t.Fatal(err)
		}
		return rs
	}
	observe(t.Context(), next())
	const times = 3
	for n := range times {
		settled(t, s, dir)
		o, asked := next(), 0
		was := observe(t.Context(), o)[0]
		rs := observe(site.WithPermit(t.Context(), func(*events.Observation, *events.Event) error {
			if asked++; asked == 1 {
				goBack()
			}
			return nil
		}), next(), o)
		if !rs[1].Known || rs[1].Seq != was.Seq {
			t.Errorf("record %d, handed in again, got %+v", was.Seq, rs[1])
		}
		settled(t, s, dir)
		enrol := func(which string) error {
			_, err := s.Enrol(t.Context(), fmt.Sprintf("north/or-%d%s", n, which), "", "new")
			return err
		}
		if err := enrol("a"); err != nil {
			t.Fatal(err)
		}
		looks.Store(2) // the first one is in the beginning
		err := enrol("b")
		looks.Store(0)
		if err != nil && (refusal.Is(err) || !strings.Contains(err.Error(), "could not be written")) {
			t.Errorf("enrolled while it goes back: %v", err)
		}
	}
	if gone < times {
		t.Fatalf("the read model went back %d times", gone)
	}
	if err := s.Advance(t.Context()); err != nil { // as KeepTime does
		t.Fatal(err)
	}
	for seq := int64(1); seq <= s.Size(); seq++ {
		remarks, err := site.Answer(s, func(v *site.View) (events.Remark, error) { return v.RemarksOf(t.Context(), seq) })
		if err != nil || remarks != 0 {
			t.Errorf("record %d: %s, %v", seq, remarks, err)
		}
	}
}

// locked keeps everybody else from writing to a folder's read model until end is called.
func locked(t *testing.T, dir string) (end func()) {
	t.Helper()
	db, err := sql.Open("sqlite", "file:"+filepath.Join(dir, "readmodel.db")+"?_txlock=immediate&_pragma=busy_timeout(5000)")
	if err != nil {
		t.Fatal(err)
	}
	lock, err := db.BeginTx(t.Context(), nil)
	if err != nil {
		t.Fatal(err)
	}
	return func() {
		if err := errors.Join(lock.Rollback(), db.Close()); err != nil {
			t.Error(err)
		}
	}
}
