//go:build !race

package site_test

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/site"
	"listbound/cmd/internal/sitetest"
	"listbound/ledger"
)

// TestWitnessSeesWhatIsMissing puts ledgers back from copies and rewrites one with all its keys. Each refuses to be
// written, says why, and answers questions.
func TestWitnessSeesWhatIsMissing(t *testing.T) {
	dir, policy := witnessed(t)
	before := copyFolder(t, dir)
	o := site.Options{EnrolOnSight: true, Clock: fixed(noon.AddDate(0, 0, 7))}
	s := open(t, dir, o)
	record(t, s, strings.Join(weekLines(t)[100:150], "\n"))
	if err := s.AskWitnesses(t.Context()); err == nil {
		t.Error("east was reached")
	}
	size := s.Size()
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	refuses := func(what string, s *site.Site, says ...string) {
		t.Helper()
		n := s.Size()
		_, err := s.Observe(t.Context(), checked(t, "LAP-014"))
		if !errors.Is(s.Ready(t.Context()), ledger.ErrStopped) {
			t.Error("ready to record in a ledger that the witness contradicts")
		}
		if !errors.Is(err, ledger.ErrStopped) || s.Size() != n {
			t.Errorf("%s: recorded %d, %v", what, s.Size()-n, err)
		}
		for _, x := range says {
			if err == nil || !strings.Contains(err.Error(), x) {
				t.Errorf("%s: it says %v, not %q", what, err, x)
			}
		}
		if len(s.Damage()) == 0 {
			t.Errorf("%s: nothing is wrong", what)
		}
		v, err := s.Verify(t.Context(), nil)
		if err != nil || v.OK {
			t.Errorf("%s: verify says %+v, %v", what, v, err)
		}
		if _, err := s.Broken(t.Context()); err != nil {
			t.Errorf("%s: %v", what, err)
		}
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	}
	missing := fmt.Sprintf("has seen %d: records", size)

	// stream/ and log/ of the copy, the rest as it is: the folder's own memory of the signatures tells.
	mixed := copyFolder(t, dir)
	for _, part := range []string{"stream", "log", "stream.clean", "newest.checkpoint", "readmodel.db"} {
		if err := os.RemoveAll(filepath.Join(mixed, part)); err != nil {
			t.Fatal(err)
		}
	}
	for _, part := range []string{"stream", "log"} {
		if err := os.CopyFS(filepath.Join(mixed, part), os.DirFS(filepath.Join(before, part))); err != nil {
			t.Fatal(err)
		}
	}
	s, err := site.Open(t.Context(), withDir(o, mixed))
	if err != nil {
		t.Fatal(err)
	}
	refuses("the ledger alone put back", s, missing)
	// Where the loss is declared it goes on, and is still not the ledger that the witness has seen.
	o.Dir = mixed
	if loss, err := site.DeclareLoss(t.Context(), o, "B-1", "the disk failed"); err != nil || loss.Had != size {
		t.Errorf("declared: %+v, %v", loss, err)
	}
	for _, n := range []int{1, 60} { // fewer records than the witness has seen, and more
		s = open(t, mixed, o)
		record(t, s, strings.Join(weekLines(t)[100:100+n], "\n"))
		if err := s.AskWitnesses(t.Context()); err == nil {
			t.Error("another history than the witness has seen was signed")
		}
		if err := s.Ready(t.Context()); err != nil {
			t.Error(err)
		}
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	}

	// The whole folder put back knows nothing of it; the witnesses do.
	s, err = site.Open(t.Context(), withDir(o, copyFolder(t, before)))
	if err != nil {
		t.Fatal(err)
	}
	if err := s.AskWitnesses(t.Context()); err == nil {
		t.Error("a folder put back was signed")
	}
	if w := s.Witnesses().Witnesses[0]; !w.Contradicts {
		t.Errorf("a folder put back: %+v", w)
	}
	refuses("the whole folder put back", s, missing)

	// All recorded anew with the same keys, one badge changed.
	rewritten := t.TempDir()
	sitetest.CopyKeys(t, dir, rewritten)
	writePolicy(t, rewritten, policy)
	s, err = site.Open(t.Context(), withDir(o, rewritten))
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.Replace(strings.Join(weekLines(t)[:160], "\n"), `"operator":"B-`, `"operator":"B-9`, 1)
	record(t, s, lines)
	if err := s.AskWitnesses(t.Context()); err == nil || !strings.Contains(err.Error(), "another history") {
		t.Errorf("a rewritten ledger: %v", err)
	}
	refuses("rewritten with all keys", s, "are not those that the witness south has seen")
}

