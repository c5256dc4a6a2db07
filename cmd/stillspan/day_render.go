package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"sync"
	"time"

	"stillspan/assemble"
	"stillspan/assemble/day"
	"stillspan/assemble/shoot"
	"stillspan/internal/files"
	"stillspan/report"
)

// split makes the tasks of clip i, those that stand from an earlier run set
// aside.
func (d *dayRun) split(i int, inputs []day.Input) error {
	k := &d.clips[i]
	jobs := assemble.Segments(k.job)
	at := map[string]day.Input{}
	for _, in := range inputs {
		at[in.Path] = in
	}
	for n, job := range jobs {
		t := dayTask{
			ID: fmt.Sprintf("%s.%d", k.id, n+1), Root: d.flags.root, Out: d.flags.dir,
			Job: job, Whole: len(jobs) == 1,
		}
		for _, s := range job.Sources {
			t.Inputs = append(t.Inputs, at[s.Path])
		}
		t.Job.Options.Out = d.store.WorkPath(t.ID + job.Ext())
		var err error
		if t.Fingerprint, err = day.Fingerprint(t.Inputs, job, k.fingerprint); err != nil {
			return err
		}
		if _, t.done = d.store.Standing(t.ID, t.Fingerprint); t.done {
			k.tasks = append(k.tasks, t)
			continue
		}
		k.tasks = append(k.tasks, t)
		if d.flags.collect {
			continue
		}
		if err := os.RemoveAll(t.Job.Options.Out); err != nil {
			return err
		}
		if err := d.store.WriteSpec(t.ID, t); err != nil {
			return err
		}
		k.left++
	}
	return nil
}

// render has the tasks run and delivers each clip as its last task ends.
func (d *dayRun) render(ctx context.Context) (handed bool, err error) {
	batch := day.Batch{Finish: append([]string{"day", "--collect"}, d.line...), LogDir: d.store.LogDir()}
	if d.flags.collect {
		return false, d.collect(ctx)
	}
	clipOf := map[string]int{}
	var todo []*dayTask
	for i := range d.clips {
		for n := range d.clips[i].tasks {
			t := &d.clips[i].tasks[n]
			clipOf[t.ID] = i
			if !t.done {
				todo = append(todo, t)
				batch.Tasks = append(batch.Tasks, d.task(t))
			}
		}
	}
	engine, err := d.engine()
	if err != nil {
		return false, err
	}
	d.bar = d.newBar(todo)
	ready := make(chan int, len(d.clips))
	var delivery sync.WaitGroup
	delivery.Go(func() {
		for i := range ready {
			d.deliver(ctx, i)
		}
	})
	for i := range d.clips {
		if k := &d.clips[i]; len(k.tasks) > 0 && k.left == 0 {
			ready <- i // the last run ended between its last task and delivery
		}
	}
	handed, err = engine.Run(ctx, batch, func(e day.Event) {
		i := clipOf[e.Task]
		d.bar.event(e, d.clips[i].id)
		switch e.Kind {
		case day.Started:
			d.log.write("task-started", fields{"sequence": d.clips[i].id, "task": e.Task})
		case day.Ended:
			d.log.write("task-ended", fields{"sequence": d.clips[i].id, "task": e.Task})
			if d.clips[i].left--; d.clips[i].left == 0 {
				ready <- i
			}
		case day.Failed:
			d.fail(i, e.Failure)
		case day.Withheld:
			d.fail(i, &day.Failure{Kind: day.TaskFailed, Text: "put off: another clip's trouble would have been its own"})
		}
	})
	close(ready)
	delivery.Wait()
	d.bar.finish()
	return handed, err
}

// task is what an engine is told of t.
func (d *dayRun) task(t *dayTask) day.Task {
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
	return day.Task{
		ID: t.ID, Args: []string{"day-task", d.store.SpecPath(t.ID)},
		Cost:        float64(len(t.Job.Sources)) * float64(source+clip),
		MemoryBytes: 200e6 + 12*int64(source) + 180*int64(clip),
	}
}

// deliver joins what the tasks of clip i made, looks at it and puts it in its
// place.
func (d *dayRun) deliver(ctx context.Context, i int) {
	k := &d.clips[i]
	if err := d.deliverClip(ctx, k); err != nil {
		if ctx.Err() == nil {
			d.fail(i, taskFailure(err))
		}
		return
	}
	r, _ := d.store.Record(k.id)
	d.mu.Lock()
	err := d.take(i, r)
	d.mu.Unlock()
	if err != nil {
		d.fail(i, taskFailure(err))
		return
	}
	d.log.write("clip", fields{
		"sequence": k.id, "file": k.name, "frames": k.clip.Frames, "bytes": r.Bytes, "sha256": r.SHA256, "verified": k.clip.Verified,
	})
}

