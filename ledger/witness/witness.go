// Package witness is a witness of other people's ledgers, as
// c2sp.org/tlog-witness has it: it sees a ledger's checkpoints, signs those that
// extend every one it saw before, and keeps the two notes side by side where one
// does not. Whoever runs a ledger can rewrite it with the keys at hand; a witness
// that somebody else runs has its own memory of it.
//
//	POST /add-checkpoint                          the old size, a consistency proof, the checkpoint
//	GET  /<SHA-256 of the origin, hex>/checkpoint the newest one that was signed, for anybody who compares
//
// The first checkpoint of a ledger is taken as it is: before that the witness
// knows nothing that it could contradict.
package witness

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"

	"golang.org/x/mod/sumdb/note"

	"listbound/ledger/disk"
	"listbound/ledger/proof"
)

// Options say who witnesses what, and where its memory lies.
type Options struct {
	Dir    string // holds the newest checkpoint of each ledger
	Signer *proof.Cosigner
	// Ledgers are the keys of the ledgers that are witnessed; a key's name is the ledger's. Of a ledger that replaced its
	// key all are given, the first one first: when a later one has signed, those before it count no more.
	Ledgers []note.Verifier
	Logger  *slog.Logger
}

// Witness remembers the newest checkpoint of each ledger.
type Witness struct {
	opts    Options
	ledgers map[string]*memory // by origin
}

// memory is what is remembered of one ledger.
type memory struct {
	origin string
	keys   []note.Verifier // in the order in which they took over
	dir    string

	mu     sync.Mutex // from the look at what is remembered until the new one is on disk
	newest proof.Checkpoint
	note   []byte // nil before the first
	key    int    // which of the keys signed it
}

// signedBy returns the newest of the ledger's keys that signed a note, which was opened with them.
func (m *memory) signedBy(n *note.Note) int {
	for i, k := range slices.Backward(m.keys) {
		if slices.ContainsFunc(n.Sigs, func(s note.Signature) bool { return s.Name == k.Name() && s.Hash == k.KeyHash() }) {
			return i
		}
	}
	return 0
}

// Open opens a witness's folder, or starts one.
func Open(o Options) (*Witness, error) {
	if o.Logger == nil {
		o.Logger = slog.New(slog.DiscardHandler)
	}
	if o.Signer == nil || len(o.Ledgers) == 0 {
		return nil, errors.New("a witness needs a key of its own and at least one ledger to witness")
	}
	keys := make(map[string][]note.Verifier)
	for _, v := range o.Ledgers {
		keys[v.Name()] = append(keys[v.Name()], v)
	}
	w := &Witness{opts: o, ledgers: make(map[string]*memory)}
	for origin, vs := range keys {
		m := &memory{origin: origin, keys: vs, dir: filepath.Join(o.Dir, OriginID(origin))}
		if err := m.load(o.Logger); err != nil {
			return nil, fmt.Errorf("what was remembered of the ledger %s: %w", origin, err)
		}
		w.ledgers[origin] = m
	}
	return w, nil
}

// OriginID is the name of a ledger in addresses and folders.
func OriginID(origin string) string {
	sum := sha256.Sum256([]byte(origin))
	return hex.EncodeToString(sum[:])
}

// What is remembered of a ledger lies there twice, the second copy written first. A witness that had lost the one would
// sign anything as if it were the first it saw.
const (
	checkpointName = "checkpoint"
	secondName     = "checkpoint.second"
)

// seen is a copy of what is remembered.
type seen struct {
	c    proof.Checkpoint
	note []byte // nil: there is none
	key  int
	err  error // why it can't be read
}

func (m *memory) read(name string) (s seen) {
	msg, err := os.ReadFile(filepath.Join(m.dir, name))
	if errors.Is(err, os.ErrNotExist) {
		return seen{}
	}
	var n *note.Note
	if err == nil {
		s.c, err = proof.OpenCheckpoint(msg, m.origin, m.keys...)
	}
	if err == nil {
		n, err = proof.OpenNote(msg, note.VerifierList(m.keys...))
	}
	if err != nil {
		return seen{err: fmt.Errorf("%s: %w", filepath.Join(m.dir, name), err)}
	}
	s.note, s.key = msg, m.signedBy(n)
	return s
}

