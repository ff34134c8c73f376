package web

import (
	"maps"
	"net/http"
	"slices"
	"strings"

	"listbound/cmd/internal/board"
	"listbound/cmd/internal/door"
	"listbound/cmd/internal/refusal"
	"listbound/cmd/internal/shell"
)

// pageParameters are the rules of the pages, which say what each reads from its address.
type pageParameters map[string]door.Rule

func readPageParameters() pageParameters {
	out := make(pageParameters)
	for _, rule := range door.Rules() {
		_, path, _ := strings.Cut(rule.Pattern, " ")
		if strings.HasPrefix(rule.Pattern, http.MethodGet) && !rule.Free && !strings.HasPrefix(path, apiPrefix) {
			out[rule.Pattern] = rule
		}
	}
	return out
}

const asOfName = "as-of"

// check refuses what a page doesn't read. A moment that isn't spelt as a page reads it is told of by itself: the page of now would be
// taken for that of then.
func (p pageParameters) check(pattern string, r *http.Request, words *shell.Words) error {
	rule, ok := p[pattern]
	if !ok || r.URL.RawQuery == "" {
		return nil
	}
	q, err := readQuery(r)
	if err != nil {
		return refusal.New("%s", words.T("shell.unread-parameters"))
	}
	for _, name := range slices.Sorted(maps.Keys(q)) {
		switch {
		case name == "lang" || slices.Contains(rule.Takes, name) || rule.Table && ofTable(name):
		case rule.Table && name == asOfName: // the board says which of its pages are about now alone
		case name == asOfName:
			return refusal.New("%s", words.T("board.as-of-not-here"))
		case strings.EqualFold(strings.NewReplacer("-", "", "_", "").Replace(name), "asof"):
			return refusal.New("%s", words.T("board.as-of-named", name))
		default:
			takes := slices.Clone(rule.Takes)
			if board.TakesAsOf(r.URL.Path) && !slices.Contains(takes, asOfName) {
				takes = append(takes, asOfName)
			}
			return refusal.New("%s", words.T("shell.no-such-parameter", name, strings.Join(append(takes, "lang"), ", ")))
		}
	}
	return nil
}

// ofTable reports whether a parameter is about a table of a page, which refuses one that it hasn't.
func ofTable(name string) bool {
	return name == "table" || name == "format" || strings.HasPrefix(name, "sort-") || strings.HasPrefix(name, "only-")
}
