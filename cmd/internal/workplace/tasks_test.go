package workplace_test

import (
	"net/http"
	"testing"

	"listbound/cmd/internal/site"
	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// TestTasksOnlyInPractice: nowhere else can anything be laid out.
func TestTasksOnlyInPractice(t *testing.T) {
	h := workplacetest.NewHouse(t)
	before := h.Size()
	for _, method := range []string{http.MethodGet, http.MethodPost} {
		req, err := http.NewRequest(method, h.URL+"/at/north/or-3/tasks", nil)
		if err != nil {
			t.Fatal(err)
		}
		res, err := http.DefaultClient.Do(req)
		if err != nil {
			t.Fatal(err)
		}
		if err := res.Body.Close(); err != nil {
			t.Error(err)
		}
		if res.StatusCode < http.StatusBadRequest {
			t.Errorf("%s is answered %d", method, res.StatusCode)
		}
	}
	if h.Size() != before {
		t.Error("something was recorded")
	}
	if got := h.Events(site.Query{Set: "LAP-014"}, events.KindSetPacked); len(got) != 1 {
		t.Errorf("%d packings", len(got))
	}
}
