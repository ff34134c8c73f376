package door

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"listbound/ledger/disk"
)

// Folder is where a data folder keeps who may come in, beside the ledger: names can
// be changed and forgotten here, and nothing that is judged rests on them.
const Folder = "door"

// bookFile holds people, tokens, stations' browsers and what was changed of them. It is one file that is replaced
// whole, so that no change stands there without the line that tells of it.
const bookFile = "accounts.json"

// Person is somebody who signs in.
type Person struct {
	ID    string    `json:"id"`
	Login string    `json:"login"` // lower case
	Name  string    `json:"name"`
	Roles []Role    `json:"roles"`
	Badge string    `json:"badge,omitempty"` // under which a lead's own records are, and no other
	Made  time.Time `json:"made"`
	Ended time.Time `json:"ended,omitzero"`

	Password string    `json:"password,omitempty"` // argon2id in the PHC string format
	Since    time.Time `json:"since,omitzero"`     // when the password was set
	Subject  string    `json:"subject,omitempty"`  // by OpenID Connect: issuer and subject
	Desks    []string  `json:"desks,omitempty"`    // addresses signed in from, the last first
}

// Token lets a program in.
type Token struct {
	ID      string    `json:"id"`
	Name    string    `json:"name"`
	Digest  string    `json:"digest"`
	Role    Role      `json:"role"`
	Station string    `json:"station,omitempty"` // of the role records: that station alone, or * for all
	By      string    `json:"by"`
	Made    time.Time `json:"made"`
	Until   time.Time `json:"until"`
	Ended   time.Time `json:"ended,omitzero"`
	Used    time.Time `json:"used,omitzero"` // to the day
}

// Browser is a browser that stands at a station.
type Browser struct {
	ID      string    `json:"id"`
	Digest  string    `json:"digest"`
	Station string    `json:"station"`
	By      string    `json:"by"` // who made its code
	Made    time.Time `json:"made"`
	Ended   time.Time `json:"ended,omitzero"`
	Used    time.Time `json:"used,omitzero"` // to the day
	Own     bool      `json:"own,omitzero"`  // it made a key for the station then, and signs for it
}

// code lets somebody in once.
type code struct {
	Digest  string    `json:"digest"`
	Person  string    `json:"person,omitempty"`  // sets the password of that one
	Station string    `json:"station,omitempty"` // brings a browser to it
	Screen  string    `json:"screen,omitempty"`  // makes a browser that wall screen; of none of the three: makes an administrator
	Own     bool      `json:"own,omitzero"`      // that browser is to make the station's key
	By      string    `json:"by,omitempty"`
	Until   time.Time `json:"until"`
}

// administrators reports whether a code makes an administrator.
func (c *code) administrators() bool { return c.Person == "" && c.Station == "" && c.Screen == "" }

// Change is a line of what was changed, and by whom.
type Change struct {
	At   time.Time `json:"at"`
	By   string    `json:"by"`
	What string    `json:"what"` // in a word, such as roles
	Of   string    `json:"of"`
	To   string    `json:"to,omitempty"`
}

// Roles are those that a change is about, for its words; Rest is what else it is to.
func (c Change) Roles() (of []Role) {
	for word := range strings.FieldsSeq(c.To) {
		if r := Role(word); slices.Contains(Roles(), r) {
			of = append(of, r)
		}
	}
	return of
}

// Rest is what a change is to, less the roles.
func (c Change) Rest() string {
	words := strings.Fields(c.To)
	return strings.Join(slices.DeleteFunc(words, func(w string) bool { return slices.Contains(Roles(), Role(w)) }), " ")
}

// book is all that is kept of who may come in.
type book struct {
	People   []Person     `json:"people"`
	Tokens   []Token      `json:"tokens"`
	Browsers []Browser    `json:"browsers"`
	Screens  []Screen     `json:"screens,omitempty"`
	Pins     []Pin        `json:"pins,omitempty"`
	Feed     []FeedReader `json:"feed,omitempty"`
	Codes    []code       `json:"codes"`
	Changes  []Change     `json:"changes"`
}

// person finds one that has not ended.
func (b *book) person(match func(*Person) bool) *Person {
	for i := range b.People {
		if p := &b.People[i]; p.Ended.IsZero() && match(p) {
			return p
		}
	}
	return nil
}

func (b *book) byID(id string) *Person { return b.person(func(p *Person) bool { return p.ID == id }) }

func (b *book) byLogin(login string) *Person {
	return b.person(func(p *Person) bool { return p.Login == login })
}

