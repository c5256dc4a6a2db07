package scene

import (
	"math"
	"math/rand/v2"
)

// Heights of the layout, as fractions of the picture's height from the top.
const (
	shoreFar  = 0.60 // far shore of the lake: the mirror line of its water
	shoreNear = 0.73 // near shore, on average
	roadAt    = 0.88
)

// land is the still part of the scene as a panorama, w x h, linear light in
// full daylight.
type land struct {
	w, h  int
	rgb   []float32 // 3 a pixel
	kind  []uint8   // what a pixel shows
	still []bool    // land that no headlight reaches
	lamps []lamp
}

// What a pixel of the panorama shows.
const (
	kindSky uint8 = iota
	kindLand
	kindWater
)

// lamp is a window or a street lamp; it shines by itself.
type lamp struct {
	x, y  int
	power float64
}

// ridge is one range of hills, from far to near.
type ridge struct {
	at, height  float64 // foot line and height, fractions of the picture's height
	wave        float64 // length of its hills, fractions of the picture's width
	far, near   [3]float64
	rough, size float64 // contrast and fineness of its texture
}

var ridges = []ridge{
	{0.47, 0.13, 0.50, [3]float64{0.17, 0.22, 0.29}, [3]float64{0.22, 0.27, 0.33}, 0.25, 3},
	{0.53, 0.09, 0.36, [3]float64{0.11, 0.15, 0.17}, [3]float64{0.15, 0.19, 0.18}, 0.45, 4},
	{0.585, 0.06, 0.23, [3]float64{0.055, 0.085, 0.05}, [3]float64{0.09, 0.12, 0.055}, 0.7, 6},
}

func newLand(rng *rand.Rand, o Options) *land {
	travel := math.Abs(o.PanPixelsPerFrame) * float64(o.Frames-1)
	l := &land{w: o.Width + int(math.Ceil(travel)) + 2, h: o.Height}
	l.rgb = make([]float32, 3*l.w*l.h)
	l.kind = make([]uint8, l.w*l.h)
	l.still = make([]bool, l.w*l.h)
	tx := newTexture(rng, 512, 512, 8, 7, 0.62)
	W, H := float64(o.Width), float64(o.Height)
	for _, r := range ridges {
		l.paintRidge(rng, r, tx, W, H)
	}
	l.paintWater(H)
	l.paintMeadow(rng, tx, W, H)
	l.paintHouses(rng, W, H)
	lo, hi := int((roadAt-0.09)*H), int((roadAt+0.08)*H)
	for y := range l.h {
		for x := range l.w {
			lit := o.Headlights && y >= lo && y <= hi
			l.still[y*l.w+x] = l.kind[y*l.w+x] == kindLand && !lit
		}
	}
	return l
}

func (l *land) set(x, y int, kind uint8, r, g, b float64) {
	i := y*l.w + x
	l.kind[i] = kind
	l.rgb[3*i], l.rgb[3*i+1], l.rgb[3*i+2] = float32(r), float32(g), float32(b)
}

func (l *land) paintRidge(rng *rand.Rand, r ridge, tx *texture, W, H float64) {
	top := line(rng, l.w, r.wave*W, 7, 0.5)
	off := rng.Float64() * 512
	foot := int(shoreFar * H)
	k := r.size * 512 / W / 2
	for x := range l.w {
		y0 := int(H * (r.at - r.height*(0.35+top[x])))
		for y := max(y0, 0); y < foot; y++ {
			d := math.Min(float64(y-y0)/(0.16*H), 1)
			u, v := float64(x)*k+off, float64(y)*k*1.7
			slope := float64(tx.at(u+1.5, v) - tx.at(u-1.5, v+1)) // light from the left
			shade := 1 + r.rough*(float64(tx.at(u, v))-0.5) + 2.2*r.rough*slope
			shade = math.Max(shade, 0.25)
			haze := 0.35 * smoothstep(0.3, 1, float64(y)/float64(foot))
			l.set(x, y, kindLand,
				mix(mix(r.far[0], r.near[0], d)*shade, 0.24, haze*(1-r.rough)),
				mix(mix(r.far[1], r.near[1], d)*shade, 0.28, haze*(1-r.rough)),
				mix(mix(r.far[2], r.near[2], d)*shade, 0.31, haze*(1-r.rough)))
		}
	}
}

