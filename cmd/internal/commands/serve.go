package commands

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"iter"
	"log/slog"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"github.com/spf13/cobra"

	"listbound/cmd/internal/door"
	"listbound/cmd/internal/feed"
	"listbound/cmd/internal/report"
	"listbound/cmd/internal/scenario"
	"listbound/cmd/internal/site"
	"listbound/cmd/internal/web"
	"listbound/events"
	"listbound/projections"
	"listbound/projections/assess"
	"listbound/projections/practise"
	runs "listbound/projections/run"
	"listbound/projections/run/logfile"
)

// defaultAddress is this machine only, where nobody has to sign in.
const defaultAddress = "127.0.0.1:8320"

const serveHelp = `Owns the data folder and answers on the address: pages at /, the programs' interface
under /api/ (other commands use it with --server). Only enrolled stations may
record. It listens to this machine alone, where nobody has to sign in, unless
--address says otherwise. For others it takes TLS and an administrator. --administrator
prints a one-time code with which one is made (or gets a new password); from then on
people sign in, programs need a token, and a browser comes to its station by a code.
For TLS give a certificate with --cert and --key, or --own-ca: then the server makes a
small certificate authority of its own in the data folder, and the page /trust says how
stations come to trust it. A browser must ask it by an address, as localhost, by this
machine's own name or by a name that --host gives. Behind a reverse proxy name it with
--proxy: only then is it believed who asks, by which name and whether over TLS, which it
says in X-Forwarded-For, X-Forwarded-Host and X-Forwarded-Proto; it must set or add to
these itself. Without it all who come through the proxy are one address. With --practice the same workplaces stand under /practice/ once
more, with a ledger of their own (folder practice in the data folder) and invented
sets, for teaching. With --zone and --weight pages and paper show the site's time
and unit of weight; records and exports have UTC and grams. With --feed the events go out over NATS as well, to people
whom the page People lets read them, by a key of theirs; where nobody signs in, to those
whose public key --reader names. They can do nothing but read. With --nats the records are
kept by an existing NATS cluster (JetStream on three servers) as well as in this folder: a
second serve with a folder that has the same keys stands by, and takes over when this one ends.`

func (a *app) serve() *cobra.Command {
	var address, zone, weight string
	var practice bool
	var hosts, readers []string
	var f feed.Options
	var e entrance
	var n cluster
	c := command("serve", "serves a data folder to stations, programs and browsers",
		serveHelp,
		"listbound serve --data d --site north --address 127.0.0.1:8320",
		func(cmd *cobra.Command, args []string) error {
			if a.server != "" {
				return errors.New("serve owns a data folder; --server is for the commands that ask one")
			}
			e.address, e.feed = address, f.Address
			if err := e.check(); err != nil {
				return err
			}
			ctx, kept, err := n.ledger(cmd.Context(), a)
			if err != nil {
				return err
			}
			s, err := a.openFolder(ctx, "serve", site.Options{Name: a.site, Zone: zone, Weight: weight, Cluster: kept})
			if err != nil {
				return err
			}
			opts, err := a.openDoor(s, &e, hosts)
			if err != nil {
				return errors.Join(err, s.Close())
			}
			f.TLS = e.tls
			endFeed, err := a.startFeed(s, f, e.door, readers)
			if err != nil {
				return errors.Join(err, s.Close())
			}
			opts = append(opts, web.Hosts(hosts...))
			if !practice {
				return errors.Join(a.serveSite(ctx, s, address, e.tls, opts...), endFeed(), s.Close(), takenOver(ctx))
			}
			filling := new(web.Filling)
			end := a.fillPractice(ctx, s, filling)
			err = a.serveSite(ctx, s, address, e.tls, append(opts, web.PracticeWhenFilled(filling))...)
			return errors.Join(err, end(), endFeed(), s.Close(), takenOver(ctx))
		})
	c.Args = cobra.NoArgs
	e.flags(c)
	n.flags(c)
	c.Flags().StringVar(&address, "address", defaultAddress, "address to listen on")
	c.Flags().StringVar(&a.site, "site", "", "name of the site, for a new data folder")
	c.Flags().StringVar(&zone, "zone", "",
		"time zone of the site on pages and paper, such as Europe/Berlin; kept in the folder (first UTC)")
	c.Flags().StringVar(&weight, "weight", "", "unit of weight on pages, kg or lb; kept in the folder (first kg)")
	c.Flags().StringArrayVar(&hosts, "host", nil, "name by which browsers and stations ask this server (repeatable)")
	c.Flags().BoolVar(&practice, "practice", false, "also serve workplaces for practice, under /practice/")
	c.Flags().StringVar(&f.Address, "feed", "",
		"address at which readers get the events over NATS, such as 127.0.0.1:4222")
	c.Flags().StringArrayVar(&readers, "reader", nil,
		"public nkey of somebody who may read the feed, where nobody signs in (repeatable)")
	return c
}

