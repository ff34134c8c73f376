//go:build !race

package workplace

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"github.com/go-json-experiment/json"

	"listbound/events"
)

var now = time.Date(2026, 3, 4, 8, 0, 0, 0, time.UTC)

// TestLinesOfTwoBrowsers: the last to arrive holds where its writer had seen
// what it replaces; where not, and the numbers differ, nobody's does.
func TestLinesOfTwoBrowsers(t *testing.T) {
	type step struct {
		client   string
		counted  int64
		seen     int64 // revision the writer had seen; -1: the newest
		disputed bool
	}
	for name, c := range map[string]struct {
		steps   []step
		settled bool
		counted int64
	}{
		"one browser":                   {[]step{{"a", 4, 0, false}, {"a", 5, 0, false}}, true, 5},
		"seen and corrected":            {[]step{{"a", 4, 0, false}, {"b", 5, -1, false}}, true, 5},
		"unseen, the same number":       {[]step{{"a", 4, 0, false}, {"b", 4, 0, false}}, true, 4},
		"unseen, another number":        {[]step{{"a", 4, 0, false}, {"b", 5, 0, true}}, false, 0},
		"disputed and counted together": {[]step{{"a", 4, 0, false}, {"b", 5, 0, true}, {"a", 5, -1, false}}, true, 5},
	} {
		d := &draft{}
		for i, s := range c.steps {
			seen := s.seen
			if e := d.Lines[1]; seen < 0 && e != nil {
				seen = e.Rev
			}
			disputed, err := d.enter(s.client, lineInput{Line: 1, Counted: s.counted, Seen: seen}, now)
			if err != nil || disputed != s.disputed {
				t.Errorf("%s: step %d: disputed %v, %v", name, i, disputed, err)
			}
		}
		if got := d.settled(1, 4); got != c.settled {
			t.Errorf("%s: settled is %v", name, got)
		}
		if c.settled && d.Lines[1].Counted != c.counted {
			t.Errorf("%s: %d counted, want %d", name, d.Lines[1].Counted, c.counted)
		}
	}
	d := &draft{}
	for _, bad := range []lineInput{{Line: 1, Counted: -1}, {Line: 1, Counted: 10000}, {Line: 1, Counted: 1, Place: "cupboard"}} {
		if _, err := d.enter("a", bad, now); err == nil || len(d.Lines) != 0 {
			t.Errorf("%+v was taken", bad)
		}
	}
}

// TestByPlace: a line is settled when all of it was found or the last place was
// looked at; an interruption begins one place again.
func TestByPlace(t *testing.T) {
	d := &draft{ByPlace: true, Place: "field"}
	enter := func(place string, line, n int64) {
		if _, err := d.enter("a", lineInput{Line: line, Counted: n, Place: place}, now); err != nil {
			t.Fatal(err)
		}
	}
	enter("field", 1, 2)
	if d.settled(1, 4) {
		t.Error("two of four are settled before the last place")
	}
	enter("mayo", 1, 1)
	enter("mayo", 2, 3)
	d.Place = "mayo"
	d.interrupt(now)
	if e := d.Lines[1]; e == nil || e.Counted != 2 || d.Lines[2] != nil || d.Restarts != 1 {
		t.Errorf("after the interruption: %+v", d.Lines)
	}
	enter("off-field", 1, 0)
	if !d.settled(1, 4) || d.Lines[1].Counted != 2 {
		t.Error("the last place was looked at, yet the line is open")
	}
	whole := &draft{}
	if _, err := whole.enter("a", lineInput{Line: 1, Counted: 4}, now); err != nil {
		t.Fatal(err)
	}
	whole.interrupt(now)
	if len(whole.Lines) != 0 {
		t.Error("an interrupted count goes on where it was")
	}
}

