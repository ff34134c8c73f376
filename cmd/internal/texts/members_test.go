package texts_test

import (
	"strings"
	"testing"

	"listbound/events"
)

// TestMembersHaveTexts: every member that a form says anew, and every word that it offers, has its text.
func TestMembersHaveTexts(t *testing.T) {
	for _, lang := range []string{"en", "de"} {
		has, asked := catalogues(t, lang), 0
		var ask func(k events.Kind, members []events.Member)
		ask = func(k events.Kind, members []events.Member) {
			for _, m := range members {
				keys := []string{"board.member-" + strings.ReplaceAll(m.Name, ".", "-")}
				for _, w := range m.Words {
					keys = append(keys, "board.word-"+w)
				}
				for _, key := range keys {
					if asked++; has[key] == "" {
						t.Errorf("%s: no text %s, which the form of %s asks for", lang, key, k)
					}
				}
				ask(k, m.Columns)
			}
		}
		for _, k := range events.Kinds() {
			ask(k, events.Replaceable(k))
		}
		if asked == 0 {
			t.Error("no form asks for anything")
		}
	}
}
