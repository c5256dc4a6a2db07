package main

import "stillspan/internal/scene"

// bounds are what the clip of a scene must keep to, EV; 0 means no bound.
type bounds struct {
	patch, tone, colour, pump, bend float64
	event, step, corr               float64
	times                           float64 // lower than ffmpeg's filter at its best
	untouched                       bool    // no worse than as shot
}

// kind is one sort of sequence.
type kind struct {
	name   string
	bounds bounds
	set    func(o *scene.Options)
	grid   [2]int // patches across and down; 4 and 3 where it is zero
	bare   bool   // without exposure labels
	turned bool   // stored turned, with an orientation tag
	// corners flicker by themselves; elsewhere they must not be corrected so.
	corners bool
}

// What is asked of most clips. Errors that differ from frame to frame are seen
// from about 0.003 EV rms (calculated with the lamp and eye filter of IEC TR
// 61547-1).
var (
	steady = bounds{patch: 0.002, tone: 0.002, colour: 0.001, pump: 0.01}
	// The coding of dark stills alone changes the colour of those by 0.001.
	toned = bounds{patch: 0.002, tone: 0.002, colour: 0.002, pump: 0.01}
	still = bounds{untouched: true, pump: 0.01, bend: 0.02}
	lit   = bounds{patch: 0.002, colour: 0.002, pump: 0.01, bend: 0.02}
)

var kinds = []kind{
	{name: "static", bounds: bounds{patch: 0.0015, tone: 0.002, times: 10}, set: func(o *scene.Options) { o.ScatterEV = 0.06 }},
	{name: "clouds", bounds: bounds{patch: 0.0015, tone: 0.002, times: 10}, set: func(o *scene.Options) {
		o.ScatterEV, o.Clouds, o.CloudPixelsPerFrame = 0.06, 0.6, 30
	}},
	{name: "moving camera", bounds: bounds{patch: 0.002, tone: 0.002, times: 10}, set: moving},
	{name: "crowd", bounds: bounds{patch: 0.002, tone: 0.002}, set: func(o *scene.Options) { textured(o); o.Crowd, o.ScatterEV = true, 0.06 }},
	{name: "headlights", bounds: bounds{patch: 0.008, times: 10, event: 0.02}, set: func(o *scene.Options) {
		o.ScatterEV, o.Headlights, o.LightEV, o.Follow, o.Noise = 0.06, true, [2]float64{-6, -6}, 1, 0.05
	}},
	{name: "lightning", bounds: bounds{event: 0.02, corr: 0.004}, set: func(o *scene.Options) {
		o.Lightning, o.Clouds, o.LightEV, o.Follow, o.Noise = true, 0.7, [2]float64{-5, -6}, 1, 0.03
	}},
	{name: "sunset 6 EV", bounds: bounds{step: 0.02, bend: 0.05, patch: 0.008}, set: sunset},
	{name: "sunset, no EXIF", bare: true, bounds: bounds{step: 0.02, bend: 0.05, patch: 0.008}, set: sunset},
	{name: "trend, weak flicker", bounds: bounds{patch: 0.004, bend: 0.05}, set: func(o *scene.Options) {
		o.ScatterEV, o.Clouds, o.LightEV = 0.015, 0.4, [2]float64{0, -3}
	}},
	{name: "clipped highlights", bounds: bounds{patch: 0.008, times: 10}, set: func(o *scene.Options) {
		o.ScatterEV, o.Clouds, o.ClipHighlights = 0.06, 0.5, true
	}},
	// Its own noise leaves 0.004 in a patch.
	{name: "night noise", bounds: bounds{patch: 0.0045, times: 2}, set: func(o *scene.Options) { *o = nightNoise(*o, 0.06) }},

	{name: "curve, walls", bounds: toned, set: curved(1, walls, 0.06)},
	{name: "curve, textured walls", bounds: toned, set: curved(1, textured, 0.06)},
	{name: "curve, moving", bounds: toned, set: curved(1, moving, 0.06)},
	{name: "strong curve, walls", bounds: toned, set: curved(1.7, walls, 0.06)},
	{name: "strong curve, textured walls", bounds: toned, set: curved(1.7, textured, 0.06)},
	{name: "strong curve, moving", bounds: toned, set: curved(1.7, moving, 0.06)},
	{name: "colour wobble", bounds: steady, set: func(o *scene.Options) { o.ColourScatterEV, o.Clouds = 0.04, 0.5 }},
	{name: "colour wobble, walls", bounds: toned, set: func(o *scene.Options) { textured(o); o.ColourScatterEV, o.ScatterEV = 0.04, 0.03 }},
	{name: "colour wobble, sunset", bounds: lit, set: func(o *scene.Options) {
		falling(o)
		o.ColourScatterEV = 0.04
	}},
	{name: "colour steps", bounds: steady, set: func(o *scene.Options) { o.ColourStepEV, o.Clouds = 0.08, 0.5 }},
	{name: "banding", grid: [2]int{1, 24}, bounds: bounds{patch: 0.008}, set: banded(false, textured)},
	{name: "banding, upright", grid: [2]int{24, 1}, bounds: bounds{patch: 0.008}, set: banded(true, textured)},
	{name: "banding, stills turned", grid: [2]int{24, 1}, turned: true, bounds: bounds{patch: 0.008}, set: banded(true, walls)},
	{name: "banding, crowd, scatter", grid: [2]int{1, 24}, bounds: bounds{patch: 0.008}, set: banded(false, func(o *scene.Options) {
		textured(o)
		o.Crowd, o.ScatterEV = true, 0.03
	})},
	{name: "corners", corners: true, bounds: bounds{patch: 0.002, tone: 0.002, times: 10}, set: func(o *scene.Options) {
		o.ScatterEV, o.VignetteScatterEV, o.Clouds = 0.06, 0.08, 0.3
		o.VignettePower = 0.75 + 0.25*float64(o.Seed%4)
	}},
	{name: "hunting meter", bounds: bounds{patch: 0.002, pump: 0.01}, set: func(o *scene.Options) {
		o.ScatterEV, o.MeterEV, o.Clouds, o.LightEV = 0.03, 0.09, 0.4, [2]float64{0, -1.5}
	}},
	{name: "day to night, labels miss", bounds: bounds{patch: 0.002, pump: 0.01, step: 0.02}, set: dayToNight},
	{name: "true sunset", bounds: lit, set: func(o *scene.Options) { falling(o); o.ScatterEV = 0.03 }},
	{name: "lamps come on", bounds: lit, set: func(o *scene.Options) { lampsOn(o); o.ScatterEV = 0.03 }},
	{name: "fog comes", bounds: lit, set: func(o *scene.Options) { fogComes(o); o.ScatterEV = 0.03 }},
	{name: "everything at once", corners: true, bounds: bounds{patch: 0.004, tone: 0.004, colour: 0.002, pump: 0.01}, set: func(o *scene.Options) {
		curved(1, moving, 0.05)(o)
		o.ColourScatterEV, o.VignetteScatterEV, o.MeterEV, o.LightEV, o.Noise = 0.02, 0.03, 0.06, [2]float64{0, -2}, 0.02
	}},

	{name: "untouched clouds", bounds: still, set: func(o *scene.Options) { o.Clouds = 0.6 }},
	{name: "untouched, moving", bounds: still, set: func(o *scene.Options) { moving(o); o.ScatterEV = 0 }},
	{name: "untouched walls", bounds: still, set: textured},
	{name: "untouched crowd", bounds: still, set: func(o *scene.Options) { textured(o); o.Crowd = true }},
	{name: "untouched curve, walls", bounds: still, set: curved(1, walls, 0)},
	{name: "untouched strong curve, moving", bounds: still, set: curved(1.7, moving, 0)},
	{name: "untouched rows", grid: [2]int{1, 24}, bounds: still, set: func(o *scene.Options) { o.Clouds = 0.4 }},
	{name: "untouched sunset", bounds: still, set: falling},
	{name: "untouched lamps", bounds: still, set: lampsOn},
	{name: "untouched fog", bounds: still, set: fogComes},
	{name: "untouched night noise", bounds: still, set: func(o *scene.Options) { *o = nightNoise(*o, 0) }},
}

