package main

import (
	"context"
	"image"
	"math"

	"github.com/disintegration/imaging"

	"stillspan/assemble"
	"stillspan/deflicker/flash"
	"stillspan/deflicker/measure"
	"stillspan/report"
)

// flashWidth is how wide the frames are that the flash check looks at: its
// area rule is a share of the picture, so small frames serve.
const flashWidth = 256

// pairFrames is how many neighbouring frames are shown before and after.
const pairFrames = 8

// inspect looks at the clip of sequence i: for passages that flash, and for the
// frames around the biggest correction, to be shown beside the same frames as
// shot.
func (s *survey) inspect(ctx context.Context, i int, job assemble.Job, clip *assemble.Clip) error {
	w := &s.work[i]
	from, frames := s.telling(job)
	want := map[int]bool{}
	for _, at := range clipIndexes(job)[from : from+frames] {
		want[at] = true
	}
	var err error
	w.Flashes, err = flashCheck(ctx, clip, func(at int, img image.Image) {
		if want[at] {
			w.After = append(w.After, imaging.Clone(img))
		}
	})
	if err != nil {
		return err
	}
	seq := &s.dump.Sequences[i]
	byPath := map[string]measure.Input{}
	for _, in := range inputsOf(seq) {
		byPath[in.Path] = in
	}
	for _, src := range job.Sources[from : from+frames] {
		img, err := measure.Thumb(ctx, byPath[src.Path], flashWidth)
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if err == nil { // the strip is an ornament; damage is reported elsewhere
			w.Before = append(w.Before, cropLike(img, clip, job.Options))
		}
	}
	return nil
}

// telling picks the neighbouring sources that show best what was corrected:
// where corrections differ most from one frame to the next.
func (s *survey) telling(job assemble.Job) (from, frames int) {
	src := job.Sources
	frames = min(pairFrames, len(src))
	best := -1.0
	for k := 0; k+frames <= len(src); k++ {
		sum := 0.0
		for j := k + 1; j < k+frames; j++ {
			sum += math.Abs(src[j].CorrectionEV - src[j-1].CorrectionEV)
		}
		if sum > best {
			best, from = sum, k
		}
	}
	return from, frames
}

// clipIndexes says which frame of the clip each source became; filled gaps lie
// between them.
func clipIndexes(job assemble.Job) []int {
	filled := map[int]int{}
	if job.GapMode != assemble.GapLeave {
		for _, g := range job.Gaps {
			filled[g.After] += g.Count
		}
	}
	out := make([]int, len(job.Sources))
	at := 0
	for k := range out {
		out[k] = at
		at += 1 + filled[k]
	}
	return out
}

// cropLike cuts a still to what the clip shows of it.
func cropLike(img image.Image, clip *assemble.Clip, o assemble.Options) image.Image {
	b := img.Bounds()
	w, h := b.Dx(), b.Dy()
	cw, ch := w, h
	if w*clip.Height > h*clip.Width {
		cw = h * clip.Width / clip.Height
	} else {
		ch = w * clip.Height / clip.Width
	}
	x := b.Min.X + int(float64(w-cw)*o.CropX)
	y := b.Min.Y + int(float64(h-ch)*o.CropY)
	return imaging.Crop(img, image.Rect(x, y, x+cw, y+ch))
}

// flashCheck runs the flash check on a finished clip. Each frame, small, is
// shown to look, which may be nil and must not keep it.
func flashCheck(ctx context.Context, clip *assemble.Clip, look func(at int, img image.Image)) ([]report.Flash, error) {
	h := max(16, 2*int(math.Round(flashWidth*float64(clip.Height)/float64(clip.Width)/2)))
	opt := flash.Options{Width: flashWidth, Height: min(h, 1024), Rate: clip.Rate.FPS()}
	if err := opt.Validate(); err != nil {
		return nil, err
	}
	a := flash.New(opt)
	frame := image.NewRGBA(image.Rect(0, 0, opt.Width, opt.Height))
	err := assemble.ReadClip(ctx, clip.File, opt.Width, opt.Height, func(at int, rgb []byte) error {
		a.Add(rgb)
		if look != nil {
			for k := range opt.Width * opt.Height {
				copy(frame.Pix[4*k:], rgb[3*k:3*k+3])
				frame.Pix[4*k+3] = 255
			}
			look(at, frame)
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	var out []report.Flash
	for _, p := range a.Findings() {
		out = append(out, report.FlashOf(p, clip.Rate))
	}
	return out, nil
}
