package events

import (
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"os/exec"
	"slices"
	"strings"
	"testing"
)

// goPackage is what "go list" says of a package.
type goPackage struct {
	ImportPath, Dir           string
	Imports, Deps             []string
	TestImports, XTestImports []string
	Error                     *struct{ Err string }
}

// listPackages asks the go command, which knows build constraints and all that
// an import drags in.
func listPackages(t *testing.T) []goPackage {
	t.Helper()
	cmd := exec.Command("go", "list", "-e", "-json=ImportPath,Dir,Imports,Deps,TestImports,XTestImports,Error", "listbound/...")
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("go list: %v\n%s", err, stderr.Bytes())
	}
	var all []goPackage
	for d := json.NewDecoder(bytes.NewReader(out)); ; {
		var p goPackage
		if err := d.Decode(&p); errors.Is(err, io.EOF) {
			return all
		} else if err != nil {
			t.Fatal(err)
		}
		all = append(all, p)
	}
}

func under(path, folder string) bool {
	return path == "listbound/"+folder || strings.HasPrefix(path, "listbound/"+folder+"/")
}

// misplaced returns the imports of ours that a package must not have.
func misplaced(p goPackage) []string {
	may := func(path string) bool { return true }
	switch {
	case under(p.ImportPath, "events"):
		may = func(path string) bool { return under(path, "events") }
	case under(p.ImportPath, "ledger"):
		may = func(path string) bool { return under(path, "ledger") }
	case under(p.ImportPath, "projections/readmodel"):
		may = func(path string) bool {
			return under(path, "events") || under(path, "projections") || under(path, "ledger")
		}
	case under(p.ImportPath, "projections"):
		may = func(path string) bool { return path == "listbound/events" || under(path, "projections") }
	}
	var bad []string
	for _, i := range p.Imports {
		if strings.HasPrefix(i, "listbound/") && !may(i) {
			bad = append(bad, i)
		}
	}
	return bad
}

// serverOnly are the modules that the small checker must do without, so that
// who reads it need not read them.
var serverOnly = []string{"github.com/nats-io/", "modernc.org/", "database/sql", "net/http"}

// TestImportsRunDownwards: cmd over projections over ledger and events, which
// don't know each other; and the checker knows neither server nor database.
func TestImportsRunDownwards(t *testing.T) {
	seen := make(map[string]bool)
	all := listPackages(t)
	for _, p := range all {
		for _, folder := range []string{"events", "ledger", "projections", "cmd"} {
			seen[folder] = seen[folder] || under(p.ImportPath, folder)
		}
		for _, i := range misplaced(p) {
			t.Errorf("%s imports %s", p.ImportPath, i)
		}
		if under(p.ImportPath, "cmd/listbound-verify") {
			seen["listbound-verify"] = true
			for _, d := range p.Deps {
				if slices.ContainsFunc(serverOnly,
					func(m string) bool { return d == m || strings.HasSuffix(m, "/") && strings.HasPrefix(d, m) }) {
					t.Errorf("%s drags in %s", p.ImportPath, d)
				}
			}
		}
	}
	for _, folder := range []string{"events", "ledger", "projections", "cmd", "listbound-verify"} {
		if !seen[folder] {
			t.Errorf("no package of %s was seen among %d", folder, len(all))
		}
	}
}

// TestImportRule: the rule itself can say no.
func TestImportRule(t *testing.T) {
	for _, tt := range []struct {
		from, to string
		may      bool
	}{
		{"listbound/events", "listbound/ledger/proof", false},
		{"listbound/events", "listbound/projections", false},
		{"listbound/ledger", "listbound/events", false},
		{"listbound/ledger/proof", "listbound/eventsource", false},
		{"listbound/ledger", "listbound/ledger/proof", true},
		{"listbound/ledger/ledgertest", "listbound/ledger", true},
		{"listbound/projections", "listbound/ledger", false},
		{"listbound/projections", "listbound/events", true},
		{"listbound/projections/readmodel", "listbound/ledger", true},
		{"listbound/projections/readmodel", "listbound/cmd/internal/site", false},
		{"listbound/cmd/listbound", "listbound/ledger", true},
		{"listbound/events", "golang.org/x/mod/sumdb/note", true},
	} {
		if got := len(misplaced(goPackage{ImportPath: tt.from, Imports: []string{tt.to}})) == 0; got != tt.may {
			t.Errorf("%s imports %s: allowed %v, want %v", tt.from, tt.to, got, tt.may)
		}
	}
}
