// Package words makes sentences from catalogues that a translator can edit: one
// JSON file per language, named by its language tag (en.json, de.json). A new
// language is a new file. English is the reference: what another language
// lacks is said in English, entry by entry.
//
// # Entries
//
// A file maps keys to texts. A text is a string, or an array of strings that
// are joined as they stand, so that a long sentence can be edited line by line:
//
//	{
//	  "sheet-missing": "No sheet was found with {0}.",
//	  "lines-differ": [
//	    "{{num .N}} {{plural .N \"one\" \"line differs\" \"other\" \"lines differ\"}}",
//	    " since {{time .Since}}."
//	  ]
//	}
//
// A text takes either positional values, {0} {1} and so on, or one struct or
// map, whose fields are {{.Set}}, {{.Since}} as in text/template; conditions,
// ranges and variables are those of text/template too. Inside an action {0} is
// the value itself: {{plural {0} "one" "{0} line" "other" "{0} lines"}}.
//
// # Functions
//
//	plural N "one" "…" "other" "…"   the text for N by the language's CLDR rules; other is what the rest gets
//	num N             a number with the language's digits and grouping
//	kg GRAMS          a weight in kilograms with two decimals, without the unit
//	weight GRAMS      a weight in the place's unit, with it
//	abs N             N without its sign
//	time T            date and time; day T, the date; clock T, the time of day
//	date "key" T      T by the layout in another entry
//	sameDay T U       reports whether both fall on one day
//	sameMinute T U    reports whether both fall in one minute
//	duration D        a duration to the second
//	list VALUES       the values with the language's commas and "and"
//	join "; " VALUES  the values with a separator between them
//	first N VALUES    the first N of them; beyond N VALUES is how many are left out
//	next VALUES I     the value after the one at I, the first after the last
//	say "key" …       another entry, said of the values that follow
//	each "key" VALUES another entry, said of each value: a list of texts for list and join
//	name "prefix-" X  the entry prefix-X, or X itself where there is none
//	has "key"         reports whether there is such an entry
//
// Times are shown in the reader's zone, which is UTC unless [Language.InZone]
// says otherwise.
//
// # Formats
//
// How a language writes lists, dates and durations stands in entries whose keys
// begin with "format."; its own name is the entry "language.name". This package
// has them for English and German (folder common); a catalogue may have its own.
// A duration is written of .Days and .DayHours, or of .Hours alone, .Minutes and
// .Seconds. A layout is a reference time as in package time; month names come from
// format.months and format.months-short.
package words

import (
	"cmp"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"math"
	"path"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"text/template"
	"time"

	"github.com/go-json-experiment/json"
	"golang.org/x/text/language"
)

//go:embed common
var commonFiles embed.FS

// Reference is the language that every other one is compared with and that is
// spoken where another lacks an entry.
const Reference = "en"

// ErrNoText is wrapped by the error about a key that has no text.
var ErrNoText = errors.New("there is no text for this key")

// Error is what went wrong while a sentence was made.
type Error struct {
	Lang, Key string
	Err       error
}

func (e *Error) Error() string { return fmt.Sprintf("words of %s: %s: %v", e.Lang, e.Key, e.Err) }

func (e *Error) Unwrap() error { return e.Err }

// Catalogue has the texts of all languages. It is safe for concurrent use.
type Catalogue struct {
	own       map[string]table // by language
	common    map[string]table
	languages map[string]*Language
	matcher   language.Matcher
	tags      []string // in the matcher's order
	local     Local
	report    atomic.Pointer[func(error)]
	elsewhere atomic.Pointer[func(mark string) bool]
}

// Load reads the texts of every language that has a file in a folder.
func Load(fsys fs.FS, dir string) (*Catalogue, error) {
	common, err := load(commonFiles, "common")
	if err != nil {
		return nil, err
	}
	own, err := load(fsys, dir)
	if err != nil {
		return nil, err
	}
	return build(own, common, Local{}), nil
}

// Merge layers catalogues: of a key that several have, the text of the last
// counts that can be said. Their languages are taken together.
func Merge(catalogues ...*Catalogue) *Catalogue {
	own, common := make(map[string]table), make(map[string]table)
	for _, c := range catalogues {
		layer(own, c.own)
		layer(common, c.common)
	}
	return build(own, common, Local{})
}

// Local is how a place writes what a record has in UTC and grams.
type Local struct {
	Zone   *time.Location // UTC where it is nil
	Pounds bool           // weights in pounds, not kilograms
}

// gramsPerPound is the international pound's exact value (agreement of 1959).
const gramsPerPound = 453.59237

// Grams returns how many whole grams a weight in pounds is.
func Grams(pounds float64) int64 { return int64(math.Round(pounds * gramsPerPound)) }

// For returns the same texts with times and weights as a place writes them.
func (c *Catalogue) For(local Local) *Catalogue {
	out := build(c.own, c.common, local)
	if report := c.report.Load(); report != nil {
		out.report.Store(report)
	}
	if elsewhere := c.elsewhere.Load(); elsewhere != nil {
		out.elsewhere.Store(elsewhere)
	}
	return out
}

// Local tells how times and weights are written.
func (c *Catalogue) Local() Local { return c.local }

// table is the texts of a language by their keys. Those of the program's files are read when the first is asked for: most
// commands say nothing, or speak one language.
type table func() map[string]*text

func (t table) texts() map[string]*text {
	if t == nil {
		return nil
	}
	return t()
}

func layer(to, from map[string]table) {
	for tag, over := range from {
		under := to[tag]
		if under == nil {
			to[tag] = over
			continue
		}
		to[tag] = sync.OnceValue(func() map[string]*text {
			both := maps.Clone(under())
			for key, t := range over() {
				if had := both[key]; had != nil {
					t = t.over(had)
				}
				both[key] = t
			}
			return both
		})
	}
}

