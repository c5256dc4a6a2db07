package deflicker

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// model is the fitted light curve.
type model struct {
	y, spread []float64
	parts     []float64 // Curve.PartsEV
	uneasy    bool      // the scene's light swings by itself
	measured  int
	usual     float64 // usual spread, EV
	light     []float64
	stairs    []float64
	event     []bool
	sigma     float64 // robust scatter about light and stairs, EV
	// off is how far each frame lies off the light that follows the curve best.
	off []float64
}

func newModel(y, spread []float64) *model {
	m := &model{y: y, spread: spread, event: make([]bool, len(y))}
	var v, w []float64
	for t := range y {
		if math.IsNaN(y[t]) {
			continue
		}
		m.measured++
		if t < len(spread) && !math.IsNaN(spread[t]) {
			v, w = append(v, spread[t]), append(w, 1)
		}
	}
	m.usual = math.NaN()
	if len(v) > 0 {
		m.usual = selectWeight(v, w, float64(len(v))/2)
	}
	return m
}

// fit finds light and step sizes together, reweighting so that frames far off
// (events, misfires) do not pull, and sets the steps' EV.
func (m *model) fit(steps []Step, p penalty) {
	m.reweighted(func(w []float64) { m.fitOnce(steps, w, p) })
}

// fitLight finds the light alone and leaves the stairs as they are.
func (m *model) fitLight(p penalty) {
	y := make([]float64, len(m.y))
	for t := range y {
		y[t] = m.y[t] - m.stairs[t]
	}
	m.reweighted(func(w []float64) {
		if s, ok := newSmoother(w, p); ok {
			m.light = s.line(y, w)
		}
	})
}

func (m *model) reweighted(fit func(w []float64)) {
	n := len(m.y)
	w := make([]float64, n)
	for t := range w {
		if !math.IsNaN(m.y[t]) {
			w[t] = 1
		}
	}
	for range 6 {
		fit(w)
		m.sigma = m.residualSigma()
		m.markEvents()
		c := 4.685 * max(m.sigma, 0.01) // the floor lets a steady sequence's bends pull
		for t := range w {
			w[t] = 0
			if u := (m.y[t] - m.light[t] - m.stairs[t]) / c; math.Abs(u) < 1 && !m.event[t] {
				w[t] = (1 - u*u) * (1 - u*u)
			}
		}
	}
}

// fitOnce solves for light z and step sizes s:
//
//	minimise sum w (y - z - H s)^2 + lambda sum (difference of z)^2
//
// where column k of H is 1 from step k on.
func (m *model) fitOnce(steps []Step, w []float64, p penalty) {
	n, k := len(m.y), len(steps)
	sm, ok := newSmoother(w, p)
	if !ok {
		// Fewer than two frames left: keep the fit there is.
		if m.light == nil {
			m.light, m.stairs = append([]float64(nil), m.y...), make([]float64, n)
		}
		return
	}
	b := mat.NewDense(n, 1+k, nil)
	for t := range n {
		if w[t] == 0 {
			continue
		}
		b.Set(t, 0, w[t]*m.y[t])
		for j, s := range steps {
			if t >= s.Frame {
				b.Set(t, 1+j, w[t])
			}
		}
	}
	z := sm.solve(b)
	if k > 0 {
		m.sizeSteps(steps, w, z)
	}
	m.light, m.stairs = make([]float64, n), stairs(n, steps)
	for t := range n {
		m.light[t] = z.At(t, 0)
		for j, s := range steps {
			m.light[t] -= s.EV * z.At(t, 1+j)
		}
	}
}

// sizeSteps solves the normal equations for the step sizes. The labels' sizes
// count as measurements of their own with an error of labelError / 2, so they
// matter only where scatter hides the size in the pixels.
func (m *model) sizeSteps(steps []Step, w []float64, z *mat.Dense) {
	k := len(steps)
	const faint = 1e-3 // keeps the equations solvable
	pull := faint + square(scatter(m.y)/(labelError/2))
	a, rhs := mat.NewSymDense(k, nil), mat.NewVecDense(k, nil)
	// Column i of H is 1 from its step on, so products with it are sums over
	// the frames from there.
	from := make([]float64, len(w)+1)
	sums := func(of func(t int) float64) {
		for t := len(w) - 1; t >= 0; t-- {
			from[t] = from[t+1]
			if w[t] != 0 {
				from[t] += w[t] * of(t)
			}
		}
	}
	sums(func(t int) float64 { return m.y[t] - z.At(t, 0) })
	for i, s := range steps {
		rhs.SetVec(i, from[s.Frame])
	}
	for j, s := range steps {
		sums(func(t int) float64 {
			if t >= s.Frame {
				return 1 - z.At(t, 1+j)
			}
			return -z.At(t, 1+j)
		})
		for i := range j + 1 {
			a.SetSym(i, j, from[steps[i].Frame])
		}
	}
	for i, s := range steps {
		if math.IsNaN(s.LabelEV) {
			a.SetSym(i, i, a.At(i, i)+faint)
			continue
		}
		a.SetSym(i, i, a.At(i, i)+pull)
		rhs.SetVec(i, rhs.AtVec(i)+pull*s.LabelEV)
	}
	var size mat.VecDense
	if err := size.SolveVec(a, rhs); err != nil && size.Len() != k {
		return
	}
	for i := range steps {
		steps[i].EV = size.AtVec(i)
	}
}

