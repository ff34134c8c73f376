package workplace

import (
	"cmp"
	"errors"
	"slices"
	"strings"

	"listbound/cmd/internal/refusal"
	"listbound/cmd/internal/shell"
	"listbound/events"
	"listbound/projections"
	"listbound/projections/words"
)

// said is what the page tells after an input: a status with its own shape,
// words, and the sound that goes with it.
type said struct {
	Status string `json:"status"` // whole, open, doubtful, broken: the shapes of the shell
	Words  string `json:"words"`  // large, readable across a room
	More   string `json:"more,omitempty"`
	Next   string `json:"next,omitempty"`
	Of     string `json:"of,omitempty"`     // the set, load or case, where the words don't name it
	Aside  string `json:"aside,omitempty"`  // of the last input, where something else stays in sight
	Hands  string `json:"hands,omitempty"`  // what to do with one's hands, first of all
	Opened string `json:"opened,omitempty"` // and what after that, or where the set is open already
	Where  string `json:"where,omitempty"`  // where the other set is
	Sound  string `json:"sound"`            // good, ask, wrong, low

	Answer string  `json:"answer,omitempty"` // to this reading, where an older finding stops the set
	Then   string  `json:"then,omitempty"`   // what would be scanned next, if that didn't stop it
	Older  []older `json:"older,omitempty"`  // what was found before, by weight

	No    bool   `json:"no,omitzero"`   // it was not taken; nothing stops a set
	Off   string `json:"off,omitempty"` // the form's field whose text was not taken, and is emptied
	fresh bool   // it is about what was read just now
	Under bool   `json:"under,omitzero"` // the aside is about the STOP, and goes with it

	Choices []choice `json:"choices,omitempty"` // the answers, where it is a question
}

// choice is an answer that stands as a button below what is said. It does an
// action of the page, with its value.
type choice struct {
	Do    string `json:"do"`
	Value string `json:"value,omitempty"`
	Words string `json:"words"`
	Main  bool   `json:"main,omitempty"`
	Key   string `json:"key,omitempty"` // that does the same
}

