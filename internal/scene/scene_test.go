package scene

import (
	"bytes"
	"image"
	"math"
	"testing"
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
			sum += 0.2126*decode8(p[0]) + 0.7152*decode8(p[1]) + 0.0722*decode8(p[2])
			n++
		}
	}
	return sum / float64(n)
}

func decode8(c uint8) float64 {
	v := float64(c) / 255
	if v <= 0.04045 {
		return v / 12.92
	}
	return math.Pow((v+0.055)/1.055, 2.4)
}

func BenchmarkFrame(b *testing.B) {
	s := New(Options{Width: 960, Height: 640, Frames: 100, Seed: 1, Clouds: 0.5, ScatterEV: 0.06})
	b.ResetTimer()
	for i := range b.N {
		s.Frame(i % 100)
	}
}
