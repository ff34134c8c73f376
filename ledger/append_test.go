package ledger_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"reflect"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"

	"listbound/ledger"
	"listbound/ledger/ledgertest"
	"listbound/ledger/proof"
)

func TestAppendReadRestart(t *testing.T) {
	ctx := context.Background()
	clock := ledgertest.NewClock()
	opts := ledgertest.Options(t)
	opts.Clock = clock.Now
	l := ledgertest.Open(t, opts)
	var records [][]byte
	prev := int64(0)
	for i := range 300 {
		clock.Add(time.Second)
		e := entry(t, "north/or-3", fmt.Sprint(i), prev)
		e.Remark = byte(i % 3)
		out := mustAppend(t, l, e)
		if len(out) != 1 || out[0].Seq != int64(i+1) || !out[0].At.Equal(clock.Now()) {
			t.Fatalf("record %d: %d of them, sequence %d at %s", i+1, len(out), out[0].Seq, out[0].At)
		}
		note, at, remark, err := proof.SplitArrival(opts.Origin, out[0].Record)
		if err != nil || !bytes.Equal(note, e.Note) || !at.Equal(clock.Now()) || remark != e.Remark {
			t.Fatalf("record %d: arrived %s, remark %d, %v", i+1, at, remark, err)
		}
		records = append(records, out[0].Record)
		prev = out[0].Seq
	}
	check := func(l *ledgertest.Ledger) {
		t.Helper()
		if l.Size() != int64(len(records)) {
			t.Fatalf("%d records, want %d", l.Size(), len(records))
		}
		for i, want := range records {
			got, err := l.Read(int64(i + 1))
			if err != nil || !bytes.Equal(got, want) {
				t.Fatalf("record %d: %q, %v", i+1, got, err)
			}
		}
		seq, record, err := l.Last(ctx, "north/or-3")
		if err != nil || seq != prev || !bytes.Equal(record, records[prev-1]) {
			t.Errorf("last record is %d, want %d: %v", seq, prev, err)
		}
		if seq, record, err := l.Last(ctx, "north/or-30"); seq != 0 || record != nil || err != nil {
			t.Errorf("a station without records has %d, %q, %v", seq, record, err)
		}
		for _, seq := range []int64{-1, 0, int64(len(records)) + 1} {
			if _, err := l.Read(seq); err == nil {
				t.Errorf("record %d was read", seq)
			}
		}
	}
	check(l)
	note, err := l.Checkpoint(ctx)
	if err != nil {
		t.Fatal(err)
	}
	c, err := proof.OpenCheckpoint(note, opts.Origin, opts.Verifier)
	if err != nil || c.Size != 300 || c.Root != rootOf(t, records) {
		t.Errorf("checkpoint %+v, %v", c, err)
	}
	check(l)
	mustCheck(t, l)
	// One more, so that the restart finds an unsigned or signed record behind that checkpoint.
	out := mustAppend(t, l, entry(t, "north/or-3", "last", prev))
	records, prev = append(records, out[0].Record), out[0].Seq
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	l = ledgertest.Open(t, opts)
	check(l)
	out = mustAppend(t, l, entry(t, "north/or-3", "after the restart", prev))
	records, prev = append(records, out[0].Record), out[0].Seq
	check(l)
	mustCheck(t, l)
	checkConsistent(t, l, [][]byte{note, l.SignedNote()})
}

