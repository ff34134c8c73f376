package door

import (
	"context"
	"embed"
	"errors"
	"html/template"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"

	"listbound/cmd/internal/refusal"
	"listbound/cmd/internal/shell"
	"listbound/cmd/internal/site"
)

//go:embed templates
var templateFiles embed.FS

// Register adds the door's own pages: to sign in, to use a code, people and tokens, who read what, and how a
// station comes to trust the server.
func (d *Door) Register(mux shell.Mux) error {
	var err error
	d.tmpl, err = d.sh.Templates(templateFiles, template.FuncMap{
		"has": slices.Contains[[]Role], "roles": Roles, "personal": personal,
		"zone": func() string { return d.site.Zone().String() },
	}, "templates/*.html")
	if err != nil {
		return err
	}
	mux.HandleFunc("GET /sign-in", func(w http.ResponseWriter, r *http.Request) {
		d.signInPage(w, r, http.StatusOK, signIn{Next: r.URL.Query().Get("next")})
	})
	mux.HandleFunc("POST /sign-in", d.signIn)
	mux.HandleFunc("POST /sign-out", d.signOut)
	mux.HandleFunc("POST /password", d.setPassword)
	mux.HandleFunc("POST /sessions/end", d.endOwnSession)
	mux.HandleFunc("GET /code", func(w http.ResponseWriter, r *http.Request) {
		d.codePage(w, r, http.StatusOK, codeForm{Station: r.URL.Query().Get("for") == "station",
			Screen: r.URL.Query().Get("for") == "screen"})
	})
	mux.HandleFunc("POST /code", d.useCode)
	mux.HandleFunc("POST /station-code", d.useStationCode)
	mux.HandleFunc("POST /screen-code", d.useScreenCode)
	d.registerOpenID(mux)
	d.registerPeople(mux)
	d.registerPins(mux)
	d.registerTrust(mux)
	return nil
}

type signIn struct {
	Problem string
	Done    string
	Next    string
	Login   string
	Name    string // of who is signed in, "" for nobody
	Station string // at which this browser stands
	First   bool   // nobody can sign in yet
	OpenID  string // what people call the sign-in elsewhere, "" for none

	Sessions []Session // of who is signed in
}

func (d *Door) render(w http.ResponseWriter, r *http.Request, status int, name, title string, body any) {
	d.sh.Render(w, r, status, d.tmpl, name, shell.Page{
		Title: d.sh.Words(r).T(title), Styles: []string{"/workplace/workplace.css"}, Body: body,
	})
}

func (d *Door) signInPage(w http.ResponseWriter, r *http.Request, status int, s signIn) {
	v := d.visitorOf(r)
	if v.person != nil {
		s.Name = v.person.Name
		s.Sessions = d.sessions.of(v.person, v.session)
	}
	if v.token == nil {
		s.Station = v.station
	}
	s.First = !d.HasAdministrator()
	if d.openID != nil {
		s.OpenID = d.openID.set.Name
	}
	d.render(w, r, status, "sign-in", "door.sign-in", s)
}

// ownPath keeps where to go on to this server: an address that somebody sent must not lead elsewhere.
func ownPath(next string) string {
	u, err := url.Parse(next)
	if err != nil || u.Host != "" || u.Scheme != "" || !strings.HasPrefix(next, "/") || strings.HasPrefix(next, "//") ||
		strings.ContainsAny(next, "\\\r\n\t") {
		return ""
	}
	return next
}

// home is the first page that somebody may see.
func home(p *Person) string {
	if slices.ContainsFunc(readers, func(r Role) bool { return slices.Contains(p.Roles, r) }) {
		return "/"
	}
	return "/people"
}

// wait says how long until the next try.
func (d *Door) wait(w http.ResponseWriter, r *http.Request, wait time.Duration) string {
	d.watch.Refused(r, WhyTooMany, d.visitorOf(r).who())
	seconds := int(wait/time.Second) + 1
	w.Header().Set("Retry-After", strconv.Itoa(seconds))
	return d.sh.Words(r).T("door.wait", seconds)
}

