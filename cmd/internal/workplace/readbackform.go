package workplace

import (
	"slices"
	"strings"

	"listbound/cmd/internal/paper"
	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections"
)

// A blank form is what people wrote on while no count sheet could be printed. No program reads it: it is typed in here, each number
// of it, with the time that stands on it and by whom. It names no list, so its counts are those of a sheet that could not be read,
// and judgement treats them so.

// formPicture stands where a sheet has the digest of its picture.
const formPicture = "0000000000000000typed"

// formText is what such a count says of its sheet.
const formText = "blank form"

// typeForm begins typing in a form, or asks of which set it is.
func (b *readback) typeForm(v *visit, f fields) (said, error) {
	if b.Code != "" {
		return said{Sound: "low"}, nil
	}
	set := strings.TrimSpace(f["set"])
	if set == "" {
		b.Form = true
		return said{}, nil
	}
	sheet, err := v.formOf(set)
	if err != nil {
		return said{}, err
	}
	if sheet == nil {
		return said{}, v.sayNo("readback-form-unknown", set)
	}
	unlock := v.d.lockSheet(sheet.Code)
	err = v.d.files.savePaper(sheet)
	unlock()
	if err != nil {
		return said{}, err
	}
	return b.takeUp(v, fields{"value": sheet.Code})
}

func (b *readback) scanFormSet(v *visit, set string) (said, error) {
	if b.Code != "" || !b.Form {
		return said{}, v.notAskedFor(events.ScanSet, set)
	}
	return b.typeForm(v, fields{"set": set})
}

// formOf is a sheet of which nothing was read: each line of the set as it was packed last is asked; nil where it never was.
func (v *visit) formOf(set string) (*paperSheet, error) {
	goods, err := v.goods()
	if err != nil {
		return nil, err
	}
	return site.Answer(v.d.site, func(m *site.View) (*paperSheet, error) {
		trip, err := m.TripNow(v, set, v.now)
		if err != nil || trip == "" {
			return nil, err
		}
		w := m.World(v)
		st, err := w.Standing(projections.TripKey{Set: set, Trip: trip})
		if err != nil || len(st.Lines) == 0 {
			return nil, err
		}
		policy, _, err := w.PolicyAt(site.SiteOf(v.station), v.now)
		if err != nil {
			return nil, err
		}
		page := &paperPage{Page: 1, Picture: formPicture, InFile: 1}
		for _, stage := range policy.Stages {
			if stage != events.StageAdded {
				page.Stages = append(page.Stages, stage)
			}
		}
		typed := func(line int64) paperRow {
			return paperRow{Line: line, Cells: slices.Repeat([]paperCell{{Mark: markAsked, Why: whyForm}}, len(page.Stages))}
		}
		for _, l := range st.Lines {
			if !l.Beyond || l.Sort == "" {
				page.Rows = append(page.Rows, typed(l.Line.Line))
			}
		}
		named := paper.FormGoods(goods)
		for row := range paper.FormGoodsRows(goods) {
			page.Goods = append(page.Goods, typed(int64(-1-row)))
		}
		return &paperSheet{Code: "form-" + trip, Set: set, Trip: trip, List: st.List, Version: st.Version, Title: st.Title, Of: 1,
			Form: true, Goods: named, Pages: map[int]*paperPage{1: page}, ReadAt: v.now.UTC()}, w.Failed()
	})
}

// nextOfForm asks of each count of a form whether it was made.
func (st *readState) nextOfForm(b *readback) *paperQuestion {
	if !st.sheet.Form {
		return nil
	}
	for _, stage := range st.sheet.stages() {
		if said := b.Stages[stage]; !st.leftOut(b, stage) && (said == nil || !said.Left && !said.Made) {
			return &paperQuestion{kind: askMade, stage: stage}
		}
	}
	return nil
}

// made says that a count is on the form.
func (b *readback) made(v *visit, _ fields) (said, error) {
	_, q, err := b.now(v)
	if err == nil && q != nil && q.kind == askMade {
		b.stage(q.stage).Made = true
	}
	return said{}, err
}

// formTurn is the turn of the form's set that was opened for the case.
func (st *readState) formTurn() (k projections.TripKey, ok bool) {
	i := slices.IndexFunc(st.standing.Sets, func(s projections.SetStanding) bool { return s.Opened && s.Key.Set == st.sheet.Set })
	if i < 0 {
		return k, false
	}
	return st.standing.Sets[i].Key, true
}

// isFormSymbol reports whether a text is the symbol on a blank form.
func isFormSymbol(text string) bool { return text == paper.BlankFormSymbol }
