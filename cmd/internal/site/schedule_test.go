//go:build !race

package site_test

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/site"
	"listbound/cmd/internal/sitetest"
	"listbound/projections/ready"
)

// dayBefore is when schedules come in these tests, in UTC as the site is.
var dayBefore = time.Date(2026, 3, 3, 15, 0, 0, 0, time.UTC)

func scheduled(t *testing.T, dir string, clock *time.Time) *site.Site {
	t.Helper()
	return open(t, dir, site.Options{Name: "north", EnrolOnSight: true, Clock: func() time.Time { return *clock }})
}

func take(t *testing.T, s *site.Site, text string) *site.ScheduleImported {
	t.Helper()
	got, err := s.ImportSchedule(t.Context(), []byte(text), site.ScheduleAsked{Operator: "B-1"})
	if err != nil {
		t.Fatal(err)
	}
	return got
}

// dayOf is a day, a line a case.
func dayOf(t *testing.T, s *site.Site, day string) string {
	t.Helper()
	d, err := s.Schedule(t.Context(), site.ScheduleQuery{Day: day})
	if err != nil {
		t.Fatal(err)
	}
	var out []string
	for _, c := range d.Cases {
		line := string(c.Class) + " " + c.Case + " " + c.Room + c.Start.UTC().Format(" 15:04")
		for _, n := range c.Needs {
			line += " " + n.Set + n.List + ":" + string(n.State)
		}
		out = append(out, line)
	}
	return strings.Join(out, "\n")
}

// TestScheduleReplaces: what a schedule said last of a case stands, the same again is not recorded, what is older than what
// stands neither, and a change that says nothing of sets leaves them.
func TestScheduleReplaces(t *testing.T) {
	clock := dayBefore
	dir := t.TempDir()
	s := scheduled(t, dir, &clock)
	record(t, s, oneList)
	const day = "case,room,start,lists,sets\nK-1,OR 3,2026-03-04 07:30,LAP-MAJOR x2,\nK-2,OR 4,2026-03-04 08:00,,NOBODY\n"
	if got := take(t, s, day); got.New != 2 || got.Recorded != 2 || got.Unknown != 1 {
		t.Fatalf("%+v", got)
	}
	size := s.Size()
	if got := take(t, s, day); got.Same != 2 || got.Recorded != 0 || s.Size() != size {
		t.Fatalf("the same file again: %+v", got)
	}
	want := "act K-1 OR 3 07:30 LAP-014LAP-MAJOR:in-work LAP-MAJOR:missing\nact K-2 OR 4 08:00"
	if got := dayOf(t, s, "2026-03-04"); got != want {
		t.Errorf("%s", got)
	}
	msg := func(event, said, start string) string {
		return "MSH|^~\\&|||||" + said + "||SIU^" + event + "|1|P|2.5.1\rSCH||K-1|||||||||^^^" + start + "\rAIL|1|A|OR^5\r"
	}
	later := msg("S13", "20260303140000", "202603040900")
	if got := take(t, s, later+msg("S13", "20260303130000", "202603041100")); got.Older != 1 || got.Recorded != 0 {
		t.Errorf("older than what stands: %+v", got)
	}
	clock = clock.Add(time.Hour)
	moved := strings.ReplaceAll(later, "20260303140000", "20260303153000")
	if got := take(t, s, moved); got.Changed != 1 {
		t.Errorf("%+v", got)
	}
	if got := dayOf(t, s, "2026-03-04"); got != "act K-2 OR 4 08:00\nact K-1 5 09:00 LAP-014LAP-MAJOR:in-work LAP-MAJOR:missing" {
		t.Errorf("moved: %s", got)
	}
	if got := take(t, s, strings.Replace(moved, "S13", "S15", 1)); got.Cancelled != 1 {
		t.Errorf("%+v", got)
	}
	if got := take(t, s, strings.Replace(strings.Replace(moved, "S13", "S15", 1), "K-1", "K-9",
		1)); got.NotThere != 1 || got.Recorded != 0 {
		t.Errorf("%+v", got)
	}
	if got := dayOf(t, s, "2026-03-04"); got != "act K-2 OR 4 08:00\ncancelled K-1 5 09:00" {
		t.Errorf("cancelled: %s", got)
	}
	// The same after everything is read anew.
	if _, err := s.Rebuild(t.Context(), nil); err != nil {
		t.Fatal(err)
	}
	if got := dayOf(t, s, "2026-03-04"); got != "act K-2 OR 4 08:00\ncancelled K-1 5 09:00" || dayOf(t, s, "2026-03-05") != "" {
		t.Errorf("rebuilt: %s", got)
	}
	v, err := s.Verify(t.Context(), nil)
	if err != nil || !v.OK {
		t.Errorf("%+v, %v", v, err)
	}
}