// signIn lets a person in by name and password. What is wrong of the two is not said.
func (d *Door) signIn(w http.ResponseWriter, r *http.Request) {
	login, address := readLogin(r.PostFormValue("login")), addressOf(r)
	s := signIn{Next: ownPath(r.PostFormValue("next")), Login: login}
	if !goodLogin(login) {
		login = "" // nobody's, and no name for a count of its own
	}
	p := d.books.read().byLogin(login)
	account := byAccount(login)
	if p != nil && slices.Contains(p.Desks, address) {
		account = atDesk(login, address)
	}
	if wait := d.limits.begin(byAddress(address), account); wait > 0 {
		s.Problem = d.wait(w, r, wait)
		d.signInPage(w, r, http.StatusTooManyRequests, s)
		return
	}
	right, err := d.check(r.Context(), p, r.PostFormValue("password"))
	if err != nil {
		d.sh.FailText(w, r, err)
		return
	}
	if !right {
		d.watch.Refused(r, WhyPassword, "nobody")
		s.Problem = d.sh.Words(r).T("door.wrong")
		d.signInPage(w, r, http.StatusUnauthorized, s)
		return
	}
	d.limits.succeed(byAddress(address), account)
	d.enter(w, r, p, address, d.o.Clock())
	if s.Next == "" {
		s.Next = home(p)
	}
	http.Redirect(w, r, s.Next, http.StatusSeeOther)
}

// alone waits until few enough passwords are being checked, so that memory does not run out.
func (d *Door) alone(ctx context.Context) (end func(), err error) {
	const patience = 10 * time.Second
	ctx, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	select {
	case d.hashing <- struct{}{}:
		return func() { <-d.hashing }, nil
	case <-ctx.Done():
		return nil, refusal.WithCode(http.StatusServiceUnavailable, "too many people sign in at once; try again in a minute")
	}
}

func (d *Door) hash(ctx context.Context, password string) (string, error) {
	end, err := d.alone(ctx)
	if err != nil {
		return "", err
	}
	defer end()
	return hashPassword(password, d.o.Cost), nil
}

// check takes as long for a name that nobody has.
func (d *Door) check(ctx context.Context, p *Person, password string) (bool, error) {
	end, err := d.alone(ctx)
	if err != nil {
		return false, err
	}
	defer end()
	kept := d.nobody
	if p != nil && p.Password != "" {
		kept = p.Password
	}
	if len(password) > longestPassword {
		password = ""
	}
	return checkPassword(password, kept) && p != nil, nil
}

// enter opens a session for a person as they were when the password was checked: where it was changed meanwhile, the session
// is none. It ends the one that the browser had, and remembers the desk. proved is when the person showed who they are.
func (d *Door) enter(w http.ResponseWriter, r *http.Request, p *Person, address string, proved time.Time) {
	person := p.ID
	d.sessions.end(cookie(r, sessionCookie))
	if len(p.Desks) == 0 || p.Desks[0] != address {
		d.noted(d.books.change(func(b *book) error {
			const most = 8
			if p := b.byID(person); p != nil {
				p.Desks = slices.DeleteFunc(p.Desks, func(a string) bool { return a == address })
				p.Desks = slices.Insert(p.Desks, 0, address)
				p.Desks = p.Desks[:min(len(p.Desks), most)]
			}
			return nil
		}))
	}
	setCookie(w, r, sessionCookie, d.sessions.begin(p, address, proved), 0)
	d.keepRead(r, &visitor{person: p}, "signed-in")
}

// signOut ends the session at the server, whatever the browser keeps.
func (d *Door) signOut(w http.ResponseWriter, r *http.Request) {
	d.sessions.end(cookie(r, sessionCookie))
	setCookie(w, r, sessionCookie, "", 0)
	http.Redirect(w, r, "/sign-in", http.StatusSeeOther)
}

// endOwnSession ends one of the person's who is signed in, wherever it was begun.
func (d *Door) endOwnSession(w http.ResponseWriter, r *http.Request) {
	v := from(r.Context())
	words := d.sh.Words(r)
	if v.person == nil || !d.sessions.endOne(v.person.ID, r.PostFormValue("id")) {
		d.signInPage(w, r, http.StatusUnprocessableEntity, signIn{Problem: words.T("door.no-such")})
		return
	}
	d.signInPage(w, r, http.StatusOK, signIn{Done: words.T("door.done")})
}

