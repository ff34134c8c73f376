package site

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"
	_ "time/tzdata" // a machine need not have the zones' data

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"listbound/projections/words"
)

// settingsFile holds in the data folder how the site writes times and weights on
// pages and paper. Records and exports have UTC and grams whatever it says.
const settingsFile = "settings.json"

type settings struct {
	Zone   string `json:"zone,omitempty"`   // IANA name
	Weight string `json:"weight,omitempty"` // kg or lb

	local words.Local
	was   []byte
}

// readSettings reads the folder's settings; those of the options replace them.
func readSettings(o Options) (*settings, error) {
	s := new(settings)
	path := filepath.Join(o.Dir, settingsFile)
	raw, err := os.ReadFile(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
	case err != nil:
		return nil, fmt.Errorf("reading how the site writes times and weights: %w", err)
	default:
		if err := json.Unmarshal(raw, s); err != nil {
			return nil, fmt.Errorf("%s: %w", path, err)
		}
		s.was = raw
	}
	if o.Zone != "" {
		s.Zone = o.Zone
	}
	if o.Weight != "" {
		s.Weight = o.Weight
	}
	if s.Zone == "Local" {
		return nil, errors.New("the zone is an IANA name such as Europe/Berlin, not Local: it must mean the same on every machine")
	}
	if s.local.Zone, err = time.LoadLocation(s.Zone); err != nil {
		return nil, fmt.Errorf("the zone %q is not known; it is an IANA name such as Europe/Berlin or America/Chicago", s.Zone)
	}
	switch s.Weight {
	case "", "kg":
	case "lb":
		s.local.Pounds = true
	default:
		return nil, fmt.Errorf("the unit of weight is kg or lb, not %q", s.Weight)
	}
	return s, nil
}

// keep writes the settings where they differ from what lies in the folder.
func (s *settings) keep(dir string) error {
	raw, err := json.Marshal(s, jsontext.WithIndent("  "))
	if err != nil {
		return fmt.Errorf("the site's settings: %w", err)
	}
	raw = append(raw, '\n')
	if s.Zone == "" && s.Weight == "" || bytes.Equal(raw, s.was) {
		return nil
	}
	path := filepath.Join(dir, settingsFile)
	if err := os.WriteFile(path+".new", raw, 0o600); err != nil {
		return fmt.Errorf("keeping the site's settings: %w", err)
	}
	if err := os.Rename(path+".new", path); err != nil {
		return fmt.Errorf("keeping the site's settings: %w", err)
	}
	return nil
}
