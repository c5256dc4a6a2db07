package main

import (
	"math"
	"time"
)

// fault is something that goes wrong in a shoot. It returns false where the
// body or the shoot cannot have it.
type fault struct {
	name string
	add  func(d *dump, b *body, s *script) bool
}

// tellsTime: a frame that did not fire can be seen by the clock.
func tellsTime(b *body, s *script) bool {
	return b.grainS() > 0 && !s.soft && s.intervalS >= 2*b.grainS()
}

// tellsEXIF: times stand in the EXIF alone and numbers in the names.
func tellsEXIF(b *body, s *script) bool {
	return b.counts() && b.exifGrainS > 0 && b.style.grainS == 0 && tellsTime(b, s)
}

func neverFired(least, most int) func(*dump, *body, *script) bool {
	return func(d *dump, b *body, s *script) bool {
		n := logBetween(d.r, least, most)
		k, ok := s.place(d.r, n)
		if !ok || !tellsTime(b, s) {
			return false
		}
		for i := k; i < k+n; i++ {
			s.event(i).unfired = true
		}
		d.say("%d never fired from slot %d", n, k)
		return true
	}
}

func lostFrames(least, most int) func(*dump, *body, *script) bool {
	return func(d *dump, b *body, s *script) bool {
		n := logBetween(d.r, least, most)
		k, ok := s.place(d.r, n)
		if !ok || !b.counts() && !tellsTime(b, s) {
			return false
		}
		for i := k; i < k+n; i++ {
			s.event(i).lost = true
		}
		d.say("%d lost from slot %d", n, k)
		return true
	}
}

// mayRemark lets so many frames be called late, early or double.
func (d *dump) mayRemark(frames int) {
	d.remarks = true
	d.irregular += frames
}

// faults are those that may come together in one shoot.
var faults = []fault{
	{"never fired", neverFired(1, 4)},
	{"never fired, burst", neverFired(5, 25)},
	{"lost", lostFrames(1, 5)},
	{"lost, block", lostFrames(6, 120)},
	{"deleted between", func(d *dump, b *body, s *script) bool {
		k, ok := s.place(d.r, 1)
		if !ok || !b.counts() || b.style.import_ || b.grainS() == 0 {
			return false
		}
		s.event(k).binned = 1 + d.r.IntN(3)
		d.say("%d deleted in the camera before slot %d", s.event(k).binned, k)
		return true
	}},
	{"late", func(d *dump, b *body, s *script) bool {
		k, ok := s.place(d.r, 1)
		if !ok || !tellsTime(b, s) || s.intervalS < 4*b.grainS() {
			return false
		}
		s.event(k).lateS = between(d.r, math.Max(0.35, 1.6*b.grainS()/s.intervalS), 0.7) * s.intervalS
		d.mayRemark(2)
		d.says = append(d.says, `late|irregular`)
		d.say("slot %d late by %.1f s", k, s.event(k).lateS)
		return true
	}},
	{"double", func(d *dump, b *body, s *script) bool {
		k, ok := s.place(d.r, 1)
		if !ok || !tellsTime(b, s) || s.intervalS < 4*b.grainS() {
			return false
		}
		s.event(k).doubleS = between(d.r, 0.3, 0.45) * s.intervalS
		d.mayRemark(2)
		d.say("slot %d fired twice", k)
		return true
	}},
	{"wrong stamp", wrongStamp(false)},
	{"wrong stamp at the end", wrongStamp(true)},
	{"clock set", func(d *dump, b *body, s *script) bool {
		k, ok := s.place(d.r, 1)
		if !ok || !tellsEXIF(b, s) {
			return false
		}
		x := oneOf(d.r, -3600, 3600, -7200, 1800, between(d.r, -5000, -30), between(d.r, 30, 5000))
		if math.Abs(x) < 3*s.intervalS {
			x = math.Copysign(3*s.intervalS+between(d.r, 0, 3600), x)
		}
		s.event(k).setS = x
		d.mayRemark(2)
		d.say("clock set by %.1f s before slot %d", x, k)
		return true
	}},
	{"pause", func(d *dump, b *body, s *script) bool {
		k, ok := s.place(d.r, 1)
		if !ok || !tellsTime(b, s) {
			return false
		}
		x := float64(logBetween(d.r, 3, 200)) * s.intervalS * between(d.r, 0.9, 1.1)
		s.event(k).pauseS = x
		d.mayRemark(2)
		d.say("pause of %.1f s before slot %d", x, k)
		return true
	}},
	{"pause of half hours", func(d *dump, b *body, s *script) bool {
		k, ok := s.place(d.r, 1)
		if !ok || !tellsTime(b, s) || s.intervalS > 120 {
			return false
		}
		x := 1800*float64(1+d.r.IntN(6)) + between(d.r, -20, 20)
		s.event(k).pauseS = x
		d.mayRemark(2)
		d.say("pause of %.1f s before slot %d", x, k)
		return true
	}},
}

func wrongStamp(atEnd bool) func(*dump, *body, *script) bool {
	return func(d *dump, b *body, s *script) bool {
		k, ok := s.place(d.r, 1)
		if atEnd && ok {
			k = s.frames - 1
		}
		if !ok || !tellsEXIF(b, s) || b.offset != "" {
			return false
		}
		s.event(k).wrongTo = oneOf(d.r,
			func(time.Time) time.Time { return time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC) },
			func(time.Time) time.Time { return time.Date(1970, 1, 1, 0, 0, 0, 0, time.UTC) },
			func(t time.Time) time.Time { return t.AddDate(2099-t.Year(), 0, 0) },
			func(t time.Time) time.Time { return t.Add(time.Hour) },
			func(t time.Time) time.Time { return t.Add(-time.Hour) })
		if s.intervalS > 900 { // an hour is some intervals: no wrong stamp, a gap
			s.event(k).wrongTo = func(t time.Time) time.Time { return t.AddDate(2099-t.Year(), 0, 0) }
		}
		d.mayRemark(2)
		d.say("slot %d has a wrong stamp", k)
		return true
	}
}

func faultNamed(name string) fault {
	for _, f := range faults {
		if f.name == name {
			return f
		}
	}
	panic("no fault " + name)
}

// maybe gives about half the shoots a plain fault and leaves the rest clean.
func (d *dump) maybe(b *body, s *script) {
	if d.chance(0.5) {
		return
	}
	for range 4 {
		if faults[d.r.IntN(4)].add(d, b, s) {
			return
		}
	}
}
