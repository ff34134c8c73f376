package projections

import (
	"cmp"
	"crypto/sha256"
	"encoding/base32"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"listbound/events"
)

// An incident is one cause with all the findings that it shows in: a ring of sheets, a case that does not add up, a
// positive indicator. Which findings those are is reckoned from the verdicts, each of which says what ties it to
// others (Cause); what people did about one is in events (events.IncidentHandled), which stand with a turn's records.

// Cause is what one weighing finding of a verdict says of the incident that it belongs to.
type Cause struct {
	Code Code   `json:"code"`
	Mark string `json:"mark"` // names the finding, as long as it tells the same
	// Links are what it has in common with the others of its incident: the first says what kind of cause it is. Findings
	// with a link in common are one incident.
	Links []string `json:"links"`
	Rank  int64    `json:"rank"` // Rank of a verdict with this finding alone

	Opening int64 `json:"opening,omitzero"` // the record of the opening at which something was not read; 0 of anything else
	// Own is the badge of a correction that nobody else has looked at.
	Own string `json:"own,omitempty"`
}

// Handled is one step that somebody took with an incident.
type Handled struct {
	Code     Code                   `json:"code"` // of the finding that it was said of
	Step     events.IncidentStep    `json:"step"`
	By       string                 `json:"by"`
	Assignee string                 `json:"assignee,omitempty"` // badge of whoever sees to it
	Due      time.Time              `json:"due,omitzero"`
	Text     string                 `json:"text"` // what was done, or is to be
	Outcome  events.IncidentOutcome `json:"outcome,omitempty"`
	Covers   []string               `json:"covers,omitempty"` // marks of the findings that were closed
	Time     time.Time              `json:"time"`
	Seq      int64                  `json:"seq"`
}

// Kinds of cause; the first part of a link.
const (
	causeCase    = "case"    // counts of a case, and what came back from it
	causeRoom    = "room"    // how counts of a room were made, in one week
	causeUnread  = "unread"  // what a room did not read at its openings, in one week; in many rooms, what the house did not
	causeRecall  = "recall"  // a positive indicator
	causeSheet   = "sheet"   // whose sheet lies where
	causePiece   = "piece"   // a piece in the wrong set
	causeRun     = "run"     // a sterilizer's run
	causeList    = "list"    // a version of a list that was no longer current
	causePlaced  = "placed"  // sheets of one list put in one place, against the policy, in one week
	causeStation = "station" // records of a station, and its clock
	causeTurn    = "turn"    // whatever concerns one turn of one set
)

// families say by what findings of a code are tied to others. A code that is not named concerns its own turn.
var families = map[Code]string{
	SheetSwapped: causeSheet, SheetStale: causeSheet, SheetAltered: causeSheet, SheetUnknown: causeSheet,
	SheetUnreadable: causeSheet, SheetAbsent: causeSheet, SheetInDoubt: causeSheet, SheetMoved: causeSheet,
	LabelSwapped: causeSheet, CountedOnWrongList: causeSheet,
	CountDiffersAtOpen: causePiece, PieceMissing: causePiece, PieceMigrated: causePiece,
	CountShort: causeCase, CountOver: causeCase, CountMissing: causeCase, CountOnePerson: causeCase,
	ClosedUnreconciled: causeCase, CameBackShort: causeCase, CameBackOver: causeCase, Overdue: causeCase,
	PlacedOtherwise: causePlaced, LoadRecalled: causeRecall, NotReleased: causeRun, ListSuperseded: causeList,
	StationSilent: causeStation, StationGap: causeStation, StationRetired: causeStation, SignatureBad: causeStation,
	ClockDoubtful: causeStation, RecordUnread: causeStation,
}

// CausesOf returns what each weighing finding of a verdict says of its incident, in the order of the findings.
func CausesOf(v *Verdict) []Cause {
	var out []Cause
	for i := range v.Findings {
		f := &v.Findings[i]
		if weight(f.Severity) == 0 {
			continue // noted findings stand last
		}
		alone := *v
		alone.Findings = v.Findings[i : i+1]
		alone.Status = StatusOf(alone.Findings, v.Status)
		c := Cause{Code: f.Code, Mark: markOf(v, f), Links: linksOf(v, f), Rank: Rank(&alone)}
		if at := UnreadAt(f); at != nil {
			c.Opening = at.Seq
		}
		if d, ok := f.Detail.(*RestsOnCorrection); ok && len(f.Acknowledged) == 0 {
			c.Own = d.By
		}
		out = append(out, c)
	}
	return out
}

