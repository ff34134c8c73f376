package events

import (
	"crypto/sha256"
	"strings"
	"time"
)

// A Reader reads many records. It takes the common shape of a canonical event
// by hand, which is several times faster than the JSON library (a rebuild reads
// a million of them), and everything else through Decode: what it can't take at
// sight is not its to judge. A fuzz test holds the two together. It also keeps
// one copy of the strings that come again and again, which halves what a rebuild
// holds in memory. It is not safe for concurrent use.
type Reader struct {
	seen map[string]string
}

// NewReader returns a Reader for a run of records.
func NewReader() *Reader { return &Reader{seen: make(map[string]string)} }

// Parse reads a station's note for an audit, like the function of that name.
func (r *Reader) Parse(n []byte) Parsed {
	text, err := Text(n)
	if err != nil {
		return Parsed{Note: n, Hash: sha256.Sum256(n), Err: err}
	}
	if e := r.event(text); e != nil {
		return Parsed{Note: n, Hash: sha256.Sum256(n), Event: e}
	}
	return Parse(n)
}

// cursor walks over canonical JSON. bad is set at the first thing it can't
// take, and then everything it returned is void.
type cursor struct {
	b   []byte
	i   int
	bad bool
	r   *Reader
}

// event returns nil for what is not of the common shape.
func (r *Reader) event(text []byte) *Event {
	c := &cursor{b: text, r: r}
	e := &Event{}
	c.lit(`{"data":`)
	start := c.i
	c.skipObject()
	data := text[start:c.i]
	c.lit(`,"id":`)
	e.ID = string(c.raw())
	if c.next(`,"operator":`) {
		e.Operator = c.str()
	}
	c.lit(`,"source":`)
	station, ok := strings.CutPrefix(c.str(), sourceStart)
	if !ok {
		return nil
	}
	e.Station = station
	c.lit(`,"specversion":"` + specVersion + `"`)
	if c.next(`,"stationprev":`) {
		e.StationPrev = string(c.raw())
	}
	c.lit(`,"stationseq":`)
	e.StationSeq = c.num()
	c.lit(`,"subject":`)
	e.Subject = c.str()
	c.lit(`,"time":`)
	e.Time = c.time()
	if c.next(`,"trip":`) {
		e.Trip = c.str()
	}
	c.lit(`,"type":`)
	kind := c.kind()
	c.lit(`}`)
	if c.bad || c.i != len(text) {
		return nil
	}
	d := &cursor{b: data, r: r}
	e.Data = d.data(kind)
	if d.bad || d.i != len(data) {
		return nil
	}
	return e
}

func (c *cursor) fail() { c.bad = true }

// next takes a literal if it is there.
func (c *cursor) next(s string) bool {
	if !c.bad && len(c.b)-c.i >= len(s) && string(c.b[c.i:c.i+len(s)]) == s {
		c.i += len(s)
		return true
	}
	return false
}

func (c *cursor) lit(s string) {
	if !c.next(s) {
		c.fail()
	}
}

// raw takes a string of plain ASCII without escapes.
func (c *cursor) raw() []byte {
	c.lit(`"`)
	if c.bad {
		return nil
	}
	for j := c.i; j < len(c.b); j++ {
		switch ch := c.b[j]; {
		case ch == '"':
			s := c.b[c.i:j]
			c.i = j + 1
			return s
		case ch == '\\' || ch < 0x20 || ch >= 0x7f:
			c.fail()
			return nil
		}
	}
	c.fail()
	return nil
}

// str takes a string that other records may have too.
func (c *cursor) str() string {
	b := c.raw()
	if s, ok := c.r.seen[string(b)]; ok {
		return s
	}
	s := string(b)
	c.r.seen[s] = s
	return s
}

