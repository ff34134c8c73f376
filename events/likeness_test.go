package events_test

import (
	"testing"

	"listbound/events"
)

// TestLikeness: what is alike, and what is not. O, I and L are those of Crockford's base 32
// ("Base 32", crockford.com/base32.html, from memory: case is ignored, hyphens too, O is 0,
// I and L are 1); the Greek and Cyrillic letters those of UTS 39's confusables (from memory).
func TestLikeness(t *testing.T) {
	alike := []string{"LAP-014", "lap-014", "LAP-O14", "LAP014", "LAP_014", "lap-ol4", "LAP-0I4",
		"ＬＡＰ-014", "LΑP-014", "LАР-014", "l.a.p/014"}
	for _, id := range alike[1:] {
		if got, want := events.Likeness(id), events.Likeness(alike[0]); got != want {
			t.Errorf("%s: %s, and %s: %s", id, got, alike[0], want)
		}
	}
	seen := make(map[string]string)
	for _, id := range []string{"LAP-014", "LAP-015", "LAP-0141", "VAP-014", "LAP-14", "LÄP-014", "LAP-S14", "LAP-514", "ЛАР-014"} {
		l := events.Likeness(id)
		if other, ok := seen[l]; ok {
			t.Errorf("%s is like %s", id, other)
		}
		seen[l] = id
	}
	for _, r := range events.Likeness("a-B_c.D e\u00a0ﬁ①") {
		if r >= 'a' && r <= 'z' || r == '-' || r == ' ' {
			t.Errorf("%q stays", r)
		}
	}
}
