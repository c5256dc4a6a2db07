package deflicker

import "math"

// What the tests of scenes, which measure pictures and so stand outside the
// package, need of its inside.
type (
	Estimator = estimator
	Scratch   = scratch
)

var (
	Smooth  = smooth
	Penalty = penalty
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
