//go:build !race

package main

import (
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"syscall"
	"testing"
	"time"
)

// untilStation asks a server until it knows a station.
func untilStation(t *testing.T, url, name string) {
	t.Helper()
	for until := time.Now().Add(time.Minute); time.Now().Before(until); {
		if out, err := run("stations", "--server", url).CombinedOutput(); err != nil {
			t.Fatalf("%v\n%s", err, out)
		} else if strings.Contains(string(out), name+" ") {
			return
		}
	}
	t.Fatalf("%s is not known at %s", name, url)
}

// TestFollow has a server write a ledger and another one follow it, kills the follower with kill -9 and then the writer: the
// follower has all that there was, goes on by itself, and records nothing.
func TestFollow(t *testing.T) {
	const lines = 300
	dir, copied := t.TempDir(), filepath.Join(t.TempDir(), "copy")
	week, err := weekLines()
	if err != nil {
		t.Fatal(err)
	}
	record := run("record", "--data", dir, "--site", "north")
	record.Stdin = strings.NewReader(strings.Join(week[:lines], "\n"))
	if out, err := record.CombinedOutput(); err != nil {
		t.Fatalf("%v\n%.2000s", err, out)
	}
	out, err := run("key", "--data", dir).Output()
	key := strings.TrimSpace(string(out))
	if err != nil || !strings.HasPrefix(key, "north/ledger+") {
		t.Fatalf("%v: %s", err, out)
	}
	writer := start(t, "serve", "--data", dir, "--address", "127.0.0.1:0")
	url := writer.until(t, `http://[0-9.:]+`)
	follow := []string{"follow", "--server", url, "--data", copied, "--address", "127.0.0.1:0"}
	if out, err := run(follow...).CombinedOutput(); err == nil || !strings.Contains(string(out), "--ledger") {
		t.Fatalf("without the ledger's key: %v\n%s", err, out)
	}
	wrong := strings.Replace(key, "north/ledger+", "north/ledger+0", 1)
	out, err = run(append(follow, "--ledger", wrong)...).CombinedOutput()
	if err == nil || !strings.Contains(string(out), "can't be read") {
		t.Fatalf("with no key: %v\n%s", err, out)
	}
	follower := start(t, append(follow, "--ledger", key)...)
	upTo := regexp.MustCompile(`[0-9]+$`)
	began := `following north/ledger, which is written at ` + regexp.QuoteMeta(url) + `, up to record [0-9]+`
	size := upTo.FindString(follower.until(t, began))
	here := follower.until(t, `http://[0-9.:]+`)
	var n int
	if _, err := fmt.Sscan(size, &n); err != nil || n <= lines {
		t.Fatalf("it has %s records: %v", size, err)
	}
	for _, c := range []struct {
		args []string
		ok   bool
		says string
	}{
		{[]string{"verify", "--server", here}, true, fmt.Sprintf("intact: %d records", n)},
		{[]string{"broken", "--server", here}, true, ""},
		{[]string{"stations", "enrol", "north/new", "--server", here}, false, url},
		{[]string{"evidence", "--set", "LAP-014", "--out", filepath.Join(t.TempDir(), "e.zip"), "--server", here}, false, url},
		{[]string{"broken", "--data", copied}, false, "listbound follow"},
		{[]string{"serve", "--data", copied}, false, "listbound follow"},
		{[]string{"follow", "--data", copied}, false, "--server says where the ledger is written"},
		{[]string{"follow", "--server", url, "--data", dir, "--ledger", key}, false, "is in use"},
		{append([]string{"stations", "enrol", "north/new"}, "--server", url), true, fmt.Sprintf("enrolled by record %d", n+1)},
	} {
		out, err := run(c.args...).CombinedOutput()
		if (err == nil) != c.ok || !strings.Contains(string(out), c.says) {
			t.Errorf("%v: %v\n%s\nshould say %q", c.args, err, out, c.says)
		}
	}
	untilStation(t, here, "north/new")
	if out, err := run("stations", "--server", here).CombinedOutput(); err != nil || strings.Contains(string(out), "keeps its own key") {
		t.Errorf("it says whose key lies where, and has none: %v\n%s", err, out)
	}
	if err := follower.cmd.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	_ = follower.cmd.Wait()
	follower = start(t, follow...)
	follower.until(t, fmt.Sprintf(`up to record %d`, n+1))
	here = follower.until(t, `http://[0-9.:]+`)
	if out, err := run("stations", "enrol", "north/newer", "--server", url).CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	untilStation(t, here, "north/newer")
	for _, s := range []*clusterServer{writer, follower} {
		if err := s.cmd.Process.Signal(syscall.SIGTERM); err != nil {
			t.Fatal(err)
		}
		for s.lines.Scan() { // until it has closed its output
		}
		if err := s.cmd.Wait(); err != nil {
			t.Errorf("a server ended with %v, and said\n%s", err, &s.said)
		}
	}
	follower = start(t, follow...)
	follower.until(t, fmt.Sprintf(`up to record %d`, n+2))
	here = follower.until(t, `http://[0-9.:]+`)
	if out, err := run("stations", "--server", here).CombinedOutput(); err != nil || !strings.Contains(string(out), "north/newer") {
		t.Errorf("alone: %v\n%s", err, out)
	}
	if _, err := os.Stat(filepath.Join(copied, "keys")); !os.IsNotExist(err) {
		t.Errorf("a follower has keys: %v", err)
	}
}