func build(own, common map[string]table, local Local) *Catalogue {
	if local.Zone == nil {
		local.Zone = time.UTC
	}
	c := &Catalogue{own: own, common: common, local: local, languages: make(map[string]*Language)}
	english := newLanguage(c, Reference, nil, local.Zone)
	c.languages[Reference] = english
	for tag := range own {
		if tag != Reference {
			c.languages[tag] = newLanguage(c, tag, english, local.Zone)
		}
	}
	// English first: it is what a reader gets whose languages are not spoken.
	c.tags = slices.SortedFunc(maps.Keys(c.languages), func(a, b string) int {
		return cmp.Or(cmp.Compare(rank(a), rank(b)), cmp.Compare(a, b))
	})
	tags := make([]language.Tag, len(c.tags))
	for i, tag := range c.tags {
		tags[i] = c.languages[tag].lang
	}
	c.matcher = language.NewMatcher(tags)
	return c
}

func rank(tag string) int {
	if tag == Reference {
		return 0
	}
	return 1
}

func load(fsys fs.FS, dir string) (map[string]table, error) {
	program, ok := fsys.(embed.FS)
	if !ok {
		return read(fsys, dir)
	}
	key := embeddedIn{program, dir}
	if had, ok := programTexts.Load(key); ok {
		return had.(map[string]table), nil
	}
	texts, err := read(fsys, dir)
	if err == nil {
		programTexts.Store(key, texts)
	}
	return texts, err
}

// programTexts are the texts of files that are part of the program, by their embeddedIn: they can't change while it runs, so
// they are read once, and each of them parsed once, however many catalogues are made of them. Nobody changes these maps.
var programTexts sync.Map

type embeddedIn struct {
	files embed.FS
	dir   string
}

func read(fsys fs.FS, dir string) (map[string]table, error) {
	files, err := fs.Glob(fsys, path.Join(dir, "*.json"))
	if err != nil {
		return nil, fmt.Errorf("words: %w", err)
	}
	_, program := fsys.(embed.FS)
	out, funcs := make(map[string]table, len(files)), (&Language{}).functions(0)
	for _, file := range files {
		tag := strings.TrimSuffix(path.Base(file), ".json")
		if _, err := language.Parse(tag); err != nil {
			return nil, fmt.Errorf("words: the file %s is not named by a language tag such as de or pt-BR: %w", file, err)
		}
		texts := sync.OnceValues(func() (map[string]*text, error) { return readFile(fsys, file, funcs) })
		if !program { // somebody's work, who must hear what is wrong with it
			if _, err := texts(); err != nil {
				return nil, err
			}
		}
		out[tag] = func() map[string]*text {
			had, err := texts()
			if err != nil {
				panic(err) // the program is built wrong
			}
			return had
		}
	}
	return out, nil
}

func readFile(fsys fs.FS, file string, funcs template.FuncMap) (map[string]*text, error) {
	raw, err := fs.ReadFile(fsys, file)
	if err != nil {
		return nil, fmt.Errorf("words: %w", err)
	}
	var sources map[string]source
	if err := json.Unmarshal(raw, &sources); err != nil {
		return nil, fmt.Errorf("words: %s: %w", file, err)
	}
	texts := make(map[string]*text, len(sources))
	for key, src := range sources {
		texts[key] = &text{key: key, source: string(src), funcs: funcs}
	}
	return texts, nil
}

// Formats lists the keys of what this package itself says and how a language
// writes: its name, dates, lists. What a language lacks is written as in English.
func Formats() []string {
	common, err := load(commonFiles, "common")
	if err != nil {
		return nil // Load says so
	}
	return slices.Sorted(maps.Keys(common[Reference].texts()))
}

// Languages lists the tags of the languages, English first.
func (c *Catalogue) Languages() []string { return slices.Clone(c.tags) }

// Find returns the language for a tag such as "de" or "de-AT", and reports
// whether there is one.
func (c *Catalogue) Find(tag string) (*Language, bool) {
	if l := c.languages[tag]; l != nil {
		return l, true
	}
	want, err := language.Parse(tag)
	if err != nil {
		return nil, false
	}
	_, i, near := c.matcher.Match(want)
	found := c.languages[c.tags[i]]
	asked, _ := want.Base()
	if base, _ := found.lang.Base(); near < language.High || base != asked {
		return nil, false // another language, which its speakers may know
	}
	return found, true
}

// In returns the language for a tag, English where there is none.
func (c *Catalogue) In(tag string) *Language {
	if l, ok := c.Find(tag); ok {
		return l
	}
	return c.languages[Reference]
}

// Match returns the language that suits a reader best, by the value of an
// Accept-Language header.
func (c *Catalogue) Match(accept string) *Language {
	// What a browser got wrong, or a language that nobody has heard of, is no reason to pass over the others.
	var known []string
	for part := range strings.SplitSeq(accept, ",") {
		if _, _, err := language.ParseAcceptLanguage(part); err == nil {
			known = append(known, part)
		}
	}
	want, _, err := language.ParseAcceptLanguage(strings.Join(known, ","))
	if err != nil {
		return c.languages[Reference]
	}
	_, i, _ := c.matcher.Match(want...)
	return c.languages[c.tags[i]]
}

// OnError has report called with an [*Error] whenever a text fails or is missing
// in English too. It is called from whatever goroutine makes the sentence.
func (c *Catalogue) OnError(report func(error)) { c.report.Store(&report) }

// Elsewhere has texts told as being elsewhere, not as redacted, of whose marks that is so.
func (c *Catalogue) Elsewhere(is func(mark string) bool) { c.elsewhere.Store(&is) }
