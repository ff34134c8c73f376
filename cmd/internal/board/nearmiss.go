package board

import (
	"net/http"

	"listbound/cmd/internal/shell"
	"listbound/projections"
)

// nearMissBody is what the page of near misses shows.
type nearMissBody struct {
	Rows  []projections.Verdict
	Table *table
}

// nearMissPage lists what was wrong, seen, and put right before use: it asks
// nothing of anybody, and is what a department learns from.
func (p *pages) nearMissPage(r *http.Request, words *shell.Words) (*answer, error) {
	vs, err := p.site.NearMissesAt(r.Context(), asOf(r))
	if err != nil {
		return nil, err
	}
	t := newTable(words, "near-misses", "board.near-misses", "set", "trip", "finding", "says", "since", "case")
	for _, v := range vs {
		for i := range v.Findings {
			f := &v.Findings[i]
			t.add(text(v.Set).to(tripLink(v.Set, "")), text(v.Trip).to(tripLink(v.Set, v.Trip)), text(words.Code(f.Code)),
				text(words.Finding(f).Says), when(words, f.To), text(v.Case).to(caseLink(v.Case)))
		}
	}
	return &answer{template: "near-misses", title: words.T("board.near-misses"),
		body: &nearMissBody{Rows: vs, Table: t}, tables: []*table{t}}, nil
}
