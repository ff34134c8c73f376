package ledger_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"listbound/ledger"
	"listbound/ledger/ledgertest"
)

// fiveOf are the records of one call.
func fiveOf(tb testing.TB, station string, prev int64) []ledger.Entry {
	var entries []ledger.Entry
	for i := range 5 {
		entries = append(entries, entry(tb, station, fmt.Sprint("five ", i), prev))
	}
	return entries
}

// atRecord makes faults that call do before one of the records of a call is sent, once armed.
func atRecord(armed *bool, n int, do func() error) *ledger.Faults {
	sent := 0
	return ledger.NewFaults(func(step string) error {
		if step != "publish record" || !*armed {
			return nil
		}
		if sent++; sent == n {
			return do()
		}
		return nil
	}, nil)
}

// wantFive fails unless the ledger ends with the first n of five records behind record prev.
func wantFive(t *testing.T, l *ledgertest.Ledger, five []ledger.Entry, prev int64, n int) {
	t.Helper()
	if l.Size() != prev+int64(n) {
		t.Fatalf("%d records, want %d", l.Size(), prev+int64(n))
	}
	for i, e := range five[:n] {
		record, err := l.Read(prev + int64(i) + 1)
		if err != nil || !bytes.HasPrefix(record, e.Note) {
			t.Errorf("record %d is not record %d of the call: %v", prev+int64(i)+1, i, err)
		}
	}
}

// A call of which the stream took the first records and not the others is sent to its end. Its caller need not know.
func TestRestOfACallIsSent(t *testing.T) {
	for n := 1; n <= 5; n++ {
		opts := ledgertest.Options(t)
		armed := false
		opts.SetFaults(atRecord(&armed, n, func() error { return errFault }))
		l := ledgertest.Open(t, opts)
		prev := fill(t, l, "north/or-3", 0, 3, 0)
		five := fiveOf(t, "north/or-3", prev)
		armed = true
		out, err := l.Append(context.Background(), five...)
		if n == 1 {
			// Nothing was stored: that is said, and nothing is tried again.
			if !errors.Is(err, errFault) || errors.Is(err, ledger.ErrUnknownOutcome) || !strings.HasPrefix(err.Error(), "not recorded: ") {
				t.Errorf("the first record could not be sent: %v", err)
			}
			wantFive(t, l, five, prev, 0)
			continue
		}
		if err != nil || len(out) != 5 || out[0].Seq != prev+1 || out[4].Seq != prev+5 {
			t.Fatalf("record %d of five could not be sent at first: %v, %v", n, out, err)
		}
		wantFive(t, l, five, prev, 5)
		mustAppend(t, l, entry(t, "north/or-3", "next", prev+5))
		mustCheck(t, l)
	}
}

// A call whose rest can't be sent either leaves its first records. Its caller is told to look, and finds them; the ledger goes on.
func TestPartOfACallStays(t *testing.T) {
	ctx := context.Background()
	opts := ledgertest.Options(t)
	armed, met := false, 0
	opts.SetFaults(ledger.NewFaults(func(step string) error {
		if step != "publish record" || !armed {
			return nil
		}
		if met++; met >= 3 {
			return errFault
		}
		return nil
	}, nil))
	l := ledgertest.Open(t, opts)
	prev := fill(t, l, "north/or-3", 0, 3, 0)
	five := fiveOf(t, "north/or-3", prev)
	armed = true
	out, err := l.Append(ctx, five...)
	if out != nil || !errors.Is(err, ledger.ErrUnknownOutcome) || !errors.Is(err, errFault) ||
		!strings.Contains(err.Error(), "only the first 2 of 5 records were stored") {
		t.Errorf("a call that was stored in part: %v, %v", out, err)
	}
	if met != 4 {
		t.Errorf("%d records were tried, want three and the third again", met)
	}
	armed = false
	wantFive(t, l, five, prev, 2)
	last, record, err := l.Last(ctx, "north/or-3")
	if err != nil || last != prev+2 || !bytes.HasPrefix(record, five[1].Note) {
		t.Errorf("the station's last record is %d: %v", last, err)
	}
	// The call as it was is refused, what is missing of it is not.
	var conflict *ledger.ConflictError
	if _, err := l.Append(ctx, five...); !errors.As(err, &conflict) || conflict.Last != last {
		t.Errorf("the whole call once more: %v", err)
	}
	for i := range five {
		five[i].ExpectPrev = last
	}
	mustAppend(t, l, five[2:]...)
	wantFive(t, l, five, prev, 5)
	mustCheck(t, l)
}

