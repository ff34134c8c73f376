package commands

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/spf13/cobra"

	"listbound/cmd/internal/board"
	"listbound/cmd/internal/bundle"
	"listbound/cmd/internal/report"
	"listbound/cmd/internal/site"
	"listbound/cmd/internal/web"
	"listbound/events"
	"listbound/ledger"
	"listbound/ledger/proof"
)

func (a *app) record() *cobra.Command {
	c := command("record [FILE ...]", "records observations",
		`Reads observations, one JSON object a line, from the files or from standard
input ("-"), and writes one receipt a line: where the observation stands in the
ledger, its trip, the sheet code after list.sealed, or why the line was refused.
Good lines are recorded whatever becomes of others; recording a file again
stores nothing twice. On a data folder, a station met for the first time is
enrolled; a server takes only enrolled ones. Exit status 1: a line was refused.`,
		"listbound record --data d week.jsonl", a.runRecord)
	c.Flags().StringVar(&a.site, "site", "",
		"name of the site, for a new data folder (default: the site of the first station)")
	return c
}

func (a *app) runRecord(cmd *cobra.Command, args []string) error {
	if len(args) == 0 {
		args = []string{"-"}
	}
	in, closeAll, err := a.inputs(cmd.Context(), args)
	if err != nil {
		return err
	}
	defer closeAll()
	name := a.site
	if name == "" && a.server == "" {
		if name, err = firstSite(in); err != nil {
			return fmt.Errorf("reading observations: %w", err)
		}
		if name == "" {
			dir, err := filepath.Abs(a.data)
			if err != nil {
				return fmt.Errorf("data folder: %w", err)
			}
			if holds, err := site.Holds(dir); err != nil {
				return err
			} else if !holds {
				return a.refuseAll(in, args)
			}
		}
	}
	var n receipts
	err = a.with(cmd, site.Options{Name: name, EnrolOnSight: true, Alone: true}, func(s site.Service) error {
		for i, r := range in {
			if err := s.Record(cmd.Context(), r,
				func(rec site.Receipt) error { return a.receipt(rec, &n, args[i]) }); err != nil {
				return err
			}
		}
		return nil
	})
	switch more := n.enrolled - mostEnrolled; {
	case more == 1:
		fmt.Fprintln(a.env.Err, "listbound: one more station was met for the first time and enrolled; listbound stations shows all")
	case more > 1:
		fmt.Fprintf(a.env.Err, "listbound: %d more stations were met for the first time and enrolled; listbound stations shows all\n", more)
	}
	if err != nil {
		return err
	}
	if n.refused > 0 {
		what := "1 line"
		if n.refused > 1 {
			what = fmt.Sprintf("%d lines", n.refused)
		}
		return &exitError{code: ExitProblem, err: fmt.Errorf("%s refused; all other lines are recorded", what)}
	}
	return nil
}

// receipts counts what a command was told.
type receipts struct{ refused, enrolled int }

// mostEnrolled is how many stations that were enrolled are named while a file is recorded: a hospital group's has hundreds.
const mostEnrolled = 5

func (a *app) receipt(r site.Receipt, n *receipts, file string) error {
	if r.Error != "" {
		n.refused++
		if file == "-" {
			file = "standard input"
		}
		fmt.Fprintf(a.env.Err, "listbound: %s, line %d: %s\n", file, r.Line, r.Error)
	}
	if r.Enrolled != "" {
		if n.enrolled++; n.enrolled <= mostEnrolled {
			fmt.Fprintf(a.env.Err, "listbound: station %s was met for the first time and enrolled\n", r.Enrolled)
		}
	}
	raw, err := json.Marshal(r)
	if err != nil {
		return fmt.Errorf("receipt: %w", err)
	}
	_, err = a.env.Out.Write(append(raw, '\n'))
	return err
}

func (a *app) inputs(ctx context.Context, args []string) (in []io.Reader, closeAll func(), err error) {
	var files []*os.File
	closeAll = func() {
		for _, f := range files {
			f.Close() // only read from
		}
	}
	for _, name := range args {
		if name == "-" {
			in = append(in, interruptible(ctx, a.env.In))
			continue
		}
		f, err := os.Open(name)
		if err != nil {
			closeAll()
			return nil, nil, fmt.Errorf("reading observations: %w", err)
		}
		files = append(files, f)
		in = append(in, f)
	}
	return in, closeAll, nil
}

