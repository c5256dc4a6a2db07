package shoot

import (
	"context"
	"image"
	"math"
	"runtime"
	"slices"

	"golang.org/x/sync/errgroup"

	"stillspan/assemble"
	"stillspan/assemble/flash"
	"stillspan/deflicker"
	"stillspan/deflicker/measure"
	"stillspan/internal/settings"
)

// Pictures are shown on a page and nowhere else.
type Pictures struct {
	// Strip is a film strip of some frames in order, at most about twelve.
	Strip []image.Image
	// Exhibits are those of findings, by their index in Measured.Seen.
	Exhibits map[int]Exhibit
	// Zone is one upright frame on which the zone is drawn.
	Zone image.Image
	// Proof is a small copy of the clip, nil where there is none, and Slice a
	// column of each frame, as shot and as corrected.
	Proof *Proof
	Slice *Slice
	// Gallery are the frames that something is wrong with.
	Gallery []Still
}

// stripPictures is how many pictures a film strip has, stripSide the longer side of
// one, pixels.
const (
	stripPictures = 12
	stripSide     = 240
)

// hasPage tells whether a page is wanted.
func (s *Shoot) hasPage() bool {
	return settings.HTML.Stated(s.Settings) || settings.DayOut.Stated(s.Settings)
}

// stripFrames are the frames that a film strip shows: sound ones, evenly apart.
func (s *Shoot) stripFrames() []int {
	var good []int
	for k := range s.Sequence.Frames {
		if s.Sound(k) {
			good = append(good, k)
		}
	}
	n := min(stripPictures, len(good))
	some := make([]int, n)
	for j := range some {
		some[j] = good[j*(len(good)-1)/max(n-1, 1)]
	}
	return some
}

// TakeStrip makes the film strip, and the frame that the zone is drawn on.
func (s *Shoot) TakeStrip(ctx context.Context) error {
	in, frames := s.inputs(), s.stripFrames()
	strip := make([]image.Image, len(frames))
	g, gctx := errgroup.WithContext(ctx)
	g.SetLimit(runtime.GOMAXPROCS(0))
	for j, k := range frames {
		if s.Measured != nil && s.Measured.thumbs[k] != nil {
			strip[j] = s.Measured.thumbs[k]
			continue
		}
		g.Go(func() (err error) {
			strip[j], err = measure.Thumb(gctx, in[k], stripSide)
			if ctx.Err() != nil {
				return ctx.Err()
			}
			if err != nil {
				strip[j] = nil // damage is reported elsewhere
			}
			return nil
		})
	}
	if err := g.Wait(); err != nil {
		return err
	}
	s.Pictures.Strip = slices.DeleteFunc(strip, func(p image.Image) bool { return p == nil })
	if strip := s.Pictures.Strip; len(strip) > 0 {
		s.Pictures.Zone = strip[len(strip)/2]
	}
	return s.takeExhibits(ctx)
}

// flashWidth is how wide the frames are that the flash check looks at: its
// area rule is a share of the picture, so small frames serve.
const flashWidth = 256

// watcher looks at the frames of a clip as they are encoded: for passages that
// flash, and for what is left of flicker.
type watcher struct {
	check *flash.Part
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
	v := &watcher{check: flash.NewPart(opt)}
	indexes := clipIndexes(job)
	p.Watch(opt.Width, opt.Height, func(_ int, rgb []byte) { v.check.Add(rgb) })
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
