package workplace

import (
	"bytes"
	"errors"
	"fmt"
	"html/template"
	"slices"
	"strings"
	"time"

	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections"
)

// said is what the page tells after an input: a status with its own shape,
// words, and the sound that goes with it.
type said struct {
	Status string `json:"status"` // whole, open, doubtful, broken: the shapes of the shell
	Words  string `json:"words"`  // large, readable across a room
	More   string `json:"more,omitempty"`
	Next   string `json:"next,omitempty"`
	Lang   string `json:"lang,omitempty"`  // of More and Next, where it isn't the page's: judgement's own sentences
	Where  string `json:"where,omitempty"` // where the other set is
	Sound  string `json:"sound"`           // good, ask, wrong
}

func good(words, more string) said {
	return said{Status: "whole", Words: words, More: more, Sound: "good"}
}
func ask(words, more string) said {
	return said{Status: "open", Words: words, More: more, Sound: "ask"}
}
func doubt(words, more string) said {
	return said{Status: "doubtful", Words: words, More: more, Sound: "ask"}
}
func wrong(words, more string) said {
	return said{Status: "broken", Words: words, More: more, Sound: "wrong"}
}

// bench is what lies on a workplace: scanned and entered, not yet recorded.
// Each workplace uses the part it needs.
type bench struct {
	Rev      int64  `json:"rev"`
	Seen     once   `json:"seen,omitempty"`
	Said     said   `json:"said"`
	Operator string `json:"operator,omitempty"`
	Witness  string `json:"witness,omitempty"`
	Case     string `json:"case,omitempty"`
	Where    string `json:"where,omitempty"` // place or room, as people call it
	Plain    string `json:"plain,omitempty"` // scanned, and it may be several things

	Tag        string          `json:"tag,omitempty"`
	Outer      string          `json:"outer,omitempty"`
	Sheet      *events.Reading `json:"sheet,omitempty"`
	Seals      []string        `json:"seals,omitempty"`
	SealBroken bool            `json:"sealBroken,omitempty"`
	Indicator  string          `json:"indicator,omitempty"`

	List        string           `json:"list,omitempty"`
	Version     int64            `json:"version,omitempty"`
	WeightGrams int64            `json:"weightGrams,omitempty"`
	NoWeight    bool             `json:"noWeight,omitempty"`
	Note        string           `json:"note,omitempty"`
	Placement   events.Placement `json:"placement,omitempty"`
	BagLot      string           `json:"bagLot,omitempty"`

	Loads []load `json:"loads,omitempty"`
	Load  string `json:"load,omitempty"` // the one that is being filled

	Reason  string   `json:"reason,omitempty"`
	Actions []string `json:"actions,omitempty"`

	Done *done     `json:"done,omitempty"` // what was recorded last
	At   time.Time `json:"at,omitzero"`    // set before recording, so that a second try is the same event
}

// load is a sterilizer run that is being loaded or is running.
type load struct {
	Load       string   `json:"load"`
	Sterilizer string   `json:"sterilizer"`
	Run        int64    `json:"run"`
	Cycle      string   `json:"cycle"`
	Sets       []string `json:"sets,omitempty"`
	Started    bool     `json:"started,omitempty"`
}

// done is what the last record was, and where one goes from it.
type done struct {
	Words string  `json:"words"`
	Set   string  `json:"set,omitempty"`
	Trip  string  `json:"trip,omitempty"`
	Case  string  `json:"case,omitempty"`
	Code  string  `json:"code,omitempty"`
	Seqs  []int64 `json:"seqs,omitempty"`
	Links []link  `json:"links,omitempty"`
}

type link struct {
	Address string `json:"address"`
	Words   string `json:"words"`
	Main    bool   `json:"main,omitempty"` // Enter on an empty field goes there
}

func benchKey(station, place string) string { return "bench\x00" + station + "\x00" + place }

// clear takes away what belongs to one set; who works here and on which case stays.
func (b *bench) clear() {
	*b = bench{Rev: b.Rev, Seen: b.Seen, Operator: b.Operator, Case: b.Case, Where: b.Where, Loads: b.Loads, Load: b.Load, Done: b.Done}
}

