package paper

import (
	"errors"

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
