package deflicker

import (
	"fmt"
	"math"
	"slices"
	"sort"

	"stillspan/internal/srgb"
)

// lightEV is log2 of the linear light, 0 to 1, of a channel value v encoded
// after IEC 61966-2-1; -Inf at black.
func lightEV(v float64) float64 { return math.Log2(srgb.Decode(v)) }

// toneBins is how many bins the range of codes is parted into where tones are
// told apart. They are narrower in the dark, where the code of a tone changes
// most in proportion: 0.5 codes of 255 at black, 6 at white.
const toneBins = 64

// binCode is the code, 0 to 1, at the lower edge of bin b, which may be broken.
func binCode(b float64) float64 { return math.Pow(b/toneBins, 1.5) }

// codeBin is its inverse.
func codeBin(v float64) float64 { return toneBins * math.Pow(v, 2./3) }

// Response is how a camera's codes follow exposure: for each channel (R, G, B)
// and bin of codes, by how many EV the light decoded after IEC 61966-2-1
// changes for one EV of exposure. A camera that encodes so and does nothing
// else has 1 throughout; contrast of its own makes it more in the dark and in
// the middle and less in the bright tones.
//
// With L the decoded light in EV and s(L) the slope, the exposure that gives it
// is E(L) = integral of dL / s(L), up to a constant: a response is known but
// for the unit of exposure (Mann and Picard, "On being 'undigital' with
// digital cameras", 1995; Grossberg and Nayar, "Determining the camera
// response from images: what is knowable?", 2003).
type Response struct {
	// Slope has toneBins values for each channel, in order of code, each above
	// 0; nil is 1 throughout. Between the bins' middles it changes linearly in
	// L; beyond the outermost it keeps their value.
	Slope [3][]float64
}

// slopes that Validate permits: the published curves of cameras and films lie
// within (Grossberg and Nayar, "Modeling the space of camera response
// functions", 2004: less than 0.2 to over 3 against IEC 61966-2-1).
const leastSlope, mostSlope = 0.1, 8

// Validate says what is wrong with a response from outside.
func (r *Response) Validate() error {
	for c, s := range r.Slope {
		if s == nil {
			continue
		}
		if len(s) != toneBins {
			return fmt.Errorf("response of channel %d: %d slopes, want %d", c, len(s), toneBins)
		}
		for _, x := range s {
			if !(x >= leastSlope && x <= mostSlope) {
				return fmt.Errorf("response of channel %d: slope %g, must be %g to %g", c, x, leastSlope, float64(mostSlope))
			}
		}
	}
	return nil
}

// Alike says whether all channels respond alike.
func (r *Response) Alike() bool {
	return r == nil || slices.Equal(r.Slope[0], r.Slope[1]) && slices.Equal(r.Slope[1], r.Slope[2])
}

// contrast is one channel of a Response made ready: exposure by decoded light,
// a line through knots.
type contrast struct {
	light, ev []float64
	white     float64 // exposure of white
}

// binLight is the decoded light, EV, at the middle of each bin.
var binLight = func() (l [toneBins]float64) {
	for b := range l {
		l[b] = lightEV(binCode(float64(b) + 0.5))
	}
	return l
}()

// channel makes channel c ready; nil for one with no contrast of its own.
func (r *Response) channel(c int) *contrast {
	if r == nil || r.Slope[c] == nil {
		return nil
	}
	t := &contrast{light: binLight[:], ev: make([]float64, toneBins)}
	s := r.Slope[c]
	// Middle grey keeps its place, so that both scales can be read as one.
	for b := 1; b < toneBins; b++ {
		t.ev[b] = t.ev[b-1] + (t.light[b]-t.light[b-1])*2/(s[b]+s[b-1])
	}
	shift := math.Log2(0.18) - t.exposure(math.Log2(0.18))
	for b := range t.ev {
		t.ev[b] += shift
	}
	t.white = t.exposure(0)
	return t
}

// exposure is the exposure that gives decoded light l, EV.
func (t *contrast) exposure(l float64) float64 {
	if t == nil {
		return l
	}
	return along(t.light, t.ev, l)
}

// decoded is the inverse of exposure.
func (t *contrast) decoded(e float64) float64 {
	if t == nil {
		return e
	}
	return along(t.ev, t.light, e)
}

// along is the line through the points x, y (x rising) at p; its first and its
// last piece go on for ever.
func along(x, y []float64, p float64) float64 {
	if math.IsInf(p, 0) {
		return p
	}
	i := min(max(sort.SearchFloat64s(x, p), 1), len(x)-1)
	return y[i-1] + (p-x[i-1])*(y[i]-y[i-1])/(x[i]-x[i-1])
}

// Tone applies a correction of ev EV to a value v of channel c (0 to 2 for R,
// G, B), 0 to 1 in and out: to exposure, plus ev, and back. It is the plain
// definition that faster paths are checked against. r may be nil, for a picture
// encoded after IEC 61966-2-1 and nothing else: then it is a gain in linear
// light.
//
// The gain is exact up to a share of white's exposure of knee(ev) on the
// brighter side; from there a hyperbola runs with the same slope at its start
// to white. Black stays black, and white stays white, so that clipped
// highlights do not start to flicker where all else stops. The curve is
// strictly rising, Tone(c, v, 0) is v, and a correction of -ev takes back one
// of ev.
//
// Values of v outside 0 to 1 are clamped; NaN in either gives NaN.
func (r *Response) Tone(c int, v, ev float64) float64 {
	return r.channel(c).tone(min(max(v, 0), 1), ev)
}

// Table is Tone for len(dst) evenly spaced channel values from 0 to 1, at
// least 2, into dst.
func (r *Response) Table(dst []float64, c int, ev float64) {
	t := r.channel(c)
	for i := range dst {
		dst[i] = t.tone(float64(i)/float64(len(dst)-1), ev)
	}
}

func (t *contrast) tone(v, ev float64) float64 {
	if ev == 0 || v == 0 || v == 1 {
		return v + 0*ev
	}
	if t == nil {
		return srgb.Encode(gain(srgb.Decode(v), ev))
	}
	e := t.exposure(lightEV(v)) - t.white
	if k := math.Log2(knee(ev)); max(e, e+ev) > k {
		e = math.Log2(gain(math.Exp2(e), ev))
	} else {
		e += ev
	}
	return srgb.Encode(math.Exp2(t.decoded(e + t.white)))
}

// knee is the exposure, a share of white's, up to which a correction of ev EV
// is a pure gain on the brighter side: lower for large corrections, so that
// the shoulder is never so short that it looks like a clip.
func knee(ev float64) float64 { return 0.95 / (1 + 0.5*math.Abs(ev)) }

// gain brightens linear light x by ev EV with the shoulder of Tone. A negative
// ev is the inverse function of the positive one.
func gain(x, ev float64) float64 {
	g := math.Exp2(math.Abs(ev))
	k := knee(ev)
	x0 := k / g // where the shoulder of the brightening curve starts
	a := (g - 1) / ((1 - k) * (1 - x0))
	if ev > 0 {
		if x <= x0 {
			return x * g
		}
		d := x - x0
		return k + g*d/(1+a*d)
	}
	if x <= k {
		return x / g
	}
	e := x - k
	return x0 + e/(g-a*e)
}
