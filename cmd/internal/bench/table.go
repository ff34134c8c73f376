package main

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
)

// row is one line of the table: the same thing measured some times, here and, by turns with it, at the rival.
type row struct {
	what  string
	ours  []float64
	rival []float64
	by    string // what the rival is, or why there is none
	aim   string // of the ratio or of the figure
}

type table struct{ rows []row }

func (t *table) add(r row) { t.rows = append(t.rows, r) }

// print writes the table in Markdown, as the documentation has it.
func (t *table) print(w io.Writer) error {
	if _, err := io.WriteString(w, "| what | n | here | rival | | ratio | aim |\n|---|---|---|---|---|---|---|\n"); err != nil {
		return err
	}
	for _, r := range t.rows {
		_, err := fmt.Fprintf(w, "| %s | %d | %s | %s | %s | %s | %s |\n",
			r.what, len(r.ours), spread(r.ours), spread(r.rival), r.by, spread(r.ratios()), r.aim)
		if err != nil {
			return err
		}
	}
	return nil
}

// ratios are taken round by round.
func (r row) ratios() (out []float64) {
	for i := range min(len(r.ours), len(r.rival)) {
		if r.rival[i] > 0 {
			out = append(out, r.ours[i]/r.rival[i])
		}
	}
	return out
}

// spread is the median of what was measured, with the least and the greatest.
func spread(of []float64) string {
	if len(of) == 0 {
		return ""
	}
	s := slices.Sorted(slices.Values(of))
	middle := s[len(s)/2]
	if len(s)%2 == 0 {
		middle = (middle + s[len(s)/2-1]) / 2
	}
	if len(s) == 1 {
		return figure(middle)
	}
	return fmt.Sprintf("%s [%s-%s]", figure(middle), figure(s[0]), figure(s[len(s)-1]))
}

// figure has three digits that count: no measurement here is more exact. Thousands have commas.
func figure(f float64) string {
	if f == 0 || math.IsInf(f, 0) || math.IsNaN(f) {
		return fmt.Sprint(f)
	}
	digits := 2 - int(math.Floor(math.Log10(math.Abs(f))))
	if digits >= 0 {
		return fmt.Sprintf("%.*f", digits, f)
	}
	unit := math.Pow10(-digits)
	s := fmt.Sprintf("%.0f", math.Round(f/unit)*unit)
	for i := len(s) - 3; i > 0 && s[i-1] != '-'; i -= 3 {
		s = s[:i] + "," + s[i:]
	}
	return s
}

// percentile is what so many percent of some figures don't exceed.
func percentile(of []float64, percent int) float64 {
	if len(of) == 0 {
		return math.NaN()
	}
	s := slices.Sorted(slices.Values(of))
	return s[min(len(s)-1, len(s)*percent/100)]
}

// without says what the rival is, or that there is none here: a column that isn't measured is never left out in silence.
func (b *bench) without(rival string) string {
	if b.pg == nil {
		return strings.TrimSpace("missing: " + b.no)
	}
	return rival
}
