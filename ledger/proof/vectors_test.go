package proof_test

import (
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/transparency-dev/merkle/compact"
	mproof "github.com/transparency-dev/merkle/proof"
	"github.com/transparency-dev/merkle/rfc6962"
	"golang.org/x/mod/sumdb/tlog"

	"listbound/ledger/proof"
)

// testdata holds the vectors that outsiders can use as well.
const testdata = "../../testdata/merkle"

func readJSON(tb testing.TB, name string, v any) {
	tb.Helper()
	data, err := os.ReadFile(filepath.Join(testdata, name))
	if err != nil {
		tb.Fatal(err)
	}
	if err := json.Unmarshal(data, v); err != nil {
		tb.Fatalf("%s: %v", name, err)
	}
}

func unhex(tb testing.TB, s string) []byte {
	tb.Helper()
	b, err := hex.DecodeString(s)
	if err != nil {
		tb.Fatal(err)
	}
	return b
}

func hashOf(tb testing.TB, s string) tlog.Hash {
	tb.Helper()
	b := unhex(tb, s)
	if len(b) != tlog.HashSize {
		tb.Fatalf("%q is not a hash", s)
	}
	return tlog.Hash(b)
}

func hashesOf(tb testing.TB, ss []string) []tlog.Hash {
	tb.Helper()
	var hs []tlog.Hash
	for _, s := range ss {
		hs = append(hs, hashOf(tb, s))
	}
	return hs
}

// memHashes is the plainest reader of stored hashes.
type memHashes []tlog.Hash

func (m memHashes) ReadHashes(indexes []int64) ([]tlog.Hash, error) {
	var hs []tlog.Hash
	for _, i := range indexes {
		hs = append(hs, m[i])
	}
	return hs, nil
}

func (m *memHashes) add(tb testing.TB, n int64, record []byte) {
	tb.Helper()
	hs, err := tlog.StoredHashes(n, record, *m)
	if err != nil {
		tb.Fatal(err)
	}
	*m = append(*m, hs...)
}

// Source: RFC 6962 / RFC 9162 reference vectors, trees of 0 to 8 leaves, as many public test suites carry them.
func TestReferenceVectors(t *testing.T) {
	var v struct {
		Leaves, Roots []string
		Inclusion     []struct {
			Index, Size int64
			Proof       []string
		}
		Consistency []struct {
			From, To int64
			Proof    []string
		}
	}
	readJSON(t, "vectors.json", &v)
	if len(v.Leaves) != 8 || len(v.Roots) != 9 || len(v.Inclusion) != 2 || len(v.Consistency) != 3 {
		t.Fatalf("vectors.json holds %d leaves, %d roots, %d paths, %d consistency proofs", len(v.Leaves), len(v.Roots),
			len(v.Inclusion), len(v.Consistency))
	}
	tree := &proof.Tree{}
	var stored memHashes
	for n := 0; ; n++ {
		if got := tree.Root(); got != hashOf(t, v.Roots[n]) {
			t.Errorf("root of %d leaves is %x, want %s", n, got, v.Roots[n])
		}
		if n == len(v.Leaves) {
			break
		}
		record := unhex(t, v.Leaves[n])
		tree.Append(proof.LeafHash(record), nil)
		stored.add(t, int64(n), record)
	}
	for _, x := range v.Inclusion {
		got, err := proof.ProveInclusion(x.Size, x.Index, stored)
		if err != nil {
			t.Fatal(err)
		}
		if want := hashesOf(t, x.Proof); !equal(got, want) {
			t.Errorf("path of leaf %d of %d is %x, want %x", x.Index, x.Size, got, want)
		}
	}
	for _, x := range v.Consistency {
		got, err := proof.ProveConsistency(x.From, x.To, stored)
		if err != nil {
			t.Fatal(err)
		}
		if want := hashesOf(t, x.Proof); !equal(got, want) {
			t.Errorf("consistency of %d and %d is %x, want %x", x.From, x.To, got, want)
		}
	}
}

func equal(a, b []tlog.Hash) bool {
	if len(a) != len(b) {
		return false
	}
	for i := range a {
		if a[i] != b[i] {
			return false
		}
	}
	return true
}

