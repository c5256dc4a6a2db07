// Package scene draws sequences of stills of an invented landscape whose truth
// is known: what the light did, what the camera's exposure did, and how far
// each frame fell from it. The demo, the tests and the bench use it.
package scene

import (
	"fmt"
	"image"
	"math"
	"math/rand/v2"
)

// Options says what happens in front of and inside the camera. The zero value
// of a field means "none of it".
type Options struct {
	Width, Height int // pixels; 64 to 8192
	Frames        int // 1 to 20000
	Seed          uint64

	// ScatterEV is the standard deviation of each frame's exposure error,
	// white and Gaussian, EV.
	ScatterEV float64
	// LightEV is the scene's light at the first and the last frame, EV below
	// (negative) full daylight. The change between them is S-shaped, as at
	// sunset and sunrise. Colours follow the light: about -3 is sunset,
	// -7 is night.
	LightEV [2]float64
	// StepEV, when above 0, is the step by which the photographer opens the
	// exposure as light falls (1/3 for third stops).
	StepEV float64
	// Follow is the share of the change of light that these steps make up
	// for, 0 to 1.
	Follow float64
	// PanPixelsPerFrame is the camera's travel to the right.
	PanPixelsPerFrame float64
	// Clouds is how much of the sky they cover, 0 to 1.
	Clouds float64
	// CloudPixelsPerFrame is how fast they drift at the zenith, pixels of a
	// picture 1000 pixels wide; 0 means 4.
	CloudPixelsPerFrame float64
	// Headlights lets cars pass, Lightning lets it flash.
	Headlights, Lightning bool
	// Noise is the sensor's noise at middle grey as a share of the signal
	// (0.02 is a clean picture, 0.15 a noisy night).
	Noise float64
	// ClipHighlights overexposes so that part of the sky is clipped.
	ClipHighlights bool
	// VignetteScatterEV is the standard deviation of an exposure error that
	// grows with the square of the distance from the picture's middle, EV at
	// the corners.
	VignetteScatterEV float64
}

// Validate says which field is out of its range.
func (o Options) Validate() error {
	switch {
	case o.Width < 64 || o.Width > 8192 || o.Height < 64 || o.Height > 8192:
		return fmt.Errorf("scene size %dx%d: each side must be 64 to 8192 pixels", o.Width, o.Height)
	case o.Frames < 1 || o.Frames > 20000:
		return fmt.Errorf("scene frames %d: must be 1 to 20000", o.Frames)
	case !(math.Abs(o.PanPixelsPerFrame)*float64(o.Frames) <= 32768):
		return fmt.Errorf("scene pan %g pixels per frame: the travel must stay within 32768 pixels", o.PanPixelsPerFrame)
	case !(o.Clouds >= 0 && o.Clouds <= 1 && o.Follow >= 0 && o.Follow <= 1):
		return fmt.Errorf("scene clouds %g, follow %g: must be 0 to 1", o.Clouds, o.Follow)
	case !(o.Noise >= 0 && o.Noise < 1 && o.ScatterEV >= 0 && o.StepEV >= 0 && o.VignetteScatterEV >= 0):
		return fmt.Errorf("scene noise, scatter and step must not be negative")
	}
	return nil
}

// Truth is what really happened in one frame.
type Truth struct {
	LightEV    float64 // the scene's light
	ExposureEV float64 // what the settings add, exact, EV
	ScatterEV  float64 // exposure error of this frame: what is to be removed
	WantedEV   float64 // LightEV plus the exposure with its steps spread evenly
	// Labels as the camera writes them: nominal values.
	ExposureS, FNumber, ISO float64
	// Event is set while headlights or lightning light the scene.
	Event bool
}

// Scene is a sequence ready to be drawn. Its methods may be called from
// several goroutines.
type Scene struct {
	o      Options
	land   *land
	cloud  *texture
	ripple *texture
	gauss  []float32 // standard normal deviates
	code   []uint16  // sRGB code x 256 by linear value, codeSteps per unit
	truth  []Truth
	vign   []float64
	cars   []car
	bolts  []bolt
	cloudX float64 // where in the texture the sky starts
}

