//go:build !race

package site_test

import (
	"bytes"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"golang.org/x/mod/sumdb/note"

	"listbound/cmd/internal/site"
	"listbound/ledger/proof"
	"listbound/ledger/witness"
)

// newWitness serves a witness of a ledger and returns its line of a policy.
func newWitness(t *testing.T, name, ledgerKey string) string {
	t.Helper()
	key, err := note.NewVerifier(ledgerKey)
	if err != nil {
		t.Fatal(err)
	}
	line, _ := witnessOf(t, name, key)
	return line
}

// witnessOf is newWitness of a ledger that has had several keys. It also returns the witness's folder.
func witnessOf(t *testing.T, name string, keys ...note.Verifier) (line, dir string) {
	t.Helper()
	skey, _, err := note.GenerateKey(rand.Reader, name+".example/witness")
	if err != nil {
		t.Fatal(err)
	}
	signer, err := proof.NewCosigner(skey, func() time.Time { return noon })
	if err != nil {
		t.Fatal(err)
	}
	dir = t.TempDir()
	return witnessBy(t, name, signer, dir, keys...), dir
}

// witnessBy serves a witness with a key and a folder.
func witnessBy(t *testing.T, name string, signer *proof.Cosigner, dir string, keys ...note.Verifier) (line string) {
	t.Helper()
	w, err := witness.Open(witness.Options{Dir: dir, Signer: signer, Ledgers: keys})
	if err != nil {
		t.Fatal(err)
	}
	srv := httptest.NewServer(w.Handler())
	t.Cleanup(srv.Close)
	return fmt.Sprintf("witness %s %s %s\n", name, signer.VerifierKey(), srv.URL)
}

