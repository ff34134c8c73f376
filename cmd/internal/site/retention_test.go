package site_test

import (
	"context"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"listbound/cmd/internal/refusal"
	"listbound/cmd/internal/site"
	"listbound/events"
)

// TestRetention: a server takes out by itself what is due, once it is and not before, and passes over what is held.
func TestRetention(t *testing.T) {
	dir := t.TempDir()
	var mu sync.Mutex
	now := noon
	clock := func() time.Time {
		mu.Lock()
		defer mu.Unlock()
		return now
	}
	asked, tick := make(chan time.Duration), make(chan time.Time)
	o := site.Options{Dir: dir, Name: "north", EnrolOnSight: true, Clock: clock,
		After: func(d time.Duration) <-chan time.Time { asked <- d; return tick }}
	s, _ := told(t, o)
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan struct{})
	go func() { s.KeepRetention(ctx); close(ended) }()
	defer func() { cancel(); <-ended }()
	later := func(d time.Duration) {
		t.Helper()
		mu.Lock()
		now = now.Add(d)
		mu.Unlock()
		tick <- now
		if wait := <-asked; wait <= 0 || wait > time.Hour {
			t.Errorf("it looks again after %s", wait)
		}
	}
	say := func(d events.Data) {
		t.Helper()
		if _, err := s.Observe(t.Context(), &events.Observation{Station: "north/ledger", Kind: d.Kind(), Time: clock(), Data: d}); err != nil {
			t.Fatal(err)
		}
	}
	there := func(want bool, when string) {
		t.Helper()
		if got := len(holding(t, dir, saidReason)) > 0; got != want {
			t.Errorf("%s the text is there: %v", when, got)
		}
	}
	<-asked
	later(25 * time.Hour)
	there(true, "without a retention")
	say(&events.RetentionAdopted{Days: 30})
	later(25 * time.Hour)
	there(true, "before it is due")
	say(&events.HoldPlaced{Hold: "H-1", Set: "NOT-THIS", Reason: "x"})
	say(&events.HoldPlaced{Hold: "H-2", Case: saidCase, Reason: "court"})
	later(31 * 24 * time.Hour)
	there(true, "while it is held")
	say(&events.HoldLifted{Hold: "H-2", Reason: "ruled"})
	later(23 * time.Hour)
	there(true, "within a day")
	later(2 * time.Hour)
	there(false, "when it is due")
	nowhere(t, dir, saidReason, saidAction)
	if v, err := s.Verify(t.Context(), nil); err != nil || !v.OK {
		t.Errorf("verify: %+v, %v", v, err)
	}
}

// TestRedactionIsShownFirst: a check says what would be taken out and where it stands, and takes nothing out.
func TestRedactionIsShownFirst(t *testing.T) {
	dir := t.TempDir()
	s, rs := told(t, site.Options{Dir: dir, Name: "north", EnrolOnSight: true, Clock: func() time.Time { return noon }})
	folder := filepath.Join(dir, "drafts", "count", saidCase)
	if err := os.MkdirAll(folder, 0o700); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(folder, "LAP-022 first.json"), []byte("{}"), 0o600); err != nil {
		t.Fatal(err)
	}
	size := s.Size()
	out, err := s.Redact(t.Context(), site.Redaction{Case: saidCase, Check: true})
	if err != nil {
		t.Fatal(err)
	}
	var texts []string
	for _, f := range out.Found {
		if f.Seq == rs[1].Seq && f.Kind != "case.closed" {
			t.Errorf("%+v is not of a closing", f)
		}
		texts = append(texts, f.Text)
	}
	if out.Texts != 6 || len(texts) != 6 || !slices.Contains(texts, saidCase) || !slices.Contains(texts, saidReason) || len(out.By) > 0 {
		t.Errorf("found: %+v", out)
	}
	want := []string{"door/reads-2026-03.jsonl", "drafts/count-1.json", "drafts/count/" + saidCase + "/LAP-022 first.json",
		"drafts/spoken-or-3-1.json"}
	if slices.Sort(out.Files); !slices.Equal(out.Files, want) {
		t.Errorf("files: %v", out.Files)
	}
	if s.Size() != size || len(holding(t, dir, saidReason)) == 0 {
		t.Error("a check took something out")
	}
	if _, err := s.Redact(t.Context(), site.Redaction{Case: saidCase, Reason: "asked for"}); err != nil {
		t.Fatal(err)
	}
	err = filepath.WalkDir(dir, func(path string, _ fs.DirEntry, err error) error {
		if strings.Contains(path, saidCase) {
			t.Errorf("%s is named for the case", path)
		}
		return err
	})
	if err != nil {
		t.Error(err)
	}
}

