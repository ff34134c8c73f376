//go:build !race

package sessions_test

import (
	"math/rand/v2"
	"os"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// sessions says how many sessions are tried, and by which seed.
func sessions(t *testing.T, name string, usual, short int) (n int, seed uint64) {
	t.Helper()
	// The same sessions each time: what a new one finds is to be found by whoever looks for it, not by whoever
	// changes something else.
	n, seed = usual, 20261126
	if testing.Short() {
		n = short
	}
	for name, set := range map[string]func(uint64){
		name: func(x uint64) { n = int(x) }, "LISTBOUND_SEED": func(x uint64) { seed = x },
	} {
		if s := os.Getenv(name); s != "" {
			x, err := strconv.ParseUint(s, 10, 64)
			if err != nil {
				t.Fatal(err)
			}
			set(x)
		}
	}
	t.Logf("LISTBOUND_SEED=%d", seed)
	return n, seed
}

const enough = 500

// coversAll reports whether so many sessions must try everything: the usual ones, whose seed is known to, and so many of any
// seed that chance leaves nothing out. Some things come up once in sixty sessions; who asks for fewer looks for something else.
func coversAll(n, usual int) bool {
	return n >= enough || n == usual && os.Getenv("LISTBOUND_SEED") == ""
}

// TestRandomSessions drives every workplace with random scans, keys, pauses, inputs
// sent again and two browsers: nothing is recorded that was not shown and meant, and
// what the page says that it records is recorded once. LISTBOUND_SESSIONS is how many
// sessions of 40 inputs are tried, LISTBOUND_SEED which.
func TestRandomSessions(t *testing.T) {
	t.Parallel()
	n, seed := sessions(t, "LISTBOUND_SESSIONS", 90, 18)
	const perHouse = 18 // a house gets slower with its history
	var mu sync.Mutex
	total, tried := make(map[events.Kind]int), make(map[string]int)
	t.Run("houses", func(t *testing.T) {
		for first := 0; first < n; first += perHouse {
			t.Run(strconv.Itoa(first), func(t *testing.T) {
				t.Parallel()
				h := workplacetest.HouseWithGoods(t)
				k := &kept{records: make(map[events.Kind]int), cases: make(map[string]time.Time),
					learned: make(map[string]map[events.ScanKind]bool),
					tried:   make(map[string]int)}
				handler := h.Handler()
				for i := first; i < min(first+perHouse, n); i++ {
					w := &walk{h: h, handler: handler, rng: rand.New(rand.NewPCG(seed, uint64(i))), n: i * 1000,
						kept: k, shown: make(map[string]workplacetest.Answer)}
					w.session(i)
				}
				mu.Lock()
				defer mu.Unlock()
				for kind, n := range k.records {
					total[kind] += n
				}
				for what, n := range k.tried {
					tried[what] += n
				}
			})
		}
	})
	t.Log(total, tried)
	if !coversAll(n, 90) {
		return
	}
	for _, what := range []string{"badge went on", "added beyond the list", "printed sheet scanned or not", "waited",
		"too late", "issued meanwhile", "packed while open", "packed after a piece was missing", "wrong sheet at the count",
		"goods came", "goods taken back", "goods signed", "passed off", "passed off, and more or instead", "stays on purpose"} {
		rare := what == "stays on purpose" || strings.HasPrefix(what, "passed off,")
		if tried[what] == 0 && (n >= enough || !rare) {
			t.Errorf("%d sessions tried nothing of: %s", n, what)
		}
	}
	want := []events.Kind{events.KindSetPacked, events.KindListSealed, events.KindSetSterilized,
		events.KindIndicatorRead, events.KindSetChecked,
		events.KindSetReturned, events.KindPieceReported, events.KindSetOpened,
		events.KindSetCounted, events.KindCaseClosed, events.KindEventCorrected}
	if n >= enough { // a day's tests are asked for in few of the usual ones
		want = append(want, events.KindSterilizerTested)
	}
	for _, kind := range want {
		if total[kind] == 0 {
			t.Errorf("%d sessions recorded no %s: they try nothing of it", n, kind)
		}
	}
}

// TestRandomTabs drives a real browser at the stations with keys that are held,
// scanners that read twice or end with two Enters, answers that are lost, the back
// button, reloads, second tabs, cuts of the line and tabs that die: what was shown and
// meant is recorded once, in order, as of when it was entered, and nothing else is.
// LISTBOUND_TABS is how many sessions are tried, LISTBOUND_SEED which.
func TestRandomTabs(t *testing.T) {
	t.Parallel()
	n, seed := sessions(t, "LISTBOUND_TABS", 12, 6)
	const perHouse = 6
	var mu sync.Mutex
	total := make(map[events.Kind]int)
	t.Run("houses", func(t *testing.T) {
		for first := 0; first < n; first += perHouse {
			t.Run(strconv.Itoa(first), func(t *testing.T) {
				t.Parallel()
				h := workplacetest.NewHouse(t)
				p := &person{h: h, b: workplacetest.Browser(t), line: workplacetest.NewLine(h), size: workplacetest.Tablet}
				p.line.Serve(p.serve(h.Handler()))
				for i := first; i < min(first+perHouse, n); i++ {
					p.rng = rand.New(rand.NewPCG(seed, uint64(i)))
					p.session(i)
				}
				mu.Lock()
				defer mu.Unlock()
				for _, m := range p.want {
					total[m.kind]++
				}
			})
		}
	})
	t.Log(total)
}
