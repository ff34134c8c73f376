package assess

import (
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"unicode/utf8"
)

// Choices are what the site says: everything in an assessment that is no number from
// outside and none of the ledger.
type Choices struct {
	Placements []Placement `json:"placements"` // that are compared
	// Unused: the procedure by which a list is held against its set is there, and nobody
	// keeps to it.
	Unused     bool              `json:"unused,omitzero"`
	Dependence Dependence        `json:"dependence"`         // of the second reader on the first
	Controls   []string          `json:"controls,omitempty"` // that are in place
	Own        map[string]Own    `json:"own,omitempty"`      // of events that nobody has published
	Hazards    map[string]Judged `json:"hazards,omitempty"`
	Residual   string            `json:"residual,omitempty"` // what is left overall, in the site's words
	Review     string            `json:"review,omitempty"`   // who reviews it, and when again
	Decides    string            `json:"decides,omitempty"`  // who decides, by name or function
}

// Own is a site's own number: the median that it believes, and by what factor it may be
// wrong either way (error factor).
type Own struct {
	Median      float64 `json:"median"`
	ErrorFactor float64 `json:"errorFactor"`
}

// Judged is what the site says of a hazard.
type Judged struct {
	Severity int `json:"severity,omitzero"` // 1 to 4; 0: not judged yet
	// Likelihood by placement, 1 to 4. It goes before what the numbers say, which is shown
	// beside it.
	Likelihood map[Placement]int     `json:"likelihood,omitempty"`
	Answers    map[Placement]Answers `json:"answers,omitempty"`
	Words      string                `json:"words,omitempty"` // the evaluation
}

// mostText is how long a text of a site may be, in characters.
const mostText = 2000

// Check refuses choices that can't be.
func (c *Choices) Check() error {
	seen := make(map[string]bool)
	for _, p := range c.Placements {
		if !slices.Contains(Placements(), p) || seen[p] {
			return fmt.Errorf("placements: %q is not one of %s, each once", p, strings.Join(Placements(), ", "))
		}
		seen[p] = true
	}
	if len(c.Placements) == 0 {
		return errors.New("placements: none is to be compared")
	}
	if !slices.Contains(Dependences(), c.Dependence) {
		return fmt.Errorf("dependence: %q is not one of %v", c.Dependence, Dependences())
	}
	for _, x := range c.Controls {
		if !slices.ContainsFunc(Controls(), func(k Control) bool { return k.ID == x }) {
			return fmt.Errorf("controls: there is no %q", x)
		}
	}
	for _, id := range slices.Sorted(maps.Keys(c.Own)) {
		v := Value{Start: id, Median: c.Own[id].Median, ErrorFactor: c.Own[id].ErrorFactor}
		if !slices.Contains(Unpublished(), id) {
			return fmt.Errorf("own: %q is not one of %s", id, strings.Join(Unpublished(), ", "))
		}
		if err := v.check(); err != nil {
			return fmt.Errorf("own: %w; a median is above 0 and at most 1, an error factor from 1 to 1,000", err)
		}
	}
	for _, id := range slices.Sorted(maps.Keys(c.Hazards)) {
		j := c.Hazards[id]
		if err := j.check(); err != nil {
			return fmt.Errorf("hazards: %s: %w", id, err)
		}
		if !slices.ContainsFunc(Hazards(), func(h Hazard) bool { return h.ID == id }) {
			return fmt.Errorf("hazards: there is no %q", id)
		}
	}
	return errors.Join(checkText("residual", c.Residual), checkText("review", c.Review), checkText("decides", c.Decides))
}

func (j *Judged) check() error {
	within := func(n int) bool { return 0 <= n && n <= mostOfTable }
	if !within(j.Severity) {
		return fmt.Errorf("a severity of %d; it is from 1 to 4", j.Severity)
	}
	for _, p := range slices.Sorted(maps.Keys(j.Likelihood)) {
		if !within(j.Likelihood[p]) || !slices.Contains(Placements(), p) {
			return fmt.Errorf("a likelihood of %d at %q; it is from 1 to 4, at a placement", j.Likelihood[p], p)
		}
	}
	for _, p := range slices.Sorted(maps.Keys(j.Answers)) {
		if !slices.Contains(Placements(), p) {
			return fmt.Errorf("answers for %q, which is no placement", p)
		}
	}
	return checkText("words", j.Words)
}

func checkText(name, text string) error {
	if n := utf8.RuneCountInString(text); n > mostText || !utf8.ValidString(text) {
		return fmt.Errorf("%s: %d characters; at most %d", name, n, mostText)
	}
	return nil
}
