package timing

import (
	"math"
	"math/rand/v2"
	"testing"
)

// Whatever the stamps and numbers: an answer with a place for every shot, in
// order, and gaps that are those places.
func TestAnySeriesIsAnswered(t *testing.T) {
	for seed := range uint64(600) {
		rng := rand.New(rand.NewPCG(seed, 5))
		shots := make([]Shot, rng.IntN(120))
		scale := math.Pow(10, float64(rng.IntN(12)-4))
		at, number := rng.NormFloat64()*1e9, 0
		for i := range shots {
			switch rng.IntN(12) {
			case 0: // stamped like the one before
			case 1:
				at += rng.ExpFloat64() * scale * 1000
			case 2:
				at -= rng.Float64() * scale
			default:
				at += scale * (1 + 0.1*rng.Float64())
			}
			number += rng.IntN(4)
			shots[i] = Shot{T: at, Number: number, ExposureS: rng.Float64() * scale * 2}
			switch rng.IntN(15) {
			case 0:
				shots[i].T = math.NaN()
			case 1:
				shots[i].Number = -1
			case 2:
				number = 0
			}
		}
		r := Fit(shots, DefaultOptions())
		if len(r.Slot) != len(shots) || !r.Judged && r.Why == "" {
			t.Fatalf("seed %d: %d places for %d shots, judged %v, why %q", seed, len(r.Slot), len(shots), r.Judged, r.Why)
		}
		if r.Judged && !(r.IntervalS > 0 && r.UncertaintyS >= 0 && r.JitterRMSS >= 0 && !math.IsInf(r.IntervalS, 0)) {
			t.Errorf("seed %d: interval %g +- %g s, scatter %g s", seed, r.IntervalS, r.UncertaintyS, r.JitterRMSS)
		}
		empty := 0
		for i := 1; i < len(r.Slot); i++ {
			if r.Slot[i] < r.Slot[i-1] {
				t.Errorf("seed %d: place %d after %d", seed, r.Slot[i], r.Slot[i-1])
				break
			}
			empty += max(0, r.Slot[i]-r.Slot[i-1]-1)
		}
		missing := 0
		for _, g := range r.Gaps {
			if g.Cause != NumberSkip {
				missing += g.Count
			}
			if g.Count < 1 || g.After < 0 || g.After >= len(shots)-1 || math.IsNaN(g.GapS) {
				t.Errorf("seed %d: gap %+v", seed, g)
			}
		}
		if r.Judged && missing != empty {
			t.Errorf("seed %d: %d places empty, %d frames said to be missing", seed, empty, missing)
		}
	}
}
