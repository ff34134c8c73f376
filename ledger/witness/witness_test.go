package witness_test

import (
	"bytes"
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	tdnote "github.com/transparency-dev/formats/note"
	tdclient "github.com/transparency-dev/witness/client/http"
	"github.com/transparency-dev/witness/persistence/inmemory"
	tdwitness "github.com/transparency-dev/witness/witness"
	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"

	"listbound/ledger/proof"
	"listbound/ledger/witness"
)

var noon = time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)

const origin = "north/ledger"

// book is a ledger in memory: its records can be rewritten, and its key is at hand.
type book struct {
	t       *testing.T
	signer  note.Signer
	key     note.Verifier
	records [][]byte
}

func newBook(t *testing.T, records int) *book {
	t.Helper()
	skey, vkey, err := note.GenerateKey(rand.Reader, origin)
	if err != nil {
		t.Fatal(err)
	}
	b := &book{t: t}
	if b.signer, err = note.NewSigner(skey); err != nil {
		t.Fatal(err)
	}
	if b.key, err = note.NewVerifier(vkey); err != nil {
		t.Fatal(err)
	}
	for i := range records {
		b.records = append(b.records, fmt.Appendf(nil, "record %d", i+1))
	}
	return b
}

// hashes are those of a tree, as golang.org/x/mod's tlog stores them.
type hashes []tlog.Hash

func (h hashes) ReadHashes(indexes []int64) ([]tlog.Hash, error) {
	out := make([]tlog.Hash, len(indexes))
	for i, x := range indexes {
		out[i] = h[x]
	}
	return out, nil
}

func (b *book) tree() hashes {
	var h hashes
	for i, r := range b.records {
		more, err := tlog.StoredHashes(int64(i), r, h)
		if err != nil {
			b.t.Fatal(err)
		}
		h = append(h, more...)
	}
	return h
}

// checkpoint signs the first n records.
func (b *book) checkpoint(n int64) []byte {
	b.t.Helper()
	root := proof.EmptyRoot
	if n > 0 {
		var err error
		if root, err = tlog.TreeHash(n, b.tree()); err != nil {
			b.t.Fatal(err)
		}
	}
	msg, err := proof.SignCheckpoint(proof.Checkpoint{Origin: origin, Size: n, Root: root}, b.signer)
	if err != nil {
		b.t.Fatal(err)
	}
	return msg
}

func (b *book) prove(to int64) witness.Prover {
	return func(from int64) ([]tlog.Hash, error) { return proof.ProveConsistency(from, to, b.tree()) }
}

func newKey(t *testing.T) (skey string, c *proof.Cosigner) {
	t.Helper()
	skey, _, err := note.GenerateKey(rand.Reader, "south.example/witness")
	if err != nil {
		t.Fatal(err)
	}
	if c, err = proof.NewCosigner(skey, func() time.Time { return noon }); err != nil {
		t.Fatal(err)
	}
	return skey, c
}

// start serves a witness of a book in a folder.
func start(t *testing.T, dir string, signer *proof.Cosigner, log io.Writer, keys ...note.Verifier) *httptest.Server {
	t.Helper()
	w, err := witness.Open(witness.Options{
		Dir: dir, Signer: signer, Ledgers: keys, Logger: slog.New(slog.NewTextHandler(log, nil)),
	})
	if err != nil {
		t.Fatal(err)
	}
	srv := httptest.NewServer(w.Handler())
	t.Cleanup(srv.Close)
	return srv
}

// theirs serves the witness of transparency-dev/witness.
func theirs(t *testing.T, skey string, key note.Verifier) *httptest.Server {
	t.Helper()
	signer, err := tdnote.NewSignerForCosignatureV1(skey)
	if err != nil {
		t.Fatal(err)
	}
	w, err := tdwitness.New(t.Context(), tdwitness.Opts{
		Persistence: inmemory.New(), Signers: []note.Signer{signer},
		VerifierForLog: func(_ context.Context, o string) (note.Verifier, bool, error) { return key, o == origin, nil },
	})
	if err != nil {
		t.Fatal(err)
	}
	mux := http.NewServeMux()
	mux.HandleFunc("POST /add-checkpoint", tdwitness.NewHTTPHandler(w).AddCheckpoint)
	srv := httptest.NewServer(mux)
	t.Cleanup(srv.Close)
	return srv
}

