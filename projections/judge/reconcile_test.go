package judge

import (
	"cmp"
	"fmt"
	"listbound/projections"
	"math/rand/v2"
	"slices"
	"testing"

	gocmp "github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

func tripKey(set string) projections.TripKey {
	return projections.TripKey{Set: set, Trip: "trip-of-" + set}
}

// clamps is a balance of one item, of which only the difference counts.
func clamps(set string, short int64) projections.Balance {
	return projections.Balance{Key: tripKey(set), Item: "CLP-200", Expected: 20 + short, Counted: 20}
}

func clampMove(from, to string, n int64) projections.Move {
	return projections.Move{Item: "CLP-200", From: tripKey(from), To: tripKey(to), Quantity: n}
}

func clampLeft(set string, n int64) projections.Leftover {
	return projections.Leftover{Item: "CLP-200", Key: tripKey(set), Quantity: n}
}

func TestReconcile(t *testing.T) {
	tests := []struct {
		name  string
		in    []projections.Balance
		moves []projections.Move
		left  []projections.Leftover
	}{
		{"nothing counted", nil, nil, nil},
		{"all balanced", []projections.Balance{clamps("A", 0), clamps("B", 0)}, nil, nil},
		{"one misplaced clamp", []projections.Balance{clamps("A", 1), clamps("B", -1)}, []projections.Move{clampMove("A", "B", 1)}, nil},
		{"one missing clamp", []projections.Balance{clamps("A", 1), clamps("B", 0)}, nil, []projections.Leftover{clampLeft("A", 1)}},
		{"one clamp too many", []projections.Balance{clamps("A", -1)}, nil, []projections.Leftover{clampLeft("A", -1)}},
		{"two short, one over: the first set is explained", []projections.Balance{clamps("B", 1), clamps("A", 1), clamps("C", -1)},
			[]projections.Move{clampMove("A", "C", 1)}, []projections.Leftover{clampLeft("B", 1)}},
		{"the short that fits is explained, though it comes later", []projections.Balance{clamps("A", 1), clamps("B", 2), clamps("C", -2)},
			[]projections.Move{clampMove("B", "C", 2)}, []projections.Leftover{clampLeft("A", 1)}},
		{"one set's pieces in two others", []projections.Balance{clamps("A", 3), clamps("B", -1), clamps("C", -2)},
			[]projections.Move{clampMove("A", "B", 1), clampMove("A", "C", 2)}, nil},
		// In the order of the sets alone it would take five moves: A-D 3, B-D 4, B-E 1, B-F 1, C-F 4.
		{"two groups rather than one chain", []projections.Balance{clamps("A", 3), clamps("B", 6), clamps("C", 4),
			clamps("D", -7), clamps("E", -1), clamps("F", -5)},
			[]projections.Move{clampMove("A", "D", 3), clampMove("B", "E", 1), clampMove("B", "F", 5), clampMove("C", "D", 4)}, nil},
		{"three groups", []projections.Balance{clamps("A", 3), clamps("B", 6), clamps("C", 8), clamps("D", 4),
			clamps("E", 2), clamps("F", -7), clamps("G", -1), clamps("H", -5), clamps("I", -10)},
			[]projections.Move{clampMove("A", "F", 3), clampMove("B", "G", 1), clampMove("B", "H", 5),
				clampMove("C", "I", 8), clampMove("D", "F", 4), clampMove("E", "I", 2)}, nil},
		{"the leftover stays where it saves a move", []projections.Balance{clamps("A", 1), clamps("B", 3), clamps("C", -2)},
			[]projections.Move{clampMove("B", "C", 2)}, []projections.Leftover{clampLeft("A", 1), clampLeft("B", 1)}},
		{"more over than short", []projections.Balance{clamps("A", -1), clamps("B", -3), clamps("C", 2)},
			[]projections.Move{clampMove("C", "B", 2)}, []projections.Leftover{clampLeft("A", -1), clampLeft("B", -1)}},
		{"balances of one set add up", []projections.Balance{clamps("A", 2), clamps("A", -1), clamps("B", -3),
			clamps("B", 2), clamps("C", 1), clamps("C", -1)},
			[]projections.Move{clampMove("A", "B", 1)}, nil},
		{"two trips of one set are two", []projections.Balance{
			{Key: projections.TripKey{Set: "A", Trip: "2"}, Item: "CLP-200", Expected: 4, Counted: 3},
			{Key: projections.TripKey{Set: "A", Trip: "1"}, Item: "CLP-200", Expected: 4, Counted: 5}},
			[]projections.Move{{Item: "CLP-200", From: projections.TripKey{Set: "A", Trip: "2"},
				To: projections.TripKey{Set: "A", Trip: "1"}, Quantity: 1}}, nil},
		{"the earlier trip of one set is explained first", []projections.Balance{
			{Key: projections.TripKey{Set: "A", Trip: "2"}, Item: "CLP-200", Expected: 4, Counted: 3},
			{Key: projections.TripKey{Set: "A", Trip: "1"}, Item: "CLP-200", Expected: 4, Counted: 3}, clamps("B", -1)},
			[]projections.Move{{Item: "CLP-200", From: projections.TripKey{Set: "A", Trip: "1"}, To: tripKey("B"),
				Quantity: 1}}, []projections.Leftover{{Item: "CLP-200", Key: projections.TripKey{Set: "A", Trip: "2"}, Quantity: 1}}},
		{"a clamp does not stand in for a needle holder", []projections.Balance{clamps("A", 1), {Key: tripKey("B"),
			Item: "NDH-180", Expected: 2, Counted: 3}},
			nil, []projections.Leftover{clampLeft("A", 1), {Item: "NDH-180", Key: tripKey("B"), Quantity: -1}}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			moves, left := Reconcile(tt.in)
			if d := gocmp.Diff(tt.moves, moves); d != "" {
				t.Errorf("moves (-want +got):\n%s", d)
			}
			if d := gocmp.Diff(tt.left, left); d != "" {
				t.Errorf("leftovers (-want +got):\n%s", d)
			}
		})
	}
}

