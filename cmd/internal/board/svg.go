package board

import (
	"fmt"
	"html"
	"html/template"
	"strings"
	"unicode/utf8"
)

// svg collects a picture. Colours and widths are attributes and classes: the
// pages allow no style in the text. Shapes differ wherever colours do, so that
// a print in black and white says the same.
type svg struct {
	b    strings.Builder
	w, h float64
}

// Inks of the pictures: Okabe and Ito's, darkened as in the shell's style.
const (
	ink   = "#14181d"
	soft  = "#3f4852"
	faint = "#8a949e"
	pale  = "#e6eaee"
	red   = "#a33b00"
	amber = "#6b4a00"
	blue  = "#00527a"
	green = "#00573d"
	white = "#ffffff"
)

func (s *svg) f(format string, args ...any) { fmt.Fprintf(&s.b, format, args...) }

func (s *svg) rect(x, y, w, h float64, fill, stroke string, more ...string) {
	s.f(`<rect x="%.1f" y="%.1f" width="%.1f" height="%.1f" fill="%s" stroke="%s"%s/>`, x, y, max(w, 0.5), h, fill,
		stroke, join(more))
}

func (s *svg) line(x1, y1, x2, y2 float64, stroke string, width float64, more ...string) {
	s.f(`<line x1="%.1f" y1="%.1f" x2="%.1f" y2="%.1f" stroke="%s" stroke-width="%.1f"%s/>`, x1, y1, x2, y2, stroke,
		width, join(more))
}

func (s *svg) path(d, fill, stroke string, width float64, more ...string) {
	s.f(`<path d="%s" fill="%s" stroke="%s" stroke-width="%.1f"%s/>`, d, fill, stroke, width, join(more))
}

func (s *svg) circle(x, y, r float64, fill, stroke string, width float64, more ...string) {
	s.f(`<circle cx="%.1f" cy="%.1f" r="%.1f" fill="%s" stroke="%s" stroke-width="%.1f"%s/>`, x, y, r, fill, stroke,
		width, join(more))
}

// text writes one line; anchor is start, middle or end.
func (s *svg) text(x, y float64, anchor string, size float64, fill, t string, more ...string) {
	if t == "" {
		return
	}
	s.f(`<text x="%.1f" y="%.1f" text-anchor="%s" font-size="%.0f" fill="%s"%s>%s</text>`, x, y, anchor, size, fill,
		join(more), html.EscapeString(t))
}

// name is hover text for what follows within the group.
func (s *svg) group(title string, draw func()) {
	s.f(`<g><title>%s</title>`, html.EscapeString(title))
	draw()
	s.b.WriteString(`</g>`)
}

func join(more []string) string {
	if len(more) == 0 {
		return ""
	}
	return " " + strings.Join(more, " ")
}

const bold = `font-weight="700"`

// picture closes the drawing: its title and its text equivalent belong to it.
func (s *svg) picture(id, title, desc string) template.HTML {
	var out strings.Builder
	fmt.Fprintf(&out,
		`<svg class="picture" viewBox="0 0 %.0f %.0f" role="img" aria-labelledby="%s-t %s-d" `+
			`xmlns="http://www.w3.org/2000/svg" font-family="system-ui, 'DejaVu Sans', sans-serif">`,
		s.w, s.h, id, id)
	fmt.Fprintf(&out, `<title id="%s-t">%s</title><desc id="%s-d">%s</desc>`, id, html.EscapeString(title), id,
		html.EscapeString(desc))
	fmt.Fprintf(&out, `<rect width="%.0f" height="%.0f" fill="%s"/>`, s.w, s.h, white)
	out.WriteString(s.b.String())
	out.WriteString(`</svg>`)
	return template.HTML(out.String())
}

// cut shortens a text to about w units at a type size.
func cut(t string, w, size float64) string {
	n := int(w / (size * 0.56))
	if utf8.RuneCountInString(t) <= n {
		return t
	}
	if n < 3 {
		return ""
	}
	return string([]rune(t)[:n-1]) + "…"
}

// sign draws a severity's shape about a point: an eight-cornered plate with a
// cross, a triangle with a stroke, a disc with a tick.
func (s *svg) sign(x, y float64, kind string) {
	switch kind {
	case "broken":
		s.path(fmt.Sprintf("M%.1f %.1fl7 0 5 5 0 7-5 5-7 0-5-5 0-7z", x-3.5, y-8.5), red, white, 1.5)
		s.path(fmt.Sprintf("M%.1f %.1fl7 7m0-7l-7 7", x-3.5, y-3.5), "none", white, 2.2)
	case "doubtful":
		s.path(fmt.Sprintf("M%.1f %.1fl10 18h-20z", x, y-10), amber, white, 1.5)
		s.path(fmt.Sprintf("M%.1f %.1fv7m0 2.5v2.4", x, y-5), "none", white, 2.2)
	case "noted":
		s.circle(x, y, 8, white, soft, 2)
		s.path(fmt.Sprintf("M%.1f %.1fv5m0-9v2", x, y), "none", soft, 2.2)
	default:
		s.circle(x, y, 8.5, green, white, 1.5)
		s.path(fmt.Sprintf("M%.1f %.1fl3 3.2 5.6-6.4", x-4.2, y+0.2), "none", white, 2.4)
	}
}
