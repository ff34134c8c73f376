//go:build !race

package board_test

import (
	"strings"
	"testing"
)

// TestNearMissPage: the page has each thing that was put right before use, in both
// languages, and the board leads to it.
func TestNearMissPage(t *testing.T) {
	srv, s := weekServer(t)
	vs, err := s.NearMisses(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	want := 0
	for _, v := range vs {
		want += len(v.Findings)
	}
	header, found := rows(t, srv.URL+"/near-misses?format=csv&table=near-misses")
	if len(found) != want || want == 0 {
		t.Fatalf("%d rows under %q, want %d", len(found), header, want)
	}
	if !strings.Contains(page(t, srv.URL+"/"), `href="/near-misses"`) {
		t.Error("no way leads from the board to the near misses")
	}
	for lang, says := range map[string]string{"en": "Put right before use", "de": "Vor dem Gebrauch berichtigt"} {
		body := page(t, srv.URL+"/near-misses?lang="+lang)
		if !strings.Contains(body, says) || !strings.Contains(body, vs[0].Set) {
			t.Errorf("%s: the page lacks %q or %s", lang, says, vs[0].Set)
		}
	}
}
