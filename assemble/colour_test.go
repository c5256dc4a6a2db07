package assemble

import (
	"math"
	"math/rand/v2"
	"testing"

	"stillspan/internal/icc"
	"stillspan/internal/srgb"
)

// toRGB is BT.709 limited range (BT.709-6, items 3.2 and 3.3) as R'G'B' of 0..1.
func toRGB(y, cb, cr uint16) [3]float64 {
	l, u, v := (float64(y)-yBlack)/yRange, (float64(cb)-cMid)/(224<<8), (float64(cr)-cMid)/(224<<8)
	r, b := l+1.5748*v, l+1.8556*u
	return [3]float64{r, (l - 0.2126*r - 0.0722*b) / 0.7152, b}
}

// The tables and the integers of the conversion come to what the plain formulas
// do, within a quarter of an 8-bit code, at each chroma subsampling.
func TestConversion(t *testing.T) {
	if k := bt709; k.r != wr || k.g != wg || k.b != wb {
		t.Errorf("luma by %d, %d, %d, and by %d, %d, %d in constants", k.r, k.g, k.b, wr, wg, wb)
	}
	if k := bt709; k.cbR != 6570 || k.cbG != 22102 || k.crG != 26043 || k.crB != 2629 { // 0.2126 / 1.8556 x 224 x 256 x 65536 / 65535, and so on
		t.Errorf("chroma %+v", k)
	}
	rng := rand.New(rand.NewPCG(1, 2))
	for _, p := range []icc.Profile{icc.AdobeRGB, icc.DisplayP3} {
		c, m := toGamut(&p, &icc.SRGB), p.To(&icc.SRGB)
		for _, s := range [][2]int{{1, 1}, {2, 1}, {2, 2}} {
			for range 200 {
				words := make([]uint16, pictureWords(4, 4, s[0], s[1]))
				pic := newPicture(words, 4, 4, s[0], s[1])
				var in, want [3]float64
				for j := range in {
					in[j] = rng.Float64()
				}
				y := 0.2126*in[0] + 0.7152*in[1] + 0.0722*in[2]
				fill := func(pl plane, v float64) {
					for i := range pl.pix {
						pl.pix[i] = uint16(math.Round(v))
					}
				}
				fill(pic.y, yBlack+yRange*y)
				fill(pic.cb, cMid+(in[2]-y)/1.8556*(224<<8))
				fill(pic.cr, cMid+(in[0]-y)/1.5748*(224<<8))
				var l [3]float64
				for j := range l {
					l[j] = p.Curves[j].At(in[j])
				}
				for j := range want {
					want[j] = srgb.Encode(m[3*j]*l[0] + m[3*j+1]*l[1] + m[3*j+2]*l[2])
				}
				c.run(pic)
				got := toRGB(pic.y.pix[5], pic.cb.pix[0], pic.cr.pix[0])
				for j := range got {
					if d := 255 * math.Abs(got[j]-want[j]); d > 0.25 {
						t.Errorf("%s %v: %.4f became %.4f, want %.4f", p.Name, s, in, got, want)
						break
					}
				}
			}
		}
	}
}

func BenchmarkConversion(b *testing.B) {
	c := toGamut(&icc.DisplayP3, &icc.SRGB)
	words := make([]uint16, pictureWords(1920, 1080, 2, 2))
	rng := rand.New(rand.NewPCG(1, 2))
	for i := range words {
		words[i] = uint16(yBlack + rng.IntN(yRange))
	}
	pic := newPicture(words, 1920, 1080, 2, 2)
	b.SetBytes(int64(len(words) * 2))
	for b.Loop() {
		c.run(pic)
	}
}
