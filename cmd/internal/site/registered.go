package site

import (
	"context"
	"slices"

	"listbound/cmd/internal/refusal"
	"listbound/events"
	"listbound/projections/facts"
	"listbound/projections/judge"
)

// checkRegistered refuses what the registers that the site holds to do not know or allow, by the time of the
// observation, unless its badge has claimed access in an emergency at that station. A set that is in no register is
// asked about, once. A record that its station signed is never refused for it, but judged.
func (r *references) checkRegistered(ctx context.Context, e *events.Event) error {
	if err := r.checkPeople(ctx, e); err != nil || !r.held && !r.model.EverHeld() {
		return err
	}
	lacks := r.world.Lacks(e)
	if err := r.world.Failed(); err != nil {
		return err
	}
	for _, l := range lacks {
		if d, ok := e.Data.(*events.SetPacked); l.Claim != nil || l.Register == events.RegisterSets && ok && d.NewSet {
			continue
		}
		return r.lacking(ctx, e, l)
	}
	return nil
}

// lacking says what a register has against an observation, and what is meant where a code looks like one that it has.
func (r *references) lacking(ctx context.Context, e *events.Event, l facts.Lack) error {
	like := ""
	if l.Way == facts.LackUnknown {
		var err error
		if like, err = r.likeEntry(ctx, l.Register, l.ID); err != nil {
			return err
		}
	}
	switch {
	case l.Register == events.RegisterPeople && like != "":
		return refusal.Keyed("badge-alike", "badge %s is not in the register of people, and %s looks like it: scan it again", l.ID, like)
	case l.Register == events.RegisterPeople && l.Way == facts.LackUnknown:
		return refusal.Keyed("badge-unknown", "badge %s is not in the register of people", l.ID)
	case l.Register == events.RegisterPeople && l.Way == facts.LackEnded:
		return refusal.Keyed("badge-ended", "badge %s is not, or no longer, in force in the register of people", l.ID)
	case l.Register == events.RegisterPeople && l.Way == facts.LackRole:
		return refusal.Keyed("badge-role", "by the register of people badge %s may not record this", l.ID)
	case l.Register == events.RegisterPeople:
		return setAsPerson(l.ID)
	case l.Way == facts.LackWork:
		return refusal.Keyed("station-work", "by the register of stations %s is not for this", l.ID)
	case l.Way == facts.LackLoad:
		return refusal.Keyed("station-load", "by the register of stations %s does not record loads of %s", l.ID, l.Meant)
	case l.Register == events.RegisterStations:
		return refusal.Keyed("station-unknown", "station %s is not in force in the register of stations", l.ID)
	case l.Way == facts.LackCycle:
		return refusal.Keyed("cycle-unknown", "by the register of sterilizers %s has no cycle %s", l.ID, l.Meant)
	case l.Register == events.RegisterSterilizers:
		return refusal.Keyed("sterilizer-unknown", "sterilizer %s is not in force in the register of sterilizers", l.ID)
	case like != "":
		return refusal.Keyed("set-unregistered-alike", "set %s is not in the register of sets, and %s looks like it: give that name, or "+
			"say with \"newSet\": true in the data that it is another set", l.ID, like)
	}
	if l.Way == facts.LackEnded {
		return refusal.Keyed("set-ended", "set %s is not, or no longer, in force in the register of sets: enter it again, or say with "+
			"\"newSet\": true in the data that it is a set all the same", l.ID)
	}
	return refusal.Keyed("set-unregistered", "set %s is not in the register of sets: enter it there, or say with \"newSet\": true "+
		"in the data that it is a set all the same", l.ID)
}

func setAsPerson(badge string) error {
	return refusal.Keyed("badge-is-set", "%s is a set, and can't be a person: scan the person's own badge", badge)
}

// likeEntry returns the entry of a register whose code looks like another one, "" where there is none.
func (r *references) likeEntry(ctx context.Context, register events.Register, id string) (string, error) {
	if r.entries[register] == nil {
		m, err := tables(ctx, r.model)
		if err != nil {
			return "", err
		}
		known, err := m.EntryNames(ctx, string(register))
		if err != nil {
			return "", err
		}
		r.entries[register] = make(map[string][]string, len(known))
		for _, name := range known {
			l := events.Likeness(name)
			r.entries[register][l] = append(r.entries[register][l], name)
		}
	}
	for _, name := range r.entries[register][events.Likeness(id)] {
		if name != id {
			return name, nil
		}
	}
	return "", nil
}

// checkPeople refuses a set's own code in the place of a person: two of one tray are no two people. Where the site
// holds to a register of people, that decides; else a code that was packed as a set and has never stood for a person is
// none.
func (r *references) checkPeople(ctx context.Context, e *events.Event) error {
	people := events.People(e.Operator, e.Data)
	if c, ok := e.Data.(*events.AccessClaimed); ok {
		people = append(people, c.Badge)
	}
	for _, badge := range people {
		own := e.Kind().AboutSet() && e.Subject == badge
		set, err := r.isSet(ctx, badge, own)
		if err != nil {
			return err
		}
		if !set {
			continue
		}
		if r.world.Entered(events.RegisterPeople, badge, e.Time).State == facts.EntryHolds {
			continue
		}
		return setAsPerson(badge)
	}
	return nil
}

