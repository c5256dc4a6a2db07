package main

import (
	"fmt"
	"math"
	"path"
	"time"
)

func several(n int) func(d *dump) {
	return func(d *dump) {
		b, s := d.one()
		s.frames = max(s.frames, 60*n)
		s.taken = make([]bool, s.frames)
		for done := 0; done < n; {
			if f := faults[d.r.IntN(len(faults))]; f.add(d, b, s) {
				done++
			} else if d.chance(0.1) {
				break
			}
		}
		d.shoot(b, s)
	}
}

// changed sets the interval to another in mid-shoot without a stop.
func (d *dump) changed(back bool) {
	b, s := d.one()
	s.frames = 60 + d.r.IntN(150)
	s.taken = make([]bool, s.frames)
	least := math.Max(2*b.grainS(), b.style.leastS)
	other := s.intervalS
	for other == s.intervalS || other < least {
		other = math.Round(100*s.intervalS*oneOf(d.r, 0.5, 2, 3, 1.5, 4, between(d.r, 0.4, 0.8), between(d.r, 1.3, 5))) / 100
	}
	from, to := s.frames/4+d.r.IntN(s.frames/6), s.frames
	if back {
		to = 3*s.frames/4 - d.r.IntN(s.frames/6)
	}
	first := s.intervalS
	s.gap = func(k int) float64 {
		if k >= from && k < to {
			return other
		}
		return first
	}
	d.says = append(d.says, "interval")
	d.mayRemark(2)
	d.say("interval %g s, from slot %d to %d %g s", first, from, to, other)
	d.shoot(b, s)
}

// ramp is a shoot whose interval grows or shrinks from frame to frame by a
// factor or an amount.
func (d *dump) ramp(b *body) *script {
	s := newScript(d.r, 80+d.r.IntN(160), 0)
	from := between(d.r, 2.5, 5) * math.Max(1, b.grainS())
	to := from * between(d.r, 3, 8)
	if d.chance(0.3) {
		from, to = to, from
	}
	n := float64(s.frames)
	s.gap = func(k int) float64 { return from + (to-from)*float64(k)/n }
	if d.chance(0.5) {
		s.gap = func(k int) float64 { return from * math.Pow(to/from, float64(k)/n) }
	}
	s.intervalS, s.soft, s.jitterS = from, true, 0.01
	d.remarks = true
	b.look.exposureS = 0.01
	d.say("interval ramped from %.1f to %.1f s", from, to)
	return s
}

// byHand is a shoot fired by hand, each frame 2 to 9 s after the last.
func (d *dump) byHand(b *body) *script {
	s := newScript(d.r, 40+d.r.IntN(80), 5)
	steps := make([]float64, s.frames)
	for k := range steps {
		steps[k] = between(d.r, 2, 9)
	}
	s.gap = func(k int) float64 { return steps[k] }
	s.soft = true
	d.remarks = true
	b.look.exposureS = 0.01
	d.say("fired by hand")
	return s
}

// twins are two bodies of one model, mostly without serial numbers, side by
// side; their clocks are 1 s to 1 h apart.
func (d *dump) twins(tell func(i int, b *body)) {
	st := styleOf(oneOf(d.r, "dcf", "dcf-flat"))
	if d.together {
		st = styleOf("unpadded")
	}
	a := d.camera(st)
	s := d.script(a)
	a.serial = oneOf(d.r, "", "", "1107")
	b := d.camera(st)
	b.maker, b.model, b.look, b.prefix, b.exifGrainS, b.offset = a.maker, a.model, a.look, a.prefix, a.exifGrainS, a.offset
	b.folder = a.folder
	if a.serial != "" {
		b.serial = "2208"
	} else {
		b.serial = ""
	}
	// Were they not at work together, one body's two shoots would look alike.
	apartS := math.Min(3600, 0.4*s.intervalS*float64(s.frames))
	if d.chance(0.5) {
		apartS = math.Min(30, apartS)
	}
	b.start = a.start.Add(time.Duration(between(d.r, 1, apartS) * 1e9))
	for i, x := range d.bodies {
		tell(i, x)
		again := *s
		again.at = map[int]*event{}
		again.taken = make([]bool, s.frames)
		if i == 1 && d.chance(0.3) {
			again = *newScript(d.r, s.frames, s.intervalS+oneOf(d.r, 1.0, 2, 3))
		}
		d.maybe(x, &again)
		d.shoot(x, &again)
	}
}

// kept are the stills of a body that were not lost.
func (b *body) kept() []*shot {
	var out []*shot
	for _, s := range b.tape {
		if s.kept() {
			out = append(out, s)
		}
	}
	return out
}

// name is the file of a shot, for styles that name no place in a list.
func (b *body) name(s *shot) string {
	i, n := 0, 0
	for _, x := range b.tape {
		if x.role != unfired && x.role != binned {
			if n++; x == s {
				i = n
			}
		}
	}
	return path.Join(b.dir, b.style.path(s, i, n))
}

