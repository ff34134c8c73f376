//go:build !race

package site_test

import (
	"bytes"
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"golang.org/x/mod/sumdb/note"

	"listbound/cmd/internal/bundle"
	"listbound/cmd/internal/site"
	"listbound/ledger"
	"listbound/ledger/proof"
)

// replaced is a folder whose ledger's key was replaced, with 60 lines of the week before and 20 after, and a copy of it as
// it was right before.
type replaced struct {
	dir, before string
	change      site.KeyChange
}

// again returns a copy.
func (r *replaced) again(t *testing.T) (dir, before string, change site.KeyChange) {
	t.Helper()
	return copyFolder(t, r.dir), copyFolder(t, r.before), r.change
}

func replacedFolder(t *testing.T) *replaced {
	t.Helper()
	dir := t.TempDir()
	o := site.Options{Dir: dir, Name: "north", EnrolOnSight: true, Clock: fixed(noon.AddDate(0, 0, 7))}
	lines := weekLines(t)
	inFolder(t, o, func(s *site.Site) { record(t, s, strings.Join(lines[:60], "\n")) })
	before := copyFolder(t, dir)
	o.Clock = fixed(noon.AddDate(0, 0, 8))
	change, err := site.ReplaceKey(t.Context(), o, "B-1182", "the disk was stolen")
	if err != nil {
		t.Fatal(err)
	}
	inFolder(t, o, func(s *site.Site) {
		record(t, s, strings.Join(lines[60:80], "\n"))
		if _, err := s.Enrol(t.Context(), "north/later", "", "after the change"); err != nil {
			t.Fatal(err)
		}
	})
	return &replaced{dir, before, change}
}

// TestKeyReplaced: one folder, and what there is to it.
func TestKeyReplaced(t *testing.T) {
	r := replacedFolder(t)
	for _, x := range []struct {
		name string
		test func(t *testing.T, r *replaced)
	}{
		{"what was given out before", keyReplaced},
		{"the old key stolen", oldKeyStolen},
		{"cut off", replacementCutOff},
		{"backups", replacedKeyBackup},
		{"read-only", replacedKeyReading},
		{"witnesses", witnessOfReplacedKey},
		{"twice", replacedTwice},
		{"by hand", replacedKeyByHand},
		{"old key put back", oldKeyPutBack},
		{"new key lost", newKeyLost},
		{"replaced meanwhile", replacedMeanwhile},
	} {
		t.Run(x.name, func(t *testing.T) { x.test(t, r) })
	}
}

// keyReplaced: what was recorded and given out before is of the same ledger as what comes after; the old key is gone.
func keyReplaced(t *testing.T, r *replaced) {
	dir, before, change := r.again(t)
	o := site.Options{Dir: dir, Clock: fixed(noon.AddDate(0, 0, 9))}
	if left, err := os.ReadDir(filepath.Join(dir, "keys")); err != nil ||
		slices.ContainsFunc(left, func(e os.DirEntry) bool { return strings.HasSuffix(e.Name(), ".next") }) {
		t.Errorf("%v %v", left, err)
	}
	if bytes.Equal(get(t, dir, ledgerKey), get(t, before, ledgerKey)) {
		t.Error("the old private key is still there")
	}
	earlier := get(t, before, "log/checkpoint")
	inFolder(t, o, func(s *site.Site) {
		mustBeIntact(t, "after the change", s)
		keys := s.Keys()
		if len(keys) != 2 || keys[0].Text != change.Former || keys[1].Text != change.Key || keys[1].Since != change.Seq || s.Key() != change.Key {
			t.Fatalf("%+v after %+v", keys, change)
		}
		if _, err := proof.OpenCheckpoint(s.SignedNote(), s.Name(), keys[1].Key); err != nil {
			t.Error(err)
		}
		p, err := s.Consistency(t.Context(), change.Seq-1)
		if err != nil {
			t.Fatal(err)
		}
		if c, err := bundle.CompareNow(earlier, p, keys); err != nil || !c.Same {
			t.Errorf("what was given out before: %+v, %v", c, err)
		}
		set := site.Query{Set: "LAP-001"}
		for _, q := range []site.Query{set, {Set: "LAP-001", AsOf: noon.AddDate(0, 0, 7).Add(1)}, {All: true}} {
			raw := caseEvidence(t, s, q)
			for _, known := range []string{change.Former, change.Key, ""} {
				r := bundle.Check(raw, known)
				if !r.Whole || r.Key != change.Key || len(r.Former) != 1 || (r.Known != "") != (known == change.Former) {
					t.Errorf("%+v known by %s: %+v", q, known, r.Problems)
				}
			}
			other := proof.Keys(keys)[0].Text
			other = strings.Replace(other, "+", "+0", 1)
			if r := bundle.Check(raw, other); r.OK {
				t.Error("a bundle passes under a key that it doesn't lead to")
			}
		}
		if _, err := s.Rebuild(t.Context(), nil); err != nil {
			t.Error(err)
		}
		mustBeIntact(t, "after a rebuild", s)
	})
}

