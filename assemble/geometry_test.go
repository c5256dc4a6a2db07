package assemble

import (
	"testing"

	"stillspan/internal/playback"
)

func TestLayOut(t *testing.T) {
	for _, c := range []struct {
		name       string
		w, h       int
		set        func(*Options)
		x, y       int // crop
		cw, ch     int
		outW, outH int
		bad        bool
	}{
		{name: "3:2 still to 16:9", w: 6000, h: 4000, x: 0, y: 312, cw: 6000, ch: 3376, outW: 3840, outH: 2160},
		{name: "crop from the top", w: 6000, h: 4000, set: func(o *Options) { o.CropY = 0 }, cw: 6000, ch: 3376, outW: 3840, outH: 2160},
		{name: "source aspect", w: 6000, h: 4000, set: func(o *Options) { o.Aspect = "source" }, cw: 6000, ch: 4000, outW: 3840, outH: 2560},
		{name: "square", w: 600, h: 400, set: func(o *Options) { o.Aspect = "1:1" }, x: 100, cw: 400, ch: 400, outW: 400, outH: 400},
		{name: "a part of the picture", w: 6000, h: 4000, set: func(o *Options) { o.Crop = Part{0.25, 0.5, 0.5, 0.5} }, x: 1500, y: 2152, cw: 3000, ch: 1688, outW: 3000, outH: 1688},
		{name: "all of a part", w: 6000, h: 4000, set: func(o *Options) { o.Crop, o.Aspect = Part{0.1, 0.2, 0.3, 0.4}, "source" }, x: 600, y: 800, cw: 1800, ch: 1600, outW: 1800, outH: 1600},
		{name: "odd sizes become even", w: 481, h: 271, set: func(o *Options) { o.Aspect = "source" }, cw: 481, ch: 271, outW: 480, outH: 270},
		{name: "an odd crop is not exceeded", w: 1200, h: 800, y: 62, cw: 1200, ch: 675, outW: 1200, outH: 674},
		{name: "width alone", w: 6000, h: 4000, set: func(o *Options) { o.Width = 1920 }, y: 312, cw: 6000, ch: 3376, outW: 1920, outH: 1080},
		{name: "both sides rule the crop", w: 6000, h: 4000, set: func(o *Options) { o.Width, o.Height = 1080, 1080 }, x: 1000, cw: 4000, ch: 4000, outW: 1080, outH: 1080},
		{name: "no upscaling", w: 1280, h: 720, set: func(o *Options) { o.Width = 1920 }, bad: true},
		{name: "too small", w: 20, h: 20, bad: true},
	} {
		o := DefaultOptions()
		if c.set != nil {
			c.set(&o)
		}
		g, err := o.layOut(c.w, c.h)
		if c.bad {
			if err == nil {
				t.Errorf("%s: %+v, want an error", c.name, g)
			}
			continue
		}
		want := geometry{cropX: c.x, cropY: c.y, cropW: c.cw, cropH: c.ch, w: c.outW, h: c.outH}
		if err != nil || g != want {
			t.Errorf("%s: %+v, %v; want %+v", c.name, g, err, want)
		}
	}
}

func TestValidate(t *testing.T) {
	if err := DefaultOptions().Validate(); err != nil {
		t.Fatalf("the defaults are refused: %v", err)
	}
	for name, set := range map[string]func(*Options){
		"preset":   func(o *Options) { o.Preset = "best" },
		"codec":    func(o *Options) { o.Codec = "wax" },
		"aspect":   func(o *Options) { o.Aspect = "wide" },
		"odd size": func(o *Options) { o.Width = 1921 },
		"size":     func(o *Options) { o.Width = 1 << 20 },
		"crop":     func(o *Options) { o.CropX = 1.5 },
		"part":     func(o *Options) { o.Crop = Part{0.5, 0, 0.6, 1} },
		"gaps":     func(o *Options) { o.GapMode = "fill" },
		"quality":  func(o *Options) { o.Quality = 99 },
		"rate":     func(o *Options) { o.Rate = playback.Rate{Num: 24, Den: 0} },
	} {
		o := DefaultOptions()
		set(&o)
		if o.Validate() == nil {
			t.Errorf("%s out of range is let through", name)
		}
	}
}
