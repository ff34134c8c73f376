package site_test

import (
	"errors"
	"fmt"
	"io"
	"strings"
	"testing"
	"testing/iotest"
	"time"

	"listbound/cmd/internal/site"
)

// TestRecordAlone: a file that is read ahead while its parts are recorded has the receipts that it has otherwise, up to the line
// at which it can't be read on or nobody takes receipts any more.
func TestRecordAlone(t *testing.T) {
	var lines []string
	for i := range 47 {
		lines = append(lines, fmt.Sprintf(`{"station":"north/storage","kind":"set.checked","time":%q,"set":"LAP-014","data":{"place":"A4"}}`,
			noon.Add(time.Duration(i/2)*time.Second).Format(time.RFC3339))) // each is said twice
	}
	lines[7], lines[20] = "{", strings.Replace(lines[20], "set.checked", "list.sealed", 1)
	gone := errors.New("gone")
	for _, tt := range []struct {
		name string
		cut  bool // the file can't be read to its end
		most int  // receipts that are taken
	}{{"whole", false, 100}, {"cut", true, 100}, {"nobody listens", false, 23}} {
		var said [2][]site.Receipt
		var ended [2]string
		for i, alone := range []bool{false, true} {
			s := open(t, t.TempDir(), site.Options{Name: "north", EnrolOnSight: true, Batch: 10, Alone: alone})
			var file io.Reader = strings.NewReader(strings.Join(lines, "\n") + "\n")
			if tt.cut {
				file = io.MultiReader(file, iotest.ErrReader(gone))
			}
			err := s.Record(t.Context(), file, func(r site.Receipt) error {
				if len(said[i]) == tt.most {
					return gone
				}
				said[i] = append(said[i], r)
				return nil
			})
			if (err != nil) != (tt.cut || tt.most < len(lines)) {
				t.Fatalf("%s, alone %t: %v", tt.name, alone, err)
			}
			ended[i] = fmt.Sprint(err)
		}
		if fmt.Sprintf("%+v", said[0]) != fmt.Sprintf("%+v", said[1]) || ended[0] != ended[1] {
			t.Errorf("%s: %+v, %s\nalone: %+v, %s", tt.name, said[0], ended[0], said[1], ended[1])
		}
		if want := min(tt.most, len(lines)); len(said[0]) != want {
			t.Errorf("%s: %d receipts, want %d", tt.name, len(said[0]), want)
		}
	}
}
