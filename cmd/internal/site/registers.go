package site

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"listbound/cmd/internal/refusal"
	"listbound/events"
	"listbound/projections/facts"
)

// RegisterRow is an entry of a register as it stands, with the name that stands for a badge in no record.
type RegisterRow struct {
	Entry events.Entry     `json:"entry"`
	State facts.EntryState `json:"state"`
	Since time.Time        `json:"since"` // when it was entered so
	Seq   int64            `json:"seq"`
	Name  string           `json:"name,omitempty"` // of a person
}

// ID returns the entry's code.
func (r *RegisterRow) ID() string {
	_, id := r.Entry.Named()
	return id
}

// HeldTo returns the registers that the site holds to now.
func (v *View) HeldTo(ctx context.Context) ([]events.Register, error) {
	return v.heldToAt(ctx, v.site.Clock())
}

func (v *View) heldToAt(ctx context.Context, at time.Time) ([]events.Register, error) {
	w := v.World(ctx)
	rs, _ := w.RegistersFact(SiteOf(v.site.Name()), at)
	return rs, w.Failed()
}

// Register returns the entries of a register as they stand now, by their codes; those that have ended too.
func (v *View) Register(ctx context.Context, r events.Register) ([]RegisterRow, error) {
	found, err := v.RegisterFacts(ctx, string(r))
	if err != nil {
		return nil, err
	}
	names := map[string]string{}
	if r == events.RegisterPeople {
		if names, err = v.site.peopleNames(); err != nil {
			return nil, err
		}
	}
	book := facts.NewBook(nil)
	ids := make(map[string]bool)
	for _, f := range found {
		if d, ok := f.Event.Data.(events.Entry); ok {
			book.Add(f)
			_, id := d.Named()
			ids[id] = true
		}
	}
	out := make([]RegisterRow, 0, len(ids))
	now := v.site.orNow(v.at)
	for _, id := range slices.Sorted(maps.Keys(ids)) {
		x := book.Entered(r, id, now)
		if x.Entry == nil {
			continue // of a clock that is ahead
		}
		out = append(out, RegisterRow{x.Entry, x.State, x.Item.At(), x.Item.Seq, names[id]})
	}
	return out, nil
}

// EndedEntries returns the codes of a register whose entries have ended by the moment that is asked about.
func (v *View) EndedEntries(ctx context.Context, r events.Register) (map[string]bool, error) {
	rows, err := v.Register(ctx, r)
	out := make(map[string]bool)
	for i := range rows {
		if rows[i].State == facts.EntryEnded {
			out[rows[i].ID()] = true
		}
	}
	return out, err
}

// Entering is what is to be entered in a register at once.
type Entering struct {
	Register events.Register
	Entries  []events.Entry
	Names    map[string]string // of people, by badge; what is not there stays
	Operator string
	Hold     bool // hold to the register once all of it is entered
}

// Entered says what was entered.
type Entered struct {
	Records int  `json:"records"` // that were made
	Held    bool `json:"held"`    // the register is held to
}

// Enter enters entries in a register. One that says what stands there already makes no record. The register is held to
// only when all that was handed in stands in the ledger.
func (s *Site) Enter(ctx context.Context, e Entering) (out Entered, err error) {
	now := s.opts.Clock().UTC()
	if err := s.keepNames(e.Names); err != nil {
		return out, err
	}
	rows, held, err := s.registerNow(ctx, e.Register)
	if err != nil {
		return out, err
	}
	before := make(map[string]RegisterRow, len(rows))
	for _, row := range rows {
		before[row.ID()] = row
	}
	var obs []*events.Observation
	for _, d := range e.Entries {
		r, id := d.Named()
		if r != e.Register {
			return out, refusal.New("%s is no entry of the register of %s", id, e.Register)
		}
		if row, ok := before[id]; ok && SameEntry(row, d) {
			continue
		}
		obs = append(obs, &events.Observation{Station: s.Name(), Kind: d.Kind(), Time: now, Operator: e.Operator, Data: d})
	}
	out.Held = slices.Contains(held, e.Register)
	for part := range slices.Chunk(obs, s.opts.Batch) {
		if _, err := s.Observe(ctx, part...); err != nil {
			return out, err
		}
		out.Records += len(part)
	}
	if !e.Hold || out.Held {
		return out, nil
	}
	if err := s.HoldTo(ctx, append(held, e.Register), e.Operator, ""); err != nil {
		return out, err
	}
	out.Held, out.Records = true, out.Records+1
	return out, nil
}

