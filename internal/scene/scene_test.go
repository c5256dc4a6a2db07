package scene

import (
	"bytes"
	"image"
	"math"
	"testing"

	"stillspan/internal/srgb"
)

func TestOptionsValidate(t *testing.T) {
	good := Options{Width: 96, Height: 64, Frames: 10}
	for name, change := range map[string]func(*Options){
		"narrow":   func(o *Options) { o.Width = 10 },
		"no frame": func(o *Options) { o.Frames = 0 },
		"far pan":  func(o *Options) { o.PanPixelsPerFrame = 1e6 },
		"NaN pan":  func(o *Options) { o.PanPixelsPerFrame = math.NaN() },
		"clouds":   func(o *Options) { o.Clouds = 2 },
		"noise":    func(o *Options) { o.Noise = -1 },
	} {
		o := good
		change(&o)
		if o.Validate() == nil {
			t.Errorf("%s: accepted", name)
		}
	}
	if err := good.Validate(); err != nil {
		t.Error(err)
	}
}

func TestFrameIsRepeatable(t *testing.T) {
	o := Options{Width: 96, Height: 64, Frames: 5, Seed: 4, ScatterEV: 0.1, Clouds: 0.5, Noise: 0.05, Headlights: true}
	a, b := New(o).Frame(3), New(o).Frame(3)
	if !bytes.Equal(a.Pix, b.Pix) {
		t.Error("same seed, different pictures")
	}
	o.Seed = 5
	if bytes.Equal(a.Pix, New(o).Frame(3).Pix) {
		t.Error("another seed, same picture")
	}
}

// The exposure error of the truth must be what the pixels show, decoded after
// IEC 61966-2-1.
func TestFrameShowsItsScatter(t *testing.T) {
	s := New(Options{Width: 240, Height: 160, Frames: 12, Seed: 1, ScatterEV: 0.15, Clouds: 0.4})
	for f := range 12 {
		still := s.Still(f)
		got := math.Log2(meanLum(s.Frame(f), still) / meanLum(s.Wanted(f), still))
		if want := s.Truth(f).ScatterEV; math.Abs(got-want) > 0.004 {
			t.Errorf("frame %d: pixels show %+.4f EV, truth says %+.4f", f, got, want)
		}
	}
}

// Nominal shutter labels differ from exact third stops by up to 0.1 EV, and
// not at all at full stops such as 1/8 s.
func TestLabelsAreNominal(t *testing.T) {
	for ev := 0.0; ev <= 10; ev += 1. / 3 {
		s, f, iso := labels(ev)
		got := math.Log2(s*iso/100/(f*f)) - math.Log2(1/128./64)
		if d := math.Abs(got - ev); d > 0.1 {
			t.Errorf("%+.2f EV: label %g s ISO %g is %.3f EV off", ev, s, iso, d)
		}
	}
	if s, _, _ := labels(4); s != 1/8. {
		t.Errorf("4 EV above 1/125 s is labelled %g s", s)
	}
}

func meanLum(m *image.RGBA, mask []bool) float64 {
	var sum float64
	n := 0
	for i, in := range mask {
		if in {
			p := m.Pix[4*i:]
			sum += 0.2126*decode(p[0]) + 0.7152*decode(p[1]) + 0.0722*decode(p[2])
			n++
		}
	}
	return sum / float64(n)
}

func decode(c uint8) float64 { return srgb.Decode(float64(c) / 255) }

func BenchmarkFrame(b *testing.B) {
	s := New(Options{Width: 960, Height: 640, Frames: 100, Seed: 1, Clouds: 0.5, ScatterEV: 0.06})
	b.ResetTimer()
	for i := range b.N {
		s.Frame(i % 100)
	}
}

// What each kind of error is said to do must be what the pixels show against
// the light wanted: by row, column, corner and channel, EV.
func TestFrameShowsItsErrors(t *testing.T) {
	base := Options{Width: 120, Height: 80, Frames: 30, Seed: 3, Walls: true, WallTexture: 0.5}
	// share is the light of frame f in a channel over the light wanted, EV.
	share := func(s *Scene, f, channel int, in func(x, y int) bool) float64 {
		frame, wanted := s.Both(f)
		var got, want float64
		for i := range base.Width * base.Height {
			if w := wanted[3*i+channel]; w == w && in(i%base.Width, i/base.Width) {
				got, want = got+decode(frame.Pix[4*i+channel]), want+float64(w)
			}
		}
		return math.Log2(got / want)
	}
	everywhere := func(int, int) bool { return true }
	spread := func(o Options, of func(s *Scene, f int) float64) float64 {
		s := New(o)
		var sq float64
		for f := range o.Frames {
			e := of(s, f)
			sq += e * e / float64(o.Frames)
		}
		return math.Sqrt(sq)
	}
	rows := func(s *Scene, f int) float64 {
		return share(s, f, 1, func(_, y int) bool { return y < 4 })
	}
	columns := func(s *Scene, f int) float64 {
		return share(s, f, 1, func(x, _ int) bool { return x < 4 })
	}
	all := func(s *Scene, f int) float64 { return share(s, f, 1, everywhere) }
	for name, c := range map[string]struct {
		set       func(o *Options)
		of        func(s *Scene, f int) float64
		low, high float64
	}{
		"none":            {func(*Options) {}, all, 0, 0.001},
		"none by a curve": {func(o *Options) { o.Response = 1.7 }, all, 0, 0.001},
		"red": {func(o *Options) { o.ColourScatterEV = 0.04 }, func(s *Scene, f int) float64 {
			return share(s, f, 0, everywhere) - share(s, f, 1, everywhere)
		}, 0.025, 0.055},
		"green":        {func(o *Options) { o.ColourScatterEV = 0.04 }, all, 0, 0.001},
		"bands":        {func(o *Options) { o.BandsEV, o.Bands = 0.08, 3 }, rows, 0.04, 0.07},
		"bands, down":  {func(o *Options) { o.BandsEV, o.Bands = 0.08, 3 }, columns, 0, 0.02},
		"bands across": {func(o *Options) { o.BandsEV, o.Bands, o.BandsAcross = 0.08, 3, true }, columns, 0.04, 0.07},
		"meter":        {func(o *Options) { o.MeterEV = 0.09 }, all, 0.01, 0.045},
		"corner": {func(o *Options) { o.VignetteScatterEV = 0.08 }, func(s *Scene, f int) float64 {
			return share(s, f, 1, func(x, y int) bool { return x < 8 && y < 8 })
		}, 0.05, 0.1},
		"middle": {func(o *Options) { o.VignetteScatterEV = 0.08 }, func(s *Scene, f int) float64 {
			return share(s, f, 1, func(x, y int) bool { return x/8 == 7 && y/8 == 5 })
		}, 0, 0.01},
		"lamps are true": {func(o *Options) { o.LampsOn, o.Fog, o.Crowd = true, true, true }, all, 0, 0.001},
	} {
		o := base
		c.set(&o)
		if got := spread(o, c.of); got < c.low || got > c.high {
			t.Errorf("%s: %.4f EV rms, want %.3f to %.3f", name, got, c.low, c.high)
		}
	}
}
