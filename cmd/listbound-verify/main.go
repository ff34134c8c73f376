// Listbound-verify checks an evidence bundle. It needs the bundle and nothing
// else: no server, no database, no network, and no word of ours.
package main

import (
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"listbound/cmd/internal/bundle"
	"listbound/cmd/internal/version"
)

// Exit codes.
const (
	exitOK      = 0
	exitProblem = 1
	exitUsage   = 2
	exitUnknown = 3 // whether two things are of one history
	exitNoKey   = 4 // whole, but whose ledger it is isn't known
)

// maxBundle bounds what is read into memory.
const maxBundle = 1 << 30

func run(args []string, out, errOut io.Writer) int {
	flags := flag.NewFlagSet("listbound-verify", flag.ContinueOnError)
	flags.SetOutput(errOut)
	key := flags.String("key", "", "the ledger's public `key`, got by another way than the bundle")
	asJSON := flags.Bool("json", false, "print JSON")
	earlier := flags.String("earlier", "", "`file` that the same ledger gave out at another time, a bundle or a signed\n"+
		"checkpoint: say whether the two are of one history")
	which := flags.Bool("version", false, "print which program this is")
	flags.Usage = func() {
		fmt.Fprintf(errOut, "usage: listbound-verify [--key KEY] [--json] [--earlier FILE] BUNDLE.zip\n\n"+
			"Checks that every record in an evidence bundle stands in the ledger as it is,\n"+
			"that nothing is left out of what the bundle says it covers, and that its history\n"+
			"is what the records say, which it prints. Exit status 1: it was, or the ledger\n"+
			"has two histories; 3: nothing shows whether two things are of one history; 4: all\n"+
			"of it holds, but without --key nobody knows whose ledger it is.\n\n")
		flags.PrintDefaults()
	}
	if err := flags.Parse(args); errors.Is(err, flag.ErrHelp) {
		return exitOK
	} else if err != nil {
		return exitUsage
	}
	empty := false // given, and without a name, as by a script whose variable is empty
	flags.Visit(func(f *flag.Flag) { empty = empty || f.Name == "earlier" && *earlier == "" })
	if empty {
		fmt.Fprintln(errOut, "listbound-verify: --earlier names no file")
		return exitUsage
	}
	if *which {
		fmt.Fprintln(out, "listbound-verify", version.String())
		return exitOK
	}
	if flags.NArg() != 1 {
		flags.Usage()
		return exitUsage
	}
	raw, err := read(flags.Arg(0))
	if err != nil {
		fmt.Fprintf(errOut, "listbound-verify: %v\n", err)
		return exitUsage
	}
	return check(raw, *key, *earlier, *asJSON, out, errOut)
}

// check says what a bundle comes to, and returns the exit status.
func check(raw []byte, key, earlier string, asJSON bool, out, errOut io.Writer) int {
	r := bundle.Check(raw, key)
	code := exitOK
	if earlier != "" {
		other, err := read(earlier)
		if err == nil {
			code, err = compare(&r, raw, other, key)
		}
		if err != nil {
			fmt.Fprintf(errOut, "listbound-verify: %s: %v\n", earlier, err)
			return exitProblem
		}
	}
	var err error
	if asJSON {
		enc := json.NewEncoder(out)
		enc.SetIndent("", "  ")
		err = enc.Encode(r)
	} else {
		err = show(out, r)
	}
	switch {
	case err != nil:
		fmt.Fprintf(errOut, "listbound-verify: %v\n", err)
		return exitProblem
	case !r.Whole:
		return exitProblem
	case code == exitOK && !r.KeyTrusted:
		return exitNoKey
	}
	return code
}

// compare holds a bundle against what the ledger gave out at another time.
func compare(r *bundle.Report, raw, other []byte, key string) (int, error) {
	c, err := bundle.Compare(raw, other, key)
	if err != nil {
		return exitProblem, err
	}
	r.Compared = &c
	switch {
	case c.Same:
		return exitOK, nil
	case c.Known:
		return exitProblem, nil
	}
	return exitUnknown, nil
}

func read(name string) ([]byte, error) {
	f, err := os.Open(name)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	raw, err := io.ReadAll(io.LimitReader(f, maxBundle+1))
	if err != nil {
		return nil, err
	}
	if len(raw) > maxBundle {
		return nil, fmt.Errorf("%s is larger than %d bytes; no evidence bundle is", name, maxBundle)
	}
	return raw, nil
}

func show(w io.Writer, r bundle.Report) error {
	if !r.KeyTrusted {
		fmt.Fprintln(w, "WHOSE LEDGER THIS IS, ISN'T KNOWN: the key was taken from the bundle itself. Compare it with the one that the "+
			"department gave you\nby another way, or give that with --key:")
		fmt.Fprintf(w, "  %s\n", r.Key)
	}
	for _, p := range r.Problems {
		fmt.Fprintf(w, "problem: %s\n", p)
	}
	keys(w, r)
	for _, m := range r.Remarks {
		fmt.Fprintf(w, "remark: %s\n", m)
	}
	if !r.Whole {
		fmt.Fprintf(w, "NOT OK: %d problems; this bundle is not what the ledger gave out\n", len(r.Problems))
		holes(w, r)
		_, err := fmt.Fprint(w, history(r))
		return err
	}
	fmt.Fprintf(w, "ok: %d records stand in the ledger %s of %d records, root %s\n", r.Records, r.Ledger, r.Size, r.Root)
	fmt.Fprintf(w, "observed from %s to %s\n", r.First.Format("2006-01-02 15:04:05Z"), r.Last.Format("2006-01-02 15:04:05Z"))
	covers(w, r)
	holes(w, r)
	custody(w, r)
	if r.Compared != nil {
		fmt.Fprintln(w, r.Compared.Says)
	}
	fmt.Fprintln(w, "a count that was called correct is no proof that nothing was left in a patient")
	_, err := fmt.Fprint(w, history(r))
	return err
}

