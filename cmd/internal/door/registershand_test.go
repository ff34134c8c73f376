//go:build !race

package door_test

import (
	"encoding/base64"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/browsertest"
	"listbound/cmd/internal/site"
	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
	"listbound/projections/facts"
)

// hand is a person at a page. What they do takes the seconds of the keystroke-level model (Card, Moran and Newell 1980, from memory):
// a key 0.28 for somebody who is no typist, pointing 1.1, a click 0.2, from keys to mouse 0.4, making up one's mind 1.35; and silent
// reading 238 words a minute (Brysbaert 2019, from memory).
type hand struct {
	tab     *browsertest.Tab
	inputs  int
	seconds float64
}

const (
	handKey, handPoint, handClick, handMove, handMind = 0.28, 1.1, 0.2, 0.4, 1.35
	handWord                                          = 60.0 / 238
)

func (h *hand) took(seconds float64) { h.inputs++; h.seconds += seconds }

// press makes up their mind about a button and clicks it.
func (h *hand) press(js string) {
	h.took(handMind + handMove + handPoint + handClick)
	browsertest.Eval[bool](h.tab, "("+js+", true)")
}

func (h *hand) typed(selector, text string) {
	h.took(handMind + handMove + handPoint + handClick + handMove + handKey*float64(len(text)))
	h.tab.Click(selector)
	h.tab.Type(text)
}

// choose opens the system's window, finds the file there and takes it.
func (h *hand) choose(name string, raw []byte) {
	h.took(2*(handMind+handPoint+handClick) + handMind + handPoint + 2*handClick)
	browsertest.Eval[bool](h.tab, `(() => { const d = new DataTransfer();
		d.items.add(new File([Uint8Array.from(atob("`+base64.StdEncoding.EncodeToString(raw)+`"), c => c.charCodeAt(0))], "`+name+`"));
		document.querySelector("#rf-file").files = d.files; return true })()`)
}

// means opens a choice and picks what a word means.
func (h *hand) means(says, means string) {
	h.took(2 * (handMind + handPoint + handClick))
	browsertest.Eval[bool](h.tab, `(() => { const s = document.getElementsByName("word-`+says+`")[0]; s.value = "`+means+`";
		if (s.value === "") throw "no such choice"; return true })()`)
}

// compares compares ten rows of a table with the file, four words each.
func (h *hand) compares() {
	const rows, row = 10, 4 * 2 * handWord
	h.seconds += rows * row
}

// reads reads a page: all its words but those of tables and of what is folded up.
func (h *hand) reads() {
	words := browsertest.Eval[float64](h.tab, `(() => { let n = 0;
		for (const e of document.querySelectorAll("main :not(script, style, option)")) {
			if (e.closest("table, details:not([open])") || !e.checkVisibility()) continue;
			for (const t of e.childNodes) if (t.nodeType === 3) n += t.data.split(/\\s+/).filter(Boolean).length;
		} return n })()`)
	h.seconds += handWord * words
}

