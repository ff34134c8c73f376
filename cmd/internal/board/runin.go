package board

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"io"
	"math"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"listbound/cmd/internal/refusal"
	"listbound/cmd/internal/shell"
	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections/facts"
	"listbound/projections/run"
	"listbound/projections/run/logfile"
)

// The form on the page of a load's runs by which a log is handed in, or a print is typed. A log is read as the sterilizer's last
// one was; what comes of it is shown first, and only just that is recorded. A log that nobody records stays behind beside the
// ledger, as a photograph does.

// runForm is the form, and what became of it.
type runForm struct {
	Load string
	In   url.Values // what was entered

	Looked  *logfile.Looked // of a log: its columns
	Log     string          // its digest, once it is kept
	Typed   bool
	Cycles  []run.Published
	Last    *events.RunLogged // the sterilizer's last one in force
	Open    bool              // how it is read is shown, since it is to be said
	Shown   string            // digest of what is shown; what is recorded must be the same
	Preview *runShown
	Began   time.Time // when the load was started by its records, zero where none says so
	Apart   string    // that the log begins at quite another time

	Problem, Done string
	Wrong         []string // what is wrong, line by line
	raw           []byte
}

// V is what was entered of a field.
func (f *runForm) V(name string) string { return f.In.Get(name) }

// Has reports whether a word is among those entered of a field.
func (f *runForm) Has(name, word string) bool { return slices.Contains(f.In[name], word) }

// TemperatureUnits, PressureUnits and Clocks are what there is to choose from.
func (f *runForm) TemperatureUnits() []string { return events.TemperatureUnits() }

// PressureUnits: see TemperatureUnits.
func (f *runForm) PressureUnits() []string { return events.PressureUnits() }

// Clocks: see TemperatureUnits. One that the last log had and that isn't listed is among them.
func (f *runForm) Clocks() []string {
	all := logfile.Clocks()
	if own := f.V("clock"); own != "" && !slices.Contains(all, own) {
		all = append(all, own)
	}
	return all
}

// runColumn is a choice of a column.
type runColumn struct {
	Name, Now string
	Headings  []string
}

func newRunColumn(f *runForm, name string) runColumn {
	return runColumn{Name: name, Now: f.V(name), Headings: f.Looked.Headings}
}

// readRunForm reads the form's parts, in memory.
func readRunForm(w http.ResponseWriter, r *http.Request) (*runForm, error) {
	r.Body = http.MaxBytesReader(w, r.Body, logfile.MaxBytes+1<<16)
	f := &runForm{In: make(url.Values)}
	parts, err := r.MultipartReader()
	if err != nil {
		return f, refusal.New("this is no form with a file: choose the file on the page of a load's runs")
	}
	const most = 400
	for fields := 0; fields < most; fields++ {
		part, err := parts.NextPart()
		if errors.Is(err, io.EOF) {
			f.Load, f.Log, f.Typed = f.V("load"), f.V("log"), f.V("typed") != ""
			return f, nil
		}
		if err != nil {
			return f, errFormCut
		}
		bound := int64(mostOfField)
		if part.FormName() == "file" {
			bound = logfile.MaxBytes + 1 // one more than is taken, so that it is said
		}
		raw, err := io.ReadAll(io.LimitReader(part, bound))
		switch {
		case err != nil:
			return f, errFormCut
		case part.FormName() == "file":
			f.raw = raw
		default:
			if text := strings.TrimSpace(string(raw)); text != "" {
				f.In.Add(part.FormName(), text)
			}
		}
	}
	return f, errFormCut
}

// runPost shows what comes of a log or a print, and records it where it was shown before and is the same.
func (p *pages) runPost(w http.ResponseWriter, r *http.Request) {
	words := p.sh.Words(r)
	f, err := readRunForm(w, r)
	if err == nil && f.Load == "" {
		err = refuse(http.StatusBadRequest, "%s", words.T("board.run-which"))
	}
	if err == nil {
		err = p.takeRun(r, words, f)
	}
	p.again(w, r, words, err, &f.Problem, func() (*answer, error) {
		if bad, ok := errors.AsType[*logfile.Error](err); ok {
			f.Problem, f.Wrong, f.Open = words.T("board.run-refused"), wrongRows(words, bad), true
		}
		return p.showRuns(r, words, f)
	})
}

// runRefused is a log that can't be read, as an answer to a form.
func runRefused(err error) error {
	if _, ok := errors.AsType[*logfile.Error](err); ok {
		return refusal.Because(err)
	}
	return err
}

