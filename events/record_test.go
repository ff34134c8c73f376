package events

import (
	"bytes"
	"crypto/ed25519"
	"encoding/base64"
	"encoding/json"
	"errors"
	"reflect"
	"strings"
	"testing"

	"github.com/transparency-dev/formats/log"
	"golang.org/x/mod/sumdb/note"
	"pgregory.net/rapid"
)

func sign(t testing.TB, e *Event, k testKey) []byte {
	t.Helper()
	n, err := Sign(e, k.signer)
	if err != nil {
		t.Fatal(err)
	}
	return n
}

// openByHand reads a note with nothing but the format: text, blank line, dash,
// name, base64 of key id and signature. It is the second implementation.
func openByHand(n []byte, k testKey) (text string, err error) {
	i := bytes.LastIndex(n, []byte("\n\n"))
	if i < 0 {
		return "", errors.New("no blank line")
	}
	text = string(n[:i+1])
	line, ok := strings.CutPrefix(string(n[i+2:]), "— "+k.name+" ")
	if !ok || !strings.HasSuffix(line, "\n") {
		return "", errors.New("no signature line of " + k.name)
	}
	sig, err := base64.StdEncoding.DecodeString(strings.TrimSuffix(line, "\n"))
	if err != nil {
		return "", err
	}
	if len(sig) != 4+ed25519.SignatureSize || !bytes.Equal(sig[:4], k.id[:]) {
		return "", errors.New("another key")
	}
	if !ed25519.Verify(k.private.Public().(ed25519.PublicKey), []byte(text), sig[4:]) {
		return "", errors.New("signature does not verify")
	}
	return text, nil
}

// TestSignAgainstSecondImplementation signs events of every kind and reads the
// notes in three ways: this package, the note package, and by hand.
func TestSignAgainstSecondImplementation(t *testing.T) {
	k, stranger := newTestKey(t, "north/packing-1", 7), newTestKey(t, "north/packing-1", 8)
	rapid.Check(t, func(t *rapid.T) {
		e := testEvent(drawData(t, rapid.SampledFrom(Kinds()).Draw(t, "kind")), k.name, 1, "", testTime)
		n, err := Sign(e, k.signer)
		if err != nil {
			t.Fatal(err)
		}
		text, err := Encode(e)
		if err != nil {
			t.Fatal(err)
		}
		if got, err := openByHand(n, k); err != nil || got != string(text)+"\n" {
			t.Fatalf("by hand: %q, %v", got, err)
		}
		if o, err := note.Open(n, note.VerifierList(k.verifier)); err != nil || o.Text != string(text)+"\n" ||
			len(o.UnverifiedSigs) != 0 {
			t.Fatalf("note package: %+v, %v", o, err)
		}
		got, err := CheckNote(n)
		if err != nil {
			t.Fatal(err)
		}
		if again, err := Encode(got); err != nil || !bytes.Equal(again, text) {
			t.Fatalf("%s comes back as %s, %v", text, again, err)
		}
		parsed, err := ParseNote(n)
		if err != nil || !reflect.DeepEqual(parsed, got) {
			t.Fatalf("parsed %+v, %v, checked %+v", parsed, err, got)
		}
		if err := VerifyNote(n, k.verifier); err != nil {
			t.Fatal(err)
		}
		if VerifyNote(n, stranger.verifier) == nil {
			t.Fatal("another key's verifier takes the note")
		}
		// Deterministic: signing again gives the same record.
		if again, err := Sign(got, k.signer); err != nil || !bytes.Equal(again, n) {
			t.Fatalf("signed again: %q, %v", again, err)
		}
		// A record is no checkpoint: what is signed here can't be shown as the ledger's word.
		var c log.Checkpoint
		if _, err := c.Unmarshal(text); err == nil {
			t.Fatalf("%s can be read as a checkpoint", text)
		}
	})
}

