//go:build !race

package door

import (
	"bytes"
	"encoding/base64"
	"encoding/binary"
	"encoding/hex"
	"math/bits"
	"strings"
	"testing"

	"golang.org/x/crypto/argon2"
	"golang.org/x/crypto/blake2b"
)

// argon2id is written after RFC 9106, section 3, for the vector in its section 5.3: that has a secret and associated
// data, which the library that is used can't be given.
func argon2id(t *testing.T, password, salt, secret, ad []byte, c Cost, length int) []byte {
	t.Helper()
	le := func(n int) []byte { return binary.LittleEndian.AppendUint32(nil, uint32(n)) }
	hash := func(size int, parts ...[]byte) []byte {
		h, err := blake2b.New(size, nil)
		if err != nil {
			t.Fatal(err)
		}
		for _, p := range parts {
			h.Write(p)
		}
		return h.Sum(nil)
	}
	long := func(size int, parts ...[]byte) []byte {
		in := append([][]byte{le(size)}, parts...)
		if size <= 64 {
			return hash(size, in...)
		}
		v := hash(64, in...)
		var out []byte
		for size-len(out) > 64 {
			out = append(out, v[:32]...)
			if size-len(out) > 64 {
				v = hash(64, v)
			}
		}
		return append(out, hash(size-len(out), v)...)
	}
	type block [128]uint64
	read := func(b []byte) (out block) {
		for i := range out {
			out[i] = binary.LittleEndian.Uint64(b[8*i:])
		}
		return out
	}
	g := func(x, y block) block {
		var r block
		for i := range r {
			r[i] = x[i] ^ y[i]
		}
		z := r
		mix := func(at func(int) int) {
			step := func(a, b, c, d int) {
				va, vb, vc, vd := &z[at(a)], &z[at(b)], &z[at(c)], &z[at(d)]
				f := func(x, y uint64) uint64 { return x + y + 2*uint64(uint32(x))*uint64(uint32(y)) }
				*va = f(*va, *vb)
				*vd = bits.RotateLeft64(*vd^*va, -32)
				*vc = f(*vc, *vd)
				*vb = bits.RotateLeft64(*vb^*vc, -24)
				*va = f(*va, *vb)
				*vd = bits.RotateLeft64(*vd^*va, -16)
				*vc = f(*vc, *vd)
				*vb = bits.RotateLeft64(*vb^*vc, -63)
			}
			for i := range 4 {
				step(i, i+4, i+8, i+12)
			}
			for i := range 4 {
				step(i, 4+(i+1)%4, 8+(i+2)%4, 12+(i+3)%4)
			}
		}
		for row := range 8 {
			mix(func(i int) int { return 16*row + i })
		}
		for col := range 8 {
			mix(func(i int) int { return 2*col + 16*(i/2) + i%2 })
		}
		for i := range z {
			z[i] ^= r[i]
		}
		return z
	}
	p, passes := int(c.Threads), int(c.Time)
	h0 := hash(64, le(p), le(length), le(int(c.KiB)), le(passes), le(argon2.Version), le(2),
		le(len(password)), password, le(len(salt)), salt, le(len(secret)), secret, le(len(ad)), ad)
	segment := int(c.KiB) / (4 * p)
	q := 4 * segment
	lanes := make([][]block, p)
	for i := range lanes {
		lanes[i] = make([]block, q)
		lanes[i][0] = read(long(1024, h0, le(0), le(i)))
		lanes[i][1] = read(long(1024, h0, le(1), le(i)))
	}
	for pass := range passes {
		for slice := range 4 {
			for lane := range p {
				for index := range segment {
					j := slice*segment + index
					if pass == 0 && j < 2 {
						continue
					}
					last := lanes[lane][(j+q-1)%q]
					word := last[0]
					if pass == 0 && slice < 2 {
						in := block{uint64(pass), uint64(lane), uint64(slice), uint64(p * q), uint64(passes), 2, uint64(index/128 + 1)}
						word = g(block{}, g(block{}, in))[index%128]
					}
					j1, j2 := word&0xffffffff, word>>32
					other := int(j2 % uint64(p))
					if pass == 0 && slice == 0 {
						other = lane
					}
					size, start := 3*segment, (slice+1)*segment
					if pass == 0 {
						size, start = slice*segment, 0
					}
					switch {
					case other == lane:
						size += index - 1
					case index == 0:
						size--
					}
					x := j1 * j1 >> 32
					z := size - 1 - int(uint64(size)*x>>32)
					next := g(last, lanes[other][(start+z)%q])
					if pass > 0 {
						for i := range next {
							next[i] ^= lanes[lane][j][i]
						}
					}
					lanes[lane][j] = next
				}
			}
		}
	}
	var sum block
	for _, l := range lanes {
		for i := range sum {
			sum[i] ^= l[q-1][i]
		}
	}
	var raw []byte
	for _, w := range sum {
		raw = binary.LittleEndian.AppendUint64(raw, w)
	}
	return long(length, raw)
}

