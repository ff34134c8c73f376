package events

import "testing"

// TestCodePatterns: 9 stands for any digit, @ for any letter, a * at the end for what follows, everything else for itself.
func TestCodePatterns(t *testing.T) {
	for _, x := range []struct {
		like, code string
		want       bool
	}{
		{"K-9999", "K-0412", true},
		{"K-9999", "K-9999", true},
		{"K-9999", "K-041", false},
		{"K-9999", "K-04123", false},
		{"K-9999", "L-0412", false},
		{"K-9999", "K-041/", false}, // the character before 0
		{"K-9999", "K-041:", false}, // the one behind 9
		{"K-1999", "K-2000", false},
		{"K-1999", "K-1000", true},
		{"@@9*", "AB7-2026", true},
		{"@@9*", "ab7", true},
		{"@@9*", "AB", false},
		{"@@9*", "A17", false},
		{"@", "[", false}, // the character behind Z
		{"@", "`", false}, // the one before a
		{"*", "anything", true},
		{"A*B", "A*B", true}, // only at the end
		{"A*B", "AxB", false},
	} {
		if got := (CodePattern{Kind: ScanCase, Like: x.like}).Matches(x.code); got != x.want {
			t.Errorf("%s looks like %s: %v", x.code, x.like, got)
		}
	}
	if got := CodeShape("B-09/:a"); got != "B-99/:a" {
		t.Errorf("the shape is %s", got)
	}
}
