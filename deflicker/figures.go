package deflicker

import (
	"encoding/json"
	"math"
	"slices"
)

// FlickerEV is the flicker figure, EV rms, of a light curve l in EV:
//
//	F = sqrt(mean((l[t-1] - 2 l[t] + l[t+1])^2) / 6)
//
// White jitter of standard deviation s gives F = s and any linear trend gives
// 0. Frames that are NaN, and their neighbours, are left out. Fewer than three
// usable frames in a row give NaN.
func FlickerEV(l []float64) float64 {
	var sum float64
	var n int
	for t := 1; t+1 < len(l); t++ {
		d := l[t-1] - 2*l[t] + l[t+1]
		if math.IsNaN(d) || math.IsInf(d, 0) {
			continue
		}
		sum += d * d
		n++
	}
	if n == 0 {
		return math.NaN()
	}
	return math.Sqrt(sum / float64(n) / 6)
}

// PumpingEV is the pumping figure, EV rms, of a light curve l in EV: what of it
// lies in periods of about 8 to 60 frames, between two smooth lines that keep
// half of a wave of either period. A linear trend gives 0. Frames that are NaN
// are left out. Fewer than eight usable frames give NaN.
func PumpingEV(l []float64) float64 {
	w := make([]float64, len(l))
	n := 0.0
	for t := range l {
		if !math.IsNaN(l[t]) && !math.IsInf(l[t], 0) {
			w[t] = 1
			n++
		}
	}
	if n < fastestPump {
		return math.NaN()
	}
	var s float64
	for t, p := range pumping(l, w) {
		s += w[t] * p * p
	}
	return math.Sqrt(s / n)
}

const (
	// Periods of pumping, frames.
	fastestPump, slowestPump = 8, 60
	// pumpShare is the share of white scatter's variance that pumping keeps.
	pumpShare = 0.17
)

// pumping is the part of l that pumps, as far as w is above 0.
func pumping(l, w []float64) []float64 {
	p, slow := smooth(l, w, lines(fastestPump)), smooth(l, w, lines(slowestPump))
	for t := range p {
		p[t] -= slow[t]
	}
	return p
}

// ColourEV is the colour flicker, EV rms: FlickerEV of red against green or of
// blue against green, whichever is larger. NaN where neither can be told.
func ColourEV(red, blue []float64) float64 {
	r, b := FlickerEV(red), FlickerEV(blue)
	if math.IsNaN(r) || b > r {
		return b
	}
	return r
}

// Figures are the faults of a sequence of frames, EV rms, as a Meter sees them;
// NaN where there were too few frames to tell.
type Figures struct {
	FlickerEV float64 // FlickerEV of the light
	ColourEV  float64
	PumpingEV float64
	// ToneEV is the flicker of the tones by sixths of the picture, from the
	// darkest; nil unless asked for.
	ToneEV []float64
	// Frames is how many were measured.
	Frames int
}

// figuresJSON is how Figures are written: null for what is not known.
type figuresJSON struct {
	FlickerEV, ColourEV, PumpingEV *float64
	ToneEV                         []*float64 `json:",omitempty"`
	Frames                         int
}

// MarshalJSON writes null for what is not known.
func (f Figures) MarshalJSON() ([]byte, error) {
	known := func(x float64) *float64 {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return nil
		}
		return &x
	}
	j := figuresJSON{known(f.FlickerEV), known(f.ColourEV), known(f.PumpingEV), nil, f.Frames}
	for _, e := range f.ToneEV {
		j.ToneEV = append(j.ToneEV, known(e))
	}
	return json.Marshal(j)
}

// UnmarshalJSON reads what MarshalJSON writes.
func (f *Figures) UnmarshalJSON(b []byte) error {
	var j figuresJSON
	if err := json.Unmarshal(b, &j); err != nil {
		return err
	}
	number := func(x *float64) float64 {
		if x == nil {
			return math.NaN()
		}
		return *x
	}
	*f = Figures{FlickerEV: number(j.FlickerEV), ColourEV: number(j.ColourEV), PumpingEV: number(j.PumpingEV), Frames: j.Frames}
	for _, e := range j.ToneEV {
		f.ToneEV = append(f.ToneEV, number(e))
	}
	return nil
}

// WorstEV is the flicker of all tones or of the sixth that flickers most.
func (f Figures) WorstEV() float64 {
	worst := f.FlickerEV
	for _, e := range f.ToneEV {
		if e > worst {
			worst = e
		}
	}
	return worst
}

