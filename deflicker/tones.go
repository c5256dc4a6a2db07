package deflicker

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// tones gathers, from frame to frame, how far the codes of each tone change:
// the joint histogram of neighbours (Mann and Picard, "On being 'undigital'
// with digital cameras", 1995) reduced to what is needed of it. Exposures
// differ by little here, so that of each bin its mean change suffices.
//
// Cells are put into bins by the mean of both frames' codes: by one frame's
// alone, noise would lead cells into the bin that do not belong there, and the
// change would be that of their way back.
type tones struct {
	w, h   int
	last   [3][]float32 // codes of the frame before; nil after a hole
	open   []bool
	flat   []float32
	change []toneChange // one a frame, from the frame before

	at        []uint8 // bins of cells
	d, u, one []float64
	s         scratch
}

// toneChange is the change of a frame's tones from the frame before, by
// channel and bin: mean change of decoded light, EV, and its weight, the inverse
// of its variance; 0 where nothing is known.
type toneChange struct {
	ev, weight [3][toneBins]float32
	flat       [3][toneBins]float32 // mean of the cells' weights
	cells      [3][toneBins]int32
}

const (
	// mostCells are compared of a frame.
	mostCells = 6000
	// farChange is how many scatters a change may lie off the usual one.
	farChange = 5
	// fewCells in a bin say nothing.
	fewCells = 6
	// leastSigma is the least scatter that cells of a bin are believed to
	// have, codes of 0 to 1: steps of the block means.
	leastSigma = 0.3 / 255
	// flatCode is the difference of a cell's neighbours, codes of 0 to 1, at
	// which its weight has fallen to half: where the picture has detail a cell
	// mixes tones.
	flatCode = 4. / 255
)

// add takes the next frame's grid, nil for none.
func (n *tones) add(g *Grid) {
	n.change = append(n.change, toneChange{})
	if g == nil || !g.whole() {
		n.last[0] = nil
		return
	}
	known := n.last[0] != nil && n.w == g.W && n.h == g.H
	if known {
		n.compare(g, &n.change[len(n.change)-1])
	}
	n.w, n.h = g.W, g.H
	n.open = n.open[:0]
	for i := range g.Clip {
		n.open = append(n.open, tellsTone(g, i))
	}
	for c, code := range g.Code {
		n.last[c] = n.last[c][:0]
		for _, v := range code {
			n.last[c] = append(n.last[c], float32(v))
		}
	}
	n.flatness(g)
}

// tellsTone says whether cell i of g is neither clipped nor mixed with what is.
// What is too dark to tell exposure by has a tone all the same.
func tellsTone(g *Grid, i int) bool {
	const dark = 0.1
	return g.Clip[i] < clipShare || max(g.Code[0][i], g.Code[1][i], g.Code[2][i]) < dark
}

// flatness weighs cells by how little their neighbours differ.
func (n *tones) flatness(g *Grid) {
	n.flat = room(n.flat, g.W*g.H)
	for y := range g.H {
		up, down := max(y-1, 0)*g.W, min(y+1, g.H-1)*g.W
		for x := range g.W {
			left, right := max(x-1, 0), min(x+1, g.W-1)
			var slope float64
			for _, code := range g.Code {
				slope = max(slope, math.Abs(code[y*g.W+right]-code[y*g.W+left]), math.Abs(code[down+x]-code[up+x]))
			}
			n.flat[y*g.W+x] = float32(max(0.1, 1/(1+square(slope/flatCode))))
		}
	}
}

// compare finds the change of each channel's tones to g.
func (n *tones) compare(g *Grid, to *toneChange) {
	step := (len(g.Clip) + mostCells - 1) / mostCells
	for c := range g.Code {
		// Cells in order of their bins.
		var count [toneBins]int
		n.sort(g, c, step, &count)
		if len(n.d) < fewCells {
			continue
		}
		one := n.ones(len(n.d))
		usual := n.s.quantile(n.d, one, 0, false)
		reach := farChange * 1.4826 * n.s.quantile(n.d, one, usual, true)
		from := 0
		for b, k := range count {
			d, u := still(n.d[from:from+k], n.u[from:from+k], usual, reach+farChange*leastSigma*lightPerCode[b])
			from += k
			if to.cells[c][b] = int32(len(d)); len(d) >= fewCells {
				mean, variance, flat := n.location(d, u, leastSigma*lightPerCode[b])
				to.ev[c][b], to.weight[c][b], to.flat[c][b] = float32(mean), float32(1/variance), float32(flat)
			}
		}
	}
}

