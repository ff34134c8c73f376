// Package bundle is the content of an evidence bundle and the check of it. It
// needs no server, no database and no network: the small checker program is
// this package and little else.
//
// A bundle is a ZIP archive (see proof.WriteBundle) of
//
//	README.txt               how to check all of it with public tools
//	history.txt              what happened, for a reader
//	history.json             the same for a program
//	keys                     whose key lies where (see Custody)
//	timestamp/<size>.…       the newest timestamp of a checkpoint, where there is one
//	covers                   what it holds without anything left out (see Covers)
//	heads/<place>.head       proof of the newest record about one thing (see proof.HeadProof)
//	addenda                  what the records say in free text, where they have marks of it (see events.Addendum)
//	runs/<SHA-256>           the logs of sterilizers' runs that records name, as they came
//	ledger.vkey              the ledger's public key, C2SP signed-note form
//	checkpoint               the signed checkpoint all proofs lead to
//	records/<seq>.note       the records as stored
//	proofs/<seq>.tlog-proof  one inclusion proof each, C2SP tlog-proof; none where all records are here
//	earlier/<size>           where asked for: proof that the ledger only grew since it had that
//	                         size, in the form of a C2SP tlog-witness request
//	manifest                 SHA-256 of each file above, signed by the ledger
package bundle

import (
	"archive/zip"
	"bytes"
	_ "embed"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"golang.org/x/mod/sumdb/note"

	"listbound/events"
	"listbound/ledger/proof"
)

// Names of the files in a bundle.
const (
	readmeFile     = "README.txt"
	historyText    = "history.txt"
	historyJSON    = "history.json"
	keyFile        = "ledger.vkey"
	checkpointFile = "checkpoint"
	recordsDir     = "records/"
	recordSuffix   = ".note"
	proofsDir      = "proofs/"
	proofSuffix    = ".tlog-proof"
	earlierDir     = "earlier/"
	addendaFile    = "addenda"
)

//go:embed readme.txt
var readme string

// Record is one record with its proof.
type Record struct {
	Seq    int64
	Record []byte
	Proof  proof.Inclusion
}

// Content is what goes into a bundle.
type Content struct {
	Key        string // the ledger's verifier key
	Checkpoint []byte
	Records    []Record // ascending
	Covers     *Covers
	Heads      []proof.HeadProof
	Earlier    []proof.Consistency
	Addenda    []string // the disclosures of the records' marks, as far as they are there
	RunLogs    [][]byte // that records name, as far as they are there
	Custody    *Custody
	Timestamp  *Timestamp // nil: none
	Story      *Story
}

// Write writes a bundle, its manifest signed by the ledger.
func Write(w io.Writer, c Content, ledger note.Signer) error {
	text, err := c.Story.Text(c.Covers)
	if err != nil {
		return err
	}
	data, err := c.Story.JSON()
	if err != nil {
		return err
	}
	files := []proof.File{
		{Path: readmeFile, Data: []byte(readme)},
		{Path: historyText, Data: text},
		{Path: historyJSON, Data: data},
		{Path: keyFile, Data: []byte(c.Key + "\n")},
		{Path: checkpointFile, Data: c.Checkpoint},
		{Path: coversFile, Data: c.Covers.Marshal()},
		{Path: custodyFile, Data: c.Custody.Marshal()},
	}
	if len(c.Addenda) > 0 {
		files = append(files, proof.File{Path: addendaFile, Data: []byte(strings.Join(c.Addenda, "\n") + "\n")})
	}
	for _, raw := range c.RunLogs {
		files = append(files, proof.File{Path: runsDir + digestOf(raw), Data: raw})
	}
	for _, h := range c.Heads {
		files = append(files, headFile(h))
	}
	for _, r := range c.Records {
		name := fmt.Sprintf("%09d", r.Seq)
		files = append(files, proof.File{Path: recordsDir + name + recordSuffix, Data: r.Record})
		if c.Covers.Of != Everything {
			files = append(files, proof.File{Path: proofsDir + name + proofSuffix, Data: r.Proof.Marshal()})
		}
	}
	for _, e := range c.Earlier {
		files = append(files, proof.File{Path: fmt.Sprintf("%s%09d", earlierDir, e.From), Data: e.Marshal()})
	}
	if t := c.Timestamp; t != nil {
		files = append(files, proof.File{Path: stampPath(t.Size, stampedSuffix), Data: t.Checkpoint},
			proof.File{Path: stampPath(t.Size, stampSuffix), Data: t.Response})
	}
	return proof.WriteBundle(w, files, ledger)
}

