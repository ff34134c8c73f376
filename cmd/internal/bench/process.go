package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"syscall"
	"time"
)

// command is a program whose errors are shown.
func command(ctx context.Context, name string, args ...string) *exec.Cmd {
	c := exec.CommandContext(ctx, name, args...)
	c.Stderr = os.Stderr
	return c
}

// child is a server that runs beside this process.
type child struct {
	cmd *exec.Cmd
	url string
}

var address = regexp.MustCompile(`http://127\.0\.0\.1:\d+`)

// serving starts a program that says where it serves.
func serving(cmd *exec.Cmd) (*child, error) {
	out, err := cmd.StdoutPipe()
	if err != nil {
		return nil, err
	}
	if err := cmd.Start(); err != nil {
		return nil, err
	}
	c := &child{cmd: cmd}
	for lines := bufio.NewScanner(out); c.url == "" && lines.Scan(); {
		c.url = address.FindString(lines.Text())
	}
	if c.url == "" {
		return nil, errors.Join(errors.New("it did not say where it serves"), c.end(os.Kill))
	}
	go func() { _, _ = io.Copy(io.Discard, out) }() // or it would wait for a reader
	return c, nil
}

// end ends it and waits. How it ended was asked for, so that is no error.
func (c *child) end(by os.Signal) error {
	if c == nil {
		return nil
	}
	if err := c.cmd.Process.Signal(by); err != nil && !errors.Is(err, os.ErrProcessDone) {
		return err
	}
	var ended *exec.ExitError
	if err := c.cmd.Wait(); err != nil && !errors.As(err, &ended) {
		return err
	}
	return nil
}

func (c *child) stop() error { return c.end(syscall.SIGTERM) }

// cpu is what a process has used of the processors, and all that it started.
func cpu(pid int) time.Duration {
	used := ownCPU(pid)
	children, err := filepath.Glob(fmt.Sprintf("/proc/%d/task/*/children", pid))
	if err != nil {
		return used
	}
	for _, path := range children {
		raw, err := os.ReadFile(path)
		if err != nil {
			continue // it has ended since
		}
		for _, p := range strings.Fields(string(raw)) {
			if n, err := strconv.Atoi(p); err == nil {
				used += cpu(n)
			}
		}
	}
	return used
}

// ownCPU is what a process has used itself, with its children that have ended.
func ownCPU(pid int) (used time.Duration) {
	raw, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	if err != nil {
		return 0
	}
	const tick = 10 * time.Millisecond // of the kernel's clock, as it tells programs
	// The name may have spaces; what is behind it has none. User and system time are the 14th and 15th field of all, and the
	// same of children follow.
	_, rest, _ := strings.Cut(string(raw), ") ")
	for i, f := range strings.Fields(rest) {
		if n, err := strconv.Atoi(f); err == nil && i >= 11 && i <= 14 {
			used += time.Duration(n) * tick
		}
	}
	return used
}

// peak is the most memory that a program had that has ended, in MB.
func peak(c *exec.Cmd) float64 {
	u, ok := c.ProcessState.SysUsage().(*syscall.Rusage)
	if !ok {
		return 0
	}
	return float64(u.Maxrss) / 1024
}

// usage is the CPU that a program has used that has ended.
func usage(c *exec.Cmd) time.Duration { return c.ProcessState.UserTime() + c.ProcessState.SystemTime() }

func processor() string {
	raw, err := os.ReadFile("/proc/cpuinfo")
	if err != nil {
		return "unknown processor"
	}
	for line := range strings.Lines(string(raw)) {
		if name, ok := strings.CutPrefix(line, "model name\t: "); ok {
			return strings.TrimSpace(name)
		}
	}
	return "unknown processor"
}

// load is how many others want the processors, by the system's mean of a minute.
func load() string {
	raw, err := os.ReadFile("/proc/loadavg")
	if err != nil {
		return "unknown"
	}
	mean, _, _ := strings.Cut(string(raw), " ")
	return mean
}

// get asks for a page and returns it.
func get(ctx context.Context, client *http.Client, url string) ([]byte, error) {
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, url, nil)
	if err != nil {
		return nil, err
	}
	resp, err := client.Do(r)
	if err != nil {
		return nil, err
	}
	defer resp.Body.Close()
	raw, err := io.ReadAll(resp.Body)
	if err == nil && resp.StatusCode != http.StatusOK {
		err = fmt.Errorf("%s: %s: %.200s", url, resp.Status, raw)
	}
	return raw, err
}
