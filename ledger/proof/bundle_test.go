package proof_test

import (
	"archive/zip"
	"bytes"
	"encoding/binary"
	"fmt"
	"io"
	"strings"
	"testing"

	"listbound/ledger/proof"
)

func testBundle(tb testing.TB) ([]byte, []proof.File) {
	tb.Helper()
	signer, _ := testKey(origin)
	files := []proof.File{
		{Path: "README.txt", Data: []byte("How to check this bundle\n")},
		{Path: "records/000001", Data: []byte("{\"a\":1}\n\n— x AAAAAAAA\n")},
		{Path: "empty", Data: nil},
		{Path: "checkpoint", Data: []byte(exampleText)},
	}
	var buf bytes.Buffer
	if err := proof.WriteBundle(&buf, files, signer); err != nil {
		tb.Fatal(err)
	}
	return buf.Bytes(), files
}

func TestBundleRoundTrip(t *testing.T) {
	_, verifier := testKey(origin)
	raw, files := testBundle(t)
	b, problems := proof.ReadBundle(raw, verifier)
	if len(problems) > 0 {
		t.Fatalf("problems: %v", problems)
	}
	if len(b.Files) != len(files) {
		t.Fatalf("%d files, want %d", len(b.Files), len(files))
	}
	for i, f := range files {
		if b.Files[i].Path != f.Path || !bytes.Equal(b.Files[i].Data, f.Data) {
			t.Errorf("file %d is %s, %q", i, b.Files[i].Path, b.Files[i].Data)
		}
		if data, ok := b.File(f.Path); !ok || !bytes.Equal(data, f.Data) {
			t.Errorf("File(%s) gives %q, %t", f.Path, data, ok)
		}
	}
	again, _ := testBundle(t)
	if !bytes.Equal(raw, again) {
		t.Error("the same files give two archives")
	}
	// The second implementation is Go's archive/zip.
	z, err := zip.NewReader(bytes.NewReader(raw), int64(len(raw)))
	if err != nil {
		t.Fatal(err)
	}
	if len(z.File) != len(files)+1 || z.File[len(files)].Name != "manifest" {
		t.Errorf("archive/zip sees %d files", len(z.File))
	}
	for i, f := range files {
		r, err := z.File[i].Open()
		if err != nil {
			t.Fatal(err)
		}
		data, err := io.ReadAll(r)
		if err != nil || !bytes.Equal(data, f.Data) || z.File[i].Method != zip.Store {
			t.Errorf("archive/zip reads %s as %q: %v", f.Path, data, err)
		}
	}
}

// Every bit of the archive, one at a time (of each byte one, in a short run): the change is reported, at the very byte.
func TestEveryChangedByteOfABundleIsNamed(t *testing.T) {
	_, verifier := testKey(origin)
	raw, _ := testBundle(t)
	for i := range raw {
		for bit := range 8 {
			if testing.Short() && bit != i%8 {
				continue
			}
			changed := bytes.Clone(raw)
			changed[i] ^= 1 << bit
			_, problems := proof.ReadBundle(changed, verifier)
			if len(problems) == 0 {
				t.Errorf("bit %d of byte %d changed and not noticed", bit, i)
				continue
			}
			named := false
			for _, p := range problems {
				named = named || p.Offset == int64(i)
			}
			if !named {
				t.Errorf("bit %d of byte %d changed, but reported as %v", bit, i, problems)
			}
		}
	}
}

func TestChangedContentsNameTheFile(t *testing.T) {
	_, verifier := testKey(origin)
	raw, _ := testBundle(t)
	at := bytes.Index(raw, []byte("check this"))
	changed := bytes.Clone(raw)
	changed[at] = 'C'
	_, problems := proof.ReadBundle(changed, verifier)
	if len(problems) != 1 || problems[0].Entry != "README.txt" || problems[0].Offset != int64(at) {
		t.Errorf("problems: %v", problems)
	}
	// Two bytes: the place cannot be worked out, the file can.
	changed[at+1] = 'H'
	_, problems = proof.ReadBundle(changed, verifier)
	if len(problems) != 1 || problems[0].Entry != "README.txt" {
		t.Errorf("problems: %v", problems)
	}
}

