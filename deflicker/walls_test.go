package deflicker

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"stillspan/internal/srgb"
)

// walls are grids of plain walls seen through a camera: blocks of 8 x 8 pixels
// with noise, rounded to 8 bits. What the camera does is drawn here from light
// on, with nothing of the package.
type walls struct {
	w, h  int // blocks
	curve func(light float64) float64
	noise float64      // of a pixel, share of the light at middle grey
	ev    [][3]float64 // per frame
	grids []*Grid
	tone  []int // which wall a block shows
}

var wallLight = []float64{.008, .014, .023, .037, .06, .095, .15, .23, .35, .5, .66, .85}

// srgb, film and the others are cameras' curves, light to code. film is the
// approximation of a film's response by Hejl and Burgess-Dawson (2010), which
// has the display's encoding in it.
func plainCurve(x float64) float64 {
	if x <= 0.0031308 {
		return 12.92 * x
	}
	return 1.055*math.Pow(x, 1/2.4) - 0.055
}
func film(x float64) float64 {
	x = max(0, x-0.004)
	return x * (6.2*x + .5) / (x*(6.2*x+1.7) + 0.06)
}
func punchy(x float64) float64 {
	v := plainCurve(min(x, 1))
	return v + 0.45*v*(1-v)*(2*v-1)*1.6
}

func drawWalls(rng *rand.Rand, frames int, scatter, wobble float64, curve func(float64) float64, texture float64) *walls {
	return drawBlocks(rng, frames, scatter, wobble, curve, texture, func(x, y int) int { return x*4/90 + 4*(y*3/60) })
}

// drawBlocks is drawWalls of which block x, y shows the wall that is named.
func drawBlocks(rng *rand.Rand, frames int, scatter, wobble float64, curve func(float64) float64, texture float64, wall func(x, y int) int) *walls {
	q := &walls{w: 90, h: 60, curve: curve, noise: 0.02}
	n := q.w * q.h
	light := make([]float64, n*64)
	for i := range n {
		k := wall(i%q.w, i/q.w)
		q.tone = append(q.tone, k)
		for j := range 64 {
			light[i*64+j] = wallLight[k] * math.Exp2(texture*rng.NormFloat64())
		}
	}
	tint := [3]float64{1, 0.95, 0.85}
	gauss := make([]float64, 1<<16)
	for i := range gauss {
		gauss[i] = rng.NormFloat64()
	}
	const steps = 1 << 14
	table := make([]float64, steps*2)
	for i := range table {
		table[i] = 255 * min(max(curve(float64(i)/steps), 0), 1)
	}
	at := 0
	for range frames {
		e := scatter * rng.NormFloat64()
		ev := [3]float64{e + wobble*rng.NormFloat64(), e, e + wobble*rng.NormFloat64()}
		q.ev = append(q.ev, ev)
		g := &Grid{W: q.w, H: q.h, Clip: make([]float64, n)}
		for c := range 3 {
			g.Code[c] = make([]float64, n)
			gain := tint[c] * math.Exp2(ev[c])
			for i := range n {
				sum := 0.0
				for j := range 64 {
					x := light[i*64+j] * gain
					x += q.noise * math.Sqrt(0.18*x+0.0002) * gauss[at&0xffff]
					at += 1 + i&3
					p := min(max(x, 0), 1.99) * steps
					k := min(int(p), len(table)-2)
					v := math.Round(table[k] + (p-float64(k))*(table[k+1]-table[k]))
					sum += v
					if v >= 253 || v < 0.03*255 { // clipped, or too dark to tell exposure by
						g.Clip[i] += 1. / 64
					}
				}
				g.Code[c][i] = math.Round(sum/64*4) / 4 / 255
			}
		}
		q.grids = append(q.grids, g)
	}
	return q
}

