package door

import (
	"slices"
	"strings"

	"listbound/events"
)

// Role is what somebody may do, in a plain word. The register of people has the same
// ones: there they say what a badge may record, here what an account may do.
type Role = events.Role

// The roles. A person signs in for all of them but the first, which a station's
// browser has by its code and a program by its token: who works at a station is told
// by badge.
const (
	Records      = events.RoleRecords      // at a station: scans, counts, closes, and mends the station's own
	Leads        = events.RoleLeads        // acknowledges, corrects, adopts policy, edits lists and registers
	Investigates = events.RoleInvestigates // reads all, makes evidence
	Audits       = events.RoleAudits       // reads, follows the log, sees who read what
	Administers  = events.RoleAdministers  // people, tokens, stations, the server itself
)

// Roles lists the roles, in the order of the table of actions.
func Roles() []Role { return events.Roles() }

// personal are the roles that a person signs in for.
func personal() []Role { return Roles()[1:] }

// Rule says who may do one thing that a route does.
type Rule struct {
	// Pattern is the route's, as it is registered.
	Pattern string
	// Roles are those that may; one of them is enough.
	Roles []Role
	// Open is for everybody, signed in or not.
	Open bool
	// Own keeps a station to the addresses of itself: {site} and {station} are its name.
	Own bool
	// Person is for somebody who has signed in, and for no program: a token must not make others.
	Person bool
	// Again is for what can't be taken back or lets others in: whoever has signed in shows once more who they are, where
	// that is some minutes ago.
	Again bool
	// Screen is for wall screens, too, as a page and not as a file.
	Screen bool
	// Takes are the parameters that a page reads from its address, besides the language. Whatever else stands there is refused:
	// a filter that were passed over would show more, or less, than was asked. What programs ask is in the description of the
	// interface.
	Takes []string
	// Table is a page with tables: they are taken away, sorted and looked through by parameters of their own.
	Table bool
	// Free takes whatever comes: a station's pages, which must open whatever a scanner or a bookmark adds, and what another
	// server sends a browser back with.
	Free bool
	// Beside needs what a follower doesn't have: keys, texts and files beside the ledger, or it leads to recording. Followers
	// serve all other routes that read.
	Beside bool
	// Follower is a route that doesn't read and that followers serve all the same: it is about who may read there, or records
	// nothing.
	Follower bool
	// Kept is reading that is written down: who, when, what was asked.
	Kept bool
}

var (
	readers  = []Role{Leads, Investigates, Audits}
	deep     = []Role{Investigates, Audits}
	keepers  = []Role{Leads, Investigates, Audits, Administers}
	everyone = Roles()
)

// Rules has a row for every route. A route without one is not served: see Guard.
func Rules() []Rule {
	return slices.Concat(openRules(), stationRules(), listRules(), boardRules(), programRules(), peopleRules())
}

// openRules: what a browser needs before anybody has signed in, and what a machine asks whether the server lives.
func openRules() []Rule {
	return []Rule{
		{Pattern: "GET /assets/", Open: true},
		{Pattern: "GET /board/assets/", Open: true},
		{Pattern: "GET /workplace/", Open: true},
		{Pattern: "GET /at/sw.js", Beside: true, Open: true},
		{Pattern: "GET /healthz", Open: true},
		{Pattern: "GET /readyz", Open: true},
		{Pattern: "GET /api/openapi.json", Open: true},
		{Pattern: "GET /sign-in", Open: true, Takes: words("next")},
		{Pattern: "POST /sign-in", Follower: true, Open: true},
		{Pattern: "GET /sign-in/openid", Open: true, Takes: words("next again")},
		{Pattern: "GET /sign-in/openid/back", Open: true, Free: true},
		{Pattern: "POST /sign-out", Follower: true, Open: true},
		{Pattern: "GET /code", Open: true, Takes: words("for")},
		{Pattern: "POST /code", Follower: true, Open: true},
		{Pattern: "POST /station-code", Open: true},
		{Pattern: "POST /screen-code", Follower: true, Open: true},
		{Pattern: "GET /trust", Open: true},
		{Pattern: "GET /trust/ca.pem", Open: true},
		{Pattern: "POST /password", Follower: true, Roles: personal(), Person: true},
		{Pattern: "POST /sessions/end", Follower: true, Roles: personal(), Person: true},
	}
}

