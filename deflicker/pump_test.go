package deflicker

import (
	"math"
	"math/rand/v2"
	"testing"
)

// sShape is light that changes by ev over n frames, slowly at both ends.
func sShape(n int, ev float64) []float64 {
	y := make([]float64, n)
	for t := range y {
		x := float64(t) / float64(n-1)
		y[t] = ev * (0.5*x + 0.5*x*x*(3-2*x))
	}
	return y
}

func TestPumpingEV(t *testing.T) {
	wave := func(period float64) []float64 {
		y := make([]float64, 600)
		for i := range y {
			y[i] = 0.1*math.Sin(2*math.Pi*float64(i)/period) + 0.01*float64(i)
		}
		return y
	}
	// A wave of 22 frames lies between both lines and has its rms; the lines
	// halve those at the ends of the range.
	near(t, "in the middle", PumpingEV(wave(22)), 0.1/math.Sqrt2, 0.003)
	near(t, "at the fast end", PumpingEV(wave(8)), 0.05/math.Sqrt2, 0.003)
	near(t, "at the slow end", PumpingEV(wave(60)), 0.05/math.Sqrt2, 0.004)
	near(t, "flicker", PumpingEV(wave(2.5)), 0, 0.002)
	near(t, "sunset", PumpingEV(sShape(240, -6)), 0, 0.02)
	if !math.IsNaN(PumpingEV(wave(22)[:7])) {
		t.Error("seven frames have a figure")
	}
}

// A meter that hunts in humps of 12 to 50 frames, with and without flicker, over
// a sunset: the humps go and the sunset is bent by less than 0.02 EV.
func TestSolveTakesPumpingOut(t *testing.T) {
	rng := rand.New(rand.NewPCG(21, 22))
	for _, scatter := range []float64{0, 0.03} {
		const n = 240
		light := sShape(n, -3)
		y := make([]float64, n)
		phase := 0.0
		for i := range y {
			phase += 2 * math.Pi / (31 + 19*math.Sin(float64(i)/25))
			y[i] = light[i] + 0.045*math.Sin(phase) + scatter*rng.NormFloat64()
		}
		r, err := Solve(curve(y), nil, DefaultOptions())
		if err != nil {
			t.Fatal(err)
		}
		bend := make([]float64, n)
		for i := range bend {
			bend[i] = y[i] + r.CorrectionEV[i] - light[i]
		}
		slow := smooth(bend, ones(n), lines(90))
		worst := 0.0
		for i := 10; i < n-10; i++ {
			worst = max(worst, math.Abs(slow[i]))
		}
		t.Logf("scatter %.2f: pumping %.4f, after %.4f; against the light %.4f, bent by %.4f", scatter, r.PumpingBefore, r.PumpingAfter, PumpingEV(bend), worst)
		if !(r.PumpingBefore > 0.025) || !(PumpingEV(bend) < 0.01) || !(worst < 0.02) {
			t.Errorf("scatter %.2f: pumping %.4f, after %.4f; bent by %.4f EV", scatter, r.PumpingBefore, PumpingEV(bend), worst)
		}
	}
}

// Light that changes once, fast or slowly, without flicker, is left alone; a
// step of exposure on the way is sized right.
func TestSolveLeavesCleanLightAlone(t *testing.T) {
	rise := make([]float64, 180)
	for i := range rise {
		x := min(max(float64(i-80)/20, 0), 1)
		rise[i] = 0.5 * x * x * (3 - 2*x)
	}
	for name, y := range map[string][]float64{
		"short sunset": sShape(60, -3), "long sunset": sShape(240, -6), "lamps": rise,
	} {
		r, err := Solve(curve(y), nil, DefaultOptions())
		if err != nil {
			t.Fatal(err)
		}
		if got := RMS(r.CorrectionEV); got > 0.003 {
			t.Errorf("%s: corrected by %.4f EV rms", name, got)
		}
	}
	y, label := sShape(60, -3), make([]float64, 60)
	for i := range y {
		label[i] = math.Round(-y[i])
		y[i] += label[i]
	}
	r, err := Solve(curve(y), label, Options{LimitEV: 1.5, KeepSteps: true})
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range r.Steps {
		near(t, "step", s.EV, 1, 0.01)
	}
	if got := RMS(r.CorrectionEV); len(r.Steps) != 3 || got > 0.005 {
		t.Errorf("%d steps, corrected by %.4f EV rms", len(r.Steps), got)
	}
}
