package readmodel

// The tables. Ids (event, trip) are 16-byte blobs: the UUID's bytes. Times are
// integers, nanoseconds since 1970 UTC. Empty trip: x”.
const tables = `
CREATE TABLE meta (key TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID;

-- events: one row for each record of the ledger, without its text.
CREATE TABLE events (
	seq        INTEGER PRIMARY KEY, -- sequence in the ledger
	id         BLOB NOT NULL,
	kind       TEXT NOT NULL,       -- '' for one this program doesn't know
	station    TEXT NOT NULL,
	subject    TEXT NOT NULL,
	trip       BLOB,                -- NULL: none given
	observed   INTEGER NOT NULL,
	recorded   INTEGER NOT NULL,
	remarks    INTEGER NOT NULL,    -- bits, see events.Remark; 256: others once, see remarked
	case_ref   TEXT,                -- set.opened, set.counted, case.closed, case.scheduled
	load       TEXT,                -- set.sterilized, indicator.read, run.logged
	sterilizer TEXT,                -- the same, and sterilizer.tested
	positive   INTEGER,             -- indicator.read: 1 positive, 0 negative
	list       TEXT,                -- set.packed, list.issued
	sheet_trip BLOB,                -- trip in a sheet code that was read, where it is not this event's own
	tray       TEXT,                -- set.checked, set.opened: the set whose tag was read on the tray, where it is not the subject
	corrects   BLOB,                -- event.corrected: id of the event
	operator   TEXT,                -- badge
	named      TEXT,                -- badges that the data names, each in a line, as 'counter B-1182'
	entry      TEXT,                -- entry of a register, or the badge's that access was claimed by: 'people/B-1182'
	washer_load TEXT,               -- set.returned: the washer's load that the set was in
	ran        TEXT,                -- set.sterilized: the cycle's number and when it was started, '2 2026-03-04T07:24:00Z'
	begun      TEXT                 -- set.sterilized: the sterilizer and the day (UTC) on which its run was started,
	                                -- 'S1 2026-03-04'; sterilizer.tested: the day that it is for
);

-- remarked: what was remarked on a record until another one came, such as the one that was missing before it.
CREATE TABLE remarked (
	seq     INTEGER NOT NULL, -- the record
	n       INTEGER NOT NULL, -- from 0, in order
	until   INTEGER NOT NULL, -- when the other was recorded
	remarks INTEGER NOT NULL,
	PRIMARY KEY (seq, n)
) WITHOUT ROWID;

-- marks: what is printed on the outside of a sealed set, for finding it by what a person holds; and tags of its tray.
CREATE TABLE marks (
	what TEXT NOT NULL,   -- seal, said (a seal by a correction), short (the sheet's short code), bag (lot of the bag),
	                      -- tag (by the register of sets)
	mark TEXT NOT NULL,
	seq  INTEGER NOT NULL -- the list.sealed, or the set.entered
);

-- schedule: when cases begin by the schedule, one row for each case.scheduled and each correction of one.
CREATE TABLE schedule (
	seq   INTEGER PRIMARY KEY, -- the record
	start INTEGER NOT NULL
);

-- spans: in which stretches of 1024 records a station or a badge occurs, or a badge is named. A look through
-- those stretches costs little, and an index of every record would cost a rebuild a fifth of its time.
CREATE TABLE spans (
	what TEXT NOT NULL,     -- station, badge, named
	mark TEXT NOT NULL,
	span INTEGER NOT NULL,  -- (seq - 1) / 1024
	PRIMARY KEY (what, mark, span)
) WITHOUT ROWID;

-- trips: the verdict of each turn of each set.
CREATE TABLE trips (
	set_id  TEXT NOT NULL,
	trip    BLOB NOT NULL,
	case_ref TEXT,
	status  TEXT NOT NULL,   -- whole, open, doubtful, broken
	opened  INTEGER NOT NULL,
	since   INTEGER NOT NULL, -- last observation
	verdict BLOB NOT NULL,   -- JSON, as 'broken --json' prints it, less the sentences
	rests   BLOB NOT NULL,   -- its rows in rests_on, packed: for taking them out again
	PRIMARY KEY (set_id, trip)
) WITHOUT ROWID;

-- board: one row for each trip that is broken or doubtful, in the order in which it is shown.
CREATE TABLE board (
	set_id    TEXT NOT NULL,
	trip      BLOB NOT NULL,
	worst     INTEGER NOT NULL, -- ascending: see projections.Rank
	since     INTEGER NOT NULL, -- last observation
	list      TEXT NOT NULL,    -- packed by; '' where no packing is recorded
	placement TEXT NOT NULL,    -- of the sheet, as sealed; '' where none is
	station   TEXT NOT NULL,    -- of the last observation
	seen      INTEGER NOT NULL, -- 1: every broken or doubtful finding has been acknowledged
	causes    TEXT NOT NULL,    -- a line for each weighing finding: code, mark, rank, opening, own and links, with tabs between; see projections.Cause
	handled   TEXT NOT NULL,    -- what people did about it, JSON; '' for nothing
	PRIMARY KEY (set_id, trip)
) WITHOUT ROWID;

-- openings: one row for each trip whose set was opened, for counting how often something happened.
CREATE TABLE openings (
	set_id    TEXT NOT NULL,
	trip      BLOB NOT NULL,
	at        INTEGER NOT NULL, -- when it was opened first
	station   TEXT NOT NULL,    -- and where
	list      TEXT NOT NULL,    -- packed by; '' where no packing is recorded
	placement TEXT NOT NULL,    -- of the sheet, as sealed last; '' where none is
	read      INTEGER NOT NULL, -- 1: then or later somebody saw whose sheet it was, or that none was there
	PRIMARY KEY (set_id, trip)
) WITHOUT ROWID;

-- findings: one row for each finding of each verdict.
CREATE TABLE findings (
	set_id   TEXT NOT NULL,
	trip     BLOB NOT NULL,
	n        INTEGER NOT NULL, -- place in the verdict, from 0
	code     TEXT NOT NULL,
	severity TEXT NOT NULL,
	way      TEXT NOT NULL,    -- the way in which the code came about
	detail   TEXT NOT NULL,    -- JSON: what the sentences are made of
	says     TEXT NOT NULL,    -- in English
	next     TEXT NOT NULL,    -- what is usually done next
	PRIMARY KEY (set_id, trip, n)
) WITHOUT ROWID;

-- rests_on: what trips' verdicts asked the facts for. A new fact touches the verdicts that asked
-- for a place it is filed under. What a trip asks of itself (its own facts, who read its sheet) is
-- left out: the trips table has it. Of the moments it asked for (dimension 'time') only the first that
-- has not passed is kept: until then the verdict holds. Most questions are asked by many trips, so a rebuild puts
-- some of one dimension and key into each row; what is asked while running has a row of its own.
CREATE TABLE rests_on (
	ask    INTEGER NOT NULL, -- FNV-1a, 64 bits, of dimension (see facts.Dim), a zero byte and key
	until  INTEGER NOT NULL, -- facts observed to then, the latest of them all
	since  INTEGER NOT NULL, -- from then, both included, the earliest of them all
	owners BLOB NOT NULL,    -- of each: its length, the set's name, a zero byte, the trip's 16 bytes, and by how many
	                         -- nanoseconds it asks for less than to until and from since. Numbers are varints
	PRIMARY KEY (ask, until, since, owners)
) WITHOUT ROWID;

-- stations: who may record, and the last record of each.
CREATE TABLE stations (
	name     TEXT PRIMARY KEY,
	key      TEXT NOT NULL,    -- signed-note verifier key in force; '' if never enrolled
	enrolled INTEGER NOT NULL, -- sequence of the enrolment
	retired  INTEGER NOT NULL, -- sequence of the retirement, 0 while it may record
	last     INTEGER NOT NULL, -- sequence of its last record
	count    INTEGER NOT NULL, -- stationseq of the record from which it goes on
	hash     TEXT NOT NULL,    -- SHA-256 of that record's note
	observed INTEGER NOT NULL, -- its clock then
	signed   INTEGER NOT NULL, -- how many of its records it signed
	keys     TEXT NOT NULL,    -- all keys that it was enrolled with, JSON: see events.StationKey
	until    INTEGER NOT NULL, -- when its verdict changes though nothing is recorded; 0: never
	verdict  BLOB              -- findings on its records that belong to no trip, JSON; NULL: none
) WITHOUT ROWID;

-- runs: the stretches of each station's numbering that are there; more than one where something is missing.
CREATE TABLE runs (
	station TEXT NOT NULL,
	first   INTEGER NOT NULL, -- sequence of its first record
	run     TEXT NOT NULL,    -- JSON: see events.Run
	PRIMARY KEY (station, first)
) WITHOUT ROWID;
`