// offer adds the answers to a question.
func (s said) offer(choices ...choice) said {
	s.Choices = choices
	return s
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

// verdict shows what is said. Nothing is called whole while there are records that no
// verdict knows of: one of them may be the one just made.
func (v *visit) verdict(s *said) (html string, err error) {
	if s.Status == "whole" && v.d.site.Behind() > 0 {
		s.Status, s.Sound = "doubtful", "ask"
	}
	return v.fragment("verdict", *s)
}

// begin is what the empty page of a workplace asks for.
func (v *visit) begin() said {
	return said{Status: "open", Words: v.t("begin-" + v.place)}
}

// refused says no in the page's words. What is no refusal is not for a person
// at a station to answer: the caller hands it on.
func (v *visit) refused(err error) said {
	var in *inWords
	s := wrong(v.t("not-taken"), v.why(err))
	if errors.As(err, &in) {
		s = wrong(in.says, "")
		s.Off = in.field
	}
	s.No = true
	return s
}

// why says in the page's language why something was refused. What has no sentence of
// its own is said in English on English pages, and in general words on any other.
func (v *visit) why(err error) string {
	key, args := refusal.InWords(err)
	own := key != ""
	switch {
	case own:
	case errors.Is(err, events.ErrPatient):
		key = "patient"
	case errors.Is(err, events.ErrSheetCode):
		key = "sheet-code"
	default:
		key = "other"
	}
	return v.make(func(w *shell.Words) string {
		if !own && w.Lang == "en" {
			return err.Error()
		}
		return w.T("workplace.refused-"+key, v.inWords(w, args)...)
	})
}

// detail says why something was refused, in the page's language where it has a sentence
// and with all that is known of it: a list's author looks for the line.
func (v *visit) detail(err error) string {
	if key, _ := refusal.InWords(err); key != "" {
		return v.why(err)
	}
	return faultIn(v.w.Language(), err)
}

// faultIn says what is wrong with a value of a list.
func faultIn(in *words.Language, err error) string {
	f, ok := errors.AsType[*events.Fault](err)
	if !ok || !in.Has("workplace.value-"+f.Value) {
		return err.Error()
	}
	says := in.Say("workplace.fault-"+f.Key, append([]any{in.Say("workplace.value-" + f.Value)}, f.Args...)...)
	if f.Line != 0 {
		says = in.Say("workplace.fault-line", f.Line, says)
	}
	return says
}

// inWords is a refusal in the person's language.
type inWords struct{ says, field string }

func (e *inWords) Error() string { return e.says }

// sayNo is a refusal in the person's language.
func (v *visit) sayNo(key string, args ...any) error {
	return refusal.Because(&inWords{says: v.t(key, args...)})
}

// inField makes a refusal one of what a form's field holds: the page empties it.
func inField(field string, err error) error {
	if in, ok := errors.AsType[*inWords](err); ok {
		in.field = field
	}
	return err
}

// older is a finding that what was read just now does not show.
type older struct {
	Status string `json:"status"`
	Words  string `json:"words"`
	Says   string `json:"says"`
}

// judged turns a verdict into large words: what this reading shows comes first,
// the worst of it. What was found before is listed below, by its weight. since is
// the size of the ledger before the reading; answer is what the page says to a
// reading that shows nothing bad.
func (v *visit) judged(verdict *projections.Verdict, since int64, answer said, skip ...projections.Code) said {
	var now, before []*projections.Finding
	for _, f := range heaviest(verdict, skip...) {
		if slices.ContainsFunc(f.Events, func(seq int64) bool { return seq > since }) {
			now = append(now, f)
		} else {
			before = append(before, f)
		}
	}
	s := answer
	if len(now) > 0 {
		s = v.found(verdict.Set, now[0])
		s.fresh = true
		now = now[1:]
	}
	all := append(now, before...)
	slices.SortStableFunc(all, lighter)
	for _, f := range all {
		o := v.found(verdict.Set, f)
		s.Older = append(s.Older, older{o.Status, o.Words, o.More})
		// The answer to this reading is no "in order" while something else is wrong.
		switch {
		case o.Status == "broken" && s.Status != "broken":
			s.Words, s.Status, s.Sound = o.Words, o.Status, "wrong"
			if s.Next = o.Next; answer.Status == "open" {
				s.Then = answer.Words // it asks for more: hands come first
			} else {
				s.Answer = answer.Words
			}
			s.Older, s.More, s.fresh = s.Older[:len(s.Older)-1], o.More, slices.Contains(now, f)
		case s.Status == "whole":
			s.Status, s.Sound = "doubtful", "ask"
		}
	}
	return s
}

// heaviest are the findings of a verdict of which a station tells, by weight.
func heaviest(verdict *projections.Verdict, skip ...projections.Code) (out []*projections.Finding) {
	for i := range verdict.Findings {
		f := &verdict.Findings[i]
		if (f.Severity != projections.SeverityNoted || wasPositive(f) != nil) && !slices.Contains(skip, f.Code) {
			out = append(out, f)
		}
	}
	slices.SortStableFunc(out, lighter)
	return out
}

// lighter orders findings by weight, the heaviest first.
func lighter(a, b *projections.Finding) int { return cmp.Compare(shapeRank(b), shapeRank(a)) }

// wayOf tells findings of a set apart.
func wayOf(f *projections.Finding) string { return string(f.Code) + "/" + f.Way }

// found is one finding in large words.
func (v *visit) found(set string, f *projections.Finding) said {
	s := said{Status: "doubtful", Words: v.stationLine(set, f), Sound: "wrong"}
	if d := wasPositive(f); d != nil {
		s.Words, s.Sound = v.t("was-positive", set, d.Load, v.time(d.Read), strings.Join(d.SettledBy, ", ")), "ask"
	}
	s.More, s.Next = v.finding(f)
	if shapeRank(f) > 1 {
		s.Status = "broken"
	}
	return s
}

// wasPositive tells of a load whose own indicator was positive, though the repeated cycles settled it; nil for any
// other finding. Whoever has a set of it in the hand is told: green would say that nothing is known of it.
func wasPositive(f *projections.Finding) *projections.Recalled {
	d, ok := f.Detail.(*projections.Recalled)
	if !ok || !d.Settled || d.Load != d.Positive {
		return nil
	}
	return d
}

// otherSet is the other set that a finding is about, "" for none.
func otherSet(f *projections.Finding) string {
	if f.Other == nil {
		return ""
	}
	return f.Other.Set
}

// shapeRank orders findings by weight: what stops a set comes before what makes
// it doubtful. A set in a load under recall is stopped, whatever the recall's own
// certainty: nobody opens it before that is known.
func shapeRank(f *projections.Finding) int {
	switch {
	case f.Severity == projections.SeverityBroken:
		return 3
	case f.Severity == projections.SeverityNoted:
		return 0
	case f.Code == projections.LoadRecalled:
		return 2
	}
	return 1
}