// flags are those of who may come in, and how.
func (e *entrance) flags(c *cobra.Command) {
	c.Flags().BoolVar(&e.administrator, "administrator", false,
		"print a one-time code with which an administrator is made; people sign in from then on")
	c.Flags().StringVar(&e.cert, "cert", "", "file with the server's TLS certificate and those that lead to it (PEM)")
	c.Flags().StringVar(&e.key, "key", "", "file with the certificate's private key (PEM)")
	c.Flags().StringArrayVar(&e.proxy, "proxy", nil,
		"address or network of a reverse proxy whose X-Forwarded-For, -Host and -Proto are believed (repeatable)")
	c.Flags().BoolVar(&e.ownCA, "own-ca", false, "make a certificate authority of the site's own for TLS, in the data folder")
}

// startFeed starts the feed where one is asked for, and returns its end. Where people sign in, they are the readers.
func (a *app) startFeed(s *site.Site, o feed.Options, d *door.Door, readers []string) (func() error, error) {
	switch {
	case o.Address == "" && len(readers) == 0:
		return func() error { return nil }, nil
	case o.Address == "":
		return nil, errors.New("--reader names who may read the feed; --feed says where it is, for example --feed 127.0.0.1:4222")
	case d != nil && len(readers) > 0:
		return nil, errors.New("people sign in here, so who may read the feed is said on the page People, by account and until when; " +
			"leave --reader out")
	case d != nil:
		o.Readers = d
	case len(readers) == 0:
		return nil, errors.New("--feed is for somebody: name each reader's public key with --reader")
	default:
		o.Readers = feed.Keys(readers)
	}
	o.Logger = slog.New(slog.NewTextHandler(a.env.Err, nil))
	f, err := feed.Start(s, o)
	if err != nil {
		return nil, err
	}
	if d != nil {
		d.OnChange(f.Recheck)
	}
	fmt.Fprintf(a.env.Out, "the events go out at %s\n", f.Address())
	return f.Close, nil
}

// fillPractice opens the practice ledger beside what else is done: filling a new
// one takes a while. The function that it returns ends that and closes it.
func (a *app) fillPractice(ctx context.Context, real *site.Site, f *web.Filling) (end func() error) {
	ctx, cancel := context.WithCancel(ctx)
	closed := make(chan error, 1)
	go func() {
		p, err := a.openPractice(ctx, real, f.Tell)
		if err == nil {
			err = f.Ready(p)
		}
		if err != nil && ctx.Err() == nil {
			f.Failed()
			fmt.Fprintf(a.env.Err, "listbound: practice: %s\n", err)
		}
		<-ctx.Done()
		if p != nil {
			err = p.Close()
		} else {
			err = nil
		}
		closed <- err
	}()
	return func() error {
		cancel()
		return <-closed
	}
}

// filledName is the file in a practice folder that says that the week is in it.
const filledName = "filled"

