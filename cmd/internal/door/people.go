package door

import (
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"listbound/cmd/internal/paper"
	"listbound/cmd/internal/refusal"
	"listbound/cmd/internal/shell"
	"listbound/events"
)

// The pages of those who let others in. A code or token is shown once, in the answer to
// who made it, and never again.

func (d *Door) registerPeople(mux shell.Mux) {
	mux.HandleFunc("GET /people", func(w http.ResponseWriter, r *http.Request) {
		d.peoplePage(w, r, http.StatusOK, people{})
	})
	for path, f := range map[string]func(*act) error{
		"add": d.addPerson, "roles": d.setRoles, "code": d.newPersonCode, "end": d.endPerson,
		"station-code": d.newStationCode, "station-end": d.endBrowser,
		"station-retire": d.retireStation, "token": d.newToken, "token-end": d.endToken,
		"screen": d.newScreen, "screen-end": d.endScreen, "pin-end": d.endPIN,
		"feed": d.newFeedReader, "feed-end": d.endFeedReader,
	} {
		mux.HandleFunc("POST /people/"+path, d.acting(f))
	}
	mux.HandleFunc("GET /readers", d.readersPage)
}

type people struct {
	Problem  string
	Secret   string        // shown once
	About    string        // what it is
	Symbol   *paper.Symbol // of a code that a station's scanner may read
	Note     string        // what was done
	All      bool          // not the stations alone
	People   []Person
	Tokens   []Token
	Browsers []Browser
	Screens  []Screen
	Feed     []FeedReader
	Stations []string
	Changes  []Change
	naming
}

// Name is what somebody or something is called, of which the file has the id.
func (n naming) Name(who string) string {
	parts := strings.Split(who, ", ")
	for i, part := range parts {
		kind, id, _ := strings.Cut(part, " ")
		name := id
		if n.names[part] != "" {
			name = n.names[part]
		}
		switch kind {
		case "person":
			parts[i] = name
		case "token":
			parts[i] = n.words.T("door.who-token", name)
		case "station":
			parts[i] = n.words.T("door.who-station", name)
		case "browser":
			parts[i] = n.words.T("door.who-browser", name)
		case "screen":
			parts[i] = n.words.T("door.who-screen", name)
		case "badge":
			parts[i] = n.words.T("door.who-badge", name)
		case "server":
			parts[i] = n.words.T("door.who-server")
		}
	}
	return strings.Join(parts, ", ")
}

// naming knows the names of people and tokens, also of those that have ended.
type naming struct {
	names map[string]string
	words *shell.Words
}

func (d *Door) naming(r *http.Request) naming {
	n := naming{make(map[string]string), d.sh.Words(r)}
	b := d.books.read()
	for _, p := range b.People {
		n.names["person "+p.ID] = p.Name
	}
	for _, t := range b.Tokens {
		n.names["token "+t.ID] = t.Name
	}
	for _, s := range b.Screens {
		n.names["screen "+s.ID] = s.Name
	}
	return n
}

// Waits reports whether somebody has not used their code yet.
func (p Person) Waits() bool { return p.Password == "" && p.Subject == "" }

// peoplePage shows all, of which what has ended comes last.
func (d *Door) peoplePage(w http.ResponseWriter, r *http.Request, status int, p people) {
	b := d.books.read()
	now := d.o.Clock()
	p.All = from(r.Context()).has(Administers)
	p.naming = d.naming(r)
	inForce := func(ended time.Time) bool { return ended.IsZero() }
	for _, x := range b.Browsers {
		if inForce(x.Ended) {
			p.Browsers = append(p.Browsers, x)
		}
	}
	for _, x := range b.Screens {
		if !x.over(now) {
			p.Screens = append(p.Screens, x)
		}
	}
	stations, err := d.site.Stations(r.Context())
	if err != nil {
		d.sh.FailText(w, r, err)
		return
	}
	for _, s := range stations {
		if s.Enrolled > 0 && s.Retired == 0 && s.Name != d.site.Name() {
			p.Stations = append(p.Stations, s.Name)
		}
	}
	if p.All {
		for _, x := range b.Feed {
			if b.feedReader(x.Key, now) != nil && inForce(x.Ended) {
				p.Feed = append(p.Feed, x)
			}
		}
		for _, x := range b.People {
			if inForce(x.Ended) {
				p.People = append(p.People, x)
			}
		}
		for _, x := range b.Tokens {
			if inForce(x.Ended) && now.Before(x.Until) {
				p.Tokens = append(p.Tokens, x)
			}
		}
		const most = 50
		p.Changes = slices.Clone(b.Changes[max(0, len(b.Changes)-most):])
		slices.Reverse(p.Changes)
	}
	d.render(w, r, status, "people", "door.people", p)
}