// wrongRows says what is wrong with a log in the page's language.
func wrongRows(words *shell.Words, bad *logfile.Error) (out []string) {
	for _, x := range append([]*logfile.Error{bad}, bad.More...) {
		var args []any
		for _, a := range x.Args {
			if err, ok := a.(error); ok {
				a = err.Error()
			}
			args = append(args, a)
		}
		says := words.T("board.run-wrong-"+x.Key, args...)
		if x.Row > 0 {
			says = words.T("board.schedule-line", x.Row, says)
		}
		out = append(out, says)
	}
	return out
}

func (p *pages) takeRun(r *http.Request, words *shell.Words, f *runForm) error {
	d := &events.RunLogged{Load: f.Load}
	var err error
	if d.Sterilizer, err = p.sterilizerIn(r, words, f); err != nil {
		return err
	}
	if f.Last, err = p.lastRun(r, d.Sterilizer); err != nil {
		return err
	}
	if err := f.readFrom(words); err != nil {
		return err
	}
	started, err := moment(words, f.V("started"), words.T("board.run-started"))
	if err != nil {
		return err
	}
	if f.Typed {
		err = f.print(words, d, started)
	} else {
		err = p.takeLog(r, words, f, d, started)
	}
	if err != nil {
		return runRefused(err)
	}
	if err := d.Check(); err != nil {
		return refusal.Because(err)
	}
	return p.shownThenRecorded(r, words, f, d)
}

// sterilizerIn is the one in which the load ran, by its own records; one that isn't recorded yet is said.
func (p *pages) sterilizerIn(r *http.Request, words *shell.Words, f *runForm) (string, error) {
	name, started, err := p.ranIn(r, f.Load)
	switch {
	case err != nil:
		return "", err
	case name == "":
		name = f.V("sterilizer")
	}
	if name == "" {
		return "", refuse(http.StatusUnprocessableEntity, "%s", words.T("board.run-no-sterilizer", f.Load))
	}
	f.Began = started
	f.In.Set("sterilizer", name)
	if f.V("started") == "" && !started.IsZero() {
		f.In.Set("started", stamp(words, started))
	}
	return name, nil
}

// ranIn is in which sterilizer a load ran, and when it was started, as is recorded.
func (p *pages) ranIn(r *http.Request, load string) (name string, started time.Time, err error) {
	err = p.site.Ask(func(m *site.View) error {
		w := m.World(r.Context())
		_, recorded := w.LoadOf(load)
		for _, it := range recorded {
			if d := facts.RunOf(it); d != nil && !it.Void {
				name, started = d.Sterilizer, facts.Began(it)
			}
		}
		return w.Failed()
	})
	return name, started, err
}

// lastRun is the sterilizer's last log or print in force, nil where there is none.
func (p *pages) lastRun(r *http.Request, sterilizer string) (*events.RunLogged, error) {
	last, err := p.site.Runs(r.Context(), site.RunsQuery{Sterilizer: sterilizer})
	if err != nil || len(last) == 0 {
		return nil, err
	}
	return last[0].Said, nil
}

// takeLog keeps the log that was handed in, reads it and judges it.
func (p *pages) takeLog(r *http.Request, words *shell.Words, f *runForm, d *events.RunLogged, started time.Time) error {
	var err error
	if len(f.raw) > 0 {
		f.Log = ""
	} else if f.Log == "" {
		return refuse(http.StatusBadRequest, "%s", words.T("board.run-no-file"))
	} else if f.raw, err = p.site.RunLog(f.Log); err != nil {
		return err
	}
	if f.Looked, err = logfile.Look(f.raw); err != nil {
		return err
	}
	if f.Log == "" {
		kept, err := p.site.KeepRunLog(r.Context(), f.raw)
		if err != nil {
			return err
		}
		f.Log = kept.Log
		f.fill(words)
	}
	how, err := f.reading(words)
	if err != nil {
		f.Open = true
		return err
	}
	l, err := logfile.Read(f.raw, how, started)
	if err != nil {
		return err
	}
	if d.Cycle, err = f.cycle(words); err != nil {
		return err
	}
	judged, err := run.Judge(l, &d.Cycle)
	if err != nil {
		return refusal.Because(err)
	}
	d.Started, d.Ended = judged.Started.UTC().Format(time.RFC3339), judged.Ended.UTC().Format(time.RFC3339)
	d.Figures, d.Log, d.Read = judged.Figures, f.Log, how
	return nil
}

