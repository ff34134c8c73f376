package site

import (
	"bytes"
	"crypto/rand"
	"crypto/sha256"
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

type digest = [sha256.Size]byte

// addenda are a folder's texts, in memory as on disk. There may be one for every tenth record, and each start reads them: so they
// stay as they were written, and what a line says is read when it is asked for.
type addenda struct {
	path   string
	random io.Reader

	mu         sync.RWMutex
	key        []byte           // of ids; nil: the file isn't there
	text       []byte           // the lines as disclosed, in their order, each with its end
	index      addendaIndex     // finds those that were there before
	otherIndex bool             // there is one that is not of this file
	byMark     map[digest]int   // where each of the others begins in text, by its digest
	cases      map[digest][]int // where those of them begin that give a case its id, by its reference's digest
	kept       int64            // bytes of the file that hold whole lines
	fresh      []string         // not on disk yet
	flushing   *flushing        // the flush that was begun; nil: none was

	proposed map[string]events.Addendum // of cases that nothing is recorded of, by reference; see proposeCase
}

// readAddenda reads a folder's file. A last line that was cut off was never acknowledged.
func readAddenda(dir string, random io.Reader) (*addenda, error) {
	if random == nil {
		random = rand.Reader
	}
	a := &addenda{path: filepath.Join(dir, addendaName), random: random}
	a.empty()
	raw, err := os.ReadFile(a.path)
	if errors.Is(err, os.ErrNotExist) {
		return a, nil
	}
	if err != nil {
		return nil, err
	}
	whole := raw[:bytes.LastIndexByte(raw, '\n')+1]
	a.kept = int64(len(whole))
	head, lines, _ := bytes.Cut(whole, []byte("\n"))
	text, ok := bytes.CutPrefix(head, []byte(addendaHead))
	if a.key, err = base64.RawURLEncoding.DecodeString(string(text)); err != nil || !ok || len(a.key) != idKeyBytes {
		return nil, fmt.Errorf("%s does not begin with its key; put it back from a copy", a.path)
	}
	a.index, a.otherIndex = readIndex(a.path+indexSuffix, whole, len(whole)-len(lines))
	if at, err := a.takeText(slices.Clip(lines)); err != nil {
		return nil, fmt.Errorf("%s, line %d: %w; put the file back from a copy, or, where there is none, take the line out: its text is lost "+
			"then, and verify says of which record", a.path, 2+bytes.Count(lines[:at], []byte("\n")), err)
	}
	return a, nil
}

// empty forgets all lines.
func (a *addenda) empty() {
	a.text, a.index = nil, addendaIndex{}
	a.byMark, a.cases = make(map[digest]int), make(map[digest][]int)
}

// takeText takes in the lines of a file. Before an error it returns where the line begins that it is about.
func (a *addenda) takeText(text []byte) (at int, err error) {
	a.text, at = text, a.index.upto
	for line := range bytes.Lines(text[at:]) {
		if err := a.know(at, string(line[:len(line)-1])); err != nil {
			return at, err
		}
		at += len(line)
	}
	return at, nil
}

// add keeps a disclosure in memory. The caller holds mu.
func (a *addenda) add(line string) error {
	if _, ok := a.placeOfLine(sha256.Sum256([]byte(line))); ok {
		return nil
	}
	if err := a.know(len(a.text), line); err != nil {
		return err
	}
	a.text = append(append(a.text, line...), '\n')
	return nil
}

// know takes in a line that begins there.
func (a *addenda) know(at int, line string) error {
	x, err := events.ParseDisclosure(line)
	if err != nil {
		return err
	}
	sum := sha256.Sum256([]byte(line))
	if _, ok := a.placeOfLine(sum); ok {
		return nil
	}
	a.byMark[sum] = at
	if x.Name == events.AddendumCase {
		reference := a.referenceDigest(x.Text)
		a.cases[reference] = append(a.cases[reference], at)
	}
	return nil
}

// lineAt returns the line that begins there.
func (a *addenda) lineAt(at int) string {
	line, _, _ := bytes.Cut(a.text[at:], []byte("\n"))
	return string(line)
}

// find returns the line of a mark, "" where there is none.
func (a *addenda) find(mark string) string {
	if sum, ok := events.MarkDigest(mark); ok {
		if at, ok := a.placeOfLine(sum); ok {
			return a.lineAt(at)
		}
	}
	return ""
}

// firstOfCase returns the line that gave a case its id, "" where there is none.
func (a *addenda) firstOfCase(reference string) string {
	if lines := a.linesOfCase(reference); len(lines) > 0 {
		return lines[0]
	}
	return ""
}

// each calls fn with what each line says.
func (a *addenda) each(fn func(line string, x events.Addendum)) {
	for line := range strings.Lines(string(a.text)) {
		line = line[:len(line)-1]
		if x, err := events.ParseDisclosure(line); err == nil { // as it was when it was taken in
			fn(line, x)
		}
	}
}

// disclosed implements events.Disclosed.
func (a *addenda) disclosed(mark string) (events.Addendum, bool) {
	a.mu.RLock()
	line := a.find(mark)
	a.mu.RUnlock()
	if line == "" {
		return events.Addendum{}, false
	}
	x, err := events.ParseDisclosure(line)
	return x, err == nil
}

// disclosures returns the written forms of those marks that are there.
func (a *addenda) disclosures(marks map[string]bool) (out []string) {
	a.mu.RLock()
	defer a.mu.RUnlock()
	for mark, wanted := range marks {
		if line := a.find(mark); wanted && line != "" {
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
	return a.marksOfCase(reference)
}

func (a *addenda) marksOfCase(reference string) (marks []string) {
	for _, line := range a.linesOfCase(reference) {
		marks = append(marks, events.Mark(line))
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
	var x events.Addendum
	var err error
	if name == events.AddendumCase {
		if line := a.firstOfCase(text); line != "" {
			return events.Mark(line), nil
		}
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
	return events.Mark(line), a.addFresh(line)
}

// take keeps disclosures that a station made itself.
func (a *addenda) take(lines []string) error {
	a.mu.Lock()
	defer a.mu.Unlock()
	for _, line := range lines {
		if err := a.addFresh(line); err != nil {
			return err
		}
	}
	return nil
}

// addFresh is add of a line that is to be flushed, if it is not there yet: forget takes each of those off the end. The caller
// holds mu.
func (a *addenda) addFresh(line string) error {
	had := len(a.text)
	if err := a.add(line); err != nil || len(a.text) == had {
		return err
	}
	a.fresh = append(a.fresh, line)
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
	for _, line := range slices.Backward(a.fresh[n:]) { // the last in text too
		sum := sha256.Sum256([]byte(line))
		at, ok := a.byMark[sum]
		if !ok {
			continue
		}
		delete(a.byMark, sum)
		a.text = a.text[:at]
		if x, err := events.ParseDisclosure(line); err == nil && x.Name == events.AddendumCase {
			reference := a.referenceDigest(x.Text)
			if a.cases[reference] = slices.DeleteFunc(a.cases[reference], func(n int) bool { return n == at }); len(a.cases[reference]) == 0 {
				delete(a.cases, reference)
			}
		}
	}
	a.fresh = a.fresh[:n]
}

// remove drops disclosures from memory, by the digests of their lines. The caller holds mu.
func (a *addenda) remove(gone map[digest]bool) {
	var left []byte
	for line := range bytes.Lines(a.text) {
		if !gone[sha256.Sum256(line[:len(line)-1])] {
			left = append(left, line...)
		}
	}
	a.empty()
	_, _ = a.takeText(left) // they were read before
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

// flushing is a flush that was begun.
type flushing struct {
	lines []string   // what it writes
	kept  int64      // as it was before
	done  chan error // gets what became of it
}

// beginFlush begins flush for whoever calls that next, or takeBackFlush, and calls nothing else that changes anything before.
func (a *addenda) beginFlush() {
	if a.flushing != nil || a.unflushed() == 0 {
		return
	}
	f := &flushing{a.fresh, a.kept, make(chan error, 1)}
	a.flushing = f
	go func() { f.done <- a.flushFresh() }()
}

// takeBackFlush ends a flush that was begun and that nobody calls for. What it wrote is unflushed again, for forget: of texts that no
// record has a mark of no redaction would know.
func (a *addenda) takeBackFlush() {
	f := a.flushing
	if f == nil {
		return
	}
	err := <-f.done
	if a.flushing = nil; err != nil {
		return
	}
	a.mu.Lock()
	defer a.mu.Unlock()
	a.fresh, a.kept = append(f.lines, a.fresh...), f.kept
	_ = os.Truncate(a.path, a.kept) // else the next flush does
}

// flush brings to disk what was taken in.
func (a *addenda) flush() error {
	if f := a.flushing; f != nil {
		err := <-f.done
		if a.flushing = nil; err != nil {
			return err
		}
	}
	return a.flushFresh()
}

// flushFresh overwrites a line that an earlier failure left half written.
func (a *addenda) flushFresh() error {
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

// head is the first line.
func (a *addenda) head() string {
	return addendaHead + base64.RawURLEncoding.EncodeToString(a.key) + "\n"
}

// replace writes the whole file anew: either the old one is there, or the new one. The caller holds mu.
func (a *addenda) replace() error {
	// What a crash left of writing the index has the same digests.
	if err := errors.Join(removeIfThere(a.path+indexSuffix+".tmp"), removeIfThere(a.path+indexSuffix)); err != nil {
		return err
	}
	text := append([]byte(a.head()), a.text...)
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