// checkEntry asks whether a code that is entered for the first time is another one than the one that it looks like.
func (r *references) checkEntry(ctx context.Context, e *events.Event, d events.Entry) error {
	register, id := d.Named()
	if d.Holding().NewCode || register == events.RegisterStations { // those are enrolled by name
		return nil
	}
	if r.world.Entered(register, id, e.Time).State != facts.EntryUnknown {
		return nil
	}
	like, err := r.likeEntry(ctx, register, id)
	if err != nil || like == "" {
		return err
	}
	return refusal.Keyed("entry-alike", "%s was never entered in the register of %s, and %s looks like it: give that code, or say with "+
		"\"newCode\": true in \"held\" that it is another one", id, register, like)
}

// checkAdopted refuses, at a server, to hold from now on to a register in which nothing is in force: one of people or of stations
// would refuse every badge at once, in the midst of a day. In one's own folder a file of what was said elsewhere is recorded.
func (r *references) checkAdopted(ctx context.Context, e *events.Event, d *events.RegistersAdopted) error {
	if r.site.opts.EnrolOnSight {
		return nil
	}
	for _, register := range d.Registers {
		if r.world.HoldsTo(SiteOf(r.site.Name()), register, e.Time) {
			continue
		}
		m, err := tables(ctx, r.model)
		if err != nil {
			return err
		}
		known, err := m.EntryNames(ctx, string(register))
		if err != nil {
			return err
		}
		if !slices.ContainsFunc(append(known, r.entered[register]...), func(name string) bool {
			return r.world.Entered(register, name, e.Time).State == facts.EntryHolds
		}) {
			return refusal.Keyed("register-empty", "the register of %s has no entry that is in force: enter who and what there is before "+
				"the site holds to it", register)
		}
	}
	return nil
}

func (r *references) wasBadge(ctx context.Context, code string) (bool, error) {
	m, err := tables(ctx, r.model)
	if err != nil {
		return false, err
	}
	return m.WasBadge(ctx, code)
}

// mostBadges bounds what is remembered of badges.
const mostBadges = 10_000

// isSet reports whether a code is that of a set that was packed here, or that the observation itself is about (own),
// and no badge. The caller holds s.intake.
func (r *references) isSet(ctx context.Context, code string, own bool) (bool, error) {
	own = own || len(r.packed[code]) > 0
	if is, ok := r.site.badges[code]; ok && !own {
		return is, nil
	}
	is, err := own, error(nil)
	if !own {
		is, err = wasPacked(ctx, r.model, code)
	}
	if err == nil && is {
		// A set that was packed under a badge's code by a slip must keep nobody from recording.
		var before bool
		before, err = r.wasBadge(ctx, code)
		is = !before
	}
	if err != nil || own {
		return is, err
	}
	if len(r.site.badges) >= mostBadges || r.site.badges == nil {
		r.site.badges = make(map[string]bool)
	}
	r.site.badges[code] = is
	return is, nil
}

// Admit says why intake would refuse an event by some registers, or for a set in the place of a person; nil where it
// would not. A page asks it when a badge or a set is scanned, before anybody has worked for nothing.
func (v *View) Admit(ctx context.Context, e *events.Event, of ...events.Register) error {
	r := newReferences(v.site, v.Model, judge.NewWorld(v.Source(ctx)))
	for _, badge := range events.People(e.Operator, e.Data) {
		set, err := wasPacked(ctx, v.Model, badge)
		if err == nil && set {
			var before bool
			if before, err = v.WasBadge(ctx, badge); err == nil && !before &&
				r.world.Entered(events.RegisterPeople, badge, e.Time).State != facts.EntryHolds {
				return setAsPerson(badge)
			}
		}
		if err != nil {
			return err
		}
	}
	if !v.Model.EverHeld() {
		return nil
	}
	lacks := r.world.Lacks(e)
	if err := r.world.Failed(); err != nil {
		return err
	}
	for _, l := range lacks {
		if l.Claim == nil && slices.Contains(of, l.Register) {
			return r.lacking(ctx, e, l)
		}
	}
	return nil
}

// AdmitWriter refuses a badge under which somebody would issue a list, where registers of people are held to and it is in none
// any more. Which role it takes they don't say: a list is written at no workplace.
func (v *View) AdmitWriter(ctx context.Context, e *events.Event) error {
	r := newReferences(v.site, v.Model, judge.NewWorld(v.Source(ctx)))
	rs, _ := r.world.RegistersFact(SiteOf(e.Station), e.Time)
	x := r.world.Entered(events.RegisterPeople, e.Operator, e.Time)
	if err := r.world.Failed(); err != nil || !slices.Contains(rs, events.RegisterPeople) || x.State == facts.EntryHolds {
		return err
	}
	l := facts.Lack{Register: events.RegisterPeople, ID: e.Operator, Way: facts.LackEnded, Entry: x}
	if x.State == facts.EntryUnknown {
		l.Way = facts.LackUnknown
	}
	return r.lacking(ctx, e, l)
}

// SetByTag returns the set whose tag a code is by the register of sets, "" where it is none's.
func (v *View) SetByTag(ctx context.Context, code string) (string, error) {
	sets, err := v.TaggedSets(ctx, code)
	if err != nil {
		return "", err
	}
	w, now := v.World(ctx), v.site.Clock()
	for _, set := range sets {
		x := w.Entered(events.RegisterSets, set, now)
		if d, ok := x.Entry.(*events.SetEntered); ok && x.State == facts.EntryHolds && slices.Contains(d.Tags, code) {
			return set, w.Failed()
		}
	}
	return "", w.Failed()
}
