package marks

import (
	"strings"
	"testing"

	"listbound/cmd/internal/texts"
)

// Every cause says in each language what is wrong with the picture, and in English says it to a log too.
func TestRefusalsSayWhatToDo(t *testing.T) {
	languages, err := texts.Load()
	if err != nil {
		t.Fatal(err)
	}
	languages.OnError(func(err error) { t.Error(err) })
	for _, c := range []Cause{NoSheet, SymbolUnread, CornersUnseen, CutOff, Mirrored, TooCoarse, TooPale, PaleInk, SeveralSheets,
		OldLayout, OtherPrint, Bent} {
		r := &Refusal{Cause: c, Has: 1.75, Needs: 3}
		en, de := r.Say(languages.In("en")), r.Say(languages.In("de"))
		if r.Error() == "" || en == de || strings.HasPrefix(en, "paper.") {
			t.Errorf("%s: %q, %q, %q", c, r.Error(), en, de)
		}
		if c == TooCoarse && (!strings.Contains(en, "1.8") || !strings.Contains(de, "1,8")) {
			t.Errorf("%q, %q", en, de)
		}
	}
}
