package door

import (
	"cmp"
	"context"
	"slices"
	"strings"
	"sync"
	"time"
)

// sessions are kept in memory: a restart ends them, and nothing on the disk lets anybody in.
type sessions struct {
	clock func() time.Time

	mu  sync.Mutex
	all map[string]*session // by digest of the cookie
}

type session struct {
	id        string // by which its person names it, to end it
	from      string // the address of the sign-in
	person    string
	since     time.Time // of the password that opened it: a new one ends all others
	proved    time.Time // when its person last showed who they are; zero where a directory doesn't say
	made      time.Time
	used      time.Time
	ctx       context.Context
	endStream context.CancelFunc
}

func (s *session) over(now time.Time) bool {
	return now.Sub(s.used) >= sessionIdle || now.Sub(s.made) >= sessionWhole
}

// begin opens a session and returns its cookie's value, which nobody has had before.
func (all *sessions) begin(p *Person, from string, proved time.Time) string {
	given := secret()
	now := all.clock()
	s := &session{id: newID(), from: from, person: p.ID, since: p.Since, proved: proved, made: now, used: now}
	s.ctx, s.endStream = context.WithCancel(context.Background())
	all.mu.Lock()
	defer all.mu.Unlock()
	if all.all == nil {
		all.all = make(map[string]*session)
	}
	for k, old := range all.all {
		if old.over(now) {
			all.drop(k)
		}
	}
	all.all[digest(given)] = s
	return given
}

// find returns the session of a cookie, nil where there is none any more.
func (all *sessions) find(given string, used bool) *session {
	if given == "" {
		return nil
	}
	all.mu.Lock()
	defer all.mu.Unlock()
	k := digest(given)
	s := all.all[k]
	if s == nil {
		return nil
	}
	now := all.clock()
	if s.over(now) {
		all.drop(k)
		return nil
	}
	if used {
		s.used = now
	}
	return s
}

// prove notes that a session's person has shown again who they are.
func (all *sessions) prove(s *session, at time.Time) {
	all.mu.Lock()
	defer all.mu.Unlock()
	s.proved = at
}

// provedLately reports whether a session's person has shown lately who they are.
func (all *sessions) provedLately(s *session) bool {
	all.mu.Lock()
	defer all.mu.Unlock()
	return !s.proved.IsZero() && all.clock().Sub(s.proved) < provedKept
}

// Session is one as its person sees it.
type Session struct {
	ID, From   string
	Made, Used time.Time
	This       bool // the one that asks
}

// of lists a person's, the last used first.
func (all *sessions) of(p *Person, this *session) (out []Session) {
	all.mu.Lock()
	defer all.mu.Unlock()
	now := all.clock()
	for _, s := range all.all {
		if s.person == p.ID && s.since.Equal(p.Since) && !s.over(now) {
			out = append(out, Session{ID: s.id, From: s.from, Made: s.made, Used: s.used, This: s == this})
		}
	}
	slices.SortFunc(out, func(a, b Session) int {
		return cmp.Or(b.Used.Compare(a.Used), strings.Compare(a.ID, b.ID))
	})
	return out
}

// endOne ends one of a person's by its id, and reports whether there was one.
func (all *sessions) endOne(person, id string) bool {
	all.mu.Lock()
	defer all.mu.Unlock()
	for k, s := range all.all {
		if s.person == person && s.id == id {
			all.drop(k)
			return true
		}
	}
	return false
}

// end ends the session of a cookie.
func (all *sessions) end(given string) {
	all.mu.Lock()
	defer all.mu.Unlock()
	all.drop(digest(given))
}

// endOf ends all sessions of a person.
func (all *sessions) endOf(person string) {
	all.mu.Lock()
	defer all.mu.Unlock()
	for k, s := range all.all {
		if s.person == person {
			all.drop(k)
		}
	}
}

// drop ends one. The caller holds mu.
func (all *sessions) drop(k string) {
	if s := all.all[k]; s != nil {
		s.endStream()
		delete(all.all, k)
	}
}
