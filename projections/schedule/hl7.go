package schedule

import (
	"math"
	"slices"
	"strconv"
	"strings"
	"time"
)

// HL7 v2.5.1: the rules of encoding are in chapter 2, the messages and segments of scheduling in chapter 10; MLLP is "HL7
// Minimal Lower Layer Protocol, Release 2": a message stands between VT and FS CR.
const (
	blockBegin = "\x0b"
	blockEnd   = "\x1c"
)

// isHL7 reports whether a text begins as a message, or a batch of them, does.
func isHL7(text string) bool {
	text = strings.TrimLeft(text, blockBegin+" \t\r\n")
	return len(text) > 3 && slices.Contains([]string{"MSH", "FHS", "BHS"}, text[:3]) && !isWord(text[3])
}

func isWord(c byte) bool { return c == '_' || c >= '0' && c <= '9' || c|0x20 >= 'a' && c|0x20 <= 'z' }

// message is one message's segments of those that are read.
type message struct {
	row      int
	seps     separators
	event    string
	said     string
	segments [][]string // split into fields, the first its name
}

// separators are the characters that a message's MSH-1 and MSH-2 name.
type separators struct{ field, component, repetition, escape, part string }

// readSegments are all that is ever split: patients are in none of them.
var readSegments = []string{"SCH", "TQ1", "RGS", "AIS", "AIG", "AIL"}

func (r *reader) hl7(text string) {
	text = strings.NewReplacer(blockEnd+blockBegin, "\r", blockBegin, "", blockEnd, "", "\r\n", "\r", "\n", "\r").Replace(text)
	var m *message
	end := func() {
		if m != nil {
			r.message(m)
		}
	}
	row := 0
	for line := range strings.SplitSeq(text, "\r") {
		row++
		name := line[:min(3, len(line))]
		switch {
		case name == "MSH":
			end()
			m = r.header(row, line)
		case m != nil && slices.Contains(readSegments, name) && strings.HasPrefix(line[3:], m.seps.field):
			m.segments = append(m.segments, strings.Split(line, m.seps.field))
		}
	}
	end()
}

// header reads an MSH, whose first field is the separator itself; nil for one that can't be read.
func (r *reader) header(row int, line string) *message {
	const encoding = 4 // of characters in MSH-2; a fifth, for truncation, may follow in later versions
	if len(line) < len("MSH|")+encoding {
		r.wrong(row, "msh-cut")
		return nil
	}
	s := separators{line[3:4], line[4:5], line[5:6], line[6:7], line[7:8]}
	all := s.field + s.component + s.repetition + s.escape + s.part
	for i := range all {
		if isWord(all[i]) || all[i] >= 0x7f || all[i] <= ' ' || strings.IndexByte(all, all[i]) != i {
			r.wrong(row, "msh-separators")
			return nil
		}
	}
	m := &message{row: row, seps: s}
	fields := append([]string{"MSH"}, strings.Split(line, s.field)...) // so that fields have their numbers
	m.said = m.component(fields, 7, 1)
	if kind := m.component(fields, 9, 1); kind == "SIU" {
		m.event = m.component(fields, 9, 2)
	}
	return m
}

// triggers are the events that are read. S17, a deletion, takes back an appointment that should never have been there.
var triggers = map[string]State{"S12": Booked, "S13": Changed, "S14": Changed, "S15": Cancelled, "S17": Cancelled}

func (r *reader) message(m *message) {
	state, ok := triggers[m.event]
	if !ok {
		r.out.Passed++
		return
	}
	e := &Entry{Row: m.row, State: state}
	sch := m.first("SCH")
	if sch == nil {
		r.wrong(m.row, "no-sch")
		return
	}
	// The filler's id is that of whoever keeps the schedule; the placer's that of whoever asked for the appointment.
	e.Case = r.caseOf(m.component(sch, 2, 1), m.component(sch, 1, 1), m.component(sch, 27, 1), m.component(sch, 26, 1))
	if e.Case == "" {
		r.wrong(m.row, "no-case-id")
		return
	}
	if !r.stamp(m, "MSH-7", m.said, &e.Said) || !r.begins(m, sch, &e.Start) {
		return
	}
	e.Room = m.room()
	if !r.resources(m, e) {
		return
	}
	r.add(e)
}

// begins reads the start: of the service, of the appointment, or of the room.
func (r *reader) begins(m *message, sch []string, into *time.Time) bool {
	for _, of := range []struct {
		name, segment string
		field         int
	}{{"AIS-4", "AIS", 4}, {"TQ1-7", "TQ1", 7}, {"SCH-11", "", 11}, {"AIL-6", "AIL", 6}} {
		value := ""
		if of.segment == "" {
			value = m.component(sch, of.field, 4)
		} else if s := m.first(of.segment); s != nil {
			value = m.component(s, of.field, 1)
		}
		if value != "" {
			return r.stamp(m, of.name, value, into)
		}
	}
	return true
}

