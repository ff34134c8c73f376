package reporting

// The tables, with what each column holds. Times are text, "2026-03-04 07:12:05" in UTC, as SQLite's own functions read
// and write them; a column whose name ends with _local has the same moment in the site's zone. TABLES.md tells of them.
const tables = `
CREATE TABLE about (name TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID;

CREATE TABLE turns (
	set_id         TEXT NOT NULL,
	turn           TEXT NOT NULL,    -- UUID; '' where the set was never packed here
	status         TEXT NOT NULL,    -- whole, open, doubtful, broken
	over           INTEGER NOT NULL, -- 1: nothing more is to come
	list           TEXT, list_version INTEGER, list_title TEXT,
	placement      TEXT,             -- of the sheet, as sealed last
	packed         TEXT, packed_local TEXT, packed_at TEXT, packer TEXT,
	exceptions     INTEGER,          -- lines not packed as listed
	sealed         TEXT,
	load           TEXT, sterilizer TEXT, cycle TEXT, sterilized TEXT, released INTEGER,
	opened         TEXT, opened_local TEXT, opened_at TEXT, room TEXT, case_ref TEXT,
	sheet_read     INTEGER,          -- 1: at the opening or later somebody saw whose sheet it was, or that none was there
	incident       INTEGER,          -- number of the incident with a list that was wrong or missing
	closed         TEXT, outcome TEXT, -- of the case
	last_seen      TEXT, last_seen_local TEXT, last_place TEXT,
	PRIMARY KEY (set_id, turn)
) WITHOUT ROWID;

CREATE TABLE findings (
	set_id TEXT NOT NULL, turn TEXT NOT NULL, n INTEGER NOT NULL, station TEXT,
	code TEXT NOT NULL, way TEXT NOT NULL, severity TEXT NOT NULL,
	since TEXT, until TEXT,          -- its window
	acknowledged TEXT, acknowledged_by TEXT,
	says TEXT NOT NULL, next TEXT NOT NULL,
	incident TEXT,                   -- the one that it belongs to; NULL where it weighs nothing
	known TEXT, known_local TEXT,    -- when it was first known here
	known_by INTEGER                 -- the record that showed it; NULL: only time had passed
);

CREATE TABLE counts (
	seq INTEGER PRIMARY KEY,         -- its record in the ledger
	set_id TEXT NOT NULL, turn TEXT NOT NULL, case_ref TEXT, stage TEXT NOT NULL,
	counted TEXT NOT NULL, counted_local TEXT NOT NULL, station TEXT NOT NULL,
	counter TEXT, witness TEXT, medium TEXT, -- medium: paper, or NULL
	against TEXT NOT NULL,           -- own sheet, another sheet, screen, unreadable
	lines INTEGER NOT NULL, differing INTEGER NOT NULL
);

CREATE TABLE differing_lines (
	seq INTEGER NOT NULL,            -- of the count
	line INTEGER NOT NULL, item TEXT, description TEXT,
	listed INTEGER,                  -- by the set's list; NULL: on no list
	counted INTEGER NOT NULL,
	PRIMARY KEY (seq, line)
) WITHOUT ROWID;

CREATE TABLE loads (
	load TEXT NOT NULL, sterilizer TEXT NOT NULL, run INTEGER NOT NULL, cycle TEXT, started TEXT, ended TEXT, ended_local TEXT,
	result TEXT NOT NULL, released INTEGER NOT NULL, sets INTEGER NOT NULL,
	indicator TEXT,                  -- of the load: positive, negative, unproved; NULL: nobody read one
	indicator_read TEXT, logs INTEGER NOT NULL -- how many logs of its runs are recorded
);

CREATE TABLE cases (
	case_ref TEXT PRIMARY KEY, room TEXT, station TEXT, began TEXT, began_local TEXT, -- first opening or count
	closed TEXT, outcome TEXT, sets INTEGER NOT NULL, troubled INTEGER NOT NULL -- sets that are broken or doubtful
) WITHOUT ROWID;

CREATE TABLE records (
	seq INTEGER PRIMARY KEY, kind TEXT NOT NULL, station TEXT NOT NULL,
	subject TEXT NOT NULL,           -- the set; list, load, case, site or station for kinds not about one set
	turn TEXT NOT NULL,              -- that it names; '' for none
	observed TEXT NOT NULL, observed_local TEXT NOT NULL, recorded TEXT NOT NULL,
	medium TEXT,                     -- of a turn's: paper, or NULL
	in_force INTEGER                 -- of a turn's: 0 where it was taken back, else 1
);

CREATE TABLE badges (                -- who had what to do with a record
	badge TEXT NOT NULL, seq INTEGER NOT NULL,
	role TEXT NOT NULL               -- recorder, or the member of the record's data: counter, witness, loader, …
);

CREATE TABLE corrections (
	seq INTEGER PRIMARY KEY, set_id TEXT NOT NULL, turn TEXT NOT NULL, corrects TEXT NOT NULL, -- id of the event
	action TEXT NOT NULL, station TEXT NOT NULL, badge TEXT, recorded TEXT NOT NULL, recorded_local TEXT NOT NULL
);
`

