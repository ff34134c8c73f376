package judge

import (
	"slices"
	"strings"
	"testing"
	"time"

	"listbound/events"
	"listbound/projections"
)

// team tells sets that are packed, sealed and sterilized together, and carry
// each other's sheets: carries[i] is whose sheet set i was found with when it
// was opened, "" where it has not been opened yet.
func team(s *story, sets []string, carries []string) []*turn {
	var turns []*turn
	for i, set := range sets {
		l := s.list("LIST-"+set, 1, 6, 2, int64(4+i))
		x := newTurn(set, 0, l)
		x.check = nil
		turns = append(turns, x)
	}
	for i, x := range turns {
		if carries[i] == "" {
			x.open, x.first, x.final, x.closed = nil, nil, nil, nil
		} else {
			x.open.Sheet.Code = own(turns[slices.Index(sets, carries[i])])
		}
		s.live(x)
	}
	return turns
}

func TestRings(t *testing.T) {
	for _, test := range []struct {
		name    string
		sets    []string
		carries []string
		rings   map[string]string // words that the finding of a set must have
		doubt   map[string]string // a set in doubt, and whose sheet it probably carries
	}{
		{"two sets", []string{"A", "B"}, []string{"B", "A"},
			map[string]string{"A": "The count sheets of 2 sets have changed places: A has the count sheet of B, " +
				"B has the count sheet of A.", "B": "B has the count sheet of A, A has the count sheet of B."}, nil},
		{"three sets", []string{"A", "B", "C"}, []string{"B", "C", "A"},
			map[string]string{"A": "A has the count sheet of B, B has the count sheet of C, C has the count " +
				"sheet of A.", "B": "B has the count sheet of C, C has the count sheet of A, A has the count " +
				"sheet of B.", "C": "The count sheets of 3 sets"}, nil},
		{"one read, the other waiting", []string{"A", "B"}, []string{"B", ""}, nil, map[string]string{"B": "A"}},
		{"a path of three", []string{"A", "B", "C"}, []string{"B", "C", ""}, nil, map[string]string{"C": "A"}},
		{"one-sided: the other was read right", []string{"A", "B"}, []string{"B", "B"}, nil, nil},
		{"nothing wrong", []string{"A", "B"}, []string{"A", "B"}, nil, nil},
	} {
		t.Run(test.name, func(t *testing.T) {
			s := newStory()
			turns := team(s, test.sets, test.carries)
			w := s.world()
			for i, x := range turns {
				v := judge(t, w, x.key())
				checkVerdict(t, v)
				swapped := find(v, projections.SheetSwapped)
				if wrong := test.carries[i] != "" && test.carries[i] != x.set; wrong != (len(swapped) == 1) {
					t.Fatalf("%s: %s", x.set, show(v))
				}
				if len(swapped) == 1 {
					if o := swapped[0].Other; o == nil || o.Set != test.carries[i] || o.Trip != tripOf(test.carries[i], 0) {
						t.Errorf("%s: other is %v", x.set, o)
					}
					words, says := test.rings[x.set], swapped[0].Says
					if !strings.Contains(says, words) || words == "" && strings.Contains(says, "changed places") {
						t.Errorf("%s says %q", x.set, says)
					}
				}
				doubt := find(v, projections.SheetInDoubt)
				if who := test.doubt[x.set]; (who != "") != (len(doubt) == 1) {
					t.Errorf("%s: %s", x.set, show(v))
				} else if who != "" {
					if doubt[0].Other.Set != who || !strings.Contains(doubt[0].Says,
						"probably carries the count sheet of "+who) || doubt[0].Severity != projections.SeverityBroken || v.Opened {
						t.Errorf("%s: %s", x.set, show(v))
					}
				}
			}
		})
	}
}

