package pictures

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"image"
	"io"
	"regexp"
	"runtime/debug"
	"slices"

	"github.com/pdfcpu/pdfcpu/pkg/filter"
	"github.com/pdfcpu/pdfcpu/pkg/pdfcpu"
	"github.com/pdfcpu/pdfcpu/pkg/pdfcpu/model"
	"github.com/pdfcpu/pdfcpu/pkg/pdfcpu/types"
	"golang.org/x/image/ccitt"
)

// The library would write a file of its settings into the user's folder.
var _ = func() bool { model.ConfigPath = "disable"; return true }()

// A page of a scanner's PDF is one picture. Others on it that have less than a share of its
// pixels are its maker's mark; larger ones are parts of the page.
const (
	partOfPage = 0.05
	deepest    = 4 // forms within forms
	mostDrawn  = 256
)

// eachPDF goes through the pages of a PDF. The streams of its pictures are taken as they
// are: the library's own pictures are made twice over.
func eachPDF(file []byte, l Limits, yield func(func() (*image.Gray, error)) bool) {
	doc, err := openPDF(file, l)
	if err != nil {
		yield(refused(err))
		return
	}
	for n := 1; n <= doc.PageCount; n++ {
		if !yield(func() (*image.Gray, error) { return doc.page(n) }) {
			return
		}
	}
}

type pdf struct {
	*model.Context
	l Limits
}

func openPDF(file []byte, l Limits) (doc *pdf, e *Error) {
	defer func() { // as in one
		if r := recover(); r != nil {
			doc, e = nil, damaged("PDF", fmt.Errorf("%v\n%s", r, debug.Stack()))
		}
	}()
	conf := model.NewDefaultConfiguration()
	conf.Offline, conf.Optimize, conf.OptimizeResourceDicts = true, false, false
	conf.Limits = model.ResourceLimits{
		MaxStreamBytes: int64(l.Bytes), MaxDecodeBytes: 4 * l.Pixels, MaxImagePixels: l.Pixels, MaxImageBytes: 4 * l.Pixels,
		MaxObjectCount: 200_000, MaxObjectStreamCount: 50_000, MaxObjectStreamFirst: 1 << 20, MaxXRefEntries: 200_000,
		MaxRecursionDepth: 50,
	}
	ctx, err := pdfcpu.Read(bytes.NewReader(file), conf)
	if err == nil {
		err = ctx.EnsurePageCount()
	}
	switch {
	case errors.Is(err, pdfcpu.ErrWrongPassword):
		return nil, &Error{Cause: Locked, Format: "PDF"}
	case err != nil:
		return nil, damaged("PDF", err)
	}
	return &pdf{ctx, l}, nil
}

// page is the picture of a page.
func (d *pdf) page(n int) (*image.Gray, error) {
	dict, _, attrs, err := d.PageDict(n, false)
	if err != nil {
		return nil, damaged("PDF", err)
	}
	content, err := d.PageContent(dict, n)
	if err != nil && !errors.Is(err, model.ErrNoContent) {
		return nil, damaged("PDF", err)
	}
	var all []*types.StreamDict
	if attrs != nil {
		all, err = d.drawn(content, attrs.Resources, 0, nil)
	}
	if err != nil {
		return nil, damaged("PDF", err)
	}
	if len(all) == 0 {
		return nil, &Error{Cause: NoPicture, Format: "PDF"}
	}
	pixels := func(s *types.StreamDict) int64 { return int64(d.number(s, "Width")) * int64(d.number(s, "Height")) }
	slices.SortStableFunc(all, func(a, b *types.StreamDict) int { return cmp.Compare(pixels(b), pixels(a)) })
	if len(all) > 1 && float64(pixels(all[1])) > partOfPage*float64(pixels(all[0])) {
		return nil, &Error{Cause: InPieces, Format: "PDF"}
	}
	return d.picture(all[0])
}

var do = regexp.MustCompile(`/([^\s/<>()\[\]{}%]+)\s+Do\b`)

// drawn adds the pictures that a content draws by name: the resources may be those of all pages.
func (d *pdf) drawn(content []byte, res types.Dict, depth int, all []*types.StreamDict) ([]*types.StreamDict, error) {
	o, ok := res.Find("XObject")
	if !ok || depth > deepest {
		return all, nil
	}
	names, err := d.DereferenceDict(o)
	if err != nil {
		return all, err
	}
	for _, m := range do.FindAllSubmatch(content, mostDrawn) {
		o, ok := names.Find(string(m[1]))
		if !ok || len(all) >= mostDrawn {
			continue
		}
		s, _, err := d.DereferenceStreamDict(o)
		if err != nil {
			return all, err
		}
		if s == nil {
			continue
		}
		switch kind := s.Subtype(); {
		case kind == nil:
		case *kind == "Image":
			all = append(all, s)
		case *kind == "Form":
			if err := s.DecodeWithLimit(4 * d.l.Pixels); err != nil {
				return all, err
			}
			own := res
			if r, ok := s.Find("Resources"); ok {
				if own, err = d.DereferenceDict(r); err != nil {
					return all, err
				}
			}
			if all, err = d.drawn(s.Content, own, depth+1, all); err != nil {
				return all, err
			}
		}
	}
	return all, nil
}

