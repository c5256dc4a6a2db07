package shoot

import (
	"context"
	"image"
	"math"
	"slices"

	"stillspan/assemble"
	"stillspan/deflicker/measure"
	"stillspan/deflicker/pictures"
	"stillspan/internal/orientation"
	"stillspan/internal/settings"
)

// Exhibit is what a page shows of a finding: its frame, and one beside it that is
// as it should be.
type Exhibit struct{ Frame, Beside image.Image }

// seen is what the meter found, of the upright picture in pixels of the full
// still. source is what was measured.
func (s *Shoot) seen(ctx context.Context, m *pictures.Meter, turn orientation.Turn, source string) (pictures.Found, error) {
	f := m.Found(s.pictureOptions())
	if f.Width == 0 {
		return f, nil
	}
	if source != measure.SourcePreview {
		if err := s.spots(ctx, m, &f); err != nil {
			return f, err
		}
	}
	scale := 1.0
	if full := s.Sequence.Frames[0].Facts.Width; full > 0 {
		scale = float64(full) / float64(f.Width)
	}
	return f.Upright(turn, scale), nil
}

func (s *Shoot) pictureOptions() pictures.Options {
	return pictures.Options{Travels: s.Planned != nil && settings.Move.Stated(s.Planned.Given), Skipped: s.skipped()}
}

const (
	// spotPixels is how many pixels are decoded to look for spots in any case, and
	// spotShare the share of a sequence's pixels beyond: decoding in full costs
	// about eight times what reading block means does.
	spotPixels = 12e6
	spotShare  = 0.025
)

// spots adds the dust and hot pixels that a sample of stills shows.
func (s *Shoot) spots(ctx context.Context, m *pictures.Meter, f *pictures.Found) error {
	n, each := float64(len(s.Sequence.Frames)), 1.0
	if facts := &s.Sequence.Frames[0].Facts; facts.Width > 0 {
		each = float64(facts.Width) * float64(facts.Height)
	}
	frames := m.SpotFrames(f, int(max(spotPixels/each, spotShare*n)))
	if len(frames) == 0 {
		return nil
	}
	in, all := make([]measure.Input, len(frames)), s.inputs()
	for i, k := range frames {
		in[i] = all[k]
	}
	plates, err := measure.Plates(ctx, in)
	if err == nil {
		f.Findings = append(m.Spots(f, frames, plates), f.Findings...)
	}
	return err
}

// spoilt are the frames that are to be left out for what they show.
func (s *Shoot) spoilt() (out settings.Runs) {
	if s.Measured == nil || !settings.Spoilt.Of(s.Settings) {
		return nil
	}
	for _, f := range s.Measured.Seen.Findings {
		if f.Lost() && !slices.Contains(settings.Accept.Of(s.Settings), string(f.Kind)) {
			out = append(out, settings.Run{First: f.First + 1, Last: f.Last + 1})
		}
	}
	return out
}

// skipped is pictures.Options.Skipped by the account of the sequence; nil where
// its timing could not be judged.
func (s *Shoot) skipped() []float64 {
	t := &s.Sequence.Timing
	if !t.Judged || !(t.IntervalS > 0) {
		return nil
	}
	out := make([]float64, len(s.Sequence.Frames))
	for k := 1; k < min(len(out), len(t.Slot)); k++ {
		out[k] = float64(t.Slot[k] - t.Slot[k-1] - 1)
	}
	for _, x := range t.Irregular {
		out[x.Index] += x.OffsetS / t.IntervalS
		if x.Index+1 < len(out) {
			out[x.Index+1] -= x.OffsetS / t.IntervalS
		}
	}
	return out
}

// exhibitSide is the longer side of the pictures of findings, pixels; exhibits
// how many findings are shown, spotExhibits how many of them may be spots.
const (
	exhibitSide  = 480
	exhibits     = 12
	spotExhibits = 3
)

// takeExhibits makes the pictures of the gravest findings.
func (s *Shoot) takeExhibits(ctx context.Context) error {
	if s.Measured == nil {
		return nil
	}
	in := s.inputs()
	s.Pictures.Exhibits = map[int]Exhibit{}
	spots := 0
	for _, want := range []pictures.Severity{pictures.Spoils, pictures.Look} {
		for i, f := range s.Measured.Seen.Findings {
			if f.Severity != want || len(s.Pictures.Exhibits) == exhibits {
				continue
			}
			if f.Kind == pictures.Spot {
				if spots++; spots > spotExhibits {
					continue
				}
			}
			a, err := measure.Thumb(ctx, in[f.Shown], exhibitSide)
			if ctx.Err() != nil {
				return ctx.Err()
			}
			b, err2 := measure.Thumb(ctx, in[f.Beside], exhibitSide)
			if ctx.Err() != nil {
				return ctx.Err()
			}
			if err == nil && err2 == nil {
				s.Pictures.Exhibits[i] = Exhibit{a, b}
			}
		}
	}
	return nil
}

// mostSteady bounds how far a frame is moved, a share of the picture, and turned,
// radians.
const mostSteady = 0.1

// steady has the frames of a job moved to where a smooth path would have them, and
// turned back where a jump turned them.
func (s *Shoot) steady(job *assemble.Job) {
	if s.Measured == nil || !settings.Steady.Of(s.Settings) || len(job.Sources) == 0 || len(s.Measured.Seen.SmoothX) == 0 {
		return
	}
	f := &s.Measured.Seen
	of := map[string]int{}
	for k := range s.Sequence.Frames {
		of[s.Sequence.Frames[k].Path] = k
	}
	full := &s.Sequence.Frames[0].Facts
	w, h := orientation.Of(job.Sources[0].Orientation).Size(full.Width, full.Height)
	wide, high := max(1, float64(w)), max(1, float64(h))
	within := func(v float64) float64 { return min(max(v, -mostSteady), mostSteady) }
	for i := range job.Sources {
		k := of[job.Sources[i].Path]
		by := [2]float64{within((f.SmoothX[k] - f.X[k]) / wide), within((f.SmoothY[k] - f.Y[k]) / high)}
		job.Sources[i].Shift, job.Sources[i].Turn = by, within(-f.Turned[k]*math.Pi/180)
		turn := math.Abs(job.Sources[i].Turn) / 2 // takes the edges so far
		job.Steady[0], job.Steady[1] = max(job.Steady[0], math.Abs(by[0])+turn*high/wide), max(job.Steady[1], math.Abs(by[1])+turn*wide/high)
	}
}
