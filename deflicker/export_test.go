package deflicker

import "testing"

import (
	"math"

	"stillspan/internal/srgb"
)

// What the tests of scenes, which measure pictures and so stand outside the
// package, need of its inside.
type (
	Estimator = estimator
	Scratch   = scratch
)

var (
	Smooth = smooth
	Lines  = lines
)

func (m *Meter) SetEstimator(e Estimator) { m.estimate = e }

func UsualSpread(c Curve) float64 { return newModel(c.ExposureEV, c.SpreadEV).usual }

func RMS(v []float64) float64 {
	var s float64
	for _, x := range v {
		s += x * x
	}
	return math.Sqrt(s / float64(len(v)))
}

// Grey is a grid of one light.
func Grey(w, h int, light float64) *Grid {
	g := &Grid{W: w, H: h, Clip: make([]float64, w*h)}
	for c := range g.Code {
		g.Code[c] = make([]float64, w*h)
		for i := range g.Code[c] {
			g.Code[c][i] = srgb.Encode(light)
		}
	}
	return g
}

// Light is the luminance of cell i.
func (g *Grid) Light(i int) float64 {
	return 0.2126*srgb.Decode(g.Code[0][i]) + 0.7152*srgb.Decode(g.Code[1][i]) + 0.0722*srgb.Decode(g.Code[2][i])
}

// SetLight makes cell i a grey of that light.
func (g *Grid) SetLight(i int, light float64) {
	for c := range g.Code {
		g.Code[c][i] = srgb.Encode(light)
	}
}

// Long skips a test of numbers, which run in one goroutine, where tests are to
// be short, as under the race detector.
func Long(t *testing.T) {
	t.Helper()
	if testing.Short() {
		t.Skip("takes long")
	}
}
