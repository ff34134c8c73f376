// Package report writes verdicts and histories for people to read on a
// terminal and in a printed file.
package report

import (
	"fmt"
	"io"
	"strings"
	"text/tabwriter"
	"time"

	"listbound/projections"
)

// Caution stands wherever counts are shown.
const Caution = "A count that was called correct is no proof that nothing was left in a patient. The facility's " +
	"own policy and the manufacturers' instructions come first."

// printer keeps the first error, so that a report reads as one text in code too.
type printer struct {
	w   io.Writer
	err error
}

func (p *printer) f(format string, args ...any) {
	if p.err == nil {
		_, p.err = fmt.Fprintf(p.w, format, args...)
	}
}

// width of a paragraph on a terminal and on paper.
const width = 96

// wrapped prints a paragraph, each line indented.
func (p *printer) wrapped(indent, text string) {
	line := indent
	for _, word := range strings.Fields(text) {
		if len(line) > len(indent) && len([]rune(line))+1+len([]rune(word)) > width {
			p.f("%s\n", line)
			line = indent
		}
		if len(line) > len(indent) {
			line += " "
		}
		line += word
	}
	p.f("%s\n", line)
}

// At writes a time of the ledger: UTC, to the second.
func At(t time.Time) string {
	if t.IsZero() {
		return "-"
	}
	return t.UTC().Format("2006-01-02 15:04:05")
}

// Marks of a status: a shape as well as a word, for a reader without colour.
var marks = map[projections.Status]string{
	projections.Broken: "[X]", projections.Doubtful: "[?]", projections.Open: "[ ]", projections.Whole: "[=]",
}

// Title names what a verdict is about.
func Title(v projections.Verdict) string {
	if v.Station != "" {
		return "station " + v.Station
	}
	if v.Set == "" {
		return "unknown set"
	}
	return "set " + v.Set
}

// AsOf says as known at which moment all is that follows, nothing where it is now.
func AsOf(w io.Writer, at time.Time) {
	if !at.IsZero() {
		fmt.Fprintf(w, "AS KNOWN AT %s UTC, not now: what was recorded later is left out.\n\n", At(at))
	}
}

// Broken writes verdicts that are broken or doubtful, in the order given; those
// that stand together are one row.
func Broken(w io.Writer, vs []projections.Verdict) error {
	p := &printer{w: w}
	if len(vs) == 0 {
		p.f("No set has a broken or doubtful chain.\n\n")
	}
	for _, row := range projections.Rows(vs) {
		if len(row) == 1 {
			verdict(p, row[0])
		} else {
			together(p, row)
		}
		p.f("\n")
	}
	p.wrapped("", Caution)
	return p.err
}

// together writes verdicts that are one row: each set with what was found of it,
// and what is usually done once.
func together(p *printer, vs []projections.Verdict) {
	first := vs[0]
	p.f("%s %-8s %d sets opened at %s, week from Monday %s\n",
		marks[first.Status], first.Status, len(vs), first.Together.Room, first.Together.Week)
	next := ""
	for _, v := range vs {
		p.f("    %s", Title(v))
		if v.Case != "" {
			p.f(", case %s", v.Case)
		}
		p.f(", trip %s\n", v.Trip)
		for _, f := range v.Findings {
			p.f("      %s (%s), records %s%s\n", f.Code, f.Severity, seqs(f.Events), known(f))
			p.wrapped("        ", f.Says)
			if f.Next != "" && f.Next != next {
				p.wrapped("        ", "Next: "+f.Next)
				next = f.Next
			}
			acknowledged(p, "        ", f)
		}
	}
}

// NearMisses writes verdicts of which something was put right before use.
func NearMisses(w io.Writer, vs []projections.Verdict) error {
	p := &printer{w: w}
	if len(vs) == 0 {
		p.f("Nothing was found wrong and put right before use.\n\n")
	}
	for _, v := range vs {
		verdict(p, v)
		p.f("\n")
	}
	p.wrapped("", Caution)
	return p.err
}