// rareIndexes are of few rows and grow with them: to make one afterwards means
// to look through all rows.
const rareIndexes = `
CREATE INDEX events_issued ON events (list) WHERE kind IN ('list.issued', 'event.corrected');
CREATE INDEX events_read ON events (sterilizer) WHERE kind IN ('indicator.read', 'event.corrected');
CREATE INDEX events_logged ON events (sterilizer, observed) WHERE kind = 'run.logged';
CREATE INDEX events_positive ON events (sterilizer) WHERE positive = 1;
CREATE INDEX events_sheet ON events (sheet_trip) WHERE sheet_trip IS NOT NULL;
CREATE INDEX events_tray ON events (tray, observed) WHERE tray IS NOT NULL;
CREATE INDEX events_washed ON events (washer_load) WHERE washer_load IS NOT NULL;
CREATE INDEX events_begun ON events (begun, load, ran) WHERE begun IS NOT NULL;
CREATE INDEX events_corrects ON events (corrects) WHERE corrects IS NOT NULL;
CREATE INDEX events_remarks ON events (station) WHERE remarks <> 0;
CREATE INDEX events_policy ON events (subject) WHERE kind IN ('policy.adopted', 'records.lost', 'registers.adopted');
CREATE INDEX events_texts ON events (seq) WHERE kind IN ('texts.redacted', 'hold.placed', 'hold.lifted', 'retention.adopted');
CREATE INDEX events_assessed ON events (seq) WHERE kind = 'placements.assessed';
CREATE INDEX events_claimed ON events (observed) WHERE kind = 'access.claimed';
CREATE INDEX schedule_start ON schedule (start);
CREATE INDEX events_entry ON events (entry) WHERE entry IS NOT NULL;
`

