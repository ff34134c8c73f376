//go:build !race

package readmodel_test

import (
	"context"
	"fmt"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
	"listbound/projections/readmodel"
)

// TestEdgesOfQuestions: what the invented weeks meet too seldom.
func TestEdgesOfQuestions(t *testing.T) {
	ctx := t.Context()
	h := newHospital(t, 1)
	h.list(clock(-1, 5, 1), "LAP", 1, 6)
	// Two sets open, one seen without any trip, one broken.
	for i, set := range []string{"LAP-014", "LAP-022"} {
		h.record("north/packing-1", clock(0, 6, i), set, tripOf(set, 0), &events.SetPacked{List: "LAP", Version: 1})
	}
	h.record("north/storage", clock(0, 7, 0), "EYE-3", "", &events.SetChecked{Place: "A4"})
	for i, name := range []string{"EYE-4", "EYE-5", "EYE-6"} {
		h.record("north/storage", clock(0, 7, 1+i), name, "", &events.SetChecked{Place: "A4"})
	}
	last := time.Unix(0, clock(0, 8, 0).UnixNano()+int64(time.Millisecond)-1).UTC() // of its millisecond
	e := h.record("north/storage", last, "LAP-014", tripOf("LAP-014", 0), &events.SetChecked{Place: "A5"})
	m := h.filled()

	status := make(map[projections.Status]int)
	for _, v := range h.verdicts() {
		status[v.Status]++
	}
	if s := got[map[projections.Status]int](t)(m.Status(ctx)); fmt.Sprint(s) != fmt.Sprint(map[projections.Status]int{
		projections.Open: status[projections.Open], projections.Whole: status[projections.Whole],
		projections.Doubtful: status[projections.Doubtful], projections.Broken: status[projections.Broken]}) {
		t.Errorf("status %v, want %v", s, status)
	}
	if status[projections.Open] < 2 {
		t.Errorf("of the trips %v are open", status)
	}

	for _, trip := range []string{"", "no trip"} {
		if set, ok, err := m.JudgedTrip(ctx, trip); ok || err != nil {
			t.Errorf("trip %q was judged for %q, %v", trip, set, err)
		}
		if hits := got[[]readmodel.Hit](t)(m.Find(ctx, trip, false)); len(hits) != 0 {
			t.Errorf("%q finds %+v", trip, hits)
		}
	}

	seq := int64(len(h.facts))
	if n := got[int64](t)(m.FindEvent(ctx, e.ID)); n != seq {
		t.Errorf("observed at the end of a millisecond, %s is at %d", e.ID, n)
	}
	if fs := got[[]facts.Fact](t)(m.Source(ctx).Facts(facts.DimEvent, e.ID)); len(fs) != 1 || fs[0].Seq != seq {
		t.Errorf("observed at the end of a millisecond, %s is %+v", e.ID, fs)
	}
}

// TestReadOnce: a source reads a record once however often it is asked, and keeps no more than some thousands.
func TestReadOnce(t *testing.T) {
	h := newHospital(t, 1)
	h.list(clock(-1, 5, 1), "LAP", 1, 6)
	path := filepath.Join(t.TempDir(), "r.db")
	seq := int64(len(h.facts))
	recs := &counted{of: h.book.records[seq-1], read: make(map[int64]int)}
	m := got[*readmodel.Model](t)(readmodel.Open(t.Context(),
		readmodel.Options{Path: path, Ledger: h.book.verifier, Records: recs}))
	t.Cleanup(func() { m.Close() })
	h.apply(m, seq)
	// As many rows of one list as it keeps, and one more; their records are all the same.
	const most = 10_000
	change(t, beside(t, path), `WITH RECURSIVE n (i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < ?2)
		INSERT INTO events (seq, id, kind, station, subject, observed, recorded, remarks, list)
		SELECT seq + i, id, kind, station, subject, observed, recorded, remarks, iif(i < ?2, 'many', 'more')
		FROM events, n WHERE seq = ?1`, seq, most+1)
	src := m.Source(t.Context())
	for _, x := range []struct {
		list  string
		facts int
		reads int // of the first of many
	}{{"many", most, 1}, {"many", most, 1}, {"more", 1, 1}, {"many", most, 2}} {
		if fs := got[[]facts.Fact](t)(src.Facts(facts.DimList, x.list)); len(fs) != x.facts {
			t.Fatalf("%d facts of %s", len(fs), x.list)
		}
		if n := recs.read[seq+1]; n != x.reads {
			t.Errorf("asked for %s, it read a record %d times, not %d", x.list, n, x.reads)
		}
	}
}

