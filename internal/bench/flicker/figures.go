package main

import (
	"math"
	"slices"
)

// sixths is how many classes of tones a frame is parted in, from the darkest
// sixth of its pixels to the brightest.
const sixths = 6

// light is one frame's displayed linear light, R, G, B summed over the pixels
// of each patch and sixth of tones; cell patch*sixths+sixth.
type light struct {
	rgb [][3]float64
	n   []int // pixels
}

// over sums the cells that are chosen.
func (l light) over(chosen func(patch, sixth int) bool) (rgb [3]float64, n int) {
	for i := range l.rgb {
		if chosen(i/sixths, i%sixths) {
			for j, v := range l.rgb[i] {
				rgb[j] += v
			}
			n += l.n[i]
		}
	}
	return rgb, n
}

// truth is the light as it should be in the clip, and where the scene is
// awkward.
type truth struct {
	patches     int
	light       []light
	event, step []bool // headlights or lightning; an exposure step since the frame before
}

// figures are the faults of a clip: its light divided by the true light, EV.
type figures struct {
	patch       []float64       // flicker, by patch; NaN where the camera lost the light
	flicker     float64         // that of the worst patch
	tone        [sixths]float64 // flicker, by sixth of the tones
	rg, bg      float64         // colour flicker, the middle of the patches: R/G and B/G faster than longestPump
	pump, bend  float64         // pumping, and what true light was bent by, of the worst patch
	colourBend  float64         // what the true drift of R/G or B/G was bent by
	event, step float64         // largest error at events and at steps, -1 without any
}

const (
	// slowWindow is the length in frames of the line fits whose rest is flicker.
	slowWindow = 21
	// Pumping has periods of this many frames; true light changes more slowly.
	shortestPump, longestPump = 8, 60
	// fewestPixels is the share of a patch that the camera must not have lost.
	fewestPixels = 0.1
)

// compare measures a clip's light.
func compare(got []light, want truth) figures {
	var f figures
	n := len(want.light)
	series := func(chosen func(patch, sixth int) bool) (e [3][]float64, fewest int) {
		fewest = math.MaxInt
		for t := range n {
			a, _ := got[t].over(chosen)
			b, pixels := want.light[t].over(chosen)
			fewest = min(fewest, pixels)
			r := ratiosEV(a, b)
			for j := range e {
				e[j] = append(e[j], r[j])
			}
		}
		return e, fewest
	}
	_, all := series(func(int, int) bool { return true })
	var each [3][][]float64 // by patch
	for p := range want.patches {
		e, fewest := series(func(patch, _ int) bool { return patch == p })
		if float64(fewest) < fewestPixels*float64(all)/float64(want.patches) {
			f.patch = append(f.patch, math.NaN())
			continue
		}
		f.patch = append(f.patch, rms(flickerOf(e[0])))
		pump, slow := bands(e[0])
		f.pump, f.bend = max(f.pump, rms(pump)), max(f.bend, largest(slow))
		for j := range each {
			each[j] = append(each[j], e[j])
		}
	}
	var whole [3][]float64
	for j := range whole {
		whole[j] = medians(each[j])
	}
	f.flicker = largest(f.patch)
	for k := range sixths {
		e, _ := series(func(_, sixth int) bool { return sixth == k })
		f.tone[k] = rms(flickerOf(e[0]))
	}
	for j, of := range []*float64{&f.rg, &f.bg} {
		_, slow := bands(whole[1+j])
		f.colourBend = max(f.colourBend, largest(slow))
		fast := append([]float64(nil), whole[1+j]...)
		m := mean(fast)
		for t := range fast {
			fast[t] -= m + slow[t]
		}
		*of = rms(fast)
	}
	f.event, f.step = atEvents(whole[0], want.event), atSteps(whole[0], want.step)
	return f
}

// ratiosEV are luminance, R/G and B/G of a against b.
func ratiosEV(a, b [3]float64) [3]float64 {
	lum := func(c [3]float64) float64 { return 0.2126*c[0] + 0.7152*c[1] + 0.0722*c[2] }
	return [3]float64{math.Log2(lum(a) / lum(b)), math.Log2(a[0] / a[1] * b[1] / b[0]), math.Log2(a[2] / a[1] * b[1] / b[2])}
}

// flickerOf is what straight lines over slowWindow frames do not follow.
func flickerOf(e []float64) []float64 {
	out := make([]float64, len(e))
	for t := range e {
		var n, sx, sy, sxx, sxy float64
		for i := max(t-slowWindow/2, 0); i <= min(t+slowWindow/2, len(e)-1); i++ {
			x := float64(i - t)
			n, sx, sy, sxx, sxy = n+1, sx+x, sy+e[i], sxx+x*x, sxy+x*e[i]
		}
		slope := (n*sxy - sx*sy) / (n*sxx - sx*sx)
		out[t] = e[t] - (sy-slope*sx)/n
	}
	return out
}

// bands parts e by its cosine transform (DCT-II): periods of pumping, and
// slower ones less the mean.
func bands(e []float64) (pump, slow []float64) {
	n := len(e)
	pump, slow = make([]float64, n), make([]float64, n)
	for k := 1; k < n; k++ {
		period := 2 * float64(n) / float64(k)
		if period < shortestPump {
			break
		}
		wave := func(t int) float64 { return math.Cos(math.Pi * float64(k) * (float64(t) + 0.5) / float64(n)) }
		var c float64
		for t := range e {
			c += 2 / float64(n) * e[t] * wave(t)
		}
		into := slow
		if period <= longestPump {
			into = pump
		}
		for t := range e {
			into[t] += c * wave(t)
		}
	}
	return pump, slow
}

// atEvents is the largest flicker in frames with an event and beside them.
func atEvents(e []float64, event []bool) float64 {
	most, fast := -1.0, flickerOf(e)
	for t := range e {
		for i := max(t-1, 0); i <= min(t+1, len(e)-1); i++ {
			if event[i] {
				most = max(most, math.Abs(fast[t]))
			}
		}
	}
	return most
}

// atSteps is the largest jump at a step: three frames after less three before.
func atSteps(e []float64, step []bool) float64 {
	most := -1.0
	for t := 3; t+3 <= len(e); t++ {
		if step[t] {
			most = max(most, math.Abs(mean(e[t:t+3])-mean(e[t-3:t])))
		}
	}
	return most
}

// medians is the median over several series: of the walls one may be too dark
// to tell its colour.
func medians(series [][]float64) []float64 {
	out := make([]float64, len(series[0]))
	for t := range out {
		v := make([]float64, len(series))
		for i := range series {
			v[i] = series[i][t]
		}
		slices.Sort(v)
		out[t] = (v[(len(v)-1)/2] + v[len(v)/2]) / 2
	}
	return out
}

func mean(v []float64) float64 {
	var s float64
	for _, x := range v {
		s += x
	}
	return s / float64(len(v))
}

func rms(v []float64) float64 {
	var s float64
	for _, x := range v {
		s += x * x
	}
	return math.Sqrt(s / float64(len(v)))
}

// largest is the largest magnitude in v, NaN left out.
func largest(v []float64) (most float64) {
	for _, x := range v {
		if a := math.Abs(x); a > most {
			most = a
		}
	}
	return most
}