// TestEveryByteCounts changes every byte of a note in several ways, and drops
// and doubles each: none of it may pass.
func TestEveryByteCounts(t *testing.T) {
	k := newTestKey(t, "north/packing-1", 7)
	n := sign(t,
		testEvent(&SetPacked{List: "LAP-MAJOR", Version: 3, Note: "für OP 3"}, k.name, 2, NoteHash(nil), testTime), k)
	accepted := func(b []byte) bool {
		_, err := CheckNote(b)
		return err == nil && VerifyNote(b, k.verifier) == nil
	}
	if !accepted(n) {
		t.Fatal("the note itself is refused")
	}
	verifierAlone := 0
	for i := range n {
		for _, d := range []byte{1, 2, 4, 8, 16, 32, 64, 128, 255} {
			b := bytes.Clone(n)
			b[i] ^= d
			if accepted(b) {
				t.Errorf("byte %d: %q for %q goes unnoticed", i, b[i], n[i])
			}
			if VerifyNote(b, k.verifier) == nil {
				verifierAlone++
			}
		}
		if b := append(bytes.Clone(n[:i]), n[i+1:]...); accepted(b) {
			t.Errorf("without byte %d (%q) it passes", i, n[i])
		}
		for _, x := range []byte{n[i], '\n', '\r', ' ', '='} {
			if b := append(append(bytes.Clone(n[:i]), x), n[i:]...); accepted(b) {
				t.Errorf("with %q before byte %d it passes", x, i)
			}
		}
		if i > 0 && accepted(n[:i]) {
			t.Errorf("cut off after %d bytes it passes", i)
		}
	}
	if verifierAlone != 0 {
		t.Errorf("%d changed notes pass the signature check alone", verifierAlone)
	}
}

// TestSignatureLineHasOneForm: the note format alone allows these spellings of
// a note that is signed well; a station's record does not.
func TestSignatureLineHasOneForm(t *testing.T) {
	k, witness := newTestKey(t, "north/packing-1", 7), newTestKey(t, "east/witness", 8)
	n := sign(t, testEvent(&SetPacked{List: "LAP-MAJOR", Version: 3}, k.name, 1, "", testTime), k)
	text, err := Text(n)
	if err != nil {
		t.Fatal(err)
	}
	open, err := note.Open(n, note.VerifierList(k.verifier))
	if err != nil {
		t.Fatal(err)
	}
	cosigned, err := note.Sign(open, witness.signer)
	if err != nil {
		t.Fatal(err)
	}
	lines := string(n[len(text)+2:])
	b64 := strings.TrimSuffix(lines[strings.LastIndexByte(lines, ' ')+1:], "\n")
	// 68 bytes leave four bits to spare in the last character before the padding.
	if !strings.HasSuffix(b64, "=") {
		t.Fatalf("%s has no padding", b64)
	}
	const alphabet = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/"
	i := len(b64) - 2
	spare := b64[:i] + string(alphabet[strings.IndexByte(alphabet, b64[i])+1]) + b64[i+1:]
	oneLine := "a station's record has one signature line, its own"
	canonical := "the signature line is not a dash, a name and a signature in canonical base64"
	for _, tt := range []struct {
		name, note, want string
		open             bool // the note package takes it
	}{
		{"spare bits", strings.Replace(string(n), b64, spare, 1), canonical, true},
		{"a carriage return in the base64", strings.Replace(string(n), b64, b64[:9]+"\r"+b64[9:], 1), canonical, false},
		{"the line twice", string(n) + lines, oneLine, true},
		{"a line of another key", string(cosigned), oneLine, true},
		{"a line that is not one", string(n) + "and so on\n", oneLine, false},
		{"no end of line", strings.TrimSuffix(string(n), "\n"), oneLine, false},
		{"a hyphen for the dash", strings.Replace(string(n), "— ", "-- ", 1), canonical, false},
		{"a space more", strings.Replace(string(n), "1 "+b64[:4], "1  "+b64[:4], 1), canonical, false},
		{"no padding", strings.Replace(string(n), b64, strings.TrimRight(b64, "="), 1), canonical, false},
		{"no signature", strings.Replace(string(n), " "+b64, "", 1), canonical, false},
	} {
		if tt.note == string(n) {
			t.Fatalf("%s: nothing was changed", tt.name)
		}
		if _, err := note.Open([]byte(tt.note), note.VerifierList(k.verifier)); (err == nil) != tt.open {
			t.Errorf("%s: the note package says %v", tt.name, err)
		}
		if _, err := CheckNote([]byte(tt.note)); err == nil || err.Error() != tt.want {
			t.Errorf("%s: checked: %v, want %s", tt.name, err, tt.want)
		}
		if err := VerifyNote([]byte(tt.note), k.verifier); err == nil || err.Error() != tt.want {
			t.Errorf("%s: verified: %v, want %s", tt.name, err, tt.want)
		}
	}
}

