package shoot

import (
	"context"
	"image"
	"math"

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
// still.
func (s *Shoot) seen(m *pictures.Meter, turn orientation.Turn) pictures.Found {
	f := m.Found(pictures.Options{Travels: s.Planned != nil && settings.Move.Stated(s.Planned.Given), Skipped: s.skipped()})
	if f.Width == 0 {
		return f
	}
	scale := 1.0
	if full := s.Sequence.Frames[0].Facts.Width; full > 0 {
		scale = float64(full) / float64(f.Width)
	}
	return f.Upright(turn, scale)
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
// how many findings are shown.
const (
	exhibitSide = 480
	exhibits    = 12
)

// takeExhibits makes the pictures of the gravest findings.
func (s *Shoot) takeExhibits(ctx context.Context) error {
	if s.Measured == nil {
		return nil
	}
	in := s.inputs()
	s.Pictures.Exhibits = map[int]Exhibit{}
	for _, want := range []pictures.Severity{pictures.Spoils, pictures.Look} {
		for i, f := range s.Measured.Seen.Findings {
			if f.Severity != want || len(s.Pictures.Exhibits) == exhibits {
				continue
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

// mostSteady bounds how far a frame is moved, a share of the picture.
const mostSteady = 0.1

// steady has the frames of a job moved to where a smooth path would have them.
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
		job.Sources[i].Shift = by
		job.Steady[0], job.Steady[1] = max(job.Steady[0], math.Abs(by[0])), max(job.Steady[1], math.Abs(by[1]))
	}
}
