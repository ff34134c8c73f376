package ledger_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"

	"listbound/ledger"
	"listbound/ledger/ledgertest"
)

// cutLine stands between a client and a server. While it is cut nothing comes through in either direction, and neither side is
// told, as when a cable is pulled.
type cutLine struct {
	l  net.Listener
	to string

	mu    sync.Mutex
	cut   bool
	conns []net.Conn
	wg    sync.WaitGroup
}

func newCutLine(t *testing.T, to string) *cutLine {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	c := &cutLine{l: l, to: to}
	c.wg.Go(c.accept)
	t.Cleanup(func() {
		l.Close() //nolint:errcheck // the test is over
		c.set(false)
		c.wg.Wait()
	})
	return c
}

func (c *cutLine) accept() {
	for {
		from, err := c.l.Accept()
		if err != nil {
			return
		}
		to, err := net.Dial("tcp", c.to)
		if err != nil {
			from.Close() //nolint:errcheck // as the server is
			continue
		}
		c.mu.Lock()
		c.conns = append(c.conns, from, to)
		c.mu.Unlock()
		c.wg.Go(func() { c.pass(from, to) })
		c.wg.Go(func() { c.pass(to, from) })
	}
}

// pass hands on what comes while the line is whole, and drops it while it is cut.
func (c *cutLine) pass(from, to net.Conn) {
	defer to.Close() //nolint:errcheck // the other side ends too
	_, _ = io.Copy(writerFunc(func(b []byte) (int, error) {
		c.mu.Lock()
		cut := c.cut
		c.mu.Unlock()
		if cut {
			return len(b), nil
		}
		return to.Write(b)
	}), from)
}

type writerFunc func([]byte) (int, error)

func (f writerFunc) Write(b []byte) (int, error) { return f(b) }

// set cuts the line, or mends it: what was connected then has lost something, and is reset.
func (c *cutLine) set(cut bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.cut = cut; !cut {
		for _, conn := range c.conns {
			conn.Close() //nolint:errcheck // it is to be gone
		}
		c.conns = nil
	}
}

// A writer that is cut off from a cluster that lives acknowledges nothing more. The one that stands by takes over, and the
// other is fenced off when it comes back: what it had under way is nowhere.
func TestWriterIsCutOff(t *testing.T) {
	t.Parallel()
	ctx := context.Background()
	c := startCluster(t, 3)
	var lines []*cutLine
	var through []string
	for _, n := range c.nodes {
		line := newCutLine(t, fmt.Sprintf("127.0.0.1:%d", n.Client))
		lines = append(lines, line)
		through = append(through, fmt.Sprintf("nats://%s:%s@%s", n.User, strings.ReplaceAll(n.Pass, " ", "%20"), line.l.Addr()))
	}
	const silence = 3 * time.Second
	o := ledgertest.Options(t)
	o.Clock, o.Cluster = time.Now, clusterAt(strings.Join(through, ","), silence)
	old := ledgertest.Open(t, o)
	prev := fill(t, old, "north/or-3", 0, 30, 0)
	if _, err := old.Checkpoint(ctx); err != nil {
		t.Fatal(err)
	}
	standing := make(chan string, 8)
	with := ledgertest.Options(t)
	with.Clock, with.Cluster = time.Now, clusterAt(c.url(), silence)
	with.Cluster.Tell = func(text string) { standing <- text }
	opened := make(chan *ledger.Ledger)
	go func() {
		l, err := ledger.Open(ctx, with)
		if err != nil {
			t.Error(err)
		}
		opened <- l
	}()
	if said := <-standing; !strings.Contains(said, "standing by") {
		t.Fatal(said)
	}
	for _, line := range lines {
		line.set(true)
	}
	lost := make(chan error)
	go func() {
		_, err := old.Append(ctx, entry(t, "north/or-3", "never to be seen", prev))
		lost <- err
	}()
	next := <-opened
	if next == nil {
		t.FailNow()
	}
	defer next.Close() //nolint:errcheck // verified below
	out, err := next.Append(ctx, entry(t, "north/or-4", "of the next writer", 0))
	if err != nil || out[0].Seq != prev+1 || next.Epoch() != prev+1 {
		t.Fatalf("the next writer's first record is %v: %v", out, err)
	}
	select {
	case err := <-lost:
		if err == nil {
			t.Fatal("a writer that is cut off acknowledged a record")
		}
		t.Logf("it gave up before the line was mended: %v", err)
		lost = nil
	default:
	}
	if old.Size() != prev {
		t.Fatalf("a writer that is cut off has %d records, and had %d", old.Size(), prev)
	}
	for _, line := range lines {
		line.set(false)
	}
	if lost != nil {
		if err := <-lost; !errors.Is(err, ledger.ErrStopped) || errors.Is(err, ledger.ErrUnknownOutcome) {
			t.Errorf("the record that was under way: %v", err)
		}
	}
	if _, err := old.Append(ctx, entry(t, "north/or-3", "y", prev)); !errors.Is(err, ledger.ErrStopped) || !old.Fenced() {
		t.Errorf("a writer that another one has followed recorded: %v", err)
	}
	if old.Signed().Size > prev {
		t.Errorf("it has signed %d records", old.Signed().Size)
	}
	err = next.Scan(ctx, 1, func(seq int64, record []byte) error {
		if bytes.Contains(record, []byte("never to be seen")) {
			t.Errorf("record %d is what was refused", seq)
		}
		return nil
	})
	if err != nil || next.Size() != prev+1 {
		t.Errorf("%d records: %v", next.Size(), err)
	}
	if err := ledgertest.Verify(ctx, next); err != nil {
		t.Error(err)
	}
	if err := old.CloseUnverified(); err != nil { // the stream has more than it knows
		t.Error(err)
	}
}

