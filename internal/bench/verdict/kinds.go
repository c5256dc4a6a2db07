package main

import (
	"fmt"
	"math"
	"path"
	"slices"
	"time"
)

// A step is a part of a day: it puts a body to work, writes or changes the
// script, runs it, or does something to what came of it.
type step = func(d *dump)

// kind is one sort of dump: a body with a name style of these, a script, and
// steps.
type kind struct {
	name   string
	styles []string
	steps  []step
}

// Sets of styles.
var (
	all     = slices.Concat([]string{"dcf", "dcf", "dcf", "dcf-flat", "dcf-flat", "five-digits"}, usual())
	counter = []string{"dcf", "dcf", "dcf-flat", "five-digits", "drone-date", "date-and-count", "dcf-day-folders", "dcf-month-day", "action-group"}
	plain   = []string{"dcf", "dcf-flat", "five-digits"}
)

// usual is every style but the one of a single burst.
func usual() (names []string) {
	for _, st := range styles {
		if st.name != "one-burst" {
			names = append(names, st.name)
		}
	}
	return names
}

// kinds are all sorts, drawn in turn: one a style, one a fault, and special ones.
func kinds() (out []kind) {
	for _, st := range styles {
		out = append(out, kind{"name: " + st.name, []string{st.name}, []step{maybe, shoot}})
	}
	for _, f := range faults {
		out = append(out, kind{"fault: " + f.name, all, []step{must(f.add), shoot}})
	}
	return slices.Concat(out, special, odd, rare)
}