// setPassword gives the person who is signed in a new password. Other sessions of theirs end.
func (d *Door) setPassword(w http.ResponseWriter, r *http.Request) {
	p := from(r.Context()).person
	words := d.sh.Words(r)
	if p == nil {
		d.refuse(w, r, from(r.Context()), WhyNobody)
		return
	}
	address := addressOf(r)
	account := atDesk(p.Login, address)
	if wait := d.limits.begin(byAddress(address), account); wait > 0 {
		d.signInPage(w, r, http.StatusTooManyRequests, signIn{Problem: d.wait(w, r, wait)})
		return
	}
	right, err := d.check(r.Context(), p, r.PostFormValue("old"))
	if err != nil {
		d.sh.FailText(w, r, err)
		return
	}
	if !right {
		d.watch.Refused(r, WhyPassword, from(r.Context()).who())
		d.signInPage(w, r, http.StatusUnprocessableEntity, signIn{Problem: words.T("door.wrong")})
		return
	}
	d.limits.succeed(byAddress(address), account)
	password := r.PostFormValue("password")
	if problem := passwordProblem(words, password, r.PostFormValue("again"), p.Login, p.Name); problem != "" {
		d.signInPage(w, r, http.StatusUnprocessableEntity, signIn{Problem: problem})
		return
	}
	now, err := d.keepPassword(r.Context(), p.ID, password)
	if err != nil {
		d.sh.FailText(w, r, err)
		return
	}
	d.enter(w, r, now, address, d.o.Clock())
	http.Redirect(w, r, home(p), http.StatusSeeOther)
}

func (d *Door) keepPassword(ctx context.Context, person, password string) (*Person, error) {
	kept, err := d.hash(ctx, password)
	if err != nil {
		return nil, err
	}
	now := d.o.Clock().UTC()
	var out Person
	err = d.books.change(func(b *book) error {
		p := b.byID(person)
		if p == nil {
			return refusal.WithCode(http.StatusUnauthorized, "this account has ended")
		}
		p.Password, p.Since = kept, now
		out = *p
		b.changed(now, "person "+person, "password", "person "+person, "")
		return nil
	})
	if err == nil {
		d.sessions.endOf(person)
	}
	return &out, err
}

type codeForm struct {
	Problem string
	Login   string
	Station bool // a browser comes to a station
	Screen  bool // a browser becomes a wall screen
	Without bool // it can't make a key, and may come without
	Code    string
}

func (d *Door) codePage(w http.ResponseWriter, r *http.Request, status int, c codeForm) {
	d.render(w, r, status, "code", "door.code", c)
}

// useCode sets the password of a person by a one-time code, or makes an administrator.
func (d *Door) useCode(w http.ResponseWriter, r *http.Request) {
	words, address := d.sh.Words(r), addressOf(r)
	login := readLogin(r.PostFormValue("login"))
	form := codeForm{Login: login}
	fail := func(status int, problem string) {
		form.Problem = problem
		d.codePage(w, r, status, form)
	}
	if !goodLogin(login) {
		fail(http.StatusUnprocessableEntity, words.T("door.login-form"))
		return
	}
	password := r.PostFormValue("password")
	if problem := passwordProblem(words, password, r.PostFormValue("again"), login); problem != "" {
		fail(http.StatusUnprocessableEntity, problem)
		return
	}
	if wait := d.limits.begin(codeFrom(address)); wait > 0 {
		fail(http.StatusTooManyRequests, d.wait(w, r, wait))
		return
	}
	now := d.o.Clock().UTC()
	typed := r.PostFormValue("code")
	// What is not good now will not be good in a moment, and a password is dear to hash.
	good := func(b *book) func(*code) bool {
		p := b.byLogin(login)
		return func(c *code) bool { return c.administrators() || p != nil && c.Person == p.ID }
	}
	var person Person
	err := errNoCode
	if b := d.books.read(); b.hasCode(typed, now, good(b)) {
		var kept string
		if kept, err = d.hash(r.Context(), password); err == nil {
			err = d.books.change(func(b *book) error {
				c, ok := b.takeCode(typed, now, good(b))
				if !ok {
					return errNoCode
				}
				p := b.admit(c, login, now)
				p.Password, p.Since = kept, now
				b.changed(now, "person "+p.ID, "password", "person "+p.ID, "")
				person = *p
				return nil
			})
		}
	}
	switch {
	case errors.Is(err, errNoCode):
		d.watch.Refused(r, WhyCode, "nobody")
		fail(http.StatusUnauthorized, words.T("door.code-wrong"))
		return
	case err != nil:
		d.sh.FailText(w, r, err)
		return
	}
	d.limits.succeed(codeFrom(address))
	d.sessions.endOf(person.ID)
	d.enter(w, r, &person, address, now)
	http.Redirect(w, r, home(&person), http.StatusSeeOther)
}

