package events

import (
	"bytes"
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
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
// to happen at the same time, "" if there is none.
func startsSomething(t *testing.T, dir string, withTests bool) string {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(dir, "*.go"))
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range files {
		if !withTests && strings.HasSuffix(name, "_test.go") {
			continue
		}
		if place := firstStart(t, name, true); place != "" {
			return place
		}
	}
	return ""
}

// firstStart returns a place in a file where things begin to happen at the same
// time, "" if there is none: a go statement, a call of a method Go, or, if serving
// counts, the import of the HTTP server, which serves each request on a goroutine.
func firstStart(t *testing.T, name string, serving bool) string {
	t.Helper()
	fset := token.NewFileSet()
	file, err := parser.ParseFile(fset, name, nil, parser.SkipObjectResolution)
	if err != nil {
		t.Fatal(err)
	}
	var found token.Pos
	ast.Inspect(file, func(n ast.Node) bool {
		starts := false
		switch n := n.(type) {
		case *ast.GoStmt:
			starts = true
		case *ast.CallExpr:
			method, ok := n.Fun.(*ast.SelectorExpr)
			starts = ok && method.Sel.Name == "Go"
		case *ast.ImportSpec:
			starts = serving && (n.Path.Value == `"net/http"` || n.Path.Value == `"net/http/httptest"`)
		}
		if starts {
			found = n.Pos()
		}
		return true
	})
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
	only := slices.DeleteFunc(tested(t, "alone"), func(path string) bool { return slices.Contains(race, path) })
	for _, path := range slices.Concat(race, plain, only) {
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

// TestEveryTestRunsOnce: the tests that run without the race detector, though
// their package could do several things at once, are those of the marked files;
// none of these starts a goroutine, and no other test has one of their names.
func TestEveryTestRunsOnce(t *testing.T) {
	race := tested(t, "race")
	pattern, err := regexp.Compile(strings.Join(tested(t, "alone-tests"), ""))
	if err != nil {
		t.Fatal(err)
	}
	alone := tested(t, "alone")
	constraint, functions := regexp.MustCompile(`(?m)^//go:build .*\brace\b`), regexp.MustCompile(`(?m)^func (Test\w+)`)
	marks := 0
	for _, p := range listPackages(t) {
		files, err := filepath.Glob(filepath.Join(p.Dir, "*_test.go"))
		if err != nil {
			t.Fatal(err)
		}
		listed := slices.Contains(alone, p.ImportPath)
		whole := listed && !slices.Contains(race, p.ImportPath)
		for _, name := range files {
			src, err := os.ReadFile(name)
			if err != nil {
				t.Fatal(err)
			}
			marked := bytes.HasPrefix(src, []byte("//go:build !race\n"))
			if !marked && whole {
				t.Errorf("%s never runs: its package is not tested under the race detector", name)
			}
			if !marked && constraint.Match(src) {
				t.Errorf("%s asks for the race detector in a way that no list knows", name)
			}
			for _, m := range functions.FindAllSubmatch(src, -1) {
				if test := string(m[1]); test != "TestMain" && listed && pattern.MatchString(test) != marked {
					t.Errorf("%s of %s runs twice or never", test, name)
				}
			}
			if !marked {
				continue
			}
			marks++
			if !listed {
				t.Errorf("%s is of a package that is not in the list", name)
			}
			if where := firstStart(t, name, false); where != "" {
				t.Errorf("%s is tested without the race detector: %s", name, where)
			}
		}
	}
	if marks < 5 {
		t.Errorf("%d files of tests without the race detector", marks)
	}
}
