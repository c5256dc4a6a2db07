package deflicker_test

import (
	"fmt"
	"image"
	"math"
	"math/rand/v2"
	"testing"

	. "stillspan/deflicker"
	"stillspan/deflicker/measure"
	"stillspan/internal/scene"
)

// small is a scene that suffices for what is as broad as a lens's fall-off.
func small(seed uint64) scene.Options {
	return scene.Options{Width: 144, Height: 96, Frames: 48, Seed: seed}
}

// measureLocal draws a scene and measures it with the local pass on.
func measureLocal(o scene.Options, orientation int, change func(t int, g *measure.Grid)) (Local, []*measure.Grid) {
	s := scene.New(o)
	m := NewMeter(MeterOptions{Local: true, Orientation: orientation})
	var grids []*measure.Grid
	for f := range o.Frames {
		g := measure.FromImage(s.Frame(f))
		if change != nil {
			change(f, g)
		}
		m.Add(g.Light())
		grids = append(grids, g)
	}
	return m.Local(), grids
}

// cornerFlicker is the flicker of the corners' light against the middle's,
// EV, after fields (nil: none) are applied; read from the grids themselves,
// without the meter.
func cornerFlicker(grids []*measure.Grid, l Local) float64 {
	d := make([]float64, len(grids))
	for t, g := range grids {
		var corner, middle, nc, nm float64
		for y := range g.H {
			for x := range g.W {
				u, v := (float64(x)+0.5)/float64(g.W), (float64(y)+0.5)/float64(g.H)
				gain := 1.0
				if l.EV != nil && l.EV[t] != nil {
					gain = math.Exp2(float64(l.EV[t][int(v*float64(l.H))*l.W+int(u*float64(l.W))]))
				}
				lum := math.Log2(gain * g.Grid.Light(y*g.W+x))
				switch r := math.Hypot(2*u-1, 2*v-1); {
				case r > 1.15:
					corner, nc = corner+lum, nc+1
				case r < 0.3:
					middle, nm = middle+lum, nm+1
				}
			}
		}
		d[t] = corner/nc - middle/nm
	}
	return FlickerEV(d)
}

var vignetted = map[string]scene.Options{
	"static":  with(small(21), func(o *scene.Options) { o.VignetteScatterEV = 0.05 }),
	"scatter": with(small(22), func(o *scene.Options) { o.VignetteScatterEV, o.ScatterEV = 0.05, 0.06 }),
	"clouds": with(small(23), func(o *scene.Options) {
		o.VignetteScatterEV, o.ScatterEV, o.Clouds = 0.05, 0.06, 0.3
	}),
	"pan": with(small(24), func(o *scene.Options) {
		o.VignetteScatterEV, o.ScatterEV, o.PanPixelsPerFrame = 0.05, 0.06, 0.8
	}),
}

func TestLocalTakesVignettingAway(t *testing.T) {
	Long(t)
	for name, o := range vignetted {
		l, grids := measureLocal(o, 1, nil)
		before, after := cornerFlicker(grids, Local{}), cornerFlicker(grids, l)
		t.Logf("%s: found %.4f EV, error %.4f; corners %.4f, after %.4f (%.1f times less)", name, l.ScatterEV, l.NoiseEV, before, after, before/after)
		if !l.Use || !(after*5 <= before) || before < 0.02 {
			t.Errorf("%s: use %v %s, corners %.4f EV before, %.4f after", name, l.Use, l.Why, before, after)
		}
	}
}

