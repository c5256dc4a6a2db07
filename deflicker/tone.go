package deflicker

import (
	"math"

	"stillspan/internal/srgb"
)

// knee is the linear light, after the gain, up to which a correction of ev EV
// is a pure gain: 0.85 for small corrections, lower for large ones, so that
// the shoulder is never so short that it looks like a clip.
func knee(ev float64) float64 { return 0.85 / (1 + 0.4*math.Abs(ev)) }

// Tone applies a correction of ev EV to one channel value v of a picture
// encoded after IEC 61966-2-1, 0 to 1 in and out: decode, gain 2^ev in linear
// light, shoulder, encode. It is the plain definition that faster paths are
// checked against.
//
// The gain is exact up to a linear light of 0.85 / (1 + 0.4 |ev|) on the
// brighter side; from there a hyperbola runs with the same slope at its start
// to white. Black stays black, white stays
// white, so that clipped highlights do not start to flicker where all else
// stops. The curve is strictly rising, Tone(v, 0) is v, and
// Tone(Tone(v, ev), -ev) is v.
//
// Values of v outside 0 to 1 are clamped; NaN in either gives NaN.
func Tone(v, ev float64) float64 {
	v = min(max(v, 0), 1)
	if ev == 0 {
		return v
	}
	return srgb.Encode(gain(srgb.Decode(v), ev))
}

// ToneTable is Tone for n evenly spaced channel values from 0 to 1; n must be
// at least 2.
func ToneTable(n int, ev float64) []float64 {
	t := make([]float64, n)
	for i := range t {
		t[i] = Tone(float64(i)/float64(n-1), ev)
	}
	return t
}

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
