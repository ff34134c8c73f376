package door

import (
	"net"
	"slices"
	"strconv"
	"time"

	"github.com/nats-io/nkeys"
)

// Who follows the events over NATS does it as somebody who has an account here, with a key that only they have: what the
// feed hands out is all that is recorded, so the person must be one who may read that, and whoever is sent away is cut off.

// FeedReader is a key by which a person follows the events.
type FeedReader struct {
	ID     string    `json:"id"`
	Person string    `json:"person"`
	Key    string    `json:"key"` // public nkey of a user
	By     string    `json:"by"`
	Made   time.Time `json:"made"`
	Until  time.Time `json:"until"`
	Ended  time.Time `json:"ended,omitzero"`
}

// feedReader finds who reads by a key now; nil for nobody.
func (b *book) feedReader(key string, now time.Time) *FeedReader {
	for i := range b.Feed {
		r := &b.Feed[i]
		if r.Key != key || !r.Ended.IsZero() || !now.Before(r.Until) {
			continue
		}
		p := b.byID(r.Person)
		if p != nil && slices.ContainsFunc(deep, func(role Role) bool { return slices.Contains(p.Roles, role) }) {
			return r
		}
	}
	return nil
}

// MayRead reports whether the reader with a key may follow the events now: feed.Readers asks it.
func (d *Door) MayRead(key string) bool { return d.books.read().feedReader(key, d.o.Clock()) != nil }

// Connected keeps that somebody began to follow the events.
func (d *Door) Connected(key, from string) {
	r := d.books.read().feedReader(key, d.o.Clock())
	if r == nil {
		return
	}
	if host, _, err := net.SplitHostPort(from); err == nil {
		from = host
	}
	line := Read{At: d.o.Clock().UTC(), Who: "person " + r.Person, From: from, What: "feed"}
	if err := d.reading.keep(line); err != nil {
		d.o.Log.Error("who read what was not kept", "who", line.Who, "what", line.What, "error", err)
	}
}

// Refused counts what the feed refused; it logs by itself.
func (d *Door) Refused() { d.watch.count(WhyFeed) }

// OnChange has a function called after each change of who may come in.
func (d *Door) OnChange(f func()) { d.books.onChange(f) }

func (d *Door) newFeedReader(a *act) error {
	key, login := a.form("key"), readLogin(a.form("login"))
	days, err := strconv.Atoi(a.form("days"))
	const day = 24 * time.Hour
	switch {
	case !nkeys.IsValidPublicUserKey(key):
		return a.sayNo("door.feed-key")
	case err != nil || days < 1 || time.Duration(days)*day > tokenLongest:
		return a.sayNo("door.token-days", int(tokenLongest/day))
	}
	err = d.books.change(func(b *book) error {
		p := b.byLogin(login)
		if p == nil {
			return a.sayNo("door.feed-nobody", login)
		}
		r := FeedReader{ID: newID(), Person: p.ID, Key: key, By: a.by, Made: a.now, Until: a.now.Add(time.Duration(days) * day)}
		b.Feed = append(slices.DeleteFunc(b.Feed, func(x FeedReader) bool { return x.Key == key }), r)
		if b.feedReader(key, a.now) == nil {
			return a.sayNo("door.feed-role", login)
		}
		b.changed(a.now, a.by, "feed", "person "+p.ID, a.words.Time(r.Until))
		return nil
	})
	if err == nil {
		a.out.Note = a.words.T("door.done")
	}
	return err
}

func (d *Door) endFeedReader(a *act) error {
	id := a.form("id")
	err := d.books.change(func(b *book) error {
		i := slices.IndexFunc(b.Feed, func(r FeedReader) bool { return r.ID == id && r.Ended.IsZero() })
		if i < 0 {
			return a.sayNo("door.no-such")
		}
		b.Feed[i].Ended = a.now
		b.changed(a.now, a.by, "feed-ended", "person "+b.Feed[i].Person, "")
		return nil
	})
	if err == nil {
		a.out.Note = a.words.T("door.done")
	}
	return err
}
