package workplace

import (
	"context"
	"math"
	"slices"

	"listbound/cmd/internal/paper"
	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections/facts"
)

// goodsOn are the goods that have a row on a set's count sheet: those of the site's lists as they were recorded before the code of
// the sheet was sealed first. By what is recorded in between nobody can tell when a sheet was printed, and a row must be
// of the same goods whenever that was; a later record of the same seal changes nothing.
func goodsOn(ctx context.Context, m *site.View, c *facts.Trip, code events.SheetCode) ([]events.Line, error) {
	before := int64(math.MaxInt64)
	for _, it := range c.Sealed {
		if d := facts.SealOf(it); d != nil && d.Code == code.String() {
			before = min(before, it.Seq)
		}
	}
	if before == math.MaxInt64 {
		return nil, nil
	}
	all, err := m.Versions(ctx, "")
	if err != nil {
		return nil, err
	}
	all = slices.DeleteFunc(all, func(l site.ListVersion) bool { return l.Seq >= before })
	return paper.NamedGoods(goodsIn(all)), nil
}

// goodsIn are the goods of the newest of some versions of lists, in the order in which they are counted.
func goodsIn(all []site.ListVersion) []events.Line {
	var out []events.Line
	for _, l := range newest(all) {
		if l.Goods {
			out = append(out, l.LineRows...)
		}
	}
	slices.SortStableFunc(out, func(a, b events.Line) int { return inOrder(a.Sort) - inOrder(b.Sort) })
	return out
}