// TestClientAgainstBothWitnesses asks our witness and the one of transparency-dev/witness the same, and gets the same:
// a growing ledger is signed, also from a client that remembers nothing; a rewritten one and one that was put back are
// told from each other.
func TestClientAgainstBothWitnesses(t *testing.T) {
	for _, who := range []string{"ours", "theirs"} {
		t.Run(who, func(t *testing.T) {
			b := newBook(t, 300)
			skey, signer := newKey(t)
			var srv *httptest.Server
			if who == "ours" {
				srv = start(t, t.TempDir(), signer, io.Discard, b.key)
			} else {
				srv = theirs(t, skey, b.key)
			}
			c := &witness.Client{URL: srv.URL, Key: signer.Verifier()}
			ask := func(b *book, old, size int64) error {
				got, err := c.Ask(t.Context(), b.checkpoint(size), old, b.prove(size))
				if err != nil {
					return err
				}
				if _, err := proof.OpenCheckpoint(got.Note, origin, b.key, signer.Verifier()); err != nil {
					t.Errorf("%d to %d: %v", old, size, err)
				}
				n, err := proof.OpenNote(got.Note, note.VerifierList(signer.Verifier()))
				if err != nil || len(n.Sigs) != 1 {
					t.Errorf("%d to %d: no cosignature: %v", old, size, err)
				}
				if got.Checkpoint.Size != size || got.At.IsZero() || who == "ours" && !got.At.Equal(noon) {
					t.Errorf("%d to %d: %+v", old, size, got)
				}
				return nil
			}
			for _, step := range [][2]int64{{0, 1}, {1, 7}, {7, 7}, {7, 256}, {0, 257}, {1, 290}, {290, 299}} {
				if err := ask(b, step[0], step[1]); err != nil {
					t.Errorf("from %d to %d: %v", step[0], step[1], err)
				}
			}
			// A copy that was put back.
			var behind *witness.BehindError
			if err := ask(b, 0, 200); !errors.As(err, &behind) || behind.Seen != 299 || behind.Now != 200 {
				t.Errorf("put back to 200: %v", err)
			}
			if err := ask(b, 299, 200); !errors.As(err, &behind) {
				t.Errorf("put back to 200, remembering 299: %v", err)
			}
			// Rewritten with all keys at hand, longer and of the same size.
			old := b.records[100]
			b.records[100] = []byte("another record 101")
			var two *witness.TwoHistoriesError
			for _, step := range [][2]int64{{299, 300}, {0, 300}, {299, 299}, {0, 299}} {
				if err := ask(b, step[0], step[1]); !errors.As(err, &two) {
					t.Errorf("rewritten, from %d to %d: %v", step[0], step[1], err)
				}
			}
			// It goes on working for the true one.
			b.records[100] = old
			if err := ask(b, 299, 300); err != nil {
				t.Errorf("the true ledger afterwards: %v", err)
			}
		})
	}
}

// TestTheirClient has the client of transparency-dev/witness ask our witness.
func TestTheirClient(t *testing.T) {
	b := newBook(t, 20)
	_, signer := newKey(t)
	srv := start(t, t.TempDir(), signer, io.Discard, b.key)
	at, err := url.Parse(srv.URL)
	if err != nil {
		t.Fatal(err)
	}
	c := tdclient.NewWitness(at, http.DefaultClient)
	lines, _, err := c.Update(t.Context(), 0, b.checkpoint(5), nil)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := proof.OpenNote(append(b.checkpoint(5), lines...), note.VerifierList(signer.Verifier())); err != nil {
		t.Error(err)
	}
	path, err := b.prove(20)(5)
	if err != nil {
		t.Fatal(err)
	}
	var raw [][]byte
	for _, h := range path {
		raw = append(raw, h[:])
	}
	if _, _, err := c.Update(t.Context(), 5, b.checkpoint(20), raw); err != nil {
		t.Error(err)
	}
	if _, size, err := c.Update(t.Context(), 5, b.checkpoint(20), raw); err == nil || size != 20 {
		t.Errorf("an old size that is over: %d, %v", size, err)
	}
}