// views are questions that are asked again and again, and what the tables are joined for.
const views = `
CREATE INDEX turns_opened ON turns (opened_local);
CREATE INDEX turns_case ON turns (case_ref);
CREATE INDEX findings_turn ON findings (set_id, turn);
CREATE INDEX findings_code ON findings (code);
CREATE INDEX counts_turn ON counts (set_id, turn);
CREATE INDEX badges_badge ON badges (badge, seq);
CREATE INDEX badges_seq ON badges (seq);
CREATE INDEX records_observed ON records (observed_local);

-- weighed and per_thousand are as rates have them (weighed in projections/rates/report.go): what nobody read proves
-- nothing, and where none was seen there is no rate.
CREATE VIEW monthly_by_placement AS
SELECT month, placement, openings, sheets_read, incidents, weighed, round(1000.0 * nullif(incidents, 0) / weighed, 2) AS per_thousand
FROM (SELECT month, placement, openings, sheets_read, incidents,
		max(incidents, (openings * openings - (openings - sheets_read) * (openings - sheets_read)) / openings) AS weighed
	FROM (SELECT strftime('%Y-%m', opened_local) AS month, coalesce(placement, '') AS placement, count(*) AS openings,
			sum(sheet_read) AS sheets_read, count(DISTINCT incident) AS incidents
		FROM turns WHERE opened IS NOT NULL GROUP BY 1, 2));

CREATE VIEW weekly_by_packer AS
SELECT date(t.packed_local, 'weekday 0', '-6 days') AS week, coalesce(t.packer, '') AS packer, count(*) AS packed,
	sum(t.exceptions > 0) AS with_exceptions, sum(EXISTS (SELECT 1 FROM findings f WHERE f.set_id = t.set_id AND f.turn = t.turn
		AND f.code = 'count-differs-at-opening')) AS differed_at_opening
FROM turns t WHERE t.packed IS NOT NULL GROUP BY 1, 2;

CREATE VIEW sets_last_seen AS
SELECT set_id, turn, max(last_seen) AS last_seen, last_place, status,
	CAST(julianday((SELECT value FROM about WHERE name = 'judged')) - julianday(max(last_seen)) AS INTEGER) AS days
FROM turns GROUP BY set_id;

CREATE VIEW monthly_findings AS
SELECT strftime('%Y-%m', coalesce(t.opened_local, t.last_seen_local)) AS month, f.code, f.severity, count(*) AS found,
	count(DISTINCT f.set_id) AS sets
FROM findings f LEFT JOIN turns t USING (set_id, turn) GROUP BY 1, 2, 3;

CREATE VIEW first_known AS
SELECT f.set_id, f.turn, f.station, f.n, f.code, f.severity, f.incident, f.known, f.known_local, f.known_by, t.opened, t.opened_local,
	t.case_ref, round((julianday(t.opened) - julianday(f.known)) * 1440) AS minutes_before_opening -- less than 0: known after it
FROM findings f LEFT JOIN turns t USING (set_id, turn);

CREATE VIEW work_by_badge AS
SELECT b.badge, b.role, r.seq, r.kind, r.subject, r.turn, r.station, r.observed, r.observed_local, r.in_force
FROM badges b JOIN records r USING (seq);
`
