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

// TestCaseThatDoesNotFit: a record, a correction and a legal hold that name a case which is none by the site's pattern are
// refused, and nothing of it is in the folder; the refusal doesn't say it either. What was recorded before stands and goes
// on, and what was observed before the policy is recorded.
func TestCaseThatDoesNotFit(t *testing.T) {
	const wrong = "MRN-12345678"
	dir := t.TempDir()
	s := open(t, dir, site.Options{Dir: dir, Name: "north", EnrolOnSight: true, Clock: func() time.Time { return noon }})
	at := func(minutes int) string { return noon.Add(time.Duration(minutes) * time.Minute).Format(time.RFC3339) }
	opened := func(minutes int, ref string) string {
		return fmt.Sprintf(`{"station":"north/or-3","kind":"set.opened","time":%q,"set":"LAP-014","data":{"case":%q}}`, at(minutes), ref)
	}
	record := func(lines ...string) (out []site.Receipt) {
		t.Helper()
		err := s.Record(t.Context(), strings.NewReader(strings.Join(lines, "\n")+"\n"), func(r site.Receipt) error {
			out = append(out, r)
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
		return out
	}
	before := record(opened(-90, "OLD/77"))
	policy := `{"station":"north/packing-1","kind":"policy.adopted","time":"` + at(-60) + `","operator":"B-1",` +
		`"data":{"links":["set.packed"],` +
		`"stages":[],"twoPersons":true,"mayStayUnread":[],"clockToleranceSeconds":120,"minimumTravelSeconds":60,"weightLimitGrams":0,` +
		`"recall":"since-last-negative","codes":[{"kind":"case","like":"K-9999"}]}}`
	for i, r := range record(policy, opened(-30, wrong)) { // of one batch, too
		if (r.Error != "") != (i == 1) {
			t.Errorf("line %d: %+v", i+1, r)
		}
	}
	correction := fmt.Sprintf(`{"station":"north/or-3","kind":"event.corrected","time":%q,"operator":"B-1","data":{"event":%q,`+
		`"action":"replace","reason":"x","data":{"case":%q}}}`, at(-5), before[0].ID, wrong)
	hold := fmt.Sprintf(`{"station":"north/ledger","kind":"hold.placed","time":%q,"operator":"B-1",`+
		`"data":{"hold":"H-1","case":%q,"reason":"x"}}`,
		at(-5), wrong)
	for _, line := range []string{
		opened(-20, wrong),
		fmt.Sprintf(`{"station":"north/or-3","kind":"set.counted","time":%q,"set":"LAP-014","data":{"case":%q,"stage":"first",`+
			`"counter":"B-1","witness":"B-2","sheet":"screen"}}`, at(-20), wrong),
		fmt.Sprintf(`{"station":"north/or-3","kind":"case.closed","time":%q,"operator":"B-1",`+
			`"data":{"case":%q,"outcome":"reconciled"}}`, at(-10), wrong),
		correction, hold,
		fmt.Sprintf(`{"station":"north/sterilizer-1","kind":"set.sterilized","time":%q,"set":"LAP-014","data":{"load":"S1-1","sterilizer":"S1",`+
			`"run":1,"cycle":"c-134","result":"passed","released":true,"immediate":"fell down","for":%q}}`, at(-8), wrong),
	} {
		size := s.Size()
		r := record(line)[0]
		if !strings.Contains(r.Error, "no case as the site's policy writes them (K-9999;") || strings.Contains(r.Error, wrong) ||
			s.Size() != size {
			t.Errorf("%s: %+v", line, r)
		}
	}
	_, err := s.Observe(t.Context(), &events.Observation{Station: "north/or-3", Kind: events.KindSetOpened, Time: noon, Set: "LAP-014",
		Data: &events.SetOpened{Case: wrong}})
	if err == nil {
		t.Error("a page opened a set for it")
	}
	nowhere(t, dir, wrong)
	for _, line := range []string{opened(-20, "K-0412"), opened(-15, "OLD/77"), opened(-80, "AS-IT-WAS")} {
		if r := record(line)[0]; r.Error != "" {
			t.Errorf("%s: %+v", line, r)
		}
	}
}
