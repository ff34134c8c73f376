package main

import (
	"slices"
	"time"

	"listbound/events"
)

// goodsList is what each room counts besides instruments, by pack.
func goodsList() events.ListIssued {
	return events.ListIssued{List: "GOODS", Version: 1, Title: "Sponges, sharps and small items", Goods: true, Lines: []events.Line{
		{Line: 1, Item: "SPG-4545", Description: "Laparotomy sponge, X-ray detectable, 45 x 45 cm", Quantity: 5, Sort: events.Sponges},
		{Line: 2, Item: "SPG-1010", Description: "Gauze sponge, X-ray detectable, 10 x 10 cm", Quantity: 10, Sort: events.Sponges},
		{Line: 3, Item: "SPG-0205", Description: "Dissecting sponge, round, small", Quantity: 5, Sort: events.Sponges},
		{Line: 4, Item: "NDL-0037", Description: "Suture needle, round-bodied, 37 mm", Quantity: 1, Sort: events.Sharps},
		{Line: 5, Item: "BLD-0010", Description: "Blade, no. 10", Quantity: 1, Sort: events.Sharps},
		{Line: 6, Item: "LOP-0002", Description: "Vessel loop", Quantity: 2, Sort: events.SmallItems},
	}}
}

// goods is how many of each there are of a case's goods, which lie with its first set.
type goods struct {
	events.Beyond
	there int64
}

// packingStays is the case in which something is left in the patient on purpose.
const packingStays = "K-0406"

// openGoods opens what a case with a cavity begins with.
func (c *counting) openGoods() {
	if c.nth != 0 || !c.t.use.cavity || c.t.what != none {
		return
	}
	line := c.t.list.Lines[len(c.t.list.Lines)-1].Line
	for i, l := range goodsList().Lines {
		opened := []int64{10, 20, 0, 8, 2, 2}[i]
		if opened == 0 {
			continue
		}
		line++
		x := events.Beyond{Line: line, Item: l.Item, Description: l.Description, Added: opened, Sort: l.Sort}
		c.goods = append(c.goods, goods{x, opened})
	}
}

// moreGoods opens another pack while the case goes on.
func (c *counting) moreGoods() error {
	if len(c.goods) == 0 {
		return nil
	}
	g := &c.goods[1]
	x := g.Beyond
	_, err := c.count(events.StageAdded, c.t.use.cut.Add(48*time.Minute), func(d *events.SetCounted) {
		d.Counts, d.Beyond = []events.Count{{Line: g.Line, Counted: 10}}, []events.Beyond{x}
	})
	g.there += 10
	return err
}

// countGoods writes the goods into a count that is not of what was added.
func (c *counting) countGoods(d *events.SetCounted) {
	for i := range c.goods {
		g := &c.goods[i]
		d.Counts = append(d.Counts, events.Count{Line: g.Line, Counted: g.there})
		d.Beyond = append(d.Beyond, g.Beyond)
		g.Added = 0 // in the counts that follow
	}
}

// leaveInside says what stays in the patient, before the wound is closed.
func (c *counting) leaveInside(d *events.SetCounted) {
	if len(c.goods) == 0 || c.t.use.ref != packingStays {
		return
	}
	g := &c.goods[0]
	g.there -= 2
	i := slices.IndexFunc(d.Counts, func(x events.Count) bool { return x.Line == g.Line })
	d.Counts[i].Counted = g.there
	d.Removed = append(d.Removed, events.Removed{Line: g.Line, Quantity: 2, Stays: true,
		Reason: "packing against bleeding, to be taken out in a second operation"})
}
