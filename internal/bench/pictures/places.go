package main

import (
	"image"
	"math"
	"math/rand/v2"
)

// place draws frame t of w x h pixels, codes 0 to 255.
type place func(t int, x, y int) (r, g, b float64)

// places are drawn here alone, unlike the landscape of internal/scene.
var places = []struct {
	name string
	make func(rng *rand.Rand, w, h, frames int) place
}{
	{"street", street}, {"water", water}, {"stars", stars}, {"leaves", leaves}, {"snow", snow}, {"shadows", shadows},
}

// noise is smooth noise, 0 to 1, over 128 x 128 cells and again.
type noise struct{ v []float64 }

func newNoise(rng *rand.Rand) noise {
	n := noise{make([]float64, 1<<14)}
	for i := range n.v {
		n.v[i] = rng.Float64()
	}
	return n
}

func (n noise) at(x, y float64) float64 {
	fx, fy := math.Floor(x), math.Floor(y)
	u, v := x-fx, y-fy
	u, v = u*u*(3-2*u), v*v*(3-2*v)
	i, j := int(fx)&127, int(fy)&127
	i2, j2 := (i+1)&127, (j+1)&127
	a, b := n.v[j*128+i]*(1-u)+n.v[j*128+i2]*u, n.v[j2*128+i]*(1-u)+n.v[j2*128+i2]*u
	return a*(1-v) + b*v
}

// rough is noise of several sizes, the largest of size pixels.
func (n noise) rough(x, y, size float64) float64 {
	sum, weight := 0.0, 0.0
	for k, w := 0, 1.0; k < 5; k, w = k+1, w*0.62 {
		sum, weight = sum+w*n.at(x/size+17*float64(k), y/size+31*float64(k)), weight+w
		size /= 2.1
	}
	return sum / weight
}

// street is a front of windows, people and cars before it.
func street(rng *rand.Rand, w, h, frames int) place {
	n := newNoise(rng)
	cell := 18 + 30*rng.Float64()
	type walker struct{ x, v, top, wide, tone float64 }
	var all []walker
	for range 2 + rng.IntN(6) {
		all = append(all, walker{rng.Float64() * float64(w), (8 + 50*rng.Float64()) * float64(1-2*rng.IntN(2)), 0.72 + 0.1*rng.Float64(), (0.015 + 0.03*rng.Float64()) * float64(w), 20 + 150*rng.Float64()})
	}
	return func(t, x, y int) (r, g, b float64) {
		fx, fy := float64(x), float64(y)/float64(h)
		switch {
		case fy < 0.12:
			return 120, 150, 190 - 200*fy
		case fy < 0.8:
			v := 95 + 50*n.rough(fx, float64(y), 40)
			if math.Mod(fx, cell) > 0.35*cell && math.Mod(float64(y), 1.4*cell) > 0.6*cell {
				v = 40 + 60*n.at(math.Floor(fx/cell), math.Floor(float64(y)/cell/1.4))
			}
			r, g, b = v*1.05, v*0.95, v*0.85
		default:
			v := 90 + 30*n.rough(fx, 3*float64(y), 12)
			r, g, b = v, v, v
		}
		for _, p := range all {
			px := math.Mod(p.x+p.v*float64(t)+100*float64(w), 1.3*float64(w)) - 0.15*float64(w)
			if fx > px && fx < px+p.wide && fy > p.top && fy < p.top+0.16 {
				return p.tone, p.tone * 0.9, p.tone * 0.8
			}
		}
		return r, g, b
	}
}

// water is a bay: half of the picture is other waves each time.
func water(rng *rand.Rand, w, h, frames int) place {
	n := newNoise(rng)
	drift := 1 + 6*rng.Float64()
	shore := 0.45 + 0.15*rng.Float64()
	waves := make([]noise, frames)
	for i := range waves {
		waves[i] = newNoise(rng)
	}
	return func(t, x, y int) (r, g, b float64) {
		fx, fy := float64(x), float64(y)/float64(h)
		hill := shore - 0.12*n.rough(fx, 0, 0.4*float64(w))
		switch {
		case fy < hill-0.02:
			c := n.rough(fx-drift*float64(t), 2*float64(y), 0.25*float64(w))
			v := 130 + 160*max(0, c-0.45)
			return v, v + 10, v + 40
		case fy < shore:
			v := 45 + 70*n.rough(fx, float64(y), 30)
			return 0.8 * v, v, 0.6 * v
		default:
			v := 60 + 110*waves[t].rough(fx, 3.5*float64(y), 26)
			return 0.6 * v, 0.85 * v, v
		}
	}
}

