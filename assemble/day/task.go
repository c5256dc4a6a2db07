package day

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"time"

	"stillspan/assemble"
	"stillspan/assemble/flash"
	"stillspan/assemble/shoot"
)

// task is all that one render of a day needs, wherever it runs.
type task struct {
	ID          string       `json:"id"`
	Fingerprint string       `json:"fingerprint"`
	Root        string       `json:"root"` // folder of originals
	Out         string       `json:"out"`  // the day's output folder
	Inputs      []Input      `json:"inputs"`
	Job         assemble.Job `json:"job"` // writes to the state folder
	// Whole is set for a task that makes the whole clip and not a part.
	Whole bool `json:"whole"`

	done bool // its result stands from an earlier run
}

// split makes the tasks of a clip, those that stand from an earlier run set
// aside.
func (d *Day) split(c *Clip, inputs []Input) error {
	jobs := assemble.Segments(c.job)
	at := map[string]Input{}
	for _, in := range inputs {
		at[in.Path] = in
	}
	for n, job := range jobs {
		t := task{ID: fmt.Sprintf("%s.%d", c.id(), n+1), Root: d.Root, Out: d.Out, Job: job, Whole: len(jobs) == 1}
		for _, s := range job.Sources {
			t.Inputs = append(t.Inputs, at[s.Path])
		}
		t.Job.Out = d.store.WorkPath(t.ID + job.Ext())
		var err error
		if t.Fingerprint, err = Fingerprint(t.Inputs, job, c.fingerprint); err != nil {
			return err
		}
		if _, t.done = d.store.Standing(t.ID, t.Fingerprint); t.done && !t.Whole {
			t.done = readGob(d.store.partPath(t.ID), new(flash.Part)) == nil
		}
		if !t.done && !d.Collect {
			if err := os.RemoveAll(t.Job.Out); err != nil {
				return err
			}
			if err := d.store.WriteSpec(t.ID, t); err != nil {
				return err
			}
			c.left++
		}
		c.tasks = append(c.tasks, t)
	}
	return nil
}

// order is what an engine is told of t.
func (t *task) order(spec string) Task {
	var source int
	for _, s := range t.Job.Sources {
		source = max(source, s.Width*s.Height)
	}
	clip := source
	if o := t.Job.Options; o.Width*o.Height > 0 {
		clip = o.Width * o.Height
	} else {
		clip = min(clip, 3840*2160)
	}
	// A plain ffmpeg run from 24-megapixel stills to 3840x2160 holds 1.7 to
	// 2.0 GB, most of it in the encoder.
	return Task{
		ID: t.ID, Args: []string{"day-task", spec}, Frames: len(t.Job.Sources),
		Cost:        float64(len(t.Job.Sources)) * float64(source+clip),
		MemoryBytes: 200e6 + 12*int64(source) + 180*int64(clip),
	}
}

// RunTask does what a file says that Prepare wrote. It tells the engine of its
// progress, and of its failure, on out.
func RunTask(ctx context.Context, spec string, out io.Writer) error {
	var t task
	if err := ReadSpec(spec, &t); err != nil {
		return err
	}
	say := json.NewEncoder(out)
	err := t.run(ctx, say)
	if err == nil || ctx.Err() != nil {
		return err
	}
	f := failureOf(err, t.Root, t.Inputs)
	if store, e := Open(t.Out); e == nil {
		_ = store.Fail(t.ID, t.Fingerprint, f) // on a full disk out has to do
	}
	_ = say.Encode(Line{Failure: f})
	return err
}

// progressStep is how often a task tells of its progress.
const progressStep = 200 * time.Millisecond

// run renders, and makes sure that the stills were there and the same from
// before the first to after the last was read.
func (t *task) run(ctx context.Context, say *json.Encoder) error {
	store, err := Open(t.Out)
	if err != nil {
		return err
	}
	if err := Changed(t.Inputs); err != nil {
		return err
	}
	var last time.Time
	done, part, err := shoot.RenderPart(ctx, t.Job, store.proofPath(t.ID), func(done, total int) {
		if now := time.Now(); done == total || now.Sub(last) > progressStep {
			last = now
			_ = say.Encode(Line{Done: done, Total: total})
		}
	})
	if err != nil {
		return err
	}
	if err := Changed(t.Inputs); err != nil {
		os.RemoveAll(done.Clip.File)
		return err
	}
	if !t.Whole {
		if err := writeGob(store.partPath(t.ID), part); err != nil {
			return err
		}
	}
	_, err = store.Finish(t.ID, t.Fingerprint, done.Clip.File, done)
	return err
}