func writePolicy(t *testing.T, dir, text string) {
	t.Helper()
	if err := os.WriteFile(filepath.Join(dir, "witnesses.txt"), []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
}

// witnessed is a folder whose ledger holds 100 lines of the week and is witnessed by two of three.
func witnessed(t *testing.T) (dir, policy string) {
	t.Helper()
	dir = t.TempDir()
	o := site.Options{Name: "north", EnrolOnSight: true, Clock: fixed(noon.AddDate(0, 0, 7))}
	s := open(t, dir, o)
	record(t, s, strings.Join(weekLines(t)[:100], "\n"))
	key := s.Key()
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	policy = newWitness(t, "south", key) + newWitness(t, "west", key) +
		// Nobody listens there.
		strings.Replace(newWitness(t, "east", key), "http://127.0.0.1:", "http://127.0.0.1:1/", 1) +
		"group most 2 south west east\nquorum most\n"
	writePolicy(t, dir, policy)
	return dir, policy
}

func copyFolder(t *testing.T, from string) string {
	t.Helper()
	to := filepath.Join(t.TempDir(), "copy")
	if err := os.CopyFS(to, os.DirFS(from)); err != nil {
		t.Fatal(err)
	}
	// A copy has the rights of this process's umask; keys are for their owner alone.
	err := filepath.WalkDir(to, func(path string, d os.DirEntry, err error) error {
		if err == nil && !d.IsDir() {
			err = os.Chmod(path, 0o600)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return to
}

// TestWitnessesSign: what is recorded is signed by those who can be reached, and is remembered over a restart.
func TestWitnessesSign(t *testing.T) {
	dir, _ := witnessed(t)
	o := site.Options{EnrolOnSight: true, Clock: fixed(noon.AddDate(0, 0, 7))}
	s := open(t, dir, o)
	if r := s.Witnesses(); len(r.Witnesses) != 3 || !r.Enough.IsZero() {
		t.Errorf("before anybody was asked: %+v", r)
	}
	for range 2 { // the second round grows by nothing
		if err := s.AskWitnesses(t.Context()); err == nil || !strings.Contains(err.Error(), "east") {
			t.Errorf("one of three can't be reached: %v", err)
		}
	}
	check := func(when string) {
		t.Helper()
		r := s.Witnesses()
		if !r.Enough.Equal(noon) {
			t.Errorf("%s: enough at %s", when, r.Enough)
		}
		for _, w := range r.Witnesses {
			signed := w.Name != "east"
			if signed != (w.Size == s.Size()) || signed != w.At.Equal(noon) || w.Contradicts {
				t.Errorf("%s: %+v of %d records", when, w, s.Size())
			}
		}
	}
	check("after a round")
	record(t, s, strings.Join(weekLines(t)[100:150], "\n"))
	if err := s.AskWitnesses(t.Context()); err == nil {
		t.Error("east was reached")
	}
	check("after it grew")
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	s = open(t, dir, o)
	check("after a restart")
}

func withDir(o site.Options, dir string) site.Options {
	o.Dir = dir
	return o
}

// TestWitnessAloneStopsNobody: a witness that only says that it saw more is reported, and recording goes on.
func TestWitnessAloneStopsNobody(t *testing.T) {
	dir := t.TempDir()
	o := site.Options{Name: "north", EnrolOnSight: true, Clock: fixed(noon)}
	s := open(t, dir, o)
	record(t, s, oneList)
	key := s.Key()
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	mux := http.NewServeMux()
	mux.HandleFunc("POST /add-checkpoint", func(w http.ResponseWriter, _ *http.Request) {
		w.WriteHeader(http.StatusConflict)
		_, _ = io.WriteString(w, "999\n")
	})
	srv := httptest.NewServer(mux)
	defer srv.Close()
	line := strings.Fields(newWitness(t, "south", key))
	writePolicy(t, dir, strings.Join(append(line[:3], srv.URL), " ")+"\nquorum south\n")
	s = open(t, dir, o)
	if err := s.AskWitnesses(t.Context()); err == nil {
		t.Error("it signed")
	}
	if w := s.Witnesses().Witnesses[0]; !w.Contradicts || w.Error == "" || !w.Asked.Equal(noon) {
		t.Errorf("%+v", w)
	}
	if _, err := s.Observe(t.Context(), checked(t, "LAP-014")); err != nil {
		t.Errorf("a witness's word stopped the recording: %v", err)
	}
}

// TestWitnessPolicyIsRead refuses a policy that can't be right before anything is recorded under it.
func TestWitnessPolicyIsRead(t *testing.T) {
	dir := t.TempDir()
	s := open(t, dir, site.Options{Name: "north", EnrolOnSight: true})
	record(t, s, oneList)
	key := s.Key()
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	south, west := newWitness(t, "south", key), newWitness(t, "west", key)
	vkey := strings.Fields(south)[2]
	for text, says := range map[string]string{
		south:                              "no quorum line",
		south + "quorum west\n":            "west is no witness or group",
		south + south + "quorum none\n":    "the name south is taken",
		south + "quorum none\nquorum none": "second quorum line",
		south + "witness again " + vkey + "\nquorum south\n":                        "has the key of south",
		south + west + "group g 3 south west\nquorum g\n":                           "3 of 2 members",
		south + west + "group g 0 south west\nquorum g\n":                           "0 of 2 members",
		south + west + "group g 2 south south\nquorum g\n":                          "in the group twice",
		south + "witness x " + key + "\nquorum south\n":                             "not of a witness",
		south + "group g any west\nquorum g\n":                                      "west is no witness or group",
		south + "group none any south\nquorum none\n":                               "the name none is taken",
		"log " + strings.Replace(key, "north", "west", 1) + "\n":                    "not the public key of a ledger",
		"sign south\nquorum none\n":                                                 "begins no line of a policy",
		"quorum none\r\n":                                                           "control character",
		south + west + "group g all south west\n" + "group h any south\nquorum h\n": "in the group g already",
	} {
		writePolicy(t, dir, text)
		s, err := site.Open(t.Context(), site.Options{Dir: dir, Clock: fixed(noon)})
		if err == nil {
			err = s.Close()
			t.Errorf("taken: %q, %v", text, err)
			continue
		}
		if !strings.Contains(err.Error(), says) || !strings.Contains(err.Error(), "witnesses.txt") {
			t.Errorf("%q: %v; want %q", text, err, says)
		}
	}
	writePolicy(t, dir, "# who may vouch\n\nlog "+key+" https://north.example\n \t"+south+west+
		"group g all south west\nquorum g\n")
	s = open(t, dir, site.Options{})
	if n := len(s.Witnesses().Witnesses); n != 2 {
		t.Errorf("%d witnesses", n)
	}
}

// witnessedFolder has a ledger of its own key witnessed by south, and returns the file with what that signed.
func witnessedFolder(t *testing.T, signer *proof.Cosigner) (dir, file string, key note.Verifier) {
	t.Helper()
	dir = t.TempDir()
	o := site.Options{Name: "north", EnrolOnSight: true, Clock: fixed(noon)}
	s := open(t, dir, o)
	record(t, s, oneList)
	key, err := note.NewVerifier(s.Key())
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	writePolicy(t, dir, witnessBy(t, "south", signer, t.TempDir(), key)+"quorum south\n")
	s = open(t, dir, o)
	if err := errors.Join(s.AskWitnesses(t.Context()), s.Close()); err != nil {
		t.Fatal(err)
	}
	files, err := filepath.Glob(filepath.Join(dir, "witnesses", "*.checkpoint"))
	if err != nil || len(files) != 1 {
		t.Fatal(files, err)
	}
	return dir, files[0], key
}

// TestDamagedSignature: what a witness signed last and can't be read stops nobody: it is said, and the witness is asked anew.
// What it signed of another ledger stops this one. A witness that forgot is told.
func TestDamagedSignature(t *testing.T) {
	skey, _, err := note.GenerateKey(rand.Reader, "south.example/witness")
	if err != nil {
		t.Fatal(err)
	}
	signer, err := proof.NewCosigner(skey, fixed(noon))
	if err != nil {
		t.Fatal(err)
	}
	dir, file, key := witnessedFolder(t, signer)
	whole, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	o := site.Options{EnrolOnSight: true, Clock: fixed(noon)}
	for what, at := range map[string]int{"ledger's": strings.Index(string(whole), "\n— ") + 40, "witness's": len(whole) - 10} {
		damaged := bytes.Clone(whole)
		damaged[at] ^= 1
		writeFile(t, file, damaged)
		s := open(t, dir, o)
		v, err := s.Verify(t.Context(), nil)
		if err != nil || !v.OK || len(v.Remarks) != 1 || !strings.Contains(v.Remarks[0].What, "asked anew") {
			t.Errorf("the %s signature damaged: %+v, %v", what, v, err)
		}
		if _, err := s.Observe(t.Context(), checked(t, "LAP-014")); err != nil {
			t.Errorf("the %s signature damaged: %v", what, err)
		}
		if err := s.AskWitnesses(t.Context()); err != nil || s.Witnesses().Witnesses[0].Size != s.Size() {
			t.Errorf("the %s signature damaged, asked anew: %+v, %v", what, s.Witnesses(), err)
		}
		if v, err = s.Verify(t.Context(), nil); err != nil || len(v.Remarks) > 0 {
			t.Errorf("the %s signature, made anew: %+v, %v", what, v, err)
		}
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
	}

	_, others, _ := witnessedFolder(t, signer)
	foreign, err := os.ReadFile(others)
	if err != nil {
		t.Fatal(err)
	}
	if whole, err = os.ReadFile(file); err != nil {
		t.Fatal(err)
	}
	writeFile(t, file, foreign)
	if s, err := site.Open(t.Context(), withDir(o, dir)); err == nil {
		t.Error("it goes on, and its witness has signed another ledger", s.Close())
	}
	writeFile(t, file, whole)

	writePolicy(t, dir, witnessBy(t, "south", signer, t.TempDir(), key)+"quorum south\n")
	s := open(t, dir, o)
	if _, err := s.Observe(t.Context(), checked(t, "LAP-015")); err != nil {
		t.Fatal(err)
	}
	if err := s.AskWitnesses(t.Context()); err == nil || !strings.Contains(err.Error(), "remembered only 0") {
		t.Errorf("a witness that lost its memory: %v", err)
	}
	v, err := s.Verify(t.Context(), nil)
	if err != nil || !v.OK || len(v.Remarks) != 1 || s.Witnesses().Witnesses[0].Size != s.Size() {
		t.Errorf("a witness that lost its memory: %+v, %v", v, err)
	}
	if err := os.Remove(filepath.Join(dir, "witnesses.txt")); err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	s = open(t, dir, o)
	if v, err = s.Verify(t.Context(), nil); err != nil || len(v.Remarks) != 1 || !strings.Contains(v.Remarks[0].What, "witnesses.txt") {
		t.Errorf("the policy is gone: %+v, %v", v, err)
	}
}
