package deflicker_test

import (
	"math"
	"testing"

	. "stillspan/deflicker"
	"stillspan/deflicker/measure"
	"stillspan/internal/scene"
)

// shot is a scene measured and solved without any clip: the estimate against
// the scene's own truth.
type shot struct {
	curve  Curve
	result Result
	local  Local
	// err is correction minus the wanted one, less its own slow part: what
	// flicker is left, EV.
	err []float64
}

func measureScene(t *testing.T, o scene.Options, labels bool, est Estimator) (*scene.Scene, shot) {
	t.Helper()
	s := scene.New(o)
	m := NewMeter(MeterOptions{Local: true, Tones: true})
	if est != nil {
		m.SetEstimator(est)
	}
	label := make([]float64, o.Frames)
	for f := range o.Frames {
		m.Add(measure.FromImage(s.Frame(f)).Light())
		tr := s.Truth(f)
		label[f] = math.NaN()
		if labels {
			label[f] = ExposureLabelEV(tr.ExposureS, tr.FNumber, tr.ISO)
		}
	}
	sh := shot{curve: m.Curve(), local: m.Local()}
	// The scenes' camera encodes after IEC 61966-2-1 and does nothing else.
	if r, why := m.Response(); r != nil || why == "" {
		t.Errorf("a response of the camera's own is found: %.3f", r.Slope[1])
	} else {
		t.Logf("response: %s", why)
	}
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
	slow := Smooth(sh.err, w, Lines(20))
	for f := range sh.err {
		sh.err[f] -= slow[f]
	}
	return s, sh
}

func stdDev(v []float64) float64 {
	var m float64
	for _, x := range v {
		m += x / float64(len(v))
	}
	d := make([]float64, len(v))
	for i, x := range v {
		d[i] = x - m
	}
	return RMS(d)
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
	}), 0.006},
	"clipped": {with(base(5), func(o *scene.Options) { o.ScatterEV, o.Clouds, o.ClipHighlights = 0.06, 0.5, true }), 0.008},
	"night":   {with(base(6), func(o *scene.Options) { o.ScatterEV, o.Noise, o.LightEV, o.Follow = 0.06, 0.2, [2]float64{-7, -7}, 1 }), 0.008},
	"sunset": {with(base(7), func(o *scene.Options) {
		o.ScatterEV, o.Clouds, o.LightEV, o.Follow, o.StepEV, o.Frames = 0.06, 0.4, [2]float64{0, -6}, 1, 1./3, 160
	}), 0.008},
}

func TestScenesAgainstTruth(t *testing.T) {
	for name, sc := range scenes {
		t.Run(name, func(t *testing.T) {
			if name != "clouds" {
				Long(t)
			}
			t.Parallel()
			_, sh := measureScene(t, sc.o, true, nil)
			got := RMS(sh.err)
			t.Logf("left %.4f EV, period %d, noise %.4f, usual spread %.3f, before %.4f after %.4f, %d steps, events %v, %s %s", got, sh.result.SmoothFrames,
				sh.curve.NoiseEV, UsualSpread(sh.curve),
				sh.result.FlickerBefore, sh.result.FlickerAfter, len(sh.result.Steps), sh.result.Events, sh.result.Confidence, sh.result.Why)
			if got > sc.bound {
				t.Errorf("flicker left %.4f EV rms, want at most %.3f", got, sc.bound)
			}
			sh.localStaysOff(t)
		})
	}
}

// The bounds above must not be within reach of the plain mean, else they say
// nothing about the estimator: of the blocks' log ratios it is pulled by
// headlights, of the frame's luminance (what the mean of the picture gives) by
// clouds as well.
func TestPlainMeanFails(t *testing.T) {
	Long(t)
	lights := scenes["headlights"]
	_, sh := measureScene(t, lights.o, true, mean)
	if got := RMS(sh.err); got <= lights.bound {
		t.Errorf("headlights: the mean of blocks leaves only %.4f EV rms", got)
	}
	clouds := scenes["clouds"]
	clouds.o.CloudPixelsPerFrame = 30
	s, _ := measureScene(t, clouds.o, true, nil)
	for name, use := range map[string]func(Curve) []float64{
		"mean luminance": func(c Curve) []float64 { return c.LumEV },
		"block median":   func(c Curve) []float64 { return c.ExposureEV },
	} {
		m := NewMeter(MeterOptions{})
		for f := range clouds.o.Frames {
			m.Add(measure.FromImage(s.Frame(f)).Light())
		}
		y := use(m.Curve())
		d := make([]float64, len(y))
		for f := range d {
			d[f] = y[f] - s.Truth(f).ScatterEV
		}
		// The error of what was measured, before any smoothing.
		got := stdDev(d)
		t.Logf("fast clouds, %s: off by %.5f EV", name, got)
		if name == "block median" && got > 0.004 || name != "block median" && got < 0.012 {
			t.Errorf("fast clouds, %s: off by %.5f EV", name, got)
		}
	}
}

