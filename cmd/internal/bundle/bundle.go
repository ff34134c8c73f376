// Package bundle is the content of an evidence bundle and the check of it. It
// needs no server, no database and no network: the small checker program is
// this package and little else.
//
// A bundle is a ZIP archive (see proof.WriteBundle) of
//
//	README.txt               how to check all of it with public tools
//	history.txt              what happened, for a reader
//	history.json             the same for a program
//	ledger.vkey              the ledger's public key, C2SP signed-note form
//	checkpoint               the signed checkpoint all proofs lead to
//	records/<seq>.note       the records as stored
//	proofs/<seq>.tlog-proof  one inclusion proof each, C2SP tlog-proof
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
	"strconv"
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
	Key         string // the ledger's verifier key
	Checkpoint  []byte
	Records     []Record // ascending
	Earlier     []proof.Consistency
	HistoryText []byte
	HistoryJSON []byte
}

// Write writes a bundle, its manifest signed by the ledger.
func Write(w io.Writer, c Content, ledger note.Signer) error {
	files := []proof.File{
		{Path: readmeFile, Data: []byte(readme)},
		{Path: historyText, Data: c.HistoryText},
		{Path: historyJSON, Data: c.HistoryJSON},
		{Path: keyFile, Data: []byte(c.Key + "\n")},
		{Path: checkpointFile, Data: c.Checkpoint},
	}
	for _, r := range c.Records {
		name := fmt.Sprintf("%09d", r.Seq)
		files = append(files,
			proof.File{Path: recordsDir + name + recordSuffix, Data: r.Record},
			proof.File{Path: proofsDir + name + proofSuffix, Data: r.Proof.Marshal()})
	}
	for _, e := range c.Earlier {
		files = append(files, proof.File{Path: fmt.Sprintf("%s%09d", earlierDir, e.From), Data: e.Marshal()})
	}
	return proof.WriteBundle(w, files, ledger)
}

// Problem is one thing that is wrong with a bundle. Offset counts bytes from
// the archive's start, -1 where no place is known.
type Problem = proof.Problem

// Report is what a check found.
type Report struct {
	OK         bool      `json:"ok"`
	Ledger     string    `json:"ledger,omitempty"`
	Key        string    `json:"key,omitempty"`
	KeyTrusted bool      `json:"keyTrusted"` // the key was given from outside the bundle
	Size       int64     `json:"size,omitempty"`
	Root       string    `json:"root,omitempty"`
	Records    int       `json:"records"`
	First      time.Time `json:"first,omitzero"` // observed times of the records
	Last       time.Time `json:"last,omitzero"`
	Problems   []Problem `json:"problems"`
	// Remarks are what the ledger itself noticed about records as they came, and
	// holes in a station's numbering: true of the history, not faults of the bundle.
	Remarks []string `json:"remarks,omitempty"`
	// Compared is how it stands to what the ledger gave out at another time, where asked.
	Compared *Comparison `json:"compared,omitempty"`
}

// Check checks a bundle against the ledger's key. Without a key from outside
// it takes the one in the bundle: that shows the bundle whole, not whose it is.
func Check(raw []byte, key string) Report {
	r := Report{Problems: []Problem{}, KeyTrusted: key != ""}
	if key == "" {
		key = keyInside(raw)
	}
	v, err := note.NewVerifier(strings.TrimSpace(key))
	if err != nil {
		// The archive is read all the same: that finds the place of the damage.
		v = noKey{}
		r.add(-1, keyFile, "no usable key of a ledger: "+err.Error())
	} else {
		r.Ledger, r.Key = v.Name(), strings.TrimSpace(key)
	}
	b, problems := proof.ReadBundle(raw, v)
	r.Problems = append(r.Problems, problems...)
	if err == nil {
		r.contents(b, v)
	}
	r.OK = len(r.Problems) == 0
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

func (r *Report) contents(b *proof.Bundle, v note.Verifier) {
	if inside, ok := b.File(keyFile); !ok || strings.TrimSpace(string(inside)) != r.Key {
		r.add(-1, keyFile, "the key in the bundle is not the key it is checked with")
	}
	signed, _ := b.File(checkpointFile)
	cp, err := proof.OpenCheckpoint(signed, v.Name(), v)
	if err != nil {
		r.add(-1, checkpointFile, err.Error())
		return
	}
	r.Size, r.Root = cp.Size, fmt.Sprintf("%x", cp.Root[:])
	audit := events.NewAudit(v, time.Duration(events.DefaultPolicy().ClockToleranceSeconds)*time.Second)
	audit.Signatures, audit.Canonical, audit.Excerpt = true, true, true
	var last int64
	for _, f := range b.Files {
		name, ok := strings.CutPrefix(f.Path, recordsDir)
		if !ok {
			continue
		}
		seq, err := strconv.ParseInt(strings.TrimSuffix(name, recordSuffix), 10, 64)
		if err != nil || seq <= last {
			r.add(-1, f.Path, "not a record's name, or out of order")
			continue
		}
		last = seq
		r.Records++
		if err := inclusion(b, f, seq, signed, cp); err != nil {
			r.add(-1, f.Path, err.Error())
			continue
		}
		r.record(audit, f, seq, v)
	}
	r.earlier(b, signed, cp)
	if r.Records == 0 {
		r.add(-1, recordsDir, "the bundle holds no record")
	}
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

// record checks the station's signature and the record's form.
func (r *Report) record(audit *events.Audit, f proof.File, seq int64, v note.Verifier) {
	n, at, arrival, err := proof.SplitArrival(v.Name(), f.Data)
	if err != nil {
		r.add(-1, f.Path, err.Error())
		return
	}
	p := events.Parse(n)
	remark, words := audit.Check(seq, p, at, events.Remark(arrival))
	if p.Event != nil {
		if r.First.IsZero() || p.Event.Time.Before(r.First) {
			r.First = p.Event.Time
		}
		if p.Event.Time.After(r.Last) {
			r.Last = p.Event.Time
		}
	}
	said := strings.Join(words, "; ")
	switch {
	case remark == 0:
	case remark&events.RemarkSignature != 0 && arrival&byte(events.RemarkSignature) == 0, remark&events.RemarkForm != 0:
		// The ledger took it for good, or would never have taken it.
		r.add(-1, f.Path, said)
	default:
		r.Remarks = append(r.Remarks, fmt.Sprintf("record %d: %s", seq, said))
	}
}