// oldKeyStolen: what the old key signs after the change is refused and named, wherever it turns up.
func oldKeyStolen(t *testing.T, r *replaced) {
	dir, before, change := r.again(t)
	lines := weekLines(t)
	var forged, forgedBundle []byte
	thief := site.Options{Dir: before, EnrolOnSight: true, Clock: fixed(noon.AddDate(0, 0, 9))}
	inFolder(t, thief, func(s *site.Site) {
		record(t, s, strings.Join(lines[300:400], "\n"))
		forgedBundle = caseEvidence(t, s, site.Query{Set: "LAP-001"})
		forged = s.SignedNote()
	})
	inFolder(t, site.Options{Dir: dir, Clock: thief.Clock}, func(s *site.Site) {
		at, err := bundle.CheckpointOf(forged)
		if err != nil {
			t.Fatal(err)
		}
		raw := caseEvidence(t, s, site.Query{Set: "LAP-001", Earlier: []int64{s.Size()}})
		for what, given := range map[string][]byte{"checkpoint": forged, "bundle": forgedBundle} {
			p, err := s.Consistency(t.Context(), min(at.Size, s.Size()))
			if err != nil {
				t.Fatal(err)
			}
			if c, err := bundle.CompareNow(given, p, s.Keys()); err == nil || !strings.Contains(err.Error(), "replaced it; whoever has that key") {
				t.Errorf("a %s of the old key beside the ledger: %+v, %v", what, c, err)
			}
			for _, known := range []string{change.Former, change.Key} {
				if c, err := bundle.Compare(raw, given, known); err == nil || !strings.Contains(err.Error(), "replaced it; whoever has that key") {
					t.Errorf("a %s of the old key beside a bundle: %+v, %v", what, c, err)
				}
			}
		}
		if r := bundle.Check(forgedBundle, change.Key); r.OK || r.Whole {
			t.Error("a bundle of the old key passes under the new one")
		}
	})
	// Put into the folder itself, it is no checkpoint of this ledger.
	put(t, dir, "log/checkpoint", forged)
	inFolder(t, site.Options{Dir: dir, Clock: thief.Clock}, func(s *site.Site) {
		if err := recordError(t, s, lines[81]); err == nil || !strings.Contains(err.Error(), "log/checkpoint") {
			t.Errorf("recorded: %v", err)
		}
	})
	// A second successor of the old key is another history.
	if _, err := site.ReplaceKey(t.Context(), thief, "B-1", "stolen"); err != nil {
		t.Fatal(err)
	}
	var second []byte
	inFolder(t, thief, func(s *site.Site) { second = caseEvidence(t, s, site.Query{Set: "LAP-001"}) })
	if _, err := site.Repair(t.Context(), site.Options{Dir: dir, Clock: thief.Clock}, nil); err != nil {
		t.Fatal(err)
	}
	inFolder(t, site.Options{Dir: dir, Clock: thief.Clock}, func(s *site.Site) {
		c, err := bundle.Compare(caseEvidence(t, s, site.Query{Set: "LAP-001"}), second, change.Former)
		if err != nil || c.Same || !strings.Contains(c.Says, "TWO HISTORIES") {
			t.Errorf("%+v, %v", c, err)
		}
	})
}

