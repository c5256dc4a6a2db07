package main

import (
	"fmt"
	"math"
	"path"
	"time"
)

// kind is one sort of dump.
type kind struct {
	name string
	draw func(d *dump)
}

// kinds are all sorts, drawn in turn.
func kinds() []kind {
	var out []kind
	for _, st := range styles {
		out = append(out, kind{"name: " + st.name, func(d *dump) {
			b := d.camera(st)
			s := d.script(b)
			d.maybe(b, s)
			d.shoot(b, s)
		}})
	}
	for _, f := range faults {
		out = append(out, kind{"fault: " + f.name, func(d *dump) {
			for {
				b := d.camera(d.usual())
				s := d.script(b)
				if f.add(d, b, s) {
					d.shoot(b, s)
					return
				}
				d.bodies, d.what = nil, nil
			}
		}})
	}
	return append(out, special...)
}

// one draws the dump of one body with its own counter and a clock.
func (d *dump) one() (*body, *script) {
	b := d.camera(d.withCounter())
	return b, d.script(b)
}

var special = []kind{
	{"clean", func(d *dump) {
		b := d.camera(d.usual())
		d.shoot(b, d.script(b))
	}},
	{"clean, three bodies", func(d *dump) {
		for i := range 3 {
			b := d.camera(d.usual())
			b.dir = string(rune('A' + i))
			d.shoot(b, d.script(b))
		}
	}},
	{"two faults", several(2)},
	{"four faults", several(4)},
	{"lost, 1000", func(d *dump) {
		b := d.camera(d.withCounter())
		s := newScript(d.r, 1100+d.r.IntN(900), oneOf(d.r, 2.0, 3, 5, 8, 10))
		b.look.exposureS = 0.01
		lostFrames(300, 1000)(d, b, s)
		d.shoot(b, s)
	}},
	{"lost where the clock was set", func(d *dump) {
		b := d.camera(styleOf(oneOf(d.r, "dcf", "dcf-flat", "five-digits")))
		s := newScript(d.r, 80+d.r.IntN(100), d.interval(b))
		n := logBetween(d.r, 1, 30)
		k, _ := s.place(d.r, n+1)
		for i := k; i < k+n; i++ {
			s.event(i).lost = true
		}
		x := oneOf(d.r, -3600.0, 3600, -300, 900)
		if math.Abs(x) < 3*s.intervalS {
			x *= 20
		}
		s.event(k + n).setS = x
		d.mayRemark(2)
		d.say("%d lost, clock set by %g s", n, x)
		d.shoot(b, s)
	}},

	// Clocks.
	{"clock: none", func(d *dump) {
		b := d.camera(styleOf(oneOf(d.r, "dcf", "dcf-flat", "n-of-m", "parentheses", "letter-after", "hexadecimal", "unpadded", "action-group")))
		s := d.script(b)
		b.exifGrainS = 0
		if d.chance(0.5) {
			lostFrames(1, 40)(d, b, s)
		}
		d.shoot(b, s)
	}},
	{"clock: offset changes", func(d *dump) {
		b, s := d.one()
		b.style, b.exifGrainS = styleOf("dcf"), oneOf(d.r, 1.0, 0.01)
		b.top = 9999
		b.number %= 7000
		b.offset = "+01:00"
		if k, ok := s.place(d.r, 1); ok {
			s.event(k).setS, s.event(k).offset = 3600, "+02:00"
			if d.chance(0.5) {
				b.offset = "+02:00"
				s.event(k).setS, s.event(k).offset = -3600, "+01:00"
			}
			d.remarks = true
		}
		d.shoot(b, s)
	}},
	{"clock: grain near the interval", func(d *dump) {
		b := d.camera(styleOf(oneOf(d.r, "dcf", "dcf-flat", "five-digits", "parentheses", "one-burst")))
		b.exifGrainS = 1
		s := newScript(d.r, logBetween(d.r, 60, 300), math.Round(100*between(d.r, 0.5, 1.1))/100)
		b.look.exposureS = 0.01
		if d.chance(0.6) {
			lostFrames(1, 8)(d, b, s)
		}
		d.shoot(b, s)
	}},
	{"clock: half a second in hundredths", func(d *dump) {
		b := d.camera(styleOf(oneOf(d.r, "dcf", "date-ms", "dcf-flat", "hashes")))
		b.exifGrainS = 0.01
		s := newScript(d.r, logBetween(d.r, 60, 300), between(d.r, 0.5, 1))
		s.jitterS = 0.004
		b.look.exposureS = 0.01
		d.maybe(b, s)
		d.shoot(b, s)
	}},
	{"clock: an hour between frames", func(d *dump) {
		b, _ := d.one()
		s := newScript(d.r, logBetween(d.r, 40, 200), 3600)
		d.maybe(b, s)
		d.shoot(b, s)
	}},

	// Cadences.
	{"interval: changed", func(d *dump) { d.changed(false) }},
	{"interval: changed and back", func(d *dump) { d.changed(true) }},
	{"interval: ramped", func(d *dump) {
		b := d.camera(d.withCounter())
		s := d.ramp(b)
		if d.chance(0.5) {
			lostFrames(1, 6)(d, b, s)
		}
		d.shoot(b, s)
	}},
	{"by hand", func(d *dump) {
		b := d.camera(d.withCounter())
		s := d.byHand(b)
		if d.chance(0.5) {
			lostFrames(1, 12)(d, b, s)
		}
		d.shoot(b, s)
	}},
	{"bracket of three", func(d *dump) {
		b := d.camera(styleOf(oneOf(d.r, "dcf", "dcf-flat", "five-digits")))
		s := newScript(d.r, logBetween(d.r, 30, 120), oneOf(d.r, 10.0, 15, 20, 30, 60))
		step := oneOf(d.r, 1.0, 2)
		s.bracket = oneOf(d.r, []float64{0, -step, step}, []float64{-step, 0, step})
		s.soft = true
		b.look.exposureS = 1.0 / 60
		d.says = append(d.says, "bracket")
		switch d.r.IntN(3) {
		case 0:
			lostFrames(1, 3)(d, b, s)
		case 1:
			if k, ok := s.place(d.r, 1); ok {
				s.event(k).pauseS = 6 * s.intervalS
				d.remarks = true
			}
		}
		d.shoot(b, s)
	}},
	{"bracket, one file lost", func(d *dump) {
		b := d.camera(styleOf(oneOf(d.r, "dcf", "dcf-flat", "five-digits")))
		s := newScript(d.r, logBetween(d.r, 30, 120), oneOf(d.r, 10.0, 15, 20, 30))
		s.bracket, s.soft = []float64{0, -2, 2}, true
		b.look.exposureS = 1.0 / 60
		d.shoot(b, s)
		b.tape[3*(10+d.r.IntN(10))+d.r.IntN(3)].lost = true
		d.say("one file of a bracket lost")
	}},
	{"exposure ramp", func(d *dump) {
		b := d.camera(d.usual())
		s := d.script(b)
		from, span := b.look.exposureS/8, between(d.r, 3, 9)
		s.look = func(k int, l *look) {
			ev := math.Round(3*span*float64(k)/float64(s.frames)) / 3
			l.exposureS = math.Min(from*math.Exp2(ev), s.intervalS/3)
		}
		d.remarks = true
		d.maybe(b, s)
		d.shoot(b, s)
	}},
	{"rest at night", func(d *dump) {
		b := d.camera(styleOf(oneOf(d.r, "dcf", "trail-folders", "trail-minute", "date-in-name")))
		b.start = time.Date(b.start.Year(), b.start.Month(), b.start.Day(), 6, 0, d.r.IntN(50), 0, time.UTC)
		s := newScript(d.r, 0, float64(oneOf(d.r, 600, 900, 1200, 1800, 3600)))
		perDay := int(14*3600/s.intervalS) + 1
		s.frames = perDay*(2+d.r.IntN(4)) + d.r.IntN(perDay)
		s.taken = make([]bool, s.frames)
		s.gap = func(k int) float64 {
			if k%perDay == 0 {
				return 24*3600 - float64(perDay-1)*s.intervalS
			}
			return s.intervalS
		}
		if d.chance(0.5) {
			for k := range s.taken { // faults by day
				s.taken[k] = k%perDay < 3 || k%perDay > perDay-3
			}
			if k := perDay + perDay/2; d.chance(0.5) {
				s.event(k).lost = true
			} else {
				s.event(k).unfired = true
			}
			d.say("a fault on the second day")
		}
		d.shoot(b, s)
	}},

	// Bodies.
	{"two bodies, own folders", func(d *dump) { d.twins(func(i int, b *body) { b.dir = string(rune('A' + i)) }) }},
	{"two bodies, names apart, one folder", func(d *dump) { d.twins(func(i int, b *body) { b.prefix = []string{"AAA_", "BBB_"}[i] }) }},
	{"two bodies, numbers apart, one folder", func(d *dump) { d.twins(func(i int, b *body) { b.number = 1000 + 4000*i + d.r.IntN(900) }) }},
	{"two bodies, numbered alternately", func(d *dump) {
		d.together = true
		d.twins(func(i int, b *body) { b.look.focalMM = []float64{24, 85}[i] })
	}},
	{"three bodies, faults", func(d *dump) {
		for i := range 3 {
			b, s := d.one()
			b.dir = fmt.Sprintf("body %d", i+1)
			d.maybe(b, s)
			d.shoot(b, s)
		}
	}},

	// Files.
	{"pairs of raw and JPEG", func(d *dump) { d.pairs(0) }},
	{"pairs, one of two lost", func(d *dump) { d.pairs(1 + d.r.IntN(4)) }},
	{"copies, same bytes", func(d *dump) {
		b, s := d.one()
		d.maybe(b, s)
		d.shoot(b, s)
		all := d.chance(0.3)
		for _, f := range b.kept() {
			if all || d.chance(0.05) {
				name := path.Join("backup", path.Base(b.name(f)))
				if !all && d.chance(0.5) {
					name = path.Join(path.Dir(b.name(f)), withSuffix(path.Base(b.name(f)), oneOf(d.r, " (1)", " copy", "-2"))) + ".JPG"
				}
				d.aside = append(d.aside, aside{path: name, of: f})
			}
		}
	}},
	{"edits beside", func(d *dump) {
		b := d.camera(styleOf(oneOf(d.r, "dcf", "dcf-flat", "date-in-name")))
		s := d.script(b)
		d.maybe(b, s)
		d.shoot(b, s)
		mark := oneOf(d.r, "_E", "~2", "-edited")
		for _, f := range b.kept() {
			if d.chance(0.08) {
				d.aside = append(d.aside, aside{path: withSuffix(b.name(f), mark+path.Ext(b.name(f))), of: f, edit: true})
			}
		}
	}},
	{"thumbnails, hidden files, sidecars", func(d *dump) {
		b := d.camera(d.usual())
		s := d.script(b)
		d.maybe(b, s)
		d.shoot(b, s)
		for _, f := range b.kept() {
			dir, base := path.Split(b.name(f))
			d.aside = append(d.aside,
				aside{path: dir + "@eaDir/" + base + "/SYNOFILE_THUMB_M.jpg", of: f, edit: true},
				aside{path: dir + "._" + base, data: []byte("\x00\x05\x16\x07\x00\x02\x00\x00")},
				aside{path: withSuffix(dir+base, ".xmp"), data: []byte("<x:xmpmeta xmlns:x='adobe:ns:meta/'/>")})
		}
		d.aside = append(d.aside, aside{path: ".DS_Store", data: []byte("\x00\x00\x00\x01Bud1")})
	}},
	{"a movie between two shoots", func(d *dump) {
		b := d.camera(styleOf(oneOf(d.r, "dcf", "dcf-flat")))
		s := d.script(b)
		d.shoot(b, s)
		b.now += between(d.r, 30, 90) + 35*s.intervalS + 120
		b.release(ofMovie, nil, 0, b.now)
		b.now += between(d.r, 300, 900)
		b.look.focalMM += 11
		d.shoot(b, d.script(b))
	}},
	{"orientation wanders", func(d *dump) {
		b, s := d.one()
		s.look = func(_ int, l *look) {
			if l.orientation = 1; d.chance(0.1) {
				l.orientation = oneOf(d.r, 3, 6, 8)
			}
		}
		d.remarks = true
		d.maybe(b, s)
		d.shoot(b, s)
	}},
	{"over midnight in day folders", func(d *dump) {
		b := d.camera(styleOf("dcf-day-folders"))
		s := d.script(b)
		b.start = time.Date(b.start.Year(), b.start.Month(), b.start.Day(), 23, 59, 59, 0, time.UTC).Add(-time.Duration(between(d.r, 0.2, 0.8) * float64(s.frames) * s.intervalS * 1e9))
		d.maybe(b, s)
		d.shoot(b, s)
	}},
	{"card changed", func(d *dump) { d.card(false, 0) }},
	{"card changed, frames lost there", func(d *dump) { d.card(false, 1+d.r.IntN(5)) }},
	{"card changed, numbers begin anew", func(d *dump) { d.card(true, 0) }},
	{"rollover, folders", func(d *dump) { d.rollover("dcf") }},
	{"rollover, one folder", func(d *dump) { d.rollover("dcf-flat") }},
	{"clock reset by the battery", func(d *dump) {
		b := d.camera(styleOf(oneOf(d.r, "dcf", "dcf-flat", "five-digits")))
		s := d.script(b)
		if k, ok := s.place(d.r, 1); ok {
			s.event(k).pauseS = between(d.r, 60, 400)
			s.event(k).resetTo = time.Date(oneOf(d.r, 1970, 2000), 1, 1, 0, 0, d.r.IntN(50), 0, time.UTC)
			d.mayRemark(2)
		}
		d.shoot(b, s)
	}},

	// More than one shoot.
	{"two shoots", func(d *dump) {
		b, s := d.one()
		d.maybe(b, s)
		d.shoot(b, s)
		b.now += 31*s.intervalS + between(d.r, 400, 7200)
		b.look.focalMM += 11
		s = d.script(b)
		d.maybe(b, s)
		d.shoot(b, s)
	}},
	{"two shoots, no long pause", func(d *dump) { d.turned(false) }},
	{"two shoots, no long pause, planned", func(d *dump) { d.turned(true) }},
	{"test stills before", func(d *dump) { d.tests(true, false) }},
	{"test stills after", func(d *dump) { d.tests(false, true) }},
	{"test stills before and after", func(d *dump) { d.tests(true, true) }},

	// Plans.
	{"plan: met", func(d *dump) {
		b := d.camera(d.usual())
		s := d.script(b)
		d.planned(b, s, "harbour", d.shoot(b, s))
		if d.chance(0.4) {
			d.plan[0].from, d.plan[0].to = time.Time{}, time.Time{}
		}
	}},
	{"plan: met, two bodies", func(d *dump) {
		for i, name := range []string{"quay", "tower"} {
			b, s := d.one()
			b.dir = name
			d.planned(b, s, name, d.shoot(b, s))
			d.plan[i].folder = name
		}
	}},
	{"plan: faults", func(d *dump) {
		b, s := d.one()
		for !faults[d.r.IntN(4)].add(d, b, s) {
		}
		d.planned(b, s, "harbour", d.shoot(b, s))
	}},
	{"plan: ended early", func(d *dump) {
		b, s := d.one()
		d.planned(b, s, "harbour", d.shoot(b, s))
		n := 1 + d.r.IntN(s.frames/2)
		d.plan[0].frames += n
		d.plan[0].short, d.plan[0].delivered = n, false
		d.say("ended %d early", n)
	}},
	{"plan: another interval", func(d *dump) {
		b, s := d.one()
		d.planned(b, s, "harbour", d.shoot(b, s))
		d.plan[0].intervalS = math.Round(100*s.intervalS*oneOf(d.r, between(d.r, 0.8, 0.93), between(d.r, 1.07, 1.5))) / 100
		d.plan[0].short, d.plan[0].delivered = -1, false
		d.say("planned at %g s", d.plan[0].intervalS)
	}},
	{"plan: by hand", func(d *dump) {
		b := d.camera(d.withCounter())
		s := d.byHand(b)
		d.planned(b, s, "harbour", d.shoot(b, s))
		d.plan[0].intervalS, d.plan[0].short, d.plan[0].delivered = 5, -1, false
	}},
	{"plan: ramped", func(d *dump) {
		b := d.camera(d.withCounter())
		s := d.ramp(b)
		d.planned(b, s, "harbour", d.shoot(b, s))
		d.plan[0].short, d.plan[0].delivered = -1, false
	}},
	{"plan: two alike but for their windows", func(d *dump) {
		b, s := d.one()
		s.frames = min(s.frames, int(5*3600/s.intervalS))
		if s.frames < 20 {
			s.intervalS, s.frames = 10, 60
			s.gap = func(int) float64 { return 10 }
		}
		first := d.r.IntN(2)
		for i, name := range []string{"dawn", "dusk"} {
			if d.chance(0.6) || i == first {
				again := *s
				d.planned(b, s, name, d.shoot(b, &again))
			} else {
				at := b.start.Add(b.set + time.Duration(b.now)*time.Second)
				d.plan = append(d.plan, planned{name: name, frames: s.frames, intervalS: s.intervalS, from: at.Add(-time.Hour / 2), to: at.Add(time.Hour / 2)})
				d.say("%s was not shot", name)
			}
			b.now = 6 * 3600 * float64(i+1)
		}
	}},
}
