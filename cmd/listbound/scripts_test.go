//go:build !race

package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
)

// TestScripts runs every command as a person would; see testdata/*.txtar.
func TestScripts(t *testing.T) {
	found, err := filepath.Glob("testdata/*.txtar")
	if err != nil || len(found) < 5 {
		t.Fatalf("%d scripts, %v", len(found), err)
	}
	testscript.Run(t, testscript.Params{
		Dir:                 "testdata",
		RequireExplicitExec: true,
		Cmds: map[string]func(ts *testscript.TestScript, neg bool, args []string){
			"week": writeWeek,
			"code": putCode,

			"readme": asInReadme,
		},
	})
}

// writeWeek (week FILE ...) writes the built-in week as observations, spread over the files in equal parts.
func writeWeek(ts *testscript.TestScript, neg bool, args []string) {
	lines, err := weekLines()
	ts.Check(err)
	for i, name := range args {
		part := lines[i*len(lines)/len(args) : (i+1)*len(lines)/len(args)]
		ts.Check(os.WriteFile(ts.MkAbs(name), []byte(strings.Join(part, "\n")+"\n"), 0o600))
	}
}

// putCode (code NAME FILE SET) puts the sheet code that a set got in a file of
// receipts into an environment variable.
func putCode(ts *testscript.TestScript, neg bool, args []string) {
	for _, line := range strings.Split(ts.ReadFile(args[1]), "\n") {
		var r receipt
		if json.Unmarshal([]byte(line), &r) == nil && r.Set == args[2] && r.SheetCode != "" {
			ts.Setenv(args[0], r.SheetCode)
			return
		}
	}
	ts.Fatalf("no sheet code of set %s in %s", args[2], args[1])
}

// asInReadme (readme SENTENCE FILE) holds what the README shows behind a sentence
// against an output.
func asInReadme(ts *testscript.TestScript, neg bool, args []string) {
	text, err := readme()
	ts.Check(err)
	shown := excerpt(text, args[0])
	if len(shown) < 5 {
		ts.Fatalf("the README shows %d lines behind %q", len(shown), args[0])
	}
	if line := lacking(shown, ts.ReadFile(args[1])); line != "" {
		ts.Fatalf("the README shows what is not printed, or not there: %q", line)
	}
}
