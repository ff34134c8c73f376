package site_test

import (
	"bytes"
	"crypto/rand"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"listbound/cmd/internal/site"
	"listbound/events"
)

// texts are addenda as they should be found.
type texts struct {
	dir string
	a   site.Addenda
	is  []string // the lines, in their order
}

func newTexts(tb rapid.TB, dir string) *texts {
	x := &texts{dir: dir}
	x.open(tb)
	if err := x.a.Begin(); err != nil {
		tb.Fatal(err)
	}
	return x
}

func (x *texts) open(tb rapid.TB) {
	var err error
	if x.a, err = site.ReadAddenda(x.dir); err != nil {
		tb.Fatal(err)
	}
}

func (x *texts) path() string { return filepath.Join(x.dir, "addenda") }

// add takes in a new disclosure.
func (x *texts) add(tb rapid.TB, name, text string) {
	a, err := events.NewAddendum(rand.Reader, name, text)
	if err != nil {
		tb.Fatal(err)
	}
	line, err := a.Disclosure()
	if err != nil {
		tb.Fatal(err)
	}
	if err := x.a.Take(line, line); err != nil {
		tb.Fatal(err)
	}
	x.is = append(x.is, line)
}

func (x *texts) flush(tb rapid.TB) {
	if err := x.a.Flush(); err != nil {
		tb.Fatal(err)
	}
}

// check holds what is found against all lines.
func (x *texts) check(tb rapid.TB) {
	byCase := map[string][]string{}
	for _, line := range x.is {
		want, err := events.ParseDisclosure(line)
		if err != nil {
			tb.Fatal(err)
		}
		if got, ok := x.a.Disclosed(events.Mark(line)); !ok || got != want {
			tb.Fatalf("%v is found as %v, %t", want, got, ok)
		}
		if want.Name == events.AddendumCase {
			if byCase[want.Text] == nil && x.a.FirstOfCase(want.Text) != line {
				tb.Fatalf("the first of the case %s is %s, want %s", want.Text, x.a.FirstOfCase(want.Text), line)
			}
			byCase[want.Text] = append(byCase[want.Text], events.Mark(line))
		}
	}
	var several [][]string
	for reference, want := range byCase {
		slices.Sort(want)
		if got := x.a.OfCase(reference); !slices.Equal(got, want) {
			tb.Fatalf("the case %s has %v, want %v", reference, got, want)
		}
		if len(want) > 1 {
			several = append(several, want)
		}
	}
	slices.SortFunc(several, slices.Compare)
	if got := x.a.CaseIDs(); !slices.EqualFunc(got, several, slices.Equal) {
		tb.Fatalf("with several ids: %v, want %v", got, several)
	}
	if len(x.a.OfCase("nobody's")) > 0 {
		tb.Fatal("a case is found that there is not")
	}
}

// TestAddendaIndex: with and without an index the same is found, whatever was taken in, forgotten and taken out between two of them.
func TestAddendaIndex(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		dir, err := os.MkdirTemp("", "addenda-")
		if err != nil {
			t.Fatal(err)
		}
		defer os.RemoveAll(dir)
		x := newTexts(t, dir)
		t.Repeat(map[string]func(*rapid.T){
			"": func(t *rapid.T) { x.check(t) },
			"add": func(t *rapid.T) {
				for range rapid.IntRange(1, 5).Draw(t, "lines") {
					name := rapid.SampledFrom([]string{events.AddendumCase, "reason"}).Draw(t, "name")
					x.add(t, name, fmt.Sprint("K-", rapid.IntRange(1, 12).Draw(t, "text")))
				}
				if rapid.Bool().Draw(t, "refused") {
					n := rapid.IntRange(0, 1).Draw(t, "left")
					kept := len(x.is) - x.a.Unflushed() + min(n, x.a.Unflushed())
					x.a.Forget(min(n, x.a.Unflushed()))
					x.is = x.is[:kept]
				}
				x.flush(t)
			},
			"index": func(t *rapid.T) {
				if err := x.a.KeepIndex(1); err != nil {
					t.Fatal(err)
				}
			},
			"open": func(t *rapid.T) { x.open(t) },
			"take out": func(t *rapid.T) {
				if len(x.is) == 0 {
					return
				}
				n := rapid.IntRange(0, len(x.is)-1).Draw(t, "line")
				if err := x.a.Drop(events.Mark(x.is[n])); err != nil {
					t.Fatal(err)
				}
				x.is = slices.Delete(x.is, n, n+1)
				if _, err := os.Stat(x.path() + ".index"); !errors.Is(err, os.ErrNotExist) {
					t.Fatalf("what was taken out is still in the index: %v", err)
				}
			},
		})
	})
}

