package measure

import (
	"image"
	"math"

	"stillspan/ingest/format"
	"stillspan/ingest/meta"
)

const (
	// minPreview is the least longer side of a preview that is measured, in
	// pixels: the usual EXIF thumbnail has 160.
	minPreview = 120
	// decodePreview is the greatest longer side of a preview that is decoded
	// in full: that costs less than a millisecond, and as many cells need it.
	decodePreview = 320
	// aspectTolerance is how far a preview's aspect may be off the picture's:
	// rounding of 160 x 107 makes 0.3 %.
	aspectTolerance = 0.02
	// minInner is the least share of a preview's height or width that the
	// picture between black bars may take.
	minInner = 0.7
)

// bestPreview is the smallest preview good enough to measure, and where in it
// the picture lies.
func bestPreview(in Input) (p meta.Preview, inner image.Rectangle, ok bool) {
	return previewOf(in, minPreview, decodePreview)
}

// previewOf is the smallest preview with a longer side of at least least that
// shows the whole picture. Bars are looked for in previews up to barsUpTo: the
// fixed size of EXIF thumbnails makes cameras add them.
func previewOf(in Input, least, barsUpTo int) (p meta.Preview, inner image.Rectangle, ok bool) {
	if format.ByName(in.Facts.Format).Upright() { // which way up they lie is not known
		return meta.Preview{}, image.Rectangle{}, false
	}
	for _, p := range in.Facts.Previews {
		if max(p.Width, p.Height) < least || p.Length > maxFile {
			continue
		}
		inner, ok := innerPicture(p.Width, p.Height, in.Facts.Width, in.Facts.Height)
		if !ok || inner != image.Rect(0, 0, p.Width, p.Height) && max(p.Width, p.Height) > barsUpTo {
			continue
		}
		return p, inner, true
	}
	return meta.Preview{}, image.Rectangle{}, false
}

// innerPicture is the part of a preview of pw x ph pixels that shows a picture
// of w x h; what lies outside are bars. A pixel on each side of a bar's edge
// is left out with it. ok is false where the two shapes do not go together.
func innerPicture(pw, ph, w, h int) (inner image.Rectangle, ok bool) {
	if pw < 1 || ph < 1 || w < 1 || h < 1 {
		return image.Rectangle{}, false
	}
	all := image.Rect(0, 0, pw, ph)
	ratio := float64(pw) * float64(h) / (float64(ph) * float64(w))
	switch {
	case math.Abs(ratio-1) <= aspectTolerance:
		return all, true
	case ratio < 1 && ratio >= minInner:
		bar := int(math.Ceil(float64(ph)*(1-ratio)/2)) + 1
		return image.Rect(0, bar, pw, ph-bar), true
	case ratio > 1 && 1/ratio >= minInner:
		bar := int(math.Ceil(float64(pw)*(1-1/ratio)/2)) + 1
		return image.Rect(bar, 0, pw-bar, ph), true
	}
	return image.Rectangle{}, false
}

// hasBars reports whether all that lies outside inner, but for two pixels
// beside its edge, is black: linear light below 0.005, about code 15 of 255.
func hasBars(img image.Image, inner image.Rectangle) bool {
	b, lin, at := img.Bounds(), linear16(), rgba64At(img)
	safe := inner.Inset(-2)
	if inner.Min.X == 0 {
		safe.Min.X, safe.Max.X = 0, b.Dx()
	} else {
		safe.Min.Y, safe.Max.Y = 0, b.Dy()
	}
	for y := range b.Dy() {
		for x := range b.Dx() {
			if image.Pt(x, y).In(safe) {
				continue
			}
			c := at(b.Min.X+x, b.Min.Y+y)
			if lin[max(c.R, c.G, c.B)] > 0.005 {
				return false
			}
		}
	}
	return true
}

// cropped is the part r of img, whose bounds start at r's origin.
func cropped(img image.Image, r image.Rectangle) image.Image {
	if r == img.Bounds() {
		return img
	}
	type subImager interface {
		SubImage(image.Rectangle) image.Image
	}
	return img.(subImager).SubImage(r)
}
