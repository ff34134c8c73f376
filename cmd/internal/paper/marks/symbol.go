package marks

import (
	"image"
	"math"

	"github.com/makiuchi-d/gozxing"
	"github.com/makiuchi-d/gozxing/qrcode"
	"github.com/makiuchi-d/gozxing/qrcode/decoder"

	"listbound/cmd/internal/paper"
	"listbound/events"
)

const (
	quietZone  = 4  // modules
	firstSize  = 33 // modules of the symbol at the head
	secondSize = 29 // of the one at the foot
)

// symbolIn reads the page's symbol where the page says that it stands. A detector needs all
// three finders; sampling where they must be needs none.
func symbolIn(g *gray, h *homography, layout paper.Geometry) (Symbol, bool) {
	for _, s := range []struct {
		at   paper.Rect
		size int
	}{{layout.Symbol, firstSize}, {layout.Second, secondSize}} {
		if out, ok := sampled(g, h, s.at, s.size, false); ok {
			return out, true
		}
		if out, ok := sampled(g, h, s.at, s.size, true); ok {
			return out, true
		}
	}
	return Symbol{}, false
}

// sampled decodes a symbol by looking at the middle of each of its modules. With shift its finders are looked
// for around their place first, since the page may be bent.
func sampled(g *gray, h *homography, at paper.Rect, size int, shift bool) (Symbol, bool) {
	m := at.W / float64(size+2*quietZone)
	origin := paper.Point{X: at.X + quietZone*m, Y: at.Y + quietZone*m}
	moved := func(x, y float64) paper.Point { return paper.Point{X: origin.X + x*m, Y: origin.Y + y*m} }
	if shift {
		moved = bentSymbol(g, h, moved, float64(size), m)
	}
	v := make([]float64, size*size)
	for j := range size {
		for i := range size {
			for _, d := range [5][2]float64{{0.5, 0.5}, {0.35, 0.35}, {0.65, 0.35}, {0.35, 0.65}, {0.65, 0.65}} {
				b, ok := g.at(h.apply(moved(float64(i)+d[0], float64(j)+d[1])))
				if !ok {
					b = 128
				}
				v[j*size+i] += b
			}
		}
	}
	return decoded(v, size)
}

// bentSymbol places modules by where the symbol's finders really are.
func bentSymbol(g *gray, h *homography, flat func(x, y float64) paper.Point, size, m float64) func(x, y float64) paper.Point {
	var d [3]paper.Point
	for i, c := range [3][2]float64{{3.5, 3.5}, {size - 3.5, 3.5}, {3.5, size - 3.5}} {
		best := math.Inf(-1)
		const reach, step = 3.0, 0.25 // millimetres
		for dy := -reach; dy <= reach; dy += step {
			for dx := -reach; dx <= reach; dx += step {
				score := -0.5 * math.Hypot(dx, dy)
				for y := -4.0; y <= 4; y++ {
					for x := -4.0; x <= 4; x++ {
						p := flat(c[0]+x, c[1]+y)
						b, _ := g.at(h.apply(paper.Point{X: p.X + dx, Y: p.Y + dy}))
						if r := max(math.Abs(x), math.Abs(y)); r == 2 || r == 4 {
							score += b / 40
						} else {
							score -= b / 49
						}
					}
				}
				if score > best {
					best, d[i] = score, paper.Point{X: dx, Y: dy}
				}
			}
		}
	}
	return func(x, y float64) paper.Point {
		p := flat(x, y)
		u, v := (x-3.5)/(size-7), (y-3.5)/(size-7)
		return paper.Point{X: p.X + d[0].X + u*(d[1].X-d[0].X) + v*(d[2].X-d[0].X),
			Y: p.Y + d[0].Y + u*(d[1].Y-d[0].Y) + v*(d[2].Y-d[0].Y)}
	}
}

// decoded reads modules by their brightness: dark is what is nearer to the darkest around than to the brightest.
func decoded(v []float64, size int) (Symbol, bool) {
	bits, err := gozxing.NewSquareBitMatrix(size)
	if err != nil {
		return Symbol{}, false
	}
	const around = 4
	for j := range size {
		for i := range size {
			lo, hi := math.Inf(1), math.Inf(-1)
			for y := max(0, j-around); y <= min(size-1, j+around); y++ {
				for x := max(0, i-around); x <= min(size-1, i+around); x++ {
					lo, hi = min(lo, v[y*size+x]), max(hi, v[y*size+x])
				}
			}
			if v[j*size+i] < (lo+hi)/2 {
				bits.Set(i, j)
			}
		}
	}
	res, err := decoder.NewDecoder().Decode(bits, nil)
	if err != nil {
		return Symbol{}, false
	}
	if meta, ok := res.GetOther().(*decoder.QRCodeDecoderMetaData); ok && meta.IsMirrored() {
		return Symbol{}, false
	}
	return symbolOf(res.GetText())
}

// symbolOf reads what a symbol says; ok is false where it is no page of a sheet.
func symbolOf(text string) (Symbol, bool) {
	p, practice, err := events.ReadSheetPage(text)
	if err != nil {
		return Symbol{}, false
	}
	return Symbol{SheetPage: p, Practice: practice, Text: text}, true
}

// detected finds a symbol anywhere in the picture, with the middles of its three finders: upper left, upper right,
// lower left.
type detected struct {
	text     string
	finders  [3][2]float64
	mirrored bool
}

func detect(g *gray) (out detected, ok bool) {
	n := max(1, max(g.w, g.h)/2200)
	small := g.shrunk(n)
	source := gozxing.NewLuminanceSourceFromImage(&image.Gray{Pix: small.pix, Stride: small.w, Rect: image.Rect(0, 0, small.w, small.h)})
	bmp, err := gozxing.NewBinaryBitmap(gozxing.NewHybridBinarizer(source))
	if err != nil {
		return out, false
	}
	res, err := qrcode.NewQRCodeReader().Decode(bmp, map[gozxing.DecodeHintType]any{gozxing.DecodeHintType_TRY_HARDER: true})
	if err != nil {
		return out, false
	}
	points := res.GetResultPoints() // lower left, upper left, upper right
	if len(points) < 3 {
		return out, false
	}
	out.text = res.GetText()
	for i, k := range [3]int{1, 2, 0} {
		out.finders[i] = [2]float64{points[k].GetX() * float64(n), points[k].GetY() * float64(n)}
	}
	a, b, c := out.finders[0], out.finders[1], out.finders[2]
	out.mirrored = (b[0]-a[0])*(c[1]-a[1])-(b[1]-a[1])*(c[0]-a[0]) < 0
	return out, true
}
