package proof_test

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"hash/crc32"
	"math"
	"slices"
	"strings"
	"testing"

	"listbound/ledger/proof"
)

// archive returns the archive of the files under a manifest of the given lines, signed with the ledger's own key: all
// that an operator can do who wants to cheat.
func archive(tb testing.TB, files []proof.File, lines ...string) []byte {
	tb.Helper()
	signer, _ := testKey(origin)
	manifest, err := proof.SignNote(strings.Join(lines, "\n")+"\n", signer)
	if err != nil {
		tb.Fatal(err)
	}
	raw, err := proof.Archive(append(slices.Clone(files), proof.File{Path: "manifest", Data: manifest}))
	if err != nil {
		tb.Fatal(err)
	}
	return raw
}

// sumLine is the line of a manifest about a file.
func sumLine(path, data string) string {
	return fmt.Sprintf("%x  %s", sha256.Sum256([]byte(data)), path)
}

// problemsOf reads an archive and returns its problems, one a line.
func problemsOf(raw []byte) string {
	_, verifier := testKey(origin)
	_, problems := proof.ReadBundle(raw, verifier)
	var lines []string
	for _, p := range problems {
		lines = append(lines, p.String())
	}
	return strings.Join(lines, "\n")
}

var twoFiles = []proof.File{{Path: "a", Data: []byte("first\n")}, {Path: "b", Data: []byte("second\n")}}

// A manifest that the ledger has signed, and that is no manifest. The line is named.
func TestManifestRefuses(t *testing.T) {
	a, b := sumLine("a", "first\n"), sumLine("b", "second\n")
	if got := problemsOf(archive(t, twoFiles, "listbound bundle v1", a, b)); got != "" {
		t.Fatalf("the right manifest: %s", got)
	}
	tests := []struct {
		name  string
		lines []string
		want  string
	}{
		{"other header", []string{"listbound bundle v2", a, b},
			`the manifest begins with "listbound bundle v2", want "listbound bundle v1"`},
		{"one space", []string{"listbound bundle v1", a, strings.Replace(b, "  ", " ", 1)},
			"line 3 of the manifest is not a hash and a path"},
		{"no path", []string{"listbound bundle v1", a[:64]}, "line 2 of the manifest is not a hash and a path"},
		{"short hash", []string{"listbound bundle v1", a[2:]}, "line 2 of the manifest is not a hash and a path"},
		{"half a byte", []string{"listbound bundle v1", a[1:]}, "line 2 of the manifest is not a hash and a path"},
		{"capitals", []string{"listbound bundle v1", strings.ToUpper(a[:64]) + a[64:], b},
			"line 2 of the manifest is not a hash and a path"},
		{"no digits", []string{"listbound bundle v1", a, strings.Repeat("x", 64) + "  b"},
			"line 3 of the manifest is not a hash and a path"},
		{"path outside", []string{"listbound bundle v1", a, b[:66] + "../b"},
			`line 3 of the manifest: the path "../b" has an empty or dotted part`},
		{"path again", []string{"listbound bundle v1", a, b, a}, `line 4 of the manifest names "a" again`},
		{"itself", []string{"listbound bundle v1", b[:66] + "manifest"},
			`line 2 of the manifest names "manifest" again`},
	}
	for _, tt := range tests {
		raw := archive(t, twoFiles, tt.lines...)
		at := bytes.Index(raw, []byte(tt.lines[0]))
		if got, want := problemsOf(raw), fmt.Sprintf("byte %d: manifest: %s", at, tt.want); got != want {
			t.Errorf("%s: %s, want %s", tt.name, got, want)
		}
	}
}

