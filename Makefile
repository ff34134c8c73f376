# make test is what CI runs. It installs what the tests need where it can.

GO ?= go
STATICCHECK = honnef.co/go/tools/cmd/staticcheck@v0.8.2
GOVULNCHECK = golang.org/x/vuln/cmd/govulncheck@v1.9.0
PACKAGES = ./...

# The product has no cgo, so everything is built once and without it. Only the
# race detector needs it.
export CGO_ENABLED = 0

.PHONY: all build install test deps vet staticcheck plain alone race short fuzz bench mutants demo generate vuln clean

all: build

build:
	$(GO) build -trimpath -o dist/ ./cmd/listbound ./cmd/listbound-verify

install:
	$(GO) install -trimpath ./cmd/listbound ./cmd/listbound-verify

test: deps vet staticcheck plain alone race

# Debian packages the tests use: a C compiler for the race detector, openssl and
# unzip for the check of a bundle with tools that aren't ours.
deps:
	@.ci/deps

vet:
	@test -z "$$(gofmt -l cmd events ledger projections)" || { gofmt -l cmd events ledger projections; echo "gofmt: the files above are not formatted"; exit 1; }
	$(GO) vet $(PACKAGES)

staticcheck:
	$(GO) run $(STATICCHECK) $(PACKAGES)

# Each package once, with or without the race detector: .ci/packages says which.
# Vet has looked at them already. Fuzz seeds run as ordinary tests.
plain:
	$(GO) test -vet=off $$(GO="$(GO)" .ci/packages plain)

# The long tests, one step after the other, of the packages that race has.
alone:
	$(GO) test -vet=off -run "$$(GO="$(GO)" .ci/packages alone-tests)" $$(GO="$(GO)" .ci/packages alone)

# The whole build is instrumented. Leaving the database and cryptography out
# halves the time, but gives false alarms: what they share of generic code, such
# as sync.Map's, is then linked without the detector's marks.
race:
	CGO_ENABLED=1 $(GO) test -race -vet=off $$(GO="$(GO)" .ci/packages race)

# All tests in their short form, for the work between two commits.
short:
	$(GO) test -short $(PACKAGES)

FUZZTIME ?= 30s
fuzz:
	@set -e; for p in $$($(GO) list $(PACKAGES)); do \
	  for f in $$($(GO) test -list '^Fuzz' $$p | grep '^Fuzz' || true); do \
	    echo "$$p $$f"; $(GO) test -run '^$$' -fuzz "^$$f$$" -fuzztime $(FUZZTIME) $$p; done; done

bench:
	$(GO) test -run '^$$' -bench . -benchtime 2s -timeout 60m ./events ./ledger/... ./projections/... ./cmd/internal/site ./cmd/internal/board

# How much do the tests notice? A sample of small changes to the code, each tried against the package's own tests; those
# of facts against judge's, through which it is tested.
MUTANTS ?= 70
SEED ?= 1
mutants:
	$(GO) run ./cmd/internal/mutants -n $(MUTANTS) -seed $(SEED) ./events ./ledger/proof ./projections/...
	$(GO) run ./cmd/internal/mutants -n $(MUTANTS) -seed $(SEED) -tests ./projections/judge ./projections/facts

demo:
	$(GO) run ./cmd/listbound demo

generate:
	$(GO) generate ./...

# Asks the vulnerability database, which needs a network that reaches it.
vuln:
	GOTOOLCHAIN=go1.27.3 $(GO) run $(GOVULNCHECK) $(PACKAGES)

clean:
	rm -rf dist .cache