// TestRegistersImportedByHand: 120 badges and 500 sets from files that were not made for this program, by a person who signs in at the
// server as it is served, accounts and guards and all: by the keystroke-level model both are done in five minutes.
func TestRegistersImportedByHand(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.clock.move(time.Date(2026, 11, 27, 8, 0, 0, 0, time.UTC).Sub(h.clock.now()))
	srv := httptest.NewServer(h.all)
	t.Cleanup(func() {
		srv.CloseClientConnections()
		srv.Close()
	})
	p := browsertest.Start(t).Tab(t, browsertest.Sizes()[0])
	by := &hand{tab: p}
	read := func() { by.press(`document.querySelector(".listform").requestSubmit()`) }
	enter := func() {
		by.typed("#rc-badge", "B-1001")
		by.press(`document.querySelector("form:has([name=enter])").requestSubmit()`)
	}
	p.Open(srv.URL + "/sign-in?lang=de")
	by.typed("#login", "leads")
	by.typed("#password", password+"\r")
	p.Await("location.pathname === '/' && document.readyState === 'complete'")
	p.Open(srv.URL + "/registers")
	by.reads()
	by.press(`document.querySelector("a[href$='/registers/people']").click()`)
	p.Await(`document.querySelector("#rf-file")`)
	by.reads()
	by.choose("ausweise.csv", workplacetest.RegisterFile(t, "ausweise.csv"))
	read()
	p.AwaitText("fieldset", "Was bedeutet das?")
	p.Axe()
	by.reads()
	for says, means := range map[string]string{
		"OTA": "records", "Pflege OP": "records", "Fachkraft Aufbereitung": "records", "Ärztlicher Dienst": "records",
		"Schichtleitung Aufbereitung": "records,leads", "Hygiene": "investigates", "IT Klinik": "administers",
	} {
		by.means(says, means)
	}
	read()
	p.AwaitText("main", "Neu: 116")
	p.AwaitText("main", "weggelassen: 4")
	p.Axe()
	p.Shot("register-check")
	by.reads()
	by.compares()
	enter()
	p.AwaitText("[role=status]", "Eingetragen: 117 Aufzeichnungen")
	p.AwaitText("main", "Dieses Haus richtet sich nach diesem Register")
	p.Axe()
	by.reads()
	p.Open(srv.URL + "/registers/sets?lang=en")
	by.press("true") // the link there
	by.reads()
	by.choose("trays.xlsx", workplacetest.RegisterFile(t, "trays.xlsx"))
	read()
	p.AwaitText("main", "New: 500")
	p.AwaitText("main", "ORT-O07 looks like ORT-007")
	p.Axe()
	by.reads()
	by.compares()
	by.press(`document.querySelector("#rc-different").checked = true`)
	enter()
	p.AwaitText("[role=status]", "Entered: 501 records")
	by.reads()
	t.Logf("%d inputs, %.0f s", by.inputs, by.seconds)
	const minutes = 5
	if by.seconds > minutes*60 {
		t.Errorf("%d inputs and what is to be read take %.0f s", by.inputs, by.seconds)
	}
	importedAsTheyAre(t, h)
}

// importedAsTheyAre holds what was imported to what the files say.
func importedAsTheyAre(t *testing.T, h *house) {
	t.Helper()
	of := func(r events.Register) []site.RegisterRow {
		t.Helper()
		rows, err := site.Answer(h.site, func(v *site.View) ([]site.RegisterRow, error) { return v.Register(t.Context(), r) })
		if err != nil {
			t.Fatal(err)
		}
		return rows
	}
	people, sets := of(events.RegisterPeople), of(events.RegisterSets)
	toCome, leads, high, tagged := 0, 0, 0, 0
	for _, r := range people {
		if r.State == facts.EntryToCome {
			toCome++
		}
		if strings.ToUpper(r.ID()) != r.ID() || r.Name == "" {
			t.Errorf("%s, %s", r.ID(), r.Name)
		}
		if len(r.Entry.(*events.PersonEntered).Roles) == 2 {
			leads++
		}
	}
	for _, r := range sets {
		d := r.Entry.(*events.SetEntered)
		if strings.ToUpper(d.Set) != d.Set || strings.ContainsRune(d.Set, '\u2011') || d.List == "" || d.Home == "" || d.Owner == "" {
			t.Errorf("%+v", d)
		}
		if d.HighRisk {
			high++
		}
		if len(d.Tags) > 0 {
			tagged++
		}
	}
	if len(people) != 116 || toCome != 1 || leads != 14 || len(sets) != 500 || high != 100 || tagged != 166 {
		t.Errorf("%d people, %d to come, %d lead; %d sets, %d of high risk, %d with tags", len(people), toCome,
			leads, len(sets), high, tagged)
	}
	for seq := range h.site.Size() {
		raw, err := h.site.ReadRecord(seq + 1)
		if err != nil {
			t.Fatal(err)
		}
		if strings.Contains(string(raw), "Öztürk") || strings.Contains(string(raw), "Müßig") {
			t.Fatalf("a name is in record %d: %s", seq+1, raw)
		}
	}
}
