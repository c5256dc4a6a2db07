package main

import (
	"fmt"
	"math"
	"path"
	"time"
)

// odd kinds are what a second pair of eyes thought of: cadences of any length,
// bodies that share a folder, imports, movies, cards, plans that do not fit.
var odd = []kind{
	{"cadence: any", []string{"dcf", "dcf-flat", "date-ms", "date-and-count", "drone-date", "eight-digits"}, []step{anyCadence, maybe, shoot}},
	{"cadence: short shoot", counter, []step{short, shoot}},
	{"cadence: short shoot, a block gone", counter, []step{shortWithout, shoot}},
	{"cadence: short shoot, a block gone, another after", counter, []step{shortWithout, shoot, wait(1200), turn, shoot}},
	{"cadence: long shoot", plain, []step{func(d *dump) { d.rescript(1500+d.r.IntN(1500), oneOf(d.r, 2.0, 3, 5, 10)) }, several(2), shoot}},
	{"clock: travel", plain, []step{offsetChange, func(d *dump) {
		for k, e := range d.s.at {
			hours := oneOf(d.r, -9, -6, -3, 2, 5, 8)
			d.b.offset, e.offset, e.setS = "+01:00", fmt.Sprintf("%+03d:00", 1+hours), float64(hours)*3600
			d.say("%d h at slot %d", hours, k)
		}
	}, shoot}},
	{"clock: set by hours, slow", plain, []step{grain(1), func(d *dump) {
		d.rescript(60+d.r.IntN(100), oneOf(d.r, 480.0, 600, 610, 777, 900, 1000, 1200, 1800))
		e, _ := d.eventIf(true, "clock set by hours")
		e.setS = oneOf(d.r, 3600.0, -3600, 7200, -7200)
		d.remarks = true
	}, shoot}},
	{"clock: EXIF in some stills only", plain, []step{maybe, shoot, withoutEXIF(0.15)}},
	{"clock: EXIF in few stills", plain, []step{half(lostFrames(1, 10)), shoot, withoutEXIF(0.8), func(d *dump) { d.loosen() }}},
	{"clock: time of change only", plain, []step{func(d *dump) { d.b.changeTime = true }, maybe, shoot}},
	{"clock: a few names contradict EXIF", []string{"date-in-name", "date-with-spaces"}, []step{grain(1), frames(60, 200), shoot, func(d *dump) {
		for range 1 + d.r.IntN(3) {
			f := d.b.tape[5+d.r.IntN(len(d.b.tape)-10)]
			f.exifOff = time.Duration(between(d.r, 400, 9000)) * time.Second
		}
		d.remarks, d.says = true, append(d.says, `name`)
	}}},

	{"two bodies, any ranges", plain, []step{twins(func(i int, b *body) {
		b.serial, b.prefix = "", "DSC_"
		if i == 1 { // above the other's last or far above
			b.number = 1500 + int(uint32(b.number)*2654435761>>8)%7500
			return
		}
		b.number %= 900
	})}},
	{"two bodies, neighbouring ranges", plain, []step{twins(func(i int, b *body) {
		b.serial, b.prefix = "", "DSC_"
		b.number = 100 + 300*i + b.number%40
	})}},
	{"two bodies, numbered by turns", []string{"unpadded"}, []step{alternate(0, 0)}},
	{"two bodies, numbered as one, clocks seconds apart", []string{"unpadded"}, []step{alternate(1.2, 4)}},
	{"two bodies, numbered in steps", []string{"unpadded"}, []step{alternate(2, 4), func(d *dump) { d.strides = []int{2, 4} }}},
	{"three bodies, one folder", plain, []step{func(d *dump) { d.b.serial, d.b.dir = "", "" }, maybe, shoot, another(2500), maybe, shoot, another(5000), maybe, shoot}},

	{"name: trail camera, minutes", []string{"trail-minutes", "trail-minute-count"}, []step{func(d *dump) {
		d.rescript(60+d.r.IntN(200), oneOf(d.r, 60.0, 120, 180, 300))
		d.s.jitterS = 0
		d.b.ppm = math.Abs(d.b.ppm)
	}, half(lostFrames(1, 5)), shoot}},
	{"name: trail camera, seconds", []string{"trail-seconds"}, []step{maybe, shoot}},
	{"name: seven digits run on", []string{"seven-digits"}, []step{func(d *dump) { d.b.number = 1009999 - d.s.frames/3 - d.r.IntN(d.s.frames/3) }, maybe, shoot}},
	{"name: folder and four digits roll over", []string{"letter-folder"}, []step{rollover, maybe, shoot}},
	{"name: lost over the rollover", []string{"letter-folder", "dcf-flat", "dcf"}, []step{grain(1), func(d *dump) {
		d.rescript(60+d.r.IntN(200), oneOf(d.r, 3.0, 5, 8, 12))
		n := 1 + d.r.IntN(6)
		k, _ := d.s.place(d.r, n)
		d.lose(k, n)
		d.b.number = d.b.top() - k - d.r.IntN(n)
		d.sure = true
		d.say("%d lost over the rollover, from slot %d", n, k)
	}, shoot}},
	{"name: half renamed", plain, []step{shoot, func(d *dump) {
		n := len(d.b.tape)
		from, to := 0, n/4+d.r.IntN(n/2)
		if d.chance(0.5) {
			from, to = to, n
		}
		for i := from; i < to; i++ {
			d.b.tape[i].renamed = fmt.Sprintf("quay-%03d", i-from+1)
		}
	}}},
	{"name: suffixes of any case", plain, []step{maybe, shoot, func(d *dump) {
		for _, f := range d.b.tape {
			f.suffix = oneOf(d.r, ".JPG", ".jpg", ".Jpg", ".jpeg", ".JPEG")
		}
	}}},
	{"pairs in two folders", plain, []step{func(d *dump) { d.b.pair, d.b.raws = true, "../RAW" }, maybe, shoot}},
	{"a file of no bytes", plain, []step{shoot, func(d *dump) {
		d.b.tape[5+d.r.IntN(len(d.b.tape)-10)].empty = true
		d.found, d.says = true, append(d.says, `empty|no bytes|damag|0 bytes`)
	}}},
	{"movies in mid-shoot", plain, []step{func(d *dump) {
		d.rescript(60+d.r.IntN(150), oneOf(d.r, 4.0, 5, 10, 20))
		for range 1 + d.r.IntN(3) {
			if e, ok := d.eventIf(true, "a movie"); ok {
				e.movies = 1
			}
		}
	}, maybe, shoot}},
	{"a second card holds the middle", plain, []step{func(d *dump) {
		d.rescript(90+d.r.IntN(150), d.s.intervalS)
		d.cards = true
		a, b := d.s.frames/4+d.r.IntN(10), d.s.frames/2+d.r.IntN(d.s.frames/4)
		d.s.event(a).cards, d.s.event(b).cards = 1, -1
		for _, k := range []int{a, b} {
			d.s.taken[k] = true
		}
	}, maybe, shoot}},
	{"every second file lost", []string{"dcf", "dcf-flat"}, []step{grain(1), func(d *dump) {
		d.rescript(80+d.r.IntN(100), oneOf(d.r, 4.0, 5, 10))
		from := d.s.frames/3 + d.r.IntN(10)
		for k := from; k < from+20; k += 2 {
			d.s.event(k).lost = true
		}
		d.say("every second file lost from slot %d", from)
	}, shoot}},

	{"plan: by hand, any pace", counter, []step{func(d *dump) {
		lo := between(d.r, 3, 20)
		d.uneven(40+d.r.IntN(80), 2*lo, lo, lo*between(d.r, 2, 5))
		d.b.serial = ""
	}, half(lostFrames(1, 6)), shoot, plans("harbour"), func(d *dump) { d.planOther(d.s.intervalS) }}},
	{"plan: lost at the ends", counter, []step{withEXIF, func(d *dump) {
		n := 1 + d.r.IntN(12)
		from := oneOf(d.r, 0, d.s.frames-n)
		d.lose(from, n)
		d.say("%d lost from slot %d of %d", n, from, d.s.frames)
	}, shoot, plans("harbour")}},
	{"plan: windows without end", counter, []step{withEXIF, maybe, shoot, plans("harbour"), func(d *dump) {
		d.plan[0].from, d.plan[0].to = d.b.tape[0].clock.Truncate(10*time.Second), time.Time{}
	}}},
	{"plan: the second never begun", counter, []step{withEXIF, frames(60, 200), maybe, shoot, plans("first"), func(d *dump) {
		p := d.plan[0]
		at := p.from.Add(time.Duration(between(d.r, 0.4, 0.9) * float64(d.s.frames) * d.s.intervalS * 1e9)).Add(5 * time.Minute)
		p.name, p.family, p.delivered, p.short, p.frames = "second", 0, false, -1, 40+d.r.IntN(200)
		p.from, p.to = at, at.Add(10*time.Minute)
		if first := &d.plan[0]; !p.from.After(first.to) {
			p.from, p.to = first.to.Add(time.Minute), first.to.Add(11*time.Minute)
		}
		d.plan = append(d.plan, p)
	}}},
	{"plan: for one of two shoots", counter, []step{withEXIF, maybe, shoot, plans("first"), wait(1200), turn, maybe, shoot, func(d *dump) { d.remarks = true }}},
	{"plan: a little off", counter, []step{withEXIF, shoot, plans("harbour"), func(d *dump) {
		d.planOther(d.s.intervalS * 1.02)
		d.plan[0].open, d.remarks = true, true
	}}},
	{"plan: no name fits", counter, []step{withEXIF, oneFault, shoot, plans("elsewhere"), func(d *dump) { d.plan[0].from, d.plan[0].to = time.Time{}, time.Time{} }}},
	{"plan: few frames of many", counter, []step{withEXIF, frames(100, 300), shoot, plans("harbour"), func(d *dump) {
		n := d.s.frames/2 + d.r.IntN(d.s.frames)
		d.plan[0].frames, d.plan[0].short, d.plan[0].delivered = d.s.frames+n, n, false
	}}},
}

