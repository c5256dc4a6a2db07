package deflicker

import (
	"fmt"
	"math"
)

// lags are the distances, in frames, at which frames are compared. Several
// lags close loops, so that errors of single comparisons do not add up along
// the sequence.
var lags = []int{1, 2, 4, 8}

const (
	maxLag = 8
	// meterCells is the most cells along the longer side that are compared;
	// finer grids are averaged down to it.
	meterCells = 80
)

// Zone is the part of the upright picture that is measured, in fractions of
// its width and height from the top left. The zero Zone is the whole picture.
type Zone struct{ X, Y, W, H float64 }

// Validate says which side lies outside the picture.
func (z Zone) Validate() error {
	if z == (Zone{}) {
		return nil
	}
	if !(z.X >= 0 && z.Y >= 0 && z.W > 0 && z.H > 0 && z.X+z.W <= 1+1e-9 && z.Y+z.H <= 1+1e-9) {
		return fmt.Errorf("zone %g,%g,%g,%g: x, y, width and height are fractions from 0 to 1 and must lie within the picture", z.X, z.Y, z.W, z.H)
	}
	return nil
}

// MeterOptions says what part of the picture counts.
type MeterOptions struct {
	Zone Zone
	// Orientation is the EXIF orientation of the grids, 1 to 8, needed for
	// Zone and Local because grids lie as stored; 0 counts as 1.
	Orientation int
	// Local asks for Meter.Local. It measures the whole picture, so with a
	// Zone set nothing comes of it.
	Local bool
}

// Meter compares the frames of one sequence as they come and builds their
// light curve. It keeps only the last few grids. Not for concurrent use.
type Meter struct {
	opt      MeterOptions
	estimate estimator
	n        int // frames added
	recent   [maxLag + 1]*cells
	links    []link
	lum      []float64
	spread   []float64
	s        scratch
	r, w     []float64
	local    *localMeter // nil unless asked for
}

// link is one comparison: frame to is ev brighter than frame from.
type link struct {
	from, to   int
	ev, spread float64
}

// NewMeter returns a meter for one sequence. It panics on a zone that
// Validate refuses.
func NewMeter(o MeterOptions) *Meter {
	if err := o.Zone.Validate(); err != nil {
		panic("deflicker: " + err.Error())
	}
	m := &Meter{opt: o, estimate: median}
	if o.Local && o.Zone == (Zone{}) {
		m.local = new(localMeter)
	}
	return m
}

// Add takes the next frame's grid; nil stands for a frame that could not be
// measured. The grid is not kept.
func (m *Meter) Add(g *Grid) {
	t := m.n
	m.n++
	m.lum = append(m.lum, math.NaN())
	m.spread = append(m.spread, math.NaN())
	var c *cells
	if g != nil {
		c = newCells(g, m.opt)
	}
	m.recent[t%len(m.recent)] = c
	if m.local != nil {
		m.local.add(c)
	}
	if c == nil {
		return
	}
	m.lum[t] = c.lumEV
	for _, lag := range lags {
		if lag > t {
			break
		}
		p := m.recent[(t-lag)%len(m.recent)]
		if p == nil || p.w != c.w || p.h != c.h {
			continue
		}
		l, ok := m.compare(p, c)
		if !ok {
			continue
		}
		l.from, l.to = t-lag, t
		m.links = append(m.links, l)
		if lag == 1 {
			m.spread[t] = l.spread
		}
		if m.local != nil && lag <= localLag {
			m.local.compare(p, c, l)
		}
	}
}

// compare finds by how many EV the whole picture changed from p to c.
func (m *Meter) compare(p, c *cells) (link, bool) {
	m.r, m.w = m.r[:0], m.w[:0]
	for i, w := range c.weight {
		if w = min(w, p.weight[i]); w > 0 {
			m.r = append(m.r, c.ev[i]-p.ev[i])
			m.w = append(m.w, w)
		}
	}
	if len(m.r) < 8 {
		return link{}, false
	}
	at, spread := m.estimate(m.r, m.w, &m.s)
	return link{ev: at, spread: spread}, true
}

// Curve joins what was compared so far.
func (m *Meter) Curve() Curve {
	c := Curve{
		LumEV:    append([]float64(nil), m.lum...),
		SpreadEV: append([]float64(nil), m.spread...),
	}
	c.ExposureEV, c.NoiseEV = join(m.lum, m.links)
	return c
}

// Local is the correction of what differed across the frame in the frames
// compared so far.
func (m *Meter) Local() Local {
	if m.local == nil {
		nan := math.NaN()
		return Local{Why: "not asked for, or a zone is set", ScatterEV: nan, NoiseEV: nan}
	}
	return m.local.solveLocal(m.opt.Orientation)
}
