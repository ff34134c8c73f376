//go:build !race

package main

import (
	"bufio"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"regexp"
	"testing"
)

// TestSecondInterruptEndsAtOnce: the first one waits for a request that is under way, the second for nothing. A machine
// that is so slow that the wait ends before the second comes gets another try.
func TestSecondInterruptEndsAtOnce(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "d")
	for range 5 {
		status, waited := interruptedTwice(t, dir)
		if status == interrupted {
			return
		}
		t.Logf("exit status %d; it was still there after the first interrupt: %v", status, waited)
	}
	t.Error("a second interrupt did not end it at once")
}

// interruptedTwice serves a folder, leaves a request unfinished, interrupts once, and once more when nobody can connect any
// more. waited is whether the program was still there then.
func interruptedTwice(t *testing.T, dir string) (status int, waited bool) {
	t.Helper()
	c := run("serve", "--data", dir, "--site", "north", "--address", "127.0.0.1:0")
	out, err := c.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	defer c.Process.Kill() //nolint:errcheck // it has ended, unless the test failed
	lines, address := bufio.NewScanner(out), ""
	for address == "" && lines.Scan() {
		if m := regexp.MustCompile(`http://(127\.0\.0\.1:\d+)`).FindStringSubmatch(lines.Text()); m != nil {
			address = m[1]
		}
	}
	busy, err := net.Dial("tcp", address)
	if err != nil {
		t.Fatal(err)
	}
	defer busy.Close()
	// The server asks for the body, so it has begun with the request.
	head := "POST /api/observations HTTP/1.1\r\nHost: %s\r\nContent-Length: 1000\r\nExpect: 100-continue\r\n\r\n"
	if _, err := fmt.Fprintf(busy, head, address); err != nil {
		t.Fatal(err)
	}
	if _, err := bufio.NewReader(busy).ReadString('\n'); err != nil {
		t.Fatal(err)
	}
	if err := c.Process.Signal(os.Interrupt); err != nil {
		t.Fatal(err)
	}
	for err == nil { // until it listens no more
		var probe net.Conn
		if probe, err = net.Dial("tcp", address); err == nil {
			probe.Close()
		}
	}
	waited = c.Process.Signal(os.Interrupt) == nil
	if err := c.Wait(); err != nil && c.ProcessState == nil {
		t.Fatal(err)
	}
	return c.ProcessState.ExitCode(), waited
}
