package events

import "github.com/go-json-experiment/json"

// NamedBadge is a badge that data names, besides that of who recorded it.
type NamedBadge struct {
	As    string // the member: counter, witness, secondLook, loader, badge, checkedBy or assignee
	Badge string
}

// BadgeMembers are the members of data that hold a badge, in the order in which they are told of.
func BadgeMembers() []string {
	return []string{"counter", "witness", "secondLook", "loader", "badge", "checkedBy", "assignee"}
}

// BadgesIn returns the badges that data names. Of a correction they are those of what it puts in place.
func BadgesIn(d Data) (out []NamedBadge) {
	add := func(as, badge string) {
		if badge != "" {
			out = append(out, NamedBadge{as, badge})
		}
	}
	switch d := d.(type) {
	case *SetPacked:
		add("secondLook", d.SecondLook)
	case *SetSterilized:
		add("loader", d.Loader)
		add("secondLook", d.SecondLook)
	case *SetCounted:
		add("counter", d.Counter)
		add("witness", d.Witness)
		if d.Paper != nil {
			add("checkedBy", d.Paper.CheckedBy)
		}
	case *CaseClosed:
		add("witness", d.Witness)
	case *IncidentHandled:
		add("assignee", d.Assignee)
	case *PersonEntered:
		add("badge", d.Badge)
	case *AccessClaimed:
		add("badge", d.Badge)
	case *EventCorrected:
		var in map[string]any
		if json.Unmarshal(d.Data, &in) != nil { // nothing, too, where it only takes back
			return nil
		}
		for _, as := range BadgeMembers() {
			if badge, ok := in[as].(string); ok {
				add(as, badge)
			}
			if paper, ok := in["paper"].(map[string]any); ok && as == "checkedBy" {
				if badge, ok := paper[as].(string); ok {
					add(as, badge)
				}
			}
		}
	}
	return out
}
