// Package picture makes pictures small, upright and clear for people to look
// at.
package picture

import (
	"image"
	"image/color"

	"github.com/disintegration/imaging"

	"stillspan/internal/orientation"
)

// Fit is img with no side longer than maxSide pixels, by the mean of what lies
// under each pixel.
func Fit(img image.Image, maxSide int) image.Image {
	return imaging.Fit(img, maxSide, maxSide, imaging.Box)
}

// Resize is img at w x h pixels; 0 for a side keeps the shape.
func Resize(img image.Image, w, h int) image.Image {
	return imaging.Resize(img, w, h, imaging.Lanczos)
}

// Upright turns a stored picture by its EXIF orientation.
func Upright(img image.Image, exif int) image.Image {
	t := orientation.Of(exif)
	if t.Transpose {
		img = imaging.Transpose(img)
	}
	if t.FlipX {
		img = imaging.FlipH(img)
	}
	if t.FlipY {
		img = imaging.FlipV(img)
	}
	return img
}

// Framed is img with a frame, light within dark, about the part r.
func Framed(img image.Image, r image.Rectangle) image.Image {
	out := imaging.Clone(img)
	for i, c := range []color.Color{color.Black, color.White, color.White, color.Black} {
		in := r.Inset(i - 2).Intersect(out.Bounds())
		for x := in.Min.X; x < in.Max.X; x++ {
			out.Set(x, in.Min.Y, c)
			out.Set(x, in.Max.Y-1, c)
		}
		for y := in.Min.Y; y < in.Max.Y; y++ {
			out.Set(in.Min.X, y, c)
			out.Set(in.Max.X-1, y, c)
		}
	}
	return out
}

// Spot dims all of img but the part r.
func Spot(img image.Image, r image.Rectangle) image.Image {
	dim := imaging.AdjustBrightness(imaging.Grayscale(img), -35)
	return imaging.Paste(dim, imaging.Crop(img, r), r.Min)
}
