package deflicker

import (
	"math"
	"math/rand/v2"
	"testing"
)

// A tone that flickers by itself shows in its own figure; one that something
// covers in a few frames does not flicker.
func TestToneFigures(t *testing.T) {
	const w, h, n = 48, 36, 60
	for name, c := range map[string]struct {
		scatter float64 // of the brightest sixth, EV
		cover   bool
	}{"steady": {0, false}, "covered": {0, true}, "flickers": {0.03, true}} {
		rng := rand.New(rand.NewPCG(11, 12))
		m := NewMeter(MeterOptions{ByTone: true})
		for f := range n {
			g := Grey(w, h, 0.1)
			e := c.scatter * rng.NormFloat64()
			for i := range w * h {
				tone := i * sixths / (w * h)
				light := 0.02 * math.Exp2(float64(tone)+0.02*rng.NormFloat64())
				if tone == sixths-1 {
					light *= math.Exp2(e)
				}
				if c.cover && tone == 1 && (f == 19 || f == 40 || f == 41) {
					light *= 1 + float64(f%2)
				}
				g.SetLight(i, light)
			}
			m.Add(g)
		}
		got := m.Figures()
		t.Logf("%s: %.4f by tone, %.4f in all", name, got.ToneEV, got.FlickerEV)
		if name == "flickers" {
			near(t, name, got.ToneEV[sixths-1], c.scatter, 0.3*c.scatter)
		} else if !(got.WorstEV() < 0.003) {
			t.Errorf("%s: %.4f EV in the worst tone", name, got.WorstEV())
		}
	}
}