// special kinds are more than a name style or a fault.
var special = []kind{
	{"clean", all, []step{shoot}},
	{"clean, three bodies", all, []step{shoot, camera, shoot, camera, shoot}},
	{"two faults", counter, []step{frames(120, 300), several(2), shoot}},
	{"four faults", counter, []step{frames(240, 500), several(4), shoot}},
	{"lost, 1000", counter, []step{frames(1100, 2000), must(lostFrames(300, 1000)), shoot}},
	{"anything, one body", all, []step{anything}},
	{"anything, two bodies", all, []step{anything, camera, anything}},
	{"anything, three bodies", all, []step{anything, camera, anything, camera, anything}},

	{"clock: none", []string{"dcf", "dcf-flat", "n-of-m", "parentheses", "letter-after", "hexadecimal", "unpadded", "action-group"},
		[]step{noEXIF, half(lostFrames(1, 40)), shoot}},
	{"clock: none, many gaps", []string{"dcf", "dcf-flat", "six-digits", "action-group"}, []step{noEXIF, frames(100, 300), func(d *dump) {
		for range 3 + d.r.IntN(8) {
			lostFrames(1, 8)(d)
		}
	}, shoot}},
	{"clock: offset changes", plain, []step{offsetChange, shoot}},
	{"clock: grain near the interval", []string{"dcf", "dcf-flat", "five-digits", "parentheses", "one-burst"},
		[]step{grain(1), every(0.5, 1.1), half(lostFrames(1, 8)), shoot}},
	{"clock: half a second in hundredths", []string{"dcf", "date-ms", "dcf-flat", "hashes"}, []step{grain(0.01), every(0.5, 1), maybe, shoot}},
	{"clock: an hour between frames", counter, []step{every(3600, 3600), maybe, shoot}},
	{"clock: names hours ahead of EXIF", []string{"date-in-name", "date-with-spaces", "drone-date"}, []step{grain(1), func(d *dump) {
		d.b.nameAhead = oneOf(d.r, 2*time.Hour, -5*time.Hour)
		d.remarks = true
	}, maybe, shoot}},
	{"clock: reset by the battery", plain, []step{frames(60, 200), func(d *dump) {
		k, _ := d.s.place(d.r, 9)
		if d.chance(0.3) {
			d.lose(k, 1+d.r.IntN(8))
		}
		for k++; d.s.at[k-1] != nil; k++ {
		}
		d.s.event(k).pauseS = between(d.r, 60, 400)
		d.s.event(k).resetTo = time.Date(oneOf(d.r, 1970, 2000), 1, 1, 0, 0, d.r.IntN(50), 0, time.UTC)
		d.mayRemark(2)
	}, shoot}},

	{"interval: changed", counter, []step{changed(false), shoot}},
	{"interval: changed and back", counter, []step{changed(true), shoot}},
	{"interval: ramped", counter, []step{ramp, half(lostFrames(1, 6)), shoot}},
	{"interval: sloppy", counter, []step{sloppy, half(lostFrames(1, 6)), shoot}},
	{"by hand", counter, []step{handFired, half(lostFrames(1, 12)), shoot}},
	{"bracket", plain, []step{bracket, half(lostFrames(1, 3)), shoot}},
	{"bracket, pause", plain, []step{bracket, func(d *dump) {
		if e, ok := d.eventIf(true, "pause"); ok {
			e.pauseS = 6 * d.s.intervalS
			d.remarks = true
		}
	}, shoot}},
	{"bracket, one file lost", plain, []step{bracket, shoot, func(d *dump) {
		d.b.tape[3*(10+d.r.IntN(10))+d.r.IntN(3)].lost = true
	}}},
	{"exposure ramp", all, []step{exposureRamp, maybe, shoot}},
	{"rest at night", []string{"dcf", "trail-folders", "trail-minute", "date-in-name"}, []step{nights, shoot}},

	{"two bodies, own folders", plain, []step{twins(func(i int, b *body) { b.dir = string(rune('A' + i)) })}},
	{"two bodies, names apart, one folder", []string{"dcf", "dcf-flat"}, []step{twins(func(i int, b *body) { b.prefix = []string{"AAA_", "BBB_"}[i] })}},
	{"two bodies, numbers apart, one folder", plain, []step{twins(func(i int, b *body) { b.number = 1000 + 4000*i + b.number%900 })}},
	{"two bodies, numbered as one", []string{"unpadded"}, []step{func(d *dump) { d.together = true },
		twins(func(i int, b *body) { b.look.focalMM = []float64{24, 85}[i] })}},
	{"three bodies, faults", counter, []step{maybe, shoot, camera, maybe, shoot, camera, maybe, shoot}},

	{"two models, one folder", all, []step{withEXIF, maybe, shoot, camera, withEXIF, func(d *dump) { d.bodies[0].dir, d.b.dir = "", "" }, maybe, shoot}},

	{"pairs of raw and JPEG", plain, []step{pair, maybe, shoot}},
	{"pairs, one of two lost", plain, []step{pair, func(d *dump) {
		for range 1 + d.r.IntN(4) {
			if e, ok := d.eventIf(true, "one of two files lost"); ok {
				e.half, d.found = true, true
			}
		}
		d.says = append(d.says, `raw|jpe?g|pair|companion`)
	}, shoot}},
	{"copies, same bytes", counter, []step{maybe, shoot, copies}},
	{"edits beside", []string{"dcf", "dcf-flat", "date-in-name"}, []step{maybe, shoot, edits}},
	{"thumbnails, hidden files, sidecars", all, []step{maybe, shoot, strays}},
	{"a movie between two shoots", plain, []step{shoot, wait(3000), func(d *dump) { d.b.release(movie, nil, 0, d.b.now) }, wait(600), turn, shoot}},
	{"orientation wanders", counter, []step{func(d *dump) {
		d.s.look = func(_ int, l *look) {
			if l.orientation = 1; d.chance(0.1) {
				l.orientation = oneOf(d.r, 3, 6, 8)
			}
		}
		d.remarks = true
	}, maybe, shoot}},
	{"over midnight", []string{"dcf-day-folders", "dcf-month-day", "hour-folders", "date-in-name", "trail-folders"}, []step{maybe, func(d *dump) {
		b := d.b
		midnight := time.Date(b.start.Year(), b.start.Month(), b.start.Day(), 24, 0, 0, 0, time.UTC)
		b.start = midnight.Add(-time.Duration(between(d.r, 0.2, 0.8) * float64(d.s.frames) * d.s.intervalS * 1e9))
	}, shoot}},
	{"card changed", plain, []step{card(false, 0), shoot}},
	{"card changed, frames lost there", plain, []step{card(false, 5), shoot}},
	{"card changed, numbers begin anew", plain, []step{card(true, 0), shoot}},
	{"rollover, folders", []string{"dcf"}, []step{rollover, maybe, shoot}},
	{"rollover, one folder", []string{"dcf-flat"}, []step{rollover, maybe, shoot}},

	{"two shoots", counter, []step{maybe, shoot, wait(1200), turn, maybe, shoot}},
	{"two shoots, no long pause", counter, []step{shoot, turnSoon, shoot}},
	{"two shoots, no long pause, planned", counter, []step{shoot, plans("first view"), turnSoon, shoot, plans("second view")}},
	{"test stills before", counter, []step{tests(false), maybe, shoot}},
	{"test stills after", counter, []step{maybe, shoot, tests(true)}},
	{"test stills before and after", counter, []step{tests(false), maybe, shoot, tests(true)}},

	{"plan: met", all, []step{shoot, plans("harbour"), func(d *dump) {
		if d.chance(0.4) {
			d.plan[0].from, d.plan[0].to = time.Time{}, time.Time{}
		}
	}}},
	{"plan: met, two bodies", counter, []step{shoot, plans("quay"), camera, shoot, plans("tower"), func(d *dump) {
		d.plan[0].folder, d.plan[1].folder = d.bodies[0].dir, d.bodies[1].dir
	}}},
	{"plan: faults", counter, []step{oneFault, shoot, plans("harbour")}},
	{"plan: ended early", counter, []step{shoot, plans("harbour"), func(d *dump) {
		n := 1 + d.r.IntN(d.s.frames/2)
		d.say("ended %d early", n)
		d.plan[0].frames += n
		d.plan[0].short, d.plan[0].delivered = n, false
	}}},
	{"plan: fewer than shot", counter, []step{shoot, plans("harbour"), func(d *dump) {
		d.plan[0].frames -= 1 + d.r.IntN(d.s.frames/4)
		d.plan[0].open, d.remarks = true, true
	}}},
	{"plan: another interval", counter, []step{shoot, plans("harbour"), func(d *dump) {
		d.planOther(d.s.intervalS * oneOf(d.r, between(d.r, 0.8, 0.93), between(d.r, 1.07, 1.5)))
	}}},
	{"plan: by hand", counter, []step{handFired, shoot, plans("harbour"), func(d *dump) { d.planOther(5) }}},
	{"plan: ramped", counter, []step{ramp, shoot, plans("harbour"), func(d *dump) { d.planOther(d.s.intervalS) }}},
	{"plan: of another shoot", counter, []step{shoot, plans("harbour"), func(d *dump) {
		p := &d.plan[0]
		p.intervalS, p.frames, p.family, p.delivered, p.short = 4*p.intervalS, 3*p.frames, 0, false, -1
		p.from, p.to = p.from.Add(12*time.Hour), p.to.Add(12*time.Hour)
	}}},
	{"plan: two alike but for their windows", counter, []step{func(d *dump) { d.rescript(20+d.r.IntN(200), oneOf(d.r, 4.0, 5, 10, 20, 60)) },
		shoot, plans("dawn"), func(d *dump) { d.b.now = between(d.r, 6, 6.2) * 3600 }, func(d *dump) {
			if d.chance(0.6) {
				shoot(d)
				plans("dusk")(d)
				return
			}
			p := d.plan[0]
			p.name, p.family, p.delivered, p.short = "dusk", 0, false, -1
			p.from, p.to = p.from.Add(6*time.Hour), p.to.Add(6*time.Hour)
			d.plan = append(d.plan, p)
			d.say("dusk was not shot")
		}}},
}