// workplace is what differs between the pages that have a bench.
type workplace interface {
	// scan takes one thing that was scanned.
	scan(v *visit, b *bench, s events.Scan) (said, error)
	// do takes what a button or a form says. "enter" is Enter on the empty field.
	do(v *visit, b *bench, action string, fields map[string]string) (said, error)
	// body returns what the page's template shows.
	body(v *visit, b *bench) (any, error)
	// wants says what a plain identifier may be taken for, most likely first.
	wants(v *visit, b *bench) []events.ScanKind
}

// typer is a workplace on which some of what is typed is no scan: a number, a
// weight, the lot of a bag. It says which action it means.
type typer interface {
	typed(v *visit, b *bench, text string) (action string, fields map[string]string, ok bool)
}

func (d *Desk) workplaceOf(place string) (workplace, error) {
	switch place {
	case "packing":
		return packing{}, nil
	case "sealing":
		return sealing{}, nil
	case "sterilizer":
		return sterilizer{}, nil
	case "storage":
		return reading{opening: false}, nil
	case "opening":
		return reading{opening: true}, nil
	case "close":
		return closing{}, nil
	}
	return nil, fmt.Errorf("%w: there is no workplace %s", site.ErrNotFound, place)
}

func (v *visit) loadBench() (*bench, error) {
	b := new(bench)
	_, err := v.d.files.load(b, "bench", v.station, v.place)
	return b, err
}

func (v *visit) saveBench(b *bench) error {
	b.Rev++
	return v.d.files.save(b, "bench", v.station, v.place)
}

// answered is what the page gets back.
type answered struct {
	N    int64  `json:"n,omitzero"`
	Rev  int64  `json:"rev"`
	Kind string `json:"kind,omitempty"` // what a scan was taken for
	What string `json:"what,omitempty"`
	said
	Verdict string `json:"verdict"` // HTML
	Bench   string `json:"bench"`   // HTML
	Go      string `json:"go,omitempty"`
}

type benchBody struct {
	*bench
	Body   any
	Policy events.Policy
}

func (v *visit) fragment(name string, data any) (string, error) {
	var out bytes.Buffer
	err := v.d.tmpl[v.w.Lang].ExecuteTemplate(&out, name, view{Station: v.station, Place: v.place, Practice: v.d.opts.Practice, Data: data})
	return out.String(), err
}

func (v *visit) show(w workplace, b *bench) (*answered, error) {
	body, err := w.body(v, b)
	if err != nil {
		return nil, err
	}
	a := &answered{Rev: b.Rev, said: b.Said}
	if a.Verdict, err = v.fragment("verdict", b.Said); err != nil {
		return nil, err
	}
	a.Bench, err = v.fragment("bench-"+v.place, benchBody{bench: b, Body: body})
	return a, err
}

type benchPageBody struct {
	Verdict, Bench template.HTML // rendered by this package's own templates
	Rev            int64
}

func (d *Desk) benchPage(v *visit) (*rendered, error) {
	w, err := d.workplaceOf(v.place)
	if err != nil {
		return nil, err
	}
	defer d.lock(benchKey(v.station, v.place))()
	b, err := v.loadBench()
	if err != nil {
		return nil, err
	}
	if ref := v.r.FormValue("set"); ref != "" && b.Tag == "" {
		if b.Said, err = w.scan(v, b, events.Scan{Kind: events.ScanSet, Value: ref}); err == nil {
			err = v.saveBench(b)
		}
		if err != nil {
			return nil, err
		}
	}
	if ref := v.r.FormValue("case"); ref != "" && ref != b.Case {
		if b.Said, err = w.scan(v, b, events.Scan{Kind: events.ScanCase, Value: ref}); err == nil {
			err = v.saveBench(b)
		}
		if err != nil {
			return nil, err
		}
	}
	if b.Said.Words == "" {
		b.Said = v.begin()
	}
	a, err := v.show(w, b)
	if err != nil {
		return nil, err
	}
	return &rendered{
		name: "place", title: v.t("place-"+v.place) + " – " + v.station, wide: true,
		scripts: []string{d.opts.Prefix + "/workplace/bench.js"},
		data:    benchPageBody{template.HTML(a.Verdict), template.HTML(a.Bench), a.Rev},
	}, nil
}

// begin is what the empty page of a workplace asks for.
func (v *visit) begin() said { return said{Status: "open", Words: v.t("begin-" + v.place), Sound: ""} }

