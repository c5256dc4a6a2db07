package deflicker

import (
	"fmt"
	"math"
	"runtime"
	"slices"
	"sync"
)

// lags are the distances, in frames, at which frames are compared. Several
// lags close loops, so that errors of single comparisons do not add up along
// the sequence.
var lags = []int{1, 2, 4, 8}

const (
	maxLag = 8
	// colourLag is the longest at which colours are compared.
	colourLag = 2
	// colourSteps is as far apart, EV, as steps of a JPEG's colours may be.
	colourSteps = 0.12
	// meterCells is the most cells along the longer side that are compared;
	// finer grids are averaged down to it.
	meterCells = 96
	// meterBytes bounds the memory of the cells that are kept. Where a long
	// sequence needs more, all are made coarser.
	meterBytes = 128 << 20
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

// MeterOptions says what part of the picture counts and what is looked for.
type MeterOptions struct {
	Zone Zone
	// Orientation is the EXIF orientation of the grids, 1 to 8, needed for
	// Zone and Local because grids lie as stored; 0 counts as 1.
	Orientation int
	// Local asks for Meter.Local, Bands for Meter.Bands. They measure the whole
	// picture, so with a Zone set nothing comes of them.
	Local, Bands bool
	// Tones asks for the camera's own response to be told from the sequence.
	Tones bool
	// ByTone asks for Figures.ToneEV.
	ByTone bool
	// Response is the camera's response where it is known already; nil for
	// IEC 61966-2-1.
	Response *Response
}

// Meter gathers the frames of one sequence as they come and builds their light
// curve. It keeps a small reduction of each. Not for concurrent use.
type Meter struct {
	opt      MeterOptions
	estimate estimator
	frames   []*cells // nil where a frame could not be measured
	bytes    int
	tones    *tones // nil unless asked for
	out      *outcome
}

// outcome is what the comparison of all frames gave.
type outcome struct {
	curve    Curve
	figures  Figures
	local    Local
	bands    Bands
	response *Response
	why      string // no response
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
	if o.Tones {
		m.tones = new(tones)
	}
	return m
}

// Add takes the next frame's grid; nil stands for a frame that could not be
// measured. The grid is not kept.
func (m *Meter) Add(g *Grid) {
	m.out = nil
	var c *cells
	if g != nil {
		c = newCells(g, m.opt)
	}
	if m.tones != nil {
		m.tones.add(g)
	}
	m.frames = append(m.frames, c)
	if c == nil {
		return
	}
	for m.bytes += c.bytes(); m.bytes > meterBytes; {
		m.bytes = 0
		for t, c := range m.frames {
			if c != nil {
				m.frames[t] = c.coarser()
				m.bytes += m.frames[t].bytes()
			}
		}
	}
}

// solve compares all frames once for each set of questions.
func (m *Meter) solve() *outcome {
	if m.out != nil {
		return m.out
	}
	o := &outcome{response: m.opt.Response}
	if m.tones != nil {
		// Better exposures give better slopes, and these better exposures.
		for range 2 {
			r, why := m.tones.response(m.compareAll(o.response, lags[:1], MeterOptions{}).changes())
			if o.response, o.why = r, why; r == nil {
				break
			}
		}
	}
	p := m.compareAll(o.response, lags, m.opt)
	o.curve = p.curve()
	o.figures = p.figures(o.curve, m.opt.ByTone)
	nan := math.NaN()
	o.local = Local{Why: "not asked for, or a zone is set", ScatterEV: nan, NoiseEV: nan}
	if p.local != nil {
		bands := p.bands.solve(p.level())
		o.bands = bands.bands(m.opt.Orientation)
		o.bands.Use = bands != nil && m.opt.Bands
		if m.opt.Local {
			o.local = p.local.solveLocal(m.opt.Orientation, bands)
		}
	}
	m.out = o
	return o
}

// Curve joins what was compared so far.
func (m *Meter) Curve() Curve { return m.solve().curve }

// Figures are the faults of the frames as they are.
func (m *Meter) Figures() Figures { return m.solve().figures }

// Local is the correction of what differed across the frame in the frames
// compared so far.
func (m *Meter) Local() Local { return m.solve().local }

// Bands are those of mains-lit lamps in the frames compared so far.
func (m *Meter) Bands() Bands { return m.solve().bands }

// Response is the camera's response that the light was measured by; nil for
// IEC 61966-2-1, and then why says why it was not told from the sequence.
func (m *Meter) Response() (r *Response, why string) { return m.solve().response, m.solve().why }

// comparison is all frames of a meter compared on one scale.
type comparison struct {
	lum, spread []float64
	links       []link
	colour      [2][]link // red and blue, each against green
	halves      [3]halves // of links and colour
	tone        [toneHalves][]link
	local       *localMeter // nil unless asked for
	bands       bandMeter   // beside local
	parts       partMeter
}

// compareAll compares each frame with those that lie the given lags before it,
// for the figures that o asks for: stretches of the sequence side by side.
func (m *Meter) compareAll(r *Response, lags []int, o MeterOptions) *comparison {
	n := len(m.frames)
	p := &comparison{lum: make([]float64, n), spread: make([]float64, n)}
	if (o.Local || o.Bands) && o.Zone == (Zone{}) {
		p.local = newLocalMeter(m.frames)
	}
	var edges [sixths - 1]uint16
	if o.ByTone {
		edges = tonesApart(m.frames)
	}
	s := newScale(r)
	parts := make([]*comparison, min(runtime.GOMAXPROCS(0), n/(4*maxLag)+1))
	var wait sync.WaitGroup
	for k := range parts {
		parts[k] = &comparison{lum: p.lum, spread: p.spread, local: p.local.part()}
		c := comparer{estimate: m.estimate, byTones: o.ByTone, edges: edges}
		from, to := k*n/len(parts), (k+1)*n/len(parts)
		wait.Go(func() { parts[k].stretch(m.frames, from, to, s, lags, &c) })
	}
	wait.Wait()
	for _, part := range parts {
		p.append(part)
	}
	return p
}

// append adds the comparisons of a later part.
func (p *comparison) append(q *comparison) {
	p.links = append(p.links, q.links...)
	for k := range p.colour {
		p.colour[k] = append(p.colour[k], q.colour[k]...)
	}
	for k := range p.tone {
		p.tone[k] = append(p.tone[k], q.tone[k]...)
	}
	for k := range p.halves {
		p.halves[k].append(&q.halves[k])
	}
	p.parts.append(&q.parts)
	if p.local != nil {
		p.local.append(q.local)
		p.bands.append(&q.bands)
	}
}

// stretch compares frames from to to-1 with those before them.
func (p *comparison) stretch(frames []*cells, from, to int, s *scale, lags []int, c *comparer) {
	var recent [maxLag + 1]view
	for t := max(from-maxLag, 0); t < to; t++ {
		f := frames[t]
		now := &recent[t%len(recent)]
		now.cells = nil
		if f != nil {
			s.look(now, f)
		}
		if t < from {
			continue
		}
		p.lum[t], p.spread[t] = math.NaN(), math.NaN()
		if f == nil {
			continue
		}
		p.lum[t] = f.lumEV
		for _, lag := range lags {
			if lag > t {
				break
			}
			before := &recent[(t-lag)%len(recent)]
			if before.cells != nil && before.w == now.w && before.h == now.h {
				p.compare(c, before, now, link{from: t - lag, to: t})
			}
		}
	}
}

// compare compares two frames in all that is asked for.
func (p *comparison) compare(c *comparer, before, now *view, l link) {
	lag := l.to - l.from
	if lag <= colourLag {
		p.addColour(c, before, now, l)
	}
	if !c.light(before, now, &l) {
		return
	}
	p.links = append(p.links, l)
	if lag == 1 {
		p.spread[l.to] = l.spread
	}
	if c.byTones && lag <= colourLag {
		ev, ok := c.byTone(before, now)
		for k := range ev {
			if ok[k] {
				p.tone[k] = append(p.tone[k], link{from: l.from, to: l.to, ev: ev[k].ev, spread: ev[k].spread})
			}
		}
	}
	if lag <= localLag && !c.byTones { // which are for figures alone
		p.parts.compare(now, c.r, c.w, l)
		p.halves[0].compare(now, c.r, c.w, l)
	}
	if p.local != nil && lag <= localLag {
		p.local.compare(before, now, c.r, c.w, l)
		p.bands.compare(now, c.r, c.w, l)
	}
}

// addColour compares colours, and puts what c takes for their change.
func (p *comparison) addColour(c *comparer, before, now *view, at link) {
	c.shift = [3]float32{}
	for k, j := range [2]int{0, 2} {
		if l := at; c.ratio(before, now, j, &l) {
			p.colour[k] = append(p.colour[k], l)
			c.shift[j] = float32(l.ev)
			if !c.byTones {
				p.halves[1+k].compare(now, c.r, c.w, l)
			}
		}
	}
}

// comparer compares two frames at a time.
type comparer struct {
	estimate estimator
	byTones  bool
	edges    [sixths - 1]uint16 // of the tones
	s        scratch
	r, w     []float32  // by cell; w is 0 where nothing is to be compared
	total    []float32  // by cell, of the channels' parts
	class    []uint8    // sixth of the tones, by cell
	sr, sw   []float32  // r and w in order of that
	shift    [3]float32 // by how much a channel changed more than green
}

// ratio finds by how many EV channel j changed more than green from p to c,
// within each cell: where the scene moves, colours change less than light does.
// JPEG keeps colours in coarse steps, so that cells count by how fine they are
// there, and those within some steps of the most are averaged.
func (m *comparer) ratio(p, c *view, j int, to *link) bool {
	m.r, m.w = room(m.r, len(c.open)), room(m.w, len(c.open))
	pj, cj, pg, cg := p.ev[j], c.ev[j], p.ev[1], c.ev[1]
	pw, cw, pv, cv := p.fine[j], c.fine[j], p.fine[1], c.fine[1]
	some := 0
	for i := range m.r {
		m.w[i] = min(pw[i], cw[i], pv[i], cv[i])
		m.r[i] = (cj[i] - pj[i]) - (cg[i] - pg[i])
		if m.w[i] > 0 {
			some++
		}
	}
	if some < leastCells {
		return false
	}
	m.s.steps = colourSteps
	to.ev, to.spread = m.estimate(m.r, m.w, &m.s)
	m.s.steps = 0
	return true
}

// light finds by how many EV the whole picture's luminance changed from p to c.
// Where colours shift, luminance changes by less or more in cells of other
// colours; the channels' shifts bring all to what a grey does.
func (m *comparer) light(p, c *view, to *link) bool {
	m.r, m.w = room(m.r, len(c.open)), room(m.w, len(c.open))
	m.total = zeroed(m.total, len(c.open))
	clear(m.r)
	clear(m.w)
	for j, shift := range m.shift {
		m.addChannel(p, c, j, shift)
	}
	some := 0
	grey := float32(lumWeight[0])*m.shift[0] + float32(lumWeight[2])*m.shift[2]
	for i, total := range m.total {
		if total > 0 {
			m.r[i] = m.r[i]/total + grey
			some++
		}
	}
	if some < leastCells {
		return false
	}
	to.ev, to.spread = m.estimate(m.r, m.w, &m.s)
	return true
}

// addChannel adds channel j's part in the change of each cell's luminance to r,
// total and w.
func (m *comparer) addChannel(p, c *view, j int, shift float32) {
	n := len(m.r)
	change, total, most := m.r[:n], m.total[:n], m.w[:n]
	pe, ce, pp, cp, pw, cw := p.ev[j][:n], c.ev[j][:n], p.part[j][:n], c.part[j][:n], p.weight[j][:n], c.weight[j][:n]
	for i := range change {
		part := min(pp[i], cp[i])
		change[i] += part * (ce[i] - pe[i] - shift)
		total[i] += part
		most[i] = max(most[i], min(pw[i], cw[i]))
	}
}

// leastCells are needed to compare two frames.
const leastCells = 8

// figures are the faults of the frames as they are.
func (p *comparison) figures(c Curve, byTone bool) Figures {
	f := Figures{FlickerEV: FlickerEV(c.ExposureEV), ColourEV: ColourEV(c.RedEV, c.BlueEV), PumpingEV: PumpingEV(c.ExposureEV)}
	for _, l := range p.lum {
		if !math.IsNaN(l) {
			f.Frames++
		}
	}
	for k := 0; byTone && k < toneHalves; k += 2 {
		level := p.level()
		f.ToneEV = append(f.ToneEV, toneFlicker([2][]float64{join(level, p.tone[k]), join(level, p.tone[k+1])}, c.ExposureEV))
	}
	return f
}

// lessSpoilt is the light y of a tone without the frames in which it leaves that
// of the whole picture for a moment by far: there something covers what has that
// tone, and no exposure is at fault.
func lessSpoilt(y, whole []float64) []float64 {
	d := make([]float64, len(y))
	for t := range y {
		d[t] = y[t] - whole[t]
	}
	far := max(spoiltTone, 6*scatter(d))
	out := slices.Clone(y)
	s := new(scratch)
	for t := range d {
		var near, w []float64
		for _, e := range d[max(t-longestEvent, 0):min(t+longestEvent+1, len(d))] {
			if !math.IsNaN(e) {
				near, w = append(near, e), append(w, 1)
			}
		}
		if len(near) > 0 && math.Abs(d[t]-s.quantile(near, w, 0, false)) > far {
			out[t] = math.NaN()
		}
	}
	return out
}

// spoiltTone is how far a tone may always be off the whole picture, EV: what a
// camera's contrast makes of an exposure's errors is less.
const spoiltTone = 0.15

// level is 0 where there is light: pieces that no link joins keep their level.
func (p *comparison) level() []float64 {
	level := make([]float64, len(p.lum))
	for t := range level {
		level[t] = 0 * p.lum[t]
	}
	return level
}

// curve joins the comparisons.
func (p *comparison) curve() Curve {
	c := Curve{LumEV: p.lum, SpreadEV: p.spread}
	level := p.level()
	c.ExposureEV, c.NoiseEV = join(p.lum, p.links), p.halves[0].error(level)
	c.PartsEV = p.parts.disagree(level)
	c.RedEV, c.BlueEV = join(level, p.colour[0]), join(level, p.colour[1])
	c.ColourNoiseEV = [2]float64{p.halves[1].error(level), p.halves[2].error(level)}
	return c
}

// changes is the change of each channel's exposure from frame t-1 to t, NaN
// where unknown. A white balance moves red and blue by themselves; what of
// their change goes with green's is no doing of it but of channels that are
// read on scales of their own, and left out.
func (p *comparison) changes() (ev [3][]float64) {
	n := len(p.lum)
	for j := range ev {
		ev[j] = make([]float64, n)
	}
	for k, j := range [2]int{0, 2} {
		for _, l := range p.colour[k] {
			if l.to-l.from == 1 {
				ev[j][l.to] = l.ev
			}
		}
	}
	known := make([]float64, n)
	for _, l := range p.links {
		if t := l.to; t-l.from == 1 {
			known[t] = 1
			ev[1][t] = Channels(l.ev, ev[0][t], ev[2][t])[1]
		}
	}
	for _, j := range [2]int{0, 2} {
		slope, _, explained := regress(ev[1], ev[j], known)
		if explained < 0.5 {
			slope = 0 // by chance
		}
		for t, green := range ev[1] {
			ev[j][t] += (1 - slope) * green
		}
	}
	for t := range known {
		if known[t] == 0 {
			ev[0][t], ev[1][t], ev[2][t] = math.NaN(), math.NaN(), math.NaN()
		}
	}
	return ev
}

// Channels are the exposures of R, G and B, EV, of which light is the mean
// weighted as in luminance and red and blue are how much more theirs is than
// green's.
func Channels(light, red, blue float64) [3]float64 {
	green := light - lumWeight[0]*red - lumWeight[2]*blue
	return [3]float64{green + red, green, green + blue}
}
