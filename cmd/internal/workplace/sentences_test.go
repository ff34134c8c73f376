package workplace_test

import (
	"fmt"
	"strings"
	"testing"

	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// TestStationsSayItInThePagesLanguage: what judgement says of a wrong sheet is said
// in the language of the page, and is not marked as another one.
func TestStationsSayItInThePagesLanguage(t *testing.T) {
	h := workplacetest.NewHouse(t)
	said := map[string]string{"de": "Bei LAP-014 lag die Zählliste von LAP-022", "en": "LAP-014 was found with the count sheet of LAP-022"}
	for lang, other := range map[string]string{"de": "en", "en": "de"} {
		var a map[string]any
		for i, text := range []string{workplacetest.Label(t, events.ScanSet, "LAP-014"), workplacetest.Label(t,
			events.ScanSet, "LAP-014"), h.Codes["LAP-022"]} {
			a = h.Post("/at/north/or-3/opening/scan?lang="+lang, fmt.Sprintf(`{"client":%q,"n":%d,"text":%s}`, lang,
				i+1, workplacetest.JSONText(text)))
		}
		all := fmt.Sprint(a)
		if !strings.Contains(all, said[lang]) || strings.Contains(all, said[other]) {
			t.Errorf("%s: %s", lang, all)
		}
		if strings.Contains(all, `lang:en`) || strings.Contains(all, `lang="en"`) {
			t.Errorf("%s: marked as another language: %s", lang, all)
		}
	}
}
