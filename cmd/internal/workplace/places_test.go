package workplace_test

import (
	"net/http"
	"testing"

	"listbound/cmd/internal/workplace"
	"listbound/cmd/internal/workplace/workplacetest"
)

// TestEveryPlaceHasAPage: each row of workplaces() shows a page of its own, also
// with nothing on the bench.
func TestEveryPlaceHasAPage(t *testing.T) {
	h := workplacetest.NewHouse(t)
	for _, place := range workplace.Places() {
		res, err := http.Get(h.At(place))
		if err != nil {
			t.Fatal(err)
		}
		res.Body.Close()
		if res.StatusCode != http.StatusOK {
			t.Errorf("the page of %s is answered %d: does a file in templates/ define bench-%[1]s?", place, res.StatusCode)
		}
	}
}