// TestAnswers holds the status of each answer against c2sp.org/tlog-witness, add-checkpoint.
func TestAnswers(t *testing.T) {
	b, other := newBook(t, 10), newBook(t, 10)
	_, signer := newKey(t)
	dir := t.TempDir()
	var log bytes.Buffer
	srv := start(t, dir, signer, &log, b.key)
	post := func(body string) (int, string, string) {
		t.Helper()
		to := srv.URL + "/add-checkpoint"
		r, err := http.NewRequestWithContext(t.Context(), http.MethodPost, to, strings.NewReader(body))
		if err != nil {
			t.Fatal(err)
		}
		resp, err := http.DefaultClient.Do(r)
		if err != nil {
			t.Fatal(err)
		}
		defer resp.Body.Close()
		text, err := io.ReadAll(resp.Body)
		if err != nil {
			t.Fatal(err)
		}
		return resp.StatusCode, string(text), resp.Header.Get("Content-Type")
	}
	lines := func(from, to int64) string {
		path, err := b.prove(to)(from)
		if err != nil {
			t.Fatal(err)
		}
		var s strings.Builder
		for _, h := range path {
			fmt.Fprintln(&s, h)
		}
		return s.String()
	}
	unknown := strings.Replace(string(b.checkpoint(5)), origin, "south/ledger", 1)
	if code, _, _ := post("old 0\n\n" + unknown); code != http.StatusNotFound {
		t.Errorf("an unknown ledger: %d", code)
	}
	if code, _, _ := post("old 0\n\n" + string(other.checkpoint(5))); code != http.StatusForbidden {
		t.Errorf("the ledger's name, another's key: %d", code)
	}
	if code, _, _ := post("old 6\n\n" + string(b.checkpoint(5))); code != http.StatusBadRequest {
		t.Errorf("an old size above the checkpoint's: %d", code)
	}
	code, text, kind := post("old 3\n\n" + string(b.checkpoint(5)))
	if code != http.StatusConflict || text != "0\n" || kind != "text/x.tlog.size" {
		t.Errorf("an old size that was never signed: %d %q %s", code, text, kind)
	}
	code, _, _ = post("old 0\n" + lines(3, 5) + "\n" + string(b.checkpoint(5)))
	if code != http.StatusUnprocessableEntity {
		t.Errorf("a proof from nothing: %d", code)
	}
	code, text, _ = post("old 0\n\n" + string(b.checkpoint(5)))
	if code != http.StatusOK || !strings.HasPrefix(text, "— "+signer.Name()+" ") {
		t.Fatalf("the first: %d %q", code, text)
	}
	for _, bad := range []string{
		"", "old 5", "old 05\n\n", "old -5\n\n", "5\n\n", "old 5\nAAAA\n\n",
		"old 5\n" + strings.Repeat(proof.EmptyRoot.String()+"\n", 64) + "\n",
	} {
		if code, _, _ := post(bad + string(b.checkpoint(9))); code != http.StatusBadRequest {
			t.Errorf("%.20q: %d", bad, code)
		}
	}
	code, _, _ = post("old 5\n" + lines(4, 9) + "\n" + string(b.checkpoint(9)))
	if code != http.StatusUnprocessableEntity {
		t.Errorf("a wrong proof: %d", code)
	}
	if code, _, _ := post("old 5\n" + lines(5, 9) + "\n" + string(b.checkpoint(9))); code != http.StatusOK {
		t.Errorf("a right proof: %d", code)
	}
	if strings.Contains(log.String(), "TWO HISTORIES") {
		t.Errorf("cried without need: %s", &log)
	}
	b.records[3] = []byte("rewritten")
	code, text, _ = post("old 9\n\n" + string(b.checkpoint(9)))
	if code != http.StatusConflict || text != "9\n" || !strings.Contains(log.String(), "TWO HISTORIES") {
		t.Errorf("another root for 9 records: %d %q, log: %s", code, text, &log)
	}
	// The two notes lie side by side, both signed by the ledger.
	kept, err := filepath.Glob(filepath.Join(dir, "*", "refused-*"))
	if err != nil || len(kept) != 2 { // the wrong proof's, and this one
		t.Fatalf("kept: %v, %v", kept, err)
	}
	two := 0
	for _, name := range kept {
		raw, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		var roots []tlog.Hash
		for part := range strings.SplitSeq(string(raw), "\n\n"+origin) {
			if !strings.HasPrefix(part, origin) {
				part = origin + part
			}
			part = strings.TrimRight(part, "\n") + "\n"
			c, err := proof.OpenCheckpoint([]byte(part), origin, b.key)
			if err != nil {
				t.Fatalf("%s: %v\n%s", name, err, part)
			}
			roots = append(roots, c.Root)
		}
		if len(roots) == 2 && roots[0] != roots[1] {
			two++
		}
	}
	if two != 2 {
		t.Errorf("%d of 2 files hold two signed roots", two)
	}
	if code, _, _ := post(strings.Repeat("a", 100<<10)); code != http.StatusBadRequest {
		t.Errorf("an endless request: %d", code)
	}
}

