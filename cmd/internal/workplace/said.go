package workplace

import (
	"errors"
	"slices"

	"listbound/cmd/internal/refusal"
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
	Sound  string `json:"sound"`           // good, ask, wrong, low

	Choices []choice `json:"choices,omitempty"` // the answers, where it is a question
}

// choice is an answer that stands as a button below what is said. It does an
// action of the page, with its value.
type choice struct {
	Do    string `json:"do"`
	Value string `json:"value,omitempty"`
	Words string `json:"words"`
	Main  bool   `json:"main,omitempty"`
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

// begin is what the empty page of a workplace asks for.
func (v *visit) begin() said {
	return said{Status: "open", Words: v.t("begin-" + v.place)}
}

// refused says no in the page's words. What is no refusal is not for a person
// at a station to answer: the caller hands it on.
func (v *visit) refused(err error) said {
	var in *inWords
	if errors.As(err, &in) {
		return wrong(in.says, "")
	}
	return wrong(v.t("not-taken"), err.Error())
}

// inWords is a refusal in the person's language.
type inWords struct{ says string }

func (e *inWords) Error() string { return e.says }

// sayNo is a refusal in the person's language.
func (v *visit) sayNo(key string, args ...any) error {
	return refusal.Because(&inWords{v.t(key, args...)})
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
		in := v.w.Finding(f)
		words := v.w.StationLine(f.Code, verdict.Set, other)
		s := said{Status: "doubtful", Words: words, More: in.Says, Next: in.Next, Sound: "wrong"}
		if f.Severity == projections.SeverityBroken {
			s.Status = "broken"
		}
		return s
	}
	return said{}
}
