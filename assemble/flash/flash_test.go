package flash

import (
	"math"
	"testing"
)

// The limits below are those of WCAG 2.2, "general flash and red flash
// thresholds" and "three flashes or below threshold", as published by W3C.

const w, h = 192, 144 // 4:3, so that the field is a third of each side

// code is the sRGB code whose relative luminance as a grey is nearest to l,
// from above when up is set.
func code(l float64, up bool) byte {
	for c := range 256 {
		if float64(linear(float64(c)/255)) >= l {
			if up {
				return byte(c)
			}
			return byte(c - 1)
		}
	}
	return 255
}

type rgb [3]byte

func grey(c byte) rgb { return rgb{c, c, c} }

// clip alternates the area of aw x ah pixels in the corner between two
// colours; a flash takes 24/hz frames. Two seconds at 24 frames per second.
func clip(a, b rgb, hz float64, flashes, aw, ah int) *Analyzer {
	an := New(Options{Width: w, Height: h, Rate: 24})
	for t := range 48 {
		c := a
		phase := float64(t) / 24 * hz
		if int(phase) < flashes && phase-math.Floor(phase) >= 0.5 {
			c = b
		}
		f := make([]byte, 3*w*h)
		for i := range w * h {
			p := rgb{128, 128, 128}
			if i%w < aw && i/w < ah {
				p = c
			}
			copy(f[3*i:], p[:])
		}
		an.Add(f)
	}
	return an
}

// tint is the largest c for which the distance in u'v' of R'G'B' 124, c, c
// from white satisfies ok.
func tint(ok func(d float64) bool) (c byte) {
	wu, wv := uv(1, 1, 1)
	for i := range 100 {
		l := linear(float64(i) / 255)
		u, v := uv(linear(124./255), l, l)
		if ok(math.Hypot(float64(u-wu), float64(v-wv))) {
			c = byte(i)
		}
	}
	return c
}

func TestThresholds(t *testing.T) {
	// 341 x 256 of 1024 x 768 is 64 x 48 here: 3072 pixels, a quarter 768.
	const fw, fh = 64, 48
	dark := code(0.3, true)
	base := float64(linear(float64(dark) / 255))
	bright := float64(linear(float64(code(0.8, true)) / 255))
	justDark := float64(linear(float64(code(0.8, false)) / 255))
	red := rgb{255, 0, 0}
	far := tint(func(d float64) bool { return d > redChange })
	for _, c := range []struct {
		name    string
		a, b    rgb
		hz      float64
		flashes int
		aw, ah  int
		want    Kind // "" for none
	}{
		{"three flashes in a second", grey(0), grey(255), 4, 3, w, h, ""},
		{"four flashes in a second", grey(0), grey(255), 4, 4, w, h, General},
		{"three flashes a second, going on", grey(0), grey(255), 3, 99, w, h, ""},
		{"change just under a tenth", grey(dark), grey(code(base+leastChange, false)), 6, 99, w, h, ""},
		{"change just over a tenth", grey(dark), grey(code(base+leastChange, true)), 6, 99, w, h, General},
		{"darker state just at 0.80", grey(code(0.8, true)), grey(code(bright+leastChange, true)), 6, 99, w, h, ""},
		{"darker state just below 0.80", grey(code(0.8, false)), grey(code(justDark+leastChange, true)), 6, 99, w, h, General},
		{"a quarter of the field", grey(0), grey(255), 6, 99, fw, fh / 4, ""},
		{"a row more than a quarter of the field", grey(0), grey(255), 6, 99, fw, fh/4 + 1, General},
		{"saturated red", rgb{60, 60, 60}, rgb{124, 0, 0}, 6, 99, w, h, Red},
		{"red to red too near to it", red, rgb{255, 60, 60}, 6, 99, w, h, ""},
		{"no state saturated", rgb{90, 90, 90}, rgb{132, 70, 70}, 6, 99, w, h, ""},
		{"red share just over 0.8", rgb{0, 60, 0}, rgb{124, 43, 43}, 6, 99, w, h, Red},
		{"red share just under 0.8", rgb{0, 60, 0}, rgb{124, 45, 45}, 6, 99, w, h, ""},
		{"just over 0.2 in UCS", rgb{60, 60, 60}, rgb{124, far, far}, 6, 99, w, h, Red},
		{"just under 0.2 in UCS", rgb{60, 60, 60}, rgb{124, far + 1, far + 1}, 6, 99, w, h, ""},
		{"three red flashes", rgb{60, 60, 60}, rgb{124, 0, 0}, 4, 3, w, h, ""},
		{"red over a quarter of the field", rgb{60, 60, 60}, rgb{124, 0, 0}, 6, 99, fw, fh / 4, ""},
		{"red over a row more", rgb{60, 60, 60}, rgb{124, 0, 0}, 6, 99, fw, fh/4 + 1, Red},
	} {
		got := clip(c.a, c.b, c.hz, c.flashes, c.aw, c.ah).Findings()
		switch {
		case c.want == "" && len(got) > 0:
			t.Errorf("%s: found %+v", c.name, got)
		case c.want != "" && len(got) != 1:
			t.Errorf("%s: %d passages, want one", c.name, len(got))
		case c.want != "" && got[0].Kind != c.want:
			t.Errorf("%s: kind %s, want %s", c.name, got[0].Kind, c.want)
		}
	}
}

