package day

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"sync"

	"stillspan/assemble"
	"stillspan/assemble/flash"
	"stillspan/assemble/shoot"
	"stillspan/deflicker"
	"stillspan/internal/problem"
)

// Tasks are those that Render is going to have run.
func (d *Day) Tasks() []Task {
	var out []Task
	for _, c := range d.Clips {
		for n := range c.tasks {
			if t := &c.tasks[n]; !t.done {
				out = append(out, t.order(d.store.SpecPath(t.ID)))
			}
		}
	}
	return out
}

// Render has the tasks run and delivers each clip as its last task ends; on is
// told of what happens to them, one thing at a time.
func (d *Day) Render(ctx context.Context, on func(Event)) error {
	if d.Collect {
		return d.collect(ctx)
	}
	for _, c := range d.Clips {
		if c.left > 0 {
			os.Remove(d.store.proofPath(c.id())) // of a clip that is no more
		}
	}
	b := Batch{Tasks: d.Tasks(), Finish: d.Finish, LogDir: d.store.LogDir()}
	if d.Slurm == nil {
		return d.renderHere(ctx, b, on)
	}
	if err := d.cluster().Run(ctx, b); err != nil {
		return err
	}
	d.Handed = true
	d.log("handed-over", map[string]any{"engine": "slurm", "job": d.cluster().Job()})
	d.store.Unlock()
	return nil
}

// renderHere renders on this machine, and delivers while it does.
func (d *Day) renderHere(ctx context.Context, b Batch, on func(Event)) error {
	of := map[string]*Clip{}
	ready := make(chan *Clip, len(d.Clips))
	for _, c := range d.Clips {
		for _, t := range c.tasks {
			of[t.ID] = c
		}
		if len(c.tasks) > 0 && c.left == 0 {
			ready <- c // the last run ended between its last task and delivery
		}
	}
	var delivery sync.WaitGroup
	delivery.Go(func() {
		for c := range ready {
			d.deliver(ctx, c)
		}
	})
	local := &Local{Program: d.Program, Limits: d.Limits, Store: d.store, OwnTemp: true}
	err := local.Run(ctx, b, func(e Event) {
		on(e)
		if c := of[e.Task]; d.note(c, e) {
			ready <- c
		}
	})
	close(ready)
	delivery.Wait()
	if errors.Is(err, ErrStopped) {
		return nil // the clips that failed say why
	}
	return err
}

// note takes note of what happened to a task of a clip, and tells whether it was
// the clip's last.
func (d *Day) note(c *Clip, e Event) (last bool) {
	switch e.Kind {
	case Started:
		d.log("task-started", map[string]any{"sequence": c.id(), "task": e.Task})
	case Ended:
		d.log("task-ended", map[string]any{"sequence": c.id(), "task": e.Task})
		c.left--
		return c.left == 0
	case Failed:
		d.fail(c, e.Failure)
	case Withheld:
		d.fail(c, &Failure{Kind: TaskFailed, Text: "put off: another clip's trouble would have been its own"})
	}
	return false
}

// deliver joins what the tasks of a clip made and puts it in its place.
func (d *Day) deliver(ctx context.Context, c *Clip) {
	r, err := d.deliverClip(ctx, c)
	if err == nil {
		d.mu.Lock()
		err = d.take(c, r)
		d.mu.Unlock()
	}
	if err != nil {
		if ctx.Err() == nil {
			d.fail(c, failureOf(err, d.Root, nil))
		}
		return
	}
	clip := &c.Shoot.Rendered.Clip
	d.log("clip", map[string]any{
		"sequence": c.id(), "file": c.Name, "frames": clip.Frames, "bytes": r.Bytes, "sha256": r.SHA256, "verified": clip.Verified,
	})
}

