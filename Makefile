# Two commands do everything: make demo, make test.
GO ?= go
STATICCHECK = honnef.co/go/tools/cmd/staticcheck@v0.8.2

.PHONY: build demo test race lint fuzz bench bench-flicker bench-verdict bench-pictures test-cluster test-kill test-harm test-windows release clean

build: bin/stillspan

bin/stillspan: $(shell find cmd ingest deflicker assemble report internal -name '*.go' -o -name '*.html' -o -name '*.css' -o -name '*.js') go.mod go.sum
	$(GO) build -trimpath -o $@ ./cmd/stillspan

demo: bin/stillspan
	./scripts/deps.sh run
	rm -rf demo
	./bin/stillspan demo demo

test:
	./scripts/deps.sh test
	$(GO) test -timeout 20m ./...

race:
	./scripts/deps.sh test
	$(GO) test -race -short -timeout 20m ./...

lint:
	@bad=$$(gofmt -l cmd ingest deflicker assemble report internal); if [ -n "$$bad" ]; then echo "gofmt: $$bad"; exit 1; fi
	$(GO) vet ./...
	$(GO) run $(STATICCHECK) ./...

# How long each target runs: a time, or a count of inputs such as 20000x.
FUZZTIME ?= 600s
fuzz:
	@bad=; for pkg in $$($(GO) list ./...); do \
		for f in $$($(GO) test -list '^Fuzz' $$pkg | grep '^Fuzz'); do \
			echo "== $$pkg $$f"; \
			$(GO) test -run '^$$' -fuzz "^$$f$$" -fuzztime $(FUZZTIME) -fuzzminimizetime 10x -parallel 1 $$pkg || bad="$$bad $$f"; \
		done; done; \
	if [ -n "$$bad" ]; then echo "failed:$$bad"; exit 1; fi

bench:
	./scripts/deps.sh run
	$(GO) run ./internal/bench/speed

bench-flicker:
	./scripts/deps.sh run
	$(GO) run ./internal/bench/flicker

# 2,000 random dumps of known truth, judged by the program.
bench-verdict:
	$(GO) run ./internal/bench/verdict

# Faults of framing, sharpness, obstruction and colour planted in drawn scenes and,
# with STILLSPAN_DATA, in photographs.
bench-pictures:
	$(GO) run ./internal/bench/pictures

# A day on a real Slurm on loopback, against the local run; needs root.
test-cluster:
	./scripts/deps.sh run
	STILLSPAN_CLUSTER=1 ./scripts/cluster.sh $(GO) test -count=1 -timeout 30m -v -run '^TestDayOnCluster$$' ./cmd/stillspan

# A day killed fifty times at random moments and taken up again.
test-kill:
	./scripts/deps.sh run
	STILLSPAN_KILLS=50 $(GO) test -count=1 -timeout 60m -v -run '^TestDaySurvivesKills$$' ./cmd/stillspan

# The scripts as a Windows program under Wine (Debian). With ffmpeg.exe and
# ffprobe.exe in bin/windows, which scripts/ffmpeg-windows.sh builds, those that
# render run, too.
test-windows:
	./scripts/deps.sh windows
	GOOS=windows GOARCH=amd64 $(GO) test -c -o bin/windows/stillspan.test.exe ./cmd/stillspan
	cd cmd/stillspan && WINEPATH="Z:$(CURDIR)/bin/windows" ../../scripts/wine.sh ../../bin/windows/stillspan.test.exe -test.run TestScript

# Hostile acts on the real program, drawn from a list by HARM_SEED.
HARM_ACTS ?= 200
HARM_SEED ?= 1
test-harm:
	./scripts/deps.sh run
	HARM_ACTS=$(HARM_ACTS) HARM_SEED=$(HARM_SEED) $(GO) test -count=1 -timeout 60m -run '^TestHostileActs$$' ./cmd/stillspan

# Archives for Linux, macOS and Windows in dist, with checksums, licences of all that is
# linked, manual page and completions.
release:
	$(GO) run ./internal/release

clean:
	rm -rf bin demo bench-out dist
