package srgb_test

import (
	"math"
	"testing"

	"stillspan/internal/srgb"
)

// Values of IEC 61966-2-1: the ends of both parts of the curve, and the codes
// of half and of 18 % of the light.
func TestDecode(t *testing.T) {
	for code, want := range map[float64]float64{
		0: 0, 1: 1, -1: 0, 2: 1, 0.04045: 0.0031308, 188.0 / 255: 0.50289, 0.46136: 0.18,
	} {
		if got := srgb.Decode(code); math.Abs(got-want) > 5e-6 {
			t.Errorf("Decode(%v) is %.6f, want %.6f", code, got, want)
		}
	}
	if !math.IsNaN(srgb.Decode(math.NaN())) || !math.IsNaN(srgb.Encode(math.NaN())) {
		t.Error("NaN is lost")
	}
}

func TestEncodeIsTheInverse(t *testing.T) {
	for i := range 65536 {
		code := float64(i) / 65535
		if got := srgb.Encode(srgb.Decode(code)); math.Abs(got-code) > 1e-6 {
			t.Fatalf("%v comes back as %v", code, got)
		}
	}
}