func TestSignRefuses(t *testing.T) {
	k := newTestKey(t, "north/packing-1", 7)
	e := testEvent(&SetPacked{List: "LAP-MAJOR", Version: 3}, "north/packing-2", 1, "", testTime)
	if n, err := Sign(e, k.signer); err == nil ||
		err.Error() != "the key is north/packing-1's, the event north/packing-2's" {
		t.Errorf("another station's event: %q, %v", n, err)
	}
	long := testEvent(&CaseClosed{Case: "K-0412", Outcome: "reconciled", Actions: make([]string, 160)}, k.name, 1, "",
		testTime)
	for i := range long.Data.(*CaseClosed).Actions {
		long.Data.(*CaseClosed).Actions[i] = strings.Repeat("x", maxText)
	}
	if _, err := Sign(long, k.signer); err == nil ||
		!strings.HasSuffix(err.Error(), "bytes are more than the 60000 a record may have") {
		t.Errorf("a long event: %v", err)
	}
	// Text within the limit, record beyond it.
	d := long.Data.(*CaseClosed)
	d.Actions = d.Actions[:148]
	text, err := Encode(long)
	if err != nil {
		t.Fatal(err)
	}
	d.Actions = append(d.Actions, strings.Repeat("y", MaxRecord-len(text)-3))
	if text, err = Encode(long); err != nil || len(text) != MaxRecord {
		t.Fatalf("%d bytes, %v", len(text), err)
	}
	if _, err := Sign(long, k.signer); err == nil ||
		err.Error() != "the record has 60115 bytes; a record has at most 60000" {
		t.Errorf("a text of %d bytes: %v", len(text), err)
	}
}

