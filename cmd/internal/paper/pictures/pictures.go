// Package pictures makes grey pictures, one for each page, of the files that scanners,
// copiers and phones hand over: JPEG, PNG, PDF and TIFF. What it can't read it refuses by
// name, since "damaged" would send a person to the wrong machine. Files come from
// outside: nothing in them makes it panic, read more pages or hold more pixels than Limits.
package pictures

import (
	"bytes"
	"errors"
	"fmt"
	"image"
	"image/png"
	"iter"
	"runtime/debug"
)

// Limits bound what one file may cost.
type Limits struct {
	Bytes  int   // of the file
	Pages  int   // in it
	Pixels int64 // of one page
}

// Usual are limits with room for what offices make: A4 at 600 dpi has 35 million pixels, and
// phones have cameras of 50 (8160 x 6120).
func Usual() Limits { return Limits{Bytes: 48 << 20, Pages: 60, Pixels: 50_000_000} }

// Cause is why a file or a page of it can't be read.
type Cause string

// The causes.
const (
	TooManyBytes  Cause = "bytes"     // more than Limits.Bytes
	TooManyPages  Cause = "pages"     // more than Limits.Pages; those before it were read
	TooManyPixels Cause = "pixels"    // more than Limits.Pixels
	NotKnown      Cause = "format"    // no format that is read here; Format names it where it is recognised
	NotInFile     Cause = "coding"    // a known file, whose picture is coded as Format, which is not read here
	Damaged       Cause = "damaged"   // it ends too early, or says what can't be
	Locked        Cause = "locked"    // a PDF with a password
	NoPicture     Cause = "nothing"   // a PDF's page without a picture, such as one that no scanner made
	InPieces      Cause = "in-pieces" // a PDF's page put together from several pictures, as with "compact PDF"
	Empty         Cause = "empty"     // no byte, or no page
)

// Causes lists all, for whoever has a sentence for each.
func Causes() []Cause {
	return []Cause{TooManyBytes, TooManyPages, TooManyPixels, NotKnown, NotInFile, Damaged, Locked, NoPicture, InPieces, Empty}
}

// Error is why a file or page can't be read.
type Error struct {
	Cause  Cause
	Format string // as people call it: HEIC, JBIG2
	Limit  int64  // that was exceeded
	Err    error  // what a decoder said
}

func (e *Error) Error() string {
	s := "the picture can't be read: " + string(e.Cause)
	if e.Format != "" {
		s += " (" + e.Format + ")"
	}
	if e.Limit != 0 {
		s += fmt.Sprintf(", at most %d", e.Limit)
	}
	if e.Err != nil {
		s += ": " + e.Err.Error()
	}
	return s
}

func (e *Error) Unwrap() error { return e.Err }

func damaged(format string, err error) *Error {
	return &Error{Cause: Damaged, Format: format, Err: err}
}

// Pages yields the pages of a file in its order, each when it is asked for. A page that can't
// be read is yielded as an *Error, and those after it are still tried.
func Pages(file []byte, l Limits) iter.Seq2[*image.Gray, error] {
	return func(yield func(*image.Gray, error) bool) {
		switch {
		case len(file) == 0:
			yield(nil, &Error{Cause: Empty})
			return
		case len(file) > l.Bytes:
			yield(nil, &Error{Cause: TooManyBytes, Limit: int64(l.Bytes)})
			return
		}
		n := 0
		for read := range parts(file, l) {
			if n++; n > l.Pages {
				yield(nil, &Error{Cause: TooManyPages, Limit: int64(l.Pages)})
				return
			}
			if !yield(one(read)) {
				return
			}
		}
		if n == 0 {
			yield(nil, &Error{Cause: Empty})
		}
	}
}

// one reads a page. The decoders are others' and meet bytes from outside: a mistake in one
// costs this page and not the server.
func one(read func() (*image.Gray, error)) (page *image.Gray, err error) {
	defer func() {
		if r := recover(); r != nil {
			page, err = nil, damaged("", fmt.Errorf("%v\n%s", r, debug.Stack()))
		}
	}()
	if page, err = read(); err != nil {
		return nil, err
	}
	return shrunk(page), nil
}

func refused(e *Error) func() (*image.Gray, error) {
	return func() (*image.Gray, error) { return nil, e }
}

// parts are the pages of a file, each to be read when its turn comes.
func parts(file []byte, l Limits) iter.Seq[func() (*image.Gray, error)] {
	return func(yield func(func() (*image.Gray, error)) bool) {
		switch f := formatOf(file); f {
		case "JPEG":
			yield(func() (*image.Gray, error) { return readJPEG(file, l) })
		case "PNG":
			yield(func() (*image.Gray, error) { return readPNG(file, l) })
		case "TIFF":
			eachTIFF(file, l, yield)
		case "PDF":
			eachPDF(file, l, yield)
		default:
			yield(refused(&Error{Cause: NotKnown, Format: f}))
		}
	}
}

// formatOf tells a file's format by its first bytes, "" where it is none that is known.
func formatOf(b []byte) string {
	at := func(i int, s string) bool { return len(b) >= i+len(s) && string(b[i:i+len(s)]) == s }
	switch {
	case at(0, "\xff\xd8"):
		return "JPEG"
	case at(0, "\x89PNG\r\n\x1a\n"):
		return "PNG"
	case at(0, "II*\x00"), at(0, "MM\x00*"):
		return "TIFF"
	case bytes.Contains(b[:min(len(b), 1024)], []byte("%PDF-")): // some write a line before it
		return "PDF"
	case at(4, "ftyp"):
		for _, brand := range []string{"heic", "heix", "hevc", "heim", "heis", "mif1", "msf1"} {
			if at(8, brand) {
				return "HEIC"
			}
		}
		if at(8, "avif") {
			return "AVIF"
		}
		return "MP4"
	case at(4, "jP  \r\n\x87\n"), at(0, "\xff\x4f\xff\x51"):
		return "JPEG 2000"
	case at(0, "\x97JB2\r\n\x1a\n"):
		return "JBIG2"
	case at(0, "RIFF") && at(8, "WEBP"):
		return "WebP"
	case at(0, "GIF8"):
		return "GIF"
	case at(0, "BM"):
		return "BMP"
	case at(0, "II+\x00"), at(0, "MM\x00+"):
		return "BigTIFF"
	}
	return ""
}

// fits refuses a picture that is too large before memory is asked for.
func (l Limits) fits(w, h int) error {
	switch {
	case w < 1 || h < 1:
		return damaged("", errors.New("the picture has no size"))
	case int64(w) > l.Pixels || int64(h) > l.Pixels || int64(w)*int64(h) > l.Pixels:
		return &Error{Cause: TooManyPixels, Limit: l.Pixels}
	}
	return nil
}

func readPNG(file []byte, l Limits) (*image.Gray, error) {
	c, err := png.DecodeConfig(bytes.NewReader(file))
	if err != nil {
		return nil, damaged("PNG", err)
	}
	if err := l.fits(c.Width, c.Height); err != nil {
		return nil, err
	}
	m, err := png.Decode(bytes.NewReader(file))
	if err != nil {
		return nil, damaged("PNG", err)
	}
	return grey(m), nil
}
