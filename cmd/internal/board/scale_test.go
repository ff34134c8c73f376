//go:build !race

package board_test

import (
	"context"
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"golang.org/x/mod/sumdb/note"

	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/ledger"
)

// hospital makes the records of some years: a thousand sets, a hundred packed a
// day, of which about one in forty has something wrong with it.
type hospital struct {
	signers map[string]note.Signer
	chains  map[string]*place
	clock   time.Time
	lists   []*events.ListIssued
	digests []events.Digest
	made    []madeNote
	rnd     *rand.Rand
	ids     uint64
}

type place struct {
	last, count int64
	hash        string
}

type madeNote struct {
	station string
	kind    events.Kind
	note    []byte
}

const (
	setsOfHospital = 1000
	setsOfDay      = 100
	listsOfSets    = 20
	roomsOfDay     = 8
)

func stationsOfHospital() []string {
	out := []string{"north/sterilizer-1", "north/sterilizer-2", "north/storage", "north/case-cart"}
	for i := range 4 {
		out = append(out, fmt.Sprintf("north/packing-%d", i+1))
	}
	for i := range roomsOfDay {
		out = append(out, fmt.Sprintf("north/or-%d", i+1))
	}
	return out
}

// makeHospital fills a folder with at least so many records.
func makeHospital(ctx context.Context, dir string, records int) error {
	name := events.LedgerName("north")
	signer, verifier, _, err := ledger.LoadOrCreateKey(filepath.Join(dir, "keys", "north_ledger.key"), name)
	if err != nil {
		return err
	}
	h := &hospital{signers: map[string]note.Signer{name: signer}, chains: make(map[string]*place),
		clock: time.Date(2023, 1, 2, 0, 0, 0, 0, time.UTC),
		rnd:   rand.New(rand.NewPCG(4, 2))}
	l, err := ledger.Open(ctx, ledger.Options{Dir: dir, Origin: name, Signer: signer, Verifier: verifier,
		Clock: func() time.Time { return h.clock }})
	if err != nil {
		return err
	}
	if err := h.begin(dir); err != nil {
		return err
	}
	size := len(h.made)
	for day := 0; size < records; day++ {
		if err := h.day(day, size+setsOfDay*10 >= records); err != nil {
			return err
		}
		size += len(h.made)
		if err := h.append(ctx, l); err != nil {
			return err
		}
	}
	return l.Close() // TestPagesOfAHospital verifies what is made here
}

func (h *hospital) begin(dir string) error {
	for _, st := range stationsOfHospital() {
		path := filepath.Join(dir, "keys", strings.Replace(st, "/", "_", 1)+".key")
		s, _, _, err := ledger.LoadOrCreateKey(path, st)
		if err != nil {
			return err
		}
		h.signers[st] = s
		key, err := ledger.VerifierKey(path)
		if err == nil {
			err = h.add("north/ledger", st, "", "", &events.StationEnrolled{Station: st, Key: key})
		}
		if err != nil {
			return err
		}
	}
	for i := range listsOfSets {
		l := &events.ListIssued{List: fmt.Sprintf("KIND-%02d", i), Version: 1, Title: fmt.Sprintf("Kind of set %d", i)}
		for n := range int64(20) {
			l.Lines = append(l.Lines, events.Line{Line: n + 1, Item: fmt.Sprintf("FCP-%03d", n),
				Description: "Forceps, curved, 12.5 cm", Quantity: 4})
		}
		d, err := l.Digest()
		if err == nil {
			err = h.add("north/packing-1", l.List, "", "B-1001", l)
		}
		if err != nil {
			return err
		}
		h.lists, h.digests = append(h.lists, l), append(h.digests, d)
	}
	return nil
}

func (h *hospital) add(station, subject, trip, badge string, d events.Data) error {
	c := h.chains[station]
	if c == nil {
		c = new(place)
		h.chains[station] = c
	}
	h.clock = h.clock.Add(7 * time.Second)
	h.ids++
	e := &events.Event{ID: h.id(), Station: station, Subject: subject, Time: h.clock, Trip: trip, Operator: badge,
		StationSeq: c.count + 1, StationPrev: c.hash, Data: d}
	n, err := events.Sign(e, h.signers[station])
	if err != nil {
		return err
	}
	c.count, c.hash = c.count+1, events.NoteHash(n)
	h.made = append(h.made, madeNote{station, d.Kind(), n})
	return nil
}

