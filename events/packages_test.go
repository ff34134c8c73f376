package events

import (
	"bytes"
	"go/ast"
	"go/parser"
	"go/token"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// tested returns what .ci/packages lists: the packages that make test runs
// under the race detector, or without it.
func tested(t *testing.T, how string) []string {
	t.Helper()
	cmd := exec.Command("../.ci/packages", how)
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf(".ci/packages %s: %v\n%s", how, err, stderr.Bytes())
	}
	return strings.Fields(string(out))
}

// startsSomething returns the place in the files of a folder where things begin
// to happen at the same time, "" if there is none: a go statement, a call of a
// method Go, or the HTTP server, which serves each request on a goroutine.
func startsSomething(t *testing.T, dir string, withTests bool) string {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(dir, "*.go"))
	if err != nil {
		t.Fatal(err)
	}
	fset := token.NewFileSet()
	var found token.Pos
	for _, name := range files {
		if !withTests && strings.HasSuffix(name, "_test.go") {
			continue
		}
		file, err := parser.ParseFile(fset, name, nil, parser.SkipObjectResolution)
		if err != nil {
			t.Fatal(err)
		}
		ast.Inspect(file, func(n ast.Node) bool {
			starts := false
			switch n := n.(type) {
			case *ast.GoStmt:
				starts = true
			case *ast.CallExpr:
				method, ok := n.Fun.(*ast.SelectorExpr)
				starts = ok && method.Sel.Name == "Go"
			case *ast.ImportSpec:
				starts = n.Path.Value == `"net/http"` || n.Path.Value == `"net/http/httptest"`
			}
			if starts {
				found = n.Pos()
			}
			return true
		})
	}
	if !found.IsValid() {
		return ""
	}
	return fset.Position(found).String()
}

// TestEveryPackageIsTestedOnce holds .ci/packages against the code: a new
// package is in one of its lists, and where two things can happen at the same
// time the race detector looks on.
func TestEveryPackageIsTestedOnce(t *testing.T) {
	all := make(map[string]goPackage)
	for _, p := range listPackages(t) {
		all[p.ImportPath] = p
	}
	times := make(map[string]int)
	race, plain := tested(t, "race"), tested(t, "plain")
	if len(race) < 10 || len(plain) < 5 {
		t.Fatalf("%d packages with the race detector, %d without", len(race), len(plain))
	}
	for _, path := range append(race, plain...) {
		times[path]++
		if _, ok := all[path]; !ok {
			t.Errorf("%s is no package", path)
		}
	}
	for path := range all {
		if times[path] != 1 {
			t.Errorf("%s is tested %d times", path, times[path])
		}
	}
	starting := make(map[string]string) // of the code of our packages
	for path, p := range all {
		starting[path] = startsSomething(t, p.Dir, false)
	}
	if starting["listbound/ledger"] == "" {
		t.Error("the ledger starts nothing")
	}
	for _, path := range plain {
		p := all[path]
		if where := startsSomething(t, p.Dir, true); where != "" {
			t.Errorf("%s is tested without the race detector: %s", path, where)
		}
		used := append(p.TestImports, p.XTestImports...)
		for _, i := range used {
			used = append(used, all[i].Deps...)
		}
		for _, d := range append(used, p.Deps...) {
			if starting[d] != "" {
				t.Errorf("%s is tested without the race detector, and uses %s", path, starting[d])
			}
		}
	}
}
