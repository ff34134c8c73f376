package facts

import (
	"listbound/events"
	"slices"
	"strings"
	"time"
)

// AllLinks are the six links of a chain, in order.
var AllLinks = events.DefaultPolicy().Links

// PolicyFor returns the policy in force at the site of a fact when it was observed.
func (b *Book) PolicyFor(it *Item) *events.Policy {
	return b.policy(it.site(), it.At())
}

// PolicyOfStation returns the policy in force at a station at a moment.
func (b *Book) PolicyOfStation(station string, at time.Time) *events.Policy {
	site, _, _ := strings.Cut(station, "/")
	return b.policy(site, at)
}

var defaultPolicy = events.DefaultPolicy()

func (b *Book) policy(site string, at time.Time) *events.Policy {
	p, _ := b.PolicyFact(site, at)
	return p
}

// PolicyCorrections returns the adoptions with a correction in force on which it
// depends which policy is in force at the site of a fact when it was observed.
func (b *Book) PolicyCorrections(it *Item) []*Item {
	b.PolicyFor(it) // asks for all that is looked at here
	var out []*Item
	for _, p := range slices.Backward(b.policies[it.site()].sorted()) {
		if p.At().After(it.At()) {
			continue
		}
		if p.By != nil {
			out = append(out, p)
		}
		if _, ok := p.Data.(*events.PolicyAdopted); ok && !p.Void && !p.Forged() {
			break
		}
	}
	return out
}

// Losses returns what was declared lost of the ledger at a site, void or not.
func (b *Book) Losses(site string) []*Item {
	b.need(DimPolicy, site)
	var out []*Item
	for _, it := range b.policies[site].sorted() {
		if it.Kind == events.KindRecordsLost {
			out = append(out, it)
		}
	}
	return out
}

// PolicyFact also returns the fact that adopted the policy, nil for the default.
func (b *Book) PolicyFact(site string, at time.Time) (*events.Policy, *Item) {
	b.need(DimPolicy, site)
	for _, p := range slices.Backward(b.policies[site].sorted()) {
		if p.Void || p.Forged() || p.At().After(at) {
			continue
		}
		if d, ok := p.Data.(*events.PolicyAdopted); ok {
			b.AskedBetween(DimPolicy, site, Nanos(p.At()), Nanos(at))
			return &d.Policy, p
		}
	}
	b.AskedBetween(DimPolicy, site, Ever, Nanos(at))
	return &defaultPolicy, nil
}