func TestScanAndFollow(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	l := ledgertest.New(t, func(o *ledger.Options) { o.CheckpointEvery = time.Hour })
	fill(t, l, "north/or-3", 0, 300, 0)
	if _, err := l.Checkpoint(ctx); err != nil {
		t.Fatal(err)
	}
	fill(t, l, "north/or-4", 0, 10, 0)
	for _, from := range []int64{-5, 0, 1, 2, 256, 257, 300, 301, 310, 311, 500} {
		want := max(from, 1)
		for _, scan := range []func(context.Context, int64, func(int64, []byte) error) error{l.Scan, l.ScanHashed} {
			next := want
			if err := scan(ctx, from, func(seq int64, record []byte) error {
				if seq != next {
					return fmt.Errorf("sequence %d came where %d was next", seq, next)
				}
				if direct, err := l.Read(seq); err != nil || !bytes.Equal(direct, record) {
					return fmt.Errorf("record %d differs from the one read directly: %v", seq, err)
				}
				next++
				return nil
			}); err != nil {
				t.Fatalf("from %d: %v", from, err)
			}
			if next != max(want, 311) {
				t.Errorf("from %d the scan ended before %d", from, next)
			}
		}
	}
	halt := errors.New("halt")
	if err := l.Scan(ctx, 1, func(int64, []byte) error { return halt }); err != halt {
		t.Errorf("error of fn came back as %v", err)
	}
	seen := make(chan int64, 1000)
	done := make(chan error)
	go func() {
		done <- l.Follow(ctx, 305, func(seq int64, _ []byte) error { seen <- seq; return nil })
	}()
	fill(t, l, "north/or-5", 0, 20, 0)
	for want := int64(305); want <= 330; want++ {
		if got := <-seen; got != want {
			t.Fatalf("followed to %d, want %d", got, want)
		}
	}
	if err := l.Wait(ctx, 330); err != nil {
		t.Error(err)
	}
	cancel()
	if err := <-done; !errors.Is(err, context.Canceled) {
		t.Errorf("Follow ended with %v", err)
	}
	if err := l.Wait(ctx, 331); !errors.Is(err, context.Canceled) {
		t.Errorf("Wait ended with %v", err)
	}
}

func TestConflict(t *testing.T) {
	ctx := context.Background()
	l := ledgertest.New(t)
	fill(t, l, "north/or-3", 0, 5, 0)
	fill(t, l, "north/or-4", 0, 5, 0)
	for _, expect := range []int64{0, 4, 6, 10} {
		_, err := l.Append(ctx, entry(t, "north/or-3", "stale", expect))
		var conflict *ledger.ConflictError
		if !errors.As(err, &conflict) || conflict.Station != "north/or-3" ||
			conflict.Expected != expect || conflict.Last != 5 {
			t.Errorf("expecting %d: %v", expect, err)
		}
	}
	// One stale station in a call, and nothing of the call is stored.
	_, err := l.Append(ctx, entry(t, "north/or-3", "good", 5), entry(t, "north/or-4", "stale", 9))
	var conflict *ledger.ConflictError
	if !errors.As(err, &conflict) || conflict.Station != "north/or-4" {
		t.Errorf("half a call: %v", err)
	}
	if l.Size() != 10 {
		t.Errorf("%d records, want 10", l.Size())
	}
	// Stations whose names begin alike are strangers.
	mustAppend(t, l, entry(t, "north/or-33", "first", 0))
}

func TestAppendRefuses(t *testing.T) {
	l := ledgertest.New(t)
	good := entry(t, "north/or-3", "x", 0)
	with := func(f func(*ledger.Entry)) ledger.Entry { e := good; f(&e); return e }
	record := mustAppend(t, l, entry(t, "north/or-9", "x", 0))[0].Record
	var many []ledger.Entry
	for range l.AtOnce() + 1 {
		many = append(many, good)
	}
	tests := []struct {
		name    string
		entries []ledger.Entry
	}{
		{"station without site", []ledger.Entry{with(func(e *ledger.Entry) { e.Station = "or-3" })}},
		{"station of three parts", []ledger.Entry{with(func(e *ledger.Entry) { e.Station = "a/b/c" })}},
		{"station with a dot", []ledger.Entry{with(func(e *ledger.Entry) { e.Station = "north/or.3" })}},
		{"station with a wildcard", []ledger.Entry{with(func(e *ledger.Entry) { e.Station = "north/*" })}},
		{"station in capitals", []ledger.Entry{with(func(e *ledger.Entry) { e.Station = "North/or-3" })}},
		{"empty station", []ledger.Entry{with(func(e *ledger.Entry) { e.Station = "north/" })}},
		{"empty kind", []ledger.Entry{with(func(e *ledger.Entry) { e.Kind = "" })}},
		{"kind with an empty part", []ledger.Entry{with(func(e *ledger.Entry) { e.Kind = "set..opened" })}},
		{"kind with a wildcard", []ledger.Entry{with(func(e *ledger.Entry) { e.Kind = "set.>" })}},
		{"negative expectation", []ledger.Entry{with(func(e *ledger.Entry) { e.ExpectPrev = -1 })}},
		{"no note", []ledger.Entry{with(func(e *ledger.Entry) { e.Note = nil })}},
		{"not a note", []ledger.Entry{with(func(e *ledger.Entry) { e.Note = []byte("{}\n") })}},
		{"a record for a note", []ledger.Entry{with(func(e *ledger.Entry) { e.Note = record })}},
		{"too long", []ledger.Entry{entry(t, "north/or-3", strings.Repeat("x", ledger.MaxNote), 0)}},
		{"two expectations of one station", []ledger.Entry{good, with(func(e *ledger.Entry) { e.ExpectPrev = 1 })}},
		{"more than a batch holds", many},
	}
	for _, tt := range tests {
		if out, err := l.Append(context.Background(), tt.entries...); err == nil || out != nil {
			t.Errorf("%s: accepted", tt.name)
		} else if !strings.HasPrefix(err.Error(), "not recorded: ") {
			t.Errorf("%s: the error does not say that nothing was recorded: %v", tt.name, err)
		}
	}
	if l.Size() != 1 {
		t.Errorf("%d records, want 1", l.Size())
	}
	// The longest note there may be.
	frame := len(ledgertest.Note(t, "north/or-3", ""))
	mustAppend(t, l, entry(t, "north/or-3", strings.Repeat("x", ledger.MaxNote-frame), 0))
}

