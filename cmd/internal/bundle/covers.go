package bundle

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"listbound/ledger/proof"
)

// Names of the files that say what a bundle covers, and prove it.
const (
	coversFile = "covers"
	headsDir   = "heads/"
	headSuffix = ".head"
)

// Everything, in Covers.Of, is the whole ledger.
const Everything = "everything"

// Covers is what a bundle says that it holds without anything left out, and how its history was made. As a file:
//
//	listbound covers v1
//	of case K-0409
//	judged 2026-03-06T18:00:00Z
//	size 2312
//	map 2312
//	program 0.9 (judgement …)
//	judgement <hex>
//	whole case K-0409
//	part set LAP-004 417 793
//	none site north
//
// Where a history is as known at an earlier moment, the lines "asof <time>" and "upto <record>" stand after judged.
type Covers struct {
	Of     string    // "set LAP-014", "trip …", "case K-0409", "load S2-0302-04", or Everything
	Judged time.Time // as of when is judged
	AsOf   time.Time // as known at, zero for now
	Upto   int64     // with AsOf: the last record there was then
	Size   int64     // records there were when the history was made
	Map    int64     // the record that says which is the newest about each key, 0 for none
	// Program made the history, by the judgement with this fingerprint.
	Program, Judgement string
	Whole              []string // keys of which all records are here
	Part               []Part   // keys of which the records from one number to another are here
	None               []string // keys of which there is no record
}

// Part is a part of what is about one set: from a packing, or its first record, to its next packing or the newest record.
type Part struct {
	Key      string
	From, To int64
}

const coversHeader = "listbound covers v1"

// Marshal returns the file.
func (c *Covers) Marshal() []byte {
	var b strings.Builder
	line := func(word, rest string) { fmt.Fprintf(&b, "%s %s\n", word, rest) }
	number := func(n int64) string { return strconv.FormatInt(n, 10) }
	b.WriteString(coversHeader + "\n")
	line("of", c.Of)
	line("judged", c.Judged.UTC().Format(time.RFC3339Nano))
	if !c.AsOf.IsZero() {
		line("asof", c.AsOf.UTC().Format(time.RFC3339Nano))
		line("upto", number(c.Upto))
	}
	line("size", number(c.Size))
	line("map", number(c.Map))
	line("program", c.Program)
	line("judgement", c.Judgement)
	for _, key := range c.Whole {
		line("whole", key)
	}
	for _, p := range c.Part {
		line("part", fmt.Sprintf("%s %d %d", p.Key, p.From, p.To))
	}
	for _, key := range c.None {
		line("none", key)
	}
	return []byte(b.String())
}

// ParseCovers reads the file in its one spelling.
func ParseCovers(data []byte) (*Covers, error) {
	lines := strings.Split(strings.TrimSuffix(string(data), "\n"), "\n")
	if lines[0] != coversHeader {
		return nil, fmt.Errorf("it does not begin with %q", coversHeader)
	}
	c := &Covers{}
	for _, text := range lines[1:] {
		word, rest, _ := strings.Cut(text, " ")
		var err error
		switch word {
		case "of":
			c.Of = rest
		case "judged":
			c.Judged, err = time.Parse(time.RFC3339Nano, rest)
		case "asof":
			c.AsOf, err = time.Parse(time.RFC3339Nano, rest)
		case "upto":
			c.Upto, err = strconv.ParseInt(rest, 10, 64)
		case "size":
			c.Size, err = strconv.ParseInt(rest, 10, 64)
		case "map":
			c.Map, err = strconv.ParseInt(rest, 10, 64)
		case "program":
			c.Program = rest
		case "judgement":
			c.Judgement = rest
		case "whole":
			c.Whole = append(c.Whole, rest)
		case "part":
			words := strings.Split(rest, " ")
			if len(words) < 3 {
				err = fmt.Errorf("%q is no part: a key and two records", rest)
				break
			}
			p := Part{Key: strings.Join(words[:len(words)-2], " ")}
			if p.From, err = strconv.ParseInt(words[len(words)-2], 10, 64); err == nil {
				p.To, err = strconv.ParseInt(words[len(words)-1], 10, 64)
			}
			c.Part = append(c.Part, p)
		case "none":
			c.None = append(c.None, rest)
		default:
			err = fmt.Errorf("%q says nothing that is known here", text)
		}
		if err != nil {
			return nil, err
		}
	}
	if string(c.Marshal()) != string(data) {
		return nil, fmt.Errorf("it is not written as %q is", coversHeader)
	}
	return c, nil
}

// headFile returns a proof of a head as a file's name and content.
func headFile(p proof.HeadProof) proof.File {
	return proof.File{Path: fmt.Sprintf("%s%09d%s", headsDir, p.Index, headSuffix), Data: p.Marshal()}
}