// TestArgon2id holds an implementation of this test's own against RFC 9106's vector, and the library against that for
// what the library takes: passwords without a secret.
func TestArgon2id(t *testing.T) {
	const tag = "0d640df58d78766c08c037a34a8b53c9d01ef0452d75b65eb52520e96b01e659" // RFC 9106, 5.3
	of := func(b byte, n int) []byte { return bytes.Repeat([]byte{b}, n) }
	got := argon2id(t, of(1, 32), of(2, 16), of(3, 8), of(4, 12), Cost{Time: 3, KiB: 32, Threads: 4}, 32)
	if hex.EncodeToString(got) != tag {
		t.Fatalf("RFC 9106's vector gives %x", got)
	}
	for _, c := range []Cost{{1, 8, 1}, {3, 32, 4}, {2, 200, 3}, {4, 2048, 2}, {1, 1 << 12, 4}} {
		salt := of(9, saltLength)
		want := argon2id(t, []byte(password), salt, nil, nil, c, hashLength)
		if got := argon2.IDKey([]byte(password), salt, c.Time, c.KiB, c.Threads, hashLength); !bytes.Equal(got, want) {
			t.Errorf("%+v: the library says %x, RFC 9106 %x", c, got, want)
		}
		kept := formatHash(want, salt, c)
		if !checkPassword(password, kept) || checkPassword(password+" ", kept) {
			t.Errorf("%+v: %s", c, kept)
		}
	}
}

const password = "Regenschirm und 7 Laternen"

// TestPasswordIsKept: what is kept says how it was made, two of the same differ, and what can't be read lets nobody in.
func TestPasswordIsKept(t *testing.T) {
	c := Cost{Time: 2, KiB: 64, Threads: 2}
	kept := hashPassword(password, c)
	if !strings.HasPrefix(kept, "$argon2id$v=19$m=64,t=2,p=2$") || strings.Contains(kept, password) {
		t.Errorf("kept: %s", kept)
	}
	if other := hashPassword(password, c); other == kept || !checkPassword(password, other) {
		t.Errorf("the same salt twice, or not the same password: %s", other)
	}
	if u := usual(); u != (Cost{3, 65536, 4}) {
		t.Errorf("RFC 9106's second recommended choice is t=3, m=64 MiB, p=4; here %+v", u)
	}
	for _, bad := range []string{
		"", "$", strings.Replace(kept, "argon2id", "argon2i", 1), strings.Replace(kept, "v=19", "v=16", 1),
		strings.Replace(kept, "t=2", "t=0", 1), strings.Replace(kept, "p=2", "p=0", 1), strings.Replace(kept, "m=64", "m=4294967295", 1),
		strings.Replace(kept, "t=2", "t=4294967295", 1), kept[:len(kept)-2], kept + "$", strings.Replace(kept, "m=64,", "", 1),
	} {
		if checkPassword(password, bad) {
			t.Errorf("let in by %q", bad)
		}
	}
}

// TestNobodysPassword: nobody gets in by it, and a password is held against it to the last step: with another hash at its end it is
// that password's.
func TestNobodysPassword(t *testing.T) {
	c := Cost{Time: 2, KiB: 64, Threads: 2}
	kept := nobodys(c)
	if kept == nobodys(c) || checkPassword(password, kept) || checkPassword("", kept) {
		t.Errorf("not drawn, or it lets somebody in: %s", kept)
	}
	salt, err := base64.RawStdEncoding.DecodeString(strings.Split(kept, "$")[4])
	if err != nil || len(salt) != saltLength {
		t.Fatalf("salt of %d bytes, %v: %s", len(salt), err, kept)
	}
	known := formatHash(argon2.IDKey([]byte(password), salt, c.Time, c.KiB, c.Threads, hashLength), salt, c)
	if at := strings.LastIndexByte(kept, '$'); known[:at] != kept[:at] || len(known) != len(kept) || !checkPassword(password, known) {
		t.Errorf("%s\nis of another form than\n%s", kept, known)
	}
}

// TestCodesAreRead: a code is what was meant, whatever hand or device typed it; and all letters occur.
func TestCodesAreRead(t *testing.T) {
	seen := make(map[rune]bool)
	for range 200 {
		code := newCode(4)
		if len(code) != 19 || strings.Count(code, "-") != 3 {
			t.Fatalf("code %q", code)
		}
		for _, r := range strings.ReplaceAll(code, "-", "") {
			seen[r] = true
		}
		if readCode(" "+strings.ToLower(code)+"\n") != readCode(code) {
			t.Errorf("%q is read as %q", code, readCode(code))
		}
	}
	if len(seen) != len(codeLetters) {
		t.Errorf("%d letters occur", len(seen))
	}
	if readCode("o0-iL1") != "00111" {
		t.Errorf("read %q", readCode("o0-iL1"))
	}
}