// TestShortTextsStandAlone: of a text of a few letters only the one that stands alone is taken out of drafts and lists of
// who read what, and none that another record says as well.
func TestShortTextsStandAlone(t *testing.T) {
	dir := t.TempDir()
	s := open(t, dir, site.Options{Dir: dir, Name: "north", EnrolOnSight: true, Clock: func() time.Time { return noon }})
	lines := ""
	for i, k := range []string{"K-1", "K-12"} {
		lines += `{"station":"north/or-3","kind":"case.closed","time":"2026-03-02T09:00:0` + string(rune('0'+i)) +
			`Z","data":{"case":"` + k + `","outcome":"unreconciled","actions":["x-ray taken"],"reason":"` + k + ` is short"}}` + "\n"
	}
	err := s.Record(t.Context(), strings.NewReader(lines), func(r site.Receipt) error {
		if r.Error != "" {
			t.Error(r.Error)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	files := map[string]string{
		"drafts/a.json": `{"case":"K-12"}`, "drafts/b.json": `{"case":"K-1"}`, "drafts/c.json": `{"action":"x-ray taken"}`,
		"door/reads-2026-03.jsonl": "{\"ask\":\"case=K-12\"}\n{\"ask\":\"case=K-1&lang=de\"}\n",
	}
	for name, text := range files {
		path := filepath.Join(dir, filepath.FromSlash(name))
		if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := s.Redact(t.Context(), site.Redaction{Case: "K-1", Reason: "asked for"}); err != nil {
		t.Fatal(err)
	}
	for name, want := range map[string]bool{"a": true, "b": false, "c": true} {
		if _, err := os.Stat(filepath.Join(dir, "drafts", name+".json")); (err == nil) != want {
			t.Errorf("draft %s: %v", name, err)
		}
	}
	if raw, err := os.ReadFile(filepath.Join(dir, "door", "reads-2026-03.jsonl")); err != nil ||
		string(raw) != "{\"ask\":\"case=K-12\"}\n{\"ask\":\"case=redacted&lang=de\"}\n" {
		t.Errorf("who read what: %s, %v", raw, err)
	}
}

// TestRedactionEndsAComparison: a second read model that a check was filling has the texts, and is gone with them; the
// check is told to ask again and finds nothing wrong.
func TestRedactionEndsAComparison(t *testing.T) {
	dir := t.TempDir()
	s, _ := told(t, site.Options{Dir: dir, Name: "north", EnrolOnSight: true, Clock: func() time.Time { return noon }})
	filling, checked := make(chan struct{}), make(chan error)
	var once sync.Once
	go func() {
		checked <- s.CheckSlowly(t.Context(), func(ctx context.Context, _ time.Duration) error {
			if found, err := filepath.Glob(filepath.Join(dir, "checking-*")); err != nil || len(found) == 0 {
				return err
			}
			once.Do(func() { close(filling) })
			<-ctx.Done()
			return ctx.Err()
		})
	}()
	<-filling
	if _, err := s.Redact(t.Context(), site.Redaction{Case: saidCase, Reason: "asked for"}); err != nil {
		t.Fatal(err)
	}
	if err := <-checked; err == nil || !refusal.Is(err) || s.Checked() != nil {
		t.Errorf("a check that a redaction ended: %v, %+v", err, s.Checked())
	}
	nowhere(t, dir, saidCase, saidReason, saidAction)
	err := s.CheckSlowly(t.Context(), func(context.Context, time.Duration) error { return nil })
	if err != nil || len(s.Checked().Problems) > 0 {
		t.Errorf("the next check: %v, %+v", err, s.Checked())
	}
}

// TestRedactionThatFailsIsEnded: where the read model can't be made anew, a server does it later by itself.
func TestRedactionThatFailsIsEnded(t *testing.T) {
	dir := t.TempDir()
	s, _ := told(t, site.Options{Dir: dir, Name: "north", EnrolOnSight: true, Clock: func() time.Time { return noon }})
	inTheWay := filepath.Join(dir, "readmodel.db.new")
	if err := os.MkdirAll(filepath.Join(inTheWay, "x"), 0o700); err != nil {
		t.Fatal(err)
	}
	if out, err := s.Redact(t.Context(), site.Redaction{Case: saidCase, Reason: "asked for"}); err != nil || !out.Unfinished {
		t.Errorf("a read model that can't be made anew: %+v, %v", out, err)
	}
	if s.Retain(t.Context()) == nil {
		t.Error("it was made anew through what is in the way")
	}
	if len(holding(t, dir, saidReason)) == 0 {
		t.Error("nothing was in the way")
	}
	if err := os.RemoveAll(inTheWay); err != nil {
		t.Fatal(err)
	}
	if err := s.Retain(t.Context()); err != nil {
		t.Fatal(err)
	}
	nowhere(t, dir, saidCase, saidReason, saidAction)
	if _, err := os.Stat(filepath.Join(dir, "redaction-unfinished")); err == nil {
		t.Error("it is still unfinished")
	}
}

// TestWritersStandAside: whoever writes files beside the ledger is asked to stand aside before texts are taken out of these,
// and let go afterwards.
func TestWritersStandAside(t *testing.T) {
	dir := t.TempDir()
	s, _ := told(t, site.Options{Dir: dir, Name: "north", EnrolOnSight: true, Clock: func() time.Time { return noon }})
	held, let := 0, 0
	s.Aside(func() func() {
		held++ // what was under way comes to its end just now
		if err := os.WriteFile(filepath.Join(dir, "drafts", "last.json"), []byte(`{"case":"`+saidCase+`"}`), 0o600); err != nil {
			t.Error(err)
		}
		return func() { let++ }
	})
	if _, err := s.Redact(t.Context(), site.Redaction{Case: saidCase, Reason: "asked for"}); err != nil {
		t.Fatal(err)
	}
	if held != 1 || let != 1 {
		t.Errorf("asked to stand aside %d times, let go %d times", held, let)
	}
	nowhere(t, dir, saidCase, saidReason, saidAction)
}
