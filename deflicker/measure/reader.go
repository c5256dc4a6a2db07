package measure

import (
	"context"
	"errors"
	"image"
	"os"
	"os/exec"

	"stillspan/ingest/meta"
)

// reader measures stills one after another in memory of its own.
type reader struct {
	opt Options
	buf []byte
}

func newReader(opt Options) *reader { return &reader{opt: opt} }

// measure is File for one worker.
func (r *reader) measure(ctx context.Context, in Input) (*Grid, *Finding, error) {
	if err := ended(ctx); err != nil {
		return nil, nil, err
	}
	f, size, finding := openStill(in.Path)
	if finding != nil {
		return nil, finding, nil
	}
	defer f.Close()
	return r.full(ctx, f, size, in)
}

// full measures every pixel of the main picture, or of a raw file's largest
// preview.
func (r *reader) full(ctx context.Context, f *os.File, size int64, in Input) (*Grid, *Finding, error) {
	img, finding, err := r.decode(ctx, f, size, in)
	if img == nil {
		return nil, finding, err
	}
	return FromImage(img), nil, nil
}

// decode decodes the main picture, or a raw file's largest preview. ffmpeg's
// pictures come reduced.
func (r *reader) decode(ctx context.Context, f *os.File, size int64, in Input) (image.Image, *Finding, error) {
	part, format := meta.Preview{Length: size}, in.Facts.Format
	if in.Facts.Raw {
		if len(in.Facts.Previews) == 0 {
			return nil, noPreview(), nil
		}
		part, format = in.Facts.Previews[len(in.Facts.Previews)-1], "jpeg"
	}
	if format == "jpeg" || format == "png" || format == "tiff" {
		var err error
		if r.buf, err = readPart(f, part.Offset, part.Length, r.buf); err != nil {
			return nil, readFinding(err), nil
		}
		img, ok, err := decodeImage(format, r.buf, r.opt.MaxPixels)
		if ok && err != nil {
			return nil, undecodable(err), nil
		}
		if ok {
			return img, nil, nil
		}
	}
	img, err := ffmpegImage(ctx, r.opt.FFmpeg, in.Path, r.opt.MaxPixels)
	switch {
	case ctx.Err() != nil:
		return nil, nil, context.Cause(ctx)
	case errors.Is(err, exec.ErrNotFound):
		return nil, &Finding{Kind: "undecodable", Text: "this kind of picture needs ffmpeg, which was not found", Try: "install ffmpeg (Debian package ffmpeg)"}, nil
	case err != nil:
		return nil, undecodable(err), nil
	}
	return img, nil, nil
}

// picture decodes the still for Thumb.
func (r *reader) picture(ctx context.Context, in Input, _ int) (image.Image, error) {
	f, size, finding := openStill(in.Path)
	if finding != nil {
		return nil, errors.New(finding.Text)
	}
	defer f.Close()
	img, finding, err := r.decode(ctx, f, size, in)
	if finding != nil {
		return nil, errors.New(finding.Text)
	}
	return img, err
}

// noPreview says that a raw file has no picture to measure.
func noPreview() *Finding {
	return &Finding{Kind: "undecodable", Text: "the raw file holds no preview to measure", Try: "install LibRaw (Debian package libraw-bin) and render from the raw data"}
}
