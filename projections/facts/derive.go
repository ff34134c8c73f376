package facts

import (
	"cmp"
	"math"
	"slices"
	"time"
)

// Ask is one question that a judgement put to the facts: all facts of a
// dimension and key observed from From to To (nanoseconds since 1970 UTC, both
// included). A fact filed there, and only such a fact, can change the answer.
type Ask struct {
	Dim      Dim
	Key      string
	From, To int64
}

// Always are the bounds of a question that no time limits.
const (
	Ever  = math.MinInt64
	After = math.MaxInt64
)

// Meets reports whether two questions have facts in common.
func (a Ask) Meets(b Ask) bool {
	return a.Dim == b.Dim && a.Key == b.Key && a.From <= b.To && b.From <= a.To
}

func compareAsks(a, b Ask) int {
	if a.Dim != b.Dim { // mostly, and what every judgement asked is sorted
		return cmp.Compare(a.Dim, b.Dim)
	}
	if a.Key != b.Key {
		return cmp.Compare(a.Key, b.Key)
	}
	return cmp.Or(cmp.Compare(a.From, b.From), cmp.Compare(a.To, b.To))
}

// askLog collects what was asked while something was derived: the questions
// themselves, and what else it was derived from.
type askLog struct {
	asks  []Ask
	uses  []*askLog
	needs []Ask // where facts were let go, what was needed without being asked
	lacks bool  // some of it was let go
}

// note adds a question, joined to one it meets: a policy is asked for at every step.
func (l *askLog) note(a Ask) {
	for i := range l.asks {
		if b := &l.asks[i]; b.Meets(a) {
			b.From, b.To = min(b.From, a.From), max(b.To, a.To)
			return
		}
	}
	l.asks = append(l.asks, a)
}

// flatten returns every question in the log and in what it uses, once.
func (l *askLog) flatten() []Ask {
	all, n := l.all()
	out := make([]Ask, 0, n)
	for _, x := range all {
		out = append(out, x.asks...)
	}
	slices.SortFunc(out, compareAsks)
	return joinAsks(out)
}

// all returns the log and those of what it uses, and how many questions they have.
func (l *askLog) all() (all []*askLog, n int) {
	all = []*askLog{l} // a few: the trip, its case, the trips of that
	for i := 0; i < len(all); i++ {
		n += len(all[i].asks)
		for _, u := range all[i].uses {
			if !slices.Contains(all, u) {
				all = append(all, u)
			}
		}
	}
	return all, n
}

// joinAsks joins questions of one dimension and key whose times meet.
func joinAsks(sorted []Ask) []Ask {
	out := sorted[:0]
	for _, a := range sorted {
		if n := len(out); n > 0 && out[n-1].Dim == a.Dim && out[n-1].Key == a.Key && a.From <= out[n-1].To {
			out[n-1].To = max(out[n-1].To, a.To)
			continue
		}
		out = append(out, a)
	}
	return out
}

// Recorded runs a judgement and returns the questions it put to the facts.
func (b *Book) Recorded(judgement func()) []Ask { return b.record(judgement).flatten() }

func (b *Book) record(judgement func()) *askLog {
	log := new(askLog)
	outer := b.log
	b.log = log
	judgement()
	b.log = outer
	return log
}

// Needed is what a judgement needed where facts were let go.
type Needed struct {
	Asks  []Ask // as Recorded returns them
	Other []Ask // what was needed without being asked
	Lacks bool  // some of all that was gone
}

// Lacking runs a judgement and reports whether something that it needed was gone.
func (b *Book) Lacking(judgement func()) bool {
	logs, _ := b.record(judgement).all()
	return slices.ContainsFunc(logs, func(l *askLog) bool { return l.lacks })
}

// Needed runs a judgement and returns what it needed.
func (b *Book) Needed(judgement func()) (n Needed) {
	log := b.record(judgement)
	logs, _ := log.all()
	for _, l := range logs {
		n.Other, n.Lacks = append(n.Other, l.needs...), n.Lacks || l.lacks
	}
	n.Asks = log.flatten()
	return n
}

// asked notes a question that no time limits.
func (b *Book) asked(dim Dim, key string) { b.AskedBetween(dim, key, Ever, After) }

// AskedBetween notes a question about the facts of some time, in nanoseconds.
func (b *Book) AskedBetween(dim Dim, key string, from, to int64) {
	if b.log != nil {
		b.log.note(Ask{dim, key, from, to})
	}
}

// Nanos gives a moment as asks have it.
func Nanos(t time.Time) int64 { return t.UnixNano() }

// kept bounds what a cache remembers between two new facts.
const kept = 4096

// Cache keeps what was derived from the facts, by key, until a fact is added,
// and with it what was asked to derive it.
type Cache[K comparable, V any] struct {
	gen     uint64
	entries map[K]entry[V]
}

type entry[V any] struct {
	value V
	log   *askLog
}

// Get returns what is kept under a key, and builds it where nothing is.
func (c *Cache[K, V]) Get(b *Book, key K, build func() V) V {
	c.forgetOld(b)
	d, ok := c.entries[key]
	if !ok {
		d.log = new(askLog)
		outer := b.log
		b.log = d.log
		d.value = build()
		b.log = outer
		c.forgetOld(b) // building may have fetched facts
		c.entries[key] = d
	}
	if b.log != nil && !slices.Contains(b.log.uses, d.log) {
		b.log.uses = append(b.log.uses, d.log)
	}
	return d.value
}

func (c *Cache[K, V]) forgetOld(b *Book) {
	if c.entries == nil || c.gen != b.Gen || len(c.entries) > kept {
		c.gen, c.entries = b.Gen, make(map[K]entry[V])
	}
}