// stationRules: at a station: its own browser alone, since that keeps the pages for when the server is away, whoever sits before it then.
func stationRules() []Rule {
	at := "/at/{site}/{station}/"
	return []Rule{
		{Pattern: "GET /at/{$}", Beside: true, Roles: []Role{Records, Leads, Administers}, Free: true},
		{Pattern: "GET " + at + "{$}", Beside: true, Roles: []Role{Records}, Own: true, Free: true},
		{Pattern: "GET " + at + "known", Beside: true, Roles: []Role{Records}, Own: true, Free: true},
		{Pattern: "GET " + at + "{place}", Beside: true, Roles: []Role{Records}, Own: true, Free: true},
		{Pattern: "GET " + at + "{place}/state", Beside: true, Roles: []Role{Records}, Own: true, Free: true},
		{Pattern: "GET " + at + "{place}/changes", Beside: true, Roles: []Role{Records}, Own: true, Free: true},
		{Pattern: "POST " + at + "{place}/{verb}", Roles: []Role{Records}, Own: true},
		{Pattern: "POST " + at + "readback/pictures", Roles: []Role{Records}, Own: true},
		{Pattern: "GET " + at + "readback/cut-out", Beside: true, Roles: []Role{Records}, Own: true, Free: true},
		{Pattern: "GET " + at + "correct", Beside: true, Roles: []Role{Records}, Own: true, Free: true},
		{Pattern: "POST " + at + "correct", Roles: []Role{Records}, Own: true},
		{Pattern: "GET " + at + "pin", Beside: true, Roles: []Role{Records}, Own: true, Free: true},
		{Pattern: "POST " + at + "pin", Roles: []Role{Records}, Own: true},
		{Pattern: "GET /print/sheet.pdf", Beside: true, Roles: []Role{Records, Leads}, Takes: words("set trip size")},
		{Pattern: "GET /print/set-label.pdf", Beside: true, Roles: []Role{Records, Leads}, Takes: words("set trip size")},
		{Pattern: "GET /print/load-label.pdf", Beside: true, Roles: []Role{Records, Leads}, Takes: words("load at size")},
		{Pattern: "GET /print/loan.pdf", Beside: true, Roles: []Role{Records, Leads}, Takes: words("set")},
		{Pattern: "GET /print/list.pdf", Beside: true, Roles: []Role{Records, Leads, Investigates, Audits},
			Takes: words("list version")},
		{Pattern: "GET /print/labels.pdf", Beside: true, Roles: []Role{Records, Leads}, Takes: words("kind id count size")},
		{Pattern: "GET /print/day.zip", Beside: true, Roles: []Role{Records, Leads}, Takes: words("day set size label blank")},
		{Pattern: "GET /labels/{$}", Beside: true, Roles: []Role{Records, Leads}},
		// Another ledger, with invented sets.
		{Pattern: practice, Roles: everyone},
	}
}

// listRules: lists and registers.
func listRules() []Rule {
	return []Rule{
		{Pattern: "GET /lists", Roles: []Role{Records, Leads, Investigates, Audits}, Takes: words("done")},
		{Pattern: "GET /lists/{list}", Roles: []Role{Records, Leads, Investigates, Audits},
			Takes: words("done")},
		{Pattern: "GET /lists/{list}/table.csv", Roles: readers, Kept: true},
		{Pattern: "GET /lists/empty.xlsx", Beside: true, Roles: []Role{Leads}},
		{Pattern: "POST /lists", Roles: []Role{Leads}},
		{Pattern: "GET /photographs/{digest}", Beside: true, Roles: []Role{Records, Leads, Investigates, Audits}},
		{Pattern: "GET /registers", Roles: []Role{Leads, Investigates, Audits, Administers},
			Takes: words("done")},
		{Pattern: "GET /registers/{register}", Roles: []Role{Leads, Investigates, Audits, Administers},
			Takes: words("done")},
		{Pattern: "GET /registers/{register}/table.csv", Roles: []Role{Leads, Investigates, Audits, Administers}, Kept: true},
		{Pattern: "GET /registers/{register}/table.xlsx", Roles: []Role{Leads, Investigates, Audits, Administers}, Kept: true},
		{Pattern: "POST /registers/{register}", Roles: []Role{Leads, Administers}},
		{Pattern: "POST /registers/{register}/hold", Roles: []Role{Leads, Administers}, Again: true},
		{Pattern: "POST /api/registers/{register}", Roles: []Role{Leads, Administers}},
	}
}

