package report

import (
	"fmt"
	"time"

	"listbound/cmd/internal/paper"
	"listbound/projections/assess"
	"listbound/projections/words"
)

// Signature is who signed an assessment; without a record it is a draft.
type Signature struct {
	Site, By string
	At       time.Time
	Record   int64
	Mark     string // that the record has of the document
	Void     bool   // taken back since
}

// AssessmentPDF prints an assessment with its pictures, and who signed it.
func AssessmentPDF(a *assess.Assessment, l *words.Language, s Signature, made time.Time) ([]byte, error) {
	title := l.Say("board.assess")
	signed := l.Say("board.assess-draft")
	if s.Record > 0 {
		signed = l.Say("board.assess-signed-by", s.By, l.Time(s.At), fmt.Sprint(s.Record))
	}
	footer := l.Say("board.report-footer", title+". "+signed, s.Site, "%page%", "%pages%") + " " + l.Say("shell.caution")
	return paper.WriteDocument(title, l.Tag(), footer, made, func(d *paper.Document) {
		d.Title(title)
		d.Strong(signed)
		if s.Void {
			d.Strong(l.Say("board.assess-void"))
		}
		if s.Mark != "" {
			d.Code(s.Mark)
		}
		for _, part := range AssessmentSections(a, l) {
			d.Heading(part.Title)
			for _, line := range part.Says {
				d.Text(line)
			}
			for i := range part.Pictures {
				d.Figure(&part.Pictures[i])
			}
			for i := range part.Tables {
				printRows(d, l, &part.Tables[i], part.Title)
			}
		}
		d.Heading(l.Say("board.assess-sign"))
		d.Text(signed)
		d.Sign([]string{l.Say("board.assess-ask-decides"), l.Say("practise.sign-name"), l.Say("practise.sign-day")})
	})
}

// printRows prints a table, the first column and those with words wider than those with figures.
func printRows(d *paper.Document, l *words.Language, t *Rows, under string) {
	if len(t.Rows) == 0 {
		return
	}
	if t.Title != under {
		d.Strong(t.Title)
	}
	var columns []paper.Column
	for i, c := range t.Columns {
		longest := len(l.Say("board.column-" + c))
		for _, row := range t.Rows {
			longest = max(longest, len(row[i]))
		}
		const least, most = 8, 40
		columns = append(columns, paper.Column{Title: l.Say("board.column-" + c), Share: float64(min(max(longest, least), most))})
	}
	d.Table(columns, t.Rows)
}
