//go:build !race

package main

import (
	"bufio"
	"bytes"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"io"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"syscall"
	"testing"
)

// TestServeRefusesToBeOpen: what others can reach has TLS and somebody who lets people in, or is not served at all.
func TestServeRefusesToBeOpen(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "d")
	for _, test := range []struct {
		args []string
		says string
	}{
		{[]string{"--address", "0.0.0.0:0"}, "--own-ca"},
		{[]string{"--address", ":0"}, "--own-ca"},
		{[]string{"--address", "[::]:0"}, "--own-ca"},
		{[]string{"--address", "desk.north.example:0"}, "--own-ca"},
		{[]string{"--address", "192.0.2.7:0", "--administrator"}, "--own-ca"},
		{[]string{"--feed", "0.0.0.0:0", "--reader", "UA"}, "the feed at 0.0.0.0:0"},
		{[]string{"--cert", "x.pem"}, "belong together"},
		{[]string{"--key", "x.key"}, "belong together"},
		{[]string{"--cert", "x.pem", "--key", "x.key", "--own-ca"}, "not both"},
		{[]string{"--address", "0.0.0.0:0", "--own-ca"}, "--administrator"},
		{[]string{"--address", "127.0.0.1:0", "--proxy", "127.0.0.1"}, "--administrator"},
		{[]string{"--proxy", "desk.north.example"}, "in figures"},
		{[]string{"--proxy", "0.0.0.0/0"}, "every address"},
	} {
		said, err := untilItServes(t, append([]string{"serve", "--data", dir, "--site", "north"}, test.args...)...)
		if err == nil || !strings.Contains(said, test.says) || strings.Contains(said, "serving") {
			t.Errorf("%v: %v\n%s\nshould say %q", test.args, err, said, test.says)
		}
	}
}

// untilItServes runs a command and returns what it says until it ends, or until it says that it serves: then it is ended.
func untilItServes(t *testing.T, args ...string) (said string, err error) {
	t.Helper()
	cmd := run(args...)
	r, w, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	cmd.Stdout, cmd.Stderr = w, w
	err = cmd.Start()
	if err := errors.Join(err, w.Close()); err != nil { // the command has its own
		t.Fatal(err)
	}
	lines := bufio.NewScanner(r)
	for lines.Scan() {
		said += lines.Text() + "\n"
		if strings.Contains(lines.Text(), "serving") {
			_ = cmd.Process.Kill() // unless it has just ended
		}
	}
	return said, cmd.Wait()
}

// opened is a server that others could reach.
type opened struct {
	cmd   *exec.Cmd
	lines *bufio.Scanner
	err   bytes.Buffer
	url   string
	code  string
	print string // the authority's fingerprint
}

func openServer(t *testing.T, dir string, more ...string) *opened {
	t.Helper()
	s := &opened{cmd: run(append([]string{"serve", "--data", dir, "--site", "north", "--address", "0.0.0.0:0", "--own-ca"}, more...)...)}
	out, err := s.cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	s.cmd.Stderr = &s.err
	if err := s.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	s.lines = bufio.NewScanner(out)
	for s.url == "" && s.lines.Scan() {
		line := s.lines.Text()
		if m := regexp.MustCompile(`https://.*:(\d+)`).FindStringSubmatch(line); m != nil {
			s.url = "https://127.0.0.1:" + m[1]
		}
		if m := regexp.MustCompile(`/code: (\S+)$`).FindStringSubmatch(line); m != nil {
			s.code = m[1]
		}
		if regexp.MustCompile(`^([0-9A-F]{2}:){31}`).MatchString(line) {
			s.print = line
		}
	}
	if s.url == "" || s.print == "" {
		_ = s.cmd.Process.Kill()
		t.Fatalf("the server did not say where it serves: %s", s.err.String())
	}
	return s
}

func (s *opened) stop(t *testing.T) {
	t.Helper()
	if err := s.cmd.Process.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	for s.lines.Scan() { // until it has closed its output
	}
	if err := s.cmd.Wait(); err != nil {
		t.Errorf("ending the server: %v: %s", err, s.err.String())
	}
}

