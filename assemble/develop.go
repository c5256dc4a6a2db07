package assemble

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"image"
	"image/color"
	_ "image/jpeg" // what libheif's tools write
	_ "image/png"
	"io"

	"golang.org/x/sync/errgroup"

	"stillspan/deflicker/develop"
)

// RawMode says where the pixels of raw files come from.
type RawMode string

// What can be made of raw files.
const (
	// RawAuto develops them, but takes previews for proofs and where LibRaw
	// is not installed.
	RawAuto    RawMode = ""
	RawDevelop RawMode = "develop"
	RawPreview RawMode = "preview" // the largest embedded JPEG
)

// Develops reports whether raw stills are developed, and not shown by their
// previews, on this machine.
func (o Options) Develops() bool {
	if o.Raw == RawAuto {
		return o.Preset != "proof" && develop.Available()
	}
	return o.Raw == RawDevelop
}

// identify settles how the sequence's raw files are developed.
func identify(ctx context.Context, path string) (develop.Settings, error) {
	d, err := develop.Identify(ctx, path)
	if errors.Is(err, develop.ErrUnknown) {
		err = &Error{Text: fmt.Sprintf("LibRaw does not know the raw file %q", path), Try: "its embedded previews, or a newer LibRaw", Err: err}
	}
	return d, err
}

// developAhead is how many pictures are made at once, and with the one being
// handed on, all of them in memory.
const developAhead = 2

// feed makes the pictures of the job's stills and writes them to out in order.
func (p *Pipeline) feed(ctx context.Context, out io.WriteCloser) error {
	err := inOrder(ctx, len(p.job.Sources), developAhead, func(ctx context.Context, i int) ([]byte, error) {
		return p.pictureOf(ctx, p.job.Sources[i].Path)
	}, func(picture []byte) error {
		_, err := out.Write(picture)
		return err
	})
	return errors.Join(err, out.Close())
}

// inOrder makes n things, ahead of them at once, and hands each on in order. An
// error of handing on counts as errStopped.
func inOrder[T any](ctx context.Context, n, ahead int, produce func(ctx context.Context, i int) (T, error), hand func(T) error) error {
	g, ctx := errgroup.WithContext(ctx)
	queue := make(chan chan T, ahead-1)
	g.Go(func() error {
		defer close(queue)
		for i := range n {
			done := make(chan T, 1)
			select {
			case queue <- done:
			case <-ctx.Done():
				return ctx.Err()
			}
			g.Go(func() error {
				made, err := produce(ctx, i)
				if err != nil {
					return err
				}
				done <- made
				return nil
			})
		}
		return nil
	})
	g.Go(func() error {
		for done := range queue {
			select {
			case made := <-done:
				if err := hand(made); err != nil {
					return fmt.Errorf("%w: %w", errStopped, err)
				}
			case <-ctx.Done():
				return ctx.Err()
			}
		}
		return nil
	})
	return g.Wait()
}

// pictureOf makes one still's picture, of the kind that p.pipedAs names.
func (p *Pipeline) pictureOf(ctx context.Context, path string) ([]byte, error) {
	if p.raw == nil {
		picture, c, err := p.convert(ctx, path, int64(p.srcW)*int64(p.srcH))
		if err != nil {
			return nil, err
		}
		if w, h := c.Width, c.Height; w != p.srcW || h != p.srcH {
			return nil, &Error{Text: fmt.Sprintf("%q has %dx%d pixels, not %dx%d like the first frame", path, w, h, p.srcW, p.srcH), Try: "leaving it out"}
		}
		return picture, nil
	}
	ppm, err := p.raw.PPM(ctx, path)
	if err != nil && ctx.Err() == nil {
		err = &Error{Text: fmt.Sprintf("cannot develop %q: %s", path, err), Try: "leaving it out", Err: err}
	}
	return ppm, err
}

// convert makes a picture of a HEIF or AVIF still of as many pixels.
func (p *Pipeline) convert(ctx context.Context, path string, pixels int64) ([]byte, image.Config, error) {
	kind := pictureKinds[p.pipedAs]
	picture, err := develop.Convert(ctx, path, kind, pixels)
	switch {
	case ctx.Err() != nil:
		return nil, image.Config{}, ctx.Err()
	case errors.Is(err, develop.ErrNoHEIF):
		return nil, image.Config{}, &Error{Text: err.Error(), Try: "installing " + develop.HEIFPackage, Err: err}
	case err != nil:
		return nil, image.Config{}, &Error{Text: fmt.Sprintf("cannot decode %q: %s", path, err), Try: "leaving it out", Err: err}
	}
	c, got, err := image.DecodeConfig(bytes.NewReader(picture))
	if err != nil || got != map[string]string{"jpg": "jpeg", "png": "png"}[kind] {
		return nil, c, &Error{Text: fmt.Sprintf("libheif made no picture of %q", path), Try: "leaving it out", Err: err}
	}
	return picture, c, nil
}

// pictureKinds are the kinds of pictures that libheif's tools make, by ffmpeg's
// name for their decoder.
var pictureKinds = map[string]string{"mjpeg": "jpg", "png": "png"}

// convertible settles how the sequence's HEIF or AVIF stills are decoded: a PNG
// keeps what is deeper than 8 bits, a JPEG takes a quarter of the time.
func (p *Pipeline) convertible(ctx context.Context, first Source) error {
	p.pipedAs = "png"
	_, c, err := p.convert(ctx, first.Path, int64(first.Width)*int64(first.Height))
	if err != nil {
		return err
	}
	if c.ColorModel != color.RGBA64Model && c.ColorModel != color.NRGBA64Model && c.ColorModel != color.Gray16Model {
		p.pipedAs = "mjpeg"
	}
	p.srcW, p.srcH = c.Width, c.Height
	return nil
}
