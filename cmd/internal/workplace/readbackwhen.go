package workplace

import (
	"cmp"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"listbound/cmd/internal/shell"
	"listbound/events"
)

// A count sheet has times of the day and one date. Which moment a time means follows from what is known to have been before it;
// where that leaves a doubt, as by a shift that went past midnight, a slip of the pen or an hour that came twice, a person says it.

// clockTime is a time of the day as it was typed off the paper.
type clockTime struct {
	Hour   int `json:"hour"`
	Minute int `json:"minute"`
}

// doubtfulTime is a time that was typed, while it is asked which moment it means.
type doubtfulTime struct {
	Stage events.Stage `json:"stage,omitempty"` // "" for the opening
	Clock clockTime    `json:"clock"`
	Day   string       `json:"day"`           // of which it is taken to be
	Said  bool         `json:"said,omitzero"` // a person named the day
}

var written = regexp.MustCompile(`^([0-2]?[0-9])[:.]?([0-5][0-9])$`)

func looksLikeTime(text string) bool { return written.MatchString(text) }

func readClock(text string) (c clockTime, ok bool) {
	m := written.FindStringSubmatch(strings.TrimSpace(text))
	if m == nil {
		return c, false
	}
	c.Hour, _ = strconv.Atoi(m[1])   // two digits
	c.Minute, _ = strconv.Atoi(m[2]) // likewise
	return c, c.Hour <= 23
}

func (c clockTime) String() string {
	return time.Date(2000, 1, 1, c.Hour, c.Minute, 0, 0, time.UTC).Format("15:04")
}

// on are the moments of a day at which the clocks of a place showed the time: none in the hour that is left out in spring, two in
// the one that comes twice in autumn.
func (c clockTime) on(day string, zone *time.Location) (out []time.Time) {
	begin, err := time.ParseInLocation(time.DateOnly, day, zone)
	if err != nil {
		return nil
	}
	y, m, d := begin.Date()
	at := time.Date(y, m, d, c.Hour, c.Minute, 0, 0, zone)
	// Wherever clocks are put back, it is by an hour or by half of one (Lord Howe Island).
	for _, by := range []time.Duration{-time.Hour, -30 * time.Minute, 0, 30 * time.Minute, time.Hour} {
		x := at.Add(by)
		local := x.In(zone)
		if local.Hour() == c.Hour && local.Minute() == c.Minute && local.Format(time.DateOnly) == day {
			out = append(out, x.UTC())
		}
	}
	return slices.CompactFunc(out, time.Time.Equal)
}

// A sheet has minutes and no seconds, and a clock on a wall may be a little beside the one of the station.
const wall = 10 * time.Minute

var numberedDay = regexp.MustCompile(`^([0-3]?[0-9])\.([01]?[0-9])\.([0-9]{4})?$`)

// looksLikeDay reports whether a text is a day: 2026-03-04, 4.3. or 4.3.2026.
func looksLikeDay(text string) bool {
	_, err := time.Parse(time.DateOnly, text)
	return err == nil || numberedDay.MatchString(text)
}

// readDay reads a day that has been: as looksLikeDay has it, or how many days ago it was.
func readDay(text string, now time.Time) (day string, ok bool) {
	today := now.Format(time.DateOnly)
	if t, err := time.Parse(time.DateOnly, text); err == nil {
		return text, t.Format(time.DateOnly) <= today
	}
	if ago, err := strconv.Atoi(text); err == nil && onlyDigits(text) && len(text) <= 3 {
		return now.AddDate(0, 0, -ago).Format(time.DateOnly), true
	}
	m := numberedDay.FindStringSubmatch(text)
	if m == nil {
		return "", false
	}
	year, most := m[3], ""
	if year == "" { // the last such day that has been, where that is not long ago: else it is a slip
		const months = 6
		most = now.AddDate(0, -months, 0).Format(time.DateOnly)
		year = now.Format("2006")
		if year+"-"+pad(m[2])+"-"+pad(m[1]) > today {
			year = now.AddDate(-1, 0, 0).Format("2006")
		}
	}
	day = year + "-" + pad(m[2]) + "-" + pad(m[1])
	_, err := time.Parse(time.DateOnly, day)
	return day, err == nil && day <= today && day >= most
}

