// Command flicker measures the removal of flicker against scenes whose truth
// is known, on the decoded clips of the tool itself, beside ffmpeg's own
// deflicker filter. It prints one table and ends with code 1 when a bound is
// not met.
//
//	go run ./internal/bench/flicker [-scene name] [-seeds 3] [-frames 180]
package main

import (
	"context"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"text/tabwriter"
	"time"

	"golang.org/x/sync/errgroup"
)

// options of one run.
type options struct {
	scenes        string
	first, seeds  uint64
	frames        int
	filter, patch bool
	strips, tool  string
}

func main() {
	var o options
	flag.StringVar(&o.scenes, "scene", "", "run only scenes whose name contains one of these, parted by |")
	flag.Uint64Var(&o.first, "seed", 1, "first seed")
	flag.Uint64Var(&o.seeds, "seeds", 3, "seeds per scene")
	flag.IntVar(&o.frames, "frames", 180, "frames per sequence")
	flag.BoolVar(&o.filter, "filter", true, "measure ffmpeg's deflicker filter too")
	flag.BoolVar(&o.patch, "patches", false, "print each patch of each sequence")
	flag.StringVar(&o.strips, "strips", "", "write before and after strips (PNG) to this folder")
	flag.StringVar(&o.tool, "tool", "", "the command to measure; default: built from this source")
	flag.Parse()
	if o.seeds < 1 || o.frames < 2*longestPump {
		fmt.Fprintf(os.Stderr, "flicker: at least one seed and %d frames\n", 2*longestPump)
		os.Exit(2)
	}
	met, err := o.run(context.Background())
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
		o.tool = filepath.Join(dir, "stillspan")
		if out, err := exec.CommandContext(ctx, "go", "build", "-o", o.tool, "./cmd/stillspan").CombinedOutput(); err != nil {
			return false, fmt.Errorf("build: %w: %s", err, out)
		}
	}
	var todo []kind
	for _, k := range kinds {
		for _, name := range strings.Split(o.scenes, "|") {
			if strings.Contains(k.name, name) {
				todo = append(todo, k)
				break
			}
		}
	}
	results := make([][]outcome, len(todo))
	g, running := errgroup.WithContext(ctx)
	g.SetLimit(runtime.NumCPU())
	for i, k := range todo {
		results[i] = make([]outcome, o.seeds)
		for s := range o.seeds {
			g.Go(func() (err error) {
				in := filepath.Join(dir, fmt.Sprintf("%d-%d", i, s))
				defer os.RemoveAll(in)
				if results[i][s], err = o.measure(running, in, k, o.first+s); err != nil {
					return fmt.Errorf("scene %s, seed %d: %w", k.name, o.first+s, err)
				}
				return nil
			})
		}
	}
	if err := g.Wait(); err != nil {
		return false, err
	}
	met = o.print(todo, results)
	if o.scenes == "" {
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
	out.shot = compare(q.shot, q.truth)
	clip := filepath.Join(dir, "clip.mov")
	if out.told, err = q.render(ctx, o.tool, clip); err != nil {
		return out, err
	}
	got, err := q.clip(ctx, clip)
	if err != nil {
		return out, err
	}
	out.clip = compare(got, q.truth)
	if o.filter && !k.bounds.untouched {
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

// print shows the worst of the seeds of each scene.
func (o options) print(todo []kind, results [][]outcome) (met bool) {
	fmt.Printf(`EV rms of the decoded clip's light divided by the true light; the worst of seeds %d to %d, %d frames each. as shot > clip (ffmpeg's
deflicker filter at its best). flicker: of the worst patch, what lines over %d frames do not follow; by sixths of the tones from the
darkest. R/G, B/G: middle of the patches, periods up to %d frames. pumping: periods of %d to %d frames, worst patch. bent: the most that
slower changes are off, light and colour. told: flicker of the clip by the tool's report.

`, o.first, o.first+o.seeds-1, o.frames, slowWindow, longestPump, shortestPump, longestPump)
	met = true
	tw := tabwriter.NewWriter(os.Stdout, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(tw, "scene\tflicker\tby tone\tR/G\tB/G\tpumping\tbent\tevent\tstep\ttold\tcorr\tbounds\t")
	for i, k := range todo {
		all := results[i][0]
		for _, r := range results[i][1:] {
			all = worse(all, r)
		}
		tones := make([]string, sixths)
		for j, t := range all.clip.tone {
			tones[j] = fmt.Sprintf("%.1f", 1e3*t)
		}
		word := "met"
		if bad := k.judge(all); bad != nil {
			met, word = false, "NOT MET: "+strings.Join(bad, ", ")
		}
		fmt.Fprintf(tw, "%s\t%s\t%s\t%s\t%s\t%s\t%.4f %.4f\t%s\t%s\t%.4f\t%.4f\t%s\t\n", k.name,
			three(all.shot.flicker, all.clip.flicker, all.filter.flicker), strings.Join(tones, " "),
			three(all.shot.rg, all.clip.rg, 0), three(all.shot.bg, all.clip.bg, 0), three(all.shot.pump, all.clip.pump, all.filter.pump),
			all.clip.bend, all.clip.colourBend, ev(all.clip.event), ev(all.clip.step), all.told.flickerEV, all.told.corrEV, word)
	}
	tw.Flush()
	if o.patch {
		for i, k := range todo {
			for s, r := range results[i] {
				fmt.Printf("%s, seed %d, by patch:\n  as shot", k.name, o.first+uint64(s))
				for _, p := range r.shot.patch {
					fmt.Printf(" %.4f", p)
				}
				fmt.Printf("\n  clip   ")
				for _, p := range r.clip.patch {
					fmt.Printf(" %.4f", p)
				}
				fmt.Println()
			}
		}
	}
	return met
}

func three(shot, clip, filter float64) string {
	if filter == 0 {
		return fmt.Sprintf("%.4f > %.4f", shot, clip)
	}
	return fmt.Sprintf("%.4f > %.4f (%.4f)", shot, clip, filter)
}

// ev prints a figure that only some scenes have.
func ev(x float64) string {
	if x < 0 {
		return "-"
	}
	return fmt.Sprintf("%.4f", x)
}