// Stations may be mixed in one call; each station's entries keep their order, whatever their kinds.
func TestMixedCall(t *testing.T) {
	l := ledgertest.New(t)
	fill(t, l, "north/or-3", 0, 2, 0)
	of := func(station, kind, line string, prev int64) ledger.Entry {
		e := entry(t, station, line, prev)
		e.Kind = kind
		return e
	}
	out := mustAppend(t, l,
		of("north/or-3", "set.opened", "a", 2), of("north/or-4", "set.opened", "b", 0),
		of("north/or-3", "set.counted", "c", 2),
		of("north/or-4", "set.counted", "d", 0), of("north/or-3", "set.opened", "e", 2))
	for i, want := range []string{"a", "b", "c", "d", "e"} {
		record, err := l.Read(out[i].Seq)
		if err != nil || out[i].Seq != int64(i)+3 || !strings.HasPrefix(string(record), want+"\n") {
			t.Errorf("entry %d is record %d, %.10q: %v", i, out[i].Seq, record, err)
		}
	}
	// A later entry of a station whose first one is stale does not save the call.
	_, err := l.Append(context.Background(), of("north/or-4", "set.opened", "f", 6),
		of("north/or-3", "set.opened", "g", 5), of("north/or-4", "set.opened", "h", 6))
	var conflict *ledger.ConflictError
	if !errors.As(err, &conflict) || conflict.Station != "north/or-3" || conflict.Last != 7 {
		t.Errorf("a stale station among others: %v", err)
	}
}

func TestClockNeverRunsBackwards(t *testing.T) {
	clock := ledgertest.NewClock()
	opts := ledgertest.Options(t)
	opts.Clock = clock.Now
	l := ledgertest.Open(t, opts)
	first := mustAppend(t, l, entry(t, "north/or-3", "a", 0))[0]
	clock.Add(-time.Hour)
	second := mustAppend(t, l, entry(t, "north/or-3", "b", first.Seq))[0]
	if !second.At.Equal(first.At) {
		t.Errorf("arrived at %s after %s", second.At, first.At)
	}
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	l = ledgertest.Open(t, opts)
	third := mustAppend(t, l, entry(t, "north/or-3", "c", second.Seq))[0]
	if !third.At.Equal(first.At) {
		t.Errorf("arrived at %s after a restart, before it %s", third.At, first.At)
	}
	clock.Add(2 * time.Hour)
	fourth := mustAppend(t, l, entry(t, "north/or-3", "d", third.Seq))[0]
	if !fourth.At.Equal(clock.Now()) {
		t.Errorf("arrived at %s, the clock shows %s", fourth.At, clock.Now())
	}
}