// A signed manifest and files that do not belong together.
func TestManifestAndFiles(t *testing.T) {
	header, a, b := "listbound bundle v1", sumLine("a", "first\n"), sumLine("b", "second\n")
	firstAt, secondAt := 30+1, 2*(30+1)+len("first\n")
	tests := []struct {
		name  string
		files []proof.File
		lines []string
		want  []string // in this order, among others
	}{
		{"a file too many", twoFiles, []string{header, a},
			[]string{fmt.Sprintf("byte %d: b: the manifest does not name this file", secondAt)}},
		{"a file too few", twoFiles[:1], []string{header, a, b},
			[]string{"b: the manifest names this file, but it is not there"}},
		{"a file twice", []proof.File{twoFiles[0], twoFiles[0]}, []string{header, a},
			[]string{fmt.Sprintf("byte %d: a: the file is there twice", secondAt-1+len("a"))}},
		{"another name", []proof.File{{Path: "c", Data: twoFiles[0].Data}, twoFiles[1]}, []string{header, a, b},
			[]string{fmt.Sprintf("byte %d: a: header of the file in the archive was changed", firstAt-1)}},
		{"another name and other contents", []proof.File{{Path: "c", Data: []byte("f1rsd\n")}, twoFiles[1]},
			[]string{header, a, b},
			[]string{fmt.Sprintf("byte %d: c: the contents do not have the hash in the manifest", firstAt)}},
		{"other contents", []proof.File{twoFiles[0], {Path: "b", Data: []byte("s3con4\n")}}, []string{header, a, b},
			[]string{fmt.Sprintf("byte %d: b: the contents do not have the hash in the manifest", secondAt)}},
		{"other order", []proof.File{twoFiles[1], twoFiles[0]}, []string{header, a, b},
			[]string{"byte 30: a: header of the file in the archive was changed"}},
	}
	for _, tt := range tests {
		got := problemsOf(archive(t, tt.files, tt.lines...))
		for _, want := range tt.want {
			if !slices.Contains(strings.Split(got, "\n"), want) {
				t.Errorf("%s: got\n%s\nwant\n%s", tt.name, got, want)
			}
		}
	}
	// Neither is reported of a file that is in order.
	if got := problemsOf(archive(t, twoFiles[:1], header, a, b)); strings.Contains(got, ": a:") {
		t.Errorf("the file that is there is reported: %s", got)
	}
}

// An archive whose last file is no manifest.
func TestNoManifest(t *testing.T) {
	raw, err := proof.Archive(twoFiles)
	if err != nil {
		t.Fatal(err)
	}
	if got, want := problemsOf(raw),
		fmt.Sprintf("byte %d: b: the last entry is not the manifest", 2*31+6); got != want {
		t.Errorf("%s, want %s", got, want)
	}
	empty, err := proof.Archive(nil)
	if err != nil {
		t.Fatal(err)
	}
	if got, want := problemsOf(empty), "the bundle is empty; it lacks even its manifest"; got != want {
		t.Errorf("%s, want %s", got, want)
	}
	if got := problemsOf(empty[:21]); !strings.HasPrefix(got,
		"not a readable evidence bundle: 21 bytes are too few; no file header at byte 0") {
		t.Errorf("21 bytes: %s", got)
	}
}

// One changed byte of the manifest is put back, so that the files are compared with it all the same.
func TestChangedManifestStillJudges(t *testing.T) {
	raw, _ := testBundle(t)
	at := bytes.Index(raw, []byte("listbound bundle"))
	readme := bytes.Index(raw, []byte("How to"))
	raw[at] ^= 1
	raw[readme], raw[readme+1] = 'W', 'h'
	got := problemsOf(raw)
	for _, want := range []string{
		fmt.Sprintf("byte %d: manifest: the manifest was changed at its byte 0: ", at),
		fmt.Sprintf("byte %d: README.txt: the contents do not have the hash in the manifest", readme),
	} {
		if !strings.Contains(got, want) {
			t.Errorf("%s\ndoes not say\n%s", got, want)
		}
	}
	if strings.Contains(got, "checkpoint") {
		t.Errorf("a file that was not changed is reported: %s", got)
	}
}

// The first byte of a file's contents, and what no single byte explains.
func TestChangedContents(t *testing.T) {
	raw, _ := testBundle(t)
	readme := bytes.Index(raw, []byte("How to"))
	changed := bytes.Clone(raw)
	changed[readme] ^= 0x20
	want := fmt.Sprintf("byte %d: README.txt: byte 0 of the contents was changed: with it put back they have the "+
		"hash in the manifest", readme)
	if got := problemsOf(changed); got != want {
		t.Errorf("%s, want %s", got, want)
	}
	// A change that the checksum does not show: the generator of CRC-32, 33 bits, first bit lowest.
	changed = bytes.Clone(raw)
	for i, b := range []byte{0x41, 0x06, 0x71, 0xdb, 0x01} {
		changed[readme+i] ^= b
	}
	if crc32.ChecksumIEEE(changed[readme:readme+25]) != crc32.ChecksumIEEE(raw[readme:readme+25]) {
		t.Fatal("the checksum shows the change")
	}
	want = fmt.Sprintf("byte %d: README.txt: the contents do not have the hash in the manifest", readme)
	if got := problemsOf(changed); got != want {
		t.Errorf("%s, want %s", got, want)
	}
}