func linksOf(v *Verdict, f *Finding) []string {
	members := membersOf(f.Detail)
	named := func(name string) (s string) {
		if raw := members[name]; raw.Kind() == '"' {
			_ = json.Unmarshal(raw, &s) // it is a string
		}
		return s
	}
	station := cmp.Or(named("station"), v.Station)
	own := link(causeTurn, string(f.Code), v.Set, v.Trip)
	family := families[f.Code]
	if at := UnreadAt(f); at != nil && asksWhoseSheet(v) {
		family = causeSheet
	} else if at != nil {
		return []string{link(causeUnread, at.Place.Name, weekOf(at.At))}
	}
	switch family {
	case causeSheet:
		return withOther(f, v, causeSheet)
	case causePiece:
		return withOther(f, v, causePiece)
	case causeCase:
		ref := cmp.Or(named("case"), v.Case)
		switch {
		case v.Together != nil:
			return []string{link(causeRoom, v.Together.Room, weekOf(v.Together.Opened))}
		case ref != "":
			return []string{link(causeCase, ref), link(causePiece, v.Set, v.Trip)}
		}
	case causeRecall:
		if load := named("positive"); load != "" {
			out := []string{link(causeRecall, load)}
			if other := named("other"); other != "" { // another that was read positive too, or again
				out = append(out, link(causeRecall, other))
			}
			return out
		}
	case causeRun:
		if of := runLink(f, members["run"], named("day")); of != "" {
			return []string{of}
		}
	case causeList:
		var by ListVersion
		if raw := members["by"]; raw.Kind() == '{' && json.Unmarshal(raw, &by) == nil && by.List != "" {
			return []string{link(causeList, by.List, strconv.FormatInt(by.Version, 10)), own}
		}
	case causePlaced:
		return []string{link(causePlaced, named("list"), named("placement"), weekOf(f.To))}
	case causeStation:
		if station != "" {
			return []string{link(causeStation, string(f.Code), station)}
		}
	}
	return []string{own}
}

// runLink is the link of a sterilizer's run, "" for none: what the cycle was wrong for is this set, and others of the run may have
// been packed for it. A test of the day is of all loads that the sterilizer ran on it.
func runLink(f *Finding, raw jsontext.Value, day string) string {
	var run struct {
		Load       string `json:"load"`
		Sterilizer string `json:"sterilizer"`
	}
	if raw.Kind() != '{' || f.Way == (*WrongCycle)(nil).Way() || json.Unmarshal(raw, &run) != nil || run.Load == "" {
		return ""
	}
	return link(causeRun, run.Sterilizer, cmp.Or(day, run.Load))
}

// withOther ties a finding to the turn that it names besides its own.
func withOther(f *Finding, v *Verdict, kind string) []string {
	out := []string{link(kind, v.Set, v.Trip)}
	if o := f.Other; o != nil && o.Set != v.Set && o.Trip != "" {
		out = append(out, link(kind, o.Set, o.Trip))
	} else if o != nil && o.Set != v.Set { // only which set it was: that two labels name each other is one cause
		pair := []string{v.Set, o.Set}
		slices.Sort(pair)
		out = append(out, link(kind, "pair", pair[0], pair[1], weekOf(f.To)))
	}
	return out
}

const linkSep = "\x1f"

func link(parts ...string) string { return strings.Join(parts, linkSep) }

// markOf names a finding by what it tells, however the ledger numbers the records that show it.
func markOf(v *Verdict, f *Finding) string {
	detail, err := json.Marshal(f.Detail, json.Deterministic(true))
	if err != nil {
		return ""
	}
	return short("mark", string(f.Code), string(f.Severity), f.Way, v.Set, v.Trip, v.Station, string(withoutNumbers(detail)))
}

// short is what a thing is called by people and in addresses: 50 bits of a digest.
func short(parts ...string) string {
	sum := sha256.Sum256([]byte("listbound incident v1\n" + link(parts...)))
	const letters = 10
	return crockford.EncodeToString(sum[:])[:letters]
}

var crockford = base32.NewEncoding("0123456789ABCDEFGHJKMNPQRSTVWXYZ").WithPadding(base32.NoPadding)

// CanAct reports whether somebody can still do something about what a finding tells by its rank: the set has not been
// used up to its end, or it came back short or was used again without having been reprocessed, which stays urgent after.
func CanAct(rank int64) bool { return rank>>rankGroup < groupOver }

// IncidentState says what has become of an incident.
type IncidentState string

// The values of IncidentState.
const (
	IncidentOpen     IncidentState = "open"
	IncidentTaken    IncidentState = "taken"    // somebody sees to it
	IncidentClosed   IncidentState = "closed"   // with an outcome
	IncidentReopened IncidentState = "reopened" // closed, and something came since
)

// IncidentPart is what a verdict gives to the reckoning of incidents.
type IncidentPart struct {
	TripKey
	Station string // of a verdict on a station's own records
	Since   time.Time
	Causes  []Cause
	Steps   []Handled
}

