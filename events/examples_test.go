package events

import "testing"

// TestExampleOfEachKind: each row of the table of kinds has an example, which is data of the kind as intake takes it.
func TestExampleOfEachKind(t *testing.T) {
	for _, k := range Kinds() {
		info, _ := k.Info()
		if d, err := ParseObservedData(k, []byte(info.Example)); err != nil || d.Kind() != k {
			t.Errorf("the example of %s, %q: %v", k, info.Example, err)
		}
	}
}