func TestFlickerFreeStaysUntouched(t *testing.T) {
	for name, o := range map[string]scene.Options{
		"clouds": with(base(8), func(o *scene.Options) { o.Clouds, o.LightEV = 0.6, [2]float64{0, -1.5} }),
		"pan":    with(base(9), func(o *scene.Options) { o.Clouds, o.PanPixelsPerFrame = 0.5, 1.3 }),
		"night":  with(base(10), func(o *scene.Options) { o.Noise, o.LightEV, o.Follow = 0.2, [2]float64{-7, -7}, 1 }),
		// It comes within forty frames, and parts of the picture change alike in nothing.
		"fog": with(base(11), func(o *scene.Options) { o.Fog, o.Clouds, o.Noise = true, 0.3, 0.01 }),
	} {
		_, sh := measureScene(t, o, true, nil)
		if got := RMS(sh.result.CorrectionEV); got > 0.004 {
			t.Errorf("%s: corrected by %.4f EV rms though nothing flickers", name, got)
		}
		sh.localStaysOff(t)
	}
}

func TestEventsKeepTheirLight(t *testing.T) {
	o := with(base(11), func(o *scene.Options) {
		o.Lightning, o.Clouds, o.LightEV, o.Follow = true, 0.5, [2]float64{-5, -6}, 1
	})
	s, sh := measureScene(t, o, true, nil)
	sh.localStaysOff(t)
	flashes := 0
	for f := range o.Frames {
		if !s.Truth(f).Event {
			continue
		}
		flashes++
		for i := max(f-1, 0); i <= min(f+1, o.Frames-1); i++ {
			if c := sh.result.CorrectionEV[i]; math.Abs(c) > 0.02 {
				t.Errorf("frame %d beside a flash in %d is corrected by %+.3f EV", i, f, c)
			}
		}
	}
	if flashes == 0 || len(sh.result.Events) == 0 {
		t.Errorf("%d flashes drawn, events found: %v", flashes, sh.result.Events)
	}
}

// Steps are placed by labels or, without any, by the pixels; their size must
// be the exact third of a stop, not the label's. Taken between single frames
// of this scatter sizes would be off by 0.068 EV in the mean.
func TestStepsAreSizedInThePixels(t *testing.T) {
	Long(t)
	sunset := scenes["sunset"].o
	for _, labels := range []bool{true, false} {
		hit, found, wanted, off := 0, 0, 0, 0.0
		for range 3 {
			sunset.Seed++
			s, sh := measureScene(t, sunset, labels, nil)
			found += len(sh.result.Steps)
			for f := 1; f < sunset.Frames; f++ {
				if s.Truth(f).ExposureEV == s.Truth(f-1).ExposureEV {
					continue
				}
				wanted++
				for _, st := range sh.result.Steps {
					if st.Frame == f {
						hit++
						off += math.Abs(st.EV - 1./3)
					}
				}
			}
		}
		off /= float64(found)
		t.Logf("labels %v: %d of %d steps found, sizes off by %.3f EV in the mean", labels, hit, wanted, off)
		least, most := 0.95, 0.06
		if !labels {
			least, most = 0.67, 0.1
		}
		if float64(hit) < least*float64(wanted) || off > most {
			t.Errorf("labels %v: %d of %d steps found, sizes off by %.3f EV in the mean", labels, hit, wanted, off)
		}
	}
}

// mean is the plain weighted mean, the estimator that must not do.
func mean(r, w []float32, _ *Scratch) (float64, float64) {
	var sum, total, sq float64
	for i, x := range r {
		sum += float64(w[i] * x)
		total += float64(w[i])
	}
	m := sum / total
	for i, x := range r {
		sq += float64(w[i]) * (float64(x) - m) * (float64(x) - m)
	}
	return m, math.Sqrt(sq / total)
}
