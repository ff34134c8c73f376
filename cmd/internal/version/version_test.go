package version

import (
	"os"
	"path/filepath"
	"runtime/debug"
	"strings"
	"testing"
)

func TestOf(t *testing.T) {
	set := func(pairs ...string) (out []debug.BuildSetting) {
		for i := 0; i < len(pairs); i += 2 {
			out = append(out, debug.BuildSetting{Key: pairs[i], Value: pairs[i+1]})
		}
		return out
	}
	for _, c := range []struct {
		settings []debug.BuildSetting
		want     string
	}{
		{nil, "1.2.3"},
		{set("vcs.revision", "6a101d2e89", "vcs.modified", "false"), "1.2.3+6a101d2"},
		{set("vcs.modified", "true", "vcs.revision", "6a101d2e89"), "1.2.3+6a101d2.changed"},
		{set("vcs.revision", "short"), "1.2.3"},
	} {
		if got := of("1.2.3", c.settings); got != c.want {
			t.Errorf("%v: %s, want %s", c.settings, got, c.want)
		}
	}
}

// TestChangelog: the version is one that the changelog tells of, or the one after the last.
func TestChangelog(t *testing.T) {
	raw, err := os.ReadFile(filepath.Join("..", "..", "..", "CHANGELOG.md"))
	if err != nil {
		t.Fatal(err)
	}
	if !strings.HasPrefix(String(), Number) {
		t.Errorf("%s does not begin with %s", String(), Number)
	}
	number, unreleased := strings.CutSuffix(Number, "-dev")
	if unreleased && !strings.Contains(string(raw), "\n## Unreleased\n") || !unreleased &&
		!strings.Contains(string(raw), "\n## "+number+"\n") {
		t.Errorf("CHANGELOG.md has no section for %s", Number)
	}
}
