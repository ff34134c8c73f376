// Command weekgen writes the scenario's files of observations from the plan in
// this folder. The same plan gives the same bytes.
//
// It is run by go generate in the folder above, and takes one argument at most:
// the folder to write to, "week" when left out.
package main

import (
	"fmt"
	"os"
	"path/filepath"
)

func main() {
	dir := "week"
	if len(os.Args) > 1 {
		dir = os.Args[1]
	}
	if err := write(dir); err != nil {
		fmt.Fprintln(os.Stderr, "weekgen:", err)
		os.Exit(1)
	}
}

func write(dir string) error {
	files, err := generate()
	if err != nil {
		return err
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	for _, f := range files {
		if err := os.WriteFile(filepath.Join(dir, f.name), f.data, 0o644); err != nil {
			return err
		}
	}
	return nil
}
