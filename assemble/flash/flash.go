// Package flash looks through a finished clip for passages that may harm
// viewers with photosensitive epilepsy, by the thresholds of WCAG 2.2 success
// criterion 2.3.1 (three flashes or below threshold). ITU-R BT.1702 is the
// counterpart for broadcasting; its limits are stated in cd/m2 of a reference
// screen and are not checked here.
package flash

import (
	"fmt"
	"math"

	"stillspan/internal/srgb"
)

// Notice says what the check is worth; show it with every result.
const Notice = "This check follows the thresholds of WCAG 2.2, success criterion 2.3.1 (general and red flash, area rule). " +
	"It is an aid and no certified test: for broadcasting, have the clip tested after Recommendation ITU-R BT.1702."

// The thresholds of WCAG 2.2, "general flash and red flash thresholds".
const (
	leastChange = 0.10 // of relative luminance, between opposing extremes
	darkBelow   = 0.80 // the darker extreme must be below this
	redShare    = 0.8  // R/(R+G+B) of one of the two states, linear light
	redChange   = 0.2  // distance of the states in CIE 1976 u'v', above this
	areaShare   = 0.25 // of any 10 degree field, above this
	mostFlashes = 3    // in any one second
	// The screen and the 10 degree field that the standard names.
	screenW, screenH = 1024, 768
	fieldW, fieldH   = 341, 256
)

// blackSum is the linear R+G+B below which an 8-bit pixel's colour is too
// uncertain to be called red; our own floor, the standard has none.
const blackSum = 0.015

// Kind is the kind of flash.
type Kind string

// The two kinds of flash that the standard limits.
const (
	General Kind = "general"
	Red     Kind = "red"
)

// Passage is a run of frames with more than three flashes in a second over
// more than a quarter of some 10 degree field.
type Passage struct {
	From, To int // frames, counted from 0, both included
	Kind     Kind
	// Start and End are From and To as time codes HH:MM:SS:FF (non-drop).
	Start, End string
	// Flashes is the most flashes in one second, and Area the largest share
	// of a 10 degree field that has more than three.
	Flashes int
	Area    float64
}

// Options describes the frames.
type Options struct {
	// Width and Height are the pixels of the frames, 16 to 1024; a clip
	// reduced to about 256 x 192 is enough. They must have the clip's aspect:
	// the picture is taken to fill a screen of 1024 x 768.
	Width, Height int
	Rate          float64 // frames per second, over 0 to 1000
}

// Validate says which option is out of its range.
func (o Options) Validate() error {
	switch {
	case o.Width < 16 || o.Height < 16 || o.Width > screenW || o.Height > screenW:
		return fmt.Errorf("flash check on %dx%d pixels: each side must be 16 to 1024", o.Width, o.Height)
	case !(o.Rate > 0 && o.Rate <= 1000):
		return fmt.Errorf("flash check at %g frames per second: must be over 0 and at most 1000", o.Rate)
	}
	return nil
}

// Analyzer takes a clip's frames in order. Memory does not grow with their
// number, only with that of the passages found.
type Analyzer struct {
	o            Options
	t            int // frames seen
	winW, winH   int
	lo, hi       []float32 // luminance extremes since the last change
	dir          []int8    // direction of the last change
	red          []redState
	general      counter
	reds         counter
	linear       [256]float32
	found        []Passage
	openG, openR int // index+1 of the passage that may go on, 0 for none
}

// New returns an analyzer. It panics on options that Validate refuses.
func New(o Options) *Analyzer {
	if err := o.Validate(); err != nil {
		panic("flash: " + err.Error())
	}
	n := o.Width * o.Height
	a := &Analyzer{
		o: o, lo: make([]float32, n), hi: make([]float32, n), dir: make([]int8, n),
		red: make([]redState, n), general: newCounter(n), reds: newCounter(n),
	}
	scale := math.Min(screenW/float64(o.Width), screenH/float64(o.Height))
	a.winW = min(max(int(math.Round(fieldW/scale)), 1), o.Width)
	a.winH = min(max(int(math.Round(fieldH/scale)), 1), o.Height)
	for i := range a.linear {
		a.linear[i] = linear(float64(i) / 255)
	}
	return a
}

