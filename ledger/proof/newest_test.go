package proof_test

import (
	"fmt"
	"maps"
	"math/rand/v2"
	"slices"
	"testing"

	"golang.org/x/mod/sumdb/tlog"

	"listbound/ledger/proof"
)

// TestNewest: however keys come and go on, and whenever it is asked in between, the heads are in order and the root is that of
// golang.org/x/mod/sumdb/tlog over their lines.
func TestNewest(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 1))
	var newest proof.Newest
	want := make(map[string]proof.Head)
	asked := 0
	for n := range int64(3000) {
		h := proof.Head{Key: fmt.Sprint("set ", r.IntN(1+int(n)/3)), Last: n + 1, Count: 1}
		if was := newest.Get(h.Key); was != want[h.Key] {
			t.Fatalf("%s is %v, want %v", h.Key, was, want[h.Key])
		}
		h.Count += want[h.Key].Count
		want[h.Key] = h
		newest.Put(h)
		if r.IntN(50) == 0 {
			newest.Grow(r.IntN(30))
		}
		if r.IntN(20) > 0 {
			continue
		}
		asked++
		hs := newest.Heads()
		var all []proof.Head
		var stored []tlog.Hash
		read := tlog.HashReaderFunc(func(indexes []int64) (out []tlog.Hash, _ error) {
			for _, i := range indexes {
				out = append(out, stored[i])
			}
			return out, nil
		})
		for i, key := range slices.Sorted(maps.Keys(want)) {
			all = append(all, want[key])
			more, err := tlog.StoredHashes(int64(i), []byte(want[key].String()+"\n"), read)
			if err != nil {
				t.Fatal(err)
			}
			stored = append(stored, more...)
		}
		root, err := tlog.TreeHash(int64(len(all)), read)
		if err != nil {
			t.Fatal(err)
		}
		if !slices.Equal(hs.All(), all) || hs.Root() != root || newest.Len() != len(all) || hs.Len() != len(all) {
			t.Fatalf("after %d: %d heads with root %s, want %d with %s", n+1, hs.Len(), hs.Root(), len(all), root)
		}
	}
	if asked < 50 {
		t.Errorf("asked %d times", asked)
	}
}
