package site

import (
	"bytes"
	"crypto/rand"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"

	"listbound/events"
	"listbound/ledger/disk"
)

// addendaName is the file beside the ledger that holds what records say in free text, and the references of cases. Its
// first line is a head with the key of ids; each further line is one addendum as it is disclosed. It is written to its
// end, and on disk, before a record that has its mark; and it is replaced whole where something is taken out.
const addendaName = "addenda"

const (
	addendaHead = "listbound addenda v1 "
	idKeyBytes  = 32
)

// addenda are a folder's texts, in memory as on disk.
type addenda struct {
	path   string
	random io.Reader

	mu     sync.RWMutex
	key    []byte                     // of ids; nil: the file isn't there
	lines  []string                   // as disclosed, in their order
	byMark map[string]events.Addendum // what the lines say
	cases  map[string]string          // the mark of each case's reference
	kept   int64                      // bytes of the file that hold whole lines
	fresh  []string                   // not on disk yet

	proposed map[string]events.Addendum // of cases that nothing is recorded of, by reference; see proposeCase
}

// readAddenda reads a folder's file. A last line that was cut off was never acknowledged.
func readAddenda(dir string, random io.Reader) (*addenda, error) {
	if random == nil {
		random = rand.Reader
	}
	a := &addenda{path: filepath.Join(dir, addendaName), random: random, byMark: make(map[string]events.Addendum),
		cases: make(map[string]string)}
	raw, err := os.ReadFile(a.path)
	if errors.Is(err, os.ErrNotExist) {
		return a, nil
	}
	if err != nil {
		return nil, err
	}
	whole := raw[:bytes.LastIndexByte(raw, '\n')+1]
	a.kept = int64(len(whole))
	for n, line := range strings.Split(strings.TrimSuffix(string(whole), "\n"), "\n") {
		if n == 0 {
			text, ok := strings.CutPrefix(line, addendaHead)
			if a.key, err = base64.RawURLEncoding.DecodeString(text); err != nil || !ok || len(a.key) != idKeyBytes {
				return nil, fmt.Errorf("%s does not begin with its key; put it back from a copy", a.path)
			}
			continue
		}
		if err := a.add(line); err != nil {
			return nil, fmt.Errorf("%s, line %d: %w", a.path, n+1, err)
		}
	}
	return a, nil
}

// add keeps a disclosure in memory. The caller holds mu, or is alone.
func (a *addenda) add(line string) error {
	x, err := events.ParseDisclosure(line)
	if err != nil {
		return err
	}
	mark := events.Mark(line)
	if _, ok := a.byMark[mark]; ok {
		return nil
	}
	a.lines = append(a.lines, line)
	a.byMark[mark] = x
	if _, ok := a.cases[x.Text]; x.Name == events.AddendumCase && !ok {
		a.cases[x.Text] = mark
	}
	return nil
}

// disclosed implements events.Disclosed.
func (a *addenda) disclosed(mark string) (events.Addendum, bool) {
	a.mu.RLock()
	defer a.mu.RUnlock()
	x, ok := a.byMark[mark]
	return x, ok
}

// disclosures returns the written forms of those marks that are there.
func (a *addenda) disclosures(marks map[string]bool) (out []string) {
	a.mu.RLock()
	defer a.mu.RUnlock()
	for _, line := range a.lines {
		if marks[events.Mark(line)] {
			out = append(out, line)
		}
	}
	slices.Sort(out)
	return out
}

// ofCase returns the marks of a case's reference: several in a folder of an earlier program, which let a station give it one of its own.
func (a *addenda) ofCase(reference string) (marks []string) {
	a.mu.RLock()
	defer a.mu.RUnlock()
	if _, ok := a.cases[reference]; !ok {
		return nil
	}
	for mark, x := range a.byMark {
		if x.Name == events.AddendumCase && x.Text == reference {
			marks = append(marks, mark)
		}
	}
	slices.Sort(marks)
	return marks
}

// idKey returns the key of ids, which begin makes before the first id.
func (a *addenda) idKey() []byte {
	a.mu.RLock()
	defer a.mu.RUnlock()
	return a.key
}

