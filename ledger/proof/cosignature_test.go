package proof

import (
	"crypto/ed25519"
	"crypto/rand"
	"encoding/base64"
	"strings"
	"testing"
	"time"

	tdnote "github.com/transparency-dev/formats/note"
	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"
)

func noteKey(t *testing.T, name string) (skey string) {
	t.Helper()
	skey, _, err := note.GenerateKey(rand.Reader, name)
	if err != nil {
		t.Fatal(err)
	}
	return skey
}

// TestCosignatureOfTheSpecification computes the message that is signed in the example of c2sp.org/tlog-cosignature.
func TestCosignatureOfTheSpecification(t *testing.T) {
	const text = "example.com/behind-the-sofa\n20852163\nCsUYapGGPo4dkMgIAUqom/Xajj7h2fB2MPA3j2jxq2I=\n"
	want := "cosignature/v1\ntime 1679315147\n" + text
	if got := string(cosigned([]byte(text), 1679315147)); got != want {
		t.Errorf("signed is\n%s\nwant\n%s", got, want)
	}
	if c, err := ParseCheckpoint(text); err != nil || c.Size != 20852163 {
		t.Errorf("%+v, %v", c, err)
	}
}

// TestCosignatureBothWays holds our cosignatures against those of transparency-dev/formats: each verifies the other's,
// with the key as the other writes it.
func TestCosignatureBothWays(t *testing.T) {
	skey := noteKey(t, "witness.example/w1")
	at := time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)
	ours, err := NewCosigner(skey, func() time.Time { return at })
	if err != nil {
		t.Fatal(err)
	}
	theirs, err := tdnote.NewSignerForCosignatureV1(skey)
	if err != nil {
		t.Fatal(err)
	}
	if ours.KeyHash() != theirs.KeyHash() || ours.Name() != theirs.Name() {
		t.Fatalf("key %s %08x, theirs %s %08x", ours.Name(), ours.KeyHash(), theirs.Name(), theirs.KeyHash())
	}
	ourVerifier, err := NewCosignatureVerifier(ours.VerifierKey())
	if err != nil {
		t.Fatal(err)
	}
	theirVerifier, err := tdnote.NewVerifierForCosignatureV1(ours.VerifierKey())
	if err != nil {
		t.Fatal(err)
	}
	ledger := noteKey(t, "north/ledger")
	signer, err := note.NewSigner(ledger)
	if err != nil {
		t.Fatal(err)
	}
	msg, err := SignCheckpoint(Checkpoint{Origin: "north/ledger", Size: 3, Root: tlog.Hash{1, 2}}, signer)
	if err != nil {
		t.Fatal(err)
	}
	for who, s := range map[string]note.Signer{"ours": ours, "theirs": theirs} {
		opened, err := note.Open(msg, note.VerifierList(mustVerifier(t, ledger)))
		if err != nil {
			t.Fatal(err)
		}
		both, err := note.Sign(opened, s)
		if err != nil {
			t.Fatal(err)
		}
		for check, v := range map[string]note.Verifier{"ours": ourVerifier, "theirs": theirVerifier} {
			n, err := OpenNote(both, note.VerifierList(v))
			if err != nil || len(n.Sigs) != 1 {
				t.Errorf("signed by %s, checked by %s: %v", who, check, err)
				continue
			}
			got, err := CosignedAt(n.Sigs[0])
			if err != nil || who == "ours" && !got.Equal(at) {
				t.Errorf("signed by %s at %s, %v", who, got, err)
			}
			their, err := tdnote.CoSigV1Timestamp(n.Sigs[0])
			if err != nil || !their.Equal(got) {
				t.Errorf("signed by %s at %s, they read %s, %v", who, got, their, err)
			}
		}
		for _, changed := range []string{"north/ledger\n3\n", "south/ledger\n3\n", "north/ledger\n4\n"} {
			bad := strings.Replace(string(both), "north/ledger\n3\n", changed, 1)
			_, err := OpenNote([]byte(bad), note.VerifierList(ourVerifier))
			if (err == nil) != (changed == "north/ledger\n3\n") {
				t.Errorf("signed by %s, the text changed to %q: %v", who, changed, err)
			}
		}
	}
}

