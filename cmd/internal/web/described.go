package web

import (
	"fmt"
	"maps"
	"net/http"
	"slices"
	"strings"

	"github.com/go-json-experiment/json"

	"listbound/cmd/internal/board"
	"listbound/cmd/internal/refusal"
)

// described is which parameters each route takes by the description that programs read, by its pattern.
type described map[string][]string

// readDescription reads the parameters off the description.
func readDescription() (described, error) {
	var d struct {
		Paths map[string]map[string]struct {
			Parameters []struct{ Name, In string }
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
			names := []string{}
			for _, p := range op.Parameters {
				if p.In == "query" {
					names = append(names, p.Name)
				}
			}
			out[strings.ToUpper(method)+" "+path] = names
		}
	}
	return out, nil
}

// check refuses a parameter that the route doesn't take: one that is passed over would be a filter that doesn't filter.
func (d described) check(pattern string, r *http.Request) error {
	takes, ok := d[pattern]
	if !ok || r.URL.RawQuery == "" {
		return nil
	}
	for _, name := range slices.Sorted(maps.Keys(r.URL.Query())) {
		if slices.Contains(takes, name) {
			continue
		}
		if len(takes) == 0 {
			return refusal.New("%s takes no parameters; %q is one", pattern, name)
		}
		return refusal.New("%s takes no parameter %q; it takes %s", pattern, name, strings.Join(takes, ", "))
	}
	return nil
}
