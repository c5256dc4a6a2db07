package deflicker

import (
	"math"
	"math/rand/v2"
	"testing"

	"stillspan/internal/srgb"
)

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: got %.6f, want %.6f within %g", what, got, want, tol)
	}
}

// 0.18 encodes to 0.46136 (documentation of the colour-science library for
// IEC 61966-2-1); so one stop below 0.36 it must come out there.
func TestToneAgainstPublishedValue(t *testing.T) {
	Tone := func(v, ev float64) float64 { return (*Response)(nil).Tone(0, v, ev) }
	near(t, "0.18 encoded", srgb.Encode(0.18), 0.46136, 5e-6)
	near(t, "0.36 less one stop", Tone(srgb.Encode(0.36), -1), 0.46136, 5e-6)
	near(t, "0.09 and one stop", Tone(srgb.Encode(0.09), 1), 0.46136, 5e-6)
	// Both parts of the encoding meet at the standard's 0.04045 / 0.0031308.
	near(t, "0.04045 decoded", srgb.Decode(0.04045), 0.0031308, 1e-7)
}

// contrasty has more contrast in the middle, less at both ends, and a red that
// differs.
func contrasty() *Response {
	r := new(Response)
	for b := range toneBins {
		x := binCode(float64(b) + 0.5)
		r.Slope[1] = append(r.Slope[1], 0.6+3*x*(1-x))
		r.Slope[0] = append(r.Slope[0], 0.7+3*x*(1-x))
	}
	r.Slope[2] = r.Slope[1]
	return r
}

func TestToneShape(t *testing.T) {
	for _, r := range []*Response{nil, contrasty()} {
		toneShape(t, r)
	}
}

func toneShape(t *testing.T, r *Response) {
	Tone := func(v, ev float64) float64 { return r.Tone(0, v, ev) }
	for _, ev := range []float64{-6, -1.5, -0.3, -0.01, 0, 0.01, 0.3, 1.5, 6} {
		near(t, "black", Tone(0, ev), 0, 0)
		near(t, "white", Tone(1, ev), 1, 1e-9)
		last, lastSlope := -1.0, math.NaN()
		const n = 4096
		for i := range n + 1 {
			v := float64(i) / n
			got := Tone(v, ev)
			if !(got > last) {
				t.Fatalf("%+g EV: not rising at %g", ev, v)
			}
			near(t, "there and back", Tone(got, -ev), v, 1e-9)
			// No kink in linear light: slopes on both sides agree.
			l := float64(i) / n
			slope := (gain(l+1e-6, ev) - gain(l, ev)) / 1e-6
			if math.Abs(ev) <= 0.3 && ev != 0 && l < 1-2e-6 && math.Abs(slope/lastSlope-1) > 0.01 {
				t.Errorf("%+g EV: kink at linear light %g: slope %g after %g", ev, l, slope, lastSlope)
			}
			last, lastSlope = got, slope
		}
	}
	if v := Tone(0.5, 0); v != 0.5 {
		t.Errorf("no correction changes 0.5 to %v", v)
	}
	if !math.IsNaN(Tone(0.5, math.NaN())) {
		t.Error("NaN correction gives a number")
	}
	near(t, "below black", Tone(-1, 0.5), 0, 0)
	near(t, "above white", Tone(2, 0.5), 1, 1e-9)
	var table [256]float64
	r.Table(table[:], 0, 0.4)
	for i, v := range table {
		near(t, "table", v, Tone(float64(i)/255, 0.4), 0)
	}
}

// What a camera did to a frame that was exposed 0.3 EV too bright, the
// correction through its response takes back: the codes of a known curve at
// both exposures, and the curve's slope worked out by hand.
func TestToneThroughAKnownCurve(t *testing.T) {
	// Code = light^0.3: against the sRGB decoding L(v), one EV of light is
	// 0.3 EV of the code's logarithm, which is 0.3 dL/dlog2(v) EV of L.
	r := new(Response)
	for b := range toneBins {
		v := binCode(float64(b) + 0.5)
		const h = 1e-4
		slope := 0.3 * (math.Log2(srgb.Decode(v*(1+h))) - math.Log2(srgb.Decode(v*(1-h)))) / (math.Log2(1+h) - math.Log2(1-h))
		for c := range r.Slope {
			r.Slope[c] = append(r.Slope[c], slope)
		}
	}
	if err := r.Validate(); err != nil {
		t.Fatal(err)
	}
	for _, light := range []float64{0.001, 0.01, 0.1, 0.4, 0.6} {
		bright := math.Pow(light*math.Exp2(0.3), 0.3)
		near(t, "code taken back", r.Tone(1, bright, -0.3), math.Pow(light, 0.3), 0.0005)
	}
	r.Slope[2][7] = math.NaN()
	if r.Validate() == nil || (&Response{Slope: [3][]float64{{1}}}).Validate() == nil {
		t.Error("a broken response is accepted")
	}
}

// Nominal labels against the APEX relations (Kerr, "APEX", 2007): whole stops
// are exact, f/11 lies 0.081 EV and 1/60 s 0.093 EV beside theirs.
func TestExposureLabelEV(t *testing.T) {
	base := ExposureLabelEV(1/64., 8, 100)
	near(t, "1/32 s", ExposureLabelEV(1/32., 8, 100)-base, 1, 1e-12)
	near(t, "1/60 s", ExposureLabelEV(1/60., 8, 100)-base, 0.093, 5e-4)
	near(t, "f/11", ExposureLabelEV(1/64., 11, 100)-base, -1+0.081, 5e-4)
	near(t, "ISO 400", ExposureLabelEV(1/64., 8, 400)-base, 2, 1e-12)
	near(t, "no aperture", ExposureLabelEV(2, 0, 100), 1, 1e-12)
	for _, s := range []float64{0, -1, math.NaN(), math.Inf(1)} {
		if v := ExposureLabelEV(s, 8, 100); !math.IsNaN(v) {
			t.Errorf("exposure %g s gives %g EV", s, v)
		}
	}
}

// Frames that do not differ, but for a few that have lost most of their picture,
// tell no response, whatever the division of nothing by nothing gives.
func TestNoResponseOfFramesAlike(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	var g [4]*Grid
	for k := range g {
		g[k] = Grey(40, 30, 0.2)
		for i := range g[k].Clip {
			for c := range g[k].Code {
				g[k].Code[c][i] = 0.1 + 0.8*rng.Float64()
			}
		}
	}
	m := NewMeter(MeterOptions{Tones: true})
	for k := range 60 {
		m.Add(g[k*k*k%7%4])
	}
	if r, why := m.Response(); r != nil || why == "" {
		t.Errorf("a response of %v, %q", r, why)
	}
}