func mustVerifier(t *testing.T, skey string) note.Verifier {
	t.Helper()
	parts := strings.Split(skey, "+")
	raw, err := base64.StdEncoding.DecodeString(strings.Join(parts[4:], "+"))
	if err != nil {
		t.Fatal(err)
	}
	vkey, err := note.NewEd25519VerifierKey(parts[2], ed25519.NewKeyFromSeed(raw[1:]).Public().(ed25519.PublicKey))
	if err != nil {
		t.Fatal(err)
	}
	v, err := note.NewVerifier(vkey)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// TestCosignatureKeys refuses what is no key of a witness, and a cosignature whose bytes or time were changed.
func TestCosignatureKeys(t *testing.T) {
	skey := noteKey(t, "w")
	c, err := NewCosigner(skey, time.Now)
	if err != nil {
		t.Fatal(err)
	}
	good := c.VerifierKey()
	v, err := NewCosignatureVerifier(good)
	if err != nil {
		t.Fatal(err)
	}
	raw, err := base64.StdEncoding.DecodeString(strings.SplitN(good, "+", 3)[2])
	if err != nil {
		t.Fatal(err)
	}
	ledgerKey, err := note.NewEd25519VerifierKey("w", raw[1:])
	if err != nil {
		t.Fatal(err)
	}
	if _, err := NewCosignatureVerifier(ledgerKey); err == nil || !strings.Contains(err.Error(), "not of a witness") {
		t.Error("a ledger's key passes for a witness's")
	}
	for _, bad := range []string{
		"", "w", "w+1", "+" + good, strings.Replace(good, "w+", "x+", 1), good[:len(good)-4], good + "A",
		"w+00000000+" + strings.SplitN(good, "+", 3)[2],
	} {
		if _, err := NewCosignatureVerifier(bad); err == nil {
			t.Errorf("%q passes for the key of a witness", bad)
		}
	}
	private := func(raw []byte) string { return "PRIVATE+KEY+w+00000000+" + base64.StdEncoding.EncodeToString(raw) }
	seed := make([]byte, ed25519.SeedSize)
	for _, alg := range []byte{algEd25519, algCosignature} {
		if _, err := NewCosigner(private(append([]byte{alg}, seed...)), time.Now); err != nil {
			t.Errorf("of algorithm %d: %v", alg, err)
		}
	}
	whole := private(append([]byte{algEd25519}, seed...))
	unnamed := strings.SplitN(whole, "+", 4)
	unnamed[2] = "a name"
	for _, bad := range []string{
		"", good, strings.Join(unnamed, "+"), "PRIVATE+KEY+w", "PRIVATE+KEY+w+00000000+AAAA", strings.Replace(skey, "PRIVATE", "PUBLIC", 1),
		whole + "!", private([]byte{algEd25519}), private(nil), private(append([]byte{algEd25519, 0}, seed...)),
		private(append([]byte{2}, seed...)), private(append([]byte{0}, seed...)),
	} {
		if _, err := NewCosigner(bad, time.Now); err == nil {
			t.Errorf("%q passes for a signing key", bad)
		}
	}
	text := []byte("north/ledger\n0\n" + EmptyRoot.String() + "\n")
	sig, err := c.Sign(text)
	if err != nil || !v.Verify(text, sig) {
		t.Fatal(err)
	}
	for i := range sig {
		changed := append([]byte(nil), sig...)
		changed[i] ^= 1
		if v.Verify(text, changed) {
			t.Errorf("byte %d changed and still good", i)
		}
	}
	if v.Verify(text, sig[:len(sig)-1]) || v.Verify(text, append(sig, 0)) || v.Verify(text, nil) {
		t.Error("a cosignature of another length is good")
	}
	if _, err := c.Sign([]byte("no checkpoint\n")); err == nil {
		t.Error("a witness signed something else than a checkpoint")
	}
}

// TestAddSignaturesWhole: what is no signature line makes no note.
func TestAddSignaturesWhole(t *testing.T) {
	if out, err := AddSignatures([]byte("a\n\n"), []byte("— north/witness AAAA\n")); err == nil {
		t.Errorf("%q", out)
	}
	if out, err := AddSignatures([]byte("a\n\n"), []byte("no signature")); err == nil {
		t.Errorf("%q", out)
	}
}
