// Package reporting writes a copy of what was found, for reports: one SQLite file of whole turns, counts, loads and cases in
// readable columns, which lies wherever it is wanted and has no key in it. The ledger stays what is proved; the read
// model (package readmodel) stays what the program works with, in its own terms.
package reporting

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"net/url"
	"os"
	"strconv"
	"strings"
	"time"

	_ "modernc.org/sqlite" // the driver

	"listbound/events"
	"listbound/projections"
	"listbound/projections/facts"
	"listbound/projections/rates"
)

// About says what a copy is of.
type About struct {
	Ledger  string // its name
	Program string // which made it
	Records int64  // how many records the ledger had when it was begun
	Made    time.Time
	Judged  time.Time      // as of when it was judged what is late
	AsKnown time.Time      // by the records that had arrived by then; zero: by all there were
	Zone    *time.Location // of the site
}

// caution stands in every copy.
const caution = "A count that was called correct is no proof that nothing was left in a patient. This copy proves nothing by " +
	"itself: for that there is listbound evidence. It has badges and case references in it; what is taken out of the ledger " +
	"later stays in it."

// Turn is one turn of one set, with all that is told of it.
type Turn struct {
	Verdict *projections.Verdict // its sentences told
	Trip    *facts.Trip
	Opening *rates.Counted // nil where nobody opened it
}

// Copy is a copy while it is written.
type Copy struct {
	ctx   context.Context
	db    *sql.DB
	tx    *sql.Tx
	zone  *time.Location
	stmts map[string]*sql.Stmt
	loads map[loadKey]*load
	cases map[string]*caseRow
	read  map[string]ReadOf
	paper map[int64]struct{} // records of turns that were entered from paper
	force map[int64]bool     // records of turns: whether each is in force
}

// Create begins a copy in a file that doesn't exist or is empty.
func Create(ctx context.Context, path string, about About) (_ *Copy, err error) {
	if info, err := os.Stat(path); err == nil && info.Size() > 0 {
		return nil, fmt.Errorf("%s has something in it", path)
	}
	// Nothing reads it before it is whole, and what fails is made anew.
	db, err := sql.Open("sqlite", (&url.URL{Scheme: "file", Opaque: (&url.URL{Path: path}).EscapedPath()}).String()+
		"?_pragma=journal_mode(off)&_pragma=synchronous(off)")
	if err != nil {
		return nil, fmt.Errorf("reporting copy: %w", err)
	}
	c := &Copy{ctx: ctx, db: db, zone: about.Zone, stmts: make(map[string]*sql.Stmt), loads: make(map[loadKey]*load),
		cases: make(map[string]*caseRow), read: make(map[string]ReadOf), force: make(map[int64]bool), paper: make(map[int64]struct{})}
	defer func() {
		if err != nil {
			err = errors.Join(fmt.Errorf("reporting copy: %w", err), c.Discard())
		}
	}()
	if c.tx, err = db.BeginTx(ctx, nil); err != nil {
		return nil, err
	}
	if _, err = c.tx.ExecContext(ctx, tables); err != nil {
		return nil, err
	}
	known := ""
	if !about.AsKnown.IsZero() {
		known = about.AsKnown.UTC().Format(stamp)
	}
	for _, row := range [][2]string{{"ledger", about.Ledger}, {"program", about.Program}, {"caution", caution},
		{"records", strconv.FormatInt(about.Records, 10)}, {"made", about.Made.UTC().Format(stamp)},
		{"judged", about.Judged.UTC().Format(stamp)}, {"zone", about.Zone.String()}, {"as_known", known}} {
		if err = c.insert("about", row[0], row[1]); err != nil {
			return nil, err
		}
	}
	return c, nil
}

