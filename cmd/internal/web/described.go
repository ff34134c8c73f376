package web

import (
	"fmt"
	"maps"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"unicode/utf8"

	"github.com/go-json-experiment/json"

	"listbound/cmd/internal/board"
	"listbound/cmd/internal/refusal"
)

// described is which parameters each route takes by the description that programs read, by its pattern.
type described map[string]parameters

// parameters are the names that a route takes, and of them those that may stand there more than once.
type parameters struct{ takes, again []string }

// readDescription reads the parameters off the description.
func readDescription() (described, error) {
	var d struct {
		Paths map[string]map[string]struct {
			Parameters []struct {
				Name, In string
				Schema   struct{ Type any }
			}
		}
	}
	if err := json.Unmarshal(board.Description(), &d, json.MatchCaseInsensitiveNames(true)); err != nil {
		return nil, fmt.Errorf("the description of the interface: %w", err)
	}
	out := make(described)
	for path, methods := range d.Paths {
		if !strings.HasPrefix(path, apiPrefix) {
			continue // pages take more than programs give
		}
		for method, op := range methods {
			var names parameters
			for _, p := range op.Parameters {
				if p.In != "query" {
					continue
				}
				names.takes = append(names.takes, p.Name)
				if p.Schema.Type == "array" {
					names.again = append(names.again, p.Name)
				}
			}
			out[strings.ToUpper(method)+" "+path] = names
		}
	}
	return out, nil
}

// readQuery reads what stands behind the question mark. Of what can't be read the rest would be taken, so that a filter would be passed
// over; what is no UTF-8 is nobody's name.
func readQuery(r *http.Request) (url.Values, error) {
	q, err := url.ParseQuery(r.URL.RawQuery)
	if err != nil {
		return nil, err
	}
	for name, values := range q {
		if i := slices.IndexFunc(append(values, name), func(s string) bool { return !utf8.ValidString(s) }); i >= 0 {
			return nil, fmt.Errorf("%q is no UTF-8", append(values, name)[i])
		}
	}
	return q, nil
}

// check refuses a parameter that the route doesn't take, or takes once and is given again: one that is passed over would be a filter
// that doesn't filter.
func (d described) check(pattern string, r *http.Request) error {
	of, ok := d[pattern]
	if !ok || r.URL.RawQuery == "" {
		return nil
	}
	q, err := readQuery(r)
	if err != nil {
		return refusal.New("what stands behind the question mark can't be read: %w", err)
	}
	for _, name := range slices.Sorted(maps.Keys(q)) {
		switch {
		case len(of.takes) == 0:
			return refusal.New("%s takes no parameters; %q is one", pattern, name)
		case !slices.Contains(of.takes, name):
			return refusal.New("%s takes no parameter %q; it takes %s", pattern, name, strings.Join(of.takes, ", "))
		case len(q[name]) > 1 && !slices.Contains(of.again, name):
			return refusal.New("%s takes the parameter %q once; it is there %d times", pattern, name, len(q[name]))
		}
	}
	return nil
}
