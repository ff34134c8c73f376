package proof

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"math"
	"strings"

	"golang.org/x/mod/sumdb/note"
)

const (
	manifestName   = "manifest"
	manifestHeader = "listbound bundle v1"
)

// File is one file of a bundle.
type File struct {
	Path string
	Data []byte
}

// Bundle is the contents of an evidence bundle, without its manifest.
type Bundle struct{ Files []File }

// File returns the contents of the file at path.
func (b *Bundle) File(path string) ([]byte, bool) {
	for _, f := range b.Files {
		if f.Path == path {
			return f.Data, true
		}
	}
	return nil, false
}

// Problem says what is wrong with a bundle and where. Offset counts bytes from the start of the archive and is -1 if
// the place is not known; Entry is the file concerned, if it is one.
type Problem struct {
	Offset int64  `json:"offset"`
	Entry  string `json:"entry,omitempty"`
	What   string `json:"what"`
}

func (p Problem) String() string {
	var b strings.Builder
	if p.Offset >= 0 {
		fmt.Fprintf(&b, "byte %d: ", p.Offset)
	}
	if p.Entry != "" {
		fmt.Fprintf(&b, "%s: ", p.Entry)
	}
	return b.String() + p.What
}

// WriteBundle writes files and their signed manifest as an archive. The same files and key give the same bytes.
func WriteBundle(w io.Writer, files []File, signer note.Signer) error {
	seen := map[string]bool{manifestName: true}
	text := manifestText(files)
	for _, f := range files {
		if err := checkPath(f.Path); err != nil {
			return err
		}
		if seen[f.Path] {
			return fmt.Errorf("the path %q is in the bundle twice", f.Path)
		}
		seen[f.Path] = true
	}
	manifest, err := SignNote(text, signer)
	if err != nil {
		return fmt.Errorf("cannot sign the manifest: %w", err)
	}
	all := append(append([]File(nil), files...), File{manifestName, manifest})
	layout, err := layOut(all)
	if err != nil {
		return err
	}
	for _, part := range layout {
		if _, err := w.Write(part.data); err != nil {
			return err
		}
	}
	return nil
}

func manifestText(files []File) string {
	var b strings.Builder
	b.WriteString(manifestHeader + "\n")
	for _, f := range files {
		sum := sha256.Sum256(f.Data)
		fmt.Fprintf(&b, "%s  %s\n", hex.EncodeToString(sum[:]), f.Path)
	}
	return b.String()
}

// checkPath takes only paths that mean the same on every system and lead nowhere outside.
func checkPath(path string) error {
	if path == "" || len(path) > 255 {
		return fmt.Errorf("the path %.40q is empty or longer than 255 bytes", path)
	}
	for part := range strings.SplitSeq(path, "/") {
		if part == "" || part == "." || part == ".." {
			return fmt.Errorf("the path %q has an empty or dotted part", path)
		}
	}
	for _, c := range []byte(path) {
		if (c < 'a' || c > 'z') && (c < 'A' || c > 'Z') && (c < '0' || c > '9') &&
			!strings.ContainsRune("._-/", rune(c)) {
			return fmt.Errorf("the path %q has the character %q; letters, digits, dot, hyphen, underscore and slash "+
				"are allowed", path, c)
		}
	}
	return nil
}

// part is a stretch of the archive with one meaning.
type part struct {
	what  string
	entry string
	data  []byte
}

const (
	localSignature   = 0x04034b50
	centralSignature = 0x02014b50
	endSignature     = 0x06054b50
	localHeaderLen   = 30
	centralHeaderLen = 46
	endLen           = 22

	zipVersion = 10       // 1.0: no compression, no folders
	zipDate    = 1<<5 | 1 // 1980-01-01, the first date the format has
)

