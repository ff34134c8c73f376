package web

import (
	"cmp"
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
	"listbound/ledger"
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
	if why := Unheard(words.T, p); why != "" {
		c.Alerts = append(c.Alerts, why)
	}
	switch {
	case !p.Silent:
	case p.Unheard.Refused():
		c.Alerts = append(c.Alerts, words.T("shell.follower-stopped", ago(p.Ago), words.Time(p.Heard)))
	case p.Unheard == site.UnheardTaking:
		c.Alerts = append(c.Alerts, words.T("shell.follower-taking", words.Time(p.Heard)))
	default:
		c.Alerts = append(c.Alerts, words.T("shell.follower-silent", ago(p.Ago), words.Time(p.Heard)))
	}
	return c
}

// Unheard says why nothing is heard of a ledger, "" while there is nothing to say of that. t says a text, as a page's words do.
func Unheard(t func(key string, args ...any) string, p *site.Position) string {
	var asked site.LogError
	if found, ok := errors.AsType[*site.LogError](p.Why); ok {
		asked = *found
	}
	switch p.Unheard {
	case "":
		return ""
	case site.UnheardAway:
		return t("shell.unheard-away", p.Of, asked.Says)
	case site.UnheardCertificate:
		return t("shell.unheard-certificate", p.Of, asked.Says)
	case site.UnheardBarred:
		return t("shell.unheard-barred", p.Of, asked.Says)
	case site.UnheardAnswer:
		return t("shell.unheard-answer", p.Of, cmp.Or(asked.Says, "404 Not Found"))
	case site.UnheardKey:
		return t("shell.unheard-key", p.Of)
	case site.UnheardTwo:
		return t("shell.unheard-two", p.Of)
	case site.UnheardBehind:
		return t("shell.unheard-behind", p.Of)
	case site.UnheardTaking:
		return t("shell.unheard-taking", p.Of)
	case site.UnheardBack:
		if back, ok := errors.AsType[*ledger.WentBackError](p.Why); ok {
			return t("shell.unheard-back", p.Of, back.Shown, back.Taken)
		}
	case site.UnheardChanged:
		if changed, ok := errors.AsType[*ledger.ChangedError](p.Why); ok {
			return t("shell.unheard-changed", p.Of, changed.Seq)
		}
	case site.UnheardHere:
	}
	return t("shell.unheard-here", p.Of, p.Why.Error())
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
