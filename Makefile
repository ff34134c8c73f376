# make test is what CI runs. It installs what the tests need where it can.

GO ?= go
STATICCHECK = honnef.co/go/tools/cmd/staticcheck@v0.8.2
GOVULNCHECK = golang.org/x/vuln/cmd/govulncheck@v1.9.0
PACKAGES = ./...

# The product has no cgo, so everything is built once and without it. Only the
# race detector needs it.
export CGO_ENABLED = 0

.PHONY: all build page install test deps vet windows build-windows staticcheck plain alone race short \
  fuzz bench benchmarks mutants sessions soak papers year downtime demo generate vuln lint-api clean

all: build

build:
	$(GO) build -trimpath -o dist/ ./cmd/listbound ./cmd/listbound-verify

# The checker as one HTML page, for people who don't run programs.
page:
	mkdir -p dist
	$(GO) run ./cmd/listbound-verify/page -o dist/listbound-verify.html

install:
	$(GO) install -trimpath ./cmd/listbound ./cmd/listbound-verify

# The race detector's part takes as long as the others together, so the two go side by side. What waits for pages and
# disks goes while the detector's part is at work, and what keeps all cores busy by itself comes last, so that no core
# waits for a last test. Each part's output comes whole.
test: deps
	$(MAKE) --output-sync=target --jobs=2 race vet alone staticcheck plain windows

# Debian packages the tests use: a C compiler for the race detector, openssl and
# unzip for the check of a bundle with tools that aren't ours.
deps:
	@.ci/deps

# A linter's word on the description of the programs' interface. It wants Node.js 20 and npm, so make test does without.
lint-api:
	npx --yes @redocly/cli@2.77.0 lint cmd/internal/board/openapi.json

vet:
	@unformatted=$$(gofmt -l cmd events ledger projections); \
	test -z "$$unformatted" || { echo "gofmt: these files are not formatted:" "$$unformatted"; exit 1; }
	$(GO) vet $(PACKAGES)

# The programs for Windows, which nothing here can run: all that is compiled for it is held against the compiler's rules, in
# a twentieth of the time that building takes. What is done otherwise there is tested everywhere (ledger/disk).
windows:
	$(GO) run ./cmd/internal/typecheck windows/amd64 ./cmd/listbound ./cmd/listbound-verify ./ledger/...

# And built, before a release.
build-windows:
	GOOS=windows $(GO) build -trimpath -o dist/ ./cmd/listbound ./cmd/listbound-verify

staticcheck:
	GOMEMLIMIT=3GiB $(GO) run $(STATICCHECK) $(PACKAGES)

# Compilers, linkers and staticcheck end before their garbage matters: to collect it took a third of the time of compiling.
# The limit holds where they have much.
vet windows staticcheck plain alone race: export GOGC := off
vet windows plain alone race: export GOMEMLIMIT := 1GiB

# What the tests write is kept in memory where there is room (see .ci/memory), what is built is not. A test's TempDir lies
# where GOTMPDIR says, so the tests don't see it. They have little in use, which would be collected over and over; the limit
# holds where they have much.
UNSEEN = -exec 'env -u GOTMPDIR GOGC=300 GOMEMLIMIT=2GiB'
race plain alone: export GOTMPDIR := $(or $(TMPDIR),/tmp)
race plain alone: export TMPDIR := $(shell .ci/memory)

# Nobody looks at these programs with a debugger: a third of the compiler's time goes into what one would need, and of the
# linker's, which makes some ninety programs here. Traces of calls don't need it. All parts say it, staticcheck too, which
# compiles what it looks at, or all would be compiled twice.
vet windows staticcheck plain alone: export GOFLAGS := $(GOFLAGS) -trimpath -gcflags=all=-dwarf=false -ldflags=-s

# Where a clone lies is nothing to the compiler, so another clone or worktree of the same state compiles nothing anew. Then Go
# would take results from there, too; -count=1 runs all tests here.
# What its tests build themselves (the mutation tester's) is compiled as the other parts compile it.
race: export GOFLAGS := $(GOFLAGS) -trimpath -gcflags=all=-dwarf=false -ldflags=-s

# Each package once, with or without the race detector: .ci/packages says which.
# Vet has looked at them already. Fuzz seeds run as ordinary tests.
plain:
	$(GO) test -count=1 $(UNSEEN) -vet=off $$(GO="$(GO)" .ci/packages plain)

# The long tests, one step after the other, of the packages that race has. Three packages at once, as below: a browser is waited for.
alone:
	$(GO) test -count=1 $(UNSEEN) -p 3 -parallel 2 -vet=off -run "$$(GO="$(GO)" .ci/packages alone-tests)" $$(GO="$(GO)" .ci/packages alone)

# All of the build is instrumented but two things. SQLite is C turned into Go: all that it works on lies in memory that it
# has mapped itself, which the detector doesn't look at, instrumented or not, and asking it each time took a quarter of the
# readmodel's tests. Go's mutexes tell the detector about themselves there, too. The arithmetic below Ed25519 starts
# nothing and shares nothing but its own tables: keys, messages and signatures pass through crypto/ed25519, which is
# instrumented. Asking about each limb of each sum took two thirds of some of the ledger's tests. Leaving out more, such as
# all of cryptography, gives false alarms: what others share of its generic code, such as sync.Map's, is then linked without
# the detector's marks; neither SQLite nor that arithmetic has any. Of what else is in SQLite's module only the check of
# unsafe pointers is left out, which is no part of the detector.
RACE = -race -gcflags='all=-dwarf=false' -gcflags='modernc.org/...=-dwarf=false -d=checkptr=0' \
  -gcflags='modernc.org/sqlite/lib=-dwarf=false -race=false' \
  -gcflags='crypto/internal/fips140/edwards25519/...=-dwarf=false -race=false' \
  -gcflags='filippo.io/edwards25519/...=-dwarf=false -race=false'
