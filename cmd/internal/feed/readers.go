package feed

import (
	"encoding/base64"
	"slices"
	"strings"
	"sync"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nkeys"
)

// Readers say who may read. They are asked at each connection, and again by Recheck.
type Readers interface {
	// MayRead reports whether the reader with a public nkey may read now.
	MayRead(key string) bool
	// Connected notes that a reader has connected, and from where.
	Connected(key, from string)
	// Refused notes that somebody was not let in, or tried something else than to read.
	Refused()
}

// Keys are readers who may read for as long as the feed runs.
type Keys []string

// MayRead implements Readers.
func (k Keys) MayRead(key string) bool {
	for _, x := range k {
		if x == key {
			return true
		}
	}
	return false
}

// Connected implements Readers.
func (Keys) Connected(string, string) {}

// Refused implements Readers.
func (Keys) Refused() {}

// entry lets in the feed's own publisher and those who may read, and knows which connection is whose.
type entry struct {
	own     string
	readers Readers
	cut     func(connection uint64) error // unless it has gone by itself

	mu  sync.Mutex
	all map[uint64]string // reader by connection
}

// Check implements the server's Authentication: who has the key signs the connection's nonce.
func (e *entry) Check(c server.ClientAuthentication) bool {
	o := c.GetOpts()
	if o.Nkey == "" || !signs(o.Nkey, o.Sig, c.GetNonce()) {
		return false
	}
	if o.Nkey == e.own {
		c.RegisterUser(&server.User{})
		return true
	}
	if !e.readers.MayRead(o.Nkey) {
		return false
	}
	c.RegisterUser(&server.User{Permissions: readerPermissions(o.Nkey)})
	from := ""
	if a := c.RemoteAddress(); a != nil {
		from = a.String()
	}
	e.readers.Connected(o.Nkey, from)
	e.enter(c.GetID(), o.Nkey)
	return true
}

// enter keeps whose a connection is. The oldest ones of a reader that has too many end: one may hang that was left long ago.
func (e *entry) enter(id uint64, key string) {
	e.mu.Lock()
	defer e.mu.Unlock()
	if e.all == nil {
		e.all = make(map[uint64]string)
	}
	e.all[id] = key
	var own []uint64
	for id, of := range e.all {
		if of == key {
			own = append(own, id)
		}
	}
	slices.Sort(own)
	for _, id := range own[:max(len(own)-maxOfReader, 0)] {
		delete(e.all, id)
		_ = e.cut(id) // one that has gone by itself
	}
}

// signs reports whether a nonce bears a key's signature, in one of the forms of base64 that clients use.
func signs(key, signature string, nonce []byte) bool {
	sig, err := base64.RawURLEncoding.DecodeString(strings.TrimRight(signature, "="))
	if err != nil {
		if sig, err = base64.StdEncoding.DecodeString(signature); err != nil {
			return false
		}
	}
	pub, err := nkeys.FromPublicKey(key)
	return err == nil && pub.Verify(nonce, sig) == nil
}

// Recheck ends the connections of those who may read no more.
func (f *Feed) Recheck() {
	f.entry.mu.Lock()
	defer f.entry.mu.Unlock()
	for id, key := range f.entry.all {
		if f.srv.GetClient(id) == nil {
			delete(f.entry.all, id) // it has gone by itself
			continue
		}
		if f.entry.readers.MayRead(key) {
			continue
		}
		if err := f.srv.DisconnectClientByID(id); err == nil {
			delete(f.entry.all, id)
		}
	}
}