// Joined are the figures of a sequence that was measured in parts: means of
// squares, which count the parts' frames. What happens between the last frame
// of a part and the first of the next is left out.
func Joined(parts []Figures) Figures {
	var f Figures
	mean := func(of func(Figures) float64) float64 {
		var sum, n float64
		for _, p := range parts {
			if e := of(p); !math.IsNaN(e) {
				sum += float64(p.Frames) * e * e
				n += float64(p.Frames)
			}
		}
		return math.Sqrt(sum / n)
	}
	f.FlickerEV = mean(func(p Figures) float64 { return p.FlickerEV })
	f.ColourEV = mean(func(p Figures) float64 { return p.ColourEV })
	f.PumpingEV = mean(func(p Figures) float64 { return p.PumpingEV })
	for _, p := range parts {
		f.Frames += p.Frames
	}
	for k := range sixths {
		if slices.ContainsFunc(parts, func(p Figures) bool { return len(p.ToneEV) != sixths }) {
			break
		}
		f.ToneEV = append(f.ToneEV, mean(func(p Figures) float64 { return p.ToneEV[k] }))
	}
	return f
}

// sixths is how many classes of tones there are figures for.
const sixths = 6

// tonesApart are the codes of green, of 65535, that part the cells of all
// frames in sixths.
func tonesApart(frames []*cells) (edges [sixths - 1]uint16) {
	var count [256]int
	total := 0
	for _, c := range frames {
		if c == nil {
			continue
		}
		for _, v := range c.code[1] {
			count[v>>8]++
		}
		total += len(c.code[1])
	}
	sum, v := 0, 0
	for k := range edges {
		for ; v < 255 && sum+count[v] < total*(k+1)/sixths; v++ {
			sum += count[v]
		}
		edges[k] = uint16(v << 8)
	}
	return edges
}

// toneHalves are the sixths of the tones, each in two halves of the picture.
const toneHalves = 2 * sixths

// byTone estimates the change of each half of each sixth of the tones from p to
// c, out of what light left in r and w.
func (m *comparer) byTone(p, c *view) (ev [toneHalves]link, ok [toneHalves]bool) {
	m.class = room(m.class, len(m.r))
	var next [toneHalves + 1]int
	for i := range m.class {
		v := uint16((uint32(p.code[1][i]) + uint32(c.code[1][i])) / 2)
		k := halfOf(i%c.w, i/c.w, c.w, c.h)
		for edge := 0; edge < len(m.edges) && v >= m.edges[edge]; edge++ {
			k += 2
		}
		m.class[i] = uint8(k)
		next[k+1]++
	}
	for k := range toneHalves {
		next[k+1] += next[k]
	}
	from := next
	m.sr, m.sw = room(m.sr, len(m.r)), room(m.sw, len(m.r))
	for i, k := range m.class {
		m.sr[next[k]], m.sw[next[k]] = m.r[i], m.w[i]
		next[k]++
	}
	for k := range toneHalves {
		r, w := m.sr[from[k]:from[k+1]], m.sw[from[k]:from[k+1]]
		some := 0
		for _, x := range w {
			if x > 0 {
				some++
			}
		}
		if ok[k] = some >= leastCells; ok[k] {
			ev[k].ev, ev[k].spread = m.estimate(r, w, &m.s)
		}
	}
	return ev, ok
}

// toneFlicker is FlickerEV of what two halves of a tone share, given their light:
// the mean product of their second differences, in which what moves in either has
// no part but by chance. whole is the light of the whole picture.
func toneFlicker(half [2][]float64, whole []float64) float64 {
	both := make([]float64, len(whole))
	for t := range both {
		both[t] = (half[0][t] + half[1][t]) / 2
	}
	both = lessSpoilt(both, whole)
	var shared, apart, n float64
	second := func(y []float64, t int) float64 { return y[t-1] - 2*y[t] + y[t+1] }
	for t := 1; t+1 < len(both); t++ {
		if !math.IsNaN(second(both, t)) {
			a, b := second(half[0], t), second(half[1], t)
			shared += a * b
			apart += square(a-b) / 2
			n++
		}
	}
	shared, apart = shared/n, apart/n
	// Chance makes as much of what is apart; neighbouring differences are no two.
	chance := 3 * 1.7 * apart / math.Sqrt(n)
	if shared <= chance {
		return 0
	}
	return math.Sqrt(shared * (1 - square(chance/shared)) / 6) // NaN of no frames
}
