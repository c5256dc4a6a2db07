package main

import (
	"errors"
	"math"
	"slices"
)

// A cause is one word of the report for missing frames, as a bit.
type cause uint8

const (
	notFired cause = 1 << iota
	fileLost
	numberSkip
	unknown
)

var causeWords = []string{"not-fired", "file-lost", "number-skip", "unknown"}

// missing is one thing that happened to n frames (any of the counts given),
// and the causes that may fairly be named from what lies on the disk.
type missing struct {
	N        []int
	Causes   cause
	Optional bool // may fairly go unsaid
	Either   bool // may be the second of two accounts named as nearly as likely
}

// place is where a shot belongs.
type place struct {
	run  *run
	slot int
	free bool // may be in a sequence or not
}

// files are the shots of one slot.
type files struct{ left, lost int }

// truth is what is true of a dump, from the simulation. Where the files on the
// disk leave it open, it holds all that may fairly be said:
//
//   - Frames lost before the first or after the last that is left leave no
//     trace, unless a plan counts them: they are not counted here.
//   - Numbers missing between two different shoots, or between test stills
//     and a shoot, may be deleted test stills or lost frames: saying so is
//     right, saying nothing too.
//   - Without numbers in the names, lost and never fired look alike: the cause
//     is "unknown", or the careful "lost"; "never fired" only where that is
//     true. More than 10 in a row are like a pause.
//   - Numbers given by an import tell of losses after it. Before it, lost and
//     never fired look alike: "unknown" is right as well, and a still deleted
//     in the camera leaves no hole.
//   - Over a counter's end, the cause of what is missing may be "unknown".
//   - Where an import numbered the stills of two bodies as one, which of them
//     lacks a number cannot be told frame by frame: "lost" is right for all.
//   - Without times, or with a clock too coarse for the interval, by hand, in
//     a ramp, in brackets, or where the clock or the counter was set in the
//     same gap, missing numbers may be lost, numbers only, or unknown, in part
//     each where the clock was set. Without
//     times nobody can see what never fired.
//   - A break after which a shoot goes on with another phase, numbers running
//     on, may be a pause or a clock put forward; up to 40 intervals it may also
//     be as many frames that never fired; beyond 10 intervals, the start of a
//     new shoot.
//   - Frames that never fired for some whole half hours look like a clock set
//     forward: naming both is right, with exit code 3.
//   - Near an end of a shoot, frames beyond a hole may be test stills: naming both
//     is right, with exit code 3.
//   - A second release within an interval may count as a frame or not.
//   - Any exposure of a bracket may stand for its frame; where one is lost, the
//     frame may be missing. A file of the same bytes may stand for another.
//   - Late and double frames, wrong stamps, pauses, set clocks, changed
//     intervals and settings, and no cadence at all may be findings or notes:
//     either exit code is right.
type truth struct {
	Places    map[string]place `json:"-"` // by path
	Missing   []missing
	Exit      int // 0, 3, or -1 for either
	Irregular int // most frames that may be called late, early or double; -1 for any
	Says      []string
	What      []string
	Plan      []planned `json:"-"`
	slots     map[*run]map[int]files
	together  bool // numbered over all bodies
	ends      bool // beyond a hole may be test stills
	sure      bool // no counter's end hides a cause
}

// truth reads the tapes of the simulation. Two files of one name are an error.
func (d *dump) truth() (*truth, error) {
	t := &truth{Places: map[string]place{}, Says: d.says, Plan: d.plan, What: d.what, Irregular: d.irregular, slots: map[*run]map[int]files{}, together: d.together, sure: d.sure, ends: d.ends}
	for _, r := range d.runs {
		t.slots[r] = map[int]files{}
		if r.soft {
			t.Irregular = -1
		}
	}
	for _, b := range d.bodies {
		t.readTape(b)
	}
	n := 0
	for _, b := range d.bodies {
		for _, s := range b.tape {
			for _, name := range s.paths {
				t.Places[name] = place{s.run, s.slot, s.role == doubled}
				n++
			}
		}
	}
	for _, a := range d.aside {
		n++
		if t.Places[a.path] = (place{}); a.of != nil && !a.edit {
			t.Places[a.path] = t.Places[a.of.paths[0]]
		}
	}
	if len(t.Places) < n {
		return nil, errors.New("two files have one name")
	}
	if d.remarks {
		t.Exit = -1
	}
	if slices.ContainsFunc(t.Missing, func(m missing) bool { return m.Optional }) {
		t.Exit = -1
	}
	if d.found || slices.ContainsFunc(t.Missing, func(m missing) bool { return !m.Optional }) ||
		slices.ContainsFunc(d.plan, func(p planned) bool { return !p.delivered && !p.open }) {
		t.Exit = 3
	}
	return t, nil
}

