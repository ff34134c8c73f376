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

func main() { os.Exit(run(os.Args[1:], os.Stdout, os.Stderr)) }

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
			"and that no byte of the bundle was changed. Exit status 1: it was, or the ledger\n"+
			"has two histories; 3: nothing shows whether two things are of one history; 4: all\n"+
			"of it holds, but without --key nobody knows whose ledger it is.\n\n")
		flags.PrintDefaults()
	}
	if err := flags.Parse(args); errors.Is(err, flag.ErrHelp) {
		return exitOK
	} else if err != nil {
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
	case !r.OK:
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
	for _, m := range r.Remarks {
		fmt.Fprintf(w, "remark: %s\n", m)
	}
	if !r.OK {
		_, err := fmt.Fprintf(w, "NOT OK: %d problems; this bundle is not what the ledger gave out\n", len(r.Problems))
		return err
	}
	fmt.Fprintf(w, "ok: %d records stand in the ledger %s of %d records, root %s\n", r.Records, r.Ledger, r.Size, r.Root)
	fmt.Fprintf(w, "observed from %s to %s\n", r.First.Format("2006-01-02 15:04:05Z"), r.Last.Format("2006-01-02 15:04:05Z"))
	if r.Compared != nil {
		fmt.Fprintln(w, r.Compared.Says)
	}
	_, err := fmt.Fprintln(w, "a count that was called correct is no proof that nothing was left in a patient")
	return err
}