// mark takes a text in and returns what stands for it in a record: a case's is the same as before, any other is new. It
// is on disk when flush has returned.
func (a *addenda) mark(name, text string) (string, error) {
	a.mu.Lock()
	defer a.mu.Unlock()
	if m, ok := a.cases[text]; ok && name == events.AddendumCase {
		return m, nil
	}
	var x events.Addendum
	var err error
	if name == events.AddendumCase {
		x, err = a.proposal(text)
	} else {
		x, err = events.NewAddendum(a.random, name, text)
	}
	if err != nil {
		return "", err
	}
	line, err := x.Disclosure()
	if err != nil {
		return "", err
	}
	a.fresh = append(a.fresh, line)
	return events.Mark(line), a.add(line)
}

// take keeps disclosures that a station made itself.
func (a *addenda) take(lines []string) error {
	a.mu.Lock()
	defer a.mu.Unlock()
	for _, line := range lines {
		if _, ok := a.byMark[events.Mark(line)]; ok {
			continue
		}
		if err := a.add(line); err != nil {
			return err
		}
		a.fresh = append(a.fresh, line)
	}
	return nil
}

// unflushed is how many addenda are not on disk yet.
func (a *addenda) unflushed() int {
	a.mu.RLock()
	defer a.mu.RUnlock()
	return len(a.fresh)
}

// forget drops those addenda that were taken in since there were n unflushed: their record is refused.
func (a *addenda) forget(n int) {
	a.mu.Lock()
	defer a.mu.Unlock()
	drop := make(map[string]bool)
	for _, line := range a.fresh[n:] {
		drop[line] = true
	}
	if len(drop) == 0 {
		return
	}
	a.fresh = a.fresh[:n]
	a.remove(drop)
}

// remove drops disclosures from memory. The caller holds mu.
func (a *addenda) remove(drop map[string]bool) {
	lines := a.lines
	a.lines, a.byMark, a.cases = nil, make(map[string]events.Addendum), make(map[string]string)
	for _, line := range lines {
		if !drop[line] {
			_ = a.add(line) // it was read before
		}
	}
}

// begin makes the file of a folder that has none.
func (a *addenda) begin() error {
	a.mu.Lock()
	defer a.mu.Unlock()
	if a.key != nil {
		return nil
	}
	key := make([]byte, idKeyBytes)
	if _, err := io.ReadFull(a.random, key); err != nil {
		return fmt.Errorf("a key for ids: %w", err)
	}
	a.key = key
	if err := a.replace(); err != nil {
		a.key = nil
		return err
	}
	return nil
}

// flush brings to disk what was taken in. A line that an earlier failure left half written is overwritten.
func (a *addenda) flush() error {
	a.mu.Lock()
	defer a.mu.Unlock()
	if len(a.fresh) == 0 {
		return nil
	}
	f, err := os.OpenFile(a.path, os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	text := []byte(strings.Join(a.fresh, "\n") + "\n")
	err = f.Truncate(a.kept)
	if err == nil {
		_, err = f.WriteAt(text, a.kept)
	}
	if err == nil {
		err = f.Sync()
	}
	if err = errors.Join(err, f.Close()); err != nil {
		return fmt.Errorf("keeping what records say in free text: %w", err)
	}
	a.kept += int64(len(text))
	a.fresh = nil
	return nil
}

// replace writes the whole file anew: either the old one is there, or the new one. The caller holds mu.
func (a *addenda) replace() error {
	head := addendaHead + base64.RawURLEncoding.EncodeToString(a.key)
	text := []byte(strings.Join(append([]string{head}, a.lines...), "\n") + "\n")
	if err := disk.Write(filepath.Dir(a.path), addendaName, text); err != nil {
		return fmt.Errorf("keeping what records say in free text: %w", err)
	}
	a.kept, a.fresh = int64(len(text)), nil
	return nil
}

// hide returns an event as it is signed: its texts and its case stand beside the ledger. of is the kind of the event
// that it corrects in the end, "" where it corrects none.
func (a *addenda) hide(e *events.Event, of events.Kind) (*events.Event, error) {
	return hideBy(e, of, a.mark)
}

// hideBy is hide with marks of another make.
func hideBy(e *events.Event, of events.Kind, mark func(name, text string) (string, error)) (*events.Event, error) {
	h := *e
	var err error
	replace := func(name, text string) (string, error) {
		if events.IsMark(text) {
			return text, nil // a case whose reference was taken out; of anything else prepare has refused it
		}
		return mark(name, text)
	}
	if h.Data, err = events.Texts(e.Data, of, replace); err != nil {
		return nil, err
	}
	if e.Kind().Subject() == events.SubjectCase || of.Subject() == events.SubjectCase {
		h.Subject, err = replace(events.AddendumCase, e.Subject)
	}
	return &h, err
}
