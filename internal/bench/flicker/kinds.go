package main

import (
	"math"
	"strings"

	"stillspan/internal/scene"
)

const width, height = 480, 320

// bounds are what a scene must reach; 0 means no bound.
type bounds struct {
	left, corr, event, step, trend float64
	times                          float64 // lower than ffmpeg's best
	// cornerTimes is how many times lower the corners' error against the whole
	// must be than before. Where it is 0 the local pass must stay off.
	cornerTimes float64
}

// kind is one sort of sequence.
type kind struct {
	name   string
	labels bool // the stills carry exposure labels
	bounds bounds
	set    func(o *scene.Options)
}

var kinds = []kind{
	{"static", true, bounds{left: 0.004, times: 10}, func(o *scene.Options) { o.ScatterEV = 0.06 }},
	{"clouds", true, bounds{left: 0.004, times: 10}, func(o *scene.Options) { o.ScatterEV, o.Clouds, o.CloudPixelsPerFrame = 0.06, 0.6, 30 }},
	{"moving camera", true, bounds{left: 0.008, times: 10}, func(o *scene.Options) {
		o.ScatterEV, o.Clouds, o.PanPixelsPerFrame = 0.06, 0.4, 2.7
	}},
	{"headlights", true, bounds{left: 0.008, times: 10, event: 0.02}, func(o *scene.Options) {
		o.ScatterEV, o.Headlights, o.LightEV, o.Follow, o.Noise = 0.06, true, [2]float64{-6, -6}, 1, 0.05
	}},
	{"lightning", true, bounds{event: 0.02, corr: 0.004}, func(o *scene.Options) {
		o.Lightning, o.Clouds, o.LightEV, o.Follow, o.Noise = true, 0.7, [2]float64{-5, -6}, 1, 0.03
	}},
	{"sunset 6 EV", true, bounds{step: 0.02, trend: 0.05, left: 0.008}, sunset},
	{"sunset, no EXIF", false, bounds{step: 0.02, trend: 0.05, left: 0.008}, sunset},
	{"trend, weak flicker", true, bounds{left: 0.004, trend: 0.05}, func(o *scene.Options) {
		o.ScatterEV, o.Clouds, o.LightEV = 0.015, 0.4, [2]float64{0, -3}
	}},
	{"flicker-free", true, bounds{corr: 0.004}, func(o *scene.Options) { o.Clouds, o.LightEV = 0.6, [2]float64{0, -1.5} }},
	{"flicker-free, moving", true, bounds{corr: 0.004}, func(o *scene.Options) { o.Clouds, o.PanPixelsPerFrame = 0.5, 2.7 }},
	{"clipped highlights", true, bounds{left: 0.008, times: 10}, func(o *scene.Options) {
		o.ScatterEV, o.Clouds, o.ClipHighlights = 0.06, 0.5, true
	}},
	{"night noise", true, bounds{left: 0.008, times: 10}, func(o *scene.Options) {
		o.ScatterEV, o.Noise, o.LightEV, o.Follow = 0.06, 0.2, [2]float64{-7, -7}, 1
	}},
	{"vignette scatter", true, bounds{left: 0.004, cornerTimes: 5}, func(o *scene.Options) {
		o.ScatterEV, o.VignetteScatterEV, o.Clouds = 0.06, 0.05, 0.3
	}},
}

func sunset(o *scene.Options) {
	o.ScatterEV, o.Clouds, o.LightEV, o.Follow, o.StepEV = 0.06, 0.4, [2]float64{0, -6}, 1, 1./3
}

// outcome is what one sequence gave, EV. event and step are below 0 where the
// scene has none.
type outcome struct {
	before, left      float64
	ffDefault, ffBest float64
	ffSetting         string
	trend, ffTrend    float64
	corr, event, step float64
	chromaIn, chroma  float64
	period            float64 // that parted light from flicker, frames
	// corners is the error of the corners less that of the whole.
	cornersBefore, corners float64
	local                  int // sequences in which the local pass ran
}

func average(o []outcome) outcome {
	var a outcome
	n := float64(len(o))
	settings := map[string]bool{}
	for _, x := range o {
		a.before += x.before / n
		a.left += x.left / n
		a.ffDefault += x.ffDefault / n
		a.ffBest += x.ffBest / n
		a.trend += x.trend / n
		a.ffTrend += x.ffTrend / n
		a.corr += x.corr / n
		a.period += x.period / n
		a.event += x.event / n
		a.step += x.step / n
		a.chromaIn += x.chromaIn / n
		a.chroma += x.chroma / n
		a.cornersBefore += x.cornersBefore / n
		a.corners += x.corners / n
		a.local += x.local
		if !settings[x.ffSetting] {
			settings[x.ffSetting] = true
			a.ffSetting = strings.TrimPrefix(a.ffSetting+" "+x.ffSetting, " ")
		}
	}
	return a
}

// chromaRounding is what coding the clip leaves uncertain in the chroma
// figures, EV.
const chromaRounding = 0.0002

// judge names the bounds that were not met.
func (k kind) judge(o outcome) (ok bool, failed string) {
	var bad []string
	check := func(name string, got, bound float64) {
		if bound > 0 && !(got <= bound) {
			bad = append(bad, name)
		}
	}
	b := k.bounds
	check("left", o.left, b.left)
	check("corr", o.corr, b.corr)
	check("event", o.event, b.event)
	check("step", o.step, b.step)
	check("trend", o.trend, b.trend)
	check("times", b.times, o.ffBest/o.left)
	check("chroma", o.chroma, o.chromaIn+chromaRounding)
	check("corners", b.cornerTimes, o.cornersBefore/o.corners)
	if b.cornerTimes == 0 && o.local > 0 {
		bad = append(bad, "local pass")
	}
	return len(bad) == 0, strings.Join(bad, ", ")
}

func rms(v []float64) float64 {
	var s float64
	for _, x := range v {
		s += x * x
	}
	return math.Sqrt(s / float64(len(v)))
}