func (l *land) paintWater(H float64) {
	for y := int(shoreFar * H); y < l.h; y++ {
		for x := range l.w {
			l.set(x, y, kindWater, 0.02, 0.03, 0.035)
		}
	}
}

func (l *land) paintMeadow(rng *rand.Rand, tx *texture, W, H float64) {
	shore := line(rng, l.w, 0.45*W, 6, 0.5)
	trees := line(rng, l.w, 0.012*W+3, 3, 0.7)
	grove := line(rng, l.w, 0.2*W, 3, 0.5)
	for x := range l.w {
		y0 := H * (shoreNear + 0.05*shore[x])
		wood := math.Max(grove[x]*1.6, 0) * H * 0.085 * (0.75 + 0.5*trees[x])
		for y := max(int(y0-wood), 0); y < l.h; y++ {
			if float64(y) < y0+0.012*H*trees[x] && wood > 0.01*H {
				d := (y0 - float64(y)) / wood
				leaf := 0.7 + 0.9*float64(tx.at(float64(x)*9*512/W, float64(y)*9*512/W))*d
				l.set(x, y, kindLand, 0.022*leaf, 0.036*leaf, 0.014*leaf)
				continue
			}
			if float64(y) < y0 {
				continue
			}
			depth := (float64(y) - y0) / (H - y0)
			k := 512 / W / (0.22 + 0.5*depth)
			grass := float64(tx.at(float64(x)*k*1.5, float64(y)*k*6))
			field := float64(tx.at(float64(x)*0.5*512/W, float64(y)*2*512/W+99))
			dry := smoothstep(0.45, 0.6, field)
			shade := (0.62 + 0.7*(grass-0.5)*1.6) * (1.05 - 0.3*depth)
			r, g, b := mix(0.095, 0.23, dry)*shade, mix(0.15, 0.19, dry)*shade, mix(0.045, 0.075, dry)*shade
			road := (roadAt + 0.012*math.Sin(float64(x)/W*5)) * H
			if d := math.Abs(float64(y)-road) / (0.016 * H); d < 1 {
				r, g, b = 0.13*shade+0.07, 0.125*shade+0.07, 0.12*shade+0.065
			}
			l.set(x, y, kindLand, math.Max(r, 0.01), math.Max(g, 0.012), math.Max(b, 0.008))
		}
	}
}

func (l *land) paintHouses(rng *rand.Rand, W, H float64) {
	walls := [][3]float64{{0.52, 0.48, 0.42}, {0.45, 0.36, 0.26}, {0.55, 0.53, 0.5}}
	for x := 0.05 * W; x < float64(l.w)-0.12*W; x += (0.1 + 0.25*rng.Float64()) * W {
		w, h := (0.03+0.02*rng.Float64())*W, (0.035+0.015*rng.Float64())*H
		foot := (0.80 + 0.035*rng.Float64()) * H
		c := walls[rng.IntN(len(walls))]
		for y := int(foot - 1.75*h); y < int(foot); y++ {
			up := (foot - float64(y)) / h // 0 foot, 1 eaves, 1.75 ridge
			over := 0.0
			if up > 1 {
				over = (up - 1) / 0.75
			}
			for px := int(x - 0.08*w + over*0.45*w); px < int(x+1.08*w-over*0.45*w); px++ {
				if up > 1 {
					l.set(px, y, kindLand, 0.17, 0.075, 0.05)
					continue
				}
				if float64(px) < x || float64(px) >= x+w {
					continue
				}
				f := math.Mod((float64(px)-x)/w*3, 1)
				if f > 0.3 && f < 0.7 && up > 0.35 && up < 0.75 {
					l.set(px, y, kindLand, 0.05, 0.06, 0.07)
					continue
				}
				l.set(px, y, kindLand, c[0], c[1], c[2])
			}
		}
		for i := range 3 {
			if rng.Float64() < 0.7 {
				l.lamps = append(l.lamps, lamp{int(x + w*(float64(i)+0.5)/3), int(foot - 0.55*h), 0.5 + 0.5*rng.Float64()})
			}
		}
	}
}
