//go:build !race

package trial

import (
	"maps"
	"slices"
	"strings"
	"testing"
	"time"

	"listbound/projections"
	"listbound/projections/simulate"
)

// bench is a week on which judgement is tried that is wrong in a way of which one knows what the trial must say. What judgement
// really says is kept, so that trying one more way costs little.
type bench struct {
	c      simulate.Config
	n      int
	week   *simulate.Week
	said   map[asked]projections.Verdict
	honest *trial
}

type asked struct {
	of  projections.TripKey
	seq int64
}

var benches []*bench // made once: none changes

func weeksTried(t *testing.T) []*bench {
	t.Helper()
	if benches != nil {
		return benches
	}
	drill, scanned := simulate.Drill(), simulate.Drill()
	scanned.Sets, scanned.Cases, scanned.Scan, scanned.Clock, scanned.Offline, scanned.Read = 120, 22, 1, 0, 0, 1
	benches = []*bench{{c: drill, n: 3}, {c: drill, n: 5}, {c: scanned, n: 0}}
	for _, b := range benches {
		b.week, b.said = b.c.Week(b.n), make(map[asked]projections.Verdict)
		b.honest = b.try(t, nil)
	}
	return benches
}

// try runs the trial with a judgement that is made wrong.
func (b *bench) try(t *testing.T, wrong func(tr *trial, k projections.TripKey, v *projections.Verdict)) *trial {
	t.Helper()
	tr := newTrial(&b.c, b.week)
	tr.verdict = func(k projections.TripKey) (projections.Verdict, error) {
		v, ok := b.said[asked{k, tr.seq}]
		if !ok {
			var err error
			if v, err = tr.w.Judge(k); err != nil {
				return v, err
			}
			b.said[asked{k, tr.seq}] = v
		}
		v.Findings = slices.Clone(v.Findings)
		if wrong != nil {
			wrong(tr, k, &v)
		}
		return v, nil
	}
	if err := tr.run(); err != nil {
		t.Fatal(err)
	}
	return tr
}

// tallies are what a result holds against the truth, by name.
func tallies(r *Result) map[string]Tally {
	all := map[string]Tally{
		"missed": r.Missed, "named": r.Named, "invented": r.Invented, "clean": r.Clean, "windows": r.Windows, "exact": r.Exact,
		"places": r.Places, "together": r.Together, "scanned": r.IfScanned, "said": r.Doubts.Said, "mispacked": r.Mispacked,
	}
	for k, t := range r.Back {
		all["back "+string(k)] = *t
	}
	for k, t := range r.Closed {
		all["closed "+k] = *t
	}
	return all
}

// window changes the times and places that a finding of sheet or label tells.
func window(f *projections.Finding, change func(w *projections.Window)) {
	switch d := f.Detail.(type) {
	case *projections.AnotherSetsSheet:
		c := *d
		change(&c.Window)
		f.Detail = &c
	case *projections.ProbablyWrong:
		c := *d
		change(&c.Window)
		f.Detail = &c
	default:
		if slices.Contains(sheetCodes, f.Code) && !f.From.IsZero() {
			w := projections.Window{From: f.From, To: f.To}
			change(&w)
			f.From, f.To = w.From, w.To
		}
	}
}

// moment is when what a finding shows came about, as the trial takes it.
func moment(tr *trial, f *projections.Finding) (time.Time, bool) {
	var seq int64
	switch d := f.Detail.(type) {
	case *projections.AnotherSetsSheet:
		seq = d.First.Seq
	case *projections.ProbablyWrong:
		seq = d.At.Seq
	default:
		i := slices.IndexFunc(f.Events, func(seq int64) bool { return tr.looks[seq] != nil && tr.looks[seq].Tells() })
		if i < 0 {
			return time.Time{}, false
		}
		seq = f.Events[i]
	}
	if l := tr.looks[seq]; l != nil {
		if m := cause(l); m != nil {
			return m.At, true
		}
	}
	return time.Time{}, false
}

// each changes every finding of a verdict.
func each(change func(tr *trial, f *projections.Finding)) func(*trial, projections.TripKey, *projections.Verdict) {
	return func(tr *trial, _ projections.TripKey, v *projections.Verdict) {
		for i := range v.Findings {
			change(tr, &v.Findings[i])
		}
	}
}