// print takes the values that were typed off a print.
func (f *runForm) print(words *shell.Words, d *events.RunLogged, started time.Time) (err error) {
	if started.IsZero() {
		return refuse(http.StatusUnprocessableEntity, "%s", words.T("board.run-started-needed"))
	}
	if d.Cycle, err = f.cycle(words); err != nil {
		return err
	}
	var x run.Printed
	for _, n := range []struct {
		name string
		to   *float64
	}{
		{"min", &x.Min}, {"max", &x.Max}, {"min-pressure", &x.MinPressure}, {"max-pressure", &x.MaxPressure},
	} {
		if *n.to, err = f.number(words, "typed-"+n.name); err != nil {
			return err
		}
	}
	for _, n := range []struct {
		name string
		to   *time.Duration
	}{{"held", &x.Held}, {"equilibration", &x.Equilibrated}, {"drying", &x.Dried}} {
		if *n.to, err = f.span(words, "typed-"+n.name); err != nil {
			return err
		}
	}
	if x.Held == 0 || x.Min == 0 || x.Max == 0 {
		return refuse(http.StatusUnprocessableEntity, "%s", words.T("board.run-typed-needed"))
	}
	d.Started, d.Figures = started.UTC().Format(time.RFC3339), x.Figures()
	return nil
}

// readFrom fills in how the sterilizer's last log was read and what it was held to, where nothing else was said.
func (f *runForm) readFrom(words *shell.Words) (err error) {
	f.Cycles, err = run.Cycles()
	if err == nil && f.Last != nil && f.V("cycle") == "" && f.V("own-name") == "" {
		f.In.Set("cycle", lastCycle)
	}
	if err == nil && f.V("zone") == "" {
		f.In.Set("zone", words.Zone().String())
	}
	return err
}

// lastCycle says that a run is held to what the sterilizer's last one was.
const lastCycle = "="

// fill fills in how a log is read: as the sterilizer's last one, where it has its columns, else as it looks.
func (f *runForm) fill(words *shell.Words) {
	g := f.Looked.Guess
	g.BarometerPascal, g.Zone = standardPascal, words.Zone().String()
	if f.Last != nil && f.Last.Read != nil {
		was := *f.Last.Read
		all := append([]string{was.Time, was.Date, was.Pressure}, was.Temperatures...)
		there := func(name string) bool { return name == "" || slices.Contains(f.Looked.Headings, name) }
		if !slices.ContainsFunc(all, func(name string) bool { return !there(name) }) {
			g = was
		} else {
			g.BarometerPascal, g.Zone, g.ClockAheadSeconds = was.BarometerPascal, was.Zone, was.ClockAheadSeconds
		}
	}
	set := func(name, value string) {
		if f.In.Del(name); value != "" {
			f.In.Set(name, value)
		}
	}
	set("time", g.Time)
	set("date", g.Date)
	set("clock", g.Clock)
	set("zone", g.Zone)
	f.In["temperature"] = g.Temperatures
	set("temperature-unit", g.TemperatureUnit)
	set("pressure", g.Pressure)
	set("pressure-unit", g.PressureUnit)
	set("barometer", strconv.FormatFloat(float64(g.BarometerPascal)/1000, 'f', -1, 64))
	set("ahead", strconv.FormatInt(g.ClockAheadSeconds, 10))
	for name, yes := range map[string]bool{"gauge": g.Gauge, "comma": g.DecimalComma} {
		if set(name, ""); yes {
			set(name, "yes")
		}
	}
}

// standardPascal is the atmosphere at the sea (ISO 2533).
const standardPascal = 101_325

// reading is how the form says that a log is read.
func (f *runForm) reading(words *shell.Words) (*events.RunReading, error) {
	r := &events.RunReading{Time: f.V("time"), Date: f.V("date"), Clock: f.V("clock"), Zone: f.V("zone"), Pressure: f.V("pressure"),
		Temperatures: f.In["temperature"], TemperatureUnit: f.V("temperature-unit"), PressureUnit: f.V("pressure-unit"),
		Gauge: f.V("gauge") != "", DecimalComma: f.V("comma") != ""}
	for _, x := range []struct {
		missing bool
		key     string
	}{
		{r.Time == "", "time"}, {r.Clock == "", "clock"}, {len(r.Temperatures) == 0, "temperature"},
		{r.Pressure != "" && r.PressureUnit == "", "pressure-unit"},
	} {
		if x.missing {
			return nil, refuse(http.StatusUnprocessableEntity, "%s", words.T("board.run-say-"+x.key))
		}
	}
	if r.Pressure == "" {
		r.PressureUnit = ""
	}
	barometer, err := f.number(words, "barometer")
	if err != nil {
		return nil, err
	}
	ahead, err := f.number(words, "ahead")
	r.BarometerPascal, r.ClockAheadSeconds = milli(barometer), int64(ahead)
	return r, err
}

