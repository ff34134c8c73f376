package door

import (
	"net/http"
	"slices"
	"strings"
	"sync"
	"time"
	"unicode"

	"listbound/cmd/internal/refusal"
	"listbound/cmd/internal/shell"
	"listbound/events"
)

// A PIN says that a badge is in its owner's hand, at a station where the site's policy asks for it: a badge can be read
// from across a table. Who stands there chooses it at the station, gives it once, and their badge is then taken there as
// ever, for a shift. It never passes the field for scans, whose inputs wait in the browser while the line is down.

// Pin is what is kept of one.
type Pin struct {
	Badge string    `json:"badge"`
	Hash  string    `json:"hash"` // argon2id in the PHC string format
	Made  time.Time `json:"made"`
}

const (
	pinKept     = 12 * time.Hour // after it was given, at that station
	shortestPIN = 4
	longestPIN  = 12
)

func pinOf(badge string) key { return key{"pin " + badge, 5} }

// Pins are who has given a PIN where. They are in memory: after a restart each gives it once more.
type Pins struct {
	clock func() time.Time

	mu  sync.Mutex
	all map[string]time.Time // when, by station and badge
}

// Pins says who has given a PIN, for the stations' pages.
func (d *Door) Pins() *Pins { return &d.pins }

func pinKey(station, badge string) string { return station + " " + badge }

// Given reports whether a badge's PIN was given at a station not too long before a moment.
func (p *Pins) Given(station, badge string, at time.Time) bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	since, ok := p.all[pinKey(station, badge)]
	return ok && at.Sub(since) < pinKept
}

// Excuse takes a badge at a station as if its PIN had been given: in an emergency, which is put on record.
func (p *Pins) Excuse(station, badge string) { p.give(station, badge) }

func (p *Pins) give(station, badge string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	now := p.clock()
	for k, since := range p.all {
		if now.Sub(since) >= pinKept {
			delete(p.all, k)
		}
	}
	if p.all == nil {
		p.all = make(map[string]time.Time)
	}
	p.all[pinKey(station, badge)] = now
}

// forget takes back what a badge has given anywhere.
func (p *Pins) forget(badge string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	for k := range p.all {
		if strings.HasSuffix(k, " "+badge) {
			delete(p.all, k)
		}
	}
}

func (b *book) pin(badge string) *Pin {
	if i := slices.IndexFunc(b.Pins, func(p Pin) bool { return p.Badge == badge }); i >= 0 {
		return &b.Pins[i]
	}
	return nil
}

// pinProblem says what is wrong with a new PIN, "" for nothing.
func pinProblem(words *shell.Words, pin, again, badge string) string {
	digits := strings.Trim(pin, "0123456789") == ""
	switch {
	case len(pin) < shortestPIN || len(pin) > longestPIN || !digits:
		return words.T("door.pin-form", shortestPIN, longestPIN)
	case pin != again:
		return words.T("door.pin-again-differs")
	case easyPIN(pin) || strings.Contains(badge, pin):
		return words.T("door.pin-easy")
	}
	return ""
}

// easyPIN reports whether a PIN is one digit over and over, or digits in a row, up or down.
func easyPIN(pin string) bool {
	step := int(pin[1]) - int(pin[0])
	for i := range len(pin) - 1 {
		if int(pin[i+1])-int(pin[i]) != step {
			return false
		}
	}
	return step >= -1 && step <= 1
}

type pinForm struct {
	Station, Badge string
	Problem, Done  string
	Choose         bool // the badge has none yet
}

func (d *Door) registerPins(mux shell.Mux) {
	const at = "/at/{site}/{station}/pin"
	mux.HandleFunc("GET "+at, func(w http.ResponseWriter, r *http.Request) {
		d.pinPage(w, r, http.StatusOK, pinForm{})
	})
	mux.HandleFunc("POST "+at, d.givePIN)
}

func (d *Door) pinPage(w http.ResponseWriter, r *http.Request, status int, f pinForm) {
	f.Station = r.PathValue("site") + "/" + r.PathValue("station")
	d.render(w, r, status, "pin", "door.pin", f)
}

