//go:build !race

package ledger_test

import (
	"bytes"
	"context"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"os"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"text/tabwriter"
	"time"

	"github.com/nats-io/nats.go"

	"listbound/ledger"
	"listbound/ledger/ledgertest"
	"listbound/ledger/proof"
)

// clusterLong has the test of the cluster go on for so long, such as 5m; make soak sets it.
const clusterLong = "LISTBOUND_CLUSTER"

// The rows, in the order of their first try.
const (
	rowLeader  = "the stream's leader, kill -9"
	rowKilled  = "the writer, kill -9"
	rowStopped = "the writer, stopped cleanly"
	rowHalted  = "the writer, halted and continued"
)

// try begins a try of a row.
func (c *natsCluster) try(name string) {
	i := slices.IndexFunc(c.rows, func(r *clusterRow) bool { return r.name == name })
	if i < 0 {
		i, c.rows = len(c.rows), append(c.rows, &clusterRow{name: name})
	}
	c.row = c.rows[i]
	c.row.tried++
}

// sawLeader counts an election where another server leads the stream than before.
func (c *natsCluster) sawLeader() int {
	now := c.leader()
	if now >= 0 && now != c.led {
		c.row.elections++
		c.led = now
	}
	return now
}

// print shows the rows as a table.
func (c *natsCluster) print() {
	var b strings.Builder
	w := tabwriter.NewWriter(&b, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "\nwhat\ttried\tacknowledged\tlost\ttwice\tout of order\ttakeovers\tfenced off\telections\t"+
		"checkpoints of one size that differ")
	for _, r := range c.rows {
		fmt.Fprintf(w, "%s\t%d\t%d\t%d\t%d\t%d\t%d\t%d\t%d\t%d\n", r.name, r.tried, r.acknowledged, r.lost, r.twice, r.disordered,
			r.takeovers, r.fenced, r.elections, r.equivocations)
	}
	if err := w.Flush(); err != nil {
		c.t.Error(err)
	}
	c.t.Log(b.String())
}

// restart starts server i again.
func (c *natsCluster) restart(i int) { c.servers[i] = c.child(c.dirs[i], serverMode, c.nodes[i]) }

// leader returns which server leads the stream, -1 if none does.
func (c *natsCluster) leader() int {
	c.t.Helper()
	nc, err := nats.Connect(c.url(), nats.Timeout(time.Second))
	if err != nil {
		return -1
	}
	defer nc.Close()
	js, err := nc.JetStream(nats.MaxWait(time.Second))
	if err != nil {
		c.t.Fatal(err)
	}
	info, err := js.StreamInfo(ledger.StreamOf(ledgertest.Origin))
	if err != nil || info.Cluster == nil {
		return -1
	}
	return slices.IndexFunc(c.nodes, func(n natsNode) bool { return n.Name == info.Cluster.Leader })
}

// writer returns which process writes.
func (c *natsCluster) writer() int {
	c.t.Helper()
	nc, err := nats.Connect(c.url(), nats.Timeout(time.Second))
	if err != nil {
		c.t.Fatal(err)
	}
	defer nc.Close()
	for range 20 {
		c.listen(100*time.Millisecond, func() bool { return false })
		reply, err := nc.Request(ledger.AsksWriter(ledgertest.Origin), nil, time.Second)
		if err != nil {
			continue
		}
		var w struct{ URL string }
		if err := json.Unmarshal(reply.Data, &w); err != nil {
			c.t.Fatal(err)
		}
		if i := slices.Index(c.folders, w.URL); i >= 0 { // one that has just taken over may not have said its address yet
			return i
		}
	}
	return -1
}

// write starts writer i, in a folder of its own, that goes on where it was.
func (c *natsCluster) write(i int) {
	for len(c.folders) <= i {
		c.folders, c.writers = append(c.folders, c.t.TempDir()), append(c.writers, nil)
	}
	c.with.URL = c.url()
	c.writers[i] = c.child(c.folders[i], writerMode, c.with)
}

