package teach

import (
	"strconv"
	"strings"

	"listbound/cmd/internal/paper"
	"listbound/cmd/internal/shell"
	"listbound/projections/practise"
)

// Certificate prints what an answer came to on one page: of competence where all of it is right, of practice where not.
func Certificate(words *shell.Words, in *practise.Incident, a *Answered) ([]byte, error) {
	title := words.T("practise.certificate")
	if !a.Passed() {
		title = words.T("practise.certificate-not")
	}
	footer := words.T("practise.certificate-foot") + " " + words.T("shell.caution")
	return paper.WriteDocument(title, words.Lang, footer, a.At, func(d *paper.Document) {
		d.Title(title)
		d.Strong(a.Who)
		if a.Passed() {
			d.Text(words.T("practise.certificate-says", len(a.Marks)))
		} else {
			d.Text(words.T("practise.certificate-says-not", a.Right(), len(a.Marks)))
		}
		if a.Try > 1 {
			d.Text(words.T("practise.certificate-again", a.Try))
		} else {
			d.Text(words.T("practise.certificate-first"))
		}
		d.Heading(words.T("practise.certificate-practised"))
		d.Text(in.Cause.In(words.Lang).Teaches)
		d.Text(in.Cause.In(words.Lang).Name)
		d.Heading(words.T("practise.certificate-result"))
		var rows [][]string
		for i, m := range SayMarks(words, a.Marks) {
			right := words.T("practise.wrong")
			if m.Right {
				right = words.T("practise.right")
			}
			rows = append(rows, []string{m.Part, sayAnswer(words, a.Answer, a.Marks[i].Part), right, m.Says})
		}
		d.Table([]paper.Column{{Title: words.T("practise.column-asked"), Share: 2}, {Title: words.T("practise.column-answer"), Share: 3},
			{Title: words.T("practise.column-result"), Share: 1}, {Title: words.T("practise.column-why"), Share: 4}}, rows)
		d.Heading(words.T("practise.certificate-about"))
		d.Table([]paper.Column{{Title: words.T("practise.column-asked"), Share: 2}, {Title: words.T("practise.column-answer"), Share: 6}},
			[][]string{
				{words.T("practise.fact-when"), words.Time(a.At)},
				{words.T("practise.fact-seed"), strconv.FormatUint(a.Seed, 10)},
				{words.T("practise.fact-number"), strconv.Itoa(a.N)},
				{words.T("practise.fact-records"), a.Records},
				{words.T("practise.fact-causes"), a.Causes},
				{words.T("practise.fact-program"), a.Program},
			})
		d.Heading(words.T("practise.certificate-signed"))
		d.Boxes([]string{words.T("practise.certificate-watched")})
		d.Sign([]string{words.T("practise.sign-leader"), words.T("practise.sign-name"), words.T("practise.sign-day")})
	})
}

// sayAnswer is what was answered to a question.
func sayAnswer(words *shell.Words, a practise.Answer, p practise.Part) string {
	none := words.T("practise.answered-nothing")
	switch {
	case p == practise.PartSet && a.Set != "":
		return a.Set
	case p == practise.PartStep && a.Step != "":
		return SayStep(words, a.Step)
	case p == practise.PartWindow && !a.From.IsZero() && !a.To.IsZero():
		return words.Time(a.From) + " – " + words.Time(a.To)
	case p == practise.PartTouched && len(a.Touched) > 0:
		return strings.Join(a.Touched, ", ")
	}
	return none
}
