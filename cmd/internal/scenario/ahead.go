package scenario

import (
	_ "embed" // for the file of cases
	"encoding/csv"
	"fmt"
	"strconv"
	"strings"
	"time"
)

// ahead.csv has the cases that come after the week, each some minutes ahead of whenever somebody looks: a schedule of dates
// would be over by then.
//
//go:embed ahead.csv
var ahead string

// Ahead returns a surgical schedule as a file of rows, of cases that begin some minutes after a moment and want sets that the
// week leaves on their shelves.
func Ahead(now time.Time) ([]byte, error) {
	rows, err := csv.NewReader(strings.NewReader(ahead)).ReadAll()
	if err != nil {
		return nil, fmt.Errorf("ahead.csv: %w", err)
	}
	const five = 5 * time.Minute // schedules are made in steps of five minutes
	begin := now.UTC().Add(five - 1).Truncate(five)
	var out strings.Builder
	w := csv.NewWriter(&out)
	for i, row := range rows {
		if i == 0 {
			row[1] = "start"
		} else {
			minutes, err := strconv.Atoi(row[1])
			if err != nil {
				return nil, fmt.Errorf("ahead.csv, line %d: %w", i+1, err)
			}
			row[1] = begin.Add(time.Duration(minutes) * time.Minute).Format(time.RFC3339)
		}
		_ = w.Write(row) // into memory
	}
	w.Flush()
	return []byte(out.String()), w.Error()
}