func TestBundleRefusesOthers(t *testing.T) {
	_, verifier := testKey(origin)
	_, other := testKey("ledger.example/south")
	raw, files := testBundle(t)
	if _, problems := proof.ReadBundle(raw, other); len(problems) == 0 {
		t.Error("accepted without the signature asked for")
	}
	if _, problems := proof.ReadBundle(append(bytes.Clone(raw), 0), verifier); len(problems) == 0 {
		t.Error("accepted with a byte after the end")
	}
	if _, problems := proof.ReadBundle(append([]byte{0}, raw...), verifier); len(problems) == 0 {
		t.Error("accepted with a byte before the start")
	}
	// Whole by the rules of ZIP, but not the one form: what archive/zip writes of the same contents.
	var buf bytes.Buffer
	z := zip.NewWriter(&buf)
	b, _ := proof.ReadBundle(raw, verifier)
	for _, f := range b.Files {
		w, err := z.CreateHeader(&zip.FileHeader{Name: f.Path, Method: zip.Store})
		if err != nil {
			t.Fatal(err)
		}
		if _, err := w.Write(f.Data); err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	if _, problems := proof.ReadBundle(buf.Bytes(), verifier); len(problems) == 0 {
		t.Error("accepted another archive of the same files")
	}
	for i := range raw {
		if _, problems := proof.ReadBundle(raw[:i], verifier); len(problems) == 0 {
			t.Errorf("accepted cut off after %d bytes", i)
		}
	}
	// A file left out, and one put in: both archives are well formed, the manifest tells.
	for name, change := range map[string]func([]proof.File) []proof.File{
		"left out": func(fs []proof.File) []proof.File { return fs[1:] },
		"put in": func(fs []proof.File) []proof.File {
			return append(fs, proof.File{Path: "more", Data: []byte("x")})
		},
		"swapped": func(fs []proof.File) []proof.File { return append([]proof.File{fs[1], fs[0]}, fs[2:]...) },
	} {
		forged := reassemble(t, raw, change(append([]proof.File(nil), files...)))
		if _, problems := proof.ReadBundle(forged, verifier); len(problems) == 0 {
			t.Errorf("%s: accepted", name)
		}
	}
}

// reassemble makes a well-formed archive of other files under the old manifest.
func reassemble(tb testing.TB, raw []byte, files []proof.File) []byte {
	tb.Helper()
	signer, _ := testKey(origin)
	var buf bytes.Buffer
	if err := proof.WriteBundle(&buf, files, signer); err != nil {
		tb.Fatal(err)
	}
	z, err := zip.NewReader(bytes.NewReader(raw), int64(len(raw)))
	if err != nil {
		tb.Fatal(err)
	}
	r, err := z.Open("manifest")
	if err != nil {
		tb.Fatal(err)
	}
	manifest, err := io.ReadAll(r)
	if err != nil {
		tb.Fatal(err)
	}
	var out bytes.Buffer
	w := zip.NewWriter(&out)
	for _, f := range append(files, proof.File{Path: "manifest", Data: manifest}) {
		fw, err := w.CreateHeader(&zip.FileHeader{Name: f.Path, Method: zip.Store})
		if err != nil {
			tb.Fatal(err)
		}
		if _, err := fw.Write(f.Data); err != nil {
			tb.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		tb.Fatal(err)
	}
	return out.Bytes()
}

func TestWriteBundleRefuses(t *testing.T) {
	signer, _ := testKey(origin)
	for _, path := range []string{"", "/abs", "../up", "a/../b", "a//b", "a\\b", "a b", "manifest",
		strings.Repeat("x", 256), "ä"} {
		if err := proof.WriteBundle(io.Discard, []proof.File{{Path: path}}, signer); err == nil {
			t.Errorf("took the path %q", path)
		}
	}
	if err := proof.WriteBundle(io.Discard, []proof.File{{Path: "a"}, {Path: "a"}}, signer); err == nil {
		t.Error("took a path twice")
	}
}

func FuzzReadBundle(f *testing.F) {
	_, verifier := testKey(origin)
	raw, _ := testBundle(f)
	seeds := [][]byte{raw, nil, raw[:len(raw)/2], raw[len(raw)/2:], []byte("PK\x05\x06" + strings.Repeat("\x00", 18))}
	// Lengths that lie, in the places readers trust.
	for _, at := range []int{18, 22, 26, len(raw) - 12, len(raw) - 10, len(raw) - 6} {
		lie := bytes.Clone(raw)
		binary.LittleEndian.PutUint32(lie[at:], 0xfffffff0)
		seeds = append(seeds, lie)
	}
	for _, s := range seeds {
		f.Add(s)
	}
	if len(seeds) < 10 {
		f.Fatal("too few seeds")
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		b, problems := proof.ReadBundle(data, verifier)
		if len(problems) > 0 {
			return
		}
		// Accepted: then it can only be the one archive that these files make.
		signer, _ := testKey(origin)
		var buf bytes.Buffer
		if err := proof.WriteBundle(&buf, b.Files, signer); err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(buf.Bytes(), data) {
			t.Error("accepted, but not what would be written")
		}
	})
}

func FuzzParse(f *testing.F) {
	signer, _ := testKey(origin)
	stored, records, c := tree8(f)
	msg, err := proof.SignCheckpoint(c, signer)
	if err != nil {
		f.Fatal(err)
	}
	path, err := proof.ProveInclusion(8, 5, stored)
	if err != nil {
		f.Fatal(err)
	}
	entries, err := proof.AppendEntry(nil, records[0])
	if err != nil {
		f.Fatal(err)
	}
	seeds := [][]byte{msg, []byte(exampleText),
		proof.Inclusion{Index: 5, Extra: []byte("x"), Hashes: path, Checkpoint: msg}.Marshal(),
		proof.AddArrival(origin, msg, testTime, 1), entries}
	for _, s := range seeds {
		f.Add(s)
	}
	// What is accepted must be the only spelling.
	f.Fuzz(func(t *testing.T, data []byte) {
		if c, err := proof.ParseCheckpoint(string(data)); err == nil && c.Text() != string(data) {
			t.Errorf("checkpoint %q reads as %q", data, c.Text())
		}
		if p, err := proof.ParseInclusion(data); err == nil && !bytes.Equal(p.Marshal(), data) {
			t.Errorf("proof %q reads as %q", data, p.Marshal())
		}
		if n, at, remark, err := proof.SplitArrival(origin, data); err == nil &&
			!bytes.Equal(proof.AddArrival(origin, n, at, remark), data) {
			t.Errorf("record %q reads as %q", data, proof.AddArrival(origin, n, at, remark))
		}
		if records, err := proof.DecodeEntries(data, 1); err == nil {
			again, err := proof.AppendEntry(nil, records[0])
			if err != nil || !bytes.Equal(again, data) {
				t.Errorf("bundle % x reads as % x", data, again)
			}
		}
	})
}

func ExampleWriteBundle() {
	signer, verifier := testKey(origin)
	var buf bytes.Buffer
	if err := proof.WriteBundle(&buf, []proof.File{{Path: "README.txt", Data: []byte("read me\n")}},
		signer); err != nil {
		fmt.Println(err)
		return
	}
	raw := bytes.Replace(buf.Bytes(), []byte("read me"), []byte("read mE"), 1)
	_, problems := proof.ReadBundle(raw, verifier)
	for _, p := range problems {
		fmt.Println(p)
	}
	// Output:
	// byte 46: README.txt: byte 6 of the contents was changed: with it put back they have the hash in the manifest
}
