// Package bt2100 has the transfer functions of high dynamic range television
// (ITU-R BT.2100-2).
package bt2100

import "math"

// WhiteNits is the luminance, cd/m2, of graphics white and of a perfect diffuse
// reflector (ITU-R BT.2408-7, table 1).
const WhiteNits = 203

// PQNits is the luminance that the highest signal of PQ stands for, and HLGNits
// the nominal peak of a display of HLG, cd/m2 (BT.2100-2, tables 4 and 5).
const (
	PQNits  = 10000
	HLGNits = 1000
)

// The constants of BT.2100-2, table 4.
const (
	m1 = 2610.0 / 16384
	m2 = 2523.0 / 4096 * 128
	c1 = 3424.0 / 4096
	c2 = 2413.0 / 4096 * 32
	c3 = 2392.0 / 4096 * 32
)

// PQ takes luminance in parts of PQNits, clamped to 0 to 1, to the signal, 0 to 1:
// the inverse EOTF of table 4. NaN gives NaN.
func PQ(light float64) float64 {
	y := math.Pow(min(max(light, 0), 1), m1)
	return math.Pow((c1+c2*y)/(1+c3*y), m2)
}

// The constants of BT.2100-2, table 5.
const (
	a = 0.17883277
	b = 1 - 4*a
)

var c = 0.5 - a*math.Log(4*a)

// HLG takes the light of the scene, clamped to 0 to 1, to the signal, 0 to 1: the
// OETF of table 5. NaN gives NaN.
func HLG(scene float64) float64 {
	scene = min(max(scene, 0), 1)
	if scene <= 1.0/12 {
		return math.Sqrt(3 * scene)
	}
	return a*math.Log(12*scene-b) + c
}

// HLGGamma is the system gamma of a display of HLGNits (table 5).
const HLGGamma = 1.2

// SceneGain is what linear R, G and B of a display, in parts of HLGNits, are
// multiplied by to give the light of the scene: the inverse OOTF of table 5 for a
// pixel of that luminance, above 0, which is 0.2627 R + 0.6780 G + 0.0593 B.
func SceneGain(luminance float64) float64 { return math.Pow(luminance, (1-HLGGamma)/HLGGamma) }
