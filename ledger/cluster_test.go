package ledger_test

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"

	"listbound/ledger"
	"listbound/ledger/ledgertest"
)

// loneServer is a NATS server without others: all that a cluster does but its replicas, which TestCluster has.
type loneServer struct {
	t    *testing.T
	dir  string
	s    *server.Server
	told []string
}

func startLoneServer(t *testing.T) *loneServer {
	t.Helper()
	n := &loneServer{t: t, dir: t.TempDir()}
	n.start()
	t.Cleanup(func() { n.stop() })
	return n
}

func (n *loneServer) start() {
	n.t.Helper()
	s, err := server.NewServer(&server.Options{
		DontListen: true, NoSigs: true, NoLog: true, JetStream: true, StoreDir: n.dir, JetStreamMaxMemory: 16 << 20, JetStreamMaxStore: 1 << 30,
	})
	if err != nil {
		n.t.Fatal(err)
	}
	s.Start()
	if !s.ReadyForConnections(time.Minute) {
		n.t.Fatal("the server does not come up")
	}
	n.s = s
}

func (n *loneServer) stop() {
	n.s.Shutdown()
	n.s.WaitForShutdown()
}

// replaced stops the server, has its files be others, and starts it again.
func (n *loneServer) replaced(from string) {
	n.t.Helper()
	n.stop()
	if err := os.RemoveAll(n.dir); err != nil {
		n.t.Fatal(err)
	}
	if from != "" {
		copyTree(n.t, n.dir, from)
	}
	n.start()
}

// copied is a copy of the server's files as they are now.
func (n *loneServer) copied() string {
	n.t.Helper()
	n.stop()
	to := filepath.Join(n.t.TempDir(), "copy")
	copyTree(n.t, to, n.dir)
	n.start()
	return to
}

// options are those of a ledger kept there, in a new folder.
func (n *loneServer) options() ledger.Options {
	o := ledgertest.Options(n.t)
	o.Cluster = &ledger.Cluster{
		Connect: func(with ...nats.Option) (*nats.Conn, error) {
			return nats.Connect("", append(with, nats.InProcessServer(n.s))...)
		},
		Where: "the test", Route: route, Silence: 20 * time.Millisecond,
		Tell: func(text string) { n.told = append(n.told, text) },
	}
	return o
}

// Of two writers of one stream the earlier one stops for good at its next record, which nobody is told is stored.
func TestFencedOff(t *testing.T) {
	t.Parallel()
	ctx := context.Background()
	n := startLoneServer(t)
	old := ledgertest.Open(t, n.options())
	prev := fill(t, old, "north/or-3", 0, 30, 0)
	old.Mute() // cut off from those who stand by, and not from the stream
	o := n.options()
	next := ledgertest.Open(t, o)
	mustAppend(t, next, entry(t, "north/or-4", "a", 0))
	if next.Size() != prev+1 || next.Epoch() != prev+1 || old.Epoch() != 1 {
		t.Errorf("the new writer has %d records, of which %d is its first", next.Size(), next.Epoch())
	}
	for range 2 {
		_, err := old.Append(ctx, entry(t, "north/or-3", "x", prev), entry(t, "north/or-3", "y", prev))
		if !errors.Is(err, ledger.ErrStopped) || errors.Is(err, ledger.ErrUnknownOutcome) ||
			!strings.Contains(err.Error(), fmt.Sprintf("another program has taken over as this ledger's writer in the NATS cluster, from record %d on",
				prev+1)) {
			t.Fatalf("the old writer's append: %v", err)
		}
	}
	if !old.Fenced() || old.Size() != prev || next.Fenced() {
		t.Errorf("the old writer has %d records; fenced: %t", old.Size(), old.Fenced())
	}
	mustAppend(t, next, entry(t, "north/or-3", "z", prev))
	if err := old.CloseUnverified(); err != nil { // the stream has more than it knows
		t.Error(err)
	}
	if len(n.told) == 0 || !strings.Contains(n.told[0], "kept by 1 server(s)") {
		t.Errorf("nobody is warned of a stream with one replica: %q", n.told)
	}
}

// A writer that has nothing to record finds out as well.
func TestFencedOffWhileIdle(t *testing.T) {
	t.Parallel()
	n := startLoneServer(t)
	old := ledgertest.Open(t, n.options())
	fill(t, old, "north/or-3", 0, 3, 0)
	old.Mute()
	old.LookForWriter()
	if old.Fenced() {
		t.Fatal("fenced off by nobody")
	}
	next := ledgertest.Open(t, n.options())
	mustAppend(t, next, entry(t, "north/or-4", "a", 0))
	if old.LookForWriter(); !old.Fenced() {
		t.Error("an idle writer does not see that another has taken over")
	}
	if err := old.CloseUnverified(); err != nil {
		t.Error(err)
	}
}

