package deflicker

import "math"

// ExposureLabelEV is the relative exposure that a still's EXIF labels state,
// in EV: log2(t S / (100 N^2)) for exposure time t in seconds, sensitivity S
// (ISO) and f-number N, after the APEX relations Tv = -log2 t,
// Av = 2 log2 N, Sv = log2(S / 3.125). One EV more is twice as bright a
// picture of the same scene. It is NaN when the exposure time is not stated;
// an f-number or ISO of 0 (a lens without contacts, say) counts as unchanging.
func ExposureLabelEV(exposureS, fnumber, iso float64) float64 {
	if !(exposureS > 0) || math.IsInf(exposureS, 0) {
		return math.NaN()
	}
	ev := math.Log2(exposureS)
	if fnumber > 0 {
		ev -= 2 * math.Log2(fnumber)
	}
	if iso > 0 {
		ev += math.Log2(iso / 100)
	}
	return ev
}
