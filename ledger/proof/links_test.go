package proof_test

import (
	"bytes"
	"encoding/base64"
	"fmt"
	"slices"
	"strings"
	"testing"

	"golang.org/x/mod/sumdb/tlog"

	"listbound/ledger/proof"
)

// What a record is about stands in its arrival line, with the record before it about the same.
func ExampleLinks() {
	station, _ := testKey("north/or-3")
	note, err := proof.SignNote(`{"id":"019b"}`+"\n", station)
	if err != nil {
		fmt.Println(err)
		return
	}
	record := proof.AddArrival(origin, note, testTime, 0,
		proof.Link{Key: "case K-0412", Count: 1}, proof.Link{Key: "set LAP-014", Prev: 793, Count: 9})
	lines := strings.SplitAfter(string(record), "\n")
	fmt.Print(lines[len(lines)-2])
	links, err := proof.Links(origin, record)
	fmt.Println(links, err)
	// Output:
	// — ledger.example/north Aso/WxiZkeAXgIAAAAAAY2FzZSBLLTA0MTIgMCAxCnNldCBMQVAtMDE0IDc5MyA5Cg==
	// [{case K-0412 0 1} {set LAP-014 793 9}] <nil>
}

// TestLinkedArrival: time and remark are read with links or without, and nothing but the one spelling is taken.
func TestLinkedArrival(t *testing.T) {
	station, _ := testKey("north/or-3")
	n, err := proof.SignNote("{}\n", station)
	if err != nil {
		t.Fatal(err)
	}
	a, b := proof.Link{Key: "set A", Prev: 7, Count: 3}, proof.Link{Key: "set B b", Count: 1}
	record := proof.AddArrival(origin, n, testTime, 1, a, b)
	got, at, remark, err := proof.SplitArrival(origin, record)
	if err != nil || !bytes.Equal(got, n) || !at.Equal(testTime) || remark != 1 {
		t.Fatalf("%q %v %d %v", got, at, remark, err)
	}
	if links, err := proof.Links(origin, record); err != nil || !slices.Equal(links, []proof.Link{a, b}) {
		t.Errorf("links %v, %v", links, err)
	}
	if links, err := proof.Links(origin, proof.AddArrival(origin, n, testTime, 1)); err != nil || links != nil {
		t.Errorf("links %v, %v of a record without", links, err)
	}
	if err := proof.CheckStationNote(origin, record); err == nil {
		t.Error("a record with links was taken as a station's note")
	}
	with := func(text string) []byte {
		id := proof.LinkedKeyID(origin)
		raw := append(append(id[:], make([]byte, 11)...), text...)
		return []byte(string(n) + "— " + origin + " " + base64.StdEncoding.EncodeToString(raw) + "\n")
	}
	if _, _, _, err := proof.SplitArrival(origin, with("set A 7 3\n")); err != nil {
		t.Fatal(err)
	}
	for _, bad := range []string{"", "\n", "set A 7 3", "set A 7\n", " 7 3\n", "set A 07 3\n", "set A 7 -3\n", "set A 7 0\n",
		"set A 0 2\n", "set A 7 1\n", "set A 7 3\nset A 7 3\n", "set B 7 3\nset A 7 3\n", "set\x01 7 3\n", "set A 7 3\n\n"} {
		if _, _, _, err := proof.SplitArrival(origin, with(bad)); err == nil {
			t.Errorf("links %q were taken", bad)
		}
	}
	// Base64 that goes wrong late, or has nothing behind the time, or is broken over lines.
	id := proof.LinkedKeyID(origin)
	short := base64.StdEncoding.EncodeToString(append(id[:], make([]byte, 7)...))
	long := base64.StdEncoding.EncodeToString(append(append(id[:], make([]byte, 11)...), "set A 7 3\n"...))
	for _, bad := range []string{short, long[:len(long)-4] + "!" + long[len(long)-3:], long[:8] + "\r" + long[8:]} {
		if links, err := proof.Links(origin, []byte(string(n)+"— "+origin+" "+bad+"\n")); err == nil {
			t.Errorf("%q has the links %v", bad, links)
		}
	}
	for i := range record {
		if record[i] == '\n' {
			continue
		}
		changed := bytes.Clone(record)
		changed[i] ^= 1
		if s, when, r, err := proof.SplitArrival(origin, changed); err == nil && bytes.Equal(s, n) && when.Equal(at) && r == 1 {
			if links, _ := proof.Links(origin, changed); slices.Equal(links, []proof.Link{a, b}) {
				t.Errorf("a change of byte %d of %q is not seen", i, record)
			}
		}
	}
}

func TestHeadProofs(t *testing.T) {
	for n := range 40 {
		var newest proof.Newest
		for i := range n {
			newest.Put(proof.Head{Key: fmt.Sprintf("set %d", i), Last: int64(i) + 5, Count: int64(i%3) + 1})
		}
		hs := newest.Heads()
		root := hs.Root()
		for i, want := range hs.All() {
			p, err := hs.Prove(i)
			if err != nil {
				t.Fatal(err)
			}
			again, err := proof.ParseHeadProof(p.Marshal())
			if err != nil || again.Head != want || again.Check(root) != nil {
				t.Fatalf("%d of %d: %v, %v", i, n, again, err)
			}
			if again.Last++; again.Check(root) == nil {
				t.Errorf("another head is proved")
			}
			if p.Check(tlog.Hash{1}) == nil {
				t.Error("another root is as good")
			}
			if got, ok := hs.Get(want.Key); !ok || got != want {
				t.Errorf("%q is %v", want.Key, got)
			}
		}
		if _, ok := hs.Get("set x"); ok {
			t.Error("there is what there is not")
		}
	}
	for hashes, good := range map[int]bool{63: true, 64: false} { // as many as the longest path has
		p := proof.HeadProof{Head: proof.Head{Key: "set A", Last: 3, Count: 1}, Size: 1, Hashes: make([]tlog.Hash, hashes)}
		if _, err := proof.ParseHeadProof(p.Marshal()); (err == nil) != good {
			t.Errorf("a proof of %d hashes: %v", hashes, err)
		}
	}
	for _, bad := range []string{"", "listbound head v1\n", "listbound head v1\nset A 3 1\n",
		"listbound head v1\nset A 3 4\nindex 0 of 1\n",
		"listbound head v1\nset A 3 1\nindex 00 of 1\n", "listbound head v1\nset A 3 1\nindex 0 of 1",
		"listbound head v1\nA\nindex 0 of 1\n",
		"listbound head v1\nset A 3 1\nindex 0 of 1\nx\n"} {
		if p, err := proof.ParseHeadProof([]byte(bad)); err == nil {
			t.Errorf("%q was read as %v", bad, p)
		}
	}
}