// TestStore: what was saved is there after a start; a torn temporary file is
// never read; names can't leave the folder.
func TestStore(t *testing.T) {
	s := store{t.TempDir()}
	d := &draft{Case: "../../K/1", Set: "..", Stage: events.StageFirst, Lines: map[int64]*entry{3: {Counted: 2, Rev: 1}}}
	if err := s.saveDraft(d); err != nil {
		t.Fatal(err)
	}
	inside := 0
	err := filepath.WalkDir(s.dir, func(path string, e os.DirEntry, err error) error {
		if err == nil && !e.IsDir() {
			inside++
			err = os.WriteFile(filepath.Join(filepath.Dir(path), ".new-torn"), []byte(`{"case":`), 0o600)
		}
		return err
	})
	if err != nil || inside != 1 {
		t.Fatalf("%d files in the folder, %v", inside, err)
	}
	if up, err := filepath.Glob(filepath.Join(filepath.Dir(s.dir), "*.json")); err != nil || len(up) != 0 {
		t.Errorf("outside the folder: %v %v", up, err)
	}
	got, found, err := store{s.dir}.draft(d.Case, d.Set, d.Stage)
	if err != nil || !found || got.Lines[3] == nil || got.Lines[3].Counted != 2 {
		t.Errorf("read back %+v, %v, %v", got, found, err)
	}
	names, err := s.list("count", d.Case)
	if err != nil || len(names) != 1 || names[0] != ".. first" {
		t.Errorf("listed %q, %v", names, err)
	}
	if err := s.removeDraft(d); err != nil {
		t.Fatal(err)
	}
	if _, found, _ := s.draft(d.Case, d.Set, d.Stage); found {
		t.Error("a removed draft is still there")
	}
}

func TestOnce(t *testing.T) {
	var o once
	for _, c := range []struct {
		client string
		n      int64
		fresh  bool
	}{{"a", 1, true}, {"a", 1, false}, {"b", 1, true}, {"a", 3, true}, {"a", 2, false}} {
		if got := o.fresh(c.client, c.n); got != c.fresh {
			t.Errorf("%s %d is fresh: %v", c.client, c.n, got)
		}
	}
	// However many speak, the last ones are remembered.
	var many once
	for n := range int64(200) {
		many.fresh(fmt.Sprint("tab ", n), 1000+n)
	}
	for n := int64(199); n > 160; n-- {
		if many.fresh(fmt.Sprint("tab ", n), 1000+n) {
			t.Fatalf("tab %d of 200 is forgotten: what it sent would count twice", n)
		}
	}
	if len(many) > 60 {
		t.Errorf("%d tabs are remembered", len(many))
	}
	// Nor does it matter that a browser's clock, and so its numbers, are behind.
	if !many.fresh("slow", 3) || many.fresh("slow", 3) {
		t.Error("what a browser with a slow clock sent again would count twice")
	}
	// The draft of an earlier version is read as well.
	var old once
	if err := json.Unmarshal([]byte(`{"a":7,"b":3}`), &old); err != nil || old.fresh("a", 7) || !old.fresh("b", 4) {
		t.Errorf("%+v, %v", old, err)
	}
	raw, err := json.Marshal(old)
	var again once
	if err == nil {
		err = json.Unmarshal(raw, &again)
	}
	if err != nil || !slices.Equal(again, old) || again.fresh("b", 4) {
		t.Errorf("%s: %+v, %v", raw, again, err)
	}
}

func TestKg(t *testing.T) {
	for text, want := range map[string]int64{"8.4": 8400, "8,4": 8400, " 11.34 ": 11340, "12": 12000, ",5": 500, "0.001": 1} {
		if got, ok := parseThousandths(text); !ok || got != want {
			t.Errorf("%q is %d, %v; want %d", text, got, ok, want)
		}
	}
	for _, text := range []string{"", ".", "8.4001", "1e3", "-1", "8.4kg", "8.4.1", "1000", "８"} {
		if got, ok := parseThousandths(text); ok {
			t.Errorf("%q is taken for %d g", text, got)
		}
	}
}