// TestTimestampContradicts: a ledger that is not the one that was timestamped takes no
// more records; a timestamp that was damaged is named by verify.
func TestTimestampContradicts(t *testing.T) {
	dir, _, _ := stamped(t, "%s\n")
	before := copyFolder(t, dir)
	o := site.Options{EnrolOnSight: true, Clock: time.Now}
	s := open(t, dir, o)
	record(t, s, strings.Join(weekLines(t)[100:150], "\n"))
	st := askTimestamp(t, s)
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	tsr := filepath.Join(dir, "timestamps", fmt.Sprint(st.Size)+".tsr")
	response, err := os.ReadFile(tsr)
	if err != nil {
		t.Fatal(err)
	}
	// The whole folder was put back; what was timestamped lies in it again.
	for _, suffix := range []string{".tsr", ".checkpoint"} {
		data, err := os.ReadFile(filepath.Join(dir, "timestamps", fmt.Sprint(st.Size)+suffix))
		if err != nil {
			t.Fatal(err)
		}
		writeFile(t, filepath.Join(before, "timestamps", fmt.Sprint(st.Size)+suffix), data)
	}
	old := open(t, before, o)
	if d := old.Damage(); len(d) != 1 || !strings.Contains(d[0].What, "the authority CN=Invented time at ") {
		t.Errorf("an older ledger than the one timestamped: %v", d)
	}
	if v, err := old.Verify(t.Context(), nil); err != nil || v.OK {
		t.Errorf("verify: %+v, %v", v, err)
	}
	if err := old.Close(); err != nil {
		t.Fatal(err)
	}
	for _, suffix := range []string{".tsr", ".checkpoint"} { // so that the folder can be verified at the end
		if err := os.Remove(filepath.Join(before, "timestamps", fmt.Sprint(st.Size)+suffix)); err != nil {
			t.Fatal(err)
		}
	}
	response[len(response)-1] ^= 1 // in the signature
	writeFile(t, tsr, response)
	s = open(t, dir, o)
	record(t, s, weekLines(t)[150])
	v, err := s.Verify(t.Context(), nil)
	if err != nil || !v.OK || len(v.Remarks) != 1 || !strings.Contains(v.Remarks[0].What, ".tsr") {
		t.Errorf("with a damaged timestamp: %+v, %v", v, err)
	}
}

// A restored copy that goes on beside its original is stopped by the first witness that it asks.
func TestRestoredCopyMeetsItsWitness(t *testing.T) {
	dir, _ := witnessed(t)
	o := site.Options{EnrolOnSight: true, Clock: fixed(noon.AddDate(0, 0, 7))}
	to := filepath.Join(t.TempDir(), "backup")
	if _, err := site.Backup(t.Context(), site.Options{Dir: dir, Clock: o.Clock}, to, nil); err != nil {
		t.Fatal(err)
	}
	s := open(t, dir, o)
	record(t, s, strings.Join(weekLines(t)[100:120], "\n"))
	_ = s.AskWitnesses(t.Context()) // one of three can't be reached
	elsewhere := filepath.Join(t.TempDir(), "restored")
	if _, err := site.Restore(t.Context(), site.Options{Dir: elsewhere, Clock: o.Clock}, to, nil); err != nil {
		t.Fatal(err)
	}
	o.Dir = elsewhere
	copied, err := site.Open(t.Context(), o)
	if err != nil {
		t.Fatal(err)
	}
	record(t, copied, strings.Join(weekLines(t)[200:210], "\n"))
	_ = copied.AskWitnesses(t.Context())
	if err := recordError(t, copied, weekLines(t)[211]); err == nil || !strings.Contains(err.Error(), "the witness south has seen") {
		t.Errorf("a copy beside its original goes on: %v", err)
	}
	if err := copied.Close(); err != nil {
		t.Fatal(err)
	}
	// It remembers that without asking anybody.
	if copied, err = site.Open(t.Context(), o); err != nil {
		t.Fatal(err)
	}
	if err := recordError(t, copied, weekLines(t)[211]); err == nil || !strings.Contains(err.Error(), "the witness south has seen") {
		t.Errorf("a copy that met its witness goes on after a restart: %v", err)
	}
	if v, err := copied.Verify(t.Context(), nil); err != nil || v.OK {
		t.Errorf("a copy that met its witness is said to be whole: %+v, %v", v, err)
	}
	if err := copied.Close(); err != nil {
		t.Fatal(err)
	}
}