// Close ends a copy: its loads, cases and views are written, and it is whole.
func (c *Copy) Close() (err error) {
	defer func() {
		if err != nil {
			err = errors.Join(fmt.Errorf("reporting copy: %w", err), c.Discard())
		}
	}()
	if err := c.writeLoads(); err != nil {
		return err
	}
	if err := c.writeCases(); err != nil {
		return err
	}
	if _, err := c.tx.ExecContext(c.ctx, views); err != nil {
		return err
	}
	if err := c.tx.Commit(); err != nil {
		return err
	}
	return c.db.Close()
}

// Discard lets go of a copy that is not whole. The file is the caller's to remove.
func (c *Copy) Discard() error {
	if c.tx != nil {
		_ = c.tx.Rollback() // there is no journal: the file is not to be used
	}
	return c.db.Close()
}

// insert writes one row, each column in its order.
func (c *Copy) insert(table string, values ...any) error {
	s := c.stmts[table]
	if s == nil {
		var err error
		s, err = c.tx.PrepareContext(c.ctx, "INSERT INTO "+table+" VALUES (?"+strings.Repeat(",?", len(values)-1)+")")
		if err != nil {
			return fmt.Errorf("reporting copy: %s: %w", table, err)
		}
		c.stmts[table] = s
	}
	if _, err := s.ExecContext(c.ctx, values...); err != nil {
		return fmt.Errorf("reporting copy: %s: %w", table, err)
	}
	return nil
}

// stamp is how moments are written: as SQLite's functions do.
const stamp = time.DateTime

func utc(t time.Time) any {
	if t.IsZero() {
		return nil
	}
	return t.UTC().Format(stamp)
}

func (c *Copy) local(t time.Time) any {
	if t.IsZero() {
		return nil
	}
	return t.In(c.zone).Format(stamp)
}

// said is a text, or nothing where there is none.
func said(s string) any {
	if s == "" {
		return nil
	}
	return s
}

// number is a record's, or nothing where there is none.
func number(seq int64) any {
	if seq == 0 {
		return nil
	}
	return seq
}

func truth(b bool) int {
	if b {
		return 1
	}
	return 0
}

// at returns when an item was observed, zero for none.
func at(it *facts.Item) time.Time {
	if it == nil {
		return time.Time{}
	}
	return it.At()
}

// Station writes what is found on records of a station that belong to no turn.
func (c *Copy) Station(v *projections.Verdict) error { return c.findings(v) }

func (c *Copy) findings(v *projections.Verdict) error {
	for n := range v.Findings {
		f := &v.Findings[n]
		var when, by any
		if len(f.Acknowledged) > 0 {
			when, by = utc(f.Acknowledged[0].Time), f.Acknowledged[0].By
		}
		if err := c.insert("findings", v.Set, v.Trip, n, said(v.Station), string(f.Code), f.Way, string(f.Severity), utc(f.From), utc(f.To),
			when, by, f.Says, f.Next, said(f.Incident), utc(f.Known), c.local(f.Known), number(f.KnownBy)); err != nil {
			return err
		}
	}
	return nil
}

// Turn writes a turn with its records, counts and findings.
func (c *Copy) Turn(t Turn) error {
	for _, write := range []func(Turn) error{c.turn, c.noteRecords, c.counts} {
		if err := write(t); err != nil {
			return err
		}
	}
	c.noteLoads(t)
	c.noteCases(t)
	return c.findings(t.Verdict)
}

func (c *Copy) turn(t Turn) error {
	v, trip := t.Verdict, t.Trip
	row := []any{v.Set, v.Trip, string(v.Status), truth(v.Over)}
	row = append(row, c.packing(trip)...)
	row = append(row, sterilizing(trip)...)
	row = append(row, c.opening(t)...)
	var outcome any
	var closed time.Time
	if n := len(trip.Closings); n > 0 {
		closed = trip.Closings[n-1].At()
		outcome = trip.Closings[n-1].Data.(*events.CaseClosed).Outcome
	}
	row = append(row, utc(closed), outcome, utc(v.Since), c.local(v.Since), said(v.Where))
	return c.insert("turns", row...)
}

