package words

import (
	"cmp"
	"embed"
	"fmt"
	"strings"
	"sync"

	"listbound/events"
	"listbound/projections"
)

// A correct count does not show that nothing was retained. A sentence about a
// count says what was counted; none, in any language, says that nothing was
// left behind.

//go:embed judgement
var judgementFiles embed.FS

// Judgement says what was judged: findings, lines of histories, remarks. Its
// entries are
//
//	CODE/name         a code in a few words
//	CODE/station      what a station's page shows first; {0} is the set, {1} the other set
//	CODE/when         when a code is found, in general
//	CODE/WAY          what a finding says, of the detail of its way
//	CODE/WAY/next     what is usually done next, of the same detail
//	event/KIND        the line of an event in a history, of a [Line]
//	event/KIND/name   what was done, in a word or two
//	severity/… remark/… kind/… stage/… placement/… result/… outcome/… reason/…
//	                  names of the values that records have
//
// and, without a slash, the phrases that these have in common.
type Judgement struct{ c *Catalogue }

// NewJudgement returns the sentences of this program, with those of further
// catalogues over them: a language of its own, or other words for some entries.
func NewJudgement(further ...*Catalogue) (*Judgement, error) {
	c, err := Load(judgementFiles, "judgement")
	if err != nil {
		return nil, err
	}
	return &Judgement{Merge(append([]*Catalogue{c}, further...)...)}, nil
}

// embedded is read once: it can't change while the program runs.
var embedded = sync.OnceValue(func() *Judgement {
	j, err := NewJudgement()
	if err != nil {
		// The files are part of the program and its tests read them.
		panic(fmt.Sprintf("words: the sentences of judgement: %v", err))
	}
	return j
})

// Embedded returns the sentences as this program has them.
func Embedded() *Judgement { return embedded() }

// For returns the same sentences with times and weights as a place writes them.
func (j *Judgement) For(local Local) *Judgement { return &Judgement{j.c.For(local)} }

// Catalogue returns the texts the sentences are made from.
func (j *Judgement) Catalogue() *Catalogue { return j.c }

// Languages lists the tags of the languages spoken, English first.
func (j *Judgement) Languages() []string { return j.c.Languages() }

// Detail puts a finding's detail into words. A finding of a later version of
// this program may have a detail that is not known here: nil.
func (j *Judgement) Detail(lang string, code projections.Code, d projections.Detail) projections.Text {
	l := j.c.In(lang)
	if d == nil {
		return projections.Text{Says: l.Say("unknown-way", j.Code(lang, code)), Next: l.Say("policy-decides")}
	}
	key := string(code) + "/" + d.Way()
	return projections.Text{Says: l.Say(key, d), Next: l.Say(key+"/next", d)}
}

// Code names a finding's code in a few words.
func (j *Judgement) Code(lang string, code projections.Code) string {
	key := string(code) + "/name"
	if l := j.c.In(lang); l.Has(key) || j.c.In(Reference).Has(key) {
		return l.Say(key)
	}
	return string(code) // of a later version
}

// When says when a code is found, in general.
func (j *Judgement) When(lang string, code projections.Code) string {
	return j.c.In(lang).Say(string(code) + "/when")
}

// Kind says in a word or two what was done.
func (j *Judgement) Kind(lang string, kind events.Kind) string {
	key := "event/" + string(kind) + "/name"
	if l := j.c.In(lang); l.Has(key) || j.c.In(Reference).Has(key) {
		return l.Say(key)
	}
	return string(kind) // of a later version
}

// Station says in one line what a person at a station sees of a finding first.
// other is the other set it names, if any. A way that says something else than
// its code at large has an entry of its own.
func (j *Judgement) Station(lang string, code projections.Code, way, set, other string) string {
	key := string(code) + "/" + way + "/station"
	if l := j.c.In(lang); !l.Has(key) && !j.c.In(Reference).Has(key) {
		key = string(code) + "/station"
	}
	if l := j.c.In(lang); l.Has(key) || j.c.In(Reference).Has(key) {
		return l.Say(key, set, other)
	}
	return string(code)
}

// Severity names a severity.
func (j *Judgement) Severity(lang string, s projections.Severity) string {
	return j.c.In(lang).Say("severity/" + string(s))
}

// Remarks names what is wrong with a record itself.
func (j *Judgement) Remarks(lang string, r events.Remark) []string {
	l := j.c.In(lang)
	out := make([]string, 0, len(r.Keys()))
	for _, key := range r.Keys() {
		out = append(out, l.Say("remark/"+key))
	}
	return out
}

// Line is one event as a history tells it.
type Line struct {
	Kind      events.Kind
	Subject   string      // of the event
	Station   string      // that observed it
	Data      events.Data // in force
	Void      bool        // taken back, or the same observation recorded a second time
	Corrected bool        // by a correction, which may have taken it back
	First     events.Data // as first recorded, where a correction replaced it
}

// Place is where the event was observed: the place a check names, the load a
// run was, the washer, else the station.
func (e Line) Place() projections.Place {
	switch d := e.Data.(type) {
	case *events.SetChecked:
		if p := strings.TrimSpace(d.Place); p != "" {
			return projections.Place{Name: p}
		}
	case *events.SetSterilized:
		return projections.Place{Load: d.Load}
	case *events.SetReturned:
		if p := cmp.Or(strings.TrimSpace(d.Place), d.Washer); p != "" {
			return projections.Place{Name: p}
		}
	}
	return projections.Place{Name: e.Station}
}

// Code is the short form of the sheet code that was read, empty where none was
// or it is none.
func (e Line) Code() string {
	var sheet *events.Reading
	switch d := e.Data.(type) {
	case *events.SetChecked:
		sheet = d.Sheet
	case *events.SetOpened:
		sheet = d.Sheet
	}
	if sheet == nil {
		return ""
	}
	code, err := events.ParseSheetCode(sheet.Code)
	if err != nil {
		return ""
	}
	return code.Short()
}

// Event says one event in one line, as it stands after corrections.
func (j *Judgement) Event(lang string, e Line) string {
	l := j.c.In(lang)
	e.Data, e.First = events.AsRead(e.Data), events.AsRead(e.First)
	key := "event/" + string(e.Kind)
	if _, ok := e.Data.(*events.Unknown); ok {
		key = "event/unknown"
	}
	s := l.Say(key, e)
	switch {
	case e.Void && e.Corrected:
		return l.Say("event-taken-back", s)
	case e.Void:
		return l.Say("event-twice", s)
	case e.Corrected:
		first := e
		if e.First != nil {
			first.Data = e.First
		}
		return l.Say("event-corrected", s, l.Say(key, first))
	}
	return s
}