// interruptible lets go of a reader that may wait for ever, such as a keyboard or
// a pipe, when the context ends. What waits in it by then is not read.
func interruptible(ctx context.Context, r io.Reader) io.Reader {
	out, in := io.Pipe()
	context.AfterFunc(ctx, func() { in.CloseWithError(ctx.Err()) })
	go func() {
		_, err := io.Copy(in, r)
		in.CloseWithError(err)
	}()
	return out
}

// lookAhead is how much is read to find the first observation.
const lookAhead = 16 << 20

// firstSite looks ahead for the site of the first station, which names the
// ledger of a new folder; "" where no line can be read. in is left to be read
// from the start.
func firstSite(in []io.Reader) (string, error) {
	for i, r := range in {
		var head bytes.Buffer
		for n, x := range events.Observations(io.TeeReader(io.LimitReader(r, lookAhead), &head)) {
			if n == 0 {
				return "", x.Err
			}
			if x.Observation != nil {
				in[i] = io.MultiReader(&head, r)
				return site.SiteOf(x.Observation.Station), nil
			}
		}
		in[i] = io.MultiReader(&head, r)
	}
	return "", nil
}

// refuseAll answers lines of which none can be recorded. No folder is made for
// them: its ledger would have a name that nobody gave it.
func (a *app) refuseAll(in []io.Reader, args []string) error {
	var told receipts
	for i, r := range in {
		for n, x := range events.Observations(r) {
			if n == 0 {
				return x.Err
			}
			err := x.Err
			if err == nil {
				err = fmt.Errorf("it stands behind %d bytes that hold no observation; record it alone, or name "+
					"the site with --site", lookAhead)
			}
			if err := a.receipt(site.Receipt{Line: n, Error: err.Error()}, &told, args[i]); err != nil {
				return err
			}
		}
	}
	if told.refused == 0 {
		return errors.New("there is nothing to record; an observation is one JSON object a line")
	}
	return &exitError{code: ExitProblem, err: fmt.Errorf("nothing was recorded, and no folder %s was made", a.data)}
}

func (a *app) broken() *cobra.Command {
	var asJSON, nearMisses, closed bool
	var asOf string
	c := command("broken", "lists sets with broken or doubtful chains, worst first",
		`Reads the read model. What has one cause is one incident, as on the board; it says
in which sets it shows, what was found, which records show it, and what is usually
done next. --closed lists those that somebody has closed. --json prints an array of
all verdicts, whose findings have the keys of their incidents. --near-misses lists
instead what was wrong, seen, and put right before the set was used. --as-of prints
what would have been printed at a moment: records that came later are left out. It
takes as long as a rebuild of the records there were.`,
		"listbound broken --data d --as-of 2026-03-04T07:12:00Z", func(cmd *cobra.Command, args []string) error {
			at, err := parseAsOf(asOf)
			if err != nil {
				return err
			}
			return a.ask(cmd, func(s site.Service) error {
				ask := s.BrokenAt
				if nearMisses {
					ask = s.NearMissesAt
				}
				vs, err := ask(cmd.Context(), at)
				if err != nil {
					return err
				}
				if !asJSON {
					report.AsOf(a.env.Out, at)
				}
				if asJSON {
					if len(vs) == 0 {
						return a.printJSON([]int{})
					}
					return a.printJSON(vs)
				}
				if nearMisses {
					return report.NearMisses(a.env.Out, vs)
				}
				ins, err := s.Incidents(cmd.Context(), closed, at)
				if err != nil {
					return err
				}
				return report.Incidents(a.env.Out, ins, vs)
			})
		})
	c.Args = cobra.NoArgs
	addAsOf(c, &asOf)
	c.Flags().BoolVar(&nearMisses, "near-misses", false, "list what was put right before use instead")
	c.Flags().BoolVar(&closed, "closed", false, "list the incidents that somebody has closed")
	c.Flags().BoolVar(&asJSON, "json", false, "print JSON")
	return c
}

// queryFlags are the ways to say whose history is meant.
type queryFlags struct {
	q    site.Query
	asOf string
}

