//go:build !race

package door

import (
	"net/http"
	"net/http/httptest"
	"testing"
	"time"
)

// TestPasswordChangedMeanwhile: who signed in with the old password just while it was changed is not in.
func TestPasswordChangedMeanwhile(t *testing.T) {
	now := time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)
	d, err := Open(Options{Dir: t.TempDir(), Clock: func() time.Time { return now }, Cost: Cost{1, 8, 1}})
	if err != nil {
		t.Fatal(err)
	}
	anna := Person{ID: "a", Login: "anna", Password: "x", Since: now}
	if err := d.books.change(func(b *book) error { b.People = append(b.People, anna); return nil }); err != nil {
		t.Fatal(err)
	}
	in := func(p Person) bool {
		r := httptest.NewRequestWithContext(t.Context(), http.MethodGet, "/", nil)
		r.AddCookie(&http.Cookie{Name: "session", Value: d.sessions.begin(&p, "", now)})
		return d.visitorOf(r).person != nil
	}
	if !in(anna) {
		t.Fatal("not even with the password of now")
	}
	before := anna
	before.Since = now.Add(-time.Hour)
	if in(before) {
		t.Error("in by a password that was replaced")
	}
}
