package site

import (
	"os"
	"path/filepath"
	"sync"

	"listbound/cmd/internal/texts"
	"listbound/projections/words"
)

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