// TestWitnessRemembers: what was signed is on disk before it is answered, a witness that can't read its memory doesn't
// start, and the newest checkpoint is there for anybody who compares.
func TestWitnessRemembers(t *testing.T) {
	b := newBook(t, 10)
	_, signer := newKey(t)
	dir := t.TempDir()
	srv := start(t, dir, signer, io.Discard, b.key)
	get := func(srv *httptest.Server) (int, []byte) {
		at := srv.URL + "/" + witness.OriginID(origin) + "/checkpoint"
		r, err := http.NewRequestWithContext(t.Context(), http.MethodGet, at, nil)
		if err != nil {
			t.Fatal(err)
		}
		resp, err := http.DefaultClient.Do(r)
		if err != nil {
			t.Fatal(err)
		}
		defer resp.Body.Close()
		raw, err := io.ReadAll(resp.Body)
		if err != nil {
			t.Fatal(err)
		}
		return resp.StatusCode, raw
	}
	if code, _ := get(srv); code != http.StatusNotFound {
		t.Errorf("before the first: %d", code)
	}
	c := &witness.Client{URL: srv.URL, Key: signer.Verifier()}
	if _, err := c.Ask(t.Context(), b.checkpoint(8), 0, b.prove(8)); err != nil {
		t.Fatal(err)
	}
	again := start(t, dir, signer, io.Discard, b.key)
	code, msg := get(again)
	seen, err := proof.OpenCheckpoint(msg, origin, b.key, signer.Verifier())
	if err != nil || code != http.StatusOK || seen.Size != 8 {
		t.Errorf("after a restart: %d, %+v, %v", code, seen, err)
	}
	var behind *witness.BehindError
	c.URL = again.URL
	if _, err := c.Ask(t.Context(), b.checkpoint(7), 0, b.prove(7)); !errors.As(err, &behind) {
		t.Errorf("a ledger put back, after a restart: %v", err)
	}
	for _, name := range []string{"checkpoint", "checkpoint.second"} {
		if err := os.WriteFile(filepath.Join(dir, witness.OriginID(origin), name), msg[:len(msg)-10], 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := witness.Open(witness.Options{Dir: dir, Signer: signer, Ledgers: []note.Verifier{b.key}}); err == nil {
		t.Error("a witness with a damaged memory starts")
	}
}

// TestWitnessRemembersTwice: of what was signed there are two copies. Where one is lost, damaged, or an old one put back, the
// witness starts with the other, says so, and makes it anew; two that contradict each other it doesn't choose between.
func TestWitnessRemembersTwice(t *testing.T) {
	b := newBook(t, 10)
	_, signer := newKey(t)
	dir := t.TempDir()
	srv := start(t, dir, signer, io.Discard, b.key)
	at := func(name string) string { return filepath.Join(dir, witness.OriginID(origin), name) }
	read := func(name string) []byte {
		t.Helper()
		raw, err := os.ReadFile(at(name))
		if err != nil {
			t.Fatal(err)
		}
		return raw
	}
	write := func(name string, raw []byte) {
		t.Helper()
		if err := os.WriteFile(at(name), raw, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	ask := func(srv *httptest.Server, old, size int64) error {
		c := &witness.Client{URL: srv.URL, Key: signer.Verifier()}
		signed, err := c.Ask(t.Context(), b.checkpoint(size), old, b.prove(size))
		if err == nil && signed.Forgot {
			t.Errorf("from %d to %d: it forgot", old, size)
		}
		return err
	}
	names := []string{"checkpoint", "checkpoint.second"}
	var old []byte
	for _, size := range []int64{5, 8} {
		if err := ask(srv, 0, size); err != nil {
			t.Fatal(err)
		}
		if old == nil {
			old = read(names[0])
		}
	}
	whole := read(names[0])
	for _, name := range names {
		for what, raw := range map[string][]byte{"removed": nil, "cut": whole[:50], "an old one": old} {
			if write(name, raw); raw == nil {
				if err := os.Remove(at(name)); err != nil {
					t.Fatal(err)
				}
			}
			var log strings.Builder
			again := start(t, dir, signer, &log, b.key)
			if !strings.Contains(log.String(), "made anew") {
				t.Errorf("%s %s: nobody is told: %s", name, what, &log)
			}
			var behind *witness.BehindError
			if err := ask(again, 0, 7); !errors.As(err, &behind) {
				t.Errorf("%s %s: a ledger put back is signed: %v", name, what, err)
			}
			for _, name := range names {
				if !bytes.Equal(read(name), whole) {
					t.Errorf("%s %s: not made anew", name, what)
				}
			}
		}
	}
	var log strings.Builder
	if start(t, dir, signer, &log, b.key); log.Len() > 0 {
		t.Errorf("nothing was wrong: %s", &log)
	}
	b.records[3] = []byte("rewritten")
	other := t.TempDir()
	if err := ask(start(t, other, signer, io.Discard, b.key), 0, 8); err != nil {
		t.Fatal(err)
	}
	raw, err := os.ReadFile(filepath.Join(other, witness.OriginID(origin), names[0]))
	if err != nil {
		t.Fatal(err)
	}
	write(names[1], raw)
	_, err = witness.Open(witness.Options{Dir: dir, Signer: signer, Ledgers: []note.Verifier{b.key}})
	if err == nil || !strings.Contains(err.Error(), "two histories") {
		t.Errorf("two histories: %v", err)
	}
}

// TestWitnessForgets: a witness that knows of less than it has signed is told from one that is asked for the first time.
func TestWitnessForgets(t *testing.T) {
	b := newBook(t, 10)
	_, signer := newKey(t)
	ask := func(dir string, old, size int64) *witness.Signed {
		t.Helper()
		c := &witness.Client{URL: start(t, dir, signer, io.Discard, b.key).URL, Key: signer.Verifier()}
		signed, err := c.Ask(t.Context(), b.checkpoint(size), old, b.prove(size))
		if err != nil {
			t.Fatal(err)
		}
		return signed
	}
	for _, c := range []struct {
		remembers, said int64
		forgot          bool
	}{{0, 0, false}, {0, 8, true}, {5, 8, true}, {8, 8, false}, {8, 5, false}, {8, 0, false}} {
		dir := t.TempDir()
		if c.remembers > 0 {
			ask(dir, 0, c.remembers)
		}
		if got := ask(dir, c.said, 9); got.Forgot != c.forgot || c.forgot && got.Remembered != c.remembers {
			t.Errorf("%+v: %+v", c, got)
		}
	}
}

// TestRaceOfTwoSizes asks from many sides at once: a smaller checkpoint never takes the place of a larger one.
func TestRaceOfTwoSizes(t *testing.T) {
	b := newBook(t, 40)
	_, signer := newKey(t)
	dir := t.TempDir()
	srv := start(t, dir, signer, io.Discard, b.key)
	var wg sync.WaitGroup
	for size := int64(1); size <= 40; size++ {
		msg, tree := b.checkpoint(size), b.tree()
		wg.Go(func() {
			c := &witness.Client{URL: srv.URL, Key: signer.Verifier()}
			_, err := c.Ask(context.Background(), msg, 0, func(from int64) ([]tlog.Hash, error) {
				return proof.ProveConsistency(from, size, tree)
			})
			var behind *witness.BehindError
			if err != nil && !errors.As(err, &behind) && !strings.Contains(err.Error(), "at the same time") {
				t.Error(err)
			}
		})
	}
	wg.Wait()
	w, err := os.ReadFile(filepath.Join(dir, witness.OriginID(origin), "checkpoint"))
	if err != nil {
		t.Fatal(err)
	}
	c, err := proof.OpenCheckpoint(w, origin, b.key)
	if err != nil {
		t.Fatal(err)
	}
	client := &witness.Client{URL: srv.URL, Key: signer.Verifier()}
	if _, err := client.Ask(t.Context(), b.checkpoint(40), c.Size, b.prove(40)); err != nil {
		t.Errorf("from %d to 40: %v", c.Size, err)
	}
}