// TestDoubtEnds: a good reading of the set ends the doubt. One of the other set leaves
// it doubtful: its sheet may have been given back as well, and nobody has read it.
// Opening the set unread ends nothing, nor does taking its sheet off the other.
func TestDoubtEnds(t *testing.T) {
	for _, test := range []struct {
		name  string
		doubt projections.Severity // "" for none
		then  func(s *story, a, b *turn)
	}{
		{"nothing more", projections.SeverityBroken, func(s *story, a, b *turn) {}},
		{"B read with its own", "", func(s *story, a, b *turn) {
			s.tell("cart", clock(1, 12, 0), b.set, b.trip(), &events.SetChecked{Sheet: &events.Reading{Found: "outside", Code: own(b)}})
		}},
		{"A read with its own", projections.SeverityDoubtful, func(s *story, a, b *turn) {
			s.tell("cart", clock(1, 12, 0), a.set, a.trip(), &events.SetChecked{Sheet: &events.Reading{Found: "outside", Code: own(a)}})
		}},
		{"A read with its own, then B counted by its own", "", func(s *story, a, b *turn) {
			look(s, clock(1, 12, 0), a, outside(own(a)))
			s.tell("or-4", clock(1, 13, 0), b.set, b.trip(), &events.SetOpened{Case: "K-9"})
			s.tell("or-4", clock(1, 13, 5), b.set, b.trip(), &events.SetCounted{
				Case: "K-9", Stage: events.StageFirst, Sheet: own(b), Counter: "B-3310", Witness: "B-3322",
			})
		}},
		{"B with its own under A's name before, and A read with its own since", projections.SeverityDoubtful, func(s *story, a, b *turn) {
			s.tell("cart", clock(0, 12, 0), a.set, a.trip(), &events.SetChecked{Tag: b.set, OuterLabel: a.set, Sheet: outside(own(b))})
			look(s, clock(1, 12, 0), a, outside(own(a)))
		}},
		{"A found without a sheet", projections.SeverityBroken, func(s *story, a, b *turn) { look(s, clock(1, 12, 0), a, none()) }},
		{"A found without a sheet, then with its own", projections.SeverityDoubtful, func(s *story, a, b *turn) {
			look(s, clock(1, 12, 0), a, none())
			look(s, clock(1, 13, 0), a, outside(own(a)))
		}},
		{"A found without a sheet, then B without", "", func(s *story, a, b *turn) {
			look(s, clock(1, 12, 0), a, none())
			look(s, clock(1, 13, 0), b, none())
		}},
		{"A read with the sheet of a third", projections.SeverityBroken, func(s *story, a, b *turn) {
			c := newTurn("C", 0, s.list("LIST-C", 1, 6, 2))
			c.open, c.first, c.final, c.closed = nil, nil, nil, nil
			s.live(c)
			look(s, clock(1, 12, 0), a, outside(own(c)))
		}},
		{"B read with its own under A's name", "", func(s *story, a, b *turn) {
			s.tell("cart", clock(1, 12, 0), a.set, a.trip(), &events.SetChecked{Tag: b.set, OuterLabel: a.set, Sheet: outside(own(b))})
		}},
		{"B had no sheet before", "", func(s *story, a, b *turn) { look(s, clock(0, 12, 0), b, none()) }},
		{"B had other content before", "", func(s *story, a, b *turn) {
			look(s, clock(0, 12, 0), b, outside(sheetCode(a.list, b.set, b.trip())))
		}},
		{"B's code was damaged before", projections.SeverityBroken, func(s *story, a, b *turn) {
			look(s, clock(0, 12, 0), b, &events.Reading{Found: "outside", Unreadable: true})
		}},
		{"B found without a sheet", "", func(s *story, a, b *turn) {
			s.tell("cart", clock(1, 12, 0), b.set, b.trip(), &events.SetChecked{Sheet: &events.Reading{Found: "none"}})
		}},
		{"B's own code read before, and nothing known that it could be held against", projections.SeverityBroken, func(s *story, a, b *turn) {
			look(s, clock(0, 12, 0), b, outside(own(b)))
			s.correct(s.last(events.KindListSealed), clock(1, 12, 0),
				&events.ListSealed{Placement: b.seal.Placement, List: "LIST-Z", Version: 1})
		}},
		{"B's code damaged", projections.SeverityBroken, func(s *story, a, b *turn) {
			s.tell("cart", clock(1, 12, 0), b.set, b.trip(), &events.SetChecked{Sheet: &events.Reading{Found: "outside", Unreadable: true}})
		}},
		{"B read with its own before A was", projections.SeverityBroken, func(s *story, a, b *turn) {
			s.tell("cart", clock(0, 12, 0), b.set, b.trip(), &events.SetChecked{Sheet: &events.Reading{Found: "outside", Code: own(b)}})
		}},
		{"B opened unread", projections.SeverityBroken, func(s *story, a, b *turn) {
			s.tell("or-4", clock(1, 12, 0), b.set, b.trip(), &events.SetOpened{Case: "K-9"})
		}},
		{"B packed again", "", func(s *story, a, b *turn) {
			s.tell("packing-1", clock(1, 12, 0), b.set, tripOf(b.set, 1), b.pack)
		}},
		{"B has no paper", "", func(s *story, a, b *turn) {
			seal := *b.seal
			seal.Placement = events.Screen
			s.correct(s.last(events.KindListSealed), clock(1, 12, 0), &seal)
		}},
	} {
		t.Run(test.name, func(t *testing.T) {
			s := newStory()
			turns := team(s, []string{"A", "B"}, []string{"B", ""})
			test.then(s, turns[0], turns[1])
			v := judge(t, s.world(), turns[1].key())
			checkVerdict(t, v)
			var got projections.Severity
			for _, f := range find(v, projections.SheetInDoubt) {
				got += f.Severity
			}
			if got != test.doubt {
				t.Errorf("in doubt %q, want %q: %s", got, test.doubt, show(v))
			}
		})
	}
}

// look tells a look at a set's sheet.
func look(s *story, at time.Time, x *turn, r *events.Reading) {
	s.tell("cart", at, x.set, x.trip(), &events.SetChecked{Sheet: r})
}

func outside(code string) *events.Reading { return &events.Reading{Found: "outside", Code: code} }

func none() *events.Reading { return &events.Reading{Found: "none"} }

