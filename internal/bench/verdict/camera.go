package main

import (
	"math"
	"math/rand/v2"
	"time"
)

// role says what a release of the shutter was for.
type role int

const (
	ofShoot role = iota // a frame of a shoot
	byHand              // fired beside a shoot: a test still
	doubled             // a second release within one interval
	binned              // deleted in the camera: its number is used up
	unfired             // a slot in which the camera did not fire; no shot at all
	ofMovie             // a movie clip: it uses a number and lies on the disk
	nothing             // marks a change between shots
)

// look is what the camera was set to.
type look struct {
	exposureS, fNumber, iso, focalMM float64
	orientation, width, height       int
	program, mode                    string
}

// shot is one release of one body, or what stands in its place.
type shot struct {
	role           role
	body           *body
	run            *run
	slot           int
	clock          time.Time // what the body's clock showed
	wrong          bool      // the stamp is not the clock's
	number, folder int       // of the body's counter, as it names files
	order, card    int
	offset         string
	look           look
	moved          bool // clock, counter or pace changed just before: the time since the last shot tells nothing
	recounted      bool // the counter began anew just before
	lost           bool // in copying
	half           bool // one of its two files was lost
	paths          []string
}

// run is a stretch of a shoot that no account may cut. Runs of one family
// lie behind each other with a break that may or may not be taken for the
// start of a new shoot.
type run struct {
	body      *body
	family    int
	intervalS float64
	soft      bool // no cadence by which time could tell lost from never fired
	shots     []*shot
}

// body is one camera.
type body struct {
	dir, prefix         string
	maker, model        string
	serial              string
	look                look
	style               *style
	exifGrainS          float64 // 1, 0.1, 0.01, 0.001; 0 where no EXIF is left
	offset              string
	start               time.Time // its clock at second 0 of the day
	ppm                 float64   // by which its clock runs fast
	set                 time.Duration
	now                 float64 // true seconds into the day
	number, folder, top int     // counter; numbers begin anew after top
	card                int
	pair                bool   // writes a raw file beside each JPEG
	raws                string // folder of the raw files, within the JPEGs'
	moved, recounted    bool
	tape                []*shot
}

// grainS is the finest step of time that lies on the disk, 0 for no time.
func (b *body) grainS() float64 {
	switch {
	case b.exifGrainS == 0:
		return b.style.grainS
	case b.style.grainS == 0:
		return b.exifGrainS
	}
	return math.Min(b.exifGrainS, b.style.grainS)
}

// counts tells whether names carry numbers.
func (b *body) counts() bool { return b.style.number }

// release fires at second t of the day.
func (b *body) release(what role, r *run, slot int, t float64) *shot {
	s := &shot{role: what, body: b, run: r, slot: slot, look: b.look, offset: b.offset, card: b.card, order: len(b.tape), moved: b.moved, recounted: b.recounted}
	s.clock = b.start.Add(b.set + time.Duration(t*(1+b.ppm*1e-6)*float64(time.Second)))
	if what != unfired {
		b.number++
		if b.number > b.top {
			b.number = 1
			b.folder++
		}
		b.moved, b.recounted = false, false
	}
	s.number, s.folder = b.number, b.folder
	b.tape = append(b.tape, s)
	if r != nil {
		r.shots = append(r.shots, s)
	}
	return s
}

// event is what happens at one slot of a shoot.
type event struct {
	unfired, lost, half bool
	binned              int
	lateS, doubleS      float64
	pauseS              float64 // before the slot
	setS                float64 // the clock is put forward by this before the slot
	resetTo             time.Time
	wrongTo             func(time.Time) time.Time
	card, recount       bool // a new card; a counter that begins anew
	offset              string
}

// script is a shoot as the intervalometer will run it.
type script struct {
	frames    int
	intervalS float64
	gap       func(k int) float64 // seconds from slot k-1 to slot k
	jitterS   float64
	soft      bool
	bracket   []float64            // exposures of each slot, in EV; nil for one
	look      func(k int, l *look) // settings that move
	at        map[int]*event
	taken     []bool
}

func newScript(r *rand.Rand, frames int, intervalS float64) *script {
	return &script{
		frames: frames, intervalS: intervalS, gap: func(int) float64 { return intervalS },
		jitterS: math.Min(0.004*intervalS, 0.04) * r.Float64(), at: map[int]*event{}, taken: make([]bool, frames),
	}
}

