//go:build !race

package workplace

import (
	"fmt"
	"html"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/shell"
	"listbound/cmd/internal/site"
	"listbound/cmd/internal/sitetest"
	"listbound/events"
)

// look is the draft of a workplace that has no template of its own.
type look struct{ hand }

func (*look) wants() []want                            { return wanted(events.ScanSet, events.ScanBadge) }
func (*look) verdict(*visit) (said, error)             { return good("seen", ""), nil }
func (*look) body(*visit) (any, error)                 { return nil, nil }
func (b *look) badge(_ *visit, s string) (said, error) { b.Operator = s; return said{}, nil }
func (b *look) tag(_ *visit, s string) (said, error)   { b.Tag = s; return said{}, nil }

// TestPlainBench: a workplace without a template of its own shows who works there
// and what lies there, with the buttons to record it and to clear the bench.
func TestPlainBench(t *testing.T) {
	clock := func() time.Time { return time.Date(2026, 3, 4, 6, 0, 0, 0, time.UTC) }
	s := sitetest.Open(t, site.Options{Dir: t.TempDir(), Name: "north", Clock: clock, EnrolOnSight: true})
	if _, err := s.Enrol(t.Context(), "north/storage", "", "test"); err != nil {
		t.Fatal(err)
	}
	log := slog.New(slog.DiscardHandler)
	d, err := newDesk(shell.New(s.Name(), s.Local(), clock, log), s, Options{OtherPrefix: "-", Log: log})
	if err != nil {
		t.Fatal(err)
	}
	d.at["look"] = bench[look, *look]{
		scans: map[events.ScanKind]scanned[look]{events.ScanBadge: (*look).badge, events.ScanTag: (*look).tag},
	}
	mux := http.NewServeMux()
	if err := d.register(mux); err != nil {
		t.Fatal(err)
	}
	ask := func(method, path, body string) string {
		w := httptest.NewRecorder()
		mux.ServeHTTP(w, httptest.NewRequest(method, "/at/north/storage/look"+path, strings.NewReader(body)))
		raw, err := io.ReadAll(w.Result().Body)
		if err != nil || w.Code != http.StatusOK {
			t.Fatalf("%s %s: %d %s %v", method, path, w.Code, raw, err)
		}
		return html.UnescapeString(string(raw))
	}
	if page := ask(http.MethodGet, "", ""); strings.Contains(page, `data-do="record"`) || !strings.Contains(page, "not scanned") {
		t.Errorf("the empty bench: %s", page)
	}
	for i, scan := range []events.Scan{{Kind: events.ScanBadge, Value: "B-1182"}, {Kind: events.ScanTag, Value: "LAP-014"}} {
		text, err := events.LabelText(scan.Kind, scan.Value)
		if err != nil {
			t.Fatal(err)
		}
		ask(http.MethodPost, "/scan", fmt.Sprintf(`{"client":"c","n":%d,"text":%q}`, i+1, text))
	}
	page := ask(http.MethodGet, "", "")
	for _, want := range []string{"B-1182", "LAP-014", `data-do="record"`, `data-do="clear"`} {
		if !strings.Contains(page, want) {
			t.Errorf("the page lacks %s: %s", want, page)
		}
	}
}