func (f *queryFlags) add(c *cobra.Command) {
	c.Flags().StringVar(&f.q.Set, "set", "", "a set, all its trips")
	c.Flags().StringVar(&f.q.Trip, "trip", "", "one trip of a set")
	c.Flags().StringVar(&f.q.Case, "case", "", "a case, with all its sets")
	c.Flags().StringVar(&f.q.Load, "load", "", "a sterilizer load, with all its sets")
	addAsOf(c, &f.asOf)
}

func (f *queryFlags) query() (q site.Query, err error) {
	q = f.q
	q.AsOf, err = parseAsOf(f.asOf)
	return q, err
}

func addAsOf(c *cobra.Command, to *string) {
	c.Flags().StringVar(to, "as-of", "", "as known at this moment (RFC 3339), without what was recorded later")
}

// parseAsOf reads the moment that --as-of names; zero for none.
func parseAsOf(text string) (time.Time, error) {
	if text == "" {
		return time.Time{}, nil
	}
	at, err := time.Parse(time.RFC3339Nano, text)
	if err != nil {
		return at, fmt.Errorf("--as-of %q is not an RFC 3339 time (for example 2026-03-04T07:12:00Z)", text)
	}
	return at.UTC(), nil
}

func (a *app) history() *cobra.Command {
	var f queryFlags
	var asJSON bool
	c := command("history", "tells what happened to a set, trip, case or load",
		`Reads the ledger and prints every record with both its times, what is wrong with
it, and the verdict; --as-of leaves out what was recorded later. --json adds the
records as stored.`,
		"listbound history --data d --case K-0412 --as-of 2026-03-04T07:12:00Z",
		func(cmd *cobra.Command, args []string) error {
			q, err := f.query()
			if err != nil {
				return err
			}
			q.Records = asJSON
			return a.ask(cmd, func(s site.Service) error {
				h, err := s.History(cmd.Context(), q)
				if err != nil {
					return err
				}
				if asJSON {
					return a.printJSON(h)
				}
				return report.History(a.env.Out, h)
			})
		})
	c.Args = cobra.NoArgs
	f.add(c)
	c.Flags().BoolVar(&asJSON, "json", false, "print JSON")
	return c
}

func (a *app) verify() *cobra.Command {
	var asJSON bool
	var earlier, sheet string
	c := command("verify", "checks the whole ledger against its signed checkpoint",
		`Reads every record from the stream and holds it against the entry bundles, the
tree, the signed checkpoint, its station's key and numbering, and the read model
against what the records come to. Exit status 1: the ledger is not what was signed,
or the read model was changed, which rebuild mends. Remarks are records that were wrong when they
came; the ledger holds them unchanged. With --earlier it holds the ledger against
a checkpoint or an evidence bundle that it gave out before, instead: whether what
it held then is the beginning of what it holds now. Any checkpoint that lies
outside the folder will do, such as one from /log/checkpoint in the log book.
With --sheet it compares the check line that is printed at the foot of a count
sheet: whether the ledger still has the history that it had then.`,
		"listbound verify --data d --json", func(cmd *cobra.Command, args []string) error {
			return a.ask(cmd, func(s site.Service) error {
				// One that is given and empty, as by a script whose variable is, must not pass as nothing to compare with.
				if cmd.Flags().Changed("earlier") {
					return a.compareEarlier(cmd.Context(), s, earlier)
				}
				if cmd.Flags().Changed("sheet") {
					return a.compareSheet(cmd.Context(), s, sheet)
				}
				progress, end := a.progress("checked")
				v, err := s.Verify(cmd.Context(), progress)
				end()
				if err != nil {
					return err
				}
				if asJSON {
					err = a.printJSON(v)
				} else {
					err = a.printVerification(v)
				}
				if err == nil && !v.OK {
					err = errSaid
				}
				return err
			})
		})
	c.Args = cobra.NoArgs
	c.Flags().BoolVar(&asJSON, "json", false, "print JSON")
	c.Flags().StringVar(&earlier, "earlier", "", "checkpoint or evidence bundle that this ledger gave out before")
	c.Flags().StringVar(&sheet, "sheet", "", "check line of a printed sheet, or its first 25 characters")
	c.MarkFlagsMutuallyExclusive("earlier", "sheet", "json")
	return c
}

