package workplace

import (
	"slices"
	"strings"
	"time"

	"listbound/cmd/internal/refusal"
	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections/facts"
)

// recordsAt is a kind that is recorded at each place: what a badge and a station must be for, to work there.
func recordsAt(place string) events.Data {
	switch place {
	case "packing":
		return &events.SetPacked{}
	case "sealing":
		return &events.ListSealed{}
	case "sterilizer":
		return &events.SetSterilized{}
	case "opening":
		return &events.SetOpened{}
	case "count", "readback":
		return &events.SetCounted{}
	case "close":
		return &events.CaseClosed{}
	}
	return &events.SetChecked{}
}

// emergencies are the reasons for which somebody works whom a register does not know or allow.
func emergencies() []string { return []string{"called-in", "new-here", "badge-lost", "other-device"} }

// admit says no to a badge by which nothing could be recorded here, at once and not after the work, and offers access
// for an emergency. What it returns has no words where the badge may work here.
func (v *visit) admit(badge string) (said, error) {
	e := &events.Event{Station: v.station, Time: v.now.UTC(), Operator: badge, Data: recordsAt(v.place)}
	err := v.d.site.Ask(func(m *site.View) error {
		return m.Admit(v, e, events.RegisterPeople, events.RegisterStations)
	})
	if err == nil {
		return v.withoutPIN(badge)
	}
	if !refusal.Is(err) {
		return said{}, err
	}
	s := v.refused(err)
	s.Words, s.More = v.why(err), ""
	if key, _ := refusal.InWords(err); key == "badge-is-set" {
		return s, nil
	}
	s.More = v.t("emergency-more")
	return v.offerAccess(s, badge, emergencies()), nil
}

// offerAccess offers to work here all the same, for a reason that goes on record.
func (v *visit) offerAccess(s said, badge string, whys []string) said {
	for _, why := range whys {
		s.Choices = append(s.Choices, choice{Do: "emergency", Value: why + " " + badge, Words: v.t("do-emergency-" + why)})
	}
	return s
}

// Pins know which badges have had their PIN given at a station.
type Pins interface {
	Given(station, badge string, at time.Time) bool
	// Excuse takes a badge as if: it works here in an emergency.
	Excuse(station, badge string)
}

// pinForgotten is the reason for which somebody works here without the PIN.
const pinForgotten = "pin-forgotten"

// asksPIN reports whether badges are taken here only once their PIN was given.
func (v *visit) asksPIN() (asked bool, err error) {
	if v.d.opts.Pins == nil || v.station == "" {
		return false, nil
	}
	err = v.d.site.Ask(func(m *site.View) error {
		p, _, err := m.World(v).PolicyAt(site.SiteOf(v.station), v.now)
		asked = err == nil && p.PINAtStations
		return err
	})
	return asked, err
}

// withoutPIN says no to a badge whose PIN was not given here, and has no words for any other.
func (v *visit) withoutPIN(badge string) (said, error) {
	asked, err := v.asksPIN()
	if err != nil || !asked || v.d.opts.Pins.Given(v.station, badge, v.now) {
		return said{}, err
	}
	s := wrong(v.t("pin-missing", badge), v.t("pin-missing-more"))
	s.No = true
	return v.offerAccess(s, badge, []string{pinForgotten}), nil
}

// claim records that a badge works here in an emergency, for the reason that a button says. offered are the buttons in sight: a
// badge that was not refused claims nothing, nor does one a second time, whose answer was lost. no has words where
// the badge may not work here.
func (v *visit) claim(value string, offered []choice) (badge string, no said, err error) {
	why, badge, _ := strings.Cut(value, " ")
	if why != pinForgotten && !slices.Contains(emergencies(), why) || badge == "" {
		return "", said{}, v.sayNo("no-such-button", "emergency")
	}
	no, err = v.admit(badge)
	if err != nil || no.Words == "" || !offers(offered, "emergency", value) {
		return badge, no, err
	}
	_, err = v.observe(&events.Observation{
		Station: v.station, Kind: events.KindAccessClaimed, Time: v.now.UTC(), Operator: badge,
		Data: &events.AccessClaimed{Badge: badge, Reason: v.t("emergency-" + why)},
	})
	if err == nil && v.d.opts.Pins != nil {
		v.d.opts.Pins.Excuse(v.station, badge)
	}
	return badge, said{}, err
}

// offers reports whether an answer is one of those in sight.
func offers(choices []choice, do, value string) bool {
	return slices.ContainsFunc(choices, func(c choice) bool { return c.Do == do && c.Value == value })
}

// emergency answers a badge that was refused: it works here all the same, and that is put on record first.
func (p bench[B, P]) emergency(v *visit, b *B, f fields, t *taken) error {
	badge, no, err := v.claim(f["value"], P(b).shared().Said.Choices)
	if err != nil || no.Words != "" {
		t.said = no
		return err
	}
	t.kind, t.what = string(events.ScanBadge), badge
	t.said, err = p.scan(v, b, events.ScanBadge, badge)
	return err
}

// emergency is the same at a count.
func (t *table) emergency(f fields, a *counted) error {
	badge, no, err := t.v.claim(f["value"], t.offered)
	if err != nil || no.Words != "" {
		a.said = no
		return err
	}
	return t.badge(badge, a)
}

