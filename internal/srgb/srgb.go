// Package srgb has the transfer functions of IEC 61966-2-1 (sRGB).
package srgb

import "math"

// Decode takes a code, 0 to 1, to linear light, 0 to 1. Values outside are
// clamped; NaN gives NaN.
func Decode(code float64) float64 {
	code = min(max(code, 0), 1)
	if code <= 0.04045 {
		return code / 12.92
	}
	return math.Pow((code+0.055)/1.055, 2.4)
}

// Encode is the inverse of Decode, clamped alike.
func Encode(light float64) float64 {
	light = min(max(light, 0), 1)
	if light <= 0.0031308 {
		return 12.92 * light
	}
	return 1.055*math.Pow(light, 1/2.4) - 0.055
}
