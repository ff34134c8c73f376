package board

import (
	"context"
	"encoding/base64"
	"encoding/hex"
	"fmt"
	"net/http"
	"slices"
	"strings"

	"listbound/cmd/internal/bundle"
	"listbound/cmd/internal/paper"
	"listbound/cmd/internal/refusal"
	"listbound/cmd/internal/shell"
	"listbound/cmd/internal/site"
	"listbound/ledger/proof"
	"listbound/projections"
)

// reportPDF is the history on paper, for somebody who does not take our word:
// what was asked, what is known, by which records, what can't be known, and
// how to check it.
func (p *pages) reportPDF(w http.ResponseWriter, r *http.Request) {
	words := p.sh.Words(r)
	r, err := p.atMoment(r, words)
	var q site.Query
	if err == nil {
		q, err = asked(r)
	}
	if err == nil {
		err = p.sh.CheckLanguage(r)
	}
	if err == nil {
		var raw []byte
		if raw, err = p.report(r.Context(), shell.WordsIn(p.site.Words(), words.Lang), q); err == nil {
			w.Header().Set("Content-Type", "application/pdf")
			w.Header().Set("Content-Disposition", `inline; filename="report.pdf"`)
			w.Write(raw) // a client that has gone away needs no answer
			return
		}
	}
	p.refuse(w, r, words, err)
}

// Report is the same report for who asks the data folder itself, in a language
// that its texts are written in.
func Report(ctx context.Context, s *site.Site, lang string, q site.Query) ([]byte, error) {
	words := shell.WordsIn(s.Words(), lang)
	if words == nil {
		return nil, refusal.Keyed("report-language", "a report is written in one of %s, not in %q",
			strings.Join(s.Words().Languages(), ", "), lang)
	}
	return (&pages{site: s}).report(ctx, words, q)
}

// witness is what proves one record.
type witness struct {
	seq    int64
	leaf   string   // RFC 6962 leaf hash of the record as stored, hex
	signed []string // signature names, with the number of the key
}

func (p *pages) report(ctx context.Context, words *shell.Words, q site.Query) ([]byte, error) {
	l, err := p.look(ctx, q, 0)
	if err != nil {
		return nil, err
	}
	seqs := make([]int64, 0, len(l.Events))
	for _, e := range l.Events {
		seqs = append(seqs, e.Seq)
	}
	for _, v := range l.Verdicts {
		for _, f := range v.Findings {
			seqs = append(seqs, f.Events...)
			for _, a := range f.Acknowledged {
				seqs = append(seqs, a.Seq)
			}
		}
	}
	slices.Sort(seqs)
	var witnesses []witness
	for _, seq := range slices.Compact(seqs) {
		raw, err := p.site.ReadRecord(seq)
		if err != nil {
			return nil, err
		}
		leaf := proof.LeafHash(raw)
		witnesses = append(witnesses, witness{seq, hex.EncodeToString(leaf[:]), signatures(raw)})
	}
	cp, err := p.site.Checkpoint(ctx)
	if err != nil {
		return nil, err
	}
	custody, err := p.site.Custody(ctx, func(name string) (from int64) {
		for _, e := range l.Events {
			if e.Station == name && (from == 0 || e.Seq < from) {
				from = e.Seq
			}
		}
		return from
	})
	if err != nil {
		return nil, err
	}
	runs, err := p.runsFor(ctx, words, q)
	if err != nil {
		return nil, err
	}
	return p.writeReport(words, cp, l, q, witnesses, custody, runs)
}

// signatures returns the names on a record's signature lines, each with the
// number of its key (C2SP signed-note: the first four bytes of the signature).
func signatures(record []byte) []string {
	var out []string
	_, sigs, _ := strings.Cut(string(record), "\n\n")
	for line := range strings.Lines(sigs) {
		name, b64, ok := strings.Cut(strings.TrimSpace(strings.TrimPrefix(line, "— ")), " ")
		if !ok {
			continue
		}
		sig, err := base64.StdEncoding.DecodeString(b64)
		if err != nil || len(sig) < 4 {
			out = append(out, name)
			continue
		}
		out = append(out, fmt.Sprintf("%s (%x)", name, sig[:4]))
	}
	return out
}

// practising is what stands across a print of an invented ledger, "" of a real one.
func (p *pages) practising(words *shell.Words) string {
	if p.sh == nil || !p.sh.Practice {
		return ""
	}
	return words.T("paper.practice")
}