func (d *Day) deliverClip(ctx context.Context, c *Clip) (Record, error) {
	work := make([]string, len(c.tasks))
	for n, t := range c.tasks {
		work[n] = t.Job.Out
	}
	done, from, err := d.joined(ctx, c, work)
	if err != nil {
		return Record{}, err
	}
	d.joinProofs(ctx, c)
	to, err := d.store.Deliver(c.id(), from, c.Name, d.Overwrite)
	if err != nil {
		return Record{}, err
	}
	done.Clip.File = to
	r, err := d.store.Finish(c.id(), c.fingerprint, to, done)
	if err != nil {
		return r, err
	}
	for _, t := range c.tasks {
		if err := d.store.Drop(t.ID); err != nil {
			return r, err
		}
	}
	for n, t := range c.tasks {
		if err := errors.Join(os.RemoveAll(work[n]), os.RemoveAll(d.store.partPath(t.ID))); err != nil {
			return r, err
		}
	}
	return r, nil
}

// joined is what the tasks of a clip made of it together, and where the clip lies.
func (d *Day) joined(ctx context.Context, c *Clip, work []string) (done shoot.Rendered, from string, err error) {
	parts := make([]shoot.Rendered, len(c.tasks))
	for n, t := range c.tasks {
		parts[n].Gaps = c.job.GapMode
		r, _ := d.store.Record(t.ID)
		if err := json.Unmarshal(r.Detail, &parts[n]); err != nil {
			return done, "", err
		}
	}
	if len(parts) == 1 {
		return parts[0], work[0], nil
	}
	job := c.job
	job.Out = d.store.WorkPath(c.id() + c.job.Ext())
	done.Gaps = c.job.GapMode
	if done.Clip, err = assemble.Join(ctx, job, work); err != nil {
		return done, "", err
	}
	flashes := make([]flash.Part, len(parts))
	light := make([]deflicker.Figures, len(parts))
	for n, t := range c.tasks {
		light[n] = parts[n].Light
		done.Clip.Problems = append(done.Clip.Problems, parts[n].Clip.Problems...)
		if err := readGob(d.store.partPath(t.ID), &flashes[n]); err != nil {
			return done, "", err
		}
	}
	done.Flashes, done.Light = flash.Join(flashes), deflicker.Joined(light)
	return done, job.Out, nil
}

// joinProofs makes a clip's proof of its tasks', unless a run that ended before
// it delivered the clip has. Without one the page shows stills only.
func (d *Day) joinProofs(ctx context.Context, c *Clip) {
	parts := make([]string, len(c.tasks))
	for n, t := range c.tasks {
		parts[n] = d.store.proofPath(t.ID)
		defer os.Remove(parts[n])
	}
	if _, err := os.Stat(parts[0]); err != nil {
		return
	}
	to := d.store.proofPath(c.id())
	os.Remove(to)
	if len(parts) == 1 {
		_ = os.Rename(parts[0], to)
	} else if assemble.JoinProofs(ctx, to, parts) != nil {
		os.Remove(to)
	}
}

// Proof is where the proof of a clip lies, if there is one.
func (d *Day) Proof(c *Clip) string { return d.store.proofPath(c.id()) }

// collect delivers what a cluster's tasks made.
func (d *Day) collect(ctx context.Context) error {
	for _, c := range d.Clips {
		for _, t := range c.tasks {
			if t.done {
				continue
			}
			f := &Failure{Kind: TaskFailed, Text: "the cluster did not finish " + t.ID, Try: "see the logs in " + d.store.LogDir()}
			if r, ok := d.store.Record(t.ID); ok && r.Failure != nil && r.Fingerprint == t.Fingerprint {
				f = r.Failure
			}
			d.fail(c, f)
		}
		if len(c.tasks) > 0 && c.Failure == nil {
			d.deliver(ctx, c)
		}
		if ctx.Err() != nil {
			return ctx.Err()
		}
	}
	return d.cluster().Forget()
}

// Job is the cluster's job that collects the clips.
func (d *Day) Job() string { return d.cluster().Job() }

// Wait returns the exit code of the run that collects the clips, once it has
// ended.
func (d *Day) Wait(ctx context.Context) (int, error) {
	cluster := d.cluster()
	code, err := cluster.Wait(ctx, cluster.Job())
	if err == nil && code != 0 {
		return code, problem.Hint(fmt.Errorf("the day ended with exit code %d on the cluster", code), "see %s", filepath.Join(d.store.LogDir(), "finish.log"))
	}
	return code, err
}
