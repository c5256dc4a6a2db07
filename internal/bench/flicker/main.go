// Command bench measures flicker removal against scenes whose truth is known,
// on the decoded clip, beside ffmpeg's own deflicker filter. It prints one
// table and ends with code 1 when a bound is not met.
//
//	go run ./deflicker/bench [-seeds 2] [-frames 240] [-scene name]
package main

import (
	"context"
	"flag"
	"fmt"
	"os"
	"runtime"
	"strings"
	"text/tabwriter"
	"time"

	"golang.org/x/sync/errgroup"
)

func main() {
	seeds := flag.Int("seeds", 2, "seeds per scene")
	frames := flag.Int("frames", 240, "frames per sequence")
	only := flag.String("scene", "", "run only scenes whose name contains this")
	strip := flag.String("strips", "", "write before and after strips (PNG) to this folder")
	flag.Parse()
	if *seeds < 1 || *frames < 48 {
		fmt.Fprintln(os.Stderr, "bench: at least one seed and 48 frames")
		os.Exit(2)
	}
	met, err := run(context.Background(), *seeds, *frames, *only, *strip)
	if err != nil {
		fmt.Fprintln(os.Stderr, "bench:", err)
		os.Exit(1)
	}
	if !met {
		os.Exit(1)
	}
}

func run(ctx context.Context, seeds, frames int, only, strips string) (met bool, err error) {
	start := time.Now()
	var todo []kind
	for _, k := range kinds {
		if strings.Contains(k.name, only) {
			todo = append(todo, k)
		}
	}
	results := make([][]outcome, len(todo))
	g, running := errgroup.WithContext(ctx)
	g.SetLimit(runtime.NumCPU())
	for i, k := range todo {
		results[i] = make([]outcome, seeds)
		for s := range seeds {
			g.Go(func() error {
				var err error
				dir := ""
				if s == 0 {
					dir = strips
				}
				results[i][s], err = measureKind(running, k, frames, uint64(s+1), dir)
				if err != nil {
					return fmt.Errorf("scene %s: %w", k.name, err)
				}
				return nil
			})
		}
	}
	if err := g.Wait(); err != nil {
		return false, err
	}
	met = true
	fmt.Printf("EV, means over %d seeds of %d frames of %dx%d. left, trend: error of the decoded clip in the still part of the scene,\n"+
		"faster and slower than %d frames, rms. corr: our correction, rms. event: largest wrong correction in and beside events.\n"+
		"step: largest step left. chroma: colour wobble of the input and of ours, rms. corners: error of the corners less that of\n"+
		"the whole, before and after. local: sequences in which the corners were corrected by themselves. ff: ffmpeg's deflicker.\n\n", seeds, frames, width, height, slowWindow)
	tw := tabwriter.NewWriter(os.Stdout, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(tw, "scene\tbefore\tleft\tff default\tff best\tff setting\tff/ours\ttrend\tff trend\tcorr\tperiod\tevent\tstep\tchroma in\tchroma\tcorners in\tcorners\tlocal\tbounds\t")
	for i, k := range todo {
		o := average(results[i])
		ok, failed := k.judge(o)
		met = met && ok
		word := "met"
		if !ok {
			word = "NOT MET: " + failed
		}
		fmt.Fprintf(tw, "%s\t%.4f\t%.4f\t%.4f\t%.4f\t%s\t%.0f\t%.4f\t%.4f\t%.4f\t%.0f\t%s\t%s\t%.5f\t%.5f\t%.4f\t%.4f\t%d\t%s\t\n", k.name, o.before, o.left,
			o.ffDefault, o.ffBest, o.ffSetting, o.ffBest/o.left, o.trend, o.ffTrend, o.corr, o.period, ev(o.event), ev(o.step), o.chromaIn, o.chroma, o.cornersBefore, o.corners, o.local, word)
	}
	tw.Flush()
	// Nearly lossless, to see what is handed to the encoder; and as delivered,
	// where the encoder takes part of the dither away.
	bands, err := banding(ctx, 1)
	if err != nil {
		return false, fmt.Errorf("clear sky: %w", err)
	}
	delivered, err := banding(ctx, 0)
	if err != nil {
		return false, fmt.Errorf("clear sky: %w", err)
	}
	word := "met"
	if bands > mostBanding {
		met, word = false, "NOT MET"
	}
	fmt.Printf("\nclear sky gradient, corrected, 8-bit clip: bands of %.3f codes rms (without dither 0.289, at most %.2f): %s; %.3f after the delivery preset's compression\n",
		bands, mostBanding, word, delivered)
	fmt.Printf("%.0f s on %d CPUs\n", time.Since(start).Seconds(), runtime.NumCPU())
	return met, nil
}

// ev prints a figure that only some scenes have.
func ev(x float64) string {
	if x < 0 {
		return "-"
	}
	return fmt.Sprintf("%.4f", x)
}
