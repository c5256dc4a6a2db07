package measure

import (
	"context"
	"image"
	"runtime"
	"runtime/debug"

	"golang.org/x/sync/errgroup"

	"stillspan/deflicker/pictures"
	"stillspan/internal/files"
)

// platesAtOnce bounds the stills that are decoded in full side by side.
const platesAtOnce = 4

// Plates decodes stills in full and gives their luma, as stored. A still that cannot
// be decoded, or only by a program that reduces it, has an empty plate.
func Plates(ctx context.Context, in []Input) ([]pictures.Plate, error) {
	defer debug.FreeOSMemory()
	out := make([]pictures.Plate, len(in))
	g, ctx := errgroup.WithContext(ctx)
	g.SetLimit(min(runtime.GOMAXPROCS(0), platesAtOnce))
	for i := range in {
		g.Go(func() error {
			img, err := newReader(Options{}.filled(), nil).whole(ctx, in[i])
			if err == nil && img != nil {
				out[i] = plateOf(img)
			}
			return context.Cause(ctx)
		})
	}
	return out, g.Wait()
}

// whole decodes the main picture in full; nil where that is too much.
func (r *reader) whole(ctx context.Context, in Input) (image.Image, error) {
	f, info, err := files.Open(in.Path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	s := openStill(in, f, info.Size())
	if s.pixels() > fullPixels {
		return nil, nil
	}
	img, reduced, err := r.decode(ctx, s)
	if reduced {
		return nil, err
	}
	return img, err
}

// plateOf is a picture's luma, reduced by a whole factor.
func plateOf(img image.Image) pictures.Plate {
	b := img.Bounds()
	n := (max(b.Dx(), b.Dy()) + pictures.PlateSide - 1) / pictures.PlateSide
	if n < 1 {
		return pictures.Plate{}
	}
	p := pictures.Plate{W: b.Dx() / n, H: b.Dy() / n}
	p.Luma = make([]uint8, p.W*p.H)
	row, buf, sum := lumaRows(img), make([]uint8, b.Dx()), make([]int, p.W)
	for y := range p.H {
		clear(sum)
		for j := range n {
			line := row(y*n+j, buf)
			for x := range sum {
				for _, v := range line[x*n : (x+1)*n] {
					sum[x] += int(v)
				}
			}
		}
		for x, v := range sum {
			p.Luma[y*p.W+x] = uint8((v + n*n/2) / (n * n))
		}
	}
	return p
}