// times puts windows to where they lie off the true moment by the clocks' tolerance and more.
func times(off func(slack time.Duration) time.Duration) func(*trial, projections.TripKey, *projections.Verdict) {
	return each(func(tr *trial, f *projections.Finding) {
		at, ok := moment(tr, f)
		if !ok {
			return
		}
		window(f, func(w *projections.Window) {
			slack := time.Minute // of findings without a window: the policy's
			if w.ClockSeconds != 0 {
				slack = clockOf(*w)
			} else if w.IfScanned != nil || w.Seen != nil || len(w.Places) > 0 {
				slack = 0
			}
			w.From, w.To = at.Add(off(slack)), at.Add(off(slack))
		})
	})
}

// scannedAt is the same for what follows if no move went unscanned.
func scannedAt(off func(slack time.Duration) time.Duration) func(*trial, projections.TripKey, *projections.Verdict) {
	return each(func(tr *trial, f *projections.Finding) {
		at, ok := moment(tr, f)
		window(f, func(w *projections.Window) {
			if ok && w.IfScanned != nil {
				s := *w.IfScanned
				s.From, s.To = at.Add(off(clockOf(*w))), at.Add(off(clockOf(*w)))
				w.IfScanned = &s
			}
		})
	})
}

// TestWrongJudgement: whatever judgement gets wrong, the trial says that this is wrong, of all that is, and says it of nothing
// else; and each thing that is wrong is an example.
func TestWrongJudgement(t *testing.T) {
	nowhere := projections.Place{Name: "nowhere"}
	weeks := weeksTried(t)
	exactly := func(time.Duration) time.Duration { return 0 }
	for _, x := range []struct {
		what  string
		wrong func(tr *trial, k projections.TripKey, v *projections.Verdict)
		all   string // tallies of which all is wrong
		some  string // and some
		none  string // of which nothing is left to hold
	}{
		{what: "as it is"},
		{"nothing is found", func(_ *trial, _ projections.TripKey, v *projections.Verdict) { v.Findings = nil },
			"missed mispacked back closed", "", "named invented windows exact places together scanned said"},
		{"windows are of the very moment", times(exactly), "", "", ""},
		{"windows end a year before", times(func(time.Duration) time.Duration { return -9000 * time.Hour }), "windows exact", "", ""},
		{"windows begin a year after", times(func(time.Duration) time.Duration { return 9000 * time.Hour }), "windows exact", "", ""},
		{"if scanned, it was at the very moment", scannedAt(exactly), "", "", ""},
		{"if scanned, as late as clocks allow", scannedAt(func(s time.Duration) time.Duration { return s }), "", "", ""},
		{"if scanned, as early as clocks allow", scannedAt(func(s time.Duration) time.Duration { return -s }), "", "", ""},
		{"if scanned, later", scannedAt(func(s time.Duration) time.Duration { return s + 1 }), "scanned", "", ""},
		{"if scanned, earlier", scannedAt(func(s time.Duration) time.Duration { return -s - 1 }), "scanned", "", ""},
		{"if scanned, elsewhere", each(func(_ *trial, f *projections.Finding) {
			window(f, func(w *projections.Window) {
				if w.IfScanned != nil {
					s := *w.IfScanned
					s.Places = []projections.Place{nowhere}
					w.IfScanned = &s
				}
			})
		}), "scanned", "", ""},
		{"at another place", each(func(_ *trial, f *projections.Finding) {
			window(f, func(w *projections.Window) {
				if len(w.Places) > 0 {
					w.Places = []projections.Place{nowhere}
				}
			})
		}), "places", "", ""},
		{"seen together at another place", each(func(_ *trial, f *projections.Finding) {
			window(f, func(w *projections.Window) {
				if w.Seen != nil {
					s := *w.Seen
					s.Place = nowhere
					w.Seen = &s
				}
			})
		}), "together", "", ""},
		{"of another set", func(_ *trial, k projections.TripKey, v *projections.Verdict) {
			for i := range v.Findings {
				v.Findings[i].Other = &k
			}
		}, "named", "", ""},
		{"of no other set", each(func(_ *trial, f *projections.Finding) { f.Other = nil }), "named", "", ""},
		{"as bad as can't be", each(func(_ *trial, f *projections.Finding) { f.Severity = "none" }),
			"back closed", "invented early", ""},
		{"in another way", each(func(_ *trial, f *projections.Finding) { f.Way = "none" }), "closed", "invented", "named"},
		{"shown by other records", each(func(_ *trial, f *projections.Finding) { f.Events = nil }),
			"", "missed invented", "named"}, // and fewer windows: some are found by them
		{"too heavy", func(_ *trial, _ projections.TripKey, v *projections.Verdict) {
			v.Findings = append(v.Findings, projections.Finding{Code: projections.TooHeavy})
		}, "clean", "invented", ""},
		{"out of order", func(_ *trial, _ projections.TripKey, v *projections.Verdict) {
			f := projections.Finding{Code: projections.LinkOutOfOrder, Way: (&projections.ClosedAfterRun{}).Way()}
			v.Findings = append(v.Findings, f)
		}, "clean closed:printed", "invented", ""},
		{"came back over", func(_ *trial, _ projections.TripKey, v *projections.Verdict) {
			v.Findings = append(v.Findings, projections.Finding{Code: projections.CameBackOver, Detail: new(projections.FirstDiffers)})
		}, "clean back:replaced", "invented", ""},
		{"came back short", func(_ *trial, _ projections.TripKey, v *projections.Verdict) {
			v.Findings = append(v.Findings, projections.Finding{Code: projections.CameBackShort, Detail: new(projections.FirstDiffers)})
		}, "clean back:replaced", "invented", ""},
	} {
		for _, b := range weeks {
			holdWrong(t, x.what, b.honest, b.try(t, x.wrong), x.all, x.some, x.none)
		}
	}
}