// stars turn over a dark ridge with a lamp or two.
func stars(rng *rand.Rand, w, h, frames int) place {
	n := newNoise(rng)
	sky := image.NewGray(image.Rect(0, 0, 2*w, 2*h))
	for range w * h / 900 {
		x, y, v := rng.IntN(2*w-2), rng.IntN(2*h-2), 60+rng.IntN(190)
		sky.Pix[y*sky.Stride+x] = uint8(v)
		sky.Pix[y*sky.Stride+x+1] = uint8(v / 2)
	}
	speed := 0.2 + 0.8*rng.Float64()
	lx, ly := rng.Float64()*float64(w), 0.8*float64(h)
	return func(t, x, y int) (r, g, b float64) {
		ridge := 0.62 + 0.15*n.rough(float64(x), 9, 0.3*float64(w))
		if float64(y) > ridge*float64(h) {
			v := 12 + 28*n.rough(float64(x), float64(y), 40) + 150*math.Exp(-math.Hypot(float64(x)-lx, float64(y)-ly)/(0.05*float64(w)))
			return v, 0.85 * v, 0.6 * v
		}
		fx := float64(x) + speed*float64(t)
		i, f := int(fx), fx-math.Floor(fx)
		s := float64(sky.Pix[y*sky.Stride+i])*(1-f) + float64(sky.Pix[y*sky.Stride+i+1])*f
		return 14 + s, 17 + s, 30 + s
	}
}

// leaves sway, each bush by itself.
func leaves(rng *rand.Rand, w, h, frames int) place {
	n := newNoise(rng)
	sway := 0.5 + 2*rng.Float64()
	bush := make([][2]float64, frames*64)
	for i := range bush {
		bush[i] = [2]float64{sway * rng.NormFloat64(), sway * rng.NormFloat64() / 2}
	}
	return func(t, x, y int) (r, g, b float64) {
		fx, fy := float64(x), float64(y)
		if y > h*3/5 { // the ground and a wall keep still
			v := 70 + 90*n.rough(fx, fy, 35)
			if y < h*4/5 && (x/23+y/11)%2 == 0 {
				v += 14
			}
			return v, 0.93 * v, 0.8 * v
		}
		m := bush[t*64+(x*8/w+8*(y*8/h))%64]
		v := 30 + 140*n.rough(fx+m[0], fy+m[1], 16)
		return 0.6 * v, v, 0.4 * v
	}
}

// snow has little to hold on to: a few trees and a soft field.
func snow(rng *rand.Rand, w, h, frames int) place {
	n := newNoise(rng)
	return func(_, x, y int) (r, g, b float64) {
		fx, fy := float64(x), float64(y)
		v := 195 + 25*n.rough(fx, fy, 90)
		if fy < 0.35*float64(h) {
			v = 170 + 20*n.rough(fx, fy, 200)
		} else if k := n.at(fx/37, 5); k > 0.72 && fy < (0.35+0.5*(k-0.5))*float64(h) {
			v = 50 + 40*n.rough(fx, fy, 9)
		}
		return v, v, v + 6
	}
}

// shadows sweep over a square, and the light grows.
func shadows(rng *rand.Rand, w, h, frames int) place {
	n := newNoise(rng)
	from, way := 0.1+0.3*rng.Float64(), 0.2+0.4*rng.Float64()
	return func(t, x, y int) (r, g, b float64) {
		k := float64(t) / float64(frames)
		fx, fy := float64(x), float64(y)
		v := (80 + 90*n.rough(fx, fy, 30)) * (0.75 + 0.35*k)
		if fx/float64(w)+0.3*fy/float64(h) < from+way*k {
			v *= 0.5
		}
		return 1.05 * v, v, 0.9 * v
	}
}

// drawn is a place as pictures.
func drawn(p place, w, h int) func(t int) *image.RGBA {
	return func(t int) *image.RGBA {
		img := image.NewRGBA(image.Rect(0, 0, w, h))
		for y := range h {
			for x := range w {
				r, g, b := p(t, x, y)
				i := img.PixOffset(x, y)
				img.Pix[i], img.Pix[i+1], img.Pix[i+2], img.Pix[i+3] = clamped(r), clamped(g), clamped(b), 255
			}
		}
		return img
	}
}