// number reads a whole number of a stream's dictionary, 0 where there is none.
func (d *pdf) number(s *types.StreamDict, key string) int { return d.numberOf(s.Dict, key, 0) }

func (d *pdf) numberOf(dict types.Dict, key string, otherwise int) int {
	o, ok := dict.Find(key)
	if !ok {
		return otherwise
	}
	n, err := d.DereferenceInteger(o)
	if err != nil || n == nil {
		return otherwise
	}
	return n.Value()
}

// picture decodes one picture's stream.
func (d *pdf) picture(s *types.StreamDict) (*image.Gray, error) {
	w, h := d.number(s, "Width"), d.number(s, "Height")
	if err := d.l.fits(w, h); err != nil {
		return nil, err
	}
	last := ""
	pipe := s.FilterPipeline
	if len(pipe) > 0 {
		last = pipe[len(pipe)-1].Name
	}
	switch last {
	case filter.JPX:
		return nil, &Error{Cause: NotInFile, Format: "JPEG 2000 in PDF"}
	case filter.JBIG2:
		return nil, &Error{Cause: NotInFile, Format: "JBIG2 in PDF"}
	case filter.DCT:
		raw, err := d.before(s)
		if err != nil {
			return nil, damaged("PDF", err)
		}
		m, err := readJPEG(raw, d.l)
		return m, err
	case filter.CCITTFax:
		raw, err := d.before(s)
		if err != nil {
			return nil, damaged("PDF", err)
		}
		return d.fax(raw, s, w, h)
	}
	if err := s.DecodeWithLimit(d.most(w, h)); err != nil {
		return nil, damaged("PDF", err)
	}
	return d.samples(s, w, h)
}

// most is how many bytes the samples of a picture may come to: four components of 16 bits.
func (d *pdf) most(w, h int) int64 { return 8*int64(w)*int64(h) + 1<<16 }

// before undoes what was done to a coded picture besides, as by ASCII85.
func (d *pdf) before(s *types.StreamDict) ([]byte, error) {
	n := len(s.FilterPipeline) - 1
	if n == 0 {
		return s.Raw, nil
	}
	c := *s
	c.FilterPipeline, c.Content = s.FilterPipeline[:n], nil
	err := c.DecodeWithLimit(int64(d.l.Bytes))
	return c.Content, err
}

// fax decodes CCITT group 4.
func (d *pdf) fax(raw []byte, s *types.StreamDict, w, h int) (*image.Gray, error) {
	parms := s.FilterPipeline[len(s.FilterPipeline)-1].DecodeParms
	if d.numberOf(parms, "K", 0) >= 0 {
		return nil, &Error{Cause: NotInFile, Format: "CCITT group 3 in PDF"}
	}
	if columns := d.numberOf(parms, "Columns", 1728); columns != w {
		return nil, damaged("PDF", fmt.Errorf("%d columns are coded, %d shown", columns, w))
	}
	black, align := false, false
	if b := parms.BooleanEntry("BlackIs1"); b != nil {
		black = *b
	}
	if b := parms.BooleanEntry("EncodedByteAlign"); b != nil {
		align = *b
	}
	out := image.NewGray(image.Rect(0, 0, w, h))
	err := ccitt.DecodeIntoGray(out, bytes.NewReader(raw), ccitt.MSB, ccitt.Group4, &ccitt.Options{Align: align})
	if err != nil && !errors.Is(err, io.ErrUnexpectedEOF) { // a copier may stop some rows early: they stay white
		return nil, damaged("PDF", err)
	}
	// 0 is black in what the picture says it is coded as, unless one of the two turns it round.
	if black != d.inverted(s) {
		invert(out)
	}
	return out, nil
}

func invert(m *image.Gray) {
	for i := range m.Pix {
		m.Pix[i] = ^m.Pix[i]
	}
}

// inverted reports whether the picture's Decode array turns black and white round.
func (d *pdf) inverted(s *types.StreamDict) bool {
	o, ok := s.Find("Decode")
	if !ok {
		return false
	}
	a, err := d.DereferenceArray(o)
	if err != nil || len(a) < 2 {
		return false
	}
	first, err := d.DereferenceNumber(a[0])
	return err == nil && first > 0
}

