package main

import (
	"image"
	"image/color"
	"image/draw"
	"math"
	"math/rand/v2"

	"github.com/disintegration/imaging"
)

// moved is w x h pixels of img, whose content lies x, y further right and down
// than it does from the margin on: four-point cubic interpolation (Keys 1981). A
// value between two codes becomes one or the other by chance, the nearer more often:
// rounded, a smooth sky would move by whole pixels.
func moved(img *image.RGBA, margin, w, h int, x, y float64, rng *rand.Rand) *image.RGBA {
	out := image.NewRGBA(image.Rect(0, 0, w, h))
	if x == 0 && y == 0 {
		draw.Draw(out, out.Rect, img, image.Pt(margin, margin), draw.Src)
		return out
	}
	sx, sy := float64(margin)-x, float64(margin)-y
	ix, iy := int(math.Floor(sx)), int(math.Floor(sy))
	kx, ky := keys(sx-float64(ix)), keys(sy-float64(iy))
	mid := make([]float64, 4*w)
	rows := map[int][]float64{}
	row := func(r int) []float64 {
		if v, ok := rows[r]; ok {
			return v
		}
		v := make([]float64, 4*w)
		for px := range w {
			at := img.PixOffset(ix+px-1, r)
			for c := range 3 {
				sum := 0.0
				for k := range 4 {
					sum += kx[k] * float64(img.Pix[at+4*k+c])
				}
				v[4*px+c] = sum
			}
		}
		rows[r] = v
		return v
	}
	for py := range h {
		clear(mid)
		for k := range 4 {
			for i, v := range row(iy + py - 1 + k) {
				mid[i] += ky[k] * v
			}
		}
		delete(rows, iy+py-1)
		to := out.Pix[py*out.Stride:]
		for i, v := range mid {
			if to[i] = 255; i%4 != 3 {
				to[i] = uint8(min(max(v+rng.Float64(), 0), 255))
			}
		}
	}
	return out
}

// turned is moved of what is first turned about the picture's middle, radians
// clockwise.
func turned(img *image.RGBA, margin, w, h int, x, y, turn float64, rng *rand.Rand) *image.RGBA {
	if turn == 0 {
		return moved(img, margin, w, h, x, y, rng)
	}
	out := image.NewRGBA(image.Rect(0, 0, w, h))
	sin, cos := math.Sincos(turn)
	mx, my := float64(w)/2, float64(h)/2
	for py := range h {
		for px := range w {
			dx, dy := float64(px)+0.5-mx-x, float64(py)+0.5-my-y
			sx, sy := cos*dx+sin*dy+mx-0.5+float64(margin), cos*dy-sin*dx+my-0.5+float64(margin)
			ix, iy := int(math.Floor(sx)), int(math.Floor(sy))
			kx, ky := keys(sx-float64(ix)), keys(sy-float64(iy))
			to := out.Pix[out.PixOffset(px, py):]
			to[3] = 255
			for c := range 3 {
				v := rng.Float64()
				for j := range 4 {
					at := img.PixOffset(ix-1, iy-1+j) + c
					v += ky[j] * (kx[0]*float64(img.Pix[at]) + kx[1]*float64(img.Pix[at+4]) + kx[2]*float64(img.Pix[at+8]) + kx[3]*float64(img.Pix[at+12]))
				}
				to[c] = uint8(min(max(v, 0), 255))
			}
		}
	}
	return out
}

func keys(t float64) [4]float64 {
	const a = -0.5
	near := func(d float64) float64 { return (a+2)*d*d*d - (a+3)*d*d + 1 }
	far := func(d float64) float64 { return a*d*d*d - 5*a*d*d + 8*a*d - 4*a }
	return [4]float64{far(1 + t), near(t), near(1 - t), far(2 - t)}
}

func clamped(v float64) uint8 { return uint8(min(max(v+0.5, 0), 255)) }

// gain multiplies codes, R, G and B by factors of their own.
func gain(img *image.RGBA, r, g, b float64) {
	for i := 0; i < len(img.Pix); i += 4 {
		img.Pix[i], img.Pix[i+1], img.Pix[i+2] = clamped(r*float64(img.Pix[i])), clamped(g*float64(img.Pix[i+1])), clamped(b*float64(img.Pix[i+2]))
	}
}

// toned brightens light by ev through a gamma of 2.2.
func toned(img *image.RGBA, ev float64) {
	k := math.Exp2(ev / 2.2)
	gain(img, k, k, k)
}