// boardRules: the board and what it leads to.
func boardRules() []Rule {
	return []Rule{
		{Pattern: "GET /{$}", Roles: readers, Screen: true, Table: true,
			Takes: words("code list placement station site age unseen wanted closed after part")},
		{Pattern: "GET /wall", Roles: readers, Screen: true, Takes: words("light part")},
		{Pattern: "POST /day", Roles: []Role{Leads, Administers}},
		{Pattern: "GET /day", Roles: []Role{Records, Leads, Investigates, Audits}, Table: true,
			Takes: words("day part")},
		{Pattern: "GET /near-misses", Roles: readers, Table: true},
		{Pattern: "GET /weeks", Roles: readers, Table: true, Takes: words("weeks")},
		{Pattern: "GET /corrections", Roles: readers, Kept: true, Table: true, Takes: words("week")},
		{Pattern: "GET /not-seen", Roles: readers, Table: true, Takes: words("days")},
		{Pattern: "GET /way", Roles: readers, Kept: true, Table: true, Takes: words("set day")},
		{Pattern: "GET /rates", Roles: readers, Table: true, Takes: words("from to by group")},
		{Pattern: "GET /assess", Roles: readers, Table: true, Takes: words("record")},
		{Pattern: "POST /assess", Roles: []Role{Leads}},
		{Pattern: "GET /run", Roles: readers, Kept: true, Table: true, Takes: words("load")},
		{Pattern: "POST /run", Roles: []Role{Records, Leads}},
		{Pattern: "GET /find", Roles: readers, Table: true, Takes: words("q")},
		{Pattern: "GET /changes", Roles: readers, Screen: true},
		{Pattern: "GET /history", Roles: readers, Kept: true, Table: true,
			Takes: words("set trip case load then page turn beside")},
		{Pattern: "GET /station", Roles: readers, Kept: true, Table: true, Takes: words("name below")},
		{Pattern: "GET /badge", Roles: deep, Kept: true, Table: true, Takes: words("id as below")},
		{Pattern: "GET /badge/held", Roles: deep, Kept: true, Table: true, Takes: words("id")},
		{Pattern: "GET /touched", Roles: readers, Kept: true, Table: true,
			Takes: words("trip set case load sterilizer list version bag seal last station badge packer from to")},
		{Pattern: "GET /check-line", Roles: []Role{Leads, Investigates, Audits, Administers}, Table: true},
		{Pattern: "GET /recall", Roles: []Role{Leads, Investigates}, Kept: true,
			Takes: words("as-of format trip set case load sterilizer list version bag seal last station badge packer from to")},
		{Pattern: "GET /report", Roles: []Role{Leads, Investigates}, Kept: true,
			Takes: words("set trip case load as-of")},
		{Pattern: "GET /policy", Roles: keepers, Table: true},
		{Pattern: "POST /policy", Roles: []Role{Leads}, Again: true},
		{Pattern: "GET /texts", Beside: true, Roles: keepers, Kept: true, Table: true},
		{Pattern: "POST /texts/find", Roles: []Role{Leads, Administers}},
		{Pattern: "POST /texts/redact", Roles: []Role{Leads, Administers}, Again: true},
		{Pattern: "POST /texts/hold", Roles: []Role{Leads, Administers}},
		{Pattern: "POST /texts/lift", Roles: []Role{Leads, Administers}, Again: true},
		{Pattern: "POST /texts/keep", Roles: []Role{Leads, Administers}, Again: true},
		{Pattern: "GET /correct", Beside: true, Roles: readers, Kept: true, Table: true, Takes: words("event")},
		{Pattern: "POST /correct", Roles: []Role{Leads}},
		{Pattern: "GET /incident", Roles: readers, Table: true, Takes: words("key")},
		{Pattern: "POST /incident", Roles: []Role{Leads}},
		{Pattern: "GET /acknowledge", Beside: true, Roles: []Role{Leads}, Table: true, Takes: words("set trip code")},
		{Pattern: "POST /acknowledge", Roles: []Role{Leads}},
	}
}