// anyCadence is an interval of 0.3 s to 24 h on a clock that can tell it.
func anyCadence(d *dump) {
	p := oneOf(d.r, 0.3, 0.4, 0.5, 0.8, 1.02, 1.3, 2.5, 7.77, 11.1, 33, 45, 90, 100, 2700, 5400, 7200, 10800, 43200, 86400)
	if d.b.style.grainS == 1 {
		p = max(p, 2.5)
	}
	if g := d.b.grainS(); 2*g > p {
		d.b.exifGrainS = oneOf(d.r, 0.01, 0.001)
	}
	d.rescript(logBetween(d.r, 30, 200), p)
}

// short has 5 to 14 frames, of which one of the midst may be gone.
func short(d *dump) {
	d.rescript(5+d.r.IntN(10), max(d.s.intervalS, 2*d.b.grainS()))
	withEXIF(d)
	if n := d.s.frames; n >= 8 && d.chance(0.5) {
		e := d.s.event(3 + d.r.IntN(n-6))
		if e.lost = d.chance(0.5); !e.lost && d.tellsTime(2) {
			e.unfired = true
		}
		d.say("%d frames, one gone: lost %v, never fired %v", n, e.lost, e.unfired)
	}
}

// shortWithout has 12 to 20 frames of which some in a row are gone.
func shortWithout(d *dump) {
	withEXIF(d)
	d.rescript(12+d.r.IntN(9), max(d.s.intervalS, 2.5*d.b.grainS()))
	n := 1 + d.r.IntN(6)
	k, lost := 3+d.r.IntN(d.s.frames-n-5), d.chance(0.5)
	for i := k; i < k+n; i++ {
		d.s.event(i).lost, d.s.event(i).unfired = lost, !lost
	}
	d.ends = true
	d.say("%d frames, %d gone from slot %d: lost %v", d.s.frames, n, k, lost)
}