// HoldTo says which registers are held to from now on.
func (s *Site) HoldTo(ctx context.Context, rs []events.Register, operator, reason string) error {
	d := &events.RegistersAdopted{Registers: []events.Register{}, Reason: reason}
	for _, r := range events.Registers() { // in their order
		if slices.Contains(rs, r) {
			d.Registers = append(d.Registers, r)
		}
	}
	_, err := s.Observe(ctx, &events.Observation{
		Station: s.Name(), Kind: events.KindRegistersAdopted, Time: s.opts.Clock().UTC(), Operator: operator, Data: d,
	})
	return err
}

func (s *Site) registerNow(ctx context.Context, r events.Register) (rows []RegisterRow, held []events.Register, err error) {
	err = s.Ask(func(v *View) (err error) {
		if rows, err = v.Register(ctx, r); err != nil {
			return err
		}
		held, err = v.HeldTo(ctx)
		return err
	})
	return rows, held, err
}

// SameEntry reports whether an entry says what stands there already.
func SameEntry(row RegisterRow, d events.Entry) bool {
	if d.Holding().Ended && row.State == facts.EntryEnded {
		return true
	}
	return reflect.DeepEqual(meaning(row.Entry), meaning(d))
}

// meaning returns an entry without what was said once, when its code was entered for the first time.
func meaning(d events.Entry) events.Entry {
	h := d.Holding()
	h.NewCode = false
	return WithHeld(d, h)
}

// WithHeld returns an entry that holds otherwise.
func WithHeld(d events.Entry, h events.Held) events.Entry {
	switch d := d.(type) {
	case *events.PersonEntered:
		c := *d
		c.Held = h
		return &c
	case *events.SetEntered:
		c := *d
		c.Held = h
		return &c
	case *events.PlaceEntered:
		c := *d
		c.Held = h
		return &c
	case *events.StationEntered:
		c := *d
		c.Held = h
		return &c
	case *events.SterilizerEntered:
		c := *d
		c.Held = h
		return &c
	}
	return d
}

// namesFile holds in the data folder whose badge is whose. It is no part of the ledger, so that it can be changed, and
// what is in it can be forgotten.
const namesFile = "people.json"

func (s *Site) peopleNames() (map[string]string, error) {
	s.namesMu.Lock()
	defer s.namesMu.Unlock()
	return s.readNames()
}

func (s *Site) readNames() (map[string]string, error) {
	names := make(map[string]string)
	path := filepath.Join(s.opts.Dir, namesFile)
	raw, err := os.ReadFile(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return names, nil
	case err != nil:
		return nil, fmt.Errorf("reading the names of people: %w", err)
	}
	if err := json.Unmarshal(raw, &names); err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	return names, nil
}

// keepNames puts names beside those that are kept; an empty one is forgotten.
func (s *Site) keepNames(more map[string]string) error {
	if len(more) == 0 {
		return nil
	}
	s.namesMu.Lock()
	defer s.namesMu.Unlock()
	names, err := s.readNames()
	if err != nil {
		return err
	}
	for badge, name := range more {
		if name = strings.TrimSpace(name); name != "" {
			names[badge] = name
		} else {
			delete(names, badge)
		}
	}
	raw, err := json.Marshal(names, json.Deterministic(true), jsontext.WithIndent("  "))
	if err != nil {
		return fmt.Errorf("the names of people: %w", err)
	}
	path := filepath.Join(s.opts.Dir, namesFile)
	if err := os.WriteFile(path+".new", append(raw, '\n'), 0o600); err != nil {
		return fmt.Errorf("keeping the names of people: %w", err)
	}
	if err := os.Rename(path+".new", path); err != nil {
		return fmt.Errorf("keeping the names of people: %w", err)
	}
	return nil
}

// AlikeIn returns the known name that another one is like, "" where there is none. known has the names by likeness.
func AlikeIn(known map[string][]string, name string) string {
	for _, k := range known[events.Likeness(name)] {
		if k != name {
			return k
		}
	}
	return ""
}

// PackedNames returns the sets that were packed here.
func (v *View) PackedNames(ctx context.Context) ([]string, error) {
	names, err := v.SetNames(ctx)
	if err != nil {
		return nil, err
	}
	var out []string
	for _, n := range names {
		packed, err := wasPacked(ctx, v.Model, n)
		if err != nil {
			return nil, err
		}
		if packed {
			out = append(out, n)
		}
	}
	return out, nil
}
