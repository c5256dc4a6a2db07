package deflicker

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/mat"
)

func TestFlickerEV(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	y := make([]float64, 20000)
	for i := range y {
		y[i] = 0.06*rng.NormFloat64() + 0.01*float64(i)
	}
	near(t, "white jitter on a ramp", FlickerEV(y), 0.06, 0.002)
	near(t, "ramp", FlickerEV([]float64{1, 2, 3, 4}), 0, 1e-12)
	y[7] = math.NaN()
	near(t, "with a hole", FlickerEV(y), 0.06, 0.002)
	if v := FlickerEV(y[6:8]); !math.IsNaN(v) {
		t.Errorf("two frames give %g", v)
	}
}

func TestSelectWeightAgainstSorting(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	for n := 1; n < 60; n++ {
		v, w := make([]float64, n), make([]float64, n)
		var total float64
		for i := range v {
			v[i], w[i] = float64(rng.IntN(12)), rng.Float64()
			total += w[i]
		}
		idx := make([]int, n)
		for i := range idx {
			idx[i] = i
		}
		slices.SortFunc(idx, func(a, b int) int { return int(v[a] - v[b]) })
		want, sum := v[idx[n-1]], 0.0
		for _, i := range idx {
			if sum += w[i]; sum >= total/2 {
				want = v[i]
				break
			}
		}
		if got := selectWeight(v, w, total/2); got != want {
			t.Fatalf("%d values: got %g, want %g", n, got, want)
		}
	}
}

// The median by histograms against sorting, on narrow, broad, skew and far-off
// samples.
func TestMedianAgainstSorting(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	var s scratch
	for _, c := range []struct{ at, sigma, skew float64 }{
		{0, 0.0005, 0}, {0.3, 0.02, 0}, {-1, 0.5, 1}, {3.9, 0.01, 0}, {-7, 0.1, 0}, {0, 3, 1}, {0.1, 0, 0},
	} {
		r, w := make([]float32, 3000), make([]float32, 3000)
		for i := range r {
			x := rng.NormFloat64()
			r[i], w[i] = float32(c.at+c.sigma*(x+c.skew*x*x)), rng.Float32()
		}
		w[7] = 0
		at, spread := s.histogramMedian(r, w)
		wantAt, wantSpread := s.exactMedian(r, w)
		near(t, "median", at, wantAt, max(0.0001, c.sigma/200))
		near(t, "spread", spread, wantSpread, max(0.0002, c.sigma/100))
	}
}

func TestSmoothAgainstDenseSolution(t *testing.T) {
	const n = 12
	y, w := make([]float64, n), make([]float64, n)
	a, b := mat.NewDense(n, n, nil), mat.NewVecDense(n, nil)
	for i := range n {
		y[i], w[i] = math.Sin(float64(i*i)), float64(i%3)
		a.Set(i, i, w[i])
		b.SetVec(i, w[i]*y[i])
	}
	d := mat.NewDense(n-2, n, nil)
	for i := range n - 2 {
		d.SetRow(i, append(append(make([]float64, i), 1, -2, 1), make([]float64, n-3-i)...))
	}
	var p mat.Dense
	p.Mul(d.T(), d)
	p.Scale(7.5, &p)
	a.Add(a, &p)
	var want mat.VecDense
	if err := want.SolveVec(a, b); err != nil {
		t.Fatal(err)
	}
	for i, got := range smooth(y, w, penalty{2, 7.5}) {
		near(t, "smooth", got, want.AtVec(i), 1e-9)
	}
}

func TestSmoothKeepsLinesAndHalvesItsPeriod(t *testing.T) {
	const n = 400
	line, wave, w := make([]float64, n), make([]float64, n), make([]float64, n)
	for i := range n {
		line[i], wave[i], w[i] = 3-0.02*float64(i), math.Sin(2*math.Pi*float64(i)/40), 1
	}
	for i, got := range smooth(line, w, lines(200)) {
		near(t, "line", got, line[i], 1e-6)
	}
	z := smooth(wave, w, lines(40))
	for i := 100; i < 300; i++ {
		near(t, "wave of the period", z[i], wave[i]/2, 0.01)
	}
}

