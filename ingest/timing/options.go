package timing

import "errors"

// Options holds the thresholds of Fit.
type Options struct {
	// LateFraction is the least departure from the cadence, as a fraction of
	// the interval, that is called late, early or a delay. Never less than
	// the clock's tick counts: a whole-second clock cannot show a frame that
	// is 0.3 s late. The half tick that a stamp leaves open comes on top.
	// Default 0.2, from which on the jump in motion begins to show (common
	// practice, no published source); range above 0 to 0.5.
	LateFraction float64
	// SteadyShare is the least share of steps that must lie near one
	// interval for a cadence to be spoken of. Default 0.6, range 0.5 to 1.
	SteadyShare float64
	// MaxSpread is the largest scatter of the steps, as a fraction of the
	// interval and without the clock's share, that still counts as a
	// cadence. Default 0.25; hand-fired sets lie above. Range above 0 to 1.
	MaxSpread float64
}

// DefaultOptions returns the thresholds used unless the caller knows better.
func DefaultOptions() Options {
	return Options{LateFraction: 0.2, SteadyShare: 0.6, MaxSpread: 0.25}
}

// Validate says which option is out of its range.
func (o Options) Validate() error {
	switch {
	case !(o.LateFraction > 0 && o.LateFraction <= 0.5):
		return errors.New("late fraction must be above 0 and at most 0.5")
	case !(o.SteadyShare >= 0.5 && o.SteadyShare <= 1):
		return errors.New("steady share must be 0.5 to 1")
	case !(o.MaxSpread > 0 && o.MaxSpread <= 1):
		return errors.New("largest spread must be above 0 and at most 1")
	}
	return nil
}
