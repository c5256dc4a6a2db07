// Package day runs a day's shoots: what of an earlier run still stands, which
// tasks go first and how many at once, by which engine they are done, and what
// becomes of their results. A task is a command line with all it needs in a
// file, so that it can run anywhere the storage is the same.
package day

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"sync"

	"stillspan/assemble"
	"stillspan/assemble/handover"
	"stillspan/assemble/shoot"
	"stillspan/internal/problem"
)

// Options say how a day is run.
type Options struct {
	Root, Out string // whole paths: tasks may run elsewhere
	Program   string // what the tasks' arguments are given to: this program
	Version   string // of it; another may make another clip
	Limits    Limits
	Overwrite bool // replace what is in the place of a clip, whoever made it
	// Slurm, unless nil, is the cluster that does the work; its Program, Dir and
	// Sees are filled in here.
	Slurm *Slurm
	// Finish are the arguments of the run that collects what a cluster made,
	// and Collect is set in it: nothing is rendered any more.
	Finish  []string
	Collect bool
	// Log is told what happens, for schedulers and scripts. It may be called
	// from several goroutines.
	Log func(event string, more map[string]any)
}

// Day is one run over a day's shoots.
type Day struct {
	Options
	Clips []*Clip // one a shoot
	// Handed is set once a cluster has taken the work over.
	Handed bool

	store *Store
	root  os.FileInfo
	mu    sync.Mutex // guards what events and deliveries change
}

// Clip is where a shoot's clip stands.
type Clip struct {
	Shoot   *shoot.Shoot
	Name    string // in the output folder
	Kept    bool   // whole from an earlier run
	SHA256  string // of a clip that is one file; known when it is made
	Failure *Failure

	fingerprint string
	job         assemble.Job
	tasks       []task
	left        int // tasks that are not done
}

// HandOver is the clip as it is handed to an editor.
func (c *Clip) HandOver() handover.Clip { return c.Shoot.HandOver(c.job, c.Name) }

func (c *Clip) id() string { return c.Shoot.Sequence.ID }

// Start makes the output folder and claims it.
func Start(ctx context.Context, o Options) (*Day, error) {
	if err := os.MkdirAll(o.Out, 0o777); err != nil {
		return nil, problem.Hint(fmt.Errorf("cannot make --out: %w", err), "a place that may be written to")
	}
	store, err := Open(o.Out)
	if err != nil {
		return nil, explain(err)
	}
	d := &Day{Options: o, store: store}
	if err := store.Lock(); err != nil {
		if errors.Is(err, ErrBusy) {
			return nil, problem.Hint(err, "wait for it, or choose another --out")
		}
		return nil, explain(err)
	}
	cluster := d.cluster()
	if !o.Collect && cluster.Busy(ctx) {
		store.Unlock()
		return nil, problem.Hint(fmt.Errorf("%q: a cluster is still at work there (job %s)", o.Out, cluster.Job()),
			"wait for it, or end it with scancel and run again")
	}
	return d, nil
}

// Close lets other runs in.
func (d *Day) Close() { d.store.Unlock() }

// Path is a place in the output folder.
func (d *Day) Path(name string) string { return d.store.Path(name) }

func (d *Day) cluster() *Slurm {
	s := Slurm{}
	if d.Slurm != nil {
		s = *d.Slurm
	}
	s.Program, s.Dir, s.AtOnce, s.Sees = d.Program, d.store.ScriptDir(), d.Limits.Workers, []string{d.Root, d.Out}
	return &s
}

// Prepare finds out what there is to do: measure has each shoot measured and
// solved, and clips that stand from an earlier run are taken over.
func (d *Day) Prepare(ctx context.Context, shoots []*shoot.Shoot, measure func(context.Context, *shoot.Shoot) error) error {
	var err error
	if d.root, err = os.Stat(d.Root); err != nil {
		return fmt.Errorf("cannot read folder: %w", err)
	}
	if !d.Collect { // whose own log lies there
		if err := d.store.ClearLogs(); err != nil {
			return explain(err)
		}
	}
	keep := map[string]bool{}
	names := shoot.ClipNames(shoots)
	for i, s := range shoots {
		c := &Clip{Shoot: s, Name: names[i]}
		d.Clips = append(d.Clips, c)
		keep[c.id()] = true
		if err := d.prepareClip(ctx, c, measure); err != nil {
			if ctx.Err() != nil {
				return ctx.Err()
			}
			if gone := d.rootGone(); gone != nil {
				return gone
			}
			d.fail(c, failureOf(err, d.Root, nil))
			continue
		}
		for _, t := range c.tasks {
			keep[t.ID] = true
		}
	}
	return explain(d.store.Sweep(func(id string) bool { return keep[id] }))
}