func (m *model) residualSigma() float64 {
	var v, w []float64
	for t := range m.y {
		if e := m.y[t] - m.light[t] - m.stairs[t]; !math.IsNaN(e) {
			v, w = append(v, math.Abs(e)), append(w, 1)
		}
	}
	return 1.4826 * selectWeight(v, w, float64(len(v))/2)
}

// markEvents finds short runs of frames that are far off the light and in
// which the parts of the picture disagree about the change: an error of
// exposure moves all parts alike, a flash does not.
func (m *model) markEvents() {
	far := max(5*m.sigma, 0.05)
	first := -1
	for t := 0; t <= len(m.y); t++ {
		if t < len(m.y) {
			m.event[t] = false
			if e := m.y[t] - m.light[t] - m.stairs[t]; math.Abs(e) > far {
				if first < 0 {
					first = t
				}
				continue
			}
		}
		if first >= 0 && t-first <= longestEvent && m.uneven(first, t) {
			for i := first; i < t; i++ {
				m.event[i] = true
			}
		}
		first = -1
	}
}

// uneven says whether the change into or out of frames from to end-1 differs
// across the picture far more than changes usually do.
func (m *model) uneven(from, end int) bool {
	limit := 3*m.usual + 0.02
	for _, t := range []int{from, end} {
		if t < len(m.spread) && m.spread[t] > limit {
			return true
		}
	}
	return false
}

// unevenness is how much more the picture's parts differ in the change into each
// frame than they usually do and by chance may, EV; nil where that is not known.
func (m *model) unevenness() []float64 {
	if len(m.spread) != len(m.y) {
		return nil
	}
	e := make([]float64, len(m.y))
	for t, s := range m.spread {
		e[t] = math.Sqrt(max(0, square(s)-square(1.3*m.usual)))
	}
	return e
}

func (m *model) events() []Event {
	var ev []Event
	for t := 0; t < len(m.y); t++ {
		if !m.event[t] {
			continue
		}
		e := Event{First: t, Last: t}
		for ; t < len(m.y) && m.event[t]; t++ {
			e.Last = t
			if d := m.y[t] - m.light[t] - m.stairs[t]; math.Abs(d) > math.Abs(e.EV) {
				e.EV = d
			}
		}
		ev = append(ev, e)
	}
	return ev
}

// shrink is the share of a deviation e that is corrected: none of what is
// measurement error or too small to see, nearly all of what stands well above
// (the Wiener factor 1 - noise^2/scatter^2, by the sequence's white scatter, by
// its humps or, for single frames far off, by their own). The bends of the
// light that the smoothing does not follow are neither.
func (m *model) shrink(noise float64) func(t int) float64 {
	floor := invisible
	if noise > 0 {
		floor = max(floor, 1.5*noise)
	}
	white := scatter(m.residual())
	if math.IsNaN(white) {
		white = m.sigma
	}
	all := max(0, 1-square(floor/white), 1-square(max(leastPumping, 1.5*noise)/m.humps()))
	far := max(4*floor, 5*m.sigma)
	return func(t int) float64 {
		return max(all, 1-square(far/m.off[t]))
	}
}

// residual is what light and stairs leave.
func (m *model) residual() []float64 {
	e := make([]float64, len(m.y))
	for t := range e {
		e[t] = m.y[t] - m.light[t] - m.stairs[t]
	}
	return e
}

// humps is how far what pumps in the residual lies off, EV: a robust standard
// deviation. What happens a few times is the light, and no pumping: then it is
// 0.
func (m *model) humps() float64 {
	e, w := m.residual(), make([]float64, len(m.y))
	for t := range e {
		if math.Abs(e[t]) < m.far() && !m.event[t] {
			w[t] = 1
		}
	}
	pump := pumping(e, w)
	// White scatter, too, has a part there.
	v := 1.4826 * new(scratch).quantile(pump, w, 0, true)
	v = math.Sqrt(max(0, square(v)-pumpShare*square(scatter(e))))
	if m.uneasy || lobes(pump, v/2) < leastLobes {
		return 0
	}
	return v
}

