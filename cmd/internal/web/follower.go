package web

import (
	"context"
	"errors"
	"fmt"
	"html"
	"net/http"
	"net/url"
	"regexp"
	"strconv"
	"strings"
	"time"

	"listbound/cmd/internal/door"
	"listbound/cmd/internal/refusal"
	"listbound/cmd/internal/shell"
	"listbound/cmd/internal/site"
)

// What a follower says with each answer: of which server it is one, up to which record it answers, and when that was
// recorded; and when it last heard of the ledger. Age is HTTP's own header for how many seconds ago that was.
const (
	headFollows  = "Listbound-Follows"
	headRecord   = "Listbound-Record"
	headRecorded = "Listbound-Recorded"
	headHeard    = "Listbound-Heard"
	headAge      = "Age"
)

// followerMux serves what a follower serves, and says of the rest where it is served. What a page has of forms and links
// that lead there leads to the server that writes.
type followerMux struct {
	mux  *http.ServeMux
	sh   *shell.Shell
	site *site.Site
	door bool // people are asked who they are
}

// Handle implements shell.Mux.
func (f *followerMux) Handle(pattern string, h http.Handler) {
	rule, ok := door.RuleFor(pattern)
	if !ok || !rule.OfFollower() {
		f.mux.HandleFunc(pattern, f.elsewhere)
		return
	}
	f.mux.HandleFunc(pattern, func(w http.ResponseWriter, r *http.Request) {
		p := f.site.Position()
		positionHead(w.Header(), p)
		if p.Asks && !f.door && !rule.Open {
			f.fail(w, r, refusal.WithCode(http.StatusForbidden, "%s", f.sh.Words(r).T("shell.follower-asks")))
			return
		}
		page := &ledPage{ResponseWriter: w}
		h.ServeHTTP(page, r)
		if page.html {
			w.WriteHeader(page.code)
			w.Write(f.lead(page.body, p.Of, r)) // a client that has gone away needs no answer
		}
	})
}

// HandleFunc implements shell.Mux.
func (f *followerMux) HandleFunc(pattern string, h func(http.ResponseWriter, *http.Request)) {
	f.Handle(pattern, http.HandlerFunc(h))
}

func positionHead(h http.Header, p *site.Position) {
	h.Set(headFollows, p.Of)
	h.Set(headRecord, strconv.FormatInt(p.Record, 10))
	if !p.Recorded.IsZero() {
		h.Set(headRecorded, p.Recorded.UTC().Format(time.RFC3339Nano))
	}
	if !p.Heard.IsZero() {
		h.Set(headHeard, p.Heard.UTC().Format(time.RFC3339Nano))
		h.Set(headAge, strconv.Itoa(int(p.Ago/time.Second)))
	}
}

// elsewhere says where that is done which a follower doesn't do.
func (f *followerMux) elsewhere(w http.ResponseWriter, r *http.Request) {
	p := f.site.Position()
	positionHead(w.Header(), p)
	f.fail(w, r, refusal.WithCode(http.StatusForbidden, "%s", f.sh.Words(r).T("shell.follower-elsewhere", p.Of+r.URL.Path)))
}

func (f *followerMux) fail(w http.ResponseWriter, r *http.Request, err error) {
	if strings.HasPrefix(r.URL.Path, apiPrefix) {
		f.sh.FailJSON(w, r, err)
		return
	}
	f.sh.FailText(w, r, err)
}

// ledPage keeps a page that is to be led elsewhere, and lets anything else out as it comes.
type ledPage struct {
	http.ResponseWriter
	begun, html bool
	code        int
	body        []byte
}

func (l *ledPage) WriteHeader(code int) {
	if l.begun {
		return
	}
	l.begun, l.code = true, code
	if l.html = strings.HasPrefix(l.Header().Get("Content-Type"), "text/html"); !l.html {
		l.ResponseWriter.WriteHeader(code)
	}
}