// pairs is a shoot in raw and JPEG, of which some have lost one of the two.
func (d *dump) pairs(halves int) {
	b := d.camera(styleOf(oneOf(d.r, "dcf", "dcf-flat", "five-digits")))
	b.pair = true
	if d.chance(0.3) {
		b.raws = "raw"
	}
	s := d.script(b)
	if halves == 0 {
		d.maybe(b, s)
	}
	for range halves {
		if k, ok := s.place(d.r, 1); ok {
			s.event(k).half = true
			d.found = true
		}
	}
	if d.found {
		d.says = append(d.says, `raw|jpe?g|pair|companion`)
		d.say("%d frames have lost one of two files", halves)
	}
	d.shoot(b, s)
}

// card changes the card in mid-shoot. The intervalometer runs on; frames due
// meanwhile do not fire.
func (d *dump) card(recount bool, lost int) {
	b := d.camera(styleOf(oneOf(d.r, "dcf", "dcf-flat", "five-digits")))
	s := newScript(d.r, 100+d.r.IntN(100), d.interval(b))
	d.cards = true
	missed := int(between(d.r, 20, 60) / s.intervalS)
	k, _ := s.place(d.r, lost+missed+1)
	for i := range lost {
		s.event(k + i).lost = true
	}
	for i := range missed {
		s.event(k + lost + i).unfired = true
	}
	e := s.event(k + lost + missed)
	e.card, e.recount = true, recount
	d.say("card changed before slot %d, %d did not fire, %d lost", k+lost+missed, missed, lost)
	d.shoot(b, s)
}

func (d *dump) rollover(name string) {
	b := d.camera(styleOf(name))
	s := d.script(b)
	b.number = b.top - s.frames/4 - d.r.IntN(s.frames/2)
	d.maybe(b, s)
	d.shoot(b, s)
}

// turned is two shoots of one body with a short break: another view and
// another interval.
func (d *dump) turned(planned bool) {
	b, s := d.one()
	family := d.shoot(b, s)
	if planned {
		d.planned(b, s, "first view", family)
	}
	b.now += between(d.r, 20, 100)
	b.look.focalMM += 20
	b.look.exposureS /= 2
	for first := s.intervalS; s.intervalS/first < 1.4 && first/s.intervalS < 1.4; {
		s = d.script(b)
	}
	family = d.shoot(b, s)
	if planned {
		d.planned(b, s, "second view", family)
	}
}

// tests fires stills by hand before or after a shoot, too far from it to be
// of its cadence.
func (d *dump) tests(before, after bool) {
	b, s := d.one()
	apartS := func() float64 { return s.intervalS * (float64(2+d.r.IntN(5)) + between(d.r, 0.35, 0.65)) }
	if before {
		d.testStills(b, 1+d.r.IntN(4))
		b.now = b.lastS() + apartS()
	}
	d.maybe(b, s)
	d.shoot(b, s)
	if after {
		b.now += apartS()
		d.testStills(b, 1+d.r.IntN(4))
	}
}

// lastS is the moment of the last release.
func (b *body) lastS() float64 {
	return b.tape[len(b.tape)-1].clock.Sub(b.start).Seconds()
}

// planned writes what was shot into the plan: the frames that the script
// meant, in a window about the first.
func (d *dump) planned(b *body, s *script, name string, family int) {
	p := planned{name: name, frames: s.frames, intervalS: s.intervalS, family: family}
	left := 0
	for _, x := range b.tape {
		if x.run == nil || x.run.family != family {
			continue
		}
		if p.from.IsZero() {
			p.from = x.clock.Truncate(time.Minute).Add(-time.Duration(1+d.r.IntN(10)) * time.Minute)
			p.to = x.clock.Truncate(time.Minute).Add(time.Duration(2+d.r.IntN(10)) * time.Minute)
		}
		if x.role == ofShoot && !x.lost {
			left++
		}
	}
	p.short = p.frames - left
	p.delivered = p.short == 0
	d.plan = append(d.plan, p)
}

// alternate names the stills of all bodies as an import does that numbers
// them in turn.
func (d *dump) alternate() {
	n := 0
	for i := 0; ; i++ {
		more := false
		for _, b := range d.bodies {
			if shots := b.copied(); i < len(shots) {
				n++
				more = true
				shots[i].paths = []string{fmt.Sprintf("harbour%d.jpg", n)}
			}
		}
		if !more {
			return
		}
	}
}

// copied are the stills and clips that came to the import.
func (b *body) copied() []*shot {
	var out []*shot
	for _, s := range b.tape {
		if s.role != unfired && s.role != binned {
			out = append(out, s)
		}
	}
	return out
}