// load reads both copies, and makes the one anew of the other where only one is good, or one is older.
func (m *memory) load(log *slog.Logger) error {
	if err := os.MkdirAll(m.dir, 0o700); err != nil {
		return err
	}
	first, second := m.read(checkpointName), m.read(secondName)
	good := first
	if second.note != nil && (first.note == nil || second.c.Size > first.c.Size) {
		good = second
	}
	if bad := errors.Join(first.err, second.err); good.note == nil && bad != nil {
		// Going on without it would sign anything as if it were the first.
		return fmt.Errorf("it can't be read, and without it nothing may be signed; put back a copy of the folder: %w", bad)
	}
	if first.note != nil && second.note != nil && first.c.Size == second.c.Size && first.c.Root != second.c.Root {
		return fmt.Errorf("%s: %s and %s are of two histories, and which of them was signed last is not known; "+
			"put back a copy of the folder", m.dir, checkpointName, secondName)
	}
	if good.note == nil {
		return nil
	}
	m.newest, m.note, m.key = good.c, good.note, good.key
	if bytes.Equal(first.note, second.note) {
		return nil
	}
	for name, s := range map[string]seen{checkpointName: first, secondName: second} {
		if bytes.Equal(s.note, good.note) {
			continue
		}
		// One of an earlier program is alone; so is one whose other copy was lost, damaged, or an old one put back.
		log.Warn("one of the two copies of what was seen of a ledger is not as the other; it was made anew of that one",
			"ledger", m.origin, "file", filepath.Join(m.dir, name), "had", s.c.Size, "seen", good.c.Size, "error", s.err)
		if err := disk.Write(m.dir, name, good.note); err != nil {
			return err
		}
	}
	return nil
}

// keep makes a checkpoint durable as the newest.
func (m *memory) keep(msg []byte) error {
	if err := disk.Write(m.dir, secondName, msg); err != nil {
		return err
	}
	return disk.Write(m.dir, checkpointName, msg)
}

// refused is an answer that is no cosignature.
type refused struct {
	code int
	body string
	kind string // content type
}

func (r *refused) Error() string { return fmt.Sprintf("%d: %s", r.code, strings.TrimSpace(r.body)) }

func refuse(code int, format string, args ...any) error {
	return &refused{code: code, body: fmt.Sprintf(format, args...) + "\n", kind: "text/plain; charset=utf-8"}
}

// sizeType marks a body that is the size of the newest signed checkpoint.
const sizeType = "text/x.tlog.size"

// maxRequest bounds a request: 63 hashes and a checkpoint with many signatures.
const maxRequest = 64 << 10

// Handler returns the two addresses of the protocol.
func (w *Witness) Handler() http.Handler {
	mux := http.NewServeMux()
	mux.HandleFunc("POST /add-checkpoint", func(rw http.ResponseWriter, r *http.Request) {
		lines, err := w.add(r.Context(), http.MaxBytesReader(rw, r.Body, maxRequest))
		var no *refused
		switch {
		case errors.As(err, &no):
			rw.Header().Set("Content-Type", no.kind)
			rw.WriteHeader(no.code)
			_, _ = io.WriteString(rw, no.body) // a client that is gone needs no answer
		case err != nil:
			w.opts.Logger.Error("a checkpoint could not be answered", "error", err)
			http.Error(rw, "the witness failed; nothing was signed", http.StatusInternalServerError)
		default:
			rw.Header().Set("Content-Type", "text/plain; charset=utf-8")
			_, _ = rw.Write(lines)
		}
	})
	mux.HandleFunc("GET /{origin}/checkpoint", func(rw http.ResponseWriter, r *http.Request) {
		for origin, m := range w.ledgers {
			if OriginID(origin) != r.PathValue("origin") {
				continue
			}
			m.mu.Lock()
			msg := m.note
			m.mu.Unlock()
			if msg == nil {
				break
			}
			rw.Header().Set("Content-Type", "text/plain; charset=utf-8")
			rw.Header().Set("Cache-Control", "no-store")
			_, _ = rw.Write(msg)
			return
		}
		http.NotFound(rw, r)
	})
	return mux
}

// originOf reads the first line of a note that nothing is known of yet.
func originOf(msg []byte) string {
	first, _, _ := bytes.Cut(msg, []byte("\n"))
	return string(first)
}

