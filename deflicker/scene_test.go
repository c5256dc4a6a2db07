package deflicker

import (
	"math"
	"testing"

	"stillspan/deflicker/measure"
	"stillspan/deflicker/scene"
)

// shot is a scene measured and solved without any clip: the estimate against
// the scene's own truth.
type shot struct {
	curve  Curve
	result Result
	// err is correction minus the wanted one, less its own slow part: what
	// flicker is left, EV.
	err []float64
}

func measureScene(t *testing.T, o scene.Options, labels bool, est estimator) (*scene.Scene, shot) {
	t.Helper()
	s := scene.New(o)
	m := NewMeter(MeterOptions{})
	if est != nil {
		m.estimate = est
	}
	label := make([]float64, o.Frames)
	for f := range o.Frames {
		m.Add(measure.FromImage(s.Frame(f)))
		tr := s.Truth(f)
		label[f] = math.NaN()
		if labels {
			label[f] = ExposureLabelEV(tr.ExposureS, tr.FNumber, tr.ISO)
		}
	}
	sh := shot{curve: m.Curve()}
	var err error
	sh.result, err = Solve(sh.curve, label, DefaultOptions())
	if err != nil {
		t.Fatal(err)
	}
	sh.err = make([]float64, o.Frames)
	w := make([]float64, o.Frames)
	for f := range sh.err {
		tr := s.Truth(f)
		sh.err[f] = sh.result.CorrectionEV[f] + tr.ScatterEV + tr.LightEV + tr.ExposureEV - tr.WantedEV
		w[f] = 1
	}
	slow := smooth(sh.err, w, penalty(20))
	for f := range sh.err {
		sh.err[f] -= slow[f]
	}
	return s, sh
}

func rms(v []float64) float64 {
	var s float64
	for _, x := range v {
		s += x * x
	}
	return math.Sqrt(s / float64(len(v)))
}

func base(seed uint64) scene.Options {
	return scene.Options{Width: 240, Height: 160, Frames: 96, Seed: seed}
}

func with(o scene.Options, f func(*scene.Options)) scene.Options { f(&o); return o }

var scenes = map[string]struct {
	o     scene.Options
	bound float64 // EV rms
}{
	"static": {with(base(1), func(o *scene.Options) { o.ScatterEV = 0.06 }), 0.004},
	"clouds": {with(base(2), func(o *scene.Options) { o.ScatterEV, o.Clouds = 0.06, 0.6 }), 0.004},
	"pan":    {with(base(3), func(o *scene.Options) { o.ScatterEV, o.Clouds, o.PanPixelsPerFrame = 0.06, 0.4, 1.3 }), 0.008},
	"headlights": {with(base(4), func(o *scene.Options) {
		o.ScatterEV, o.Headlights, o.LightEV, o.Follow = 0.06, true, [2]float64{-6, -6}, 1
	}), 0.008},
	"clipped": {with(base(5), func(o *scene.Options) { o.ScatterEV, o.Clouds, o.ClipHighlights = 0.06, 0.5, true }), 0.008},
	"night":   {with(base(6), func(o *scene.Options) { o.ScatterEV, o.Noise, o.LightEV, o.Follow = 0.06, 0.2, [2]float64{-7, -7}, 1 }), 0.008},
	"sunset": {with(base(7), func(o *scene.Options) {
		o.ScatterEV, o.Clouds, o.LightEV, o.Follow, o.StepEV, o.Frames = 0.06, 0.4, [2]float64{0, -6}, 1, 1./3, 160
	}), 0.008},
}

func TestScenesAgainstTruth(t *testing.T) {
	for name, sc := range scenes {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			_, sh := measureScene(t, sc.o, true, nil)
			got := rms(sh.err)
			t.Logf("left %.4f EV, period %d, noise %.4f, usual spread %.3f, before %.4f after %.4f, %d steps, events %v, %s %s", got, sh.result.SmoothFrames,
				sh.curve.NoiseEV, newModel(sh.curve.ExposureEV, sh.curve.SpreadEV).usual,
				sh.result.FlickerBefore, sh.result.FlickerAfter, len(sh.result.Steps), sh.result.Events, sh.result.Confidence, sh.result.Why)
			if got > sc.bound {
				t.Errorf("flicker left %.4f EV rms, want at most %.3f", got, sc.bound)
			}
		})
	}
}
func TestTmpEst(t *testing.T) {
	for name, sc := range scenes {
		for en, e := range map[string]estimator{"median": median, "mean": mean} {
			_, sh := measureScene(t, sc.o, true, e)
			t.Logf("%s %s %.4f", name, en, rms(sh.err))
		}
	}
}

// mean is the plain weighted mean, the estimator that must not do.
func mean(r, w []float64, _ *scratch) (float64, float64) {
	var sum, total, sq float64
	for i, x := range r {
		sum += w[i] * x
		total += w[i]
	}
	m := sum / total
	for i, x := range r {
		sq += w[i] * (x - m) * (x - m)
	}
	return m, math.Sqrt(sq / total)
}
