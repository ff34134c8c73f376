package main

import (
	"bytes"
	"context"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"time"
)

// folder is a data folder of the program that is measured.
type folder struct {
	b     *bench
	dir   string
	begin time.Time
}

// newFolder makes one in which so many departments may record.
func (b *bench) newFolder(ctx context.Context, name string, departments int) (*folder, error) {
	f := &folder{b: b, dir: filepath.Join(b.dir, name), begin: worldBegins(b.records)}
	first := f.dir + ".jsonl"
	w, err := os.Create(first)
	if err != nil {
		return nil, err
	}
	defer os.Remove(first)
	defer w.Close()
	if err := writeTurns(w, f.begin, departments, 1); err != nil {
		return nil, err
	}
	_, err = f.record(ctx, first)
	return f, err
}

// record has the program record a file, and returns the process that did, for what it used.
func (f *folder) record(ctx context.Context, file string) (*exec.Cmd, error) {
	c := exec.CommandContext(ctx, f.b.program, "record", "--data", f.dir, "--site", "north", file)
	var said bytes.Buffer
	c.Stderr = &said
	if err := c.Run(); err != nil {
		return nil, fmt.Errorf("record: %w: %.500s", err, &said)
	}
	return c, nil
}

func (f *folder) serve(ctx context.Context) (*child, error) {
	return serving(command(ctx, f.b.program, "serve", "--data", f.dir, "--address", "127.0.0.1:0"))
}

// run has the program do something with the folder.
func (f *folder) run(ctx context.Context, name string, args ...string) (*exec.Cmd, time.Duration, error) {
	c := command(ctx, f.b.program, append([]string{name, "--data", f.dir}, args...)...)
	begun := time.Now()
	err := c.Run()
	return c, time.Since(begun), err
}

// size is what the folder takes on the disk, keys left out.
func (f *folder) size() (n int64, err error) {
	err = filepath.WalkDir(f.dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		i, err := d.Info()
		if err == nil {
			n += i.Size()
		}
		return err
	})
	return n, err
}

// filled is the folder of many records, the rival's like it where there is one. It is filled once: how long that took is the
// measure of files.
func (b *bench) filled(ctx context.Context) (*folder, error) {
	if b.bulk == nil {
		if err := files(ctx, b); err != nil {
			return nil, err
		}
	}
	return b.bulk, nil
}