// withoutEXIF takes the facts of capture out of a share of the stills.
func withoutEXIF(share float64) step {
	return func(d *dump) {
		for _, f := range d.b.tape[2:] {
			f.bare = d.chance(share)
		}
		d.remarks = true
	}
}

// loosen lets the cause of what is missing be any that numbers alone tell.
func (d *dump) loosen() {
	for _, r := range d.runs {
		r.soft = true
	}
}

// another puts a second body of the same model to work in the same folder, with
// numbers so much higher.
func another(above int) step {
	return func(d *dump) {
		a := d.bodies[0]
		b := *a
		b.index, b.tape, b.ppm, b.now, b.set = len(d.bodies), nil, -a.ppm, 0, 0
		b.number = above + d.r.IntN(1000)
		b.start = a.start.Add(time.Duration(between(d.r, 1, 0.3*d.s.intervalS*float64(d.s.frames)) * 1e9))
		d.bodies, d.b = append(d.bodies, &b), &b
		d.rescript(max(60, d.s.frames), d.s.intervalS)
	}
}

// alternate has two bodies of one model fire together, their clocks up to so many
// seconds apart, and one import number their stills by turns.
func alternate(lo, hi float64) step {
	return func(d *dump) {
		d.together = true
		a, s := d.b, d.s
		a.serial, a.number, a.exifGrainS, a.offset = "", 0, 1, ""
		interval := oneOf(d.r, 30.0, 60, 20, 45)
		b := *a
		b.index, b.tape = 1, nil
		off := interval/2 + between(d.r, lo, hi)
		if lo == hi {
			for off = interval / 2; math.Abs(2*off-interval) < 3; { // else they are as one
				off = between(d.r, 2, interval-2)
			}
		}
		b.start = a.start.Add(time.Duration(off * 1e9))
		d.bodies = append(d.bodies, &b)
		n := s.frames
		for _, x := range d.bodies {
			d.b = x
			d.rescript(n, interval)
			d.s.jitterS = min(d.s.jitterS, 0.1)
			shoot(d)
		}
		d.say("two bodies, %.4g s, %.3g s apart", interval, off)
	}
}

// rename gives a still its other name.
func (s *shot) rename(name string) string {
	if s.renamed != "" {
		name = path.Join(path.Dir(name), s.renamed+path.Ext(name))
	}
	if s.suffix != "" {
		name = suffixed(name, s.suffix)
	}
	return name
}

// together is the number of still i among all, in the steps of the import.
func (d *dump) numberOf(i int) int {
	if len(d.strides) == 0 {
		return i + 1
	}
	sum := 0
	for _, n := range d.strides {
		sum += n
	}
	n := i / len(d.strides) * sum
	for _, k := range d.strides[:i%len(d.strides)] {
		n += k
	}
	return n + 1
}
