package door

import (
	"context"
	"net/http"
	"slices"
	"strconv"
	"sync"
	"time"

	"listbound/cmd/internal/paper"
)

// A wall screen shows the board to whoever stands before it, and nothing else. It comes in by a one-time code, so that
// nobody's session is left open on a wall, and ends by a date.

// Screen is a display that may show the board.
type Screen struct {
	ID     string    `json:"id"`
	Name   string    `json:"name"`             // where it hangs
	Digest string    `json:"digest,omitempty"` // none until its code was used
	By     string    `json:"by"`
	Made   time.Time `json:"made"`
	Until  time.Time `json:"until"`
	Ended  time.Time `json:"ended,omitzero"`
}

const screenCookie = "screen"

func (s *Screen) over(now time.Time) bool { return !s.Ended.IsZero() || !now.Before(s.Until) }

// screenOf finds the screen that a browser is, nil where it is none any more.
func (d *Door) screenOf(b *book, r *http.Request, now time.Time) *Screen {
	given := cookie(r, screenCookie)
	if given == "" {
		return nil
	}
	want := digest(given)
	i := slices.IndexFunc(b.Screens, func(s Screen) bool { return s.Digest == want && !s.over(now) })
	if i < 0 {
		return nil
	}
	return &b.Screens[i]
}

// shown are the screens that listen: what they listen to ends with them.
type shown struct {
	mu  sync.Mutex
	all map[string]*showing
}

type showing struct {
	ctx context.Context
	end context.CancelFunc
}

// of returns a context that ends when the screen is ended.
func (all *shown) of(id string) context.Context {
	all.mu.Lock()
	defer all.mu.Unlock()
	if all.all == nil {
		all.all = make(map[string]*showing)
	}
	s := all.all[id]
	if s == nil {
		s = new(showing)
		s.ctx, s.end = context.WithCancel(context.Background())
		all.all[id] = s
	}
	return s.ctx
}

func (all *shown) end(id string) {
	all.mu.Lock()
	defer all.mu.Unlock()
	if s := all.all[id]; s != nil {
		s.end()
		delete(all.all, id)
	}
}

// newScreen makes a screen and the code that is entered at it.
func (d *Door) newScreen(a *act) error {
	name := a.form("name")
	days, err := strconv.Atoi(a.form("days"))
	const longest, day = 100, 24 * time.Hour
	switch {
	case err != nil || days < 1 || time.Duration(days)*day > tokenLongest:
		return a.sayNo("door.screen-days", int(tokenLongest/day))
	case name == "" || len(name) > longest:
		return a.sayNo("door.screen-name-needed")
	}
	const groups = 2
	typed := newCode(groups)
	s := Screen{ID: newID(), Name: name, By: a.by, Made: a.now, Until: a.now.Add(time.Duration(days) * day)}
	err = d.books.change(func(b *book) error {
		b.dropCodes(a.now, func(*code) bool { return false })
		b.Screens = append(b.Screens, s)
		b.Codes = append(b.Codes, code{Digest: digest(readCode(typed)), Screen: s.ID, By: a.by, Until: a.now.Add(stationCode)})
		b.changed(a.now, a.by, "screen", "screen "+s.ID, a.words.Time(s.Until))
		return nil
	})
	if err != nil {
		return err
	}
	a.out.Secret, a.out.About = typed, a.words.T("door.screen-code", name, int(stationCode/time.Minute), a.words.Time(s.Until))
	symbol, err := paper.SymbolOf(typed)
	a.out.Symbol = &symbol
	return err
}

func (d *Door) endScreen(a *act) error {
	id := a.form("id")
	err := d.books.change(func(b *book) error {
		i := slices.IndexFunc(b.Screens, func(s Screen) bool { return s.ID == id && s.Ended.IsZero() })
		if i < 0 {
			return a.sayNo("door.no-such")
		}
		b.Screens[i].Ended = a.now
		b.dropCodes(a.now, func(c *code) bool { return c.Screen == id })
		b.changed(a.now, a.by, "screen-ended", "screen "+id, "")
		return nil
	})
	if err == nil {
		d.shown.end(id)
	}
	a.out.Note = a.words.T("door.done")
	return err
}

// useScreenCode makes a browser the screen that a code is for.
func (d *Door) useScreenCode(w http.ResponseWriter, r *http.Request) {
	words, address := d.sh.Words(r), addressOf(r)
	if wait := d.limits.begin(codeFrom(address)); wait > 0 {
		d.codePage(w, r, http.StatusTooManyRequests, codeForm{Screen: true, Problem: d.wait(w, r, wait)})
		return
	}
	now := d.o.Clock().UTC()
	given := secret()
	var lasts time.Duration
	err := d.books.change(func(b *book) error {
		c, ok := b.takeCode(r.PostFormValue("code"), now, func(c *code) bool { return c.Screen != "" })
		i := slices.IndexFunc(b.Screens, func(s Screen) bool { return ok && s.ID == c.Screen && !s.over(now) })
		if i < 0 {
			return errNoCode
		}
		b.Screens[i].Digest = digest(given)
		lasts = b.Screens[i].Until.Sub(now)
		return nil
	})
	if d.codeRefused(w, r, err, codeForm{Screen: true, Problem: words.T("door.code-wrong")}) {
		return
	}
	d.limits.succeed(codeFrom(address))
	setCookie(w, r, screenCookie, given, lasts)
	http.Redirect(w, r, "/", http.StatusSeeOther)
}
