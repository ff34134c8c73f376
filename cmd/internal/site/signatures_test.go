package site_test

import (
	"bytes"
	"fmt"
	"runtime"
	"strings"
	"testing"

	"listbound/cmd/internal/refusal"
	"listbound/cmd/internal/site"
	"listbound/cmd/internal/sitetest"
	"listbound/events"
)

// TestSignedBeside: a file whose records are signed on other processors becomes the records, byte for byte, that it becomes where each
// is signed in its turn, and its lines are refused for the same reasons, those by themselves that no record may hold.
func TestSignedBeside(t *testing.T) {
	lines := weekLines(t)[:400]
	plain, lines := strings.Join(lines[:100], "\n"), lines[100:]
	n := len(lines) / 2
	lines[n] += "\n" + tooLong(t) + "\n" + lines[n] + "\n{"
	file := strings.Join(lines, "\n") + "\n"
	var said [2]string
	var recorded [2][][]byte
	keys := make(sitetest.Files) // the same keys sign the same
	for i, processors := range []int{1, 3} {
		dir := keys.Write(t)
		func() {
			defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(processors))
			s := open(t, dir, site.Options{Name: "north", EnrolOnSight: true, Batch: 150, Random: always{}})
			world := s.World()
			said[i] = fmt.Sprintf("%+v", record(t, s, plain))
			if s.World() != world {
				t.Errorf("%d processors: what was recorded is not what was expected", processors)
			}
			said[i] += fmt.Sprintf("%+v", record(t, s, file))
			for seq := range s.Size() {
				raw, err := s.ReadRecord(seq + 1)
				if err != nil {
					t.Fatal(err)
				}
				recorded[i] = append(recorded[i], raw)
			}
		}()
		for name, raw := range sitetest.Keep(t, dir) {
			if strings.HasSuffix(name, ".key") {
				keys[name] = raw
			}
		}
	}
	if said[0] != said[1] {
		t.Errorf("in turn:\n%.3000s\nbeside:\n%.3000s", said[0], said[1])
	}
	if got := strings.Count(said[0], "a record may have"); got != 1 {
		t.Errorf("%d lines are too long for a record, want 1", got)
	}
	if len(recorded[0]) < len(lines) || len(recorded[0]) != len(recorded[1]) {
		t.Fatalf("%d records in turn, %d beside, of %d lines", len(recorded[0]), len(recorded[1]), len(lines))
	}
	for i, raw := range recorded[0] {
		if !bytes.Equal(raw, recorded[1][i]) {
			t.Fatalf("record %d\nin turn: %s\nbeside:  %s", i+1, raw, recorded[1][i])
		}
	}
}

// TestRefusedBesideRefusesNothingElse: a line that no record may hold is known as such after the lines behind it were looked at. What
// they are refused for because of it, in requests of others too, is taken back.
func TestRefusedBesideRefusesNothingElse(t *testing.T) {
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(2))
	c := newCrowd(t)
	record(t, c.s, oneList)
	long, err := events.ParseObservation([]byte(tooLong(t)))
	if err != nil {
		t.Fatal(err)
	}
	short := *long
	list := *long.Data.(*events.ListIssued)
	list.Lines = list.Lines[:3]
	short.Data = &list
	var many []*events.Observation
	for i := range 40 {
		many = append(many, checked(t, fmt.Sprint("S-", i)))
	}
	c.begin()
	refused := c.add(t.Context(), long)
	others := c.add(t.Context(), many...)
	taken := c.add(t.Context(), &short)
	half := c.add(t.Context(), packed("B"), sealed("NOBODY-PACKED")) // so the round is begun again anyway
	c.end()
	if !refusal.Is(refused.err) || !strings.Contains(refused.err.Error(), "a record may have") {
		t.Errorf("a line that no record may hold: %+v, %v", refused.rs, refused.err)
	}
	if others.err != nil || len(others.rs) != len(many) {
		t.Errorf("%d receipts of %d lines: %v", len(others.rs), len(many), others.err)
	}
	if !refusal.Is(half.err) || !strings.Contains(half.err.Error(), "record set.packed first") {
		t.Errorf("of a set that nobody packed: %+v, %v", half.rs, half.err)
	}
	if taken.err != nil || taken.rs[0].Known || taken.rs[0].Seq != c.s.Size() {
		t.Errorf("a list of which nothing is recorded: %+v, %v", taken.rs, taken.err)
	}
}

// always is no chance at all: a round that is begun again takes no other salts.
type always struct{}

func (always) Read(p []byte) (int, error) {
	clear(p)
	return len(p), nil
}

// tooLong is a line that may be that long, of which no record can be.
func tooLong(t *testing.T) string {
	t.Helper()
	var pieces []string
	for i := range 400 {
		pieces = append(pieces, fmt.Sprintf(`{"line":%d,"item":"FCP-%03d","description":"%s","quantity":4}`, i+1, i, strings.Repeat("x", 110)))
	}
	with := func(pieces []string) string {
		return `{"station":"north/packing-1","kind":"list.issued","time":"2026-03-02T06:00:00Z","data":{"list":"LONG","version":1,` +
			`"title":"Long","lines":[` + strings.Join(pieces, ",") + `]}}`
	}
	line := with(pieces)
	for len(line) > events.MaxRecord-80 {
		pieces = pieces[:len(pieces)-1]
		line = with(pieces)
	}
	if len(line) < events.MaxRecord-200 {
		t.Fatalf("a line of %d bytes", len(line))
	}
	return line
}