// PartOf returns what a verdict gives to the reckoning of incidents.
func PartOf(v *Verdict) IncidentPart {
	return IncidentPart{TripKey: TripKey{Set: v.Set, Trip: v.Trip}, Station: v.Station, Since: v.Since,
		Causes: CausesOf(v), Steps: v.Handled}
}

// IncidentMember is a verdict's share in an incident.
type IncidentMember struct {
	TripKey
	Station  string `json:"station,omitempty"`
	Findings []int  `json:"findings"` // their places in the verdict, the heaviest first
	Code     Code   `json:"code"`     // of the first of them

	rank  int64
	since time.Time
}

// Incident is one cause with what it shows in.
type Incident struct {
	Key     string           `json:"key"`
	Kind    string           `json:"kind"`   // of cause
	CanAct  bool             `json:"canAct"` // somebody can still do something
	State   IncidentState    `json:"state"`
	Members []IncidentMember `json:"members"`         // the worst first
	Steps   []Handled        `json:"steps,omitempty"` // in the order of time
	Marks   []string         `json:"-"`               // of its findings
	Codes   []Code           `json:"codes"`           // the same, each once
	Rank    int64            `json:"-"`
	Since   time.Time        `json:"since,omitzero"` // the last observation of its worst member
	DueBy   time.Time        `json:"due,omitzero"`   // when something is to be done, by the last step that says so; zero: nobody has
	Habit   *Habit           `json:"habit,omitempty"`
	Wanted  time.Time        `json:"-"` // when the first case begins that waits for one of its sets; see Soonest

	links  []string
	own    []string // badges of corrections that nobody else has looked at
	unread []Unread
}

// IsOwn reports whether something that is found is by a correction under a badge, and nobody else has looked at it: whoever has that
// badge does not close the incident.
func (in *Incident) IsOwn(badge string) bool {
	return slices.ContainsFunc(in.own, func(own string) bool { return badge == "" || strings.EqualFold(own, badge) })
}

// Is reports whether an incident is asked for by a key: its own, or one that it had while less of it was known.
func (in *Incident) Is(key string) bool {
	return in.Key == key || slices.ContainsFunc(in.links, func(l string) bool { return short("key", l) == key })
}

// Last is the last step that somebody took, nil where nobody has taken one.
func (in *Incident) Last() *Handled {
	if len(in.Steps) == 0 {
		return nil
	}
	return &in.Steps[len(in.Steps)-1]
}

// Assignee is whoever sees to an incident by the last step that names somebody.
func (in *Incident) Assignee() string {
	for _, s := range slices.Backward(in.Steps) {
		if s.Assignee != "" {
			return s.Assignee
		}
	}
	return ""
}

// Soonest puts what a case waits for before others of its kind, the case that begins first before those after it. starts are
// when the first case begins that waits for each set.
func Soonest(ins []Incident, starts map[string]time.Time) {
	for i := range ins {
		in := &ins[i]
		in.Wanted = time.Time{}
		for _, x := range in.Members {
			opened := x.rank>>rankCounts&1 == 1
			if at, ok := starts[x.Set]; ok && !opened && CanAct(x.rank) && (in.Wanted.IsZero() || at.Before(in.Wanted)) {
				in.Wanted = at
			}
		}
	}
	slices.SortStableFunc(ins, func(a, b Incident) int { return CompareIncidents(&a, &b) })
}

// CompareIncidents is the order in which incidents are shown: what can still be done first, of what is alike there what
// a case waits for soonest, then what is due first, and what nobody has set a time for after that.
func CompareIncidents(a, b *Incident) int {
	return cmp.Or(cmp.Compare(a.Rank>>rankCounts, b.Rank>>rankCounts), CompareDue(a.Wanted, b.Wanted),
		CompareDue(a.DueBy, b.DueBy), cmp.Compare(a.Rank, b.Rank),
		b.Since.Compare(a.Since), CompareKeys(a.Members[0].TripKey, b.Members[0].TripKey), strings.Compare(a.Key, b.Key))
}

// CompareDue orders times by which something is wanted or due; no time stands last.
func CompareDue(a, b time.Time) int {
	if a.IsZero() != b.IsZero() {
		return cmp.Compare(truth(a.IsZero()), truth(b.IsZero()))
	}
	return a.Compare(b)
}

func truth(b bool) int {
	if b {
		return 1
	}
	return 0
}

// Incidents groups what verdicts tell by cause, in the order in which they are shown.
func Incidents(parts []IncidentPart, cal Calendar) []Incident {
	var g linked
	links := cal.linksOf(parts)
	for i := range links {
		g.add(links[i])
	}
	at := make(map[int]int) // of the first finding of a group, its place in out
	out := make([]Incident, 0, len(parts))
	i := 0
	for p := range parts {
		for n := range parts[p].Causes {
			root := g.root(i)
			place, ok := at[root]
			if !ok {
				place = len(out)
				at[root] = place
				out = append(out, Incident{})
			}
			out[place].take(&parts[p], n, links[i])
			i++
		}
	}
	for i := range out {
		out[i].end(cal)
	}
	slices.SortFunc(out, func(a, b Incident) int { return CompareIncidents(&a, &b) })
	return out
}

