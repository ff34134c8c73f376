//go:build !race

package main

import (
	"encoding/json"
	"os"
	"os/exec"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"

	"listbound/cmd/internal/scenario"
)

// asListbound makes the test program behave as listbound, so that a test can
// kill a real process.
const asListbound = "LISTBOUND_TEST_RUN_MAIN"

func TestMain(m *testing.M) {
	if os.Getenv(asListbound) != "" {
		main()
	}
	testscript.Main(m, map[string]func(){"listbound": main})
}

func weekLines() ([]string, error) {
	w, err := scenario.Load()
	if err != nil {
		return nil, err
	}
	var out []string
	for l, err := range w.Lines() {
		if err != nil {
			return nil, err
		}
		out = append(out, string(l.Raw))
	}
	return out, nil
}

type receipt struct {
	Seq       int64  `json:"seq"`
	ID        string `json:"id"`
	Set       string `json:"set"`
	SheetCode string `json:"sheetCode"`
	Error     string `json:"error"`
}

// run starts listbound as its own process.
func run(args ...string) *exec.Cmd {
	c := exec.Command(os.Args[0], args...)
	c.Env = append(os.Environ(), asListbound+"=1")
	return c
}

// answer runs a command on a folder and returns its answer as JSON.
func answer(t *testing.T, dir, command string, args ...string) []byte {
	t.Helper()
	args = append([]string{command, "--data", dir}, args...)
	if command != "rebuild" && command != "policy" { // policy is JSON always
		args = append(args, "--json")
	}
	c := run(args...)
	c.Stderr = os.Stderr
	out, err := c.Output()
	if err != nil {
		t.Fatalf("%v: %v", args, err)
	}
	return out
}

func decoded(t *testing.T, raw []byte) any {
	t.Helper()
	var v any
	if err := json.Unmarshal(raw, &v); err != nil {
		t.Fatalf("%v in %.200s", err, raw)
	}
	return v
}