func (d *Desk) benchState(v *visit) (any, error) {
	w, err := d.workplaceOf(v.place)
	if err != nil {
		return nil, err
	}
	defer d.lock(benchKey(v.station, v.place))()
	b, err := v.loadBench()
	if err != nil {
		return nil, err
	}
	if b.Said.Words == "" {
		b.Said = v.begin()
	}
	return v.show(w, b)
}

// benchInput takes a scan or what a button says. A thing that can't be taken is
// an answer too, in words and with the sound for it.
func (d *Desk) benchInput(v *visit) (any, error) {
	w, err := d.workplaceOf(v.place)
	if err != nil {
		return nil, err
	}
	in, err := v.input()
	if err != nil {
		return nil, err
	}
	defer d.lock(benchKey(v.station, v.place))()
	b, err := v.loadBench()
	if err != nil {
		return nil, err
	}
	if !b.Seen.fresh(in.Client, in.N) {
		a, err := v.show(w, b)
		if a != nil {
			a.N = in.N
		}
		return a, err
	}
	var kind, what, goTo string
	if !(in.Action == "enter" || in.Action == "record" || strings.TrimSpace(in.Text) == "" && in.Action == "") {
		b.At = time.Time{} // what is recorded next is another observation
	}
	switch verb := v.r.PathValue("verb"); {
	case verb == "scan" && strings.TrimSpace(in.Text) == "", verb == "do" && in.Action == "enter":
		if goTo = mainLink(b); goTo == "" || !idle(b) {
			goTo = ""
			b.Said, err = w.do(v, b, "enter", nil)
		}
	case verb == "scan" && typedAction(v, w, b, in):
		kind, what = "typed", strings.TrimSpace(in.Text)
		b.Said, err = w.do(v, b, in.Action, in.Fields)
	case verb == "scan":
		var scans []events.Scan
		scans, err = v.recognise(in.Text, w.wants(v, b), b)
		for _, s := range scans {
			kind, what = string(s.Kind), s.Value
			if b.Said, err = w.scan(v, b, s); err != nil {
				break
			}
		}
	case verb == "do" && in.Action == "take-as":
		s := events.Scan{Kind: events.ScanKind(in.Fields["kind"]), Value: b.Plain}
		b.Plain = ""
		if s.Value != "" {
			kind, what = string(s.Kind), s.Value
			b.Said, err = w.scan(v, b, s)
		}
	case verb == "do":
		b.Said, err = w.do(v, b, in.Action, in.Fields)
	default:
		return nil, &refusal{404, "there is no " + verb}
	}
	if err != nil {
		b.Said = v.refused(err)
	}
	if err := v.saveBench(b); err != nil {
		return nil, err
	}
	d.hub.tell(benchKey(v.station, v.place), in.Client)
	a, err := v.show(w, b)
	if err != nil {
		return nil, err
	}
	a.N, a.Kind, a.What, a.Go = in.N, kind, what, goTo
	return a, nil
}

// typedAction turns a typed text into the action that it means here.
func typedAction(v *visit, w workplace, b *bench, in *input) bool {
	t, ok := w.(typer)
	if !ok {
		return false
	}
	in.Action, in.Fields, ok = t.typed(v, b, strings.TrimSpace(in.Text))
	return ok
}

// refused says no in the page's words.
func (v *visit) refused(err error) said {
	s := wrong(v.t("not-taken"), err.Error())
	var r *refusal
	if errors.As(err, &r) {
		s.Words, s.More = r.says, ""
	}
	return s
}

// sayNo is a refusal in the person's language.
func (v *visit) sayNo(key string, args ...any) error { return &refusal{400, v.t(key, args...)} }

func mainLink(b *bench) string {
	if b.Done != nil {
		for _, l := range b.Done.Links {
			if l.Main {
				return l.Address
			}
		}
	}
	return ""
}

// idle says whether nothing of a next set lies on the bench.
func idle(b *bench) bool {
	return b.Tag == "" && b.Outer == "" && b.Sheet == nil && b.Plain == ""
}