// TestArrivedBefore: entries of one call may have arrived one after the other, but none before the last record or after now.
func TestArrivedBefore(t *testing.T) {
	clock := ledgertest.NewClock()
	opts := ledgertest.Options(t)
	opts.Clock = clock.Now
	l := ledgertest.Open(t, opts)
	begun := clock.Now()
	mustAppend(t, l, entry(t, "north/or-3", "first", 0))
	clock.Add(time.Hour)
	minute := func(n int) time.Time { return begun.Add(time.Duration(n) * time.Minute) }
	said := []time.Time{minute(-5), minute(10), minute(7), minute(90), minute(50)}
	want := []time.Time{begun, minute(10), minute(10), minute(60), minute(60)}
	var batch []ledger.Entry
	for _, at := range said {
		e := entry(t, "north/or-3", "played", 1)
		e.At = at
		batch = append(batch, e)
	}
	for i, a := range mustAppend(t, l, batch[:3]...) {
		if !a.At.Equal(want[i]) {
			t.Errorf("%d arrived at %s, want %s", i, a.At, want[i])
		}
	}
	later := entry(t, "north/or-3", "later", 4)
	later.At = minute(8) // before the last one
	if a := mustAppend(t, l, later)[0]; !a.At.Equal(minute(10)) {
		t.Errorf("arrived at %s", a.At)
	}
	for i := range batch[3:] {
		batch[3+i].ExpectPrev = 5
	}
	for i, a := range mustAppend(t, l, batch[3:]...) {
		if !a.At.Equal(want[3+i]) {
			t.Errorf("%d arrived at %s, want %s", 3+i, a.At, want[3+i])
		}
	}
}

// Many writers, each with its own station, and beside them some that are always wrong: they must not cost their
// neighbours anything.
func TestManyWriters(t *testing.T) {
	ctx := context.Background()
	l := ledgertest.New(t, func(o *ledger.Options) { o.CheckpointEvery = 5 * time.Millisecond })
	const good, bad, each = 40, 8, 25
	var wg sync.WaitGroup
	var conflicts atomic.Int64
	for w := range good + bad {
		station := fmt.Sprintf("north/station-%d", w)
		var notes []ledger.Entry
		for i := range each {
			notes = append(notes, entry(t, station, fmt.Sprint(i), 0))
		}
		wg.Add(1)
		go func() {
			defer wg.Done()
			prev := int64(0)
			for i, e := range notes {
				e.ExpectPrev = prev
				if w >= good {
					e.ExpectPrev = 1 << 40
				}
				out, err := l.Append(ctx, e)
				var conflict *ledger.ConflictError
				switch {
				case w >= good && errors.As(err, &conflict):
					conflicts.Add(1)
				case w >= good:
					t.Errorf("%s: a wrong expectation gave %v", station, err)
				case err != nil:
					t.Errorf("%s, note %d: %v", station, i, err)
					return
				default:
					prev = out[0].Seq
				}
			}
		}()
	}
	wg.Wait()
	if conflicts.Load() != bad*each {
		t.Errorf("%d conflicts, want %d", conflicts.Load(), bad*each)
	}
	if l.Size() != good*each {
		t.Errorf("%d records, want %d", l.Size(), good*each)
	}
	// Each station's records are all there, once, in its order.
	next := map[string]int{}
	err := l.Scan(ctx, 1, func(seq int64, record []byte) error {
		note, _, _, err := proof.SplitArrival(l.Origin(), record)
		if err != nil {
			return err
		}
		line, rest, _ := bytes.Cut(note, []byte("\n\n"))
		station := strings.Fields(string(rest))[1]
		if string(line) != fmt.Sprint(next[station]) {
			return fmt.Errorf("record %d: %s numbered it %s, next is %d", seq, station, line, next[station])
		}
		next[station]++
		return nil
	})
	if err != nil {
		t.Error(err)
	}
	if len(next) != good {
		t.Errorf("records of %d stations, want %d", len(next), good)
	}
}

