// Command bench compares Stillspan with what would otherwise be typed, one
// ffmpeg command without and one with ffmpeg's own deflicker filter, on the
// same stills, to the same clip, in turns. It prints medians of wall time, CPU
// time and peak memory of all processes together, and their ratios.
package main

import (
	"context"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"strings"
	"syscall"
	"time"

	"stillspan/internal/bench"
)

type config struct {
	frames, rounds       int
	megapixels           float64
	width, height        int
	proof                bool
	growth, sizes, check bool
	many                 int
	bin                  string
	dir                  string
}

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	var c config
	flag.IntVar(&c.frames, "frames", 24, "stills of the main comparison")
	flag.Float64Var(&c.megapixels, "mp", 24, "megapixels of its stills")
	flag.IntVar(&c.rounds, "rounds", 3, "turns of each; medians are printed")
	size := flag.String("size", "3840x2160,1920x1080,proof", "sizes of the clip")
	flag.BoolVar(&c.growth, "growth", true, "also 50, 100, 200 and 400 stills of 2 megapixels")
	flag.BoolVar(&c.sizes, "sizes", true, "also 12, 24 and 48 megapixels")
	flag.BoolVar(&c.check, "check", true, "also check against ffmpeg decoding alone")
	flag.IntVar(&c.many, "many", 20000, "also check so many small stills, the first time and from the cache")
	flag.StringVar(&c.bin, "bin", "", "a stillspan to measure; default the one built from here")
	flag.Parse()
	if err := c.run(ctx, strings.Split(*size, ",")); err != nil {
		fmt.Fprintln(os.Stderr, "bench:", err)
		os.Exit(1)
	}
}

// clipSize reads WxH, or "proof": what a preset makes of stills of 3 to 2.
func (c *config) clipSize(text string) error {
	if c.proof = text == "proof"; c.proof {
		c.width, c.height = 960, 540
		return nil
	}
	if _, err := fmt.Sscanf(text, "%dx%d", &c.width, &c.height); err != nil {
		return fmt.Errorf("size %q: want WxH", text)
	}
	return nil
}

