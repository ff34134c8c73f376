//go:build !race

package door_test

import (
	"net/http"
	"net/url"
	"strings"
	"testing"

	"listbound/cmd/internal/door"
	"listbound/cmd/internal/sitetest"
)

// TestSecretsAreNowhere lets everything happen and searches the log, the answers to others and every byte of the data folder for
// passwords, codes, tokens and cookies.
func TestSecretsAreNowhere(t *testing.T) {
	h := newHouse(t)
	secrets := map[string]string{"password": password, "wrong password": "wrong-Passwort-4711"}
	for role, token := range h.tokens {
		secrets["token of "+string(role)] = token
	}
	code, err := h.door.AdministratorCode()
	if err != nil {
		t.Fatal(err)
	}
	secrets["code"], secrets["code without hyphens"] = code, strings.ReplaceAll(code, "-", "")
	leads := h.signedIn(t, "leads")
	secrets["session"] = leads.cookies[0].Value
	tablet := h.atStation(t, "north/or-1")
	secrets["station"] = tablet.cookies[0].Value
	(&caller{h: h}).post(t, "/sign-in", url.Values{"login": {"leads"}, "password": {"wrong-Passwort-4711"}})
	(&caller{h: h}).post(t, "/sign-in", url.Values{"login": {"wrong-Passwort-4711"}, "password": {"x"}}) // in the wrong field
	(&caller{h: h, token: "wrong-Passwort-4711"}).get(t, "/api/broken")
	(&caller{h: h, cookies: []*http.Cookie{{Name: "session", Value: "wrong-Passwort-4711"}}}).get(t, "/history")
	(&caller{h: h}).post(t, "/code", begin("wrong-Passwort-4711", "x", password, password))
	for _, pattern := range h.door.Routes() {
		method, path := target(pattern)
		if !strings.HasSuffix(path, "/changes") {
			(&caller{h: h, token: h.tokens[door.Records]}).ask(t, t.Context(), method, path, "", "")
			(&caller{h: h, cookies: tablet.cookies}).ask(t, t.Context(), method, path, "", "")
			if path != "/sign-out" {
				(&caller{h: h, cookies: leads.cookies}).ask(t, t.Context(), method, path, "", "")
			}
		}
	}
	places := map[string]string{"the log": h.log.String()}
	_, places["/metrics"] = (&caller{h: h, token: h.tokens[door.Audits]}).get(t, "/metrics")
	_, places["/readers"] = h.signedIn(t, "audits").get(t, "/readers")
	_, places["/people"] = h.admin.get(t, "/people")
	if len(places["the log"]) < 1000 || !strings.Contains(places["/people"], "Name of leads") {
		t.Fatal("nothing is searched")
	}
	sitetest.EachFile(t, h.dir, func(rel string, raw []byte) { places[rel] = string(raw) })
	for place, text := range places {
		for name, secret := range secrets {
			if strings.Contains(text, secret) {
				t.Errorf("%s stands in %s", name, place)
			}
		}
	}
	// The names of people are in the accounts alone, not in the log and not in the ledger.
	for place, text := range places {
		if strings.Contains(text, "Name of ") && !strings.HasSuffix(place, "accounts.json") && place != "/people" && place != "/readers" {
			t.Errorf("the name of a person stands in %s", place)
		}
	}
}