// New builds the scene; it panics on options that Validate refuses.
func New(o Options) *Scene {
	if err := o.Validate(); err != nil {
		panic("scene: " + err.Error())
	}
	if o.CloudPixelsPerFrame == 0 {
		o.CloudPixelsPerFrame = 4
	}
	rng := rand.New(rand.NewPCG(o.Seed, 0x5ce9e))
	s := &Scene{o: o}
	s.cloud = newTexture(rng, 1024, 512, 8, 6, 0.55)
	s.ripple = newTexture(rng, 256, 256, 32, 3, 0.6)
	s.land = newLand(rng, o)
	s.gauss = make([]float32, 1<<16)
	for i := range s.gauss {
		s.gauss[i] = float32(rng.NormFloat64())
	}
	s.code = codeTable()
	s.cloudX = rng.Float64() * 1024
	s.setTruth(rng)
	return s
}

func (s *Scene) setTruth(rng *rand.Rand) {
	o := s.o
	s.truth = make([]Truth, o.Frames)
	s.vign = make([]float64, o.Frames)
	for t := range s.truth {
		tr := &s.truth[t]
		tr.LightEV = o.light(t)
		ideal := -o.Follow * tr.LightEV
		tr.ExposureEV = -o.Follow * o.LightEV[0]
		if o.StepEV > 0 {
			tr.ExposureEV = math.Round(ideal/o.StepEV) * o.StepEV
			tr.WantedEV = tr.LightEV + ideal
		} else {
			tr.WantedEV = tr.LightEV + tr.ExposureEV
		}
		tr.ScatterEV = o.ScatterEV * rng.NormFloat64()
		s.vign[t] = o.VignetteScatterEV * rng.NormFloat64()
		tr.ExposureS, tr.FNumber, tr.ISO = labels(tr.ExposureEV)
	}
	if o.Headlights {
		s.cars = newCars(rng, o)
	}
	if o.Lightning {
		s.bolts = newBolts(rng, o)
	}
	for _, c := range s.cars {
		for t := max(c.first, 0); t <= c.last && t < o.Frames; t++ {
			s.truth[t].Event = true
		}
	}
	for _, b := range s.bolts {
		s.truth[b.frame].Event = true
	}
}

// light is the S-shaped change of light.
func (o Options) light(t int) float64 {
	x := 0.0
	if o.Frames > 1 {
		x = float64(t) / float64(o.Frames-1)
	}
	x = 0.5*x + 0.5*x*x*(3-2*x)
	return o.LightEV[0] + (o.LightEV[1]-o.LightEV[0])*x
}

// Options returns what the scene was made from.
func (s *Scene) Options() Options { return s.o }

// Truth tells what really happened in frame t.
func (s *Scene) Truth(t int) Truth { return s.truth[t] }

// Frame is frame t as the camera writes it: sRGB, 8 bits, with its exposure
// error and noise.
func (s *Scene) Frame(t int) *image.RGBA {
	tr := s.truth[t]
	return s.draw(t, tr.ExposureEV+tr.ScatterEV, s.vign[t], s.o.Noise)
}

// Wanted is frame t as it should look in the clip: no exposure error, steps
// spread, no noise but dither.
func (s *Scene) Wanted(t int) *image.RGBA {
	tr := s.truth[t]
	return s.draw(t, tr.WantedEV-tr.LightEV, 0, 0)
}

// Still marks the pixels of frame t that belong to the still part of the
// scene: land that no headlight reaches; neither sky nor water.
func (s *Scene) Still(t int) []bool {
	w, h := s.o.Width, s.o.Height
	m := make([]bool, w*h)
	x0 := int(math.Round(s.panX(t)))
	for y := range h {
		row := s.land.still[y*s.land.w:]
		for x := range w {
			m[y*w+x] = row[min(x+x0, s.land.w-1)]
		}
	}
	return m
}

// panX is where in the panorama frame t starts.
func (s *Scene) panX(t int) float64 {
	p := s.o.PanPixelsPerFrame
	if p < 0 {
		return -p * float64(s.o.Frames-1-t)
	}
	return p * float64(t)
}