// TestDoubtSays: whose sheet the set has is said where it is known, and lines
// are compared with that sheet's list.
func TestDoubtSays(t *testing.T) {
	for _, test := range []struct {
		name  string
		tell  func(s *story, a, b, c *turn)
		of    string // the set in doubt
		other string
		lines []int64
		says  []string // in English, in German
		not   []string
	}{
		{"a path of three: A's list is compared", func(s *story, a, b, c *turn) {
			look(s, clock(0, 12, 0), a, outside(own(b)))
			look(s, clock(0, 13, 0), b, outside(own(c)))
		}, "C", "A", []int64{2},
			[]string{"probably carries the count sheet of A now, or none, or a third set's. The lists differ in line 2 (",
				"wahrscheinlich die Zählliste von A oder keine oder die eines dritten Siebs. Die Zähllisten " +
					"unterscheiden sich in Zeile 2 ("}, nil},
		{"the sheet was taken off again", func(s *story, a, b, c *turn) {
			look(s, clock(0, 12, 0), a, outside(own(b)))
			look(s, clock(0, 13, 0), a, none())
		}, "B", "A", nil,
			[]string{"When A was read again, at north/cart on 2026-03-02 13:00 UTC, that count sheet was no " +
				"longer there. B probably carries a wrong count sheet now, or none.",
				"Als A wieder gelesen wurde (north/cart, 02.03.2026 13:00 UTC), war diese Zählliste nicht mehr " +
					"dort. B hat jetzt wahrscheinlich eine falsche Zählliste oder keine."}, []string{"The lists " +
				"differ", "the count sheet of A"}},
		{"a third one's in its place", func(s *story, a, b, c *turn) {
			look(s, clock(0, 12, 0), a, outside(own(b)))
			look(s, clock(0, 13, 0), a, outside(own(c)))
		}, "B", "A", nil, []string{"that count sheet was no longer there"}, []string{"The lists differ"}},
		{"and the third one: A's own can be with either", func(s *story, a, b, c *turn) {
			look(s, clock(0, 12, 0), a, outside(own(b)))
			look(s, clock(0, 13, 0), a, outside(own(c)))
		}, "C", "A", nil, []string{"C has not been read since. It probably carries a wrong count sheet now, or none."},
			[]string{"The lists differ", "probably carries the count sheet of"}},
		{"what was with A first has its own back", func(s *story, a, b, c *turn) {
			look(s, clock(0, 12, 0), a, outside(own(b)))
			look(s, clock(0, 13, 0), a, outside(own(c)))
			look(s, clock(0, 14, 0), b, outside(own(b)))
		}, "C", "A", []int64{2}, []string{"It probably carries the count sheet of A now, or none, or a third set's."}, nil},
		{"the middle of a path no longer known", func(s *story, a, b, c *turn) {
			look(s, clock(0, 12, 0), a, outside(own(b)))
			look(s, clock(0, 13, 0), b, outside(own(c)))
			look(s, clock(0, 14, 0), a, none())
		}, "C", "B", nil, []string{"It probably carries a wrong count sheet now, or none."}, []string{"The lists differ"}},
	} {
		t.Run(test.name, func(t *testing.T) {
			s := newStory()
			turns := make([]*turn, 3)
			for i, l := range []*events.ListIssued{s.list("LIST-A", 1, 6, 2, 4), s.list("LIST-B", 1, 5, 3, 4),
				s.list("LIST-C", 1, 6, 3, 4)} {
				x := newTurn(string(rune('A'+i)), 0, l)
				x.check, x.open, x.first, x.final, x.closed = nil, nil, nil, nil, nil
				turns[i] = x
				s.live(x)
			}
			test.tell(s, turns[0], turns[1], turns[2])
			v := judge(t, s.world(), turns[test.of[0]-'A'].key())
			checkVerdict(t, v)
			fs := find(v, projections.SheetInDoubt)
			if len(fs) != 1 {
				t.Fatal(show(v))
			}
			f := fs[0]
			if f.Severity != projections.SeverityBroken || f.Other.Set != test.other || !slices.Equal(f.Lines, test.lines) {
				t.Errorf("%+v", f)
			}
			for i, want := range test.says {
				if got := in([]string{"en", "de"}[i], fs[0]).Says; !strings.Contains(got, want) {
					t.Errorf("says %q, not %q", got, want)
				}
			}
			for _, bad := range test.not {
				if strings.Contains(f.Says, bad) {
					t.Errorf("says %q", f.Says)
				}
			}
		})
	}
}

// TestDoubtByCount: a count made by another set's sheet shows where that sheet
// was, as a reading does.
func TestDoubtByCount(t *testing.T) {
	for _, test := range []struct {
		name  string
		doubt bool
		tell  func(s *story, a, b *turn)
	}{
		{"B waiting", true, func(s *story, a, b *turn) {}},
		{"B read with its own since", false, func(s *story, a, b *turn) { look(s, clock(1, 12, 0), b, outside(own(b))) }},
		{"B counted by its own since", false, func(s *story, a, b *turn) {
			s.tell("or-4", clock(1, 12, 0), b.set, b.trip(), &events.SetOpened{Case: "K-9"})
			s.tell("or-4", clock(1, 12, 5), b.set, b.trip(), &events.SetCounted{Case: "K-9",
				Stage: events.StageFirst, Sheet: own(b), Counter: "B-3310", Witness: "B-3322", Counts: countAll(b.list)})
		}},
		{"A counted again by its own", false, func(s *story, a, b *turn) {
			again := *a.first
			again.Sheet = own(a)
			s.tell("or-3", clock(1, 7, 30), a.set, a.trip(), &again)
		}},
		{"it was B's tray, under A's name", false, func(s *story, a, b *turn) {
			s.last(events.KindSetOpened).Event.Data.(*events.SetOpened).Tag = b.set
		}},
		{"the count taken back", false, func(s *story, a, b *turn) {
			for i := range s.all {
				if c, ok := s.all[i].Event.Data.(*events.SetCounted); ok && c.Sheet == own(b) {
					f := s.all[i]
					s.correct(&f, clock(2, 0, 0), nil)
					return
				}
			}
		}},
	} {
		s := newStory()
		a, b := newTurn("A", 0, s.list("LIST-A", 1, 6, 2)), newTurn("B", 0, s.list("LIST-B", 1, 6, 3))
		a.check, b.check, b.open, b.first, b.final, b.closed = nil, nil, nil, nil, nil, nil
		a.first.Sheet, a.open.Tag = own(b), ""
		s.live(b)
		s.live(a)
		test.tell(s, a, b)
		v := judge(t, s.world(), b.key())
		checkVerdict(t, v)
		fs := find(v, projections.SheetInDoubt)
		if (len(fs) == 1) != test.doubt {
			t.Errorf("%s: %s", test.name, show(v))
		}
		if test.name == "B waiting" && (fs[0].Other.Set != "A" || !strings.HasPrefix(fs[0].Says,
			"A was counted by the count sheet of B, at north/or-3 on 2026-03-03 07:20 UTC, and B has not been "+
				"read since. It probably carries a wrong count sheet now, or none.") ||
			!strings.HasPrefix(in("de", fs[0]).Says,
				"A wurde nach der Zählliste von B gezählt (north/or-3, 03.03.2026 07:20 UTC), und B wurde seither nicht gelesen.")) {
			t.Errorf("says %q", fs[0].Says)
		}
	}
}

