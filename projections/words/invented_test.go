//go:build !race

package words

import (
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"

	"listbound/projections"
)

// TestInvented says thousands of invented findings in every language. None
// fails, none shows a trace of its template, and all languages name the same
// sets, numbers and times.
func TestInvented(t *testing.T) {
	j := judgement(t)
	turns := 60
	if testing.Short() {
		turns = 10
	}
	for _, w := range projections.Ways() {
		in := &inventor{rand.New(rand.NewPCG(1, uint64(len(w.Code)+len(w.Name))))}
		for range turns {
			d := projections.NewDetail(w)
			in.fill(reflect.ValueOf(d).Elem(), "")
			in.agree(d)
			english := j.Detail(Reference, w.Code, d)
			checkText(t, j, d, Reference, english)
			for _, lang := range j.Languages()[1:] {
				said := j.Detail(lang, w.Code, d)
				checkText(t, j, d, lang, said)
				if said.Says == english.Says || said.Next == english.Next {
					t.Errorf("%s/%s in %s is the English: %s %s", w.Code, w.Name, lang, said.Says, said.Next)
				}
				a, b := j.named(d, Reference, english.Says), j.named(d, lang, said.Says)
				if !slices.Equal(a, b) {
					t.Errorf("%s/%s: names and numbers\n%v of %q\n%v of %q", w.Code, w.Name, a, english.Says, b, said.Says)
				}
			}
			if t.Failed() {
				t.Fatalf("%s/%s: %+v", w.Code, w.Name, d)
			}
		}
	}
}