func (d *dayRun) deliverClip(ctx context.Context, k *dayClip) error {
	work := make([]string, len(k.tasks))
	for n, t := range k.tasks {
		work[n] = t.Job.Options.Out
	}
	detail := shoot.Rendered{Gaps: k.job.GapMode}
	from := work[0]
	if len(k.tasks) == 1 {
		r, _ := d.store.Record(k.tasks[0].ID)
		if err := json.Unmarshal(r.Detail, &detail); err != nil {
			return err
		}
	} else {
		from = d.store.WorkPath(k.id + k.job.Ext())
		job := k.job
		job.Options.Out = from
		clip, err := assemble.Join(ctx, job, work)
		if err != nil {
			return err
		}
		detail.Clip = clip
		if detail.Flashes, err = shoot.Flashes(ctx, &clip); err != nil {
			return err
		}
	}
	to, err := d.store.Deliver(k.id, from, k.name)
	if err != nil {
		return err
	}
	detail.Clip.File = to
	if _, err := d.store.Finish(k.id, k.fingerprint, to, detail); err != nil {
		return err
	}
	for n, t := range k.tasks {
		if err := d.store.Drop(t.ID, work[n]); err != nil {
			return err
		}
	}
	return nil
}

// collect delivers what a cluster's tasks made.
func (d *dayRun) collect(ctx context.Context) error {
	for i := range d.clips {
		k := &d.clips[i]
		for _, t := range k.tasks {
			if t.done {
				continue
			}
			f := &day.Failure{Kind: day.TaskFailed, Text: "the cluster did not finish " + t.ID, Try: "see the logs in " + d.store.LogDir()}
			if r, ok := d.store.Record(t.ID); ok && r.Failure != nil && r.Fingerprint == t.Fingerprint {
				f = r.Failure
			}
			d.fail(i, f)
		}
		if len(k.tasks) > 0 && k.failure == nil {
			d.deliver(ctx, i)
		}
		if ctx.Err() != nil {
			return ctx.Err()
		}
	}
	return d.cluster("").Forget()
}

// handedOver tells where a cluster's work is to be found, and waits for it when
// that was asked for.
func (d *dayRun) handedOver(ctx context.Context) error {
	cluster := d.cluster("")
	job := cluster.Job()
	d.log.write("handed-over", fields{"engine": d.flags.on, "job": job})
	d.store.Unlock()
	if !d.flags.out.quiet {
		fmt.Fprintf(d.stderr, "handed to the cluster; job %s collects the clips and writes %s\n", job, filepath.Join(d.flags.dir, dayPage))
	}
	if !d.flags.wait {
		return nil
	}
	code, err := cluster.Wait(ctx, job)
	switch {
	case err != nil:
		return err
	case code == exitFindings:
		return errFindings
	case code != exitOK:
		return withHint(fmt.Errorf("the day ended with exit code %d on the cluster", code), "see %s", filepath.Join(d.store.LogDir(), "finish.log"))
	}
	return nil
}

// dayPage is the page of the whole day in the output folder.
const dayPage = "index.html"

// report writes a page a sequence, the day's page, and the whole as data.
func (d *dayRun) report(ctx context.Context) error {
	if err := takeStrips(ctx, d.found); err != nil {
		return err
	}
	d.whole = d.call.report(d.found)
	write := func(name string, fill func(io.Writer) error) error { return files.Write(d.store.Path(name), fill) }
	page := report.Day{Title: d.title(), Report: d.whole, Pages: map[string]string{}, Clips: map[string]string{}}
	for i := range d.clips {
		k := &d.clips[i]
		page.Pages[k.id] = k.id + ".html"
		if k.clip != nil {
			page.Clips[k.id] = k.name
		}
		one := *d.whole
		one.Sequences = d.whole.Sequences[i : i+1]
		one.Loose, one.Ignored, one.Unreadable, one.NotFound, one.Warnings, one.Findings = nil, nil, nil, nil, nil, nil
		if err := write(page.Pages[k.id], func(w io.Writer) error { return report.WriteHTML(w, &one) }); err != nil {
			return err
		}
	}
	if err := write(dayPage, func(w io.Writer) error { return report.WriteDayHTML(w, page) }); err != nil {
		return err
	}
	for name, fill := range map[string]func(io.Writer, *report.Report) error{"day.json": report.WriteJSON, "frames.csv": report.WriteCSV} {
		if err := write(name, func(w io.Writer) error { return fill(w, d.whole) }); err != nil {
			return err
		}
	}
	return d.flags.out.write(d.cli, d.whole)
}

// title names the day by its date, or by its first and last where there are
// several; by the folder where the stills carry no time.
func (d *dayRun) title() string {
	const long = "2 January 2006"
	var first, last time.Time
	for _, s := range d.found.Shoots {
		frames := s.Sequence.Frames
		from, to := frames[0].Facts.Taken, frames[len(frames)-1].Facts.Taken
		if !from.IsZero() && (first.IsZero() || from.Before(first)) {
			first = from
		}
		if to.After(last) {
			last = to
		}
	}
	switch a, b := first.Format(long), last.Format(long); {
	case first.IsZero() || last.IsZero():
		return filepath.Base(d.flags.root)
	case a == b:
		return a
	default:
		return a + " to " + b
	}
}