// packing is what the last packing and the last seal say: from list to sealed.
func (c *Copy) packing(trip *facts.Trip) []any {
	var list, version, title, placement, station, packer, exceptions any
	pack := trip.LastPack()
	if p := facts.PackOf(pack); p != nil {
		list, version, exceptions = p.List, p.Version, len(p.Exceptions)
		station, packer = pack.Event.Station, said(pack.Event.Operator)
	}
	if trip.List != nil {
		title = trip.List.Title
	}
	var seal *facts.Item
	if n := len(trip.Sealed); n > 0 {
		seal = trip.Sealed[n-1]
		placement = string(facts.SealOf(seal).Placement)
	}
	return []any{list, version, title, placement, utc(at(pack)), c.local(at(pack)), station, packer, exceptions, utc(at(seal))}
}

// sterilizing is what the last run says: from load to released.
func sterilizing(trip *facts.Trip) []any {
	n := len(trip.Sterilized)
	if n == 0 {
		return make([]any, 5)
	}
	it := trip.Sterilized[n-1]
	d := facts.RunOf(it)
	return []any{d.Load, d.Sterilizer, d.Cycle, utc(it.At()), truth(d.Result == "passed" && d.Released)}
}

// opening is what the first opening says: from opened to incident.
func (c *Copy) opening(t Turn) []any {
	var opened time.Time
	var station, room, read, incident any
	if it := t.Trip.FirstOpened(); it != nil {
		opened, station = it.At(), it.Event.Station
		if d, ok := it.Data.(*events.SetOpened); ok {
			room = said(d.Room)
		}
	}
	if o := t.Opening; o != nil {
		opened, station, read = o.At, o.Station, truth(o.Read)
		if o.Incident > 0 {
			incident = o.Incident
		}
	}
	return []any{utc(opened), c.local(opened), station, room, said(t.Trip.CaseRef), read, incident}
}

// noteRecords keeps which records of a turn are in force, and writes its corrections.
func (c *Copy) noteRecords(t Turn) error {
	for _, it := range t.Trip.All {
		if _, known := c.force[it.Seq]; known {
			continue // a count that names an earlier turn is looked at with both
		}
		c.force[it.Seq] = !it.Void
		if it.Event.Medium == events.MediumPaper {
			c.paper[it.Seq] = struct{}{}
		}
		if d, ok := it.Event.Data.(*events.EventCorrected); ok {
			if err := c.insert("corrections", it.Seq, t.Verdict.Set, t.Verdict.Trip, d.Event, d.Action, it.Event.Station,
				said(it.Event.Operator), utc(it.Recorded), c.local(it.Recorded)); err != nil {
				return err
			}
		}
	}
	return nil
}

// Record is one record of the ledger, of a turn or of anything else.
type Record struct {
	Seq                int64
	Kind               events.Kind
	Station, Subject   string
	Turn               string // "" where it names none
	Observed, Recorded time.Time
	Operator           string
	Named              []events.NamedBadge
}

// Record writes one record, after the turns.
func (c *Copy) Record(r *Record) error {
	var force, medium any
	if in, ok := c.force[r.Seq]; ok {
		force = truth(in)
	}
	if _, ok := c.paper[r.Seq]; ok {
		medium = events.MediumPaper
	}
	if err := c.insert("records", r.Seq, string(r.Kind), r.Station, r.Subject, r.Turn, utc(r.Observed), c.local(r.Observed),
		utc(r.Recorded), medium, force); err != nil {
		return err
	}
	if r.Operator != "" {
		if err := c.insert("badges", r.Operator, r.Seq, "recorder"); err != nil {
			return err
		}
	}
	for _, b := range r.Named {
		if err := c.insert("badges", b.Badge, r.Seq, b.As); err != nil {
			return err
		}
	}
	return nil
}