// add answers one request, with a signature line or with a *refused.
func (w *Witness) add(ctx context.Context, body io.Reader) ([]byte, error) {
	raw, err := io.ReadAll(body)
	if err != nil {
		return nil, refuse(http.StatusBadRequest, "the request can't be read: %v", err)
	}
	req, err := proof.ParseConsistency(raw)
	if err != nil {
		return nil, refuse(http.StatusBadRequest, "%v", err)
	}
	m := w.ledgers[originOf(req.Checkpoint)]
	if m == nil {
		return nil, refuse(http.StatusNotFound, "the ledger %q is not witnessed here", originOf(req.Checkpoint))
	}
	n, err := proof.OpenNote(req.Checkpoint, note.VerifierList(m.keys...))
	if err != nil {
		return nil, refuse(http.StatusForbidden, "%v", err)
	}
	c, err := proof.ParseCheckpoint(n.Text)
	if err != nil {
		return nil, refuse(http.StatusBadRequest, "%v", err)
	}
	if req.From > c.Size {
		return nil, refuse(http.StatusBadRequest, "the old size %d is above the checkpoint's %d", req.From, c.Size)
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	if m.signedBy(n) < m.key {
		if c.Size > m.newest.Size || c.Size == m.newest.Size && c.Root != m.newest.Root {
			// A smaller one may be of before, sent again.
			w.keepBoth(m, n, "A CHECKPOINT WAS REFUSED: a key has signed it that the ledger has replaced; whoever has it is not the ledger")
		}
		return nil, refuse(http.StatusForbidden, "the key that has signed this was replaced; a later one has signed since")
	}
	if err := w.compare(m, req, n, c); err != nil {
		return nil, err
	}
	return w.sign(m, n, c)
}

// compare holds a checkpoint against the newest one that was signed.
func (w *Witness) compare(m *memory, req proof.Consistency, n *note.Note, c proof.Checkpoint) error {
	if req.From != m.newest.Size {
		// A smaller checkpoint alone says nothing: it may be an old one, sent again. The ledger that sent it
		// learns from the answer how far it was seen.
		if c.Size == m.newest.Size && c.Root != m.newest.Root {
			w.keepBoth(m, n, twoRoots)
		}
		return &refused{code: http.StatusConflict, body: fmt.Sprintf("%d\n", m.newest.Size), kind: sizeType}
	}
	switch {
	case req.From == 0:
		if len(req.Hashes) > 0 {
			return refuse(http.StatusUnprocessableEntity, "there is nothing that a proof could begin at")
		}
		if c.Size == 0 && c.Root != proof.EmptyRoot {
			return refuse(http.StatusUnprocessableEntity, "the root of a ledger without records is another one")
		}
		return nil
	case req.From == c.Size:
		if c.Root != m.newest.Root {
			w.keepBoth(m, n, twoRoots)
			return &refused{code: http.StatusConflict, body: fmt.Sprintf("%d\n", m.newest.Size), kind: sizeType}
		}
		if len(req.Hashes) > 0 {
			return refuse(http.StatusUnprocessableEntity, "nothing was added that a proof could be about")
		}
		return nil
	}
	if err := proof.CheckConsistency(req.Hashes, req.From, m.newest.Root, c.Size, c.Root); err != nil {
		w.keepBoth(m, n, "A CHECKPOINT WAS REFUSED: it does not extend what was seen, or came without the proof of it")
		return refuse(http.StatusUnprocessableEntity,
			"the checkpoint of %d records does not extend the one of %d that was seen here: %v", c.Size, req.From, err)
	}
	return nil
}

// sign signs a checkpoint and answers when it is on disk.
func (w *Witness) sign(m *memory, n *note.Note, c proof.Checkpoint) ([]byte, error) {
	// Only what was verified is kept: the ledger's own signatures.
	msg, err := note.Sign(&note.Note{Text: n.Text, Sigs: n.Sigs}, w.opts.Signer)
	if err != nil {
		return nil, fmt.Errorf("signing: %w", err)
	}
	if err := m.keep(msg); err != nil {
		return nil, err
	}
	m.newest, m.note, m.key = c, msg, m.signedBy(n)
	w.opts.Logger.Info("signed", "ledger", m.origin, "records", c.Size)
	opened, err := note.Open(msg, note.VerifierList(w.opts.Signer.Verifier()))
	if err != nil {
		return nil, fmt.Errorf("its own signature: %w", err)
	}
	var lines bytes.Buffer
	for _, s := range opened.Sigs {
		fmt.Fprintf(&lines, "— %s %s\n", s.Name, s.Base64)
	}
	return lines.Bytes(), nil
}

// twoRoots is what nobody can explain away: two signed notes over the same
// number of records.
const twoRoots = "A LEDGER HAS TWO HISTORIES: it signed two roots for the same number of records"

// maxKept bounds what is kept of one ledger's refused checkpoints.
const maxKept = 1000

// keepBoth writes the note that was refused, as far as its signatures are the
// ledger's, beside the one that was seen. The witness works on whatever becomes
// of that.
func (w *Witness) keepBoth(m *memory, refused *note.Note, why string) {
	name := fmt.Sprintf("refused-%x", sha256.Sum256([]byte(refused.Text)))[:24]
	w.opts.Logger.Error(why, "ledger", m.origin, "seen", m.newest.Size, "kept", filepath.Join(m.dir, name))
	kept, err := disk.Glob(m.dir, "refused-*")
	if err == nil && len(kept) >= maxKept {
		return
	}
	msg, err := note.Sign(&note.Note{Text: refused.Text, Sigs: refused.Sigs})
	if err == nil {
		err = disk.Write(m.dir, name, append(append(msg, '\n'), m.note...))
	}
	if err != nil {
		w.opts.Logger.Error("the two notes could not be kept", "ledger", m.origin, "error", err)
	}
}
