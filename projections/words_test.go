package projections

import (
	"fmt"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"listbound/events"

	"pgregory.net/rapid"
)

// englishWords are words that no German sentence has. What people typed in the
// stories is English too, and is taken out first.
var (
	englishWords = strings.Fields("the The and of Of with its is are were not has have had by from for sheet set list load case Case count counted found read opened packed sealed on On at it It this that which no No usually Usually own policy line lines version short over seal seals tag tray label record records station released passed failed positive negative expected more pieces cycle closed closing sterilizer run recalled badge person because although since before after")
	typed        = []string{"typed at the wrong set", "seen by the charge nurse", "once more", "fell to the floor"}
)

var (
	isoDate  = regexp.MustCompile(`\b(\d{4})-(\d{2})-(\d{2})\b`)
	deDate   = regexp.MustCompile(`\b(\d{2})\.(\d{2})\.(\d{4})\b`)
	deLapse  = regexp.MustCompile(`und (?:(\d+) Std\.)? ?(?:(\d+) Min\.)? ?(?:(\d+) Sek\.)? später`)
	brackets = " .,;:()„“?!"
)

func words(s string) []string {
	for _, t := range typed {
		s = strings.ReplaceAll(s, t, "")
	}
	var out []string
	for _, w := range strings.Fields(s) {
		if w = strings.Trim(w, brackets); w != "" {
			out = append(out, w)
		}
	}
	return out
}

// named returns every name and number in a sentence: all that has a digit.
// Dates and lapses of time are written as in English.
func named(s string) []string {
	s = deDate.ReplaceAllString(s, "$3-$2-$1")
	if m := deLapse.FindStringSubmatch(s); m != nil {
		d := "0"
		for i, u := range []string{"h", "m", "s"} {
			if m[i+1] != "" {
				d += m[i+1] + u
			}
		}
		lasted := must(time.ParseDuration(d))
		s = strings.Replace(s, m[0], "and "+lasted.String()+" later", 1)
	}
	var out []string
	for _, w := range words(s) {
		if strings.ContainsAny(w, "0123456789") {
			out = append(out, w)
		}
	}
	slices.Sort(out)
	return out
}

// checkTold holds a German sentence against the English one.
func checkTold(t tester, what, en, de string, ids ...string) {
	t.Helper()
	if de == "" || de == en {
		t.Errorf("%s: no German for %q, but %q", what, en, de)
	}
	for _, w := range words(de) {
		if slices.Contains(englishWords, w) {
			t.Errorf("%s: %q in %q", what, w, de)
		}
	}
	if isoDate.MatchString(de) {
		t.Errorf("%s: a date of the other language in %q", what, de)
	}
	if e, d := named(en), named(de); !slices.Equal(e, d) {
		t.Errorf("%s: names and numbers\n%v of %q\n%v of %q", what, e, en, d, de)
	}
	for _, id := range ids {
		if slices.Contains(words(en), id) && !slices.Contains(words(de), id) {
			t.Errorf("%s: %s is not in %q", what, id, de)
		}
	}
	// A count that came out right does not show that nothing was left behind.
	for _, bad := range []string{"verblieben", "zurückgeblieben", "nichts fehlt", "vollzählig", "%!", "\x00", "  ", "..", " .", " ,"} {
		if strings.Contains(de, bad) {
			t.Errorf("%s: %q in %q", what, bad, de)
		}
	}
}

// TestToldInGerman goes through the stories and invented weeks: every line of
// every history, every finding of trips and stations.
func TestToldInGerman(t *testing.T) {
	kinds, codes := make(map[string]int), make(map[Code]int)
	tell := func(w *World) {
		stations := make(map[string]bool)
		for _, k := range w.Trips() {
			h, err := w.History(HistoryOf{Set: k.Set, Trip: k.Trip})
			if err != nil {
				t.Fatal(err)
			}
			for _, e := range h.Events {
				checkTold(t, e.Kind, e.Says, e.In("de"))
				kinds[e.Kind]++
				stations[e.Station] = true
			}
			for _, v := range h.Verdicts {
				checkVerdict(t, v)
				for _, f := range v.Findings {
					codes[f.Code]++
				}
			}
		}
		for s := range stations {
			v, err := w.JudgeStation(s)
			if err != nil {
				t.Fatal(err)
			}
			checkVerdict(t, v)
		}
	}
	for _, test := range findingTests {
		for _, told := range []func(*story, *turn){test.with, test.not} {
			s, x := plain()
			told(s, x)
			tell(s.world())
		}
	}
	weeks := rapid.Custom(invent)
	for seed := range 200 {
		tell(worldOf(weeks.Example(seed)))
	}
	for _, c := range Codes() {
		if codes[c] == 0 {
			t.Errorf("no story has %s", c)
		}
	}
	if len(kinds) < 8 {
		t.Errorf("kinds told: %v", kinds)
	}
}

