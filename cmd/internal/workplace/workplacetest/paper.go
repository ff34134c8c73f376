package workplacetest

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/go-json-experiment/json"

	"listbound/events"
)

// PaperPage is a page of a count sheet as it lies there once its picture was read: a letter a line for each stage, as
// events.PaperPage has it, and n where a number is written.
type PaperPage struct {
	Page  int
	First int64 // line at its top
	Marks map[events.Stage]string
	Goods map[events.Stage]string // of the rows for goods
	Grey  bool                    // pale ink is white on it
	// Stages have a column each: first, added, closing and final, where nothing is given.
	Stages []events.Stage
}

// LayPaper lays a sheet of a set among those that wait for a person, without any picture.
func (h *House) LayPaper(set, list string, of int, pages ...PaperPage) {
	h.T.Helper()
	var all []string
	for _, p := range pages {
		if p.Stages == nil {
			p.Stages = []events.Stage{events.StageFirst, events.StageAdded, events.StageClosing, events.StageFinal}
		}
		columns, err := json.Marshal(p.Stages)
		if err != nil {
			h.T.Fatal(err)
		}
		all = append(all, fmt.Sprintf(`"%d":{"page":%[1]d,"picture":%q,"inFile":1,"stages":%s,"rows":[%s],"goods":[%s],"grey":%t}`, p.Page,
			strings.Repeat("ab", 32), columns, rowsOf(p.Marks, p.Stages, p.First, 1), rowsOf(p.Goods, p.Stages, -1, -1), p.Grey))
	}
	goods, err := json.Marshal(h.Goods)
	if err != nil {
		h.T.Fatal(err)
	}
	raw := fmt.Sprintf(`{"code":%q,"set":%q,"trip":%q,"list":%q,"version":1,"title":"%[4]s","of":%d,"goods":%s,"pages":{%s},"readAt":%q}`,
		h.Codes[set], set, h.Trips[set], list, of, goods, strings.Join(all, ","), h.Clock().Format(time.RFC3339))
	dir := filepath.Join(h.Site.Dir(), "drafts", "paper")
	if err := os.MkdirAll(dir, 0o700); err != nil {
		h.T.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, h.Codes[set]+".json"), []byte(raw), 0o600); err != nil {
		h.T.Fatal(err)
	}
}

// rowsOf are rows of a page as JSON, numbered from a line on.
func rowsOf(marks map[events.Stage]string, stages []events.Stage, line, step int64) string {
	var rows []string
	for i := range len(marks[events.StageFirst]) {
		var cells []string
		for _, st := range stages {
			mark, why, written := "e", "", false
			if m := marks[st]; i < len(m) {
				mark = m[i : i+1]
			}
			if mark == "a" {
				why = "pale"
			}
			if mark == "n" {
				mark, why, written = "a", "number", true
			}
			cells = append(cells, fmt.Sprintf(`{"mark":%q,"why":%q,"written":%t}`, mark, why, written))
		}
		rows = append(rows, fmt.Sprintf(`{"line":%d,"cells":[%s]}`, line+step*int64(i), strings.Join(cells, ",")))
	}
	return strings.Join(rows, ",")
}
