package demo

import (
	"image"
	"image/color"
	"image/draw"

	"github.com/disintegration/imaging"
)

// Spoil is what befell the picture of one slot.
type Spoil struct {
	MovedX, MovedY float64 // shares of the picture's width
	Blur           float64 // sigma, a share of the width
	Passer         bool    // somebody walked by close to the lens
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
