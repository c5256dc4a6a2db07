package shoot

import (
	"context"
	"errors"
	"fmt"
	"image"
	"math"

	"stillspan/deflicker"
	"stillspan/deflicker/develop"
	"stillspan/deflicker/measure"
	"stillspan/deflicker/measure/jpeg"
	"stillspan/deflicker/pictures"
	"stillspan/ingest"
	"stillspan/internal/settings"
)

// measure measures every still, and unless also is nil hands each one's light to
// it, nil where it is damaged.
func (s *Shoot) measure(ctx context.Context, progress func(done, total int), also func(*deflicker.Grid)) error {
	n := len(s.Sequence.Frames)
	m := &Measured{
		LabelEV: make([]float64, n), HighShare: make([]float64, n), LowShare: make([]float64, n),
		Damage: map[int]measure.Finding{}, thumbs: map[int]image.Image{},
	}
	inputs, how := s.asked(), measureOptions(s.Settings)
	var err error
	if m.Develop, err = s.development(ctx, inputs); err != nil {
		return err
	}
	if m.Develop != nil {
		how.Source, how.Develop = measure.SourceDeveloped, m.Develop
	}
	columns := columns{turn: s.turn()}
	meter := deflicker.NewMeter(meterOptions(s.Settings, columns.turn.EXIF()))
	look := pictures.Meter{Steady: settings.Steady.Of(s.Settings)}
	err = measure.All(ctx, inputs, how, func(k int, g *measure.Grid, f *measure.Finding) error {
		if progress != nil {
			progress(k+1, n)
		}
		m.take(k, &s.Sequence.Frames[k], g, f)
		if f != nil {
			g = nil // a damaged picture says nothing sure about its light
		}
		light := g.Light()
		meter.Add(light)
		columns.add(light)
		if g == nil {
			look.Add(nil, nil, 0, 0)
		} else {
			look.Add(&g.Look, &g.Code, g.W, g.H)
		}
		if also != nil {
			also(light)
		}
		return nil
	})
	if err != nil {
		return err
	}
	m.Curve, m.Local, m.Bands = meter.Curve(), meter.Local(), meter.Bands()
	m.Response, m.ResponseWhy = meter.Response()
	m.columns = columns.rows
	m.Seen, err = s.seen(ctx, &look, columns.turn, m.Source)
	s.Measured = m
	return err
}

// asked are the stills that are to be measured, with what else is wanted of them.
func (s *Shoot) asked() []measure.Input {
	inputs := s.inputs()
	if s.hasPage() {
		for _, k := range s.stripFrames() {
			inputs[k].Thumb = stripSide
		}
	}
	for k := range inputs {
		path := inputs[k].Path
		if per, ok := s.ahead.Wants(path); ok {
			inputs[k].Per, inputs[k].Planes = per, func(b *jpeg.Picture) { s.ahead.Take(path, b) }
		}
	}
	return inputs
}

// take takes what was measured of frame k, and what was found wrong with it.
func (m *Measured) take(k int, frame *ingest.Frame, g *measure.Grid, f *measure.Finding) {
	m.HighShare[k], m.LowShare[k] = math.NaN(), math.NaN()
	m.LabelEV[k] = deflicker.ExposureLabelEV(frame.Facts.ExposureS, frame.Facts.FNumber, frame.Facts.ISO)
	if f != nil && frame.Problem == nil {
		m.Damage[k] = *f
	}
	if g == nil {
		return
	}
	m.HighShare[k], m.LowShare[k], m.Source = g.HighShare, g.LowShare, g.Source
	if g.Thumb != nil {
		m.thumbs[k] = g.Thumb
	}
	if g.Kept {
		m.Kept++
	}
}

// Solve tells light from flicker in what was measured.
func (s *Shoot) Solve() error {
	r, err := deflicker.Solve(s.Measured.Curve, s.Measured.LabelEV, solveOptions(s.Settings))
	if err != nil {
		return fmt.Errorf("sequence %s: %w", s.Sequence.ID, err)
	}
	s.Solved = &Solved{Result: r, Corrects: settings.Deflicker.Of(s.Settings)}
	return nil
}

// development is how a sequence's raw files are developed, by the first that
// LibRaw knows of its first few, as one may be damaged; nil where they are not
// developed, or LibRaw knows none.
func (s *Shoot) development(ctx context.Context, inputs []measure.Input) (*develop.Settings, error) {
	clip := ClipOptions(s.Settings)
	if !clip.Develops() {
		return nil, nil
	}
	const few = 3
	for tries, k := 0, 0; k < len(inputs) && tries < few; k++ {
		in := inputs[k]
		if !in.Facts.Raw || in.Problem != nil {
			continue
		}
		tries++
		d, err := develop.Identify(ctx, in.Path)
		if !errors.Is(err, develop.ErrUnknown) {
			d.Wide = clip.ColourSpace().Wide()
			return &d, err
		}
	}
	return nil, nil
}

func (s *Shoot) inputs() []measure.Input { return inputs(s.Sequence.Frames) }

func inputs(frames []ingest.Frame) []measure.Input {
	in := make([]measure.Input, len(frames))
	for k := range frames {
		in[k] = Input(&frames[k])
	}
	return in
}

// Input is what is measured of a frame.
func Input(f *ingest.Frame) measure.Input {
	return measure.Input{Path: f.Path, Facts: f.Facts, ModTime: f.ModTime, Size: f.Size, Problem: f.Problem}
}

// CheckLoose walks the loose stills to their end, as a thorough check does, and
// counts the damaged ones among the files that belong to no sequence for it.
func (f *Found) CheckLoose(ctx context.Context, v settings.Values) error {
	var sound []ingest.Frame
	err := measure.All(ctx, inputs(f.Dump.Loose), measureOptions(v), func(i int, _ *measure.Grid, wrong *measure.Finding) error {
		frame := f.Dump.Loose[i]
		if wrong == nil {
			sound = append(sound, frame)
			return nil
		}
		frame.Problem = wrong
		f.Dump.Unreadable = append(f.Dump.Unreadable, frame)
		return nil
	})
	if err == nil {
		f.Dump.Loose = sound
	}
	return err
}
