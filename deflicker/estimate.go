package deflicker

import "math"

// An estimator finds the one value that most of the weighted samples r agree
// on, and how far they spread about it (a robust standard deviation). It may
// reorder neither slice. Weights are not negative; the total is above 0.
type estimator func(r, w []float64, s *scratch) (at, spread float64)

// scratch is room that estimators reuse from call to call.
type scratch struct{ v, w []float64 }

// median is the weighted median; the spread is 1.4826 times the weighted
// median of absolute deviations.
func median(r, w []float64, s *scratch) (float64, float64) {
	m := s.quantile(r, w, 0, false)
	return m, 1.4826 * s.quantile(r, w, m, true)
}

// biweight is Tukey's M-estimator of location with c = 4.685 robust standard
// deviations, started at the median. Samples farther out carry no weight at
// all, so that what moves cannot pull it.
func biweight(r, w []float64, s *scratch) (float64, float64) {
	at, spread := median(r, w, s)
	if spread == 0 {
		return at, 0
	}
	c := 4.685 * max(spread, minSpread)
	for range 20 {
		var sum, total float64
		for i, x := range r {
			u := (x - at) / c
			if q := 1 - u*u; q > 0 {
				q *= q * w[i]
				sum += q * (x - at)
				total += q
			}
		}
		if total == 0 {
			break
		}
		step := sum / total
		at += step
		if math.Abs(step) < 1e-7 {
			break
		}
	}
	return at, spread
}

// mean is the plain weighted mean: what a correction by the mean amounts to.
func mean(r, w []float64, _ *scratch) (float64, float64) {
	var sum, total, sq float64
	for i, x := range r {
		sum += w[i] * x
		total += w[i]
	}
	m := sum / total
	for i, x := range r {
		sq += w[i] * (x - m) * (x - m)
	}
	return m, math.Sqrt(sq / total)
}

// quantile is the weighted median of r, or of |r - about| when abs is set.
func (s *scratch) quantile(r, w []float64, about float64, abs bool) float64 {
	s.v, s.w = s.v[:0], s.w[:0]
	var total float64
	for i, x := range r {
		if w[i] <= 0 {
			continue
		}
		if abs {
			x = math.Abs(x - about)
		}
		s.v, s.w = append(s.v, x), append(s.w, w[i])
		total += w[i]
	}
	return selectWeight(s.v, s.w, total/2)
}

// selectWeight returns the smallest v whose weight together with that of all
// smaller ones reaches target, by quickselect; it reorders v and w.
func selectWeight(v, w []float64, target float64) float64 {
	for len(v) > 1 {
		p := medianOf3(v[0], v[len(v)/2], v[len(v)-1])
		// Three parts: below p, equal, above.
		lt, i, gt := 0, 0, len(v)
		var below, equal float64
		for i < gt {
			switch {
			case v[i] < p:
				below += w[i]
				v[lt], v[i] = v[i], v[lt]
				w[lt], w[i] = w[i], w[lt]
				lt++
				i++
			case v[i] > p:
				gt--
				v[gt], v[i] = v[i], v[gt]
				w[gt], w[i] = w[i], w[gt]
			default:
				equal += w[i]
				i++
			}
		}
		switch {
		case target <= below && lt > 0:
			v, w = v[:lt], w[:lt]
		case target <= below+equal || gt == len(v):
			return p
		default:
			target -= below + equal
			v, w = v[gt:], w[gt:]
		}
	}
	return v[0]
}

func medianOf3(a, b, c float64) float64 {
	return max(min(a, b), min(max(a, b), c))
}