// What is wrong with the archive itself, and where.
func TestChangedArchive(t *testing.T) {
	raw, files := testBundle(t)
	end := len(raw) - 22
	first := bytes.Index(raw, []byte("PK\x01\x02"))
	tests := []struct {
		name   string
		change func(b []byte) []byte
		want   string
	}{
		{"end", func(b []byte) []byte { b[end+21] = 1; return b },
			fmt.Sprintf("byte %d: the end record of the archive was changed", end+21)},
		{"directory", func(b []byte) []byte { b[first+30] = 1; return b },
			fmt.Sprintf("byte %d: README.txt: directory entry of the file in the archive was changed", first+30)},
		{"header", func(b []byte) []byte { b[4] ^= 1; return b },
			"byte 4: README.txt: header of the file in the archive was changed"},
		{"more", func(b []byte) []byte { return append(b, "abc"...) },
			fmt.Sprintf("byte %d: 3 bytes follow the end of the archive", len(raw))},
	}
	for _, tt := range tests {
		if got := problemsOf(tt.change(bytes.Clone(raw))); got != tt.want {
			t.Errorf("%s: %s, want %s", tt.name, got, tt.want)
		}
	}
	// Without the directory the headers in front of the files lead to the same files, and to a byte that was changed in
	// one.
	lost := bytes.Clone(raw)
	lost[end] ^= 1
	last := bytes.Index(raw, []byte("behind-the-sofa"))
	lost[last] ^= 1
	_, verifier := testKey(origin)
	b, problems := proof.ReadBundle(lost, verifier)
	if len(b.Files) != len(files) {
		t.Fatalf("%d files, want %d", len(b.Files), len(files))
	}
	for i, f := range b.Files[:3] {
		if f.Path != files[i].Path || !bytes.Equal(f.Data, files[i].Data) {
			t.Errorf("file %d is %s, %q", i, f.Path, f.Data)
		}
	}
	if len(problems) != 2 || problems[0].Offset != int64(last) || problems[0].Entry != "checkpoint" ||
		problems[1].Offset != int64(end) {
		t.Errorf("problems: %v", problems)
	}
}

// Neither directory nor headers lead to the files: both reasons are given.
func TestUnreadableArchive(t *testing.T) {
	raw, _ := testBundle(t)
	end := len(raw) - 22
	le := binary.LittleEndian
	directory := int(le.Uint32(raw[end+16:]))
	second := directory + 46 + len("README.txt")
	tests := []struct {
		name   string
		change func(b []byte) []byte
		want   string
	}{
		{"signature", func(b []byte) []byte { b[second] ^= 1; return b }, "directory entry 2 of 5 is damaged"},
		{"place", func(b []byte) []byte { b[second+42] ^= 1; return b }, "directory entry 2 of 5 is damaged"},
		{"name longer than the directory", func(b []byte) []byte { le.PutUint16(b[second+28:], 60_000); return b },
			"directory entry 2 of 5 is damaged"},
		{"file longer than the archive", func(b []byte) []byte { le.PutUint32(b[second+20:], 60_000); return b },
			"file 2 of 5 reaches into the directory"},
		{"a byte of nobody", func(b []byte) []byte {
			b = slices.Insert(b, end, 0)
			le.PutUint32(b[end+1+12:], uint32(end-directory+1))
			return b
		}, "there are bytes that belong to no file"},
		{"one file less", func(b []byte) []byte { le.PutUint16(b[end+10:], 4); return b },
			"there are bytes that belong to no file"},
		{"end record", func(b []byte) []byte { b[end] ^= 1; return b }, "the end record is not where it belongs"},
		{"size of the directory", func(b []byte) []byte { b[end+12] ^= 1; return b },
			"the directory does not end where the end record begins"},
	}
	for _, tt := range tests {
		changed := tt.change(bytes.Clone(raw))
		changed[0] ^= 1
		want := "not a readable evidence bundle: " + tt.want + "; no file header at byte 0"
		_, verifier := testKey(origin)
		b, problems := proof.ReadBundle(changed, verifier)
		if len(problems) != 1 || problems[0].Offset != -1 || problems[0].String() != want || len(b.Files) != 0 {
			t.Errorf("%s: %v, want %s", tt.name, problems, want)
		}
	}
	// A header that lies about its length.
	changed := bytes.Clone(raw)
	changed[end] ^= 1
	le.PutUint32(changed[18:], uint32(len(raw)))
	if got := problemsOf(changed); !strings.HasSuffix(got, "; the file at byte 0 is longer than the archive") {
		t.Errorf("a file longer than the archive: %s", got)
	}
	// Nothing but headers: the last file ends with the archive.
	if got := problemsOf(raw[:directory]); strings.Contains(got, "longer than the archive") {
		t.Errorf("without a directory: %s", got)
	}
}

