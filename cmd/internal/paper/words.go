package paper

import (
	"cmp"
	"errors"
	"slices"

	"listbound/events"
	"listbound/projections/words"
)

// wording is what a print says of its own. Lists are printed as they were
// written.
type wording struct{ in *words.Language }

// wordingOf takes a language for a print. Times are printed in the zone they were
// given in and with that zone's name: a print outlives its station.
func wordingOf(lang *words.Language) (wording, error) {
	if lang == nil {
		return wording{}, errors.New("a print needs a language")
	}
	return wording{lang.InZone(nil)}, nil
}

// say returns a text, in English where the fonts lack its script.
func (w wording) say(key string, args ...any) string {
	if s := w.in.Say(key, args...); len(Missing(s)) == 0 {
		return s
	}
	return w.in.English().Say(key, args...)
}

// helps is what a list says of a line besides, to tell the instrument: all of it, or as much as there may be room for, in the end
// of how many parts it is, since they are counted, or its mark.
func (w wording) helps(l events.Line) (out []string) {
	var mark, parts, place string
	if l.Mark != "" {
		mark = w.say("paper.line-mark", l.Mark)
	}
	if l.Parts > 0 {
		parts = w.say("paper.line-parts", l.Parts)
	}
	if l.TrayPlace != "" {
		place = w.say("paper.line-tray-place", l.TrayPlace)
	}
	for _, help := range []string{mark + parts + place, mark + parts, cmp.Or(parts, mark)} {
		if help != "" && !slices.Contains(out, help) {
			out = append(out, help)
		}
	}
	return out
}