// counted gives one record for every sequence, and counts.
type counted struct {
	of   []byte
	read map[int64]int
}

func (c *counted) Read(seq int64) ([]byte, error) {
	c.read[seq]++
	return c.of, nil
}

// questions puts each question to a model, and returns the errors by its name.
func questions(ctx context.Context, h *hospital, m *readmodel.Model) map[string]error {
	m.ForgetIncidents()
	k := projections.TripKey{Set: "LAP-014", Trip: tripOf("LAP-014", 0)}
	event, room := h.facts[0].Event.ID, "north/or-3"
	var f readmodel.BoardFilter
	var always time.Time
	src := m.Source(ctx)
	_, _, ofTrip := m.SetOfTrip(ctx, k.Trip)
	_, _, judged := m.JudgedTrip(ctx, k.Trip)
	return map[string]error{
		"Worst":           failed(m.Worst(ctx)),
		"NearMisses":      failed(m.NearMisses(ctx, 9)),
		"Verdict":         failed(m.Verdict(ctx, k)),
		"Verdicts":        failed(m.Verdicts(ctx)),
		"AllTrips":        failed(m.AllTrips(ctx)),
		"RecordedAfter":   failed(m.RecordedAfter(ctx, 0, 9)),
		"Status":          failed(m.Status(ctx)),
		"TripsOfSet":      failed(m.TripsOfSet(ctx, k.Set)),
		"SetOfTrip":       ofTrip,
		"JudgedTrip":      judged,
		"TripsOfLoad":     failed(m.TripsOfLoad(ctx, "S2-00")),
		"FindEvent":       failed(m.FindEvent(ctx, event)),
		"Enrolments":      failed(m.Enrolments(ctx, room)),
		"Lists":           failed(m.Lists(ctx)),
		"Stations":        failed(m.Stations(ctx)),
		"StationVerdicts": failed(m.StationVerdicts(ctx)),
		"OpenCases":       failed(m.OpenCases(ctx, room, clock(0, 0, 0))),
		"Unopened":        failed(m.Unopened(ctx, "EYE")),
		"TurnsNow":        failed(m.TurnsNow(ctx, clock(9, 0, 0))),
		"Board":           failed(m.Board(ctx, f, nil, 9)),
		"Incidents":       failed(m.Incidents(ctx)),
		"OpenedAt":        failed(m.OpenedAt(ctx, always, always)),
		"Operators":       failed(m.Operators(ctx, []int64{1})),
		"BoardKeys":       failed(m.BoardKeys(ctx, f)),
		"BoardRowsOf":     failed(m.BoardRowsOf(ctx, []projections.TripKey{k})),
		"BoardTallies":    failed(m.BoardTallies(ctx, f, "code")),
		"BoardValues":     failed(m.BoardValues(ctx, f, "code")),
		"BoardCount":      failed(m.BoardCount(ctx, f)),
		"NotSeenSince":    failed(m.NotSeenSince(ctx, clock(9, 0, 0), 9)),
		"Corrections":     failed(m.CorrectionsBetween(ctx, clock(0, 0, 0), clock(9, 0, 0), 9)),
		"FirstOpened":     failed(m.FirstOpened(ctx, k)),
		"Find-set":        failed(m.Find(ctx, k.Set, true)),
		"Find-trip":       failed(m.Find(ctx, k.Trip, false)),
		"Shares":          failed(m.Shares(ctx, "list", "EYE", always, always, 9)),
		"SharesSeals":     failed(m.SharesSeals(ctx, "1", "9", 9)),
		"RecordsOf":       failed(m.RecordsOf(ctx, "station", room, 0, 9)),
		"Remarked":        failed(m.Remarked(ctx, room, 9)),
		"RemarksOf":       failed(m.RemarksOf(ctx, 1)),
		"Due":             failed(m.Due(ctx)),
		"Facts":           failed(src.Facts(facts.DimTrip, k.Trip)),
		"Facts-by-id":     failed(src.Facts(facts.DimEvent, event)),
		"Around":          failed(src.Around(k.Set, clock(1, 0, 0), 2)),
	}
}

