//go:build !race

package main

import (
	"bufio"
	"bytes"
	"io"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"
)

const natsPassword = "s3cret-of-the-cluster"

// clusterServer is a server as a process of its own, and what it says.
type clusterServer struct {
	cmd   *exec.Cmd
	lines *bufio.Scanner
	said  bytes.Buffer
}

func serveCluster(t *testing.T, dir, at string, args ...string) *clusterServer {
	t.Helper()
	c := run(append([]string{"serve", "--data", dir, "--site", "north", "--address", "127.0.0.1:0", "--nats", at}, args...)...)
	c.Env = append(c.Env, "LISTBOUND_NATS_USER=ledger", "LISTBOUND_NATS_PASSWORD="+natsPassword)
	return startServer(t, c)
}

// start starts a server.
func start(t *testing.T, args ...string) *clusterServer {
	t.Helper()
	return startServer(t, run(args...))
}

func startServer(t *testing.T, c *exec.Cmd) *clusterServer {
	t.Helper()
	s := &clusterServer{cmd: c}
	out, err := s.cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	s.cmd.Stderr = &s.said
	s.lines = bufio.NewScanner(io.TeeReader(out, &s.said))
	if err := s.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = s.cmd.Process.Kill() })
	return s
}

// until reads on to a line that matches, and returns the match.
func (s *clusterServer) until(t *testing.T, pattern string) string {
	t.Helper()
	for s.lines.Scan() {
		if m := regexp.MustCompile(pattern).FindString(s.lines.Text()); m != "" {
			return m
		}
	}
	t.Fatalf("the server ended without saying %s: %v\n%s", pattern, s.cmd.Wait(), &s.said)
	return ""
}

// TestServeCluster has one server write into NATS, another stand by with the same keys and take over, and nobody says the
// password.
func TestServeCluster(t *testing.T) {
	n, err := server.NewServer(&server.Options{Host: "127.0.0.1", Port: server.RANDOM_PORT, NoSigs: true, NoLog: true, JetStream: true,
		StoreDir: t.TempDir(), Username: "ledger", Password: natsPassword, JetStreamMaxStore: 1 << 30, JetStreamMaxMemory: 1 << 20})
	if err != nil {
		t.Fatal(err)
	}
	n.Start()
	defer n.Shutdown()
	if !n.ReadyForConnections(time.Minute) {
		t.Fatal("the NATS server does not come up")
	}
	one, two := t.TempDir(), filepath.Join(t.TempDir(), "two")
	first := serveCluster(t, one, n.ClientURL())
	first.until(t, "kept by 1 server")
	url := first.until(t, `http://[0-9.:]+`)
	said, err := run("stations", "enrol", "north/packing-1", "--server", url).CombinedOutput()
	if err != nil || !strings.Contains(string(said), "enrolled by record 2") { // record 1 is the writer's first
		t.Fatalf("%v\n%s", err, said)
	}
	backup := filepath.Join(t.TempDir(), "backup")
	for _, args := range [][]string{{"backup", backup, "--data", one}, {"restore", backup, "--data", two}} {
		if said, err := run(args...).CombinedOutput(); err != nil {
			t.Fatalf("%v: %v\n%s", args, err, said)
		}
	}
	second := serveCluster(t, two, n.ClientURL())
	second.until(t, "standing by: listbound serve at "+regexp.QuoteMeta(url))
	if err := first.cmd.Process.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	url = second.until(t, `http://[0-9.:]+`)
	for _, c := range []struct {
		args []string
		ok   bool
		says string
	}{
		{[]string{"stations", "--server", url}, true, "north/packing-1"},
		{[]string{"verify", "--server", url}, true, "intact: 3 records"},
		{[]string{"verify", "--data", one}, false, "are kept in a NATS cluster"},
		{[]string{"repair", "--data", one}, false, "are kept in a NATS cluster"},
		{[]string{"serve", "--data", t.TempDir(), "--site", "north", "--nats", "nats://127.0.0.1:1"}, false, "127.0.0.1:1 cannot be reached"},
		{[]string{"serve", "--data", t.TempDir(), "--nats", "nats://u:" + natsPassword + "%zz@h:1"}, false, "can't be read as such"},
		{[]string{"serve", "--data", t.TempDir(), "--nats-fill"}, false, "--nats says where the cluster is"},
		{[]string{"serve", "--data", t.TempDir(), "--site", "north", "--nats", "nats://ledger:wrong@" + n.Addr().String()}, false, "is right"},
	} {
		said, err := run(c.args...).CombinedOutput()
		if (err == nil) != c.ok || !strings.Contains(string(said), c.says) || strings.Contains(string(said), natsPassword) {
			t.Errorf("%v: %v\n%s\nshould say %q", c.args, err, said, c.says)
		}
	}
	// A folder with another key of the same name takes nothing over.
	third := serveCluster(t, t.TempDir(), n.ClientURL())
	if err := third.cmd.Wait(); err == nil || !strings.Contains(third.said.String(), "copy the folder keys") {
		t.Errorf("another key of the ledger's name: %v\n%s", err, &third.said)
	}
	if err := second.cmd.Process.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	for _, s := range []*clusterServer{first, second} {
		for s.lines.Scan() { // until it has closed its output
		}
		if err := s.cmd.Wait(); err != nil || strings.Contains(s.said.String(), natsPassword) {
			t.Errorf("a server ended with %v, and said\n%s", err, &s.said)
		}
	}
	// Alone again, the other key is found out by the records.
	third = serveCluster(t, t.TempDir(), n.ClientURL())
	if err := third.cmd.Wait(); err == nil || !strings.Contains(third.said.String(), "under another key") {
		t.Errorf("another key of the ledger's name: %v\n%s", err, &third.said)
	}
}
