package run

import (
	"embed"
	"fmt"
	"math"
	"sync"

	"github.com/go-json-experiment/json"

	"listbound/events"
)

//go:embed cycles.json sources.json
var published embed.FS

// Published is a cycle that somebody published. A sterilizer's instructions and a site's own rules come before it.
type Published struct {
	events.RunCycle
	About string `json:"about"`
	None  bool   `json:"none,omitzero"` // the source says that there is no such cycle
}

// Cycles returns all published ones, in the order of their table.
func Cycles() ([]Published, error) { return readCycles() }

var readCycles = sync.OnceValues(func() ([]Published, error) {
	var rows []struct {
		Name, About, From                                    string
		Low, High, Hold, Drying, Equilibration, Steam, Apart float64 // °C, min, min, s, K, K
		None                                                 bool
	}
	var sources map[string]string
	for name, to := range map[string]any{"cycles.json": &rows, "sources.json": &sources} {
		raw, err := published.ReadFile(name)
		if err == nil {
			err = json.Unmarshal(raw, to, json.MatchCaseInsensitiveNames(true), json.RejectUnknownMembers(true))
		}
		if err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
	}
	seconds := func(x float64) int64 { return int64(math.Round(x)) }
	var out []Published
	for _, r := range rows {
		out = append(out, Published{About: r.About, None: r.None, RunCycle: events.RunCycle{Name: r.Name, Source: sources[r.From],
			LowMilliC: milli(r.Low), HighMilliC: milli(r.High), HoldSeconds: seconds(60 * r.Hold), DryingSeconds: seconds(60 * r.Drying),
			EquilibrationSeconds: seconds(r.Equilibration), SteamMilliK: milli(r.Steam), ApartMilliK: milli(r.Apart)}})
	}
	return out, nil
})

// ErrNoSuchCycle: the source says that nothing is run so. It isn't a cycle of no length.
type ErrNoSuchCycle struct{ Cycle Published }

func (e ErrNoSuchCycle) Error() string {
	return fmt.Sprintf("%s: not applicable, says %s", e.Cycle.Name, e.Cycle.Source)
}

// Find returns the published cycle of a name.
func Find(name string) (events.RunCycle, error) {
	all, err := Cycles()
	if err != nil {
		return events.RunCycle{}, err
	}
	for _, c := range all {
		switch {
		case c.Name != name:
		case c.None:
			return events.RunCycle{}, ErrNoSuchCycle{c}
		default:
			return c.RunCycle, nil
		}
	}
	return events.RunCycle{}, fmt.Errorf("no published cycle is called %q here: see listbound run cycles", name)
}
