// Package keytable checks many Ed25519 signatures of one key (RFC 8032). It gives the answers of crypto/ed25519, all of
// them, in about a third of the time: the multiples of the key that any signature can need are computed once, and a
// check only adds up. Nothing is checked in batches and nothing is left to chance.
//
// What is computed is the same, too: s must be below the group's order, [s]B + [k](-A) is the exact sum with k reduced by
// that order, and its encoding is compared with R byte by byte. So keys of small order, points that are encoded in more
// than one way and signatures of mixed order are judged as crypto/ed25519 judges them.
//
// Only public values are worked on, so nothing here takes care to need the same time for each.
package keytable

import (
	"bytes"
	"crypto/ed25519"
	"crypto/sha512"
	"encoding/base64"
	"errors"
	"strings"
	"sync"
	"sync/atomic"

	"filippo.io/edwards25519"
	"filippo.io/edwards25519/field"
	"golang.org/x/mod/sumdb/note"
)

// A scalar is written in digits of so many bits, each between -half+1 and half of what the bits count. One bit more makes a
// table twice as large and a check less than a tenth quicker: the table of B is there once, those of keys for each station.
const (
	keyBits       = 6
	generatorBits = 8
	mostDigits    = 253/keyBits + 1
)

// digitsIn is how many digits a scalar has below the group's order, which is below 2^253, with its last carry.
func digitsIn(bits int) int { return 253/bits + 1 }

// multiple is a point as it is added: y+x, y-x and 2dxy of its affine coordinates (Hisil, Wong, Carter and Dawson,
// Twisted Edwards Curves Revisited, 2008, section 3.1). The formula holds for all points of the curve.
type multiple struct{ plus, minus, xy2d field.Element }

// table holds the multiples of a point by which each digit of a scalar can count, those of the least digit first.
type table struct {
	bits int
	all  []multiple
}

// d2 is twice the curve's d = -121665/121666.
var d2 = sync.OnceValue(func() *field.Element {
	one := new(field.Element).One()
	d := new(field.Element).Mult32(one, 121666)
	d.Invert(d)
	d.Multiply(d, new(field.Element).Mult32(one, 121665))
	d.Negate(d)
	return d.Add(d, d)
})

// ofGenerator is the table of B, which all keys need.
var ofGenerator = sync.OnceValue(func() *table { return newTable(edwards25519.NewGeneratorPoint(), generatorBits) })

func newTable(p *edwards25519.Point, bits int) *table {
	digits, half := digitsIn(bits), 1<<(bits-1)
	t := &table{bits, make([]multiple, digits*half)}
	points := make([]edwards25519.Point, 0, digits*half)
	first := new(edwards25519.Point).Set(p)
	for range digits {
		next := new(edwards25519.Point).Set(first)
		for range half {
			points = append(points, *new(edwards25519.Point).Set(next))
			next.Add(next, first)
		}
		last := &points[len(points)-1] // half times first
		first.Add(last, last)
	}
	inverses := make([]field.Element, len(points))
	for i := range points {
		_, _, z, _ := points[i].ExtendedCoordinates()
		inverses[i].Set(z)
	}
	invert(inverses)
	for i := range points {
		x, y, _, _ := points[i].ExtendedCoordinates()
		x.Multiply(x, &inverses[i])
		y.Multiply(y, &inverses[i])
		m := &t.all[i]
		m.plus.Add(y, x)
		m.minus.Subtract(y, x)
		m.xy2d.Multiply(x, y)
		m.xy2d.Multiply(&m.xy2d, d2())
	}
	return t
}

// invert inverts elements, none of them zero, by one inversion for all of them: each is had from the product of all up to it.
func invert(all []field.Element) {
	before := make([]field.Element, len(all))
	product := new(field.Element).One()
	for i := range all {
		before[i].Set(product)
		product.Multiply(product, &all[i])
	}
	product.Invert(product)
	for i := len(all) - 1; i >= 0; i-- {
		before[i].Multiply(&before[i], product)
		product.Multiply(product, &all[i])
	}
	copy(all, before)
}

// sum is a point in extended coordinates, x = X/Z, y = Y/Z and xy = T/Z, to which multiples are added.
type sum struct{ x, y, z, t field.Element }

func (s *sum) reset() {
	s.x.Zero()
	s.y.One()
	s.z.One()
	s.t.Zero()
}

// add adds a multiple, or takes it away.
func (s *sum) add(m *multiple, negative bool) {
	plus, minus := &m.plus, &m.minus
	if negative {
		plus, minus = minus, plus
	}
	var a, b, c, d, e, f, g, h field.Element
	a.Subtract(&s.y, &s.x)
	a.Multiply(&a, minus)
	b.Add(&s.y, &s.x)
	b.Multiply(&b, plus)
	c.Multiply(&s.t, &m.xy2d)
	d.Add(&s.z, &s.z)
	e.Subtract(&b, &a)
	h.Add(&b, &a)
	if negative { // the sign of xy
		f.Add(&d, &c)
		g.Subtract(&d, &c)
	} else {
		f.Subtract(&d, &c)
		g.Add(&d, &c)
	}
	s.x.Multiply(&e, &f)
	s.y.Multiply(&g, &h)
	s.t.Multiply(&e, &h)
	s.z.Multiply(&f, &g)
}

// addTimes adds so many times the point of a table.
func (s *sum) addTimes(t *table, times *edwards25519.Scalar) {
	half := 1 << (t.bits - 1)
	digits := digitsOf(times.Bytes(), t.bits)
	for i, d := range digits[:digitsIn(t.bits)] {
		switch {
		case d > 0:
			s.add(&t.all[i*half+d-1], false)
		case d < 0:
			s.add(&t.all[i*half-d-1], true)
		}
	}
}

