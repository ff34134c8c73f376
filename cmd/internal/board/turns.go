package board

import (
	"net/url"
	"strconv"
	"time"

	"listbound/cmd/internal/shell"
	"listbound/events"
	"listbound/projections"
	"listbound/projections/judge"
)

// turnsInTable is how many turns of a set stand in one table. Each is judged for it.
const turnsInTable = 24

// turnOf is one turn of a set as a row of a table says it.
type turnOf struct {
	Verdict projections.Verdict
	Trace   projections.Trace
}

func turnsOf(w *judge.World, keys []projections.TripKey) (out []turnOf, err error) {
	for _, k := range keys {
		var t turnOf
		if t.Verdict, err = w.Judge(k); err != nil {
			return nil, err
		}
		if t.Trace, err = w.Trace(k); err != nil {
			return nil, err
		}
		out = append(out, t)
	}
	return out, nil
}

// turnColumns are what turns are told apart by.
func turnColumns() []string {
	return []string{"turn", "turn-packer", "list", "placement", "load", "turn-sterilized", "turn-opened", "case", "turn-sheet", "status",
		"turn-found"}
}

func (t *turnOf) cells(words *shell.Words) []cell {
	packed, sterilized, opened := t.link(events.KindSetPacked), t.link(events.KindSetSterilized), t.link(events.KindSetOpened)
	begun := when(words, packed.At)
	if begun.Text == "" {
		begun = text(words.T("board.turn-none"))
	}
	list := t.Trace.List
	if list != "" {
		list += " " + words.T("board.version") + " " + strconv.FormatInt(t.Trace.Version, 10)
	}
	sheet := ""
	for _, r := range t.Trace.Readings {
		if r.Opening {
			sheet = words.T("board.result-" + string(r.Result))
		}
	}
	var found []string
	for _, f := range t.Verdict.Findings {
		found = append(found, words.Code(f.Code))
	}
	return []cell{begun.to(tripLink(t.Trace.Key.Set, t.Trace.Key.Trip)), text(packed.By).to(badgeLink(packed.By)), text(list),
		placement(words, string(t.Trace.Placement)), text(t.Trace.Load).to(loadLink(t.Trace.Load)), when(words, sterilized.At),
		when(words, opened.At), text(t.Verdict.Case).to(caseLink(t.Verdict.Case)), text(sheet),
		text(words.T("shell.status-" + string(t.Verdict.Status))), text(words.Language().List(found))}
}

// link is a step of the chain, the zero one where it was not observed.
func (t *turnOf) link(k events.Kind) projections.TraceLink {
	for _, l := range t.Trace.Links {
		if l.Kind == k && l.State == projections.LinkThere {
			return l
		}
	}
	return projections.TraceLink{At: time.Time{}}
}

// turnTable has a set's turns, each with the way to see it beside the one before it.
func turnTable(words *shell.Words, turns []turnOf, q url.Values) *table {
	t := newTable(words, "turns", "board.turns", append(turnColumns(), "turn-beside")...)
	for i := range turns {
		beside := text("")
		if i+1 < len(turns) {
			v := keep(q, "set", "as-of", "page")
			v.Set("turn", turns[i].Trace.Key.Trip)
			v.Set("beside", turns[i+1].Trace.Key.Trip)
			beside = text(words.T("board.turn-beside")).to(address("/history", v))
		}
		t.add(append(turns[i].cells(words), beside)...)
	}
	return t
}

// besideTable has two turns beside one another, a row for each thing, and says which of them differ. It is nil where the turns
// are not among those given.
func besideTable(words *shell.Words, turns []turnOf, one, other string) *table {
	var cells [][]cell
	for _, trip := range []string{one, other} {
		for i := range turns {
			if trip != "" && turns[i].Trace.Key.Trip == trip {
				cells = append(cells, turns[i].cells(words))
			}
		}
	}
	const two = 2
	if len(cells) != two {
		return nil
	}
	t := newTable(words, "beside", "board.turns-beside", "turn-thing", "turn-one", "turn-other", "turn-differs")
	for i, column := range turnColumns() {
		differs := text("")
		if cells[0][i].Text != cells[1][i].Text {
			differs = text(words.T("board.turn-differs"))
		}
		t.add(text(words.T("board.column-"+column)), cells[0][i], cells[1][i], differs)
	}
	return t
}