// TestReconcileManySets goes beyond the exact search: seven sets short and
// seven over, none of which fit, are matched largest first.
func TestReconcileManySets(t *testing.T) {
	var bs []projections.Balance
	for i, n := range []int64{10, 20, 30, 40, 50, 60, 72, -11, -21, -31, -41, -51, -61, -64} {
		bs = append(bs, clamps(fmt.Sprintf("%c", 'A'+i), n))
	}
	want := []projections.Move{
		clampMove("A", "H", 8),
		clampMove("B", "H", 3), clampMove("B", "I", 17),
		clampMove("C", "I", 4), clampMove("C", "J", 26),
		clampMove("D", "J", 5), clampMove("D", "K", 35),
		clampMove("E", "K", 6), clampMove("E", "L", 44),
		clampMove("F", "L", 7), clampMove("F", "M", 53),
		clampMove("G", "M", 8), clampMove("G", "N", 64),
	}
	moves, left := Reconcile(bs)
	if d := gocmp.Diff(want, moves); d != "" {
		t.Errorf("moves (-want +got):\n%s", d)
	}
	if d := gocmp.Diff([]projections.Leftover{clampLeft("A", 2)}, left); d != "" {
		t.Errorf("leftovers (-want +got):\n%s", d)
	}
}

// drawBalances draws a case: up to maxSets sets of one to three items, with
// differences of up to most pieces, some of them given in two parts.
func drawBalances(t *rapid.T, maxSets int, most int64) []projections.Balance {
	items := rapid.IntRange(1, 3).Draw(t, "items")
	sets := rapid.IntRange(1, maxSets).Draw(t, "sets")
	var bs []projections.Balance
	for i := range items {
		for s := range sets {
			b := projections.Balance{Key: projections.TripKey{Set: fmt.Sprintf("SET-%02d", s),
				Trip: fmt.Sprint(s % 2)}, Item: fmt.Sprintf("ITEM-%d", i)}
			b.Expected = rapid.Int64Range(most, 2*most).Draw(t, "expected")
			b.Counted = b.Expected + rapid.Int64Range(-most, most).Draw(t, "over")
			if rapid.IntRange(0, 7).Draw(t, "parts") == 0 {
				half := b
				half.Expected, half.Counted = rapid.Int64Range(0, most).Draw(t, "part"), rapid.Int64Range(0, most).Draw(t, "part counted")
				b.Expected, b.Counted = b.Expected-half.Expected, b.Counted-half.Counted
				bs = append(bs, half)
			}
			bs = append(bs, b)
		}
	}
	return bs
}