// compareSheet says whether the ledger is still the one of which a sheet bears witness.
func (a *app) compareSheet(ctx context.Context, s site.Service, text string) error {
	line, err := events.ParseCheckLine(text)
	if err != nil {
		return err
	}
	p, err := s.Consistency(ctx, line.Size)
	if err != nil {
		return err
	}
	root, err := s.RootAt(ctx, line.Size)
	if err != nil {
		return err
	}
	// The root that a server gives is proved by its checkpoint; what the checkpoint is worth, whoever has its key knows.
	now, err := bundle.CheckpointOf(p.Checkpoint)
	if err != nil {
		return err
	}
	then := proof.Checkpoint{Origin: now.Origin, Size: line.Size, Root: root}
	if err := proof.SameHistory(then, now, p.Hashes); err != nil {
		return fmt.Errorf("the ledger's root of %d records is not proved: %w", line.Size, err)
	}
	if !line.Agrees(root) {
		fmt.Fprintf(a.env.Out,
			"ANOTHER HISTORY: when this was printed the ledger had %d records, and their root was not the one that it has "+
				"now, %s: it was rewritten since, or the sheet is of another ledger\n", line.Size, root)
		return errSaid
	}
	_, err = fmt.Fprintf(a.env.Out, "the same history: the %d records of then are the first of %d (%d bits of the root compared)\n",
		line.Size, now.Size, line.Bits)
	return err
}

// compareEarlier says whether the ledger is still the one that gave out a file.
func (a *app) compareEarlier(ctx context.Context, s site.Service, file string) error {
	raw, err := os.ReadFile(file)
	if err != nil {
		return fmt.Errorf("the earlier one: %w", err)
	}
	then, err := bundle.CheckpointOf(raw)
	if err != nil {
		return fmt.Errorf("%s: %w", file, err)
	}
	stations, err := s.Stations(ctx)
	if err != nil {
		return err
	}
	var keys proof.Keys
	for i := range stations {
		if stations[i].Name == then.Origin {
			if keys, err = site.KeysOf(&stations[i]); err != nil {
				return err
			}
		}
	}
	if keys == nil {
		return fmt.Errorf("%s is of the ledger %s, not of this one", file, then.Origin)
	}
	p, err := s.Consistency(ctx, then.Size)
	if err != nil {
		return err
	}
	c, err := bundle.CompareNow(raw, p, keys)
	if err != nil {
		return fmt.Errorf("%s: %w", file, err)
	}
	if _, err := fmt.Fprintln(a.env.Out, c.Says); err != nil || c.Same {
		return err
	}
	return errSaid
}

func (a *app) printVerification(v *site.Verification) error {
	w := a.env.Out
	for _, p := range v.Problems {
		fmt.Fprintf(w, "problem: %s\n", p)
	}
	for _, p := range v.Remarks {
		fmt.Fprintf(w, "remark: %s\n", p)
	}
	if t := v.Timestamp; t != nil && t.Size > 0 {
		fmt.Fprintf(w, "timestamped by %s: the first %d records existed at %s\n", t.Authority, t.Size, t.At.Format(time.RFC3339))
	} else if t != nil {
		fmt.Fprintf(w, "never timestamped by %s yet\n", t.Authority)
	}
	for _, k := range v.Kept {
		fmt.Fprintf(w, "kept beside it: %s, %.1f MB, of %s UTC: %s\n", k.Name, float64(k.Bytes)/(1<<20), report.At(k.At), k.What)
	}
	verdict := "intact"
	if !v.OK {
		verdict = "NOT INTACT"
	}
	_, err := fmt.Fprintf(w, "%s: %d records, root %s, %d problems, %d remarks\n", verdict, v.Size, v.Root,
		len(v.Problems), len(v.Remarks))
	return err
}

