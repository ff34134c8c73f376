package paper

import (
	"fmt"
	"strings"
	"testing"
	"time"
)

// TestDocument: what does not fit goes on the next page, with the table's
// heading again and the page's number; what the fonts lack is a question mark.
func TestDocument(t *testing.T) {
	var rows [][]string
	for i := range 120 {
		rows = append(rows, []string{fmt.Sprintf("row-%03d", i),
			"some words that are long enough to need a second line in a narrow column of the table", "0f0f"})
	}
	pdf, err := WriteDocument("A title", "en", "page %page% of %pages%", time.Date(2026, 3, 6, 0, 0, 0, 0, time.UTC), func(d *Document) {
		d.Title("A title")
		d.Heading("First part")
		d.Text("A paragraph with \U0001F600 in it, and " + strings.Repeat("many words ", 60) + "at its end.")
		d.Table([]Column{{Title: "Name", Share: 1}, {Title: "Words", Share: 3}, {Title: "Digest", Share: 1, Code: true}}, rows)
		d.Heading("Last part")
		d.Boxes([]string{"a box to tick"})
		d.Code("a-code")
	})
	if err != nil {
		t.Fatal(err)
	}
	all := text(t, pdf, "-layout")
	for i := range rows {
		if !strings.Contains(all, rows[i][0]) {
			t.Errorf("%s is lost", rows[i][0])
		}
	}
	pages := strings.Count(all, "\f")
	if pages < 3 || strings.Count(all, "Digest") != pages && strings.Count(all, "Digest") != pages-1 {
		t.Errorf("%d pages, the table's heading %d times", pages, strings.Count(all, "Digest"))
	}
	for n := 1; n <= pages; n++ {
		if !strings.Contains(all, fmt.Sprintf("page %d of %d", n, pages)) {
			t.Errorf("page %d is not numbered", n)
		}
	}
	for _, want := range []string{"A title", "First part", "with ? in it", "at its end.", "Last part", "a box to tick", "a-code"} {
		if !strings.Contains(strings.Join(strings.Fields(all), " "), want) {
			t.Errorf("the document lacks %q", want)
		}
	}
}
