package workplace

import (
	"strings"
	"time"

	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections/facts"
	"listbound/projections/judge"
)

// What is on record already is said before anybody signs: a case that is closed, a count that was recorded at a station. That the paper
// is recorded beside it is for a person to say.

// thereCount is a count of the same stage that is recorded, and not from this sheet.
type thereCount struct {
	id               string
	at               time.Time
	counter, witness string
	counts           []events.Count
}

// closedCase is the last record that closed a case.
type closedCase struct {
	id string
	at time.Time
}

// there finds what is recorded of the case, and of the set in it.
func (st *readState) there(v *visit, m *site.View, w *judge.World, ref string) error {
	for _, it := range w.Trip(st.on).Counted {
		d := facts.CountOf(it)
		if it.Void || d.Case != ref || d.Paper != nil && d.Sheet == st.sheet.Code {
			continue
		}
		st.takeThere(it)
	}
	found, err := m.Facts(v, facts.DimCase, ref)
	if err != nil {
		return err
	}
	st.known = len(found) > 0
	for _, e := range found {
		if _, ok := e.Data.(*events.CaseClosed); ok && st.standing.Closed {
			st.closed = closedCase{e.ID, e.Time}
		}
	}
	if !st.known {
		planned, err := m.Facts(v, facts.DimSchedule, ref)
		st.known = len(planned) > 0
		return err
	}
	return nil
}

// nextThere asks about what is on record already.
func (st *readState) nextThere(b *readback) *paperQuestion {
	if st.closed.id != "" && b.Closed != st.closed.id {
		return &paperQuestion{kind: askClosed}
	}
	for _, stage := range st.sheet.stages() {
		r, ok := st.recorded[stage]
		if !ok || st.isDone(stage) || st.blank(stage) || stage == events.StageAdded { // what came is asked of each line
			continue
		}
		if said := b.Stages[stage]; said == nil || said.Beside != r.id && said.LeftOut != r.id {
			return &paperQuestion{kind: askThere, stage: stage}
		}
	}
	return nil
}

// leftOut reports whether a person said that the sheet's count of a stage is not recorded, since one is there.
func (st *readState) leftOut(b *readback, stage events.Stage) bool {
	said := b.Stages[stage]
	return said != nil && said.LeftOut != "" && said.LeftOut == st.recorded[stage].id
}

func (b *readback) askClosed(v *visit, st *readState) said {
	return wrong(v.t("readback-ask-closed", b.Case, v.time(st.closed.at)),
		v.t("outcome-"+st.standing.Outcome)+" "+v.t("readback-closed-more")).offer(
		choice{Do: "closed", Value: st.closed.id, Words: v.t("readback-record-late")},
		choice{Do: "aside", Words: v.t("readback-aside")})
}

func (b *readback) askThere(v *visit, st *readState, stage events.Stage) said {
	r := st.recorded[stage]
	who := v.t("readback-by-one", r.counter)
	if r.witness != "" {
		who = v.t("readback-by-two", r.counter, r.witness)
	}
	more := v.t("readback-there-is", v.time(r.at), who, len(r.counts))
	if others := st.othersIn(v, r.counts); others != "" {
		more += " " + v.t("readback-others", others)
	}
	name := v.t("stage-" + string(stage))
	return doubt(v.t("readback-ask-there", name, st.on.Set, b.Case), more+" "+v.t("readback-there-more")).offer(
		choice{Do: "leave-out", Value: string(stage), Words: v.t("readback-leave-out")},
		choice{Do: "beside", Value: string(stage), Words: v.t("readback-beside")},
		choice{Do: "aside", Words: v.t("readback-aside")})
}

// othersIn says which lines a recorded count has with another number than packed.
func (st *readState) othersIn(v *visit, counts []events.Count) string {
	var out []string
	for _, c := range counts {
		for i := range st.lines {
			if l := &st.lines[i]; l.Line.Line == c.Line && l.Packed != c.Counted {
				out = append(out, v.t("readback-other", c.Line, c.Counted, l.Packed))
			}
		}
	}
	return strings.Join(out, "; ")
}

// takeClosed says that the counts are recorded although the case is closed.
func (b *readback) takeClosed(v *visit, f fields) (said, error) {
	st, q, err := b.now(v)
	if err == nil && q != nil && q.kind == askClosed && f["value"] == st.closed.id {
		b.Closed = st.closed.id
	}
	return said{}, err
}

// beside says that the paper's count is recorded beside the one that is there.
func (b *readback) beside(v *visit, f fields) (said, error) {
	return b.sayThere(v, f, func(s *stageSaid, id string) { s.Beside = id })
}

// leaveOut says that the paper's count is not recorded.
func (b *readback) leaveOut(v *visit, f fields) (said, error) {
	return b.sayThere(v, f, func(s *stageSaid, id string) { s.LeftOut = id })
}

func (b *readback) sayThere(v *visit, f fields, say func(*stageSaid, string)) (said, error) {
	st, q, err := b.now(v)
	if err == nil && q != nil && q.kind == askThere && f["value"] == string(q.stage) {
		say(b.stage(q.stage), st.recorded[q.stage].id)
	}
	return said{}, err
}

// sureOfCase says that a case is written so, though nothing is recorded of it.
func (b *readback) sureOfCase(v *visit, f fields) (said, error) {
	_, q, err := b.now(v)
	if err == nil && q != nil && q.kind == askKnown && f["value"] == b.Case {
		b.Sure = b.Case
	}
	return said{}, err
}

func (b *readback) askKnown(v *visit) said {
	return doubt(v.t("readback-ask-known", b.Case), v.t("readback-known-more")).offer(
		choice{Do: "case-sure", Value: b.Case, Words: v.t("readback-case-sure", b.Case)},
		choice{Do: "aside", Words: v.t("readback-aside")})
}