func (a *app) evidence() *cobra.Command {
	var f queryFlags
	var out, printed, lang string
	var earlier []string
	var all bool
	c := command("evidence", "writes a bundle that an outsider can check",
		`Writes a ZIP archive with the records a history rests on, one proof each, the
signed checkpoint, the keys, a readable history, and a README.txt that says how
to check all of it, with listbound-verify or with public tools. With --report
also a PDF to print: what was asked, what is known and by which records, what
can't be known, and how to check it. With --earlier the bundle also proves that
the ledger only grew since it gave out that checkpoint or bundle.`,
		"listbound evidence --data d --case K-0412 --out e.zip --report e.pdf",
		func(cmd *cobra.Command, args []string) error {
			q, err := f.query()
			if err != nil {
				return err
			}
			q.All = all
			if err := checkEvidence(&q, out, printed, earlier); err != nil {
				return err
			}
			return a.ask(cmd, func(s site.Service) error {
				if folder, ok := s.(*site.Site); ok {
					if _, err := languageOf(folder, lang); err != nil {
						return err
					}
				}
				err := replaceFile("bundle", out, func(w io.Writer) error { return s.Evidence(cmd.Context(), q, w) })
				if err != nil {
					return err
				}
				if _, err := fmt.Fprintf(a.env.Out, "%s written; check it with: listbound-verify %s\n", out,
					out); err != nil || printed == "" {
					return err
				}
				err = replaceFile("report", printed,
					func(w io.Writer) error { return a.writeReport(cmd.Context(), s, lang, q, w) })
				if err != nil {
					return err
				}
				_, err = fmt.Fprintf(a.env.Out, "%s written\n", printed)
				return err
			})
		})
	c.Args = cobra.NoArgs
	f.add(c)
	c.Flags().StringVar(&out, "out", "", "file to write")
	c.Flags().StringArrayVar(&earlier, "earlier", nil,
		"checkpoint or bundle that this ledger gave out before (repeatable)")
	c.Flags().BoolVar(&all, "all", false, "the whole ledger, instead of a set, trip, case or load")
	c.Flags().StringVar(&printed, "report", "", "PDF to write as well")
	c.Flags().StringVar(&lang, "lang", "en", "language of the report, such as en or de")
	return c
}

// checkEvidence checks what evidence is asked for, and completes the question.
func checkEvidence(q *site.Query, out, printed string, earlier []string) (err error) {
	if out == "" {
		return errors.New("--out FILE.zip says where the bundle goes")
	}
	if q.Earlier, err = earlierSizes(earlier); err != nil {
		return err
	}
	if q.All && printed != "" {
		return errors.New("--report is of a set, trip, case or load, not of the whole ledger")
	}
	if printed != "" && filepath.Clean(printed) == filepath.Clean(out) {
		return fmt.Errorf("--out and --report both name %s; the bundle and the report are two files", out)
	}
	if printed != "" { // else it would be refused when the bundle is written
		return mayWrite(printed)
	}
	return nil
}

// earlierSizes reads how many records the ledger had when it gave out each file.
func earlierSizes(files []string) (sizes []int64, err error) {
	for _, name := range files {
		raw, err := os.ReadFile(name)
		if err != nil {
			return nil, fmt.Errorf("the earlier one: %w", err)
		}
		cp, err := bundle.CheckpointOf(raw)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		sizes = append(sizes, cp.Size)
	}
	return sizes, nil
}

func (a *app) writeReport(ctx context.Context, s site.Service, lang string, q site.Query, w io.Writer) error {
	if a.server != "" {
		form := web.FormatQuery(q)
		form.Set("lang", lang)
		return a.fetch(ctx, strings.TrimSuffix(a.server, "/")+"/report?"+form.Encode(), w)
	}
	folder, ok := s.(*site.Site)
	if !ok {
		return errors.New("a report is made from a data folder or by a server")
	}
	raw, err := board.Report(ctx, folder, lang, q)
	if err != nil {
		return err
	}
	_, err = w.Write(raw)
	return err
}

// mayWrite refuses a file in a data folder or a backup: by its name it could take the place of a key, of texts or of records.
func mayWrite(path string) error {
	dir, err := filepath.Abs(filepath.Dir(path))
	if err != nil {
		return err
	}
	if real, err := filepath.EvalSymlinks(dir); err == nil {
		dir = real
	}
	for above := ""; dir != above; above, dir = dir, filepath.Dir(dir) {
		if holds, err := site.Holds(dir); err == nil && holds {
			return fmt.Errorf("%s lies in %s, the folder of a ledger, and nothing is written there but by the ledger; name a file elsewhere",
				path, dir)
		}
	}
	return nil
}

// writeFile writes what was made as a whole.
func writeFile(path string, raw []byte, mode os.FileMode) error {
	if err := mayWrite(path); err != nil {
		return err
	}
	return os.WriteFile(path, raw, mode)
}

