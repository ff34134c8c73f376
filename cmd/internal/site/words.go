package site

import (
	"os"
	"path/filepath"
	"sync"
	"time"

	"listbound/cmd/internal/texts"
	"listbound/projections/words"
)

// Local are Words with times and weights as the site writes them, for its pages and
// prints.
func (s *Site) Local() *words.Judgement { return s.local }

// Zone is where the site is.
func (s *Site) Zone() *time.Location { return s.local.Catalogue().Local().Zone }

// WeightUnit is the unit in which the site weighs, kg or lb.
func (s *Site) WeightUnit() string { return s.local.Catalogue().In("en").WeightUnit() }

// Words are what is said to people: this program's texts, with those of the data
// folder over them.
func (s *Site) Words() *words.Judgement { return s.words }

// readWords reads the texts. Those of the data folder are somebody's work on a
// language; a slip in them must not keep anything from being recorded, so they
// are left out then, and the log says why.
func readWords(o Options) (*words.Judgement, error) {
	folder := filepath.Join(o.Dir, texts.Folder)
	j, err := texts.Read(os.DirFS(folder))
	if err != nil {
		o.Logger.Error("the data folder's own texts are left out", "folder", folder, "error", err)
		if j, err = texts.Read(); err != nil {
			return nil, err
		}
	} else if _, err := os.Stat(folder); err == nil {
		for _, p := range j.Catalogue().Check() {
			if p.What != words.Missing { // a language need not be complete
				o.Logger.Warn("one of the texts", "problem", p.String())
			}
		}
	}
	var told sync.Map
	j.Catalogue().OnError(func(err error) {
		if _, before := told.LoadOrStore(err.Error(), true); !before {
			o.Logger.Error("a text could not be said as it is written", "error", err)
		}
	})
	return j, nil
}
