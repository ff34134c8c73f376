package board_test

import (
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/site"
	"listbound/cmd/internal/sitetest"
	"listbound/events"
)

// TestBoardSaysWithoutRegisters: the board says in one line which registers the site does not hold to, and nothing of it
// once it holds to all.
func TestBoardSaysWithoutRegisters(t *testing.T) {
	s := sitetest.Open(t, site.Options{Dir: t.TempDir(), Name: "north", EnrolOnSight: true, Clock: time.Now})
	srv, err := serve(s)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(srv.Close)
	const none, some = "This site holds to no register", "Without a register here: "
	for _, x := range []struct {
		held  []events.Register
		want  string
		wants bool
	}{
		{nil, none, true}, {events.Registers()[:2], some + "Places, Stations and Sterilizers", true},
		{events.Registers(), "register", false},
		{[]events.Register{}, none, true},
	} {
		if x.held != nil {
			if err := s.HoldTo(t.Context(), x.held, "B-1", ""); err != nil {
				t.Fatal(err)
			}
		}
		body := page(t, srv.URL+"/")
		body = strings.ReplaceAll(body, `href="/registers"`, "")
		if strings.Contains(body, x.want) != x.wants {
			t.Errorf("held to %q: the board says of %q: %v", x.held, x.want, !x.wants)
		}
	}
}
