package projections

import (
	"testing"

	"github.com/go-json-experiment/json"
)

// TestFindingOfLaterVersion: a way that is not known here is kept without its detail, and a detail of another form is refused.
func TestFindingOfLaterVersion(t *testing.T) {
	t.Parallel()
	w := Ways()[0]
	for text, want := range map[string]struct{ read, detail bool }{
		`{"code":"` + string(w.Code) + `","way":"` + w.Name + `","detail":{}}`:  {true, true},
		`{"code":"` + string(w.Code) + `","way":"` + w.Name + `"}`:              {true, true},
		`{"code":"` + string(w.Code) + `","way":"new","detail":{"a":1}}`:        {true, false},
		`{"code":"` + string(w.Code) + `","way":"` + w.Name + `","detail":[1]}`: {false, true},
		`[]`: {false, false},
	} {
		var f Finding
		err := json.Unmarshal([]byte(text), &f)
		if (err == nil) != want.read || (f.Detail != nil) != want.detail {
			t.Errorf("%s is read as %+v: %v", text, f, err)
		}
	}
}
