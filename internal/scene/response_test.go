package scene

import (
	"math"
	"testing"
)

// A bracketed series of known exposure times, decoded as sRGB, changed by
// about 1.45 times the true EV in dark tones, 1.2 in the middle and 0.9 in
// bright ones (measured; no published source). Each family must lie about
// there at strength 1 and farther out at 1.7, and rise everywhere.
func TestResponsesAreLikeACameras(t *testing.T) {
	slope := func(c curve, l float64) float64 {
		return math.Log2(float64(c.at(float32(l*1.03))/c.at(float32(l*0.97)))) / math.Log2(1.03/0.97)
	}
	for seed := range uint64(4) {
		usual := newCamera(Options{Frames: 1, Seed: seed, Response: 1})
		strong := newCamera(Options{Frames: 1, Seed: seed, Response: 1.7})
		for j := range 3 {
			for _, c := range []curve{usual.shown[j], strong.shown[j]} {
				for i := 1; i <= curveSteps; i++ {
					if !(c[i] > c[i-1]) {
						t.Fatalf("seed %d channel %d: falls at %d", seed, j, i)
					}
				}
				if d := c.at(1); math.Abs(float64(d)-1) > 1e-6 {
					t.Errorf("seed %d channel %d: white is %g", seed, j, d)
				}
			}
			for _, at := range []struct{ light, low, high, lowStrong, highStrong float64 }{
				{0.05, 1.15, 1.6, 1.25, 2.1}, {0.2, 1.1, 1.4, 1.2, 1.7}, {0.75, 0.75, 1.05, 0.55, 1.05},
			} {
				if s := slope(usual.shown[j], at.light); s < at.low || s > at.high {
					t.Errorf("seed %d channel %d: slope %.2f at %g", seed, j, s, at.light)
				}
				if s := slope(strong.shown[j], at.light); s < at.lowStrong || s > at.highStrong {
					t.Errorf("strong, seed %d channel %d: slope %.2f at %g", seed, j, s, at.light)
				}
			}
		}
	}
}