func verdict(p *printer, v projections.Verdict) {
	p.f("%s %-8s %s", marks[v.Status], v.Status, Title(v))
	if v.Case != "" {
		p.f(", case %s", v.Case)
	}
	if v.Station == "" {
		if v.Opened {
			p.f(", opened")
		} else {
			p.f(", not opened yet")
		}
	}
	if v.Where != "" {
		p.f(", last seen at %s", v.Where)
	}
	if !v.Since.IsZero() {
		p.f(" %s UTC", At(v.Since))
	}
	p.f("\n")
	if v.Trip != "" {
		p.f("    trip %s\n", v.Trip)
	}
	if u := v.UsedInDoubt; u != nil {
		p.f("    used all the same: in doubt since %s UTC (%s), opened %s UTC\n", At(u.Since), u.Code, At(u.Opened))
	}
	for _, f := range v.Findings {
		p.f("    %s (%s), records %s%s\n", f.Code, f.Severity, seqs(f.Events), known(f))
		p.wrapped("      ", f.Says)
		if f.Next != "" {
			p.wrapped("      ", "Next: "+f.Next)
		}
		acknowledged(p, "      ", f)
	}
}

// known says when a finding was first known here, where that was told.
func known(f projections.Finding) string {
	switch {
	case f.Known.IsZero():
		return ""
	case f.KnownBy == 0:
		return fmt.Sprintf("; first known %s UTC, as time passed", At(f.Known))
	}
	return fmt.Sprintf("; first known %s UTC, by record %d", At(f.Known), f.KnownBy)
}

func acknowledged(p *printer, indent string, f projections.Finding) {
	for _, a := range f.Acknowledged {
		p.wrapped(indent, fmt.Sprintf("Seen by %s at %s UTC: %s (record %d)", a.By, At(a.Time), a.Reason, a.Seq))
	}
}

func seqs(ns []int64) string {
	if len(ns) == 0 {
		return "-"
	}
	var out []string
	for _, n := range ns {
		out = append(out, fmt.Sprint(n))
	}
	return strings.Join(out, ", ")
}

// History writes a history: what is asked, each event, the verdicts.
func History(w io.Writer, h *projections.History) error {
	p := &printer{w: w}
	p.f("History of %s\n", Asked(h))
	if h.AsOf.IsZero() {
		p.f("As known now: %d records in the ledger. Times are UTC.\n\n", h.Size)
	} else {
		p.f("As known at %s UTC. Times are UTC.\n\n", At(h.AsOf))
	}
	tw := tabwriter.NewWriter(p.w, 0, 0, 2, ' ', 0)
	t := &printer{w: tw}
	t.f("record\tobserved\trecorded\tstation\tby\twhat\n")
	for _, e := range h.Events {
		t.f("%d\t%s\t%s\t%s\t%s\t%s%s%s\n", e.Seq, At(e.Observed), At(e.Recorded), e.Station, dash(e.Operator),
			ofSet(h, e), e.Says, notes(e))
	}
	if t.err == nil {
		t.err = tw.Flush()
	}
	if p.err == nil {
		p.err = t.err
	}
	p.f("\n")
	for _, v := range h.Verdicts {
		verdict(p, v)
		if len(v.Findings) == 0 {
			p.f("    nothing found\n")
		}
		p.f("\n")
	}
	p.wrapped("", Caution)
	return p.err
}

// ofSet names the set that an event is of, where the history is of another set, a case
// or a load.
func ofSet(h *projections.History, e projections.HistoryEvent) string {
	if e.Set == "" || e.Set == h.Set {
		return ""
	}
	return e.Set + ": "
}

// Asked says what a history is of.
func Asked(h *projections.History) string {
	switch {
	case h.Case != "":
		return "case " + h.Case
	case h.Load != "":
		return "load " + h.Load
	case h.Trip != "":
		return strings.TrimSpace("set "+h.Set) + ", trip " + h.Trip
	}
	return "set " + h.Set
}

func notes(e projections.HistoryEvent) string {
	var out []string
	if e.Late {
		out = append(out, "came late")
	}
	if e.Voided != 0 {
		out = append(out, fmt.Sprintf("voided by record %d", e.Voided))
	}
	if e.Replaced != 0 {
		out = append(out, fmt.Sprintf("corrected by record %d", e.Replaced))
	}
	out = append(out, e.Remarks...)
	if len(out) == 0 {
		return ""
	}
	return " [" + strings.Join(out, "; ") + "]"
}

func dash(s string) string {
	if s == "" {
		return "-"
	}
	return s
}