// TestGermanSentences holds some sentences to the letter. common practice, no
// source: the words are those of German wards and sterile supply departments.
func TestGermanSentences(t *testing.T) {
	tests := []struct {
		code       Code
		with       func(s *story, x *turn)
		says, next string
	}{
		{SheetAbsent, func(s *story, x *turn) { x.open.Sheet = &events.Reading{Found: "none"}; s.live(x) },
			"Bei LAP-014 war kein Blatt zu finden (north/or-3, 03.03.2026 07:12 UTC), obwohl eines beigelegt wurde (außen im Halter).",
			"Üblicherweise wird das Sieb nach der Zählliste am Bildschirm gezählt und das Blatt bei den Sieben gesucht, die mit ihm gepackt wurden. Die Regelung der Einrichtung entscheidet."},
		{SealDiffers, func(s *story, x *turn) { x.open.Seals = []string{"999"}; s.live(x) },
			"An LAP-014: die beim Beilegen aufgezeichnete Plombe 48LAP-014 fehlte; die Plombe 999 ist beim Beilegen nicht aufgezeichnet (north/or-3, 03.03.2026 07:12 UTC).", ""},
		{LinkMissing, func(s *story, x *turn) { x.run = nil; s.live(x) },
			"Zu LAP-014 ist nicht aufgezeichnet: Sterilisation. Aufgezeichnet ist aber: Öffnung (03.03.2026 07:12 UTC).", ""},
		{CountShort, func(s *story, x *turn) { x.final.Counts[0].Counted--; s.live(x) },
			"In der letzten Zählung von LAP-014 (03.03.2026 09:30 UTC): Zeile 1 (Forceps, mosquito): 5 gezählt, 6 Soll. 1 zu wenig.", ""},
		{CountMissing, func(s *story, x *turn) {
			s.live(x)
			s.count(x, events.StageAdded, 9, 35, events.Count{Line: 1, Counted: 1})
		}, "Nach der letzten Zählung von LAP-014 (03.03.2026 09:30 UTC) kamen Teile hinzu oder wurden entfernt, und seither wurde nicht mehr gezählt: Zeile 1 (Forceps, mosquito): 1 hinzugefügt (03.03.2026 09:35 UTC).", ""},
		{ClosedUnreconciled, func(s *story, x *turn) { x.final.Counts = x.final.Counts[1:]; s.live(x) },
			"Fall K-LAP-014-0, in dem LAP-014 verwendet wurde, wurde am 03.03.2026 09:40 UTC als stimmig abgeschlossen, obwohl dies am Ende nicht gezählt wurde: LAP-014 Zeile 1 (Forceps, mosquito). Keine Maßnahme ist aufgezeichnet.", ""},
		{CountOnePerson, func(s *story, x *turn) { x.first.Witness = ""; s.live(x) },
			"Zählung von LAP-014: erste Zählung (03.03.2026 07:20 UTC) nennt keine zweite Zählperson.", ""},
		{ClosedUnreconciled, func(s *story, x *turn) {
			x.final.Counts[0].Counted--
			x.closed.Reason, x.closed.Actions = "seen by the charge nurse", []string{"recounted"}
			s.live(x)
		}, "Fall K-LAP-014-0, in dem LAP-014 verwendet wurde, wurde am 03.03.2026 09:40 UTC als stimmig abgeschlossen, obwohl dies ungeklärt ist: 1 zu wenig in LAP-014 Zeile 1 (Forceps, mosquito). Angegebener Grund: seen by the charge nurse. Aufgezeichnete Maßnahmen: recounted.", ""},
		{TwoPlaces, func(s *story, x *turn) {
			s.live(x)
			s.tell("cart", x.sterilizedAt().Add(45*time.Second), x.set, x.trip(), &events.SetChecked{Place: "cart 7"})
		}, "LAP-014 wurde hier aufgezeichnet: Charge S2-00-04, 02.03.2026 08:02 UTC, und 45 Sek. später hier: cart 7, 02.03.2026 08:02 UTC. Eines von beiden war ein anderes Sieb, oder eine Uhr geht falsch.", ""},
		{LoadRecalled, func(s *story, x *turn) { s.live(x); s.indicator(1, x.run.Load, "positive") },
			"Zu Charge S2-00-04 von Sterilisator S2 wurde ein positiver Bioindikator abgelesen. LAP-014 war in dieser Charge. Von den drei Zyklen, die zu wiederholen sind, haben bisher 0 ein negatives Ergebnis.", ""},
	}
	for _, test := range tests {
		s, x := plain()
		test.with(s, x)
		fs := find(judge(t, s.world(), x.key()), test.code)
		if len(fs) == 0 {
			t.Errorf("%s: not found", test.code)
			continue
		}
		de := fs[0].In("de")
		if de.Says != test.says || test.next != "" && de.Next != test.next {
			t.Errorf("%s says\n%s\nwant\n%s\nnext %s", test.code, de.Says, test.says, de.Next)
		}
		if got := fs[0].In("fr"); got != (Text{fs[0].Says, fs[0].Next}) {
			t.Errorf("%s in a language it does not speak: %v", test.code, got)
		}
	}
}

