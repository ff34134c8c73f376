package readmodel

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io/fs"
	"sync"

	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
	"listbound/projections/judge"
	"listbound/projections/run"
	"listbound/projections/words"
)

// Fingerprint names the judgement that this program makes: a hash of the source
// of all packages that read, judge and keep events, and of the English
// sentences kept beside findings. A model that has another one is thrown away
// and rebuilt, so nobody has to remember that a rule, a table or a sentence was
// changed. A change of a comment rebuilds as well, which costs seconds.
func Fingerprint() string { return fingerprint() }

var fingerprint = sync.OnceValue(func() string {
	sum, err := hashSources(sources())
	if err != nil {
		// Embedded files can always be read. If not, no kept judgement is trusted.
		return "unknown: " + err.Error()
	}
	return sum
})

// sourceText is the text of one package.
type sourceText struct {
	dir   string // in the repository
	files fs.FS
}

func sources() []sourceText {
	return []sourceText{
		{"events", events.SourceText},
		{"projections", projections.SourceText},
		{"projections/facts", facts.SourceText},
		{"projections/judge", judge.SourceText},
		{"projections/readmodel", SourceText},
		{"projections/run", run.SourceText},
		{"projections/words", words.English},
	}
}

func hashSources(of []sourceText) (string, error) {
	h := sha256.New()
	for _, t := range of {
		err := fs.WalkDir(t.files, ".", func(path string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() {
				return err
			}
			text, err := fs.ReadFile(t.files, path)
			if err != nil {
				return err
			}
			// Lengths keep two files from running together into one.
			fmt.Fprintf(h, "%s/%s %d\n", t.dir, path, len(text))
			_, err = h.Write(text)
			return err
		})
		if err != nil {
			return "", fmt.Errorf("hashing the source of %s: %w", t.dir, err)
		}
	}
	return hex.EncodeToString(h.Sum(nil)[:16]), nil
}
