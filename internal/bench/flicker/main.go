// Command flicker measures the removal of flicker against scenes whose truth
// is known, on the decoded clips of the tool itself, beside ffmpeg's own
// deflicker filter. It prints one table and ends with code 1 when a bound is
// not met.
//
//	go run ./internal/bench/flicker [-scene name] [-seeds 3] [-frames 144]
package main

import (
	"context"
	"flag"
	"fmt"
	"os"
	"os/signal"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"syscall"
	"time"

	"golang.org/x/sync/errgroup"

	"stillspan/internal/bench"
)

// options of one run.
type options struct {
	scenes          string
	first, seeds    uint64
	frames          int
	filter, patches bool
	strips, tool    string
}

func main() {
	var o options
	flag.StringVar(&o.scenes, "scene", "", "run only scenes whose name contains one of these, parted by |")
	flag.Uint64Var(&o.first, "seed", 1, "first seed")
	flag.Uint64Var(&o.seeds, "seeds", 3, "seeds per scene")
	flag.IntVar(&o.frames, "frames", 144, "frames per sequence")
	flag.BoolVar(&o.filter, "filter", true, "measure ffmpeg's deflicker filter too, on the first seed")
	flag.BoolVar(&o.patches, "patches", false, "print each patch of each sequence")
	flag.StringVar(&o.strips, "strips", "", "write before and after strips (PNG) to this folder")
	flag.StringVar(&o.tool, "tool", "", "the command to measure; default: built from this source")
	flag.Parse()
	if o.seeds < 1 || o.frames < 2*longestPump {
		fmt.Fprintf(os.Stderr, "flicker: at least one seed and %d frames\n", 2*longestPump)
		os.Exit(2)
	}
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	met, err := o.run(ctx)
	if ctx.Err() != nil {
		err = context.Cause(ctx) // the signal, not what it broke off
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, "flicker:", err)
		os.Exit(1)
	}
	if !met {
		os.Exit(1)
	}
}

func (o options) run(ctx context.Context) (met bool, err error) {
	start := time.Now()
	dir, err := os.MkdirTemp("", "bench-flicker-")
	if err != nil {
		return false, err
	}
	defer os.RemoveAll(dir)
	if o.tool == "" {
		if o.tool, err = bench.Program(ctx, dir); err != nil {
			return false, err
		}
	}
	chosen := func(scene string) bool {
		return slices.ContainsFunc(strings.Split(o.scenes, "|"), func(name string) bool { return strings.Contains(scene, name) })
	}
	var todo []kind
	for _, k := range kinds {
		if chosen(k.name) {
			todo = append(todo, k)
		}
	}
	t := table{options: o, kinds: todo, results: make([][]outcome, len(todo)), met: true}
	t.head()
	g, running := errgroup.WithContext(ctx)
	g.SetLimit(runtime.NumCPU())
	for i, k := range todo {
		for seed := o.first; seed < o.first+o.seeds; seed++ {
			g.Go(func() error {
				in := filepath.Join(dir, fmt.Sprintf("%d-%d", i, seed))
				defer os.RemoveAll(in)
				out, err := o.measure(running, in, k, seed)
				if err != nil {
					return fmt.Errorf("scene %s, seed %d: %w", k.name, seed, err)
				}
				t.add(i, out)
				return nil
			})
		}
	}
	if err := g.Wait(); err != nil {
		return false, err
	}
	met = t.met
	if chosen("clear sky") {
		ok, err := gradient(ctx)
		if err != nil {
			return false, fmt.Errorf("clear sky: %w", err)
		}
		met = met && ok
	}
	fmt.Printf("%.0f s on %d CPUs\n", time.Since(start).Seconds(), runtime.NumCPU())
	return met, nil
}

// measure draws, renders and measures one sequence.
func (o options) measure(ctx context.Context, dir string, k kind, seed uint64) (out outcome, err error) {
	q := newSequence(dir, k, o.frames, seed)
	if o.strips != "" {
		q.strip = newStrip(q.w, q.h)
	}
	if err := q.draw(ctx); err != nil {
		return out, err
	}
	got, err := q.shot(ctx)
	if err != nil {
		return out, err
	}
	out.seed, out.shot = seed, compare(got, q.truth)
	clip := filepath.Join(dir, "clip.mov")
	if out.told, err = q.render(ctx, o.tool, clip); err != nil {
		return out, err
	}
	if got, err = q.clip(ctx, clip); err != nil {
		return out, err
	}
	out.clip = compare(got, q.truth)
	if o.filter && seed == o.first && !k.bounds.untouched {
		for _, filter := range filters {
			got, err := q.filtered(ctx, filter)
			if err != nil {
				return out, err
			}
			if f := compare(got, q.truth); out.filterName == "" || f.flicker < out.filter.flicker {
				out.filter, out.filterName = f, filter
			}
		}
	}
	if o.strips != "" {
		name := strings.NewReplacer(" ", "-", ",", "").Replace(k.name)
		err = q.strip.write(filepath.Join(o.strips, fmt.Sprintf("%s-%d.png", name, seed)))
	}
	return out, err
}
