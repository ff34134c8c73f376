package workplacetest

import (
	"bytes"
	"fmt"
	"io"
	"mime/multipart"
	"net/http"
	"os"
	"path/filepath"
	"testing"
	"time"

	"listbound/cmd/internal/browsertest"
	"listbound/cmd/internal/site"
	"listbound/events"
)

// PostList sends the form of a list and returns the page that answers.
func (h *House) PostList(fields map[string]string) string {
	h.T.Helper()
	var body bytes.Buffer
	w := multipart.NewWriter(&body)
	for k, v := range fields {
		if err := w.WriteField(k, v); err != nil {
			h.T.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		h.T.Fatal(err)
	}
	res, err := http.Post(h.URL+"/lists", w.FormDataContentType(), &body)
	if err != nil {
		h.T.Fatal(err)
	}
	defer res.Body.Close()
	raw, err := io.ReadAll(res.Body)
	if err != nil {
		h.T.Fatal(err)
	}
	return string(raw)
}

// HoldTo enters who and what a house has in its registers, and holds to them.
func (h *House) HoldTo(rs ...events.Register) {
	h.T.Helper()
	h.After(time.Minute)
	enter := func(r events.Register, of ...events.Entry) {
		h.T.Helper()
		if _, err := h.Site.Enter(h.T.Context(), site.Entering{Register: r, Entries: of, Operator: "B-1182"}); err != nil {
			h.T.Fatal(err)
		}
	}
	records := []events.Role{events.RoleRecords}
	enter(events.RegisterPeople,
		&events.PersonEntered{Badge: "B-1182", Roles: records}, &events.PersonEntered{Badge: "B-3322", Roles: records},
		&events.PersonEntered{Badge: "B-7", Roles: []events.Role{events.RoleAudits}},
		&events.PersonEntered{Badge: "B-3310", Roles: records}, &events.PersonEntered{Badge: "7788990", Roles: records})
	enter(events.RegisterPeople, &events.PersonEntered{Badge: "B-1000", Held: events.Held{Ended: true}})
	enter(events.RegisterSets, &events.SetEntered{Set: "VAS-003", Tags: []string{"70003"}}, &events.SetEntered{Set: "LAP-014"})
	enter(events.RegisterStations,
		&events.StationEntered{Name: "north/packing-1", Works: []events.Work{events.WorkPacking}},
		&events.StationEntered{Name: "north/or-3", Works: []events.Work{events.WorkRoom}},
		&events.StationEntered{Name: "north/sterilizer-1", Works: []events.Work{events.WorkSterilizer}, Sterilizers: []string{"S1"}})
	enter(events.RegisterSterilizers, &events.SterilizerEntered{Sterilizer: "S1", Cycles: []string{"dynamic-air-132"}},
		&events.SterilizerEntered{Sterilizer: "S2", Cycles: []string{"gravity-121"}})
	if err := h.Site.HoldTo(h.T.Context(), rs, "B-1182", ""); err != nil {
		h.T.Fatal(err)
	}
	h.After(time.Minute)
}

// Sends returns what sends what a page of a place sends, without a browser.
func (h *House) Sends(station, place string) func(verb, rest string) map[string]any {
	n := 0
	return func(verb, rest string) map[string]any {
		h.T.Helper()
		n++
		h.After(3 * time.Second)
		return h.Post("/at/north/"+station+"/"+place+"/"+verb, fmt.Sprintf(`{"client":"t","n":%d,%s}`, n, rest))
	}
}

// RegisterFile is a table of another program's, invented.
func RegisterFile(t testing.TB, name string) []byte {
	t.Helper()
	raw, err := os.ReadFile(filepath.Join(browsertest.Root(t), "testdata", "registers", name))
	if err != nil {
		t.Fatal(err)
	}
	return raw
}