// Writers that race for one station: each place is taken once, by whoever was told so.
func TestRaceForOneStation(t *testing.T) {
	ctx := context.Background()
	l := ledgertest.New(t)
	const writers, each = 6, 30
	var wg sync.WaitGroup
	var mu sync.Mutex
	won := map[int64]string{}
	for w := range writers {
		var notes [][]byte
		for i := range each {
			notes = append(notes, ledgertest.Note(t, "north/or-3", fmt.Sprintf("%d-%d", w, i)))
		}
		wg.Add(1)
		go func() {
			defer wg.Done()
			prev := int64(0)
			for i, note := range notes {
				for {
					out, err := l.Append(ctx,
						ledger.Entry{Station: "north/or-3", Kind: "set.opened", Note: note, ExpectPrev: prev})
					var conflict *ledger.ConflictError
					if errors.As(err, &conflict) {
						prev = conflict.Last
						continue
					}
					if err != nil {
						t.Error(err)
						return
					}
					if out[0].Seq != prev+1 {
						t.Errorf("accepted as record %d behind record %d: others came between", out[0].Seq, prev)
					}
					prev = out[0].Seq
					mu.Lock()
					won[prev] = fmt.Sprintf("%d-%d", w, i)
					mu.Unlock()
					break
				}
			}
		}()
	}
	wg.Wait()
	if l.Size() != writers*each || len(won) != writers*each {
		t.Fatalf("%d records, %d accepted, want %d", l.Size(), len(won), writers*each)
	}
	for seq, want := range won {
		record, err := l.Read(seq)
		if err != nil || !strings.HasPrefix(string(record), want+"\n") {
			t.Errorf("record %d is %.10q, its writer was told it is %s: %v", seq, record, want, err)
		}
	}
}

// The server's own check is the second lock, should the first ever be wrong.
func TestServerChecksExpectations(t *testing.T) {
	l := ledgertest.New(t)
	fill(t, l, "north/or-3", 0, 3, 0)
	_, err := ledger.BarePublishExpecting(l.Conn(), "custody.north.or-3.set.opened",
		"custody.north.or-3.>", 2, []byte("x"))
	if !ledger.WrongSequence(err) {
		t.Errorf("a stale expectation gave %v", err)
	}
}

// A record that somebody else put into the stream makes the ledger stop, not count on.
func TestForeignWriter(t *testing.T) {
	l := ledgertest.OpenDamaged(t, ledgertest.Options(t))
	fill(t, l, "north/or-3", 0, 3, 0)
	if err := ledger.BarePublish(l.Conn(), "custody.north.or-4.set.opened", []byte("x")); err != nil {
		t.Fatal(err)
	}
	_, err := l.Append(context.Background(), entry(t, "north/or-3", "x", 3))
	var damaged *ledger.DamagedError
	if !errors.As(err, &damaged) || damaged.Problems[0].Seq != 4 {
		t.Errorf("append after a foreign record: %v", err)
	}
	if _, err := l.Checkpoint(context.Background()); !errors.As(err, &damaged) {
		t.Errorf("checkpoint after a foreign record: %v", err)
	}
}

// What the everyday connection may not do. Each of these would work for an identity without restrictions, but for the
// stream's deny flags.
func TestEverydayPermissions(t *testing.T) {
	log := &logCounter{seen: make(chan string, 100)}
	l := ledgertest.New(t, func(o *ledger.Options) { o.Logger = slog.New(log) })
	fill(t, l, "north/or-3", 0, 3, 0)
	requests := []struct{ subject, body string }{
		{"$JS.API.STREAM.DELETE.CUSTODY", ""},
		{"$JS.API.STREAM.PURGE.CUSTODY", ""},
		{"$JS.API.STREAM.UPDATE.CUSTODY",
			`{"name":"CUSTODY","subjects":["custody.*.*.>"],"max_msgs":1,"storage":"file"}`},
		{"$JS.API.STREAM.MSG.DELETE.CUSTODY", `{"seq":1}`},
		{"$JS.API.STREAM.RESTORE.CUSTODY", `{}`},
		{"$JS.API.STREAM.SNAPSHOT.CUSTODY", `{}`},
		{"$JS.API.STREAM.CREATE.OTHER", `{"name":"OTHER","subjects":["other"]}`},
		{"$JS.API.CONSUMER.CREATE.CUSTODY", `{}`},
		{"$SYS.REQ.SERVER.PING", ""},
		{"custody.short", "x"},
	}
	for _, r := range requests {
		if err := l.Conn().PublishRequest(r.subject, l.Conn().NewRespInbox(), []byte(r.body)); err != nil {
			t.Fatal(err)
		}
		if err := l.Conn().Flush(); err != nil {
			t.Fatal(err)
		}
		text := <-log.seen
		if !strings.Contains(strings.ToLower(text), "permissions violation") || !strings.Contains(text, r.subject) {
			t.Errorf("%s: %s", r.subject, text)
		}
	}
	if l.Size() != 3 {
		t.Errorf("%d records, want 3", l.Size())
	}
}

