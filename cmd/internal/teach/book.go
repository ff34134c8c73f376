package teach

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"github.com/go-json-experiment/json"

	"listbound/cmd/internal/site"
	"listbound/projections/practise"
)

// Answered is an answer that was given, and what it came to.
type Answered struct {
	N       int             `json:"n"` // its number in the book
	At      time.Time       `json:"at"`
	Who     string          `json:"who"` // name or badge, as typed
	Try     int             `json:"try"` // of this learner with this incident; after the first the way was known
	Seed    uint64          `json:"seed"`
	Cause   string          `json:"cause"`
	Records string          `json:"records"` // digest of what was recorded
	Causes  string          `json:"causes"`  // of the file of causes
	Program string          `json:"program"`
	Answer  practise.Answer `json:"answer"`
	Marks   []practise.Mark `json:"marks"`
}

// Passed reports whether all of it is right.
func (a *Answered) Passed() bool { return practise.Passed(a.Marks) }

// Right is how many parts are right.
func (a *Answered) Right() int {
	n := 0
	for _, m := range a.Marks {
		if m.Right {
			n++
		}
	}
	return n
}

// Book keeps the answers to one incident, a line each, in a file beside its ledger.
type Book struct {
	file string
	mu   sync.Mutex
	all  []Answered
}

// maxAnswers is how many a book takes: a class, not whoever finds the address.
const maxAnswers = 5000

// ErrFull is told where it takes no more.
var ErrFull = errors.New("the book of answers is full; begin another folder")

// OpenBook opens the book of a folder. A last line that was cut off is no answer: nobody was told of it.
func OpenBook(dir string) (*Book, error) {
	b := &Book{file: filepath.Join(dir, "answers.jsonl")}
	raw, err := os.ReadFile(b.file)
	if errors.Is(err, os.ErrNotExist) {
		return b, nil
	}
	if err != nil {
		return nil, err
	}
	whole := bytes.LastIndexByte(raw, '\n') + 1
	for line := range bytes.Lines(raw[:whole]) {
		var a Answered
		if err := json.Unmarshal(line, &a); err != nil {
			return nil, fmt.Errorf("%s, line %d: %w", b.file, len(b.all)+1, err)
		}
		b.all = append(b.all, a)
	}
	if whole < len(raw) {
		return b, os.Truncate(b.file, int64(whole))
	}
	return b, nil
}

// Add marks an answer and keeps it.
func (b *Book) Add(in *practise.Incident, who string, a practise.Answer, at time.Time) (*Answered, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if len(b.all) >= maxAnswers {
		return nil, ErrFull
	}
	x := Answered{N: len(b.all) + 1, At: at.UTC().Truncate(time.Second), Who: who, Try: 1, Seed: in.Seed, Cause: in.Cause.ID,
		Records: in.Digest(), Causes: in.Causes, Program: site.Program(), Answer: a, Marks: in.Mark(a)}
	for i := range b.all {
		if strings.EqualFold(b.all[i].Who, who) {
			x.Try++
		}
	}
	raw, err := json.Marshal(x)
	if err != nil {
		return nil, fmt.Errorf("answer: %w", err)
	}
	f, err := os.OpenFile(b.file, os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
	if err != nil {
		return nil, err
	}
	_, err = f.Write(append(raw, '\n'))
	if err == nil {
		err = f.Sync()
	}
	if err = errors.Join(err, f.Close()); err != nil {
		return nil, err
	}
	b.all = append(b.all, x)
	return &x, nil
}

// Find returns an answer by its number, nil where there is none.
func (b *Book) Find(n int) *Answered {
	b.mu.Lock()
	defer b.mu.Unlock()
	if n < 1 || n > len(b.all) {
		return nil
	}
	return &b.all[n-1]
}
