package main

import (
	"math"
	"time"
)

// faults go wrong within a shoot. Each writes one into the script, or returns
// false where the body or the shoot cannot have it. The first four are plain.
var faults = []struct {
	name string
	add  func(d *dump) bool
}{
	{"never fired", neverFired(1, 4)},
	{"never fired, burst", neverFired(5, 25)},
	{"lost", lostFrames(1, 5)},
	{"lost, block", lostFrames(6, 120)},
	{"deleted between", func(d *dump) bool {
		e, ok := d.eventIf(d.b.style.number && !d.b.style.ordered && d.b.grainS() > 0, "stills deleted in the camera")
		e.binned = 1 + d.r.IntN(3)
		return ok
	}},
	{"late", func(d *dump) bool {
		e, ok := d.eventIf(d.tellsTime(4), "late")
		e.lateS = between(d.r, max(0.35, 2.2*d.b.grainS()/d.s.shortestS()), 0.7) * d.s.shortestS()
		if ok {
			d.says = append(d.says, `late|irregular`)
		}
		return ok && d.mayRemarkTrue(2)
	}},
	{"held up", func(d *dump) bool { // a late frame after which the timer begins anew
		e, ok := d.eventIf(d.tellsTime(4), "held up")
		e.pauseS = between(d.r, 0.2, 0.4) * d.s.shortestS()
		return ok && d.mayRemarkTrue(2)
	}},
	{"double", func(d *dump) bool {
		e, ok := d.eventIf(d.tellsTime(4), "fired twice")
		e.doubleS = between(d.r, 0.3, 0.45) * d.s.shortestS()
		return ok && d.mayRemarkTrue(2)
	}},
	{"wrong stamp", func(d *dump) bool {
		e, ok := d.eventIf(d.tellsEXIF() && d.b.offset == "", "wrong stamp")
		e.wrongTo = d.wrongStamp()
		if ok {
			d.says = append(d.says, `stamp|clock`)
		}
		return ok && d.mayRemarkTrue(2)
	}},
	{"wrong stamp at the end", func(d *dump) bool {
		if !d.tellsEXIF() || d.b.offset != "" {
			return false
		}
		d.s.event(d.s.frames - 1).wrongTo = d.wrongStamp()
		d.say("wrong stamp at the end")
		d.says = append(d.says, `stamp|clock`)
		return d.mayRemarkTrue(2)
	}},
	{"clock set", func(d *dump) bool {
		e, ok := d.eventIf(d.tellsEXIF(), "clock set")
		x := oneOf(d.r, -3600, 3600, -7200, 1800, between(d.r, -5000, -30), between(d.r, 30, 5000))
		if math.Abs(x) < 3*d.s.intervalS {
			x = math.Copysign(3*d.s.intervalS+between(d.r, 0, 3600), x)
		}
		e.setS = x
		if ok && x < 0 { // forward, it may be a pause
			d.says = append(d.says, `clock`)
		}
		return ok && d.mayRemarkTrue(2)
	}},
	{"pause", func(d *dump) bool {
		e, ok := d.eventIf(d.tellsTime(2), "pause")
		e.pauseS = float64(logBetween(d.r, 3, 200)) * d.s.intervalS * between(d.r, 0.9, 1.1)
		return ok && d.mayRemarkTrue(2)
	}},
	{"pause of half hours", func(d *dump) bool {
		e, ok := d.eventIf(d.tellsTime(2) && d.s.intervalS <= 120, "pause near half hours")
		e.pauseS = 1800*float64(1+d.r.IntN(6)) + between(d.r, -20, 20)
		return ok && d.mayRemarkTrue(2)
	}},
	{"lost in a pause", func(d *dump) bool {
		n := logBetween(d.r, 1, 30)
		k, ok := d.s.place(d.r, n+1)
		if !ok || !d.b.style.number || !d.tellsTime(2) {
			return false
		}
		d.lose(k, n)
		d.s.event(k + n).pauseS = float64(logBetween(d.r, 5, 200)) * d.s.intervalS * between(d.r, 0.9, 1.1)
		d.say("%d lost before a pause at slot %d", n, k+n)
		return d.mayRemarkTrue(2)
	}},
	{"lost where the clock was set", func(d *dump) bool {
		n := logBetween(d.r, 1, 30)
		k, ok := d.s.place(d.r, n+1)
		if !ok || !d.tellsEXIF() {
			return false
		}
		d.lose(k, n)
		d.s.event(k + n).setS = oneOf(d.r, -1.0, 1, -0.5, 0.25) * 3600 * max(1, math.Round(d.s.intervalS/300))
		d.say("%d lost where the clock was set at slot %d", n, k+n)
		return d.mayRemarkTrue(2)
	}},
	{"cut short", func(d *dump) bool { // the copy of one file ended early
		e, ok := d.eventIf(!d.b.pair, "a file cut short")
		e.cut = true
		if ok {
			d.found, d.says = true, append(d.says, `damag|short|cut|trunc|end`)
		}
		return ok
	}},
}

// tellsTime: times tell a shift of so many grains of the clock.
func (d *dump) tellsTime(grains float64) bool {
	return d.b.grainS() > 0 && !d.s.soft && d.s.shortestS() >= grains*d.b.grainS()
}

// tellsEXIF: times stand in the EXIF alone and numbers in the names.
func (d *dump) tellsEXIF() bool {
	return d.b.style.number && d.b.exifGrainS > 0 && d.b.style.grainS == 0 && d.tellsTime(2)
}

func (d *dump) mayRemarkTrue(frames int) bool { d.mayRemark(frames); return true }

// eventIf is the event of a free slot; where there is none or may be none, one
// that will not happen.
func (d *dump) eventIf(may bool, what string) (*event, bool) {
	k, ok := d.s.place(d.r, 1)
	if !may || !ok {
		return &event{}, false
	}
	d.say("%s at slot %d", what, k)
	return d.s.event(k), true
}

func (d *dump) lose(k, n int) {
	for i := k; i < k+n; i++ {
		d.s.event(i).lost = true
	}
}

func neverFired(least, most int) func(*dump) bool {
	return func(d *dump) bool {
		n := logBetween(d.r, least, most)
		k, ok := d.s.place(d.r, n)
		if !ok || !d.tellsTime(2) || n > 1 && float64(n)*d.s.intervalS > 4*3600 { // longer, it may be a rest at night
			return false
		}
		for i := k; i < k+n; i++ {
			d.s.event(i).unfired = true
		}
		d.say("%d never fired from slot %d", n, k)
		return true
	}
}

func lostFrames(least, most int) func(*dump) bool {
	return func(d *dump) bool {
		n := logBetween(d.r, least, most)
		k, ok := d.s.place(d.r, n)
		if !ok || !d.b.style.number && !d.tellsTime(2) {
			return false
		}
		d.lose(k, n)
		d.say("%d lost from slot %d", n, k)
		return true
	}
}

// wrongStamp is what a camera writes that forgot its time for one frame.
func (d *dump) wrongStamp() func(time.Time) time.Time {
	year := oneOf(d.r, 1970, 2000, 2099)
	if year < 2099 {
		return func(time.Time) time.Time { return time.Date(year, 1, 1, 0, 0, 0, 0, time.UTC) }
	}
	if d.s.intervalS > 900 || d.chance(0.4) { // an hour of a slow shoot is a gap, no wrong stamp
		return func(t time.Time) time.Time { return t.AddDate(year-t.Year(), 0, 0) }
	}
	off := oneOf(d.r, -time.Hour, time.Hour)
	return func(t time.Time) time.Time { return t.Add(off) }
}
