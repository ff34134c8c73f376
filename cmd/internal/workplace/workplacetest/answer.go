package workplacetest

import (
	"fmt"
	"regexp"
	"slices"
	"strings"
	"testing"
)

type Answer map[string]any

func (a Answer) Says(text string) bool {
	return strings.Contains(fmt.Sprint(a["words"], " ", a["next"], " ", a["aside"]), text)
}

// asked is what the page asks the meaning of, in "QQ-7: what is it?".
var asked = regexp.MustCompile(`(\S+): (?:what is it\?|not seen before here)`)

// AsksAbout returns the plain code of which the page asks what it is, "" if of none.
func (a Answer) AsksAbout() string {
	if m := asked.FindStringSubmatch(fmt.Sprint(a["words"], " ", a["next"], " ", a["aside"])); m != nil {
		return m[1]
	}
	return ""
}

// Promises reports whether the page says that Enter records.
func (a Answer) Promises() bool {
	return a != nil && a["status"] != "broken" && a.AsksAbout() == "" && slices.ContainsFunc([]string{
		"Enter records:", "Enter binds the count sheet", "Enter closes the case", "Enter signs the count",
	}, func(words string) bool { return strings.Contains(fmt.Sprint(a["words"], " ", a["next"]), words) })
}

// Choice is the value of an answer that the page offers, as a page sends it.
func (a Answer) Choice(do string) map[string]string {
	all, _ := a["choices"].([]any)
	for _, c := range all {
		if c := c.(map[string]any); c["do"] == do {
			value, _ := c["value"].(string)
			return map[string]string{"value": value}
		}
	}
	return map[string]string{"value": ""}
}

// Choices are the values of all answers that the page offers and that do the same, each another way.
func (a Answer) Choices(do string) (values []string) {
	all, _ := a["choices"].([]any)
	for _, c := range all {
		if c := c.(map[string]any); c["do"] == do {
			value, _ := c["value"].(string)
			values = append(values, value)
		}
	}
	return values
}

// Stops reports whether the page shows a STOP. It has answers; that something was not
// taken has none, and stands in no STOP's place.
func (a Answer) Stops() bool { return a["status"] == "broken" && a["choices"] != nil }

// Stale reports whether the input was not taken because another screen was here, or
// because it came before its own screen showed what is asked.
func (a Answer) Stale() bool {
	return strings.HasPrefix(fmt.Sprint(a["aside"]), "Another screen") || a.Says("entered before this was shown")
}

// AsksClean reports whether the page asks of a set that came back not clean whether it was washed.
func (a Answer) AsksClean() bool { return a.Choice("unclean")["value"] != "" }

// Lines are those of the count that a page shows, by number.
func (a Answer) Lines() map[int64]map[string]any {
	st, _ := a["state"].(map[string]any)
	sets, _ := st["sets"].([]any)
	out := make(map[int64]map[string]any)
	if len(sets) == 0 {
		return out
	}
	for _, l := range sets[0].(map[string]any)["lines"].([]any) {
		l := l.(map[string]any)
		out[int64(l["line"].(float64))] = l
	}
	return out
}

// AsksLeft reports whether it is asked if what was counted and left still holds.
func (a Answer) AsksLeft() bool { return a.Choice("left-on")["value"] != "" }

// Answer gives the answer to a question that does something.
func (s *Scanner) Answer(asked map[string]any, do string) map[string]any {
	s.House.T.Helper()
	choices, _ := asked["choices"].([]any)
	for _, c := range choices {
		if c := c.(map[string]any); c["do"] == do {
			return s.Do(do, "value", fmt.Sprint(c["value"]))
		}
	}
	s.House.T.Fatalf("no answer %q: %v", do, Tells(asked))
	return nil
}

// Tells is all that an answer says, in words.
func Tells(a map[string]any) string {
	return fmt.Sprint(a["status"], " ", a["words"], " | ", a["next"], " | ", a["more"], " | ", a["aside"])
}

// Must fails unless an answer says something.
func Must(t *testing.T, a map[string]any, says ...string) {
	t.Helper()
	for _, s := range says {
		if !strings.Contains(Tells(a), s) {
			t.Fatalf("the page says %q, want %q", Tells(a), s)
		}
	}
}