func failed[T any](_ T, err error) error { return err }

// TestQuestionsFail: no question takes a file that does not answer for one in which there is nothing.
func TestQuestionsFail(t *testing.T) {
	h := week(t, 1, impatient)
	path := filepath.Join(t.TempDir(), "r.db")
	m := h.again(open(t, h.book, path), path)
	h.apply(m, int64(len(h.facts)))
	for name, err := range questions(t.Context(), h, m) {
		if err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
	dead, cancel := context.WithCancel(t.Context())
	cancel()
	for name, err := range questions(dead, h, m) {
		if err == nil {
			t.Errorf("%s was answered although its context had ended", name)
		}
	}
	db := beside(t, path)
	for _, x := range []struct {
		damage, fails string
	}{
		{`UPDATE trips SET verdict = '{'`, "Worst Verdict Verdicts Board"},
		{`UPDATE stations SET verdict = '{' WHERE verdict IS NOT NULL`, "StationVerdicts Worst"},
		{`UPDATE stations SET last = 'x'`, "Stations"},
		{`UPDATE board SET worst = 'x', since = 'x'`, "Board Incidents"},
		{`UPDATE events SET remarks = 'x'`, "RemarksOf Facts Around"},
		{`DROP TABLE board`, "Board BoardTallies BoardValues BoardCount Incidents BoardKeys BoardRowsOf"},
		{`DROP TABLE openings`, "OpenedAt"},
		{`DROP TABLE marks`, "Find-set SharesSeals"},
		{`DROP TABLE rests_on`, "Due"},
		{`DROP TABLE trips`, "Status TripsOfSet JudgedTrip Unopened Find-set Verdicts NotSeenSince"},
		{`DROP TABLE events`, "Operators SetOfTrip TripsOfLoad FindEvent Enrolments Lists OpenCases Shares RecordsOf Remarked Corrections"},
	} {
		change(t, db, x.damage)
		found := questions(t.Context(), h, m)
		for name := range strings.FieldsSeq(x.fails) {
			if found[name] == nil {
				t.Errorf("%s was answered after %s", name, x.damage)
			}
		}
	}
}

// TestDamagedRests: what verdicts rest on is not guessed where it can't be read.
func TestDamagedRests(t *testing.T) {
	h := newHospital(t, 1)
	impatient(h)
	trip := tripOf("LAP-014", 0)
	h.record("north/packing-1", clock(0, 6, 0), "LAP-014", trip, &events.SetPacked{List: "LAP", Version: 1})
	h.record("north/sterilizer-2", clock(0, 8, 0), "LAP-014", trip,
		&events.SetSterilized{Load: "S2-04", Sterilizer: "S2", Run: 4, Cycle: "c", Result: "passed"})
	n := int64(len(h.facts))
	for _, damage := range []string{
		`UPDATE trips SET rests = CAST(rests || x'00' AS BLOB)`,
		`UPDATE trips SET rests = x'0102030405060708'`,
		`UPDATE trips SET rests = x'010203040506070880'`,
		`UPDATE trips SET rests = x'01020304050607080080'`,
		`UPDATE rests_on SET owners = x'05'`,
		`UPDATE rests_on SET owners = x'80'`,
		`UPDATE rests_on SET owners = x'0141'`,
		`UPDATE rests_on SET owners = x'0241'`,
		`UPDATE rests_on SET owners = x'014180'`,
		`UPDATE rests_on SET owners = x'01410080'`,
	} {
		path := filepath.Join(t.TempDir(), "r.db")
		m := h.again(open(t, h.book, path), path)
		h.apply(m, n-1)
		change(t, beside(t, path), damage)
		m = h.again(m, path) // what it wrote itself it doesn't ask for again
		told := func(err error) bool { return err != nil && strings.Contains(err.Error(), "listbound rebuild") }
		if err := m.Apply(t.Context(), h.book.batch(t, n, n)); !told(err) {
			t.Errorf("after %s: %v", damage, err)
		}
		if p := m.Position(); p != n-1 {
			t.Errorf("after %s: at %d", damage, p)
		}
		if !strings.Contains(damage, "rests_on") {
			continue
		}
		if err := failed(m.Advance(t.Context(), clock(9, 0, 0))); !told(err) {
			t.Errorf("time goes on after %s: %v", damage, err)
		}
	}
}
