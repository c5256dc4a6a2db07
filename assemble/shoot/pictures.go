package shoot

import (
	"context"
	"image"
	"math"

	"stillspan/assemble"
	"stillspan/assemble/flash"
	"stillspan/deflicker"
	"stillspan/deflicker/measure"
	"stillspan/internal/orientation"
	"stillspan/internal/picture"
)

// Pictures are shown on a page and nowhere else.
type Pictures struct {
	// Strip is a film strip of some frames in order, at most about twelve.
	Strip []image.Image
	// Before and After are the same frames without and with correction.
	Before, After []image.Image
	// Zone is one upright frame on which the zone is drawn.
	Zone image.Image
}

// stripFrames is how many pictures a film strip has.
const stripFrames = 12

// TakeStrip makes the film strip, of frames evenly apart, and the frame that
// the zone is drawn on.
func (s *Shoot) TakeStrip(ctx context.Context) error {
	var good []int
	for k := range s.Sequence.Frames {
		if s.Sound(k) {
			good = append(good, k)
		}
	}
	in := s.inputs()
	n := min(stripFrames, len(good))
	for j := range n {
		k := good[0]
		if n > 1 {
			k = good[j*(len(good)-1)/(n-1)]
		}
		img, err := measure.Thumb(ctx, in[k], 240)
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if err != nil {
			continue // damage is reported elsewhere
		}
		s.Pictures.Strip = append(s.Pictures.Strip, img)
	}
	if strip := s.Pictures.Strip; len(strip) > 0 {
		s.Pictures.Zone = strip[len(strip)/2]
	}
	return nil
}

// flashWidth is how wide the frames are that the flash check looks at: its
// area rule is a share of the picture, so small frames serve.
const flashWidth = 256

// pairFrames is how many neighbouring frames are shown before and after.
const pairFrames = 8

// watcher looks at the frames of a clip as they are encoded: for passages that
// flash, and for those around the biggest correction, to be shown beside the
// same frames as shot.
type watcher struct {
	check *flash.Part
	from  int // first source shown before and after
	count int
	want  map[int]bool // their frames in the clip
	after []image.Image
	light *deflicker.Meter // of the frames that are stills, none made up
}

// watch has a pipeline show its frames to a new watcher.
func watch(p *assemble.Pipeline, job assemble.Job) (*watcher, error) {
	w, h := p.Size()
	small := 2 * int(math.Round(flashWidth*float64(h)/float64(w)/2))
	opt := flash.Options{Width: flashWidth, Height: min(max(small, 16), 1024), Rate: job.Rate.FPS()}
	if err := opt.Validate(); err != nil {
		return nil, err
	}
	v := &watcher{check: flash.NewPart(opt), want: map[int]bool{}}
	v.from, v.count = mostCorrected(job)
	indexes := clipIndexes(job)
	for _, at := range indexes[v.from : v.from+v.count] {
		v.want[at] = true
	}
	p.Watch(opt.Width, opt.Height, func(at int, rgb []byte) {
		v.check.Add(rgb)
		if v.want[at] {
			v.after = append(v.after, pictureOf(rgb, opt.Width, opt.Height))
		}
	})
	v.light = deflicker.NewMeter(deflicker.MeterOptions{Response: job.Response, ByTone: true})
	next := 0
	p.Meter(func(at int, g *deflicker.Grid) {
		if next < len(indexes) && at == indexes[next] {
			next++
			v.light.Add(g)
		}
	})
	return v, nil
}

// pictureOf copies packed R'G'B'.
func pictureOf(rgb []byte, w, h int) image.Image {
	img := image.NewRGBA(image.Rect(0, 0, w, h))
	for k := range w * h {
		copy(img.Pix[4*k:], rgb[3*k:3*k+3])
		img.Pix[4*k+3] = 255
	}
	return img
}

// pair makes the pictures before and after correction.
func (s *Shoot) pair(ctx context.Context, v *watcher, job assemble.Job) error {
	s.Pictures.After = v.after
	first := job.Sources[0]
	part, _, _, _ := job.Shows(orientation.Of(first.Orientation).Size(first.Width, first.Height)) // the clip was made
	byPath := map[string]measure.Input{}
	for _, in := range s.inputs() {
		byPath[in.Path] = in
	}
	for _, src := range job.Sources[v.from : v.from+v.count] {
		img, err := measure.Thumb(ctx, byPath[src.Path], flashWidth)
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if err == nil { // damage is reported elsewhere
			s.Pictures.Before = append(s.Pictures.Before, picture.Crop(img, part.Of(img.Bounds())))
		}
	}
	return nil
}

// mostCorrected picks the neighbouring sources that show best what was
// corrected: where corrections differ most from one frame to the next.
func mostCorrected(job assemble.Job) (from, frames int) {
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
	out := make([]int, 0, len(job.Sources))
	for at, f := range job.Shown() {
		if !f.MadeUp && !f.Held {
			out = append(out, at)
		}
	}
	return out
}