// listen takes in what the writers say until enough is true or the time is over, and reports whether it was.
func (c *natsCluster) listen(long time.Duration, enough func() bool) bool {
	c.t.Helper()
	until := time.After(long)
	for !enough() {
		var line string
		var ok bool
		from := 0
		select {
		case line, ok = <-c.linesOf(0):
		case line, ok = <-c.linesOf(1):
			from = 1
		case <-until:
			return false
		}
		switch {
		case ok:
			c.hear(from, line)
		case c.writers[from].fenced || c.writers[from].left:
			if err := c.writers[from].cmd.Wait(); err != nil {
				c.t.Fatalf("writer %d was fenced off or told to end, and: %v", from, err)
			}
			c.write(from)
		default:
			c.t.Fatalf("writer %d ended by itself", from)
		}
	}
	return true
}

func (c *natsCluster) linesOf(i int) <-chan string {
	if i >= len(c.writers) || c.writers[i] == nil {
		return nil
	}
	return c.writers[i].lines
}

func (c *natsCluster) hear(from int, line string) {
	c.t.Helper()
	kind, rest, _ := strings.Cut(line, " ")
	switch kind {
	case "writes":
		c.row.takeovers++
	case "stored":
		no, what, _ := strings.Cut(rest, " ")
		seq, err := strconv.ParseInt(no, 10, 64)
		if err != nil {
			c.t.Fatal(err)
		}
		if was, twice := c.stored[seq]; twice {
			c.row.twice++
			c.t.Errorf("record %d was given to %s and to %s", seq, was, what)
		}
		c.stored[seq], c.during[seq] = what, c.row
		c.row.acknowledged++
	case "signed":
		c.hearSigned(rest)
	case "fenced":
		c.writers[from].fenced = true
		c.row.fenced++
	case "left":
		c.writers[from].left = true
	case "tells":
		if rest != c.said {
			c.t.Log(from, rest)
		}
		c.said = rest
	default:
		c.t.Fatalf("a writer says: %s", line)
	}
}

// hearSigned takes in a checkpoint: of each size there is one.
func (c *natsCluster) hearSigned(text string) {
	c.t.Helper()
	msg, err := base64.StdEncoding.DecodeString(text)
	if err != nil {
		c.t.Fatal(err)
	}
	_, verifier := childKey(ledgertest.Origin)
	cp, err := proof.OpenCheckpoint(msg, ledgertest.Origin, verifier)
	if err != nil {
		c.t.Fatal(err)
	}
	if was, ok := c.signed[cp.Size]; ok && was != string(msg) {
		c.row.equivocations++
		c.t.Errorf("two checkpoints of %d records:\n%s\n%s", cp.Size, was, msg)
	}
	c.signed[cp.Size] = string(msg)
}

func (c *natsCluster) signal(i int, s os.Signal) {
	c.t.Helper()
	if err := c.writers[i].cmd.Process.Signal(s); err != nil {
		c.t.Fatal(err)
	}
}

// drain takes in what a killed writer had said.
func (c *natsCluster) drain(i int) {
	for line := range c.writers[i].lines {
		c.hear(i, line)
	}
	c.writers[i] = nil
}

