package site

import (
	"context"
	"io"
	"slices"
	"time"

	"golang.org/x/mod/sumdb/tlog"

	"listbound/events"
	"listbound/ledger"
	"listbound/ledger/proof"
	"listbound/projections"
	"listbound/projections/assess"
	"listbound/projections/rates"
	"listbound/projections/run"
)

// Service is what the commands ask for. A Site answers from a data folder, a
// remote.Client from a server.
type Service interface {
	// Record takes observations, one JSON object a line, and emits one receipt a line in order. A refused line costs nothing
	// else. The error is for what stopped the reading or the recording as a whole.
	Record(ctx context.Context, lines io.Reader, emit func(Receipt) error) error
	Broken(ctx context.Context) ([]projections.Verdict, error)
	// Incidents are what is broken or doubtful by its causes, as the board shows it: those that are open, or closed; at a moment, or
	// where that is zero now.
	Incidents(ctx context.Context, closed bool, at time.Time) ([]projections.Incident, error)
	// BrokenAt is what Broken would have answered at a moment, of the records that had arrived by then; zero: now.
	BrokenAt(ctx context.Context, at time.Time) ([]projections.Verdict, error)
	// NearMissesAt are what was wrong, seen, and put right before use, the latest first, as known at a moment; zero: now.
	NearMissesAt(ctx context.Context, at time.Time) ([]projections.Verdict, error)
	// Rates says how often lists were wrong or missing, by placement and more, and what that shows.
	Rates(ctx context.Context, q RatesQuery) (*rates.Report, error)
	// Assess is the assessment of where count sheets travel, of what a site chose and what was counted there.
	Assess(ctx context.Context, q AssessQuery) (*assess.Assessment, error)
	// KeepRunLog keeps a sterilizer's log beside the ledger, and returns the digest that a record names it by.
	KeepRunLog(ctx context.Context, raw []byte) (*KeptLog, error)
	// Runs returns what is recorded of logs of runs.
	Runs(ctx context.Context, q RunsQuery) ([]run.Recorded, error)
	// ImportSchedule takes in what the surgical schedule says of cases, and of nobody else.
	ImportSchedule(ctx context.Context, raw []byte, asked ScheduleAsked) (*ScheduleImported, error)
	// Schedule says of each case of a day whether what it wants is there.
	Schedule(ctx context.Context, q ScheduleQuery) (*Day, error)
	History(ctx context.Context, q Query) (*projections.History, error)
	Verify(ctx context.Context, progress Progress) (*Verification, error)
	Evidence(ctx context.Context, q Query, w io.Writer) error
	// ReportingCopy writes what was found as one SQLite file of readable tables, for reports; as known at a moment, or where that
	// is zero now.
	ReportingCopy(ctx context.Context, w io.Writer, at time.Time, progress Progress) error
	// Consistency proves that the ledger only grew since it had a size, up to the
	// checkpoint that it returns with the proof.
	Consistency(ctx context.Context, from int64) (*proof.Consistency, error)
	// RootAt returns the root of the ledger's tree as it was when it had so many records.
	RootAt(ctx context.Context, size int64) (tlog.Hash, error)
	Rebuild(ctx context.Context, progress Progress) (int64, error)
	Lists(ctx context.Context, list string) ([]ListVersion, error)
	// ListsAt are the versions that there were at a moment; zero: now.
	ListsAt(ctx context.Context, list string, at time.Time) ([]ListVersion, error)
	Stations(ctx context.Context) ([]Station, error)
	// StationsAt is what was known of each station at a moment; zero: now.
	StationsAt(ctx context.Context, at time.Time) ([]Station, error)
	Enrol(ctx context.Context, station, key, reason string) (*Receipt, error)
	// Retire ends a station's right to record, as of a moment that is past where one is given: what it observed later is doubtful.
	Retire(ctx context.Context, station, reason string, asOf time.Time) (*Receipt, error)
	Policy(ctx context.Context) (*PolicyInForce, error)
	// PolicyAt is the one that was in force at a moment, by the records that had arrived by then; zero: now.
	PolicyAt(ctx context.Context, at time.Time) (*PolicyInForce, error)
	// Texts says what keeps the texts beside the ledger.
	Texts(ctx context.Context) (*TextsKept, error)
	// Redact takes texts out for good, or says what it would take out.
	Redact(ctx context.Context, r Redaction) (*Redacted, error)
	Close() error
}

// Progress hears of long work. total is 0 where it isn't known.
type Progress func(done, total int64)

// Receipt answers one observation.
type Receipt struct {
	Seq       int64  `json:"seq,omitzero"`
	ID        string `json:"id,omitempty"`
	Set       string `json:"set,omitempty"`
	Trip      string `json:"trip,omitempty"`
	SheetCode string `json:"sheetCode,omitempty"`
	Known     bool   `json:"known,omitzero"`     // it was recorded before; nothing was stored now
	Enrolled  string `json:"enrolled,omitempty"` // the station that was enrolled for this line
	Remark    string `json:"remark,omitempty"`   // recorded, but something is wrong with the record itself
	Behind    bool   `json:"behind,omitzero"`    // recorded, but not judged yet: no verdict knows of it
	// Hash is of a record that the station signed itself, as it would stand in the next one: what comes back with its own
	// hash is stored byte for byte, and may be forgotten by the station.
	Hash string `json:"hash,omitempty"`

	Line  int    `json:"line,omitzero"` // with Error: the line refused
	Error string `json:"error,omitempty"`
}

