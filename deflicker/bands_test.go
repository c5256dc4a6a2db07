package deflicker

import (
	"math"
	"math/rand/v2"
	"testing"
)

// Bands of 0.08 EV that start at any phase are found in rows and columns, with
// their count, and their field takes them away beside the whole picture's
// exposure; without them nothing is found.
func TestBands(t *testing.T) {
	Long(t)
	for _, c := range []struct {
		amplitude, bands float64
		across           bool
		orientation      int
	}{{0.08, 3, false, 1}, {0.08, 2.4, true, 1}, {0.08, 3, false, 6}, {0.08, 2.4, true, 3}, {0, 3, false, 1}} {
		rng := rand.New(rand.NewPCG(31, 32))
		const w, h, frames = 60, 40, 150
		m := NewMeter(MeterOptions{Local: true, Bands: true, Orientation: c.orientation})
		var phase, exposure []float64
		for range frames {
			phase = append(phase, 2*math.Pi*rng.Float64())
		}
		gain := func(f, x, y int) float64 {
			at := (float64(y) + 0.5) / h
			if c.across {
				at = (float64(x) + 0.5) / w
			}
			return c.amplitude * math.Sin(2*math.Pi*c.bands*at+phase[f])
		}
		for f := range frames {
			g, ev := Grey(w, h, 0), 0.04*rng.NormFloat64()
			for i := range g.Clip {
				g.SetLight(i, (0.1+0.3*float64(i*7%11)/11)*math.Exp2(ev+gain(f, i%w, i/w)+0.004*rng.NormFloat64()))
			}
			exposure = append(exposure, ev)
			m.Add(g)
		}
		l := m.Bands()
		if c.amplitude == 0 {
			if l.Use || l.Count != 0 {
				t.Errorf("bands where there are none: %+v", l.Count)
			}
			continue
		}
		if !l.Use {
			t.Fatalf("%+v: not found", c)
		}
		near(t, "bands", l.Count, c.bands, 0.1)
		near(t, "size", l.ScatterEV, c.amplitude/math.Sqrt2, 0.004)
		var left []float64
		whole := m.Curve().ExposureEV
		for f := range frames {
			for i := range w * h {
				x, y := i%w, i/w
				u, v := x, y // upright
				switch c.orientation {
				case 3:
					u, v = w-1-x, h-1-y
				case 6:
					u, v = h-1-y, x
				}
				left = append(left, exposure[f]-whole[f]+gain(f, x, y)+float64(l.EV[f][min(v, l.H-1)*l.W+min(u, l.W-1)]))
			}
		}
		got := stdDevOf(left)
		t.Logf("%+v: %.4f EV left", c, got)
		if got > 0.008 {
			t.Errorf("%+v: %.4f EV left", c, got)
		}
	}
}

func stdDevOf(v []float64) float64 {
	var mean, squares float64
	for _, x := range v {
		mean += x / float64(len(v))
	}
	for _, x := range v {
		squares += (x - mean) * (x - mean) / float64(len(v))
	}
	return math.Sqrt(squares)
}
