// Command verdict measures whether the program's verdict can be trusted: it
// draws dumps of random shoots whose truth is known, writes them as files with
// EXIF, runs the program on each and compares. It knows nothing of how the
// program judges. It prints one table and ends with code 1 when a bound is not
// met: no loss unsaid, at most 0.2 % of the dumps with an invented fault, at
// least 99.5 % right.
//
//	go run ./internal/bench/verdict [-n 2000] [-seed 1] [-kind part] [-program FILE] [-keep DIR] [-v]
package main

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"text/tabwriter"
	"time"

	"golang.org/x/sync/errgroup"
)

// Bounds, in shares of all dumps.
const (
	mostInvented = 0.002
	leastRight   = 0.995
)

type options struct {
	seed    uint64
	n       int
	kind    string
	program string
	keep    string
	verbose bool
	workers int
}

func main() {
	var o options
	flag.Uint64Var(&o.seed, "seed", 1, "of the random dumps")
	flag.IntVar(&o.n, "n", 2000, "dumps")
	flag.StringVar(&o.kind, "kind", "", "only kinds whose name contains this")
	flag.StringVar(&o.program, "program", "", "the program to judge; built from this source tree by default")
	flag.StringVar(&o.keep, "keep", "", "keep dumps that were not judged right in this folder, each with its truth beside it")
	flag.BoolVar(&o.verbose, "v", false, "one line for each dump that was not judged right")
	flag.IntVar(&o.workers, "workers", min(2, runtime.NumCPU()), "dumps at once")
	flag.Parse()
	met, err := o.run(context.Background())
	if err != nil {
		fmt.Fprintln(os.Stderr, "bench:", err)
		os.Exit(1)
	}
	if !met {
		os.Exit(1)
	}
}

// result is one dump's.
type result struct {
	kind    int
	index   int
	clean   bool
	outcome outcome
	why     string
	what    []string
}

func (o options) run(ctx context.Context) (met bool, err error) {
	begun := time.Now()
	var todo []kind
	for _, k := range kinds {
		if strings.Contains(k.name, o.kind) {
			todo = append(todo, k)
		}
	}
	if len(todo) == 0 {
		return false, fmt.Errorf("no kind's name contains %q", o.kind)
	}
	temp, err := os.MkdirTemp(tempRoot(), "verdict-")
	if err != nil {
		return false, err
	}
	defer os.RemoveAll(temp)
	if o.program == "" {
		o.program = filepath.Join(temp, "stillspan")
		if out, err := exec.CommandContext(ctx, "go", "build", "-o", o.program, "stillspan/cmd/stillspan").CombinedOutput(); err != nil {
			return false, fmt.Errorf("cannot build the program: %w\n%s", err, out)
		}
	}
	results := make([]result, o.n)
	g, running := errgroup.WithContext(ctx)
	g.SetLimit(o.workers)
	for i := range results {
		g.Go(func() error {
			k := i % len(todo)
			res, err := o.one(running, filepath.Join(temp, fmt.Sprint(i)), todo[k], uint64(i))
			res.kind, res.index = k, i
			results[i] = res
			return err
		})
	}
	if err := g.Wait(); err != nil {
		return false, err
	}
	return o.table(todo, results, time.Since(begun)), nil
}

// tempRoot is memory where there is such a folder: dumps are many small files.
func tempRoot() string {
	const memory = "/dev/shm"
	if info, err := os.Stat(memory); err == nil && info.IsDir() && os.Getenv("TMPDIR") == "" {
		return memory
	}
	return ""
}

// draw makes a dump of one kind. Names that meet are drawn again, as cameras
// avoid them too.
func (o options) draw(k kind, i uint64) (*dump, *truth, error) {
	var last error
	for try := range uint64(50) {
		d := &dump{r: rand.New(rand.NewPCG(o.seed, i<<8|try)), styles: k.styles}
		camera(d)
		for _, s := range k.steps {
			s(d)
		}
		d.name()
		t, err := d.truth()
		if err == nil {
			return d, t, nil
		}
		last = err
	}
	return nil, nil, fmt.Errorf("kind %q cannot be drawn: %w", k.name, last)
}

