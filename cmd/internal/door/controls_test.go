package door_test

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// TestControls: each line of the tables of rules from outside names tests that exist, or says why it doesn't apply or that it
// is open; and no clause of the two regulations is left out.
func TestControls(t *testing.T) {
	raw, err := os.ReadFile("CONTROLS.md")
	if err != nil {
		t.Fatal(err)
	}
	root, err := filepath.Abs(filepath.Join("..", "..", ".."))
	if err != nil {
		t.Fatal(err)
	}
	sources := make(map[string]string) // of a folder's tests
	named := regexp.MustCompile("`([a-z/]+)\\.(Test[A-Za-z0-9]+)`")
	rows, heading := 0, ""
	clauses := make(map[string]string) // by heading
	for line := range strings.Lines(string(raw)) {
		line = strings.TrimSpace(line)
		if h, ok := strings.CutPrefix(line, "## "); ok {
			heading = h
		}
		cells := strings.Split(strings.Trim(line, "|"), "|")
		if !strings.HasPrefix(line, "| ") || strings.HasPrefix(line, "| clause") {
			continue
		}
		if len(cells) != 3 {
			t.Errorf("%d cells: %s", len(cells), line)
			continue
		}
		rows++
		clauses[heading] += " " + strings.TrimSpace(cells[0])
		held := strings.TrimSpace(cells[2])
		found := named.FindAllStringSubmatch(held, -1)
		if len(found) == 0 && !strings.HasPrefix(held, "Not applicable because ") && !strings.HasPrefix(held, "Open: ") {
			t.Errorf("nothing holds it: %s", line)
		}
		for _, m := range found {
			dir, name := m[1], m[2]
			if sources[dir] == "" {
				files, err := filepath.Glob(filepath.Join(root, filepath.FromSlash(dir), "*_test.go"))
				if err != nil {
					t.Fatal(err)
				}
				for _, f := range files {
					text, err := os.ReadFile(f)
					if err != nil {
						t.Fatal(err)
					}
					sources[dir] += string(text)
				}
			}
			if !strings.Contains(sources[dir], "\nfunc "+name+"(t *testing.T) {") {
				t.Errorf("%s has no %s: %s", dir, name, line)
			}
		}
	}
	for heading, letters := range map[string]string{"45 CFR 164.312": "abcde", "21 CFR 11.10": "abcdefghijk"} {
		for _, letter := range letters {
			there := false
			for h, all := range clauses {
				there = there || strings.HasPrefix(h, heading) && strings.Contains(all, "("+string(letter)+")")
			}
			if !there {
				t.Errorf("%s (%c) is left out", heading, letter)
			}
		}
	}
	if rows < 70 || len(clauses) != 5 {
		t.Errorf("%d lines in %d tables were read", rows, len(clauses))
	}
}