func TestJoin(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	const n = 60
	truth, lum := make([]float64, n), make([]float64, n)
	for i := range truth {
		truth[i] = rng.NormFloat64()
		lum[i] = truth[i] + 5
	}
	truth[0] = 0
	// A frame that could not be measured, and a hole no lag spans.
	hole := func(i int) bool { return i == 9 || i >= 30 && i < 42 }
	var links []link
	for i := range truth {
		for _, lag := range lags {
			if i >= lag && !hole(i) && !hole(i-lag) {
				links = append(links, link{i - lag, i, truth[i] - truth[i-lag], 0.01})
			}
		}
		if hole(i) {
			lum[i] = math.NaN()
		}
	}
	x := join(lum, links)
	for i := range x {
		if hole(i) {
			if !math.IsNaN(x[i]) {
				t.Errorf("frame %d was not measured but has %g", i, x[i])
			}
			continue
		}
		near(t, "joined", x[i], truth[i], 1e-6)
	}
	// One wrong comparison of frame 20 must not tear the curve apart: the
	// other seven of its links hold it.
	for i := range links {
		if links[i].to == 20 && links[i].from == 19 {
			links[i].ev += 0.1
		}
	}
	x = join(lum, links)
	near(t, "across a wrong link", x[25]-x[15], truth[25]-truth[15], 0.03)
	if x := join(nil, nil); len(x) != 0 {
		t.Error("no frames, yet a curve")
	}
}

// EXIF orientation after CIPA DC-008, tag 0x0112: what row 0 and column 0 of
// the stored picture show. The zone is the upper left quarter as seen.
func TestZoneFollowsOrientation(t *testing.T) {
	for o, want := range map[int][2]int{ // stored x, y of the bright quarter
		1: {0, 0}, 2: {1, 0}, 3: {1, 1}, 4: {0, 1}, 5: {0, 0}, 6: {0, 1}, 7: {1, 1}, 8: {1, 0},
	} {
		g := Grey(8, 8, 0.1)
		for i := range g.Clip {
			if i%8/4 == want[0] && i/8/4 == want[1] {
				g.SetLight(i, 0.5)
			}
		}
		m := NewMeter(MeterOptions{Zone: Zone{0, 0, 0.5, 0.5}, Orientation: o})
		m.Add(g)
		near(t, "zone's luminance", m.Curve().LumEV[0], -1, 1e-4)
	}
}

func TestZoneValidate(t *testing.T) {
	for _, z := range []Zone{{0.5, 0, 0.6, 1}, {-0.1, 0, 0.5, 0.5}, {0, 0, 0, 1}, {0, 0, math.NaN(), 1}} {
		if z.Validate() == nil {
			t.Errorf("zone %v accepted", z)
		}
	}
}

func TestMeterTakesWhatCannotBeMeasured(t *testing.T) {
	m := NewMeter(MeterOptions{})
	black, white := Grey(4, 4, 0), Grey(4, 4, 1)
	for i := range white.Clip {
		white.Clip[i] = 1
	}
	for _, g := range []*Grid{nil, black, white, {}, {W: 4, H: 4}, white, nil} {
		m.Add(g)
	}
	c := m.Curve()
	if len(c.ExposureEV) != 7 {
		t.Fatalf("%d frames, want 7", len(c.ExposureEV))
	}
	if _, err := Solve(c, nil, DefaultOptions()); err != nil {
		t.Error(err)
	}
}

func curve(y []float64) Curve {
	s := make([]float64, len(y))
	for i := range s {
		s[i] = 0.01
	}
	return Curve{LumEV: y, ExposureEV: y, SpreadEV: s}
}

func TestSolveShortSequences(t *testing.T) {
	for n := range 8 {
		y := make([]float64, n)
		for i := range y {
			y[i] = 0.1 * float64(i%2)
		}
		for _, hole := range []bool{false, true} {
			if hole && n > 0 {
				y[n/2] = math.NaN()
			}
			r, err := Solve(curve(y), nil, DefaultOptions())
			if err != nil {
				t.Fatal(err)
			}
			for i, c := range r.CorrectionEV {
				if math.IsNaN(c) || math.Abs(c) > 0.2 || n < fewest && c != 0 {
					t.Errorf("%d frames: frame %d corrected by %g", n, i, c)
				}
			}
			if n < fewest && r.Confidence != "poor" {
				t.Errorf("%d frames: confidence %q", n, r.Confidence)
			}
		}
	}
}

func TestSolveRefuses(t *testing.T) {
	if _, err := Solve(curve(make([]float64, 9)), make([]float64, 8), DefaultOptions()); err == nil {
		t.Error("labels of another number of frames accepted")
	}
	for _, o := range []Options{{SmoothFrames: 3, LimitEV: 1}, {SmoothFrames: 1e6, LimitEV: 1}, {LimitEV: 0}, {LimitEV: 7}, {LimitEV: math.NaN()}} {
		if o.Validate() == nil {
			t.Errorf("%+v accepted", o)
		}
	}
}

