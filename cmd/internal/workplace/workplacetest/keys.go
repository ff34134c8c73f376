package workplacetest

import (
	"fmt"
	"slices"
	"time"

	"listbound/cmd/internal/browsertest"
	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/ledger/proof"
)

// Closer is who closes containers here, with the set's tag scanned.
func (h *House) Closer(set string) *Scanner {
	s := &Scanner{House: h, Path: "/at/north/packing-1/sealing"}
	s.All(Label(h.T, events.ScanBadge, "B-1"), Label(h.T, events.ScanTag, set))
	return s
}

// Packer counts a set as listed, up to its weight.
func (h *House) Packer(set string) *Scanner {
	s := &Scanner{House: h, Path: "/at/north/packing-1/packing"}
	s.All(Label(h.T, events.ScanBadge, "B-1"), Label(h.T, events.ScanTag, set), "", "", "")
	return s
}

// MakesKey makes the browser of a tab the one that signs for a station, as the page for a station's code does.
func (h *House) MakesKey(p *browsertest.Tab, station string) {
	h.T.Helper()
	p.Open(h.URL + "/at/")
	public := browsertest.Eval[string](p, `import("/workplace/sign.js").then(m => m.makeKey())`)
	key, err := site.StationKey(station, public)
	if err != nil {
		h.T.Fatal(err)
	}
	if _, err := h.Site.Enrol(h.T.Context(), station, key, "test"); err != nil {
		h.T.Fatal(err)
	}
	p.Open(h.URL + "/at/" + station + "/")
	p.Await(`document.body.dataset.signs === "here" && document.getElementById("own-key").hidden`)
}

// Ahead sets the house's clock ahead, and that of a tab's pages with it.
func (h *House) Ahead(p *browsertest.Tab, d time.Duration) {
	h.T.Helper()
	h.After(d)
	browsertest.Eval[bool](p, fmt.Sprintf(
		`(localStorage.setItem("ahead", Number(localStorage.getItem("ahead") || 0) + %d), true)`, d.Milliseconds()))
}

// SignedElsewhere holds that the records behind a size are of these kinds, in this order, and each signed by the key that its station
// was enrolled with and that the folder has not.
func (h *House) SignedElsewhere(size int64, kinds ...events.Kind) {
	h.T.Helper()
	stations, err := h.Site.Stations(h.T.Context())
	if err != nil {
		h.T.Fatal(err)
	}
	var got []events.Kind
	for seq := size + 1; seq <= h.Size(); seq++ {
		e, err := h.Site.SignedAt(seq)
		if err != nil {
			h.T.Fatal(err)
		}
		i := slices.IndexFunc(stations, func(s site.Station) bool { return s.Name == e.Station })
		if i < 0 || stations[i].Here {
			h.T.Errorf("record %d is of %s, whose key the server has", seq, e.Station)
		}
		got = append(got, e.Kind())
	}
	if !slices.Equal(got, kinds) {
		h.T.Errorf("recorded are %v, want %v", got, kinds)
	}
}

// ChainOf holds that the records behind a size are one numbering of a station, whole and without a remark, and returns how many there are.
func (h *House) ChainOf(station string, size int64) (n int64) {
	h.T.Helper()
	head := site.Head{}
	for seq := size + 1; seq <= h.Size(); seq++ {
		e, err := h.Site.SignedAt(seq)
		if err != nil {
			h.T.Fatal(err)
		}
		if e.Station == station {
			if n++; e.StationSeq != n || e.StationPrev != head.Hash {
				h.T.Fatalf("record %d is number %d of %s behind %q, want %d behind %q", seq, e.StationSeq, station,
					e.StationPrev, n, head.Hash)
			}
			head.Hash = events.NoteHash(h.NoteAt(seq))
		}
	}
	return n
}

// NoteAt is a record as its station signed it.
func (h *House) NoteAt(seq int64) []byte {
	h.T.Helper()
	raw, err := h.Site.ReadRecord(seq)
	if err != nil {
		h.T.Fatal(err)
	}
	n, _, _, err := proof.SplitArrival(h.Site.Name(), raw)
	if err != nil {
		h.T.Fatal(err)
	}
	return n
}
