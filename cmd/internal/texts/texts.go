// Package texts has what pages and prints say, in one file per language: a new
// language is a new file here and one in projections/words/judgement, and no
// Go. Keys begin with the part of the program that says them.
//
// A site may have files of its own, in the folder words of its data folder: a
// language that this program lacks, in one file with entries of both kinds, or
// other words for some entries of one that it has.
package texts

import (
	"embed"
	"io/fs"

	"listbound/projections/words"
)

// Folder is where a data folder keeps files of its own.
const Folder = "words"

//go:embed *.json
var files embed.FS

// Load reads the texts of pages and prints that this program has.
func Load() (*words.Catalogue, error) { return words.Load(files, ".") }

// Read returns everything that is said, by judgement, pages and prints, with the
// files of further folders over it.
func Read(further ...fs.FS) (*words.Judgement, error) {
	c, err := Load()
	if err != nil {
		return nil, err
	}
	layers := []*words.Catalogue{c}
	for _, f := range further {
		c, err := words.Load(f, ".")
		if err != nil {
			return nil, err
		}
		layers = append(layers, c)
	}
	return words.NewJudgement(layers...)
}