// samples are a picture that is not coded as such.
func (d *pdf) samples(s *types.StreamDict, w, h int) (*image.Gray, error) {
	n, palette, err := d.colours(s)
	if err != nil {
		return nil, err
	}
	bits := d.number(s, "BitsPerComponent")
	if bits == 0 {
		bits = 1 // a mask
	}
	if !slices.Contains([]int{1, 2, 4, 8}, bits) || bits != 8 && n != 1 {
		return nil, &Error{Cause: NotInFile, Format: fmt.Sprintf("%d x %d bit in PDF", n, bits)}
	}
	row := (w*n*bits + 7) / 8
	if len(s.Content) < row*h {
		return nil, damaged("PDF", io.ErrUnexpectedEOF)
	}
	out := image.NewGray(image.Rect(0, 0, w, h))
	luma := scale(bits, palette)
	for y := range h {
		from, to := s.Content[y*row:][:row], out.Pix[y*out.Stride:][:w]
		switch n {
		case 1:
			for x := range to {
				at := x * bits
				to[x] = luma[from[at/8]>>(8-bits-at%8)&(1<<bits-1)]
			}
		case 3:
			for x := range to {
				to[x] = lumaOf(from[3*x], from[3*x+1], from[3*x+2])
			}
		case 4: // subtractive
			for x := range to {
				k := 255 - int(from[4*x+3])
				part := func(i int) byte { return byte((255 - int(from[4*x+i])) * k / 255) }
				to[x] = lumaOf(part(0), part(1), part(2))
			}
		}
	}
	if palette == nil && d.inverted(s) {
		invert(out)
	}
	return out, nil
}

// lumaOf weighs as image/color does (ITU-R BT.601).
func lumaOf(r, g, b byte) byte {
	return byte((19595*uint32(r) + 38470*uint32(g) + 7471*uint32(b) + 1<<15) >> 16)
}

// scale is the luma of each value of a sample.
func scale(bits int, palette []byte) []byte {
	out := make([]byte, 1<<bits)
	for i := range out {
		out[i] = byte(i * 255 / (len(out) - 1))
		if palette != nil {
			out[i] = 255
			if i < len(palette) {
				out[i] = palette[i]
			}
		}
	}
	return out
}

// colours tells how many components a picture has, and the luma of its palette where it has one.
func (d *pdf) colours(s *types.StreamDict) (int, []byte, error) {
	o, ok := s.Find("ColorSpace")
	if !ok {
		return 1, nil, nil
	}
	n, a, err := d.space(o)
	if err != nil || a == nil {
		return n, nil, err
	}
	base, _, err := d.space(a[1])
	if err != nil {
		return 0, nil, err
	}
	table, err := d.table(a[3])
	if err != nil {
		return 0, nil, err
	}
	var luma []byte
	for ; len(table) >= base && len(luma) < 256; table = table[base:] {
		switch base {
		case 3:
			luma = append(luma, lumaOf(table[0], table[1], table[2]))
		default:
			luma = append(luma, table[0])
		}
	}
	return 1, luma, nil
}

// space tells how many components a colour space has; the array of one with a palette.
func (d *pdf) space(o types.Object) (int, types.Array, error) {
	unknown := &Error{Cause: NotInFile, Format: "colours in PDF"}
	o, err := d.Dereference(o)
	if err != nil {
		return 0, nil, damaged("PDF", err)
	}
	name := ""
	a, _ := o.(types.Array)
	switch o := o.(type) {
	case types.Name:
		name = string(o)
	case types.Array:
		if len(o) > 0 {
			first, err := d.DereferenceName(o[0], model.V10, nil)
			if err != nil {
				return 0, nil, damaged("PDF", err)
			}
			name = string(first)
		}
	}
	switch name {
	case "DeviceGray", "CalGray", "G":
		return 1, nil, nil
	case "DeviceRGB", "CalRGB", "RGB":
		return 3, nil, nil
	case "DeviceCMYK", "CMYK":
		return 4, nil, nil
	case "Indexed", "I":
		if len(a) != 4 {
			return 0, nil, unknown
		}
		return 1, a, nil
	case "ICCBased":
		if len(a) != 2 {
			return 0, nil, unknown
		}
		p, _, err := d.DereferenceStreamDict(a[1])
		if err != nil || p == nil {
			return 0, nil, unknown
		}
		if n := d.numberOf(p.Dict, "N", 0); n == 1 || n == 3 || n == 4 {
			return n, nil, nil
		}
	}
	return 0, nil, unknown
}

// table is a palette's bytes.
func (d *pdf) table(o types.Object) ([]byte, error) {
	o, err := d.Dereference(o)
	if err != nil {
		return nil, damaged("PDF", err)
	}
	switch o := o.(type) {
	case types.StreamDict:
		if err := o.DecodeWithLimit(1 << 16); err != nil {
			return nil, damaged("PDF", err)
		}
		return o.Content, nil
	case types.StringLiteral:
		b, err := types.Unescape(o.Value())
		if err != nil {
			return nil, damaged("PDF", err)
		}
		return b, nil
	case types.HexLiteral:
		b, err := o.Bytes()
		if err != nil {
			return nil, damaged("PDF", err)
		}
		return b, nil
	}
	return nil, &Error{Cause: NotInFile, Format: "colours in PDF"}
}