// Somebody else's record in the place of one in the middle: those behind it find the numbers they expect, and the last one is
// answered as it should be. The ledger must notice all the same, and send nothing more.
func TestForeignRecordInACall(t *testing.T) {
	for n := 1; n <= 5; n++ {
		opts := ledgertest.Options(t)
		var l *ledgertest.Ledger
		armed := false
		opts.SetFaults(atRecord(&armed, n, func() error {
			return l.Conn().Publish("custody.north.or-6.set.opened", []byte("x"))
		}))
		l = ledgertest.OpenDamaged(t, opts)
		prev := fill(t, l, "north/or-3", 0, 3, 0)
		armed = true
		_, err := l.Append(context.Background(), fiveOf(t, "north/or-3", prev)...)
		var damaged *ledger.DamagedError
		if !errors.As(err, &damaged) || l.Size() != prev {
			t.Errorf("in the place of record %d: %d records, %v", n, l.Size(), err)
		}
	}
}

func init() { childWork["half-call"] = halfCall }

// halfCall appends calls of five records, and ends in the middle of one as a killed process does.
func halfCall(dir, _ string) error {
	signer, verifier := childKey(ledgertest.Origin)
	opts := ledger.Options{
		Dir: dir, Origin: ledgertest.Origin, Signer: signer, Verifier: verifier, Clock: time.Now, Command: "child",
	}
	var l *ledger.Ledger
	armed := false
	opts.SetFaults(atRecord(&armed, 4, func() error {
		l.Settle() // the first three are stored
		self, err := os.FindProcess(os.Getpid())
		if err == nil {
			err = self.Kill()
		}
		if err == nil {
			select {}
		}
		return err
	}))
	var err error
	if l, err = ledger.Open(context.Background(), opts); err != nil {
		return err
	}
	prev := int64(0)
	for call := range 3 {
		armed = call == 2
		out, err := l.Append(context.Background(), fiveOf(noTB{}, "north/or-3", prev)...)
		if err != nil {
			return err
		}
		prev = out[4].Seq
		fmt.Println("stored", prev)
	}
	return errors.New("it was not killed")
}

// Killed between two records of one call: the first ones are there, in order, and the writer goes on behind them.
func TestKilledInACall(t *testing.T) {
	opts := ledgertest.Options(t)
	opts.Clock = time.Now
	cmd, lines := startChild(t, opts.Dir, "half-call")
	acked := 0
	for line := range lines {
		if _, err := fmt.Sscanf(line, "stored %d", &acked); err != nil {
			t.Fatalf("the child says: %s", line)
		}
	}
	if err := cmd.Wait(); err == nil || acked != 10 {
		t.Fatalf("the child ended by itself after %d records: %v", acked, err)
	}
	l := ledgertest.Open(t, opts)
	if d := l.Damage(); len(d) > 0 {
		t.Fatal(d)
	}
	five := fiveOf(t, "north/or-3", 10)
	wantFive(t, l, five, 10, 3)
	for i := range five {
		five[i].ExpectPrev = 13
	}
	mustAppend(t, l, five[3:]...)
	wantFive(t, l, five, 10, 5)
	mustCheck(t, l)
}

// What the last answer stands for is that the blocks hold what was sent.
func TestBlocksHold(t *testing.T) {
	opts := ledgertest.Options(t)
	l := ledgertest.Open(t, opts)
	fill(t, l, "north/or-3", 0, 3, 0)
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	msgs := msgsDir(opts.Dir)
	data, err := os.ReadFile(filepath.Join(msgs, "1.blk"))
	if err != nil {
		t.Fatal(err)
	}
	b, err := ledger.OpenBlocks(msgs, func(string) {})
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close() //nolint:errcheck // only read
	if err := b.Hold(3); err != nil {
		t.Errorf("nothing was sent: %v", err)
	}
	// What is there once more, as if it had been written since.
	of := parseBlock(t, data)
	f, err := os.OpenFile(filepath.Join(msgs, "1.blk"), os.O_APPEND|os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close() //nolint:errcheck // looked at by what is read
	if _, err := f.Write(data[of[1].start:]); err != nil {
		t.Fatal(err)
	}
	sent := func(i int) ledger.Sending {
		return ledger.Sending{Subject: "custody.north.or-3.set.opened", Record: bytes.Clone(data[of[i].payload : of[i].end-8])}
	}
	other, moved := sent(2), sent(2)
	other.Record[7] ^= 1
	moved.Subject = "custody.north.or-4.set.opened"
	for name, tt := range map[string]struct {
		last int64
		sent []ledger.Sending
		ok   bool
	}{
		"both":              {1, []ledger.Sending{sent(1), sent(2)}, true},
		"other numbers":     {2, []ledger.Sending{sent(1), sent(2)}, false},
		"one of them":       {1, []ledger.Sending{sent(1)}, false},
		"one more":          {1, []ledger.Sending{sent(1), sent(2), sent(2)}, false},
		"another record":    {1, []ledger.Sending{sent(1), other}, false},
		"of another one":    {1, []ledger.Sending{sent(1), moved}, false},
		"the other way":     {1, []ledger.Sending{sent(2), sent(1)}, false},
		"none":              {1, nil, false},
		"one of them twice": {1, []ledger.Sending{sent(1), sent(1)}, false},
	} {
		if err := b.Hold(tt.last, tt.sent...); (err == nil) != tt.ok {
			t.Errorf("%s: %v", name, err)
		}
	}
}
