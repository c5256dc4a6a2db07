package scene

import "math"

// thirds are the nominal shutter times by third stops from 1/8000 s (index
// -39) to 30 s (index 15); index k stands for 2^(k/3) s. From memory of the
// usual dial markings; common practice, no published source.
var thirds = []float64{
	1 / 8000., 1 / 6400., 1 / 5000., 1 / 4000., 1 / 3200., 1 / 2500., 1 / 2000., 1 / 1600., 1 / 1250.,
	1 / 1000., 1 / 800., 1 / 640., 1 / 500., 1 / 400., 1 / 320., 1 / 250., 1 / 200., 1 / 160.,
	1 / 125., 1 / 100., 1 / 80., 1 / 60., 1 / 50., 1 / 40., 1 / 30., 1 / 25., 1 / 20.,
	1 / 15., 1 / 13., 1 / 10., 1 / 8., 1 / 6., 1 / 5., 1 / 4., 0.3, 0.4, 0.5, 0.6, 0.8,
	1, 1.3, 1.6, 2, 2.5, 3.2, 4, 5, 6, 8, 10, 13, 15, 20, 25, 30,
}

var isoThirds = []float64{100, 125, 160, 200, 250, 320, 400, 500, 640, 800, 1000, 1250, 1600, 2000, 2500, 3200, 4000, 5000, 6400}

const (
	dayThird     = 18 // 1/125 s in thirds: exposure 0 EV, f/8 at ISO 100
	longestThird = 42 // 2 s: beyond it the photographer raises the ISO
)

// labels are nominal shutter time, f-number and ISO for an exposure ev above
// the daylight setting: shutter first, then ISO.
func labels(ev float64) (s, f, iso float64) {
	k := dayThird + int(math.Round(ev*3))
	i := 0
	if k > longestThird {
		i, k = k-longestThird, longestThird
	}
	return thirds[max(k, 0)], 8, isoThirds[min(i, len(isoThirds)-1)]
}