// Source: the same vectors with one thing changed at a time; the second verifier is transparency-dev/merkle.
func TestInclusionCases(t *testing.T) {
	var v struct {
		Cases []struct {
			Desc           string
			Size, Index    int64
			Root, LeafHash string
			Proof          []string
			WantErr        bool
		}
	}
	readJSON(t, "inclusion.json", &v)
	good, bad := 0, 0
	for _, c := range v.Cases {
		path, root, leaf := hashesOf(t, c.Proof), hashOf(t, c.Root), hashOf(t, c.LeafHash)
		err := proof.CheckInclusion(path, c.Size, root, c.Index, leaf)
		if (err != nil) != c.WantErr {
			t.Errorf("%s: error %v, want error %t", c.Desc, err, c.WantErr)
		}
		if c.Index >= 0 {
			second := mproof.VerifyInclusion(rfc6962.DefaultHasher, uint64(c.Index), uint64(c.Size),
				leaf[:], asBytes(path), root[:])
			if (second != nil) != c.WantErr {
				t.Errorf("%s: second implementation says %v, want error %t", c.Desc, second, c.WantErr)
			}
		}
		if c.WantErr {
			bad++
		} else {
			good++
		}
	}
	if good < 5 || bad < 100 {
		t.Errorf("inclusion.json has %d good and %d bad cases", good, bad)
	}
}

func TestConsistencyCases(t *testing.T) {
	var v struct {
		Cases []struct {
			Desc             string
			From, To         int64
			FromRoot, ToRoot string
			Proof            []string
			WantErr          bool
		}
	}
	readJSON(t, "consistency.json", &v)
	good, bad := 0, 0
	for _, c := range v.Cases {
		path, from, to := hashesOf(t, c.Proof), hashOf(t, c.FromRoot), hashOf(t, c.ToRoot)
		err := proof.CheckConsistency(path, c.From, from, c.To, to)
		if (err != nil) != c.WantErr {
			t.Errorf("%s: error %v, want error %t", c.Desc, err, c.WantErr)
		}
		// The second implementation does not look at the root of an empty tree.
		if c.From > 0 {
			second := mproof.VerifyConsistency(rfc6962.DefaultHasher, uint64(c.From), uint64(c.To),
				asBytes(path), from[:], to[:])
			if (second != nil) != c.WantErr {
				t.Errorf("%s: second implementation says %v, want error %t", c.Desc, second, c.WantErr)
			}
		}
		if c.WantErr {
			bad++
		} else {
			good++
		}
	}
	if good < 5 || bad < 80 {
		t.Errorf("consistency.json has %d good and %d bad cases", good, bad)
	}
}

func asBytes(hs []tlog.Hash) [][]byte {
	var out [][]byte
	for _, h := range hs {
		out = append(out, h[:])
	}
	return out
}

// The incremental tree against two other implementations, over several tile boundaries.
func TestTreeAgainstOthers(t *testing.T) {
	const leaves = 70_000
	tree := &proof.Tree{}
	factory := &compact.RangeFactory{Hash: rfc6962.DefaultHasher.HashChildren}
	second := factory.NewEmptyRange(0)
	full := map[int]int64{}
	var leaf [8]byte
	checked := 0
	for n := range leaves {
		leaf[0], leaf[1], leaf[2] = byte(n), byte(n>>8), byte(n>>16)
		h := proof.LeafHash(leaf[:])
		tree.Append(h, func(level int, index int64, hashes []tlog.Hash) {
			if len(hashes) != proof.TileWidth || index != full[level] {
				t.Fatalf("full tile %d of level %d has %d hashes, %d came before", index,
					level, len(hashes), full[level])
			}
			full[level]++
		})
		if err := second.Append(h[:], nil); err != nil {
			t.Fatal(err)
		}
		if size := n + 1; size%997 == 0 || size%proof.TileWidth < 2 || size == leaves {
			root, err := second.GetRootHash(nil)
			if err != nil {
				t.Fatal(err)
			}
			if got := tree.Root(); hex.EncodeToString(got[:]) != hex.EncodeToString(root) {
				t.Fatalf("root of %d leaves is %x, second implementation says %x", size, got, root)
			}
			checked++
		}
	}
	if checked < 300 {
		t.Errorf("only %d sizes were compared", checked)
	}
	// Source: C2SP tlog-tiles, the worked example for a tree of 70,000 leaves.
	if full[0] != 273 || full[1] != 1 || full[2] != 0 {
		t.Errorf("full tiles by level: %v, want 273 and 1", full)
	}
	var partial []int
	tree.Partial(func(level int, index int64, hashes []tlog.Hash) { partial = append(partial, len(hashes)) })
	if len(partial) != 3 || partial[0] != 112 || partial[1] != 17 || partial[2] != 1 {
		t.Errorf("partial tiles are %v wide, want 112, 17, 1", partial)
	}
}

