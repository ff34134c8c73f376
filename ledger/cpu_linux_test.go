package ledger_test

import (
	"context"
	"fmt"
	"syscall"
	"testing"
	"time"

	"listbound/ledger"
	"listbound/ledger/ledgertest"
)

// used is the processor time that this process has taken, in the program and in the system.
func used(tb testing.TB) time.Duration {
	tb.Helper()
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		tb.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// What a record costs of a processor, which on a machine that others use says more than the clock. Calls of one record by so
// many writers, and calls of ten.
func BenchmarkAppendCPU(b *testing.B) {
	for _, n := range []int{1, 32, 256} {
		for _, call := range []int{1, 10} {
			b.Run(fmt.Sprintf("%d writers, %d a call", n, call), func(b *testing.B) {
				note := payload(b)
				l := ledgertest.New(b)
				count, taken := 0, time.Duration(0)
				for round := 0; b.Loop(); round++ {
					before := used(b)
					done, _ := writers(b, n, time.Now().Add(time.Second), func(station string, prev int64) (int64, error) {
						station += fmt.Sprint("-", round)
						entries := make([]ledger.Entry, call)
						for i := range entries {
							entries[i] = ledger.Entry{Station: station, Kind: "set.opened", Note: note, ExpectPrev: prev}
						}
						out, err := l.Append(context.Background(), entries...)
						if err != nil {
							return 0, err
						}
						return out[call-1].Seq, nil
					})
					count, taken = count+call*done, taken+used(b)-before
				}
				b.ReportMetric(float64(taken.Microseconds())/float64(count), "cpu-us/record")
				b.ReportMetric(float64(count)/b.Elapsed().Seconds(), "records/s")
				if err := l.CloseUnverified(); err != nil {
					b.Fatal(err)
				}
			})
		}
	}
}
