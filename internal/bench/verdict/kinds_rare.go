package main

import (
	"fmt"
)

// rare kinds are days that a third pair of eyes thought of: test stills between
// shoots, buffers that fill, shoots begun anew, time changes that only names tell.
var rare = []kind{
	{"test stills between two shoots", counter, []step{withEXIF, maybe, shoot, wait(1200), turn, testsNear, maybe, shoot}},
	{"test stills at any time", counter, []step{withEXIF, testsNear, maybe, shoot}},
	{"a buffer that fills", all, []step{withEXIF, func(d *dump) {
		d.rescript(60+d.r.IntN(240), max(d.s.intervalS, 2.5*d.b.grainS()))
		every, from := 5+d.r.IntN(7), d.r.IntN(5)
		for k := from + every; k < d.s.frames-4; k += every {
			d.s.event(k).unfired = true
		}
		d.say("every %dth never fired", every)
	}, shoot}},
	{"begun anew with other settings", counter, []step{withEXIF, frames(40, 240), maybe, shoot, func(d *dump) {
		d.b.now += d.s.intervalS * (float64(5+d.r.IntN(60)) + between(d.r, 0.35, 0.65))
		d.b.look.exposureS /= oneOf(d.r, 2.0, 4, 8)
		d.b.look.iso *= oneOf(d.r, 1.0, 2, 4)
		d.rescript(max(20, d.s.frames/2), d.s.intervalS)
	}, shoot}},
	{"a few frames beside a shoot", counter, []step{withEXIF, maybe, shoot, wait(1200), turn, func(d *dump) {
		n := 3 + d.r.IntN(2)
		for k := range n {
			d.b.release(byHand, nil, 0, d.b.now+float64(k)*d.s.intervalS)
		}
		d.say("%d frames at %g s", n, d.s.intervalS)
	}}},
	{"three faults in a short shoot", counter, []step{frames(70, 160), several(3), shoot}},
	{"three faults each, two bodies", counter, []step{frames(90, 200), several(3), shoot, camera, frames(90, 200), several(3), shoot}},
	{"cards numbered alike", plain, []step{withEXIF, maybe, shoot, newCard, maybe, shoot, newCard, maybe, shoot}},
	{"clock: that of the file system alone", []string{"dcf", "dcf-flat", "five-digits", "parentheses", "unpadded"}, []step{noEXIF, half(lostFrames(1, 20)), shoot, func(d *dump) { d.fileTimes = true }}},
	{"clock: time change told by names", []string{"date-in-name", "date-with-spaces", "date-ms", "iso-8601"}, []step{noEXIF, func(d *dump) {
		d.rescript(30+d.r.IntN(60), oneOf(d.r, 3.0, 5, 8, 10, 15, 20))
		e, _ := d.eventIf(true, "time changed")
		e.setS = oneOf(d.r, 3600.0, -3600)
		d.remarks = true
	}, shoot}},
	{"interval: ramped, a block lost", counter, []step{ramp, must(lostFrames(6, 40)), shoot}},
	{"name: some renamed", plain, []step{withEXIF, maybe, shoot, func(d *dump) {
		for i, f := range d.b.tape {
			if d.chance(0.1) {
				f.renamed = fmt.Sprintf("%s %d", oneOf(d.r, "best", "fog", "first light"), i)
			}
		}
	}}},
	{"never fired near an end", counter, []step{withEXIF, func(d *dump) {
		d.rescript(max(30, d.s.frames), max(d.s.intervalS, 2*d.b.grainS()))
		k := 2 + d.r.IntN(10)
		if d.chance(0.5) {
			k = d.s.frames - 1 - k
		}
		d.s.event(k).unfired, d.ends = true, true
		d.say("slot %d of %d never fired", k, d.s.frames)
	}, shoot}},
}

// testsNear fires some stills by hand at any moment before a shoot, with settings
// that are hardly the shoot's.
func testsNear(d *dump) {
	b, kept := d.b, d.b.look
	for range 1 + d.r.IntN(4) {
		b.look.exposureS = kept.exposureS * oneOf(d.r, 0.125, 0.25, 0.5, 2, 4)
		b.look.iso = kept.iso * oneOf(d.r, 1.0, 2, 4)
		b.release(byHand, nil, 0, b.now)
		b.now += between(d.r, 4, 40)
	}
	b.look = kept
	b.now += between(d.r, 30, 200)
}

// newCard puts in a card on which the counter begins as on the one before.
func newCard(d *dump) {
	wait(600)(d)
	d.b.card, d.cards = d.b.card+1, true
	d.b.number, d.b.folder, d.b.recounted = d.b.tape[0].number-1, d.b.tape[0].folder, true
	turn(d)
}
