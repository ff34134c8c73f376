package events

import (
	"bytes"
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"golang.org/x/mod/sumdb/note"
	"pgregory.net/rapid"
)

func unhex(t testing.TB, s string) []byte {
	t.Helper()
	b, err := hex.DecodeString(s)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// TestEd25519Vectors holds RFC 8032, 7.1 against the signature scheme as notes
// use it: the verifier made from a key text takes the published signature, and
// no other.
func TestEd25519Vectors(t *testing.T) {
	for _, v := range readVectors[struct{ Name, Seed, Public, Message, Signature string }](t, "ed25519.json") {
		seed, pub, msg, sig := unhex(t, v.Seed), unhex(t, v.Public), unhex(t, v.Message), unhex(t, v.Signature)
		key := ed25519.NewKeyFromSeed(seed)
		if got := key.Public().(ed25519.PublicKey); !bytes.Equal(got, pub) {
			t.Errorf("%s: public key %x, want %x", v.Name, got, pub)
		}
		vkey, err := note.NewEd25519VerifierKey("north/packing-1", pub)
		if err != nil {
			t.Fatal(err)
		}
		ver, err := note.NewVerifier(vkey)
		if err != nil {
			t.Fatal(err)
		}
		_, id, _ := strings.Cut(vkey, "+")
		id, _, _ = strings.Cut(id, "+")
		signer, err := note.NewSigner("PRIVATE+KEY+north/packing-1+" + id +
			"+" + base64.StdEncoding.EncodeToString(append([]byte{1}, seed...)))
		if err != nil {
			t.Fatal(err)
		}
		if got, err := signer.Sign(msg); err != nil || !bytes.Equal(got, sig) {
			t.Errorf("%s: signature %x, %v, want %x", v.Name, got, err, sig)
		}
		if !ver.Verify(msg, sig) {
			t.Errorf("%s: the published signature is refused", v.Name)
		}
		for i := range sig {
			bad := bytes.Clone(sig)
			bad[i] ^= 1
			if ver.Verify(msg, bad) {
				t.Errorf("%s: a signature changed at byte %d is accepted", v.Name, i)
			}
		}
	}
}

// TestSHA256Vectors (FIPS 180-4) holds the digest that is printed and hashed
// on: one call, in pieces, and as the hash of a note.
func TestSHA256Vectors(t *testing.T) {
	for _, v := range readVectors[struct {
		Name, Text, Digest string
		Repeat             int
	}](t, "sha256.json") {
		msg := bytes.Repeat([]byte(v.Text), v.Repeat)
		if got := Digest(sha256.Sum256(msg)).String(); got != v.Digest {
			t.Errorf("%s: digest %s, want %s", v.Name, got, v.Digest)
		}
		if got := NoteHash(msg); got != v.Digest {
			t.Errorf("%s: note hash %s, want %s", v.Name, got, v.Digest)
		}
		h := sha256.New()
		for c := range slices.Chunk(msg, 61) {
			h.Write(c)
		}
		if got := hex.EncodeToString(h.Sum(nil)); got != v.Digest {
			t.Errorf("%s: digest in pieces %s, want %s", v.Name, got, v.Digest)
		}
	}
}

// TestUUIDVectors: RFC 9562.
func TestUUIDVectors(t *testing.T) {
	derived := 0
	for _, v := range readVectors[struct {
		Name, ID, Time, RandA, RandB string
		Milliseconds                 int64
		WantErr, Accepted            bool
	}](t, "uuidv7.json") {
		at, err := IDTime(v.ID)
		if (err != nil) != v.WantErr {
			t.Errorf("%s: time %v, %v, want an error: %v", v.Name, at, err, v.WantErr)
		}
		if err == nil && (at.UnixMilli() != v.Milliseconds || at.Format(time.RFC3339) != v.Time) {
			t.Errorf("%s: time %s = %d ms, want %s = %d ms", v.Name, at.Format(time.RFC3339), at.UnixMilli(), v.Time,
				v.Milliseconds)
		}
		if err := checkUUID("id", v.ID); (err == nil) != v.Accepted {
			t.Errorf("%s: checked: %v, want accepted: %v", v.Name, err, v.Accepted)
		}
		if v.RandA != "" {
			derived++
			// The example's bits as a digest: 12 bits beside the version, 62 beside the variant.
			d := Digest(append(unhex(t, "0"+v.RandA+v.RandB), make([]byte, 22)...))
			if got := DerivedID(time.UnixMilli(v.Milliseconds), d); got != v.ID {
				t.Errorf("%s: derived %s, want %s", v.Name, got, v.ID)
			}
		}
	}
	if derived == 0 {
		t.Error("no vector with its random bits")
	}
}

// TestDerivedID: an id is a version 7 UUID whatever the digest, sorts by time,
// and depends on all of the 74 bits it takes.
func TestDerivedID(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var d Digest
		copy(d[:], rapid.SliceOfN(rapid.Byte(), 10, 10).Draw(t, "digest"))
		ms := rapid.Int64Range(0, 1<<48-1)
		at := ms.Draw(t, "ms")
		id := DerivedID(time.UnixMilli(at), d)
		if err := checkUUID("id", id); err != nil {
			t.Fatal(err)
		}
		if got, err := IDTime(id); err != nil || got.UnixMilli() != at {
			t.Fatalf("%s: time %d, %v, want %d", id, got.UnixMilli(), err, at)
		}
		if later := ms.Draw(t, "other ms"); later != at && (DerivedID(time.UnixMilli(later), d) > id) != (later > at) {
			t.Fatalf("ids of %d and %d do not sort by time", at, later)
		}
		bit := rapid.IntRange(0, 79).Draw(t, "bit")
		d[bit/8] ^= 0x80 >> (bit % 8)
		fixed := bit < 4 || bit == 16 || bit == 17 // where version and variant stand
		if (DerivedID(time.UnixMilli(at), d) == id) != fixed {
			t.Fatalf("bit %d of the digest: changes the id: %v", bit, fixed)
		}
	})
}

