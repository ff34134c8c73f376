// Package events says what can be observed of an instrument set and its list,
// and how an observation becomes bytes that are signed, hashed and kept. It
// does no I/O and knows nothing of the ledger that keeps the bytes.
//
// # Observation line
//
// A person or a program hands in one JSON object a line (UTF-8; LF or CR LF;
// a byte order mark at the start is passed over; at most 60,000 bytes):
//
//	{"station":"north/packing-1","kind":"set.packed","time":"2026-03-02T06:11:00Z","set":"LAP-014",
//	 "operator":"B-1182","data":{"list":"LAP-MAJOR","version":3,"weightKg":8.4}}
//
// Members of another name, members that stand twice, invalid UTF-8 and numbers
// that are not whole are refused; the one exception is weightKg, which becomes
// weightGrams. A refused line costs nothing else. A station that keeps its own
// key hands in {"signed":"<record>"} instead. "medium":"paper" says that it was
// written on paper first and entered later. Where a sheet was looked at, a code
// that can't be one, by a wrong character, becomes
// {"found":"outside","unreadable":true,"text":"<as typed>"}; where a set was counted
// by it, "sheet":"unreadable","sheetText":"<as typed>". In a signed record such a code
// stays as it was signed, and means the same.
//
// What is on no list and was opened during a case, such as an instrument packed
// singly, is a line of the counts of the set that it was laid to, under a number
// above the list's. Each count of the line names it, and says how many came to the
// field since the count before; in a count of stage added, counts says that:
//
//	"counts":[…,{"counted":1,"line":61}],
//	"beyond":[{"added":1,"description":"Clamp, curved, 18 cm","item":"04012345678901","line":61}]
//
// The id of the event is a UUIDv7 (RFC 9562): 48 bits of the observed time in
// milliseconds, then, around version and variant, the first bits of
//
//	SHA-256("listbound observation v1\n" + canonical observation)
//
// where the canonical observation has the time in UTC, weightGrams, and no
// empty members. The same observation so has the same id, and recording it
// again is the same event. A set.packed without a trip starts one, whose id is
// made in the same way after the line "listbound trip v1". Earlier programs
// wrote a trip that they had looked up into an event whose observation named
// none; the id, which is taken before, tells it from one that was named
// (Observed). See ExampleObservations.
//
// What an observation says in free text, and the case that it names, stand in what is hashed for the id as
// "hmac-sha-256." and base64url of HMAC-SHA-256, under a key that the data folder keeps, of
// "listbound text v1\n" + name + "\n" + text, so that nobody else can try whether a text was this or that
// (KeyedID). For the trip they are left out. A line may still name another one's event by the id that the texts
// themselves give, as long as they are there.
//
// # Addenda
//
// Such texts are not in the record. It has their mark, and beside the ledger lies a disclosure as in RFC 9901,
// 4.2.1, of salt, the member's name and the text:
//
//	mark       = "sha-256." + base64url(SHA-256(disclosure))
//	disclosure = base64url(["<base64url of 16 random bytes>", "reason", "clamp on the floor"])
//
// The mark of a case's reference is the id of the case in the ledger. Which members these are say the tags
// "addendum" of the data's structs; RevealNote puts the texts back. A station that keeps its own key makes salts itself,
// and hands in {"signed":"<record>","addenda":["<disclosure>", …]}.
//
// # Event
//
// An event is a CloudEvents 1.0 envelope in JSON:
//
//	{"data":{"list":"LAP-MAJOR","version":3,"weightGrams":8400},
//	 "id":"019cad2b-e120-7af9-9dc9-f06d116b7d76","operator":"B-1182",
//	 "source":"//north/packing-1","specversion":"1.0","stationseq":1,
//	 "subject":"LAP-014","time":"2026-03-02T06:11:00Z",
//	 "trip":"019cad2b-e120-7766-93d9-c74a264b9a74","type":"listbound.set.packed.v1"}
//
// The source is // and the station. The subject is the set, or for kinds that
// are not about one set the list, load, case, site or station. Extension
// attributes: trip; operator, a badge code; medium, paper; stationseq, which counts the
// station's events from 1 without gaps; stationprev, SHA-256 in small
// hexadecimal digits of the station's previous record, left out in the first.
// Data is the kind's own struct. An event of another kind or version is kept
// as it came (Unknown). See ExampleEncode.
//
// # Record
//
// What is stored and hashed is a signed note (C2SP signed-note): the event's
// RFC 8785 canonical JSON on one line, a blank line, one signature line.
//
//	{"data":{"list":"LAP-MAJOR", … ,"type":"listbound.set.packed.v1"}
//
//	— north/packing-1 wr0PjMRsQdNYmB15fKVfrRB790U1/4ayFGbHPPv9UNVpb4KavtL0o5kdDQczFgL1KTvXm9/D7aD7vGZPgofkapZY+gw=
//
// The signature is Ed25519 over the text with its newline; before it, four
// bytes identify the key, which carries the station's name. Stricter than the
// note format: there is one signature line, the station's own, and its base64
// is canonical, so that no byte of a record can change unnoticed and no event
// has two records. Numbers are whole, of at most 2^53-1, since RFC 8785 prints
// doubles and two larger integers could share one form. See ExampleSign.
//
// # List digest and binding digest
//
//	list digest    = SHA-256("listbound list v1\n" + canonical list)
//	binding digest = SHA-256("listbound binding v1\n" + canonical {"list":<list digest>,"set":…,"trip":…})
//
// The canonical list is the data of list.issued, its lines in their order. Two
// sets with word-for-word equal lists have different bindings:
//
//	list            fec9931be5b948538bc5ac9bf854da602075430bc2c80ca770a566de1ce583df
//	LAP-014         a0a92bf3e4369ad2c7e69c67f24a8949cdcb422a54720c83573d69a1e2f8348f
//	its twin 015    e4e37fb229653698a016224df16abe0ae330f9b4d47baecfd93decb2b6647330
//
// See ExampleBinding.
//
// # Sheet code
//
// A sheet's symbol says 54 characters, digits and capitals without I, L, O and
// U, so that a scanner that types like a keyboard types it unharmed on any
// layout:
//
//	1 06EATAZ141VPD4YSRX52CJWTEJ GAJAZKWGV9NMP7WTE6FWJAH54W 1
//
// That is the version; 260 bits, five to a character: the 128 of the trip and
// the first 132 of the binding digest; and a check character, which catches
// every single wrong character and every exchange of unequal neighbours (the
// arithmetic stands beside SheetCode). The short form, M2MJ-QWZ2, is the first
// 35 bits of the binding and a check character, for reading aloud; it is no
// proof. See ExampleParseSheetCode.
//
// The symbol on a page of a printed sheet says six characters more: two for the
// page, two for how many pages there are, one for the layout of the page, and a
// check character over all (beside SheetPage):
//
//	106EATAZ141VPD4YSRX52CJWTEJGAJAZKWGV9NMP7WTE6FWJAH54W1 01 03 2 N
//
// Scanned, it is the sheet code, and the page. What is printed for practice begins
// with P, and a label with X9P; nothing but a ledger for practice takes it.
//
// Vectors for all of this, with their sources, are in testdata/events.
package events
