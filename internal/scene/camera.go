package scene

import (
	"image"
	"math"
	"math/rand/v2"

	"stillspan/internal/srgb"
)

// camera is what the camera does to the light of each frame beside its
// exposure: the errors that flicker removal has to find.
type camera struct {
	code   [3]curve     // code, 0 to 255, by linear light
	shown  [3]curve     // displayed linear light by the scene's
	meter  []float64    // EV
	white  [][3]float64 // white balance error of R, G, B, EV
	corner []float64    // EV in the corners
	phase  []float64    // of the bands, radians
	lamp   [3]float64   // strength of the bands in R, G and B
}

// curve is a function of linear light from 0 to 1, curveSteps entries a unit.
// Values between are interpolated, since a flat wall shows any rounding of a
// dark tone as an error of its own.
type curve []float32

const curveSteps = 1 << 13

func newCurve(f func(l float64) float64) curve {
	c := make(curve, curveSteps+2)
	for i := range c {
		c[i] = float32(f(math.Min(float64(i)/curveSteps, 1)))
	}
	return c
}

func (c curve) at(l float32) float32 {
	l = min(max(l, 0), 1) * curveSteps
	i := int(l)
	return c[i] + (c[i+1]-c[i])*(l-float32(i))
}

// newCamera draws from a source of its own, so that a new kind of error leaves
// the scenes without it as they were.
func newCamera(o Options) *camera {
	rng := rand.New(rand.NewPCG(o.Seed, 0xca3e7a))
	n := o.Frames
	c := &camera{white: make([][3]float64, n), corner: make([]float64, n), phase: make([]float64, n)}
	for j, f := range newResponse(rng, o) {
		c.shown[j] = newCurve(f)
		c.code[j] = newCurve(func(l float64) float64 { return 255 * srgb.Encode(f(l)) })
		c.lamp[j] = 0.9 + 0.2*rng.Float64()
	}
	c.meter = hunting(rng, n, o.MeterEV)
	phase, drift := 2*math.Pi*rng.Float64(), 2*math.Pi*(0.05+0.4*rng.Float64())
	var step [2]float64
	next := 15 + rng.IntN(20)
	for t := range n {
		if t == next {
			step = [2]float64{o.ColourStepEV * rng.NormFloat64(), o.ColourStepEV * rng.NormFloat64()}
			next += 15 + rng.IntN(46)
		}
		c.white[t][0] = step[0] + o.ColourScatterEV*rng.NormFloat64()
		c.white[t][2] = step[1] + o.ColourScatterEV*rng.NormFloat64()
		phase += drift + 0.3*rng.NormFloat64()
		c.phase[t] = phase
	}
	return c
}

// hunting is the error of a meter that swings about: humps of 10 to 60 frames,
// up to peak EV high or low, some with a rest between.
func hunting(rng *rand.Rand, n int, peak float64) []float64 {
	ev := make([]float64, n)
	for t := 0; t < n; t += rng.IntN(15) {
		length := 10 + rng.IntN(51)
		high := peak * (0.4 + 0.6*rng.Float64())
		if rng.IntN(2) == 0 {
			high = -high
		}
		for i := 0; i < length && t < n; i, t = i+1, t+1 {
			ev[t] = high * (1 - math.Cos(2*math.Pi*float64(i)/float64(length))) / 2
		}
	}
	// Humps of both signs must not exceed the peak together.
	for t := range ev {
		ev[t] /= 2
	}
	return ev
}

// settingError is by how many standard deviations the setting of an exposure
// misses it; the same for every frame with that setting.
func settingError(seed uint64, exposureEV float64) float64 {
	return rand.New(rand.NewPCG(seed, uint64(int64(math.Round(exposureEV*100))))).NormFloat64()
}

// exposure is what makes a picture of linear light: gains that multiply.
type exposure struct {
	gain   [3]float32   // of R, G, B
	band   [3][]float32 // by row, or by column where across
	across bool
	corner [256]float32 // by squared distance from the middle, 255 at the corner
	noise  float64
}

// wanted is the exposure of frame t without errors and with steps spread.
func (s *Scene) wanted(t int) *exposure {
	tr := s.truth[t]
	e := &exposure{across: s.o.BandsAcross}
	n := s.o.Height
	if e.across {
		n = s.o.Width
	}
	for j := range 3 {
		e.gain[j] = float32(math.Exp2(tr.WantedEV - tr.LightEV))
		e.band[j] = make([]float32, n)
		for i := range n {
			e.band[j][i] = 1
		}
	}
	for i := range e.corner {
		e.corner[i] = 1
	}
	return e
}

// real is the exposure of frame t as the camera made it.
func (s *Scene) real(t int) *exposure {
	e, c, tr := s.wanted(t), s.camera, s.truth[t]
	e.noise = s.o.Noise
	for j := range 3 {
		e.gain[j] = float32(math.Exp2(tr.ExposureEV + tr.ScatterEV + c.white[t][j]))
		for i := range e.band[j] {
			// A lamp's light is not quite a sine (from memory).
			a := c.phase[t] + 2*math.Pi*s.o.Bands*float64(i)/float64(len(e.band[j]))
			e.band[j][i] = float32(math.Exp2(s.o.BandsEV * c.lamp[j] * (math.Cos(a) + 0.12*math.Cos(2*a))))
		}
	}
	power := s.o.VignettePower
	if power == 0 {
		power = 1
	}
	for i := range e.corner {
		e.corner[i] = float32(math.Exp2(c.corner[t] * math.Pow(float64(i)/255, power)))
	}
	return e
}

// expose turns linear light into the camera's 8-bit picture of frame t, and
// marks in clipped, where given, the pixels with a channel beyond white.
func (s *Scene) expose(lin []float32, t int, e *exposure, clipped []bool) *image.RGBA {
	w, h := s.o.Width, s.o.Height
	img := image.NewRGBA(image.Rect(0, 0, w, h))
	rng := rand.New(rand.NewPCG(s.o.Seed^0xd17e, uint64(t)))
	// Shot noise dominates at middle grey, read noise in the blacks.
	shot, read := float32(e.noise*e.noise*0.18), float32(e.noise*0.18*0.1)
	cx, cy := float32(w)/2, float32(h)/2
	scale := 255 / (cx*cx + cy*cy)
	for y := range h {
		row := lin[3*y*w:][:3*w]
		pix := img.Pix[y*img.Stride:][:4*w]
		at := rng.IntN(1 << 16)
		bits := rng.Uint64() | 1
		dy := float32(y) - cy
		for x := range w {
			dx := float32(x) - cx
			g := e.corner[uint8((dx*dx+dy*dy)*scale)]
			along := y
			if e.across {
				along = x
			}
			bits ^= bits << 13
			bits ^= bits >> 7
			bits ^= bits << 17
			dither := bits
			for j := range 3 {
				v := row[3*x+j] * g * e.gain[j] * e.band[j][along]
				if clipped != nil && v > 1 {
					clipped[y*w+x] = true
				}
				if e.noise > 0 {
					at = (at + 1) & (1<<16 - 1)
					v += s.gauss[at] * float32(math.Sqrt(float64(max(v, 0)*shot+read*read)))
				}
				pix[4*x+j] = uint8(min(s.camera.code[j].at(v)+float32(dither&0xffff)/0x10000, 255))
				dither >>= 16
			}
			pix[4*x+3] = 255
		}
	}
	return img
}
