# make demo        watch virtual lifts on the live page; nothing to configure
# make fleet-demo  a hub of three nodes and three sites on this machine
# make test        all that must hold before a change lands
# make bench       benchmarks, and the ratios they report
# make validation  published worked problems beside our answers
# make faults      a thousand random fault schedules, about half an hour
# make lint, fmt   what the linters say; put the layout right
# make build       one static binary, build/plumbhook, with the app in it
# make web         the app alone, web/dist
# make fuzz        every parser fed with rubbish, FUZZ=10s each
# make release     what is given away, in build/release

SHELL := /bin/bash
.SHELLFLAGS := -eu -o pipefail -c

GO := $(firstword $(shell command -v go 2>/dev/null) $(wildcard /usr/local/go/bin/go) go)
# The linters start `go` themselves, so it has to be on the PATH too.
export PATH := $(if $(filter /%,$(GO)),$(dir $(GO)):)$(PATH)

PLUMBHOOK := build/plumbhook

.PHONY: demo fleet-demo test bench faults validation lint vuln fuzz release fmt build web need-go need-cc need-node

demo: build
	@$(PLUMBHOOK) demo

fleet-demo: build
	@examples/fleet/demo.sh $(PLUMBHOOK) build/fleet

# The tests come last, so that the run closes with their own lines. What
# testkit.Alone marks runs without the race detector, all else with it.
test: lint need-cc build
	cd web && npm run check && npm test && npm run browser
	$(GO) test $$(grep -rl --include='*_test.go' 'testkit\.Alone(' . | grep -v node_modules | xargs -n1 dirname | sort -u)
	$(GO) test -race -timeout 18m ./...

# A benchmark that compares reports its own ratio, measured within one run, as a
# metric whose unit is what was divided: b.ReportMetric(bfgs/newton, "BFGS/Newton").
bench: need-go
	@mkdir -p build
	$(GO) test -run '^$$' -bench . -benchmem ./... | tee build/bench.txt
	@awk '/^Benchmark/ { for (i = 4; i <= NF; i++) \
	    if ($$i ~ /^[A-Za-z-]+\/[A-Za-z-]+$$/ && $$i !~ /^(ns|B|MB|allocs)\//) { \
	      if (!n++) print "\nratios within this run:"; \
	      printf "  %-40s %10.1f %s\n", $$1, $$(i-1), $$i } } \
	  END { if (!n) { print "no benchmark reported a ratio"; exit 1 } }' build/bench.txt

faults: need-go
	@mkdir -p build
	$(GO) test -timeout 3h -v ./internal/faults -schedules 1000 -abreast 4 | tee build/faults.txt

validation: need-go
	@mkdir -p build
	$(GO) test -count=1 -v -run TestTable ./validation/... | tee build/validation.txt
	@grep -q '^=== RUN *TestTable' build/validation.txt || { echo "no validation table was run"; exit 1; }

lint: need-go
	$(GO) vet ./...
	$(GO) tool staticcheck ./...
	@bad=$$($(GO) tool gofumpt -l .); [ -z "$$bad" ] || { echo "not in gofumpt layout, run make fmt:"; echo "$$bad"; exit 1; }

	$(GO) run ./internal/bill
	@$(MAKE) --no-print-directory vuln

# What is known of mistakes in what we build on. Where the database of them cannot
# be reached, the check is left out and said to be: set GOVULNDB to a copy of it.
vuln: need-go
	@if [ -n "$${GOVULNDB:-}" ] || timeout 5 bash -c ': < /dev/tcp/vuln.go.dev/443' 2>/dev/null; then \
	  $(GO) tool govulncheck ./...; \
	else echo "NOT CHECKED for known vulnerabilities: vuln.go.dev cannot be reached, and GOVULNDB names no copy"; fi

FUZZ := 10s

# One target after the other; the first that fails ends it and leaves its input in
# the testdata folder of its package, where every later test run tries it again.
fuzz: need-go
	@grep -rn --include='*_test.go' -o '^func Fuzz[A-Za-z]*' . | while IFS=: read -r file _ name; do \
	  name=$${name#func }; echo "$$(dirname $$file) $$name"; \
	  $(GO) test -run '^$$' -fuzz "^$$name$$" -fuzztime $(FUZZ) "$$(dirname $$file)" || exit 1; \
	done

release: need-go web
	packaging/release

fmt: need-go
	$(GO) tool gofumpt -l -w .

build: need-go web
	CGO_ENABLED=0 $(GO) build -trimpath -o $(PLUMBHOOK) ./cmd/plumbhook

web: web/dist/index.html

# npm ci puts down exactly what the lock file names.
web/node_modules/.package-lock.json: web/package-lock.json | need-node
	cd web && npm ci --no-audit --no-fund
	@touch $@

web/dist/index.html: web/node_modules/.package-lock.json $(wildcard web/*.json web/*.ts web/*.js web/index.html) $(shell find web/src web/public -type f)
	cd web && npm run build

need-go:
	@v=$$($(GO) env GOVERSION 2>/dev/null) || v="none that fits"; \
	case "$$v" in go1.2[6-9]*|go1.[3-9][0-9]*|devel*) ;; \
	*) echo "missing: Go 1.26 or newer on the PATH (found: $$v)"; exit 1;; esac

need-cc: need-go
	@command -v "$$($(GO) env CC)" >/dev/null || { echo "missing: a C compiler for the race detector (Debian: apt-get install gcc libc6-dev)"; exit 1; }

need-node:
	@node -e 'const [a, b] = process.versions.node.split("."); process.exit(a > 20 || a == 20 && b >= 19 ? 0 : 1)' 2>/dev/null && command -v npm >/dev/null || \
	{ echo "missing: Node.js 20.19 or newer with npm on the PATH, to build the app"; exit 1; }
