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

	"stillspan/internal/bench"
)

type config struct {
	frames, megapixels, rounds int
	width, height              int
	growth, sizes, check       bool
	bin                        string
	dir                        string
}

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	var c config
	flag.IntVar(&c.frames, "frames", 24, "stills of the main comparison")
	flag.IntVar(&c.megapixels, "mp", 24, "megapixels of its stills")
	flag.IntVar(&c.rounds, "rounds", 3, "turns of each; medians are printed")
	size := flag.String("size", "3840x2160", "size of the clip")
	flag.BoolVar(&c.growth, "growth", true, "also 50, 100, 200 and 400 stills of 2 megapixels")
	flag.BoolVar(&c.sizes, "sizes", true, "also 12, 24 and 48 megapixels")
	flag.BoolVar(&c.check, "check", true, "also check against ffmpeg decoding alone")
	flag.StringVar(&c.bin, "bin", "", "a stillspan to measure; default the one built from here")
	flag.Parse()
	err := func() error {
		if _, err := fmt.Sscanf(*size, "%dx%d", &c.width, &c.height); err != nil {
			return fmt.Errorf("size %q: want WxH", *size)
		}
		return c.run(ctx)
	}()
	if err != nil {
		fmt.Fprintln(os.Stderr, "bench:", err)
		os.Exit(1)
	}
}

func (c *config) run(ctx context.Context) error {
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
	if err := c.compare(ctx, c.frames, c.megapixels, c.rounds, true); err != nil {
		return err
	}
	if c.sizes {
		for _, mp := range []int{12, 24, 48} {
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

// compare runs the contests in turns and prints their medians.
func (c *config) compare(ctx context.Context, frames, megapixels, rounds int, withCheck bool) error {
	set := filepath.Join(c.dir, fmt.Sprintf("%dx%d", frames, megapixels))
	bytes, w, h, err := makeSet(ctx, set, frames, megapixels)
	if err != nil {
		return err
	}
	defer os.RemoveAll(set)
	fmt.Printf("\n%d stills of %d megapixels, %.1f MB each, to %dx%d H.264\n", frames, megapixels, float64(bytes)/float64(frames)/1e6, c.width, c.height)
	all := c.contests(set, w, h, withCheck && c.check)
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
	crop := fmt.Sprintf("crop=%d:%d:exact=1,scale=%d:%d:in_range=pc:out_range=tv:in_color_matrix=bt601:out_color_matrix=bt709,format=yuv420p",
		min(w, h*c.width/c.height), min(h, w*c.height/c.width), c.width, c.height)
	plain := func(filter string) []string {
		return []string{"ffmpeg", "-hide_banner", "-nostdin", "-loglevel", "error", "-y", "-framerate", "24", "-i", filepath.Join(set, "IMG_%04d.JPG"),
			"-vf", filter + crop, "-c:v", "libx264", "-crf", "18", filepath.Join(c.dir, "clip.mp4")}
	}
	size := fmt.Sprintf("%dx%d", c.width, c.height)
	all := []contest{
		{"plain ffmpeg", -1, plain(""), clean, nil},
		{"ffmpeg with its deflicker", 0, plain("deflicker,"), clean, nil},
		{"stillspan render, whole", 1, []string{c.bin, "render", set, "-o", filepath.Join(c.dir, "clip.mp4"), "--size", size, "--quiet",
			"--html", filepath.Join(c.dir, "report.html")}, findings, nil},
	}
	if check {
		all = append(all,
			contest{"check: ffmpeg decoding alone", -1, []string{"ffmpeg", "-hide_banner", "-nostdin", "-loglevel", "error",
				"-i", filepath.Join(set, "IMG_%04d.JPG"), "-f", "null", "-"}, clean, nil},
			contest{"check: stillspan, first run", 1, []string{c.bin, "check", set, "--quiet"}, findings, nil},
			contest{"check: stillspan, from cache", 1, []string{c.bin, "check", set, "--quiet"}, findings, nil})
	}
	return all
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
