package scene

import (
	"math"
	"math/rand/v2"

	"stillspan/internal/srgb"
)

// newResponse is a camera's tone curve by channel: the displayed light of a
// scene's light, each 0 to 1, with white at white. It is drawn from four
// families of which none holds the others, so that no single formula fits
// them. At strength 1 a change of exposure shows about 1.45 times as large in
// dark tones, 1.2 times in the middle and 0.9 times in bright ones, as
// measured on a bracketed series of known exposure times; at other strengths
// the excess grows in proportion. The channels differ slightly.
func newResponse(rng *rand.Rand, o Options) [3]func(float64) float64 {
	var f [3]func(float64) float64
	family := (o.Seed + uint64(2*o.Response)) % 4
	shape := rng.Uint64()
	for j := range f {
		k := o.Response * (1 + 0.06*rng.NormFloat64())
		// The same kinks and twists for all channels.
		f[j] = responseOf(rand.New(rand.NewPCG(shape, family)), int(family), k)
		if o.Response == 0 {
			f[j] = func(l float64) float64 { return l }
		}
	}
	return f
}

func responseOf(rng *rand.Rand, family int, k float64) func(float64) float64 {
	var f func(float64) float64
	switch family {
	case 0: // S-curve of log against log exposure
		f = bent(1-0.15*k, bend{-2.26, 0.8, 0.62 * k}, bend{-5.6, 0.4, -0.4 * k})
	case 1: // toe and shoulder in one: Naka and Rushton's saturation
		n := 1 + 0.42*k
		bright := math.Pow(0.7, n)
		q := bright * (1 - 0.08*k) / (n - 1 + 0.08*k)
		f = func(l float64) float64 { p := math.Pow(l, n); return p * (1 + q) / (p + q) }
	case 2: // gamma and contrast, on the codes
		f = func(l float64) float64 {
			v := math.Pow(srgb.Encode(l), 1+0.15*k)
			return srgb.Decode(v + 0.3*k*(v*v*(3-2*v)-v))
		}
	default: // a slope that wavers on its way down
		f = bent(1-0.13*k, bend{-1 - 0.4*rng.Float64(), 0.25, 0.2 * k}, bend{-2.2, 0.4, k * (0.05 + 0.15*rng.Float64())},
			bend{-3 - rng.Float64(), 0.3, 0.25 * k}, bend{-4.3, 0.3, 0.15 * k * rng.Float64()}, bend{-6, 0.4, -0.3 * k})
	}
	lift := 0.0006 * k // of the blacks, by stray light in the lens
	return func(l float64) float64 { return (f(l) + lift) / (1 + lift) }
}

// bend is one change of the slope of log displayed light against log light:
// it is by more below the light at (log2, 0 is white), over a breadth of wide
// EV.
type bend struct{ at, wide, by float64 }

// bent is the curve with the slope low at the bright end and the bends below.
func bent(low float64, bends ...bend) func(float64) float64 {
	return func(l float64) float64 {
		if l <= 0 {
			return 0
		}
		x := math.Log2(l)
		y := low * x
		for _, b := range bends {
			// The integral of a logistic step is the softplus.
			y -= b.by * b.wide * (softplus((b.at-x)/b.wide) - softplus(b.at/b.wide))
		}
		return math.Exp2(y)
	}
}

func softplus(x float64) float64 {
	if x > 30 {
		return x
	}
	return math.Log1p(math.Exp(x))
}
