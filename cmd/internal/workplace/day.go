package workplace

import (
	"archive/zip"
	"bytes"
	"cmp"
	"context"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"listbound/cmd/internal/paper"
	"listbound/cmd/internal/refusal"
	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections"
	"listbound/projections/words"
)

// Day is what is printed at night, so that a day can be worked through on paper should the server be away.
type Day struct {
	Size     paper.Size
	Label    paper.LabelSize
	Blank    int      // forms for what nobody planned
	Sets     []string // of these alone, and not of all that are ready
	Practice bool
}

// PrintDay writes an archive: the count sheet and the label of each set that is closed and not yet counted to its end, forms
// without a list, and a list of what is in it and which sets have no count sheet.
func PrintDay(ctx context.Context, s *site.Site, d Day, lang *words.Language, w io.Writer) error {
	line, err := s.CheckLine(ctx)
	if err != nil {
		return err
	}
	keys, without, err := readySets(ctx, s, d.Sets)
	if err != nil {
		return err
	}
	z := zip.NewWriter(w)
	var contents strings.Builder
	fmt.Fprintf(&contents, "%s\n\n", lang.Say("workplace.day-contents", s.Name(), len(keys)))
	for _, k := range keys {
		sheet, err := sheetOf(ctx, s, k.Set, k.Trip)
		if err == nil {
			sheet.CheckLine, sheet.Practice = line.Printed(), d.Practice
			err = addSet(ctx, z, s, &sheet, d, lang)
		}
		if refusal.Is(err) { // the others are printed all the same
			without = append(without, k.Set+": "+whyUnread(lang, err))
			continue
		}
		if err != nil {
			return err
		}
		fmt.Fprintf(&contents, "%s  %s  %s\n", k.Set, sheet.Code.Short(), sheet.Title)
	}
	if d.Blank > 0 {
		err := addFile(z, "forms.pdf", func(w io.Writer) error {
			return refusal.Because(paper.WriteBlankForms(w, d.Blank, d.Size, d.Practice, lang))
		})
		if err != nil {
			return err
		}
	}
	if len(without) > 0 {
		fmt.Fprintf(&contents, "\n%s\n%s\n", lang.Say("workplace.day-without"), strings.Join(without, "\n"))
	}
	err = addFile(z, "contents.txt", func(w io.Writer) error {
		_, err := io.WriteString(w, contents.String())
		return err
	})
	return cmp.Or(err, z.Close())
}

// readySets are the turns whose sets are closed and not yet counted to their end; without are those that a person named and
// that are not.
func readySets(ctx context.Context, s *site.Site, named []string) (keys []projections.TripKey, without []string, err error) {
	err = s.Ask(func(m *site.View) error {
		all, err := m.TurnsNow(ctx, s.Clock())
		if err != nil {
			return err
		}
		w := m.World(ctx)
		found := make(map[string]bool)
		for _, k := range all {
			if len(named) > 0 && !slices.Contains(named, k.Set) {
				continue
			}
			c := w.Trip(k)
			sealed, closed := false, false
			for _, it := range c.Sealed {
				sealed = sealed || !it.Void
			}
			for _, it := range c.Opened {
				if it.Void {
					continue
				}
				st, err := w.CaseStanding(events.CaseOf(it.Data))
				if err != nil {
					return err
				}
				closed = closed || st.Closed
			}
			if sealed && !closed {
				keys = append(keys, k)
				found[k.Set] = true
			}
		}
		for _, set := range named {
			if !found[set] {
				without = append(without, set)
			}
		}
		return w.Failed()
	})
	return keys, without, err
}

// addSet adds a set's count sheet and label.
func addSet(ctx context.Context, z *zip.Writer, s *site.Site, sheet *paper.Sheet, d Day, lang *words.Language) error {
	label := paper.SetLabel{Set: sheet.Set, Title: sheet.Title, List: sheet.List, Version: sheet.Version, Packed: sheet.Packed,
		Short: sheet.Code.Short(), Practice: d.Practice}
	var err error
	if label.Badge, label.Load, err = packerAndLoad(ctx, s, sheet.Set, sheet.Trip); err != nil {
		return err
	}
	name := strings.ReplaceAll(url.PathEscape(sheet.Set), ".", "%2E")
	err = addFile(z, "sheets/"+name+".pdf", func(w io.Writer) error {
		return refusal.Because(paper.WriteSheet(w, *sheet, d.Size, lang))
	})
	if err != nil {
		return err
	}
	return addFile(z, "labels/"+name+".pdf", func(w io.Writer) error {
		return refusal.Because(paper.WriteSetLabel(w, label, d.Label, lang))
	})
}

// addFile adds a file once it is whole.
func addFile(z *zip.Writer, name string, write func(io.Writer) error) error {
	var out bytes.Buffer
	if err := write(&out); err != nil {
		return err
	}
	f, err := z.Create(name)
	if err == nil {
		_, err = f.Write(out.Bytes())
	}
	return err
}

// printDay answers with the archive of a day.
func (d *Desk) printDay(w http.ResponseWriter, r *http.Request) {
	day := Day{Label: labelSize(r), Practice: d.opts.Practice, Sets: r.Form["set"]}
	var err error
	if s := r.FormValue("size"); s != "" {
		if day.Size, err = paper.ParseSize(s); err != nil {
			d.sh.FailText(w, r, refusal.Say(refusal.Because(err), "paper-size", s))
			return
		}
	}
	if s := r.FormValue("blank"); s != "" {
		if day.Blank, err = strconv.Atoi(s); err != nil || day.Blank < 0 || day.Blank > mostLabels {
			d.sh.FailText(w, r, refusal.New("blank is a number of forms from 0 to %d, not %q", mostLabels, s))
			return
		}
	}
	var out bytes.Buffer
	if err = d.sh.CheckLanguage(r); err == nil {
		err = PrintDay(r.Context(), d.site, day, d.sh.Words(r).Language(), &out)
	}
	if err != nil {
		d.sh.FailText(w, r, err)
		return
	}
	w.Header().Set("Content-Type", "application/zip")
	w.Write(out.Bytes()) // a client that has gone away needs no answer
}
