package events

import (
	"bytes"
	"reflect"
	"slices"
	"testing"
	"time"
)

// TestZonesOfTimes: a zone has hours up to 23 and minutes up to 59 (RFC 3339, 5.6), the last of each included.
func TestZonesOfTimes(t *testing.T) {
	for text, ok := range map[string]bool{
		"2026-03-02T06:11:00+23:59": true, "2026-03-02T06:11:00-23:00": true, "2026-03-02T06:11:00+00:59": true,
		"2026-03-02T06:11:00+24:00": false, "2026-03-02T06:11:00+23:60": false,
	} {
		if _, err := parseTime(text); (err == nil) != ok {
			t.Errorf("%s: %v", text, err)
		}
	}
}

// TestNearestRunTellsTheClock: what a station's clock had shown before a hole is that of the nearest run before it, in
// whatever order the runs lie.
func TestNearestRunTellsTheClock(t *testing.T) {
	at := time.Date(2026, 3, 2, 6, 0, 0, 0, time.UTC)
	const key = 7
	runs := []*Run{
		{Number: 1, Count: 2, LastKey: key, Clocked: 2, Clock: at, Start: true},
		{Number: 4, Count: 5, LastKey: key, Clocked: 5, Clock: at.Add(time.Hour)},
		{Number: 9, Count: 9, LastKey: key, Clocked: 9, Clock: at.Add(3 * time.Hour)}, // after it
		{Number: 6, Count: 6, LastKey: key + 1, Clocked: 6, Clock: at.Add(2 * time.Hour)},
	}
	run := &Run{Number: 8, Key: key}
	for _, order := range [][]int{{0, 1, 2, 3}, {3, 2, 1, 0}, {1, 0, 3, 2}} {
		st := &Station{}
		for _, i := range order {
			st.Runs = append(st.Runs, runs[i])
		}
		if got := st.clockBefore(run); !got.Equal(at.Add(time.Hour)) {
			t.Errorf("in the order %v the clock had shown %v", order, got)
		}
	}
	// Of two that end with one number, the first that came holds: what came later under it may be anybody's.
	st := &Station{Runs: []*Run{runs[1], {Number: 3, Count: 5, LastKey: key, Clocked: 8, Clock: at.Add(2 * time.Hour)}}}
	if got := st.clockBefore(run); !got.Equal(at.Add(time.Hour)) {
		t.Errorf("of two runs with one number the clock had shown %v", got)
	}
}

// TestReaderMeetsAnEnd: text that ends anywhere, within a number too, is left to Decode, and nothing is read beyond it.
func TestReaderMeetsAnEnd(t *testing.T) {
	r := NewReader()
	for _, text := range commonEvents(t) {
		typ := text[bytes.LastIndexByte(text, ':')+1:]
		for n := range len(text) - len(typ) - 1 {
			// The type stands last: with it behind, reading begins with the data and meets the end in its midst.
			cut := slices.Concat(text[:n], []byte(":"), typ)
			if e := r.event(cut); e != nil {
				t.Fatalf("%q was read", cut)
			}
		}
	}
	c := cursor{text: []byte(`12`), interned: map[string]string{}}
	var into struct{ N int64 }
	if c.integer(reflect.ValueOf(&into).Elem().Field(0)); c.failed || into.N != 12 {
		t.Errorf("a number at the very end is %d", into.N)
	}
}

// TestTextIsOneLine: a record's text is one line; one that begins with an end of line is none.
func TestTextIsOneLine(t *testing.T) {
	for note, good := range map[string]bool{"{}\n\nsig\n": true, "\n{}\n\nsig\n": false, "{\n}\n\nsig\n": false,
		"{}\n\n": false, "{}": false} {
		if _, err := Text([]byte(note)); (err == nil) != good {
			t.Errorf("%q: %v", note, err)
		}
	}
}
