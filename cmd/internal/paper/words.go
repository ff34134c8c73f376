package paper

import (
	"fmt"
	"reflect"
	"slices"
	"strings"
	"time"
	"unicode"

	"listbound/cmd/internal/texts"
	"listbound/events"
	catalogue "listbound/projections/words"
)

// Language chooses the words of a print, by its tag. Lists are printed as they
// were written; only the paper's own words change.
type Language string

// The languages that have always been there.
const (
	English Language = "en"
	German  Language = "de"
)

// Languages lists those that have texts.
func Languages() []Language {
	c, err := texts.Embedded()
	if err != nil {
		return []Language{English}
	}
	var out []Language
	for _, tag := range c.Languages() {
		out = append(out, Language(tag))
	}
	return out
}

// ParseLanguage reads a language tag such as "de" or "de-AT".
func ParseLanguage(s string) (Language, error) {
	primary, _, _ := strings.Cut(strings.ToLower(s), "-")
	all := Languages()
	if l := Language(primary); slices.Contains(all, l) {
		return l, nil
	}
	var names []string
	for _, l := range all {
		names = append(names, string(l))
	}
	return "", fmt.Errorf("language %q is not one the paper speaks; it is one of %s", s, strings.Join(names, ", "))
}

// words is everything a print says of its own. Each field is the text of the
// entry paper. and its name, as in paper.count-sheet.
type words struct {
	CountSheet, SetLabel, LoadLabel       string
	List, Version, Packed, By, Started    string
	Travels, Seals, NoSeals               string
	ShortCode, Code                       string
	No, Instrument, Quantity              string
	First, Added, Cavity, Closing, Final  string
	CountedBy, WitnessedBy, Time, Remarks string
	Missing, Substituted, Damaged         string
	Caution                               string
	Sheet, Sterilizer, Run, Cycle         string
	InsideBag, InsideBare, Outside        string
	Screen                                string

	in *catalogue.Language
}

const textPrefix = "paper."

// entryOf names the entry of a field: CountSheet is paper.count-sheet.
func entryOf(field string) string {
	var b strings.Builder
	for i, r := range field {
		if unicode.IsUpper(r) && i > 0 {
			b.WriteByte('-')
		}
		b.WriteRune(unicode.ToLower(r))
	}
	return textPrefix + b.String()
}

func (l Language) words() (*words, error) {
	if parsed, err := ParseLanguage(string(l)); err != nil {
		return nil, err
	} else if parsed != l {
		return nil, fmt.Errorf("language %q: read it with ParseLanguage first", l)
	}
	c, err := texts.Embedded()
	if err != nil {
		return nil, err
	}
	w := &words{in: c.In(string(l))}
	v := reflect.ValueOf(w).Elem()
	for i := range v.NumField() {
		if f := v.Type().Field(i); f.Type.Kind() == reflect.String {
			v.Field(i).SetString(w.in.Say(entryOf(f.Name)))
		}
	}
	return w, nil
}

// date writes a moment out, in the zone it was given in and with that zone's
// name: a print outlives its station.
func (w *words) date(t time.Time) string { return w.in.InZone(t.Location()).Date(textPrefix+"date", t) }

// shortDate is for labels. English months are written in letters, since 03/02
// is read as two different days.
func (w *words) shortDate(t time.Time) string {
	return w.in.InZone(t.Location()).Date(textPrefix+"short-date", t)
}

// ofQuantity stands under a number packed that the list has otherwise.
func (w *words) ofQuantity(listed int64) string { return w.in.Say(textPrefix+"of-quantity", listed) }

// packedOf says why a line was packed otherwise, and how.
func (w *words) packedOf(reason string, packed, listed int64) string {
	return w.in.Say(textPrefix+"packed-of", w.reason(reason), packed, listed)
}

// differs says how many lines were packed otherwise, and which.
func (w *words) differs(n int, lines []string) string {
	return w.in.Say(textPrefix+"differs", n, strings.Join(lines, ", "))
}

func (w *words) page(n, of int) string { return w.in.Say(textPrefix+"page", n, of) }

func (w *words) placement(p events.Placement) string {
	switch p {
	case events.InsideBag:
		return w.InsideBag
	case events.InsideBare:
		return w.InsideBare
	case events.Outside:
		return w.Outside
	case events.Screen:
		return w.Screen
	}
	return string(p)
}

// reason translates the reasons everyone uses; a site's own word stays.
func (w *words) reason(s string) string {
	switch s {
	case "missing":
		return w.Missing
	case "substituted":
		return w.Substituted
	case "damaged":
		return w.Damaged
	}
	return s
}
