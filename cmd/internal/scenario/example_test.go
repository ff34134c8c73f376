package scenario_test

import (
	"fmt"
	"time"

	"listbound/cmd/internal/scenario"
)

// The first line of the week: the ledger enrols a station that keeps its own key.
func ExampleScenario_Lines() {
	s, err := scenario.Load()
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(s.Title)
	for l, err := range s.Lines() {
		if err != nil {
			fmt.Println(err)
			return
		}
		fmt.Printf("%s, line %d, arrives at %s\n%.83s\n", l.File, l.N, l.RecordAt.Format(time.RFC3339), l.Raw)
		break
	}
	// Output:
	// One working week at a site called north, with what goes wrong in one
	// 0-start.jsonl, line 1, arrives at 2026-03-02T00:00:02Z
	// {"station":"north/ledger","kind":"station.enrolled","time":"2026-03-02T00:00:00Z","
}
