package main

import (
	"fmt"
	"math"
)

// A cause is one word of the report for missing frames, as a bit.
type cause uint8

const (
	notFired cause = 1 << iota
	fileLost
	numberSkip
	unknown
)

var causeWords = map[string]cause{"not-fired": notFired, "file-lost": fileLost, "number-skip": numberSkip, "unknown": unknown}

// missing is one thing that happened to n frames (any of the counts given),
// and the causes that may fairly be named from what lies on the disk.
type missing struct {
	N        []int
	Causes   cause
	Optional bool // may fairly go unsaid
}

// place is where a shot belongs.
type place struct {
	run  *run
	slot int
	free bool // may be in a sequence or not
}

// truth is what is true of a dump, from the simulation; where the files on the
// disk leave it open, all that may fairly be said:
//
//   - Frames lost before the first or after the last that is left leave no
//     trace, unless a plan counts them: they are not counted here.
//   - Numbers missing between two different shoots, or between test stills
//     and a shoot, may be deleted test stills or lost frames: saying so is
//     right, saying nothing too.
//   - Without numbers in the names, lost and never fired look alike: the cause
//     is "unknown", or the careful "lost"; "never fired" only where that is true.
//     More than 10 of them are like a pause.
//   - Numbers given by an import tell of losses after it. Before it, lost and
//     never fired look alike: "unknown" is right as well.
//   - Without times, or with a clock too coarse for the interval, or by hand,
//     in a ramp, in brackets, or where the clock or the counter was set in the
//     same gap, missing numbers may be lost, numbers only, or unknown.
//     Without times nobody can see what never fired.
//   - A break after which a shoot goes on with another phase, numbers running
//     on, may be a pause or a clock put forward; up to 40 intervals it may also
//     be as many frames that never fired; beyond 10 intervals, the start of a
//     new shoot.
//   - A still deleted before an import that numbers anew leaves no hole.
//   - A second release within an interval may count as a frame or not.
type truth struct {
	Places    map[string]place `json:"-"`
	Runs      []runTruth
	Missing   []missing
	Exit      int // 0, 3, or -1 for either
	Irregular int // most frames that may be called late, early or double; -1 for any
	Says      []string
	Plan      []planned
	What      []string
	needs     map[*run]map[int]bool // slots that must be there; false: may
}

type runTruth struct {
	Body           string
	Family, Frames int
	IntervalS      float64
}

func (t *truth) clean() bool { return t.Exit == 0 }

// truth reads the tapes of the simulation.
func (d *dump) truth() (*truth, error) {
	t := &truth{Places: map[string]place{}, Says: d.says, Plan: d.plan, What: d.what, Irregular: d.irregular, needs: map[*run]map[int]bool{}}
	for _, b := range d.bodies {
		if err := t.body(b); err != nil {
			return nil, err
		}
	}
	for _, a := range d.aside {
		if _, twice := t.Places[a.path]; twice {
			return nil, fmt.Errorf("two files named %q", a.path)
		}
		if t.Places[a.path] = (place{}); a.of != nil && !a.edit { // the same bytes: either file may stand for the frame
			t.Places[a.path] = t.Places[a.of.paths[0]]
		}
	}
	for _, r := range d.runs {
		if r.soft {
			t.Irregular = -1
		}
		t.Runs = append(t.Runs, runTruth{r.body.dir + " " + r.body.maker + " " + r.body.model + " " + r.body.serial, r.family, len(t.needs[r]), r.intervalS})
	}
	if t.exit(d.remarks); d.found {
		t.Exit = 3
	}
	return t, nil
}

func (t *truth) body(b *body) error {
	var last *shot
	var skipped []*shot
	for _, s := range b.tape {
		for _, name := range s.paths {
			if _, twice := t.Places[name]; twice {
				return fmt.Errorf("two files named %q", name)
			}
			t.Places[name] = place{run: s.run, slot: s.slot, free: s.role == doubled}
		}
		if s.role == ofShoot {
			if t.needs[s.run] == nil {
				t.needs[s.run] = map[int]bool{}
			}
			whole, known := t.needs[s.run][s.slot]
			if s.lost && known || !s.lost {
				t.needs[s.run][s.slot] = !s.lost && (whole || !known) // of a bracket, the chosen exposure may be the lost one
			}
		}
		if s.half {
			t.Missing = append(t.Missing, missing{N: []int{1}, Causes: fileLost | unknown | numberSkip, Optional: true})
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
	return nil
}

// gap tells what is missing between two neighbours that are left.
func (t *truth) gap(a, b *shot, skipped []*shot) {
	var lost, unfiredN, deleted int
	slots := map[int]bool{}
	moved, recounted := b.moved, b.recounted
	for _, s := range skipped {
		moved, recounted = moved || s.moved, recounted || s.recounted
		switch {
		case s.role == unfired:
			unfiredN++
		case s.role == binned:
			deleted++
		case s.lost:
			lost++
			slots[s.slot] = true
		}
	}
	body := b.body
	counted := body.style.number && !recounted
	timed := body.grainS() > 0
	joined := a.run != nil && b.run != nil && a.run.family == b.run.family
	interval := 0.0
	if joined {
		interval = b.run.intervalS
	}
	vague := !timed || moved || !joined || b.run.soft || interval < 2*body.grainS()
	add := func(c cause, optional bool, n ...int) {
		if n[0] > 0 {
			t.Missing = append(t.Missing, missing{n, c, optional})
		}
	}
	if counted {
		c, skip, never := fileLost, numberSkip, notFired
		if body.style.ordered {
			c, never = c|unknown, never|unknown
		}
		if vague {
			c, skip = fileLost|numberSkip|unknown, fileLost|numberSkip|unknown
		}
		add(c, !joined, lost, max(1, len(slots)))
		if !body.style.ordered {
			add(skip, !joined, deleted)
		}
		if !vague {
			add(never, false, unfiredN)
		}
	} else if timed && joined && !moved && !b.run.soft {
		c := unknown | fileLost
		if lost == 0 || recounted {
			c |= notFired
		}
		add(c, interval < 2*body.grainS() || a.run != b.run, lost+unfiredN)
	}
	if joined && moved && timed && !a.wrong && !b.wrong {
		if slots := int(math.Round(b.clock.Sub(a.clock).Seconds()/interval)) - 1 - lost; slots > 0 && slots <= mayFire+1 {
			add(notFired|unknown, true, slots, slots+1, max(1, slots-1))
		}
	}
}

// exit says which exit codes may fairly come.
func (t *truth) exit(remarks bool) {
	for _, m := range t.Missing {
		if m.Optional {
			remarks = true
		} else {
			t.Exit = 3
		}
	}
	for _, p := range t.Plan {
		if !p.delivered && !p.open {
			t.Exit = 3
		}
	}
	if remarks && t.Exit == 0 {
		t.Exit = -1
	}
}
