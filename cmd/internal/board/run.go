package board

import (
	"cmp"
	"fmt"
	"html/template"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"listbound/cmd/internal/shell"
	"listbound/cmd/internal/site"
	"listbound/projections/run"
	"listbound/projections/run/logfile"
)

// runBody is the page of a load's runs, as their logs show them.
type runBody struct {
	Load string
	Back string
	Runs []runShown
	In   *runForm // by which one is handed in
}

// runShown is one log, with all that its picture shows in tables beside it.
type runShown struct {
	Title, Status   string
	About, Problems []string
	Correct         string        // leads to where it is taken back
	Picture         template.HTML // empty where there is a print and no log
	Figures, Phases *table
	Faults          *table
	Readings        *table // to be taken away only
}

func (p *pages) runPage(r *http.Request, words *shell.Words) (*answer, error) {
	load := r.FormValue("load")
	if load == "" {
		return nil, refuse(http.StatusBadRequest, "%s", words.T("board.run-which"))
	}
	return p.showRuns(r, words, &runForm{Load: load, In: make(url.Values)})
}

// showRuns is the page, with the form as it was filled in.
func (p *pages) showRuns(r *http.Request, words *shell.Words, f *runForm) (*answer, error) {
	b := &runBody{Load: f.Load, Back: loadLink(f.Load), In: f}
	a := &answer{template: "run", title: words.T("board.run-of", f.Load), body: b, wide: true}
	var err error
	b.Runs, err = p.runsOf(r, words, f.Load, asOf(r), a)
	if !asOf(r).IsZero() { // nothing is handed in to a page as of then
		b.In = nil
		return a, err
	}
	if err != nil || f.V("sterilizer") != "" {
		return a, err
	}
	if f.In == nil {
		f.In = make(url.Values)
	}
	name, started, err := p.ranIn(r, f.Load)
	if err != nil || name == "" {
		return a, err
	}
	f.In.Set("sterilizer", name)
	f.In.Set("started", stamp(words, started))
	if f.Last, err = p.lastRun(r, name); err == nil {
		err = f.readFrom(words)
	}
	return a, err
}

// runsOf are the runs of a load by the logs known at a moment, with their tables on the page.
func (p *pages) runsOf(
	r *http.Request, words *shell.Words, load string, at time.Time, a *answer,
) (out []runShown, err error) {
	found, err := p.site.Runs(r.Context(), site.RunsQuery{Load: load, AsOf: at})
	for i := range found {
		v := runView{words: words, r: &found[i], id: "run-" + strconv.Itoa(i+1)}
		s := v.shown(p)
		out = append(out, s)
		if r.Method != http.MethodGet {
			continue // a table of an answer to a form can't be asked for as a file
		}
		for _, t := range []*table{s.Figures, s.Phases, s.Faults, s.Readings} {
			if t != nil {
				a.tables = append(a.tables, t)
			}
		}
	}
	return out, err
}

func runLink(load string) string { return "/run?load=" + url.QueryEscape(load) }

// runView puts a recorded run into the words of a page.
type runView struct {
	words *shell.Words
	r     *run.Recorded
	id    string // what the ids of its tables begin with
}

func (v *runView) shown(p *pages) runShown {
	d, w := v.r.Said, v.words
	s := runShown{Title: w.T("board.run-title", d.Sterilizer, w.Time(d.StartedAt())), Status: "holds"}
	if v.r.Seq > 0 {
		s.Correct = correctLink(v.r.ID)
		s.About = append(s.About, w.T("board.run-by", v.r.Station, w.Time(v.r.At), d.Cycle.Name, d.Cycle.Source))
	} else {
		s.About = append(s.About, w.T("board.run-held-to", d.Cycle.Name, d.Cycle.Source))
	}
	for _, l := range v.r.Lacks {
		s.Problems = append(s.Problems, w.T("board.run-lack-"+string(l)))
		if !l.Unknown() {
			s.Status = "fails"
		} else if s.Status == "holds" {
			s.Status = "unknown"
		}
	}
	s.Figures, s.Faults = v.figures(), v.faults()
	if d.Log == "" {
		s.About = append(s.About, w.T("board.run-typed"))
		return s
	}
	l, again, err := v.again(p)
	if err != nil && p.site.Position() != nil {
		s.About = append(s.About, w.T("board.run-log-elsewhere", inGroups(d.Log)))
		return s
	}
	if err != nil {
		s.Problems = append(s.Problems, w.T("board.run-log-gone", inGroups(d.Log)))
		return s
	}
	s.About = append(s.About, w.T("board.run-log", inGroups(d.Log)))
	if !run.SameFigures(&again.Figures, &d.Figures) {
		s.Problems = append(s.Problems, w.T("board.run-log-differs"))
	}
	s.Picture, s.Phases, s.Readings = v.draw(l, again), v.phases(again), v.readings(l)
	return s
}

// inGroups is a digest that can be compared by eye, and breaks at the end of a line.
func inGroups(digest string) string {
	var groups []string
	for g := range slices.Chunk([]byte(digest), 8) {
		groups = append(groups, string(g))
	}
	return strings.Join(groups, " ")
}

// again reads the kept log as it was read, and judges it.
func (v *runView) again(p *pages) (*run.Log, *run.Report, error) {
	raw, err := p.site.RunLog(v.r.Said.Log)
	if err != nil {
		return nil, nil, err
	}
	l, err := logfile.Read(raw, v.r.Said.Read, v.r.Said.StartedAt())
	if err != nil {
		return nil, nil, err
	}
	r, err := run.Judge(l, &v.r.Said.Cycle)
	return l, &r, err
}

