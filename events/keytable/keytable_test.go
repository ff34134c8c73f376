package keytable

import (
	"crypto/ed25519"
	"encoding/base64"
	"encoding/hex"
	"math/rand/v2"
	"strings"
	"sync"
	"testing"

	"filippo.io/edwards25519"
	"golang.org/x/mod/sumdb/note"
)

func unhex(tb testing.TB, s string) []byte {
	tb.Helper()
	b, err := hex.DecodeString(s)
	if err != nil {
		tb.Fatal(err)
	}
	return b
}

// TestVectors: RFC 8032, 7.1, tests 1 to 3, and each with one bit changed of key, message and signature.
func TestVectors(t *testing.T) {
	for _, v := range []struct{ public, message, sig string }{
		{"d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a", "",
			"e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e06522490155" +
				"5fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b"},
		{"3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c", "72",
			"92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da" +
				"085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00"},
		{"fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025", "af82",
			"6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac" +
				"18ff9b538d16f290ae67f760984dc6594a7c15e9716ed28dc027beceea1ec40a"},
	} {
		public, message, sig := unhex(t, v.public), unhex(t, v.message), unhex(t, v.sig)
		k, err := New(public)
		if err != nil {
			t.Fatal(err)
		}
		if !k.Verify(message, sig) {
			t.Errorf("%s: refused", v.public)
		}
		if k.Verify(append(message, 0), sig) {
			t.Errorf("%s: taken for another message", v.public)
		}
		for bit := range 8 * len(sig) {
			sig[bit/8] ^= 1 << (bit % 8)
			if k.Verify(message, sig) {
				t.Errorf("%s: taken with bit %d changed", v.public, bit)
			}
			sig[bit/8] ^= 1 << (bit % 8)
		}
	}
}

// odd are encodings that libraries judge differently: all points of small order, each in all its spellings, and some
// that are no points.
func odd(t *testing.T) (out [][]byte) {
	t.Helper()
	for _, s := range []string{
		"0100000000000000000000000000000000000000000000000000000000000000",
		"0100000000000000000000000000000000000000000000000000000000000080", // non-canonical sign
		"eeffffffffffffffffffffffffffffffffffffffffffffffffffffffffffff7f", // non-canonical y
		"eeffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffff",
		"ecffffffffffffffffffffffffffffffffffffffffffffffffffffffffffff7f",
		"ecffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffff",
		"0000000000000000000000000000000000000000000000000000000000000000",
		"0000000000000000000000000000000000000000000000000000000000000080",
		"edffffffffffffffffffffffffffffffffffffffffffffffffffffffffffff7f",
		"edffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffff",
		"26e8958fc2b227b045c3f489f2ef98f0d5dfac05d3c63339b13802886d53fc05",
		"26e8958fc2b227b045c3f489f2ef98f0d5dfac05d3c63339b13802886d53fc85",
		"c7176a703d4dd84fba3c0b760d10670f2a2053fa2c39ccc64ec7fd7792ac037a",
		"c7176a703d4dd84fba3c0b760d10670f2a2053fa2c39ccc64ec7fd7792ac03fa",
		"f0ffffffffffffffffffffffffffffffffffffffffffffffffffffffffffff7f", // non-canonical y of 3
		"0200000000000000000000000000000000000000000000000000000000000000", // no point
	} {
		out = append(out, unhex(t, s))
	}
	return out
}

