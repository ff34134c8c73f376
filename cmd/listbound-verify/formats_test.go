//go:build !race

package main

import (
	"bytes"
	"crypto/ed25519"
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"

	"listbound/events"
	"listbound/ledger/proof"
)

var updateFormats = flag.Bool("update-formats", false, "write the examples of testdata/FORMATS.md anew")

const formatsPage = "../../testdata/FORMATS.md"

// The keys of the page are for tests only: everybody knows them.
const (
	formatsLedger  = "PRIVATE+KEY+north/ledger+c583363b+AQgICAgICAgICAgICAgICAgICAgICAgICAgICAgICAgI"
	formatsStation = "PRIVATE+KEY+north/packing-1+c2bd0f8c+AQcHBwcHBwcHBwcHBwcHBwcHBwcHBwcHBwcHBwcHBwcH"
)

// fence matches a named example: a fenced block with two words behind the backquotes.
var fence = regexp.MustCompile("(?ms)^```(\\w+) (\\S+)\n(.*?)^```$")

// formatsExamples reads the examples of the page by name.
func formatsExamples(t *testing.T) map[string]string {
	t.Helper()
	page, err := os.ReadFile(formatsPage)
	if err != nil {
		t.Fatal(err)
	}
	examples := map[string]string{}
	for _, m := range fence.FindAllStringSubmatch(string(page), -1) {
		if _, twice := examples[m[2]]; twice {
			t.Fatalf("two examples named %s", m[2])
		}
		examples[m[2]] = m[3]
	}
	return examples
}