type itemOf struct {
	item string
	key  projections.TripKey
}

// shortsOf adds up expected less counted.
func shortsOf(bs []projections.Balance) map[itemOf]int64 {
	m := make(map[itemOf]int64)
	for _, b := range bs {
		m[itemOf{b.Item, b.Key}] += b.Expected - b.Counted
	}
	return m
}

// TestReconcileExplains draws small cases and cases beyond the exact search.
func TestReconcileExplains(t *testing.T) {
	for _, maxSets := range []int{6, 30} {
		beyond := 0
		rapid.Check(t, func(t *rapid.T) {
			bs := drawBalances(t, maxSets, 40)
			moves, left := Reconcile(bs)
			short := shortsOf(bs)
			before := make(map[itemOf]int64)
			total, open := make(map[string]int64), make(map[string]int)
			for k, n := range short {
				before[k] = n
				total[k.item] += n
				if n != 0 {
					open[k.item]++
				}
			}
			perItem := make(map[string]int)
			for _, m := range moves {
				from, to := itemOf{m.Item, m.From}, itemOf{m.Item, m.To}
				if before[from] <= 0 || before[to] >= 0 || m.Quantity <= 0 {
					t.Fatalf("%+v goes from a set short by %d to one short by %d", m, before[from], before[to])
				}
				short[from] -= m.Quantity
				short[to] += m.Quantity
				perItem[m.Item]++
			}
			sum := make(map[string]int64)
			for _, l := range left {
				k := itemOf{l.Item, l.Key}
				if l.Quantity == 0 || short[k] != l.Quantity {
					t.Fatalf("leftover %+v, but after the moves the set is short by %d", l, short[k])
				}
				if l.Quantity > 0 != (total[l.Item] > 0) {
					t.Fatalf("leftover %+v, though the item is short by %d over all sets", l, total[l.Item])
				}
				delete(short, k)
				sum[l.Item] += l.Quantity
			}
			for k, n := range short {
				if n != 0 {
					t.Fatalf("%v is short by %d after the moves, and not among the leftovers", k, n)
				}
			}
			for item, n := range total {
				if sum[item] != n {
					t.Fatalf("%s: leftovers add up to %d, expected less counted is %d", item, sum[item], n)
				}
				if perItem[item] > max(0, open[item]-1) {
					t.Fatalf("%s: %d moves among %d unbalanced sets", item, perItem[item], open[item])
				}
				if open[item] > exactSets {
					beyond++
				}
			}
		})
		if maxSets > exactSets && beyond == 0 {
			t.Fatal("no case beyond the exact search was drawn")
		}
	}
}

func TestReconcileIgnoresOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		bs := drawBalances(t, rapid.SampledFrom([]int{5, 25}).Draw(t, "most sets"), 5)
		moves, left := Reconcile(bs)
		shuffled := rapid.Permutation(bs).Draw(t, "shuffled")
		given := slices.Clone(shuffled)
		moves2, left2 := Reconcile(shuffled)
		if d := gocmp.Diff(moves, moves2); d != "" {
			t.Fatalf("moves differ with the order:\n%s", d)
		}
		if d := gocmp.Diff(left, left2); d != "" {
			t.Fatalf("leftovers differ with the order:\n%s", d)
		}
		if !slices.Equal(given, shuffled) {
			t.Fatal("the caller's balances were changed")
		}
	})
}