// TestDoubtAboveOver: a set in doubt, which can still be prevented, stands above
// what is over, however much was wrong with that.
func TestDoubtAboveOver(t *testing.T) {
	s := newStory()
	turns := team(s, []string{"A", "B", "C"}, []string{"", "", ""})
	a, b, c := turns[0], turns[1], turns[2]
	s.tell("storage", clock(0, 12, 0), c.set, c.trip(), &events.SetChecked{SealBroken: true,
		Sheet: outside(sheetCode(a.list, c.set, c.trip()))})
	s.tell("packing-1", clock(0, 13, 0), c.set, tripOf(c.set, 1), c.pack)
	look(s, clock(0, 14, 0), a, outside(own(b)))
	look(s, clock(0, 14, 0), b, &events.Reading{Found: "outside", Unreadable: true})
	w := s.world()
	var vs []projections.Verdict
	for _, k := range w.Trips() {
		vs = append(vs, judge(t, w, k))
	}
	projections.Sort(vs)
	var got []string
	for _, v := range vs {
		got = append(got, v.Set+"/"+string(v.Status))
	}
	if want := []string{"B/broken", "A/broken", "C/broken", "C/open"}; !slices.Equal(got, want) || !vs[2].Over {
		t.Errorf("%q, want %q", got, want)
	}
}

