package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// Each of these is right on the system that the tests run on, and wrong or not there on the other.
func TestCheck(t *testing.T) {
	for name, c := range map[string]struct {
		files map[string]string
		want  string // part of the error; "" for none
	}{
		"right": {map[string]string{
			"sample.go":         "package sample\n\nimport \"syscall\"\n\nvar Handle = handle(syscall.Stdin)\n",
			"sample_windows.go": "package sample\n\nimport \"syscall\"\n\nfunc handle(h syscall.Handle) uintptr { return uintptr(h) }\n",
			"sample_other.go":   "//go:build !windows\n\npackage sample\n\nfunc handle(fd int) int { return fd }\n",
		}, ""},
		"a function that is only here": {map[string]string{
			"sample.go": "package sample\n\nimport \"syscall\"\n\nfunc Mask() int { return syscall.Umask(0) }\n",
		}, "undefined: syscall.Umask"},
		"a file that is only there": {map[string]string{
			"sample.go":         "package sample\n",
			"sample_windows.go": "package sample\n\nvar n int = \"one\"\n",
		}, "sample_windows.go:3:13"},
		"a test": {map[string]string{
			"sample.go":              "package sample\n",
			"sample_windows_test.go": "package sample\n\nfunc unused() { n := 1 }\n",
		}, "declared and not used: n"},
		"a package of which nothing is there": {map[string]string{
			"sample.go": "package sample\n\nimport \"log/syslog\"\n\nvar New = syslog.New\n",
		}, "undefined: syslog.New"},
		"a package for no system but another": {map[string]string{
			"other/other.go": "//go:build linux\n\npackage other\n",
			"sample.go":      "package sample\n\nimport _ \"sample/other\"\n",
		}, "build constraints exclude all Go files"},
	} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			c.files["go.mod"] = "module sample\n\ngo 1.24\n"
			for name, text := range c.files {
				if err := os.MkdirAll(filepath.Join(dir, filepath.Dir(name)), 0o700); err != nil {
					t.Fatal(err)
				}
				if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
					t.Fatal(err)
				}
			}
			t.Chdir(dir)
			n, err := check(t.Context(), "windows", "amd64", []string{"./..."})
			switch {
			case c.want == "" && (err != nil || n != 1):
				t.Errorf("%d packages: %v", n, err)
			case c.want != "" && (err == nil || !strings.Contains(err.Error(), c.want)):
				t.Errorf("%v, want it to say %q", err, c.want)
			}
		})
	}
}
