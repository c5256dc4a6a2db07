package shoot

import (
	"context"
	"fmt"

	"stillspan/deflicker"
	"stillspan/internal/settings"
)

// Draft is what a measured shoot keeps for forecasts of its light under other
// settings, without its stills being read again.
type Draft struct {
	light   deflicker.Draft
	labelEV []float64
	exif    int
}

// MeasureDraft is Measure that keeps a draft.
func (s *Shoot) MeasureDraft(ctx context.Context, progress func(done, total int)) (*Draft, error) {
	d := &Draft{exif: s.turn().EXIF()}
	if err := s.measure(ctx, progress, d.light.Add); err != nil {
		return nil, err
	}
	d.labelEV = s.Measured.LabelEV
	return d, nil
}

// Forecast is the light that settings would give, roughly: see deflicker.Draft.
func (d *Draft) Forecast(v settings.Values) (deflicker.Curve, deflicker.Result, error) {
	c := d.light.Curve(deflicker.Zone(settings.Zone.Of(v)), d.exif)
	r, err := deflicker.Solve(c, d.labelEV, solveOptions(v))
	if err != nil {
		err = fmt.Errorf("forecast of the light: %w", err)
	}
	return c, r, err
}
