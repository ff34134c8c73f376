package proof_test

import (
	"fmt"
	"time"

	"listbound/ledger/proof"
)

var testTime = time.Date(2026, 3, 4, 7, 12, 0, 0, time.UTC)

// A record: the station's note, and below it the line that says when the ledger took it.
func ExampleAddArrival() {
	station, _ := testKey("north/or-3")
	note, err := proof.SignNote(`{"id":"019b"}`+"\n", station)
	if err != nil {
		fmt.Println(err)
		return
	}
	record := proof.AddArrival(origin, note, testTime, 0)
	fmt.Printf("%s", record)
	_, at, _, err := proof.SplitArrival(origin, record)
	fmt.Println(at, err)
	// Output:
	// {"id":"019b"}
	//
	// — north/or-3 RmTFRWkvPKpyJ5Obfio+hCMS24lOI2ynNE6fu8bCR2hXAKcKs+tjAbijesgiHzUVnTgBm5gUMhGd/3au9f7BTr//4wM=
	// — ledger.example/north b7PRaxiZkeAXgIAAAAAA
	// 2026-03-04 07:12:00 +0000 UTC <nil>
}

func ExampleSignCheckpoint() {
	ledger, verifier := testKey(origin)
	tree := &proof.Tree{}
	for _, record := range []string{"first", "second"} {
		tree.Append(proof.LeafHash([]byte(record)), nil)
	}
	msg, err := proof.SignCheckpoint(proof.Checkpoint{Origin: origin, Size: tree.Size(), Root: tree.Root()}, ledger)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%s", msg)
	c, err := proof.OpenCheckpoint(msg, origin, verifier)
	fmt.Println(c.Size, err)
	// Output:
	// ledger.example/north
	// 2
	// OuW/pX/6dp2WNKhvOiYoaqaf1Q6gWF+AYfkCrV8DJ/c=
	//
	// — ledger.example/north lNCyZkhJaKK05fi3SZxlHn7j0ctNpcS4Je5fXtw12IwDgEv819uaLdNxqDFegoNP05EtQIeYXTjF+1QY6E8GZoxptQA=
	// 2 <nil>
}
