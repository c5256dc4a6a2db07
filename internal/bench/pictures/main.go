// Command pictures measures what the tool says of framing, sharpness, obstruction
// and colour against sequences whose faults were planted: drawn scenes and, with
// STILLSPAN_DATA set, photographs. It shares no code with what judges them, and
// ends with code 1 while a bound is unmet.
//
//	go run ./internal/bench/pictures [-kind jump] [-seeds 2] [-clean 50]
package main

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"image"
	"math"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"syscall"

	"stillspan/internal/bench"
)

// maxErrorPx bounds the error of a displacement at 720 pixels wide, maxTurnDeg that
// of a turn.
const (
	maxErrorPx = 0.15
	maxTurnDeg = 0.05
)

type options struct {
	kind, scene, keep, tool, data string
	seed, seeds                   uint64
	clean, frames                 int
	verbose                       bool
}

func main() {
	var o options
	flag.StringVar(&o.kind, "kind", "", "only this kind of fault, or \"clean\"")
	flag.StringVar(&o.scene, "scene", "", "only scenes whose name contains this")
	flag.StringVar(&o.keep, "keep", "", "draw into this folder, keep what is drawn, and take what lies there already")
	flag.StringVar(&o.tool, "tool", "", "the command to measure; default: built from this source")
	flag.StringVar(&o.data, "data", os.Getenv("STILLSPAN_DATA"), "folder of real photographs")
	flag.Uint64Var(&o.seed, "seed", 1, "first seed")
	flag.Uint64Var(&o.seeds, "seeds", 1, "seeds of each scene and kind")
	flag.IntVar(&o.clean, "clean", 50, "sequences without a fault")
	flag.IntVar(&o.frames, "frames", 40, "frames of each sequence")
	flag.BoolVar(&o.verbose, "v", false, "name every sequence that was misjudged")
	flag.Parse()
	if o.frames < 24 {
		fmt.Fprintln(os.Stderr, "pictures: at least 24 frames")
		os.Exit(2)
	}
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	met, err := o.run(ctx)
	if err != nil {
		fmt.Fprintln(os.Stderr, "pictures:", err)
	}
	if err != nil || !met {
		os.Exit(1)
	}
}

// score is what became of a kind of fault.
type score struct {
	sequences, planted, found, invented int
	errors                              []float64 // pixels at 720 wide
}

func (o options) run(ctx context.Context) (met bool, err error) {
	dir, err := os.MkdirTemp("", "bench-pictures-")
	if err != nil {
		return false, err
	}
	defer os.RemoveAll(dir)
	if o.tool == "" {
		if o.tool, err = bench.Program(ctx, dir); err != nil {
			return false, err
		}
	}
	shots := photos(o.data)
	scores := make([]score, len(kinds))
	for n := range max(o.clean, o.count("any", len(shots))) {
		if err := o.judgeAll(ctx, n, shots, dir, scores); err != nil {
			return false, err
		}
	}
	fmt.Printf("%-8s %9s %8s %6s %8s %9s %9s\n", "kind", "sequences", "planted", "found", "invented", "error rms", "worst px")
	met = true
	for k := range scores {
		if name := cmp.Or(kinds[k], "clean"); o.kind == "" || o.kind == name {
			met = scores[k].print(name) && met
		}
	}
	if o.kind != "" && o.kind != "steady" {
		return met, nil
	}
	ok, err := o.steady(ctx, dir, shots)
	return ok && met, err
}

// judgeAll judges scene n with each kind of fault. What the faults are planted in is
// drawn once.
func (o options) judgeAll(ctx context.Context, n int, shots []string, dir string, scores []score) error {
	drawings := len(scenes) + len(places)
	i, photo := n%(drawings+len(shots)), ""
	if i >= drawings {
		photo = shots[i-drawings]
	}
	var base func(t int) *image.RGBA
	for k, kind := range kinds {
		name := cmp.Or(kind, "clean")
		if o.kind != "" && o.kind != name || n >= o.count(kind, len(shots)) {
			continue
		}
		q := newSequence(i, photo, kind, o.seed+uint64(n)*101, o.frames)
		if !strings.Contains(q.name, o.scene) {
			return nil
		}
		if base == nil {
			base = once(q.base, q.n)
		}
		q.base = base
		if err := o.judge(ctx, filepath.Join(cmp.Or(o.keep, dir), fmt.Sprintf("%s-%d-%d", name, o.seed, n)), q, &scores[k]); err != nil {
			return err
		}
	}
	return nil
}

// once is draw, which draws each of n frames the first time only.
func once(draw func(t int) *image.RGBA, n int) func(t int) *image.RGBA {
	frames := make([]func() *image.RGBA, n)
	for t := range frames {
		frames[t] = sync.OnceValue(func() *image.RGBA { return draw(t) })
	}
	return func(t int) *image.RGBA { return frames[t]() }
}

// steady renders shaken sequences of still scenes and prints what is left of it.
func (o options) steady(ctx context.Context, dir string, shots []string) (met bool, err error) {
	met = true
	for n := range int(o.seeds) * (1 + len(shots)) {
		photo := ""
		if k := n % (1 + len(shots)); k > 0 {
			photo = shots[k-1]
		}
		q := newSequence(0, photo, "shake", o.seed+uint64(n)*101, o.frames)
		if !strings.Contains(q.name, o.scene) {
			continue
		}
		for t := range q.shake {
			q.shake[t][0], q.shake[t][1] = q.shake[t][0]*3/q.faults[0].size, q.shake[t][1]*3/q.faults[0].size
		}
		left, err := o.steadied(ctx, filepath.Join(dir, fmt.Sprint("steady", n)), q)
		if err != nil {
			return false, fmt.Errorf("steady, %s, seed %d: %w", q.name, q.seed, err)
		}
		mark := ""
		if left > maxSteadyPx {
			met, mark = false, "  not met"
		}
		fmt.Printf("steady   %-40s %dx%d: 3 px rms of shake, %.3f left%s\n", q.name, q.w, q.h, left, mark)
	}
	return met, nil
}

