package words

import (
	"fmt"
	"maps"
	"slices"
	"testing"
	"testing/fstest"
	"time"

	"listbound/events"
	"listbound/projections"
)

// TestTell: a verdict and a history are told in English and, by tag, in every
// other language there is.
func TestTell(t *testing.T) {
	italian, err := Load(fstest.MapFS{"it.json": {Data: []byte(`{
		"two-places/packed-again": "{{.Set}} è stato riconfezionato.",
		"event/policy.adopted": "regole di {{.Subject}} adottate"
	}`)}}, ".")
	if err != nil {
		t.Fatal(err)
	}
	j := judgement(t, italian)
	at := time.Date(2026, 3, 2, 6, 15, 0, 0, time.UTC)
	h := projections.History{
		Events: []projections.HistoryEvent{
			{Kind: "policy.adopted", Subject: "north", Data: &events.PolicyAdopted{}, Void: true, Corrected: true},
			{Kind: "set.checked", Station: "north/storage", Data: &events.SetChecked{}},
		},
		Verdicts: []projections.Verdict{{Findings: []projections.Finding{
			{Code: projections.TwoPlaces, Detail: &projections.PackedAgain{Set: "LAP-014", At: at}},
			{Code: projections.SheetMoved}, // of a way that only a later version knows
		}}},
	}
	j.TellHistory(&h)
	fs := h.Verdicts[0].Findings
	for _, x := range []struct{ got, want string }{
		{fs[0].Says, "LAP-014 was packed again on 2026-03-02 06:15 UTC without having been opened."},
		{fs[0].Next, "Usually nothing is to be done but to destroy the earlier count sheet. The facility's own policy decides."},
		{fs[0].Texts["de"].Says, "LAP-014 wurde am 02.03.2026 06:15 UTC neu gepackt, ohne geöffnet worden zu sein."},
		{fs[0].Texts["it"].Says, "LAP-014 è stato riconfezionato."},
		{fs[0].Texts["it"].Next, fs[0].Next},
		{fmt.Sprint(slices.Sorted(maps.Keys(fs[0].Texts))), fmt.Sprint(besidesEnglish(j))},
		{fs[1].Says, "count sheet in another place: this version of the program does not know how it came about."},
		{fs[1].Texts["de"].Next, "Die Regelung der Einrichtung entscheidet."},
		{h.Events[0].Says, "policy of north adopted (taken back by a correction)"},
		{h.Events[0].SaysIn["de"], "Regeln von north in Kraft gesetzt (durch eine Berichtigung zurückgenommen)"},
		{h.Events[0].SaysIn["it"], "regole di north adottate (taken back by a correction)"},
		{h.Events[1].Says, "checked at north/storage; count sheet not read"},
		{h.Events[1].SaysIn["de"], "geprüft: north/storage; Zählliste nicht gelesen"},
	} {
		if x.got != x.want {
			t.Errorf("says %q\nwant %q", x.got, x.want)
		}
	}
}

// TestToldElsewhere: what another version of the program told, and this one has
// no data of, is given as it was told.
func TestToldElsewhere(t *testing.T) {
	j := judgement(t)
	f := projections.Finding{Code: "of-a-later-version", Says: "a", Next: "b"}
	e := projections.HistoryEvent{Kind: "later", Says: "c"}
	for _, lang := range []string{"en", "de", "fr", ""} {
		if got := fmt.Sprintf("%v %s", j.Finding(lang, &f), j.HistoryLine(lang, &e)); got != "{a b} c" {
			t.Errorf("%q: %s", lang, got)
		}
	}
	f.Texts = map[string]projections.Text{"de": {Says: "d", Next: "e"}}
	e.SaysIn = map[string]string{"de": "f"}
	for lang, want := range map[string]string{"en": "{a b} c", "de": "{d e} f", "de-AT": "{d e} f"} {
		if got := fmt.Sprintf("%v %s", j.Finding(lang, &f), j.HistoryLine(lang, &e)); got != want {
			t.Errorf("%q: %s, want %s", lang, got, want)
		}
	}
}

// besidesEnglish returns the languages in which a finding is told besides the first.
func besidesEnglish(j *Judgement) []string {
	return slices.DeleteFunc(slices.Sorted(slices.Values(j.Languages())), func(l string) bool { return l == Reference })
}
