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
	q := r.URL.Query()
	for name := range q { // else the page of now would be taken for that of then
		if name != asOfName && strings.EqualFold(strings.NewReplacer("-", "", "_", "").Replace(name), "asof") {
			return r, refuse(http.StatusBadRequest, "%s", words.T("board.as-of-named", name))
		}
	}
	given := q.Get(asOfName)
	at := p.clockAsked(words, given)
	var err error
	if at.IsZero() {
		at, err = moment(words, given, words.T("board.as-of"))
	}
	if err == nil && at.After(p.site.Clock()) {
		err = refuse(http.StatusBadRequest, "%s", words.T("board.as-of-to-come", words.Time(at)))
	}
	if err != nil || at.IsZero() {
		return r, err
	}
	return r.WithContext(context.WithValue(r.Context(), asOfKey{}, at)), nil
}

// clockAsked reads a time of day alone, as people say one: the last such moment before that of the verdicts. It is zero for
// what is none.
func (p *pages) clockAsked(words *shell.Words, s string) time.Time {
	t, err := time.Parse("15:04", strings.TrimSpace(s))
	if err != nil {
		return time.Time{}
	}
	now, err := site.Answer(p.site, func(v *site.View) (time.Time, error) { return v.Moment(), nil })
	if err != nil {
		return time.Time{}
	}
	y, m, d := now.In(words.Zone()).Date()
	at := time.Date(y, m, d, t.Hour(), t.Minute(), 0, 0, words.Zone())
	if at.After(now) {
		at = time.Date(y, m, d-1, t.Hour(), t.Minute(), 0, 0, words.Zone())
	}
	return at.UTC()
}

// momentAsked reads a moment that somebody searches for, zero for what is none, or is to come.
func (p *pages) momentAsked(words *shell.Words, q string) time.Time {
	at := p.clockAsked(words, q)
	if at.IsZero() {
		var err error
		if at, err = moment(words, q, ""); err != nil || at.After(p.site.Clock()) {
			return time.Time{}
		}
	}
	return at
}

// apiMoment is the moment that a program asks about.
func apiMoment(v url.Values) (time.Time, error) {
	t := v.Get(asOfName)
	if t == "" {
		return time.Time{}, nil
	}
	at, err := time.Parse(time.RFC3339Nano, t)
	if err != nil {
		return at, refuse(http.StatusBadRequest, "as-of %q is not an RFC 3339 time (for example 2026-03-04T07:12:00Z)", t)
	}
	return at.UTC(), nil
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
	"/touched", "/recall", "/report", "/weeks", "/corrections", "/not-seen", "/way", "/api/evidence"}

var (
	anchors = regexp.MustCompile(`<a [^>]*href="(/[^"]*)"[^>]*>`)
	forms   = regexp.MustCompile(`<form [^>]*action="(/[^"]*)"[^>]*>`)
)

// carry has the links and the forms of a page lead to pages as of its own moment. Templates write attributes in double
// quotes, and escape what is in them.
func carry(page []byte, at time.Time) []byte {
	given := rfc3339(at)
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
