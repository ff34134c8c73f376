// Package proof holds the byte formats that prove what a ledger holds, and the checks on them. It needs no server, no
// database and no network, so that the small checker program and a stranger's own program can use it.
//
// # Record
//
// A record is a C2SP signed note (c2sp.org/signed-note): a text, an empty line, then signature lines. What the text
// means is none of this package's business. The ledger adds one line of its own below the station's signature, the
// arrival line:
//
//	{"id":"019b"}
//
//	— north/or-3 RmTFRWkvPKpyJ5Obfio+hCMS24lOI2ynNE6fu8bCR2hXAKcKs+tjAbijesgiHzUVnTgBm5gUMhGd/3au9f7BTr//4wM=
//	— ledger.example/north b7PRaxiZkeAXgIAAAAAA
//
// The arrival line carries base64(keyID[4] || uint64 big-endian Unix nanoseconds || 0 0 || remark), with
// keyID = SHA-256(origin || 0x0A || 0xFF || "listbound arrival v1")[:4]. It says when the ledger took the record. It is
// not a signature by itself: it is part of the leaf, so the signed checkpoint over the tree vouches for it.
//
// Where the record is about something, the line goes on with one link for each such thing, as text:
//
//	base64(keyID[4] || uint64 big-endian Unix nanoseconds || 0 0 || remark || "<key> <prev> <count>\n" …)
//
// with keyID = SHA-256(origin || 0x0A || 0xFF || "listbound arrival v2")[:4]. Prev is the number of the record before it
// about the same key, 0 for the first, and count how many there are up to this one. The links are in the order of their
// keys. What was left out of an excerpt so shows: "set LAP-014 793 9" is not there without record 793.
//
// # Heads
//
// The newest record about each key, at one moment: lines "<key> <last> <count>\n" in the order of their bytes, hashed
// as the leaves of a tree of their own, as below. Its root stands in a record. The proof of one line under it is
//
//	listbound head v1
//	<key> <last> <count>
//	index <index> of <size>
//	<base64 hash>, one a line
//
// # Tree
//
// Record number N, counted from 1, is leaf N-1 of an RFC 6962 Merkle tree: a leaf hashes as SHA-256(0x00 || record), a
// node as SHA-256(0x01 || left || right).
//
// # Checkpoint
//
// A checkpoint (c2sp.org/tlog-checkpoint) is a signed note whose text is three lines: origin, number of leaves in
// decimal, root hash in base64.
//
//	ledger.example/north
//	2
//	OuW/pX/6dp2WNKhvOiYoaqaf1Q6gWF+AYfkCrV8DJ/c=
//
//	— ledger.example/north lNCyZkhJaKK05fi3SZxlHn7j0ctNpcS4Je5fXtw12IwDgEv819uaLdNxqDFegoNP05EtQIeYXTjF+1QY6E8GZoxptQA=
//
// # Tiles and entry bundles
//
// Hashes and records lie in files as c2sp.org/tlog-tiles says: tile/<level>/<index>[.p/<width>] with up to 256 hashes,
// and tile/entries/<index>[.p/<width>] with up to 256 records, each behind a uint16 big-endian length.
//
// # Proof
//
// The proof that a record is in the ledger is a c2sp.org/tlog-proof text:
//
//	c2sp.org/tlog-proof@v1
//	index 5
//	<base64 hash>, one a line
//
//	<checkpoint, signature lines included>
//
// # Evidence bundle
//
// Evidence travels as a ZIP archive with exactly one possible form for its contents: entries stored (not compressed) in
// the order given, the time 1980-01-01 00:00, no comments, no extra fields. The last entry is named manifest: a note
// signed with the ledger's key,
//
//	listbound bundle v1
//	<sha256 in hex>  <path>
//
// one such line for each other entry, in their order. Because there is one form only, a reader rebuilds the archive
// from what it read and compares: no byte of the file can change unnoticed, not even one in the ZIP headers.
//
// # One spelling
//
// Base64 has spare bits: several spellings decode to the same bytes. Every reader here takes only the canonical one, so
// that a changed byte is always a noticed byte.
package proof