// TestDayHasSets: which set of a list is whose, from packing to opening.
func TestDayHasSets(t *testing.T) {
	clock := dayBefore
	s := scheduled(t, t.TempDir(), &clock)
	record(t, s, oneList)
	at := func(hour int) string { return time.Date(2026, 3, 3, hour, 0, 0, 0, time.UTC).Format(time.RFC3339) }
	packed := func(set string) string {
		return `{"station":"north/packing-1","kind":"set.packed","time":"` + at(8) + `","set":"` + set +
			`","operator":"B-1","data":{"list":"LAP-MAJOR","version":3,"newSet":true}}` + "\n"
	}
	sealed := func(set string) string {
		return `{"station":"north/packing-1","kind":"list.sealed","time":"` + at(9) + `","set":"` + set +
			`","operator":"B-1","data":{"placement":"outside"}}` + "\n" +
			`{"station":"north/sterilizer-1","kind":"set.sterilized","time":"` +
			at(11) + `","set":"` + set +
			`","operator":"B-1","data":{"load":"S1-1","sterilizer":"S1","run":1,"cycle":"c-132","result":"passed",` +
			`"released":true}}` + "\n"
	}
	record(t, s, packed("LAP-1")+sealed("LAP-1"))
	take(t, s,
		"case;room;start;lists\nK-1;OR 3;2026-03-04 07:30;LAP-MAJOR\n"+
			"K-2;OR 4;2026-03-04 07:00;LAP-MAJOR\nK-3;OR 4;2026-03-04 12:00;LAP-MAJOR\n")
	want := "act K-1 OR 3 07:30 LAP-014LAP-MAJOR:in-work\nact K-3 OR 4 12:00 LAP-MAJOR:missing\nready K-2 OR 4 07:00 LAP-1LAP-MAJOR:whole"
	if got := dayOf(t, s, "2026-03-04"); got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
	clock = time.Date(2026, 3, 4, 7, 10, 0, 0, time.UTC)
	record(t, s,
		`{"station":"north/or-4","kind":"set.opened","time":"2026-03-04T07:05:00Z","set":"LAP-1",`+
			`"operator":"B-2","data":{"case":"K-2"}}`+"\n")
	if got := dayOf(t, s, ""); !strings.HasSuffix(got, "begun K-2 OR 4 07:00 LAP-1LAP-MAJOR:opened") {
		t.Errorf("today:\n%s", got)
	}
	err := s.Ask(func(v *site.View) error {
		wanted, err := v.Wanted(t.Context(), clock)
		if w := wanted["LAP-014"]; w != (ready.Wish{Case: "K-1", Room: "OR 3", Start: time.Date(2026, 3, 4, 7, 30, 0, 0, time.UTC)}) {
			t.Errorf("%+v", wanted)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
}

// TestScheduleRefuses: a case's reference that is none by the site's pattern is refused before anything is written, and not
// repeated; nothing of such a file is recorded.
func TestScheduleRefuses(t *testing.T) {
	clock := dayBefore
	s := scheduled(t, t.TempDir(), &clock)
	record(t, s, `{"station":"north/packing-1","kind":"policy.adopted","time":"2026-03-03T09:00:00Z","operator":"B-1",`+
		`"data":{"links":["set.packed"],"stages":[],"twoPersons":true,"mayStayUnread":[],"clockToleranceSeconds":120,`+
		`"minimumTravelSeconds":60,"weightLimitGrams":0,"recall":"since-last-negative","codes":[{"kind":"case","like":"K-9999"}]}}`+"\n")
	size := s.Size()
	for in, want := range map[string]string{
		"case,start\nK-0001,2026-03-04 07:30\nZQX77,2026-03-04 07:30\n": "line 3: this is no case",
		"case,start\nK-0001,soon\n":                                     "line 2: start",
	} {
		_, err := s.ImportSchedule(t.Context(), []byte(in), site.ScheduleAsked{Operator: "B-1"})
		if err == nil || !strings.Contains(err.Error(), want) || strings.Contains(err.Error(), "ZQX") || s.Size() != size {
			t.Errorf("%q: %v, %d records", in, err, s.Size()-size)
		}
	}
	if _, err := s.ImportSchedule(t.Context(), []byte("case,start\nK-0001,2026-03-04 07:30\n"), site.ScheduleAsked{}); err == nil {
		t.Error("nobody brought it")
	}
	if _, err := s.ImportSchedule(t.Context(), []byte("case,start\nK-0001,2026-03-04 07:30\n"),
		site.ScheduleAsked{Operator: "B-1", Days: "x"}); err == nil {
		t.Error("days")
	}
}

// TestNoPatientInFolder: of a schedule with a patient in it no byte of the patient is in any file of the folder, while it is
// open with its write-ahead logs and after.
func TestNoPatientInFolder(t *testing.T) {
	clock := dayBefore
	dir := t.TempDir()
	s := scheduled(t, dir, &clock)
	record(t, s, oneList)
	const who = "ZQXNAME"
	message := "MSH|^~\\&|||||20260303140000||SIU^S12|1|P|2.5.1\rSCH|P-7|K-7|||||" + who +
		"||||^^^202603040700\rPID|1||" + who + "^^^MR||" + who +
		"^" + who + "||19620219|F|||Street " + who + "||(555)" + who + "\rNK1|1|" + who + "\rPV1|1|O|" + who + "\rDG1|1||" + who +
		"\rRGS|1\rAIS|1|A|" + who + "^" + who + "|202603040700\rAIG|1|A|" + who + "^" + who + "\rAIL|1|A|OR^3\rAIP|1|A|" + who + "\r"
	if got := take(t, s, message); got.New != 1 || got.Unknown != 2 {
		t.Errorf("%+v", got)
	}
	for _, wrong := range []string{strings.Replace(message, "SCH|P-7|K-7", "SCH||"+who+" "+who, 1),
		strings.Replace(message, "|202603040700\rAIG", "|"+who+"\rAIG", 1),
		"case;start;state\n" + who + " " + who + ";2026-03-04 07:30;\nK-8;2026-03-04 07:30;" + who + "\n"} {
		if _, err := s.ImportSchedule(t.Context(), []byte(wrong), site.ScheduleAsked{Operator: "B-1"}); err == nil ||
			strings.Contains(err.Error(), who) {
			t.Errorf("%v", err)
		}
	}
	lookFor(t, dir, who, "19620219")
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	lookFor(t, dir, who, "19620219")
}

// lookFor looks for texts in every file of a folder.
func lookFor(t *testing.T, dir string, texts ...string) {
	t.Helper()
	files := 0
	sitetest.EachFile(t, dir, func(rel string, raw []byte) {
		files++
		for _, text := range texts {
			if bytes.Contains(raw, []byte(text)) {
				t.Errorf("%s has %s", rel, text)
			}
		}
	})
	if files < 5 {
		t.Fatalf("%d files looked through", files)
	}
}