// TestWindow narrows when and where two sheets can have been exchanged: by
// readings, and by what was seen of both sets; where no move went unscanned, by
// where they were.
func TestWindow(t *testing.T) {
	at := func(hour, minute int) time.Time { return clock(0, hour, minute) }
	check := func(s *story, x *turn, hour, minute int, place string, r *events.Reading) {
		s.tell("storage", at(hour, minute), x.set, x.trip(), &events.SetChecked{Place: place, Sheet: r})
	}
	load := "last seen together at load S2-00-04, 2026-03-02 08:02 UTC"
	for _, test := range []struct {
		name     string
		tell     func(s *story, a, b *turn)
		from, to time.Time
		places   []string
		seen     string
		scanned  string // between which hours, and where; "" where the two were never at one place
	}{
		{"nothing in between: packed at one table, then one load", func(s *story, a, b *turn) {
			s.live(a)
			s.live(b)
		}, at(6, 14), a1(7, 12), nil, load, "06:14 07:12 load S2-00-04, north/packing-1"},
		{"both read right in storage, then side by side there", func(s *story, a, b *turn) {
			check(s, a, 12, 0, "storage A4", outside(own(a)))
			check(s, b, 12, 0, "Storage a4", outside(own(b)))
			s.live(a)
			s.live(b)
			s.tell("cart", at(15, 0), b.set, b.trip(), &events.SetChecked{})
		}, at(12, 0), a1(7, 12), nil, "last seen together at storage A4, 2026-03-02 12:00 UTC", "12:00 15:00 storage A4"},
		{"one put on a shelf beside the other that nobody scanned there", func(s *story, a, b *turn) {
			check(s, a, 9, 0, "storage A4", nil)
			s.live(a)
			s.live(b)
		}, at(6, 14), a1(7, 12), nil, load, "06:14 09:00 load S2-00-04, north/packing-1"},
		{"seen on one shelf at different times", func(s *story, a, b *turn) {
			check(s, a, 9, 0, "storage A4", nil)
			check(s, b, 16, 0, "storage A4", nil)
			s.live(a)
			s.live(b)
		}, at(6, 14), a1(7, 12), nil,
			"The last place where both were seen is storage A4: A on 2026-03-02 09:00 UTC, B on 2026-03-02 16:00 UTC.",
			"06:14 07:12 load S2-00-04, north/packing-1, storage A4"},
		{"both on one shelf, before and after", func(s *story, a, b *turn) {
			for _, x := range []*turn{a, b} {
				check(s, x, 9, 0, "storage A4", outside(own(x)))
				check(s, x, 16, 0, "storage A4", nil)
			}
			check(s, a, 15, 0, "storage A4", outside(own(b)))
			s.live(a)
			s.live(b)
		}, at(9, 0), at(15, 0), []string{"storage A4"}, "last seen together at storage A4, 2026-03-02 15:00 UTC", ""},
		{"seen twice on different shelves at the end, each with the other's sheet", func(s *story, a, b *turn) {
			check(s, a, 9, 0, "storage A4", nil)
			check(s, b, 10, 0, "storage B1", nil)
			check(s, b, 18, 0, "storage B1", outside(own(a)))
			check(s, a, 17, 0, "storage A4", outside(own(b)))
			s.live(a)
			s.live(b)
		}, at(6, 14), at(10, 0), nil, load, "06:14 09:00 load S2-00-04, north/packing-1"},
		{"seen twice on different shelves, and the other's sheet was not looked at: a third set may have " +
			"carried it", func(s *story, a, b *turn) {
			check(s, a, 9, 0, "storage A4", nil)
			check(s, b, 10, 0, "storage B1", nil)
			check(s, b, 18, 0, "storage B1", nil)
			check(s, a, 17, 0, "storage A4", outside(own(b)))
			s.live(a)
			s.live(b)
		}, at(6, 14), at(17, 0), nil, load, "06:14 09:00 load S2-00-04, north/packing-1"},
		{"the same, and a tray under the other's name was by its tag the set itself", func(s *story, a, b *turn) {
			check(s, a, 9, 0, "storage A4", nil)
			check(s, b, 10, 0, "storage B1", nil)
			check(s, b, 18, 0, "storage B1", nil)
			check(s, a, 17, 0, "storage A4", outside(own(b)))
			s.live(a)
			s.live(b)
			s.tell("cart", at(18, 30), b.set, b.trip(), &events.SetChecked{Tag: a.set, Sheet: outside(own(a))})
		}, at(6, 14), at(17, 0), nil, load, "06:14 09:00 load S2-00-04, north/packing-1"},
		{"apart all the time", func(s *story, a, b *turn) {
			b.run.Load = "S2-00-05"
			s.live(a)
			b.pack, b.seal = nil, nil
			s.live(b)
			s.tell("packing-9", at(6, 11), b.set, b.trip(), &events.SetPacked{List: b.list.List, Version: 1})
			s.tell("packing-9", at(6, 20), b.set, b.trip(), sealed(b.list, b.set, b.trip()))
		}, at(6, 20), a1(7, 12), nil, "No place is recorded where both were seen.", ""},
		{"the other was found without its sheet earlier", func(s *story, a, b *turn) {
			s.live(a)
			b.check = &events.SetChecked{Place: "storage B1", Sheet: none()}
			s.live(b)
		}, at(6, 14), at(12, 0), nil, load, "06:14 12:00 load S2-00-04, north/packing-1"},
		{"the other was found with this one's earlier", func(s *story, a, b *turn) {
			s.live(a)
			b.check = &events.SetChecked{Place: "storage B1", Sheet: outside(own(a))}
			s.live(b)
		}, at(6, 14), at(12, 0), nil, load, "06:14 12:00 load S2-00-04, north/packing-1"},
		{"the other was found with a third one's, which may have come before or after", func(s *story, a, b *turn) {
			c := newTurn("C", 0, b.list)
			s.live(a)
			b.check = &events.SetChecked{Place: "storage B1", Sheet: outside(own(c))}
			s.live(b)
			s.live(c)
		}, at(6, 14), a1(7, 12), nil, load, "06:14 12:00 load S2-00-04, north/packing-1"},
		{"the sheet was with a third one before", func(s *story, a, b *turn) {
			c := newTurn("C", 0, b.list)
			s.live(a)
			s.live(b)
			c.check = &events.SetChecked{Place: "storage B1", Sheet: outside(own(b))}
			s.live(c)
		}, at(12, 0), a1(7, 12), nil, load, "12:00 07:12 load S2-00-04"},
		{"the sheet was with a third one before, and the other found without any since", func(s *story, a, b *turn) {
			c := newTurn("C", 0, b.list)
			check(s, c, 9, 0, "storage B1", outside(own(b)))
			check(s, b, 10, 0, "storage A4", none())
			s.live(a)
			s.live(b)
			s.live(c)
		}, at(9, 0), a1(7, 12), nil, load, "09:00 10:00 load S2-00-04"},
		{"the other was found without its sheet, and this one without any later", func(s *story, a, b *turn) {
			check(s, b, 9, 0, "storage A4", none())
			check(s, a, 10, 0, "storage A4", none())
			s.live(a)
			s.live(b)
		}, at(10, 0), a1(7, 12), nil,
			"The last place where both were seen is storage A4: A on 2026-03-02 10:00 UTC, B on 2026-03-02 09:00 UTC.",
			"10:00 07:12 storage A4"},
		{"and after that the two lay side by side", func(s *story, a, b *turn) {
			s.live(a)
			check(s, a, 11, 0, "storage A4", nil)
			b.check = &events.SetChecked{Place: "storage A4", Sheet: none()}
			s.live(b)
		}, at(6, 14), at(12, 0), nil,
			"The last place where both were seen is storage A4: A on 2026-03-02 11:00 UTC, B on 2026-03-02 12:00 UTC.",
			"06:14 11:00 load S2-00-04, north/packing-1"},
		{"label and sheet on the wrong tray: a good reading of both proved nothing", func(s *story, a, b *turn) {
			check(s, a, 12, 0, "storage A4", outside(own(a)))
			a.open.Tag, a.open.OuterLabel = a.set, b.set
			s.live(a)
			s.live(b)
		}, at(6, 14), a1(7, 12), nil, load, "06:14 12:00 load S2-00-04, north/packing-1"},
	} {
		t.Run(test.name, func(t *testing.T) {
			s := newStory()
			a, b := newTurn("A", 0, s.list("LIST-A", 1, 6, 2, 4)), newTurn("B", 0, s.list("LIST-B", 1, 6, 2, 5))
			a.check, b.check = nil, nil
			a.open.Sheet.Code = own(b)
			b.open, b.first, b.final, b.closed = nil, nil, nil, nil
			test.tell(s, a, b)
			v := judge(t, s.world(), a.key())
			fs := find(v, projections.SheetSwapped)
			if len(fs) != 1 {
				t.Fatal(show(v))
			}
			f := fs[0]
			if !f.From.Equal(test.from) || !f.To.Equal(test.to) || !slices.Equal(f.Places, test.places) {
				t.Errorf("from %s to %s at %q", f.From, f.To, f.Places)
			}
			if !strings.Contains(f.Says, test.seen) {
				t.Errorf("says %q", f.Says)
			}
			scanned := ""
			if w := f.Detail.(*projections.AnotherSetsSheet).Window.IfScanned; w != nil {
				var places []string
				for _, p := range w.Places {
					places = append(places, p.String())
				}
				scanned = w.From.Format("15:04 ") + w.To.Format("15:04 ") + strings.Join(places, ", ")
			}
			if scanned != test.scanned {
				t.Errorf("if every move was scanned: %q, want %q", scanned, test.scanned)
			}
			if !slices.Equal(f.Lines, []int64{3}) || !strings.Contains(f.Says,
				"The lists differ in line 3 (Clamp, Kocher: 5 on this count sheet, 4 right)") {
				t.Errorf("lines %v: %q", f.Lines, f.Says)
			}
		})
	}
}

// TestCarriedElsewhere: A's sheet goes to B at one place and on to C at another; A and
// C are together later. If every move was scanned it came to C where B was with it.
func TestCarriedElsewhere(t *testing.T) {
	s := newStory()
	turns := team(s, []string{"A", "B", "C"}, []string{"", "", ""})
	a, b, c := turns[0], turns[1], turns[2]
	look := func(hour, minute int, x *turn, place string, of *turn) {
		d := &events.SetChecked{Place: place}
		if of != nil {
			d.Sheet = outside(own(of))
		}
		s.tell("storage", clock(0, hour, minute), x.set, x.trip(), d)
	}
	look(13, 0, a, "shelf 1", nil)
	look(13, 1, b, "shelf 1", nil)
	look(13, 2, c, "shelf 2", nil)
	look(14, 0, b, "shelf 2", nil) // with A's sheet, which goes to C
	look(15, 0, b, "shelf 3", c)
	look(16, 0, a, "cart 4", b)
	look(16, 1, c, "cart 4", a)
	fs := find(judge(t, s.world(), c.key()), projections.SheetSwapped)
	if len(fs) != 1 {
		t.Fatal(show(judge(t, s.world(), c.key())))
	}
	w := fs[0].Detail.(*projections.AnotherSetsSheet).Window.IfScanned
	if w == nil || w.From.After(clock(0, 14, 30)) || w.To.Before(clock(0, 14, 30)) || !slices.Equal(w.Sets, []string{"A", "B"}) ||
		!slices.Contains(w.Places, projections.Place{Name: "shelf 2"}) {
		t.Errorf("%+v", w)
	}
}

