package judge

import (
	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
)

func listRules() []Rule {
	return []Rule{
		{"list version", []projections.Code{projections.ListSuperseded}, (*judgement).listVersion},
		{"sealed version", []projections.Code{projections.ListSuperseded, projections.SheetAltered}, (*judgement).sealedVersion},
	}
}

// listVersion finds what was packed or sealed against a version that was no
// longer current, or that nobody has issued.
func (j *judgement) listVersion() {
	c := j.c
	pack := c.LastPack()
	p := facts.PackOf(pack)
	if p == nil {
		return
	}
	if c.List == nil {
		j.add(projections.ListSuperseded, projections.SeverityDoubtful, &projections.ListUnknown{
			Set: c.Key.Set, By: listVersion(p.List, p.Version), At: pack.At(),
		}, pack)
	}
	for _, it := range c.Packed {
		d := facts.PackOf(it)
		if d.List != p.List {
			continue
		}
		if n := j.w.Newer(d.List, d.Version, it); n != nil {
			f := j.oldVersion(it, listVersion(d.List, d.Version), n)
			if len(c.Packed) == 1 {
				f.Lines = changedLines(c.List, n.Data.(*events.ListIssued))
			}
		}
	}
}

// sealedVersion holds each sheet that was sealed against the list the set was
// packed by then.
func (j *judgement) sealedVersion() {
	if j.c.LastPack() == nil {
		return
	}
	for _, seal := range j.c.Sealed {
		c := j.w.PackedFor(j.c, seal)
		pack := c.LastPack()
		p := facts.PackOf(pack)
		packed, sealed := listVersion(p.List, p.Version), packedOr(seal, p)
		switch {
		case sealed != packed:
			f := j.add(projections.SheetAltered, projections.SeverityBroken, &projections.SealedOther{
				Set: c.Key.Set, At: moment(seal), Packed: packed, Sealed: sealed,
			}, seal, pack)
			f.From, f.To = pack.At(), seal.At()
		case c.List != nil && !j.w.SealTrue(c, seal):
			j.add(projections.SheetAltered, projections.SeverityBroken, &projections.SealFalse{
				Set: c.Key.Set, At: moment(seal), Packed: packed,
			}, seal, c.ListItem)
		}
		if sealed.List != p.List {
			continue
		}
		packedOld := len(j.c.Packed) == 1 && sealed.Version == p.Version && j.w.Newer(sealed.List, sealed.Version, pack) != nil
		if n := j.w.Newer(sealed.List, sealed.Version, seal); n != nil && !packedOld {
			j.oldVersion(seal, sealed, n)
		}
	}
}

func listVersion(list string, version int64) projections.ListVersion {
	return projections.ListVersion{List: list, Version: version}
}

// packedOr returns the version that a seal names, else the one packed by.
func packedOr(seal *facts.Item, p *events.SetPacked) projections.ListVersion {
	if d := facts.SealOf(seal); d.List != "" {
		return listVersion(d.List, d.Version)
	}
	return listVersion(p.List, p.Version)
}

func (j *judgement) oldVersion(it *facts.Item, by projections.ListVersion, newer *facts.Item) *projections.Finding {
	f := j.add(projections.ListSuperseded, projections.SeverityDoubtful, &projections.OldVersion{
		Set: j.c.Key.Set, By: by, At: it.At(), Sealed: it.Kind == events.KindListSealed,
		Newer: newer.Data.(*events.ListIssued).Version, NewerAt: newer.At(),
	}, it, newer)
	f.From, f.To = newer.At(), it.At()
	return f
}