func (p *pages) writeReport(words *shell.Words, cp proof.Checkpoint, l *look, q site.Query,
	witnesses []witness, custody *bundle.Custody, runs []paperRun) ([]byte, error) {
	s := p.site
	kind, id := what(q)
	subject := words.T("board.what-"+kind) + " " + id
	if kind == "trip" {
		subject = words.T("board.what-set") + " " + l.Set + ", " + subject
	}
	made := s.Clock()
	footer := words.T("board.report-footer", subject, s.Name(), "%page%", "%pages%") + " " + words.T("shell.caution")
	return paper.WriteDocument(words.T("board.report-title"), words.Lang, footer, made, func(d *paper.Document) {
		d.Mark(p.practising(words))
		d.Title(words.T("board.report-title"))
		d.Heading(words.T("board.report-asked"))
		d.Text(words.T("board.report-asked-of", subject, s.Name()))
		if q.AsOf.IsZero() {
			d.Text(words.T("board.report-as-now", words.Time(made), l.Size))
		} else {
			d.Text(words.T("board.report-as-of", q.AsOf.UTC().Format("2006-01-02 15:04:05"), words.Time(made)))
		}
		d.Text(words.T("board.report-judged-by", site.Program()))
		d.Text(words.T("shell.utc"))
		reportKnown(d, words, l)
		reportRuns(d, words, runs)
		reportEvents(d, words, l)
		if d.Lacked() {
			d.Strong(words.T("board.report-lacked"))
		}
		d.Heading(words.T("board.report-unknown"))
		for _, k := range []string{"truth", "unseen", "count", "clock", "window"} {
			d.Text("– " + words.T("board.report-unknown-"+k))
		}
		d.Heading(words.T("shell.custody"))
		for _, line := range p.custody(words, custody) {
			d.Text("– " + line)
		}
		d.Heading(words.T("board.report-check"))
		d.Text(words.T("board.report-check-bundle"))
		d.Code("listbound evidence --" + kind + " " + id + " --out evidence.zip")
		d.Code(`listbound-verify --key "$(cat KEY)" evidence.zip`)
		d.Text(words.T("board.report-check-public"))
		d.Text(words.T("board.report-key"))
		d.Code(s.Key())
		d.Text(words.T("board.report-root", cp.Size))
		d.Code(hex.EncodeToString(cp.Root[:]))
		d.Heading(words.T("board.report-records", len(witnesses)))
		d.Text(words.T("board.report-records-how"))
		var rows [][]string
		for _, x := range witnesses {
			rows = append(rows, []string{fmt.Sprint(x.seq), x.leaf, strings.Join(x.signed, ", ")})
		}
		d.Table([]paper.Column{{Title: words.T("board.column-record"), Share: 1},
			{Title: words.T("board.column-leaf"), Share: 6.6, Code: true},
			{Title: words.T("board.column-signed"), Share: 4.6}}, rows)
	})
}

func reportKnown(d *paper.Document, words *shell.Words, l *look) {
	d.Heading(words.T("board.report-known"))
	for i, v := range l.Verdicts {
		t := l.Traces[i]
		d.Strong(fmt.Sprintf("%s: %s", v.Set, words.T("shell.status-"+string(v.Status))))
		var facts []string
		if t.List != "" {
			facts = append(facts, fmt.Sprintf("%s %s, %s %d", words.T("board.list"), t.List, words.T("board.version"),
				t.Version))
		}
		if t.Load != "" {
			facts = append(facts, words.T("board.load")+" "+t.Load)
		}
		if v.Case != "" {
			facts = append(facts, words.T("board.case")+" "+words.Elsewhere(v.Case))
		}
		if v.Where != "" {
			facts = append(facts, words.T("board.where")+" "+words.Place(v.Where)+", "+words.Time(v.Since))
		}
		facts = append(facts, words.T("board.what-trip")+" "+v.Trip)
		d.Indented(strings.Join(facts, "; "))
		var links []string
		for _, x := range t.Links {
			s := words.Kind(x.Kind)
			switch x.State {
			case projections.LinkThere:
				s += " " + x.At.UTC().Format("2006-01-02 15:04")
			case projections.LinkAbsent:
				s += ": " + strings.ToUpper(words.T("board.missing"))
			default:
				s += ": " + words.T("board.due")
			}
			links = append(links, s)
		}
		d.Indented(strings.Join(links, " – "))
		if u := v.UsedInDoubt; u != nil {
			d.Strong(words.T("board.used-in-doubt", words.Time(u.Since), words.Time(u.Opened), words.Code(u.Code)))
		}
		for _, f := range v.Findings {
			d.Indented(fmt.Sprintf("[%s] %s. %s", words.T("board.severity-"+string(f.Severity)), words.Code(f.Code),
				words.Finding(&f).Says))
			d.Indented(words.T("board.next") + " " + words.Finding(&f).Next + " " +
				words.T("board.by-records") + ": " + sequences(f.Events))
			d.Indented(known(words, &f))
			for _, a := range f.Acknowledged {
				d.Indented(words.T("board.acknowledged", a.By, words.Time(a.Time), a.Reason))
			}
		}
		if len(v.Findings) == 0 {
			d.Indented(words.T("board.nothing-found"))
		}
	}
}

