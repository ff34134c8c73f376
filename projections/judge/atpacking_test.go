package judge

import (
	"strings"
	"testing"
	"time"

	"listbound/events"
	"listbound/projections"
)

// TestExchangedAtPacking: what two first counts have the other way round is named as exchanged where both sets were packed
// beside each other, of whatever cases, and not where something else explains it.
func TestExchangedAtPacking(t *testing.T) {
	const there = "probably exchanged there"
	for _, test := range []struct {
		name    string
		apart   time.Duration // B is packed so long after A
		bench   string        // where B is packed
		off     [2]int64      // of line 1, in A and B
		line    int           // of B
		report  events.Became // what is reported of the piece of A before it is opened
		another time.Duration // a set C with one too many is packed so long after A, and the list
		named   string        // with whom A was exchanged, "": nobody
	}{
		{"one after the other", 9 * time.Minute, "packing-1", [2]int64{-1, 1}, 0, "", 0, "B"},
		{"the piece is over in A", 9 * time.Minute, "packing-1", [2]int64{1, -1}, 0, "", 0, "B"},
		{"at the ends of two hours", 2 * time.Hour, "packing-1", [2]int64{-1, 1}, 0, "", 0, "B"},
		{"later than that", 2*time.Hour + time.Minute, "packing-1", [2]int64{-1, 1}, 0, "", 0, ""},
		{"at another bench", 9 * time.Minute, "packing-2", [2]int64{-1, 1}, 0, "", 0, ""},
		{"another piece", 9 * time.Minute, "packing-1", [2]int64{-1, 1}, 1, "", 0, ""},
		{"both short", 9 * time.Minute, "packing-1", [2]int64{-1, -1}, 0, "", 0, ""},
		{"the piece was sent to repair", 9 * time.Minute, "packing-1", [2]int64{-1, 1}, 0, events.BecameRepair, 0, ""},
		{"the piece was missed before", 9 * time.Minute, "packing-1", [2]int64{-1, 1}, 0, events.BecameLost, 0, ""},
		{"a set that was packed nearer has one, too", 20 * time.Minute, "packing-1", [2]int64{-1, 1}, 0, "", 9 * time.Minute, "C"},
		{"one that was packed further away has one, too", 9 * time.Minute, "packing-1", [2]int64{-1, 1}, 0, "", time.Hour, "B"},
	} {
		t.Run(test.name, func(t *testing.T) {
			s := newStory()
			l := s.list("LAP-MAJOR", 1, 6, 3, 4)
			turns := []*turn{newTurn("A", 0, l), newTurn("B", 0, l)}
			benches, after := []string{"packing-1", test.bench}, []time.Duration{0, test.apart}
			turns[0].first.Counts[0].Counted += test.off[0]
			turns[1].first.Counts[test.line].Counted += test.off[1]
			if test.another > 0 {
				c := newTurn("C", 0, l)
				c.first.Counts[0].Counted++
				turns, benches, after = append(turns, c), append(benches, "packing-1"), append(after, test.another)
			}
			for i, x := range turns {
				x.final.Counts = x.first.Counts
				s.tell(benches[i], x.packedAt().Add(after[i]), x.set, x.trip(), x.pack)
				x.pack = nil
				s.live(x)
			}
			if test.report != "" {
				s.tell("storage", turns[0].checkedAt(), "A", turns[0].trip(),
					&events.PieceReported{Line: 1, Item: "ITEM-1", Quantity: 1, Became: test.report})
			}
			w := s.world()
			for _, x := range turns {
				v := judge(t, w, x.key())
				checkVerdict(t, v)
				fs := find(v, projections.CountDiffersAtOpen)
				if len(fs) != 1 {
					t.Fatalf("%s: %s", x.set, show(v))
				}
				with := map[string]string{"A": test.named, test.named: "A"}[x.set]
				if said := strings.Contains(fs[0].Says, there); said != (with != "") || said &&
					!strings.Contains(fs[0].Says, "It and "+with+" were packed at north/packing-1") {
					t.Errorf("%s says %q; it was exchanged with %q", x.set, fs[0].Says, with)
				}
				// The set that only has what another lacks is noted, and told under that one.
				noted := with != "" && x.first.Counts[0].Counted > 6
				if (fs[0].Severity == projections.SeverityNoted) != noted {
					t.Errorf("%s is %s: %q", x.set, fs[0].Severity, fs[0].Says)
				}
			}
		})
	}
}

// TestExchangedInTheCase: the sets of the case come first, and that both were packed beside each other is said.
func TestExchangedInTheCase(t *testing.T) {
	s := newStory()
	l := s.list("LAP-MAJOR", 1, 6, 3, 4)
	a, b, c := newTurn("A", 0, l).forCase("K-0412"), newTurn("B", 0, l).forCase("K-0412"), newTurn("C", 0, l)
	a.first.Counts[0].Counted--
	b.first.Counts[0].Counted++
	c.first.Counts[0].Counted++
	for i, x := range []*turn{a, c, b} { // C is nearer
		x.final.Counts = x.first.Counts
		s.tell("packing-1", x.packedAt().Add(time.Duration(i)*10*time.Minute), x.set, x.trip(), x.pack)
		x.pack = nil
		s.live(x)
	}
	w := s.world()
	for _, test := range []struct{ set, says string }{
		{"A", "1 more than expected in B. It and B were packed at north/packing-1 with 1 set in between " +
			"(2026-03-02 06:11 UTC and 2026-03-02 06:31 UTC): probably exchanged there."},
		{"B", "It is listed under A."},
	} {
		v := judge(t, w, key(test.set, 0))
		checkVerdict(t, v)
		if fs := find(v, projections.CountDiffersAtOpen); len(fs) != 1 || !strings.Contains(fs[0].Says, test.says) ||
			strings.Contains(fs[0].Says, " C") {
			t.Errorf("%s: %s", test.set, show(v))
		}
	}
	v := judge(t, w, c.key())
	if fs := find(v, projections.CountDiffersAtOpen); len(fs) != 1 || strings.Contains(fs[0].Says, "exchanged") {
		t.Errorf("C: %s", show(v))
	}
}

