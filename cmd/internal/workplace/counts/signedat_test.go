//go:build !race

package counts_test

import (
	"crypto/rand"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"strings"
	"testing"
	"time"

	"golang.org/x/mod/sumdb/note"

	"listbound/cmd/internal/site"
	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// ownKey is a station as its browser is one: what an input comes to is signed, and the input sent again a moment later.
type ownKey struct {
	h      *workplacetest.House
	name   string
	key    string
	signer note.Signer
	head   site.Head
	n      int
}

func newOwnKey(h *workplacetest.House, name string) *ownKey {
	h.T.Helper()
	private, public, err := note.GenerateKey(rand.Reader, name)
	if err != nil {
		h.T.Fatal(err)
	}
	signer, err := note.NewSigner(private)
	if err != nil {
		h.T.Fatal(err)
	}
	if _, err := h.Site.Enrol(h.T.Context(), name, public, "signs for itself"); err != nil {
		h.T.Fatal(err)
	}
	return &ownKey{h: h, name: name, key: site.KeyID(public), signer: signer}
}

func (o *ownKey) send(path, body string) (a map[string]any) {
	o.h.T.Helper()
	r, err := http.NewRequestWithContext(o.h.T.Context(), http.MethodPost, o.h.URL+"/at/"+o.name+"/"+path, strings.NewReader(body))
	if err != nil {
		o.h.T.Fatal(err)
	}
	r.Header.Set("Station-Key", o.key)
	r.Header.Set("Content-Type", "application/json")
	res, err := http.DefaultClient.Do(r)
	if err != nil {
		o.h.T.Fatal(err)
	}
	defer res.Body.Close()
	raw, err := io.ReadAll(res.Body)
	if err == nil {
		err = json.Unmarshal(raw, &a)
	}
	if err != nil {
		o.h.T.Fatalf("%v: %.300s", err, raw)
	}
	return a
}

// input sends an input, signs what it comes to, and sends it again.
func (o *ownKey) input(path, rest string) map[string]any {
	o.h.T.Helper()
	o.n++
	o.h.After(3 * time.Second)
	body := fmt.Sprintf(`{"client":"o","n":%d,%s`, o.n, rest)
	a := o.send(path, body+"}")
	if a["sign"] == nil {
		return a
	}
	raw, err := json.Marshal(a["sign"])
	var asked []site.Unsigned
	if err == nil {
		err = json.Unmarshal(raw, &asked)
	}
	if err != nil {
		o.h.T.Fatal(err)
	}
	var signed []site.SignedRecord
	for _, u := range asked {
		e, err := events.Decode(u.Event)
		if err != nil {
			o.h.T.Fatal(err)
		}
		e.StationSeq, e.StationPrev = o.head.Number+1, o.head.Hash
		n, err := events.Sign(e, o.signer)
		if err != nil {
			o.h.T.Fatal(err)
		}
		o.head = site.Head{Number: e.StationSeq, Hash: events.NoteHash(n)}
		signed = append(signed, site.SignedRecord{Signed: string(n), Addenda: u.Addenda})
	}
	if raw, err = json.Marshal(signed); err != nil {
		o.h.T.Fatal(err)
	}
	o.h.After(7 * time.Millisecond) // no browser signs in none
	return o.send(path, body+`,"signed":`+string(raw)+"}")
}

// TestSignedAMomentLater: what is said of now fits what the station has signed of it a moment before: an emergency badge, and a
// signed count that is taken back.
func TestSignedAMomentLater(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	o := newOwnKey(h, "north/or-9")
	h.Open("VAS-003", "K-1")
	h.Signs("K-1", "VAS-003", events.StageFirst)
	h.HoldTo(events.RegisterPeople)

	o.input("storage/scan", fmt.Sprintf(`"text":%q`, workplacetest.Label(t, events.ScanBadge, "B-9999")))
	before := h.Size()
	a := o.input("storage/do", `"action":"emergency","fields":{"value":"new-here B-9999"}`)
	if h.Size() != before+1 {
		t.Fatalf("%d records of an emergency: %v", h.Size()-before, a)
	}
	e, err := h.Site.EventAt(h.Size())
	if err != nil || e.Kind() != events.KindAccessClaimed || e.Station != o.name || e.Operator != "B-9999" {
		t.Errorf("%+v, %v", e, err)
	}
}
