package workplacetest

import (
	"fmt"
	"strings"
	"time"

	"listbound/events"
)

// Counter counts a case without a browser.
type Counter struct {
	House      *House
	Ref, Stage string
	Number     int
	Asks       any // the question that the page shows, if it is one that a badge answers
}

// Waits enters the next lines of a set, as sent some time after they were counted: the line to the server was down.
func (c *Counter) Waits(ago time.Duration, set string, from int, counts ...int) (a map[string]any) {
	for i, n := range counts {
		a = c.Post("enter", fmt.Sprintf(`"ago":%d,"lines":[{"set":%q,"line":%d,"counted":%d}]`, ago.Milliseconds(), set, from+i, n))
	}
	return a
}

func (c *Counter) TwoBadges(a, b string) map[string]any {
	c.Scan(Label(c.House.T, events.ScanBadge, a))
	c.House.After(3 * time.Second)
	return c.Scan(Label(c.House.T, events.ScanBadge, b))
}

func (c *Counter) Post(verb, rest string) map[string]any {
	c.Number++
	rev, _ := c.Asks.(float64)
	a := c.House.Post("/at/north/or-3/count/"+verb, fmt.Sprintf(`{"client":"t","n":%d,"rev":%v,"case":%q,"stage":%q,%s}`,
		c.Number, rev, c.Ref, c.Stage, rest))
	c.Asks = a["asks"]
	return a
}

func (c *Counter) Scan(text string) map[string]any { return c.Post("scan", `"text":`+JSONText(text)) }

func (c *Counter) Do(action string, fields ...string) map[string]any {
	var f []string
	for i := 0; i < len(fields); i += 2 {
		f = append(f, JSONText(fields[i])+":"+JSONText(fields[i+1]))
	}
	return c.Post("do", fmt.Sprintf(`"action":%q,"fields":{%s}`, action, strings.Join(f, ",")))
}

// Interrupt begins the count again, and says that it is meant.
func (c *Counter) Interrupt() map[string]any {
	if a := c.Do("interrupted"); !strings.Contains(Tells(a), "Begin again?") {
		return a
	}
	return c.Do("interrupted", "value", "sure ")
}

// LeftAnew answers that what was counted and left is counted from the start.
func (c *Counter) LeftAnew() map[string]any {
	return c.Do("left-anew", "value", Answer(c.Scan("")).Choice("left-anew")["value"])
}

// Lines enters the first lines of a set.
func (c *Counter) Lines(set string, counts ...int) (a map[string]any) {
	for i, n := range counts {
		a = c.Post("enter", fmt.Sprintf(`"lines":[{"set":%q,"line":%d,"counted":%d}]`, set, i+1, n))
	}
	return a
}