// A red must be at least 0.2 away in CIE 1976 UCS: the pairs are reckoned by
// the published chromaticities of the BT.709 primaries and of D65.
func TestUCS(t *testing.T) {
	for _, c := range []struct {
		name    string
		r, g, b float32
		u, v    float64
	}{
		{"white D65", 1, 1, 1, 0.1978, 0.4683},
		{"red primary", 1, 0, 0, 0.4507, 0.5229},
		{"green primary", 0, 1, 0, 0.1250, 0.5625},
		{"blue primary", 0, 0, 1, 0.1754, 0.1579},
	} {
		u, v := uv(c.r, c.g, c.b)
		if math.Abs(float64(u)-c.u) > 3e-4 || math.Abs(float64(v)-c.v) > 3e-4 {
			t.Errorf("%s: u'v' %.4f %.4f, want %.4f %.4f", c.name, u, v, c.u, c.v)
		}
	}
}

func TestPassageIsPlaced(t *testing.T) {
	a := New(Options{Width: 32, Height: 24, Rate: 25})
	frame := make([]byte, 3*32*24)
	for i := range 25 * 70 {
		v := byte(0)
		if i >= 1525 && i < 1550 && (i-1525)%5 >= 2 { // 5 flashes from 00:01:01:02
			v = 255
		}
		for j := range frame {
			frame[j] = v
		}
		a.Add(frame)
	}
	got := a.Findings()
	if len(got) != 1 {
		t.Fatalf("%d passages, want 1: %+v", len(got), got)
	}
	p := got[0]
	if p.From != 1527 || p.To != 1550 || p.Start != "00:01:01:02" || p.End != "00:01:02:00" || p.Flashes != 5 || p.Area != 1 {
		t.Errorf("passage %+v", p)
	}
}

func TestSlowFadeIsNoFlash(t *testing.T) {
	a := New(Options{Width: 32, Height: 24, Rate: 24})
	frame := make([]byte, 3*32*24)
	for i := range 240 {
		for j := range frame {
			frame[j] = byte(i)
		}
		a.Add(frame)
	}
	if f := a.Findings(); len(f) > 0 {
		t.Errorf("a fade over ten seconds gives %+v", f)
	}
}

func TestOptionsValidate(t *testing.T) {
	for _, o := range []Options{{8, 100, 24}, {100, 2000, 24}, {100, 100, 0}, {100, 100, math.NaN()}} {
		if o.Validate() == nil {
			t.Errorf("%+v accepted", o)
		}
	}
}

func BenchmarkClip(b *testing.B) {
	frames := make([][]byte, 8)
	for i := range frames {
		frames[i] = make([]byte, 3*256*192)
		for j := range frames[i] {
			frames[i][j] = byte(j*7 + i*i*11)
		}
	}
	for b.Loop() {
		a := New(Options{Width: 256, Height: 192, Rate: 24})
		for i := range 240 {
			a.Add(frames[i/3%8])
		}
	}
}
