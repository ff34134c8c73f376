//go:build !race

package door_test

import (
	"encoding/base64"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/browsertest"
	"listbound/cmd/internal/site"
	"listbound/events"
)

// staff is a table of people as an office keeps it, in which one code looks like another.
const staff = "Personal Aufbereitung, Stand November\n\nAusweisnr.;Nachname;Vorname;Rolle;gültig bis\nB-2001;Weiß;Zoë;zeichnet auf;\n" +
	"B-2002;Özer;Deniz;leitet;31.12.2030\n"

// TestFormsInTheBrowser: what the door asks of people besides signing in, at a phone in both languages: it is not wider than the
// window, in their language, and axe finds nothing. The lead signs in, imports a register and enters it by the keyboard alone, at a
// server as it is served.
func TestFormsInTheBrowser(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	srv := httptest.NewServer(h.all)
	t.Cleanup(func() {
		srv.CloseClientConnections()
		srv.Close()
	})
	b, phone := browsertest.Start(t), browsertest.Sizes()[2]
	unknown, err := events.LabelText(events.ScanBadge, "B-7777")
	if err != nil {
		t.Fatal(err)
	}
	for _, lang := range []string{"de", "en"} {
		h.admin = h.signedIn(t, "administers")
		own, tablet := b.Profile(t).Tab(t, phone), b.Profile(t).Tab(t, phone)
		look := func(tab *browsertest.Tab, name string) {
			t.Helper()
			tab.Await(`document.readyState === "complete"`)
			if wide := browsertest.Eval[int](tab, "document.documentElement.scrollWidth - innerWidth"); wide > 0 {
				t.Errorf("%s is %d pixels wider than the window", name, wide)
			}
			if got := browsertest.Eval[string](tab, "document.documentElement.lang"); got != lang {
				t.Errorf("%s is in %q, not %q", name, got, lang)
			}
			if lang == "de" { // the longer words; what axe looks at is the same in both
				tab.Axe()
			}
			tab.Shot("form-" + name + "-" + lang)
		}
		// to presses Tab until an element has the focus.
		to := func(tab *browsertest.Tab, selector string) {
			t.Helper()
			for range 60 {
				tab.Press("\t")
				if browsertest.Eval[bool](tab, `!!document.activeElement?.matches("`+selector+`")`) {
					return
				}
			}
			t.Fatalf("no number of tabs leads to %s", selector)
		}
		own.Open(srv.URL + "/sign-in?lang=" + lang)
		to(own, "#login")
		own.Type("leads")
		to(own, "#password")
		own.Type(password + "\r")
		own.Await("location.pathname === '/' && document.readyState === 'complete'")
		own.Open(srv.URL + "/registers/people?lang=" + lang)
		look(own, "register")
		to(own, "#rf-file")
		browsertest.Eval[bool](own, `(() => { const d = new DataTransfer(); // the system's own window chooses it
			d.items.add(new File([Uint8Array.from(atob("`+base64.StdEncoding.EncodeToString([]byte(staff))+`"), c => c.charCodeAt(0))], "p.csv"));
			document.querySelector("#rf-file").files = d.files; return true; })()`)
		to(own, ".listform button.main")
		own.Press("\r")
		own.Await(`document.getElementById("rc-badge")`)
		look(own, "register-check")
		to(own, "#rc-badge")
		own.Type("B-9\r")
		own.Await(`document.querySelector(".last[role=status]")`)
		look(own, "register-done")
		if until := own.Text("table.lines"); !strings.Contains(until, "2031") || strings.Contains(until, "T00:00:00Z") {
			t.Errorf("until when is shown as %q", until)
		}

		_, text := h.admin.post(t, "/people/station-code", url.Values{"station": {"north/or-1"}})
		tablet.Open(srv.URL + "/code?for=station&lang=" + lang)
		to(tablet, "#code")
		tablet.Type(secretIn(t, text) + "\r")
		tablet.Await(`location.pathname === "/at/north/or-1/"`)
		tablet.Open(srv.URL + "/at/north/or-1/pin")
		look(tablet, "pin")
		to(tablet, "[name=badge]")
		tablet.Type("B-2001")
		to(tablet, "main button")
		tablet.Press("\r")
		tablet.Await(`document.querySelector("[name=again]")`)
		look(tablet, "pin-choose")
		tablet.Open(srv.URL + "/at/north/or-1/storage")
		tablet.Type(unknown + "\r")
		tablet.Await(`document.querySelector('[data-do="emergency"]')`)
		look(tablet, "emergency")
		if hidden := browsertest.Eval[int](tablet,
			`(() => { const v = document.querySelector("#verdict"); return v.scrollHeight - v.clientHeight })()`); hidden > 0 {
			t.Errorf("%d pixels of what an emergency means are out of sight", hidden)
		}
		h.clock.move(time.Second)
		seen := h.recordLine(t, strings.ReplaceAll(`{"station":"north/or-1","kind":"set.checked","time":"NOW","set":"LAP-001",`+
			`"data":{"place":"shelf-4"}}`, "NOW", h.clock.now().Format(time.RFC3339)))
		tablet.Open(srv.URL + "/at/north/or-1/correct?event=" + seen.ID)
		look(tablet, "correct")

		h.clock.move(11 * time.Minute)
		own.Open(srv.URL + "/people")
		look(own, "people")
		to(own, "form[action='/people/station-code'] button")
		own.Press("\r")
		own.Await(`document.querySelector("[name=password-again]")`)
		look(own, "again")
		to(own, "[name=password-again]")
		own.Type(password + "\r")
		own.Await(`document.getElementById("secret")`)
	}
	people, err := site.Answer(h.site, func(v *site.View) ([]site.RegisterRow, error) {
		return v.Register(t.Context(), events.RegisterPeople)
	})
	if err != nil || len(people) != 2 {
		t.Errorf("entered are %+v, %v", people, err)
	}
}
