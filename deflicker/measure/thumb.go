package measure

import (
	"context"
	"errors"
	"image"

	"github.com/disintegration/imaging"
)

// Thumb is the still as a small upright picture with no side longer than
// maxSide pixels, for looking at, not for measuring.
func Thumb(ctx context.Context, in Input, maxSide int) (image.Image, error) {
	if maxSide < 1 {
		return nil, errors.New("a thumbnail needs at least one pixel")
	}
	r := newReader(Options{}.filled())
	img, err := r.picture(ctx, in, maxSide)
	if err != nil {
		return nil, err
	}
	return upright(imaging.Fit(img, maxSide, maxSide, imaging.Box), in.Facts.Orientation), nil
}

// upright turns a picture by its EXIF orientation (CIPA DC-008, tag 0x0112).
func upright(img image.Image, orientation int) image.Image {
	switch orientation {
	case 2:
		return imaging.FlipH(img)
	case 3:
		return imaging.Rotate180(img)
	case 4:
		return imaging.FlipV(img)
	case 5:
		return imaging.Transpose(img)
	case 6:
		return imaging.Rotate270(img)
	case 7:
		return imaging.Transverse(img)
	case 8:
		return imaging.Rotate90(img)
	}
	return img
}