// must has a fault happen, if need be to another body or shoot.
func must(add func(*dump) bool) step {
	return func(d *dump) {
		least, interval := 0, 0.0
		if d.s.frames > 300 {
			least, interval = d.s.frames, min(d.s.intervalS, 15)
		}
		for !add(d) {
			d.bodies = d.bodies[:len(d.bodies)-1]
			if camera(d); least > 0 {
				d.rescript(least, max(interval, 2*d.b.grainS()))
			}
		}
	}
}

func half(add func(*dump) bool) step {
	return func(d *dump) {
		if d.chance(0.5) {
			add(d)
		}
	}
}

// oneFault is one of the plain ones.
func oneFault(d *dump) {
	for !faults[d.r.IntN(4)].add(d) {
		if d.chance(0.1) {
			fresh(d)
		}
	}
}

// maybe gives half the shoots a plain fault and leaves the others clean.
func maybe(d *dump) {
	if d.chance(0.5) && d.s.frames > 30 {
		for range 5 {
			if faults[d.r.IntN(4)].add(d) {
				return
			}
		}
	}
}

// several tries to have n faults of any kind.
func several(n int) step {
	return func(d *dump) {
		for done := 0; done < n && !d.chance(0.03); {
			if faults[d.r.IntN(len(faults))].add(d) {
				done++
			}
		}
	}
}

