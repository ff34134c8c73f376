package report_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/report"
	"listbound/cmd/internal/texts"
	"listbound/events"
	"listbound/projections"
	"listbound/projections/assess"
	"listbound/projections/rates"
)

// assessment is one in which wrong incidents were counted outside and none inside, of
// 2,000 openings each.
func assessment(t *testing.T, wrong int64, placements ...string) *assess.Assessment {
	t.Helper()
	group := func(name string, seen int64) assess.Measured {
		c := rates.Count{Seen: seen, Of: 2000}
		exact := rates.ClopperPearson(c, rates.Confidence)
		exact.Low, exact.High = 1000*exact.Low, 1000*exact.High
		return assess.Measured{Placement: name, Wrong: c, Missing: rates.Count{Of: 2000},
			All: rates.Group{Name: name, Openings: 2000, Read: 2000, Weighed: 2000, Incidents: seen, Trips: []projections.TripKey{},
				PerThousand: rates.Rates{Exact: exact}}}
	}
	l := &assess.Ledger{PerDay: 50, Placements: []assess.Measured{group("inside-bag", 0), group("outside", wrong)}}
	r := &rates.Report{PerDay: 50, All: rates.Group{Openings: 4000}}
	l.Adopted = &assess.Adopted{Seq: 7, At: time.Date(2026, 3, 2, 6, 0, 0, 0, time.UTC), Placements: []events.Placement{events.InsideBag},
		Halves: &rates.Halves{Before: l.Placements[1].All, After: l.Placements[0].All}}
	l.Adopted.Before.Name, l.Adopted.After.Name = rates.BeforeChange, rates.AfterChange
	l.Adopted.Difference = r.Compare(&l.Adopted.Before, &l.Adopted.After, rates.Level)
	l.Differences = []rates.Difference{r.Compare(&l.Placements[0].All, &l.Placements[1].All, rates.Level)}
	c := assess.Choices{Placements: placements, Dependence: assess.DependenceHigh, Decides: "the head of the department",
		Hazards: map[string]assess.Judged{assess.WrongList: {Severity: assess.Catastrophic, Words: "words of ours",
			Likelihood: map[string]int{assess.Outside: assess.Frequent}}}}
	for _, k := range assess.Controls() {
		c.Controls = append(c.Controls, k.ID)
	}
	a, err := assess.New(c, l, 1)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

// TestAssessmentSays: 6 and 0 incidents in 2,000 openings differ, 5 and 0 can't be told
// apart yet, with the openings and days until then; and all is said in every language,
// with no value of it but what the catalogue has.
func TestAssessmentSays(t *testing.T) {
	said, err := texts.Read()
	if err != nil {
		t.Fatal(err)
	}
	said.Catalogue().OnError(func(err error) { t.Error(err) })
	english := said.Catalogue().In("en")
	write := func(wrong int64) string {
		var out strings.Builder
		if err := report.WriteAssessment(&out, assessment(t, wrong, "inside-bag", "outside"), english); err != nil {
			t.Fatal(err)
		}
		return strings.Join(strings.Fields(out.String()), " ")
	}
	six, five := write(6), write(5)
	const differ = "“inside, in a paper bag” and “outside” differ: “outside” has more incidents. Fisher's exact test: p = 0.0311"
	const cantTell = "“inside, in a paper bag” and “outside”: can't tell yet. That they can't be told apart doesn't " +
		"say that they are alike. Fisher's exact test: p = 0.0623"
	const until = "If it is as it looks, it can be told after "
	if !strings.Contains(six, differ) || strings.Contains(six, "can't tell yet") || strings.Contains(six, until) {
		t.Errorf("6 and 0: %s", six)
	}
	if !strings.Contains(five, cantTell) || strings.Contains(five, "differ: ") || !strings.Contains(five, until) {
		t.Errorf("5 and 0: %s", five)
	}
	for _, want := range []string{
		"Who decides: the head of the department.", "none seen (0 to 1.84)", "4 frequent: several times a year (by the numbers: 1 remote",
		"(record 7) the policy has count sheets travel: inside, in a paper bag. Before: anywhere.",
		"They differ. Fisher's exact test: p = 0.0311, against a level of 0.05. “before” is the worse one with a probability of 0.99",
		"What else changed at that time no count can tell apart", "since; Openings: 2,000; Read: 100 %; Incidents: 0;",
		"words of ours", "recommend nothing", "no proof that nothing was left",
	} {
		if !strings.Contains(six, want) {
			t.Errorf("%q is not said: %s", want, six)
		}
	}
	for _, lang := range said.Languages() {
		l := said.Catalogue().In(lang)
		sections := report.AssessmentSections(assessment(t, 6, assess.Placements()...), l)
		for _, s := range sections {
			for _, r := range s.Tables {
				for _, row := range r.Rows {
					if len(row) != len(r.Columns) || slices.Contains(row[:2], "") {
						t.Errorf("%s, %s: %q", lang, r.ID, row)
					}
				}
				for _, c := range r.Columns {
					l.Say("board.column-" + c)
				}
			}
		}
		if len(sections) != 13 {
			t.Errorf("%s: %d sections", lang, len(sections))
		}
	}
}