func pad(number string) string {
	if len(number) < 2 {
		return "0" + number
	}
	return number
}

// takeDay takes the date as it is written on the sheet.
func (b *readback) takeDay(v *visit, f fields) (said, error) {
	text := strings.TrimSpace(f["value"])
	st, q, err := b.now(v)
	if err != nil || st == nil || text == "" {
		return said{}, err
	}
	day, ok := readDay(text, v.now.In(v.d.site.Zone()))
	if !ok {
		return said{}, v.sayNo("readback-no-day", text)
	}
	b.Redate = false
	if q != nil && q.kind == askMoment {
		return b.place(v, st, doubtfulTime{b.Doubt.Stage, b.Doubt.Clock, day, true})
	}
	b.Day, b.LastDay = day, day
	return said{}, nil
}

// otherDay asks for the date anew: what was said of times was of another day.
func (b *readback) otherDay(v *visit, _ fields) (said, error) {
	st, _, err := b.now(v)
	if err != nil || st == nil {
		return said{}, err
	}
	b.Redate, b.Day, b.Opened, b.Doubt = true, "", time.Time{}, nil
	for _, st := range b.Stages {
		st.At = time.Time{}
	}
	return said{}, nil
}

// takeTime takes a time as it is written on the sheet.
func (b *readback) takeTime(v *visit, f fields) (said, error) {
	st, q, err := b.now(v)
	if err != nil || st == nil || q == nil || !q.time() {
		return said{}, err
	}
	clock, ok := readClock(f["value"])
	if !ok {
		return said{}, v.sayNo("readback-no-time", f["value"])
	}
	return b.place(v, st, doubtfulTime{Stage: q.stage, Clock: clock, Day: b.dayOf(v, st, q.stage)})
}

// takeMoment takes one of the moments that were offered for a doubtful time.
func (b *readback) takeMoment(v *visit, f fields) (said, error) {
	st, q, err := b.now(v)
	if err != nil || st == nil || q == nil || q.kind != askMoment {
		return said{}, err
	}
	for _, at := range b.moments(v, b.Doubt) {
		if at.Format(time.RFC3339) == f["value"] {
			b.settle(b.Doubt.Stage, at)
		}
	}
	return said{}, nil
}

// place takes a time for the moment that it must have been, or keeps it until that was asked.
func (b *readback) place(v *visit, st *readState, d doubtfulTime) (said, error) {
	moments := d.Clock.on(d.Day, v.d.site.Zone())
	switch from, _ := st.before(b, d.Stage); {
	case len(moments) == 0:
		return said{}, v.sayNo("readback-skipped-hour", d.Clock, v.dayName(d.Day))
	case len(moments) == 1 && !moments[0].Before(from.Add(-wall)) && !moments[0].After(v.now.Add(wall)):
		b.settle(d.Stage, moments[0])
		return said{}, nil
	case len(b.moments(v, &d)) == 0:
		return said{}, v.sayNo("readback-in-future", d.Clock, v.dayName(d.Day))
	}
	b.Doubt = &d
	return said{}, nil
}

func (b *readback) settle(stage events.Stage, at time.Time) {
	if b.Doubt = nil; stage == "" {
		b.Opened = at
		return
	}
	b.stage(stage).At = at
}

// moments are those that a doubtful time may mean, none of them in the future: on its day and the next one, and where that is
// still to come, on the one before. A day that a person named is the only one.
func (b *readback) moments(v *visit, d *doubtfulTime) (out []time.Time) {
	zone := v.d.site.Zone()
	day, err := time.Parse(time.DateOnly, d.Day)
	if err != nil {
		return nil
	}
	been := func(by int) (out []time.Time) {
		for _, at := range d.Clock.on(day.AddDate(0, 0, by).Format(time.DateOnly), zone) {
			if !at.After(v.now.Add(wall)) {
				out = append(out, at)
			}
		}
		return out
	}
	out = been(0)
	if d.Said || len(d.Clock.on(d.Day, zone)) > 1 {
		return out
	}
	if len(out) == 0 {
		return been(-1)
	}
	return append(out, been(1)...)
}

