//go:build !race

package main

import (
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"listbound/projections"
)

func readme() (string, error) {
	raw, err := os.ReadFile(filepath.Join("..", "..", "README.md"))
	return string(raw), err
}

// excerpt returns the lines that are set off by four spaces behind a sentence of the
// README, without the spaces.
func excerpt(text, after string) (lines []string) {
	_, rest, _ := strings.Cut(text, after+"\n\n")
	for line := range strings.Lines(rest) {
		line, ok := strings.CutPrefix(strings.TrimRight(line, "\n"), "    ")
		if !ok {
			break
		}
		lines = append(lines, line)
	}
	return lines
}

// lacking returns the first line of an excerpt that an output does not have, in the
// excerpt's order; "…" stands for any lines, and only there may some be left out.
func lacking(excerpt []string, output string) string {
	lines := strings.Split(output, "\n")
	at, anywhere := 0, true
	for _, want := range excerpt {
		if want == "…" {
			anywhere = true
			continue
		}
		i := slices.Index(lines[min(at, len(lines)):], want)
		if i < 0 || i > 0 && !anywhere {
			return want
		}
		at, anywhere = at+i+1, false
	}
	return ""
}

func TestLacking(t *testing.T) {
	for _, x := range []struct{ excerpt, output, want string }{
		{"a\nb", "a\nb\nc", ""}, {"b\nc", "a\nb\nc", ""}, {"a\n…\nc", "a\nb\nc", ""},
		{"a\nc", "a\nb\nc", "c"}, {"b\n…\na", "a\nb", "a"}, {"a\nb", "a", "b"},
	} {
		if got := lacking(strings.Split(x.excerpt, "\n"), x.output); got != x.want {
			t.Errorf("%q in %q lacks %q", x.excerpt, x.output, got)
		}
	}
}

// TestReadmeNamesCodes: what the README's short list names are codes of findings, each named once. "listbound codes" has all.
func TestReadmeNamesCodes(t *testing.T) {
	text, err := readme()
	if err != nil {
		t.Fatal(err)
	}
	_, list, _ := strings.Cut(text, "`listbound codes` (")
	_, list, _ = strings.Cut(list, "In short:\n\n")
	list, _, ok := strings.Cut(list, "\n\n")
	if !ok {
		t.Fatal("the README has no short list of codes")
	}
	var named []projections.Code
	for _, m := range regexp.MustCompile("`([^`]+)`").FindAllStringSubmatch(list, -1) {
		named = append(named, projections.Code(m[1]))
	}
	for i, code := range named {
		if !slices.Contains(projections.Codes(), code) || slices.Contains(named[:i], code) {
			t.Errorf("%q is no code, or is named twice", code)
		}
	}
	const most = 40
	if len(named) < most {
		t.Errorf("the README names %d codes", len(named))
	}
}