// indexes are made after the rows in a rebuild: sorting once is cheaper than
// a million insertions.
const indexes = `
CREATE INDEX IF NOT EXISTS events_observed ON events (observed);
CREATE INDEX IF NOT EXISTS events_trip ON events (trip) WHERE trip IS NOT NULL;
CREATE INDEX IF NOT EXISTS events_packed ON events (subject, observed) WHERE kind = 'set.packed';
CREATE INDEX IF NOT EXISTS events_loose ON events (subject, observed) WHERE trip IS NULL;
CREATE INDEX IF NOT EXISTS events_case ON events (case_ref) WHERE case_ref IS NOT NULL;
CREATE INDEX IF NOT EXISTS events_load ON events (load) WHERE load IS NOT NULL;
CREATE INDEX IF NOT EXISTS events_sterilizer ON events (sterilizer, observed) WHERE sterilizer IS NOT NULL;
CREATE INDEX IF NOT EXISTS events_list ON events (list, observed) WHERE kind = 'set.packed';
CREATE INDEX IF NOT EXISTS marks_mark ON marks (mark);
`

// verdictIndexes are those of the tables that judgement fills, after the others.
const verdictIndexes = `
CREATE INDEX IF NOT EXISTS board_worst ON board (worst, since DESC, set_id, trip);
CREATE INDEX IF NOT EXISTS trips_status ON trips (status);
CREATE INDEX IF NOT EXISTS trips_trip ON trips (trip);
CREATE INDEX IF NOT EXISTS findings_noted ON findings (set_id, trip) WHERE severity = 'noted';
CREATE INDEX IF NOT EXISTS findings_code ON findings (code);
CREATE INDEX IF NOT EXISTS openings_at ON openings (at);
`
