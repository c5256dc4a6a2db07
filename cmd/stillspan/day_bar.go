package main

import (
	"fmt"
	"strings"
	"time"

	"stillspan/assemble/day"
)

// dayBar shows how far the day is, and the clip that moved last, with the time
// each has left. Its methods are called one at a time.
type dayBar struct {
	*progress
	frames map[string]int // of each task
	done   map[string]int
	began  map[string]time.Time
	total  int // frames of all tasks
	ended  int // tasks
}

func (c *call) newDayBar(d *day.Day) *dayBar {
	b := &dayBar{frames: map[string]int{}, done: map[string]int{}, began: map[string]time.Time{}}
	for _, t := range d.Tasks() {
		b.frames[t.ID] = t.Frames
		b.total += t.Frames
	}
	b.progress = c.progress("rendering", b.total)
	return b
}

// event takes note of what happened to a task.
func (b *dayBar) event(e day.Event) {
	switch e.Kind {
	case day.Started:
		b.began[e.Task] = time.Now()
	case day.Progressed:
		b.done[e.Task] = e.Done * b.frames[e.Task] / e.Total
	case day.Ended, day.Failed, day.Withheld:
		b.done[e.Task] = b.frames[e.Task]
		b.ended++
	}
	if b.bar == nil {
		return
	}
	b.bar.Describe(fmt.Sprintf("%d of %d done; %s", b.ended, len(b.frames), b.current(e)))
	sum := 0
	for _, n := range b.done {
		sum += n
	}
	b.set(sum, b.total)
}

// current says how far the task is and how long it will take by its pace so
// far.
func (b *dayBar) current(e day.Event) string {
	id := e.Task[:strings.LastIndexByte(e.Task, '.')] // of its sequence
	done, of := b.done[e.Task], b.frames[e.Task]
	if done == 0 || done >= of {
		return id
	}
	left := time.Since(b.began[e.Task]) * time.Duration(of-done) / time.Duration(done)
	return fmt.Sprintf("%s %d %%, %s left", id, 100*done/of, left.Round(time.Second))
}