// TestSameAnswers holds the table against crypto/ed25519 for keys and signatures with parts of small order, encodings that
// aren't canonical, and an s of the group's order and more.
func TestSameAnswers(t *testing.T) {
	rng := rand.NewChaCha8([32]byte{1})
	bytes := func(n int) []byte {
		b := make([]byte, n)
		rng.Read(b)
		return b
	}
	scalar := func() *edwards25519.Scalar {
		s, err := new(edwards25519.Scalar).SetUniformBytes(bytes(64))
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	encodings := odd(t)
	var small []*edwards25519.Point
	for _, b := range encodings {
		if p, err := new(edwards25519.Point).SetBytes(b); err == nil {
			small = append(small, p)
		}
	}
	a := scalar()
	for _, p := range small { // keys of mixed order
		mixed := new(edwards25519.Point).ScalarBaseMult(a)
		encodings = append(encodings, mixed.Add(mixed, p).Bytes())
	}
	zero := make([]byte, 32)
	order := unhex(t, "edd3f55c1a631258d69cf7a2def9de1400000000000000000000000000000010")
	high := append(bytes(31), 0xff)
	taken, tried := 0, 0
	for _, public := range encodings {
		k, err := New(public)
		if _, is := new(edwards25519.Point).SetBytes(public); (is == nil) != (err == nil) {
			t.Fatalf("key %x: %v", public, err)
		}
		if err != nil {
			continue
		}
		for n := range 5 {
			message := bytes(n)
			var sigs [][]byte
			for _, r := range encodings {
				for _, s := range [][]byte{zero, order, high, scalar().Bytes(), a.Bytes()} {
					sigs = append(sigs, append(append([]byte(nil), r...), s...))
				}
			}
			sigs = append(sigs, bytes(64), bytes(63), nil)
			for _, sig := range append(sigs, signedBy(t, a, public, message, scalar(), small[n%len(small)])) {
				want := ed25519.Verify(public, message, sig)
				if got := k.Verify(message, sig); got != want {
					t.Fatalf("key %x, message %x, signature %x: %v, crypto/ed25519 says %v", public, message, sig, got, want)
				}
				if tried++; want {
					taken++
				}
			}
		}
	}
	if taken < 100 || tried-taken < 10000 {
		t.Errorf("of %d signatures %d were good: hardly anything was compared", tried, taken)
	}
}

// signedBy signs as the owner of a could for any public key, with a point added to R.
func signedBy(t *testing.T, a *edwards25519.Scalar, public, message []byte, r *edwards25519.Scalar, add *edwards25519.Point) []byte {
	t.Helper()
	point := new(edwards25519.Point).ScalarBaseMult(r)
	sig := point.Add(point, add).Bytes()
	k, err := new(edwards25519.Scalar).SetUniformBytes(challenge(sig, public, message))
	if err != nil {
		t.Fatal(err)
	}
	return append(sig, k.MultiplyAdd(k, a, r).Bytes()...)
}

// FuzzVerify: whatever is signed and then changed, the answers are the same.
func FuzzVerify(f *testing.F) {
	f.Add(make([]byte, 32), []byte("packed"), 0, byte(0))
	f.Add([]byte("a seed of thirty-two bytes, exact"), []byte{}, 17, byte(1))
	f.Fuzz(func(t *testing.T, seed, message []byte, at int, change byte) {
		if len(seed) < ed25519.SeedSize {
			return
		}
		private := ed25519.NewKeyFromSeed(seed[:ed25519.SeedSize])
		public := private.Public().(ed25519.PublicKey)
		sig := ed25519.Sign(private, message)
		sig[uint(at)%64] ^= change
		k, err := New(public)
		if err != nil {
			t.Fatal(err)
		}
		if got, want := k.Verify(message, sig), ed25519.Verify(public, message, sig); got != want {
			t.Errorf("%v, crypto/ed25519 says %v", got, want)
		}
	})
}

// TestVerifier: notes are verified before and after the table is made, by many at once.
func TestVerifier(t *testing.T) {
	random := rand.NewChaCha8([32]byte{2})
	skey, vkey, err := note.GenerateKey(random, "north/or-3")
	for n := 0; err == nil && (n < 40 || strings.Count(vkey, "+") < 3); n++ { // the key's base64 may have a plus, too
		if _, err = NewVerifier(vkey); err == nil {
			skey, vkey, err = note.GenerateKey(random, "north/or-3")
		}
	}
	if err != nil {
		t.Fatal(err)
	}
	signer, err := note.NewSigner(skey)
	if err != nil {
		t.Fatal(err)
	}
	v, err := NewVerifier(vkey)
	if err != nil {
		t.Fatal(err)
	}
	good, err := note.Sign(&note.Note{Text: "counted\n"}, signer)
	if err != nil {
		t.Fatal(err)
	}
	bad := []byte("packed!\n" + string(good[len("counted\n"):]))
	var wg sync.WaitGroup
	for range 4 {
		wg.Go(func() {
			for range few {
				if _, err := note.Open(good, note.VerifierList(v)); err != nil {
					t.Error(err)
				}
				if _, err := note.Open(bad, note.VerifierList(v)); err == nil {
					t.Error("a changed note is taken")
				}
			}
		})
	}
	wg.Wait()
	if _, err := NewVerifier("north/or-3+00000000+" + base64.StdEncoding.EncodeToString(make([]byte, 33))); err == nil {
		t.Error("a key whose hash is wrong is taken")
	}
}

func BenchmarkVerify(b *testing.B) {
	private := ed25519.NewKeyFromSeed(make([]byte, ed25519.SeedSize))
	public := private.Public().(ed25519.PublicKey)
	message := make([]byte, 650)
	sig := ed25519.Sign(private, message)
	k, err := New(public)
	if err != nil {
		b.Fatal(err)
	}
	b.Run("table", func(b *testing.B) {
		for b.Loop() {
			if !k.Verify(message, sig) {
				b.Fatal("refused")
			}
		}
	})
	b.Run("library", func(b *testing.B) {
		for b.Loop() {
			if !ed25519.Verify(public, message, sig) {
				b.Fatal("refused")
			}
		}
	})
	b.Run("new", func(b *testing.B) {
		for b.Loop() {
			if _, err := New(public); err != nil {
				b.Fatal(err)
			}
		}
	})
}

// TestVerifyAll: signatures that are checked together are judged as each is alone, good ones beside bad ones of all kinds.
func TestVerifyAll(t *testing.T) {
	random := rand.NewChaCha8([32]byte{3})
	var signers []note.Signer
	var verifiers []note.Verifier
	for range 3 {
		skey, vkey, err := note.GenerateKey(random, "north/or-3")
		if err != nil {
			t.Fatal(err)
		}
		s, err := note.NewSigner(skey)
		if err != nil {
			t.Fatal(err)
		}
		v, err := NewVerifier(vkey)
		if err != nil {
			t.Fatal(err)
		}
		signers, verifiers = append(signers, s), append(verifiers, v)
	}
	plain, err := note.NewVerifier(mustKey(t, random))
	if err != nil {
		t.Fatal(err)
	}
	taken, refused := 0, 0
	for round := range 30 { // the first of them before the tables are made
		var by []note.Verifier
		var messages, sigs [][]byte
		for n := range 24 {
			message := []byte(strings.Repeat("counted", n+round))
			sig, err := signers[n%3].Sign(message)
			if err != nil {
				t.Fatal(err)
			}
			v := verifiers[n%3]
			switch n % 8 {
			case 1:
				sig[3] ^= 1 // R
			case 2:
				sig[40] ^= 1 // s
			case 3:
				sig[63] |= 0xf0 // s beyond the group's order
			case 4:
				sig = sig[:63]
			case 5:
				message = append(message, 'x')
			case 6:
				v = verifiers[(n+1)%3] // another key
			case 7:
				v = plain
			}
			by, messages, sigs = append(by, v), append(messages, message), append(sigs, sig)
		}
		for i, good := range VerifyAll(by, messages, sigs) {
			want := false
			if v, ok := by[i].(*verifier); ok {
				want = ed25519.Verify(v.public, messages[i], sigs[i])
			}
			if good != want {
				t.Fatalf("round %d, signature %d: %v, crypto/ed25519 says %v", round, i, good, want)
			}
			if good {
				taken++
			} else {
				refused++
			}
		}
	}
	if taken < 50 || refused < 500 {
		t.Errorf("%d taken, %d refused: hardly anything was compared", taken, refused)
	}
	if len(VerifyAll(nil, nil, nil)) != 0 {
		t.Error("answers to no question")
	}
}

func mustKey(t *testing.T, random *rand.ChaCha8) string {
	t.Helper()
	_, vkey, err := note.GenerateKey(random, "north/or-3")
	if err != nil {
		t.Fatal(err)
	}
	return vkey
}