func (c *cursor) num() int64 {
	const digits = 15 // well within 2^53
	start := c.i
	var n int64
	for c.i < len(c.b) && c.b[c.i] >= '0' && c.b[c.i] <= '9' && c.i-start < digits {
		n = n*10 + int64(c.b[c.i]-'0')
		c.i++
	}
	if c.i == start || c.b[start] == '0' && c.i > start+1 || c.i == len(c.b) || !strings.ContainsRune(",}]", rune(c.b[c.i])) {
		c.fail()
	}
	return n
}

// time takes the form in which nearly all times come: UTC, whole seconds.
func (c *cursor) time() time.Time {
	b := c.raw()
	const form = "2006-01-02T15:04:05Z"
	if len(b) != len(form) || b[4] != '-' || b[7] != '-' || b[10] != 'T' || b[13] != ':' || b[16] != ':' || b[19] != 'Z' {
		c.fail()
		return time.Time{}
	}
	two := func(i int) int {
		if b[i] < '0' || b[i] > '9' || b[i+1] < '0' || b[i+1] > '9' {
			c.fail()
		}
		return int(b[i]-'0')*10 + int(b[i+1]-'0')
	}
	year, month, day := two(0)*100+two(2), two(5), two(8)
	hour, minute, second := two(11), two(14), two(17)
	t := time.Date(year, time.Month(month), day, hour, minute, second, 0, time.UTC)
	// A date that is not in the calendar comes back as another.
	if y, m, d := t.Date(); y != year || int(m) != month || d != day || hour > 23 || minute > 59 || second > 59 {
		c.fail()
	}
	return t
}

func (c *cursor) kind() Kind {
	b := c.raw()
	if len(b) < len(typePrefix)+len(typeSuffix) || string(b[:len(typePrefix)]) != typePrefix || string(b[len(b)-len(typeSuffix):]) != typeSuffix {
		c.fail()
		return ""
	}
	switch k := b[len(typePrefix) : len(b)-len(typeSuffix)]; string(k) {
	case string(KindSetPacked):
		return KindSetPacked
	case string(KindListSealed):
		return KindListSealed
	case string(KindSetSterilized):
		return KindSetSterilized
	case string(KindSetChecked):
		return KindSetChecked
	case string(KindSetOpened):
		return KindSetOpened
	case string(KindSetCounted):
		return KindSetCounted
	}
	c.fail() // the rare kinds go through the library
	return ""
}

// skipObject passes over an object without reading it.
func (c *cursor) skipObject() {
	if c.bad || c.i >= len(c.b) || c.b[c.i] != '{' {
		c.fail()
		return
	}
	depth, inString := 0, false
	for ; c.i < len(c.b); c.i++ {
		switch ch := c.b[c.i]; {
		case ch == '\\':
			c.fail()
			return
		case ch == '"':
			inString = !inString
		case inString:
		case ch == '{' || ch == '[':
			depth++
		case ch == '}' || ch == ']':
			if depth--; depth == 0 {
				c.i++
				return
			}
		}
	}
	c.fail()
}

// object takes members whose names ascend, as canonical JSON has them.
func (c *cursor) object(member func(name string)) {
	c.lit(`{`)
	last := ""
	for first := true; !c.bad; first = false {
		if c.next(`}`) {
			return
		}
		if !first {
			c.lit(`,`)
		}
		name := c.str()
		c.lit(`:`)
		if c.bad || name <= last {
			c.fail()
			return
		}
		last = name
		member(name)
	}
}

// array takes elements.
func (c *cursor) array(element func()) {
	c.lit(`[`)
	for first := true; !c.bad; first = false {
		if c.next(`]`) {
			return
		}
		if !first {
			c.lit(`,`)
		}
		if !c.bad {
			element()
		}
	}
}

func (c *cursor) flag() bool {
	if c.next(`true`) {
		return true
	}
	c.lit(`false`)
	return false
}

func (c *cursor) strs() []string {
	out := []string{}
	c.array(func() { out = append(out, c.str()) })
	return out
}

