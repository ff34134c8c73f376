package texts_test

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"testing/fstest"
	"text/template/parse"

	"listbound/cmd/internal/texts"
	"listbound/projections"
	"listbound/projections/words"
)

// TestLanguagesAreComplete: every language in the program has the same keys,
// with the same values in each text.
func TestLanguagesAreComplete(t *testing.T) {
	c, err := texts.Load()
	if err != nil {
		t.Fatal(err)
	}
	if n := len(c.In("en").Keys()); len(c.Languages()) < 2 || n < 600 {
		t.Fatalf("%d languages, %d English texts", len(c.Languages()), n)
	}
	for _, p := range c.Check() {
		t.Error(p)
	}
	j, err := texts.Read()
	if err != nil {
		t.Fatal(err)
	}
	if !slices.Equal(j.Languages(), c.Languages()) {
		t.Errorf("judgement and pages speak %q, pages alone %q", j.Languages(), c.Languages())
	}
	for _, lang := range j.Languages() {
		for _, key := range words.Formats() {
			if !j.Catalogue().In(lang).Has(key) {
				t.Errorf("%s lacks %q, in judgement's file", lang, key)
			}
		}
	}
}

// use is one place where a text is asked for.
type use struct {
	at, key string
	values  int // given to the text; -1: not known here
}

// whole is a key that is written out; one that ends in a dash, or before a verb
// of printf, is the beginning of keys that are put together.
var whole = regexp.MustCompile(`^(board|door|shell|workplace|paper|import|practise)\.[a-z0-9-]*%?`)

func newUse(at, key string, values int) (use, bool) {
	found := whole.FindString(key)
	if found == "" || len(found) < len(key) && !strings.HasSuffix(found, "%") {
		return use{}, false
	}
	return use{at, strings.TrimSuffix(found, "%"), values}, true
}

// usesInGo finds the keys in a Go file: those that stand in any literal, and the
// first argument of t, sayNo and phrased, which are of the workplaces.
func usesInGo(t *testing.T, file string) []use {
	t.Helper()
	positions := token.NewFileSet()
	parsed, err := parser.ParseFile(positions, file, nil, 0)
	if err != nil {
		t.Fatal(err)
	}
	var out []use
	asked := make(map[ast.Node]bool) // literals that are the key of a call
	literal := func(e ast.Expr) (string, ast.Node) {
		if sum, ok := e.(*ast.BinaryExpr); ok {
			e = sum.X
		}
		l, ok := e.(*ast.BasicLit)
		if !ok || l.Kind != token.STRING {
			return "", nil
		}
		s, err := strconv.Unquote(l.Value)
		if err != nil {
			t.Fatal(err)
		}
		return s, l
	}
	add := func(n ast.Node, key string, values int) {
		if u, ok := newUse(positions.Position(n.Pos()).String(), key, values); ok {
			out = append(out, u)
		}
	}
	ast.Inspect(parsed, func(n ast.Node) bool {
		call, ok := n.(*ast.CallExpr)
		if !ok || len(call.Args) == 0 {
			return true
		}
		f, ok := call.Fun.(*ast.SelectorExpr)
		if !ok {
			return true
		}
		key, at := literal(call.Args[0])
		values := len(call.Args) - 1
		if call.Ellipsis.IsValid() {
			values = -1
		}
		switch {
		case at == nil:
		case slices.Contains([]string{"t", "sayNo", "phrased"}, f.Sel.Name):
			add(at, "workplace."+key, values)
		case f.Sel.Name == "T" || f.Sel.Name == "say":
			add(at, key, values)
			asked[at] = true
		}
		return true
	})
	ast.Inspect(parsed, func(n ast.Node) bool {
		if e, ok := n.(ast.Expr); ok {
			if s, at := literal(e); at == n && at != nil && !asked[at] {
				add(at, s, -1)
			}
		}
		return true
	})
	return out
}

// usesInPage finds the keys in a page's template.
func usesInPage(t *testing.T, file string) []use {
	t.Helper()
	raw, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	trees := make(map[string]*parse.Tree)
	page := parse.New(file)
	page.Mode = parse.SkipFuncCheck
	if _, err := page.Parse(string(raw), "", "", trees); err != nil {
		t.Fatal(err)
	}
	var out []use
	calls := regexp.MustCompile(`\bt "`)
	var walk func(parse.Node)
	branch := func(b *parse.BranchNode) {
		walk(b.Pipe)
		walk(b.List)
		if b.ElseList != nil {
			walk(b.ElseList)
		}
	}
	walk = func(n parse.Node) {
		switch n := n.(type) {
		case *parse.ListNode:
			for _, x := range n.Nodes {
				walk(x)
			}
		case *parse.ActionNode:
			walk(n.Pipe)
		case *parse.IfNode:
			branch(&n.BranchNode)
		case *parse.RangeNode:
			branch(&n.BranchNode)
		case *parse.WithNode:
			branch(&n.BranchNode)
		case *parse.TemplateNode:
			if n.Pipe != nil {
				walk(n.Pipe)
			}
		case *parse.PipeNode:
			for _, c := range n.Cmds {
				walk(c)
			}
		case *parse.CommandNode:
			f, _ := n.Args[0].(*parse.IdentifierNode)
			for i, a := range n.Args {
				key, ok := a.(*parse.StringNode)
				if !ok {
					walk(a)
					continue
				}
				values := -1
				if f != nil && f.Ident == "t" && i == 1 {
					values = len(n.Args) - 2
				}
				if u, ok := newUse(file, key.Text, values); ok {
					out = append(out, u)
				}
			}
		}
	}
	for _, tree := range trees {
		walk(tree.Root)
	}
	if len(out) == 0 && calls.Match(raw) {
		t.Errorf("%s: no key was found", file)
	}
	return out
}

