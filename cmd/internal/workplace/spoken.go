package workplace

import (
	"strings"
	"time"
	"unicode"

	"listbound/cmd/internal/shell"
	"listbound/projections"
)

// What is said is made once, when an input is taken: a finding of a scan is not always found anew by looking again. But
// whoever looks next may read another language. So a visit remembers how each of its texts was made, and what is kept of
// an answer is kept in every language.

// makes is a text as each language says it.
type makes func(*shell.Words) string

// t returns one of this package's words. Written into each of its thousand callers, with two closures each, it was a
// tenth of the package, and a fifth of the time that compiling it takes.
//
//go:noinline
func (v *visit) t(key string, args ...any) string {
	return v.make(func(w *shell.Words) string { return w.T("workplace."+key, v.inWords(w, args)...) })
}

// time writes a moment.
//
//go:noinline
func (v *visit) time(at time.Time) string {
	return v.make(func(w *shell.Words) string { return w.Time(at) })
}

// weight writes a weight.
func (v *visit) weight(grams int64) string {
	return v.make(func(w *shell.Words) string { return w.Weight(grams) })
}

// stationLine says in a few words what a finding is about.
func (v *visit) stationLine(set string, f *projections.Finding) string {
	return v.make(func(w *shell.Words) string { return w.StationLine(f.Code, f.Way, set, otherSet(f)) })
}

// finding says what was found, and what is usually done next.
func (v *visit) finding(f *projections.Finding) (says, next string) {
	says = v.make(func(w *shell.Words) string { return w.Finding(f).Says })
	return says, v.make(func(w *shell.Words) string { return w.Finding(f).Next })
}

// make makes a text and remembers how.
func (v *visit) make(say makes) string {
	text := say(v.w)
	if _, known := v.made[text]; !known && text != "" {
		if v.made == nil {
			v.made = make(map[string]makes)
		}
		v.made[text] = say
	}
	return text
}

// inWords are the arguments of a text in another language: some of them are texts.
func (v *visit) inWords(w *shell.Words, args []any) []any {
	if w == v.w {
		return args
	}
	out := make([]any, len(args))
	for i, a := range args {
		if s, ok := a.(string); ok {
			a = v.in(w, s)
		}
		out[i] = a
	}
	return out
}

// in is a text of this visit in another language. What was put together of several is
// so again; what was not made of words here, as a set's name, stays.
func (v *visit) in(w *shell.Words, text string) string {
	if say, ok := v.made[text]; ok {
		// While it is made it is none of its own parts.
		delete(v.made, text)
		defer func() { v.made[text] = say }()
		return say(w)
	}
	part, at := "", 0
	for made := range v.made {
		if i := wholeWords(text, made); i >= 0 && (len(made) > len(part) || len(made) == len(part) && made < part) {
			part, at = made, i
		}
	}
	if part == "" {
		return text
	}
	return v.in(w, text[:at]) + v.in(w, part) + v.in(w, text[at+len(part):])
}

// wholeWords is where a part stands in a text, not within a word; -1 for nowhere.
func wholeWords(text, part string) int {
	within := func(r rune) bool { return unicode.IsLetter(r) || unicode.IsDigit(r) || r == '-' }
	for from := 0; ; {
		i := strings.Index(text[from:], part)
		if i < 0 {
			return -1
		}
		i += from
		end := i + len(part)
		before, after := []rune(text[:i]), []rune(text[end:])
		if (len(before) == 0 || !within(before[len(before)-1])) && (len(after) == 0 || !within(after[0])) {
			return i
		}
		from = i + 1
	}
}

// others is what is said, in all the other languages.
func (v *visit) others(s said) map[string]said {
	if s.Words == "" && s.Aside == "" {
		return nil
	}
	out := make(map[string]said)
	for _, w := range v.d.words {
		if w.Lang == v.w.Lang {
			continue
		}
		in := s
		for _, text := range []*string{&in.Words, &in.More, &in.Next, &in.Of, &in.Aside, &in.Hands, &in.Opened,
			&in.Where, &in.Answer, &in.Then} {
			*text = v.in(w, *text)
		}
		in.Older = nil
		for _, o := range s.Older {
			o.Words, o.Says = v.in(w, o.Words), v.in(w, o.Says)
			in.Older = append(in.Older, o)
		}
		in.Choices = nil
		for _, c := range s.Choices {
			c.Words = v.in(w, c.Words)
			in.Choices = append(in.Choices, c)
		}
		out[w.Lang] = in
	}
	return out
}

// again is what was said in a language, in that of the page. Nothing is known of it in the drafts of earlier versions.
func (v *visit) again(s said, lang string, others map[string]said) said {
	if lang == v.w.Lang {
		return s
	}
	return others[v.w.Lang]
}
