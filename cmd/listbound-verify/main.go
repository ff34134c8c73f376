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
)

// maxBundle bounds what is read into memory.
const maxBundle = 1 << 30

func main() { os.Exit(run(os.Args[1:], os.Stdout, os.Stderr)) }

func run(args []string, out, errOut io.Writer) int {
	flags := flag.NewFlagSet("listbound-verify", flag.ContinueOnError)
	flags.SetOutput(errOut)
	key := flags.String("key", "", "the ledger's public `key`, got by another way than the bundle")
	asJSON := flags.Bool("json", false, "print JSON")
	which := flags.Bool("version", false, "print which program this is")
	flags.Usage = func() {
		fmt.Fprintf(errOut, "usage: listbound-verify [--key KEY] [--json] BUNDLE.zip\n\n"+
			"Checks that every record in an evidence bundle stands in the ledger as it is,\n"+
			"and that no byte of the bundle was changed. Exit status 1: it was.\n\n")
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
	r := bundle.Check(raw, *key)
	if *asJSON {
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
	}
	return exitOK
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
	if !r.KeyTrusted {
		fmt.Fprintf(w, "the key was taken from the bundle: compare it with the one the department gave you by another way, or give that with --key\n  %s\n", r.Key)
	}
	_, err := fmt.Fprintln(w, "a count that was called correct is no proof that nothing was left in a patient")
	return err
}
