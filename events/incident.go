package events

import "time"

// IncidentStep is what somebody does with an incident.
type IncidentStep string

// The values of IncidentStep.
const (
	IncidentNoted    IncidentStep = "noted"  // says who sees to it, by when, or what was done
	IncidentClosed   IncidentStep = "closed" // with an outcome
	IncidentReopened IncidentStep = "reopened"
)

// IncidentOutcome is how an incident ended.
type IncidentOutcome string

// The values of IncidentOutcome.
const (
	OutcomePutRight    IncidentOutcome = "put-right"     // what was wrong was put right
	OutcomeFound       IncidentOutcome = "found"         // what was missing was found
	OutcomeNotFound    IncidentOutcome = "not-found"     // it was looked for, and not found
	OutcomeWithdrawn   IncidentOutcome = "withdrawn"     // the sets were taken out of use, or reprocessed
	OutcomeRecordWrong IncidentOutcome = "record-wrong"  // the record was wrong, not the set
	OutcomeTooLate     IncidentOutcome = "not-to-settle" // nothing can be found out or done any more
)

// IncidentOutcomes returns the outcomes in the order in which they are offered.
func IncidentOutcomes() []IncidentOutcome {
	return []IncidentOutcome{OutcomePutRight, OutcomeFound, OutcomeNotFound, OutcomeWithdrawn, OutcomeRecordWrong, OutcomeTooLate}
}

// MaxCovered is how many findings the closing of an incident may name.
const MaxCovered = 2000

// IncidentHandled records what somebody does about an incident: one cause with all findings that it shows in. It is said of
// one of them, and concerns all. It hides nothing: findings and histories stay as they are.
// Subject: the set; the trip is the event's.
type IncidentHandled struct {
	Code     string          `json:"code"` // of the finding
	Step     IncidentStep    `json:"step"`
	Assignee string          `json:"assignee,omitempty"` // badge of whoever sees to it
	Due      string          `json:"due,omitempty"`      // RFC 3339
	Text     string          `json:"text" addendum:"text"`
	Outcome  IncidentOutcome `json:"outcome,omitempty"` // of a closing
	// Covers are the marks of the findings that a closing knew of, as "incident" questions give them: a finding with
	// another mark opens it again.
	Covers []string `json:"covers,omitempty"`
}

func (*IncidentHandled) Kind() Kind { return KindIncidentHandled }

// Keys implements Data. A step is looked up by its trip.
func (*IncidentHandled) Keys() Keys { return Keys{} }

// DueAt is by when something is to be done, zero where it isn't said.
func (d *IncidentHandled) DueAt() time.Time { return timeOf(d.Due) }

// Check implements Data.
func (d *IncidentHandled) Check() error {
	var c checks
	c.id("code", d.Code)
	oneOf(&c, "step", d.Step, IncidentNoted, IncidentClosed, IncidentReopened)
	c.optionalID("assignee", d.Assignee)
	c.optionalTime("due", d.Due)
	c.text("text", d.Text)
	closed := d.Step == IncidentClosed
	c.must(closed == (d.Outcome != "") && closed == (len(d.Covers) > 0),
		"step %s: outcome and covers are given with closed, and only then", d.Step)
	if closed {
		oneOf(&c, "outcome", d.Outcome, IncidentOutcomes()...)
	}
	c.must(len(d.Covers) <= MaxCovered, "a closing covers at most %d findings", MaxCovered)
	c.each("covers", d.Covers, checkID)
	return c.err
}
