//go:build !race

package main

import (
	"bytes"
	"encoding/base64"
	"fmt"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/browsertest"
	"listbound/cmd/internal/site"
	"listbound/cmd/internal/sitetest"
)

const observations = `{"station":"north/packing-1","kind":"list.issued","time":"2026-03-02T05:00:00Z","data":{"list":"LAP","version":1,"title":"Laparotomy","lines":[{"line":1,"item":"FCP-125","description":"Forceps","quantity":6}]}}
{"station":"north/packing-1","kind":"set.packed","time":"2026-03-02T06:10:00Z","set":"LAP-001","data":{"list":"LAP","version":1}}
`

// TestPage: the page, opened from the disk in a real browser, checks what is dropped on it: a bundle without the ledger's
// key, with it, and one that was changed.
func TestPage(t *testing.T) {
	at := time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)
	s := sitetest.Open(t, site.Options{Dir: t.TempDir(), Name: "north", Clock: func() time.Time { return at }, EnrolOnSight: true})
	if err := s.Record(t.Context(), strings.NewReader(observations), func(site.Receipt) error { return nil }); err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := s.Evidence(t.Context(), site.Query{Set: "LAP-001"}, &b); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "check.html")
	if err := write(t.Context(), path); err != nil {
		t.Fatal(err)
	}
	tab := browsertest.Start(t).Tab(t, browsertest.Sizes()[0])
	tab.Open("file://" + path)
	tab.AwaitText("#state", "Ready")
	drop := func(raw []byte) {
		browsertest.Eval[bool](tab, fmt.Sprintf(`(() => {
			const bytes = Uint8Array.from(atob(%q), c => c.charCodeAt(0));
			const files = new DataTransfer();
			files.items.add(new File([bytes], "e.zip"));
			document.getElementById("result").textContent = "";
			document.getElementById("drop").dispatchEvent(new DragEvent("drop", {dataTransfer: files, bubbles: true, cancelable: true}));
			return true;
		})()`, base64.StdEncoding.EncodeToString(raw)))
	}
	drop(b.Bytes())
	tab.AwaitText("#result", "WHOSE LEDGER THIS IS, ISN'T KNOWN")
	tab.AwaitText("#result", "LAP-001")
	browsertest.Eval[bool](tab, fmt.Sprintf(`(() => {
		const key = document.getElementById("key");
		key.value = %q;
		key.dispatchEvent(new Event("change"));
		return true;
	})()`, s.Key()))
	tab.AwaitText("#result", "nothing is left out")
	if said := tab.Text("#result"); strings.Contains(said, "ISN'T KNOWN") || !strings.HasPrefix(said, "ok: ") {
		t.Errorf("with the key the page says %q", said)
	}
	tab.Axe()
	changed := bytes.Clone(b.Bytes())
	changed[len(changed)/2] ^= 1
	drop(changed)
	tab.AwaitText("#result", "NOT OK")
}
