package commands

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"listbound/cmd/internal/shell"
	"listbound/cmd/internal/site"
	"listbound/cmd/internal/teach"
	"listbound/cmd/internal/web"
	"listbound/events"
	"listbound/projections/practise"
)

// lesson is which incident is practised with, and how.
type lesson struct {
	seed          uint64
	causes, cause string
	lang          string
}

func (l *lesson) flags(c *cobra.Command) {
	f := c.Flags()
	f.Uint64Var(&l.seed, "seed", 1, "which incident: the number that the leader of a class hands out")
	f.StringVar(&l.causes, "causes", "", "file of causes of your own, in the form that practise causes --json prints")
	f.StringVar(&l.cause, "cause", "", "an incident of this cause, instead of one that the seed draws")
	f.StringVar(&l.lang, "lang", "en", "language of what is printed")
}

// known returns the causes that are drawn from.
func (l *lesson) known() (*practise.Causes, error) {
	if l.causes == "" {
		return practise.Ours()
	}
	f, err := os.Open(l.causes)
	if err != nil {
		return nil, err
	}
	raw, err := io.ReadAll(io.LimitReader(f, practise.MaxBytes+1))
	if err = errors.Join(err, f.Close()); err != nil {
		return nil, err
	}
	cs, err := practise.Read(raw)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", l.causes, err)
	}
	return cs, nil
}

func (l *lesson) incident() (*practise.Incident, error) {
	cs, err := l.known()
	if err != nil {
		return nil, err
	}
	if l.cause == "" {
		return practise.Make(cs, l.seed)
	}
	c, err := cs.Find(l.cause)
	if err != nil {
		return nil, err
	}
	return practise.Of(cs, c, l.seed)
}

func (a *app) practise() *cobra.Command {
	c := &cobra.Command{
		Use: "practise", Short: "incidents to practise with, marked and certified",
		Long: `Incidents to practise with: a small invented ledger in which one thing went wrong. A
leader hands a class a seed; the same seed gives the same ledger on every machine.
Learners look at its board and histories and say which set, at which step, between
which times, and what else was touched; they are marked, shown the way, and get a
certificate. Nothing of it is near a real data folder: the ledgers lie in one of their
own (./listbound-practice, or --data), and every page says PRACTICE.`,
	}
	c.AddCommand(a.practiseServe(), a.practiseAnswer(), a.practiseTell(), a.practiseCauses())
	return c
}

func (a *app) practiseServe() *cobra.Command {
	var l lesson
	var address string
	var hosts []string
	c := command("serve", "serves a practice incident to a class",
		`Makes the incident of a seed and serves its board, histories and the page where it is
answered (/practise). It can be read alone, whoever asks: beyond this machine give
--address 0.0.0.0:8321 and the name that browsers ask it by with --host. Answers are
kept in the file answers.jsonl beside the ledger, with names as they were typed.`,
		"listbound practise serve --seed 7", func(cmd *cobra.Command, _ []string) error {
			class, err := a.class(cmd, &l)
			if err != nil {
				return err
			}
			fmt.Fprintf(a.env.Out, "practice incident, seed %d: /practise\n", l.seed)
			err = a.serveSite(cmd.Context(), class.Site, address, nil, web.Teaching(class.Register), web.Hosts(hosts...))
			return errors.Join(err, class.Site.Close())
		})
	c.Args = cobra.NoArgs
	l.flags(c)
	c.Flags().StringVar(&address, "address", "127.0.0.1:8321", "address to listen on")
	c.Flags().StringArrayVar(&hosts, "host", nil, "name by which browsers ask this server (repeatable)")
	return c
}

// class makes the ledger of an incident, in a folder of its own, unless it is there already.
func (a *app) class(cmd *cobra.Command, l *lesson) (*teach.Class, error) {
	in, err := l.incident()
	if err != nil {
		return nil, err
	}
	dir := "./listbound-practice"
	if cmd.Flags().Changed("data") {
		dir = a.data
	}
	if _, err := os.Stat(filepath.Join(dir, "log")); err == nil {
		return nil, fmt.Errorf("%s is the data folder of a ledger; practice has a folder of its own, so name another with --data", dir)
	}
	dir = filepath.Join(dir, fmt.Sprintf("seed-%d-%s", in.Seed, in.Digest()[:8]))
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, err
	}
	s, err := a.fill(cmd.Context(), dir, in)
	if err != nil {
		return nil, err
	}
	book, err := teach.OpenBook(dir)
	if err != nil {
		return nil, errors.Join(err, s.Close())
	}
	return &teach.Class{In: in, Site: s, Book: book, Clock: a.env.Clock}, nil
}