// TestAddendaIndexIsOfTheFile: an index is good only for the file that it was made of, and a start reads nothing that it has.
func TestAddendaIndexIsOfTheFile(t *testing.T) {
	made := func(t *testing.T) *texts {
		x := newTexts(t, t.TempDir())
		for i := range 40 {
			x.add(t, events.AddendumCase, fmt.Sprint("K-", i%30))
		}
		x.flush(t)
		if err := x.a.KeepIndex(1); err != nil {
			t.Fatal(err)
		}
		x.add(t, "reason", "found wet")
		x.flush(t)
		return x
	}
	change := func(t *testing.T, path string, f func([]byte) []byte) {
		t.Helper()
		data, err := os.ReadFile(path)
		if err == nil {
			err = os.WriteFile(path, f(data), 0o600)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	for _, tt := range []struct {
		name  string
		do    func(t *testing.T, x *texts)
		reads int // so many lines
	}{
		{"as it was", func(*testing.T, *texts) {}, 1},
		{"a line half written", func(t *testing.T, x *texts) {
			change(t, x.path(), func(data []byte) []byte { return append(data, "WyJ"...) })
		}, 1},
		{"no index", func(t *testing.T, x *texts) {
			if err := os.Remove(x.path() + ".index"); err != nil {
				t.Fatal(err)
			}
		}, 41},
		{"a byte of the index is another", func(t *testing.T, x *texts) {
			change(t, x.path()+".index", func(data []byte) []byte { data[len(data)/2] ^= 1; return data })
		}, 41},
		{"half an index", func(t *testing.T, x *texts) {
			change(t, x.path()+".index", func(data []byte) []byte { return data[:len(data)/2] })
		}, 41},
		{"an empty index", func(t *testing.T, x *texts) { change(t, x.path()+".index", func([]byte) []byte { return nil }) }, 41},
		{"an older file is put back", func(t *testing.T, x *texts) {
			change(t, x.path(), func(data []byte) []byte { return bytes.Join(bytes.SplitAfter(data, []byte("\n"))[:21], nil) })
			x.is = x.is[:20]
		}, 20},
		{"another file of the same length", func(t *testing.T, x *texts) {
			change(t, x.path(), func(data []byte) []byte {
				lines := bytes.SplitAfter(data, []byte("\n"))
				lines[1], lines[2] = lines[2], lines[1]
				return bytes.Join(lines, nil)
			})
			x.is[0], x.is[1] = x.is[1], x.is[0]
		}, 41},
	} {
		t.Run(tt.name, func(t *testing.T) {
			x := made(t)
			tt.do(t, x)
			x.open(t)
			if got := x.a.Unindexed(); got != tt.reads {
				t.Errorf("%d lines are read, want %d", got, tt.reads)
			}
			x.check(t)
			if err := x.a.KeepIndex(1000); err != nil {
				t.Fatal(err)
			}
			if _, err := os.Stat(x.path() + ".index"); errors.Is(err, os.ErrNotExist) == (tt.reads == 1) {
				t.Errorf("afterwards the index is there or not: %v", err)
			}
		})
	}
}

// TestForgetSaidBefore: what was taken in before stays where a refused record says the same, with the same salt.
func TestForgetSaidBefore(t *testing.T) {
	x := newTexts(t, t.TempDir())
	var marks []string
	for _, text := range []string{"found wet", "torn", "found wet"} {
		mark, err := x.a.Mark(always{}, "reason", text)
		if err != nil {
			t.Fatal(err)
		}
		marks = append(marks, mark)
	}
	if marks[0] != marks[2] {
		t.Fatal("another salt")
	}
	x.a.Forget(2)
	for _, mark := range marks {
		if _, ok := x.a.Disclosed(mark); !ok {
			t.Errorf("%s is forgotten", mark)
		}
	}
}

// TestPlacesOfLikeDigests: the index keeps the beginning of a digest alone.
func TestPlacesOfLikeDigests(t *testing.T) {
	like := func(begins, ends byte) (d [32]byte) {
		d[0], d[31] = begins, ends
		return d
	}
	if got := site.PlacesOf(like(5, 1), like(4, 0), like(5, 2), like(6, 0), like(5, 1)); !slices.Equal(got, []int{0, 2, 4}) {
		t.Errorf("the places are %v", got)
	}
}

// TestStartWritesTheAddendaIndex: a folder with many texts gets an index, which the next start goes by, a redaction removes and a
// backup does without.
func TestStartWritesTheAddendaIndex(t *testing.T) {
	dir := t.TempDir()
	o := site.Options{Name: "north", EnrolOnSight: true, Clock: fixed(noon)}
	s := open(t, dir, o)
	rs, err := s.Observe(t.Context(), closing(noon.Add(-2*time.Hour))...)
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	index := filepath.Join(dir, "addenda.index")
	if _, err := os.Stat(index); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("there is an index of a few texts: %v", err)
	}
	f, err := os.OpenFile(filepath.Join(dir, "addenda"), os.O_APPEND|os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	for i := range 2000 {
		a, err := events.NewAddendum(rand.Reader, "reason", fmt.Sprint("as before, ", i))
		if err != nil {
			t.Fatal(err)
		}
		line, err := a.Disclosure()
		if err == nil {
			_, err = fmt.Fprintln(f, line)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	for range 2 {
		s = open(t, dir, o)
		if _, err := os.Stat(index); err != nil {
			t.Fatal(err)
		}
		if e, err := s.EventAt(rs[1].Seq); err != nil || e.Subject != saidCase || e.Data.(*events.CaseClosed).Reason != saidReason {
			t.Errorf("the record says %+v, %v", e, err)
		}
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
		if a, err := site.ReadAddenda(dir); err != nil || a.Unindexed() != 0 {
			t.Errorf("%d lines are in no index, %v", a.Unindexed(), err)
		}
	}
	to := t.TempDir()
	if _, err := site.Backup(t.Context(), site.Options{Dir: dir, Clock: fixed(noon)}, to, nil); err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(filepath.Join(to, "addenda.index")); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("the backup has an index: %v", err)
	}
	data, err := os.ReadFile(index)
	if err != nil {
		t.Fatal(err)
	}
	half := index + ".tmp" // of a start that was killed
	if err := os.WriteFile(half, data, 0o600); err != nil {
		t.Fatal(err)
	}
	s = open(t, dir, o)
	if _, err := s.Redact(t.Context(), site.Redaction{Case: saidCase, Reason: "asked for"}); err != nil {
		t.Fatal(err)
	}
	for _, path := range []string{index, half} {
		if _, err := os.Stat(path); !errors.Is(err, os.ErrNotExist) {
			t.Errorf("what was taken out is in %s: %v", filepath.Base(path), err)
		}
	}
	if e, err := s.EventAt(rs[1].Seq); err != nil || e.Subject == saidCase || e.Data.(*events.CaseClosed).Reason == saidReason {
		t.Errorf("the record still says %+v, %v", e, err)
	}
}