func (c *natsCluster) deleteStream() {
	c.t.Helper()
	nc, err := nats.Connect(c.url())
	if err != nil {
		c.t.Fatal(err)
	}
	defer nc.Close()
	js, err := nc.JetStream()
	if err == nil {
		err = js.DeleteStream(ledger.StreamOf(ledgertest.Origin))
	}
	if err != nil {
		c.t.Fatal(err)
	}
}

// Where the cluster has too few servers to keep the stream, it is made once it has: it may have been started a moment ago and
// not have heard of all of them, or they are being started anew.
func TestTooFewServersForAMoment(t *testing.T) {
	t.Parallel()
	c := foundCluster(t, 3)
	servers := make([]*server.Server, len(c.nodes))
	start := func(i int) {
		var err error
		if servers[i], err = c.nodes[i].start(c.dirs[i]); err != nil {
			t.Fatal(err)
		}
	}
	stop := func(i int) {
		servers[i].Shutdown()
		servers[i].WaitForShutdown()
	}
	for i := range servers {
		start(i)
		defer func() { stop(i) }()
	}
	options := func() ledger.Options {
		o := ledgertest.Options(t)
		o.Clock, o.Cluster = time.Now, clusterAt(c.url(), 3*time.Second)
		return o
	}
	if err := ledgertest.Open(t, options()).Close(); err != nil { // they have a leader
		t.Fatal(err)
	}
	c.deleteStream()
	var left []int
	for i, s := range servers {
		if !s.JetStreamIsLeader() {
			left = append(left, i)
		}
	}
	for _, i := range left {
		stop(i)
	}

	said := make(chan string, 8)
	o := options()
	o.Cluster.Tell = func(text string) { said <- text }
	opened := make(chan error)
	var l *ledger.Ledger
	go func() {
		var err error
		l, err = ledger.Open(context.Background(), o)
		opened <- err
	}()
	select {
	case err := <-opened:
		t.Fatalf("opened with %d servers of three: %v", 3-len(left), err)
	case text := <-said:
		if !strings.Contains(text, "waiting up to 30s for 3 servers") {
			t.Fatal(text)
		}
	}
	for _, i := range left {
		start(i)
	}
	if err := <-opened; err != nil {
		t.Fatal(err)
	}
	if _, err := l.Append(context.Background(), entry(t, "north/or-3", "kept by three", 0)); err != nil {
		t.Error(err)
	}
	if err := l.Close(); err != nil {
		t.Error(err)
	}
}