// Problem is one thing that is wrong with a bundle. Offset counts bytes from
// the archive's start, -1 where no place is known.
type Problem = proof.Problem

// Report is what a check found.
type Report struct {
	OK         bool   `json:"ok"`    // nothing is wrong, and whose ledger it is was known from outside
	Whole      bool   `json:"whole"` // nothing is wrong with the bundle itself
	Ledger     string `json:"ledger,omitempty"`
	Key        string `json:"key,omitempty"`
	KeyTrusted bool   `json:"keyTrusted"` // the key was given from outside the bundle
	// Former are the keys that the ledger has had before, the first one first; each signed for the next.
	Former []Replaced `json:"former,omitempty"`
	// Known is the key that was given, where that is one of those.
	Known    string    `json:"known,omitempty"`
	Size     int64     `json:"size,omitempty"`
	Root     string    `json:"root,omitempty"`
	Records  int       `json:"records"`
	First    time.Time `json:"first,omitzero"` // observed times of the records
	Last     time.Time `json:"last,omitzero"`
	Problems []Problem `json:"problems"`
	// Remarks are what the ledger itself noticed about records as they came, and
	// holes in a station's numbering: true of the history, not faults of the bundle.
	Remarks []string `json:"remarks,omitempty"`
	// Coverage is what nothing is left out of; nil for a bundle of an earlier program, which shows nothing of that.
	Coverage *Coverage `json:"coverage,omitempty"`
	Stamped  []Stamped `json:"stamped,omitempty"`
	Custody  *Custody  `json:"custody,omitempty"`
	// Redacted is how many marks there are of which the text isn't here.
	Redacted int    `json:"redacted,omitzero"`
	Holes    []Hole `json:"holes,omitempty"`   // in the stations' numbering
	History  string `json:"history,omitempty"` // as this checker makes it of the records
	// Compared is how it stands to what the ledger gave out at another time, where asked.
	Compared *Comparison `json:"compared,omitempty"`
}

// Check checks a bundle against the ledger's key. Without a key from outside
// it takes the one in the bundle: that shows the bundle whole, not whose it is.
func Check(raw []byte, key string) Report { return CheckBy(note.NewVerifier, raw, key) }

// CheckBy is Check by verifiers of stations' keys that a function makes, for whoever checks many bundles of the same stations.
// The check is as good as they are.
func CheckBy(verifier func(vkey string) (note.Verifier, error), raw []byte, key string) Report {
	r := Report{Problems: []Problem{}, KeyTrusted: key != ""}
	keys, err := keysFor(raw, strings.TrimSpace(key))
	var v note.Verifier = noKey{} // the archive is read all the same: that finds the place of the damage
	switch {
	case keys == nil:
		r.add(-1, keyFile, "no usable key of a ledger: "+err.Error())
	default:
		v = keys.Newest().Key
		r.Ledger, r.Key = v.Name(), keys.Newest().Text
		r.known(keys, strings.TrimSpace(key))
	}
	b, problems := proof.ReadBundle(raw, v)
	r.Problems = append(r.Problems, problems...)
	if keys != nil {
		if err != nil {
			r.add(-1, keyFile, "the ledger's keys don't follow from each other: "+err.Error())
		}
		r.contents(b, keys, verifier)
	}
	r.Whole = len(r.Problems) == 0
	r.OK = r.Whole && r.KeyTrusted
	return r
}

func (r *Report) add(offset int64, entry, what string) {
	r.Problems = append(r.Problems, Problem{Offset: offset, Entry: entry, What: what})
}

// noKey verifies nothing.
type noKey struct{}

func (noKey) Name() string                { return "unknown" }
func (noKey) KeyHash() uint32             { return 0 }
func (noKey) Verify(msg, sig []byte) bool { return false }

