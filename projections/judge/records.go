package judge

import (
	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
	"slices"
	"strings"
)

func recordRules() []Rule {
	return []Rule{
		{"records", []projections.Code{
			projections.SignatureBad, projections.StationGap, projections.StationRetired, projections.ClockDoubtful,
			projections.RecordUnread,
		}, (*judgement).records},
	}
}

// records reports what is wrong with records themselves.
func (j *judgement) records() {
	j.remarks(j.c.All)
	j.unreadCorrections(j.c.All)
	if j.c.ListItem != nil {
		j.unreadCorrections([]*facts.Item{j.c.ListItem})
	}
	for _, u := range j.c.Cases {
		j.remarks(u.Closings)
		j.unreadCorrections(u.Closings)
	}
}

func (j *judgement) unreadCorrections(its []*facts.Item) {
	for _, it := range its {
		for _, fix := range it.Unread {
			j.add(projections.RecordUnread, projections.SeverityNoted, &projections.CorrectionUnread{
				Step: it.Kind, StepAt: it.At(), Correction: fix.At(),
			}, fix, it)
		}
	}
}

// fault is a kind of fault in the records of one station.
type fault struct {
	code    projections.Code
	sev     projections.Severity
	station string
}

// faults returns what the audit's remarks on a record come to.
func faults(it *facts.Item) []fault {
	station := ""
	if it.Event != nil {
		station = it.Event.Station
	}
	var out []fault
	for _, x := range []struct {
		bits events.Remark
		code projections.Code
		sev  projections.Severity
	}{
		{events.RemarkSignature | events.RemarkForm, projections.SignatureBad, projections.SeverityBroken},
		{events.RemarkGap, projections.StationGap, projections.SeverityDoubtful},
		{events.RemarkRetired, projections.StationRetired, projections.SeverityDoubtful},
		{events.RemarkAhead | events.RemarkBackwards, projections.ClockDoubtful, projections.SeverityDoubtful},
		// Of a trip: it may have been one of its links, so "whole" would say more
		// than is known.
		{events.RemarkUnknown, projections.RecordUnread, projections.SeverityDoubtful},
	} {
		if it.Remarks&x.bits != 0 {
			out = append(out, fault{x.code, x.sev, station})
		}
	}
	return out
}

// remarks turns the audit's remarks into findings, one for each kind of fault
// and station.
func (j *judgement) remarks(its []*facts.Item) {
	var order []fault
	var by map[fault][]*facts.Item
	for _, it := range its {
		if it.Remarks == 0 {
			continue
		}
		for _, f := range faults(it) {
			if by == nil {
				by = make(map[fault][]*facts.Item)
			}
			if by[f] == nil {
				order = append(order, f)
			}
			by[f] = append(by[f], it)
		}
	}
	for _, f := range order {
		j.remarked(f, by[f])
	}
}

func (j *judgement) remarked(f fault, its []*facts.Item) {
	d := &projections.Remarked{Station: f.station, Records: len(its), Remarks: its[0].Remarks}
	if i := slices.IndexFunc(its, func(it *facts.Item) bool { return it.Event != nil }); i >= 0 {
		d.First = its[i].At()
	}
	found := j.add(f.code, f.sev, d)
	for _, it := range its {
		found.Events = append(found.Events, it.Seq) // a correction changes nothing about the record itself
		if it.Event == nil {
			continue
		}
		if found.From.IsZero() || it.At().Before(found.From) {
			found.From = it.At()
		}
		if it.At().After(found.To) {
			found.To = it.At()
		}
	}
}

func (j *judgement) acknowledgements() {
	for _, it := range j.c.All {
		d, ok := it.Data.(*events.FindingAcknowledged)
		if !ok || it.Void || it.Forged() {
			continue
		}
		for i := range j.findings {
			if f := &j.findings[i]; string(f.Code) == d.Code && looksAt(it, f) {
				f.Acknowledged = append(f.Acknowledged, projections.Acknowledgement{By: it.Event.Operator,
					Reason: d.Reason, Time: it.At(), Seq: it.Seq})
			}
		}
	}
}

// handled tells what people did about what is found, in the order of time.
func (j *judgement) handled() (out []projections.Handled) {
	for _, it := range j.c.All {
		d, ok := it.Data.(*events.IncidentHandled)
		if !ok || it.Void || it.Forged() {
			continue
		}
		out = append(out, projections.Handled{Code: projections.Code(d.Code), Step: d.Step, By: it.Event.Operator, Assignee: d.Assignee,
			Due: d.DueAt(), Text: d.Text, Outcome: d.Outcome, Covers: d.Covers, Time: it.At(), Seq: it.Seq})
	}
	return out
}

// looksAt reports whether an acknowledgement is one of a finding. Of a correction it is where another person looked, and
// once it was there: who corrected, and who had seen an earlier one, has not looked at it.
func looksAt(it *facts.Item, f *projections.Finding) bool {
	d, ok := f.Detail.(*projections.RestsOnCorrection)
	return !ok || !it.At().Before(d.Correction) && it.Event.Operator != "" && !strings.EqualFold(it.Event.Operator, d.By)
}

// JudgeStation returns the verdict on a station's records that belong to no
// trip: a hole in its numbering at a list.issued, say. The closing of a case is
// among them, as the record names no trip, and is held against the case's
// trips as well. Station "" has the records nobody can read at all. Whether the
// station has fallen silent is judged by what the audit knows of it.
func (w *World) JudgeStation(st events.Station) (projections.Verdict, error) {
	var its []*facts.Item
	for _, it := range w.Remarked(st.Name) {
		if it.Event == nil || facts.OfNoTrip(it.Event) {
			its = append(its, it)
		}
	}
	slices.SortFunc(its, func(a, b *facts.Item) int { return int(a.Seq - b.Seq) })
	j := judgement{w: w, station: &st}
	j.remarks(its)
	j.silent()
	for i := range j.findings {
		// Nothing is judged by what a record of no trip may have said.
		if f := &j.findings[i]; f.Code == projections.RecordUnread {
			f.Severity = projections.SeverityNoted
		}
	}
	for i := range j.findings {
		slices.Sort(j.findings[i].Events)
	}
	slices.SortStableFunc(j.findings, projections.CompareFindings)
	v := projections.Verdict{
		Station: st.Name, Findings: j.findings, Status: projections.StatusOf(j.findings, projections.Whole), Until: j.until,
	}
	for _, it := range its {
		if it.Event != nil && it.SeenBy().After(v.Since) {
			v.Since = it.SeenBy()
		}
	}
	return v, w.Failed()
}
