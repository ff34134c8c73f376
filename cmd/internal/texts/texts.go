// Package texts has what pages and prints say, in one file per language: a new
// language is a new file here and one in projections/words/judgement, and no
// Go. Keys begin with the part of the program that says them.
package texts

import (
	"embed"
	"io/fs"
	"sync"

	"listbound/projections/words"
)

//go:embed *.json
var files embed.FS

// Files are the texts as this program has them.
func Files() fs.FS { return files }

// Load reads the texts of every language that has a file.
func Load(from fs.FS) (*words.Catalogue, error) { return words.Load(from, ".") }

// Embedded returns the texts of this program. Its tests read them, so that an
// error here is one of the build.
var Embedded = sync.OnceValues(func() (*words.Catalogue, error) { return Load(files) })
