package ledger_test

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/nats-io/nats.go"

	"listbound/ledger"
	"listbound/ledger/ledgertest"
	"listbound/ledger/proof"
)

// payload is a station note of about 700 bytes, as long as a signed event is.
func payload(tb testing.TB) []byte {
	line := make([]byte, 590)
	for i := range line {
		line[i] = 'a' + byte(i%26)
	}
	return ledgertest.Note(tb, "north/or-3", string(line))
}

// writers runs n writers for a while, each for its own station, and returns how many records were stored and each
// latency.
func writers(
	tb testing.TB, n int, until time.Time, write func(station string, prev int64) (int64, error),
) (int, []time.Duration) {
	tb.Helper()
	var wg sync.WaitGroup
	var mu sync.Mutex
	var all []time.Duration
	for w := range n {
		wg.Add(1)
		go func() {
			defer wg.Done()
			station, prev := fmt.Sprintf("north/station-%d-%d", n, w), int64(0)
			var took []time.Duration
			for begin := time.Now(); begin.Before(until); {
				seq, err := write(station, prev)
				if err != nil {
					tb.Error(err)
					return
				}
				now := time.Now()
				took = append(took, now.Sub(begin))
				prev, begin = seq, now
			}
			mu.Lock()
			all = append(all, took...)
			mu.Unlock()
		}()
	}
	wg.Wait()
	slices.Sort(all)
	return len(all), all
}

// rival is the same server, syncing every message, with the same bytes and nothing of ours around it.
func rival(b *testing.B, conn *nats.Conn, record []byte) func(string, int64) (int64, error) {
	b.Helper()
	return func(station string, _ int64) (int64, error) {
		return 0, ledger.BarePublish(conn, "custody."+strings.Replace(station, "/", ".", 1)+".set.opened", record)
	}
}

func benchmarkWriters(b *testing.B, n int) {
	note := payload(b)
	// What the ledger stores is the note with its arrival line.
	record := proof.AddArrival(ledgertest.Origin, note, ledgertest.Start, 0)
	for b.Loop() {
		// Two ledgers, so that the rival's records do not confuse ours. They run by turns, so that a busy moment of the
		// machine meets both.
		ours, bare := ledgertest.New(b), ledgertest.New(b, func(o *ledger.Options) { o.SyncAlways = true })
		var ourCount, bareCount int
		var ourTimes, bareTimes []time.Duration
		const turns, turn = 6, 400 * time.Millisecond
		last := map[string]int64{}
		var mu sync.Mutex
		for range turns {
			c, ts := writers(b, n, time.Now().Add(turn), rival(b, bare.Conn(), record))
			bareCount += c
			bareTimes = append(bareTimes, ts...)
			c, ts = writers(b, n, time.Now().Add(turn), func(station string, prev int64) (int64, error) {
				if prev == 0 {
					mu.Lock()
					prev = last[station]
					mu.Unlock()
				}
				out, err := ours.Append(context.Background(),
					ledger.Entry{Station: station, Kind: "set.opened", Note: note, ExpectPrev: prev})
				if err != nil {
					return 0, err
				}
				mu.Lock()
				last[station] = out[0].Seq
				mu.Unlock()
				return out[0].Seq, nil
			})
			ourCount += c
			ourTimes = append(ourTimes, ts...)
		}
		slices.Sort(ourTimes)
		slices.Sort(bareTimes)
		if ourCount == 0 || bareCount == 0 {
			b.Fatal("nothing was measured")
		}
		per := float64(turns) * turn.Seconds()
		b.ReportMetric(float64(ourCount)/per, "ours/s")
		b.ReportMetric(float64(bareCount)/per, "bare/s")
		b.ReportMetric(float64(ourCount)/float64(bareCount), "x-throughput")
		b.ReportMetric(float64(ourTimes[len(ourTimes)/2].Microseconds()), "ours-p50-us")
		b.ReportMetric(float64(bareTimes[len(bareTimes)/2].Microseconds()), "bare-p50-us")
		b.ReportMetric(float64(ourTimes[len(ourTimes)*99/100].Microseconds()), "ours-p99-us")
		b.ReportMetric(float64(bareTimes[len(bareTimes)*99/100].Microseconds()), "bare-p99-us")
		b.ReportMetric(float64(ourTimes[len(ourTimes)/2])/float64(bareTimes[len(bareTimes)/2]), "x-p50")
	}
}

// Each runs against a bare publish of the same bytes on the same kind of server, in turns in one run.
func BenchmarkAppendOneWriter(b *testing.B)  { benchmarkWriters(b, 1) }
func BenchmarkAppend4Writers(b *testing.B)   { benchmarkWriters(b, 4) }
func BenchmarkAppend16Writers(b *testing.B)  { benchmarkWriters(b, 16) }
func BenchmarkAppend256Writers(b *testing.B) { benchmarkWriters(b, 256) }

// Reading for a rebuild: every record compared with the tree.
func BenchmarkScanHashed(b *testing.B) {
	ctx := context.Background()
	l := ledgertest.New(b)
	note := payload(b)
	const records = 50_000
	prev := int64(0)
	for prev < records {
		var batch []ledger.Entry
		for range 1000 {
			batch = append(batch, ledger.Entry{Station: "north/or-3", Kind: "set.opened", Note: note, ExpectPrev: prev})
		}
		out, err := l.Append(ctx, batch...)
		if err != nil {
			b.Fatal(err)
		}
		prev = out[len(out)-1].Seq
	}
	if _, err := l.Checkpoint(ctx); err != nil {
		b.Fatal(err)
	}
	scans := map[string]func(context.Context, int64, func(int64, []byte) error) error{
		"plain": l.Scan, "hashed": l.ScanHashed,
		"verify": func(ctx context.Context, _ int64, fn func(int64, []byte) error) error {
			report, err := l.Verify(ctx, ledger.VerifyOptions{Look: eachLook(func(r ledger.Record) ledger.Look {
				return ledger.Look{Check: func() []string {
					if err := fn(r.Seq, r.Raw); err != nil {
						return []string{err.Error()}
					}
					return nil
				}}
			})})
			if len(report.Problems) > 0 {
				return fmt.Errorf("problems: %v", report.Problems)
			}
			return err
		}}
	for _, name := range []string{"plain", "hashed", "verify"} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				n := 0
				if err := scans[name](ctx, 1, func(int64, []byte) error { n++; return nil }); err != nil ||
					n != records {
					b.Fatalf("%d records, %v", n, err)
				}
			}
			b.ReportMetric(float64(records)*float64(b.N)/b.Elapsed().Seconds(), "records/s")
		})
	}
}
