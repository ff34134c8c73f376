package events

// TextsRedacted takes texts out of what stands beside the ledger: the texts and references of cases that its marks stand
// for are nowhere in the folder from then on. It is signed by the ledger. Subject: the site.
type TextsRedacted struct {
	Marks  []string `json:"marks"` // in the order of their bytes
	Reason string   `json:"reason" addendum:"text"`
}

func (*TextsRedacted) Kind() Kind { return KindTextsRedacted }

// Keys implements Data.
func (*TextsRedacted) Keys() Keys { return Keys{} }

// MaxRedacted is how many texts one event takes out at most, so that the record is not too large.
const MaxRedacted = 500

// Check implements Data.
func (d *TextsRedacted) Check() error {
	var c checks
	n := len(d.Marks)
	c.must(n >= 1 && n <= MaxRedacted, "marks: there are %d; there are from 1 to %d", n, MaxRedacted)
	for i, m := range d.Marks {
		c.must(IsMark(m), "marks: %.60q is no mark of a text", m)
		c.must(i == 0 || d.Marks[i-1] < m, "marks: they are not in order")
	}
	c.text("reason", d.Reason)
	return c.err
}

// HoldPlaced keeps texts from being taken out, as where a court has asked for the records: those of a case, those about a
// set, or all, where neither is named. Subject: the site.
type HoldPlaced struct {
	Hold   string `json:"hold"` // its name, such as H-2026-1
	Case   string `json:"case,omitempty" addendum:"case"`
	Set    string `json:"set,omitempty"`
	Reason string `json:"reason" addendum:"text"`
}

func (*HoldPlaced) Kind() Kind { return KindHoldPlaced }

// Keys implements Data.
func (*HoldPlaced) Keys() Keys { return Keys{} }

// Check implements Data.
func (d *HoldPlaced) Check() error {
	var c checks
	c.id("hold", d.Hold)
	c.optionalID("case", d.Case)
	c.optionalID("set", d.Set)
	c.text("reason", d.Reason)
	return c.err
}

// HoldLifted ends a hold. Subject: the site.
type HoldLifted struct {
	Hold   string `json:"hold"`
	Reason string `json:"reason" addendum:"text"`
}

func (*HoldLifted) Kind() Kind { return KindHoldLifted }

// Keys implements Data.
func (*HoldLifted) Keys() Keys { return Keys{} }

// Check implements Data.
func (d *HoldLifted) Check() error {
	var c checks
	c.id("hold", d.Hold)
	c.text("reason", d.Reason)
	return c.err
}

// RetentionAdopted says for how long texts are kept: what was observed longer ago is due to be taken out. Subject: the site.
type RetentionAdopted struct {
	Days   int64  `json:"days"` // 0: for good
	Reason string `json:"reason,omitempty" addendum:"text"`
}

func (*RetentionAdopted) Kind() Kind { return KindRetentionAdopted }

// Keys implements Data.
func (*RetentionAdopted) Keys() Keys { return Keys{} }

// maxRetention is a hundred years.
const maxRetention = 36525

// Check implements Data.
func (d *RetentionAdopted) Check() error {
	var c checks
	c.inRange("days", d.Days, 0, maxRetention)
	c.optionalText("reason", d.Reason)
	return c.err
}

// SaysOfTexts reports whether the kind says what becomes of the texts beside the ledger. The ledger itself says it.
func (k Kind) SaysOfTexts() bool {
	switch k {
	case KindTextsRedacted, KindHoldPlaced, KindHoldLifted, KindRetentionAdopted:
		return true
	}
	return false
}
