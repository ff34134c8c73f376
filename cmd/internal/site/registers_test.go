//go:build !race

package site_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/site"
	"listbound/events"
)

// registerLine is a line that enters something in a register, or says which ones are held to.
func registerLine(t *testing.T, station string, at time.Time, d events.Data) string {
	t.Helper()
	line, err := events.FormatObservation(&events.Observation{Station: station, Kind: d.Kind(), Time: at, Data: d})
	if err != nil {
		t.Fatal(err)
	}
	return string(line) + "\n"
}

// person is the entry of a badge that may record.
func person(badge string) *events.PersonEntered {
	return &events.PersonEntered{Badge: badge, Roles: []events.Role{events.RoleRecords}}
}

// TestRegistersAreTheLedgers: the ledger alone enters something in a register, of now, and nobody corrects it: else any
// station could let anybody in.
func TestRegistersAreTheLedgers(t *testing.T) {
	dir := t.TempDir()
	s := open(t, dir, site.Options{Name: "north", EnrolOnSight: true})
	old := record(t, s, registerLine(t, "north/ledger", noon.AddDate(0, -3, 0), person("B-1")))
	if old[0].Error != "" {
		t.Fatalf("in one's own folder: %+v", old)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	s = open(t, dir, site.Options{Name: "north"})
	own := &chained{ownKey: enrolOwnKey(t, s, "north/or-9")}
	size := s.Size()
	for name, x := range map[string]struct{ line, want string }{
		"a station":     {registerLine(t, "north/or-1", noon, person("B-2")), "by the ledger itself"},
		"one's own key": {signedLine(t, own.note(&events.Observation{Time: noon, Data: person("B-2")})), "signed by the ledger alone"},
		"backdated":     {registerLine(t, "north/ledger", noon.Add(-time.Hour), person("B-2")), "holds from its recording on"},
		"held to, backdated": {registerLine(t, "north/ledger", noon.Add(-time.Hour),
			&events.RegistersAdopted{Registers: events.Registers()}), "holds from its recording on"},
		"taken back": {fmt.Sprintf(`{"station":"north/ledger","kind":"event.corrected","time":%q,"data":{"event":%q,"action":"void",`+
			`"reason":"x"}}`+"\n", noon.Format(time.RFC3339), old[0].ID), "not corrected: enter it again"},
	} {
		if r := record(t, s, x.line); !strings.Contains(r[0].Error, x.want) || s.Size() != size {
			t.Errorf("%s: %+v, want %q", name, r[0], x.want)
		}
	}
	if r := record(t, s, registerLine(t, "north/ledger", noon, person("B-2"))); r[0].Error != "" {
		t.Errorf("of now: %+v", r[0])
	}
	// A code that looks like another one is asked about, in the same batch and in a later one, but not once it is entered.
	at := func(n int) time.Time { return noon.Add(time.Duration(n) * time.Second) }
	line := func(n int, badge string) string { return registerLine(t, "north/ledger", at(n), person(badge)) }
	for _, lines := range []string{line(1, "b-2"), line(2, "B2"), line(3, "B-O07") + line(4, "B-007")} {
		if r := record(t, s, lines); !strings.Contains(r[len(r)-1].Error, "looks like it: give that code") {
			t.Errorf("%+v", r)
		}
	}
	meant := person("B-007")
	meant.Held.NewCode = true
	r := record(t, s, registerLine(t, "north/ledger", at(5), meant)+line(6, "B-007")+line(7, "B-O07"))
	for _, x := range r {
		if x.Error != "" {
			t.Errorf("said to be another one: %+v", x)
		}
	}
}

// TestEmptyRegisterIsNotHeldTo: a server holds to no register in which nothing is in force, which would refuse all that is scanned;
// to one that has an entry, also of the same batch, it does, and it goes on holding to those that it held to.
func TestEmptyRegisterIsNotHeldTo(t *testing.T) {
	s := open(t, t.TempDir(), site.Options{Name: "north"})
	hold := func(rs ...events.Register) string {
		return registerLine(t, "north/ledger", noon, &events.RegistersAdopted{Registers: rs})
	}
	refused := func(want bool, lines string) {
		t.Helper()
		got := record(t, s, lines)
		if r := got[len(got)-1]; strings.Contains(r.Error, "has no entry that is in force") != want || !want && r.Error != "" {
			t.Errorf("%+v", r)
		}
	}
	refused(true, hold(events.RegisterStations))
	ended := &events.PersonEntered{Badge: "B-1", Held: events.Held{Ended: true}}
	refused(true, registerLine(t, "north/ledger", noon, ended)+hold(events.RegisterPeople))
	refused(false, registerLine(t, "north/ledger", noon, person("B-2"))+hold(events.RegisterPeople))
	refused(true, hold(events.RegisterPeople, events.RegisterStations))
	record(t, s, registerLine(t, "north/ledger", noon, &events.PersonEntered{Badge: "B-2", Held: events.Held{Ended: true}}))
	refused(false, hold(events.RegisterPeople))
}

// TestIntakeHoldsToRegisters: what a register does not know or allow is refused in plain words once the site holds to it,
// in the same batch and in later ones, by the time of the observation; access claimed in an emergency lets its badge record
// at its station; a set is asked about. What a station signed itself is recorded and judged.
func TestIntakeHoldsToRegisters(t *testing.T) {
	s := open(t, t.TempDir(), site.Options{Name: "north", EnrolOnSight: true})
	list := &events.ListIssued{List: "EYE", Version: 1, Title: "Eye",
		Lines: []events.Line{{Line: 1, Item: "A", Description: "Forceps", Quantity: 1}}}
	n := 0
	line := func(station, set, badge string, data events.Data) string {
		t.Helper()
		n++
		raw, err := events.FormatObservation(&events.Observation{Station: "north/" + station, Kind: data.Kind(), Set: set,
			Time: noon.Add(time.Duration(n) * time.Second), Operator: badge, Data: data})
		if err != nil {
			t.Fatal(err)
		}
		return string(raw) + "\n"
	}
	packed := &events.SetPacked{List: "EYE", Version: 1}
	count := func(counter, witness string) events.Data {
		return &events.SetCounted{Case: "K-1", Stage: events.StageFirst, Sheet: "screen", Counter: counter, Witness: witness}
	}
	run := func(sterilizer, cycle string) events.Data {
		return &events.SetSterilized{Load: "L1", Sterilizer: sterilizer, Run: 1, Cycle: cycle, Result: "passed"}
	}
	ok := func(lines string) {
		t.Helper()
		for _, r := range record(t, s, lines) {
			if r.Error != "" {
				t.Errorf("refused: %s", r.Error)
			}
		}
	}
	refused := func(want, lines string) {
		t.Helper()
		size := s.Size()
		got := record(t, s, lines)
		if r := got[len(got)-1]; !strings.Contains(r.Error, want) || r.Error == "" || s.Size() != size+int64(len(got)-1) {
			t.Errorf("%q, want %q", r.Error, want)
		}
	}
	ledger := func(d events.Data) string {
		n++
		return registerLine(t, "north/ledger", noon.Add(time.Duration(n)*time.Second), d)
	}
	ok(line("packing-1", "", "B-1", list) + line("packing-1", "EYE-001", "B-9", packed) + line("or-1", "EYE-001", "B-8", count("B-8", "B-9")))
	refused("EYE-001 is a set, and can't be a person", line("or-1", "EYE-001", "B-8", count("B-8", "EYE-001")))
	refused("EYE-001 is a set", line("or-1", "", "B-8", &events.CaseClosed{Case: "K-1", Outcome: "reconciled",
		Actions: []string{}, Witness: "EYE-001"}))
	refused("EYE-777 is a set", line("or-1", "EYE-777", "B-8", count("B-8", "EYE-777"))) // as it says itself
	refused("EYE-002 is a set", line("packing-1", "EYE-002", "B-9", packed)+line("packing-1", "EYE-001", "EYE-002", packed))
	// A badge under which a set was packed by a slip goes on being a badge.
	ok(line("packing-1", "B-9", "B-9", packed) + line("or-1", "EYE-001", "B-9", count("B-9", "B-8")))

	entries := ledger(person("B-1")) + ledger(person("B-2")) + ledger(&events.SetEntered{Set: "EYE-001"}) +
		ledger(&events.PersonEntered{Badge: "B-3", Roles: []events.Role{events.RoleAudits}}) +
		ledger(&events.PersonEntered{Badge: "B-4", Held: events.Held{Ended: true}}) +
		ledger(&events.StationEntered{Name: "north/packing-1", Works: []events.Work{events.WorkPacking}}) +
		ledger(&events.StationEntered{Name: "north/ster-1", Works: []events.Work{events.WorkSterilizer}, Sterilizers: []string{"S1"}}) +
		ledger(&events.StationEntered{Name: "north/or-1", Works: []events.Work{events.WorkRoom}}) +
		ledger(&events.SterilizerEntered{Sterilizer: "S1", Cycles: []string{"c-134"}})
	before := line("packing-1", "EYE-001", "B-9", packed)
	ok(entries + line("packing-1", "EYE-001", "B-9", packed)) // nothing is held to yet
	refused("badge B-9 is not in the register of people",
		ledger(&events.RegistersAdopted{Registers: events.Registers()})+line("packing-1", "EYE-001", "B-9", packed))
	ok(before) // observed before they were held to
	for want, l := range map[string]string{
		"badge b-1 is not in the register of people, and B-1 looks": line("packing-1", "EYE-001", "b-1", packed),
		"badge B-4 is not, or no longer,":                           line("packing-1", "EYE-001", "B-4", packed),
		"badge B-3 may not record this":                             line("packing-1", "EYE-001", "B-3", packed),
		"badge B-7 is not in the register":                          line("or-1", "EYE-001", "B-1", count("B-1", "B-7")),
		"EYE-001 is a set, and can't":                               line("or-1", "EYE-001", "B-1", count("B-1", "EYE-001")),
		"north/or-1 is not for this":                                line("or-1", "EYE-001", "B-1", packed),
		"station north/or-2 is not in force":                        line("or-2", "EYE-001", "B-1", count("B-1", "B-2")),
		"does not record loads of S9":                               line("ster-1", "EYE-001", "B-1", run("S9", "c-134")),
		"S1 has no cycle nonsense":                                  line("ster-1", "EYE-001", "B-1", run("S1", "nonsense")),
		"EYE-003 is not in the register of sets":                    line("packing-1", "EYE-003", "B-1", packed),
		"EYE-OO1 is not in the register of sets, and EYE-001 looks": line("packing-1", "EYE-OO1", "B-1", packed),
	} {
		refused(want, l)
	}
	ok(line("packing-1", "EYE-003", "B-1", &events.SetPacked{List: "EYE", Version: 1, NewSet: true}))
	claim := &events.AccessClaimed{Badge: "B-9", Reason: "called in at night"}
	ok(line("or-1", "", "", claim) + line("or-1", "EYE-001", "B-9", count("B-9", "B-1")) + line("or-1", "EYE-001", "B-9", packed))
	refused("B-9 is not in the register", line("packing-1", "EYE-001", "B-9", packed))
	refused("EYE-001 is a set", line("or-1", "", "", &events.AccessClaimed{Badge: "EYE-001", Reason: "x"}))
	refused("not taken back", strings.ReplaceAll(fmt.Sprintf(`{"station":"north/or-1","kind":"event.corrected","time":%q,"data":{"event":%q,
"action":"void","reason":"x"}}`, noon.Add(time.Hour).Format(time.RFC3339), record(t, s, line("or-1", "", "", claim))[0].ID), "\n", "")+"\n")

	own := &chained{ownKey: enrolOwnKey(t, s, "north/or-9")}
	at := noon.Add(time.Duration(n+1) * time.Second)
	ok(signedLine(t, own.note(&events.Observation{Time: at, Set: "EYE-001", Operator: "B-77", Data: count("B-77", "EYE-001")})))
	vs, err := s.Broken(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	said := ""
	for _, v := range vs {
		for _, f := range v.Findings {
			said += f.Says + "\n"
		}
	}
	for _, want := range []string{
		"Badge B-77 is not in the register of people", "EYE-001 is a set, and stands in the place of a person",
		"Station north/or-9 is not in the register of stations", "By emergency access of badge B-9 at north/or-1",
	} {
		if !strings.Contains(said, want) {
			t.Errorf("%q is not told of:\n%s", want, said)
		}
	}
	// To none any more: as without registers.
	ok(ledger(&events.RegistersAdopted{Registers: []events.Register{}}) + line("packing-1", "EYE-005", "B-9", packed))
}

// TestEvidenceProvesEntries: a bundle of a case in which an unknown badge counted proves of each badge, station and set
// that all of its entries are in it, or that there are none.
func TestEvidenceProvesEntries(t *testing.T) {
	s := open(t, t.TempDir(), site.Options{Name: "north", EnrolOnSight: true})
	at := func(n int) time.Time { return noon.Add(time.Duration(n) * time.Second) }
	lines := strings.SplitAfter(oneList, "\n")[0]
	for i, d := range []events.Data{
		person("B-1"), person("B-3"), &events.SetEntered{Set: "LAP-014"},
		&events.RegistersAdopted{Registers: []events.Register{events.RegisterPeople, events.RegisterSets}},
	} {
		lines += registerLine(t, "north/ledger", at(i), d)
	}
	for _, r := range record(t, s, lines) {
		if r.Error != "" {
			t.Fatal(r.Error)
		}
	}
	own := &chained{ownKey: enrolOwnKey(t, s, "north/or-9")}
	count := &events.SetCounted{Case: "K-1", Stage: events.StageFirst, Sheet: "screen", Counter: "B-1", Witness: "B-2"}
	record(t, s, signedLine(t, own.note(&events.Observation{Time: at(9), Set: "LAP-014", Operator: "B-1", Data: count})))
	b := evidenceOf(t, s, site.Query{Case: "K-1"})
	covers, entry := "", ""
	for _, f := range b.Files {
		if f.Path == "covers" {
			covers = string(f.Data)
		}
		if strings.Contains(string(f.Data), `"subject":"people/B-1"`) {
			entry = f.Path
		}
		if strings.Contains(string(f.Data), `"subject":"people/B-3"`) {
			t.Errorf("%s is of somebody who had no part", f.Path)
		}
	}
	for _, want := range []string{"entry people/B-1", "entry people/B-2", "entry sets/B-1"} {
		if !strings.Contains(covers, want) {
			t.Errorf("covers says nothing of %s:\n%s", want, covers)
		}
	}
	if entry == "" {
		t.Fatal("the entry of B-1 is not in the bundle")
	}
}