func (o options) count(kind string, shots int) int {
	if kind == "" {
		return o.clean
	}
	return int(o.seeds) * (len(scenes) + len(places) + shots)
}

// said is what of the tool's result is judged.
type said struct {
	Sequences []struct {
		Pictures []told `json:"pictures"`
	} `json:"sequences"`
}

type told struct {
	Kind     string  `json:"kind"`
	Frame    int     `json:"frame"`
	Last     int     `json:"last_frame"`
	X        float64 `json:"x_px"`
	Y        float64 `json:"y_px"`
	Turn     float64 `json:"turn_deg"`
	Amount   float64 `json:"amount"`
	Severity string  `json:"severity"`
	Part     *struct{ X, Y, W, H float64 }
}

// judge draws one sequence, has the tool look at it, and counts.
func (o options) judge(ctx context.Context, dir string, q *sequence, s *score) error {
	if o.keep == "" {
		defer os.RemoveAll(dir)
	}
	if _, err := os.Stat(filepath.Join(dir, q.still(q.n-1))); err != nil {
		if err := q.write(ctx, dir); err != nil {
			return err
		}
	}
	out, err := exec.CommandContext(ctx, o.tool, "check", dir, "--json", "-", "--quiet", "--no-cache").Output()
	var failed *exec.ExitError
	if errors.As(err, &failed) && failed.ExitCode() != 3 {
		return fmt.Errorf("%w: %s", err, failed.Stderr)
	}
	var r said
	if err := json.Unmarshal(out, &r); err != nil {
		return err
	}
	var got []told
	for _, q := range r.Sequences {
		got = append(got, q.Pictures...)
	}
	s.sequences++
	wrong := s.count(q, got)
	if len(wrong) == 0 {
		return nil
	}
	if o.verbose {
		fmt.Printf("  %s: %s, seed %d, %dx%d, q%d, flicker %.2f, noise %.1f: %s\n", dir, q.name, q.seed, q.w, q.h, q.quality, q.flicker, q.noise, strings.Join(wrong, "; "))
	}
	return nil
}

// count sets what was told against what was planted.
func (s *score) count(q *sequence, got []told) (wrong []string) {
	used := make([]bool, len(got))
	for _, f := range q.faults {
		s.planted++
		at := slices.IndexFunc(got, func(g told) bool { return f.is(g) })
		if at < 0 {
			wrong = append(wrong, "silent: "+f.String())
			continue
		}
		s.found++
		for i, g := range got {
			used[i] = used[i] || f.is(g)
		}
		if f.kind == "jump" {
			e := 720 / float64(q.w) * math.Hypot(got[at].X-f.x, got[at].Y-f.y)
			s.errors = append(s.errors, e)
			if e > maxErrorPx {
				wrong = append(wrong, fmt.Sprintf("off by %.2f px: %s told %.2f, %.2f", e, f, got[at].X, got[at].Y))
			}
		}
	}
	for i, g := range got {
		if !used[i] && g.Severity != "note" {
			s.invented++
			wrong = append(wrong, fmt.Sprintf("invented: %s %d-%d (%.2f, %.2f; %.2f) %s", g.Kind, g.Frame, g.Last, g.X, g.Y, g.Amount, g.Severity))
		}
	}
	return wrong
}

// is tells whether a finding is that of the fault: what covers the lens with
// white may be called blown, and dew that comes fast a blur.
func (f fault) is(g told) bool {
	near := g.Frame <= f.last+1 && g.Last >= f.first-1
	switch f.kind {
	case "jump":
		return near && g.Kind == f.kind && math.Abs(g.Turn-f.turn) <= maxTurnDeg
	case "soft":
		return near && (g.Kind == "soft" || g.Kind == "blurred")
	case "spot":
		return g.Kind == "spot" && g.Part != nil && math.Hypot(g.Part.X+g.Part.W/2-f.x, g.Part.Y+g.Part.H/2-f.y) < 0.01
	case "covered":
		return near && (g.Kind == "covered" || g.Kind == "blown" || g.Kind == "black")
	}
	return near && g.Kind == f.kind
}

// print prints a row and tells whether its bounds are met.
func (s *score) print(name string) bool {
	rms, worst := "", ""
	sum, most := 0.0, 0.0
	for _, e := range s.errors {
		sum, most = sum+e*e, max(most, e)
	}
	if n := len(s.errors); n > 0 {
		rms, worst = fmt.Sprintf("%.3f", math.Sqrt(sum/float64(n))), fmt.Sprintf("%.3f", most)
	}
	found := s.found == s.planted
	if name == "spot" { // dust of an eighth in a crowd does not show
		found = 3*s.found >= 2*s.planted
	}
	met := found && s.invented == 0 && most <= maxErrorPx
	mark := ""
	if !met {
		mark = "  not met"
	}
	fmt.Printf("%-8s %9d %8d %6d %8d %9s %9s%s\n", name, s.sequences, s.planted, s.found, s.invented, rms, worst, mark)
	return met
}
