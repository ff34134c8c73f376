package judge

import (
	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
)

func tagRules() []Rule {
	return []Rule{
		{"tag", []projections.Code{projections.TagUnread}, (*judgement).tags},
	}
}

// tags finds an opening at which nobody read the tag on the tray. A label and a
// sheet that fit each other can hang on another set's tray together: they are in
// one holder. A reading of the tag soon after settles it.
func (j *judgement) tags() {
	for i := range j.c.Readings {
		r := &j.c.Readings[i]
		p := j.w.PolicyFor(r.It)
		if !r.Opening || r.Tray() != "" || !p.AsksTag() || j.taggedBefore(r) {
			continue
		}
		sev := projections.SeverityDoubtful
		read := j.taggedAfter(r, p)
		if read != nil {
			sev = projections.SeverityNoted
		}
		f := j.add(projections.TagUnread, sev, &projections.TagNotRead{
			Set: j.c.Key.Set, At: moment(r.It), Label: r.Outer != "", Sheet: r.Class == facts.ReadGood, Read: momentOf(read),
		}, r.It)
		f.From, f.To = r.It.At(), r.It.At()
		if read != nil {
			f.Events, f.To = append(f.Events, read.It.Seq), read.It.At()
		}
	}
}

// taggedBefore reports whether the tag was read at an opening for the same case
// before: a set may be scanned as opened more than once.
func (j *judgement) taggedBefore(r *facts.Reading) bool {
	for i := range j.c.Readings {
		x := &j.c.Readings[i]
		if x.Opening && x.It.Less(r.It) && x.Proved() && events.CaseOf(x.It.Data) == events.CaseOf(r.It.Data) {
			return true
		}
	}
	return false
}

// taggedAfter returns the reading of the set's tag that follows an opening within
// the time of the policy, nil without one.
func (j *judgement) taggedAfter(r *facts.Reading, p *events.Policy) *facts.Reading {
	for i := range j.c.Readings {
		x := &j.c.Readings[i]
		if r.It.Less(x.It) && x.Proved() && x.It.At().Sub(r.It.At()) <= p.MayStillRead() {
			return x
		}
	}
	return nil
}
