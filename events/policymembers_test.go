package events

import (
	"reflect"
	"slices"
	"strings"
	"testing"
)

// TestPolicyMembers: every line of a policy is in the table once, with a unit where its name says one, and nothing else is.
func TestPolicyMembers(t *testing.T) {
	var want []string
	var lines func(prefix string, of reflect.Type)
	lines = func(prefix string, of reflect.Type) {
		for i := range of.NumField() {
			name, _, _ := strings.Cut(of.Field(i).Tag.Get("json"), ",")
			if of.Field(i).Type.Kind() == reflect.Struct {
				lines(name+".", of.Field(i).Type)
				continue
			}
			want = append(want, prefix+name)
		}
	}
	lines("", reflect.TypeFor[Policy]())
	var got []string
	for _, m := range PolicyMembers() {
		got = append(got, m.Name)
		for _, unit := range []string{"seconds", "minutes", "hours", "days", "grams"} {
			if ends := strings.HasSuffix(strings.ToLower(m.Name), unit); ends != (m.Unit == unit) || ends && m.Form != PolicyNumber {
				t.Errorf("%s is in %q", m.Name, m.Unit)
			}
		}
		if words := m.Form == PolicyOneOf || m.Form == PolicySomeOf || m.Form == PolicyCodes; words != (len(m.Words) > 1) {
			t.Errorf("%s is one of %v", m.Name, m.Words)
		}
	}
	slices.Sort(want)
	slices.Sort(got)
	if !slices.Equal(got, want) {
		t.Errorf("the table has %v, a policy %v", got, want)
	}
}
