//go:build !race

package workplace

import (
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
)

// refusalKeys are the keys by which the data folder and its pages refuse, each with how
// many values its English text has at its beginning.
func refusalKeys(t *testing.T) map[string]int {
	t.Helper()
	var files []string
	for _, pattern := range []string{"../site/*.go", "../board/*.go", "../door/*.go", "*.go"} {
		found, err := filepath.Glob(pattern)
		if err != nil || len(found) == 0 {
			t.Fatal(pattern, err)
		}
		files = append(files, found...)
	}
	keyed := regexp.MustCompile(`refusal\.Keyed\("([^"]+)",\s*"([^"]+)"`)
	said := regexp.MustCompile(`refusal\.Say\(.*, "([a-z-]+)", .+\)`) // with one value
	keys := make(map[string]int)
	for _, file := range files {
		raw, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range keyed.FindAllSubmatch(raw, -1) {
			keys[string(m[1])] = strings.Count(string(m[2]), "%")
		}
		for _, m := range said.FindAllSubmatch(raw, -1) {
			keys[string(m[1])] = 1
		}
	}
	return keys
}

// TestEveryKeyedRefusalHasASentence: what the data folder refuses by a key is said in
// each language, with no more values than it has.
func TestEveryKeyedRefusalHasASentence(t *testing.T) {
	keys := refusalKeys(t)
	if len(keys) < 25 {
		t.Fatalf("%d keys are found", len(keys))
	}
	for _, lang := range []string{"en", "de"} {
		raw, err := os.ReadFile("../texts/" + lang + ".json")
		if err != nil {
			t.Fatal(err)
		}
		var all map[string]jsontext.Value
		if err := json.Unmarshal(raw, &all); err != nil {
			t.Fatal(err)
		}
		for key, values := range keys {
			says := string(all["workplace.refused-"+key])
			if says == "" || strings.Contains(says, fmt.Sprintf("{%d}", values)) {
				t.Errorf("%s: refused-%s, of %d values, says %q", lang, key, values, says)
			}
		}
	}
}
