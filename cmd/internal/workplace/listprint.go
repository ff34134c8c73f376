package workplace

import (
	"fmt"
	"io"
	"net/http"
	"slices"
	"strconv"

	"listbound/cmd/internal/paper"
	"listbound/cmd/internal/refusal"
	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections/words"
)

// listPDF prints a list with the photographs of its lines, for packing and for teaching. It has no boxes and no code: nothing is counted
// on it, and it is no sheet of any set. A count sheet has no room for 60 pictures.
func (d *Desk) listPDF(r *http.Request, w io.Writer, in *words.Language) error {
	all, err := d.site.Lists(r.Context(), r.FormValue("list"))
	if err != nil {
		return err
	}
	l := &all[len(all)-1]
	if text := r.FormValue("version"); text != "" {
		n, ok := plainNumber(text)
		if !ok {
			return refusal.Say(refusal.WithCode(http.StatusBadRequest, "version %q is no number", text), "version-number", text)
		}
		i := slices.IndexFunc(all, func(x site.ListVersion) bool { return x.Version == n })
		if i < 0 {
			return refusal.Say(fmt.Errorf("%w: list %s has no version %d", site.ErrNotFound, l.List, n), "no-such-version", n)
		}
		l = &all[i]
	}
	title, made := l.List+" – "+l.Title, d.site.Clock()
	footer := in.Say("workplace.pictures-footer", l.List, l.Version, in.Time(made), "%page%", "%pages%")
	cards := d.cardsOf(l, in)
	raw, err := paper.WriteDocument(title, in.Tag(), footer, made, func(doc *paper.Document) {
		doc.Mark(d.practising(in))
		doc.Title(title)
		doc.Text(in.Say("workplace.pictures-about", l.Version, in.Time(l.Issued)))
		doc.Gap()
		doc.Cards(cards)
	})
	if err == nil {
		_, err = w.Write(raw)
	}
	return err
}

func (d *Desk) cardsOf(l *site.ListVersion, in *words.Language) []paper.Card {
	var out []paper.Card
	for _, x := range l.LineRows {
		k := paper.Card{Digest: x.Photograph, Title: strconv.FormatInt(x.Line, 10) + "  " + x.Description,
			Lines: cardLines(x, in), Without: in.Say("workplace.pictures-none")}
		if x.Photograph != "" {
			raw, err := d.site.Photograph(x.Photograph)
			if k.Picture = raw; err != nil {
				k.Picture, k.Without = nil, in.Say("workplace.pictures-gone")
			}
		}
		out = append(out, k)
	}
	return out
}

// cardLines are what else a line says, as pages show it.
func cardLines(x events.Line, in *words.Language) []string {
	out := []string{strconv.FormatInt(x.Quantity, 10) + " ×  " + x.Item}
	add := func(key, s string) {
		if s != "" {
			out = append(out, in.Say("workplace."+key, s))
		}
	}
	add("line-mark", x.Mark)
	if x.Parts > 0 {
		add("line-parts", strconv.FormatInt(x.Parts, 10))
	}
	add("line-tray-place", x.TrayPlace)
	add("line-names", x.Names)
	add("line-substitutes", x.Substitutes)
	return out
}

// practising is what stands across a document where people practise, "" elsewhere.
func (d *Desk) practising(in *words.Language) string {
	if !d.opts.Practice {
		return ""
	}
	return in.Say("paper.practice")
}
