package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"sync"

	"stillspan/assemble"
	"stillspan/assemble/day"
	"stillspan/assemble/shoot"
	"stillspan/report"
)

// day is one run over a day's dump.
type dayRun struct {
	*call
	flags dayFlags
	log   *eventLog
	store *day.Store
	found *shoot.Found
	clips []dayClip // one a sequence
	root  os.FileInfo
	whole *report.Report
	bar   *dayBar
	mu    sync.Mutex // guards what events and deliveries change
}

// dayClip is where a sequence's clip stands.
type dayClip struct {
	shoot       *shoot.Shoot
	id          string
	name        string // of the clip in the output folder
	fingerprint string
	job         assemble.Job
	tasks       []dayTask
	left        int  // tasks that are not done
	kept        bool // whole from an earlier run
	clip        *assemble.Clip
	failure     *day.Failure
}

func (d *dayRun) run(ctx context.Context) error { return d.explain(ctx, d.work(ctx)) }

func (d *dayRun) work(ctx context.Context) error {
	if err := os.MkdirAll(d.flags.dir, 0o777); err != nil {
		return withHint(fmt.Errorf("cannot make --out: %w", err), "a place that may be written to")
	}
	var err error
	if d.store, err = day.Open(d.flags.dir); err != nil {
		return err
	}
	if err := d.claim(ctx); err != nil {
		return err
	}
	defer d.store.Unlock()
	if err := d.prepare(ctx); err != nil {
		return err
	}
	handed, err := d.render(ctx)
	if err != nil && !errors.Is(err, day.ErrStopped) {
		return err
	}
	if handed {
		return d.handedOver(ctx)
	}
	if e := d.report(ctx); e != nil {
		return errors.Join(err, e)
	}
	return d.outcome()
}

// claim makes sure that nobody else is at work in the output folder.
func (d *dayRun) claim(ctx context.Context) error {
	if err := d.store.Lock(); err != nil {
		if errors.Is(err, day.ErrBusy) {
			return withHint(err, "wait for it, or choose another --out")
		}
		return err
	}
	cluster := d.cluster("")
	if !d.flags.collect && cluster.Busy(ctx) {
		d.store.Unlock()
		return withHint(fmt.Errorf("%q: a cluster is still at work there (job %s)", d.flags.dir, cluster.Job()),
			"wait for it, or end it with scancel and run again")
	}
	return nil
}

// prepare finds out what there is to do: every sequence measured and solved,
// and which clips stand from an earlier run.
func (d *dayRun) prepare(ctx context.Context) error {
	f := &d.flags
	var err error
	if d.root, err = os.Stat(f.root); err != nil {
		return fmt.Errorf("cannot read folder: %w", err)
	}
	d.log.write("day-start", fields{"dir": f.root, "out": f.dir, "on": f.on, "version": version()})
	if d.found, err = d.find(ctx, f.root); err != nil {
		return err
	}
	if len(d.found.Shoots) == 0 {
		return d.found.NoShoots()
	}
	frames := 0
	for _, s := range d.found.Shoots {
		frames += len(s.Sequence.Frames)
	}
	d.log.write("scanned", fields{"sequences": len(d.found.Shoots), "frames": frames, "loose": len(d.found.Dump.Loose)})
	if !f.collect { // whose own log lies there
		if err := d.store.ClearLogs(); err != nil {
			return err
		}
	}
	d.clips = make([]dayClip, len(d.found.Shoots))
	keep := map[string]bool{}
	for i := range d.clips {
		k := &d.clips[i]
		k.shoot = d.found.Shoots[i]
		k.id = k.shoot.Sequence.ID
		keep[k.id] = true
		if err := d.prepareClip(ctx, i); err != nil {
			if ctx.Err() != nil {
				return ctx.Err()
			}
			if gone := d.rootGone(); gone != nil {
				return gone
			}
			d.fail(i, taskFailure(err))
			continue
		}
		for _, t := range k.tasks {
			keep[t.ID] = true
		}
	}
	return d.store.Sweep(func(id string) bool { return keep[id] })
}

