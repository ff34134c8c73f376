//go:build !race

package counts_test

import (
	"testing"
	"time"

	"listbound/cmd/internal/workplace/workplacetest"
)

// TestLeftAnewAnswersItsQuestion: "count from the start", pressed on a screen that still shows an earlier question, throws
// nothing away that was counted since.
func TestLeftAnewAnswersItsQuestion(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	h.Open("VAS-003", "K-1")
	k := &workplacetest.Counter{House: h, Ref: "K-1", Stage: "first"}
	k.Do("begin")
	k.Lines("VAS-003", 4)
	h.After(30 * time.Minute)
	asked := workplacetest.Answer(k.Scan(""))
	workplacetest.Must(t, asked, "this count was left at")
	earlier := asked.Choice("left-anew")["value"]
	k.Do("left-on", "value", asked.Choice("left-on")["value"])
	k.Lines("VAS-003", 4, 2)
	h.After(30 * time.Minute)
	done := func() any {
		return workplacetest.JSON(h, "/at/north/or-3/count/state?case=K-1&stage=first")["done"]
	}
	workplacetest.Must(t, k.Do("left-anew", "value", earlier), "this count was left at")
	if done() != 2.0 {
		t.Fatalf("%v lines are left of two", done())
	}
	if k.LeftAnew(); done() != 0.0 {
		t.Errorf("%v lines are left, and it was begun anew", done())
	}
}