// logCounter passes errors on to a test.
type logCounter struct{ seen chan string }

func (c *logCounter) Enabled(context.Context, slog.Level) bool { return true }
func (c *logCounter) WithAttrs([]slog.Attr) slog.Handler       { return c }
func (c *logCounter) WithGroup(string) slog.Handler            { return c }
func (c *logCounter) Handle(_ context.Context, r slog.Record) error {
	if strings.Contains(r.Message, "connection everyday") {
		c.seen <- r.Message
	}
	return nil
}

func TestStreamConfig(t *testing.T) {
	if problems := ledger.CheckStreamConfig(ledger.StreamConfig()); len(problems) > 0 {
		t.Fatalf("our own settings: %v", problems)
	}
	changes := []func(*server.StreamConfig){
		func(c *server.StreamConfig) { c.MaxMsgs = 5 },
		func(c *server.StreamConfig) { c.MaxAge = time.Second },
		func(c *server.StreamConfig) { c.MaxBytes = 1 << 30 },
		func(c *server.StreamConfig) { c.MaxMsgsPer = 1 },
		func(c *server.StreamConfig) { c.DenyDelete = false },
		func(c *server.StreamConfig) { c.DenyPurge = false },
		func(c *server.StreamConfig) { c.AllowRollup = true },
		func(c *server.StreamConfig) { c.AllowMsgTTL = true },
		func(c *server.StreamConfig) { c.Retention = server.WorkQueuePolicy },
		func(c *server.StreamConfig) { c.Storage = server.MemoryStorage },
		func(c *server.StreamConfig) { c.Subjects = []string{"custody.>"} },
		func(c *server.StreamConfig) { c.Sources = []*server.StreamSource{{Name: "other"}} },
		func(c *server.StreamConfig) { c.Mirror = &server.StreamSource{Name: "other"} },
	}
	for i, f := range changes {
		c := ledger.StreamConfig()
		f(&c)
		if problems := ledger.CheckStreamConfig(c); len(problems) != 1 {
			t.Errorf("change %d gave %v", i, problems)
		}
	}
}

func TestContextEnds(t *testing.T) {
	release, entered := make(chan struct{}), make(chan struct{}, 10)
	opts := ledgertest.Options(t)
	opts.SetFaults(ledger.NewFaults(func(step string) error {
		if step == "publish" {
			entered <- struct{}{}
			<-release
		}
		return nil
	}, nil))
	l := ledgertest.Open(t, opts)
	ended, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := l.Append(ended, entry(t, "north/or-3", "x", 0)); !errors.Is(err, context.Canceled) ||
		errors.Is(err, ledger.ErrUnknownOutcome) {
		t.Errorf("with an ended context: %v", err)
	}
	// One is on its way into the stream, one waits behind it.
	ctx, cancel := context.WithCancel(context.Background())
	flying, waiting := make(chan error), make(chan error)
	go func() {
		_, err := l.Append(ctx, entry(t, "north/or-3", "flying", 0))
		flying <- err
	}()
	<-entered
	go func() {
		_, err := l.Append(ctx, entry(t, "north/or-4", "waiting", 0))
		waiting <- err
	}()
	for l.Waiting() == 0 {
		// The second call is about to be queued.
	}
	cancel()
	if err := <-flying; !errors.Is(err, ledger.ErrUnknownOutcome) || !errors.Is(err, context.Canceled) {
		t.Errorf("on its way: %v", err)
	}
	if err := <-waiting; errors.Is(err, ledger.ErrUnknownOutcome) || !errors.Is(err, context.Canceled) {
		t.Errorf("waiting: %v", err)
	}
	close(release)
	if err := l.Wait(context.Background(), 1); err != nil {
		t.Fatal(err)
	}
	seq, _, err := l.Last(context.Background(), "north/or-3")
	if seq != 1 || err != nil {
		t.Errorf("the one on its way is number %d, %v", seq, err)
	}
	if seq, _, err := l.Last(context.Background(), "north/or-4"); seq != 0 || err != nil {
		t.Errorf("the one that was given up is number %d, %v", seq, err)
	}
}