// anything is a day of one body: test stills, one or two shoots of any cadence
// with none to three faults each, a plan, and what an import adds.
func anything(d *dump) {
	st := d.b.style
	timed, own := d.b.grainS() > 0 && st.number, slices.Contains(plain, st.name)
	d.rescript(logBetween(d.r, 40, 400), d.s.intervalS)
	odd := d.r.IntN(20)
	if timed && odd >= 5 && d.chance(0.2) { // beside an odd cadence, test stills could be part of it
		tests(false)(d)
	}
	if own && d.chance(0.2) {
		pair(d)
	}
	switch {
	case odd < 2 && timed && slices.Contains(counter, st.name):
		oneOf(d.r, changed(true), changed(false), ramp, handFired)(d)
	case odd < 4 && own:
		oneOf(d.r, bracket, card(false, 5), card(true, 0))(d)
	case odd < 5 && timed:
		exposureRamp(d)
	}
	several(max(0, d.r.IntN(5)-1))(d)
	shoot(d)
	if d.plannable() && d.chance(0.5) {
		plans(fmt.Sprint("shoot of body ", d.b.index))(d)
	}
	if timed && d.chance(0.25) {
		wait(1200)(d)
		turn(d)
		maybe(d)
		shoot(d)
		d.remarks = d.remarks || len(d.plan) > 0
	}
	if d.chance(0.15) {
		strays(d)
	}
}

// plannable tells whether what was shot last can be set against a plan: one
// run, whose frames are there, lost or never fired.
func (d *dump) plannable() bool {
	for _, e := range d.s.at {
		if e.binned > 0 {
			return false
		}
	}
	one := len(d.runs) == 1 || d.runs[len(d.runs)-2].family < d.families
	return one && !d.remarks && !d.found && d.s.bracket == nil
}

func noEXIF(d *dump) { d.b.exifGrainS = 0 }

func withEXIF(d *dump) {
	if d.b.exifGrainS == 0 {
		d.b.exifGrainS = 1
	}
}

func grain(s float64) step { return func(d *dump) { d.b.exifGrainS = s } }

// frames writes the script for so many, at most one each 15 s.
func frames(lo, hi int) step {
	return func(d *dump) { d.rescript(lo+d.r.IntN(hi-lo), max(min(d.s.intervalS, 15), 2*d.b.grainS())) }
}

func every(lo, hi float64) step {
	return func(d *dump) { d.rescript(max(60, d.s.frames), math.Round(100*between(d.r, lo, hi))/100) }
}

