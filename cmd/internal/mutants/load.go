package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"go/ast"
	"go/importer"
	"go/parser"
	"go/token"
	"go/types"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
)

// listed is what "go list" says about a package.
type listed struct {
	ImportPath   string
	Name         string
	Dir          string
	GoFiles      []string
	TestGoFiles  []string
	XTestGoFiles []string
	TestImports  []string
	XTestImports []string
	Export       string
	DepOnly      bool
	Error        *struct{ Err string }
}

// source is a package with its types.
type source struct {
	listed
	fset  *token.FileSet
	files []*ast.File
	text  map[string][]byte // by path
	info  *types.Info
	pkg   *types.Package
	tests []listed // the packages whose tests are run: its own, then others'
}

// load lists, parses and type-checks the packages that the patterns name. Packages without tests are left out, unless the
// tests of another package are to be run as well.
func load(ctx context.Context, patterns []string, testsOf string) ([]*source, error) {
	var further []listed
	if testsOf != "" {
		wanted, _, err := list(ctx, []string{testsOf})
		if err != nil {
			return nil, err
		}
		if len(wanted) != 1 || !wanted[0].hasTests() {
			return nil, fmt.Errorf("%s is not one package with tests", testsOf)
		}
		further = wanted
	}
	wanted, exports, err := list(ctx, patterns)
	if err != nil {
		return nil, err
	}
	var sources []*source
	for _, p := range wanted {
		s := &source{listed: p, fset: token.NewFileSet(), text: map[string][]byte{}}
		for _, t := range append([]listed{p}, further...) {
			if t.hasTests() {
				s.tests = append(s.tests, t)
			}
		}
		if len(s.tests) == 0 {
			continue
		}
		if err := s.check(exports); err != nil {
			return nil, fmt.Errorf("%s: %w", p.ImportPath, err)
		}
		sources = append(sources, s)
	}
	if len(sources) == 0 {
		return nil, fmt.Errorf("no package with tests in %s", strings.Join(patterns, " "))
	}
	return sources, nil
}

// list returns the packages that the patterns name, and where the compiled form of each package they need is.
func list(ctx context.Context, patterns []string) (wanted []listed, exports map[string]string, err error) {
	args := append([]string{"list", "-deps", "-export", "-json"}, patterns...)
	cmd := exec.CommandContext(ctx, "go", args...)
	cmd.Env = withoutCgo()
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	out, err := cmd.Output()
	if err != nil {
		return nil, nil, fmt.Errorf("go list: %w\n%s", err, stderr.Bytes())
	}
	exports = map[string]string{}
	for d := json.NewDecoder(bytes.NewReader(out)); ; {
		var p listed
		if err := d.Decode(&p); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			return nil, nil, fmt.Errorf("go list: %w", err)
		}
		if p.Error != nil {
			return nil, nil, fmt.Errorf("%s: %s", p.ImportPath, p.Error.Err)
		}
		exports[p.ImportPath] = p.Export
		if !p.DepOnly {
			wanted = append(wanted, p)
		}
	}
	return wanted, exports, nil
}

// withoutCgo is the environment of the Go command: whoever runs this may have cgo on for another reason, such as the race
// detector, and all would be compiled anew.
func withoutCgo() []string { return append(os.Environ(), "CGO_ENABLED=0") }

func (p *listed) hasTests() bool { return len(p.TestGoFiles)+len(p.XTestGoFiles) > 0 }

func (s *source) check(exports map[string]string) error {
	for _, name := range s.GoFiles {
		path := filepath.Join(s.Dir, name)
		text, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		file, err := parser.ParseFile(s.fset, path, text, parser.SkipObjectResolution|parser.ParseComments)
		if err != nil {
			return err
		}
		s.text[path] = text
		s.files = append(s.files, file)
	}
	s.info = &types.Info{Types: map[ast.Expr]types.TypeAndValue{}}
	config := types.Config{Importer: importer.ForCompiler(s.fset, "gc", func(path string) (io.ReadCloser, error) {
		if exports[path] == "" {
			return nil, fmt.Errorf("no export data for %s", path)
		}
		return os.Open(exports[path])
	})}
	var err error
	s.pkg, err = config.Check(s.ImportPath, s.fset, s.files, s.info)
	return err
}

// usesRapid reports whether the package's tests are built with the library that searches for a small failing case and
// writes it into the package's folder: both would be a waste here.
func (p *listed) usesRapid() bool {
	return slices.Contains(slices.Concat(p.TestImports, p.XTestImports), "pgregory.net/rapid")
}