// admit returns whom a code lets in: its person, or an administrator, who is made where the name is nobody's.
func (b *book) admit(c code, login string, now time.Time) *Person {
	p := b.byLogin(login)
	if c.Person != "" {
		return p // takeCode has compared the two
	}
	if p == nil {
		b.People = append(b.People, Person{ID: newID(), Login: login, Name: login, Made: now})
		p = &b.People[len(b.People)-1]
	}
	if !slices.Contains(p.Roles, Administers) {
		p.Roles = append(p.Roles, Administers)
	}
	b.changed(now, "server", "administrator", "person "+p.ID, "")
	return p
}

var errNoCode = errors.New("no such code")

// useStationCode brings a browser to a station. Where the code says so, the browser has made a key, and is from now on the
// one that signs for the station; one that can't is told why, and may come without: the code is still good then.
func (d *Door) useStationCode(w http.ResponseWriter, r *http.Request) {
	words, address := d.sh.Words(r), addressOf(r)
	if wait := d.limits.begin(codeFrom(address)); wait > 0 {
		d.codePage(w, r, http.StatusTooManyRequests, codeForm{Station: true, Problem: d.wait(w, r, wait)})
		return
	}
	now := d.o.Clock().UTC()
	given, old := secret(), digest(cookie(r, stationCookie))
	public, without := r.PostFormValue("key"), r.PostFormValue("without") != ""
	var c code
	var key string
	err := d.books.change(func(b *book) (err error) {
		var ok bool
		if c, ok = b.takeCode(r.PostFormValue("code"), now, func(c *code) bool { return c.Station != "" }); !ok {
			return errNoCode
		}
		if c.Own = c.Own && !without; c.Own {
			if key, err = site.StationKey(c.Station, public); err != nil {
				return errNoKey
			}
		}
		for i := range b.Browsers {
			if x := &b.Browsers[i]; x.Digest == old && x.Ended.IsZero() {
				x.Ended = now // it stands at one station at a time
			}
		}
		x := Browser{ID: newID(), Digest: digest(given), Station: c.Station, By: c.By, Made: now, Used: now, Own: c.Own}
		b.Browsers = append(b.Browsers, x)
		b.changed(now, c.By, "browser", "browser "+x.ID, c.Station)
		return nil
	})
	if err == nil && c.Own {
		_, err = d.site.Enrol(r.Context(), c.Station, key, "signs for itself: a browser's key, by a code of "+c.By)
	}
	switch {
	case errors.Is(err, errNoKey):
		d.limits.succeed(codeFrom(address))
		why := "old"
		if r.PostFormValue("why") == "insecure" {
			why = "insecure"
		}
		d.codePage(w, r, http.StatusConflict, codeForm{Station: true, Without: true, Code: r.PostFormValue("code"),
			Problem: words.T("door.station-no-key-" + why)})
		return
	case errors.Is(err, errNoCode):
		d.watch.Refused(r, WhyCode, "nobody")
		d.codePage(w, r, http.StatusUnauthorized, codeForm{Station: true, Problem: words.T("door.code-wrong")})
		return
	case err != nil:
		d.sh.FailText(w, r, err)
		return
	}
	d.limits.succeed(codeFrom(address))
	setCookie(w, r, stationCookie, given, stationKept)
	http.Redirect(w, r, "/at/"+c.Station+"/", http.StatusSeeOther)
}

// codeRefused answers where a code lets nobody in, or could not be looked at.
func (d *Door) codeRefused(w http.ResponseWriter, r *http.Request, err error, form codeForm) bool {
	switch {
	case errors.Is(err, errNoCode):
		d.watch.Refused(r, WhyCode, "nobody")
		d.codePage(w, r, http.StatusUnauthorized, form)
	case err != nil:
		d.sh.FailText(w, r, err)
	}
	return err != nil
}

// errNoKey leaves a code as it was: the browser that was to make a key has none.
var errNoKey = errors.New("no key came with the code")

func newID() string { return uuid.NewString()[:8] }