func moving(o *scene.Options) { o.ScatterEV, o.Clouds, o.PanPixelsPerFrame = 0.06, 0.4, 2.7 }

func sunset(o *scene.Options) {
	o.ScatterEV, o.Clouds, o.LightEV, o.Follow, o.StepEV = 0.06, 0.4, [2]float64{0, -6}, 1, 1./3
}

// dayToNight holds each setting for a dozen frames or more.
func dayToNight(o *scene.Options) {
	o.Frames *= 2
	o.ScatterEV, o.LabelErrorEV, o.Clouds, o.LightEV, o.Follow, o.StepEV = 0.03, 0.04, 0.4, [2]float64{0, -7}, 1, 1./3
}

// falling is a sunset with the camera left as it is.
func falling(o *scene.Options) { o.Clouds, o.LightEV = 0.3, [2]float64{-0.5, -3.5} }

// Walls need a sensor's noise: without it the coding of each still rounds a
// whole wall alike.
func walls(o *scene.Options) { o.Walls, o.Noise = true, 0.04 }

func textured(o *scene.Options) { o.Walls, o.WallTexture, o.Noise = true, 0.5, 0.02 }

func lampsOn(o *scene.Options) {
	o.LampsOn, o.Clouds, o.LightEV, o.Follow, o.Noise = true, 0.3, [2]float64{-3.5, -3.5}, 0.8, 0.02
}

func fogComes(o *scene.Options) { o.Fog, o.Clouds, o.Noise = true, 0.3, 0.01 }

func curved(strength float64, set func(*scene.Options), scatterEV float64) func(*scene.Options) {
	return func(o *scene.Options) {
		set(o)
		o.Response, o.ScatterEV = strength, scatterEV
	}
}

func banded(across bool, set func(*scene.Options)) func(*scene.Options) {
	return func(o *scene.Options) {
		set(o)
		o.BandsEV, o.Bands, o.BandsAcross = 0.08, 2.3+0.6*float64(o.Seed%4), across
	}
}

// nightNoise is small, so that its noise shows.
func nightNoise(o scene.Options, scatterEV float64) scene.Options {
	o.Width, o.Height = 480, 320
	o.ScatterEV, o.Noise, o.LightEV, o.Follow = scatterEV, 0.2, [2]float64{-7, -7}, 1
	return o
}