// fewestMoves tries every move of every quantity, breadth first, until no set
// that is short stands beside one that is over. It shares nothing with Reconcile.
func fewestMoves(shorts []int64) int {
	type state string
	name := func(s []int64) state { return state(fmt.Sprint(s)) }
	queue, seen := [][]int64{shorts}, map[state]bool{name(shorts): true}
	for depth := 0; ; depth++ {
		var next [][]int64
		for _, s := range queue {
			if slices.Min(s) >= 0 || slices.Max(s) <= 0 {
				return depth
			}
			for i := range s {
				for j := range s {
					for q := int64(1); q <= min(s[i], -s[j]); q++ {
						c := slices.Clone(s)
						c[i], c[j] = c[i]-q, c[j]+q
						if n := name(c); !seen[n] {
							seen[n] = true
							next = append(next, c)
						}
					}
				}
			}
		}
		queue = next
	}
}

func TestReconcileMovesLeast(t *testing.T) {
	saved := 0 // cases in which the number of groups mattered
	rapid.Check(t, func(t *rapid.T) {
		shorts := rapid.SliceOfN(rapid.Int64Range(-4, 4), 1, 6).Draw(t, "shorts")
		var bs []projections.Balance
		for i, n := range shorts {
			bs = append(bs, clamps(fmt.Sprint("SET-", i), n))
		}
		moves, _ := Reconcile(bs)
		want := fewestMoves(shorts)
		if len(moves) != want {
			t.Fatalf("shorts %v: %d moves %v, %d are enough", shorts, len(moves), moves, want)
		}
		if want > 0 && want < len(shorts)-1 {
			saved++
		}
	})
	if saved == 0 {
		t.Fatal("no case was drawn in which grouping saves a move")
	}
}

// BenchmarkReconcileTwelveSets is the dearest item of the exact search.
func BenchmarkReconcileTwelveSets(b *testing.B) {
	var bs []projections.Balance
	for i, n := range []int64{10, 20, 30, 40, 50, 61, -11, -21, -31, -41, -51, -56} {
		bs = append(bs, clamps(fmt.Sprint("SET-", i), n))
	}
	for b.Loop() {
		if moves, _ := Reconcile(bs); len(moves) == 0 {
			b.Fatal("no moves")
		}
	}
}

// BenchmarkReconcile is a case of six sets of 100 lines each.
func BenchmarkReconcile(b *testing.B) {
	for _, unbalancedOf100 := range []int{3, 100} {
		b.Run(fmt.Sprintf("unbalanced=%d%%", unbalancedOf100), func(b *testing.B) {
			r := rand.New(rand.NewPCG(1, 2))
			var bs []projections.Balance
			for s := range 6 {
				for l := range 100 {
					x := projections.Balance{Key: tripKey(fmt.Sprintf("LAP-%03d", s)),
						Item: fmt.Sprintf("ITEM-%03d", l), Expected: 6, Counted: 6}
					if l < unbalancedOf100 {
						x.Counted += cmp.Or(r.Int64N(7)-3, 1)
					}
					bs = append(bs, x)
				}
			}
			b.ReportAllocs()
			for b.Loop() {
				if moves, _ := Reconcile(bs); len(moves) == 0 {
					b.Fatal("no moves in a case that has some")
				}
			}
		})
	}
}

// TestReconcileAtTheLimit: as many sets as are tried in every grouping are settled in the fewest moves.
func TestReconcileAtTheLimit(t *testing.T) {
	var in []projections.Balance
	for i, n := range []int64{3, 6, 4, -7, -1, -5, 3, 6, 4, -7, -1, -5} {
		in = append(in, clamps(string(rune('A'+i)), n))
	}
	if len(in) != exactSets {
		t.Fatalf("%d sets, the limit is %d", len(in), exactSets)
	}
	// Four groups, 3+4-7 and 6-1-5 twice, of two moves each.
	if moves, left := Reconcile(in); len(moves) != 8 || len(left) != 0 {
		t.Errorf("%d moves, %d left: %v", len(moves), len(left), moves)
	}
}