// TestPlacesInGerman: where two sets were together, a load is named in German,
// and a place that people named stays as it is, whatever its name begins with.
func TestPlacesInGerman(t *testing.T) {
	s := newStory()
	turns := team(s, []string{"LAP-014", "LAP-022"}, []string{"LAP-022", "LAP-014"})
	c := s.world().chain(turns[0].key())
	if len(c.sterilized) == 0 {
		t.Fatal("the story has no sterilization")
	}
	load := turns[0].run.Load
	got := deWhen(clock(0, 6, 0), clock(1, 7, 0), []string{"load " + load, "load bay"}, c)
	if want := "Die Blätter können zwischen 02.03.2026 06:00 UTC und 03.03.2026 07:00 UTC vertauscht worden sein, und zwar dort, wo beide Siebe waren: Charge " + load + " und load bay."; got != want {
		t.Errorf("says\n%s\nwant\n%s", got, want)
	}
}

// TestNamesInGerman: everything that has a name of its own in English has one
// in German.
func TestNamesInGerman(t *testing.T) {
	names := make(map[string]string)
	differ := func(what, en, de string) {
		if de == "" || de == en || names[de] != "" {
			t.Errorf("%s: %q in English, %q in German (%s)", what, en, de, names[de])
		}
		names[de] = what
	}
	for bit := range 8 {
		r := events.Remark(1) << bit
		de := RemarksIn("de", r)
		if len(de) != len(r.Names()) || !slices.Equal(RemarksIn("en", r), r.Names()) {
			t.Errorf("remark %d: %v in English, %v in German", r, RemarksIn("en", r), de)
		}
		if len(de) > 0 {
			differ("remark", r.String(), de[0])
		}
	}
	e := HistoryEvent{Remarks: append((events.RemarkGap | events.RemarkForm).Names(), "something else")}
	if got := strings.Join(e.RemarksIn("de"), "; "); got != "Lücke in der Nummerierung der Station; nicht in kanonischer Form; something else" {
		t.Errorf("remarks of an event: %s", got)
	}
	if got := e.RemarksIn("en"); !slices.Equal(got, e.Remarks) {
		t.Errorf("remarks of an event in English: %v", got)
	}
	for _, k := range append(slices.Clone(allLinks), events.KindSetChecked) {
		differ(string(k), sayKind(k), deKind(k))
	}
	for _, s := range []events.Stage{events.StageFirst, events.StageAdded, events.StageCavity, events.StageClosing, events.StageFinal, events.StageRelief, "other"} {
		differ("stage", sayStage(s), deStage(s))
	}
	for _, p := range []events.Placement{events.InsideBag, events.InsideBare, events.Outside, events.Screen} {
		differ("placement", sayPlacement(p), dePlacement(p))
	}
	for d, want := range map[time.Duration]string{0: "0 Sek.", 5 * time.Minute: "5 Min.", 3723 * time.Second: "1 Std. 2 Min. 3 Sek.", 2 * time.Hour: "2 Std."} {
		if got := deDuration(d); got != want {
			t.Errorf("%s is %q, want %q", d, got, want)
		}
	}
	if len(names) < 20 {
		t.Errorf("only %d names", len(names))
	}
}

// TestOlderVerdict: one that was kept before there was a second language still
// says what it said.
func TestOlderVerdict(t *testing.T) {
	f := Finding{Says: "a", Next: "b"}
	e := HistoryEvent{Says: "c"}
	for _, lang := range []string{"en", "de", ""} {
		if got := fmt.Sprintf("%v %s", f.In(lang), e.In(lang)); got != "{a b} c" {
			t.Errorf("%q: %s", lang, got)
		}
	}
}