// accountsOf returns what is kept of those who have a badge, and of those who had it.
func (d *Door) accountsOf(badge string) (out []shell.Account, err error) {
	b := d.books.read()
	for _, p := range b.People {
		if p.Badge == "" || p.Badge != badge {
			continue
		}
		a := shell.Account{Login: p.Login, Name: p.Name, Made: p.Made, Ended: p.Ended}
		for _, r := range p.Roles {
			a.Roles = append(a.Roles, string(r))
		}
		id := "person " + p.ID
		for _, c := range b.Changes {
			if c.Of == id || slices.Contains(strings.Split(c.By, ", "), id) {
				a.Changes++
			}
		}
		if a.Reads, err = d.reading.count(id); err != nil {
			return nil, err
		}
		out = append(out, a)
	}
	return out, nil
}

// act is what somebody does on the page.
type act struct {
	*Door
	r     *http.Request
	words *shell.Words
	by    string
	now   time.Time
	out   people
}

// sayNo refuses what was entered, in the page's words.
func (a *act) sayNo(key string, args ...any) error {
	return refusal.WithCode(http.StatusUnprocessableEntity, "%s", a.words.T(key, args...))
}

// form is one of the fields.
func (a *act) form(name string) string { return strings.TrimSpace(a.r.PostFormValue(name)) }

// acting turns what is done into a handler, which shows the page with what came of it.
func (d *Door) acting(f func(*act) error) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		a := &act{Door: d, r: r, words: d.sh.Words(r), by: from(r.Context()).who(), now: d.o.Clock().UTC()}
		status := http.StatusOK
		if err := f(a); err != nil {
			said := d.sh.PageAnswer(r, err)
			said.Head(w.Header())
			status, a.out = said.Code, people{Problem: said.Text}
		}
		d.peoplePage(w, r, status, a.out)
	}
}

// rolesOf reads the roles that were ticked.
func (a *act) rolesOf() ([]Role, error) {
	if err := a.r.ParseForm(); err != nil {
		return nil, refusal.Because(err)
	}
	var out []Role
	for _, role := range personal() {
		if slices.Contains(a.r.PostForm["role"], string(role)) {
			out = append(out, role)
		}
	}
	if len(out) == 0 {
		return nil, a.sayNo("door.role-needed")
	}
	return out, nil
}

func join(roles []Role) string {
	var out []string
	for _, r := range roles {
		out = append(out, string(r))
	}
	return strings.Join(out, " ")
}

func (d *Door) addPerson(a *act) error {
	roles, err := a.rolesOf()
	if err != nil {
		return err
	}
	login, name, badge := readLogin(a.form("login")), a.form("name"), a.form("badge")
	const longest = 100
	switch {
	case !goodLogin(login):
		return a.sayNo("door.login-form")
	case name == "" || len(name) > longest || len(badge) > longest:
		return a.sayNo("door.name-needed")
	}
	p := Person{ID: newID(), Login: login, Name: name, Roles: roles, Badge: badge, Made: a.now}
	return a.withCode(&p, func(b *book) error {
		if b.byLogin(login) != nil {
			return a.sayNo("door.login-taken", login)
		}
		b.People = append(b.People, p)
		b.changed(a.now, a.by, "added", "person "+p.ID, join(roles))
		return nil
	})
}