// readTape walks one body's shots, from each that is left to the next.
func (t *truth) readTape(b *body) {
	var last *shot
	var skipped []*shot
	for _, s := range b.tape {
		if s.half {
			t.Missing = append(t.Missing, missing{[]int{1}, fileLost | unknown | numberSkip, true, false})
		}
		if n := t.slots[s.run]; s.role == ofShoot && s.lost {
			n[s.slot] = files{n[s.slot].left, n[s.slot].lost + 1}
		} else if s.role == ofShoot {
			n[s.slot] = files{n[s.slot].left + 1, n[s.slot].lost}
		}
		if s.lost || s.role >= movie {
			skipped = append(skipped, s)
			continue
		}
		if last != nil {
			t.gap(last, s, skipped)
		}
		last, skipped = s, nil
	}
}

// skip is what was skipped between two neighbours that are left.
type skip struct {
	lost, slots, unfired, binned int // files, and slots of these; slots; files
	moved, recounted             bool
}

func tally(skipped []*shot, b *shot) (n skip) {
	slots := map[int]bool{}
	for _, s := range append(slices.Clip(skipped), b) {
		n.moved, n.recounted = n.moved || s.moved, n.recounted || s.recounted
		switch {
		case s.role == unfired:
			n.unfired++
		case s.role == binned:
			n.binned++
		case s.lost:
			n.lost++
			slots[s.slot] = true
		}
	}
	n.slots = max(1, len(slots))
	return n
}

// gap tells what is missing between a and b.
func (t *truth) gap(a, b *shot, between []*shot) {
	skipped := tally(between, b)
	body := b.body
	counted := body.style.number && !skipped.recounted
	timed := body.grainS() > 0
	joined := a.run != nil && b.run != nil && a.run.family == b.run.family
	interval := 0.0
	if joined {
		interval = b.gapS
	}
	vague := !timed || skipped.moved || !joined || b.run.soft || interval < 2*body.grainS()
	add := func(c cause, optional bool, n ...int) {
		if n[0] > 0 {
			halfHours := float64(n[0]) * interval / 1800
			either := c&notFired != 0 && math.Round(halfHours) > 0 && math.Abs(halfHours-math.Round(halfHours))*1800 <= 2+body.grainS()
			m := missing{n, c, optional, either || t.ends}
			if !t.together && !skipped.moved {
				t.Missing = append(t.Missing, m)
				return
			}
			if m.N = []int{1}; t.together {
				m.Causes |= unknown | fileLost
			}
			t.Missing = append(t.Missing, slices.Repeat([]missing{m}, n[0])...)
		}
	}
	if counted {
		c, skip, never := fileLost, numberSkip, notFired
		if a.number > b.number && !t.sure {
			c |= unknown
		}
		if body.style.ordered {
			c, never = c|unknown, never|unknown
		}
		if vague {
			c, skip = fileLost|numberSkip|unknown, fileLost|numberSkip|unknown
		}
		add(c, !joined, skipped.lost, skipped.slots)
		if !body.style.ordered {
			add(skip, !joined, skipped.binned, (skipped.binned+2)/3) // of a bracket, one place
		}
		if !vague {
			add(never, false, skipped.unfired)
		}
	} else if timed && joined && !skipped.moved && !b.run.soft {
		c := unknown | fileLost
		if skipped.lost == 0 || skipped.recounted {
			c |= notFired
		}
		add(c, interval < 2*body.grainS() || a.run != b.run, skipped.lost+skipped.unfired)
	}
	if joined && skipped.moved && timed && !a.wrong && !b.wrong {
		if slots := int(math.Round(b.clock.Sub(a.clock).Seconds()/interval)) - 1 - skipped.lost; slots > 0 && slots <= mayFire+1 {
			t.Missing = append(t.Missing, missing{[]int{slots, slots + 1, max(1, slots-1)}, notFired | unknown, true, false})
		}
	}
}