// programRules: programs. What an observation may be is a rule of its own: see permit.
func programRules() []Rule {
	return []Rule{
		{Pattern: "POST /api/paper", Roles: []Role{Records, Leads}},
		{Pattern: "POST /api/observations", Roles: []Role{Records, Leads, Administers}},
		{Pattern: "GET /api/broken", Roles: readers},
		{Pattern: "GET /api/incidents", Roles: readers},
		{Pattern: "GET /api/near-misses", Roles: readers},
		{Pattern: "GET /api/rates", Roles: readers},
		{Pattern: "POST /api/assess", Follower: true, Roles: readers},
		{Pattern: "POST /api/runs/logs", Roles: []Role{Records}},
		{Pattern: "GET /api/runs", Roles: []Role{Records, Leads, Investigates, Audits}},
		{Pattern: "POST /api/schedule", Roles: []Role{Leads, Administers}},
		{Pattern: "GET /api/schedule", Roles: []Role{Records, Leads, Investigates, Audits}},
		{Pattern: "GET /api/board", Roles: readers},
		{Pattern: "GET /api/history", Roles: readers, Kept: true},
		{Pattern: "GET /api/events", Roles: deep, Kept: true},
		{Pattern: "GET /api/evidence", Beside: true, Roles: []Role{Investigates}, Kept: true},
		{Pattern: "GET /api/reporting-copy", Roles: deep, Kept: true},
		{Pattern: "GET /api/verify", Roles: []Role{Investigates, Audits, Administers}},
		{Pattern: "GET /api/consistency", Roles: []Role{Investigates, Audits, Administers}},
		{Pattern: "GET /api/root", Roles: []Role{Investigates, Audits, Administers}},
		{Pattern: "POST /api/rebuild", Roles: []Role{Administers}},
		{Pattern: "GET /api/lists", Roles: []Role{Records, Leads, Investigates, Audits}},
		{Pattern: "GET /api/policy", Roles: everyone},
		{Pattern: "GET /api/texts", Beside: true, Roles: keepers, Kept: true},
		{Pattern: "POST /api/texts/redact", Roles: []Role{Leads, Administers}, Again: true},
		{Pattern: "GET /api/stations", Roles: []Role{Leads, Investigates, Audits, Administers}},
		{Pattern: "POST /api/stations/enrol", Roles: []Role{Administers}, Again: true},
		{Pattern: "POST /api/stations/retire", Roles: []Role{Leads, Administers}, Again: true},
		{Pattern: "GET /log/checkpoint", Roles: []Role{Investigates, Audits, Administers}},
		{Pattern: "GET /log/tile/{name...}", Roles: deep, Kept: true}, // the entry bundles hold the records
		{Pattern: "GET /metrics", Roles: []Role{Audits, Administers}},
	}
}

// peopleRules: people and tokens.
func peopleRules() []Rule {
	return []Rule{
		{Pattern: "GET /people", Roles: []Role{Leads, Administers}, Person: true},
		{Pattern: "POST /people/station-code", Roles: []Role{Leads, Administers}, Person: true, Again: true},
		{Pattern: "POST /people/station-end", Roles: []Role{Leads, Administers}, Person: true},
		{Pattern: "POST /people/station-retire", Roles: []Role{Leads, Administers}, Person: true, Again: true},
		{Pattern: "POST /people/screen", Follower: true, Roles: []Role{Leads, Administers}, Person: true, Again: true},
		{Pattern: "POST /people/screen-end", Follower: true, Roles: []Role{Leads, Administers}, Person: true},
		{Pattern: "POST /people/pin-end", Roles: []Role{Leads, Administers}, Person: true, Again: true},
		{Pattern: "POST /people/add", Follower: true, Roles: []Role{Administers}, Person: true, Again: true},
		{Pattern: "POST /people/roles", Follower: true, Roles: []Role{Administers}, Person: true, Again: true},
		{Pattern: "POST /people/code", Follower: true, Roles: []Role{Administers}, Person: true, Again: true},
		{Pattern: "POST /people/end", Follower: true, Roles: []Role{Administers}, Person: true, Again: true},
		{Pattern: "POST /people/token", Follower: true, Roles: []Role{Administers}, Person: true, Again: true},
		{Pattern: "POST /people/feed", Roles: []Role{Administers}, Person: true, Again: true},
		{Pattern: "POST /people/feed-end", Roles: []Role{Administers}, Person: true},
		{Pattern: "POST /people/token-end", Follower: true, Roles: []Role{Administers}, Person: true},
		{Pattern: "GET /readers", Roles: []Role{Audits}, Kept: true},
	}
}

// OfFollower reports whether followers serve a route.
func (rule Rule) OfFollower() bool {
	return rule.Follower || strings.HasPrefix(rule.Pattern, "GET ") && !rule.Beside
}

// words are names with blanks between them.
func words(s string) []string { return strings.Fields(s) }

// practice stands for all addresses below it, in both methods: nothing there reaches the real ledger.
const practice = "/practice/"

// RuleFor finds the rule of a route.
func RuleFor(pattern string) (Rule, bool) {
	rules := Rules()
	if _, path, ok := strings.Cut(pattern, " "); ok && strings.HasPrefix(path, practice) {
		pattern = practice
	}
	i := slices.IndexFunc(rules, func(r Rule) bool { return r.Pattern == pattern })
	if i < 0 {
		return Rule{}, false
	}
	return rules[i], true
}
