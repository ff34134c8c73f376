// Page makes the checker of evidence bundles as one HTML page, for people who don't run programs: the page is opened from
// a disk, without a network, and a bundle is dropped on it. The checker in it is the same code as listbound-verify, as
// WebAssembly.
package main

import (
	"bytes"
	"compress/gzip"
	"context"
	_ "embed"
	"encoding/base64"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
)

//go:embed page.html
var page string

func main() {
	out := flag.String("o", "listbound-verify.html", "`file` to write")
	flag.Parse()
	if err := write(context.Background(), *out); err != nil {
		fmt.Fprintln(os.Stderr, "page:", err)
		os.Exit(1)
	}
}

// write makes the page. It runs the Go command, which must be that of this program's version.
func write(ctx context.Context, out string) error {
	dir, err := os.MkdirTemp("", "listbound-page-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	wasm := filepath.Join(dir, "verify.wasm")
	build := exec.CommandContext(ctx, "go", "build", "-trimpath", "-ldflags=-s -w", "-o", wasm, "listbound/cmd/listbound-verify")
	build.Env = append(os.Environ(), "GOOS=js", "GOARCH=wasm")
	if said, err := build.CombinedOutput(); err != nil {
		return fmt.Errorf("building the checker: %w\n%s", err, said)
	}
	root, err := exec.CommandContext(ctx, "go", "env", "GOROOT").Output()
	if err != nil {
		return fmt.Errorf("looking for Go's own files: %w", err)
	}
	glue, err := os.ReadFile(filepath.Join(strings.TrimSpace(string(root)), "lib", "wasm", "wasm_exec.js"))
	if err != nil {
		return err
	}
	raw, err := os.ReadFile(wasm)
	if err != nil {
		return err
	}
	var packed bytes.Buffer
	z, err := gzip.NewWriterLevel(&packed, gzip.BestCompression)
	if err != nil {
		return err
	}
	if _, err := z.Write(raw); err != nil {
		return err
	}
	if err := z.Close(); err != nil {
		return err
	}
	filled := strings.NewReplacer("/*GLUE*/", string(glue), "/*WASM*/", base64.StdEncoding.EncodeToString(packed.Bytes())).Replace(page)
	return os.WriteFile(out, []byte(filled), 0o644)
}
