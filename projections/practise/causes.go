package practise

import (
	"crypto/sha256"
	_ "embed"
	"encoding/hex"
	"fmt"
	"slices"
	"strings"

	"github.com/go-json-experiment/json"

	"listbound/projections"
	"listbound/projections/simulate"
)

//go:embed causes.json
var ours []byte

// Causes is what can go wrong, and the digest of the file that says so.
type Causes struct {
	Causes []Cause `json:"causes"`
	Digest string  `json:"-"`
}

// Cause is one thing that goes wrong.
type Cause struct {
	ID string `json:"id"`
	// Rates are how often things go wrong while a week with this cause alone is looked for; by their names in simulate.Rates.
	Rates simulate.Rates `json:"rates"`
	// Happens is what goes wrong, as the simulator names it: a kind of fault, or what became of a piece.
	Happens string `json:"happens"`
	// Step is where it happens; left out: anywhere.
	Step Step `json:"step,omitempty"`
	// Open is how many steps the records may leave open; left out: three.
	Open int `json:"open,omitzero"`
	// Named says that what is found of one set names the others: of those nothing need be found.
	Named bool `json:"named,omitzero"`
	// Found are the findings by which it is known.
	Found []projections.Code `json:"found"`
	Words map[string]Words   `json:"words"` // by language; English is there always
}

// Words say a cause to people.
type Words struct {
	Name    string `json:"name"`    // what happened
	Teaches string `json:"teaches"` // what is practised
}

// In returns the words of a cause in a language, in English where it has none.
func (c *Cause) In(lang string) Words {
	if w, ok := c.Words[lang]; ok {
		return w
	}
	return c.Words["en"]
}

// Ours returns the causes that this program has.
func Ours() (*Causes, error) { return Read(ours) }

// MaxBytes is how long a file of causes is at most.
const MaxBytes = 1 << 20

// Read reads a file of causes.
func Read(raw []byte) (*Causes, error) {
	cs := new(Causes)
	if len(raw) > MaxBytes {
		return nil, fmt.Errorf("a file of causes has %d bytes at most, this one has %d", MaxBytes, len(raw))
	}
	if err := json.Unmarshal(raw, cs, json.RejectUnknownMembers(true)); err != nil {
		return nil, fmt.Errorf("causes: %w", err)
	}
	if len(cs.Causes) == 0 {
		return nil, fmt.Errorf(`there is no cause in the file; it begins with {"causes": [{"id": …`)
	}
	seen := make(map[string]bool)
	for i := range cs.Causes {
		c := &cs.Causes[i]
		if err := c.check(); err != nil {
			return nil, err
		}
		if seen[c.ID] {
			return nil, fmt.Errorf("cause %q stands there twice", c.ID)
		}
		seen[c.ID] = true
	}
	sum := sha256.Sum256(raw)
	cs.Digest = hex.EncodeToString(sum[:])
	return cs, nil
}

// Find returns a cause by its id.
func (cs *Causes) Find(id string) (*Cause, error) {
	var ids []string
	for i := range cs.Causes {
		if cs.Causes[i].ID == id {
			return &cs.Causes[i], nil
		}
		ids = append(ids, cs.Causes[i].ID)
	}
	return nil, fmt.Errorf("there is no cause %q, only %s", id, strings.Join(ids, ", "))
}

func (c *Cause) check() error {
	w := c.Words["en"]
	switch {
	case c.ID == "":
		return fmt.Errorf("a cause has no id")
	case !slices.Contains(Happenings(), c.Happens):
		return fmt.Errorf("cause %q: happens is one of %q, not %q", c.ID, Happenings(), c.Happens)
	case c.Step != "" && !slices.Contains(Steps(), c.Step):
		return fmt.Errorf("cause %q: step is one of %q or left out, not %q", c.ID, Steps(), c.Step)
	case len(c.Found) == 0:
		return fmt.Errorf("cause %q: found names no finding by which it is known; see listbound codes", c.ID)
	case w.Name == "" || w.Teaches == "":
		return fmt.Errorf("cause %q: words.en has a name and what it teaches", c.ID)
	case c.Rates == simulate.Rates{}:
		return fmt.Errorf("cause %q: rates names nothing that goes wrong", c.ID)
	}
	for _, f := range c.Found {
		if !slices.Contains(projections.Codes(), f) {
			return fmt.Errorf("cause %q: there is no finding %q; see listbound codes", c.ID, f)
		}
	}
	return nil
}
