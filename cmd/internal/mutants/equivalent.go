package main

import (
	_ "embed"
	"fmt"
	"path"
	"path/filepath"
	"regexp"
	"strings"
)

// equivalent is a mutant that no test can tell from the program as it is: the size of a pool, say. It is found by the text
// of its line, so that it is still the same one when lines move and is not when the line is written anew.
type equivalent struct {
	file   string // with the import path of its package in front
	line   string // as single spaces put it
	what   string
	reason string
}

func (e equivalent) String() string { return fmt.Sprintf("%s: %s: %s", e.file, e.line, e.what) }

//go:embed equivalent.txt
var equivalentText string

// parseEquivalents reads a list of equivalents: four lines each, a blank line between two, and comments behind #.
func parseEquivalents(text string) ([]equivalent, error) {
	var all []equivalent
	var lines []string
	for n, line := range append(strings.Split(text, "\n"), "") {
		line = oneSpace(line)
		switch {
		case strings.HasPrefix(line, "#"):
		case line != "":
			lines = append(lines, line)
		case len(lines) == 4:
			all = append(all, equivalent{file: lines[0], line: lines[1], what: lines[2], reason: lines[3]})
			lines = nil
		case len(lines) > 0:
			return nil, fmt.Errorf("equivalents: line %d ends %d lines, should be four: file, line, change and reason", n+1, len(lines))
		}
	}
	return all, nil
}

func oneSpace(s string) string { return strings.Join(strings.Fields(s), " ") }

// mark sets apart the equivalents among a package's mutants. Each entry must be exactly one of them: an entry of code that
// is gone would stand for nothing, and one that fits two would excuse a mutant that nobody looked at.
func mark(s *source, all []*mutant, entries []equivalent, exclude *regexp.Regexp) error {
	for _, e := range entries {
		if path.Dir(e.file) != s.ImportPath || exclude.MatchString(path.Base(e.file)) {
			continue
		}
		n := 0
		for _, m := range all {
			if filepath.Base(m.path) == path.Base(e.file) && oneSpace(m.what) == e.what && s.lineOf(m) == e.line {
				m.same = true
				n++
			}
		}
		if n != 1 {
			return fmt.Errorf("the equivalent %q is %d mutants of the code, should be one", e, n)
		}
	}
	return nil
}

// lineOf returns the text of the line on which a mutant begins.
func (s *source) lineOf(m *mutant) string {
	return oneSpace(strings.Split(string(s.text[m.path]), "\n")[m.line-1])
}