func allUses(t *testing.T) []use {
	t.Helper()
	var out []use
	files := 0
	err := filepath.WalkDir("..", func(file string, d fs.DirEntry, err error) error {
		switch {
		case err != nil || d.IsDir() || strings.HasSuffix(file, "_test.go"):
			return err
		case strings.HasSuffix(file, ".go"):
			out = append(out, usesInGo(t, file)...)
		case strings.HasSuffix(file, ".html"):
			out = append(out, usesInPage(t, file)...)
		default:
			return nil
		}
		files++
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if files < 80 || len(out) < 600 {
		t.Fatalf("%d uses in %d files: the search finds nothing", len(out), files)
	}
	return out
}

// TestEveryTextIsUsed: each key that Go or a page asks for has a text, which
// gets all the values it shows; and no text is left that nothing asks for.
func TestEveryTextIsUsed(t *testing.T) {
	c, err := texts.Load()
	if err != nil {
		t.Fatal(err)
	}
	english := c.In("en")
	keys := english.Keys()
	used := make(map[string]bool)
	for _, u := range allUses(t) {
		if strings.HasSuffix(u.key, "-") || strings.HasSuffix(u.key, ".") {
			for _, k := range keys {
				if strings.HasPrefix(k, u.key) && u.key != "workplace." {
					used[k] = true
				}
			}
			continue
		}
		used[u.key] = true
		if !english.Has(u.key) {
			t.Errorf("%s: %q has no text", u.at, u.key)
			continue
		}
		if need := places(english, u.key); u.values >= 0 && u.values < need {
			t.Errorf("%s: %q shows %d values and gets %d", u.at, u.key, need, u.values)
		}
	}
	// What a text includes is used by it.
	for _, k := range keys {
		for _, in := range english.Includes(k) {
			for _, other := range keys {
				if other == in || strings.HasSuffix(in, "-") && strings.HasPrefix(other, in) {
					used[other] = true
				}
			}
		}
	}
	for _, k := range keys {
		if !used[k] && !strings.HasPrefix(k, "format.") && k != "language.name" {
			t.Errorf("nothing asks for %q", k)
		}
	}
}

// places is how many values a text shows.
func places(l *words.Language, key string) int {
	n := 0
	for _, v := range l.Values(key) {
		if i, err := strconv.Atoi(strings.Trim(v, "{}")); err == nil {
			n = max(n, i+1)
		}
	}
	return n
}

// TestRead: files of a site lie over those of this program, for judgement, pages
// and prints alike.
func TestRead(t *testing.T) {
	j, err := texts.Read(fstest.MapFS{
		"eo.json": {Data: []byte(`{"language.name": "Esperanto", "shell.skip": "Al la enhavo",
			"sheet-swapped/name": "listo de alia aro", "paper.count-sheet": "NOMBROLISTO"}`)},
		"de.json": {Data: []byte(`{"shell.board": "Tafel"}`)},
	})
	if err != nil {
		t.Fatal(err)
	}
	j.Catalogue().OnError(func(err error) { t.Error(err) })
	if got := j.Languages(); !slices.Contains(got, "eo") || !slices.Contains(got, "de") {
		t.Errorf("languages %q", got)
	}
	eo, de := j.Catalogue().In("eo"), j.Catalogue().In("de")
	for got, want := range map[string]string{
		eo.Name(): "Esperanto", eo.Say("shell.skip"): "Al la enhavo", eo.Say("paper.count-sheet"): "NOMBROLISTO",
		eo.Say("shell.board"): "Open incidents", de.Say("shell.board"): "Tafel", de.Say("shell.skip"): "Zum Inhalt",
		j.Code("eo", projections.SheetSwapped): "listo de alia aro", j.Code("eo", projections.SheetStale): "count sheet of an earlier turn",
	} {
		if got != want {
			t.Errorf("got %q, want %q", got, want)
		}
	}
	if _, err := texts.Read(fstest.MapFS{"eo.json": {Data: []byte(`{"shell.skip": "a"`)}}); err == nil ||
		!strings.Contains(err.Error(), "eo.json") {
		t.Errorf("a broken file: %v", err)
	}
}