// prepareClip measures and solves sequence i and splits its render into
// tasks, unless its clip stands.
func (d *dayRun) prepareClip(ctx context.Context, i int) error {
	k := &d.clips[i]
	if err := d.look(ctx, k.shoot); err != nil {
		return err
	}
	if gone := d.rootGone(); gone != nil {
		return gone
	}
	for n, damage := range k.shoot.Measured.Damage {
		if damage.Kind == "vanished" {
			return fmt.Errorf("%q vanished while the work went on", k.shoot.Sequence.Frames[n].Name)
		}
	}
	k.job = k.shoot.Job("")
	k.name = k.id + k.job.Ext()
	k.job.Options.Overwrite = true // in the state folder
	paths := make([]string, len(k.job.Sources))
	for j, s := range k.job.Sources {
		paths[j] = s.Path
	}
	inputs, err := day.Inputs(paths)
	if err != nil {
		return err
	}
	// The place of work is no part of what the clip is.
	if k.fingerprint, err = day.Fingerprint(inputs, []any{k.job, k.shoot.Settings.OfClip()}, version(), assemble.FFmpegVersion()); err != nil {
		return err
	}
	d.log.write("measured", fields{"sequence": k.id, "frames": len(k.job.Sources)})
	if r, ok := d.store.Standing(k.id, k.fingerprint); ok {
		if d.take(i, r) == nil {
			k.kept = true
			d.log.write("clip-kept", fields{"sequence": k.id, "file": k.name})
			return nil
		}
	}
	if err := d.store.MayDeliver(k.id, k.name); err != nil {
		return err
	}
	return d.split(i, inputs)
}

// rootGone tells whether the folder of originals is no longer what it was: a
// drive unplugged leaves no folder, or an empty one.
func (d *dayRun) rootGone() *day.Failure {
	if d.root == nil {
		return nil // not looked at yet
	}
	info, err := os.Stat(d.flags.root)
	if err == nil && os.SameFile(info, d.root) {
		if _, err = os.ReadDir(d.flags.root); err == nil {
			return nil
		}
	}
	return &day.Failure{Kind: day.SourceGone, Text: fmt.Sprintf("the folder of originals %q went away while the work went on", d.flags.root)}
}

// taskFailure makes what an engine would have told of an error.
func taskFailure(err error) *day.Failure {
	var t dayTask
	return t.failure(err)
}

func (d *dayRun) fail(i int, f *day.Failure) {
	d.mu.Lock()
	defer d.mu.Unlock()
	k := &d.clips[i]
	if k.failure == nil {
		k.failure = f
		k.shoot.Warnings = append(k.shoot.Warnings, "no clip: "+f.Text)
		d.log.write("clip-failed", fields{"sequence": k.id, "kind": f.Kind, "error": f.Text, "try": f.Try})
	}
}

// take puts what is recorded of a clip into the report.
func (d *dayRun) take(i int, r day.Record) error {
	var done shoot.Rendered
	if err := json.Unmarshal(r.Detail, &done); err != nil {
		return err
	}
	k := &d.clips[i]
	done.Clip.File = d.store.Path(r.File)
	k.clip, k.shoot.Rendered = &done.Clip, &done
	k.shoot.Warnings = append(k.shoot.Warnings, k.clip.Problems...)
	return nil
}

// explain adds what to do to an error that put the day off.
func (d *dayRun) explain(ctx context.Context, err error) error {
	switch {
	case err == nil || errors.Is(err, errFindings) || hintOf(err) != "":
		return err
	case ctx.Err() != nil:
		return ctx.Err()
	}
	if f, ok := errors.AsType[*day.Failure](err); ok {
		return failureError(f)
	}
	if isDiskFull(err) {
		return withHint(err, "free some space and run the same command: finished clips are kept")
	}
	if errors.Is(err, fs.ErrNotExist) {
		if gone := d.rootGone(); gone != nil {
			return failureError(gone)
		}
	}
	return err
}

func failureError(f *day.Failure) error {
	switch {
	case f.Kind == day.DiskFull:
		return withHint(f, "free some space and run the same command: finished clips are kept")
	case f.Kind == day.SourceGone:
		return withHint(f, "plug the drive in again and run the same command: finished clips are kept")
	case f.Try != "":
		return withHint(f, "%s", f.Try)
	}
	return f
}

// outcome is the day's error and with it its exit code.
func (d *dayRun) outcome() error {
	var first *day.Failure
	failed := 0
	for i := range d.clips {
		f := d.clips[i].failure
		if f == nil {
			continue
		}
		failed++
		if first == nil || !first.StopsAll() && f.StopsAll() {
			first = f
		}
	}
	switch {
	case failed == 0:
	case first.StopsAll():
		return failureError(first)
	case failed == 1:
		return failureError(first)
	default:
		return withHint(fmt.Errorf("%d of %d clips could not be made; the first: %s", failed, len(d.clips), first.Text),
			"the day's page says why for each; the same command tries them again")
	}
	if d.whole.HasFindings() {
		return errFindings
	}
	return nil
}