// withCode does something and gives its person a code for a first or new password.
func (a *act) withCode(p *Person, do func(*book) error) error {
	const groups = 4
	typed := newCode(groups)
	err := a.books.change(func(b *book) error {
		if err := do(b); err != nil {
			return err
		}
		b.dropCodes(a.now, func(c *code) bool { return c.Person == p.ID })
		b.Codes = append(b.Codes, code{Digest: digest(readCode(typed)), Person: p.ID, By: a.by, Until: a.now.Add(personCode)})
		return nil
	})
	if err != nil {
		return err
	}
	a.out.Secret, a.out.About = typed, a.words.T("door.person-code", p.Name, p.Login, int(personCode/time.Hour))
	return nil
}

// someone finds the person that a form is about.
func (a *act) someone() (*Person, error) {
	if p := a.books.read().byID(a.form("id")); p != nil {
		return p, nil
	}
	return nil, a.sayNo("door.no-such")
}

func (d *Door) newPersonCode(a *act) error {
	p, err := a.someone()
	if err != nil {
		return err
	}
	return a.withCode(p, func(b *book) error {
		b.changed(a.now, a.by, "code", "person "+p.ID, "")
		return nil
	})
}

func (d *Door) setRoles(a *act) error {
	p, err := a.someone()
	if err != nil {
		return err
	}
	roles, err := a.rolesOf()
	if err != nil {
		return err
	}
	return a.keepingAnAdministrator(func(b *book) {
		if p := b.byID(p.ID); p != nil {
			p.Roles = roles
		}
		b.changed(a.now, a.by, "roles", "person "+p.ID, join(roles))
	})
}

// keepingAnAdministrator makes a change unless nobody could let anybody in any more.
func (a *act) keepingAnAdministrator(f func(*book)) error {
	err := a.books.change(func(b *book) error {
		f(b)
		if b.administrators() == 0 {
			return a.sayNo("door.last-administrator")
		}
		return nil
	})
	if err == nil {
		a.out.Note = a.words.T("door.done")
	}
	return err
}

func (d *Door) endPerson(a *act) error {
	p, err := a.someone()
	if err != nil {
		return err
	}
	err = a.keepingAnAdministrator(func(b *book) {
		if p := b.byID(p.ID); p != nil {
			p.Ended, p.Password, p.Desks = a.now, "", nil
		}
		b.dropCodes(a.now, func(c *code) bool { return c.Person == p.ID })
		b.changed(a.now, a.by, "ended", "person "+p.ID, "")
	})
	if err == nil {
		d.sessions.endOf(p.ID)
	}
	return err
}

// newStationCode makes the code that a station's browser is given. It is short, since somebody types it at a tablet, and
// good for minutes.
func (d *Door) newStationCode(a *act) error {
	station := a.form("station")
	if err := events.CheckStation(station); err != nil {
		return refusal.Because(err)
	}
	stations, err := d.site.Stations(a.r.Context())
	if err != nil {
		return err
	}
	there := false
	for _, s := range stations {
		there = there || s.Name == station && s.Enrolled > 0 && s.Retired == 0 && s.Name != d.site.Name()
	}
	if !there {
		return a.sayNo("door.no-station", station)
	}
	const groups = 2
	typed := newCode(groups)
	err = d.books.change(func(b *book) error {
		b.dropCodes(a.now, func(c *code) bool { return false })
		b.Codes = append(b.Codes, code{Digest: digest(readCode(typed)), Station: station, Own: a.form("own") != "", By: a.by,
			Until: a.now.Add(stationCode)})
		b.changed(a.now, a.by, "station-code", "station "+station, "")
		return nil
	})
	if err != nil {
		return err
	}
	a.out.Secret, a.out.About = typed, a.words.T("door.station-code", station, int(stationCode/time.Minute))
	symbol, err := paper.SymbolOf(typed)
	a.out.Symbol = &symbol
	return err
}