// take adds one finding of a part.
func (in *Incident) take(p *IncidentPart, n int, links []string) {
	c := &p.Causes[n]
	in.Marks, in.links = append(in.Marks, c.Mark), append(in.links, links...)
	if c.Own != "" {
		in.own = append(in.own, c.Own)
	}
	if !slices.Contains(in.Codes, c.Code) {
		in.Codes = append(in.Codes, c.Code)
	}
	in.CanAct = in.CanAct || CanAct(c.Rank)
	last := len(in.Members) - 1
	if last < 0 || in.Members[last].TripKey != p.TripKey || in.Members[last].Station != p.Station {
		in.Members = append(in.Members, IncidentMember{TripKey: p.TripKey, Station: p.Station, Code: c.Code, rank: c.Rank, since: p.Since})
		last++
	} else {
		in.Members[last].rank = joint(in.Members[last].rank, c.Rank)
	}
	in.Members[last].Findings = append(in.Members[last].Findings, n)
	if house, room := houseOf(links[0]); house != "" {
		in.unread = append(in.unread, Unread{room, c.Code, c.Opening})
	}
	for _, s := range p.Steps {
		if s.Code == c.Code && !slices.ContainsFunc(in.Steps, func(t Handled) bool { return t.Seq == s.Seq }) {
			in.Steps = append(in.Steps, s)
		}
	}
}

// end orders what was taken, names it, and says what has become of it.
func (in *Incident) end(cal Calendar) {
	slices.SortFunc(in.Members, func(a, b IncidentMember) int {
		return cmp.Or(cmp.Compare(a.rank, b.rank), b.since.Compare(a.since), CompareKeys(a.TripKey, b.TripKey))
	})
	in.Rank, in.Since = in.Members[0].rank, in.Members[0].since
	// The turn packed first names a ring: a turn's id begins with its time, and what is found later was mostly packed later.
	least := slices.MinFunc(in.links, func(a, b string) int {
		x, y := strings.Split(a, linkSep), strings.Split(b, linkSep)
		return cmp.Or(strings.Compare(x[0], y[0]), strings.Compare(x[len(x)-1], y[len(y)-1]), strings.Compare(a, b))
	})
	in.Key = short("key", least)
	in.Kind, _, _ = strings.Cut(least, linkSep)
	in.tellHabit(least, cal)
	slices.SortFunc(in.Steps, func(a, b Handled) int { return cmp.Or(a.Time.Compare(b.Time), cmp.Compare(a.Seq, b.Seq)) })
	in.State = IncidentOpen
	for _, s := range in.Steps {
		if !s.Due.IsZero() {
			in.DueBy = s.Due
		}
		switch {
		case s.Step == events.IncidentClosed && in.IsOwn(s.By):
		case s.Step == events.IncidentClosed && in.covered(s.Covers):
			in.State = IncidentClosed
		case s.Step == events.IncidentClosed, s.Step == events.IncidentReopened:
			in.State = IncidentReopened
		case in.State == IncidentOpen && s.Assignee != "":
			in.State = IncidentTaken
		}
	}
}

// covered reports whether all that is found was found when an incident was closed.
func (in *Incident) covered(marks []string) bool {
	return !slices.ContainsFunc(in.Marks, func(m string) bool { return !slices.Contains(marks, m) })
}

// joint is the rank of a verdict with the findings of two others of the same turn.
func joint(a, b int64) int64 {
	const counts = 1<<rankCounts - 1
	out := min(a>>rankCounts, b>>rankCounts)
	for shift := rankCounts - rankCount; shift >= 0; shift -= rankCount {
		most := int64(1<<rankCount - 1)
		n := most - a&counts>>shift&most + most - b&counts>>shift&most
		out = out<<rankCount | most - min(n, most)
	}
	return out
}

// linked joins findings that have a link in common.
type linked struct {
	under []int          // the finding that each was joined to, or itself
	of    map[string]int // the first with a link
}

func (g *linked) add(links []string) {
	if g.of == nil {
		g.of = make(map[string]int)
	}
	i := len(g.under)
	g.under = append(g.under, i)
	for _, l := range links {
		j, ok := g.of[l]
		if !ok {
			g.of[l] = i
			continue
		}
		if a, b := g.root(i), g.root(j); a != b {
			g.under[max(a, b)] = min(a, b)
		}
	}
}

func (g *linked) root(i int) int {
	for g.under[i] != i {
		g.under[i] = g.under[g.under[i]]
		i = g.under[i]
	}
	return i
}
