package scene

import (
	"math"
	"math/rand/v2"
)

// Walls stand four across and three down; their tones are even steps in EV.
const (
	wallsAcross, wallsDown  = 4, 3
	darkestWall, palestWall = 0.008, 0.85
)

// newWalls paints twelve walls in random order, slightly tinted.
func newWalls(rng *rand.Rand, o Options) *land {
	l := &land{w: o.Width, h: o.Height, rgb: make([]float32, 3*o.Width*o.Height), still: make([]bool, o.Width*o.Height)}
	tx := newTexture(rng, 512, 512, 32, 5, 0.7)
	order := rng.Perm(wallsAcross * wallsDown)
	var tint [wallsAcross * wallsDown][3]float64
	for i := range tint {
		tint[i] = [3]float64{1 - 0.25*rng.Float64(), 1, 1 - 0.25*rng.Float64()}
	}
	for y := range l.h {
		for x := range l.w {
			i := y*wallsDown/l.h*wallsAcross + x*wallsAcross/l.w
			tone := darkestWall * math.Pow(palestWall/darkestWall, float64(order[i])/(wallsAcross*wallsDown-1))
			tone *= 1 - o.WallTexture*float64(tx.at(float64(x), float64(y)))
			for j := range 3 {
				l.rgb[3*(y*l.w+x)+j] = float32(tone * tint[i][j])
			}
			l.still[y*l.w+x] = true
		}
	}
	return l
}

// crowd lets people stand before the lower half, in the light of the scene.
func (s *Scene) crowd(lin []float32, t int) {
	w, h := float64(s.o.Width), float64(s.o.Height)
	rng := rand.New(rand.NewPCG(s.o.Seed^0xc60d, uint64(t)))
	light := math.Exp2(s.truth[t].LightEV)
	for range 24 {
		x, y, size := w*rng.Float64(), h*(0.5+0.5*rng.Float64()), h*(0.04+0.04*rng.Float64())
		var coat [3]float64
		grey := light * 0.25 * rng.Float64()
		for j := range coat {
			coat[j] = grey * (0.8 + 0.4*rng.Float64())
		}
		for py := max(int(y-2*size), 0); py < min(int(y+2*size), s.o.Height); py++ {
			for px := max(int(x-size), 0); px < min(int(x+size), s.o.Width); px++ {
				if math.Hypot((float64(px)-x)/size, (float64(py)-y)/(2*size)) < 1 {
					for j := range coat {
						lin[3*(py*s.o.Width+px)+j] = float32(coat[j])
					}
				}
			}
		}
	}
}

// lampsOn lets three lamps come on, one after another, each a warm pool of
// light on a part of the scene.
func (s *Scene) lampsOn(lin []float32, t int) {
	w, h := s.o.Width, s.o.Height
	rng := rand.New(rand.NewPCG(s.o.Seed, 0x1a3b5))
	for i := range 3 {
		on := (0.25 + 0.2*float64(i) + 0.15*rng.Float64()) * float64(s.o.Frames)
		// A pool that falls off as a Gaussian is a product of two curves.
		across, down := hill(w, rng.Float64(), 0.11), hill(h, 0.5+0.5*rng.Float64(), 0.15)
		power := float32(0.5 + 0.8*rng.Float64())
		if float64(t) < on {
			continue
		}
		for y := range h {
			for x := range w {
				g := power * across[x] * down[y]
				p := lin[3*(y*w+x):][:3]
				p[0] *= 1 + g
				p[1] *= 1 + 0.75*g
				p[2] *= 1 + 0.5*g
			}
		}
	}
}

func hill(n int, at, wide float64) []float32 {
	v := make([]float32, n)
	for i := range v {
		d := (float64(i)/float64(n) - at) / wide
		v[i] = float32(math.Exp(-d * d / 2))
	}
	return v
}

// fog rolls in over two fifths of the sequence, denser higher up.
func (s *Scene) fog(lin []float32, t int) {
	w, h := s.o.Width, s.o.Height
	come := 0.6 * smoothstep(0.3, 0.7, float64(t)/float64(s.o.Frames))
	if come == 0 {
		return
	}
	air := [3]float32{0.30, 0.32, 0.34}
	scale := float32(math.Exp2(s.truth[t].LightEV))
	for y := range h {
		k := float32(come * (1 - 0.6*float64(y)/float64(h)))
		for i := 3 * y * w; i < 3*(y+1)*w; i++ {
			lin[i] += k * (air[i%3]*scale - lin[i])
		}
	}
}
