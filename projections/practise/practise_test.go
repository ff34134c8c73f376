package practise

import (
	"flag"
	"fmt"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"listbound/events"
	"listbound/projections/simulate"
)

// seeds is how many of each cause are tried: PRACTISE_SEEDS has more.
func seeds(t *testing.T) uint64 {
	t.Helper()
	n, err := strconv.ParseUint(os.Getenv("PRACTISE_SEEDS"), 10, 64)
	if err != nil {
		return 1
	}
	return n
}

func causes(t *testing.T) *Causes {
	t.Helper()
	cs, err := Ours()
	if err != nil {
		t.Fatal(err)
	}
	return cs
}

// TestEveryCauseIsPlantedAndFound: each cause is planted under each seed; judgement finds it in the records, and nothing
// else; what is marked right is what the records say; and whoever answers by what is found passes.
func TestEveryCauseIsPlantedAndFound(t *testing.T) {
	cs := causes(t)
	if len(cs.Causes) < 12 {
		t.Errorf("%d causes", len(cs.Causes))
	}
	const file = "testdata/answers.txt"
	kept, err := os.ReadFile(file)
	if err != nil && !*update {
		t.Fatal(err)
	}
	var answers []string
	for i := range cs.Causes {
		c := &cs.Causes[i]
		for _, lang := range []string{"en", "de"} {
			if w := c.Words[lang]; w.Name == "" || w.Teaches == "" {
				t.Errorf("%s says nothing in %q", c.ID, lang)
			}
		}
		if testing.Short() && !*update && i%4 != 0 { // a sample of them
			continue
		}
		for seed := range seeds(t) {
			in, err := Of(cs, c, seed)
			if err != nil {
				t.Errorf("%v", err)
				continue
			}
			recordsSay(t, in)
			found(t, in)
			wrongOnes(t, in)
			if seed > 0 {
				continue
			}
			answers = append(answers, answerOf(in))
			if !*update && !slices.Contains(strings.Split(string(kept), "\n"), answers[len(answers)-1]) {
				t.Errorf("%s has no line\n%s", file, answers[len(answers)-1])
			}
		}
	}
	if *update {
		if err := os.WriteFile(file, []byte(strings.Join(answers, "\n")+"\n"), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

var update = flag.Bool("update", false, "write what is right to answer to testdata/answers.txt, to be read")

// answerOf writes down what is right to answer, and by what it is known.
func answerOf(in *Incident) string {
	tr := &in.Truth
	at := func(t time.Time) string { return t.Format("Mon 15:04:05") }
	var clues []string
	for _, c := range tr.Clues {
		clues = append(clues, fmt.Sprintf("%s %s by %d records", c.Of.Set, c.Finding.Code, len(c.Records)))
	}
	return fmt.Sprintf("%s: %s at %s in %s, %s of %s, known from %s to %s, all until %s; %s", in.Cause.ID,
		strings.Join(tr.Touched(), " "), at(tr.At), tr.Place,
		tr.Step, tr.Open, at(tr.From), at(tr.To), at(in.End), strings.Join(clues, ", "))
}

// found: a learner who says what the findings say is right.
func found(t *testing.T, in *Incident) {
	t.Helper()
	tr := &in.Truth
	for _, turn := range tr.Turns {
		a := Answer{Set: turn.Set, Step: tr.Step, From: tr.From, To: tr.To}
		for _, s := range tr.Touched() {
			if s != turn.Set {
				a.Touched = append(a.Touched, s)
			}
		}
		if ms := in.Mark(a); !Passed(ms) {
			t.Errorf("%s, seed %d: %+v of %+v", in.Cause.ID, in.Seed, ms, a)
		}
		if !in.Cause.Named && !slices.ContainsFunc(tr.Clues, func(c Clue) bool { return c.Of == turn && len(c.Records) > 0 }) {
			t.Errorf("%s, seed %d: no record shows what happened to %s", in.Cause.ID, in.Seed, turn.Set)
		}
	}
}

// wrongOnes: each part is marked wrong by itself, with its reason.
func wrongOnes(t *testing.T, in *Incident) {
	t.Helper()
	tr := &in.Truth
	touched := tr.Touched()
	right := Answer{Set: touched[0], Step: tr.Step, From: tr.From, To: tr.To, Touched: touched[1:]}
	other := ""
	for _, s := range in.Sets {
		if !slices.Contains(touched, s) {
			other = s
		}
	}
	shut := Step("")
	for _, s := range Steps() {
		if !slices.Contains(tr.Open, s) {
			shut = s
		}
	}
	for _, x := range []struct {
		part   Part
		why    Why
		change func(*Answer)
	}{
		{PartSet, WhyNothing, func(a *Answer) { a.Set = "" }},
		{PartSet, WhyUnknown, func(a *Answer) { a.Set = "SET-999" }},
		{PartSet, WhyUntouched, func(a *Answer) { a.Set = other }},
		{PartStep, WhyNothing, func(a *Answer) { a.Step = "" }},
		{PartStep, WhyOther, func(a *Answer) { a.Step = shut }},
		{PartWindow, WhyNothing, func(a *Answer) { a.From = time.Time{} }},
		{PartWindow, WhyBackwards, func(a *Answer) { a.To = a.From.Add(-time.Minute) }},
		{PartWindow, WhyBeside, func(a *Answer) { a.From, a.To = tr.At.Add(2*Slack), tr.At.Add(3*Slack) }},
		{PartWindow, WhyWide, func(a *Answer) { a.From = a.From.Add(-2 * Slack) }},
		{PartWindow, WhyWide, func(a *Answer) { a.To = a.To.Add(2 * Slack) }},
		{PartTouched, WhyMore, func(a *Answer) { a.Touched = append(slices.Clone(a.Touched), other) }},
		{PartTouched, WhyLess, func(a *Answer) { a.Touched = nil }},
	} {
		if x.why == WhyLess && len(touched) == 1 {
			continue
		}
		a := right
		x.change(&a)
		for _, m := range in.Mark(a) {
			want := m.Part != x.part
			if x.part == PartSet && m.Part == PartTouched {
				continue // which of them are the others hangs on the first
			}
			if m.Right != want || !want && m.Why != x.why {
				t.Errorf("%s, seed %d, %s %s: marked %+v of %+v", in.Cause.ID, in.Seed, x.part, x.why, m, a)
			}
		}
	}
}

// recordsSay holds what is marked right against the records alone, as they were planted: which sets have something with
// them that isn't theirs, or another number of pieces than their list, and when what lay there came there.
func recordsSay(t *testing.T, in *Incident) {
	t.Helper()
	tr := &in.Truth
	if !slices.IsSorted(in.Sets) {
		t.Errorf("%s, seed %d: sets %q", in.Cause.ID, in.Seed, in.Sets)
	}
	for _, c := range tr.Clues {
		for _, id := range c.Records {
			if !slices.ContainsFunc(in.Records, func(r simulate.Record) bool { return r.Event.ID == id }) {
				t.Errorf("%s, seed %d: no record is %q", in.Cause.ID, in.Seed, id)
			}
		}
	}
	say := make(map[string]bool)
	for i := range in.Records {
		r := &in.Records[i]
		if l := r.Look; l != nil && l.Tells() {
			say[l.Tray.Set] = true
			for _, m := range movesOf(l) {
				if !m.At.Equal(tr.At) && (m.At.Before(tr.At) || len(tr.Turns) < 3) {
					t.Errorf("%s, seed %d: moved at %s, said at %s", in.Cause.ID, in.Seed, m.At, tr.At)
				}
			}
		}
		if counted(r) {
			say[r.Set] = true
		}
	}
	switch in.Cause.Happens {
	case string(simulate.AsideUsed), string(simulate.LineOmitted), string(simulate.ShutInside):
	default:
		for s := range say {
			if !slices.Contains(tr.Touched(), s) {
				t.Errorf("%s, seed %d: the records tell of %s, which is not said to be touched", in.Cause.ID, in.Seed, s)
			}
		}
		if len(say) == 0 {
			t.Errorf("%s, seed %d: no record tells", in.Cause.ID, in.Seed)
		}
	}
	if tr.At.Before(tr.From.Add(-Slack)) || tr.At.After(tr.To.Add(Slack)) || !slices.Contains(tr.Open, tr.Step) ||
		stepOf(tr.Place) != tr.Step {
		t.Errorf("%s, seed %d: at %s, %s, said %s to %s, %v", in.Cause.ID, in.Seed, tr.At, tr.Place, tr.From, tr.To, tr.Open)
	}
}

// movesOf are those by which a count sheet or label came to where it was looked at, after the one that laid it there first.
func movesOf(l *simulate.Look) (out []simulate.Move) {
	all := l.Tray.Label.Moves[1:]
	if l.Label != l.Tray {
		all = l.Label.Label.Moves[1:]
	} else if l.Sheet != nil && l.Sheet.Kind == simulate.TrueSheet && l.Sheet.Of.ID == l.Tray.ID {
		all = nil
	} else if l.Sheet != nil && len(l.Sheet.Moves) > 1 && l.Sheet.Of.Set != l.Tray.Set {
		all = l.Sheet.Moves[1:]
	}
	for _, m := range all {
		if m.At.Before(l.At) {
			out = append(out, m)
		}
	}
	return out
}

// counted reports whether a record counts another number of pieces than the set's list has.
func counted(r *simulate.Record) bool {
	switch d := r.Data.(type) {
	case *events.SetCounted:
		return slices.ContainsFunc(d.Counts, func(c events.Count) bool { return c.Counted != quantity(r.Set, c.Line) })
	case *events.SetPacked:
		return slices.ContainsFunc(d.Exceptions, func(e events.Exception) bool { return e.Counted != quantity(r.Set, e.Line) })
	}
	return false
}

// quantity is how many pieces the list of a set has in a line: the simulator's sets take its lists in turn.
func quantity(set string, line int64) int64 {
	n, _ := strconv.Atoi(strings.TrimPrefix(set, "SET-"))
	h := simulate.Drill()
	i := 0
	for _, r := range h.Setup() {
		if l, ok := r.Data.(*events.ListIssued); ok {
			if i == (n-1)%6 {
				return l.Lines[line-1].Quantity
			}
			i++
		}
	}
	return -1
}

// TestSameEverywhere: a seed gives these records on every machine, and draws this cause.
func TestSameEverywhere(t *testing.T) {
	cs := causes(t)
	for _, x := range []struct {
		seed   uint64
		cause  string
		digest string
	}{
		{1, "exchanged-at-packing", "63215f84d9d92d9c"}, {7, "neighbours-piece", "402aea041f4e1be0"}, {1 << 63,
			"gone-after-case", "83c491edfa392091"},
	} {
		in, err := Make(cs, x.seed)
		if err != nil {
			t.Fatal(err)
		}
		again, err := Make(cs, x.seed)
		if err != nil || again.Digest() != in.Digest() {
			t.Fatalf("another one the second time: %v", err)
		}
		if in.Cause.ID != x.cause || in.Digest()[:16] != x.digest {
			t.Errorf("seed %d: %s %s", x.seed, in.Cause.ID, in.Digest()[:16])
		}
	}
}

// TestOwnCauses: a site's file stands in the place of ours; what can't be planted is told, and so is what is wrong with
// a file.
func TestOwnCauses(t *testing.T) {
	const own = `{"causes":[{"id":"ours","rates":{"Lost":0.06},"happens":"lost","found":["sheet-absent"],
		"words":{"en":{"name":"Gone.","teaches":"looking"}}}]}`
	cs, err := Read([]byte(own))
	if err != nil {
		t.Fatal(err)
	}
	in, err := Make(cs, 5)
	if err != nil || in.Cause.ID != "ours" || in.Cause.In("de").Name != "Gone." || in.Causes == causes(t).Digest {
		t.Errorf("%+v %v", in, err)
	}
	for _, x := range [][3]string{
		{`"Lost":0.06`, `"Lost":0`, "names nothing"}, {`"Lost":`, `"Lots":`, "unknown"}, {`"happens":"lost"`,
			`"happens":"gone"`, "happens is one of"},
		{`"sheet-absent"`, `"sheet-gone"`, "no finding"}, {`["sheet-absent"]`, `[]`, "names no finding"},
		{`"name":"Gone."`, `"name":""`, "words.en"},
		{`"id":"ours"`, `"id":""`, "no id"}, {`"happens"`, `"step":"roof","happens"`, "step is one of"}, {`[{`, `[],"x":[{`, "unknown"},
		{`[{`, `[` + strings.TrimSuffix(strings.TrimPrefix(own, `{"causes":[`), `]}`) + `,{`, "stands there twice"},
		{`]}`, `],"causes":[]}`, "duplicate"}, {own, `{"causes":[]}`, "no cause"},
	} {
		if _, err := Read([]byte(strings.Replace(own, x[0], x[1], 1))); err == nil || !strings.Contains(err.Error(), x[2]) {
			t.Errorf("%s for %s: %v", x[1], x[0], err)
		}
	}
	longest := own + strings.Repeat(" ", MaxBytes-len(own))
	if _, err := Read([]byte(longest)); err != nil {
		t.Error(err)
	}
	if _, err := Read([]byte(longest + " ")); err == nil ||
		!strings.Contains(err.Error(), "1048576 bytes at most, this one has 1048577") {
		t.Errorf("a file of any length: %v", err)
	}
	never := cs.Causes[0]
	never.Step = StepReturn // where no count sheet is lost
	if _, err := among(cs, &never, 1, 30); err == nil {
		t.Error("planted what can't be")
	}
	if _, err := cs.Find("other"); err == nil || !strings.HasSuffix(err.Error(), "only ours") {
		t.Errorf("found what isn't there: %v", err)
	}
}
