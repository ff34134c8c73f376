package workplacetest

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"listbound/events"
)

// PaperPage is a page of a count sheet as it lies there once its picture was read: a letter a line for each stage, as
// events.PaperPage has it, and n where a number is written.
type PaperPage struct {
	Page  int
	First int64 // line at its top
	Marks map[events.Stage]string
}

// LayPaper lays a sheet of a set among those that wait for a person, without any picture.
func (h *House) LayPaper(set, list string, of int, pages ...PaperPage) {
	h.T.Helper()
	stages := []events.Stage{events.StageFirst, events.StageAdded, events.StageClosing, events.StageFinal}
	var all []string
	for _, p := range pages {
		var rows []string
		for i := range len(p.Marks[events.StageFirst]) {
			var cells []string
			for _, st := range stages {
				mark, why, written := "e", "", false
				if m := p.Marks[st]; i < len(m) {
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
			rows = append(rows, fmt.Sprintf(`{"line":%d,"cells":[%s]}`, p.First+int64(i), strings.Join(cells, ",")))
		}
		all = append(all,
			fmt.Sprintf(`"%d":{"page":%[1]d,"picture":%q,"inFile":1,"stages":["first","added","closing","final"],"rows":[%s]}`,
				p.Page, strings.Repeat("ab", 32), strings.Join(rows, ",")))
	}
	raw := fmt.Sprintf(`{"code":%q,"set":%q,"trip":%q,"list":%q,"version":1,"title":"%[4]s","of":%d,"pages":{%s},"readAt":%q}`,
		h.Codes[set], set, h.Trips[set], list, of, strings.Join(all, ","), h.Clock().Format(time.RFC3339))
	dir := filepath.Join(h.Site.Dir(), "drafts", "paper")
	if err := os.MkdirAll(dir, 0o700); err != nil {
		h.T.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, h.Codes[set]+".json"), []byte(raw), 0o600); err != nil {
		h.T.Fatal(err)
	}
}
