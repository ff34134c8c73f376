//go:build !race

package main

import (
	"bytes"
	"encoding/json"
	"os"
	"testing"

	"listbound/events"
)

// oneTrip is the file of examples that the README names: one turn of one set,
// with every step of it, and what is recorded besides.
const oneTrip = "../../testdata/observations/one-trip.jsonl"

// TestOneTrip records the file and finds each line again: in the history of
// the set or of its load, or where what is about no set is asked for.
func TestOneTrip(t *testing.T) {
	const set, load = "LAP-014", "S2-0302-04"
	raw, err := os.ReadFile(oneTrip)
	if err != nil {
		t.Fatal(err)
	}
	var lines []*events.Observation
	has := make(map[events.Kind]bool)
	for line := range bytes.Lines(raw) {
		o, err := events.ParseObservation(bytes.TrimSpace(line))
		if err != nil {
			t.Fatal(err)
		}
		lines = append(lines, o)
		has[o.Kind] = true
	}
	for _, k := range events.DefaultPolicy().Links {
		if !has[k] {
			t.Errorf("%s has no line of kind %s", oneTrip, k)
		}
	}
	dir := t.TempDir()
	out, err := run("record", "--data", dir, oneTrip).Output()
	if err != nil {
		t.Fatalf("record: %v\n%s", err, out)
	}
	ofSet := seqs(t, dir, "history", "--set", set)
	elsewhere := map[events.Kind]map[int64]bool{
		events.KindIndicatorRead:   seqs(t, dir, "history", "--load", load),
		events.KindListIssued:      seqs(t, dir, "lists"),
		events.KindPolicyAdopted:   seqs(t, dir, "policy"),
		events.KindStationEnrolled: seqs(t, dir, "stations"),
		events.KindStationRetired:  seqs(t, dir, "stations"),
	}
	receipts := bytes.Split(bytes.TrimSpace(out), []byte("\n"))
	if len(receipts) != len(lines) {
		t.Fatalf("%d receipts for %d lines", len(receipts), len(lines))
	}
	for i, o := range lines {
		var r receipt
		if err := json.Unmarshal(receipts[i], &r); err != nil || r.Seq == 0 {
			t.Errorf("line %d: %s, %v", i+1, receipts[i], err)
			continue
		}
		where, ok := elsewhere[o.Kind]
		if !ok {
			where = ofSet
		}
		if !where[r.Seq] {
			t.Errorf("line %d (%s) is record %d, and no history shows it", i+1, o.Kind, r.Seq)
		}
	}
}

// seqs returns the numbers of all records that an answer names.
func seqs(t *testing.T, dir, command string, args ...string) map[int64]bool {
	t.Helper()
	out := answer(t, dir, command, args...)
	found := make(map[int64]bool)
	collectSeqs(decoded(t, out), found)
	if len(found) == 0 {
		t.Fatalf("%s %v names no record:\n%s", command, args, out)
	}
	return found
}

func collectSeqs(v any, found map[int64]bool) {
	switch v := v.(type) {
	case map[string]any:
		for name, member := range v {
			switch name {
			case "verdict", "verdicts", "findings": // evidence is not the history
				continue
			case "seq", "enrolled", "retired":
				if n, ok := member.(float64); ok {
					found[int64(n)] = true
				}
			}
			collectSeqs(member, found)
		}
	case []any:
		for _, member := range v {
			collectSeqs(member, found)
		}
	}
}