// administrators counts those who can sign in.
func (b *book) administrators() (n int) {
	for _, p := range b.People {
		if p.Ended.IsZero() && p.Password != "" && slices.Contains(p.Roles, Administers) {
			n++
		}
	}
	return n
}

func (b *book) changed(at time.Time, by, what, of, to string) {
	b.Changes = append(b.Changes, Change{at.UTC(), by, what, of, to})
}

// findCode finds a code that is still good; -1 for none.
func (b *book) findCode(typed string, now time.Time, match func(*code) bool) int {
	want := digest(readCode(typed))
	return slices.IndexFunc(b.Codes, func(c code) bool { return c.Digest == want && now.Before(c.Until) && match(&c) })
}

func (b *book) hasCode(typed string, now time.Time, match func(*code) bool) bool {
	return b.findCode(typed, now, match) >= 0
}

// takeCode takes a code away that is still good.
func (b *book) takeCode(typed string, now time.Time, match func(*code) bool) (code, bool) {
	i := b.findCode(typed, now, match)
	if i < 0 {
		return code{}, false
	}
	c := b.Codes[i]
	b.Codes = slices.Delete(b.Codes, i, i+1)
	return c, true
}

// dropCodes forgets those that nobody can use any more.
func (b *book) dropCodes(now time.Time, match func(*code) bool) {
	b.Codes = slices.DeleteFunc(b.Codes, func(c code) bool { return !now.Before(c.Until) || match(&c) })
}

// books keeps the book. What is read is never changed again.
type books struct {
	dir string

	mu  sync.RWMutex
	now *book

	listeners []func() // told of each change, while mu is not held
}

func (b *books) onChange(f func()) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.listeners = append(b.listeners, f)
}

func openBooks(dir string) (*books, error) {
	b := &books{dir: dir, now: new(book)}
	path := filepath.Join(dir, bookFile)
	raw, err := os.ReadFile(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return b, nil
	case err != nil:
		return nil, fmt.Errorf("who may come in: %w", err)
	}
	// What can't be read must not come to nobody: then no account would be asked for.
	if err := disk.This().OwnersAlone(path, mode(path)); err != nil {
		return nil, err
	}
	if err := json.Unmarshal(raw, b.now); err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	return b, nil
}

func mode(path string) fs.FileMode {
	info, err := os.Stat(path)
	if err != nil {
		return 0
	}
	return info.Mode()
}

func (b *books) read() *book {
	b.mu.RLock()
	defer b.mu.RUnlock()
	return b.now
}

// change makes a change that is on the disk before anybody sees it.
func (b *books) change(f func(*book) error) error {
	listeners, err := b.changeAlone(f)
	if err != nil {
		return err
	}
	for _, tell := range listeners {
		tell()
	}
	return nil
}

func (b *books) changeAlone(f func(*book) error) ([]func(), error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	next := &book{
		People: slices.Clone(b.now.People), Tokens: slices.Clone(b.now.Tokens), Browsers: slices.Clone(b.now.Browsers),
		Screens: slices.Clone(b.now.Screens), Pins: slices.Clone(b.now.Pins),
		Feed: slices.Clone(b.now.Feed), Codes: slices.Clone(b.now.Codes), Changes: slices.Clone(b.now.Changes),
	}
	for i := range next.People {
		p := &next.People[i]
		p.Roles, p.Desks = slices.Clone(p.Roles), slices.Clone(p.Desks)
	}
	if err := f(next); err != nil {
		return nil, err
	}
	raw, err := json.Marshal(next, json.Deterministic(true), jsontext.WithIndent(" "))
	if err != nil {
		return nil, fmt.Errorf("who may come in: %w", err)
	}
	if err := os.MkdirAll(b.dir, 0o700); err != nil {
		return nil, fmt.Errorf("who may come in: %w", err)
	}
	if err := disk.Write(b.dir, bookFile, append(raw, '\n')); err != nil {
		return nil, fmt.Errorf("who may come in: %w", err)
	}
	b.now = next
	return b.listeners, nil
}

// readLogin is the form in which a name to sign in with is kept.
func readLogin(typed string) string { return strings.ToLower(strings.TrimSpace(typed)) }

// goodLogin keeps names to sign in with apart from each other and from anything else in a line.
func goodLogin(login string) bool {
	const longest = 64
	return login != "" && len(login) <= longest && !strings.ContainsFunc(login, func(r rune) bool {
		return (r < 'a' || r > 'z') && (r < '0' || r > '9') && !strings.ContainsRune(".-_@", r)
	})
}