func TestCheckNoteRefuses(t *testing.T) {
	k := newTestKey(t, "north/packing-1", 7)
	text, err := Encode(testEvent(&SetPacked{List: "LAP-MAJOR", Version: 3}, k.name, 1, "", testTime))
	if err != nil {
		t.Fatal(err)
	}
	// signed signs any text, as a station with a fault of its own might.
	signed := func(text string, k testKey) []byte {
		n, err := note.Sign(&note.Note{Text: text}, k.signer)
		if err != nil {
			t.Fatal(err)
		}
		return n
	}
	replaced := func(old, new string) []byte {
		s := strings.Replace(string(text), old, new, 1)
		if s == string(text) {
			t.Fatalf("%s is not in %s", old, text)
		}
		return signed(s+"\n", k)
	}
	notRecord := "not a record: a record is one line of JSON, a blank line and signature lines"
	for _, tt := range []struct {
		name string
		note []byte
		want string
	}{
		{"nothing", nil, notRecord},
		{"text alone", append(bytes.Clone(text), '\n'), notRecord},
		{"text and blank line", append(bytes.Clone(text), '\n', '\n'), notRecord},
		{"two lines of text", signed(string(text)+"\n"+string(text)+"\n", k), notRecord},
		{"a blank in the JSON", replaced(`,"id"`, `, "id"`), "the record's JSON is not in canonical form (RFC 8785)"},
		{"members in another order", replaced(`{"list":"LAP-MAJOR","version":3}`, `{"version":3,"list":"LAP-MAJOR"}`),
			"the record's JSON is not in canonical form (RFC 8785)"},
		{"a letter escaped", replaced(`LAP-MAJOR`, `LAP-M\u0041JOR`),
			"the record's JSON is not in canonical form (RFC 8785)"},
		{"a member twice", replaced(`"version":3`, `"version":3,"version":3`),
			`the name "version" stands twice in one object`},
		{"a fraction", replaced(`"version":3`, `"version":3.5`),
			"the number 3.5 is not a whole number between -(2^53-1) and 2^53-1 (at byte 41)"},
		{"a kind not known", replaced("set.packed", "set.polished"),
			`type "listbound.set.polished.v1" is not known here, or its data does not fit it`},
		{"data that does not fit", replaced(`"version":3`, `"version":"3"`),
			`type "listbound.set.packed.v1" is not known here, or its data does not fit it`},
		{"data that can't be", replaced(`"version":3`, `"version":0`), "version is 0; it goes from 1 to 9999"},
		{"another station's name on the line", signed(string(text)+"\n", newTestKey(t, "north/packing-2", 7)),
			"the event is north/packing-1's, the signature line north/packing-2's"},
		{"too long", make([]byte, MaxRecord+1), "the record has 60001 bytes; a record has at most 60000"},
	} {
		if e, err := CheckNote(tt.note); err == nil {
			t.Errorf("%s: accepted as %+v", tt.name, e)
		} else if e != nil {
			t.Errorf("%s: refused and returned: %+v", tt.name, e)
		} else if err.Error() != tt.want {
			t.Errorf("%s: %q, want %q", tt.name, err, tt.want)
		}
	}
}

// FuzzRecord: what CheckNote accepts is a record whose event, encoded again, is
// the text, unless it has members added by a later program.
func FuzzRecord(f *testing.F) {
	k := newTestKey(f, "north/packing-1", 7)
	var seeds [][]byte
	for _, d := range []Data{
		&SetPacked{List: "LAP-MAJOR", Version: 3, Exceptions: []Exception{{1, 5, "missing"}}},
		&SetChecked{Sheet: &Reading{Found: "outside", Code: testCode(f).String()}},
		&SetCounted{Case: "K-1", Stage: StageFinal, Sheet: "106EATAZ", Counter: "B-1", Counts: []Count{}},
		&EventCorrected{Event: testTrip(0), Action: "replace", Reason: "typed wrong",
			Data: []byte(`{"list":"LAP-MAJOR","version":4}`)},
		&StationEnrolled{Station: k.name, Key: k.vkey},
		&PolicyAdopted{Policy: DefaultPolicy()},
		&Unknown{Type: "listbound.set.polished.v1", Raw: []byte(`{"a":[1,null]}`)},
	} {
		seeds = append(seeds, sign(f, testEvent(d, k.name, 1, "", testTime), k))
	}
	if len(seeds) == 0 {
		f.Fatal("no seeds")
	}
	for _, s := range seeds {
		f.Add(s)
	}
	f.Add([]byte("{}\n\n— a b\n"))
	f.Fuzz(func(t *testing.T, n []byte) {
		parsed, perr := ParseNote(n)
		e, err := CheckNote(n)
		if err != nil {
			if perr == nil && parsed.Data == nil {
				t.Fatalf("%q is parsed into an event without data", n)
			}
			return
		}
		if perr != nil {
			t.Fatalf("%q is checked, but not parsed: %v", n, perr)
		}
		again, err := Encode(e)
		if err != nil {
			t.Fatalf("%q is accepted, but can't be encoded: %v", n, err)
		}
		back, err := Decode(again)
		if err != nil {
			t.Fatalf("%s: %v", again, err)
		}
		x, errx := json.Marshal(e)
		y, erry := json.Marshal(back)
		if errx != nil || erry != nil || !bytes.Equal(x, y) {
			t.Fatalf("%q is read as %s, then as %s", n, x, y)
		}
	})
}
