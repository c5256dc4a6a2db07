package assemble

import (
	"context"
	"image"
	"image/png"
	"path/filepath"
	"slices"
	"time"

	"stillspan/internal/codec"
	"stillspan/internal/files"
)

// Poster makes the frame of the clip that source k goes into, corrected, cropped and
// as large as in the clip, in sRGB whatever the clip's colour space.
func Poster(ctx context.Context, job Job, k int) (image.Image, error) {
	w, err := files.WorkInTemp()
	if err != nil {
		return nil, err
	}
	defer w.Close()
	first, last := k, job.lastOf(k)
	for job.Sources[first].Joins {
		first--
	}
	job.Sources = slices.Clone(job.Sources[first : last+1])
	job.Gaps, job.Slate, job.HoldFirst, job.HoldLast = nil, nil, 0, 0
	job.Timecode, job.Created, job.SourceRoot = "", time.Time{}, ""
	job.Codec, job.Space, job.WhiteNits, job.Quality = "png", codec.Spaces[0].Name, 0, 0
	job.Out = w.Path("poster")
	p, err := Prepare(ctx, job)
	if err != nil {
		return nil, err
	}
	clip, err := p.Run(ctx, nil)
	if err != nil {
		return nil, err
	}
	f, _, err := files.Open(filepath.Join(clip.File, "000001.png"))
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return png.Decode(f)
}