// Source: C2SP tlog-tiles, worked examples.
func TestLayout(t *testing.T) {
	tests := []struct {
		size int64
		want []proof.TileLevel
	}{
		{70_000, []proof.TileLevel{{Level: 0, Full: 273, Partial: 112}, {Level: 1, Full: 1, Partial: 17},
			{Level: 2, Full: 0, Partial: 1}}},
		{256, []proof.TileLevel{{Level: 0, Full: 1}, {Level: 1, Partial: 1}}},
		{0, nil},
	}
	for _, tt := range tests {
		got := proof.Layout(tt.size)
		if len(got) != len(tt.want) {
			t.Errorf("layout of %d is %v, want %v", tt.size, got, tt.want)
			continue
		}
		for i := range got {
			if got[i] != tt.want[i] {
				t.Errorf("layout of %d is %v, want %v", tt.size, got, tt.want)
			}
		}
	}
}

// Source: C2SP tlog-tiles, "index 1234067 will be encoded as x001/x234/067"; the others follow from its rules.
func TestPaths(t *testing.T) {
	tests := []struct{ got, want string }{
		{proof.TilePath(0, 1234067, 256), "tile/0/x001/x234/067"},
		{proof.TilePath(2, 5, 1), "tile/2/005.p/1"},
		{proof.EntriesPath(273, 112), "tile/entries/273.p/112"},
		{proof.EntriesPath(1000, 256), "tile/entries/x001/000"},
		{proof.EntriesPath(999, 256), "tile/entries/999"},
		{proof.PartialDir(proof.TilePath(0, 7, 256)), "tile/0/007.p"},
	}
	for _, tt := range tests {
		if tt.got != tt.want {
			t.Errorf("path is %s, want %s", tt.got, tt.want)
		}
	}
	// tlog names its own tiles by height first; the rest is the same rule.
	for _, index := range []int64{0, 1, 999, 1000, 12345, 1234067} {
		want := strings.Replace(tlog.Tile{H: 8, L: 1, N: index, W: 256}.Path(), "tile/8/", "tile/", 1)
		if got := proof.TilePath(1, index, 256); got != want {
			t.Errorf("path of tile %d is %s, second implementation says %s", index, got, want)
		}
	}
}

// Source: RFC 8032 section 7.1, tests 1 and 2.
func TestEd25519Vectors(t *testing.T) {
	tests := []struct{ seed, public, msg, sig string }{
		{"9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
			"d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a", "",
			"e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b"},
		{"4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
			"3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c", "72",
			"92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00"},
	}
	for i, tt := range tests {
		key := ed25519.NewKeyFromSeed(unhex(t, tt.seed))
		if got := hex.EncodeToString(key.Public().(ed25519.PublicKey)); got != tt.public {
			t.Errorf("test %d: public key %s, want %s", i+1, got, tt.public)
		}
		if got := hex.EncodeToString(ed25519.Sign(key, unhex(t, tt.msg))); got != tt.sig {
			t.Errorf("test %d: signature %s, want %s", i+1, got, tt.sig)
		}
	}
}

// Source: FIPS 180-4 examples; the digest of the million letters was computed again.
func TestSHA256Vectors(t *testing.T) {
	h := sha256.New()
	for range 10_000 {
		h.Write([]byte(strings.Repeat("a", 100)))
	}
	if got := hex.EncodeToString(h.Sum(nil)); got != "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0" {
		t.Errorf("a million letters a hash to %s", got)
	}
	if got := sha256.Sum256([]byte("abc")); hex.EncodeToString(got[:]) != "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad" {
		t.Errorf("abc hashes to %x", got)
	}
	// A leaf is that hash over one more byte in front.
	if got, want := proof.LeafHash([]byte("abc")), sha256.Sum256([]byte("\x00abc")); got != want {
		t.Errorf("leaf hash of abc is %x, want %x", got, want)
	}
}
