package deflicker

import (
	"math"
	"math/rand/v2"
	"testing"
)

// A white balance that wobbles by 0.04 EV and steps by 0.2 EV over a sunset's
// drift: what is left is the drift, with the steps spread.
func TestSteadyColourKeepsDrift(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 8))
	const n = 200
	c, drift, out := make([]float64, n), make([]float64, n), make([]bool, n)
	for i := range c {
		x := float64(i) / (n - 1)
		drift[i] = 0.8 * x * x * (3 - 2*x)
		c[i] = drift[i] + 0.04*rng.NormFloat64()
	}
	c[50], out[50] = 3, true // a flash
	c[60] = math.NaN()
	both, _ := steadyColours([2][]float64{c, c}, out, nil, [2]float64{0.0002, 0.0002})
	add := both[0]
	for i := range c {
		if out[i] || math.IsNaN(c[i]) {
			near(t, "frame without colour", add[i], 0, 0)
			c[i] = drift[i]
			continue
		}
		c[i] += add[i]
		near(t, "drift kept", c[i], drift[i], 0.06)
	}
	near(t, "wobble left", FlickerEV(c), 0, 0.001)

	for i := range c { // steps, in red alone, over a drift
		c[i], out[i] = 0.0005*float64(i)+0.1*float64(i/70)+0.002*rng.NormFloat64(), false
	}
	flat := make([]float64, n)
	both, steps := steadyColours([2][]float64{c, flat}, out, nil, [2]float64{math.NaN(), math.NaN()})
	add = both[0]
	if len(steps) != 2 || steps[0].Frame != 70 || steps[1].Frame != 140 {
		t.Errorf("steps %v, want frames 70 and 140", steps)
	}
	for i := range c {
		c[i] += add[i]
		near(t, "drift without steps", c[i]-c[0], 0.0005*float64(i), 0.02)
		if i > 0 && math.Abs(c[i]-c[i-1]) > 0.003 {
			t.Errorf("a step of %.3f EV is left", c[i]-c[i-1])
		}
	}
}

func TestSteadyColourStaysOff(t *testing.T) {
	rng := rand.New(rand.NewPCG(9, 10))
	for name, c := range map[string]struct{ wobble, noise float64 }{
		"steady": {0.0008, 0.0001}, "within its error": {0.01, 0.01},
	} {
		y := make([]float64, 100)
		for i := range y {
			y[i] = 0.002*float64(i) + c.wobble*rng.NormFloat64()
		}
		if add, _ := steadyColours([2][]float64{y, y}, make([]bool, len(y)), nil, [2]float64{c.noise, c.noise}); add[0] != nil {
			t.Errorf("%s: corrected by %.4f EV rms", name, RMS(add[0]))
		}
	}
	few := []float64{1, 2, math.NaN()}
	if add, _ := steadyColours([2][]float64{few, few}, make([]bool, 3), nil, [2]float64{}); add[0] != nil {
		t.Error("three frames are enough to go by")
	}
}

// A white balance that jumps takes the light along by a little: less than a step
// of an exposure, but it goes with the colour's. A lamp that comes on in a part
// of the picture looks alike in the means, and stays.
func TestWhiteStepInLight(t *testing.T) {
	const n, at = 120, 64
	rng := rand.New(rand.NewPCG(3, 4))
	for name, c := range map[string]struct{ spread, light, colour float64 }{
		"white balance": {0.012, 0, 0}, "lamp": {0.2, 0.02, 0.1},
	} {
		curve := Curve{NoiseEV: 0.0003, ColourNoiseEV: [2]float64{0.0003, 0.0003}}
		for i := range n {
			on := 0.0
			if i >= at {
				on = 1
			}
			spread := 0.01
			if i == at {
				spread = c.spread
			}
			curve.SpreadEV = append(curve.SpreadEV, spread)
			curve.ExposureEV = append(curve.ExposureEV, 0.003*float64(i)+0.02*on+0.0005*rng.NormFloat64())
			curve.RedEV = append(curve.RedEV, 0.1*on+0.0005*rng.NormFloat64())
			curve.BlueEV = append(curve.BlueEV, 0)
		}
		r, err := Solve(curve, nil, DefaultOptions())
		if err != nil {
			t.Fatal(err)
		}
		step := func(y, add []float64) float64 {
			y = plus(y, add)
			return y[at+3] - y[at-4]
		}
		near(t, name+": light", step(curve.ExposureEV, r.CorrectionEV)-7*0.003, c.light, 0.005)
		near(t, name+": colour", step(curve.RedEV, r.RedEV), c.colour, 0.005)
	}
}

// Walls under a white balance that wobbles, through a camera's own curve: light
// and colours come out steady in every wall.
func TestColourOnWalls(t *testing.T) {
	Long(t)
	q := drawWalls(rand.New(rand.NewPCG(11, 12)), 80, 0.03, 0.04, punchy, 0.05)
	m := NewMeter(MeterOptions{Tones: true})
	for _, g := range q.grids {
		m.Add(g)
	}
	c := m.Curve()
	r, why := m.Response()
	if r == nil {
		t.Fatal(why)
	}
	var off [2][]float64
	for f, ev := range q.ev {
		off[0], off[1] = append(off[0], c.RedEV[f]-ev[0]+ev[1]), append(off[1], c.BlueEV[f]-ev[2]+ev[1])
	}
	t.Logf("red off by %.5f, blue by %.5f", FlickerEV(off[0]), FlickerEV(off[1]))
	res, err := Solve(c, nil, DefaultOptions())
	if err != nil {
		t.Fatal(err)
	}
	if !(res.ColourBefore > 0.03) || !(res.ColourAfter < 0.001) {
		t.Errorf("colour flicker %.4f EV, after %.4f", res.ColourBefore, res.ColourAfter)
	}
	left := q.left(r, func(t int) [3]float64 { return Channels(res.CorrectionEV[t], res.RedEV[t], res.BlueEV[t]) })
	for k, x := range left {
		t.Logf("wall of %.3f: %.4f EV left", wallLight[k], x)
		if bound := map[bool]float64{true: 0.004, false: 0.002}[k < 2]; !(x <= bound) {
			t.Errorf("wall of %.3f: %.4f EV left, want at most %g", wallLight[k], x, bound)
		}
	}
}