// layOut returns the parts of the one archive that holds the files.
func layOut(files []File) ([]part, error) {
	if len(files) > math.MaxUint16 {
		return nil, fmt.Errorf("a bundle holds at most %d files", math.MaxUint16)
	}
	le := binary.LittleEndian
	var parts []part
	var central []part
	offset, centralLen := int64(0), int64(0)
	for _, f := range files {
		if err := checkArchiveSize(offset, int64(len(f.Data))); err != nil {
			return nil, err
		}
		// The fields that both headers share: version, flags, method, time, date, CRC, sizes, name length, extra
		// length.
		common := le.AppendUint16(nil, zipVersion)
		common = le.AppendUint16(common, 0)
		common = le.AppendUint16(common, 0)
		common = le.AppendUint16(common, 0)
		common = le.AppendUint16(common, zipDate)
		common = le.AppendUint32(common, crc32.ChecksumIEEE(f.Data))
		common = le.AppendUint32(common, uint32(len(f.Data)))
		common = le.AppendUint32(common, uint32(len(f.Data)))
		common = le.AppendUint16(common, uint16(len(f.Path)))
		common = le.AppendUint16(common, 0)

		local := le.AppendUint32(nil, localSignature)
		local = append(local, common...)
		local = append(local, f.Path...)

		c := le.AppendUint32(nil, centralSignature)
		c = le.AppendUint16(c, zipVersion) // made by
		c = append(c, common...)
		c = append(c, make([]byte, 10)...) // comment length, disk, attributes
		c = le.AppendUint32(c, uint32(offset))
		c = append(c, f.Path...)

		parts = append(parts, part{"header", f.Path, local}, part{"contents", f.Path, f.Data})
		central = append(central, part{"directory entry", f.Path, c})
		offset += int64(len(local) + len(f.Data))
		centralLen += int64(len(c))
	}
	end := le.AppendUint32(nil, endSignature)
	end = append(end, make([]byte, 4)...) // disks
	end = le.AppendUint16(end, uint16(len(files)))
	end = le.AppendUint16(end, uint16(len(files)))
	end = le.AppendUint32(end, uint32(centralLen))
	end = le.AppendUint32(end, uint32(offset))
	end = le.AppendUint16(end, 0)
	parts = append(parts, central...)
	return append(parts, part{"end record", "", end}), nil
}

// checkArchiveSize refuses the file that an archive of offset bytes has no room for: its lengths and places are 32 bits
// wide, and its headers and directory need room, too.
func checkArchiveSize(offset, length int64) error {
	const roomForHeaders = 1 << 20
	if offset+length > math.MaxUint32-roomForHeaders {
		return errors.New("the bundle is larger than 4 GB; export a smaller part of the history")
	}
	return nil
}

// located is a file as found in an archive.
type located struct {
	File
	offset int64 // of its contents
	crc    uint32
}

// ReadBundle reads an archive and checks everything about it: the manifest's signature, each file's hash, and that the
// archive is, byte for byte, the one these files make. It returns what it could read even if there are problems. It
// never trusts a length it has not compared with the archive's own.
func ReadBundle(raw []byte, verifier note.Verifier) (*Bundle, []Problem) {
	found, err := readDirectory(raw)
	if err != nil {
		// The directory at the end is damaged; the headers in front of each file say the same once more.
		var second error
		if found, second = readHeaders(raw); second != nil {
			what := fmt.Sprintf("not a readable evidence bundle: %v; %v", err, second)
			return &Bundle{}, []Problem{{Offset: -1, What: what}}
		}
	}
	c := &bundleCheck{raw: raw, verifier: verifier, found: found, changed: map[string]bool{}}
	c.manifest()
	c.contents()
	c.bytes()
	b := &Bundle{}
	for _, f := range found {
		if f.Path != manifestName {
			b.Files = append(b.Files, f.File)
		}
	}
	return b, c.problems
}

// readDirectory finds the files by the directory at the archive's end.
func readDirectory(raw []byte) ([]located, error) {
	le := binary.LittleEndian
	if len(raw) < endLen {
		return nil, fmt.Errorf("%d bytes are too few", len(raw))
	}
	if int64(len(raw)) > math.MaxUint32 {
		return nil, errors.New("larger than 4 GB")
	}
	end := raw[len(raw)-endLen:]
	if le.Uint32(end) != endSignature {
		return nil, errors.New("the end record is not where it belongs")
	}
	count := int(le.Uint16(end[10:]))
	size, start := int64(le.Uint32(end[12:])), int64(le.Uint32(end[16:]))
	if start+size != int64(len(raw)-endLen) {
		return nil, errors.New("the directory does not end where the end record begins")
	}
	dir := raw[start : start+size]
	var found []located
	next := int64(0)
	for i := range count {
		if len(dir) < centralHeaderLen || le.Uint32(dir) != centralSignature {
			return nil, fmt.Errorf("directory entry %d of %d is damaged", i+1, count)
		}
		nameLen := int(le.Uint16(dir[28:]))
		length, offset := int64(le.Uint32(dir[20:])), int64(le.Uint32(dir[42:]))
		if len(dir) < centralHeaderLen+nameLen || offset != next {
			return nil, fmt.Errorf("directory entry %d of %d is damaged", i+1, count)
		}
		name := string(dir[centralHeaderLen : centralHeaderLen+nameLen])
		data := offset + localHeaderLen + int64(nameLen)
		next = data + length
		if next > start {
			return nil, fmt.Errorf("file %d of %d reaches into the directory", i+1, count)
		}
		found = append(found, located{File{name, raw[data:next:next]}, data, le.Uint32(dir[16:])})
		dir = dir[centralHeaderLen+nameLen:]
	}
	if len(dir) > 0 || next != start {
		return nil, errors.New("there are bytes that belong to no file")
	}
	return found, nil
}

