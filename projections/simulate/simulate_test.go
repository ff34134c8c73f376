package simulate

import (
	"os/exec"
	"reflect"
	"strings"
	"testing"
	"time"

	"listbound/events"
)

// TestKnowsNoJudgement: what is held against judgement must not come from it.
func TestKnowsNoJudgement(t *testing.T) {
	out, err := exec.Command("go", "list", "-deps", ".").Output()
	if err != nil {
		t.Fatal(err)
	}
	deps := strings.Fields(string(out))
	if len(deps) < 10 {
		t.Fatalf("%d packages", len(deps))
	}
	for _, d := range deps {
		if strings.HasPrefix(d, "listbound/") && d != "listbound/events" && d != "listbound/projections/simulate" {
			t.Errorf("it needs %s", d)
		}
	}
}

// TestEverythingHappens: in some weeks of the drill every fault happens, and
// every record is one that a ledger takes.
func TestEverythingHappens(t *testing.T) {
	c := Drill()
	seen := make(map[FaultKind]int)
	inside := make(map[FaultKind]int)
	late, unread, unscanned := 0, 0, 0
	heavy, wet, bare, alone := 0, 0, 0, 0
	early, aside := make(map[Early]int), make(map[Aside]int)
	shut, anew := make(map[Shut]int), make(map[Anew]int)
	for n := range 24 {
		w := c.Week(n)
		for _, f := range w.Faults {
			seen[f.Kind]++
			if f.Trips[0].Inside() {
				inside[f.Kind]++
			}
		}
		for i := range w.Records {
			r := &w.Records[i]
			if err := r.Check(); err != nil {
				t.Fatalf("week %d: %v: %v", n, r.Kind, err)
			}
			if r.Recorded.Sub(r.Time) > time.Hour {
				late++
			}
			if r.Look != nil && r.Look.Opening && !r.Look.ReadSheet {
				unread++
			}
		}
		for _, x := range w.Trips {
			for n, is := range map[*int]bool{&heavy: x.Heavy, &wet: x.Wet, &bare: x.Bare, &alone: x.Alone} {
				if is {
					*n++
				}
			}
			early[x.Early]++
			aside[x.Aside]++
			shut[x.Shut]++
			anew[x.Anew]++
			stored := 0
			for i := range w.Records {
				if l := w.Records[i].Look; l != nil && l.Tray == x && !l.Opening {
					stored++
				}
			}
			if stored < 2 {
				unscanned++
			}
			if len(x.Stays) < 6 || x.Opened.IsZero() {
				t.Errorf("%s has no way: %+v", x.Set, x.Stays)
			}
		}
	}
	for _, k := range append(SheetFaults(), PieceShort, UsedTwice, Misplaced, Miscounted, LineOmitted, NeverClosed) {
		if seen[k] == 0 {
			t.Errorf("no %s in all these weeks", k)
		}
		if k != HolderSwap && k != CarriedOn && k != UsedTwice && k != Miscounted && k != NeverClosed && inside[k] == 0 {
			t.Errorf("no %s inside", k)
		}
	}
	if heavy == 0 || wet == 0 || bare == 0 || alone == 0 || len(early) != 4 || len(aside) != 3 {
		t.Errorf("heavy %d, wet %d, without an indicator %d, looked over by nobody %d, early %v, aside %v",
			heavy, wet, bare, alone, early, aside)
	}
	if len(shut) != 5 || len(anew) != len(anews)+1 {
		t.Errorf("closed again or read in the hand %v, packed anew %v", shut, anew)
	}
	if len(Closings()) != len(shut)-1+len(anew)-1 {
		t.Errorf("closings %q", Closings())
	}
	if late == 0 || unread == 0 || unscanned == 0 {
		t.Errorf("late %d, unread %d, unscanned %d", late, unread, unscanned)
	}
}

// TestSameSeed: a week is the same whenever it is made, and another with another seed.
func TestSameSeed(t *testing.T) {
	c, again, other := Drill(), Drill(), Drill()
	other.Seed++
	lines := func(c Config) (out []string) {
		for _, r := range c.Week(3).Records {
			raw, err := events.FormatObservation(&r.Observation)
			if err != nil {
				t.Fatal(err)
			}
			out = append(out, string(raw))
		}
		return out
	}
	again.Week(2)
	if !reflect.DeepEqual(lines(c), lines(again)) {
		t.Error("the same week is another one")
	}
	if reflect.DeepEqual(lines(c), lines(other)) {
		t.Error("another seed makes the same week")
	}
}

// TestPhysics: a sheet lies in one place, where its move says, and a tray has
// one sheet at most and one label.
func TestPhysics(t *testing.T) {
	c := Drill()
	for n := range 6 {
		w := c.Week(n)
		moved := 0
		for _, s := range w.Sheets {
			for i, m := range s.Moves {
				if m.To != nil && m.To.At(m.At) != m.Place && s.Of.At(m.At) != m.Place {
					t.Errorf("week %d: a sheet came to %s at %s, which was at %s", n, m.To.Set, m.Place, m.To.At(m.At))
				}
				if i > 0 && m.At.Before(s.Moves[i-1].At) {
					t.Errorf("week %d: the moves of a sheet run backwards", n)
				}
				moved += min(i, 1)
			}
		}
		if moved == 0 {
			t.Errorf("week %d: nothing was moved", n)
		}
		for _, r := range w.Records {
			l := r.Look
			if l == nil {
				continue
			}
			if on := w.On(l.Tray, l.At); on != l.Sheet {
				t.Errorf("week %d: at %s %s has another sheet than was looked at", n, l.At, l.Tray.Set)
			}
			if l.Tray.At(l.At) != l.Place {
				t.Errorf("week %d: %s was looked at in %s and is in %s", n, l.Tray.Set, l.Place, l.Tray.At(l.At))
			}
		}
	}
}