// left is what is left of each wall's flicker, EV by sRGB decoding of its mean,
// in the worst channel, after a correction of R, G and B.
func (q *walls) left(r *Response, correction func(t int) [3]float64) (out [12]float64) {
	for k := range out {
		for c := range 3 {
			l := make([]float64, len(q.grids))
			for t, g := range q.grids {
				sum, n := 0.0, 0.0
				for i, tone := range q.tone {
					if tone == k {
						sum, n = sum+g.Code[c][i], n+1
					}
				}
				v := r.Tone(c, sum/n, correction(t)[c])
				l[t] = math.Log2(srgb.Decode(v))
			}
			out[k] = max(out[k], FlickerEV(l))
		}
	}
	return out
}

// Under any of the curves, a scatter of exposure of 0.063 EV leaves every wall,
// in every channel, within 0.002 EV of steady (but for the darkest two, which
// JPEG's steps do not tell as well), where one gain for all tones
// leaves up to 0.06. The response of a camera without contrast of its own is
// found to be none.
func TestResponseOnWalls(t *testing.T) {
	Long(t)
	for name, c := range map[string]struct {
		curve      func(float64) float64
		plainAbove float64 // what one gain leaves on the worst wall
		darkest    float64 // bound for the two darkest walls, at codes of 20 and 28
	}{
		"plain": {plainCurve, 0, 0.002}, "punchy": {punchy, 0.02, 0.0025},
		// The film's black is half the light of the darkest wall, whose flicker is doubled.
		"film": {film, 0.05, 0.005},
	} {
		q := drawWalls(rand.New(rand.NewPCG(1, 2)), 100, 0.063, 0, c.curve, 0.05)
		plain, own := NewMeter(MeterOptions{}), NewMeter(MeterOptions{Tones: true})
		for _, g := range q.grids {
			plain.Add(g)
			own.Add(g)
		}
		r, why := own.Response()
		if (r == nil) != (c.plainAbove == 0) {
			t.Errorf("%s: response %v, %s", name, r, why)
		}
		worst := 0.0
		before := q.left(nil, back(plain.Curve()))
		after := q.left(r, back(own.Curve()))
		for k := range after {
			bound := 0.002
			if k < 2 {
				bound = c.darkest
			}
			t.Logf("%s, wall of %.3f: one gain leaves %.4f, the response %.4f", name, wallLight[k], before[k], after[k])
			worst = max(worst, before[k])
			if !(after[k] <= bound) {
				t.Errorf("%s, wall of %.3f: %.4f EV left, want at most %g", name, wallLight[k], after[k], bound)
			}
		}
		if worst < c.plainAbove {
			t.Errorf("%s: one gain leaves only %.4f", name, worst)
		}
	}
}

// back takes the exposure back.
func back(c Curve) func(t int) [3]float64 {
	return func(t int) [3]float64 { return Channels(-c.ExposureEV[t], 0, 0) }
}

// What moves before a scene full of detail is often the most even in it, and must
// not speak for the tones all the same.
func TestResponseBehindTraffic(t *testing.T) {
	Long(t)
	rng := rand.New(rand.NewPCG(7, 8))
	q := drawBlocks(rng, 80, 0.05, 0, punchy, 0.05, func(int, int) int { return rng.IntN(12) })
	own := NewMeter(MeterOptions{Tones: true})
	for _, g := range q.grids {
		busy := Grid{W: g.W, H: g.H, Clip: g.Clip}
		for c := range g.Code {
			busy.Code[c] = slices.Clone(g.Code[c])
		}
		for range 12 {
			x0, y0, code := rng.IntN(g.W-8), rng.IntN(g.H-6), 0.1+0.8*rng.Float64()
			for i := range 48 {
				for c := range busy.Code {
					busy.Code[c][(y0+i/8)*g.W+x0+i%8] = code
				}
			}
		}
		own.Add(&busy)
	}
	r, why := own.Response()
	if r == nil {
		t.Fatal(why)
	}
	after := q.left(r, back(own.Curve()))
	for k, e := range after[2:] {
		if !(e <= 0.003) {
			t.Errorf("wall of %.3f: %.4f EV left", wallLight[2+k], e)
		}
	}
	t.Logf("left %.4f", after)
}