// readHeaders finds the files by the headers in front of them.
func readHeaders(raw []byte) ([]located, error) {
	le := binary.LittleEndian
	var found []located
	offset := int64(0)
	for {
		rest := raw[offset:]
		if len(rest) < localHeaderLen || le.Uint32(rest) != localSignature {
			if len(found) == 0 {
				return nil, fmt.Errorf("no file header at byte %d", offset)
			}
			// The directory should begin here; comparing bytes will show whether it does.
			return found, nil
		}
		nameLen, length := int64(le.Uint16(rest[26:])), int64(le.Uint32(rest[18:]))
		if int64(len(rest)) < localHeaderLen+nameLen+length {
			return nil, fmt.Errorf("the file at byte %d is longer than the archive", offset)
		}
		data := offset + localHeaderLen + nameLen
		name := string(raw[offset+localHeaderLen : data])
		found = append(found, located{File{name, raw[data : data+length : data+length]}, data, le.Uint32(rest[14:])})
		offset = data + length
	}
}

type bundleCheck struct {
	raw      []byte
	verifier note.Verifier
	found    []located
	sums     map[string]string // hash in hex by path, from the manifest
	order    []string
	changed  map[string]bool // files whose contents are reported already
	problems []Problem
}

// addContents reports a change in the contents of a file.
func (c *bundleCheck) addContents(offset int64, entry, what string) {
	c.changed[entry] = true
	c.add(offset, entry, what)
}

func (c *bundleCheck) add(offset int64, entry, what string) {
	c.problems = append(c.problems, Problem{offset, entry, what})
}

// manifest reads the manifest, the last entry.
func (c *bundleCheck) manifest() {
	if len(c.found) == 0 {
		c.add(-1, "", "the bundle is empty; it lacks even its manifest")
		return
	}
	last := c.found[len(c.found)-1]
	text, err := c.openManifest(last.Data)
	if err != nil && last.Path != manifestName {
		c.add(last.offset, printable(last.Path), "the last entry is not the manifest")
		return
	}
	if err != nil {
		at, fixed, ok := findChangedByte(last.Data, last.crc,
			func(data []byte) bool { _, err := c.openManifest(data); return err == nil })
		if ok {
			c.addContents(last.offset+at, manifestName,
				fmt.Sprintf("the manifest was changed at its byte %d: %v", at, err))
			text, err = c.openManifest(fixed)
		} else {
			c.addContents(last.offset, manifestName, fmt.Sprintf("the manifest does not verify: %v", err))
		}
		if err != nil {
			return
		}
	}
	sums, order, err := parseManifest(text)
	if err != nil {
		c.add(last.offset, manifestName, err.Error())
		return
	}
	c.sums, c.order = sums, order
}

func (c *bundleCheck) openManifest(data []byte) (string, error) {
	n, err := OpenNote(data, note.VerifierList(c.verifier))
	if err != nil {
		return "", err
	}
	return n.Text, nil
}

func parseManifest(text string) (map[string]string, []string, error) {
	lines := strings.Split(strings.TrimSuffix(text, "\n"), "\n")
	if lines[0] != manifestHeader {
		return nil, nil, fmt.Errorf("the manifest begins with %.40q, want %q", lines[0], manifestHeader)
	}
	sums := map[string]string{}
	var order []string
	for i, line := range lines[1:] {
		sum, path, ok := strings.Cut(line, "  ")
		raw, err := hex.DecodeString(sum)
		if !ok || err != nil || len(raw) != sha256.Size || hex.EncodeToString(raw) != sum {
			return nil, nil, fmt.Errorf("line %d of the manifest is not a hash and a path", i+2)
		}
		if err := checkPath(path); err != nil {
			return nil, nil, fmt.Errorf("line %d of the manifest: %w", i+2, err)
		}
		if _, twice := sums[path]; twice || path == manifestName {
			return nil, nil, fmt.Errorf("line %d of the manifest names %q again", i+2, path)
		}
		sums[path] = sum
		order = append(order, path)
	}
	return sums, order, nil
}

