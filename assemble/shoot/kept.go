package shoot

import (
	"context"
	"fmt"
	"math"

	"stillspan/deflicker/measure"
	"stillspan/internal/settings"
)

// kept is what the cache keeps of a measured sequence.
type kept struct {
	Measured Measured
	Columns  [][]float64
}

// Measure reads the light of every still, or what an earlier run has made of the
// same. What is wrong with a still is in Measured.Damage; the error is for work
// that cannot go on.
func (s *Shoot) Measure(ctx context.Context, progress func(done, total int)) error {
	whole := s.whole()
	var k kept
	if whole.Load(&k) && k.fits(len(s.Sequence.Frames)) {
		s.Measured = &k.Measured
		s.Measured.columns = k.Columns
		if progress != nil {
			progress(len(k.Columns), len(k.Columns))
		}
		return ctx.Err()
	}
	err := s.measure(ctx, progress, nil)
	if err == nil {
		k := kept{*s.Measured, s.Measured.columns}
		k.Measured.Kept = 0
		for _, v := range k.Measured.HighShare {
			if !math.IsNaN(v) {
				k.Measured.Kept++
			}
		}
		whole.Store(&k, s.Measured.Damage)
	}
	return err
}

// whole names what is made of the sequence's stills, by all that it is made by; nil
// where raw stills are among them, which programs that come and go develop.
func (s *Shoot) whole() *measure.Whole {
	var sound []bool
	for k := range s.Sequence.Frames {
		f := &s.Sequence.Frames[k]
		if f.Facts.Raw {
			return nil
		}
		sound = append(sound, f.Problem == nil)
	}
	return measure.WholeOf(s.inputs(), measureOptions(s.Settings), fmt.Sprintf("%+v %+v %v %v",
		meterOptions(s.Settings, s.turn().EXIF()), s.pictureOptions(), settings.Steady.Of(s.Settings), sound))
}

// fits tells whether what was read is of n frames, and has nothing again where
// nothing was known, which the cache keeps as empty.
func (k *kept) fits(n int) bool {
	m := &k.Measured
	if len(k.Columns) != n || len(m.LabelEV) != n || len(m.HighShare) != n || len(m.LowShare) != n || len(m.Curve.LumEV) != n {
		return false
	}
	empty(k.Columns)
	empty(m.Local.EV)
	empty(m.Bands.EV)
	if m.Response != nil {
		empty(m.Response.Slope[:])
	}
	if m.Damage == nil {
		m.Damage = map[int]measure.Finding{}
	}
	return true
}

func empty[T any](rows [][]T) {
	for i, r := range rows {
		if len(r) == 0 {
			rows[i] = nil
		}
	}
}