// replacementCutOff: wherever the replacement ends, the next start has the ledger under one key, and all of it.
func replacementCutOff(t *testing.T, r *replaced) {
	dir, before, change := r.again(t)
	oldKey, newKey := get(t, before, ledgerKey), get(t, dir, ledgerKey)
	line := weekLines(t)[500]
	for name, c := range map[string]struct {
		make func(t *testing.T) string
		want string // the key afterwards
	}{
		"before the record": {func(t *testing.T) string {
			d := copyFolder(t, before)
			put(t, d, ledgerKey+".next", newKey)
			return d
		}, change.Former},
		"before the first checkpoint of the new key": {func(t *testing.T) string {
			d := copyFolder(t, dir)
			for _, name := range []string{"log", "newest.checkpoint", "newest.heads"} {
				if err := os.RemoveAll(filepath.Join(d, name)); err != nil {
					t.Fatal(err)
				}
			}
			if err := os.CopyFS(filepath.Join(d, "log"), os.DirFS(filepath.Join(before, "log"))); err != nil {
				t.Fatal(err)
			}
			put(t, d, ledgerKey, oldKey)
			put(t, d, ledgerKey+".next", newKey)
			return d
		}, change.Key},
		"before the new file takes the old one's place": {func(t *testing.T) string {
			d := copyFolder(t, dir)
			put(t, d, ledgerKey, oldKey)
			put(t, d, ledgerKey+".next", newKey)
			return d
		}, change.Key},
	} {
		t.Run(name, func(t *testing.T) {
			d := c.make(t)
			o := site.Options{Dir: d, EnrolOnSight: true, Clock: fixed(noon.AddDate(0, 0, 9))}
			inFolder(t, o, func(s *site.Site) {
				if s.Key() != c.want || s.Keys().Newest().Text != c.want {
					t.Errorf("the key is %s, want %s", s.Key(), c.want)
				}
				record(t, s, line)
				mustBeIntact(t, "after it", s)
			})
			if _, err := os.Stat(filepath.Join(d, filepath.FromSlash(ledgerKey+".next"))); !os.IsNotExist(err) {
				t.Errorf("the next key is still there: %v", err)
			}
			key, err := ledger.VerifierKey(filepath.Join(d, filepath.FromSlash(ledgerKey)))
			if err != nil || key != c.want {
				t.Errorf("the key in the folder is %s, want %s: %v", key, c.want, err)
			}
		})
	}
}

// replacedKeyBackup: a backup of before takes what came after, also where it is cut off between records and keys, and
// a lost checkpoint is signed anew by the key of now.
func replacedKeyBackup(t *testing.T, r *replaced) {
	dir, before, change := r.again(t)
	o := site.Options{Clock: fixed(noon.AddDate(0, 0, 9)), EnrolOnSight: true}
	to := filepath.Join(t.TempDir(), "backup")
	backup := func(from string) {
		t.Helper()
		if _, err := site.Backup(t.Context(), withDir(o, from), to, nil); err != nil {
			t.Fatal(err)
		}
	}
	restored := func(when string) {
		t.Helper()
		elsewhere := filepath.Join(t.TempDir(), "restored")
		if _, err := site.Restore(t.Context(), withDir(o, elsewhere), to, nil); err != nil {
			t.Fatalf("%s: %v", when, err)
		}
		inFolder(t, withDir(o, elsewhere), func(s *site.Site) {
			mustBeIntact(t, when, s)
			if s.Key() != change.Key || len(s.Keys()) != 2 {
				t.Errorf("%s: %+v", when, s.Keys())
			}
		})
	}
	backup(before)
	backup(dir)
	restored("a backup")
	// Cut off after the checkpoint: the key of then, and the new one beside it.
	put(t, to, ledgerKey+".next", get(t, to, ledgerKey))
	put(t, to, ledgerKey, get(t, before, ledgerKey))
	restored("a backup cut off")
	backup(dir)
	if _, err := os.Stat(filepath.Join(to, filepath.FromSlash(ledgerKey+".next"))); !os.IsNotExist(err) {
		t.Errorf("the next key is still there: %v", err)
	}

	checkpoint := get(t, dir, "log/checkpoint")
	for _, name := range []string{"log/checkpoint", "newest.checkpoint"} {
		if err := os.Remove(filepath.Join(dir, filepath.FromSlash(name))); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := site.Repair(t.Context(), withDir(o, dir), nil); err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(checkpoint, get(t, dir, "log/checkpoint")) {
		t.Error("the checkpoint signed anew is another one")
	}
	// With the old key nothing is signed anew.
	put(t, dir, ledgerKey, get(t, before, ledgerKey))
	if err := os.Remove(filepath.Join(dir, "log", "checkpoint")); err != nil {
		t.Fatal(err)
	}
	if _, err := site.Repair(t.Context(), withDir(o, dir), nil); err == nil || !strings.Contains(err.Error(), "another key of the ledger") {
		t.Errorf("signed anew by a replaced key: %v", err)
	}
}

// replacedKeyReading: a folder in which nothing may be written is asked as any other, also amid a replacement.
func replacedKeyReading(t *testing.T, r *replaced) {
	if os.Geteuid() == 0 {
		t.Log("root may write everywhere: only what the folder says is tried")
	}
	dir, before, change := r.again(t)
	put(t, dir, ledgerKey+".next", get(t, dir, ledgerKey))
	put(t, dir, ledgerKey, get(t, before, ledgerKey))
	if err := filepath.WalkDir(dir, func(path string, d os.DirEntry, err error) error {
		if err == nil && d.IsDir() {
			err = os.Chmod(path, 0o500)
		}
		return err
	}); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = filepath.WalkDir(dir, func(path string, d os.DirEntry, err error) error {
			if err == nil && d.IsDir() {
				return os.Chmod(path, 0o700)
			}
			return err
		})
	})
	inFolder(t, site.Options{Dir: dir, Clock: fixed(noon.AddDate(0, 0, 9))}, func(s *site.Site) {
		mustBeIntact(t, "read-only", s)
		if s.Key() != change.Key {
			t.Errorf("the key is %s", s.Key())
		}
	})
}

