package door_test

import (
	"net/http"
	"net/url"
	"strconv"
	"testing"
	"time"
)

// TestCodesAreOver: each one-time code lets in until its time has come, and no moment longer.
func TestCodesAreOver(t *testing.T) {
	form := func(pairs ...string) url.Values {
		out := url.Values{}
		for i := 0; i < len(pairs); i += 2 {
			out.Set(pairs[i], pairs[i+1])
		}
		return out
	}
	h, joined := newHouse(t), 0
	joining := func(n int) string { return "zoe" + strconv.Itoa(n) }
	person := func(code, login string) url.Values { return begin(code, login, password, password) }
	for name, test := range map[string]struct {
		good time.Duration
		make func() string
		at   string
		use  func(code string) url.Values
	}{
		"an administrator's": {time.Hour, func() string {
			code, err := h.door.AdministratorCode()
			if err != nil {
				t.Fatal(err)
			}
			return code
		}, "/code", func(code string) url.Values { return person(code, "zoe") }},
		"a person's": {72 * time.Hour, func() string {
			joined++
			_, text := h.admin.post(t, "/people/add", form("login", joining(joined), "name", "Zoe", "role", "leads"))
			return secretIn(t, text)
		}, "/code", func(code string) url.Values { return person(code, joining(joined)) }},
		"a person's for another password": {72 * time.Hour, func() string {
			_, text := h.admin.post(t, "/people/code", form("id", h.idOf(t, "leads")))
			return secretIn(t, text)
		}, "/code", func(code string) url.Values { return person(code, "leads") }},
		"a station's": {10 * time.Minute, func() string {
			_, text := h.admin.post(t, "/people/station-code", form("station", "north/or-1"))
			return secretIn(t, text)
		}, "/station-code", func(code string) url.Values { return form("code", code) }},
		"a screen's": {10 * time.Minute, func() string {
			_, text := h.signedIn(t, "leads").post(t, "/people/screen", form("name", "corridor", "days", "2"))
			return secretIn(t, text)
		}, "/screen-code", func(code string) url.Values { return form("code", code) }},
	} {
		for _, late := range []bool{true, false} {
			h.admin = h.signedIn(t, "administers")
			code := test.make()
			want := http.StatusSeeOther
			if h.clock.move(test.good - time.Second); late {
				h.clock.move(time.Second)
				want = http.StatusUnauthorized
			}
			if got, text := (&caller{h: h}).post(t, test.at, test.use(code)); got != want {
				t.Errorf("%s, late %t: %d, want %d: %s", name, late, got, want, text)
			}
		}
	}
}