// fitting reports whether a tally is one of those named: "back" are those of pieces of which something is to be found,
// "closed" those of closed sets of which something is.
func fitting(names, tally string) bool {
	for _, n := range strings.Fields(names) {
		replaced, printed := "back "+string(simulate.BackReplaced), "closed "+string(simulate.ShutPrinted)
		if n == tally || n == "back:replaced" && tally == replaced || n == "closed:printed" && tally == printed ||
			(n == "back" || n == "closed") && strings.HasPrefix(tally, n+" ") && tally != replaced && tally != printed {
			return true
		}
	}
	return false
}

func holdWrong(t *testing.T, what string, honest, tried *trial, allOf, some, none string) {
	t.Helper()
	before, after := tallies(honest.r), tallies(tried.r)
	examples := 0
	for _, k := range slices.Sorted(maps.Keys(after)) {
		was, is := before[k], after[k]
		right := is.Wrong == 0
		switch {
		case k == "exact": // by clocks that may differ
			right = is.Wrong >= was.Wrong
			if fitting(allOf, k) {
				right = is.Wrong == is.Of
			}
		case fitting(allOf, k):
			right = is.Wrong == is.Of
		case k == "missed" && fitting(some, "early"):
			right = is.Wrong == honest.r.Planted[projections.ImplantTooEarly]
		case fitting(some, k):
			right = is.Wrong > 0 || was.Of == 0
		case fitting(none, k):
			right = is.Of == 0
		}
		if !right || is.Of != was.Of && !fitting(none, k) && k != "invented" && what != "shown by other records" {
			t.Errorf("week %d, %s: %s %+v, was %+v", tried.week.Number, what, k, is, was)
		}
		if k != "exact" && k != "named" {
			examples += is.Wrong
		}
	}
	if len(tried.r.Examples) != min(examples, maxExamples) {
		t.Errorf("week %d, %s: %d examples of %d", tried.week.Number, what, len(tried.r.Examples), examples)
	}
}

// TestWrongOfWholes: where nothing is found of sets as a whole, as many are missed as there is truth of it.
func TestWrongOfWholes(t *testing.T) {
	total := make(map[projections.Code]int)
	for _, b := range weeksTried(t) {
		truth, sum := wholes(b), 0
		for code, n := range truth {
			total[code] += n
			sum += n
			if got := b.honest.r.Planted[code]; got != n && code != projections.PackageUnfit && code != projections.IndicatorNotSeen {
				t.Errorf("week %d: %s is to be found %d times, of %d", b.n, code, got, n)
			}
		}
		r := b.try(t, func(_ *trial, _ projections.TripKey, v *projections.Verdict) {
			v.Findings = slices.DeleteFunc(v.Findings, func(f projections.Finding) bool { _, is := truth[f.Code]; return is })
		}).r
		if r.Missed.Wrong != sum || r.Missed.Of != b.honest.r.Missed.Of || r.Invented.Wrong+r.Clean.Wrong+r.Windows.Wrong > 0 {
			t.Errorf("week %d: %+v missed, of %v", b.n, r.Missed, truth)
		}
	}
	for code, n := range total {
		if n == 0 {
			t.Errorf("%s was never to be found", code)
		}
	}
}