// fill opens the ledger of an incident and records what is missing in it: what was recorded is known by its id.
func (a *app) fill(ctx context.Context, dir string, in *practise.Incident) (*site.Site, error) {
	end := in.End.Add(time.Hour)
	clock := &weekClock{after: func() time.Time { return end }}
	s, err := site.Open(ctx, site.Options{Dir: dir, Name: practise.Site, EnrolOnSight: true, Clock: clock.now, AsOf: end,
		Command: "listbound practise", Logger: slog.New(slog.NewTextHandler(a.env.Err, &slog.HandlerOptions{Level: slog.LevelWarn}))})
	if err != nil {
		return nil, err
	}
	filled := filepath.Join(dir, filledName)
	if _, err := os.Stat(filled); err == nil {
		return s, nil
	}
	err = recordIncident(ctx, s, in, clock)
	if err == nil {
		err = os.WriteFile(filled, nil, 0o600)
	}
	if err != nil {
		return nil, errors.Join(err, s.Close())
	}
	return s, nil
}

// recordIncident records an incident as it arrived.
func recordIncident(ctx context.Context, s *site.Site, in *practise.Incident, clock *weekClock) error {
	defer clock.during.Store(nil)
	return s.Play(ctx, func(yield func(site.Arrived, error) bool) {
		for i := range in.Records {
			raw, err := events.FormatObservation(&in.Records[i].Observation)
			if !yield(site.Arrived{Line: raw, At: in.Records[i].Recorded}, err) {
				return
			}
		}
	}, clock.set, func(r site.Receipt) error {
		if r.Error != "" {
			return fmt.Errorf("a line of the incident was refused: %s", r.Error)
		}
		return nil
	})
}

// answerFlags are an answer as it is typed.
type answerFlags struct {
	lesson
	set, step, from, to string
	touched             []string
	who, certificate    string
}

func (f *answerFlags) answer() (a practise.Answer, err error) {
	a = practise.Answer{Set: f.set, Step: practise.Step(f.step), Touched: f.touched}
	if f.step != "" && !slices.Contains(practise.Steps(), a.Step) {
		return a, fmt.Errorf("--step is one of %v, not %q", practise.Steps(), f.step)
	}
	for _, x := range []struct {
		flag, text string
		to         *time.Time
	}{{"from", f.from, &a.From}, {"to", f.to, &a.To}} {
		if x.text == "" {
			continue
		}
		if *x.to, err = time.Parse(time.RFC3339, x.text); err != nil {
			return a, fmt.Errorf("--%s %q is no time such as 2026-03-03T14:05:00Z", x.flag, x.text)
		}
	}
	return a, nil
}

func (a *app) practiseAnswer() *cobra.Command {
	var f answerFlags
	c := command("answer", "marks an answer to a practice incident, and shows the way to it",
		`Marks which set, at which step, between which times and what else was touched, says
why each part is right or wrong, and how it could be found. With --certificate it
prints a page for whoever --who names. Exit status 1: something is wrong.`,
		"listbound practise answer --seed 7 --set SET-003 --step storage --from 2026-03-02T11:58:00Z "+
			"--to 2026-03-02T18:40:00Z --touched SET-009 --who B-17",
		func(cmd *cobra.Command, _ []string) error { return a.runAnswer(cmd, &f) })
	c.Args = cobra.NoArgs
	f.flags(c)
	fl := c.Flags()
	fl.StringVar(&f.set, "set", "", "a set that it happened to")
	fl.StringVar(&f.step, "step", "", "where: packing, sterilizing, storage, cart, room or return")
	fl.StringVar(&f.from, "from", "", "not before this moment (RFC 3339)")
	fl.StringVar(&f.to, "to", "", "not after this moment (RFC 3339)")
	fl.StringSliceVar(&f.touched, "touched", nil, "the other sets that were touched")
	fl.StringVar(&f.who, "who", "", "name or badge of the learner")
	fl.StringVar(&f.certificate, "certificate", "", "write the certificate to this file (PDF)")
	return c
}