// Six EV in whole stops, labelled: no frame beyond the limit, no jump left.
func TestSolveSpreadsStepsWithinTheLimit(t *testing.T) {
	const n = 240
	y, label := make([]float64, n), make([]float64, n)
	for i := range y {
		label[i] = float64(i * 6 / n)
		y[i] = -6*float64(i)/n + label[i]
	}
	for _, limit := range []float64{0.3, 0.6, 1.5} {
		r, err := Solve(curve(y), label, Options{LimitEV: limit})
		if err != nil {
			t.Fatal(err)
		}
		if len(r.Steps) != 5 {
			t.Errorf("limit %g: %d steps, want 5", limit, len(r.Steps))
		}
		worst, jump := 0.0, 0.0
		for i, c := range r.CorrectionEV {
			worst = max(worst, math.Abs(c))
			if i > 0 {
				jump = max(jump, math.Abs(y[i]+c-y[i-1]-r.CorrectionEV[i-1]))
			}
		}
		if worst > limit {
			t.Errorf("limit %g: a frame is corrected by %g EV", limit, worst)
		}
		if limit >= 0.6 && jump > 0.03 {
			t.Errorf("limit %g: a jump of %.3f EV is left", limit, jump)
		}
	}
	r, err := Solve(curve(y), label, Options{LimitEV: 1.5, KeepSteps: true})
	if err != nil {
		t.Fatal(err)
	}
	if got := RMS(r.CorrectionEV); got > 0.004 {
		t.Errorf("steps kept: corrected by %.4f EV rms", got)
	}
}

// A lone misfire moves all parts of the picture alike and is mended; a flash
// of the same height does not and is kept.
func TestSolveTellsMisfireFromFlash(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 8))
	y := make([]float64, 100)
	for i := range y {
		y[i] = 0.02 * rng.NormFloat64()
	}
	y[30], y[70] = 0.8, 0.8
	c := curve(y)
	c.SpreadEV[70], c.SpreadEV[71] = 0.4, 0.4
	r, err := Solve(c, nil, DefaultOptions())
	if err != nil {
		t.Fatal(err)
	}
	near(t, "misfire", r.CorrectionEV[30], -0.8, 0.03)
	near(t, "flash", r.CorrectionEV[70], 0, 0.001)
	if len(r.Events) != 1 || r.Events[0].First != 70 || r.Events[0].Last != 70 {
		t.Errorf("events %v, want frame 70 alone", r.Events)
	}
}

func TestSolveAutoExposure(t *testing.T) {
	rng := rand.New(rand.NewPCG(9, 10))
	y, label := make([]float64, 60), make([]float64, 60)
	for i := range y {
		label[i] = rng.NormFloat64()
		y[i] = label[i] / 2
	}
	r, err := Solve(curve(y), label, DefaultOptions())
	if err != nil {
		t.Fatal(err)
	}
	if len(r.Steps) > 0 || r.Confidence == "good" {
		t.Errorf("automatic exposure: %d steps, confidence %q", len(r.Steps), r.Confidence)
	}
}

func BenchmarkMeter(b *testing.B) {
	rng := rand.New(rand.NewPCG(1, 1))
	var grids [50]*Grid
	for k := range grids {
		grids[k] = Grey(160, 107, 0)
		light := math.Exp2(0.06 * rng.NormFloat64())
		for i := range grids[k].Clip {
			grids[k].SetLight(i, light*(0.2+0.1*float64(i%7)/7+0.01*rng.Float64()))
		}
	}
	for _, tones := range []bool{false, true} {
		b.Run(fmt.Sprint("tones ", tones), func(b *testing.B) {
			for b.Loop() { // 50 frames
				m := NewMeter(MeterOptions{Tones: tones})
				for _, g := range grids {
					m.Add(g)
				}
				m.Curve()
			}
		})
	}
}

// Steps of a third that a sunset is followed with are all found by their labels,
// though scatter hides some of them from one frame to the next.
func TestLabelledStepsWithinScatter(t *testing.T) {
	for seed := range uint64(20) {
		rng := rand.New(rand.NewPCG(seed, 3))
		const n, stops = 144, 6.
		y, label := make([]float64, n), make([]float64, n)
		for i := range y {
			fall := stops * float64(i) / (n - 1)
			label[i] = math.Round(3*fall) / 3
			y[i] = label[i] - fall + 0.06*rng.NormFloat64()
		}
		r, err := Solve(Curve{ExposureEV: y}, label, DefaultOptions())
		if err != nil || len(r.Steps) != 3*stops {
			t.Errorf("seed %d: %d steps of %g, %v", seed, len(r.Steps), 3*stops, err)
		}
	}
}
