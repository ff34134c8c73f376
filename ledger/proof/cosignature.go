package proof

import (
	"bytes"
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"

	"golang.org/x/mod/sumdb/note"
)

// A cosignature says that a witness saw a checkpoint, and that it extends every
// earlier one of that ledger that the witness saw (c2sp.org/tlog-cosignature,
// cosignature/v1). It is a signature line of a note like any other, with a time
// in it:
//
//	— <witness> base64(keyID[4] || unix seconds[8] || Ed25519 signature[64])
//
// over "cosignature/v1\ntime <seconds>\n" and the whole text of the checkpoint.
const (
	algEd25519        = 1 // of a note's own key, as golang.org/x/mod has it
	algCosignature    = 4
	cosignatureLen    = 8 + ed25519.SignatureSize
	cosignatureHeader = "cosignature/v1\ntime "
	signingKeyPrefix  = "PRIVATE+KEY+"
	keyParts          = 3 // name, id, key
)

// Cosigner signs checkpoints as a witness.
type Cosigner struct {
	name  string
	id    uint32
	key   ed25519.PrivateKey
	clock func() time.Time
}

// NewCosigner makes a cosigner of a note signing key in text form
// (PRIVATE+KEY+<name>+<id>+<base64>), whose Ed25519 key it uses under the key id
// of cosignatures. The time in a cosignature is the clock's.
func NewCosigner(skey string, clock func() time.Time) (*Cosigner, error) {
	parts := strings.SplitN(strings.TrimPrefix(skey, signingKeyPrefix), "+", keyParts)
	if !strings.HasPrefix(skey, signingKeyPrefix) || len(parts) != keyParts || !validKeyName(parts[0]) {
		return nil, errors.New("this is no signing key")
	}
	raw, err := base64.StdEncoding.DecodeString(parts[2])
	if err != nil || len(raw) != 1+ed25519.SeedSize || raw[0] != algEd25519 && raw[0] != algCosignature {
		return nil, errors.New("this is no Ed25519 signing key")
	}
	key := ed25519.NewKeyFromSeed(raw[1:])
	return &Cosigner{
		name: parts[0], id: cosignatureKeyID(parts[0], key.Public().(ed25519.PublicKey)), key: key, clock: clock,
	}, nil
}

// Name returns the witness's name.
func (c *Cosigner) Name() string { return c.name }

// KeyHash returns the key id of the cosignatures.
func (c *Cosigner) KeyHash() uint32 { return c.id }

// VerifierKey returns the public key in the form that is handed out, which
// NewCosignatureVerifier reads.
func (c *Cosigner) VerifierKey() string {
	public := append([]byte{algCosignature}, c.key.Public().(ed25519.PublicKey)...)
	return fmt.Sprintf("%s+%08x+%s", c.name, c.id, base64.StdEncoding.EncodeToString(public))
}

// Verifier returns the verifier of the cosignatures.
func (c *Cosigner) Verifier() note.Verifier {
	return &cosignatureVerifier{name: c.name, id: c.id, key: c.key.Public().(ed25519.PublicKey)}
}

// Sign signs the text of a checkpoint.
func (c *Cosigner) Sign(text []byte) ([]byte, error) {
	if _, err := ParseCheckpoint(string(text)); err != nil {
		return nil, err
	}
	at := c.clock().Unix()
	sig := ed25519.Sign(c.key, cosigned(text, at))
	return append(binary.BigEndian.AppendUint64(nil, uint64(at)), sig...), nil
}

// cosigned returns what a cosignature of a time signs.
func cosigned(text []byte, at int64) []byte {
	head := cosignatureHeader + strconv.FormatInt(at, 10) + "\n"
	return append([]byte(head), text...)
}

func cosignatureKeyID(name string, public ed25519.PublicKey) uint32 {
	h := sha256.New()
	h.Write([]byte(name + "\n"))
	h.Write([]byte{algCosignature})
	h.Write(public)
	return binary.BigEndian.Uint32(h.Sum(nil))
}

type cosignatureVerifier struct {
	name string
	id   uint32
	key  ed25519.PublicKey
}

func (v *cosignatureVerifier) Name() string    { return v.name }
func (v *cosignatureVerifier) KeyHash() uint32 { return v.id }

func (v *cosignatureVerifier) Verify(text, sig []byte) bool {
	if len(sig) != cosignatureLen {
		return false
	}
	at := binary.BigEndian.Uint64(sig)
	if at > uint64(latestSecond) {
		return false
	}
	return ed25519.Verify(v.key, cosigned(text, int64(at)), sig[8:])
}

// latestSecond is the end of the year 9999, up to which times can be written.
const latestSecond = 253402300799

// NewCosignatureVerifier reads a witness's public key, <name>+<id>+<base64 of 4
// and the Ed25519 key>.
func NewCosignatureVerifier(vkey string) (note.Verifier, error) {
	parts := strings.SplitN(vkey, "+", keyParts)
	if len(parts) != keyParts || !validKeyName(parts[0]) {
		return nil, fmt.Errorf("%q is not the public key of a witness", vkey)
	}
	raw, err := strictBase64.DecodeString(parts[2])
	switch {
	case err != nil || len(raw) == 0:
		return nil, fmt.Errorf("%q is not the public key of a witness", vkey)
	case raw[0] == algEd25519:
		return nil, fmt.Errorf("%q is the key of a ledger or a station, not of a witness", vkey)
	case raw[0] != algCosignature || len(raw) != 1+ed25519.PublicKeySize:
		return nil, fmt.Errorf("the key of witness %s is of a kind that this program doesn't check", parts[0])
	}
	v := &cosignatureVerifier{name: parts[0], key: ed25519.PublicKey(raw[1:])}
	v.id = cosignatureKeyID(v.name, v.key)
	if id := fmt.Sprintf("%08x", v.id); id != parts[1] {
		return nil, fmt.Errorf("the key of witness %s says that its id is %s, which it isn't: a character was changed",
			parts[0], parts[1])
	}
	return v, nil
}

// CosignedAt returns when a cosignature was made, of a signature that was
// verified by a verifier of cosignatures.
func CosignedAt(sig note.Signature) (time.Time, error) {
	raw, err := base64.StdEncoding.DecodeString(sig.Base64)
	if err != nil || len(raw) != 4+cosignatureLen {
		return time.Time{}, fmt.Errorf("the signature by %s is no cosignature", sig.Name)
	}
	at := binary.BigEndian.Uint64(raw[4:])
	if at > uint64(latestSecond) {
		return time.Time{}, fmt.Errorf("the cosignature by %s has no time", sig.Name)
	}
	return time.Unix(int64(at), 0).UTC(), nil
}

// AddSignatures appends signature lines, each whole, to a signed note.
func AddSignatures(msg, lines []byte) ([]byte, error) {
	out := append(bytes.Clone(msg), lines...)
	if err := CheckNote(out); err != nil {
		return nil, err
	}
	return out, nil
}

// SameKey reports whether two verifiers of cosignatures check by one key, under
// whatever names.
func SameKey(a, b note.Verifier) bool {
	x, ok := a.(*cosignatureVerifier)
	y, also := b.(*cosignatureVerifier)
	return ok && also && x.key.Equal(y.key)
}