func (a *app) runAnswer(cmd *cobra.Command, f *answerFlags) (err error) {
	answer, err := f.answer()
	if err != nil {
		return err
	}
	words, err := a.say(f.lang)
	if err != nil {
		return err
	}
	if err := teach.CheckWho(words, f.who); err != nil {
		return err
	}
	class, err := a.class(cmd, &f.lesson)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, class.Site.Close()) }()
	done, err := class.Book.Add(class.In, f.who, answer, a.env.Clock())
	if err != nil {
		return err
	}
	if err := a.printMarked(cmd.Context(), words, class, done); err != nil {
		return err
	}
	if f.certificate != "" {
		raw, err := teach.Certificate(words, class.In, done)
		if err != nil {
			return err
		}
		if err := replaceFile("certificate", f.certificate, func(w io.Writer) error { _, err := w.Write(raw); return err }); err != nil {
			return err
		}
	}
	if !done.Passed() {
		return errSaid
	}
	return nil
}

// say returns the words of a language.
func (a *app) say(lang string) (*shell.Words, error) {
	j, err := a.words()
	if err != nil {
		return nil, err
	}
	l, ok := j.Catalogue().Find(lang)
	if !ok {
		return nil, fmt.Errorf("--lang is one of %s, not %q", strings.Join(j.Languages(), ", "), lang)
	}
	return shell.WordsIn(j, l.Tag()), nil
}

// printMarked prints the marks and the way to the answer.
func (a *app) printMarked(ctx context.Context, words *shell.Words, class *teach.Class, done *teach.Answered) error {
	w := a.env.Out
	for _, m := range teach.SayMarks(words, done.Marks) {
		said := words.T("practise.wrong")
		if m.Right {
			said = words.T("practise.right")
		}
		fmt.Fprintf(w, "%s: %s. %s\n", m.Part, said, m.Says)
	}
	fmt.Fprintf(w, "\n%s\n", words.T("practise.way"))
	return a.printWay(ctx, words, class)
}

func (a *app) printWay(ctx context.Context, words *shell.Words, class *teach.Class) error {
	steps, err := teach.Way(ctx, words, class)
	if err != nil {
		return err
	}
	for i, s := range steps {
		fmt.Fprintf(a.env.Out, "%d. %s\n", i+1, s.Says)
		for _, l := range s.Links {
			fmt.Fprintf(a.env.Out, "   %s\n", l.Text)
		}
	}
	return nil
}

func (a *app) practiseTell() *cobra.Command {
	var l lesson
	c := command("tell", "tells a leader what is right in a practice incident",
		`Prints what happened in the incident of a seed, and the way on which it can be found.`,
		"listbound practise tell --seed 7", func(cmd *cobra.Command, _ []string) (err error) {
			words, err := a.say(l.lang)
			if err != nil {
				return err
			}
			class, err := a.class(cmd, &l)
			if err != nil {
				return err
			}
			defer func() { err = errors.Join(err, class.Site.Close()) }()
			t := &class.In.Truth
			fmt.Fprintf(a.env.Out, "seed %d, cause %s, records %s\nset %s, step %s, from %s, to %s\n\n", l.seed, class.In.Cause.ID,
				class.In.Digest()[:16], strings.Join(t.Touched(), " and "), t.Step, t.From.Format(time.RFC3339), t.To.Format(time.RFC3339))
			return a.printWay(cmd.Context(), words, class)
		})
	c.Args = cobra.NoArgs
	l.flags(c)
	return c
}

func (a *app) practiseCauses() *cobra.Command {
	var l lesson
	var asJSON bool
	c := command("causes", "lists the causes of practice incidents",
		`Lists what can go wrong in a practice incident. A site's own file has the same form as
--json prints: an id, the simulator's rates by which it is looked for, what happens,
at which step, the findings by which it is known (listbound codes), and its words.
Every other command of practise takes it with --causes.`,
		"listbound practise causes", func(*cobra.Command, []string) error {
			cs, err := l.known()
			if err != nil {
				return err
			}
			if asJSON {
				return a.printJSON(cs)
			}
			for i := range cs.Causes {
				c := &cs.Causes[i]
				fmt.Fprintf(a.env.Out, "%s (%s): %s\n", c.ID, cmp.Or(string(c.Step), "anywhere"), c.In(l.lang).Name)
			}
			return nil
		})
	c.Args = cobra.NoArgs
	l.flags(c)
	c.Flags().BoolVar(&asJSON, "json", false, "print them as a file of causes")
	return c
}