// witnessOfReplacedKey: a witness that was told the new key goes on with the ledger, and takes nothing of the old key
// any more; one that wasn't told signs nothing.
func witnessOfReplacedKey(t *testing.T, r *replaced) {
	dir, before, change := r.again(t)
	verifier := func(text string) note.Verifier {
		v, err := note.NewVerifier(text)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	former, now := verifier(change.Former), verifier(change.Key)
	told, at := witnessOf(t, "south", former, now)
	untold, _ := witnessOf(t, "west", former)
	policy := told + untold + "group any any south west\nquorum any\n"
	clock := fixed(noon.AddDate(0, 0, 9))
	writePolicy(t, before, policy)
	thief := site.Options{Dir: before, EnrolOnSight: true, Clock: clock}
	inFolder(t, thief, func(s *site.Site) {
		if err := s.AskWitnesses(t.Context()); err != nil {
			t.Fatal(err)
		}
	})
	// The ledger itself still has what they signed under its old key.
	if err := os.CopyFS(filepath.Join(dir, "witnesses"), os.DirFS(filepath.Join(before, "witnesses"))); err != nil {
		t.Fatal(err)
	}
	writePolicy(t, dir, "log "+change.Former+"\n"+policy)
	inFolder(t, site.Options{Dir: dir, Clock: clock}, func(s *site.Site) {
		if err := s.AskWitnesses(t.Context()); err == nil || !strings.Contains(err.Error(), "west") {
			t.Errorf("a witness that knows only the old key: %v", err)
		}
		for _, w := range s.Witnesses().Witnesses {
			if (w.Size == s.Size()) != (w.Name == "south") {
				t.Errorf("%+v of %d records", w, s.Size())
			}
		}
	})
	inFolder(t, thief, func(s *site.Site) {
		record(t, s, strings.Join(weekLines(t)[300:400], "\n"))
		if err := s.AskWitnesses(t.Context()); err == nil || !strings.Contains(err.Error(), "was replaced") {
			t.Errorf("the old key at the witness: %v", err)
		}
	})
	kept, err := filepath.Glob(filepath.Join(at, "*", "refused-*"))
	if err != nil || len(kept) != 1 {
		t.Errorf("what the old key signed was kept %d times: %v", len(kept), err)
	}
}

// replacedTwice: a key that is replaced again leads on from each of those before.
func replacedTwice(t *testing.T, r *replaced) {
	dir, _, first := r.again(t)
	o := site.Options{Dir: dir, Clock: fixed(noon.AddDate(0, 0, 9))}
	second, err := site.ReplaceKey(context.WithoutCancel(t.Context()), o, "B-1182", "once a year")
	if err != nil || second.Former != first.Key {
		t.Fatalf("%+v after %+v: %v", second, first, err)
	}
	inFolder(t, o, func(s *site.Site) {
		mustBeIntact(t, "twice", s)
		raw := caseEvidence(t, s, site.Query{Set: "LAP-001"})
		for _, known := range []string{first.Former, first.Key, second.Key} {
			if r := bundle.Check(raw, known); !r.OK || len(r.Former) != 2 {
				t.Errorf("known by %s: %+v", known, r.Problems)
			}
		}
	})
}

// replacedKeyByHand: the README in a bundle leads whoever has nothing but openssl from the key that they know to that
// of now, and a record that was changed leads nowhere.
func replacedKeyByHand(t *testing.T, r *replaced) {
	dir, _, change := r.again(t)
	var raw []byte
	inFolder(t, site.Options{Dir: dir, Clock: fixed(noon.AddDate(0, 0, 9))}, func(s *site.Site) {
		raw = caseEvidence(t, s, site.Query{Set: "LAP-001"})
	})
	v, err := note.NewVerifier(change.Key)
	if err != nil {
		t.Fatal(err)
	}
	b, problems := proof.ReadBundle(raw, v)
	if len(problems) > 0 {
		t.Fatal(problems)
	}
	readme, _ := b.File("README.txt")
	_, script, _ := strings.Cut(string(readme), "    for r in $(grep -l 'listbound")
	script, _, ok := strings.Cut(script, "\n    done\n")
	if !ok {
		t.Fatal("the README has no such script")
	}
	script = "for r in $(grep -l 'listbound" + script + "\ndone\n"
	run := func(change func(record []byte) []byte) string {
		at := t.TempDir()
		for _, f := range b.Files {
			if strings.HasPrefix(f.Path, "records/") {
				put(t, at, f.Path, change(bytes.Clone(f.Data)))
			}
		}
		cmd := exec.CommandContext(t.Context(), "bash", "-c", script)
		cmd.Dir = at
		out, _ := cmd.CombinedOutput()
		return string(out)
	}
	want := "Signature Verified Successfully\n" + change.Former + " handed on to " + change.Key + "\n"
	if out := run(func(r []byte) []byte { return r }); out != want {
		t.Errorf("%s, want %s", out, want)
	}
	other := strings.Replace(change.Key, "+A", "+B", 1)
	out := run(func(r []byte) []byte { return bytes.ReplaceAll(r, []byte(change.Key), []byte(other)) })
	if strings.Contains(out, "Successfully") || !strings.Contains(out, other) {
		t.Errorf("another key put in: %s", out)
	}
}

// oldKeyPutBack: under the old key nothing is known of what the ledger holds, so nothing is said to be well.
func oldKeyPutBack(t *testing.T, r *replaced) {
	dir, before, _ := r.again(t)
	put(t, dir, ledgerKey, get(t, before, ledgerKey))
	inFolder(t, site.Options{Dir: dir, Clock: fixed(noon.AddDate(0, 0, 9))}, func(s *site.Site) {
		if vs, err := s.Broken(t.Context()); err == nil || !strings.Contains(err.Error(), "log/checkpoint") {
			t.Errorf("it answers %d broken sets, %v", len(vs), err)
		}
		if _, err := s.History(t.Context(), site.Query{Set: "LAP-001"}); err == nil {
			t.Error("it tells a history")
		}
		if v, err := s.Verify(t.Context(), nil); err == nil && v.OK {
			t.Errorf("verify: %+v", v)
		}
		if err := recordError(t, s, weekLines(t)[81]); err == nil {
			t.Error("it records")
		}
	})
}

// newKeyLost: a record hands the ledger on, and the new key is gone before it signed. The old one signs nothing more.
func newKeyLost(t *testing.T, r *replaced) {
	dir, before, change := r.again(t)
	newKey := get(t, dir, ledgerKey)
	for _, name := range []string{"log", "newest.checkpoint", "newest.heads"} {
		if err := os.RemoveAll(filepath.Join(dir, name)); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.CopyFS(filepath.Join(dir, "log"), os.DirFS(filepath.Join(before, "log"))); err != nil {
		t.Fatal(err)
	}
	put(t, dir, ledgerKey, get(t, before, ledgerKey))
	o := site.Options{Dir: dir, EnrolOnSight: true, Clock: fixed(noon.AddDate(0, 0, 9))}
	signed := get(t, dir, "log/checkpoint")
	inFolder(t, o, func(s *site.Site) {
		if err := recordError(t, s, weekLines(t)[500]); err == nil || !strings.Contains(err.Error(), "whose file is not in the folder") {
			t.Errorf("recorded under the old key: %v", err)
		}
	})
	if !bytes.Equal(signed, get(t, dir, "log/checkpoint")) {
		t.Error("the old key has signed after it was replaced")
	}
	put(t, dir, ledgerKey+".next", newKey)
	inFolder(t, o, func(s *site.Site) {
		record(t, s, weekLines(t)[500])
		mustBeIntact(t, "with the new key put back", s)
		if s.Key() != change.Key {
			t.Errorf("the key is %s", s.Key())
		}
	})
}

// replacedMeanwhile: the key is read before the folder is this program's, and whoever has it until then may replace it, or
// remove a next key that was never used. The key that lies there afterwards is the one that counts.
func replacedMeanwhile(t *testing.T, r *replaced) {
	_, dir, _ := r.again(t)
	clock := fixed(noon.AddDate(0, 0, 9))
	once := func(do func()) func() {
		return func() {
			if do != nil {
				do()
			}
			do = nil
		}
	}
	other := site.Options{Dir: dir, EnrolOnSight: true, Clock: clock}
	var change site.KeyChange
	o := other
	o.SetMeanwhile(once(func() {
		var err error
		if change, err = site.ReplaceKey(t.Context(), other, "B-1182", "meanwhile"); err != nil {
			t.Fatal(err)
		}
	}))
	inFolder(t, o, func(s *site.Site) {
		record(t, s, weekLines(t)[500])
		mustBeIntact(t, "replaced meanwhile", s)
		if s.Key() != change.Key {
			t.Errorf("the key is %s, want %s", s.Key(), change.Key)
		}
	})
	// Another program's start removes the next key that this one has made.
	o = other
	o.SetMeanwhile(once(func() { inFolder(t, other, func(*site.Site) {}) }))
	change, err := site.ReplaceKey(t.Context(), o, "B-1182", "once more")
	if err != nil {
		t.Fatal(err)
	}
	half := filepath.Join(dir, "keys", ".key-123")
	writeFile(t, half, get(t, dir, ledgerKey))
	inFolder(t, other, func(s *site.Site) {
		record(t, s, weekLines(t)[501])
		mustBeIntact(t, "a next key removed meanwhile", s)
		if key, err := ledger.VerifierKey(filepath.Join(dir, ledgerKey)); err != nil || key != change.Key || s.Key() != key {
			t.Errorf("the key in the folder is %s, want %s: %v", key, change.Key, err)
		}
	})
	if _, err := os.Stat(half); !os.IsNotExist(err) {
		t.Errorf("a second copy of the key is left: %v", err)
	}
}

// TestDamagedIsNotWell: where the ledger can't be read, nothing is known of the sets, which is not taken for all being well.
func TestDamagedIsNotWell(t *testing.T) {
	dir := t.TempDir()
	o := site.Options{Dir: dir, Name: "north", EnrolOnSight: true, Clock: fixed(noon.AddDate(0, 0, 7))}
	var before int
	inFolder(t, o, func(s *site.Site) {
		record(t, s, strings.Join(weekLines(t)[:700], "\n"))
		vs, err := s.Broken(t.Context())
		if before = len(vs); err != nil || before == 0 {
			t.Fatalf("%d broken, %v", before, err)
		}
	})
	checkpoint := get(t, dir, "log/checkpoint")
	put(t, dir, "log/checkpoint", bytes.Replace(checkpoint, []byte("north/ledger\n7"), []byte("north/ledger\n8"), 1))
	inFolder(t, o, func(s *site.Site) {
		if vs, err := s.Broken(t.Context()); err == nil || !strings.Contains(err.Error(), "log/checkpoint") {
			t.Errorf("with a damaged checkpoint %d sets are broken, %d were; %v", len(vs), before, err)
		}
		if v, err := s.Verify(t.Context(), nil); err != nil || v.OK {
			t.Errorf("verify: %+v, %v", v, err)
		}
	})
	put(t, dir, "log/checkpoint", checkpoint)
	inFolder(t, o, func(s *site.Site) {
		if vs, err := s.Broken(t.Context()); err != nil || len(vs) != before {
			t.Errorf("put back: %d broken, %v", len(vs), err)
		}
	})
}