func (l *ledPage) Write(b []byte) (int, error) {
	l.WriteHeader(http.StatusOK)
	if l.html {
		l.body = append(l.body, b...)
		return len(b), nil
	}
	return l.ResponseWriter.Write(b)
}

// Unwrap lets a response controller find what is wrapped.
func (l *ledPage) Unwrap() http.ResponseWriter { return l.ResponseWriter }

var (
	ledTexts = regexp.MustCompile(`>[^<]*sha-256\.[^<]*<`)
	ledLinks = regexp.MustCompile(`<a [^>]*href="(/[^"]*)"`)
	ledForms = regexp.MustCompile(`(?s)<form [^>]*method="post"[^>]*>.*?</form>`)
	formTo   = regexp.MustCompile(`^<form [^>]*action="([^"]*)"`)
)

// lead has the links of a page that a follower doesn't serve lead to the server that writes, and puts a link there in the
// place of forms that record. In its texts, not in its addresses, it says of marks that what they stand for is there. Templates
// write attributes in double quotes, and escape what is in them.
func (f *followerMux) lead(page []byte, of string, r *http.Request) []byte {
	words := f.sh.Words(r)
	page = ledTexts.ReplaceAllFunc(page, func(text []byte) []byte { return []byte(words.Elsewhere(string(text))) })
	page = ledForms.ReplaceAllFunc(page, func(form []byte) []byte {
		if to := formTo.FindSubmatch(form); to != nil && f.serves(http.MethodPost, string(to[1])) {
			return form
		}
		there := html.EscapeString(of + r.URL.RequestURI())
		return fmt.Appendf(nil, `<p class="soft noprint">%s <a href="%s">%s</a></p>`,
			html.EscapeString(words.T("shell.follower-form")), there, html.EscapeString(of))
	})
	return ledLinks.ReplaceAllFunc(page, func(tag []byte) []byte {
		to := string(ledLinks.FindSubmatch(tag)[1])
		if f.serves(http.MethodGet, to) {
			return tag
		}
		return []byte(strings.Replace(string(tag), `href="`, `href="`+html.EscapeString(of), 1))
	})
}

// serves reports whether a follower serves an address as a page has it.
func (f *followerMux) serves(method, to string) bool {
	u, err := url.Parse(html.UnescapeString(to))
	if err != nil {
		return true
	}
	_, pattern := f.mux.Handler(&http.Request{Method: method, URL: &url.URL{Path: u.Path}})
	rule, ok := door.RuleFor(pattern)
	return ok && rule.OfFollower()
}

// copied is what a follower's page says of itself; nil where the ledger is written here.
func copied(s *site.Site, words *shell.Words) *shell.Copied {
	p := s.Position()
	if p == nil {
		return nil
	}
	c := &shell.Copied{Of: p.Of, Lacks: words.T("shell.follower-lacks"),
		Says: words.T("shell.follower", p.Record, words.Time(p.Recorded), words.Time(p.Heard), ago(p.Ago))}
	if p.Two {
		c.Alerts = append(c.Alerts, words.T("shell.follower-two"))
	}
	var refused *url.Error // the server can't be reached: nothing was refused
	if p.Why != nil && !errors.As(p.Why, &refused) && !errors.Is(p.Why, context.DeadlineExceeded) {
		c.Alerts = append(c.Alerts, words.T("shell.follower-refused", p.Why.Error()))
	}
	if p.Silent {
		c.Alerts = append(c.Alerts, words.T("shell.follower-silent", ago(p.Ago), words.Time(p.Heard)))
	}
	return c
}

// ago writes a span of time shortly, in units that all languages here have.
func ago(d time.Duration) string {
	const few = 2
	switch {
	case d < few*time.Minute:
		return fmt.Sprintf("%d s", d/time.Second)
	case d < few*time.Hour:
		return fmt.Sprintf("%d min", d/time.Minute)
	}
	return fmt.Sprintf("%d h", d/time.Hour)
}