// contents compares every file with its hash in the manifest.
func (c *bundleCheck) contents() {
	if c.sums == nil {
		return
	}
	seen := map[string]bool{}
	files := c.found[:len(c.found)-1]
	for i, f := range files {
		name := printable(f.Path)
		want, ok := c.sums[f.Path]
		switch {
		case !ok && i < len(c.order) && len(files) == len(c.order):
			// One name differs: the place is found by comparing bytes below; the contents are still checked.
			want = c.sums[c.order[i]]
		case !ok:
			c.add(f.offset, name, "the manifest does not name this file")
			continue
		case seen[f.Path]:
			c.add(f.offset, name, "the file is there twice")
			continue
		}
		seen[f.Path] = true
		sum := sha256.Sum256(f.Data)
		if hex.EncodeToString(sum[:]) == want {
			continue
		}
		at, _, ok := findChangedByte(f.Data, f.crc, func(data []byte) bool {
			sum := sha256.Sum256(data)
			return hex.EncodeToString(sum[:]) == want
		})
		if ok {
			c.addContents(f.offset+at, name, fmt.Sprintf("byte %d of the contents was changed: with it put back they "+
				"have the hash in the manifest", at))
		} else {
			c.addContents(f.offset, name, "the contents do not have the hash in the manifest")
		}
	}
	if len(files) == len(c.order) {
		return
	}
	for _, path := range c.order {
		if !seen[path] {
			c.add(-1, path, "the manifest names this file, but it is not there")
		}
	}
}

// bytes rebuilds the archive and compares. It finds what contents and hashes cannot show: changes in the archive's own
// headers.
func (c *bundleCheck) bytes() {
	files := make([]File, len(c.found))
	for i, f := range c.found {
		files[i] = f.File
		if c.sums != nil && i < len(c.order) && len(c.order) == len(c.found)-1 {
			// The signed name, so that a changed name shows.
			files[i].Path = c.order[i]
		}
		if c.sums != nil && i == len(c.found)-1 {
			files[i].Path = manifestName
		}
	}
	parts, err := layOut(files)
	if err != nil {
		c.add(-1, "", err.Error())
		return
	}
	offset := int64(0)
	for _, p := range parts {
		got := c.raw[min(offset, int64(len(c.raw))):min(offset+int64(len(p.data)), int64(len(c.raw)))]
		if !bytes.Equal(got, p.data) && !c.explained(p, offset) {
			at := int64(0)
			for at < int64(len(got)) && got[at] == p.data[at] {
				at++
			}
			what := p.what + " of the file in the archive was changed"
			if p.entry == "" {
				what = "the " + p.what + " of the archive was changed"
			}
			c.add(offset+at, p.entry, what)
		}
		offset += int64(len(p.data))
	}
	if int64(len(c.raw)) > offset {
		c.add(offset, "", fmt.Sprintf("%d bytes follow the end of the archive", int64(len(c.raw))-offset))
	}
}

// explained reports whether a header only differs in the checksum of contents that were reported already.
func (c *bundleCheck) explained(p part, offset int64) bool {
	crcAt, have := 14, c.raw[min(offset, int64(len(c.raw))):]
	if p.what == "directory entry" {
		crcAt = 16
	}
	if p.entry == "" || len(have) < len(p.data) {
		return false
	}
	return c.changed[p.entry] && bytes.Equal(have[:crcAt], p.data[:crcAt]) &&
		bytes.Equal(have[crcAt+4:len(p.data)], p.data[crcAt+4:])
}

// findChangedByte tells which single byte of data must be put back so that the data have the checksum again and ok
// agrees. A CRC is linear: the difference of two checksums depends only on the changed bits and their distance from the
// end, so one walk from the end finds the place.
func findChangedByte(data []byte, crc uint32, ok func([]byte) bool) (at int64, fixed []byte, found bool) {
	diff := crc32.ChecksumIEEE(data) ^ crc
	if diff == 0 {
		return 0, nil, false
	}
	for i := len(data) - 1; i >= 0; i-- {
		// diff is now what the change would have made had byte i been the last one.
		if b := topByteIndex[diff>>24]; crc32.IEEETable[b] == diff {
			fixed = bytes.Clone(data)
			fixed[i] ^= b
			if ok(fixed) {
				return int64(i), fixed, true
			}
		}
		diff = withoutZeroByte(diff)
	}
	return 0, nil, false
}

// withoutZeroByte undoes what one more zero byte does to a checksum difference. The top byte of a table entry tells the
// entry.
func withoutZeroByte(diff uint32) uint32 {
	b := topByteIndex[diff>>24]
	return (diff^crc32.IEEETable[b])<<8 | uint32(b)
}

var topByteIndex = func() (index [256]byte) {
	for i, v := range crc32.IEEETable {
		index[v>>24] = byte(i)
	}
	return index
}()

func printable(s string) string {
	if checkPath(s) == nil {
		return s
	}
	return fmt.Sprintf("%.60q", s)
}