// Both corrections together must leave the picture as it was wanted, in the
// middle as in the corners: the field must not undo what CorrectionEV does.
func TestLocalBesideTheWholePicturesCorrection(t *testing.T) {
	o := vignetted["scatter"]
	s := scene.New(o)
	m := NewMeter(MeterOptions{Local: true})
	for f := range o.Frames {
		m.Add(measure.FromImage(s.Frame(f)).Light())
	}
	l := m.Local()
	r, err := Solve(m.Curve(), nil, DefaultOptions())
	if err != nil || !l.Use {
		t.Fatal(err, l.Why)
	}
	var middle, corners []float64
	for f := range o.Frames {
		got, want := measure.FromImage(s.Frame(f)), measure.FromImage(s.Wanted(f))
		var sum, n [2]float64
		each(got, func(i int, u, v float64) {
			k := -1
			if d := math.Hypot(u, v); d < 0.4 {
				k = 0
			} else if d > 1.15 {
				k = 1
			}
			if k < 0 || want.Clip[i] > 0 || want.Grid.Light(i) < 0.02 {
				return
			}
			e := math.Log2(got.Grid.Light(i)/want.Grid.Light(i)) + r.CorrectionEV[f]
			if l.EV[f] != nil {
				e += float64(l.EV[f][int((v+1)/2*float64(l.H))*l.W+int((u+1)/2*float64(l.W))])
			}
			sum[k], n[k] = sum[k]+e, n[k]+1
		})
		middle, corners = append(middle, sum[0]/n[0]), append(corners, sum[1]/n[1])
	}
	t.Logf("left: middle %.4f EV, corners %.4f EV", FlickerEV(middle), FlickerEV(corners))
	if a, b := FlickerEV(middle), FlickerEV(corners); !(a < 0.003) || !(b < 0.003) {
		t.Errorf("left: middle %.4f EV, corners %.4f EV", a, b)
	}
}

// localStaysOff checks a scene whose corners do as the middle does; the scenes
// of the other tests are held to it.
func (sh shot) localStaysOff(t *testing.T) {
	t.Helper()
	l := sh.local
	t.Logf("corners: found %.4f EV, error %.4f: %s", l.ScatterEV, l.NoiseEV, l.Why)
	if l.Use || l.Why == "" || l.EV != nil {
		t.Errorf("corners corrected by themselves: found %.4f EV, error %.4f", l.ScatterEV, l.NoiseEV)
	}
}

func TestLocalStaysOffWhenMuchMoves(t *testing.T) {
	for name, o := range map[string]scene.Options{
		"fast clouds": with(small(32), func(o *scene.Options) { o.ScatterEV, o.Clouds, o.CloudPixelsPerFrame = 0.06, 0.6, 30 }),
		"fast pan":    with(small(33), func(o *scene.Options) { o.ScatterEV, o.Clouds, o.PanPixelsPerFrame = 0.06, 0.4, 3 }),
	} {
		t.Run(name, func(t *testing.T) {
			_, sh := measureScene(t, o, true, nil)
			sh.localStaysOff(t)
		})
	}
}

// What changes at random in one part of the picture, or with its brightness
// (a camera's tone curve under a scatter of exposure), is not the lens's.
func TestLocalTellsOtherUnevenFlicker(t *testing.T) {
	Long(t)
	rng := rand.New(rand.NewPCG(41, 42))
	lamp := func(_ int, g *measure.Grid) {
		ev := 0.1 * rng.NormFloat64()
		each(g, func(i int, u, v float64) {
			g.SetLight(i, g.Grid.Light(i)*math.Exp2(ev*math.Exp(-2*((u+0.8)*(u+0.8)+(v+0.8)*(v+0.8)))))
		})
	}
	curve := func(_ int, g *measure.Grid) {
		each(g, func(i int, u, v float64) { // dark corners, more contrast there
			x := math.Pow(g.Grid.Light(i)*math.Exp2(-0.8*(u*u+v*v)), 1.5)
			g.SetLight(i, x/(x+0.05))
		})
	}
	for name, change := range map[string]func(int, *measure.Grid){"lamp in a corner": lamp, "tone curve": curve} {
		l, grids := measureLocal(with(small(43), func(o *scene.Options) { o.ScatterEV = 0.06 }), 1, change)
		t.Logf("%s: found %.4f EV, error %.4f: %s", name, l.ScatterEV, l.NoiseEV, l.Why)
		if l.Use || cornerFlicker(grids, Local{}) < 0.01 {
			t.Errorf("%s: on, found %.4f EV, error %.4f", name, l.ScatterEV, l.NoiseEV)
		}
	}
}