// wait lets at least so many seconds pass, and 41 intervals.
func wait(s float64) step {
	return func(d *dump) { d.b.now += s*between(d.r, 1, 3) + (mayFire+1)*d.s.intervalS }
}

// turn points the camera elsewhere, for another script.
func turn(d *dump) {
	d.b.look.focalMM += 11 + float64(d.r.IntN(20))
	d.b.look.exposureS /= 2
	fresh(d)
}

// turnSoon turns within a short break, to a clearly different interval.
func turnSoon(d *dump) {
	first := d.s.intervalS
	d.b.now += between(d.r, 20, 100)
	for turn(d); d.s.intervalS/first < 1.4 && first/d.s.intervalS < 1.4; {
		fresh(d)
	}
}

// offsetChange is summer time begun or ended in a body that writes its offset
// from UTC: clock and offset change together.
func offsetChange(d *dump) {
	d.rescript(60+d.r.IntN(120), d.s.intervalS)
	e, _ := d.eventIf(true, "offset changed")
	d.b.offset, e.offset, e.setS = "+01:00", "+02:00", 3600
	if d.chance(0.5) {
		d.b.offset, e.offset, e.setS = "+02:00", "+01:00", -3600
	}
	d.remarks = true
}

// changed sets the interval to another in mid-shoot without a stop.
func changed(back bool) step {
	return func(d *dump) {
		d.rescript(60+d.r.IntN(150), d.s.intervalS)
		s, first, other := d.s, d.s.intervalS, 0.0
		for least := max(2*d.b.grainS(), d.b.style.leastS); other < least || other == first; {
			other = math.Round(100*first*oneOf(d.r, 0.5, 2, 3, 1.5, 4, between(d.r, 0.4, 0.8), between(d.r, 1.3, 5))) / 100
		}
		from, to := s.frames/4+d.r.IntN(s.frames/6), s.frames
		if back {
			to = 3*s.frames/4 - d.r.IntN(s.frames/6)
		}
		s.gap = func(k int) float64 {
			if k >= from && k < to {
				return other
			}
			return first
		}
		for _, k := range []int{from, to} { // no fault there
			for i := max(k-1, 0); i < min(k+1, s.frames); i++ {
				s.taken[i] = true
			}
		}
		d.says = append(d.says, "interval")
		d.mayRemark(2)
		d.say("interval %g s, from slot %d to %d %g s", first, from, to, other)
	}
}

// ramp has the interval grow or shrink from frame to frame by a factor or an
// amount.
func ramp(d *dump) {
	from := between(d.r, 2.5, 5) * max(1, d.b.grainS())
	to := from * between(d.r, 3, 8)
	if d.chance(0.3) {
		from, to = to, from
	}
	d.rescript(80+d.r.IntN(160), min(from, to))
	n := float64(d.s.frames)
	d.s.gap = func(k int) float64 { return from + (to-from)*float64(k)/n }
	if d.chance(0.5) {
		d.s.gap = func(k int) float64 { return from * math.Pow(to/from, float64(k)/n) }
	}
	d.s.soft, d.remarks = true, true
	d.say("interval ramped from %.1f to %.1f s", from, to)
}

// uneven draws each step anew from a range.
func (d *dump) uneven(frames int, intervalS, lo, hi float64) {
	d.rescript(frames, intervalS)
	steps := make([]float64, frames)
	for k := range steps {
		steps[k] = between(d.r, lo, hi)
	}
	d.s.gap = func(k int) float64 { return steps[k] }
	d.s.soft, d.remarks = true, true
}

// handFired waits 2 to 9 s each time.
func handFired(d *dump) {
	d.uneven(40+d.r.IntN(80), 5, 2, 9)
	d.say("fired by hand")
}