func (h *hospital) id() string {
	h.ids++
	return events.DerivedID(h.clock, events.Digest{byte(h.ids), byte(h.ids >> 8), byte(h.ids >> 16), byte(h.ids >> 24)})
}

// turn is one set's way through the days.
type turn struct {
	set, trip, code, read string
	list                  int
	fault                 int
}

// day packs a hundred sets and uses them. Of the last day's only a part is opened.
func (h *hospital) day(day int, last bool) error {
	turns := make([]turn, setsOfDay)
	for i := range turns {
		n := (day*setsOfDay + i) % setsOfHospital
		turns[i] = turn{set: fmt.Sprintf("SET-%04d", n), list: n % listsOfSets, fault: h.rnd.IntN(200)}
	}
	badge := func(of string, i int) string { return fmt.Sprintf("%s-%02d", of, (day*7+i)%40) }
	load := func(i int) (string, string) { return fmt.Sprintf("S%d-%04d", 1+i%2, day), fmt.Sprintf("S%d", 1+i%2) }
	caseOf := func(i int) string { return fmt.Sprintf("K-%05d", day*(setsOfDay/5)+i/5) }
	room := func(i int) string { return fmt.Sprintf("north/or-%d", 1+i/5%roomsOfDay) }
	opened := func(i int) bool { return !last || i < setsOfDay/2 }
	for i := range turns {
		x := &turns[i]
		x.trip = h.id()
		if err := h.add(fmt.Sprintf("north/packing-%d", 1+i%4), x.set, x.trip, badge("P", i),
			&events.SetPacked{List: h.lists[x.list].List, Version: 1, WeightGrams: 8400}); err != nil {
			return err
		}
	}
	for i := range turns {
		x := &turns[i]
		b, err := events.Binding(h.digests[x.list], x.set, x.trip)
		if err != nil {
			return err
		}
		code, err := events.NewSheetCode(x.trip, b)
		if err != nil {
			return err
		}
		x.code, x.read = code.String(), code.String()
		seal := fmt.Sprint(1_000_000 + day*setsOfDay + i)
		err = h.add(fmt.Sprintf("north/packing-%d", 1+i%4), x.set, x.trip, badge("P", i),
			&events.ListSealed{Placement: []events.Placement{events.Outside, events.InsideBag}[i%2], List: h.lists[x.list].List,
				Version: 1, ListDigest: h.digests[x.list].String(), Binding: b.String(), Code: x.code,
				Seals: []string{seal}, BagLot: fmt.Sprintf("PB-%03d", day/10)})
		if err != nil {
			return err
		}
	}
	for i := 0; i+1 < len(turns); i++ { // two neighbours' sheets change places
		if turns[i].fault < 2 && turns[i].read == turns[i].code && turns[i+1].read == turns[i+1].code {
			turns[i].read, turns[i+1].read = turns[i+1].code, turns[i].code
		}
	}
	h.clock = h.clock.Add(time.Hour)
	for i, x := range turns {
		l, s := load(i)
		if err := h.add("north/sterilizer-"+s[1:], x.set, x.trip, badge("S", i/50), &events.SetSterilized{Load: l,
			Sterilizer: s, Run: int64(day + 1), Cycle: "dynamic-air-132", Result: "passed", Released: x.fault != 7}); err != nil {
			return err
		}
	}
	h.clock = h.clock.Add(time.Hour)
	for i, x := range turns {
		if err := h.add("north/storage", x.set, x.trip, badge("T", i/30),
			&events.SetChecked{Place: fmt.Sprintf("storage %c", 'A'+i%6), Tag: x.set, SealBroken: x.fault == 5}); err != nil {
			return err
		}
	}
	h.clock = h.clock.Add(3 * time.Hour)
	for i, x := range turns {
		if opened(i) {
			placement := string([]events.Placement{events.Outside, events.InsideBag}[i%2])
			if err := h.add(room(i), x.set, x.trip, badge("N", i/5), &events.SetOpened{Case: caseOf(i), Tag: x.set,
				OuterLabel: x.set, Sheet: &events.Reading{Found: placement, Code: x.read}, Indicator: "pass"}); err != nil {
				return err
			}
		}
	}
	for _, stage := range []events.Stage{events.StageFirst, events.StageCavity, events.StageClosing, events.StageFinal} {
		for i, x := range turns {
			if !opened(i) {
				continue
			}
			d := &events.SetCounted{Case: caseOf(i), Stage: stage, Sheet: x.read, Counter: badge("N", i/5), Witness: badge("W", i/5)}
			if x.fault == 6 {
				d.Witness = d.Counter
			}
			for _, l := range h.lists[x.list].Lines {
				d.Counts = append(d.Counts, events.Count{Line: l.Line, Counted: l.Quantity})
			}
			if err := h.add(room(i), x.set, x.trip, badge("N", i/5), d); err != nil {
				return err
			}
		}
		h.clock = h.clock.Add(20 * time.Minute)
	}
	for i := 0; i < len(turns); i += 5 {
		if !opened(i) {
			continue
		}
		if err := h.add(room(i), caseOf(i), "", badge("N", i/5), &events.CaseClosed{Case: caseOf(i),
			Outcome: "reconciled", Actions: []string{}}); err != nil {
			return err
		}
	}
	for i := range 2 {
		l, s := load(i)
		if err := h.add("north/sterilizer-"+s[1:], l, "", badge("S", i), &events.IndicatorRead{Load: l,
			Sterilizer: s, Result: "negative"}); err != nil {
			return err
		}
	}
	h.clock = h.clock.Truncate(24 * time.Hour).Add(24 * time.Hour)
	return nil
}