// bytes encodes the point (RFC 8032, 5.1.2) by the inverse of its Z.
func (s *sum) bytes(inverse *field.Element) []byte {
	x := new(field.Element).Multiply(&s.x, inverse)
	out := new(field.Element).Multiply(&s.y, inverse).Bytes()
	out[31] |= byte(x.IsNegative() << 7)
	return out
}

// digitsOf writes a scalar in signed digits, the least first. The last one takes the carry: it has bits to spare.
func digitsOf(scalar []byte, width int) (out [mostDigits]int) {
	carry, half := 0, 1<<(width-1)
	for i := range digitsIn(width) {
		at := i * width
		bits := int(scalar[at/8]) >> (at % 8)
		if next := at/8 + 1; next < len(scalar) {
			bits |= int(scalar[next]) << (8 - at%8)
		}
		d := bits&(2*half-1) + carry
		if carry = 0; d > half {
			d, carry = d-2*half, 1
		}
		out[i] = d
	}
	return out
}

// Key is a public key with its table, some 160 kB of memory and the work of ten checks without.
// It may be used by many goroutines at once.
type Key struct {
	public []byte
	minusA *table
}

// New makes the table of a public key.
func New(public ed25519.PublicKey) (*Key, error) {
	if len(public) != ed25519.PublicKeySize {
		return nil, errors.New("keytable: an Ed25519 public key has 32 bytes")
	}
	a, err := new(edwards25519.Point).SetBytes(public)
	if err != nil {
		return nil, errors.New("keytable: not an Ed25519 public key")
	}
	return &Key{bytes.Clone(public), newTable(a.Negate(a), keyBits)}, nil
}

// Verify reports whether a signature of a message is one by the key, as [ed25519.Verify] does.
func (k *Key) Verify(message, sig []byte) bool {
	var r sum
	return k.sum(&r, message, sig) && bytes.Equal(r.bytes(new(field.Element).Invert(&r.z)), sig[:32])
}

// sum computes the point whose encoding must be the signature's R. It is false where s or the length is none of a signature.
func (k *Key) sum(r *sum, message, sig []byte) bool {
	if len(sig) != ed25519.SignatureSize {
		return false
	}
	s, err := new(edwards25519.Scalar).SetCanonicalBytes(sig[32:])
	if err != nil {
		return false
	}
	times, err := new(edwards25519.Scalar).SetUniformBytes(challenge(sig[:32], k.public, message))
	if err != nil {
		return false // never: 64 bytes are what it takes
	}
	r.reset()
	r.addTimes(ofGenerator(), s)
	r.addTimes(k.minusA, times)
	return true
}

// challenge is the hash that ties R to the key and the message (RFC 8032, 5.1.7).
func challenge(r, public, message []byte) []byte {
	h := sha512.New()
	h.Write(r)
	h.Write(public)
	h.Write(message)
	return h.Sum(make([]byte, 0, sha512.Size))
}

// few is how many signatures of a key are checked before a table is worth its time.
const few = 32

// verifier checks the first few signatures without a table.
type verifier struct {
	note.Verifier
	public ed25519.PublicKey
	seen   atomic.Int64
	table  func() *Key
}

// NewVerifier returns a verifier of notes for a key in the form of [note.NewVerifier], for many notes: from the
// thirty-third on it uses a table. It may be used by many goroutines at once.
func NewVerifier(vkey string) (note.Verifier, error) {
	plain, err := note.NewVerifier(vkey)
	if err != nil {
		return nil, err
	}
	// The form is name+hash+base64, of the algorithm (1 for Ed25519, the only one that note knows) and the key. The name has no
	// plus, the base64 may have some.
	raw, err := base64.StdEncoding.DecodeString(strings.SplitN(vkey, "+", 3)[2])
	if err != nil || len(raw) != 1+ed25519.PublicKeySize {
		return nil, errors.New("keytable: not the key of an Ed25519 verifier")
	}
	public := ed25519.PublicKey(raw[1:])
	return &verifier{Verifier: plain, public: public, table: sync.OnceValue(func() *Key {
		k, err := New(public)
		if err != nil {
			return nil // no point of the curve: it has no good signature either way
		}
		return k
	})}, nil
}

// Verify implements [note.Verifier].
func (v *verifier) Verify(message, sig []byte) bool {
	if v.seen.Add(1) <= few {
		return v.Verifier.Verify(message, sig)
	}
	if k := v.table(); k != nil {
		return k.Verify(message, sig)
	}
	return v.Verifier.Verify(message, sig)
}

// VerifyAll checks some signatures, each by a verifier of its own, and gives the answers that the verifiers give. Each
// equation is computed on its own; what they share is one inversion, by which all sums are encoded.
func VerifyAll(by []note.Verifier, messages, sigs [][]byte) []bool {
	good := make([]bool, len(by))
	var which []int
	var sums []sum
	for i := range by {
		v, ok := by[i].(*verifier)
		if !ok || v.seen.Load() <= few {
			good[i] = by[i].Verify(messages[i], sigs[i])
			continue
		}
		k := v.table()
		if k == nil {
			good[i] = by[i].Verify(messages[i], sigs[i])
			continue
		}
		var r sum
		if k.sum(&r, messages[i], sigs[i]) {
			which, sums = append(which, i), append(sums, r)
		}
	}
	if len(sums) == 0 {
		return good
	}
	inverses := make([]field.Element, len(sums))
	for n := range sums {
		inverses[n].Set(&sums[n].z)
	}
	invert(inverses)
	for n, i := range which {
		good[i] = bytes.Equal(sums[n].bytes(&inverses[n]), sigs[i][:32])
	}
	return good
}