func a1(hour, minute int) time.Time { return clock(1, hour, minute) }

// TestTwins: two sets with word-for-word equal lists; on paper nothing shows.
func TestTwins(t *testing.T) {
	s := newStory()
	l := s.list("LAP-MAJOR", 1, 6, 2)
	a, b := newTurn("A", 0, l), newTurn("B", 0, l)
	a.open.Sheet.Code = own(b)
	s.live(a)
	s.live(b)
	fs := find(judge(t, s.world(), a.key()), projections.SheetSwapped)
	if len(fs) != 1 || len(fs[0].Lines) != 0 || !strings.Contains(fs[0].Says, "the same word for word") {
		t.Fatalf("%+v", fs)
	}
}

// TestReplacedSheet: a seal put anew with another version makes the first
// sheet one that was replaced; put anew with the same, nothing changes.
func TestReplacedSheet(t *testing.T) {
	s := newStory()
	l1, l2 := s.list("LAP-MAJOR", 1, 6, 2, 4), s.list("LAP-MAJOR", 2, 6, 2, 5)
	x := newTurn("A", 0, l2)
	x.seal = nil
	old := sealed(l1, x.set, x.trip())
	x.open.Sheet.Code = old.Code
	s.live(x)
	s.tell("packing-1", clock(0, 6, 14), x.set, x.trip(), old)
	s.tell("packing-1", clock(0, 6, 18), x.set, x.trip(), sealed(l2, x.set, x.trip()))
	var replaced []projections.Finding
	for _, f := range find(judge(t, s.world(), x.key()), projections.SheetAltered) {
		if strings.Contains(f.Says, "which was replaced") {
			replaced = append(replaced, f)
		}
	}
	if len(replaced) != 1 {
		t.Fatal(show(judge(t, s.world(), x.key())))
	}

	s, y := plain()
	s.live(y)
	s.tell("packing-1", clock(0, 6, 18), y.set, y.trip(), y.seal)
	if v := judge(t, s.world(), y.key()); v.Status != projections.Whole {
		t.Error(show(v))
	}
}

// TestPackedAgainInOneTrip: each seal is held against the packing it was put on.
func TestPackedAgainInOneTrip(t *testing.T) {
	for _, test := range []struct {
		name      string
		first     int64 // the version sealed at the first packing, which was by version 1
		want      string
		otherList bool
	}{
		{"each sealed as packed", 1, "", false},
		{"first by another list", 1, "", true},
		{"first sealed by the later version", 2, "sheet-altered:broken", false},
	} {
		s := newStory()
		name := "LAP-MAJOR"
		if test.otherList {
			name = "LAP-MINOR"
		}
		lists := []*events.ListIssued{nil, s.list(name, 1, 6, 2, 4), s.listAt(clock(0, 5, 30), "LAP-MAJOR", 2, 6, 2, 5)}
		x := newTurn("A", 0, lists[2])
		s.tell("packing-1", clock(0, 5, 0), x.set, x.trip(), &events.SetPacked{List: name, Version: 1})
		s.tell("packing-1", clock(0, 5, 5), x.set, x.trip(), sealed(lists[test.first], x.set, x.trip()))
		s.live(x)
		v := judge(t, s.world(), x.key())
		checkVerdict(t, v)
		if got := codes(v); got != test.want {
			t.Errorf("%s: %s", test.name, show(v))
		}
	}
}

// TestMovedTwice: what was misplaced, and misplaced again, is put right by the
// reading that found it in its place.
func TestMovedTwice(t *testing.T) {
	s, x := plain()
	x.check.Sheet.Found = "inside-bag"
	s.live(x)
	look(s, clock(0, 13, 0), x, &events.Reading{Found: "inside-bag", Code: own(x)})
	v := judge(t, s.world(), x.key())
	checkVerdict(t, v)
	if got := codes(v); got != "sheet-moved:noted sheet-moved:noted" || v.Status != projections.Whole {
		t.Error(show(v))
	}
}

// TestStaleSays which lines changed since.
func TestStaleSays(t *testing.T) {
	s := newStory()
	x := newTurn("A", 0, s.list("LAP-MAJOR", 1, 6, 2, 4))
	s.live(x)
	y := newTurn("A", 1, s.listAt(clock(2, 0, 0), "LAP-MAJOR", 2, 6, 2, 5))
	y.open.Sheet.Code = own(x)
	s.live(y)
	v := judge(t, s.world(), y.key())
	fs := find(v, projections.SheetStale)
	if len(fs) != 1 || !slices.Equal(fs[0].Lines, []int64{3}) || *fs[0].Other != x.key() ||
		!strings.Contains(fs[0].Says, "earlier packing (2026-03-02 06:11 UTC)") {
		t.Fatal(show(v))
	}
}

