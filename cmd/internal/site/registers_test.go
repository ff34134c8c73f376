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
}