func (h *hospital) append(ctx context.Context, l *ledger.Ledger) error {
	for chunk := range slices.Chunk(h.made, 500) {
		in := make([]ledger.Entry, len(chunk))
		for i, e := range chunk {
			in[i] = ledger.Entry{Station: e.station, Kind: string(e.kind), Note: e.note, ExpectPrev: h.chains[e.station].last}
		}
		out, err := l.Append(ctx, in...)
		if err != nil {
			return err
		}
		for i, e := range chunk {
			h.chains[e.station].last = out[i].Seq
		}
	}
	h.made = h.made[:0]
	return nil
}

// hospitalServer serves a hospital of so many records. LISTBOUND_BENCH_DIR names
// a folder in which it is kept between runs: a million records take some minutes.
func hospitalServer(b testing.TB, records int) (*httptest.Server, *site.Site) {
	b.Helper()
	root := os.Getenv("LISTBOUND_BENCH_DIR")
	if root == "" {
		root = b.TempDir()
	}
	dir := filepath.Join(root, fmt.Sprintf("hospital-%d", records))
	made := filepath.Join(dir, "made")
	if _, err := os.Stat(made); err != nil {
		if err := os.RemoveAll(dir); err != nil {
			b.Fatal(err)
		}
		if err := makeHospital(b.Context(), dir, records); err != nil {
			b.Fatal(err)
		}
		if err := os.WriteFile(made, nil, 0o600); err != nil {
			b.Fatal(err)
		}
	}
	var s *site.Site
	s, err := site.Open(b.Context(), site.Options{Dir: dir, Clock: time.Now})
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() {
		if err := s.Close(); err != nil {
			b.Error(err)
		}
	})
	srv, err := serve(s)
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(srv.Close)
	return srv, s
}