#
# A program under the detector waits a second at its end for reports of what still runs; a tenth of it is plenty here, and the
# tests start some hundred programs.
#
# Three packages at once, since tests of a browser wait for pages half of the time; within a package one after the other, or all
# cores are taken and the browsers' waiting costs more than it saves.
race:
	CGO_ENABLED=1 GORACE='atexit_sleep_ms=100' $(GO) test -count=1 $(UNSEEN) -p 3 -parallel 1 $(RACE) -vet=off $$(GO="$(GO)" .ci/packages race)

# All tests in their short form, for the work between two commits.
short:
	$(GO) test -short $(PACKAGES)

FUZZTIME ?= 30s
fuzz:
	@set -e; for p in $$($(GO) list $(PACKAGES)); do \
	  for f in $$($(GO) test -list '^Fuzz' $$p | grep '^Fuzz' || true); do \
	    echo "$$p $$f"; $(GO) test -run '^$$' -fuzz "^$$f$$" -fuzztime $(FUZZTIME) $$p; done; done

# The table of what a user meets, each figure beside its rival's in the same run; BENCH='-rounds 5 -records 1000000 -dir DIR'
# and so on, see go run ./cmd/internal/bench -h. PostgreSQL is installed for it where it can be and lacks: it takes longer than
# make test, which doesn't need it, should wait for.
bench:
	@.ci/deps bench
	$(GO) run ./cmd/internal/bench $(BENCH)

# All of Go's own benchmarks: parts of the program, most beside a rival too.
benchmarks:
	$(GO) test -run '^$$' -bench . -benchtime 2s -timeout 60m ./events ./ledger/... ./projections/... \
	  ./cmd/internal/site ./cmd/internal/board ./cmd/internal/paper/marks

# How much do the tests notice? A sample of small changes to the code, each tried against the package's own tests; those
# of facts against judge's, through which it is tested.
MUTANTS ?= 70
SEED ?= 1
mutants:
	$(GO) run ./cmd/internal/mutants -n $(MUTANTS) -seed $(SEED) ./events ./ledger/proof ./projections/...
	$(GO) run ./cmd/internal/mutants -n $(MUTANTS) -seed $(SEED) -tests ./projections/judge ./projections/facts

# Random work at every station, against a model of what was shown and meant: SESSIONS of it without a browser, TABS in a
# real one. Nearly all of the time without a browser is spent waiting for the disk, unless TMPDIR is in memory.
SESSIONS ?= 10000
TABS ?= 300
sessions:
	LISTBOUND_SEED=$(SEED) LISTBOUND_SESSIONS=$(SESSIONS) \
	  $(GO) test -vet=off -count=1 -timeout 0 -run '^TestRandomSessions$$' ./cmd/internal/workplace/sessions
	LISTBOUND_SEED=$(SEED) LISTBOUND_TABS=$(TABS) \
	  $(GO) test -vet=off -count=1 -timeout 0 -run '^TestRandomTabs$$' ./cmd/internal/workplace/sessions

# What goes wrong in years of use, and what somebody may do on purpose, for as long as SOAK says; tables of what was
# tried, noticed and lost. What must be tried so many times comes first and shortens the time of the rest.
# Then CLUSTER of it for a ledger in a NATS cluster: three servers, two writers, of which those that lead and write are
# killed or stopped in turn.
SOAK ?= 60m
CLUSTER ?= 10m
soak:
	SOAK=$(SOAK) $(GO) test -vet=off -count=1 -timeout 0 -v ./cmd/internal/soak
	LISTBOUND_CLUSTER=$(CLUSTER) $(GO) test -vet=off -count=1 -timeout 0 -v -run '^TestCluster$$' ./ledger

# Filled-in sheets read back from pictures of them: PAPERS pages, each in fourteen ways, drawn from seed PAPERS_SEED on (below 100 lie
# those that limits were set on). Prints what was read wrong and asked, by way and kind of mark, and at which grades of
# print quality the symbol is read.
PAPERS ?= 12
PAPERS_SEED ?= 1000
papers: deps
	LISTBOUND_PAPERS=$(PAPERS) LISTBOUND_PAPERS_SEED=$(PAPERS_SEED) \
	  $(GO) test -vet=off -count=1 -timeout 0 -v ./cmd/internal/paper/marks \
	  -run '^Test(Papers|Copies|NoTickByShape|AnotherPackingsPrint|StruckColumns|TrialSheet|SymbolGrades)$$'

# A simulated year of a hospital of 20 rooms: recorded, judged, counted, its decision pack printed; tells time, CPU, memory
# and size of each. 52 weeks are 0.9 million records and take some 3 GB in TMPDIR.
WEEKS ?= 52
year: deps
	LISTBOUND_YEAR=$(WEEKS) $(GO) test -vet=off -count=1 -timeout 0 -v ./cmd/internal/commands -run '^TestYear$$'

# A downtime of four hours: 12 cases, 40 count sheets filled in by a drawn pen, read back through a real server.
downtime: deps
	LISTBOUND_DRILL=all $(GO) test -vet=off -count=1 -timeout 0 -v -run '^TestDowntimeDrill$$' ./cmd/internal/workplace/paperback

demo:
	$(GO) run ./cmd/listbound demo

generate:
	$(GO) generate ./...

# Asks the vulnerability database, which needs a network that reaches it.
vuln:
	GOTOOLCHAIN=go1.27.3 $(GO) run $(GOVULNCHECK) $(PACKAGES)

clean:
	rm -rf dist .cache
