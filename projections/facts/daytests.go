package facts

import (
	"slices"

	"listbound/events"
)

// TestsOn is the key of the tests of a sterilizer's day.
func TestsOn(sterilizer, day string) string { return sterilizer + " " + day }

// TestOf returns what a sterilizer.tested says, nil for any other fact.
func TestOf(it *Item) *events.SterilizerTested {
	d, _ := it.Data.(*events.SterilizerTested)
	return d
}

// DayTests returns what is recorded of the tests of a sterilizer's day, in order of time.
func (b *Book) DayTests(sterilizer, day string) (out []*Item) {
	key := TestsOn(sterilizer, day)
	b.need(DimTests, key)
	b.asked(DimTests, key)
	for _, it := range b.tests[key] {
		if d := TestOf(it); d != nil && !it.Void && d.Sterilizer == sterilizer && d.Day == day {
			out = append(out, it)
		}
	}
	slices.SortFunc(out, Compare)
	return out
}