func noError[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

// formatsMade is the ledger of the page, made with the program's own code.
type formatsMade struct {
	records       [][]byte
	notes         [][]byte
	list          *events.ListIssued
	set, trip     string
	listDigest    events.Digest
	binding       events.Digest
	code          events.SheetCode
	checkpoint    []byte
	ledger        note.Signer
	keys          map[string]string // verifier keys by file
	leaves, nodes []tlog.Hash
}

func publicKey(private string) string {
	parts := strings.SplitN(private, "+", 5)
	seed := noError(base64.StdEncoding.DecodeString(parts[4]))[1:]
	public := ed25519.NewKeyFromSeed(seed).Public().(ed25519.PublicKey)
	return noError(note.NewEd25519VerifierKey(parts[2], public))
}

func makeFormats(t *testing.T) *formatsMade {
	t.Helper()
	f := &formatsMade{
		set:    "LAP-014",
		ledger: noError(note.NewSigner(formatsLedger)),
		keys:   map[string]string{"ledger.vkey": publicKey(formatsLedger), "station.vkey": publicKey(formatsStation)},
		list: &events.ListIssued{List: "LAP-MAJOR", Version: 3, Title: "Laparotomy, major", Lines: []events.Line{
			{Line: 1, Item: "FCP-125", Description: "Forceps, mosquito, curved, 12.5 cm", Quantity: 6},
		}},
	}
	f.listDigest = noError(f.list.Digest())
	packed := noError(events.ParseObservation([]byte(`{"station":"north/packing-1","kind":"set.packed",` +
		`"time":"2026-03-02T06:11:00Z","set":"LAP-014","operator":"B-1182","data":{"list":"LAP-MAJOR","version":3,"weightKg":8.4}}`)))
	f.trip = noError(packed.NewTrip())
	f.binding = noError(events.Binding(f.listDigest, f.set, f.trip))
	f.code = noError(events.NewSheetCode(f.trip, f.binding))
	station := noError(note.NewSigner(formatsStation))
	at := func(hour, minute int) time.Time { return time.Date(2026, 3, 2, hour, minute, 0, 0, time.UTC) }
	prev, count := "", int64(0)
	add := func(signer note.Signer, e *events.Event, observed time.Time) {
		e.Station, e.Time = signer.Name(), observed
		if signer == station {
			count++
			e.StationSeq, e.StationPrev = count, prev
		} else {
			e.StationSeq = 1
		}
		o := &events.Observation{Station: e.Station, Kind: e.Kind(), Time: e.Time, Operator: e.Operator, Data: e.Data}
		if e.Trip != "" {
			o.Set = f.set
		}
		e.Subject = o.Subject()
		e.ID = noError(o.ID())
		n := noError(events.Sign(e, signer))
		if signer == station {
			prev = events.NoteHash(n)
		}
		f.notes = append(f.notes, n)
		f.records = append(f.records, proof.AddArrival("north/ledger", n, observed.Add(2*time.Second), 0))
	}
	add(f.ledger, &events.Event{Data: &events.StationEnrolled{Station: "north/packing-1", Key: f.keys["station.vkey"]}}, at(5, 0))
	add(station, &events.Event{Operator: "B-1182", Data: f.list}, at(5, 30))
	add(station, &events.Event{Trip: f.trip, Operator: "B-1182", Data: packed.Data}, at(6, 11))
	add(station, &events.Event{Trip: f.trip, Operator: "B-1182", Data: &events.ListSealed{
		Placement: "outside", List: f.list.List, Version: f.list.Version,
		ListDigest: f.listDigest.String(), Binding: f.binding.String(), Code: f.code.String()}}, at(6, 14))

	tree := &proof.Tree{}
	for _, r := range f.records {
		leaf := proof.LeafHash(r)
		f.leaves = append(f.leaves, leaf)
		tree.Append(leaf, nil)
	}
	f.nodes = []tlog.Hash{tlog.NodeHash(f.leaves[0], f.leaves[1]), tlog.NodeHash(f.leaves[2], f.leaves[3])}
	if tree.Root() != tlog.NodeHash(f.nodes[0], f.nodes[1]) {
		t.Fatal("the tree is not the one that the page draws")
	}
	f.checkpoint = noError(proof.SignCheckpoint(proof.Checkpoint{Origin: "north/ledger", Size: 4, Root: tree.Root()}, f.ledger))
	return f
}

const shownIndex = 2 // of the record that the page shows: set.packed

// examples returns what must stand in the page. What is not here the page says itself, and other tests run it.
func (f *formatsMade) examples() map[string]string {
	record := f.records[shownIndex]
	lines := strings.Split(strings.TrimSuffix(string(record), "\n"), "\n")
	bytesOf := func(line string) []byte {
		return noError(base64.StdEncoding.DecodeString(line[strings.LastIndex(line, " ")+1:]))
	}
	const loose = `{"version": 3, "list": "LAP-MAJOR", "title": "Laparotomy, maj\u006fr \u20ac"}`
	binding := fmt.Sprintf(`{"list":"%s","set":"%s","trip":"%s"}`, f.listDigest, f.set, f.trip)
	inclusion := proof.Inclusion{Index: shownIndex, Hashes: []tlog.Hash{f.leaves[3], f.nodes[0]}, Checkpoint: f.checkpoint}
	var entries []byte
	for _, r := range f.records {
		entries = noError(proof.AppendEntry(entries, r))
	}
	disclosure := noError(events.Addendum{Salt: "_26bc4LT-ac6q2KI6cBW5es", Name: "family_name", Text: "Möbius"}.Disclosure())
	var archive bytes.Buffer
	if err := proof.WriteBundle(&archive, []proof.File{{Path: "checkpoint", Data: f.checkpoint}}, f.ledger); err != nil {
		panic(err)
	}
	found, problems := proof.ReadBundle(archive.Bytes(), noError(note.NewVerifier(f.keys["ledger.vkey"])))
	if len(problems) > 0 || len(found.Files) != 1 {
		panic(fmt.Sprint(problems))
	}
	at := bytes.Index(archive.Bytes(), []byte("listbound bundle v1"))
	end := at + bytes.Index(archive.Bytes()[at:], []byte("PK\x01\x02"))
	listJSON := noError(events.Canonical(noError(eventData(f.notes[1]))))
	return map[string]string{
		"ledger.vkey":    f.keys["ledger.vkey"] + "\n",
		"station.vkey":   f.keys["station.vkey"] + "\n",
		"json":           loose + "\n",
		"canonical":      string(noError(events.Canonical([]byte(loose)))) + "\n",
		"record":         string(record),
		"signature":      hexLines(bytesOf(lines[2])),
		"stationprev":    events.NoteHash(f.notes[shownIndex]) + "\n",
		"arrival":        hexLines(bytesOf(lines[3])),
		"list":           string(listJSON) + "\n",
		"list-digest":    f.listDigest.String() + "\n",
		"binding":        binding + "\n",
		"binding-digest": f.binding.String() + "\n",
		"sheet-code":     f.code.String() + "\n",
		"short-code":     f.code.Short() + "\n",
		"disclosure":     disclosure + "\n",
		"mark":           events.Mark(disclosure) + "\n",
		"tree":           treeLines(f.leaves, f.nodes),
		"paths":          pathLines(),
		"entries":        hexLines(entries[:48]),
		"checkpoint":     string(f.checkpoint),
		"proof":          string(inclusion.Marshal()),
		"manifest":       string(archive.Bytes()[at:end]),
		"bundle":         hex.Dump(archive.Bytes()),
	}
}

func eventData(n []byte) ([]byte, error) {
	e, err := events.ParseNote(n)
	if err != nil {
		return nil, err
	}
	return json.Marshal(e.Data)
}

func hexLines(b []byte) string {
	var out strings.Builder
	for part := range slices.Chunk(b, 32) {
		out.WriteString(hex.EncodeToString(part) + "\n")
	}
	return out.String()
}

func treeLines(leaves, nodes []tlog.Hash) string {
	var out strings.Builder
	for i, h := range leaves {
		fmt.Fprintf(&out, "leaf %d  %x\n", i, h[:])
	}
	for i, h := range nodes {
		fmt.Fprintf(&out, "node %d  %x\n", i, h[:])
	}
	root := tlog.NodeHash(nodes[0], nodes[1])
	fmt.Fprintf(&out, "root    %x\n", root[:])
	return out.String()
}

func pathLines() string {
	var out strings.Builder
	for _, p := range []struct {
		level int
		index int64
		width int
	}{{0, 0, 4}, {0, 0, 256}, {1, 0, 1}, {0, 1234, 256}, {2, 1_234_067, 17}} {
		fmt.Fprintf(&out, "%-8d %8d %4d  %s\n", p.level, p.index, p.width, proof.TilePath(p.level, p.index, p.width))
	}
	fmt.Fprintf(&out, "%-8s %8d %4d  %s\n", "entries", 0, 4, proof.EntriesPath(0, 4))
	fmt.Fprintf(&out, "%-8s %8d %4d  %s\n", "entries", 1_234_067, 256, proof.EntriesPath(1_234_067, 256))
	return out.String()
}

// Every example of the page is what the program makes.
func TestFormatsPage(t *testing.T) {
	want := makeFormats(t).examples()
	if *updateFormats {
		page := noError(os.ReadFile(formatsPage))
		page = fence.ReplaceAllFunc(page, func(block []byte) []byte {
			m := fence.FindSubmatch(block)
			if text, ok := want[string(m[2])]; ok {
				return fmt.Appendf(nil, "```%s %s\n%s```", m[1], m[2], text)
			}
			return block
		})
		if err := os.WriteFile(formatsPage, page, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	got := formatsExamples(t)
	for name, text := range want {
		if got[name] != text {
			t.Errorf("example %s is\n%s\nwant\n%s", name, got[name], text)
		}
	}
	for name := range got {
		if _, ok := want[name]; !ok && !slices.Contains([]string{"refused", "alphabet", "sheetcode.py", "verify.py"}, name) {
			t.Errorf("nothing checks the example %s", name)
		}
	}
}

// What the page says is refused is refused, by the rule it is an example of.
func TestFormatsRefused(t *testing.T) {
	lines := strings.Split(strings.TrimSuffix(formatsExamples(t)["refused"], "\n"), "\n")
	if len(lines) < 8 {
		t.Errorf("only %d examples", len(lines))
	}
	for _, line := range lines {
		if c, err := events.Canonical([]byte(line)); err == nil {
			t.Errorf("%s was taken as %s", line, c)
		}
	}
	for _, line := range []string{"9007199254740991", "-9007199254740991", "0", `"\ud83d\ude00"`} {
		if _, err := events.Canonical([]byte(line)); err != nil {
			t.Errorf("%s was refused: %v", line, err)
		}
	}
}

// runVerifyScript runs the page's script for one record in a folder with the files.
func runVerifyScript(t *testing.T, script string, files map[string][]byte) (string, error) {
	t.Helper()
	dir := t.TempDir()
	files["verify.py"] = []byte(script)
	for name, text := range files {
		if err := os.WriteFile(filepath.Join(dir, name), text, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	cmd := exec.CommandContext(t.Context(), "python3", "verify.py", "record", "proof", "ledger.vkey", "station.vkey")
	cmd.Dir = dir
	out, err := cmd.CombinedOutput()
	return string(out), err
}

// The script for one record takes the page's own, and no other bytes.
func TestFormatsVerifyScript(t *testing.T) {
	examples := formatsExamples(t)
	script := examples["verify.py"]
	if n := strings.Count(script, "\n"); n > 40 {
		t.Errorf("the script has %d lines", n)
	}
	verify := func(change string, at int) (string, error) {
		files := map[string][]byte{}
		for _, name := range []string{"record", "proof", "ledger.vkey", "station.vkey"} {
			files[name] = []byte(examples[name])
		}
		if change != "" {
			files[change][at] ^= 1
		}
		return runVerifyScript(t, script, files)
	}
	out, err := verify("", 0)
	if err != nil || out != "record 3 of 4 in north/ledger, arrived 2026-03-02T06:11:02Z, remark 0\n" {
		t.Fatalf("%v: %s", err, out)
	}
	record, inclusion := examples["record"], examples["proof"]
	for _, c := range []struct {
		file string
		at   int
	}{
		{"record", 20},
		{"record", strings.Index(record, "north/packing-1 ") + 40},
		{"record", len(record) - 10},
		{"proof", strings.Index(inclusion, "index ") + 6},
		{"proof", strings.Index(inclusion, "index ") + 20},
		{"proof", len(inclusion) - 20},
		{"proof", strings.Index(inclusion, "\n4\n") + 1},
		{"ledger.vkey", 40},
		{"station.vkey", 40},
	} {
		if out, err := verify(c.file, c.at); err == nil {
			t.Errorf("%s changed at byte %d: %s", c.file, c.at, out)
		}
	}
}

// The script follows the path in trees of other shapes, too.
func TestFormatsVerifyScriptOtherTrees(t *testing.T) {
	f := makeFormats(t)
	script := formatsExamples(t)["verify.py"]
	for _, tree := range []struct{ size, index int64 }{{1, 0}, {5, 4}, {7, 4}, {7, 6}} {
		var hashes hashList
		var root tlog.Hash
		for i := range tree.size {
			record := f.records[i%4]
			if i == tree.index {
				record = f.records[shownIndex]
			}
			hashes = append(hashes, noError(tlog.StoredHashes(i, record, hashes))...)
			root = noError(tlog.TreeHash(i+1, hashes))
		}
		checkpoint := proof.Checkpoint{Origin: "north/ledger", Size: tree.size, Root: root}
		inclusion := proof.Inclusion{
			Index:      tree.index,
			Hashes:     noError(proof.ProveInclusion(tree.size, tree.index, hashes)),
			Checkpoint: noError(proof.SignCheckpoint(checkpoint, f.ledger)),
		}
		out, err := runVerifyScript(t, script, map[string][]byte{
			"record":       f.records[shownIndex],
			"proof":        inclusion.Marshal(),
			"ledger.vkey":  []byte(f.keys["ledger.vkey"]),
			"station.vkey": []byte(f.keys["station.vkey"]),
		})
		if want := fmt.Sprintf("record %d of %d in", tree.index+1, tree.size); err != nil || !strings.HasPrefix(out, want) {
			t.Errorf("leaf %d of %d: %v: %s", tree.index, tree.size, err, out)
		}
	}
}

// hashList keeps the hashes of a tree in memory.
type hashList []tlog.Hash

func (h hashList) ReadHashes(indexes []int64) ([]tlog.Hash, error) {
	out := make([]tlog.Hash, len(indexes))
	for i, at := range indexes {
		out[i] = h[at]
	}
	return out, nil
}

// The sheet code's arithmetic in the page gives the page's code.
func TestFormatsSheetCodeScript(t *testing.T) {
	f := makeFormats(t)
	examples := formatsExamples(t)
	path := filepath.Join(t.TempDir(), "sheetcode.py")
	if err := os.WriteFile(path, []byte(examples["sheetcode.py"]), 0o600); err != nil {
		t.Fatal(err)
	}
	out, err := exec.CommandContext(t.Context(), "python3", path, f.trip, f.binding.String()).CombinedOutput()
	if err != nil || string(out) != examples["sheet-code"] {
		t.Errorf("%v: %s", err, out)
	}
	if !strings.Contains(examples["sheetcode.py"], strings.TrimSpace(examples["alphabet"])) {
		t.Error("the script has another alphabet")
	}
	code := strings.TrimSpace(examples["sheet-code"])
	if strings.Trim(code, strings.TrimSpace(examples["alphabet"])) != "" {
		t.Errorf("%s has characters that are not in the alphabet", code)
	}
}