// Query says whose history is asked for, and as known at which moment (zero:
// now). One of Set, Trip, Case and Load is given; Set may stand beside Trip.
type Query struct {
	Set, Trip, Case, Load string
	AsOf                  time.Time
	Records               bool // also return the notes as stored
	// Earlier are sizes that the ledger had: a bundle then proves that it only
	// grew since.
	Earlier []int64
	All     bool // evidence of the whole ledger, and of nothing else
}

// RatesQuery says of which openings rates are asked for: Since <= it < Until, zero for no bound.
type RatesQuery struct {
	Since, Until  time.Time
	Usual, Raised float64   // incidents an opening that are watched for; zero: one and three in a thousand
	Openings      bool      // also return every opening
	AsOf          time.Time // as known at this moment; zero: now
}

// AssessQuery says what is assessed: what a site chose, and of which openings the counts are (as in RatesQuery).
type AssessQuery struct {
	Since   time.Time      `json:"since,omitzero"`
	Until   time.Time      `json:"until,omitzero"`
	Seed    uint64         `json:"seed,omitzero"`
	AsOf    time.Time      `json:"asOf,omitzero"` // as known at this moment; zero: now
	Choices assess.Choices `json:"choices"`
}

// Verification is the outcome of verify, in its stable shape.
type Verification struct {
	OK         bool             `json:"ok"`
	Size       int64            `json:"size"`
	Root       string           `json:"root"`
	Checkpoint string           `json:"checkpoint"`
	Problems   []ledger.Problem `json:"problems"`
	// Remarks are what is wrong with records as they came: the ledger holds them
	// unchanged, and judgement reports them.
	Remarks []ledger.Problem `json:"remarks,omitempty"`
	// TextsMissing are records whose texts beside the ledger are gone though no redaction took them out.
	TextsMissing []int64 `json:"textsMissing,omitempty"`
	// Timestamp is what an authority outside said last, where the site asks one.
	Timestamp *TimestampState `json:"timestamp,omitempty"`
	// Kept is what lies in the folder beside the ledger, and when it may be deleted.
	Kept []ledger.Kept `json:"kept,omitempty"`

	noModel error // why the read model was not held against the ledger
}

// ListVersion is one version of a list.
type ListVersion struct {
	List     string        `json:"list"`
	Version  int64         `json:"version"`
	Title    string        `json:"title"`
	Digest   string        `json:"digest"`
	Issued   time.Time     `json:"issued"`
	By       string        `json:"by,omitempty"`
	Seq      int64         `json:"seq"`
	Cycles   []string      `json:"cycles,omitempty"`
	Implants bool          `json:"implants,omitzero"`
	HighRisk bool          `json:"highRisk,omitzero"`
	Goods    bool          `json:"goods,omitzero"`
	LineRows []events.Line `json:"lines"`
}

// Issue returns the version as it was issued, which its digest is made from.
func (v *ListVersion) Issue() *events.ListIssued {
	return &events.ListIssued{
		List: v.List, Version: v.Version, Title: v.Title, Lines: v.LineRows, Cycles: v.Cycles, Implants: v.Implants,
		HighRisk: v.HighRisk, Goods: v.Goods,
	}
}

// Station is what is known of a station.
type Station struct {
	Name string `json:"name"`
	Key  string `json:"key"`
	Here bool   `json:"here"` // its signing key is kept in this folder
	// KeysElsewhere says that a follower answers, which has no keys: Here says nothing of where a station's lies.
	KeysElsewhere bool `json:"keysElsewhere,omitzero"`

	Enrolled int64 `json:"enrolled"`
	Retired  int64 `json:"retired,omitzero"`
	// RetiredAsOf is the moment up to which what it observed counts, where it is retired.
	RetiredAsOf time.Time `json:"retiredAsOf,omitzero"`
	Records     int64     `json:"records"` // how many it signed
	Last        time.Time `json:"last,omitzero"`
	// Number and Hash are of the last record in its numbering, from which it goes on.
	Number int64  `json:"number,omitzero"`
	Hash   string `json:"hash,omitempty"`
	// Former are the keys that the ledger itself has had before, the first one first.
	Former []FormerKey `json:"former,omitempty"`
}

// FormerKey is a key that was replaced.
type FormerKey struct {
	Key        string `json:"key"`
	ReplacedBy int64  `json:"replacedBy"` // the record by which
}

// KeysOf returns all keys of a ledger, as its own row among the stations names them.
func KeysOf(st *Station) (proof.Keys, error) {
	var keys proof.Keys
	since := int64(0)
	for _, f := range append(st.Former, FormerKey{Key: st.Key}) {
		k, err := proof.NewKeySince(since, f.Key)
		if err != nil {
			return nil, err
		}
		keys = append(keys, k)
		since = f.ReplacedBy
	}
	return keys, nil
}

// TextsKept says what keeps the texts beside the ledger.
type TextsKept struct {
	Days  int64                `json:"days"` // for how long they are kept; 0: without an end
	Holds []*events.HoldPlaced `json:"holds"`
	// OfNothing are those of a case or set of which nothing is recorded here: mistyped, mostly, and what was meant is not held.
	OfNothing []*events.HoldPlaced `json:"ofNothing,omitempty"`
}

// IsOfNothing reports whether a hold is one of these.
func (t *TextsKept) IsOfNothing(h *events.HoldPlaced) bool {
	return slices.ContainsFunc(t.OfNothing, func(x *events.HoldPlaced) bool { return *x == *h })
}

// PolicyInForce is a policy and where it comes from.
type PolicyInForce struct {
	Adopted bool          `json:"adopted"` // false: the built-in default
	Seq     int64         `json:"seq,omitzero"`
	Since   time.Time     `json:"since,omitzero"`
	Policy  events.Policy `json:"policy"`
}
