package door

import (
	"maps"
	"mime"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"listbound/cmd/internal/refusal"
)

// Before what can't be taken back, and before somebody else is let in, whoever has signed in shows once more who they are:
// somebody who comes by a screen that was left open has its session, and no password.

// proofField holds the password in the form that is sent once more.
const proofField = "password-again"

type againBody struct {
	Problem  string
	Password bool   // the person has one
	OpenID   string // what people call the sign-in elsewhere, "" for none
	Next     string // where that leads back to
	Action   string
	Form     []field // what was entered, to be sent with the password
}

type field struct{ Name, Value string }

// proved reports whether a person has shown lately who they are, or does so with this request. Else it has answered: with
// a page that asks for the password and keeps what was entered, or with a refusal where no page is.
func (d *Door) proved(w http.ResponseWriter, r *http.Request, v *visitor) bool {
	if v.session == nil || d.sessions.provedLately(v.session) {
		return true
	}
	kind, _, _ := mime.ParseMediaType(r.Header.Get("Content-Type"))
	if strings.HasPrefix(r.URL.Path, "/api/") || kind != "application/x-www-form-urlencoded" {
		d.refuse(w, r, v, WhyAgain)
		return false
	}
	const most = 1 << 20
	r.Body = http.MaxBytesReader(w, r.Body, most)
	if err := r.ParseForm(); err != nil {
		d.sh.FailText(w, r, refusal.Because(err))
		return false
	}
	password := r.PostForm.Get(proofField)
	r.PostForm.Del(proofField)
	r.Form.Del(proofField)
	status, problem := http.StatusUnauthorized, ""
	if password != "" {
		if status, problem = d.provesBy(w, r, v, password); status == http.StatusOK {
			return true
		}
	}
	d.askAgain(w, r, v, status, problem)
	return false
}

// provesBy holds a password against a person's, as at a sign-in from the desk where they are.
func (d *Door) provesBy(w http.ResponseWriter, r *http.Request, v *visitor, password string) (status int, problem string) {
	address := addressOf(r)
	account := atDesk(v.person.Login, address)
	if wait := d.limits.begin(byAddress(address), account); wait > 0 {
		return http.StatusTooManyRequests, d.wait(w, r, wait)
	}
	right, err := d.check(r.Context(), v.person, password)
	switch {
	case err != nil:
		said := d.sh.PageAnswer(r, err)
		return said.Code, said.Text
	case !right:
		d.watch.Refused(r, WhyPassword, v.who())
		return http.StatusUnauthorized, d.sh.Words(r).T("door.again-wrong")
	}
	d.limits.succeed(byAddress(address), account)
	d.sessions.prove(v.session, d.o.Clock())
	return http.StatusOK, ""
}

func (d *Door) askAgain(w http.ResponseWriter, r *http.Request, v *visitor, status int, problem string) {
	b := againBody{Problem: problem, Password: v.person.Password != "", Action: r.URL.RequestURI()}
	if d.openID != nil && v.person.Subject != "" {
		b.OpenID = d.openID.set.Name
		if page, err := url.Parse(r.Referer()); err == nil && page.Host == r.Host {
			b.Next = ownPath(page.RequestURI())
		}
	}
	for _, name := range slices.Sorted(maps.Keys(r.PostForm)) {
		for _, value := range r.PostForm[name] {
			b.Form = append(b.Form, field{name, value})
		}
	}
	d.render(w, r, status, "again", "door.again", b)
}