// apart is how many undisturbed slots lie around each event.
const apart = 8

// place finds room for an event of so many slots, away from the ends and from
// other events.
func (s *script) place(r *rand.Rand, width int) (k int, ok bool) {
	room := s.frames - 2*apart - width
	for range 40 {
		if room < 1 {
			break
		}
		k = apart + r.IntN(room)
		free := true
		for i := k - apart; i < k+width+apart && free; i++ {
			free = !s.taken[i]
		}
		if free {
			for i := k; i < k+width; i++ {
				s.taken[i] = true
			}
			return k, true
		}
	}
	return 0, false
}

func (s *script) event(k int) *event {
	if s.at[k] == nil {
		s.at[k] = &event{}
	}
	return s.at[k]
}

// A pause of more than mayCut intervals may be taken for the start of a new
// shoot; one of up to sureJoin may not.
const (
	sureJoin = 10
	mayCut   = 40
)

// shoot runs a script on a body, in its time, and returns the family.
func (d *dump) shoot(b *body, s *script) int {
	d.families++
	r := d.newRun(b, s)
	t, absent := b.now, 0
	for k := range s.frames {
		e := s.at[k]
		if e == nil {
			e = &event{}
		}
		if k > 0 {
			t += s.gap(k) + e.pauseS
		}
		if e.pauseS > 0 || e.setS != 0 || !e.resetTo.IsZero() {
			b.moved = true
		}
		if jump := e.pauseS + math.Max(0, e.setS); jump > sureJoin*s.intervalS || !e.resetTo.IsZero() ||
			!b.counts() && !e.lost && !e.unfired && absent > sureJoin {
			r = d.newRun(b, s)
		}
		if absent++; !e.lost && !e.unfired {
			absent = 0
		}
		b.set += time.Duration(e.setS * float64(time.Second))
		if !e.resetTo.IsZero() {
			b.set = e.resetTo.Sub(b.start) - time.Duration(t*(1+b.ppm*1e-6)*float64(time.Second))
		}
		if e.card {
			b.card++
		}
		if e.recount {
			b.number, b.folder, b.recounted = 0, 100, true
		}
		if e.offset != "" {
			b.offset = e.offset
		}
		for i := range e.binned {
			b.release(binned, r, k, t-s.gap(max(k, 1))*(0.6-0.05*float64(i)))
		}
		if e.unfired {
			b.release(unfired, r, k, t)
			continue
		}
		if s.look != nil {
			s.look(k, &b.look)
		}
		d.expose(b, s, e, r, k, t)
	}
	b.now = t
	return d.families
}

// expose makes the shot or the shots of one slot.
func (d *dump) expose(b *body, s *script, e *event, r *run, k int, t float64) {
	if s.jitterS > 0 {
		t += math.Max(-2.5, math.Min(2.5, d.r.NormFloat64())) * s.jitterS
	}
	ev := s.bracket
	if ev == nil {
		ev = []float64{0}
	}
	for i, x := range ev {
		kept := b.look
		b.look.exposureS *= math.Exp2(x)
		if s.bracket != nil {
			b.look.mode = "auto bracket"
		}
		f := b.release(ofShoot, r, k, t+e.lateS+0.6*float64(i))
		b.look = kept
		f.lost, f.half = e.lost, e.half
		if e.wrongTo != nil {
			f.clock, f.wrong = e.wrongTo(f.clock), true
		}
	}
	if e.doubleS > 0 {
		b.release(doubled, r, k, t+e.doubleS)
	}
}

func (d *dump) newRun(b *body, s *script) *run {
	r := &run{body: b, family: d.families, intervalS: s.intervalS, soft: s.soft}
	d.runs = append(d.runs, r)
	return r
}

// testStills fires n stills by hand, with the pace of somebody who looks at
// each, and leaves the body at the moment of the last.
func (d *dump) testStills(b *body, n int) {
	kept := b.look
	for range n {
		b.look.exposureS = kept.exposureS * math.Exp2(float64(d.r.IntN(7)-3))
		b.release(byHand, nil, 0, b.now)
		b.now += between(d.r, 4, 90)
	}
	b.look = kept
}