// recognise says what a scan is. Several labels in one scan are all taken. A
// plain identifier that may be several things is kept until a person has said
// which.
func (v *visit) recognise(text string, wants []events.ScanKind, b *bench) ([]events.Scan, error) {
	scans, err := events.RecogniseAll(text)
	if err != nil {
		return nil, err
	}
	for i, s := range scans {
		if s.Kind == events.ScanShort && !slices.Contains(wants, events.ScanShort) {
			s.Kind, scans[i].Kind = events.ScanPlain, events.ScanPlain
		}
		if s.Kind != events.ScanPlain {
			continue
		}
		known, err := v.plainKind(s.Value, wants, b)
		if err != nil {
			return nil, err
		}
		if known == "" {
			b.Plain = s.Value
			return nil, v.sayNo("which", s.Value)
		}
		scans[i].Kind = known
	}
	b.Plain = ""
	return scans, nil
}

// plainKind finds what a plain identifier names: what is known here by that
// name, else the one thing that is still asked for.
func (v *visit) plainKind(id string, wants []events.ScanKind, b *bench) (events.ScanKind, error) {
	if slices.Contains(wants, events.ScanSet) {
		trip, err := v.d.site.TripNow(v, id, v.now)
		if err != nil {
			return "", err
		}
		if trip != "" {
			return events.ScanSet, nil
		}
	}
	var missing []events.ScanKind
	for _, k := range wants {
		switch {
		case k == events.ScanBadge && b.Operator == "", k == events.ScanCase && b.Case == "", k == events.ScanSet && b.Tag == "", k == events.ScanLoad && b.Load == "",
			k == events.ScanSeal && b.Tag != "" && (v.place == "sealing" || v.place == "opening"):
			missing = append(missing, k)
		}
	}
	if len(missing) == 1 {
		return missing[0], nil
	}
	return "", nil
}

// takeBadge notes who works here.
func (v *visit) takeBadge(b *bench, badge string) said {
	b.Operator = badge
	return good(v.t("badge-taken", badge), "")
}

// sheetOwner says whose sheet a code is: its set, and where that set is now.
func (v *visit) sheetOwner(code string) (owner projections.TripKey, where string, since time.Time, err error) {
	c, err := events.ParseSheetCode(code)
	if err != nil {
		return owner, "", since, err
	}
	owner.Trip = c.Trip
	if owner.Set, err = v.d.site.SetOf(v, c.Trip); err != nil || owner.Set == "" {
		return owner, "", since, err
	}
	verdict, err := v.d.site.Verdict(v, owner)
	if err != nil || verdict == nil {
		return owner, "", since, err
	}
	return owner, verdict.Where, verdict.Since, nil
}

// judged turns a verdict into large words. Judgement's own sentences follow.
func (v *visit) judged(verdict *projections.Verdict, skip ...projections.Code) said {
	for i := range verdict.Findings {
		f := &verdict.Findings[i]
		if f.Severity == projections.SeverityNoted || slices.Contains(skip, f.Code) {
			continue
		}
		other := ""
		if f.Other != nil {
			other = f.Other.Set
		}
		in := f.In(v.w.Lang)
		s := said{Status: "doubtful", Words: v.t("finding-"+string(f.Code), verdict.Set, other), More: in.Says, Next: in.Next, Sound: "wrong"}
		if _, ok := f.Texts[v.w.Lang]; !ok && v.w.Lang != "en" {
			s.Lang = "en"
		}
		if f.Severity == projections.SeverityBroken {
			s.Status = "broken"
		}
		return s
	}
	return said{}
}

// observe records, and says so in one way for all workplaces.
func (v *visit) observe(b *bench, obs ...*events.Observation) ([]site.Receipt, error) {
	v.stood = nil
	return v.d.site.Observe(v, obs...)
}

// recordAt fixes the observed time before recording: should the answer be lost
// and the person try again, it is the same event and is stored once.
func (v *visit) recordAt(b *bench) (time.Time, error) {
	if b.At.IsZero() {
		b.At = v.now.UTC()
		if err := v.d.files.save(b, "bench", v.station, v.place); err != nil {
			return time.Time{}, err
		}
	}
	return b.At, nil
}

func seqs(rs []site.Receipt) []int64 {
	var out []int64
	for _, r := range rs {
		out = append(out, r.Seq)
	}
	return out
}

// nowAt says where a set was seen last.
func (v *visit) nowAt(set, where string, since time.Time) string {
	if where == "" {
		return ""
	}
	return v.t("now-at", set, where, v.w.Time(since))
}