// check reads the ledger afresh from the cluster, in a new folder, and holds it against all that was said.
func (c *natsCluster) check() {
	t := c.t
	t.Helper()
	opts := ledgertest.Options(t)
	opts.Clock, opts.Cluster = time.Now, clusterAt(c.url(), time.Second)
	l := ledgertest.Open(t, opts)
	if d := l.Damage(); len(d) > 0 {
		t.Fatal(d)
	}
	next := map[string]int{}
	tree, roots := &proof.Tree{}, map[int64]string{0: proof.EmptyRoot.String()}
	err := l.Scan(context.Background(), 1, func(seq int64, record []byte) error {
		name, rest, _ := bytes.Cut(record, []byte(" "))
		number, _, _ := bytes.Cut(rest, []byte(" "))
		if want := strconv.Itoa(next[string(name)]); want != string(number) {
			c.rowOf(seq).disordered++
			t.Errorf("record %d of %s is its %s., want %s", seq, name, number, want)
		}
		next[string(name)]++
		if was, ok := c.stored[seq]; ok && was != string(name)+" "+string(number) {
			c.rowOf(seq).lost++
			t.Errorf("record %d is %s %s, acknowledged was %s", seq, name, number, was)
		}
		tree.Append(proof.LeafHash(record), nil)
		roots[seq] = tree.Root().String()
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	for seq, what := range c.stored {
		if seq > l.Size() {
			c.rowOf(seq).lost++
			t.Errorf("record %d, %s, is lost", seq, what)
		}
	}
	_, verifier := childKey(ledgertest.Origin)
	for size, msg := range c.signed {
		cp, err := proof.OpenCheckpoint([]byte(msg), ledgertest.Origin, verifier)
		if err != nil || cp.Root.String() != roots[size] {
			t.Errorf("the checkpoint of %d records is not of these records: %v", size, err)
		}
	}
	t.Logf("%d acknowledged, %d stored, %d checkpoints", len(c.stored), l.Size(), len(c.signed))
}

// rowOf is what was tried when a record was acknowledged; where none was, what was tried last.
func (c *natsCluster) rowOf(seq int64) *clusterRow {
	if r := c.during[seq]; r != nil {
		return r
	}
	return c.row
}

// TestCluster has three servers keep the ledger, and kills in turn, with kill -9, who leads the stream and who writes the
// ledger, or tells the writer to end: what was acknowledged is there, once and in its place, and no two checkpoints of one
// size differ. It counts each by itself.
func TestCluster(t *testing.T) {
	t.Parallel()
	c := startCluster(t, 3)
	c.with = clusterWriter{Stations: 4, Pause: 20 * time.Millisecond}
	long, err := time.ParseDuration(os.Getenv(clusterLong))
	if err == nil {
		c.with.Stations, c.with.Pause = 8, 0
	}
	c.write(0)
	c.goesOn(50, "at first")
	c.write(1)
	c.sawLeader()
	end := time.Now().Add(long)
	for round := 0; round == 0 || time.Now().Before(end); round++ {
		if killed := c.sawLeader(); killed >= 0 {
			c.try(rowLeader)
			c.servers[killed].kill(t)
			c.goesOn(50, "after the leader was killed")
			c.sawLeader()
			c.restart(killed)
			c.goesOn(50, "after the server came back")
		}
		i := c.writes()
		c.try(rowKilled)
		c.writers[i].kill(t)
		c.drain(i)
		c.write(i)
		c.goesOn(50, "after the writer was killed")
		c.sawLeader()
		c.try(rowStopped)
		c.signal(c.writes(), syscall.SIGTERM)
		c.goesOn(100, "after the writer was told to end")
		c.sawLeader()
		if round%2 == 1 { // it is stopped, another one writes (or does already), and it goes on
			i := c.writes()
			c.try(rowHalted)
			c.signal(i, syscall.SIGSTOP)
			c.goesOn(200, "after the writer was halted")
			c.signal(i, syscall.SIGCONT)
			c.goesOn(50, "after the writer was continued")
			c.sawLeader()
		}
	}
	for i := range c.writers {
		c.writers[i].kill(t)
		c.drain(i)
	}
	c.check()
	c.print()
	for _, r := range c.rows {
		if r.acknowledged == 0 {
			t.Errorf("nothing was acknowledged in the row %s", r.name)
		}
	}
}

// goesOn waits until so many more records are acknowledged.
func (c *natsCluster) goesOn(n int, when string) {
	c.t.Helper()
	const patience = time.Minute
	want := len(c.stored) + n
	if !c.listen(patience, func() bool { return len(c.stored) >= want }) {
		c.t.Fatalf("nothing is recorded %s", when)
	}
}

// writes is writer where somebody must write.
func (c *natsCluster) writes() int {
	c.t.Helper()
	i := c.writer()
	if i < 0 {
		c.t.Fatal("nobody writes")
	}
	return i
}