func TestAfterClose(t *testing.T) {
	ctx := context.Background()
	l := ledgertest.New(t)
	fill(t, l, "north/or-3", 0, 3, 0)
	follow := make(chan error)
	go func() { follow <- l.Follow(ctx, 1, func(int64, []byte) error { return nil }) }()
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	if err := <-follow; !errors.Is(err, ledger.ErrClosed) {
		t.Errorf("Follow ended with %v", err)
	}
	if _, err := l.Append(ctx, entry(t, "north/or-3", "x", 3)); !errors.Is(err, ledger.ErrClosed) {
		t.Errorf("Append gave %v", err)
	}
	if _, err := l.Checkpoint(ctx); !errors.Is(err, ledger.ErrClosed) {
		t.Errorf("Checkpoint gave %v", err)
	}
	if _, _, err := l.Last(ctx, "north/or-3"); !errors.Is(err, ledger.ErrClosed) {
		t.Errorf("Last gave %v", err)
	}
	if _, err := l.Verify(ctx, ledger.VerifyOptions{}); !errors.Is(err, ledger.ErrClosed) {
		t.Errorf("Verify gave %v", err)
	}
	if l.Signed().Size != 3 {
		t.Errorf("closing signed %d of 3 records", l.Signed().Size)
	}
}

func TestAudit(t *testing.T) {
	var seen []int64
	opts := ledgertest.Options(t)
	opts.Audit = func(seq int64, record []byte) error {
		seen = append(seen, seq)
		if seq%10 == 0 {
			return errors.New("not in order")
		}
		return nil
	}
	opts.CheckpointEvery = time.Hour
	refuse := true
	opts.SetFaults(ledger.NewFaults(func(step string) error {
		if refuse && step == "write files" {
			return errFault
		}
		return nil
	}, nil))
	l := ledgertest.Open(t, opts)
	fill(t, l, "north/or-3", 0, 30, 0)
	if _, err := l.Checkpoint(context.Background()); !errors.Is(err, errFault) {
		t.Fatalf("checkpoint: %v", err)
	}
	// Trying again does not audit again.
	refuse = false
	if _, err := l.Checkpoint(context.Background()); err != nil {
		t.Fatal(err)
	}
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	if len(seen) != 30 || seen[0] != 1 || seen[29] != 30 {
		t.Errorf("audited %v", seen)
	}
	if l.AuditErrors() != 3 {
		t.Errorf("%d audit errors, want 3", l.AuditErrors())
	}
}

func TestProofs(t *testing.T) {
	ctx := context.Background()
	l := ledgertest.New(t, func(o *ledger.Options) { o.CheckpointEvery = time.Hour })
	last := fill(t, l, "north/or-3", 0, 700, 0)
	// Proving a record that is not signed yet signs it.
	proofs, err := l.ProveMany(ctx, []int64{1, 256, 257, 512, last})
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range proofs {
		record, err := l.Read(p.Index + 1)
		if err != nil {
			t.Fatal(err)
		}
		c, err := p.Check(record, l.Origin(), l.Verifier())
		if err != nil || c.Size != last {
			t.Errorf("proof of record %d: %+v, %v", p.Index+1, c, err)
		}
	}
	for _, seq := range []int64{0, -1, last + 1} {
		if _, err := l.Prove(ctx, seq); err == nil {
			t.Errorf("proved record %d", seq)
		}
	}
	if _, err := l.Consistency(5, last+1); err == nil {
		t.Error("proved consistency with a checkpoint that does not exist")
	}
}