// TestExchangedUnread: where no tag was read it may be another set's tray that was counted, so that an exchange at packing is
// named only where nothing else differs in either set.
func TestExchangedUnread(t *testing.T) {
	for _, test := range []struct {
		name  string
		off   [2][2]int64 // of lines 1 and 2, in A and B
		read  [2]bool     // whether the tag on the tray was read
		named bool
	}{
		{"nothing else differs", [2][2]int64{{-1, 0}, {1, 0}}, [2]bool{}, true},
		{"more in A", [2][2]int64{{-1, -1}, {1, 0}}, [2]bool{}, false},
		{"more in B", [2][2]int64{{-1, 0}, {1, 1}}, [2]bool{}, false},
		{"more of the same in A", [2][2]int64{{-2, 0}, {1, 0}}, [2]bool{}, false},
		{"more of the same in B", [2][2]int64{{-1, 0}, {2, 0}}, [2]bool{}, false},
		{"one tag was read, and nothing else differs", [2][2]int64{{-1, 0}, {1, 0}}, [2]bool{true, false}, true},
		{"one tag was read", [2][2]int64{{-1, -1}, {1, 0}}, [2]bool{true, false}, false},
		{"the other tag was read", [2][2]int64{{-1, -1}, {1, 0}}, [2]bool{false, true}, false},
		{"both tags were read", [2][2]int64{{-1, -1}, {1, 0}}, [2]bool{true, true}, true},
	} {
		s := newStory()
		l := s.list("LAP-MAJOR", 1, 6, 3, 4)
		turns := []*turn{newTurn("A", 0, l), newTurn("B", 0, l)}
		for i, x := range turns {
			for k, n := range test.off[i] {
				x.first.Counts[k].Counted += n
			}
			x.final.Counts = x.first.Counts
			if !test.read[i] {
				x.open.Tag = ""
			}
			s.tell("packing-1", x.packedAt().Add(time.Duration(i)*9*time.Minute), x.set, x.trip(), x.pack)
			x.pack = nil
			s.live(x)
		}
		w := s.world()
		for _, x := range turns {
			v := judge(t, w, x.key())
			if got := strings.Contains(show(v), "probably exchanged there"); got != test.named {
				t.Errorf("%s: of %s an exchange is named %t: %s", test.name, x.set, got, show(v))
			}
		}
	}
}

// TestExchangedTwice: a set that lay beside two others and has a piece of each is told of both, in the order of their names
// and not of its lines; a set that was packed again meanwhile lay there when it was packed last.
func TestExchangedTwice(t *testing.T) {
	s := newStory()
	l := s.list("LAP-MAJOR", 1, 6, 3, 4)
	turns := []*turn{newTurn("A", 0, l), newTurn("B", 0, l), newTurn("C", 0, l)}
	a, b, c := turns[0], turns[1], turns[2]
	a.first.Counts[0].Counted--
	c.first.Counts[0].Counted++
	a.first.Counts[1].Counted--
	b.first.Counts[1].Counted++
	s.tell("packing-1", b.packedAt().Add(5*time.Minute), b.set, b.trip(), b.pack)
	for i, x := range turns {
		x.final.Counts = x.first.Counts
		s.tell("packing-1", x.packedAt().Add(time.Duration(i)*10*time.Minute), x.set, x.trip(), x.pack)
		x.pack = nil
		s.live(x)
	}
	w := s.world()
	for name, w := range map[string]*World{"as it is": w, "without any correction": {Book: w.Without(nil)}} {
		fs := find(judge(t, w, a.key()), projections.CountDiffersAtOpen)
		if len(fs) != 1 {
			t.Fatalf("%s: %+v", name, fs)
		}
		d := fs[0].Detail.(*projections.FirstDiffers)
		var got []string
		for _, x := range d.Exchanged {
			got = append(got, x.Set+" "+x.Beside.OtherPacked.Format("15:04"))
		}
		if want := "B 06:21, C 06:31"; strings.Join(got, ", ") != want {
			t.Errorf("%s: exchanged with %q, want %q", name, got, want)
		}
	}
}

// TestBesideSaidOnce: two sets of a case that have two items the other way round were packed beside each other once.
func TestBesideSaidOnce(t *testing.T) {
	s := newStory()
	l := s.list("LAP-MAJOR", 1, 6, 3, 4)
	a, b := newTurn("A", 0, l), newTurn("B", 0, l).forCase("K-A-0")
	for i := range 2 {
		a.first.Counts[i].Counted--
		b.first.Counts[i].Counted++
	}
	for _, x := range []*turn{b, a} {
		x.final.Counts = x.first.Counts
		s.live(x)
	}
	v := judge(t, s.world(), a.key())
	fs := find(v, projections.CountDiffersAtOpen)
	if len(fs) != 1 {
		t.Fatal(show(v))
	}
	if d := fs[0].Detail.(*projections.FirstDiffers); len(d.Moves) != 2 || len(d.Beside) != 1 || d.Beside[0].Set != "B" {
		t.Errorf("%d moves, beside %+v", len(d.Moves), d.Beside)
	}
}
