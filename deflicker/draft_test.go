package deflicker

import (
	"math"
	"math/rand/v2"
	"testing"
)

// A draft finds the light that a meter finds, of the whole picture and of a
// zone of it, whichever way up it is stored.
func TestDraftAgainstMeter(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	base := make([]float64, 160*107)
	for i := range base {
		base[i] = 0.2 + 0.4*r.Float64()
	}
	for _, z := range []Zone{{}, {0.1, 0.3, 0.5, 0.25}} {
		for _, exif := range []int{1, 6} {
			m, d := NewMeter(MeterOptions{Zone: z, Orientation: exif}), &Draft{}
			for k := range 40 {
				g := &Grid{W: 160, H: 107, Clip: make([]float64, 160*107)}
				gain := 1 + 0.1*math.Sin(float64(k)) + 0.05*r.Float64()
				for j := range g.Code {
					g.Code[j] = make([]float64, len(base))
					for i := range base {
						g.Code[j][i] = base[i]*gain + 0.01*r.Float64()
					}
				}
				if k == 17 {
					g = nil
				}
				m.Add(g)
				d.Add(g)
			}
			fine, rough := m.Curve(), d.Curve(z, exif)
			shift := rough.ExposureEV[0] - fine.ExposureEV[0]
			for k, ev := range fine.ExposureEV {
				if off := math.Abs(rough.ExposureEV[k] - shift - ev); off > 0.003 || math.IsNaN(off) != (k == 17) {
					t.Errorf("zone %v, orientation %d, frame %d: %.4f EV, and %.4f by the meter", z, exif, k, rough.ExposureEV[k]-shift, ev)
				}
			}
			if off := math.Abs(rough.LumEV[5] - fine.LumEV[5]); off > 0.05 {
				t.Errorf("zone %v, orientation %d: luminance off by %.3f EV", z, exif, off)
			}
		}
	}
}