// known says when a finding was first known here.
func known(words *shell.Words, f *projections.Finding) string {
	switch {
	case f.Known.IsZero():
		return ""
	case f.KnownBy == 0:
		return words.T("board.known-by-time", words.Time(f.Known))
	}
	return words.T("board.known-by", words.Time(f.Known)) + " " + fmt.Sprint(f.KnownBy)
}

func sequences(ns []int64) string {
	var out []string
	for _, n := range ns {
		out = append(out, fmt.Sprint(n))
	}
	return strings.Join(out, ", ")
}

func reportEvents(d *paper.Document, words *shell.Words, l *look) {
	d.Heading(words.T("board.report-events"))
	var rows [][]string
	for _, e := range l.Events {
		recorded := e.Recorded.UTC().Format("2006-01-02 15:04:05")
		if sameClock(e, l.Tolerant) {
			recorded = words.T("board.same")
		}
		says := words.Event(&e)
		if n := notes(words, e); len(n) > 0 {
			says += " [" + strings.Join(n, "; ") + "]"
		}
		rows = append(rows, []string{fmt.Sprint(e.Seq), e.Observed.UTC().Format("2006-01-02 15:04:05"), recorded,
			e.Set, e.Station, e.Operator, says})
	}
	d.Table([]paper.Column{{Title: words.T("board.column-record"), Share: 0.9},
		{Title: words.T("board.column-observed"), Share: 1.5}, {Title: words.T("board.column-recorded"), Share: 1.5},
		{Title: words.T("board.column-set"), Share: 1.2}, {Title: words.T("board.column-station"), Share: 1.7},
		{Title: words.T("board.column-by"), Share: 1}, {Title: words.T("board.column-says"), Share: 5}}, rows)
}

// writeRecall is the list of touched sets to take along to the shelves.
func (p *pages) writeRecall(words *shell.Words, b *touchedBody) ([]byte, error) {
	name, at := p.site.Name(), p.site.Clock()
	footer := words.T("board.report-footer", words.T("board.recall"), name, "%page%",
		"%pages%") + " " + words.T("shell.caution")
	return paper.WriteDocument(words.T("board.recall"), words.Lang, footer, at, func(d *paper.Document) {
		d.Mark(p.practising(words))
		d.Title(words.T("board.recall"))
		if b.Then != "" {
			d.Strong(words.T("board.as-of-then", b.Then) + " " + words.T("board.as-of-left-out"))
		}
		d.Strong(b.Heading)
		d.Text(b.Rule)
		d.Text(words.T("board.recall-made", words.Time(at), name) + " " + words.T("shell.utc"))
		if b.None() {
			d.Strong(words.T("board.touched-none"))
		}
		if b.Cut {
			d.Strong(words.T("board.cut-off", len(b.Table.Rows)))
		}
		if len(b.Hold) > 0 {
			d.Heading(words.T("board.hold-heading") + fmt.Sprintf(" (%d)", len(b.Hold)))
			var lines []string
			for _, s := range b.Hold {
				lines = append(lines, fmt.Sprintf("%s   %s   %s %s, %s   %s", s.Verdict.Set, s.Trace.List,
					words.T("board.where"), words.Place(s.Verdict.Where), words.Time(s.Verdict.Since), s.Trace.Load))
			}
			d.Boxes(lines)
		}
		if len(b.Used) > 0 {
			d.Heading(words.T("board.used-heading") + fmt.Sprintf(" (%d)", len(b.Used)))
			var rows [][]string
			for _, s := range b.Used {
				rows = append(rows, []string{s.Verdict.Set, words.Elsewhere(s.Verdict.Case), words.Time(s.Opened), s.Room, s.Trace.Load})
			}
			d.Table([]paper.Column{{Title: words.T("board.column-set"), Share: 2},
				{Title: words.T("board.column-case"), Share: 2}, {Title: words.T("board.column-opened-at"), Share: 2},
				{Title: words.T("board.column-where"), Share: 2}, {Title: words.T("board.column-load"),
					Share: 2}}, rows)
		}
		if len(b.Again) > 0 {
			d.Heading(words.T("board.again-heading") + fmt.Sprintf(" (%d)", len(b.Again)))
			var names []string
			for _, s := range b.Again {
				names = append(names, s.Verdict.Set)
			}
			d.Text(strings.Join(names, ", "))
		}
		if d.Lacked() {
			d.Strong(words.T("board.report-lacked"))
		}
		d.Gap()
		d.Text(words.T("board.recall-sign"))
	})
}

// custody says whose key lies where. A follower has none of the keys, nor what somebody outside gave back.
func (p *pages) custody(words *shell.Words, c *bundle.Custody) []string {
	if at := p.site.Position(); at != nil {
		return []string{words.T("shell.custody-elsewhere", at.Of)}
	}
	return words.Custody(c)
}