// one draws a dump, has the program judge it, and compares.
func (o options) one(ctx context.Context, dir string, k kind, i uint64) (result, error) {
	d, t, err := o.draw(k, i)
	if err != nil {
		return result{}, err
	}
	res := result{clean: t.clean(), what: t.What}
	plan := ""
	if len(d.plan) > 0 {
		plan = dir + ".toml"
	}
	if err := d.write(dir, plan); err != nil {
		return res, err
	}
	out, exit, err := o.check(ctx, dir, plan)
	if err != nil {
		return res, err
	}
	a, err := parse(out, exit)
	if err != nil {
		res.outcome, res.why = failed, err.Error()
	} else {
		res.outcome, res.why = t.judge(a)
	}
	if res.outcome != right && o.keep != "" {
		err = o.keepDump(dir, k, i, res, d, t, out)
	}
	return res, errors.Join(err, os.RemoveAll(dir), os.RemoveAll(dir+".toml"))
}

func (o options) check(ctx context.Context, dir, plan string) (out []byte, exit int, err error) {
	ctx, cancel := context.WithTimeout(ctx, 2*time.Minute)
	defer cancel()
	args := []string{"check", dir, "--json", "-", "--headers", "--quiet", "--no-cache"}
	if plan != "" {
		args = append(args, "--plan", plan)
	}
	cmd := exec.CommandContext(ctx, o.program, args...)
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	out, err = cmd.Output()
	var ended *exec.ExitError
	if errors.As(err, &ended) {
		return out, ended.ExitCode(), nil
	}
	return out, 0, err
}

// keepDump copies a dump aside with what is true and what was said of it.
func (o options) keepDump(dir string, k kind, i uint64, res result, d *dump, t *truth, said []byte) error {
	to := filepath.Join(o.keep, fmt.Sprintf("%d-%d", o.seed, i))
	if err := os.RemoveAll(to); err != nil {
		return err
	}
	if err := os.MkdirAll(to, 0o777); err != nil {
		return err
	}
	text, err := json.MarshalIndent(map[string]any{"kind": k.name, "outcome": outcomeNames[res.outcome], "why": res.why, "truth": t}, "", " ")
	if err != nil {
		return err
	}
	if len(d.plan) > 0 {
		if err := os.WriteFile(filepath.Join(to, "plan.toml"), d.planText(), 0o666); err != nil {
			return err
		}
	}
	if err := os.WriteFile(filepath.Join(to, "truth.json"), text, 0o666); err != nil {
		return err
	}
	if err := os.WriteFile(filepath.Join(to, "said.json"), said, 0o666); err != nil {
		return err
	}
	return os.CopyFS(filepath.Join(to, "dump"), os.DirFS(dir))
}

// table prints what came of each kind and tells whether the bounds are met.
func (o options) table(todo []kind, results []result, took time.Duration) bool {
	type tally struct {
		n, clean int
		by       [outcomes]int
	}
	rows := make([]tally, len(todo)+1)
	for _, r := range results {
		for _, row := range []*tally{&rows[r.kind], &rows[len(todo)]} {
			row.n++
			row.by[r.outcome]++
			if r.clean {
				row.clean++
			}
		}
		if o.verbose && r.outcome != right {
			fmt.Printf("%d  %s: %s: %s\n      true: %s\n", r.index, todo[r.kind].name, outcomeNames[r.outcome], r.why, cmp.Or(strings.Join(r.what, "; "), "no fault"))
		}
	}
	tw := tabwriter.NewWriter(os.Stdout, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprint(tw, "dumps\tclean\t")
	for _, name := range outcomeNames {
		fmt.Fprint(tw, name, "\t")
	}
	fmt.Fprintln(tw, "  kind")
	for i, row := range rows {
		name := "total"
		if i < len(todo) {
			name = todo[i].name
		}
		fmt.Fprintf(tw, "%d\t%d\t", row.n, row.clean)
		for _, n := range row.by {
			if n == 0 {
				fmt.Fprint(tw, ".\t")
			} else {
				fmt.Fprintf(tw, "%d\t", n)
			}
		}
		fmt.Fprintf(tw, "  %s\n", name)
	}
	tw.Flush()
	all := rows[len(todo)]
	share := func(x outcome) float64 { return float64(all.by[x]) / float64(max(all.n, 1)) }
	fmt.Printf("\nright %.1f %% (bound %.1f), silent %.1f %% (0), invented %.1f %% (%.1f), split %.1f %%, miscounted %.1f %%, failed %.1f %%; %d dumps, seed %d, %.0f s\n",
		100*share(right), 100*leastRight, 100*share(silent), 100*share(invented), 100*mostInvented, 100*share(split), 100*share(miscounted), 100*share(failed), all.n, o.seed, took.Seconds())
	return all.by[silent] == 0 && all.by[failed] == 0 && share(invented) <= mostInvented && share(right) >= leastRight
}
