package events_test

import (
	"fmt"
	"log"
	"strings"

	"golang.org/x/mod/sumdb/note"

	"listbound/events"
)

const packed = `{"station":"north/packing-1","kind":"set.packed","time":"2026-03-02T06:11:00Z","set":"LAP-014",` +
	`"operator":"B-1182","data":{"list":"LAP-MAJOR","version":3,"weightKg":8.4}}`

const (
	stationKey  = "PRIVATE+KEY+north/packing-1+c2bd0f8c+AQcHBwcHBwcHBwcHBwcHBwcHBwcHBwcHBwcHBwcHBwcH"
	verifierKey = "north/packing-1+c2bd0f8c+AepKbGPinFIKvvVQexMuxfmVR3auvr57kkIe6mkURtIs"
)

func must[T any](v T, err error) T {
	if err != nil {
		log.Fatal(err)
	}
	return v
}

// One observation a line; a refused line costs nothing else.
func ExampleObservations() {
	lines := packed + "\n" +
		`{"station":"north/packing-1","kind":"set.packed","time":"2026-03-02T06:12:00Z",` +
		`"data":{"list":"LAP-MAJOR","version":3}}` +
		"\n" +
		`{"station":"north/packing-1","kind":"list.sealed","time":"2026-03-02T06:14:00Z","set":"LAP-014",` +
		`"data":{"placement":"top shelf"}}`
	for line, o := range events.Observations(strings.NewReader(lines)) {
		if o.Err != nil {
			fmt.Printf("line %d: %v\n", line, o.Err)
			continue
		}
		fmt.Println(o.Observation.Kind, o.Observation.Set, must(o.Observation.ID()))
		fmt.Println("trip", must(o.Observation.NewTrip()))
	}
	// Output:
	// set.packed LAP-014 019cad2b-e120-7af9-9dc9-f06d116b7d76
	// trip 019cad2b-e120-7766-93d9-c74a264b9a74
	// line 2: set is missing
	// line 3: placement is "top shelf"; it is one of inside-bag, inside-bare, outside, screen
}

// An event's canonical JSON.
func ExampleEncode() {
	fmt.Printf("%s\n", must(events.Encode(packedEvent())))
	// Output:
	// {"data":{"list":"LAP-MAJOR","version":3,"weightGrams":8400},"id":"019cad2b-e120-7af9-9dc9-f06d116b7d76","operator":"B-1182","source":"//north/packing-1","specversion":"1.0","stationseq":1,"subject":"LAP-014","time":"2026-03-02T06:11:00Z","trip":"019cad2b-e120-7766-93d9-c74a264b9a74","type":"listbound.set.packed.v1"}
}

func packedEvent() *events.Event {
	o := must(events.ParseObservation([]byte(packed)))
	return &events.Event{
		ID: must(o.ID()), Station: o.Station, Subject: o.Subject(), Time: o.Time, Trip: must(o.NewTrip()),
		Operator: o.Operator, StationSeq: 1, Data: o.Data,
	}
}

// A record, and the check of it.
func ExampleSign() {
	station := must(note.NewSigner(stationKey))
	record := must(events.Sign(packedEvent(), station))
	fmt.Print(string(record))

	if err := events.VerifyNote(record, must(note.NewVerifier(verifierKey))); err != nil {
		log.Fatal(err)
	}
	e := must(events.CheckNote(record))
	fmt.Println(e.Kind(), e.Subject, "by", e.Station)
	fmt.Println("next stationprev", events.NoteHash(record))
	// Output:
	// {"data":{"list":"LAP-MAJOR","version":3,"weightGrams":8400},"id":"019cad2b-e120-7af9-9dc9-f06d116b7d76","operator":"B-1182","source":"//north/packing-1","specversion":"1.0","stationseq":1,"subject":"LAP-014","time":"2026-03-02T06:11:00Z","trip":"019cad2b-e120-7766-93d9-c74a264b9a74","type":"listbound.set.packed.v1"}
	//
	// — north/packing-1 wr0PjMRsQdNYmB15fKVfrRB790U1/4ayFGbHPPv9UNVpb4KavtL0o5kdDQczFgL1KTvXm9/D7aD7vGZPgofkapZY+gw=
	// set.packed LAP-014 by north/packing-1
	// next stationprev 7582eacbc867c704d85ebcf22df17c3576e67eb5af8da98c9c2192a4659de9a6
}

// List digest, binding digest and sheet code.
func ExampleBinding() {
	list := events.ListIssued{List: "LAP-MAJOR", Version: 3, Title: "Laparotomy, major", Lines: []events.Line{
		{Line: 1, Item: "FCP-125", Description: "Forceps, mosquito, curved, 12.5 cm", Quantity: 6},
	}}
	digest := must(list.Digest())
	fmt.Println("list   ", digest)
	trip := packedEvent().Trip
	for _, set := range []string{"LAP-014", "LAP-015"} {
		binding := must(events.Binding(digest, set, trip))
		code := must(events.NewSheetCode(trip, binding))
		fmt.Println("binding", binding)
		fmt.Println("code   ", code)
		fmt.Println("short  ", code.Short())
	}
	// Output:
	// list    fec9931be5b948538bc5ac9bf854da602075430bc2c80ca770a566de1ce583df
	// binding a0a92bf3e4369ad2c7e69c67f24a8949cdcb422a54720c83573d69a1e2f8348f
	// code    106EATAZ141VPD4YSRX52CJWTEJGAJAZKWGV9NMP7WTE6FWJAH54W1
	// short   M2MJ-QWZ2
	// binding e4e37fb229653698a016224df16abe0ae330f9b4d47baecfd93decb2b6647330
	// code    106EATAZ141VPD4YSRX52CJWTEKJE6ZXJ55JKD6502RH4VWBAQR5ED
	// short   WKHQ-ZCHZ
}

// A code as a person types it, and with one slip.
func ExampleParseSheetCode() {
	code := must(events.ParseSheetCode("io6eataz 141vpd4y srx52cjw tejgajaz kwgv9nmp 7wte6fwj ah54wl"))
	fmt.Println(code)
	fmt.Println(code.Trip, code.Short())
	_, err := events.ParseSheetCode("106EATAZ14V1PD4YSRX52CJWTEJGAJAZKWGV9NMP7WTE6FWJAH54W1") // two neighbours exchanged
	fmt.Println(err)
	// Output:
	// 106EATAZ141VPD4YSRX52CJWTEJGAJAZKWGV9NMP7WTE6FWJAH54W1
	// 019cad2b-e120-7766-93d9-c74a264b9a74 M2MJ-QWZ2
	// sheet code is damaged (the check character does not fit): scan it again, or record the sheet as unreadable
}