// What the servers lost is put back from this machine's disk: what is signed from the bundles, what isn't yet from the
// journal.
func TestClusterLosesItsEnd(t *testing.T) {
	t.Parallel()
	n := startLoneServer(t)
	o := n.options()
	o.CheckpointEvery = time.Hour
	l := ledgertest.Open(t, o)
	prev := fill(t, l, "north/or-3", 0, 300, 0)
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	then := n.copied()
	l = ledgertest.Open(t, o)
	prev = fill(t, l, "north/or-3", prev, 300, 0)
	if _, err := l.Checkpoint(context.Background()); err != nil {
		t.Fatal(err)
	}
	prev = fill(t, l, "north/or-3", prev, 7, 0)
	last, err := l.Read(prev)
	if err != nil {
		t.Fatal(err)
	}
	before := l.SignedNote()
	l.Kill()
	n.replaced(then)
	l = ledgertest.Open(t, o)
	again, err := l.Read(prev)
	if err != nil || string(again) != string(last) || l.Size() != prev {
		t.Fatalf("%d records after the servers lost 307 of %d; the last one is the same: %t, %v", l.Size(), prev,
			string(again) == string(last), err)
	}
	checkConsistent(t, l, [][]byte{before, l.SignedNote()})
	mustCheck(t, l)
	fill(t, l, "north/or-3", prev, 3, 0)
}

// A folder that is lost is made again from the cluster.
func TestFolderLost(t *testing.T) {
	t.Parallel()
	n := startLoneServer(t)
	l := ledgertest.Open(t, n.options())
	prev := fill(t, l, "north/or-3", 0, 700, 0)
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	root := l.Signed()
	l = ledgertest.Open(t, n.options())
	if now := l.Signed(); now.Size != root.Size || now.Root != root.Root {
		t.Errorf("the new folder has %v, the lost one had %v", l.Signed(), root)
	}
	fill(t, l, "north/or-3", prev, 3, 0)
}

// A stream that went on without what was acknowledged from this folder is damage, and nothing is written to it.
func TestClusterWentOnOtherwise(t *testing.T) {
	t.Parallel()
	n := startLoneServer(t)
	o := n.options()
	l := ledgertest.Open(t, o)
	prev := fill(t, l, "north/or-3", 0, 30, 0)
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	then := n.copied()
	l = ledgertest.Open(t, o)
	fill(t, l, "north/or-3", prev, 5, 0)
	l.Kill()
	n.replaced(then)
	other := ledgertest.Open(t, n.options())
	fill(t, other, "north/or-4", 0, 9, 0)
	if err := other.Close(); err != nil {
		t.Fatal(err)
	}
	l = ledgertest.OpenDamaged(t, o)
	if d := l.Damage(); len(d) == 0 {
		t.Error("a stream that holds other records is taken for this folder's")
	}
	if _, err := l.Append(context.Background(), entry(t, "north/or-4", "x", prev+9)); err == nil {
		t.Error("recorded behind another history")
	}
}

// A folder's records are put into a cluster only where somebody says so, and from then on its own stream is not used.
func TestIntoTheCluster(t *testing.T) {
	t.Parallel()
	ctx := context.Background()
	n := startLoneServer(t)
	o := n.options()
	plain := o
	plain.Cluster = nil
	l := ledgertest.Open(t, plain)
	prev := fill(t, l, "north/or-3", 0, 600, 0)
	l.Kill()
	_, err := ledger.Open(ctx, o)
	if err == nil || !strings.Contains(err.Error(), fmt.Sprintf("holds 0 records, and this folder %d", prev)) ||
		!strings.Contains(err.Error(), "--nats-fill") {
		t.Fatalf("a folder with records on an empty stream: %v", err)
	}
	l = ledgertest.Open(t, plain) // nothing has changed
	fill(t, l, "north/or-4", 0, 1, 0)
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	o.Cluster.Fill = true
	l = ledgertest.Open(t, o)
	if root, err := l.RootAt(prev + 1); err != nil || l.Size() != prev+1 || root != l.Signed().Root {
		t.Fatalf("%d records are in the cluster of %d: %v", l.Size(), prev+1, err)
	}
	fill(t, l, "north/or-3", prev, 3, 0)
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	for name, try := range map[string]func() error{
		"open":   func() error { _, err := ledger.Open(ctx, plain); return err },
		"repair": func() error { _, err := ledger.Repair(ctx, plain, ledger.RepairOptions{Route: route}); return err },
	} {
		if err := try(); err == nil || !strings.Contains(err.Error(), "are kept in a NATS cluster") {
			t.Errorf("%s without the cluster: %v", name, err)
		}
	}
	// All servers lost everything: that is no accident to be mended unasked.
	n.replaced("")
	o.Cluster.Fill = false
	if _, err := ledger.Open(ctx, o); err == nil || !strings.Contains(err.Error(), "--nats-fill") {
		t.Errorf("an empty cluster was taken for the ledger's: %v", err)
	}
	o.Cluster.Fill = true
	if l = ledgertest.Open(t, o); l.Size() != prev+4 {
		t.Errorf("%d records were put back of %d", l.Size(), prev+4)
	}
}