// dayOf is the day of which a time is taken to be: that of what was said before it, that on the sheet, or that of the opening.
func (b *readback) dayOf(v *visit, st *readState, stage events.Stage) string {
	last := b.Opened
	for _, s := range st.sheet.stages() {
		if !isBefore(s, stage) {
			break
		}
		if said := b.Stages[s]; said != nil && said.At.After(last) {
			last = said.At
		}
	}
	day := func(at time.Time) string { return at.In(v.d.site.Zone()).Format(time.DateOnly) }
	switch {
	case stage != "" && !last.IsZero():
		return day(last)
	case b.Day != "":
		return b.Day
	case !st.opened.IsZero():
		return day(st.opened)
	}
	return day(v.now)
}

// before is the last moment that is known to have been before a time of the sheet, and what was then: the name of a count,
// opened or printed.
func (st *readState) before(b *readback, stage events.Stage) (last time.Time, what string) {
	last, what = st.printed, "printed"
	if stage == "" {
		return last, what
	}
	later := func(at time.Time, says string) {
		if at.After(last) {
			last, what = at, says
		}
	}
	later(cmp.Or(st.opened, b.Opened), "opened")
	for _, s := range st.sheet.stages() {
		if !isBefore(s, stage) {
			break
		}
		if said := b.Stages[s]; said != nil {
			later(said.At, "stage-"+string(s))
		}
	}
	return last, what
}

// isBefore reports whether a column comes before a stage. A blank form has none of what came, which follows the first count.
func isBefore(column, stage events.Stage) bool {
	return column != stage && (stage != events.StageAdded || column == events.StageFirst)
}

// askDay asks for the date of the sheet.
func (b *readback) askDay(v *visit, st *readState) said {
	now := v.now.In(v.d.site.Zone())
	s := ask(v.t("readback-ask-day", st.sheet.Set), v.t("readback-day-more"))
	if b.LastDay != "" {
		s.Choices = []choice{{Do: "day", Value: b.LastDay, Words: v.t("readback-day-as-before", v.dayName(b.LastDay)), Main: true}}
	}
	for ago, key := range []string{"today", "yesterday"} {
		day := now.AddDate(0, 0, -ago).Format(time.DateOnly)
		s.Choices = append(s.Choices, choice{Do: "day", Value: day, Words: v.t("readback-day-"+key, v.dayName(day))})
	}
	return s
}

// askMoment asks which moment a time means, and says why that is asked.
func (b *readback) askMoment(v *visit, st *readState) said {
	d := b.Doubt
	from, what := st.before(b, d.Stage)
	moments := b.moments(v, d)
	twice := len(d.Clock.on(d.Day, v.d.site.Zone())) > 1
	var s said
	switch {
	case twice:
		s = ask(v.t("readback-ask-twice", d.Clock, v.dayName(d.Day)), v.t("readback-twice-more"))
	case len(moments) > 0 && moments[0].Before(from.Add(-wall)):
		of := v.t("readback-at-" + what)
		if stage, ok := strings.CutPrefix(what, "stage-"); ok {
			of = v.t("stage-" + stage)
		}
		day := moments[0].In(v.d.site.Zone()).Format(time.DateOnly) // another one than its own, where that is still to come
		s = doubt(v.t("readback-ask-earlier", d.Clock, v.dayName(day), of, v.time(from)), v.t("readback-moment-more"))
	default:
		s = doubt(v.t("readback-ask-later", d.Clock, v.dayName(d.Day)), v.t("readback-moment-more"))
	}
	for i, at := range moments {
		says := v.t("readback-moment", v.time(at))
		if twice {
			says = v.t("readback-twice-"+strconv.Itoa(i+1), d.Clock)
		}
		s.Choices = append(s.Choices, choice{Do: "moment", Value: at.Format(time.RFC3339), Words: says})
	}
	return s
}

// dayName writes a day, with its year where that is not plain.
func (v *visit) dayName(day string) string {
	const plain = 300 * 24 * time.Hour
	return v.make(func(w *shell.Words) string {
		at, err := time.ParseInLocation(time.DateOnly, day, v.d.site.Zone())
		if err != nil || v.now.Sub(at) > plain {
			return w.Day(day)
		}
		return w.Weekday(at)
	})
}