// openPractice opens the ledger that people practise with: the invented week,
// and the real stations by their names. Its keys are its own, so that not even
// a copied record would pass in the real ledger. Where filling it was cut off, it
// is filled up: what was recorded is known by its id.
func (a *app) openPractice(ctx context.Context, real *site.Site, tell func(int64)) (*site.Site, error) {
	week, err := scenario.Load()
	if err != nil {
		return nil, err
	}
	end, err := week.End()
	if err != nil {
		return nil, err
	}
	clock := &weekClock{after: a.env.Clock}
	p, err := site.Open(ctx, site.Options{
		Zone: real.Zone().String(), Weight: real.WeightUnit(),
		Dir: filepath.Join(real.Dir(), "practice"), Name: week.Site, EnrolOnSight: true, Clock: clock.now,
		AsOf: end, Command: "listbound serve --practice",
		Logger: slog.New(slog.NewTextHandler(a.env.Err, &slog.HandlerOptions{Level: slog.LevelWarn})),
	})
	if err != nil {
		return nil, err
	}
	filled := filepath.Join(p.Dir(), filledName)
	if _, err := os.Stat(filled); err != nil {
		if err := a.play(ctx, p, week, clock, tell); err != nil {
			return nil, errors.Join(err, p.Close())
		}
		if err := os.WriteFile(filled, nil, 0o600); err != nil {
			return nil, errors.Join(err, p.Close())
		}
	}
	if err := sameStations(ctx, real, p); err != nil {
		return nil, errors.Join(err, p.Close())
	}
	return p, nil
}

// sameStations enrols in the practice ledger, with keys of its own, whoever may
// record in the real one.
func sameStations(ctx context.Context, real, practice *site.Site) error {
	have := make(map[string]bool)
	known, err := practice.Stations(ctx)
	if err != nil {
		return err
	}
	for _, s := range known {
		have[s.Name] = s.Enrolled > 0 && s.Retired == 0
	}
	stations, err := real.Stations(ctx)
	if err != nil {
		return err
	}
	for _, s := range stations {
		if have[s.Name] || s.Enrolled == 0 || s.Retired > 0 || s.Name == real.Name() {
			continue
		}
		if _, err := practice.Enrol(ctx, s.Name, "", "practice"); err != nil {
			return err
		}
	}
	return nil
}

// serveSite serves until the context ends.
func (a *app) serveSite(ctx context.Context, s *site.Site, address string, over *tls.Config, opts ...web.Option) error {
	for _, p := range s.Damage() {
		fmt.Fprintf(a.env.Err, "listbound: the ledger takes no records: %s\n", p)
	}
	handler, err := web.New(s, slog.New(slog.NewTextHandler(a.env.Err, nil)), opts...)
	if err != nil {
		return err
	}
	l, err := net.Listen("tcp", address)
	if err != nil {
		return fmt.Errorf("listening on %s: %w", address, err)
	}
	url := "http://" + l.Addr().String()
	if over != nil {
		url = "https://" + l.Addr().String()
	}
	if err := s.SetURL(url); err != nil {
		return errors.Join(err, l.Close())
	}
	if p := s.Position(); p != nil {
		fmt.Fprintf(a.env.Out, "following %s, which is written at %s, up to record %d\n", s.Name(), p.Of, p.Record)
	}
	fmt.Fprintf(a.env.Out, "serving %s at %s (end with Ctrl-C)\n", s.Name(), url)
	const headerTime = 10 * time.Second
	srv := &http.Server{
		Handler:           handler,
		ReadHeaderTimeout: headerTime,
		TLSConfig:         over,
		ErrorLog:          slog.NewLogLogger(slog.NewTextHandler(a.env.Err, nil), slog.LevelInfo),
	}
	asking, stop := context.WithCancel(ctx)
	var asked sync.WaitGroup
	for _, do := range a.background(s) {
		asked.Go(func() { do(asking) })
	}
	defer asked.Wait()
	defer stop()
	return web.Run(ctx, srv, func() error {
		if over != nil {
			return srv.ServeTLS(l, "", "")
		}
		return srv.Serve(l)
	})
}

func (a *app) demo() *cobra.Command {
	var once bool
	var address string
	c := command("demo", "plays an invented working week and shows what is wrong in it",
		`Records the week that is built into the program through the same path as any
file, with a clock that follows the week, and prints the sets with broken chains.
Then it serves them as pages, unless --once. The data goes into a folder of its
own that is removed at the end; with --data it stays. Served, it has a schedule of
its own besides, of cases some minutes ahead.`,
		"listbound demo --once", func(cmd *cobra.Command, args []string) error {
			return a.runDemo(cmd, once, address)
		})
	c.Args = cobra.NoArgs
	c.Flags().BoolVar(&once, "once", false, "end after printing")
	c.Flags().StringVar(&address, "address", defaultAddress, "address to listen on")
	return c
}