// veiled lays mist of that strength, 0 to 1, over a picture.
func veiled(img *image.RGBA, strength float64) {
	for i := range img.Pix {
		if i%4 != 3 {
			img.Pix[i] = clamped((1-strength)*float64(img.Pix[i]) + strength*190)
		}
	}
}

// noisy adds noise to a picture, as a sensor would after all that befell the
// light.
func noisy(img *image.RGBA, rng *rand.Rand, sigma float64) {
	if sigma == 0 {
		return
	}
	for i := range img.Pix {
		if i%4 != 3 {
			img.Pix[i] = clamped(float64(img.Pix[i]) + sigma*rng.NormFloat64())
		}
	}
}

func blurred(img *image.RGBA, sigma float64) *image.RGBA {
	return rgba(imaging.Blur(img, sigma))
}

func rgba(img image.Image) *image.RGBA {
	out := image.NewRGBA(image.Rect(0, 0, img.Bounds().Dx(), img.Bounds().Dy()))
	draw.Draw(out, out.Rect, img, img.Bounds().Min, draw.Src)
	return out
}

// cover is a thing before the lens: an ellipse or a bar of one colour with a soft
// edge, of a given share of the picture.
type cover struct {
	x, y, rx, ry float64 // pixels
	bar          bool
	color        color.RGBA
	soft         float64 // pixels
}

func newCover(rng *rand.Rand, w, h int, share float64, mean [3]float64) cover {
	c := cover{bar: rng.IntN(3) == 0, soft: 1 + rng.Float64()*0.02*float64(w)}
	area := share * float64(w) * float64(h)
	if c.bar {
		c.rx, c.ry = area/float64(h)/2, float64(h)
	} else {
		k := 0.7 + 0.6*rng.Float64()
		c.rx = math.Sqrt(area/math.Pi) * k
		c.ry = area / math.Pi / c.rx
	}
	c.x = c.rx + rng.Float64()*max(0, float64(w)-2*c.rx)
	c.y = c.ry + rng.Float64()*max(0, float64(h)-2*c.ry)
	// Of a tone that is not the scene's.
	lum := 0.3*mean[0] + 0.59*mean[1] + 0.11*mean[2]
	v := 12 + 40*rng.Float64()
	if lum < 90 {
		v = lum + 70 + 60*rng.Float64()
	}
	c.color = color.RGBA{clamped(v * (0.85 + 0.3*rng.Float64())), clamped(v), clamped(v * (0.85 + 0.3*rng.Float64())), 255}
	return c
}

func (c *cover) over(img *image.RGBA) {
	b := img.Bounds()
	for y := range b.Dy() {
		for x := range b.Dx() {
			dx, dy := (float64(x)-c.x)/c.rx, (float64(y)-c.y)/c.ry
			d := (1 - math.Hypot(dx, dy)) * min(c.rx, c.ry)
			if c.bar {
				d = c.rx - math.Abs(float64(x)-c.x)
			}
			a := min(max(d/c.soft, 0), 1)
			if a == 0 {
				continue
			}
			i := img.PixOffset(x, y)
			for j, v := range []uint8{c.color.R, c.color.G, c.color.B} {
				img.Pix[i+j] = clamped((1-a)*float64(img.Pix[i+j]) + a*float64(v))
			}
		}
	}
}

// spotted lays dust on the sensor, a soft disc, or lights a pixel and, by half,
// those beside it, as demosaicing does.
func spotted(img *image.RGBA, f fault) {
	b := img.Bounds()
	cx, cy, r := f.x*float64(b.Dx()), f.y*float64(b.Dy()), max(1, f.wide*float64(b.Dx())/2)
	for y := max(0, int(cy-2*r-2)); y < min(b.Max.Y, int(cy+2*r+2)); y++ {
		for x := max(0, int(cx-2*r-2)); x < min(b.Max.X, int(cx+2*r+2)); x++ {
			i, d := img.PixOffset(x, y), math.Hypot(float64(x)+0.5-cx, float64(y)+0.5-cy)
			for j := range 3 {
				v := float64(img.Pix[i+j])
				if f.size > 0 { // edges a third of the radius wide
					v *= 1 - f.size*min(max((r-d)/(r/3)+0.5, 0), 1)
				} else {
					v += -f.size * 255 * min(max(1.2-d/1.6, 0), 1)
				}
				img.Pix[i+j] = clamped(v)
			}
		}
	}
}

// means are the mean codes of a picture.
func means(img *image.RGBA) (m [3]float64) {
	for i, v := range img.Pix {
		if i%4 != 3 {
			m[i%4] += float64(v) / float64(len(img.Pix)/4)
		}
	}
	return m
}