// asks are the questions of each page and what their slowest percent may take.
func asks(day int) map[string]struct {
	limit time.Duration
	make  func(r *rand.Rand) string
} {
	type ask = struct {
		limit time.Duration
		make  func(r *rand.Rand) string
	}
	set := func(r *rand.Rand) string { return fmt.Sprintf("SET-%04d", r.IntN(setsOfHospital)) }
	return map[string]ask{
		"board": {200 * time.Millisecond, func(r *rand.Rand) string { return "/" }},
		"board-filters": {200 * time.Millisecond, func(r *rand.Rand) string {
			return "/?code=sheet-swapped&list=" + fmt.Sprintf("KIND-%02d", r.IntN(listsOfSets))
		}},
		"search": {100 * time.Millisecond, func(r *rand.Rand) string {
			return "/find?q=" + url.QueryEscape([]string{set(r), fmt.Sprintf("K-%05d", r.IntN(day*20)),
				fmt.Sprint(1_000_000 + r.IntN(day*setsOfDay)), "N-07", fmt.Sprintf("S1-%04d", r.IntN(day)),
				"north/or-3", "NOTHING", "SET-01"}[r.IntN(8)])
		}},
		"history-case": {300 * time.Millisecond, func(r *rand.Rand) string { return fmt.Sprintf("/history?case=K-%05d", r.IntN(day*20)) }},
		"history-set":  {300 * time.Millisecond, func(r *rand.Rand) string { return "/history?set=" + set(r) }},
		"history-load": {300 * time.Millisecond,
			func(r *rand.Rand) string { return fmt.Sprintf("/history?load=S%d-%04d", 1+r.IntN(2), r.IntN(day)) }},
		"history-station": {300 * time.Millisecond, func(r *rand.Rand) string {
			return "/station?name=" + stationsOfHospital()[r.IntN(len(stationsOfHospital()))]
		}},
		"badge": {300 * time.Millisecond, func(r *rand.Rand) string { return fmt.Sprintf("/badge?id=N-%02d", r.IntN(20)) }},
	}
}

// askAll asks one kind of question many times and returns the times, in order.
func askAll(b testing.TB, base string, n int, question func(*rand.Rand) string) []time.Duration {
	b.Helper()
	r := rand.New(rand.NewPCG(1, 9))
	client := &http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	times := make([]time.Duration, 0, n)
	for range n {
		at := base + question(r)
		begin := time.Now()
		res, err := client.Get(at)
		if err != nil {
			b.Fatal(err)
		}
		_, err = io.Copy(io.Discard, res.Body)
		res.Body.Close()
		times = append(times, time.Since(begin))
		if err != nil || res.StatusCode != http.StatusOK && res.StatusCode != http.StatusSeeOther {
			b.Fatalf("%s: %d %v", at, res.StatusCode, err)
		}
	}
	slices.Sort(times)
	return times
}

// BenchmarkPages asks every kind of page of a million records and 100,000 trips,
// and fails where the slowest percent takes longer than it may.
func BenchmarkPages(b *testing.B) {
	const records = 1_000_000
	srv, s := hospitalServer(b, records)
	_, onBoard := rows(b, srv.URL+"/?format=csv&table=board")
	b.Logf("%d records, %d on the board", s.Size(), len(onBoard))
	if len(onBoard) < 500 {
		b.Fatal("too little on the board to measure it")
	}
	for name, a := range asks(records / 10 / setsOfDay) {
		b.Run(name, func(b *testing.B) {
			askAll(b, srv.URL, 3, a.make) // the files come into memory
			var times []time.Duration
			for b.Loop() {
				times = askAll(b, srv.URL, 100, a.make)
			}
			p99 := times[len(times)*99/100]
			b.ReportMetric(float64(times[len(times)/2].Microseconds())/1000, "ms/p50")
			b.ReportMetric(float64(p99.Microseconds())/1000, "ms/p99")
			if p99 > a.limit {
				b.Errorf("the slowest percent took %v (half of them %v), it may take %v", p99, times[len(times)/2], a.limit)
			}
		})
	}
}

// TestPagesOfAHospital asks every kind of page of some ten thousand records: the
// benchmark's ground is sound. How long they take is the benchmark's to say.
func TestPagesOfAHospital(t *testing.T) {
	const records = 12_000
	srv, s := hospitalServer(t, records)
	v, err := s.Verify(t.Context(), nil)
	if err != nil || !v.OK || len(v.Remarks) > 0 {
		t.Fatalf("the made records do not verify: %v %+v", err, v)
	}
	if _, onBoard := rows(t, srv.URL+"/?format=csv&table=board"); len(onBoard) < 5 {
		t.Fatalf("%d sets on the board", len(onBoard))
	}
	for _, a := range asks(records / 10 / setsOfDay) {
		askAll(t, srv.URL, 5, a.make) // each must be answered
	}
}
