// Command verdict measures whether the program's verdict can be trusted: it
// draws dumps of random shoots whose truth is known, writes them as files with
// EXIF, runs the program on each and compares. It knows nothing of how the
// program judges. It prints one table and ends with code 1 when a bound is not
// met: no loss unsaid, at most 0.2 % of the dumps with an invented fault, at
// least 99.5 % right.
//
//	go run ./internal/bench/verdict [-n 2000] [-seed 1] [-kind pattern] [-program FILE] [-keep DIR] [-v]
package main

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"hash/fnv"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"text/tabwriter"
	"time"

	"golang.org/x/sync/errgroup"

	"stillspan/internal/bench"
)

// Bounds, in shares of all dumps.
const (
	mostInvented = 0.002
	leastRight   = 0.995
)

type options struct {
	seed          uint64
	n, workers    int
	kind, program string
	keep          string
	verbose       bool
}

func main() {
	var o options
	flag.Uint64Var(&o.seed, "seed", 1, "of the random dumps")
	flag.IntVar(&o.n, "n", 2000, "dumps")
	flag.IntVar(&o.workers, "workers", 2, "dumps at once")
	flag.StringVar(&o.kind, "kind", "", "only kinds whose name this regular expression matches")
	flag.StringVar(&o.program, "program", "", "the program to judge; built from this source tree by default")
	flag.StringVar(&o.keep, "keep", "", "keep dumps that were not judged right in this folder, each with its truth beside it")
	flag.BoolVar(&o.verbose, "v", false, "two lines for each dump that was not judged right")
	flag.Parse()
	met, err := o.run(context.Background())
	if err != nil {
		fmt.Fprintln(os.Stderr, "bench:", err)
	}
	if !met {
		os.Exit(1)
	}
}

// result is one dump's.
type result struct {
	kind    int
	clean   bool
	outcome outcome
	why     string
	what    []string
}

