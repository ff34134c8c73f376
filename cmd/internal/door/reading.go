package door

import (
	"fmt"
	"listbound/ledger/disk"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/go-json-experiment/json"
)

// Read is a line of who read what: a JSON object, one a line, in a file for each
// month that nothing but the end of is ever written.
type Read struct {
	At   time.Time `json:"at"`
	Who  string    `json:"who"`
	From string    `json:"from"` // address
	What string    `json:"what"` // the route, or signed-in
	Ask  string    `json:"ask,omitempty"`
}

// KeptFor is how long it is kept who read what, in months: six years, as 45 CFR 164.316(b)(2)(i) has for
// what documents who did what. A month's file is removed whole when its last day is older than that.
const KeptFor = 6 * 12

const (
	monthPrefix = "reads-"
	monthSuffix = ".jsonl"
	monthLayout = "2006-01"
)

// reading keeps who read what.
type reading struct {
	dir   string
	clock func() time.Time

	mu    sync.Mutex
	month string
}

// keep adds a line.
func (k *reading) keep(r Read) error {
	raw, err := json.Marshal(r)
	if err != nil {
		return fmt.Errorf("who read what: %w", err)
	}
	k.mu.Lock()
	defer k.mu.Unlock()
	if err := os.MkdirAll(k.dir, 0o700); err != nil {
		return fmt.Errorf("who read what: %w", err)
	}
	month := r.At.UTC().Format(monthLayout)
	f, err := os.OpenFile(filepath.Join(k.dir, monthPrefix+month+monthSuffix), os.O_WRONLY|os.O_CREATE|os.O_APPEND, 0o600)
	if err != nil {
		return fmt.Errorf("who read what: %w", err)
	}
	// One write, so that no line stands in another; and the first of this process begins a line of its own, whatever
	// a power cut left of the one before.
	line := append(raw, '\n')
	if k.month != month {
		line = append([]byte{'\n'}, line...)
	}
	_, err = f.Write(line)
	if e := f.Close(); err == nil {
		err = e
	}
	if err != nil {
		return fmt.Errorf("who read what: %w", err)
	}
	if k.month == month {
		return nil
	}
	k.month = month
	return k.forget()
}

// months lists the files, the newest first.
func (k *reading) months() ([]string, error) {
	all, err := disk.Glob(k.dir, monthPrefix+"*"+monthSuffix)
	slices.Sort(all)
	slices.Reverse(all)
	return all, err
}

// forget removes the months that are no longer kept. The caller holds mu.
func (k *reading) forget() error {
	files, err := k.months()
	if err != nil {
		return err
	}
	for _, f := range files {
		name := strings.TrimSuffix(strings.TrimPrefix(filepath.Base(f), monthPrefix), monthSuffix)
		month, err := time.Parse(monthLayout, name)
		if err != nil {
			continue // not one of ours
		}
		if end := month.AddDate(0, 1+KeptFor, 0); !k.clock().Before(end) {
			if err := os.Remove(f); err != nil {
				return fmt.Errorf("who read what: %w", err)
			}
		}
	}
	return nil
}

// newest returns the last lines, the newest first.
func (k *reading) newest(most int) (out []Read, err error) {
	err = k.each(func(r *Read) bool {
		out = append(out, *r)
		return len(out) < most
	})
	return out, err
}

// count is how many lines there are of somebody.
func (k *reading) count(who string) (n int, err error) {
	err = k.each(func(r *Read) bool {
		if slices.Contains(strings.Split(r.Who, ", "), who) {
			n++
		}
		return true
	})
	return n, err
}

// each goes through all lines, the newest first, until it is told to stop. A line that was cut off when the power went is
// passed over.
func (k *reading) each(more func(*Read) bool) error {
	files, err := k.months()
	if err != nil {
		return err
	}
	for _, f := range files {
		raw, err := os.ReadFile(f)
		if err != nil {
			return fmt.Errorf("who read what: %w", err)
		}
		lines := strings.Split(strings.TrimSuffix(string(raw), "\n"), "\n")
		for _, line := range slices.Backward(lines) {
			var r Read
			if json.Unmarshal([]byte(line), &r) != nil {
				continue // empty, or cut off
			}
			if !more(&r) {
				return nil
			}
		}
	}
	return nil
}