func (c *cursor) reading() *Reading {
	r := &Reading{}
	c.object(func(name string) {
		switch name {
		case "code":
			r.Code = c.str()
		case "found":
			r.Found = c.str()
		case "unreadable":
			r.Unreadable = c.flag()
		default:
			c.fail()
		}
	})
	return r
}

func (c *cursor) data(k Kind) Data {
	switch k {
	case KindSetPacked:
		return c.packed()
	case KindListSealed:
		return c.sealed()
	case KindSetSterilized:
		return c.sterilized()
	case KindSetChecked:
		return c.checked()
	case KindSetOpened:
		return c.opened()
	}
	return c.counted()
}

func (c *cursor) packed() *SetPacked {
	d := &SetPacked{}
	c.object(func(name string) {
		switch name {
		case "list":
			d.List = c.str()
		case "note":
			d.Note = c.str()
		case "version":
			d.Version = c.num()
		case "weightGrams":
			d.WeightGrams = c.num()
		default: // exceptions among them: not common
			c.fail()
		}
	})
	return d
}

func (c *cursor) sealed() *ListSealed {
	d := &ListSealed{}
	c.object(func(name string) {
		switch name {
		case "bagLot":
			d.BagLot = c.str()
		case "binding":
			d.Binding = string(c.raw())
		case "code":
			d.Code = c.str()
		case "list":
			d.List = c.str()
		case "listDigest":
			d.ListDigest = c.str()
		case "placement":
			d.Placement = Placement(c.str())
		case "seals":
			d.Seals = c.strs()
		case "version":
			d.Version = c.num()
		default:
			c.fail()
		}
	})
	return d
}

func (c *cursor) sterilized() *SetSterilized {
	d := &SetSterilized{}
	c.object(func(name string) {
		switch name {
		case "cycle":
			d.Cycle = c.str()
		case "load":
			d.Load = c.str()
		case "released":
			d.Released = c.flag()
		case "result":
			d.Result = c.str()
		case "run":
			d.Run = c.num()
		case "sterilizer":
			d.Sterilizer = c.str()
		default:
			c.fail()
		}
	})
	return d
}

func (c *cursor) checked() *SetChecked {
	d := &SetChecked{}
	c.object(func(name string) {
		switch name {
		case "outerLabel":
			d.OuterLabel = c.str()
		case "place":
			d.Place = c.str()
		case "sealBroken":
			d.SealBroken = c.flag()
		case "seals":
			d.Seals = c.strs()
		case "sheet":
			d.Sheet = c.reading()
		case "tag":
			d.Tag = c.str()
		default:
			c.fail()
		}
	})
	return d
}

func (c *cursor) opened() *SetOpened {
	d := &SetOpened{}
	c.object(func(name string) {
		switch name {
		case "case":
			d.Case = c.str()
		case "indicator":
			d.Indicator = c.str()
		case "outerLabel":
			d.OuterLabel = c.str()
		case "room":
			d.Room = c.str()
		case "sealBroken":
			d.SealBroken = c.flag()
		case "seals":
			d.Seals = c.strs()
		case "sheet":
			d.Sheet = c.reading()
		case "tag":
			d.Tag = c.str()
		default:
			c.fail()
		}
	})
	return d
}

func (c *cursor) counted() *SetCounted {
	d := &SetCounted{}
	c.object(func(name string) {
		switch name {
		case "case":
			d.Case = c.str()
		case "counter":
			d.Counter = c.str()
		case "counts":
			d.Counts = make([]Count, 0, 24)
			c.array(func() { d.Counts = append(d.Counts, c.count()) })
		case "sheet":
			d.Sheet = c.str()
		case "stage":
			d.Stage = Stage(c.str())
		case "witness":
			d.Witness = c.str()
		default: // what was removed: not common
			c.fail()
		}
	})
	return d
}

func (c *cursor) count() (n Count) {
	c.lit(`{"counted":`)
	n.Counted = c.num()
	c.lit(`,"line":`)
	n.Line = c.num()
	c.lit(`}`)
	return n
}