func (d *Door) endBrowser(a *act) error {
	id := a.form("id")
	err := d.books.change(func(b *book) error {
		i := slices.IndexFunc(b.Browsers, func(x Browser) bool { return x.ID == id && x.Ended.IsZero() })
		if i < 0 {
			return a.sayNo("door.no-such")
		}
		b.Browsers[i].Ended = a.now
		b.changed(a.now, a.by, "browser-ended", "browser "+id, b.Browsers[i].Station)
		return nil
	})
	a.out.Note = a.words.T("door.done")
	return err
}

// retireStation ends a station, as of the moment when it was lost where one is given, and sends its browsers away.
func (d *Door) retireStation(a *act) error {
	station, text := a.form("station"), a.form("asOf")
	var asOf time.Time
	if text != "" {
		var err error
		if asOf, err = time.ParseInLocation("2006-01-02T15:04", text, a.words.Zone()); err != nil || !asOf.Before(a.now) {
			return a.sayNo("door.retire-moment")
		}
	}
	if a.form("reason") == "" {
		return a.sayNo("door.retire-reason")
	}
	if _, err := d.site.Retire(a.r.Context(), station, a.form("reason"), asOf); err != nil {
		return err
	}
	a.out.Note = a.words.T("door.done")
	return d.books.change(func(b *book) error {
		for i := range b.Browsers {
			if x := &b.Browsers[i]; x.Station == station && x.Ended.IsZero() {
				x.Ended = a.now
			}
		}
		b.changed(a.now, a.by, "station-retired", "station "+station, text)
		return nil
	})
}

func (d *Door) newToken(a *act) error {
	role, station, name := Role(a.form("role")), a.form("station"), a.form("name")
	days, err := strconv.Atoi(a.form("days"))
	const longest, day = 100, 24 * time.Hour
	switch {
	case err != nil || days < 1 || time.Duration(days)*day > tokenLongest:
		return a.sayNo("door.token-days", int(tokenLongest/day))
	case name == "" || len(name) > longest:
		return a.sayNo("door.name-needed")
	case !slices.Contains(Roles(), role):
		return a.sayNo("door.role-needed")
	case role != Records:
		station = ""
	case station != anyStation:
		if err := events.CheckStation(station); err != nil {
			return a.sayNo("door.no-station", station)
		}
	}
	given := secret()
	t := Token{ID: newID(), Name: name, Digest: digest(given), Role: role, Station: station, By: a.by, Made: a.now,
		Until: a.now.Add(time.Duration(days) * day)}
	err = d.books.change(func(b *book) error {
		b.Tokens = append(b.Tokens, t)
		b.changed(a.now, a.by, "token", "token "+t.ID, strings.TrimSpace(string(role)+" "+station))
		return nil
	})
	if err != nil {
		return err
	}
	a.out.Secret, a.out.About = given, a.words.T("door.token-made", name, a.words.Time(t.Until))
	return nil
}

func (d *Door) endToken(a *act) error {
	id := a.form("id")
	err := d.books.change(func(b *book) error {
		i := slices.IndexFunc(b.Tokens, func(x Token) bool { return x.ID == id && x.Ended.IsZero() })
		if i < 0 {
			return a.sayNo("door.no-such")
		}
		b.Tokens[i].Ended = a.now
		b.changed(a.now, a.by, "token-ended", "token "+id, "")
		return nil
	})
	a.out.Note = a.words.T("door.done")
	return err
}

type readersBody struct {
	Lines []Read
	Years int
	naming
}

// readersPage shows who read what.
func (d *Door) readersPage(w http.ResponseWriter, r *http.Request) {
	const most = 200
	lines, err := d.reading.newest(most)
	if err != nil {
		d.sh.FailText(w, r, err)
		return
	}
	body := readersBody{Lines: lines, Years: KeptFor / 12, naming: d.naming(r)}
	d.render(w, r, http.StatusOK, "readers", "door.readers", body)
}