// TestLabelOfTheOther: the tray that was found under another name has the
// finding as well.
func TestLabelOfTheOther(t *testing.T) {
	s := newStory()
	a, b := newTurn("A", 0, s.list("LIST-A", 1, 6)), newTurn("B", 0, s.list("LIST-B", 1, 6))
	a.open.Tag, a.open.Sheet.Code = "B", own(b)
	s.live(a)
	b.open, b.first, b.final, b.closed = nil, nil, nil, nil
	s.live(b)
	w := s.world()
	va, vb := judge(t, w, a.key()), judge(t, w, b.key())
	if len(find(va, projections.LabelSwapped)) != 1 || len(find(va, projections.SheetSwapped)) != 0 {
		t.Errorf("A: %s", show(va))
	}
	if fs := find(vb, projections.LabelSwapped); len(fs) != 1 || fs[0].Other.Set != "A" || len(find(vb, projections.SheetInDoubt)) != 0 {
		t.Errorf("B: %s", show(vb))
	}
}

// TestLabelOfTheOtherRighted: a label put right before the set is used no longer
// stands against the set whose tray it was.
func TestLabelOfTheOtherRighted(t *testing.T) {
	for _, test := range []string{"right in time", "B opened before", "opened as A"} {
		s, late := newStory(), test != "right in time"
		turns := team(s, []string{"A", "B"}, []string{"", ""})
		a, b := turns[0], turns[1]
		at := func(minute int) time.Time { return clock(0, 12, minute) }
		switch test {
		case "opened as A":
			s.tell("or-4", at(0), a.set, a.trip(), &events.SetOpened{Case: "K-9", Tag: b.set, OuterLabel: a.set, Sheet: outside(own(b))})
		default:
			s.tell("storage", at(0), a.set, a.trip(), &events.SetChecked{Tag: b.set, OuterLabel: a.set, Sheet: outside(own(b))})
		}
		if test == "B opened before" {
			s.tell("or-4", at(5), b.set, b.trip(), &events.SetOpened{Case: "K-9"})
		}
		s.tell("storage", at(10), a.set, a.trip(), &events.SetChecked{Tag: a.set, OuterLabel: a.set, Sheet: outside(own(a))})
		s.tell("storage", at(12), b.set, b.trip(), &events.SetChecked{Tag: b.set, OuterLabel: b.set, Sheet: outside(own(b))})
		v := judge(t, s.world(), b.key())
		checkVerdict(t, v)
		fs := find(v, projections.LabelSwapped)
		if len(fs) != 1 || (fs[0].Severity == projections.SeverityNoted) == late ||
			late == strings.Contains(fs[0].Says, "The label was put right: at north/storage on 2026-03-02 12:12 UTC it said B.") {
			t.Errorf("%s: %s", test, show(v))
		}
	}
}

// TestLabelSays: what the sheet says about a wrong label, and when the label was
// right again, is told of the label, whatever sheet lay there then.
func TestLabelSays(t *testing.T) {
	for _, test := range []struct {
		name     string
		with     func(s *story, x *turn)
		says, de string
		not      string
	}{
		{"no sheet", func(s *story, x *turn) { x.open.OuterLabel, x.open.Sheet = "LAP-022", none(); s.live(x) },
			"No count sheet was found, so which of the two is right is not known.",
			"Eine Zählliste war nicht zu finden; welches von beiden richtig ist, ist nicht bekannt.", "sides"},
		{"its own sheet with other content", func(s *story, x *turn) {
			x.open.OuterLabel, x.open.Sheet.Code = "LAP-022", sheetCode(s.list("LAP-OTHER", 1, 6, 9), x.set, x.trip())
			s.live(x)
		}, "The count sheet sides with the tray: the label outside is the wrong one.",
			"Die Zählliste stimmt mit dem Sieb überein", "neither"},
		{"right again, without a sheet", func(s *story, x *turn) { x.check.OuterLabel, x.open.Sheet = "LAP-022", none(); s.live(x) },
			"The label was put right: at north/or-3 on 2026-03-03 07:12 UTC it said LAP-014.",
			"Das Außenetikett wurde berichtigt: darauf stand LAP-014 (north/or-3, 03.03.2026 07:12 UTC).", "own count sheet"},
		{"right again, with another's sheet", func(s *story, x *turn) {
			y := s.pair()
			s.live(y)
			x.check.OuterLabel, x.open.Sheet.Code = "LAP-022", own(y)
			s.live(x)
		}, "The label was put right: at north/or-3 on 2026-03-03 07:12 UTC it said LAP-014.",
			"Das Außenetikett wurde berichtigt", "own count sheet"},
	} {
		s, x := plain()
		test.with(s, x)
		v := judge(t, s.world(), x.key())
		checkVerdict(t, v)
		fs := find(v, projections.LabelSwapped)
		if len(fs) != 1 || !strings.Contains(fs[0].Says, test.says) || !strings.Contains(in("de", fs[0]).Says,
			test.de) || strings.Contains(fs[0].Says, test.not) {
			t.Errorf("%s: %s", test.name, show(v))
		}
	}
}

// TestAbsentElsewhere: a set without its sheet says where that was found.
func TestAbsentElsewhere(t *testing.T) {
	s := newStory()
	turns := team(s, []string{"A", "B"}, []string{"B", "B"})
	s.last(events.KindSetOpened).Event.Data.(*events.SetOpened).Sheet = &events.Reading{Found: "none"}
	fs := find(judge(t, s.world(), turns[1].key()), projections.SheetAbsent)
	if len(fs) != 1 || fs[0].Other == nil || *fs[0].Other != turns[0].key() || !strings.Contains(fs[0].Says,
		"It was found on A at north/or-3") {
		t.Fatalf("%+v", fs)
	}
}

