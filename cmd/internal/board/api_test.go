//go:build !race

package board_test

import (
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"testing"
)

// openAPI is as much of OpenAPI 3.1 as the description uses.
type openAPI struct {
	OpenAPI string                     `json:"openapi"`
	Paths   map[string]map[string]oper `json:"paths"`
	Parts   struct {
		Schemas map[string]any `json:"schemas"`
	} `json:"components"`
}

type oper struct {
	ID         string `json:"operationId"`
	Summary    string `json:"summary"`
	Parameters []struct {
		Name        string `json:"name"`
		In          string `json:"in"`
		Description string `json:"description"`
		Example     any    `json:"example"`
	} `json:"parameters"`
	Responses map[string]struct {
		Content map[string]any `json:"content"`
	} `json:"responses"`
}

func description(t *testing.T, base string) *openAPI {
	t.Helper()
	var d openAPI
	if err := json.Unmarshal([]byte(page(t, base+"/api/openapi.json")), &d); err != nil {
		t.Fatal(err)
	}
	if !strings.HasPrefix(d.OpenAPI, "3.1") || len(d.Paths) < 12 || len(d.Parts.Schemas) < 10 {
		t.Fatalf("OpenAPI %s with %d paths and %d schemas", d.OpenAPI, len(d.Paths), len(d.Parts.Schemas))
	}
	return &d
}

// TestDescriptionNamesEveryParameter: what the server reads is described, and a
// filter that is described filters.
func TestDescriptionFilters(t *testing.T) {
	srv, _ := weekServer(t)
	d := description(t, srv.URL)
	total := func(q string) int {
		var p struct {
			Total int               `json:"total"`
			Rows  []json.RawMessage `json:"rows"`
		}
		if err := json.Unmarshal([]byte(page(t, srv.URL+"/api/board?limit=1000&"+q)), &p); err != nil {
			t.Fatal(err)
		}
		if p.Total != len(p.Rows) {
			t.Errorf("%s: %d rows, total %d", q, len(p.Rows), p.Total)
		}
		return p.Total
	}
	all := total("")
	if all < 40 {
		t.Fatalf("the week's board has %d rows", all)
	}
	values := map[string]string{"code": "sheet-swapped", "list": "MIN-BASIC", "placement": "outside",
		"station": "north/or-1", "site": "south", "age": "24h", "unseen": "1", "closed": "1",
		"as-of": "2026-03-05T08:05:00Z"}
	for _, p := range d.Paths["/api/board"]["get"].Parameters {
		if p.Name == "after" || p.Name == "limit" {
			continue
		}
		if n := total(p.Name + "=" + url.QueryEscape(values[p.Name])); n >= all {
			t.Errorf("%s=%s leaves %d of %d rows", p.Name, values[p.Name], n, all)
		}
	}
	if n := total("site=north"); n != all {
		t.Errorf("at the one site there are %d of %d rows", n, all)
	}
}

// TestEventsPaging reads all events page by page, in two sizes, with nothing
// twice or left out, and as a bare CloudEvents batch.
func TestEventsPaging(t *testing.T) {
	srv, s := weekServer(t)
	read := func(first string) (seqs []int64) {
		for at := first; at != ""; {
			var p struct {
				Size   int64 `json:"size"`
				Events []struct {
					Seq   int64 `json:"seq"`
					Event struct {
						ID string `json:"id"`
					} `json:"event"`
				} `json:"events"`
				Next string `json:"next"`
			}
			if err := json.Unmarshal([]byte(page(t, srv.URL+at)), &p); err != nil {
				t.Fatal(err)
			}
			for _, e := range p.Events {
				if e.Event.ID == "" {
					t.Fatalf("record %d has no id", e.Seq)
				}
				seqs = append(seqs, e.Seq)
			}
			at = p.Next
		}
		return seqs
	}
	for _, first := range []string{"/api/events?limit=1000", "/api/events?limit=333"} {
		seqs := read(first)
		if int64(len(seqs)) != s.Size() {
			t.Fatalf("%s: %d events of %d", first, len(seqs), s.Size())
		}
		for i, seq := range seqs {
			if seq != int64(i+1) {
				t.Fatalf("%s: event %d stands in place %d", first, seq, i+1)
			}
		}
	}
	req, err := http.NewRequestWithContext(t.Context(), http.MethodGet, srv.URL+"/api/events?limit=7", nil)
	if err != nil {
		t.Fatal(err)
	}
	req.Header.Set("Accept", "application/cloudevents-batch+json")
	res, err := http.DefaultClient.Do(req)
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	var batch []map[string]any
	if err := json.NewDecoder(res.Body).Decode(&batch); err != nil {
		t.Fatal(err)
	}
	if len(batch) != 7 || res.Header.Get("Link") != `</api/events?after=7&limit=7>; rel="next"` {
		t.Fatalf("a batch of %d, Link %q", len(batch), res.Header.Get("Link"))
	}
	for _, e := range batch {
		for _, need := range []string{"specversion", "id", "source", "type"} { // CloudEvents 1.0, required attributes
			if s, _ := e[need].(string); s == "" {
				t.Errorf("%v lacks %s", e["id"], need)
			}
		}
	}
}

func TestMetricsAndHealth(t *testing.T) {
	srv, s := weekServer(t)
	body := page(t, srv.URL+"/metrics")
	for _, want := range []string{fmt.Sprintf("listbound_ledger_records %d", s.Size()),
		fmt.Sprintf("listbound_readmodel_position %d", s.Size()),
		`listbound_trips{status="broken"} 32`, `listbound_findings{code="sheet-swapped"} 6`, "listbound_ledger_problems 0",
		"listbound_check_problems 0", "listbound_check_timestamp_seconds 0"} {
		if !strings.Contains(body, want+"\n") {
			t.Errorf("the metrics lack %q", want)
		}
	}
	if page(t, srv.URL+"/healthz") != "alive\n" || page(t, srv.URL+"/readyz") != "ready\n" {
		t.Error("not alive and ready")
	}
	closed, err := playWeekHead(t)
	if err != nil {
		t.Fatal(err)
	}
	h, err := serve(closed)
	if err != nil {
		t.Fatal(err)
	}
	defer h.Close()
	if err := closed.Close(); err != nil {
		t.Fatal(err)
	}
	if code, _, _ := get(t, h.URL+"/readyz"); code != http.StatusServiceUnavailable {
		t.Errorf("a closed folder is ready: %d", code)
	}
	if code, _, _ := get(t, h.URL+"/metrics"); code == http.StatusOK {
		t.Error("a closed folder has metrics of its trips")
	}
}