// room is the first location that is not taken off: its room, else what it is called as a point of care.
func (m *message) room() string {
	for _, s := range m.all("AIL") {
		if name := m.component(s, 3, 2); name != "" {
			return room(name)
		}
		if name := m.component(s, 3, 1); name != "" {
			return room(name)
		}
	}
	return ""
}

// resources reads what the appointment wants. A general resource may be anything; only its id is read, and it is kept only
// where a list or set is called so.
func (r *reader) resources(m *message, e *Entry) bool {
	if m.has("AIG") {
		e.Wanted = []Wanted{}
	}
	for _, s := range m.all("AIG") {
		w := Wanted{Count: AsCount, Perhaps: true}
		for _, at := range []int{1, 4} {
			if id := m.component(s, 3, at); id != "" {
				w.IDs = append(w.IDs, id)
			}
		}
		if n := m.component(s, 6, 1); n != "" {
			// A quantity such as 2.0 is a whole number of sets all the same.
			q, err := strconv.ParseFloat(n, 64)
			if err != nil || q < 1 || q > maxWanted || q != math.Trunc(q) {
				r.wrong(m.row, "aig-quantity", maxWanted)
				return false
			}
			w.Count = int64(q)
		}
		if len(w.IDs) > 0 {
			e.Wanted = append(e.Wanted, w)
		}
	}
	for _, s := range m.all("AIS") {
		if id := m.component(s, 3, 1); id != "" {
			e.Wanted = append(e.Wanted, Wanted{IDs: []string{id}, Count: AsCount, As: AList, Perhaps: true})
		}
	}
	return true
}

func (m *message) has(name string) bool {
	return slices.ContainsFunc(m.segments, func(s []string) bool { return s[0] == name })
}

// all are the segments of a name, without the resources that a change takes off (segment action code D).
func (m *message) all(name string) (out [][]string) {
	for _, s := range m.segments {
		if s[0] == name && (s[0] == "SCH" || s[0] == "TQ1" || m.component(s, 2, 1) != "D") {
			out = append(out, s)
		}
	}
	return out
}

func (m *message) first(name string) []string {
	if all := m.all(name); len(all) > 0 {
		return all[0]
	}
	return nil
}

// component returns a component of a field's first repetition, its escapes resolved; "" for one that is not there. A field
// that is to be deleted ("") is none.
func (m *message) component(segment []string, field, n int) string {
	if field >= len(segment) {
		return ""
	}
	first, _, _ := strings.Cut(segment[field], m.seps.repetition)
	parts := strings.Split(first, m.seps.component)
	if n > len(parts) {
		return ""
	}
	text, _, _ := strings.Cut(parts[n-1], m.seps.part)
	if text = strings.TrimSpace(text); text == `""` {
		return ""
	}
	return m.unescape(text)
}

// unescape resolves the escapes of 2.7 that stand for a character. Those of highlighting and formatting are left out.
func (m *message) unescape(text string) string {
	e := m.seps.escape
	var out strings.Builder // a field may be as long as the file, and hold nothing but escapes
	for {
		before, rest, _ := strings.Cut(text, e)
		code, after, closed := strings.Cut(rest, e)
		if !closed {
			out.WriteString(text)
			return out.String()
		}
		out.WriteString(before)
		out.WriteString(m.escaped(code))
		text = after
	}
}

func (m *message) escaped(code string) string {
	switch code {
	case "F":
		return m.seps.field
	case "S":
		return m.seps.component
	case "R":
		return m.seps.repetition
	case "T":
		return m.seps.part
	case "E":
		return m.seps.escape
	}
	if hex, ok := strings.CutPrefix(code, "X"); ok && len(hex)%2 == 0 {
		var out []byte
		for i := 0; i < len(hex); i += 2 {
			b, err := strconv.ParseUint(hex[i:i+2], 16, 8)
			if err != nil || b < ' ' {
				return ""
			}
			out = append(out, byte(b))
		}
		return strings.ToValidUTF8(string(out), "")
	}
	return ""
}

// stamp reads a time stamp (TS, 2.A.75): YYYYMMDDHHMM[SS[.S…]][+/-ZZZZ]. Without a zone it is by the site's clocks.
func (r *reader) stamp(m *message, field, text string, into *time.Time) bool {
	if text == "" {
		return true
	}
	digits, zone := text, ""
	if i := strings.IndexAny(text, "+-"); i >= 0 {
		digits, zone = text[:i], text[i:]
	}
	digits, _, _ = strings.Cut(digits, ".")
	t, err := time.Parse("20060102150405"[:min(len(digits), 14)], digits)
	if err != nil || len(digits) < len("200601021504") || len(digits) > 14 || len(digits)%2 != 0 {
		r.wrong(m.row, "no-stamp", field)
		return false
	}
	if zone != "" {
		if t, err = time.Parse("20060102150405-0700", t.Format("20060102150405")+zone); err != nil {
			r.wrong(m.row, "no-zone", field)
			return false
		}
		*into = t
		return true
	}
	var shown bool
	if *into, shown = r.at(t.Year(), int(t.Month()), t.Day(), t.Hour(), t.Minute(), t.Second()); !shown {
		r.wrong(m.row, "clocks-forward", field)
	}
	return shown
}
