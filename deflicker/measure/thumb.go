package measure

import (
	"context"
	"errors"
	"image"
	"runtime/debug"

	"stillspan/ingest/format"
	"stillspan/internal/files"
	"stillspan/internal/picture"
	"stillspan/internal/problem"
)

// Thumb is the still as a small upright picture with no side longer than
// maxSide pixels, for looking at, not for measuring.
func Thumb(ctx context.Context, in Input, maxSide int) (image.Image, error) {
	if maxSide < 1 {
		return nil, errors.New("a thumbnail needs at least one pixel")
	}
	r := newReader(Options{}.filled(), nil)
	img, err := r.picture(ctx, in, maxSide)
	if err != nil {
		return nil, err
	}
	return upright(img, in, maxSide), nil
}

func upright(img image.Image, in Input, maxSide int) image.Image {
	_, _, exif := format.Decoded(&in.Facts)
	return picture.Upright(picture.Fit(img, maxSide), exif)
}

// showsBlocks tells whether the blocks are fine enough for a picture of that size.
func (r *reader) showsBlocks(maxSide int) bool {
	return max(r.blocks.Width, r.blocks.Height) >= 8*maxSide
}

// thumbPixels is the largest picture decoded in full only to be shown small.
const thumbPixels = 8 << 20

// picture is the cheapest picture of the still with a longer side of about
// maxSide or more.
func (r *reader) picture(ctx context.Context, in Input, maxSide int) (image.Image, error) {
	if err := context.Cause(ctx); err != nil {
		return nil, err
	}
	f, info, err := files.Open(in.Path)
	if err != nil {
		return nil, problem.Unread(err)
	}
	defer f.Close()
	s := openStill(in, f, info.Size())
	if img := r.previewPicture(s, maxSide); img != nil {
		return img, nil
	}
	if img := r.blockPicture(ctx, s, maxSide); img != nil {
		return img, nil
	}
	if 8*s.pixels() > large {
		defer debug.FreeOSMemory() // before another process makes as much
	}
	img, _, err := r.decode(ctx, s)
	return img, err
}

// previewPicture is the smallest preview of maxSide or more without bars; nil
// for none.
func (r *reader) previewPicture(s still, maxSide int) image.Image {
	p, _, ok := previewOf(s.in, maxSide, 0)
	if !ok || int64(p.Width)*int64(p.Height) > thumbPixels || p.Offset < 0 || p.Offset > s.size-p.Length {
		return nil
	}
	var err error
	if r.buf, err = readPart(s.f, p.Offset, p.Length, r.buf); err != nil {
		return nil
	}
	img, ok, err := decodeImage(r.buf, r.opt.MaxPixels)
	if !ok || err != nil {
		return nil
	}
	return img
}

// blockPicture is the main picture at an eighth of its size; nil where that is
// too small, or the picture not one that package jpeg reads. A damaged picture is
// shown as far as it goes.
func (r *reader) blockPicture(ctx context.Context, s still, maxSide int) image.Image {
	part, by, err := s.main()
	if err != nil || by != format.JPEG {
		return nil
	}
	if r.fetch(ctx, s, part) != nil || r.blocks.Decode(r.buf) != nil {
		return nil
	}
	if !r.showsBlocks(maxSide) && r.blocks.Damage() == nil {
		return nil
	}
	return r.blocks.Image()
}