// sloppy fires as soon as the last still is written, as survey cameras do.
func sloppy(d *dump) {
	d.uneven(60+d.r.IntN(120), d.s.intervalS, 0.8*d.s.intervalS, 1.25*d.s.intervalS)
	d.say("a sloppy cadence")
}

func bracket(d *dump) {
	d.rescript(30+d.r.IntN(90), oneOf(d.r, 10.0, 15, 20, 30, 60))
	ev := oneOf(d.r, 1.0, 2)
	d.s.bracket = oneOf(d.r, []float64{0, -ev, ev}, []float64{-ev, 0, ev})
	d.s.soft, d.b.look.exposureS = true, 1.0/60
	d.says = append(d.says, "bracket")
}

// exposureRamp follows the light from day to night in thirds of a stop.
func exposureRamp(d *dump) {
	from, stops, s := d.b.look.exposureS/8, between(d.r, 3, 9), d.s
	s.look = func(k int, l *look) {
		l.exposureS = min(from*math.Exp2(math.Round(3*stops*float64(k)/float64(s.frames))/3), s.intervalS/3)
	}
	d.remarks = true
}

// nights is a site camera that works from 06:00 to 20:00.
func nights(d *dump) {
	b := d.b
	b.start = time.Date(b.start.Year(), b.start.Month(), b.start.Day(), 6, 0, d.r.IntN(50), 0, time.UTC)
	interval := oneOf(d.r, 600.0, 900, 1200, 1800, 3600)
	perDay := int(14*3600/interval) + 1
	d.rescript(perDay*(2+d.r.IntN(4))+d.r.IntN(perDay), interval)
	d.s.gap = func(k int) float64 {
		if k%perDay == 0 {
			return 24*3600 - float64(perDay-1)*interval
		}
		return interval
	}
	switch e := d.s.event(perDay + perDay/2); d.r.IntN(4) {
	case 0:
		e.lost = true
		d.say("a frame lost on the second day")
	case 1:
		e.unfired = true
		d.say("a frame not fired on the second day")
	}
}

// twins are two bodies of one model, mostly without serial numbers, at work
// side by side with clocks 1 s to 1 h apart. Were they not at work at one
// time, they would look like one body's two shoots.
func twins(tell func(i int, b *body)) step {
	return func(d *dump) {
		a, s := d.b, d.s
		a.serial = oneOf(d.r, "", "", "1107")
		number := d.r.IntN(7000)
		b := *a
		b.index, b.tape, b.number, b.ppm = 1, nil, number, -a.ppm
		if a.serial != "" {
			b.serial = "2208"
		}
		if a.style.ordered {
			b.number = 0
		}
		apartS := min(3600, 0.4*s.intervalS*float64(s.frames))
		if d.chance(0.5) {
			apartS = min(30, apartS)
		}
		b.start = a.start.Add(time.Duration(between(d.r, 1, apartS) * 1e9))
		d.bodies = append(d.bodies, &b)
		for i, x := range d.bodies {
			tell(i, x)
			d.b = x
			if d.rescript(s.frames, s.intervalS); i == 1 && d.chance(0.3) {
				d.rescript(s.frames, s.intervalS+oneOf(d.r, 1.0, 2, 3))
			}
			maybe(d)
			shoot(d)
		}
	}
}

func pair(d *dump) { d.b.pair, d.b.raws = true, oneOf(d.r, "", "", "raw") }

// copies leaves some or all files twice.
func copies(d *dump) {
	whole := d.chance(0.3)
	for _, f := range d.named() {
		dir, base := path.Split(f.paths[0])
		switch {
		case whole || d.chance(0.03):
			d.aside = append(d.aside, aside{path: path.Join("backup", base), of: f})
		case d.chance(0.03):
			d.aside = append(d.aside, aside{path: dir + suffixed(base, oneOf(d.r, " (1)", " copy", "-2")+path.Ext(base)), of: f})
		}
	}
}