// keys says which keys the ledger has had.
func keys(w io.Writer, r bundle.Report) {
	for _, f := range r.Former {
		known := ""
		if f.Key == r.Known {
			known = ", the key that you know"
		}
		fmt.Fprintf(w, "record %d replaced a key of the ledger, and that key signed it: %s%s\n", f.By, f.Key, known)
	}
	if len(r.Former) > 0 {
		fmt.Fprintf(w, "the ledger's key now: %s\n", r.Key)
	}
	if r.Known != "" && r.Whole {
		fmt.Fprintln(w, "WHOEVER HAS THE KEY THAT YOU KNOW COULD HAVE SIGNED FOR ANOTHER: it was replaced, perhaps because it was stolen. "+
			"Get the\nledger's key of now from the department")
	}
}

// covers says what nothing is left out of.
func covers(w io.Writer, r bundle.Report) {
	c := r.Coverage
	if c == nil {
		fmt.Fprintln(w, "WHETHER RECORDS WERE LEFT OUT DOESN'T SHOW: an earlier program made this bundle, and its history is not compared")
		return
	}
	if c.Earlier > 0 {
		fmt.Fprintf(w, "an earlier program made the records before number %d: whether any of those was left out doesn't show\n", c.Earlier)
	}
	switch {
	case c.Of == bundle.Everything:
		fmt.Fprintln(w, "nothing is left out: these are all records of the ledger")
		return
	case c.Earlier > c.Upto && c.Earlier > 0:
		return // all of them
	case c.Earlier > 0:
		fmt.Fprintf(w, "from there on nothing is left out, up to record %d, of what is recorded about:\n", c.Upto)
	case c.Proven:
		fmt.Fprintf(w, "nothing is left out, up to record %d, of what is recorded about:\n", c.Upto)
	default:
		fmt.Fprintln(w, "WHETHER THE LAST RECORDS WERE LEFT OUT DOESN'T SHOW; before those none is, of what is recorded about:")
	}
	for _, key := range c.Whole {
		fmt.Fprintf(w, "  %s\n", key)
	}
	for _, part := range c.Part {
		fmt.Fprintf(w, "  %s\n", part)
	}
	for _, key := range c.None {
		fmt.Fprintf(w, "  %s: there is none\n", key)
	}
	for _, left := range c.LeftOut {
		fmt.Fprintf(w, "left out, since it is as known at an earlier moment: %s\n", left)
	}
	for _, open := range c.Open {
		fmt.Fprintf(w, "nothing shows whether more was there at that moment about %s\n", open)
	}
	if c.Upto > 0 && r.Size > c.Upto+1 {
		fmt.Fprintf(w, "of the %d records after number %d nothing is said\n", r.Size-c.Upto-1, c.Upto)
	}
	if len(c.Beyond) > 0 {
		fmt.Fprintf(w, "besides, and others like them may be missing: records %s\n", strings.Trim(fmt.Sprint(c.Beyond), "[]"))
	}
}

// custody says whose key lies where, and who outside has seen the ledger.
func custody(w io.Writer, r bundle.Report) {
	c := r.Custody
	if c == nil {
		fmt.Fprintln(w, "whose key lies where isn't said: an earlier program made this bundle")
		return
	}
	fmt.Fprintln(w, "whose key lies where, by the ledger's own word:")
	fmt.Fprintln(w, "  on its server, so that whoever has its folder can sign as they do: the ledger"+
		strings.Join(append([]string{""}, c.Server...), ", "))
	if len(c.Own) > 0 {
		fmt.Fprintln(w, "  with the station itself:", strings.Join(c.Own, ", "))
	}
	for _, x := range c.Witnesses {
		fmt.Fprintf(w, "  the witness %s has signed for the first %d records at %s; ask there\n", x.Name, x.Size,
			x.At.UTC().Format(time.RFC3339))
	}
	for _, t := range r.Stamped {
		fmt.Fprintf(w,
			"  the first %d records were timestamped, and this bundle goes on from them; when and by whom says:\n    %s\n", t.Size,
			t.HowToCheck())
	}
	if len(c.Witnesses) == 0 && len(r.Stamped) == 0 {
		fmt.Fprintln(w,
			"  no witness and no timestamp: that the ledger was not written anew shows only beside what it gave out before, and "+
				"by the lines\n  printed on count sheets")
	}
}

// holes says what is missing in the stations' numbering.
func holes(w io.Writer, r bundle.Report) {
	outside, stations := int64(0), 0
	for _, h := range r.Holes {
		if r.Coverage != nil && r.Coverage.Of == bundle.Everything {
			fmt.Fprintf(w, "%s: numbers %s between its first and last record are in no record of the ledger: they never came to it\n",
				h.Station, h.Numbers)
			continue
		}
		if h.Outside {
			outside += h.Count
			stations++
			continue
		}
		fmt.Fprintf(w, "%s: numbers %s between its first and last record here are not in this excerpt\n", h.Station, h.Numbers)
	}
	if outside > 0 {
		fmt.Fprintf(w, "not here, and about nothing that the bundle covers: %d other records of %d stations (--json has their numbers)\n",
			outside, stations)
	}
}

// history returns what the records say, as this program judges them.
func history(r bundle.Report) string {
	if r.History == "" {
		return ""
	}
	return "\nWHAT THE RECORDS SAY, judged by this program:\n\n" + r.History
}