// wholes counts what happened to sets as a whole, by the code by which it is to be found.
func wholes(b *bench) map[projections.Code]int {
	out := make(map[projections.Code]int)
	count := func(code projections.Code, is bool) {
		if is {
			out[code]++
		} else {
			out[code] += 0
		}
	}
	for _, x := range b.week.Trips {
		count(projections.TooHeavy, x.Heavy)
		count(projections.SecondLookMissing, x.Alone)
		count(projections.PutAside, x.Aside == simulate.AsideUsed)
		count(projections.ImplantTooEarly, x.Early != "" && !x.Has(simulate.LabelSwap) && !x.Has(simulate.HolderSwap))
	}
	for _, r := range b.week.Records {
		if l := r.Look; l != nil && l.Opening {
			count(projections.PackageUnfit, l.Tray.Wet)
			count(projections.IndicatorNotSeen, l.Tray.Bare)
		}
	}
	return out
}

// TestWhenKnown: what is told late is known late, and what is told of every set all along was known before each opening.
func TestWhenKnown(t *testing.T) {
	sum := func(tr *trial) (k Known) {
		for _, x := range tr.r.Known {
			k = Known{k.Before + x.Before, k.At + x.At, k.Later + x.Later, k.Never + x.Never}
		}
		return k
	}
	sheet := projections.Finding{Code: projections.SheetAbsent}
	for _, b := range weeksTried(t) {
		was, last := sum(b.honest), b.honest.seq
		late := sum(b.try(t, func(tr *trial, _ projections.TripKey, v *projections.Verdict) {
			if tr.seq < last {
				v.Findings = nil
			}
		}))
		if late.Before+late.At > 0 || late.Later == 0 || late.N() != was.N() {
			t.Errorf("week %d: told at the end %+v, as it is %+v", b.n, late, was)
		}
		always := sum(b.try(t, func(_ *trial, _ projections.TripKey, v *projections.Verdict) { v.Findings = append(v.Findings, sheet) }))
		if always.Before != was.N() || always.N() != was.N() {
			t.Errorf("week %d: told all along %+v, as it is %+v", b.n, always, was)
		}
		opened := sum(b.try(t, func(tr *trial, k projections.TripKey, v *projections.Verdict) {
			v.Findings = nil
			for _, l := range tr.looks {
				if l.Opening && keyOf(l.Tray) == k {
					v.Findings = []projections.Finding{sheet}
				}
			}
		}))
		if opened.Before > 0 || opened.At+opened.Later+opened.Never != was.N() || opened.At < was.N()*9/10 {
			t.Errorf("week %d: told once it is opened %+v, as it is %+v", b.n, opened, was)
		}
		if no := sum(b.try(t, func(_ *trial, _ projections.TripKey, v *projections.Verdict) { v.Findings = nil })); no.Never != was.N() {
			t.Errorf("week %d: never told %+v", b.n, no)
		}
	}
}

// TestHeldEnough: what these weeks have of truth is held as often as there is of it, which the same seed leaves alone; what is
// held of findings, which may get more, no less often than when this was written.
func TestHeldEnough(t *testing.T) {
	for i, want := range []Result{
		{Missed: Tally{0, 38}, Clean: Tally{0, 1}, Mispacked: Tally{0, 4},
			Windows: Tally{0, 64}, IfScanned: Tally{0, 20}, Together: Tally{0, 38}, Named: Tally{0, 17}, Invented: Tally{0, 183}},
		{Missed: Tally{0, 45}, Clean: Tally{0, 8}, Mispacked: Tally{0, 2},
			Windows: Tally{0, 73}, IfScanned: Tally{0, 16}, Together: Tally{0, 20}, Named: Tally{0, 24}, Invented: Tally{0, 198}},
		{Missed: Tally{0, 175}, Clean: Tally{0, 10}, Places: Tally{0, 3},
			Windows: Tally{0, 181}, IfScanned: Tally{0, 88}, Together: Tally{0, 87}, Named: Tally{0, 124}, Invented: Tally{0, 320}},
	} {
		r := weeksTried(t)[i].honest.r
		if r.Missed != want.Missed || r.Clean != want.Clean || r.Mispacked != want.Mispacked {
			t.Errorf("%d: missed %+v, clean %+v, mispacked %+v", i, r.Missed, r.Clean, r.Mispacked)
		}
		is := tallies(r)
		for k, least := range tallies(&want) {
			if is[k].Of < least.Of {
				t.Errorf("%d: %s %+v, was %+v", i, k, is[k], least)
			}
		}
	}
}