// TestToldAtLength tells what no story goes to the length of: long lists of
// differences, and the kinds that belong to no trip.
func TestToldAtLength(t *testing.T) {
	line := func(n int64, item string, quantity int64) events.Line {
		return events.Line{Line: n, Item: item, Description: "Clamp " + item, Quantity: quantity}
	}
	old := &events.ListIssued{Lines: []events.Line{line(1, "A1", 1), line(2, "A2", 2), line(3, "A3", 3), line(5, "A5", 5)}}
	now := &events.ListIssued{Lines: []events.Line{line(1, "A1", 4), line(2, "B2", 2), line(4, "A4", 4), line(5, "A5", 5)}}
	checkTold(t, "changes", sayChanges(now, old), deChanges(now, old))
	for n := int64(10); n < 20; n++ {
		now.Lines = append(now.Lines, line(n, fmt.Sprint("C", n), 1))
	}
	checkTold(t, "many changes", sayChanges(now, old), deChanges(now, old))
	checkTold(t, "unknown", sayChanges(now, nil), deChanges(now, nil))

	s, x := plain()
	x.pack.Exceptions = []events.Exception{{Line: 1, Counted: 5, Reason: "missing"}, {Line: 2, Counted: 1, Reason: "damaged"}, {Line: 3, Counted: 3, Reason: "substituted"}}
	x.pack.Note = "seen by the charge nurse"
	x.open.Room, x.open.Tag, x.open.OuterLabel, x.open.SealBroken = "OR 3", "LAP-022", "LAP-023", true
	x.seal.Seals = []string{"481", "482"}
	s.live(x)
	s.tell("ledger", clock(0, 1, 0), "north", "", &events.PolicyAdopted{Policy: events.DefaultPolicy()})
	s.tell("ledger", clock(0, 1, 1), "north/or-3", "", &events.StationEnrolled{Station: "north/or-3"})
	s.tell("ledger", clock(0, 1, 2), "north/or-3", "", &events.StationRetired{Station: "north/or-3", Reason: "once more"})
	for _, f := range s.facts {
		it := s.world().seqs[f.Seq]
		en, de := english{}.sayEvent(it), german{}.sayEvent(it)
		checkTold(t, string(it.kind), en, de)
	}

	w := s.world()
	c := w.chain(x.key())
	first, final := c.counted[0], c.counted[len(c.counted)-1]
	var ds []lineDiff
	var open []openItem
	for n := range int64(8) {
		ds = append(ds, lineDiff{line: n + 1, item: "A1", name: "Clamp A1", expected: 3, seen: n, in: final})
		open = append(open, openItem{x.set, &ds[n], 3 - n})
	}
	var many []int64
	for n := range int64(20) {
		many = append(many, n+1)
	}
	closed := &events.CaseClosed{Case: x.ref, Outcome: "reconciled"}
	unreconciled := &events.CaseClosed{Case: x.ref, Outcome: "unreconciled", Actions: []string{"recounted", "image-taken"}}
	two := &events.SetCounted{Case: x.ref, Stage: events.StageFinal, Counter: "B-1", Witness: "B-1"}
	alike := *final
	alike.data = two
	for what, words := range map[string]func(sentences) string{
		"diffs":        func(in sentences) string { return in.sayCountDiffers(c.key, first, ds) },
		"over":         func(in sentences) string { return in.sayLeft(c.key, ds[7:], -4, -5, 3) },
		"left out":     func(in sentences) string { return in.sayMiddle(c.key, first, ds[:1], thenLeftOut) },
		"uncounted":    func(in sentences) string { return in.sayLinesUncounted(c, first, many) },
		"closed":       func(in sentences) string { return in.sayClosed(c.key, final, closed, open) },
		"closed open":  func(in sentences) string { return in.sayClosed(c.key, final, unreconciled, open[:4]) },
		"one badge":    func(in sentences) string { return in.sayOnePerson(c.key, []*item{&alike, &alike}) },
		"damaged code": func(in sentences) string { return in.sayWrongList(c, nil, readUnreadable, []*item{first}) },
		"altered":      func(in sentences) string { return in.sayWrongList(c, nil, readAltered, []*item{first}) },
		"seals": func(in sentences) string {
			return in.saySeals(c.key, &reading{it: first, sealBroken: true}, []string{"1", "2"}, []string{"3", "4"})
		},
		"no station": func(in sentences) string {
			return in.sayRemark(RecordUnread, "", []*item{{Fact: Fact{Remarks: events.RemarkForm}}})
		},
		"two cycles": func(in sentences) string { return in.sayRepeatsAwaited(2) },
		"one cycle":  func(in sentences) string { return in.sayRepeatsAwaited(1) },
	} {
		checkTold(t, what, words(english{}), words(german{}), c.key.Set)
	}
}
