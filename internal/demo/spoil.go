package demo

import (
	"image"
	"image/color"
	"image/draw"
	"math"

	"github.com/disintegration/imaging"
)

// Spoil is what befell the picture of one slot.
type Spoil struct {
	MovedX, MovedY float64 // shares of the picture's width
	Blur           float64 // sigma, a share of the width
	Passer         bool    // somebody walked by close to the lens
}

// Dust is a soft dark spot on the sensor, in every picture.
type Dust struct {
	X, Y, Wide float64 // shares of the picture; Wide is half depth to half depth
	Depth      float64 // share of the codes
}

// over lays dust on a picture.
func (d Dust) over(img *image.RGBA) {
	w, h := float64(img.Rect.Dx()), float64(img.Rect.Dy())
	r := d.Wide * w
	for y := int(d.Y*h - r); y <= int(d.Y*h+r); y++ {
		for x := int(d.X*w - r); x <= int(d.X*w+r); x++ {
			if !image.Pt(x, y).In(img.Rect) {
				continue
			}
			off := math.Hypot(float64(x)-d.X*w, float64(y)-d.Y*h) / r
			k := 1 - d.Depth*math.Exp2(-4*off*off)
			i := img.PixOffset(x, y)
			for c := range 3 {
				img.Pix[i+c] = uint8(k*float64(img.Pix[i+c]) + 0.5)
			}
		}
	}
}

// over spoils a picture.
func (s Spoil) over(img *image.RGBA) image.Image {
	b := img.Bounds()
	w := float64(b.Dx())
	if dx, dy := int(s.MovedX*w), int(s.MovedY*w); dx != 0 || dy != 0 {
		still := imaging.Clone(img)
		draw.Draw(img, b.Add(image.Pt(dx, dy)), still, b.Min, draw.Src)
	}
	if s.Passer {
		cx, wide, top := 0.36*w, 0.11*w, 0.2*float64(b.Dy())
		for y := int(top); y < b.Max.Y; y++ {
			// A head, and shoulders below it.
			half := wide
			if d := (float64(y) - top) / wide; d < 1.2 {
				half = wide * 0.5
			}
			for x := int(cx - half); x < int(cx+half); x++ {
				img.Set(x, y, color.RGBA{38, 34, 40, 255})
			}
		}
	}
	if s.Blur > 0 {
		return imaging.Blur(img, s.Blur*w)
	}
	return img
}
