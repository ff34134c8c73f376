package bundle

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"listbound/ledger/proof"
)

// custodyFile says whose key lies where.
const custodyFile = "keys"

// Custody says whose signing key lies where, and who outside has seen the ledger. Whoever has the server's data folder
// can sign as the ledger and as each station whose key lies there: then the ledger's history hangs on what was seen
// outside. It is the ledger's own word. As a file:
//
//	listbound keys v1
//	server north/or-3
//	own north/packing-1
//	witness south.example/witness 2311 2026-03-06T18:00:00Z
//	timestamp 2311 2026-03-06T18:00:00Z
type Custody struct {
	Server    []string `json:"server,omitempty"`    // stations whose keys lie with the ledger
	Own       []string `json:"own,omitempty"`       // stations that keep a key of their own
	Witnesses []Seen   `json:"witnesses,omitempty"` // by the names of their keys
	Timestamp *Seen    `json:"timestamp,omitempty"` // the newest one by an authority
}

// Seen says how much of the ledger somebody outside has seen, and when.
type Seen struct {
	Name string    `json:"name,omitempty"`
	Size int64     `json:"size"`
	At   time.Time `json:"at"`
}

const custodyHeader = "listbound keys v1"

// Marshal returns the file.
func (c *Custody) Marshal() []byte {
	var b strings.Builder
	fmt.Fprintln(&b, custodyHeader)
	for _, name := range c.Server {
		fmt.Fprintln(&b, "server", name)
	}
	for _, name := range c.Own {
		fmt.Fprintln(&b, "own", name)
	}
	for _, w := range c.Witnesses {
		fmt.Fprintln(&b, "witness", w.Name, w.Size, w.At.UTC().Format(time.RFC3339))
	}
	if t := c.Timestamp; t != nil {
		fmt.Fprintln(&b, "timestamp", t.Size, t.At.UTC().Format(time.RFC3339))
	}
	return []byte(b.String())
}

// parseCustody reads the file in its one spelling.
func parseCustody(data []byte) (*Custody, error) {
	head, rest, _ := strings.Cut(string(data), "\n")
	if head != custodyHeader {
		return nil, fmt.Errorf("it does not begin with %q", custodyHeader)
	}
	c := &Custody{}
	for line := range strings.Lines(rest) {
		words := strings.Fields(line)
		var err error
		switch {
		case len(words) == 2 && words[0] == "server":
			c.Server = append(c.Server, words[1])
		case len(words) == 2 && words[0] == "own":
			c.Own = append(c.Own, words[1])
		case len(words) == 4 && words[0] == "witness":
			s := Seen{Name: words[1]}
			err = s.read(words[2:])
			c.Witnesses = append(c.Witnesses, s)
		case len(words) == 3 && words[0] == "timestamp":
			c.Timestamp = &Seen{}
			err = c.Timestamp.read(words[1:])
		default:
			err = fmt.Errorf("%q says nothing that is known here", line)
		}
		if err != nil {
			return nil, err
		}
	}
	if string(c.Marshal()) != string(data) {
		return nil, fmt.Errorf("it is not written as %q is", custodyHeader)
	}
	return c, nil
}

func (s *Seen) read(words []string) (err error) {
	if s.Size, err = strconv.ParseInt(words[0], 10, 64); err == nil {
		s.At, err = time.Parse(time.RFC3339, words[1])
	}
	return err
}

// custody reads whose key lies where, of every station that has a record here.
func (r *Report) custody(b *proof.Bundle, all []*entry) {
	data, ok := b.File(custodyFile)
	if !ok {
		return // an earlier program's
	}
	c, err := parseCustody(data)
	if err != nil {
		r.add(-1, custodyFile, err.Error())
		return
	}
	r.Custody = c
	told := make(map[string]bool)
	for _, e := range all {
		name := e.event.Station
		if name == r.Ledger || told[name] {
			continue
		}
		told[name] = true
		if slices.Contains(c.Server, name) == slices.Contains(c.Own, name) {
			r.add(-1, custodyFile, fmt.Sprintf("it does not say where the key of %s lies, or says two things", name))
		}
	}
}