// TestServeToOthers runs a server that others can reach: its first administrator by the printed code, tokens, and every command that
// takes --server with a token from a file and from the environment.
func TestServeToOthers(t *testing.T) {
	dir, work := t.TempDir(), t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "as-of"), []byte("2026-03-02T12:00:00Z\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	s := openServer(t, dir, "--administrator")
	if s.code == "" {
		t.Fatal("no code was printed")
	}
	ca := filepath.Join(dir, "tls", "ca.pem")
	raw, err := os.ReadFile(ca)
	if err != nil {
		t.Fatal(err)
	}
	roots := x509.NewCertPool()
	if !roots.AppendCertsFromPEM(raw) {
		t.Fatal("no certificate")
	}
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	c := &http.Client{Jar: jar, Transport: &http.Transport{TLSClientConfig: &tls.Config{RootCAs: roots}, ForceAttemptHTTP2: true}}
	defer c.CloseIdleConnections()
	post := func(path string, form url.Values) string {
		t.Helper()
		res, err := c.PostForm(s.url+path, form)
		if err != nil {
			t.Fatal(err)
		}
		defer res.Body.Close()
		text, err := io.ReadAll(res.Body)
		if err != nil || res.StatusCode != http.StatusOK {
			t.Fatalf("%s: %d, %v: %s", path, res.StatusCode, err, text)
		}
		return string(text)
	}
	const password = "Regenschirm und 7 Laternen"
	post("/code", url.Values{"code": {s.code}, "login": {"anna"}, "password": {password}, "again": {password}})
	tokens := make(map[string]string)
	for _, role := range []string{"records", "leads", "investigates", "audits", "administers"} {
		page := post("/people/token", url.Values{"role": {role}, "station": {"north/packing-1"}, "name": {role}, "days": {"9"}})
		m := regexp.MustCompile(`<code id="secret">([^<]+)<`).FindStringSubmatch(page)
		if m == nil {
			t.Fatalf("no token: %s", page)
		}
		tokens[role] = m[1]
		if err := os.WriteFile(filepath.Join(work, role), []byte(m[1]+"\n"), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	loose := filepath.Join(work, "loose")
	if err := os.WriteFile(loose, []byte(tokens["audits"]), 0o644); err != nil {
		t.Fatal(err)
	}
	empty := filepath.Join(work, "empty")
	if err := os.WriteFile(empty, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	file := func(name, text string) string {
		t.Helper()
		path := filepath.Join(work, name)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	list := file("list.jsonl",
		`{"station":"north/packing-1","kind":"list.issued","time":"2026-03-02T05:00:00Z","operator":"B-1",`+
			`"data":{"list":"LAP","version":1,"title":"Laparotomy","lines":[{"line":1,"item":"FCP-125","description":"Forceps","quantity":6}]}}
`)
	packed := file("packed.jsonl",
		`{"station":"north/packing-1","kind":"set.packed","time":"2026-03-02T06:10:00Z","set":"LAP-001","data":{"list":"LAP","version":1}}
{"station":"north/packing-1","kind":"list.sealed","time":"2026-03-02T06:12:00Z","set":"LAP-001","data":{"placement":"outside"}}
`)
	places := file("places.csv", "place\nshelf-1\n")
	zip, pdf, sheet := filepath.Join(work, "e.zip"), filepath.Join(work, "e.pdf"), filepath.Join(work, "s.pdf")
	server := []string{"--server", s.url, "--ca", ca}
	for _, test := range []struct {
		token, args string // the name of a token's file
		ok          bool
		says        string
	}{
		{"", "broken", false, "Sign in first. Ask with a token"},
		{"loose", "broken", false, "chmod 600"},
		{"empty", "broken", false, "holds no token"},
		{"records", "broken", false, "Your role does not include this"},
		{"records", "stations enrol north/packing-1", false, "Your role does not include this"},
		{"administers", "stations enrol north/packing-1", true, "enrolled by record 1"},
		{"administers", "stations enrol north/or-1", true, "enrolled by record 2"},
		{"records", "record " + list, false, "those who lead"},
		{"leads", "record " + list, true, `"seq":3`},
		{"leads", "record " + packed, false, "those who record at a station"},
		{"records", "record " + packed, true, `"seq":4`},
		{"leads", "broken", true, "No set has a broken"},
		{"audits", "history --set LAP-001", true, "packed by version 1"},
		{"leads", "evidence --set LAP-001 --out " + zip, false, "Your role does not include this"},
		{"investigates", "evidence --set LAP-001 --out " + zip + " --report " + pdf, true, pdf + " written"},
		{"audits", "verify", true, "intact: "},
		{"leads", "verify", false, "Your role does not include this"},
		{"audits", "rebuild", false, "Your role does not include this"},
		{"administers", "rebuild", true, "rebuilt from"},
		{"records", "lists", true, "Laparotomy"},
		{"records", "lists print LAP-001 --out " + sheet, true, ""},
		{"audits", "lists print LAP-001 --out " + sheet, false, "Your role does not include this"},
		{"leads", "registers import places " + places + " --operator B-1", true, ""},
		{"audits", "registers export places --out -", true, "SHELF-1"},
		{"records", "policy", true, `"adopted": false`},
	} {
		args := append(strings.Fields(test.args), server...)
		ways := []bool{false, true}
		if !test.ok || test.token == "" || strings.Contains(test.args, "enrol") {
			ways = ways[:1]
		}
		for _, inFile := range ways { // what is recorded twice is known
			cmd := run(args...)
			switch {
			case test.token == "":
			case inFile || tokens[test.token] == "":
				cmd = run(append(args, "--token-file", filepath.Join(work, test.token))...)
			default:
				cmd.Env = append(cmd.Env, "LISTBOUND_TOKEN="+tokens[test.token])
			}
			said, err := cmd.CombinedOutput()
			if (err == nil) != test.ok || !strings.Contains(string(said), test.says) {
				t.Errorf("%s, who %s: %v\n%s\nshould say %q", test.args, test.token, err, said, test.says)
			}
			if token := tokens[test.token]; token != "" && strings.Contains(string(said), token) {
				t.Errorf("%s says the token: %s", test.args, said)
			}
		}
	}
	if said, err := run("broken", "--server", s.url, "--token-file", filepath.Join(work, "audits")).CombinedOutput(); err == nil ||
		!strings.Contains(string(said), "certificate") {
		t.Errorf("a server that isn't trusted: %v: %s", err, said)
	}
	if said, err := run("broken", "--server", "http://192.0.2.7:1", "--token-file", filepath.Join(work,
		"audits")).CombinedOutput(); err == nil ||
		!strings.Contains(string(said), "ask the server by https") {
		t.Errorf("a token over plain http: %v: %s", err, said)
	}
	if res, err := c.Get(strings.Replace(s.url, "https", "http", 1) + "/"); err == nil {
		res.Body.Close()
		if res.StatusCode == http.StatusOK {
			t.Error("the server answers without TLS")
		}
	}
	s.stop(t)
	for _, secret := range append([]string{password, s.code}, tokens["records"], tokens["leads"], tokens["audits"]) {
		if strings.Contains(s.err.String(), secret) {
			t.Errorf("%s stands in the log", secret)
		}
	}
	if !strings.Contains(s.err.String(), "not let in") {
		t.Errorf("refusals are not logged: %s", s.err.String())
	}
	again := openServer(t, dir) // now there is an administrator
	if again.code != "" || again.print != s.print {
		t.Errorf("code %q, fingerprint %q and %q", again.code, again.print, s.print)
	}
	again.stop(t)
	// Whoever has the folder needs none of it; on this machine a server asks for accounts now that there are some.
	if said, err := run("verify", "--data", dir).CombinedOutput(); err != nil || !strings.Contains(string(said), "intact") {
		t.Errorf("%v: %s", err, said)
	}
}