// TestTrayWithOtherSheet: what lies under a set's name is another tray.
func TestTrayWithOtherSheet(t *testing.T) {
	for _, test := range []struct{ tag, sheet, want string }{
		{"A", "A", ""},
		{"B", "A", "sheet-swapped:broken"},                      // B's tray with A's sheet and label
		{"B", "B", "label-swapped:broken"},                      // B altogether, but for the label
		{"B", "C", "sheet-swapped:broken label-swapped:broken"}, // three sets in one
		{"B", "", "label-swapped:broken link-missing:broken"},   // nobody read the sheet
		{"A", "C", "sheet-swapped:broken"},
	} {
		s := newStory()
		l := s.list("LAP-MAJOR", 1, 6)
		a := newTurn("A", 0, l)
		a.open.Tag, a.open.Sheet.Code = test.tag, ""
		if test.sheet != "" {
			a.open.Sheet.Code = sheetCode(l, test.sheet, tripOf(test.sheet, 0))
		}
		s.live(a)
		for _, set := range []string{"B", "C"} {
			x := newTurn(set, 0, l)
			x.open, x.first, x.final, x.closed = nil, nil, nil, nil
			s.live(x)
		}
		v := judge(t, s.world(), a.key())
		checkVerdict(t, v)
		want := test.want
		if test.tag != "A" { // and it was counted as A, by A's list
			want += " counted-on-wrong-list:noted"
		}
		if got := codes(v); got != want {
			t.Errorf("tag %s, sheet %s: %s, want %s", test.tag, test.sheet, got, want)
		}
	}
}

// TestSheetMovedOn: one sheet read on two sets, one after the other, is where
// it was read last.
func TestSheetMovedOn(t *testing.T) {
	for _, order := range []string{"AB", "BA"} {
		s := newStory()
		turns := team(s, []string{"A", "B", "C"}, []string{"", "", ""})
		c := turns[2]
		for i, set := range order {
			x := turns[set-'A']
			s.tell("storage", clock(0, 12+i, 0), x.set, x.trip(),
				&events.SetChecked{Sheet: &events.Reading{Found: "outside", Code: own(c)}})
		}
		fs := find(judge(t, s.world(), c.key()), projections.SheetInDoubt)
		if len(fs) != 1 || fs[0].Other.Set != order[1:] || !strings.Contains(fs[0].Says, "was found on "+order[1:]) {
			t.Errorf("%s: %+v", order, fs)
		}
	}
}

// TestSheetWentBack: a sheet that was back with its set and then exchanged
// again starts a new path.
func TestSheetWentBack(t *testing.T) {
	s := newStory()
	turns := team(s, []string{"A", "B", "C"}, []string{"", "", ""})
	look := func(hour int, x, of *turn) {
		s.tell("storage", clock(0, hour, 0), x.set, x.trip(), &events.SetChecked{Sheet: &events.Reading{Found: "outside", Code: own(of)}})
	}
	a, b, c := turns[0], turns[1], turns[2]
	look(12, a, b)
	look(13, b, b)
	fs := find(judge(t, s.world(), a.key()), projections.SheetSwapped)
	if len(fs) != 1 || !strings.Contains(fs[0].Says,
		"The count sheet was back with B at north/storage on 2026-03-02 13:00 UTC; A has not been read with its own count sheet since.") {
		t.Errorf("A: %+v", fs)
	}
	look(14, b, c)
	fs = find(judge(t, s.world(), c.key()), projections.SheetInDoubt)
	if len(fs) != 1 || fs[0].Other.Set != "B" {
		t.Errorf("C: %+v", fs)
	}
}

// TestTripOfTwoSets: should one trip have been given to two sets, a code is of
// the set whose seal it fits.
func TestTripOfTwoSets(t *testing.T) {
	s := newStory()
	l := s.list("LAP-MAJOR", 1, 6)
	shared := tripOf("B", 0)
	for _, set := range []string{"A", "B"} {
		s.tell("packing-1", clock(0, 6, 0), set, shared, &events.SetPacked{List: l.List, Version: 1})
		s.tell("packing-1", clock(0, 6, 5), set, shared, sealed(l, set, shared))
	}
	x := newTurn("C", 0, l)
	x.check.Sheet.Code = sheetCode(l, "B", shared)
	s.live(x)
	fs := find(judge(t, s.world(), x.key()), projections.SheetSwapped)
	if len(fs) != 1 || fs[0].Other.Set != "B" {
		t.Errorf("%+v", fs)
	}
}

// TestForgedSheet: the trip of another set, with content that was never sealed for it.
func TestForgedSheet(t *testing.T) {
	s := newStory()
	l := s.list("LAP-MAJOR", 1, 6)
	x, y := newTurn("A", 0, l), newTurn("B", 0, l)
	x.open.Sheet.Code = sheetCode(s.list("LAP-OTHER", 1, 7), "B", y.trip())
	s.live(x)
	s.live(y)
	fs := find(judge(t, s.world(), x.key()), projections.SheetSwapped)
	if len(fs) != 1 || !strings.Contains(fs[0].Says, "not what was bound to B either") {
		t.Errorf("%+v", fs)
	}
}

// TestVersionIssuedTwice: the one that was sealed is meant; without a digest,
// the one known at packing.
func TestVersionIssuedTwice(t *testing.T) {
	for _, test := range []struct {
		sealed int64 // quantity of line 1 in the list sealed; 0: the seal has no digest
		first  int64 // counted at first
		want   string
	}{
		{0, 6, ""},
		{0, 7, "count-differs-at-opening:doubtful"},
		{6, 6, ""},
		{7, 7, ""},
		{7, 6, "count-differs-at-opening:doubtful"},
	} {
		for _, thrice := range []bool{false, true} {
			s := newStory()
			if thrice {
				s.listAt(clock(-2, 0, 0), "LAP-MAJOR", 1, 5)
			}
			lists := map[int64]*events.ListIssued{6: s.listAt(clock(-1, 0, 0), "LAP-MAJOR", 1, 6),
				7: s.listAt(clock(1, 0, 0), "LAP-MAJOR", 1, 7)}
			x := newTurn("A", 0, lists[max(test.sealed, 6)])
			if test.sealed == 0 {
				x.seal.ListDigest = ""
				x.seal.Binding = ""
			}
			x.first.Counts[0].Counted, x.final.Counts[0].Counted = test.first, test.first
			s.live(x)
			if got := codes(judge(t, s.world(), x.key())); got != test.want {
				t.Errorf("%+v, issued three times %t: %s", test, thrice, got)
			}
		}
	}
}
