package judge

import (
	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
)

// moment tells of one observation.
func moment(it *facts.Item) projections.Moment {
	return projections.Moment{Seq: it.Seq, At: it.At(), Place: facts.PlaceOf(it)}
}

// momentOf tells of a reading, nil of none.
func momentOf(r *facts.Reading) *projections.Moment {
	if r == nil {
		return nil
	}
	return momentAt(r.It)
}

// momentAt is moment for what may not be there.
func momentAt(it *facts.Item) *projections.Moment {
	if it == nil {
		return nil
	}
	m := moment(it)
	return &m
}

func runDetail(it *facts.Item) *projections.Run {
	d := facts.RunOf(it)
	if d == nil {
		return nil
	}
	return &projections.Run{
		Load: d.Load, Sterilizer: d.Sterilizer, Run: d.Run, Cycle: d.Cycle, Result: d.Result, Released: d.Released, At: it.At(),
	}
}

// changesOf compares the list of the sheet that was found with the right one.
func changesOf(found, right *events.ListIssued) projections.Changes {
	if found == nil || right == nil {
		return projections.Changes{}
	}
	c := projections.Changes{Known: true}
	for _, d := range events.DiffLines(found.Lines, right.Lines) {
		if d.Old != nil && d.New != nil && d.Old.SameToCount(d.New) {
			continue // who counted by that sheet counted right
		}
		c.Lines = append(c.Lines, projections.LineChange{Line: d.Line, OnSheet: d.Old, Right: d.New})
	}
	return c
}

func lineCounts(ds []lineDiff) []projections.LineCount {
	out := make([]projections.LineCount, len(ds))
	for i, d := range ds {
		out[i] = projections.LineCount{Line: d.line, Item: d.item, Description: d.name, Beyond: d.beyond,
			Expected: d.expected, Counted: d.seen}
	}
	return out
}

// countsDiffer sorts differing lines by the count in which they were found.
func countsDiffer(ds []lineDiff) []projections.CountDiffers {
	var out []projections.CountDiffers
	for _, of := range byCount(ds) {
		it := of[0].in
		out = append(out, projections.CountDiffers{Stage: facts.CountOf(it).Stage, At: it.At(),
			Lines: lineCounts(of), LeftOut: of[0].leftOut})
	}
	return out
}

// movesOf tells of the pieces that a set's neighbours have of it, or it of theirs.
func movesOf(k projections.TripKey, moves []projections.Move) []projections.MovedPieces {
	out := make([]projections.MovedPieces, len(moves))
	for i, m := range moves {
		out[i] = projections.MovedPieces{Set: m.From.Set, Quantity: m.Quantity}
		if m.From == k {
			out[i] = projections.MovedPieces{Set: m.To.Set, Quantity: m.Quantity, There: true}
		}
	}
	return out
}

func stagesAt(its []*facts.Item) []projections.StageAt {
	out := make([]projections.StageAt, len(its))
	for i, it := range its {
		d := facts.CountOf(it)
		out[i] = projections.StageAt{Stage: d.Stage, At: it.At(), Badge: d.Counter}
	}
	return out
}

func lateLines(ls []unseenLine) []projections.LateLine {
	out := make([]projections.LateLine, len(ls))
	for i, l := range ls {
		out[i] = projections.LateLine{
			Line: l.line, Item: l.item, Description: l.name, Beyond: l.beyond, Added: l.added, Removed: l.removed, At: l.last.At(),
		}
	}
	return out
}

// during sets a finding's window from its detail's.
func during(f *projections.Finding, w projections.Window) {
	f.From, f.To = w.From, w.To
	for _, p := range w.Places {
		f.Places = append(f.Places, p.String())
	}
}
