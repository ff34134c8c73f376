package pictures

import (
	"bytes"
	"encoding/binary"
	"errors"
	"image"
	"io"

	"golang.org/x/image/tiff"
)

// The tags of a TIFF directory that are looked at (TIFF 6.0).
const (
	tagCompression  = 259
	tagOrientation  = 274
	tiffEntry       = 12
	tiffCCITT1      = 2 // group 3 without and with line ends: of fax machines
	tiffCCITT3      = 3
	tiffJPEGOld     = 6
	tiffJPEG        = 7
	tiffJPEG2000    = 34712 // as registered
	tiffJBIG2       = 34661
	tiffWebP        = 50001
	tiffHeaderBytes = 8
)

// eachTIFF goes through the directories of a TIFF, one a page. The library reads only the
// first: for each page it is given the file with a header that points to that page's.
func eachTIFF(file []byte, l Limits, yield func(func() (*image.Gray, error)) bool) {
	order := byteOrder(file)
	if order == nil || len(file) < tiffHeaderBytes {
		yield(refused(damaged("TIFF", io.ErrUnexpectedEOF)))
		return
	}
	seen := make(map[uint32]bool) // a chain may lead back to itself
	for at := order.Uint32(file[4:]); at != 0; {
		if seen[at] {
			yield(refused(damaged("TIFF", errors.New("its pages go round in a circle"))))
			return
		}
		seen[at] = true
		d, next, err := directory(file, order, at)
		if err != nil {
			yield(refused(damaged("TIFF", err)))
			return
		}
		if !yield(func() (*image.Gray, error) { return readTIFF(file, order, at, d, l) }) {
			return
		}
		at = next
	}
}

// directory reads the short values of a directory, and where the next one is.
func directory(file []byte, order binary.ByteOrder, at uint32) (map[uint16]uint16, uint32, error) {
	from := int64(at)
	if from+2 > int64(len(file)) {
		return nil, 0, io.ErrUnexpectedEOF
	}
	n := int64(order.Uint16(file[from:]))
	end := from + 2 + n*tiffEntry
	if end+4 > int64(len(file)) {
		return nil, 0, io.ErrUnexpectedEOF
	}
	out := make(map[uint16]uint16)
	for e := from + 2; e < end; e += tiffEntry {
		out[order.Uint16(file[e:])] = order.Uint16(file[e+8:])
	}
	return out, order.Uint32(file[end:]), nil
}

func readTIFF(file []byte, order binary.ByteOrder, at uint32, d map[uint16]uint16, l Limits) (*image.Gray, error) {
	switch d[tagCompression] {
	case tiffJPEG, tiffJPEGOld:
		return nil, &Error{Cause: NotInFile, Format: "JPEG in TIFF"}
	case tiffJPEG2000:
		return nil, &Error{Cause: NotInFile, Format: "JPEG 2000 in TIFF"}
	case tiffJBIG2:
		return nil, &Error{Cause: NotInFile, Format: "JBIG2 in TIFF"}
	case tiffWebP:
		return nil, &Error{Cause: NotInFile, Format: "WebP in TIFF"}
	case tiffCCITT1, tiffCCITT3:
		return nil, &Error{Cause: NotInFile, Format: "CCITT group 3 in TIFF"}
	}
	head := bytes.Clone(file[:tiffHeaderBytes])
	order.PutUint32(head[4:], at)
	from := func() io.Reader { return &patched{bytes.NewReader(file), head} }
	c, err := tiff.DecodeConfig(from())
	if err != nil {
		return nil, tiffError(err)
	}
	if err := l.fits(c.Width, c.Height); err != nil {
		return nil, err
	}
	m, err := tiff.Decode(from())
	if err != nil {
		return nil, tiffError(err)
	}
	return turned(grey(m), int(d[tagOrientation])), nil
}

func tiffError(err error) error {
	if e, ok := errors.AsType[tiff.UnsupportedError](err); ok {
		return &Error{Cause: NotInFile, Format: "TIFF", Err: e}
	}
	return damaged("TIFF", err)
}

// patched is a file with another header.
type patched struct {
	*bytes.Reader
	head []byte
}

// ReadAt implements io.ReaderAt, by which the library reads.
func (p *patched) ReadAt(b []byte, off int64) (int, error) {
	n, err := p.Reader.ReadAt(b, off)
	if off < int64(len(p.head)) {
		copy(b[:n], p.head[off:])
	}
	return n, err
}
