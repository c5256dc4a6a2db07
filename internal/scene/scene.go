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
	// grows with a power of the squared distance from the picture's middle, EV
	// at the corners; VignettePower 0 stands for 1.
	VignetteScatterEV, VignettePower float64

	// Walls draws twelve still walls, four across, of linear tones from 0.008
	// to 0.85, in place of the landscape; WallTexture is the contrast of their
	// surface, 0 to 1.
	Walls       bool
	WallTexture float64
	// LampsOn lets three lamps come on that light a part of the scene each,
	// Fog lets fog roll in, Crowd has people stand about, each frame elsewhere.
	// All are true light.
	LampsOn, Fog, Crowd bool
	// Response is the strength of the camera's own tone curve: 0 is sRGB
	// (IEC 61966-2-1), 1 a usual one, 2 a strong one.
	Response float64
	// ColourScatterEV is the standard deviation of each frame's white balance
	// error in R/G and B/G; ColourStepEV that of an automatic white balance
	// which jumps every 15 to 60 frames.
	ColourScatterEV, ColourStepEV float64
	// MeterEV is the largest peak-to-peak error of a hunting meter: humps of
	// 10 to 60 frames.
	MeterEV float64
	// LabelErrorEV is the standard deviation by which each exposure setting
	// misses its exact value.
	LabelErrorEV float64
	// BandsEV is the amplitude of mains banding by a rolling shutter, Bands
	// the count of bands over the picture, BandsAcross turns them upright, as
	// in a picture of a turned camera.
	BandsEV, Bands float64
	BandsAcross    bool
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
	case !(o.Noise >= 0 && o.Noise < 1 && o.ScatterEV >= 0 && o.StepEV >= 0 && o.VignetteScatterEV >= 0 &&
		o.ColourScatterEV >= 0 && o.ColourStepEV >= 0 && o.MeterEV >= 0 && o.LabelErrorEV >= 0 && o.BandsEV >= 0):
		return fmt.Errorf("scene noise, steps and errors must not be negative")
	case !(o.Response >= 0 && o.Response <= 2 && o.WallTexture >= 0 && o.WallTexture <= 1 && o.Bands >= 0):
		return fmt.Errorf("scene response %g, wall texture %g, bands %g: must be 0 to 2, 0 to 1 and not negative", o.Response, o.WallTexture, o.Bands)
	}
	return nil
}

// Truth is what really happened in one frame.
type Truth struct {
	LightEV    float64 // the scene's light
	ExposureEV float64 // what the settings really add, EV
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
	camera *camera
	truth  []Truth
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
	if o.Walls {
		s.land = newWalls(rng, o)
	} else {
		s.cloud = newTexture(rng, 1024, 512, 8, 6, 0.55)
		s.ripple = newTexture(rng, 256, 256, 32, 3, 0.6)
		s.land = newLand(rng, o)
	}
	s.gauss = make([]float32, 1<<16)
	for i := range s.gauss {
		s.gauss[i] = float32(rng.NormFloat64())
	}
	s.cloudX = rng.Float64() * 1024
	s.camera = newCamera(o)
	s.setTruth(rng)
	return s
}

func (s *Scene) setTruth(rng *rand.Rand) {
	o := s.o
	s.truth = make([]Truth, o.Frames)
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
		tr.ScatterEV = o.ScatterEV*rng.NormFloat64() + s.camera.meter[t]
		s.camera.corner[t] = o.VignetteScatterEV * rng.NormFloat64()
		tr.ExposureS, tr.FNumber, tr.ISO = labels(tr.ExposureEV)
		tr.ExposureEV += o.LabelErrorEV * settingError(o.Seed, tr.ExposureEV)
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

// Truth tells what really happened in frame t.
func (s *Scene) Truth(t int) Truth { return s.truth[t] }

// Frame is frame t as the camera writes it: 8 bits, with its errors and noise.
func (s *Scene) Frame(t int) *image.RGBA { return s.picture(t, s.real(t)) }

// Wanted is frame t as it should look in the clip: the camera's tone curve but
// none of its errors, steps spread, no noise but dither.
func (s *Scene) Wanted(t int) *image.RGBA { return s.picture(t, s.wanted(t)) }

func (s *Scene) picture(t int, e *exposure) *image.RGBA {
	b := s.draw(t)
	defer buffers.Put(b)
	return s.expose(*b, t, e, nil)
}

// Both is Frame and Wanted for one drawing, the latter as linear light to be
// displayed: R, G and B of every pixel, 0 to 1, not rounded. Pixels that only
// the frame's errors clipped are NaN: what is lost cannot be wanted back.
func (s *Scene) Both(t int) (frame *image.RGBA, wanted []float32) {
	b := s.draw(t)
	defer buffers.Put(b)
	lin := *b
	clipped := make([]bool, len(lin)/3)
	frame = s.expose(lin, t, s.real(t), clipped)
	wanted = make([]float32, len(lin))
	gain := s.wanted(t).gain[0]
	for i := 0; i < len(lin); i += 3 {
		r, g, b := lin[i]*gain, lin[i+1]*gain, lin[i+2]*gain
		if clipped[i/3] && max(r, g, b) <= 1 {
			wanted[i], wanted[i+1], wanted[i+2] = nan, nan, nan
			continue
		}
		shown := &s.camera.shown
		wanted[i], wanted[i+1], wanted[i+2] = shown[0].at(r), shown[1].at(g), shown[2].at(b)
	}
	return frame, wanted
}

var nan = float32(math.NaN())

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