// replaceFile puts a file in place when it is whole.
func replaceFile(what, path string, write func(io.Writer) error) (err error) {
	if err := mayWrite(path); err != nil {
		return err
	}
	dir, hidden := filepath.Dir(path), "."+filepath.Base(path)+".unfinished-"
	if err := removeUnfinished(dir, hidden); err != nil {
		return fmt.Errorf("writing the %s: %w", what, err)
	}
	tmp, err := os.CreateTemp(dir, hidden+"*")
	if err != nil {
		return fmt.Errorf("writing the %s: %w", what, err)
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, os.Remove(tmp.Name()))
		}
	}()
	if err := errors.Join(write(tmp), tmp.Close()); err != nil {
		return err
	}
	if err := os.Rename(tmp.Name(), path); err != nil {
		return fmt.Errorf("writing the %s: %w", what, err)
	}
	return nil
}

// abandoned is after how long a file that is not finished is nobody's any more.
const abandoned = time.Hour

// removeUnfinished removes what an earlier program left that was killed while it wrote the same file.
func removeUnfinished(dir, prefix string) error {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return err
	}
	for _, e := range entries {
		if !strings.HasPrefix(e.Name(), prefix) {
			continue
		}
		info, err := e.Info()
		if err == nil && time.Since(info.ModTime()) > abandoned {
			err = os.Remove(filepath.Join(dir, e.Name()))
		}
		if err != nil && !errors.Is(err, os.ErrNotExist) {
			return err
		}
	}
	return nil
}

func (a *app) rebuild() *cobra.Command {
	c := command("rebuild", "makes the read model afresh from the ledger",
		`Reads every record, its hash checked, and judges all of it again; the old read
model stays until the new one is whole. Interrupting costs nothing.`,
		"listbound rebuild --data d", func(cmd *cobra.Command, args []string) error {
			return a.ask(cmd, func(s site.Service) error {
				n, err := a.rebuilt(cmd.Context(), s)
				if err != nil {
					return err
				}
				_, err = fmt.Fprintf(a.env.Out, "rebuilt from %d records\n", n)
				return err
			})
		})
	c.Args = cobra.NoArgs
	return c
}

// rebuilt returns of how many records the read model was made.
func (a *app) rebuilt(ctx context.Context, s site.Service) (int64, error) {
	if own, ok := s.(*site.Site); ok && own.MadeAnew() {
		return own.Size(), nil
	}
	progress, end := a.progress("read")
	defer end()
	return s.Rebuild(ctx, progress)
}

func (a *app) repair() *cobra.Command {
	c := command("repair", "rebuilds a damaged ledger from its other copy",
		`For a data folder that refuses records because it is not what was signed. Every
signed record stands there twice, in the stream and in the entry bundles; what is
wrong in one is taken from the other, if all of it then leads to the signed root.
A new stream is made of that and of what survived behind the last checkpoint. The
damaged one is kept aside. The folder must not be in use.`,
		"listbound repair --data d", func(cmd *cobra.Command, args []string) error {
			if a.server != "" {
				return errors.New("a folder is repaired while no server has it; use --data")
			}
			dir, err := filepath.Abs(a.data)
			if err != nil {
				return fmt.Errorf("data folder: %w", err)
			}
			progress, end := a.progress("rebuilt")
			r, err := site.Repair(cmd.Context(),
				site.Options{Dir: dir, Clock: a.env.Clock, Command: "listbound repair"}, progress)
			end()
			if errors.Is(err, site.ErrIntact) {
				_, err = fmt.Fprintf(a.env.Out, "%v: %d records, each of them twice and as signed\n", err, r.Signed)
				return err
			}
			if err != nil {
				return err
			}
			again := ""
			if r.Bundles > 0 {
				again = fmt.Sprintf("; entry bundles made again from the stream: %d", r.Bundles)
			}
			if r.Tiles > 0 {
				again += fmt.Sprintf("; tiles made again: %d", r.Tiles)
			}
			_, err = fmt.Fprintf(a.env.Out,
				"repaired: %d signed records and %d behind the checkpoint%s; the damaged stream is kept in "+
					"%s\nnow run: listbound verify --data %s\n", r.Signed, r.Tail, again, r.Aside, a.data)
			return err
		})
	c.Args = cobra.NoArgs
	return c
}