func (o options) run(ctx context.Context) (met bool, err error) {
	begun := time.Now()
	var todo []kind
	wanted, err := regexp.Compile(o.kind)
	if err != nil {
		return false, err
	}
	for _, k := range kinds() {
		if wanted.MatchString(k.name) {
			todo = append(todo, k)
		}
	}
	if len(todo) == 0 {
		return false, fmt.Errorf("no kind's name matches %q", o.kind)
	}
	temp, err := os.MkdirTemp(tempRoot(), "verdict-")
	if err != nil {
		return false, err
	}
	defer os.RemoveAll(temp)
	if o.program == "" {
		if o.program, err = bench.Program(ctx, temp); err != nil {
			return false, err
		}
	}
	results := make([]result, o.n)
	g, running := errgroup.WithContext(ctx)
	g.SetLimit(o.workers)
	for i := range results {
		g.Go(func() (err error) {
			results[i], err = o.one(running, filepath.Join(temp, fmt.Sprint(i)), todo[i%len(todo)], i/len(todo))
			results[i].kind = i % len(todo)
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

// draw makes the i-th dump of one kind, whatever other kinds are drawn. One whose names meet is drawn again, as
// cameras avoid that too.
func (o options) draw(k kind, i int) (d *dump, t *truth, err error) {
	h := fnv.New64a()
	fmt.Fprint(h, k.name, o.seed)
	for try := range uint64(50) {
		d = &dump{r: rand.New(rand.NewPCG(h.Sum64(), uint64(i)<<8|try)), styles: k.styles}
		camera(d)
		for _, s := range k.steps {
			s(d)
		}
		d.name()
		if t, err = d.truth(); err == nil {
			return d, t, nil
		}
	}
	return nil, nil, fmt.Errorf("kind %q cannot be drawn: %w", k.name, err)
}

// one draws a dump, has the program judge it, and compares.
func (o options) one(ctx context.Context, dir string, k kind, i int) (result, error) {
	d, t, err := o.draw(k, i)
	if err != nil {
		return result{}, err
	}
	res := result{clean: t.Exit == 0, what: t.What}
	plan := dir + ".toml"
	if err := d.write(dir, plan); err != nil {
		return res, err
	}
	args := []string{"check", dir, "--json", "-", "--headers", "--quiet", "--no-cache"}
	if len(d.plan) > 0 {
		args = append(args, "--plan", plan)
	}
	ctx, cancel := context.WithTimeout(ctx, 2*time.Minute)
	defer cancel()
	out, err := exec.CommandContext(ctx, o.program, args...).Output()
	var ended *exec.ExitError
	code := 0
	if errors.As(err, &ended) {
		code = ended.ExitCode()
	} else if err != nil {
		return res, err
	}
	if a, err := parse(out, code); err != nil {
		res.outcome, res.why = failed, err.Error()
	} else {
		res.outcome, res.why = t.judge(a)
	}
	if res.outcome != right && o.keep != "" {
		err = o.keepDump(dir, plan, fmt.Sprintf("%s-%d-%d", strings.NewReplacer(":", "", ",", "", " ", "-").Replace(k.name), o.seed, i), map[string]any{"kind": k.name, "outcome": res.outcome, "why": res.why, "truth": t}, out)
	} else {
		err = nil
	}
	return res, errors.Join(err, os.RemoveAll(dir), os.RemoveAll(plan))
}

// keepDump copies a dump aside with what is true and what was said of it.
func (o options) keepDump(dir, plan, name string, judged any, said []byte) error {
	to := filepath.Join(o.keep, name)
	if err := os.RemoveAll(to); err != nil {
		return err
	}
	if err := os.CopyFS(filepath.Join(to, "dump"), os.DirFS(dir)); err != nil {
		return err
	}
	text, err := json.MarshalIndent(judged, "", " ")
	if err != nil {
		return err
	}
	if planned, err := os.ReadFile(plan); err == nil {
		err = os.WriteFile(filepath.Join(to, "plan.toml"), planned, 0o666)
		if err != nil {
			return err
		}
	}
	return errors.Join(os.WriteFile(filepath.Join(to, "truth.json"), text, 0o666), os.WriteFile(filepath.Join(to, "said.json"), said, 0o666))
}

// table prints what came of each kind and tells whether the bounds are met.
func (o options) table(todo []kind, results []result, took time.Duration) bool {
	rows := make([]map[outcome]int, len(todo)+1)
	for i := range rows {
		rows[i] = map[outcome]int{}
	}
	total := rows[len(todo)]
	for i, r := range results {
		for _, row := range []map[outcome]int{rows[r.kind], total} {
			row["dumps"]++
			row[r.outcome]++
			if r.clean {
				row["clean"]++
			}
		}
		if o.verbose && r.outcome != right {
			fmt.Printf("%s, %d: %s: %s\n      true: %s\n", todo[r.kind].name, i/len(todo), r.outcome, r.why, cmp.Or(strings.Join(r.what, "; "), "no fault"))
		}
	}
	columns := append([]outcome{"dumps", "clean"}, outcomes...)
	var text bytes.Buffer
	tw := tabwriter.NewWriter(&text, 0, 0, 2, ' ', tabwriter.AlignRight)
	for _, c := range columns {
		fmt.Fprint(tw, c, "\t")
	}
	fmt.Fprintln(tw, "  kind")
	for i, row := range append(rows, total) {
		for _, c := range columns {
			fmt.Fprintf(tw, "%d\t", row[c])
		}
		name := "total"
		if i < len(todo) {
			name = todo[i].name
		}
		fmt.Fprintf(tw, "  %s\n", name)
	}
	tw.Flush()
	fmt.Print(strings.ReplaceAll(text.String(), " 0 ", " . "), "\n")
	share := func(x outcome) float64 { return float64(total[x]) / float64(max(len(results), 1)) }
	for _, x := range outcomes {
		fmt.Printf("%s %.2f %%  ", x, 100*share(x))
	}
	fmt.Printf("of %d dumps, seed %d, in %.0f s; bounds: right %.1f %%, silent and failed 0, invented %.1f %%\n", len(results), o.seed, took.Seconds(), 100*leastRight, 100*mostInvented)
	return total[silent] == 0 && total[failed] == 0 && share(invented) <= mostInvented && share(right) >= leastRight
}