func edits(d *dump) {
	mark := oneOf(d.r, "_E", "~2", "-edited")
	for _, f := range d.named() {
		if name := f.paths[0]; d.chance(0.08) {
			d.aside = append(d.aside, aside{path: suffixed(name, mark+path.Ext(name)), of: f, edit: true})
		}
	}
}

// strays are what storage devices, desktops and raw developers leave about.
func strays(d *dump) {
	for _, f := range d.named() {
		dir, base := path.Split(f.paths[0])
		d.aside = append(d.aside,
			aside{path: dir + "@eaDir/" + base + "/SYNOFILE_THUMB_M.jpg", of: f, edit: true},
			aside{path: dir + "._" + base, data: "\x00\x05\x16\x07\x00\x02\x00\x00"},
			aside{path: dir + suffixed(base, ".xmp"), data: "<x:xmpmeta xmlns:x='adobe:ns:meta/'/>"})
	}
	d.aside = append(d.aside, aside{path: path.Join(d.b.dir, "Thumbs.db"), data: "\xD0\xCF\x11\xE0"})
}

// named are the stills of the body at work, with their names.
func (d *dump) named() []*shot {
	d.name()
	return d.b.kept()
}

// card changes the card in mid-shoot. The intervalometer runs on: frames due
// meanwhile do not fire.
func card(recount bool, lost int) step {
	return func(d *dump) {
		d.rescript(100+d.r.IntN(100), d.s.intervalS)
		d.cards = true
		if lost > 0 {
			lost = 1 + d.r.IntN(5)
		}
		missed := int(between(d.r, 20, 60) / d.s.intervalS)
		k, _ := d.s.place(d.r, lost+missed+1)
		d.lose(k, lost)
		for i := range missed {
			d.s.event(k + lost + i).unfired = true
		}
		e := d.s.event(k + lost + missed)
		e.cards, e.recount = 1, recount
		d.say("card changed before slot %d, %d did not fire, %d lost", k+lost+missed, missed, lost)
	}
}

func rollover(d *dump) { d.b.number = d.b.top() - d.s.frames/4 - d.r.IntN(d.s.frames/2) }

// tests fires some stills by hand before or after a shoot, with the pace of
// somebody who looks at each, and too far from the shoot to be of its cadence.
func tests(after bool) step {
	return func(d *dump) {
		b, kept := d.b, d.b.look
		offS := d.s.intervalS * (float64(2+d.r.IntN(5)) + between(d.r, 0.35, 0.65))
		if after {
			b.now += offS
		}
		last := b.now
		for range 1 + d.r.IntN(4) {
			b.look.exposureS = kept.exposureS * math.Exp2(float64(d.r.IntN(7)-3))
			b.release(byHand, nil, 0, b.now)
			last = b.now
			b.now += between(d.r, 4, 90)
		}
		b.look = kept
		if !after {
			b.now = last + offS
		}
	}
}

// plans writes the last shoot into the plan: the frames that the script
// meant, in a window about the first.
func plans(name string) step {
	return func(d *dump) {
		p := planned{name: name, frames: d.s.frames, intervalS: d.s.intervalS, family: d.families, short: d.s.frames}
		for _, x := range d.b.tape {
			if x.run == nil || x.run.family != d.families {
				continue
			}
			if p.from.IsZero() {
				at := x.clock.Truncate(time.Minute)
				p.from, p.to = at.Add(-time.Duration(1+d.r.IntN(10))*time.Minute), at.Add(time.Duration(2+d.r.IntN(10))*time.Minute)
			}
			if x.role == ofShoot && !x.lost {
				p.short--
			}
		}
		p.delivered = p.short == 0
		d.plan = append(d.plan, p)
	}
}

// planOther plans the shoot at an interval that it did not have.
func (d *dump) planOther(intervalS float64) {
	p := &d.plan[0]
	p.intervalS, p.short, p.delivered = math.Round(100*intervalS)/100, -1, false
	d.say("planned at %g s", p.intervalS)
}