// still leaves the changes within reach of the usual one, and their weights, in
// place: what moves before the scene shows a change of any size.
func still(d, u []float64, usual, reach float64) ([]float64, []float64) {
	k := 0
	for i, x := range d {
		if math.Abs(x-usual) <= reach {
			d[k], u[k] = x, u[i]
			k++
		}
	}
	return d[:k], u[:k]
}

// ones are n weights of 1.
func (n *tones) ones(count int) []float64 {
	for len(n.one) < count {
		n.one = append(n.one, 1)
	}
	return n.one[:count]
}

// sort puts every step-th cell's change and weight into d and u, bin after
// bin, and counts them.
func (n *tones) sort(g *Grid, c, step int, count *[toneBins]int) {
	code, last := g.Code[c], n.last[c]
	n.at = n.at[:0]
	for i := 0; i < len(code); i += step {
		b := uint8(toneBins)
		if n.open[i] && tellsTone(g, i) {
			b = binOf((code[i] + float64(last[i])) / 2)
			count[b]++
		}
		n.at = append(n.at, b)
	}
	var next [toneBins]int
	for b := range toneBins - 1 {
		next[b+1] = next[b] + count[b]
	}
	total := next[toneBins-1] + count[toneBins-1]
	n.d, n.u = room(n.d, total), room(n.u, total)
	for k, b := range n.at {
		if b < toneBins {
			i := k * step
			// A bin in the dark is wide in light, and its cells may lie anywhere in it.
			before := float64(last[i])
			n.d[next[b]], n.u[next[b]] = (code[i]-before)*perCode((code[i]+before)/2), float64(n.flat[i])
			next[b]++
		}
	}
}

// binOf is the bin of a code of 0 to 1.
func binOf(v float64) uint8 { return binTable[int(v*float64(len(binTable)-1)+0.5)] }

var binTable = func() (t [4081]uint8) {
	for i := range t {
		t[i] = uint8(min(int(codeBin(float64(i)/float64(len(t)-1))), toneBins-1))
	}
	return t
}()

// location is what most of d, of a scatter of at least least, agree on, the
// variance of that and their mean weight: the median bettered by one step of
// Tukey's biweight, since the means of blocks come in steps to which a median is
// bound. Only the step goes by the weights: in a street before leaves most that is
// even moves.
func (n *tones) location(d, w []float64, least float64) (mean, variance, weight float64) {
	one := n.ones(len(d))
	m := n.s.quantile(d, one, 0, false)
	sigma := max(1.4826*n.s.quantile(d, one, m, true), least)
	reach := 4.685 * sigma
	var sum, total, squares, even float64
	for i, x := range d {
		u := (x - m) / reach
		if u*u >= 1 {
			continue
		}
		k := w[i] * square(1-u*u)
		sum += k * (x - m)
		total += k
		even += square(1 - u*u)
		squares += k * k
	}
	return m + sum/total, square(sigma) * squares / square(total), total / even
}

const (
	// toneWindow is the width, frames, of the mean that is taken off before
	// tones are compared: what the scene's light does slowly it may do
	// differently in different tones.
	toneWindow = 33
	// leastToneFrames, compared with the one before, are needed.
	leastToneFrames = 12
	// leastChange is the scatter of exposure from frame to frame, EV, from
	// which it says something of the response.
	leastChange = 0.01
	// leastExplained is the share of a bin's changes that exposure must
	// explain for the bin to have a say.
	leastExplained = 0.8
	// leastContrast is how far slopes must be from 1, rms, to be worth a
	// correction of their own.
	leastContrast = 0.025
	// mostSlopeError is the error of a slope that says nothing: frames that are all
	// alike give any.
	mostSlopeError = 1
	// slopeError is what no slope is believed to be better than, and is larger
	// the more tones its cells mix.
	slopeError = 0.004
	// bendSlope is the usual change of slope, from bin to bin, of the slope of
	// a camera's contrast, and channelSlope how far its channels differ.
	bendSlope, levelSlope, channelSlope = 0.008, 0.05, 0.02
)