// givePIN takes the PIN of a badge at a station; of one that has none, a new one.
func (d *Door) givePIN(w http.ResponseWriter, r *http.Request) {
	words := d.sh.Words(r)
	f := pinForm{Badge: strings.TrimSpace(r.PostFormValue("badge"))}
	if s, err := events.Recognise(f.Badge, events.ScanBadge); err == nil {
		f.Badge = s.Value
	}
	status, problem, err := d.tryPIN(w, r, &f)
	switch {
	case err != nil:
		d.sh.FailText(w, r, err)
		return
	case problem != "":
		f.Problem = problem
	case !f.Choose:
		f = pinForm{Done: words.T("door.pin-given", f.Badge, int(pinKept/time.Hour))}
	}
	d.pinPage(w, r, status, f)
}

// tryPIN holds what was entered against what is kept.
func (d *Door) tryPIN(w http.ResponseWriter, r *http.Request, f *pinForm) (status int, problem string, err error) {
	words, pin := d.sh.Words(r), r.PostFormValue("pin")
	const longest = 64
	if f.Badge == "" || len(f.Badge) > longest || strings.ContainsFunc(f.Badge, unicode.IsSpace) {
		return http.StatusUnprocessableEntity, words.T("door.pin-badge"), nil
	}
	kept := d.books.read().pin(f.Badge)
	if kept == nil {
		f.Choose = true
		if !r.PostForm.Has("again") {
			return http.StatusOK, "", nil // the page now asks to choose one
		}
		return d.choosePIN(r, f, pin)
	}
	if wait := d.limits.begin(pinOf(f.Badge)); wait > 0 {
		return http.StatusTooManyRequests, d.wait(w, r, wait), nil
	}
	end, err := d.alone(r.Context())
	if err != nil {
		return 0, "", err
	}
	right := len(pin) <= longestPIN && checkPassword(pin, kept.Hash)
	end()
	if !right {
		d.watch.Refused(r, WhyPIN, d.visitorOf(r).who())
		return http.StatusUnauthorized, words.T("door.pin-wrong", f.Badge), nil
	}
	d.limits.succeed(key{}, pinOf(f.Badge))
	d.pins.give(r.PathValue("site")+"/"+r.PathValue("station"), f.Badge)
	return http.StatusOK, "", nil
}

func (d *Door) choosePIN(r *http.Request, f *pinForm, pin string) (status int, problem string, err error) {
	if problem := pinProblem(d.sh.Words(r), pin, r.PostFormValue("again"), f.Badge); problem != "" {
		return http.StatusUnprocessableEntity, problem, nil
	}
	hash, err := d.hash(r.Context(), pin)
	if err != nil {
		return 0, "", err
	}
	now, station := d.o.Clock().UTC(), r.PathValue("site")+"/"+r.PathValue("station")
	err = d.books.change(func(b *book) error {
		if b.pin(f.Badge) != nil {
			return refusal.WithCode(http.StatusConflict, "%s", d.sh.Words(r).T("door.pin-meanwhile"))
		}
		b.Pins = append(b.Pins, Pin{Badge: f.Badge, Hash: hash, Made: now})
		b.changed(now, "station "+station, "pin", "badge "+f.Badge, "")
		return nil
	})
	if err != nil {
		return 0, "", err
	}
	f.Choose = false
	d.pins.give(station, f.Badge)
	return http.StatusOK, "", nil
}

// endPIN takes a badge's PIN away: its owner has forgotten it, and chooses another at a station.
func (d *Door) endPIN(a *act) error {
	badge := a.form("badge")
	if s, err := events.Recognise(badge, events.ScanBadge); err == nil {
		badge = s.Value
	}
	err := d.books.change(func(b *book) error {
		if b.pin(badge) == nil {
			return a.sayNo("door.pin-none", badge)
		}
		b.Pins = slices.DeleteFunc(b.Pins, func(p Pin) bool { return p.Badge == badge })
		b.changed(a.now, a.by, "pin-ended", "badge "+badge, "")
		return nil
	})
	if err == nil {
		d.pins.forget(badge)
		a.out.Note = a.words.T("door.done")
	}
	return err
}
