package paper

import (
	"errors"

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

// helps is what a list says of a line besides, to tell the instrument: all of it, and
// the mark alone, which tells most.
func (w wording) helps(l events.Line) (out []string) {
	var mark, rest string
	if l.Mark != "" {
		mark = w.say("paper.line-mark", l.Mark)
	}
	if l.Parts > 0 {
		rest += w.say("paper.line-parts", l.Parts)
	}
	if l.TrayPlace != "" {
		rest += w.say("paper.line-tray-place", l.TrayPlace)
	}
	if rest != "" {
		out = append(out, mark+rest)
	}
	if mark != "" {
		out = append(out, mark)
	}
	return out
}