func (c *config) run(ctx context.Context, sizes []string) error {
	dir, err := os.MkdirTemp("", "stillspan-bench-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	c.dir = dir
	if c.bin == "" {
		if c.bin, err = bench.Program(ctx, dir); err != nil {
			return err
		}
	}
	for i, size := range sizes {
		if err := c.clipSize(size); err != nil {
			return err
		}
		if err := c.compare(ctx, c.frames, c.megapixels, c.rounds, i == 0); err != nil {
			return err
		}
	}
	if c.many > 0 {
		if err := c.checkMany(ctx); err != nil {
			return err
		}
	}
	if err := c.clipSize("3840x2160"); err != nil {
		return err
	}
	if c.sizes {
		for _, mp := range []float64{12, 24, 48} {
			if err := c.compare(ctx, 8, mp, 1, false); err != nil {
				return err
			}
		}
	}
	if c.growth {
		c.width, c.height = 1280, 720
		for _, n := range []int{50, 100, 200, 400} {
			if err := c.compare(ctx, n, 2, 1, false); err != nil {
				return err
			}
		}
	}
	return nil
}

// contest is one way of doing the job.
type contest struct {
	name  string
	base  int // index of the contest it is set against, -1 for none
	args  []string
	ok    func(code int) bool
	usage []usage
}

// compare sets the ways of making a clip of so many stills beside each other.
func (c *config) compare(ctx context.Context, frames int, megapixels float64, rounds int, withCheck bool) error {
	set := filepath.Join(c.dir, fmt.Sprintf("%dx%g", frames, megapixels))
	bytes, w, h, err := makeSet(ctx, set, frames, megapixels)
	if err != nil {
		return err
	}
	defer os.RemoveAll(set)
	what := ""
	if c.proof {
		what = ", a proof"
	}
	fmt.Printf("\n%d stills of %g megapixels, %.1f MB each, to %dx%d H.264%s\n", frames, megapixels, float64(bytes)/float64(frames)/1e6, c.width, c.height, what)
	return c.hold(ctx, c.contests(set, w, h, withCheck && c.check), rounds)
}

// checkMany checks a great many stills that take next to no time each.
func (c *config) checkMany(ctx context.Context) error {
	set := filepath.Join(c.dir, "many")
	if _, _, _, err := makeSet(ctx, set, c.many, 0.1); err != nil {
		return err
	}
	defer os.RemoveAll(set)
	// What has just been written may be written to again within one tick of the
	// file system's clock, so that nothing is kept of it yet.
	time.Sleep(5 * time.Second)
	fmt.Printf("\n%d stills of 0.1 megapixels\n", c.many)
	all := c.checks(set)
	all[0].base = -1
	return c.hold(ctx, all, 1)
}

// hold runs the contests in turns and prints their medians.
func (c *config) hold(ctx context.Context, all []contest, rounds int) error {
	for range rounds {
		for i := range all {
			u, err := c.measure(ctx, &all[i])
			if err != nil {
				return fmt.Errorf("%s: %w", all[i].name, err)
			}
			all[i].usage = append(all[i].usage, u)
		}
	}
	fmt.Printf("%-44s %9s %9s %9s   %s\n", "", "wall s", "CPU s", "peak MB", "against")
	med := make([]usage, len(all))
	for i, k := range all {
		med[i] = medians(k.usage)
		m := med[i]
		fmt.Printf("%-44s %9.2f %9.2f %9.0f", k.name, m.wall, m.cpu, m.peak/1e6)
		for b := range i {
			if k.base >= 0 && all[b].base <= 0 && sameJob(all[b], k) {
				fmt.Printf("   %s: wall %.2f, CPU %.2f, memory %+.0f MB;", all[b].name, m.wall/med[b].wall, m.cpu/med[b].cpu, (m.peak-med[b].peak)/1e6)
			}
		}
		fmt.Println()
	}
	return nil
}

func sameJob(a, b contest) bool {
	return strings.HasPrefix(a.name, "check") == strings.HasPrefix(b.name, "check")
}

func (c *config) contests(set string, w, h int, check bool) []contest {
	clean := func(code int) bool { return code == 0 }
	findings := func(code int) bool { return code == 0 || code == 3 }
	scale := fmt.Sprintf(",scale=%d:%d:in_range=pc:out_range=tv:in_color_matrix=bt601:out_color_matrix=bt709,format=yuv420p", c.width, c.height)
	crop := fmt.Sprintf("crop=%d:%d:exact=1", min(w, h*c.width/c.height), min(h, w*c.height/c.width)) + scale
	stills := []string{"-i", filepath.Join(set, "IMG_%04d.JPG"), "-vf"}
	ffmpeg := func(args ...string) []string {
		return append([]string{"ffmpeg", "-hide_banner", "-nostdin", "-loglevel", "error", "-y", "-framerate", "24"}, args...)
	}
	plain := func(filter string) []string {
		return ffmpeg(append(stills, filter+crop, "-c:v", "libx264", "-crf", "18", filepath.Join(c.dir, "clip.mp4"))...)
	}
	render := func(option, value string) []string {
		return []string{c.bin, "render", set, "-o", filepath.Join(c.dir, "clip.mp4"), option, value, "--quiet", "--html", filepath.Join(c.dir, "report.html")}
	}
	if c.proof {
		quarter := append(append([]string{"-lowres", "2"}, stills...), "crop=iw:iw*9/16"+scale, "-c:v", "libx264", "-preset", "veryfast", "-crf", "28", filepath.Join(c.dir, "clip.mp4"))
		return []contest{
			{"ffmpeg, decoding to a quarter", -1, ffmpeg(quarter...), clean, nil},
			{"stillspan render, whole", 0, render("--preset", "proof"), findings, nil},
		}
	}
	all := []contest{
		{"plain ffmpeg", -1, plain(""), clean, nil},
		{"ffmpeg with its deflicker", 0, plain("deflicker,"), clean, nil},
		{"stillspan render, whole", 1, render("--size", fmt.Sprintf("%dx%d", c.width, c.height)), findings, nil},
	}
	if check {
		all = append(all, contest{"check: ffmpeg decoding alone", -1, []string{"ffmpeg", "-hide_banner", "-nostdin", "-loglevel", "error",
			"-i", filepath.Join(set, "IMG_%04d.JPG"), "-f", "null", "-"}, clean, nil})
		all = append(all, c.checks(set)...)
	}
	return all
}

// checks are a check and another of the same stills.
func (c *config) checks(set string) []contest {
	findings := func(code int) bool { return code == 0 || code == 3 }
	args := []string{c.bin, "check", set, "--quiet"}
	return []contest{
		{"check: stillspan, first run", 1, args, findings, nil},
		{"check: stillspan, from cache", 1, args, findings, nil},
	}
}

// measure runs one contest, with an empty cache of measurements unless the
// contest is about the cache.
func (c *config) measure(ctx context.Context, k *contest) (usage, error) {
	for _, f := range []string{"clip.mp4", "report.html"} {
		if err := os.RemoveAll(filepath.Join(c.dir, f)); err != nil {
			return usage{}, err
		}
	}
	cache := filepath.Join(c.dir, "cache")
	if !strings.Contains(k.name, "from cache") {
		if err := os.RemoveAll(cache); err != nil {
			return usage{}, err
		}
	}
	cmd := exec.CommandContext(ctx, k.args[0], k.args[1:]...)
	cmd.Env = append(os.Environ(), "XDG_CACHE_HOME="+cache)
	return run(cmd, k.ok)
}