// TestAppendAhead: whoever has something to do with records meanwhile has them before they are on disk, as they will be; and where they
// don't get there, the error says so all the same. What is refused is not told.
func TestAppendAhead(t *testing.T) {
	opts := ledgertest.Options(t)
	armed, fail, told := false, false, make(chan struct{}, 1)
	opts.SetFaults(ledger.NewFaults(func(step string) error {
		if step != "sync stream" || !armed {
			return nil
		}
		<-told
		if fail {
			return errFault
		}
		return nil
	}, nil))
	l := ledgertest.Open(t, opts)
	prev := fill(t, l, "north/or-3", 0, 3, 0)
	armed = true
	var coming []ledger.Appended
	ahead := func(records []ledger.Appended) {
		coming = slices.Clone(records)
		if l.Size() != records[0].Seq-1 {
			t.Errorf("%d records count, and record %d is not on disk yet", l.Size(), records[0].Seq)
		}
		told <- struct{}{}
	}
	two := []ledger.Entry{entry(t, "north/or-3", "a", prev), entry(t, "north/or-4", "b", 0)}
	out, err := l.AppendAhead(t.Context(), ahead, two...)
	if err != nil || !reflect.DeepEqual(out, coming) || len(out) != 2 || out[0].Seq != prev+1 || out[1].Seq != prev+2 {
		t.Fatalf("%+v were foretold, and %+v came: %v", coming, out, err)
	}
	coming = nil
	var conflict *ledger.ConflictError
	if _, err := l.AppendAhead(t.Context(), ahead, entry(t, "north/or-3", "c", prev)); !errors.As(err, &conflict) || coming != nil {
		t.Errorf("a refused call was told of %+v: %v", coming, err)
	}
	fail = true
	if out, err := l.AppendAhead(t.Context(), ahead, entry(t, "north/or-3", "d", prev+1)); err == nil || out != nil || len(coming) != 1 {
		t.Errorf("%+v were foretold and %+v came, where the disk failed: %v", coming, out, err)
	}
}

// Where no round is an atomic batch, one call takes more than such a batch does, and not more than it says.
func TestAppendAtOnce(t *testing.T) {
	ctx := context.Background()
	for _, always := range []bool{false, true} {
		l := ledgertest.New(t, func(o *ledger.Options) { o.SyncAlways = always })
		most := l.AtOnce()
		if most < ledger.MaxBatch || (most == ledger.MaxBatch) != always {
			t.Fatalf("the server syncs %t: %d entries in one call", always, most)
		}
		var entries []ledger.Entry
		for i := range most + 1 {
			entries = append(entries, entry(t, "north/or-3", fmt.Sprint(i), 0))
		}
		if _, err := l.Append(ctx, entries...); err == nil || !strings.Contains(err.Error(), fmt.Sprint("at most ", most)) {
			t.Errorf("%d entries: %v", most+1, err)
		}
		long := slices.Repeat([]ledger.Entry{entry(t, "north/or-3", strings.Repeat("x", 59_000), 0)}, ledger.MaxBatch+17)
		for len(long) <= most {
			if _, err := l.Append(ctx, long...); err == nil || !strings.Contains(err.Error(), "at most 60000000 are stored as one") {
				t.Errorf("%d long entries: %v", len(long), err)
			}
			long = append(long, long...)
		}
		if l.Size() != 0 {
			t.Fatalf("%d records of a call that was refused", l.Size())
		}
		for i, a := range mustAppend(t, l, entries[:most]...) {
			if a.Seq != int64(i)+1 || !bytes.HasPrefix(a.Record, entries[i].Note) {
				t.Fatalf("entry %d became record %d: %q", i, a.Seq, a.Record)
			}
		}
	}
}

// Much that was stored at once is signed without the usual pause, and few records are not.
func TestMuchIsSignedAtOnce(t *testing.T) {
	audited := make(chan int64, 4*ledger.MaxBatch)
	l := ledgertest.New(t, func(o *ledger.Options) {
		o.CheckpointEvery = time.Hour
		o.Audit = func(seq int64, _ []byte) error {
			audited <- seq
			return nil
		}
	})
	last := fill(t, l, "north/or-3", 0, ledger.MaxBatch, 10) // by calls of a hundred
	var entries []ledger.Entry
	for i := range ledger.MaxBatch {
		entries = append(entries, entry(t, "north/or-3", fmt.Sprint(i), last))
	}
	if len(audited) > 0 {
		t.Error("a hundred records were signed without a pause")
	}
	out := mustAppend(t, l, entries...)
	late := time.After(time.Minute)
	for seq := int64(0); seq < out[len(out)-1].Seq; {
		select {
		case seq = <-audited:
		case <-late:
			t.Fatalf("only %d records are on their way into the tree", seq)
		}
	}
}