// response finds the camera's response from the tones' changes and the changes
// of exposure ev[c][t] of the channels from frame t-1 to t (NaN: unknown). It
// is nil, and why says so, where it cannot be told or is that of IEC 61966-2-1.
//
// The change of a bin is its slope times the change of exposure, so all bins'
// changes together are a matrix of rank one, and the slopes a regression of
// one on the other: weighted, robust, and drawn to a smooth line where few
// cells speak. Bins whose changes are not explained by exposure have no say,
// and bins of at least half the picture must have one.
func (n *tones) response(ev [3][]float64) (r *Response, why string) {
	const tooLittle = "the exposure changes too little to tell the camera's response"
	x, steady := n.exposures(ev)
	if !(steady >= leastChange) {
		return nil, tooLittle
	}
	var got, weight [3][]float64
	var pooled, all [toneBins]float64
	cells := n.cells()
	said, total := 0.0, 0.0
	for c := range got {
		got[c], weight[c] = n.slopes(c, x[c])
		for b, w := range weight[c] {
			pooled[b] += w * got[c][b]
			all[b] += w
			total += cells[c][b]
			if w > 0 {
				said += cells[c][b]
			}
		}
	}
	if !(said > total/2) {
		return nil, "too much moves in the scene to tell the camera's response"
	}
	for b := range pooled {
		if all[b] > 0 {
			pooled[b] /= all[b]
		}
	}
	line := smoothSlopes(pooled[:], all[:], nil)
	r = new(Response)
	for c := range got {
		r.Slope[c] = smoothSlopes(got[c], weight[c], line)
	}
	if scaleSlopes(r, cells) < leastContrast {
		return nil, "the camera's response is that of sRGB"
	}
	return r, ""
}

// cells counts the cells of each channel and bin over all frames.
func (n *tones) cells() (sum [3][toneBins]float64) {
	for i := range n.change {
		for c := range sum {
			for b, k := range n.change[i].cells[c] {
				sum[c][b] += float64(k)
			}
		}
	}
	return sum
}

// exposures are ev less what changes slowly and without what lies far off
// (steps, flashes), NaN there, and the scatter of the light of most of them.
func (n *tones) exposures(ev [3][]float64) (x [3][]float64, scatter float64) {
	w := make([]float64, len(ev[1]))
	known := 0
	for t, e := range ev[1] {
		if !math.IsNaN(e) {
			w[t] = 1
			known++
		}
	}
	if known < leastToneFrames {
		return x, 0
	}
	d := lessMean(ev[1], w)
	scatter = 1.4826 * n.s.quantile(d, w, 0, true)
	for c := range x {
		x[c] = append([]float64(nil), ev[c]...)
		for t := range x[c] {
			if math.Abs(d[t]) > 5*scatter {
				x[c][t] = math.NaN()
			}
		}
	}
	return x, scatter
}

// scaleSlopes gives the slopes the size at which exposure, by the tones that
// most of the picture has, keeps the measure it has without a response. It
// returns how far those tones' slopes are from 1, rms.
func scaleSlopes(r *Response, cells [3][toneBins]float64) float64 {
	var level, total, off float64
	for c := range cells {
		for b, k := range cells[c] {
			level += k * math.Log(r.Slope[c][b])
			total += k
		}
	}
	f := math.Exp(-level / max(total, 1))
	for c := range r.Slope {
		for b := range r.Slope[c] {
			r.Slope[c][b] = min(max(r.Slope[c][b]*f, leastSlope), mostSlope)
			off += cells[c][b] * square(r.Slope[c][b]-1)
		}
	}
	return math.Sqrt(off / max(total, 1))
}

// perCode is by how many EV decoded light changes with the code, at code v of 0
// to 1.
func perCode(v float64) float64 {
	v = max(v, 0.5/255)
	if v <= 12.92*0.0031308 { // IEC 61966-2-1, item 5.2
		return 1 / (v * math.Ln2)
	}
	return 2.4 / ((v + 0.055) * math.Ln2)
}

// lightPerCode is that at the middle of each bin.
var lightPerCode = func() (s [toneBins]float64) {
	for b := range s {
		s[b] = perCode(binCode(float64(b) + 0.5))
	}
	return s
}()