func (a *app) runDemo(cmd *cobra.Command, once bool, address string) (err error) {
	ctx := cmd.Context()
	week, err := scenario.Load()
	if err != nil {
		return err
	}
	if !cmd.Flags().Changed("data") {
		if a.data, err = os.MkdirTemp("", "listbound-demo-"); err != nil {
			return fmt.Errorf("demo: %w", err)
		}
		defer func() { err = errors.Join(err, os.RemoveAll(a.data)) }()
	}
	end, err := week.End()
	if err != nil {
		return err
	}
	clock := &weekClock{after: a.env.Clock}
	s, err := a.openFolder(ctx, "demo", site.Options{Name: week.Site, Clock: clock.now, AsOf: end, EnrolOnSight: true})
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, s.Close()) }()
	progress, ended := a.progress("recorded")
	err = a.play(ctx, s, week, clock, func(lines int64) {
		if progress != nil {
			progress(lines, 0)
		}
	})
	ended()
	if err != nil {
		return err
	}
	if err := a.showWeek(ctx, s, week); err != nil {
		return err
	}
	clock.during.Store(&end)
	err = a.signAssessment(ctx, s, week.Site)
	clock.during.Store(nil)
	if err != nil || once {
		return err
	}
	if err := planAhead(ctx, s); err != nil {
		return err
	}
	return a.serveSite(ctx, s, address, nil)
}

// planAhead gives the demo a schedule whose cases are some minutes ahead, so that its day, its wall and the order by minutes
// to incision have something to show. It says nothing of any set, so no verdict changes.
func planAhead(ctx context.Context, s *site.Site) error {
	raw, err := scenario.Ahead(s.Clock())
	if err != nil {
		return err
	}
	if _, err := s.ImportSchedule(ctx, raw, site.ScheduleAsked{Operator: "demo"}); err != nil {
		return fmt.Errorf("the demo's schedule: %w", err)
	}
	return nil
}

// weekClock follows the week while it is played, then the real clock.
type weekClock struct {
	during atomic.Pointer[time.Time]
	after  func() time.Time
}

func (c *weekClock) now() time.Time {
	if t := c.during.Load(); t != nil {
		return *t
	}
	return c.after()
}

func (c *weekClock) set(t time.Time) { c.during.Store(&t) }

// play records the week, and tells how many of its lines are recorded.
func (a *app) play(
	ctx context.Context, s *site.Site, week *scenario.Scenario, clock *weekClock, tell func(int64),
) error {
	defer clock.during.Store(nil)
	lines := 0
	err := s.Play(ctx, arriving(week), clock.set, func(r site.Receipt) error {
		if r.Error != "" {
			return fmt.Errorf("the week's line %d was refused: %s", r.Line, r.Error)
		}
		lines++
		tell(int64(lines))
		return nil
	})
	if err != nil {
		return err
	}
	return handInRuns(ctx, s, week)
}

// arriving are the week's lines, each with when it arrives.
func arriving(week *scenario.Scenario) iter.Seq2[site.Arrived, error] {
	return func(yield func(site.Arrived, error) bool) {
		for l, err := range week.Lines() {
			if !yield(site.Arrived{Line: l.Raw, At: l.RecordAt}, err) {
				return
			}
		}
	}
}

// handInRuns records the runs of the week whose logs somebody hands in at its end.
func handInRuns(ctx context.Context, s *site.Site, week *scenario.Scenario) error {
	all, err := week.Runs()
	if err != nil {
		return err
	}
	for i := range all {
		x := &all[i]
		raw, err := week.RunLog(x)
		if err != nil {
			return err
		}
		c, err := runs.Find(x.Cycle)
		if err != nil {
			return err
		}
		l, err := logfile.Read(raw, &x.Read, time.Time{})
		if err != nil {
			return err
		}
		r, err := runs.Judge(l, &c)
		if err != nil {
			return err
		}
		kept, err := s.KeepRunLog(ctx, raw)
		if err != nil {
			return err
		}
		_, err = s.Observe(ctx, &events.Observation{Station: x.Station, Kind: events.KindRunLogged, Time: s.Clock(), Operator: x.Operator,
			Data: &events.RunLogged{Load: x.Load, Sterilizer: x.Sterilizer, Started: r.Started.UTC().Format(time.RFC3339),
				Ended: r.Ended.UTC().Format(time.RFC3339), Cycle: c, Figures: r.Figures, Log: kept.Log, Read: &x.Read}})
		if err != nil {
			return err
		}
	}
	return nil
}