// milli is a value of thousandths with its unit; files have it in whole thousandths no more than the page.
func (v *runView) milli(x int64, unit string) cell {
	return cell{Text: v.words.T("board.run-value", float64(x)/1000, unit), Value: float64(x) / 1000}
}

// span is a duration with its tenths; files have seconds.
func (v *runView) span(millis int64) cell {
	d := time.Duration(millis) * time.Millisecond
	return cell{Text: d.Truncate(100 * time.Millisecond).String(), Value: d.Seconds()}
}

// figures are all figures, each with what bounds it.
func (v *runView) figures() *table {
	t := newTable(v.words, v.id+"-figures", "board.run-figures", "run-measured", "run-value", "run-least", "run-most")
	d := v.r.Said
	c, f := &d.Cycle, &d.Figures
	row := func(key string, value, least, most cell) { t.add(text(v.words.T(key)), value, least, most) }
	seconds := func(s int64) cell {
		if s == 0 {
			return cell{}
		}
		return v.span(1000 * s)
	}
	bound := func(x int64, unit string) cell {
		if x == 0 {
			return cell{}
		}
		return v.milli(x, unit)
	}
	none := cell{}
	row("board.run-hold", v.span(f.HoldMillis), seconds(c.HoldSeconds), none)
	row("board.run-min", v.milli(f.MinMilliC, "°C"), bound(c.LowMilliC, "°C"), none)
	row("board.run-max", v.milli(f.MaxMilliC, "°C"), none, bound(c.HighMilliC, "°C"))
	if f.Steam() {
		row("board.run-pressure", v.milli(f.MinPascal, "kPa"), none, none)
		row("board.run-pressure-max", v.milli(f.MaxPascal, "kPa"), none, none)
		row("board.run-colder", v.milli(f.SteamLowMilliK, "K"), bound(-c.SteamMilliK, "K"), none)
		row("board.run-hotter", v.milli(f.SteamHighMilliK, "K"), none, bound(c.SteamMilliK, "K"))
	}
	if f.Points > 1 {
		row("board.run-apart", v.milli(f.ApartMilliK, "K"), none, bound(c.ApartMilliK, "K"))
	}
	if f.Points > 1 || f.Steam() {
		row("board.run-equilibration", v.span(f.EquilibrationMillis), none, seconds(c.EquilibrationSeconds))
	}
	if f.Dryness() {
		row("board.run-drying", v.span(f.DryingMillis), seconds(c.DryingSeconds), none)
	}
	if f.StepMillis > 0 {
		row("board.run-step", v.span(f.StepMillis), none, none)
	}
	if f.F0Seconds > 0 {
		row("board.run-f0", v.milli(f.F0Seconds*1000/60, "min"), none, none)
	}
	return t
}

func (v *runView) faults() *table {
	f := &v.r.Said.Figures
	if len(f.Faults) == 0 {
		return nil
	}
	t := newTable(v.words, v.id+"-faults", "board.run-faults", "no", "what-happened", "run-after", "run-lasts", "run-sensor", "run-value")
	for i, x := range f.Faults {
		value := cell{}
		if x.MilliC != 0 {
			value = v.milli(x.MilliC, "°C")
		}
		t.add(number(int64(i+1)), text(v.words.T("board.run-fault-"+string(x.What))), v.span(x.AtMillis), v.span(x.LastsMillis),
			text(x.Sensor), value)
	}
	if f.More > 0 {
		t.add(cell{}, text(v.words.T("board.run-more", f.More)), cell{}, cell{}, cell{}, cell{})
	}
	return t
}

func (v *runView) phases(r *run.Report) *table {
	t := newTable(v.words, v.id+"-phases", "board.run-phases", "run-phase", "from", "until", "run-lasts")
	for _, s := range r.Phases {
		t.add(text(v.words.T("board.run-phase-"+string(s.Phase))), v.clock(s.From), v.clock(s.To), v.span(s.To.Sub(s.From).Milliseconds()))
	}
	return t
}

// clock is a time of the run, to the second.
func (v *runView) clock(at time.Time) cell {
	zone := cmp.Or(v.words.Zone(), time.UTC)
	return cell{Text: at.In(zone).Format(time.TimeOnly), Value: at}
}

// readings are the log's own, in one set of units.
func (v *runView) readings(l *run.Log) *table {
	t := &table{ID: v.id + "-readings", Title: v.words.T("board.run-readings"), Columns: []string{v.words.T("board.column-observed")}}
	for _, name := range l.Sensors {
		t.Columns = append(t.Columns, name+" (°C)")
	}
	if l.Pressure != "" {
		t.Columns = append(t.Columns, l.Pressure+" (kPa)", v.words.T("board.run-steam"))
	}
	for _, s := range l.Samples {
		row := []cell{when(v.words, s.At)}
		for _, c := range s.Points {
			row = append(row, measured(c))
		}
		if l.Pressure != "" {
			row = append(row, measured(s.Pressure), measured(run.SteamAt(s.Pressure)))
		}
		t.add(row...)
	}
	return t
}

// measured is a reading; one that isn't there is empty.
func measured(x float64) cell {
	if x != x {
		return cell{}
	}
	return text(fmt.Sprintf("%.2f", x))
}