// prepareClip measures and solves a shoot and splits its render into tasks,
// unless its clip stands.
func (d *Day) prepareClip(ctx context.Context, c *Clip, measure func(context.Context, *shoot.Shoot) error) error {
	if err := measure(ctx, c.Shoot); err != nil {
		return err
	}
	if gone := d.rootGone(); gone != nil {
		return gone
	}
	for k, damage := range c.Shoot.Measured.Damage {
		if damage.Kind == "vanished" {
			return fmt.Errorf("%q vanished while the work went on", c.Shoot.Sequence.Frames[k].Name)
		}
	}
	c.job = c.Shoot.Job("")
	c.job.Overwrite = true // in the state folder
	paths := make([]string, len(c.job.Sources))
	for k, s := range c.job.Sources {
		paths[k] = s.Path
	}
	inputs, err := Inputs(paths)
	if err != nil {
		return err
	}
	// The place of work is no part of what the clip is.
	if c.fingerprint, err = Fingerprint(inputs, []any{c.job, c.Shoot.Settings.OfClip(), c.Name}, d.Version, assemble.FFmpegVersion()); err != nil {
		return err
	}
	d.log("measured", map[string]any{"sequence": c.id(), "frames": len(c.job.Sources)})
	if r, ok := d.store.Standing(c.id(), c.fingerprint); ok && d.take(c, r) == nil {
		c.Kept = true
		d.log("clip-kept", map[string]any{"sequence": c.id(), "file": c.Name})
		return nil
	}
	if err := d.store.MayDeliver(c.id(), c.Name, d.Overwrite); err != nil {
		return err
	}
	return d.split(c, inputs)
}

// rootGone tells whether the folder of originals is no longer what it was: a
// drive unplugged leaves no folder, or an empty one.
func (d *Day) rootGone() error {
	if d.root == nil {
		return nil // not looked at yet
	}
	info, err := os.Stat(d.Root)
	if err == nil && os.SameFile(info, d.root) {
		if _, err = os.ReadDir(d.Root); err == nil {
			return nil
		}
	}
	return &Failure{Kind: SourceGone, Text: fmt.Sprintf("the folder of originals %q went away while the work went on", d.Root), Try: plugIn}
}

func (d *Day) log(event string, more map[string]any) {
	if d.Log != nil {
		d.Log(event, more)
	}
}

func (d *Day) fail(c *Clip, f *Failure) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if c.Failure == nil {
		c.Failure = f
		c.Shoot.Warnings = append(c.Shoot.Warnings, "no clip: "+f.Text)
		d.log("clip-failed", map[string]any{"sequence": c.id(), "kind": f.Kind, "error": f.Text, "try": f.Try})
	}
}

// take puts what is recorded of a clip into its shoot.
func (d *Day) take(c *Clip, r Record) error {
	var done shoot.Rendered
	if err := json.Unmarshal(r.Detail, &done); err != nil {
		return err
	}
	done.Clip.File = d.store.Path(r.File)
	c.Shoot.Rendered, c.SHA256 = &done, r.SHA256
	c.Shoot.Warnings = append(c.Shoot.Warnings, done.Clip.Problems...)
	return nil
}

// Explain adds what to do to an error that put the day off.
func (d *Day) Explain(err error) error {
	if gone := d.rootGone(); errors.Is(err, fs.ErrNotExist) && gone != nil {
		return gone
	}
	return explain(err)
}

// Err is what is left to say when the day is done: why clips could not be
// made. It is nil when all were.
func (d *Day) Err() error {
	var first *Failure
	failed := 0
	for _, c := range d.Clips {
		if c.Failure == nil {
			continue
		}
		failed++
		if first == nil || !StopsAll(first) && StopsAll(c.Failure) {
			first = c.Failure
		}
	}
	switch {
	case failed == 0:
		return nil
	case failed == 1 || StopsAll(first):
		return first
	}
	return problem.Hint(fmt.Errorf("%d of %d clips could not be made; the first: %s", failed, len(d.Clips), first.Text),
		"the day's page says why for each; the same command tries them again")
}
