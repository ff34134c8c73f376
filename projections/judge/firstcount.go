package judge

import "listbound/projections"

// firstCount finds a first count that is not what packing recorded.
func (j *judgement) firstCount(t counts) {
	if len(t.firstDiffs) == 0 {
		return
	}
	pack := j.c.LastPack()
	f := j.add(projections.CountDiffersAtOpen, projections.SeverityDoubtful, &projections.FirstDiffers{
		Set: j.c.Key.Set, At: t.first.At(), Lines: lineCounts(t.firstDiffs),
	}, t.first, pack)
	f.Lines, f.From, f.To = linesOf(t.firstDiffs), pack.At(), t.first.At()
}
