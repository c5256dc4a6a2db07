package main

import (
	"math"
	"math/rand/v2"
	"testing"
)

// known is a clip of two patches that differs from its truth by ev in light
// and by rg in red.
func known(n int, ev, rg func(t int) float64) (got []light, want truth) {
	want = truth{patches: 2, event: make([]bool, n), step: make([]bool, n)}
	for t := range n {
		g, w := light{}, light{}
		for cell := range 2 * sixths {
			// True light fades, and the cells have tones of their own.
			v := float64(1+cell) * math.Exp2(-float64(t)/float64(n))
			w.rgb, w.n = append(w.rgb, [3]float64{v, v, v}), append(w.n, 100)
			k := v * math.Exp2(ev(t))
			g.rgb, g.n = append(g.rgb, [3]float64{k * math.Exp2(rg(t)), k, k}), append(g.n, 100)
		}
		got, want.light = append(got, g), append(want.light, w)
	}
	return got, want
}

func none(int) float64 { return 0 }

func wave(period, amplitude float64) func(int) float64 {
	return func(t int) float64 { return amplitude * math.Cos(2*math.Pi*(float64(t)+0.5)/period) }
}

func TestCompareFindsWhatWasPutIn(t *testing.T) {
	const n, half = 240, math.Sqrt2 / 2
	near := func(name string, got, want float64) {
		t.Helper()
		if !(math.Abs(got-want) <= 0.06*want+1e-9) {
			t.Errorf("%s: %.5f, want %.5f", name, got, want)
		}
	}
	f := compare(known(n, none, none))
	near("nothing, flicker", f.flicker+f.pump+f.bend+f.rg+f.bg+f.colourBend, 0)

	f = compare(known(n, wave(2.5, 0.01), none))
	near("fast, flicker", f.flicker, 0.01*half)
	near("fast, brightest tones", f.tone[sixths-1], 0.01*half)
	near("fast, pumping", f.pump, 0)
	near("fast, bent", f.bend, 0)

	f = compare(known(n, wave(24, 0.01), none))
	near("humps, pumping", f.pump, 0.01*half)
	near("humps, bent", f.bend, 0)

	f = compare(known(n, wave(160, 0.01), none))
	near("slow, pumping", f.pump, 0)
	near("slow, bent", f.bend, 0.01)

	f = compare(known(n, none, wave(2.5, 0.01)))
	near("red, R/G", f.rg, 0.01*half)
	near("red, B/G", f.bg, 0)

	rng := rand.New(rand.NewPCG(1, 2))
	errors := make([]float64, n)
	for t := range errors {
		errors[t] = 0.01 * rng.NormFloat64()
	}
	f = compare(known(n, func(t int) float64 { return errors[t] }, none))
	// A line over 21 frames takes up about a twentieth of independent errors.
	near("independent, flicker", f.flicker, rms(errors)*math.Sqrt(1-1/21.))
}

// A gradient of 12 codes that is rounded without dither must not pass for an
// even one.
func TestRoundedGradientIsUneven(t *testing.T) {
	rows := make([]float64, gradientHeight/ditherRows)
	for y := range gradientHeight {
		rows[y/ditherRows] += math.Round(100+12*float64(y)/gradientHeight) / ditherRows
	}
	if got := rms(flickerOf(rows)); got < 2*mostBanding || got > 0.3 {
		t.Errorf("rounding leaves %.3f codes rms", got)
	}
}
