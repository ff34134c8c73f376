//go:build !race

package door_test

import (
	"context"
	"encoding/json"
	"net/http"
	"net/url"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"

	"listbound/cmd/internal/door"
)

// TestEachCell asks each route as each role, by session, by token and from a station's browser, and as nobody.
func TestEachCell(t *testing.T) {
	h := newHouse(t)
	ended := h.token(t, door.Administers, "")
	b := struct{ Tokens []struct{ ID string } }{}
	raw, err := os.ReadFile(h.dir + "/door/accounts.json")
	if err != nil || json.Unmarshal(raw, &b) != nil {
		t.Fatal(err)
	}
	h.admin.post(t, "/people/token-end", url.Values{"id": {b.Tokens[len(b.Tokens)-1].ID}})
	station, screen := h.atStation(t, "north/or-1"), h.screen(t)
	over, cancel := context.WithCancel(t.Context())
	cancel()
	cells, kept := 0, 0
	all := func() (n int) {
		for _, why := range []string{"nobody", "token", "role", "station"} {
			n += h.refused(t, why)
		}
		return n
	}
	before := all()
	for _, pattern := range h.door.Routes() {
		rule, _ := door.RuleFor(pattern)
		method, path := target(pattern)
		if strings.HasSuffix(path, "/day.zip") {
			path += "?set=none" // who may is what is asked, and all sheets of a day are 14 s of CPU
		}
		try := func(who string, c *caller, may bool, status int) {
			t.Helper()
			cells++
			ctx := t.Context()
			if strings.HasSuffix(pattern, "/changes") {
				ctx = over // a stream has no end
			}
			size := len(h.log.String())
			w := c.ask(t, ctx, method, path, "", "")
			line := h.log.String()[size:]
			if !may {
				kept++
			}
			refused := regexp.MustCompile(`"why":"(nobody|token|role|station)"`).MatchString(line)
			switch {
			case may && (refused || !rule.Open && (w.Code == http.StatusUnauthorized || w.Code == http.StatusForbidden)):
				t.Errorf("%s is kept from %s: %d %s%s", who, pattern, w.Code, w.Body, line)
			case !may && (w.Code != status || !refused):
				t.Errorf("%s, who may not %s, is answered %d, want %d, and logged: %s", who, pattern, w.Code, status, line)
			}
		}
		try("nobody", &caller{h: h}, rule.Open, http.StatusUnauthorized)
		if !rule.Open {
			try("an ended token", &caller{h: h, token: ended}, false, http.StatusUnauthorized)
			try("a made-up session", &caller{h: h, cookies: []*http.Cookie{{Name: "session", Value: "x"}}}, false, http.StatusUnauthorized)
		}
		try("a wall screen", screen, rule.Open || rule.Screen, http.StatusForbidden)
		for _, role := range door.Roles() {
			may := rule.Open || slices.Contains(rule.Roles, role)
			program := may && (rule.Open || !rule.Person)
			try("a program that "+string(role), &caller{h: h, token: h.tokens[role]}, program, http.StatusForbidden)
			if role != door.Records {
				try("a person who "+string(role), h.signedIn(t, string(role)), may, http.StatusForbidden)
				continue
			}
			try("a station", &caller{h: h, cookies: station.cookies}, may, http.StatusForbidden)
			if rule.Own {
				other := &caller{h: h, token: h.token(t, door.Records, "north/packing-1")}
				try("another station", other, false, http.StatusForbidden)
				try("a program for all stations", &caller{h: h, token: h.token(t, door.Records, "*")}, true, 0)
			}
		}
	}
	if n := all() - before; n != kept {
		t.Errorf("%d were not let in, %d are counted", kept, n)
	}
	if cells < 1000 {
		t.Errorf("%d cells were tried", cells)
	}
}
