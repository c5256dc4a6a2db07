package main

import (
	"math"
	"math/rand/v2"
	"slices"
	"time"
)

// role says what a release of the shutter was for.
type role int

const (
	ofShoot role = iota // a frame of a shoot
	byHand              // a test still beside a shoot
	doubled             // a second release within one interval
	movie               // a clip: it uses a number and lies on the disk
	binned              // deleted in the camera: only its number is used up
	unfired             // a slot in which the camera did not fire
)

// look is what the camera was set to.
type look struct {
	exposureS, fNumber, iso, focalMM float64
	orientation                      int
	program, mode                    string
}

// shot is one release of one body, or a slot without one.
type shot struct {
	role            role
	body            *body
	run             *run // nil beside shoots
	slot, order     int
	gapS            float64   // planned time since the slot before
	clock           time.Time // what the body's clock showed
	number, folder  int       // of the body's counter, as it names files
	card            int
	offset          string
	look            look
	moved           bool          // clock or pace changed just before: the time since the last shot tells nothing
	recounted       bool          // the counter began anew just before
	wrong           bool          // the stamp is not the clock's
	lost, half, cut bool          // in copying; one of two files; the file's end
	bare, empty     bool          // no facts of capture; no bytes
	exifOff         time.Duration // by which the EXIF is ahead of the clock
	renamed, suffix string        // by hand, after the import
	paths           []string
}

// run is a stretch of a shoot that no account may cut. Runs of one family
// follow each other with a break that may be taken for the start of another
// shoot or not.
type run struct {
	body   *body
	family int
	soft   bool // no cadence by which time tells lost from never fired
}

// body is one camera.
type body struct {
	index                int
	dir, prefix          string
	maker, model, serial string
	look                 look
	style                style
	exifGrainS           float64 // 1 to 0.001 s; 0 where no EXIF is left
	offset               string
	start                time.Time     // its clock at second 0
	nameAhead            time.Duration // the time in names is ahead of the clock
	ppm                  float64       // by which the clock runs fast
	set                  time.Duration // the clock was put forward by
	now                  float64       // true seconds
	number, folder       int           // the counter: last number given
	card, perFolder      int           // stills in a folder, 0 for any number
	pair                 bool          // a raw file beside each JPEG
	changeTime           bool          // EXIF holds the time of change alone
	raws                 string        // folder of the raw files, within the JPEGs'
	moved, recounted     bool          // since the last release
	tape                 []*shot
}

// grainS is the finest step of time that lies on the disk, 0 for no time.
func (b *body) grainS() float64 {
	if b.exifGrainS == 0 || b.style.grainS == 0 {
		return max(b.exifGrainS, b.style.grainS)
	}
	return min(b.exifGrainS, b.style.grainS)
}

func (b *body) top() int {
	if b.style.top > 0 {
		return b.style.top
	}
	return 9999
}

// release fires at second t, or lets a slot pass.
func (b *body) release(what role, r *run, slot int, t float64) *shot {
	s := &shot{role: what, body: b, run: r, slot: slot, order: len(b.tape), look: b.look, offset: b.offset, card: b.card, moved: b.moved, recounted: b.recounted}
	s.clock = b.clock(t)
	if what != unfired {
		if b.number++; b.number > b.top() {
			b.number, b.folder = 1, b.folder+1
		} else if b.perFolder > 0 && b.number%b.perFolder == 0 {
			b.folder++
		}
		b.moved, b.recounted = false, false
	}
	s.number, s.folder = b.number, b.folder
	b.tape = append(b.tape, s)
	return s
}

// clock is what the body shows at second t.
func (b *body) clock(t float64) time.Time {
	return b.start.Add(b.set + time.Duration(t*(1+b.ppm*1e-6)*float64(time.Second)))
}

// copied are the stills and clips that came to the import.
func (b *body) copied() (out []*shot) {
	for _, s := range b.tape {
		if s.role < binned {
			out = append(out, s)
		}
	}
	return out
}

// kept are the stills that are left.
func (b *body) kept() (out []*shot) {
	for _, s := range b.tape {
		if s.role < movie && !s.lost {
			out = append(out, s)
		}
	}
	return out
}

// event is what happens at one slot of a shoot.
type event struct {
	unfired, lost, half, cut, recount bool
	binned, cards, movies             int
	lateS, doubleS                    float64
	pauseS                            float64 // before the slot
	setS                              float64 // the clock is put forward before the slot
	resetTo                           time.Time
	wrongTo                           func(time.Time) time.Time
	offset                            string
}