// linear is the channel decoding of WCAG's definition of relative luminance,
// which is that of IEC 61966-2-1.
func linear(c float64) float32 { return float32(srgb.Decode(c)) }

// Add takes the next frame as packed RGB, 8 bits each, sRGB or BT.709
// displayed as such. It panics when rgb is not Width x Height x 3 long. rgb is
// not kept.
func (a *Analyzer) Add(rgb []byte) {
	if len(rgb) != 3*len(a.lo) {
		panic("flash: frame of the wrong size")
	}
	a.general.start()
	a.reds.start()
	for i := range a.lo {
		p := rgb[3*i : 3*i+3]
		r, g, b := a.linear[p[0]], a.linear[p[1]], a.linear[p[2]]
		a.luminance(i, 0.2126*r+0.7152*g+0.0722*b)
		if a.red[i].next(r, g, b, a.t == 0) {
			a.reds.change(i, a.t)
		}
	}
	a.judge(&a.general, General, &a.openG)
	a.judge(&a.reds, Red, &a.openR)
	a.t++
}

// luminance follows pixel i and notes a change once it is away from the last
// extreme by the threshold, against the direction of the change before.
func (a *Analyzer) luminance(i int, l float32) {
	if a.t == 0 {
		a.lo[i], a.hi[i] = l, l
		return
	}
	const eps = 1e-6 // of rounding to 32 bits
	switch {
	case a.dir[i] <= 0 && l-a.lo[i] >= leastChange-eps && a.lo[i] < darkBelow:
		a.dir[i] = 1
		a.lo[i], a.hi[i] = l, l
		a.general.change(i, a.t)
	case a.dir[i] >= 0 && a.hi[i]-l >= leastChange-eps && l < darkBelow:
		a.dir[i] = -1
		a.lo[i], a.hi[i] = l, l
		a.general.change(i, a.t)
	default:
		a.lo[i], a.hi[i] = min(a.lo[i], l), max(a.hi[i], l)
	}
}

// redState is where a pixel stands between red and not red. u, v is the
// colour of its present state that is farthest from the other.
type redState struct {
	u, v, share float32
	red         bool
}

// next follows the pixel's colour; changed is true at a change between a
// saturated red and a colour far enough from it.
func (s *redState) next(r, g, b float32, first bool) (changed bool) {
	sum := r + g + b
	var share float32
	if sum >= blackSum {
		share = r / sum
	}
	isRed := share >= redShare
	if first {
		s.u, s.v = uv(r, g, b)
		s.share, s.red = share, isRed
		return false
	}
	if !isRed && !s.red {
		if share < s.share {
			s.u, s.v = uv(r, g, b)
			s.share = share
		}
		return false
	}
	u, v := uv(r, g, b)
	if isRed && s.red {
		if share > s.share {
			s.u, s.v, s.share = u, v, share
		}
		return false
	}
	du, dv := u-s.u, v-s.v
	if du*du+dv*dv <= redChange*redChange {
		return false
	}
	*s = redState{u, v, share, isRed}
	return true
}

// uv is the CIE 1976 UCS chromaticity of linear BT.709 primaries; black
// counts as the white point.
func uv(r, g, b float32) (u, v float32) {
	if r+g+b < blackSum {
		r, g, b = 1, 1, 1
	}
	x := 0.4124*r + 0.3576*g + 0.1805*b
	y := 0.2126*r + 0.7152*g + 0.0722*b
	z := 0.0193*r + 0.1192*g + 0.9505*b
	d := x + 15*y + 3*z
	return 4 * x / d, 9 * y / d
}

// Findings are the risky passages found so far, in order of their start.
func (a *Analyzer) Findings() []Passage {
	out := append([]Passage(nil), a.found...)
	for i := range out {
		out[i].Start, out[i].End = timecode(out[i].From, a.o.Rate), timecode(out[i].To, a.o.Rate)
	}
	return out
}

// timecode counts frames at the rate rounded to whole frames, as SMPTE
// non-drop labels do.
func timecode(frame int, rate float64) string {
	n := max(int(math.Round(rate)), 1)
	s := frame / n
	return fmt.Sprintf("%02d:%02d:%02d:%02d", s/3600, s/60%60, s%60, frame%n)
}
