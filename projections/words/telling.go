package words

import (
	"embed"

	"listbound/events"
	"listbound/projections"
)

// English is the text of the English sentences. They are kept beside findings
// for people who ask in SQL, so whoever keeps them wants to know when they change.
//
//go:embed judgement/en.json
var English embed.FS

// Finding puts a finding into words. One of a way that this program does not
// know, of a later version, is given as it was told where it came from.
func (j *Judgement) Finding(lang string, f *projections.Finding) projections.Text {
	if f.Detail != nil {
		return j.Detail(lang, f.Code, f.Detail)
	}
	if t, ok := f.Texts[j.c.In(lang).Tag()]; ok {
		return t
	}
	if f.Says != "" {
		return projections.Text{Says: f.Says, Next: f.Next}
	}
	return j.Detail(lang, f.Code, nil)
}

// HistoryLine puts an event of a history into words.
func (j *Judgement) HistoryLine(lang string, e *projections.HistoryEvent) string {
	if e.Data == nil { // told where it came from
		if s, ok := e.SaysIn[j.c.In(lang).Tag()]; ok {
			return s
		}
		return e.Says
	}
	return j.Event(lang, Line{
		Kind: events.Kind(e.Kind), Subject: e.Subject, Station: e.Station, Data: e.Data, Void: e.Void,
		Corrected: e.Corrected, First: e.First,
	})
}

// Tell fills in what the findings of a verdict say, in every language: for
// those who read it without this program's catalogues.
func (j *Judgement) Tell(v *projections.Verdict) {
	for i := range v.Findings {
		f := &v.Findings[i]
		en := j.Finding(Reference, f)
		texts := make(map[string]projections.Text)
		for _, lang := range j.Languages() {
			if lang != Reference {
				texts[lang] = j.Finding(lang, f)
			}
		}
		f.Says, f.Next, f.Texts = en.Says, en.Next, texts
	}
}

// TellHistory fills in what the events and verdicts of a history say.
func (j *Judgement) TellHistory(h *projections.History) {
	for i := range h.Verdicts {
		j.Tell(&h.Verdicts[i])
	}
	for i := range h.Events {
		e := &h.Events[i]
		en := j.HistoryLine(Reference, e)
		in := make(map[string]string)
		for _, lang := range j.Languages() {
			if lang != Reference {
				in[lang] = j.HistoryLine(lang, e)
			}
		}
		e.Says, e.SaysIn = en, in
	}
}