func (a *app) declareLoss() *cobra.Command {
	var operator, reason string
	c := command("declare-loss", "records for good that a part of the ledger is gone",
		`For a data folder that takes no records because it has had more of them than there
are, such as after an older copy was put back. Put back the missing part if there is
any copy of it: then nothing has to be declared. If there is none, this records from
where to where records are missing and why. The record is signed by the ledger, and
stands in the history of every set from then on. The folder must not be in use.`,
		`listbound declare-loss --data d --operator B-1182 --reason "the disk failed; the copy is of the night before"`,
		func(cmd *cobra.Command, args []string) error {
			if a.server != "" {
				return errors.New("a loss is declared while no server has the folder; use --data")
			}
			dir, err := filepath.Abs(a.data)
			if err != nil {
				return fmt.Errorf("data folder: %w", err)
			}
			o := site.Options{Dir: dir, Clock: a.env.Clock, Command: "listbound declare-loss"}
			loss, err := site.DeclareLoss(cmd.Context(), o, operator, reason)
			if err != nil {
				return err
			}
			what := ledger.MissingText(loss.Size+1, loss.Had)
			if loss.Size >= loss.Had {
				what = fmt.Sprintf("of the first %d records some are missing or others than they were", loss.Had)
			}
			_, err = fmt.Fprintf(a.env.Out, "declared as record %d: %s; the ledger takes records again\n", loss.Seq, what)
			return err
		})
	c.Flags().StringVar(&operator, "operator", "", "badge of the person who declares it")
	c.Flags().StringVar(&reason, "reason", "", "what happened, and where the copy is from")
	c.Args = cobra.NoArgs
	for _, f := range []string{"operator", "reason"} {
		if err := c.MarkFlagRequired(f); err != nil {
			c.RunE = func(*cobra.Command, []string) error { return err }
		}
	}
	return c
}

func (a *app) lists() *cobra.Command {
	var asJSON bool
	var asOf string
	c := command("lists [LIST]", "shows the lists and their versions",
		`Reads the read model. With a list's id, prints the lines of its newest version; with
--as-of, of the newest that there was then.`,
		"listbound lists --data d LAP-MAJOR", func(cmd *cobra.Command, args []string) error {
			id := ""
			if len(args) == 1 {
				id = args[0]
			}
			return a.ask(cmd, func(s site.Service) error {
				at, err := parseAsOf(asOf)
				if err != nil {
					return err
				}
				vs, err := s.ListsAt(cmd.Context(), id, at)
				if err != nil {
					return err
				}
				if asJSON {
					return a.printJSON(vs)
				}
				report.AsOf(a.env.Out, at)
				return a.printLists(vs, id != "")
			})
		})
	c.Args = cobra.MaximumNArgs(1)
	addAsOf(c, &asOf)
	c.Flags().BoolVar(&asJSON, "json", false, "print JSON")
	c.AddCommand(a.importList(), a.issueList(), a.printList())
	return c
}

