# Two commands do everything: make demo, make test.
GO ?= go
STATICCHECK = honnef.co/go/tools/cmd/staticcheck@v0.8.2

.PHONY: build demo test race lint fuzz bench bench-flicker test-cluster test-kill clean

build: bin/stillspan

bin/stillspan: $(shell find cmd ingest deflicker assemble report -name '*.go' -o -name '*.html' -o -name '*.css') go.mod go.sum
	$(GO) build -trimpath -o $@ ./cmd/stillspan

demo: bin/stillspan
	./scripts/deps.sh run
	rm -rf demo
	./bin/stillspan demo demo

test:
	./scripts/deps.sh test
	$(GO) test ./...

race:
	./scripts/deps.sh test
	$(GO) test -race -short ./...

lint:
	@bad=$$(gofmt -l cmd ingest deflicker assemble report); if [ -n "$$bad" ]; then echo "gofmt: $$bad"; exit 1; fi
	$(GO) vet ./...
	$(GO) run $(STATICCHECK) ./...

# Seconds a target; CI runs a short one.
FUZZTIME ?= 600s
fuzz:
	@set -e; for pkg in $$($(GO) list ./...); do \
		for f in $$($(GO) test -list '^Fuzz' $$pkg | grep '^Fuzz' || true); do \
			echo "== $$pkg $$f"; $(GO) test -run '^$$' -fuzz "^$$f$$" -fuzztime $(FUZZTIME) -parallel 1 $$pkg; \
		done; done

bench:
	./scripts/deps.sh run
	$(GO) run ./assemble/bench

bench-flicker:
	./scripts/deps.sh run
	$(GO) run ./deflicker/bench

# A day on a real Slurm on loopback, against the local run; needs root.
test-cluster:
	./scripts/deps.sh run
	STILLSPAN_CLUSTER=1 ./scripts/cluster.sh $(GO) test -count=1 -timeout 30m -v -run '^TestDayOnCluster$$' ./cmd/stillspan

# A day killed fifty times at random moments and taken up again.
test-kill:
	./scripts/deps.sh run
	STILLSPAN_KILLS=50 $(GO) test -count=1 -timeout 60m -v -run '^TestDaySurvivesKills$$' ./cmd/stillspan

clean:
	rm -rf bin demo bench-out