// cycle is what the run is held to. Whoever changes a value says by whose word, under a name of its own.
func (f *runForm) cycle(words *shell.Words) (c events.RunCycle, err error) {
	switch chosen := f.V("cycle"); {
	case f.V("own-name") != "":
		return f.ownCycle(words)
	case chosen == lastCycle && f.Last != nil:
		return f.Last.Cycle, nil
	case chosen == "" || chosen == lastCycle:
		return c, refuse(http.StatusUnprocessableEntity, "%s", words.T("board.run-say-cycle"))
	default:
		return run.Find(chosen)
	}
}

func (f *runForm) ownCycle(words *shell.Words) (c events.RunCycle, err error) {
	c.Name, c.Source = f.V("own-name"), f.V("own-source")
	for _, n := range []struct {
		name string
		to   *int64
		by   float64
	}{
		{"low", &c.LowMilliC, 1000}, {"high", &c.HighMilliC, 1000}, {"hold", &c.HoldSeconds, 1}, {"drying", &c.DryingSeconds, 1},
		{"equilibration", &c.EquilibrationSeconds, 1}, {"steam", &c.SteamMilliK, 1000}, {"apart", &c.ApartMilliK, 1000},
	} {
		x, err := f.number(words, "own-"+n.name)
		if err != nil {
			return c, err
		}
		*n.to = int64(math.Round(n.by * x))
	}
	if err := c.Check(); err != nil {
		return c, refusal.Because(err)
	}
	return c, nil
}

// number reads a field as people write a number, with a point or a comma; 0 where nothing was entered.
func (f *runForm) number(words *shell.Words, name string) (float64, error) {
	text := f.V(name)
	if text == "" {
		return 0, nil
	}
	return figure(words, text)
}

// span reads a field as a print has it: 3:12, 0:03:12, 3m12s, or seconds.
func (f *runForm) span(words *shell.Words, name string) (time.Duration, error) {
	text := f.V(name)
	if d, err := time.ParseDuration(text); err == nil && d >= 0 {
		return d, nil
	}
	var sum time.Duration
	for part := range strings.SplitSeq(text, ":") {
		if text == "" {
			return 0, nil
		}
		n, err := strconv.ParseUint(strings.TrimSpace(part), 10, 16)
		if err != nil || strings.Count(text, ":") > 2 {
			return 0, refuse(http.StatusUnprocessableEntity, "%s", words.T("board.run-span", text))
		}
		sum = 60*sum + time.Duration(n)*time.Second
	}
	return sum, nil
}

func milli(x float64) int64 { return int64(math.Round(1000 * x)) }

// shownThenRecorded shows what would be recorded, and records it where that was shown before.
func (p *pages) shownThenRecorded(r *http.Request, words *shell.Words, f *runForm, d *events.RunLogged) error {
	text, err := json.Marshal(d)
	if err != nil {
		return err
	}
	sum := sha256.Sum256(text)
	f.Shown = hex.EncodeToString(sum[:])
	badge := scannedBadge(f.V("badge"))
	switch {
	case f.V("record") == "":
		f.preview(p, words, d)
		return nil
	case f.V("shown") != f.Shown:
		f.preview(p, words, d)
		return refuse(http.StatusConflict, "%s", words.T("board.run-meanwhile"))
	case badge == "":
		f.preview(p, words, d)
		return refuse(http.StatusUnprocessableEntity, "%s", words.T("board.badge-needed"))
	}
	if err := p.enrolled(r.Context()); err != nil {
		return err
	}
	rs, err := p.site.Observe(r.Context(), &events.Observation{Station: p.stationName(), Kind: events.KindRunLogged,
		Time: p.site.Clock().UTC().Truncate(time.Millisecond), Operator: badge, Data: d})
	if err != nil {
		f.preview(p, words, d)
		return err
	}
	*f = runForm{Load: f.Load, In: make(url.Values), Done: words.T("board.run-recorded", rs[0].Seq)}
	return nil
}

// startsApart is by how much a log may begin before or after its load was started by the records: more is another run's log, or
// a clock that is wrong.
const startsApart = 30 * time.Minute

// preview shows it as the page of a recorded one does.
func (f *runForm) preview(p *pages, words *shell.Words, d *events.RunLogged) {
	v := runView{words: words, id: "run-preview", r: &run.Recorded{Said: d, Lacks: run.Lacks(&d.Cycle, &d.Figures)}}
	s := v.shown(p)
	f.Preview = &s
	if !f.Began.IsZero() && d.StartedAt().Sub(f.Began).Abs() > startsApart {
		f.Apart = words.T("board.run-other-start", words.Time(d.StartedAt()), f.Load, words.Time(f.Began))
	}
}