// keyInside reads the key from the archive, "" where it can't.
func keyInside(raw []byte) string {
	b, err := fileInside(raw, keyFile)
	if err != nil {
		return ""
	}
	return string(b)
}

// fileInside reads a small file of an archive that nothing is known of.
func fileInside(raw []byte, name string) ([]byte, error) {
	z, err := zip.NewReader(bytes.NewReader(raw), int64(len(raw)))
	if err != nil {
		return nil, err
	}
	f, err := z.Open(name)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	const longest = 64 << 10
	return io.ReadAll(io.LimitReader(f, longest))
}

// Replaced is a key that the ledger has had before.
type Replaced struct {
	Key string `json:"key"`
	By  int64  `json:"by"` // the record, signed by this key, that hands the ledger on
}

// known says which keys came before that of now, and which of them was known.
func (r *Report) known(keys proof.Keys, known string) {
	for i, k := range keys[1:] {
		r.Former = append(r.Former, Replaced{Key: keys[i].Text, By: k.Since})
	}
	if known != r.Key {
		r.Known = known
	}
}

func (r *Report) contents(b *proof.Bundle, keys proof.Keys, verifier func(vkey string) (note.Verifier, error)) {
	v := keys.Newest().Key
	if inside, ok := b.File(keyFile); !ok || strings.TrimSpace(string(inside)) != r.Key {
		r.add(-1, keyFile, "the key in the bundle is not the key it is checked with, and no record here leads from the one to the other")
	}
	signed, _ := b.File(checkpointFile)
	cp, err := proof.OpenCheckpoint(signed, v.Name(), v)
	if err != nil {
		r.add(-1, checkpointFile, err.Error())
		return
	}
	r.Size, r.Root = cp.Size, fmt.Sprintf("%x", cp.Root[:])
	covers := r.covers(b)
	r.names(b, covers)
	audit := events.NewAudit(keys[0].Key, time.Duration(events.DefaultPolicy().ClockToleranceSeconds)*time.Second)
	audit.Verifier = verifier
	all := r.records(b, audit, v, covers, signed, cp)
	texts := r.addenda(b, all)
	r.earlier(b, signed, cp)
	r.custody(b, all)
	r.runLogs(b, all)
	r.timestamp(b, keys, cp)
	switch {
	case r.Records == 0:
		r.add(-1, recordsDir, "the bundle holds no record")
	case covers != nil:
		r.complete(b, covers, all, cp.Size)
		r.replay(b, covers, all, texts)
	case slices.ContainsFunc(all, func(e *entry) bool { return len(e.links) > 0 }):
		r.add(-1, coversFile, "it is missing: what is left out of such a bundle would not show")
	}
	r.holes(all, covers)
	r.nameCases(texts)
}

// covers reads what the bundle says it covers, nil for one of an earlier program.
func (r *Report) covers(b *proof.Bundle) *Covers {
	data, ok := b.File(coversFile)
	if !ok {
		return nil
	}
	c, err := ParseCovers(data)
	if err != nil {
		r.add(-1, coversFile, err.Error())
	}
	return c
}

// records checks each record, and returns those that hold.
func (r *Report) records(b *proof.Bundle, audit *events.Audit, v note.Verifier, covers *Covers, signed []byte,
	cp proof.Checkpoint,
) []*entry {
	everything := covers != nil && covers.Of == Everything
	audit.Signatures, audit.Canonical, audit.Excerpt = true, true, !everything
	claimed := claimedRemarks(b)
	tree := &proof.Tree{}
	var last int64
	var all []*entry
	bySeq := make(map[int64]*entry)
	for _, f := range b.Files {
		seq, ok := seqOf(f.Path)
		if !ok {
			continue
		}
		if seq <= last {
			r.add(-1, f.Path, "not a record's name, or out of order")
			continue
		}
		last = seq
		r.Records++
		if everything {
			tree.Append(proof.LeafHash(f.Data), nil)
		} else if err := inclusion(b, f, seq, signed, cp); err != nil {
			r.add(-1, f.Path, err.Error())
			continue
		}
		e := r.record(audit, f, seq, v)
		if e == nil {
			continue
		}
		all, bySeq[seq] = append(all, e), e
		for _, ch := range e.checked.Earlier {
			if before := bySeq[ch.Seq]; before != nil {
				before.later = append(before.later, change{e.fact.recorded, ch})
			}
		}
	}
	r.remarks(all, covers, claimed)
	if audit.LedgerKey().KeyHash() != v.KeyHash() {
		r.add(-1, keyFile, "the records that hold don't lead to the key by which the bundle is signed")
	}
	if everything && (tree.Size() != cp.Size || tree.Root() != cp.Root) {
		r.add(-1, recordsDir, fmt.Sprintf("the %d records here are not the %d of the checkpoint", tree.Size(), cp.Size))
	}
	return all
}

