//go:build !race

package screens_test

import (
	"bytes"
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"golang.org/x/mod/sumdb/note"

	"listbound/cmd/internal/browsertest"
	"listbound/cmd/internal/scenario"
	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// readVectors reads a file of published vectors.
func readVectors[T any](t *testing.T, name string) []T {
	t.Helper()
	raw, err := os.ReadFile(filepath.Join(browsertest.Root(t), "testdata", "events", name))
	if err != nil {
		t.Fatal(err)
	}
	var out []T
	if err := json.Unmarshal(raw, &out); err != nil || len(out) == 0 {
		t.Fatalf("%s: %d vectors, %v", name, len(out), err)
	}
	return out
}

// inPage hands values to a function of the browser's and returns what it makes of them. module is the one that makes records.
func inPage[T any](t *testing.T, p *browsertest.Tab, values any, function string) T {
	t.Helper()
	raw, err := json.Marshal(values)
	if err != nil {
		t.Fatal(err)
	}
	return browsertest.Eval[T](p, fmt.Sprintf(`import("/workplace/canonical.js").then(module => (%s)(%s))`, function, raw))
}

// hostile draws a JSON text of what may go wrong in one: characters at each edge, names that sort otherwise by bytes than by
// UTF-16, names of JavaScript's own, numbers at the edge of what is whole.
func hostile(r *rand.Rand, depth int) string {
	texts := []string{"", "a", "\u0000", "\u001f", "\u007f", "\"\\/", "\b\f\n\r\t", "\u2028\u2029", "é", "e\u0301",
		"\ue000", "\uffff", "😀", "𐀀", "ﬁ", "__proto__", "constructor", "toJSON", "10", "9", "01", "-1", "sha-256.", "</script>"}
	text := func() string {
		var b strings.Builder
		for range 1 + r.IntN(3) {
			b.WriteString(texts[r.IntN(len(texts))])
		}
		raw, _ := json.Marshal(b.String()) //nolint:errchkjson // a text
		return string(raw)
	}
	kinds := 4
	if depth > 0 {
		kinds = 6
	}
	switch r.IntN(kinds) {
	case 0, 1:
		return text()
	case 2:
		numbers := []string{"0", "-0", "7", "-1", "9007199254740991", "-9007199254740991", "9007199254740992", "1e400", "0.5"}
		return numbers[r.IntN(len(numbers))]
	case 3:
		return []string{"true", "false", "null"}[r.IntN(3)]
	case 4:
		var all []string
		for range r.IntN(4) {
			all = append(all, hostile(r, depth-1))
		}
		return "[" + strings.Join(all, ",") + "]"
	}
	var all []string
	names := make(map[string]bool)
	for range r.IntN(6) {
		if name := text(); !names[name] {
			names[name] = true
			all = append(all, name+": "+hostile(r, depth-1))
		}
	}
	return "{ " + strings.Join(all, " , ") + " }"
}

// TestRecordsOfTheBrowser holds the browser's bytes to Go's: the canonical form of the demo's events, of published vectors and of
// hostile values, what is refused, marks, and whole signed records; and its signatures to RFC 8032.
func TestRecordsOfTheBrowser(t *testing.T) {
	t.Parallel()
	h := workplacetest.NewHouse(t, "VAS-003")
	p := workplacetest.Browser(t).Tab(t, workplacetest.Tablet)
	p.Open(h.URL + "/at/")

	type vector struct{ Name, Seed, Public, Message, Signature string }
	published := readVectors[vector](t, "ed25519.json")
	const imports = `const bytes = s => Uint8Array.from(s.match(/../g) || [], x => parseInt(x, 16));
		const key = seed => crypto.subtle.importKey("pkcs8", bytes("302e020100300506032b657004220420" + seed), "Ed25519", false, ["sign"]);`
	signatures := inPage[[]string](t, p, published, `async all => { `+imports+`
		return Promise.all(all.map(async v => module.hex(new Uint8Array(
			await crypto.subtle.sign("Ed25519", await key(v.Seed), bytes(v.Message))))));
	}`)
	for i, v := range published {
		if signatures[i] != v.Signature {
			t.Errorf("%s: signed %s, RFC 8032 has %s", v.Name, signatures[i], v.Signature)
		}
	}

	var texts []string
	var week []*events.Event
	sc, err := scenario.Load()
	if err != nil {
		t.Fatal(err)
	}
	for line, err := range sc.Lines() {
		if err != nil {
			t.Fatal(err)
		}
		o, err := events.ParseObservation(line.Raw)
		if err != nil || o.Subject() == "" {
			continue // of what the week refuses on purpose; a correction that leaves out what it is about
		}
		e := &events.Event{Station: o.Station, Subject: o.Subject(), Time: o.Time, Trip: o.Trip, Operator: o.Operator, Medium: o.Medium,
			Data: o.Data, StationSeq: int64(len(week) + 1), StationPrev: strings.Repeat("0f", 32)}
		if e.ID, err = o.ID(); err != nil {
			t.Fatal(err)
		}
		text, err := events.Encode(e)
		if err != nil {
			t.Fatal(err)
		}
		week, texts = append(week, e), append(texts, string(text))
	}
	if len(week) < 1000 {
		t.Fatalf("the week has %d events", len(week))
	}
	r := rand.New(rand.NewPCG(8, 785))
	for range 4000 {
		texts = append(texts, hostile(r, 3))
	}
	for _, v := range readVectors[struct{ Input string }](t, "canonical.json") {
		if _, err := events.Canonical([]byte(v.Input)); err == nil { // JavaScript reads 56.0 as 56, which no record says
			texts = append(texts, v.Input)
		}
	}
	texts = append(texts, `"\ud800"`, `["\udc00\ud800"]`, `{"\ud800":1}`)
	got := inPage[[]string](t, p, texts,
		`all => all.map(text => { try { return module.canonical(JSON.parse(text)); } catch { return ""; } })`)
	refused := 0
	for i, text := range texts {
		want, err := events.Canonical([]byte(text))
		if err != nil {
			want = nil
			refused++
		}
		if got[i] != string(want) {
			t.Errorf("%q: the browser has %q, Go %q (%v)", text, got[i], want, err)
		}
	}
	if refused < 100 || refused > len(texts)/2 {
		t.Errorf("%d of %d are refused", refused, len(texts))
	}

	// Whole records, under a published key.
	seed, err := hex.DecodeString(published[0].Seed)
	if err != nil {
		t.Fatal(err)
	}
	type signed struct{ Event, Seed, Station, Note, Hash, Mark string }
	var records []signed
	for _, e := range week[:200] {
		vkey, err := note.NewEd25519VerifierKey(e.Station, decodeHex(t, published[0].Public))
		if err != nil {
			t.Fatal(err)
		}
		signer, err := note.NewSigner("PRIVATE+KEY+" + e.Station + "+" + strings.Split(vkey, "+")[1] + "+" +
			base64.StdEncoding.EncodeToString(append([]byte{1}, seed...)))
		if err != nil {
			t.Fatal(err)
		}
		n, err := events.Sign(e, signer)
		if err != nil {
			t.Fatal(err)
		}
		text, _, _ := bytes.Cut(n, []byte("\n"))
		x, err := events.NewAddendum(bytes.NewReader(n), "reason", "é "+e.ID)
		if err != nil {
			t.Fatal(err)
		}
		disclosed, err := x.Disclosure()
		if err != nil {
			t.Fatal(err)
		}
		records = append(records, signed{string(text), published[0].Seed, e.Station, string(n), events.NoteHash(n), disclosed})
	}
	given := map[string]any{"public": published[0].Public, "records": records}
	made := inPage[[][]string](t, p, given, `async ({public, records}) => { `+imports+`
		return Promise.all(records.map(async r => {
			const id = await module.keyID(r.Station, bytes(public));
			const note = await module.signNote(JSON.parse(r.Event), r.Station, id, await key(r.Seed));
			return [note, await module.noteHash(note), await module.markOf(r.Mark)];
		}));
	}`)
	for i, r := range records {
		if made[i][0] != r.Note || made[i][1] != r.Hash || made[i][2] != events.Mark(r.Mark) {
			t.Errorf("record %d: the browser has %q, Go %q", i, made[i], r)
		}
	}
}

func decodeHex(t *testing.T, s string) []byte {
	t.Helper()
	raw, err := hex.DecodeString(s)
	if err != nil {
		t.Fatal(err)
	}
	return raw
}