func (a *app) printLists(vs []site.ListVersion, lines bool) error {
	tw := tabwriter.NewWriter(a.env.Out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(tw, "list\tversion\tlines\tissued (UTC)\tby\ttitle")
	for _, v := range vs {
		fmt.Fprintf(tw, "%s\t%d\t%d\t%s\t%s\t%s\n", v.List, v.Version, len(v.LineRows), report.At(v.Issued), v.By,
			v.Title)
	}
	if lines && len(vs) > 0 {
		fmt.Fprintln(tw, "\nline\titem\tquantity\tdescription")
		for _, l := range vs[len(vs)-1].LineRows {
			fmt.Fprintf(tw, "%d\t%s\t%d\t%s\n", l.Line, l.Item, l.Quantity, l.Description)
		}
	}
	return tw.Flush()
}

func (a *app) stations() *cobra.Command {
	var asJSON bool
	var asOf string
	c := command("stations", "shows the stations that may record",
		`Reads the read model; --as-of says what it was then. "stations enrol" and "stations retire" change who may record;
both are records of the ledger itself.`,
		"listbound stations --data d", func(cmd *cobra.Command, args []string) error {
			return a.ask(cmd, func(s site.Service) error {
				at, err := parseAsOf(asOf)
				if err != nil {
					return err
				}
				sts, err := s.StationsAt(cmd.Context(), at)
				if err != nil {
					return err
				}
				if asJSON {
					return a.printJSON(sts)
				}
				report.AsOf(a.env.Out, at)
				return a.printStations(sts)
			})
		})
	c.Args = cobra.NoArgs
	addAsOf(c, &asOf)
	c.Flags().BoolVar(&asJSON, "json", false, "print JSON")
	c.AddCommand(a.enrol(), a.retire())
	return c
}

func (a *app) printStations(sts []site.Station) error {
	tw := tabwriter.NewWriter(a.env.Out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(tw, "station\trecords\tlast (UTC)\tstate\tkey")
	for _, s := range sts {
		state := fmt.Sprintf("enrolled by record %d", s.Enrolled)
		switch {
		case s.Retired != 0:
			state = fmt.Sprintf("retired by record %d as of %s", s.Retired, report.At(s.RetiredAsOf))
		case s.Enrolled == 0 && s.Here:
			state = "the ledger itself"
		case s.Enrolled == 0:
			state = "not enrolled"
		}
		if !s.Here && !s.KeysElsewhere {
			state += ", keeps its own key"
		}
		fmt.Fprintf(tw, "%s\t%d\t%s\t%s\t%s\n", s.Name, s.Records, report.At(s.Last), state, s.Key)
	}
	return tw.Flush()
}

func (a *app) enrol() *cobra.Command {
	var key, reason, name string
	c := command("enrol SITE/STATION", "lets a station record",
		`Writes a record of the ledger itself. Without --key a signing key is made and
kept in the data folder; with --key the station keeps its own and hands in signed
records. A new data folder takes the station's site as its name.`,
		"listbound stations enrol north/or-3 --data d", func(cmd *cobra.Command, args []string) error {
			name = site.SiteOf(args[0])
			return a.with(cmd, site.Options{Name: name}, func(s site.Service) error {
				r, err := s.Enrol(cmd.Context(), args[0], key, reason)
				if err != nil {
					return err
				}
				_, err = fmt.Fprintf(a.env.Out, "station %s enrolled by record %d\n", args[0], r.Seq)
				return err
			})
		})
	c.Args = cobra.ExactArgs(1)
	c.Flags().StringVar(&key, "key", "", "the station's own verifier key (C2SP signed-note form: name+hash+base64)")
	c.Flags().StringVar(&reason, "reason", "", "why")
	return c
}

func (a *app) retire() *cobra.Command {
	var reason, asOf string
	c := command("retire SITE/STATION", "ends a station's right to record",
		`Writes a record of the ledger itself. What the station recorded stays. With
--as-of what it observed after that moment is doubtful, whenever it is recorded, and
what it observed before stands: a tablet was lost then.`,
		`listbound stations retire north/or-3 --reason "tablet lost" --as-of 2026-03-02T08:00:00Z --data d`,
		func(cmd *cobra.Command, args []string) error {
			var at time.Time
			if asOf != "" {
				var err error
				if at, err = time.Parse(time.RFC3339, asOf); err != nil {
					return fmt.Errorf("--as-of: %q is no time such as 2026-03-02T08:00:00Z", asOf)
				}
			}
			return a.ask(cmd, func(s site.Service) error {
				r, err := s.Retire(cmd.Context(), args[0], reason, at)
				if err != nil {
					return err
				}
				_, err = fmt.Fprintf(a.env.Out, "station %s retired by record %d\n", args[0], r.Seq)
				return err
			})
		})
	c.Args = cobra.ExactArgs(1)
	c.Flags().StringVar(&reason, "reason", "", "why (needed)")
	c.Flags().StringVar(&asOf, "as-of", "", "moment up to which what it signed counts (RFC 3339), where that is past")
	return c
}

func (a *app) policy() *cobra.Command {
	var asOf string
	c := command("policy", "prints the policy in force, as JSON",
		`Reads the read model. Without an adopted policy it is the built-in default; a
policy.adopted observation puts another in force: its data is what stands under
"policy" here. It holds from its recording on: a server refuses one that is
backdated, and changes of one that is there. The facility's own policy decides
what goes into it. --as-of prints the one that was in force then, as far as was known.`,
		"listbound policy --data d", func(cmd *cobra.Command, args []string) error {
			at, err := parseAsOf(asOf)
			if err != nil {
				return err
			}
			return a.ask(cmd, func(s site.Service) error {
				p, err := s.PolicyAt(cmd.Context(), at)
				if err != nil {
					return err
				}
				return a.printJSON(p)
			})
		})
	c.Args = cobra.NoArgs
	addAsOf(c, &asOf)
	return c
}