func TestProblemString(t *testing.T) {
	for _, tt := range []struct {
		p    proof.Problem
		want string
	}{
		{proof.Problem{Offset: 0, Entry: "a", What: "x"}, "byte 0: a: x"},
		{proof.Problem{Offset: 1, What: "x"}, "byte 1: x"},
		{proof.Problem{Offset: -1, Entry: "a", What: "x"}, "a: x"},
		{proof.Problem{Offset: -1, What: "x"}, "x"},
	} {
		if got := tt.p.String(); got != tt.want {
			t.Errorf("%q, want %q", got, tt.want)
		}
	}
	if data, ok := (&proof.Bundle{Files: twoFiles}).File("c"); ok || data != nil {
		t.Errorf("a file that is not there: %q, %t", data, ok)
	}
}

// The characters and the length of a path, at their limits.
func TestPathLimits(t *testing.T) {
	take := func(path string) bool {
		_, err := proof.Archive([]proof.File{{Path: path}})
		signer, _ := testKey(origin)
		return err == nil && proof.WriteBundle(&bytes.Buffer{}, []proof.File{{Path: path}}, signer) == nil
	}
	for c := range 128 {
		want := strings.ContainsRune("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789._-/", rune(c))
		if got := take("x" + string(rune(c)) + "x"); got != want {
			t.Errorf("a path with %q: %t, want %t", rune(c), got, want)
		}
	}
	if !take(strings.Repeat("x", 255)) || take(strings.Repeat("x", 256)) {
		t.Error("a path has 1 to 255 bytes")
	}
}

// How much an archive holds: 65,535 files, and 4 GB with room for its headers.
func TestArchiveLimits(t *testing.T) {
	files := make([]proof.File, math.MaxUint16+1)
	if _, err := proof.Archive(files); err == nil || err.Error() != "a bundle holds at most 65535 files" {
		t.Errorf("65,536 files: %v", err)
	}
	if _, err := proof.Archive(files[1:]); err != nil {
		t.Errorf("65,535 files: %v", err)
	}
	const most = 1<<32 - 1 - 1<<20
	for _, tt := range []struct {
		offset, length int64
		fits           bool
	}{{0, most, true}, {0, most + 1, false}, {most, 0, true}, {most - 7, 7, true},
		{most - 7, 8, false}, {most + 1, 0, false}} {
		if err := proof.CheckArchiveSize(tt.offset, tt.length); (err == nil) != tt.fits {
			t.Errorf("%d bytes behind %d: %v", tt.length, tt.offset, err)
		}
	}
}

// The headers of the one form, field by field. Source: APPNOTE.TXT 6.3.10 of the ZIP format, 4.3.7, 4.3.12 and 4.3.16.
func TestArchiveBytes(t *testing.T) {
	raw, err := proof.Archive([]proof.File{{Path: "ab", Data: []byte("123456789")}})
	if err != nil {
		t.Fatal(err)
	}
	// CRC-32 of "123456789" is cbf43926, its check value in every catalogue of checksums.
	common := "0a00 0000 0000 0000 2100 2639f4cb 09000000 09000000 0200 0000"
	want := "504b0304" + common + "6162" + "313233343536373839" +
		"504b0102 0a00" + common + "0000 0000 0000 00000000 00000000" + "6162" +
		"504b0506 0000 0000 0100 0100 30000000 29000000 0000"
	if got := fmt.Sprintf("%x", raw); got != strings.ReplaceAll(want, " ", "") {
		t.Errorf("the archive is\n%s, want\n%s", got, strings.ReplaceAll(want, " ", ""))
	}
}