// slopes regresses channel c's changes, bin by bin, on those of exposure and
// gives the slopes and their weights, inverse variances; 0 where unknown.
func (n *tones) slopes(c int, ev []float64) (slope, weight []float64) {
	slope, weight = make([]float64, toneBins), make([]float64, toneBins)
	y, x, w := make([]float64, len(ev)), make([]float64, len(ev)), make([]float64, len(ev))
	for b := range slope {
		known, flat := 0, 0.0
		for t := range ev {
			y[t], w[t] = float64(n.change[t].ev[c][b]), float64(n.change[t].weight[c][b])
			if math.IsNaN(ev[t]) || w[t] == 0 {
				w[t] = 0
				continue
			}
			x[t] = ev[t]
			flat += float64(n.change[t].flat[c][b])
			known++
		}
		if known < leastToneFrames {
			continue
		}
		s, err, explained := regress(x, y, w)
		if explained >= leastExplained && err < mostSlopeError && s > leastSlope && s < mostSlope {
			slope[b], weight[b] = s, 1/(err*err+square(slopeError*float64(known)/flat))
		}
	}
	return slope, weight
}

// regress is the slope of y on x, both less their running means, by weighted
// least squares that values far off do not pull, its standard error, and the
// share of y's variance that it explains.
func regress(x, y, w []float64) (slope, err, explained float64) {
	x, y = lessMean(x, w), lessMean(y, w)
	k := append([]float64(nil), w...)
	r := make([]float64, len(w))
	s := new(scratch)
	var sxx, total, sigma float64
	for range 4 {
		var sxy float64
		sxx, total = 0, 0
		for i := range x {
			sxy += k[i] * x[i] * y[i]
			sxx += k[i] * x[i] * x[i]
			total += k[i]
		}
		if !(sxx > 0) {
			return 0, math.Inf(1), 0
		}
		slope = sxy / sxx
		for i := range x {
			r[i] = (y[i] - slope*x[i]) * math.Sqrt(w[i])
		}
		sigma = max(1.4826*s.quantile(r, w, 0, true), 1e-9)
		for i := range x {
			u := r[i] / (4.685 * sigma)
			k[i] = w[i] * square(max(0, 1-u*u))
		}
	}
	var left float64
	for i := range x {
		left += k[i] * square(y[i]-slope*x[i])
	}
	signal := slope * slope * sxx
	return slope, max(sigma, 0.5) / math.Sqrt(sxx), signal / (signal + left)
}

// lessMean is v less its mean over toneWindow frames, as far as w is above 0;
// 0 elsewhere.
func lessMean(v, w []float64) []float64 {
	n := len(v)
	sums, counts := make([]float64, n+1), make([]float64, n+1)
	for t := range v {
		sums[t+1], counts[t+1] = sums[t], counts[t]
		if w[t] > 0 {
			sums[t+1] += v[t]
			counts[t+1]++
		}
	}
	out := make([]float64, n)
	for t := range v {
		if w[t] > 0 {
			a, b := max(t-toneWindow/2, 0), min(t+toneWindow/2+1, n)
			out[t] = v[t] - (sums[b]-sums[a])/(counts[b]-counts[a])
		}
	}
	return out
}

// smoothSlopes draws a smooth line through slopes of given weights (inverse
// variances): second differences have the scale bendSlope and first ones
// levelSlope, so that where nothing is known the line runs level; with about,
// differences from it are meant, and they have the scale channelSlope. nil
// where the weights leave it undetermined.
func smoothSlopes(slope, weight, about []float64) []float64 {
	a := mat.NewSymBandDense(toneBins, 2, nil)
	rhs := mat.NewVecDense(toneBins, nil)
	for b := range toneBins {
		d := slope[b]
		w := weight[b]
		if about != nil {
			d -= about[b]
			a.SetSymBand(b, b, 1/square(channelSlope))
		}
		a.SetSymBand(b, b, a.At(b, b)+w)
		if w > 0 {
			rhs.SetVec(b, w*d)
		}
	}
	add := func(at int, d []float64, scale float64) {
		for i := range d {
			for j := i; j < len(d); j++ {
				a.SetSymBand(at+i, at+j, a.At(at+i, at+j)+d[i]*d[j]/square(scale))
			}
		}
	}
	for b := 0; b+1 < toneBins; b++ {
		add(b, []float64{1, -1}, levelSlope)
		if b+2 < toneBins {
			add(b, []float64{1, -2, 1}, bendSlope)
		}
	}
	var ch mat.BandCholesky
	var out mat.VecDense
	if !ch.Factorize(a) || ch.SolveVecTo(&out, rhs) != nil {
		return nil
	}
	line := make([]float64, toneBins)
	for b := range line {
		line[b] = out.AtVec(b)
		if about != nil {
			line[b] += about[b]
		}
		if !(line[b] > leastSlope) {
			line[b] = leastSlope
		}
	}
	return line
}
