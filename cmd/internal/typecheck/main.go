// Command typecheck holds packages of this module, their tests and all that they need, against the compiler's rules for
// another system:
//
//	go run ./cmd/internal/typecheck windows/amd64 ./cmd/listbound ./ledger/...
//
// What a system has of its own (files, constants, functions that others lack) is checked as the compiler would, in a twentieth
// of the time that building takes: of other modules' packages, and of Go's own, nobody needs what their functions do to know
// whether ours call them rightly. What only a linker finds is not found.
package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"go/ast"
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

func main() {
	if len(os.Args) < 3 || strings.Count(os.Args[1], "/") != 1 {
		fmt.Fprintln(os.Stderr, "usage: typecheck SYSTEM/PROCESSOR PACKAGES, as windows/amd64 ./ledger/...")
		os.Exit(2)
	}
	system, processor, _ := strings.Cut(os.Args[1], "/")
	n, err := check(context.Background(), system, processor, os.Args[2:])
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	fmt.Printf("%s: %d packages and variants of them for tests\n", os.Args[1], n)
}

// listed is what "go list" says about a package.
type listed struct {
	ImportPath string
	Dir        string
	GoFiles    []string
	ImportMap  map[string]string
	Module     *struct {
		Main      bool
		GoVersion string
	}
	Error *struct{ Err string }
}

// ours reports whether a package is of this module.
func (p *listed) ours() bool { return p.Module != nil && p.Module.Main }

// check checks what the patterns name and all that it needs, and returns how many packages of this module there were.
func check(ctx context.Context, system, processor string, patterns []string) (n int, err error) {
	packages, err := list(ctx, system, processor, patterns)
	if err != nil {
		return 0, err
	}
	done := map[string]*types.Package{"unsafe": types.Unsafe}
	sizes := types.SizesFor("gc", processor)
	if sizes == nil {
		return 0, fmt.Errorf("the compiler knows no processor %q", processor)
	}
	fset := token.NewFileSet()
	var found []error
	for _, p := range packages { // each stands behind what it imports
		if p.ImportPath == "unsafe" || strings.HasSuffix(p.ImportPath, ".test") { // the second is what go test writes
			continue
		}
		pkg, err := p.check(fset, sizes, done)
		if p.ours() {
			n++
			found = append(found, err...)
		}
		done[p.ImportPath] = pkg
	}
	return n, errors.Join(found...)
}

// list returns packages and all that they need, each behind what it imports.
func list(ctx context.Context, system, processor string, patterns []string) (packages []*listed, err error) {
	cmd := exec.CommandContext(ctx, "go", append([]string{"list", "-deps", "-test", "-json=ImportPath,Dir,GoFiles,ImportMap,Module,Error"},
		patterns...)...)
	cmd.Env = append(os.Environ(), "CGO_ENABLED=0", "GOOS="+system, "GOARCH="+processor)
	var said bytes.Buffer
	cmd.Stderr = &said
	out, err := cmd.Output()
	if err != nil {
		return nil, fmt.Errorf("go list: %w\n%s", err, &said)
	}
	for d := json.NewDecoder(bytes.NewReader(out)); ; {
		p := new(listed)
		if err := d.Decode(p); errors.Is(err, io.EOF) {
			return packages, nil
		} else if err != nil {
			return nil, fmt.Errorf("go list: %w", err)
		}
		if p.Error != nil {
			return nil, fmt.Errorf("%s: %s", p.ImportPath, p.Error.Err)
		}
		packages = append(packages, p)
	}
}

// check checks one package. What is found in another module's is that module's, mostly names that only its functions need.
func (p *listed) check(fset *token.FileSet, sizes types.Sizes, done map[string]*types.Package) (*types.Package, []error) {
	var files []*ast.File
	var found []error
	for _, name := range p.GoFiles {
		if !filepath.IsAbs(name) {
			name = filepath.Join(p.Dir, name)
		}
		file, err := parser.ParseFile(fset, name, nil, parser.SkipObjectResolution)
		if err != nil {
			return nil, []error{err}
		}
		if !p.ours() {
			for _, d := range file.Decls { // or all of it would stay in memory
				if f, ok := d.(*ast.FuncDecl); ok {
					f.Body = nil
				}
			}
		}
		files = append(files, file)
	}
	config := types.Config{
		Sizes: sizes, IgnoreFuncBodies: !p.ours(), Error: func(err error) { found = append(found, err) },
		Importer: importer(func(path string) (*types.Package, error) {
			if other, ok := p.ImportMap[path]; ok {
				path = other
			}
			if pkg := done[path]; pkg != nil {
				return pkg, nil
			}
			return nil, fmt.Errorf("%s imports %s, which is not there", p.ImportPath, path)
		}),
	}
	if p.Module != nil && p.Module.GoVersion != "" {
		config.GoVersion = "go" + p.Module.GoVersion
	}
	path, _, _ := strings.Cut(p.ImportPath, " ") // a variant for a test: "a/b [a/b.test]"
	pkg, err := config.Check(path, fset, files, nil)
	if len(found) == 0 && err != nil {
		found = append(found, err)
	}
	return pkg, slices.Clip(found)
}

type importer func(path string) (*types.Package, error)

func (i importer) Import(path string) (*types.Package, error) { return i(path) }