// sceneSwings says whether what is left of the light swings because the scene
// does: an error of exposure moves all parts of the picture alike, fog, clouds
// and lamps do not. Frames count by the power of their swing.
func (m *model) sceneSwings() bool {
	if len(m.parts) != len(m.y) {
		return false
	}
	e, w := m.residual(), make([]float64, len(m.y))
	for t := range e {
		if math.Abs(e[t]) < m.far() && !m.event[t] {
			w[t] = 1
		}
	}
	var whole, parts float64
	for t, p := range pumping(e, w) {
		whole += w[t] * square(p*p)
		parts += w[t] * square(p*m.parts[t])
	}
	return parts > square(mostUneven)*whole
}

// lobes counts how often v swings beyond by to the other side.
func lobes(v []float64, by float64) (n int) {
	side := 0.0
	for _, x := range v {
		if math.Abs(x) > by && x*side <= 0 {
			side = x
			n++
		}
	}
	return n
}

// far is the deviation from which a frame does not count, EV.
func (m *model) far() float64 { return 6 * max(m.sigma, 0.02) }

func square(x float64) float64 { return x * x }

const (
	// firstPeriod is the smoothing with which the steps are sized and events
	// found before the period is chosen, frames.
	firstPeriod = 40
	// leastPumping is the pumping, EV rms, that is left alone.
	leastPumping = 0.005
	// leastLobes is how often pumping swings to and fro before it is taken for
	// that.
	leastLobes = 6
	// mostUneven is how far, in parts of the swings, the picture's parts may
	// differ in them for the swings to be an exposure's.
	mostUneven = 0.4
	// mostPumping is how large humps, EV rms, are taken for an exposure that
	// pumps; larger ones are the scene's light.
	mostPumping = 0.06
)

// periods are those to choose from. An exposure that pumps (a meter that hunts,
// steps that miss their labels) does so in 8 to 60 frames: of a wave of 60, a
// period of 72 keeps a quarter. Shorter periods are for light that changes
// faster than exposures do, and take some flicker for light.
var periods, fastPeriods = []int{72, 96, 128, 176, 240, 320}, []int{12, 16, 24, 32, 40, 56}

var allPeriods = slices.Concat(fastPeriods, periods)

// settle sizes the steps beside the light that follows the curve best, then
// fits the light that is kept: with the given period or, where it is 0, the best
// of those slow enough for the exposure not to pump, unless that leaves so much
// that the light must be faster. It returns the period.
func (m *model) settle(steps []Step, period int) int {
	best, _ := m.bestPeriod(allPeriods, parabolas)
	m.fit(steps, parabolas(float64(best)))
	m.off = m.residual()
	if period != 0 {
		m.fitLight(parabolas(float64(period)))
		return period
	}
	period, _ = m.bestPeriod(periods, parabolas)
	m.fitLight(parabolas(float64(period)))
	m.uneasy = m.sceneSwings()
	if best < period && (m.uneasy || m.humps() > mostPumping) {
		period = best
		m.fitLight(parabolas(float64(period)))
	}
	return period
}

// bestPeriod picks one by generalised cross-validation: with the score
//
//	RSS / (n - 1.4 tr S)^2
//
// where tr S, the freedom of the fit, is taken from its frequency response
// over the n cosines, and 1.4 keeps chance from choosing too little smoothing
// (both from memory of the literature on smoothing splines). The longest
// period that scores within 2 % of the least is taken. So a steady light is
// averaged over many frames and a changing one is followed. Periods longer
// than the sequence are not tried, but for the shortest. It returns the period's
// score, too.
func (m *model) bestPeriod(periods []int, bent func(period float64) penalty) (best int, score float64) {
	y, w := make([]float64, len(m.y)), make([]float64, len(m.y))
	n := 0.0
	for t, e := range m.residual() {
		// Frames are in or out: graded weights would favour what the fit they
		// come from left out.
		if math.Abs(e) < m.far() && !m.event[t] {
			y[t], w[t] = m.y[t]-m.stairs[t], 1
			n++
		}
	}
	least := math.Inf(1)
	var scores []float64
	for i, p := range periods {
		if i > 0 && p > len(y) {
			break
		}
		bend := bent(float64(p))
		z := smooth(y, w, bend)
		var rss, free float64
		for t := range y {
			rss += w[t] * square(y[t]-z[t])
		}
		for k := range int(n) {
			free += bend.passes(float64(k) / (2 * n))
		}
		g := math.Inf(1)
		if used := 1.4 * free / n; used < 1 {
			g = rss / square(1-used)
		}
		scores = append(scores, g)
		least = min(least, g)
	}
	for i, g := range scores {
		if g <= 1.02*least {
			best, score = periods[i], g
		}
	}
	return best, score
}
