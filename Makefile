# make test is what CI runs. It installs what the tests need where it can.

GO ?= go
STATICCHECK = honnef.co/go/tools/cmd/staticcheck@v0.8.2
GOVULNCHECK = golang.org/x/vuln/cmd/govulncheck@v1.9.0
PACKAGES = ./...
# A race build instruments SQLite too; on two cores that is slow, so packages get time.
TIMEOUT = 15m

.PHONY: all build install test deps vet staticcheck race seeds bench fuzz mutants demo generate clean

all: build

build:
	CGO_ENABLED=0 $(GO) build -trimpath -o dist/ ./cmd/listbound ./cmd/listbound-verify

install:
	CGO_ENABLED=0 $(GO) install -trimpath ./cmd/listbound ./cmd/listbound-verify

test: deps vet staticcheck race

# Debian packages the tests use: a C compiler for the race detector, openssl and
# unzip for the check of a bundle with tools that aren't ours.
deps:
	@.ci/deps

vet:
	@test -z "$$(gofmt -l cmd events ledger projections)" || { gofmt -l cmd events ledger projections; echo "gofmt: the files above are not formatted"; exit 1; }
	$(GO) vet $(PACKAGES)

staticcheck:
	$(GO) run $(STATICCHECK) $(PACKAGES)

# Fuzz seeds run as ordinary tests in here.
race:
	CGO_ENABLED=1 $(GO) test -race -timeout $(TIMEOUT) $(PACKAGES)

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