// each calls f with every cell and its place, -1 to 1 across and down.
func each(g *measure.Grid, f func(i int, u, v float64)) {
	for y := range g.H {
		for x := range g.W {
			f(y*g.W+x, 2*(float64(x)+0.5)/float64(g.W)-1, 2*(float64(y)+0.5)/float64(g.H)-1)
		}
	}
}

// A flash that lights the middle looks like a lens that darkens its corners,
// but it is an event and keeps its light.
func TestLocalLeavesFlashesAlone(t *testing.T) {
	flash := func(f int, g *measure.Grid) {
		if f != 40 {
			return
		}
		each(g, func(i int, u, v float64) { g.SetLight(i, g.Grid.Light(i)*(1+math.Exp(-3*(u*u+v*v)))) })
	}
	l, _ := measureLocal(vignetted["static"], 1, flash)
	if !l.Use || l.EV[40] != nil {
		t.Fatalf("use %v %s, field of the flash %v", l.Use, l.Why, l.Use && l.EV[40] != nil)
	}
}

func TestLocalFieldIsUpright(t *testing.T) {
	o := vignetted["static"]
	o.Frames = 40
	lying, _ := measureLocal(o, 1, nil)
	upright, _ := measureLocal(o, 6, nil) // turned by 90 degrees to be seen
	if lying.W != 16 || lying.H != 11 || upright.W != 11 || upright.H != 16 {
		t.Fatalf("fields of %dx%d and %dx%d", lying.W, lying.H, upright.W, upright.H)
	}
	for f := range lying.EV {
		for i, e := range lying.EV[f] {
			if u := upright.EV[f][i%16*11+i/16]; math.Abs(float64(u-e)) > 0.0006 {
				t.Fatalf("frame %d, cell %d: %g lying, %g upright", f, i, e, u)
			}
		}
	}
}

func TestLocalTakesWhatCannotBeMeasured(t *testing.T) {
	s := scene.New(vignetted["static"])
	m := NewMeter(MeterOptions{Local: true})
	for f := range 48 {
		switch f {
		case 7:
			m.Add(nil)
		case 20:
			m.Add(Grey(40, 60, 0))
		case 30:
			m.Add(measure.FromImage(image.NewGray(image.Rect(0, 0, 64, 96))).Light()) // black, and turned
		default:
			m.Add(measure.FromImage(s.Frame(f)).Light())
		}
	}
	l := m.Local()
	if !l.Use || len(l.EV) != 48 || l.EV[7] != nil || l.EV[20] != nil || l.EV[30] != nil || l.EV[8] == nil {
		t.Errorf("use %v %s, %d fields", l.Use, l.Why, len(l.EV))
	}
	for _, m := range []*Meter{NewMeter(MeterOptions{}), NewMeter(MeterOptions{Local: true}), NewMeter(MeterOptions{Local: true, Zone: Zone{0, 0, 0.5, 0.5}})} {
		if m.Add(measure.FromImage(s.Frame(0)).Light()); m.Local().Use || m.Local().Why == "" {
			t.Error("one frame is enough to go by")
		}
	}
}

func BenchmarkMeterLocal(b *testing.B) {
	s := scene.New(with(base(1), func(o *scene.Options) { o.ScatterEV, o.Width, o.Height = 0.06, 960, 640 }))
	var grids [12]*measure.Grid
	for f := range grids {
		grids[f] = measure.FromImage(s.Frame(f))
	}
	for _, local := range []bool{false, true} {
		b.Run(fmt.Sprint(local), func(b *testing.B) {
			m := NewMeter(MeterOptions{Local: local})
			for i := range b.N {
				m.Add(grids[i%len(grids)].Light())
			}
		})
	}
}
