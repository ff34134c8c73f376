package board

import (
	"context"
	"html"
	"net/http"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"time"

	"listbound/cmd/internal/shell"
	"listbound/cmd/internal/site"
)

// As known at a moment: every page that says what is found takes ?as-of=, and is then made of a read model of the records
// that had arrived by that moment (site.AskAt). It says so in its first line, and all its links lead to pages as of the same
// moment, until somebody goes back to now.

// asOfName is the parameter.
const asOfName = "as-of"

type asOfKey struct{}

// asOf is the moment that a page is asked about; zero for now.
func asOf(r *http.Request) time.Time {
	at, _ := r.Context().Value(asOfKey{}).(time.Time)
	return at
}

// atMoment reads the moment that a page is asked about.
func (p *pages) atMoment(r *http.Request, words *shell.Words) (*http.Request, error) {
	at, err := p.site.ReadMoment(r.URL.Query().Get(asOfName))
	if err == nil && at.After(p.site.Clock()) {
		err = refuse(http.StatusBadRequest, "%s", words.T("board.as-of-to-come", words.Time(at)))
	}
	if err != nil || at.IsZero() {
		return r, err
	}
	return r.WithContext(context.WithValue(r.Context(), asOfKey{}, at)), nil
}

// momentAsked reads a moment that somebody searches for, zero for what is none, or is to come.
func (p *pages) momentAsked(q string) time.Time {
	at, err := p.site.ReadMoment(q)
	if err != nil || at.After(p.site.Clock()) {
		return time.Time{}
	}
	return at
}

// ask asks what was known at the moment that a page is asked about.
func (p *pages) ask(r *http.Request, question func(*site.View) error) error {
	return p.site.AskAt(r.Context(), asOf(r), question)
}

// now is that moment.
func (p *pages) now(r *http.Request) time.Time {
	if at := asOf(r); !at.IsZero() {
		return at
	}
	return p.site.Clock()
}

// known is what the head of a page says of its moment, and the form that sets it.
func (p *pages) known(r *http.Request, words *shell.Words, at time.Time, own bool) *shell.Known {
	v := r.URL.Query()
	for _, name := range []string{asOfName, "then", "part", "format", "table", "after", "lang"} {
		v.Del(name)
	}
	k := &shell.Known{Path: r.URL.Path, Params: v, Now: address(r.URL.Path, v), Own: own}
	if !at.IsZero() {
		k.At, k.Field = words.Time(at), stamp(words, at)
	}
	return k
}

// known pages take a moment. The rest are about now: what is to be done, and what is in force.
var knownPages = []string{"/", "/incident", "/day", "/near-misses", "/rates", "/run", "/find", "/history", "/station", "/badge",
	"/touched", "/recall", "/report", "/policy", "/weeks", "/corrections", "/not-seen", "/way", "/api/evidence"}

// TakesAsOf reports whether the page at an address can be asked about a moment.
func TakesAsOf(path string) bool { return slices.Contains(knownPages, path) }

// acts are links to where something is recorded or printed for now; a page as of then has none of them.
var acts = regexp.MustCompile(`(?s)<a [^>]*href="/(?:acknowledge|correct|assess|print/)[^>]*>.*?</a>`)

// actText is what stands in one.
var actText = regexp.MustCompile(`(?s)^<a [^>]*>(.*)</a>$`)

var (
	anchors = regexp.MustCompile(`<a [^>]*href="(/[^"]*)"[^>]*>`)
	forms   = regexp.MustCompile(`<form [^>]*action="(/[^"]*)"[^>]*>`)
)

// carry has the links and the forms of a page lead to pages as of its own moment. Templates write attributes in double
// quotes, and escape what is in them.
func carry(page []byte, at time.Time) []byte {
	given := rfc3339(at)
	page = acts.ReplaceAllFunc(page, func(link []byte) []byte {
		if strings.Contains(string(link), `href="/correct`) { // the word stays: it is a kind, or a record's number
			return actText.FindSubmatch(link)[1]
		}
		return nil
	})
	page = anchors.ReplaceAllFunc(page, func(tag []byte) []byte {
		to := string(anchors.FindSubmatch(tag)[1])
		u, err := url.Parse(html.UnescapeString(to))
		if err != nil || strings.Contains(string(tag), "data-now") || !slices.Contains(knownPages, u.Path) || u.Query().Has(asOfName) {
			return tag
		}
		q := u.Query()
		q.Set(asOfName, given)
		u.RawQuery = q.Encode()
		return []byte(strings.Replace(string(tag), `href="`+to+`"`, `href="`+html.EscapeString(u.String())+`"`, 1))
	})
	return forms.ReplaceAllFunc(page, func(tag []byte) []byte {
		to := string(forms.FindSubmatch(tag)[1])
		if strings.Contains(string(tag), "data-now") || strings.Contains(string(tag), `method="post"`) || !slices.Contains(knownPages, to) {
			return tag
		}
		return []byte(string(tag) + `<input type="hidden" name="` + asOfName + `" value="` + given + `">`) // tag is a part of the page
	})
}
