package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"syscall"
	"time"

	"stillspan/assemble"
	"stillspan/assemble/day"
	"stillspan/assemble/shoot"
)

// dayTask is all that one render of a day needs, wherever it runs.
type dayTask struct {
	ID          string       `json:"id"`
	Fingerprint string       `json:"fingerprint"`
	Root        string       `json:"root"` // folder of originals
	Out         string       `json:"out"`  // the day's output folder
	Inputs      []day.Input  `json:"inputs"`
	Job         assemble.Job `json:"job"` // writes to the state folder
	// Whole is set for a task that makes the whole clip and not a part.
	Whole bool `json:"whole"`

	done bool // its result stands from an earlier run
}

var dayTaskCommand = command{
	name: "day-task", hidden: true, usage: "SPEC", about: "Runs one task of a day, as 'stillspan day' wrote it.\n",
	run: runDayTask,
}

func runDayTask(ctx context.Context, c *call) error {
	if len(c.args) != 1 {
		return usagef("day-task wants one file")
	}
	var t dayTask
	if err := day.ReadSpec(c.args[0], &t); err != nil {
		return err
	}
	err := t.run(ctx, c.cli)
	if err == nil || ctx.Err() != nil {
		return err
	}
	failure := t.failure(err)
	if store, e := day.Open(t.Out); e == nil {
		_ = store.Fail(t.ID, t.Fingerprint, failure) // on a full disk standard output has to do
	}
	_ = json.NewEncoder(c.stdout).Encode(day.Line{Failure: failure})
	return err
}

// run renders, and makes sure that the stills were there and the same from
// before the first to after the last was read.
func (t *dayTask) run(ctx context.Context, c *cli) error {
	store, err := day.Open(t.Out)
	if err != nil {
		return err
	}
	if err := day.Changed(t.Inputs); err != nil {
		return err
	}
	p, err := assemble.Prepare(ctx, t.Job)
	if err != nil {
		return err
	}
	say := json.NewEncoder(c.stdout)
	var last time.Time
	clip, err := p.Run(ctx, func(done, total int) {
		if now := time.Now(); done == total || now.Sub(last) > 200*time.Millisecond {
			last = now
			_ = say.Encode(day.Line{Done: done, Total: total})
		}
	})
	if err != nil {
		return err
	}
	if err := day.Changed(t.Inputs); err != nil {
		os.RemoveAll(clip.File)
		return err
	}
	detail := shoot.Rendered{Clip: clip, Gaps: t.Job.GapMode}
	if t.Whole {
		if detail.Flashes, err = shoot.Flashes(ctx, &clip); err != nil {
			return err
		}
	}
	_, err = store.Finish(t.ID, t.Fingerprint, clip.File, detail)
	return err
}

// failure tells an engine what it has to know of an error.
func (t *dayTask) failure(err error) *day.Failure {
	if f, ok := errors.AsType[*day.Failure](err); ok {
		return f
	}
	f := &day.Failure{Kind: day.TaskFailed, Text: oneLine(err.Error()), Try: hintOf(err)}
	switch {
	case isDiskFull(err):
		f.Kind = day.DiskFull
	case errors.Is(err, fs.ErrNotExist) || errors.Is(err, syscall.EIO) || errors.Is(err, syscall.ENXIO) || errors.Is(err, syscall.ENODEV):
		if e := day.Changed(t.Inputs[:min(1, len(t.Inputs))]); e != nil || shoot.FolderIsThere(t.Root) != nil {
			f.Kind = day.SourceGone
			f.Text = fmt.Sprintf("the stills in %q are no longer there: %s", t.Root, oneLine(err.Error()))
		}
	}
	return f
}

func isDiskFull(err error) bool {
	return errors.Is(err, syscall.ENOSPC) || errors.Is(err, syscall.EDQUOT)
}
