package scene

import (
	"math"
	"math/rand/v2"
)

// texture is periodic fractal noise, 0 to 1.
type texture struct {
	w, h int // powers of two
	v    []float32
}

// newTexture sums octaves of periodic value noise; the coarsest has cells x
// cells*h/w lattice cells and each finer one has gain times its strength.
func newTexture(rng *rand.Rand, w, h, cells, octaves int, gain float64) *texture {
	tx := &texture{w: w, h: h, v: make([]float32, w*h)}
	amp := 1.0
	for range octaves {
		cw, ch := cells, max(cells*h/w, 1)
		lat := make([]float64, cw*ch)
		for i := range lat {
			lat[i] = rng.Float64()*2 - 1
		}
		for y := range h {
			fy := float64(y) * float64(ch) / float64(h)
			y0 := int(fy)
			sy := smooth(fy - float64(y0))
			r0, r1 := lat[y0*cw:], lat[(y0+1)%ch*cw:]
			for x := range w {
				fx := float64(x) * float64(cw) / float64(w)
				x0 := int(fx)
				x1 := (x0 + 1) % cw
				sx := smooth(fx - float64(x0))
				a := r0[x0] + (r0[x1]-r0[x0])*sx
				b := r1[x0] + (r1[x1]-r1[x0])*sx
				tx.v[y*w+x] += float32(amp * (a + (b-a)*sy))
			}
		}
		if cells*2 > w {
			break
		}
		cells *= 2
		amp *= gain
	}
	lo, hi := tx.v[0], tx.v[0]
	for _, v := range tx.v {
		lo, hi = min(lo, v), max(hi, v)
	}
	for i, v := range tx.v {
		tx.v[i] = (v - lo) / (hi - lo)
	}
	return tx
}

// at samples the texture bilinearly.
func (tx *texture) at(u, v float64) float32 {
	fu, fv := math.Floor(u), math.Floor(v)
	a, b := float32(u-fu), float32(v-fv)
	x0, y0 := int(fu)&(tx.w-1), int(fv)&(tx.h-1)
	x1, y1 := (x0+1)&(tx.w-1), (y0+1)&(tx.h-1)
	r0, r1 := tx.v[y0*tx.w:], tx.v[y1*tx.w:]
	p := r0[x0] + (r0[x1]-r0[x0])*a
	q := r1[x0] + (r1[x1]-r1[x0])*a
	return p + (q-p)*b
}

// row samples the texture's row v at u0, u0+du, ... into dst.
func (tx *texture) row(dst []float32, u0, du, v float64) {
	fv := math.Floor(v)
	b := float32(v - fv)
	y0 := int(fv) & (tx.h - 1)
	r0, r1 := tx.v[y0*tx.w:(y0+1)*tx.w], tx.v[((y0+1)&(tx.h-1))*tx.w:][:tx.w]
	const one = 1 << 16
	period := int64(tx.w) * one
	u := int64(math.Floor(math.Mod(u0, float64(tx.w))*one)) + period
	step := int64(du * one)
	mask := int64(tx.w - 1)
	for i := range dst {
		x0 := (u >> 16) & mask
		x1 := (x0 + 1) & mask
		a := float32(u&(one-1)) / one
		p := r0[x0] + (r0[x1]-r0[x0])*a
		q := r1[x0] + (r1[x1]-r1[x0])*a
		dst[i] = p + (q-p)*b
		u += step
	}
}

// line is one-dimensional fractal noise, about -1 to 1, for a ridge.
func line(rng *rand.Rand, n int, wave float64, octaves int, gain float64) []float64 {
	out := make([]float64, n)
	amp, norm := 1.0, 0.0
	for range octaves {
		m := int(float64(n)/wave) + 3
		lat := make([]float64, m)
		for i := range lat {
			lat[i] = rng.Float64()*2 - 1
		}
		for x := range out {
			f := float64(x) / wave
			i := int(f)
			out[x] += amp * (lat[i] + (lat[i+1]-lat[i])*smooth(f-float64(i)))
		}
		norm += amp
		wave /= 2
		amp *= gain
		if wave < 2 {
			break
		}
	}
	for x := range out {
		out[x] /= norm
	}
	return out
}

func smooth(x float64) float64 { return x * x * (3 - 2*x) }

func smoothstep(a, b, x float64) float64 {
	return smooth(min(max((x-a)/(b-a), 0), 1))
}

func mix(a, b, k float64) float64 { return a + (b-a)*k }
