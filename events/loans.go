package events

import "time"

// The steps of a set that a supplier lends: it is counted by its inventory when it comes and when it goes. Between them it
// is packed, used and comes back as any other.
const (
	ReturnArrived ReturnStep = "arrived"     // from the supplier; not clean, whatever it was there
	ReturnHanded  ReturnStep = "handed-back" // counted out, to the supplier
)

// LoanSteps lists both, in their order.
func LoanSteps() []ReturnStep { return []ReturnStep{ReturnArrived, ReturnHanded} }

// IsLoan reports whether a step is one of a set that a supplier lends.
func (s ReturnStep) IsLoan() bool { return s == ReturnArrived || s == ReturnHanded }

// DueAt returns when a set that arrived is to be handed back, zero where nobody said.
func (d *SetReturned) DueAt() time.Time {
	at, _ := time.Parse(time.RFC3339, d.Due)
	return at
}

// checkLoan checks what is said of a set that a supplier lends.
func (d *SetReturned) checkLoan(c *checks) {
	c.optionalText("supplier", d.Supplier)
	if d.Due != "" {
		at, err := time.Parse(time.RFC3339, d.Due)
		c.must(err == nil, "due: %q is no time such as 2026-03-02T08:02:00Z", d.Due)
		c.year(at)
	}
	c.optionalID("list", d.List)
	c.inRange("version", d.Version, 0, maxCount)
	numbers := make(map[int64]struct{}, len(d.Exceptions))
	for _, x := range d.Exceptions {
		c.startLine("exceptions: ", x.Line, numbers)
		c.inRange("counted", x.Counted, 0, maxCount)
		c.text("reason", x.Reason)
	}
}