// TestCloudEvents: an event's JSON has what CloudEvents 1.0 requires, and all
// else is an optional attribute or a well-named extension of an allowed type.
func TestCloudEvents(t *testing.T) {
	raw, err := os.ReadFile("../testdata/events/cloudevents.json")
	if err != nil {
		t.Fatal(err)
	}
	var rules struct {
		Required, Optional            []string
		ExtensionPattern, SpecVersion string
	}
	if err := json.Unmarshal(raw, &rules); err != nil || len(rules.Required) != 4 {
		t.Fatalf("%v, %d required attributes", err, len(rules.Required))
	}
	name := regexp.MustCompile(rules.ExtensionPattern)
	rapid.Check(t, func(t *rapid.T) {
		k := rapid.SampledFrom(Kinds()).Draw(t, "kind")
		e := testEvent(drawData(t, k), "north/packing-1", 2, NoteHash(nil), testTime)
		e.Trip = testTrip(0)
		text, err := Encode(e)
		if err != nil {
			t.Fatal(err)
		}
		var got map[string]any
		if err := json.Unmarshal(text, &got); err != nil {
			t.Fatal(err)
		}
		for _, r := range rules.Required {
			if s, ok := got[r].(string); !ok || s == "" {
				t.Fatalf("%s: required attribute %s is %v", k, r, got[r])
			}
		}
		if got["specversion"] != rules.SpecVersion {
			t.Fatalf("specversion %v", got["specversion"])
		}
		for n, v := range got {
			if n == "data" || slices.Contains(rules.Required, n) || slices.Contains(rules.Optional, n) {
				continue
			}
			if !name.MatchString(n) {
				t.Fatalf("extension attribute %q is named against the rule", n)
			}
			switch v := v.(type) {
			case string, bool:
			case float64:
				if v != float64(int32(v)) {
					t.Fatalf("extension attribute %s is %v, no 32-bit integer", n, v)
				}
			default:
				t.Fatalf("extension attribute %s is a %T", n, v)
			}
		}
		if _, err := time.Parse(time.RFC3339Nano, got["time"].(string)); err != nil {
			t.Fatal(err)
		}
		// CloudEvents: producers make source and id together unique.
		other := testEvent(drawData(t, k), "north/packing-1", 3, "", testTime)
		if other.ID == e.ID {
			t.Fatalf("two events of one station have the id %s", e.ID)
		}
	})
}

// TestEnvelopeRequired takes each required attribute away in turn.
func TestEnvelopeRequired(t *testing.T) {
	text, err := Encode(testEvent(&SetChecked{Tag: "LAP-014"}, "north/storage", 1, "", testTime))
	if err != nil {
		t.Fatal(err)
	}
	for _, member := range []string{"id", "source", "specversion", "type", "subject", "time", "stationseq"} {
		var m map[string]any
		if err := json.Unmarshal(text, &m); err != nil {
			t.Fatal(err)
		}
		if _, ok := m[member]; !ok {
			t.Fatalf("the event has no %s to take away", member)
		}
		delete(m, member)
		raw, err := json.Marshal(m)
		if err != nil {
			t.Fatal(err)
		}
		e, err := Decode(raw)
		if err == nil {
			err = e.Check()
		}
		if err == nil {
			t.Errorf("an event without %s is accepted", member)
		}
	}
}

// TestBindingVectors: what a second program computed from the package comment.
func TestBindingVectors(t *testing.T) {
	for _, v := range readVectors[struct {
		Name, Observation, List, ID, Trip, ListDigest string
		Sets                                          []struct{ Set, Binding, Code, Short string }
	}](t, "bindings.json") {
		o := parse(t, v.Observation)
		if got := idOf(t, o); got != v.ID {
			t.Errorf("%s: id %s, want %s", v.Name, got, v.ID)
		}
		if got, err := o.NewTrip(); err != nil || got != v.Trip {
			t.Errorf("%s: trip %s, %v, want %s", v.Name, got, err, v.Trip)
		}
		l, err := DecodeData(KindListIssued, []byte(v.List))
		if err != nil {
			t.Fatal(err)
		}
		d, err := l.(*ListIssued).Digest()
		if err != nil || d.String() != v.ListDigest {
			t.Errorf("%s: list digest %s, %v, want %s", v.Name, d, err, v.ListDigest)
		}
		if len(v.Sets) == 0 {
			t.Errorf("%s: no sets", v.Name)
		}
		for _, s := range v.Sets {
			b, err := Binding(d, s.Set, v.Trip)
			if err != nil || b.String() != s.Binding {
				t.Errorf("%s: binding of %s is %s, %v, want %s", v.Name, s.Set, b, err, s.Binding)
			}
			c, err := NewSheetCode(v.Trip, b)
			if err != nil || c.String() != s.Code || c.Short() != s.Short {
				t.Errorf("%s: code of %s is %s, %s, %v, want %s, %s", v.Name, s.Set, c, c.Short(), err, s.Code, s.Short)
			}
		}
	}
}
