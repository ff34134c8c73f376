package words

import (
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strings"
	"sync"
	"text/template"
	"time"

	"golang.org/x/text/language"
	"golang.org/x/text/message"

	"listbound/events"
)

// deepest is how far texts may include each other: one that includes itself
// ends in an error and not in a stack that is used up.
const deepest = 12

// Language makes the sentences of one language. It is safe for concurrent use.
type Language struct {
	catalogue   *Catalogue
	tag         string
	lang        language.Tag
	own, common table
	english     *Language // nil in English itself
	zone        *time.Location
	printer     *message.Printer
	levels      [deepest]level
}

// level is how texts are said that stand so many inclusions deep. Its functions
// know the depth, so that say can count it; templates are kept ready here.
type level struct {
	funcs template.FuncMap
	ready sync.Map // *text: *template.Template
}

func newLanguage(c *Catalogue, tag string, english *Language, zone *time.Location) *Language {
	l := &Language{catalogue: c, tag: tag, lang: language.Make(tag), own: c.own[tag], common: c.common[tag],
		english: english, zone: zone}
	l.printer = message.NewPrinter(l.lang)
	for i := range l.levels {
		l.levels[i].funcs = l.functions(i)
	}
	return l
}

// InZone returns the same language with times shown in a zone; nil shows each
// moment in the zone that it was given in. What InZone returns is to be kept: it
// makes its texts ready anew.
func (l *Language) InZone(zone *time.Location) *Language {
	var english *Language
	if l.english != nil {
		english = l.english.InZone(zone)
	}
	return newLanguage(l.catalogue, l.tag, english, zone)
}

// Tag is the language tag, as the file is named.
func (l *Language) Tag() string { return l.tag }

// English is what is said where the language lacks a text.
func (l *Language) English() *Language {
	if l.english == nil {
		return l
	}
	return l.english
}

// Name is the language's name in itself, its tag where the files don't give one.
func (l *Language) Name() string {
	if !l.Has("language.name") {
		return l.tag
	}
	return l.Say("language.name")
}

// Keys lists the keys of the language's own texts, in order.
func (l *Language) Keys() []string { return slices.Sorted(maps.Keys(l.own.texts())) }

// Has reports whether the language itself has a text for a key, so that Say
// does not fall back to English.
func (l *Language) Has(key string) bool {
	return l.own.texts()[key] != nil || l.common.texts()[key] != nil
}

// find returns the text for a key and the language it is written in.
func (l *Language) find(key string) (*text, *Language) {
	for in := l; in != nil; in = in.english {
		if t := in.own.texts()[key]; t != nil {
			return t, in
		}
		if t := in.common.texts()[key]; t != nil {
			return t, in
		}
	}
	return nil, nil
}

// Say makes the sentence for a key. Where the language lacks it, or it fails, it
// is said in English; where that fails too, the key and the values are shown as
// they are, so that it is noticed and nothing is lost. What failed is reported
// to [Catalogue.OnError].
func (l *Language) Say(key string, args ...any) string {
	s, in, err := l.say(0, key, args)
	if err == nil {
		return l.redacted(s)
	}
	l.failed(in, key, err)
	if english := l.english; english != nil && in != nil && in.english != nil {
		s, in, err := english.say(0, key, args)
		if err == nil {
			return s
		}
		l.failed(in, key, err)
	}
	if len(args) == 0 {
		return key
	}
	shown := make([]string, len(args))
	for i, a := range args {
		shown[i] = fmt.Sprintf("%+v", a)
	}
	return key + " (" + strings.Join(shown, ", ") + ")"
}

// redacted says of texts that were taken out that they were: of those what is signed stands in their place. The first
// characters tell one from another. Texts that are elsewhere are told as that.
func (l *Language) redacted(s string) string {
	return l.marks(s, func(m string) string {
		if l.isElsewhere(m) {
			return "format.elsewhere"
		}
		return "format.redacted"
	})
}

// Elsewhere tells of the marks in a text that what they stand for is elsewhere, where that is so, and leaves the others.
func (l *Language) Elsewhere(s string) string {
	return l.marks(s, func(m string) string {
		if l.isElsewhere(m) {
			return "format.elsewhere"
		}
		return ""
	})
}

func (l *Language) isElsewhere(mark string) bool {
	is := l.catalogue.elsewhere.Load()
	return is != nil && (*is)(mark)
}

// marks puts entries in the place of the marks in a text; "" leaves one.
func (l *Language) marks(s string, entry func(mark string) string) string {
	const shown = 6
	return mark.ReplaceAllStringFunc(s, func(m string) string {
		if !events.IsMark(m) {
			return m
		}
		key := entry(m)
		if key == "" {
			return m
		}
		_, digest, _ := strings.Cut(m, ".")
		said, _, err := l.say(0, key, []any{digest[:shown]})
		if err != nil {
			return m
		}
		return said
	})
}

var mark = regexp.MustCompile(`sha-256\.[A-Za-z0-9_-]{43}`)

func (l *Language) failed(in *Language, key string, err error) {
	if in == nil {
		in = l
	}
	if report := l.catalogue.report.Load(); report != nil {
		(*report)(&Error{Lang: in.tag, Key: key, Err: err})
	}
}

// say makes a sentence that stands depth inclusions deep; in is the language
// whose text was found.
func (l *Language) say(depth int, key string, args []any) (s string, in *Language, err error) {
	t, in := l.find(key)
	if t == nil {
		return "", nil, ErrNoText
	}
	for {
		s, err := in.make(depth, t, args)
		if err == nil || t.under == nil {
			return s, in, err
		}
		l.failed(in, key, err) // a site's own words have a slip: those of the program are not lost by it
		t = t.under
	}
}

// make makes a sentence of a text of this language.
func (l *Language) make(depth int, t *text, args []any) (s string, err error) {
	switch {
	case t.ready().err != nil:
		return "", t.err
	case t.tree == nil:
		return t.source, nil
	case depth >= deepest:
		return "", fmt.Errorf("%q: texts include each other more than %d deep: one includes itself", t.key, deepest)
	}
	ready, err := l.ready(depth, t)
	if err != nil {
		return "", err
	}
	var data any
	switch {
	case t.positional || len(args) > 1:
		data = args
	case len(args) == 1:
		data = args[0]
	}
	// text/template lets run-time errors of its own through as panics.
	defer func() {
		if r := recover(); r != nil {
			s, err = "", fmt.Errorf("the text failed: %v", r)
		}
	}()
	var out strings.Builder
	if err := ready.Execute(&out, data); err != nil {
		return "", err
	}
	return out.String(), nil
}

func (l *Language) ready(depth int, t *text) (*template.Template, error) {
	at := &l.levels[depth]
	if ready, ok := at.ready.Load(t); ok {
		return ready.(*template.Template), nil
	}
	ready, err := template.New(t.key).Option("missingkey=error").Funcs(at.funcs).AddParseTree(t.key, t.tree)
	if err != nil {
		return nil, err
	}
	at.ready.Store(t, ready)
	return ready, nil
}