// mayRun refuses a sterilizer or a cycle that its register does not have, before the load is begun.
func (v *visit) mayRun(sterilizer, cycle string) error {
	e := &events.Event{Station: v.station, Time: v.now.UTC(), Data: &events.SetSterilized{Sterilizer: sterilizer, Cycle: cycle}}
	return v.d.site.Ask(func(m *site.View) error {
		return m.Admit(v, e, events.RegisterStations, events.RegisterSterilizers)
	})
}

// registeredCycles are the cycles of this station's sterilizers by their register; nil where none is held to.
func (v *visit) registeredCycles(m *site.View) ([]string, error) {
	if v.place != "sterilizer" || !m.EverHeld() {
		return nil, nil
	}
	w := m.World(v)
	if !w.HoldsTo(site.SiteOf(v.station), events.RegisterSterilizers, v.now) {
		return nil, w.Failed()
	}
	var own []string
	if w.HoldsTo(site.SiteOf(v.station), events.RegisterStations, v.now) {
		if d, ok := w.Entered(events.RegisterStations, v.station, v.now).Entry.(*events.StationEntered); ok {
			own = d.Sterilizers
		}
	}
	rows, err := m.Register(v, events.RegisterSterilizers)
	var cycles []string
	for _, row := range rows {
		d, ok := row.Entry.(*events.SterilizerEntered)
		if ok && row.State == facts.EntryHolds && (len(own) == 0 || slices.Contains(own, d.Sterilizer)) {
			cycles = append(cycles, d.Cycles...)
		}
	}
	slices.Sort(cycles)
	return slices.Compact(cycles), err
}

// newSet asks about a set that is packed for the first time: whether it is another one than that which its name is like,
// or, where a register of sets is held to, whether it is one at all. What has no words asks nothing.
func (v *visit) newSet(set string) (said, error) {
	like, err := v.likeSet(set)
	if err != nil {
		return said{}, err
	}
	button := choice{Do: "new", Value: set, Words: v.t("do-new-set", set)}
	if like != "" {
		return ask(v.t("set-alike", set, like), v.t("set-alike-more", like)).offer(button), nil
	}
	e := &events.Event{Station: v.station, Time: v.now.UTC(), Subject: set, Data: &events.SetPacked{}}
	err = v.d.site.Ask(func(m *site.View) error { return m.Admit(v, e, events.RegisterSets) })
	if !refusal.Is(err) {
		return said{}, err
	}
	return ask(v.why(err), v.t("set-unregistered-more")).offer(button), nil
}

// registered finds what the registers say of a plain code, in the form in which it stands there: a badge, a set by its
// own code or by a tag on its tray, a place. kind is "" where they say nothing, or several things that are wanted here. What
// they say of a code is so whether the site holds to them or not: a person who was entered is not asked about as a new set.
func (v *visit) registered(code string, wanted func(events.ScanKind) bool) (kind events.ScanKind, value string, err error) {
	err = v.d.site.Ask(func(m *site.View) error {
		w := m.World(v)
		found := 0
		for _, x := range []struct {
			kind events.ScanKind
			in   events.Register
		}{{events.ScanBadge, events.RegisterPeople}, {events.ScanSet, events.RegisterSets}, {events.ScanPlace, events.RegisterPlaces}} {
			if !wanted(x.kind) {
				continue
			}
			for _, form := range []string{code, events.NormalCode(code)} {
				if w.Entered(x.in, form, v.now).State != facts.EntryUnknown {
					kind, value = x.kind, form
					found++
					break
				}
			}
		}
		if err := w.Failed(); err != nil || found == 1 {
			return err
		}
		kind, value = "", ""
		if found > 1 || !wanted(events.ScanSet) {
			return nil
		}
		set, err := m.SetByTag(v, events.PlainCode(code))
		if set != "" {
			kind, value = events.ScanSet, set
		}
		return err
	})
	return kind, value, err
}

// placeAt takes where a set is looked at. A place that only looks like one of the register is asked about; sure says that
// it was.
func (b *reading) placeAt(v *visit, place string, sure bool) (said, error) {
	if !sure {
		like, err := v.likePlace(place)
		if err != nil {
			return said{}, err
		}
		if like != "" {
			return ask(v.t("place-alike", place, like), "").offer(
				choice{Do: "where", Value: like, Words: v.t("do-place", like)},
				choice{Do: "where", Value: place, Words: v.t("do-place", place)}), nil
		}
	}
	b.Where = place
	return said{}, nil
}

// likePlace is the place of the register, by its code or as people call it, that another one looks like; "" where it is
// one itself, or like none.
func (v *visit) likePlace(place string) (like string, err error) {
	err = v.d.site.Ask(func(m *site.View) error {
		if place == "" || !m.EverHeld() {
			return nil
		}
		w := m.World(v)
		if !w.HoldsTo(site.SiteOf(v.station), events.RegisterPlaces, v.now) {
			return w.Failed()
		}
		rows, err := m.Register(v, events.RegisterPlaces)
		for _, row := range rows {
			d, ok := row.Entry.(*events.PlaceEntered)
			if !ok || row.State != facts.EntryHolds {
				continue
			}
			for _, name := range []string{d.Place, d.Title} {
				switch {
				case name == place:
					like = ""
					return err
				case name != "" && events.Likeness(name) == events.Likeness(place):
					like = name
				}
			}
		}
		return err
	})
	return like, err
}