func (a *app) showWeek(ctx context.Context, s *site.Site, week *scenario.Scenario) error {
	vs, err := s.Broken(ctx)
	if err != nil {
		return err
	}
	counts, err := site.Answer(s, func(v *site.View) (map[projections.Status]int, error) { return v.Status(ctx) })
	if err != nil {
		return err
	}
	w := a.env.Out
	fmt.Fprintf(w, "%s: %d records in the ledger of %s.\n", week.Title, s.Size(), s.Name())
	fmt.Fprintf(w, "Trips: %d broken, %d doubtful, %d open, %d whole. Times are UTC.\n\n",
		counts[projections.Broken], counts[projections.Doubtful], counts[projections.Open], counts[projections.Whole])
	ins, err := s.Incidents(ctx, false, time.Time{})
	if err != nil {
		return err
	}
	if err := report.Incidents(w, ins, vs); err != nil {
		return err
	}
	found := make(map[projections.Code]int)
	for _, v := range vs {
		for _, f := range v.Findings {
			found[f.Code]++
		}
	}
	var names []string
	for _, c := range projections.Codes() {
		if found[c] > 0 {
			names = append(names, fmt.Sprintf("%s %d", c, found[c]))
		}
	}
	slices.Sort(names)
	fmt.Fprintf(w, "\nFindings above: %s.\n", strings.Join(names, ", "))
	return a.showPractice()
}

// signAssessment signs an assessment of two placements in the week's ledger, and says what the ledger says of them.
func (a *app) signAssessment(ctx context.Context, s *site.Site, name string) error {
	const badge = "B-2214"
	at := []events.Placement{events.InsideBag, events.Outside}
	x, err := s.Assess(ctx, site.AssessQuery{Seed: 1, Choices: assess.Choices{Placements: []string{assess.InsideBag, assess.Outside},
		Dependence: assess.DependenceHigh, Decides: "the head of the department"}})
	if err != nil {
		return err
	}
	document, err := site.AssessmentDocument(x)
	if err != nil {
		return err
	}
	rs, err := s.Observe(ctx, &events.Observation{Station: name + "/board", Kind: events.KindPlacementsAssessed,
		Time: s.Clock().UTC(), Operator: badge, Data: &events.PlacementsAssessed{Placements: at, Document: document}})
	if err != nil {
		return fmt.Errorf("signing the assessment: %w", err)
	}
	said, err := a.words()
	if err != nil {
		return err
	}
	seq := rs[0].Seq
	fmt.Fprintf(a.env.Out, "\nWhere count sheets travel, assessed and signed by badge %s: record %d, page /assess?record=%d, "+
		"printed with &format=pdf\n", badge, seq, seq)
	for _, part := range report.AssessmentSections(x, said.Catalogue().In("en")) {
		if len(part.Tables) > 0 && part.Tables[0].ID == "assess-ledger" {
			for _, line := range part.Says {
				fmt.Fprintln(a.env.Out, "  "+line)
			}
		}
	}
	return nil
}

// showPractice solves a practice incident, as a learner does who reads its findings.
func (a *app) showPractice() error {
	const seed = 7
	in, err := (&lesson{seed: seed}).incident()
	if err != nil {
		return err
	}
	t := &in.Truth
	touched := t.Touched()
	marks := in.Mark(practise.Answer{Set: touched[0], Step: t.Step, From: t.From, To: t.To, Touched: touched[1:]})
	right := 0
	for _, m := range marks {
		if m.Right {
			right++
		}
	}
	_, err = fmt.Fprintf(a.env.Out, "\nA practice incident, for a class: listbound practise serve --seed %d\n%d records; answered %s, %s, "+
		"from %s to %s, touched besides: %s: %d of %d right.\n%s\n", seed, len(in.Records), touched[0], t.Step, t.From.Format(time.DateTime),
		t.To.Format(time.DateTime), strings.Join(touched[1:], ", "), right, len(marks), in.Cause.In("en").Name)
	return err
}