// script is a shoot as the intervalometer will run it.
type script struct {
	frames    int
	intervalS float64
	gap       func(k int) float64 // seconds from slot k-1 to slot k
	jitterS   float64
	soft      bool
	bracket   []float64            // exposures of each slot, EV; nil for one
	look      func(k int, l *look) // settings that move
	at        map[int]*event
	taken     []bool
}

func newScript(r *rand.Rand, frames int, intervalS float64) *script {
	jitterS := min(0.004*intervalS, 0.04) * r.Float64()
	if r.IntN(5) == 0 { // a telephone, or a slow shutter
		jitterS = min(0.01*intervalS, 0.25) * r.Float64()
	}
	return &script{
		frames: frames, intervalS: intervalS, gap: func(int) float64 { return intervalS },
		jitterS: jitterS, at: map[int]*event{}, taken: make([]bool, frames),
	}
}

// shortestS is the shortest interval.
func (s *script) shortestS() float64 {
	least := s.intervalS
	for k := 1; k < s.frames; k++ {
		least = min(least, s.gap(k))
	}
	return least
}

func (s *script) event(k int) *event {
	if s.at[k] == nil {
		s.at[k] = &event{}
	}
	return s.at[k]
}

// apart is how many undisturbed slots lie around each event.
const apart = 8

// place finds room for an event of so many slots, away from the ends and from
// other events.
func (s *script) place(r *rand.Rand, width int) (k int, ok bool) {
	for range 40 {
		room := s.frames - 2*apart - width
		if room < 1 {
			break
		}
		if k = apart + r.IntN(room); slices.Contains(s.taken[k-apart:k+width+apart], true) {
			continue
		}
		for i := range width {
			s.taken[k+i] = true
		}
		return k, true
	}
	return 0, false
}

// A break of more than sureJoin intervals may be taken for the start of a new
// shoot, one of up to mayFire for frames that never fired.
const (
	sureJoin = 10
	mayFire  = 40
)

// shoot runs the script on the body. What it shoots is one family.
func shoot(d *dump) {
	b, s := d.b, d.s
	d.families++
	r := d.newRun()
	t, absent := b.now, 0
	for k := range s.frames {
		e := s.at[k]
		if e == nil {
			e = &event{}
		}
		if k > 0 {
			t += s.gap(k) + e.pauseS
		}
		b.moved = b.moved || e.pauseS > 0 || e.setS != 0 || !e.resetTo.IsZero()
		b.set += time.Duration(e.setS * float64(time.Second))
		if !e.resetTo.IsZero() {
			b.set += e.resetTo.Sub(b.clock(t))
		}
		if e.recount {
			b.number, b.folder, b.recounted = 0, 100, true
		}
		if e.offset != "" {
			b.offset = e.offset
		}
		b.card += e.cards
		breakS := e.pauseS + max(0, e.setS)
		if absent > sureJoin && !e.lost && !e.unfired && !b.style.number { // nothing but time tells of them
			breakS = float64(absent) * s.gap(k)
		}
		if breakS > sureJoin*s.gap(max(k, 1)) || !e.resetTo.IsZero() {
			r = d.newRun()
		}
		if absent++; !e.lost && !e.unfired {
			absent = 0
		}
		for i := range e.binned {
			b.release(binned, r, k, t-s.gap(max(k, 1))*(0.6-0.05*float64(i)))
		}
		for range e.movies {
			b.release(movie, nil, 0, t-s.gap(max(k, 1))/2)
		}
		if e.unfired {
			b.release(unfired, r, k, t)
			continue
		}
		if s.look != nil {
			s.look(k, &b.look)
		}
		d.expose(e, r, k, t)
	}
	b.now = t
}

// expose makes the shot or the shots of one slot.
func (d *dump) expose(e *event, r *run, k int, t float64) {
	b, s := d.b, d.s
	t += min(2.5, math.Abs(d.r.NormFloat64())) * s.jitterS
	bracket := s.bracket
	if bracket == nil {
		bracket = []float64{0}
	}
	for i, ev := range bracket {
		f := b.release(ofShoot, r, k, t+e.lateS+0.6*float64(i))
		if f.look.exposureS *= math.Exp2(ev); s.bracket != nil {
			f.look.mode = "auto bracket"
		}
		f.gapS, f.lost, f.half, f.cut = s.gap(k), e.lost, e.half, e.cut
		if e.wrongTo != nil {
			f.clock, f.wrong = e.wrongTo(f.clock), true
		}
	}
	if e.doubleS > 0 {
		b.release(doubled, r, k, t+e.doubleS).gapS = s.gap(k)
	}
}

func (d *dump) newRun() *run {
	r := &run{body: d.b, family: d.families, soft: d.s.soft}
	d.runs = append(d.runs, r)
	return r
}
