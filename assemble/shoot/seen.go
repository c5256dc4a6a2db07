package shoot

import (
	"context"
	"image"

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
	f := m.Found(pictures.Options{Travels: s.Planned != nil && settings.Move.Stated(s.Planned.Given)})
	if f.Width == 0 {
		return f
	}
	scale := 1.0
	if full := s.Sequence.Frames[0].Facts.Width; full > 0 {
		scale = float64(full) / float64(f.Width)
	}
	return f.Upright(turn, scale)
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