// dataOf returns what a record says, nil where it can't be read.
func dataOf(p events.Parsed) events.Data {
	if p.Event == nil {
		return nil
	}
	return p.Event.Data
}

// inclusion checks that a record is in the tree of the checkpoint, whose
// signature has been checked, at its place.
func inclusion(b *proof.Bundle, f proof.File, seq int64, signed []byte, cp proof.Checkpoint) error {
	path := proofsDir + strings.TrimSuffix(strings.TrimPrefix(f.Path, recordsDir), recordSuffix) + proofSuffix
	data, ok := b.File(path)
	if !ok {
		return errors.New("it has no proof")
	}
	p, err := proof.ParseInclusion(data)
	if err != nil {
		return err
	}
	if p.Index != seq-1 {
		return fmt.Errorf("its proof is for record %d", p.Index+1)
	}
	if !bytes.Equal(p.Checkpoint, signed) {
		return errors.New("its proof leads to another checkpoint")
	}
	return proof.CheckInclusion(p.Hashes, cp.Size, cp.Root, p.Index, proof.LeafHash(f.Data))
}

// remarks reports what is wrong with records as their stations made them, now that all are known. Of a hole in the numbering
// or a clock that ran back nothing shows where the station's record before isn't here: then what the bundle says of that is
// taken. Judged is by what was known as of when the bundle is.
func (r *Report) remarks(all []*entry, covers *Covers, claimed map[int64]events.Remark) {
	for _, e := range all {
		then := e.checked
		for _, ch := range e.later {
			e.checked.Apply(ch.Change)
			if covers == nil || covers.AsOf.IsZero() || !ch.at.After(covers.AsOf) {
				then.Apply(ch.Change)
			}
		}
		e.fact.remarks = then.Remark&^then.Unseen | claimed[e.seq]&then.Unseen
		if said := e.checked.Words(); len(said) > 0 && !e.problem {
			r.Remarks = append(r.Remarks, fmt.Sprintf("record %d: %s", e.seq, strings.Join(said, "; ")))
		}
	}
}

// record checks the station's signature and the record's form.
func (r *Report) record(audit *events.Audit, f proof.File, seq int64, v note.Verifier) *entry {
	n, at, arrival, err := proof.SplitArrival(v.Name(), f.Data)
	if err != nil {
		r.add(-1, f.Path, err.Error())
		return nil
	}
	p := events.Parse(n)
	c := audit.Check(seq, p, at, events.Remark(arrival))
	if _, mapped := dataOf(p).(*events.RecordsMapped); p.Event != nil && !mapped {
		if r.First.IsZero() || p.Event.Time.Before(r.First) {
			r.First = p.Event.Time
		}
		if p.Event.Time.After(r.Last) {
			r.Last = p.Event.Time
		}
	}
	// The ledger took it for good, or would never have taken it.
	problem := c.Remark&events.RemarkSignature != 0 && arrival&byte(events.RemarkSignature) == 0 || c.Remark&events.RemarkForm != 0
	if problem {
		r.add(-1, f.Path, strings.Join(c.Words(), "; "))
	}
	if p.Event == nil {
		return nil
	}
	links, err := proof.Links(v.Name(), f.Data)
	if err != nil {
		r.add(-1, f.Path, err.Error())
		return nil
	}
	return &entry{
		seq: seq, path: f.Path, note: n, event: p.Event, links: links, fact: factOf{recorded: at}, checked: c, problem: problem,
	}
}
