package main

import (
	"fmt"
	"strings"

	"stillspan/assemble/day"
)

// dayBar shows how far the day is and which clip moved last; the bar alone says
// what time is left. Its methods are called one at a time.
type dayBar struct {
	*course
	move   func(done, total int)
	frames map[string]int // of each task
	done   map[string]int
	all    int // frames of all tasks
	ended  int // tasks
}

func newDayBar(d *day.Day, course *course) *dayBar {
	b := &dayBar{course: course, move: course.part(course.total - course.begun), frames: map[string]int{}, done: map[string]int{}}
	for _, t := range d.Tasks() {
		b.frames[t.ID] = t.Frames
		b.all += t.Frames
	}
	return b
}

// event takes note of what happened to a task.
func (b *dayBar) event(e day.Event) {
	switch e.Kind {
	case day.Progressed:
		b.done[e.Task] = e.Done * b.frames[e.Task] / e.Total
	case day.Ended, day.Failed, day.Withheld:
		b.done[e.Task] = b.frames[e.Task]
		b.ended++
	}
	b.describe(fmt.Sprintf("%d of %d clips, %s", b.ended, len(b.frames), b.current(e)))
	sum := 0
	for _, n := range b.done {
		sum += n
	}
	b.move(sum, b.all)
}

// current says how far the task is.
func (b *dayBar) current(e day.Event) string {
	id := e.Task[:strings.LastIndexByte(e.Task, '.')] // of its sequence
	done, of := b.done[e.Task], b.frames[e.Task]
	if done == 0 || done >= of {
		return id
	}
	return fmt.Sprintf("%s %d %%", id, 100*done/of)
}
