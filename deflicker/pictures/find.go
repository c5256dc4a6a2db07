package pictures

import (
	"cmp"
	"math"
	"slices"

	"stillspan/internal/orientation"
)

// Kind says what is the matter with frames.
type Kind string

// Kinds, in the order of Kinds.
const (
	Jump    Kind = "jump"    // the framing jumped
	Shake   Kind = "shake"   // it trembled
	Blurred Kind = "blurred" // less sharp than the neighbours
	Soft    Kind = "soft"    // slowly lost sharpness
	Covered Kind = "covered" // a part shows something else than before and after
	Blown   Kind = "blown"   // white, all of it or a part
	Black   Kind = "black"
	Cast    Kind = "cast"    // of another colour than the neighbours
	Spot    Kind = "spot"    // dust or a hot pixel
	Stalled Kind = "stalled" // a move that stopped
)

// Kinds lists all kinds.
func Kinds() []string {
	var out []string
	for _, k := range []Kind{Jump, Shake, Blurred, Soft, Covered, Blown, Black, Cast, Spot, Stalled} {
		out = append(out, string(k))
	}
	return out
}

// Severity says what a finding means for the clip.
type Severity string

// Severities.
const (
	Spoils Severity = "spoils" // these frames, or the clip there
	Look   Severity = "look"   // may be wanted
	Note   Severity = "note"
)

// Rect is a part of the picture as stored, in fractions from the top left.
type Rect struct{ X, Y, W, H float64 }

// Finding is something the matter with frames First to Last, from 0.
type Finding struct {
	Kind        Kind
	First, Last int
	// X and Y are how the content moved, right and down, in pixels of the
	// measured picture as stored: of a jump its size, of a shake its rms.
	X, Y float64
	// Turn is how far the content turned about the picture's middle, degrees clockwise.
	Turn float64
	// Amount is in Unit: "px", of a jump as what moved most did; "EV"; or "%" of the
	// picture.
	Amount float64
	Unit   string
	// Mired is how much warmer a cast is (negative: colder), where it runs along the
	// colours of daylight; 0 where it does not.
	Mired    float64
	Severity Severity
	// Returned is set for a jump after which the framing went back.
	Returned bool
	// Shown is the frame that shows it best, Beside the nearest that does not.
	Shown, Beside int
	// Part is where it is; zero for all of the picture.
	Part Rect
}

// Lost tells whether its frames are lost to the clip: a jump or a move that stopped
// spoils the clip there, and each frame of it is sound.
func (f *Finding) Lost() bool {
	return f.Severity == Spoils && slices.Contains([]Kind{Blurred, Covered, Blown, Black}, f.Kind)
}

// Found is what a sequence's pictures show.
type Found struct {
	Findings []Finding // by frame
	// X and Y are where the content lies against the first frame's, pixels of
	// the measured picture as stored; SmoothX and SmoothY without jumps and
	// shake. They go on evenly over frames that fit none.
	X, Y, SmoothX, SmoothY []float64
	// Turned is how far jumps have turned it since, degrees clockwise.
	Turned []float64
	// Width is that of the measured picture, pixels; 0 for nothing measured.
	Width  int
	Travel *Travel // nil where it is not clear
	// StepPx is the least jump that would have been found.
	StepPx float64
}

// Options says what was meant.
type Options struct {
	// Travels is set where the camera was to move all the while.
	Travels bool
	// Skipped is how much longer than usual it took to each frame from the one
	// before, in intervals: 1 where one is missing; nil for never.
	Skipped []float64
}

// solver is what Found works on.
type solver struct {
	m   *Meter
	opt Options
	n   int
	out Found
	// part numbers the stretches whose frames show the same view, 0 for a frame
	// that fits none.
	part  []int
	spoil []bool // frames that show so little that no more is asked of them
	// hidden are the cells of each frame whose light is another than before and after:
	// something else may lie before them. Nil while that is not known.
	hidden [][]bool
}

// Found judges all frames that were added.
func (m *Meter) Found(opt Options) Found {
	s := &solver{m: m, opt: opt, n: len(m.frames), part: make([]int, len(m.frames)), spoil: make([]bool, len(m.frames))}
	for i := range m.frames {
		s.out.Width = max(s.out.Width, m.frames[i].wide)
	}
	if s.out.Width == 0 || s.n < 3 {
		return s.out
	}
	s.ends()
	s.path()
	s.covers()
	s.movement()
	s.out.Travel = s.travels()
	s.sharpness()
	s.colours()
	slices.SortStableFunc(s.out.Findings, func(a, b Finding) int { return cmp.Compare(a.First, b.First) })
	return s.out
}

// add takes a finding, shown by the frame that shows it best, the first where
// that is not said.
func (s *solver) add(f Finding) {
	f.Shown = max(f.First, f.Shown)
	if f.Beside = f.First - 1; f.Beside < 0 {
		f.Beside = min(f.Last+1, s.n-1)
	}
	s.out.Findings = append(s.out.Findings, f)
}

// Upright is f of the picture as seen, turned as stored pictures are, and in
// pixels of which there are scale to one of the measured picture.
func (f Found) Upright(t orientation.Turn, scale float64) Found {
	turn := func(x, y float64) (float64, float64) {
		if t.Transpose {
			x, y = y, x
		}
		if t.FlipX {
			x = -x
		}
		if t.FlipY {
			y = -y
		}
		return scale * x, scale * y
	}
	mirror := 1.0
	if t.Transpose != (t.FlipX != t.FlipY) {
		mirror = -1
	}
	out := f
	out.Turned = slices.Clone(f.Turned)
	for i := range out.Turned {
		out.Turned[i] *= mirror
	}
	out.Width, out.StepPx = int(math.Round(scale*float64(f.Width))), scale*f.StepPx
	if f.Travel != nil {
		g := *f.Travel
		g.X, g.Y = turn(g.X, g.Y)
		g.Step, g.Least, g.Most = scale*g.Step, scale*g.Least, scale*g.Most
		out.Travel = &g
	}
	out.Findings = slices.Clone(f.Findings)
	for i := range out.Findings {
		g := &out.Findings[i]
		g.X, g.Y = turn(g.X, g.Y)
		g.Turn *= mirror
		if g.Kind == Shake {
			g.X, g.Y = math.Abs(g.X), math.Abs(g.Y)
		}
		if g.Unit == "px" {
			g.Amount *= scale
		}
		r := &g.Part
		if t.Transpose {
			*r = Rect{r.Y, r.X, r.H, r.W}
		}
		if t.FlipX && r.W > 0 {
			r.X = 1 - r.X - r.W
		}
		if t.FlipY && r.H > 0 {
			r.Y = 1 - r.Y - r.H
		}
	}
	out.X, out.Y = slices.Clone(f.X), slices.Clone(f.Y)
	out.SmoothX, out.SmoothY = slices.Clone(f.SmoothX), slices.Clone(f.SmoothY)
	for i := range out.X {
		out.X[i], out.Y[i] = turn(f.X[i], f.Y[i])
	}
	for i := range out.SmoothX {
		out.SmoothX[i], out.SmoothY[i] = turn(f.SmoothX[i], f.SmoothY[i])
	}
	return out
}

// runs calls each for every run of frames that is says.
func runs(n int, is func(t int) bool, each func(first, last int)) {
	for t := 0; t < n; t++ {
		if !is(t) {
			continue
		}
		first := t
		for t+1 < n && is(t+1) {
			t++
		}
		each(first, t)
	}
}

// Shares of the picture at an end of the scale from which nothing of it is left,
// and up to which a picture is one.
const (
	lostShare = 0.9
	leftShare = 0.6
)

// ends finds black and blown frames. A sequence that is so all along was meant
// that way.
func (s *solver) ends() {
	for _, e := range []struct {
		kind  Kind
		share func(f *frame) float64
	}{{Black, func(f *frame) float64 { return f.dark }}, {Blown, func(f *frame) float64 { return f.light }}} {
		usual := s.share(e.share)
		if !(usual < leftShare) {
			continue
		}
		lost := func(t int) bool {
			f := &s.m.frames[t]
			return f.known && e.share(f) >= lostShare && s.sudden(t, e.share)
		}
		runs(s.n, lost, func(first, last int) {
			for t := first; t <= last; t++ {
				s.spoil[t] = true
			}
			s.add(Finding{Kind: e.kind, First: first, Last: last, Amount: 100 * e.share(&s.m.frames[first]), Unit: "%", Severity: Spoils})
		})
	}
}

// share is the median of a share over the known frames.
func (s *solver) share(of func(f *frame) float64) float64 {
	var all []float64
	for t := range s.m.frames {
		if f := &s.m.frames[t]; f.known {
			all = append(all, of(f))
		}
	}
	return medianOf(all)
}

// sudden tells whether frame t belongs to a run that begins or ends within two
// frames: night falls slowly.
func (s *solver) sudden(t int, share func(f *frame) float64) bool {
	for _, way := range []int{-1, 1} {
		steps := 0
		for u := t; u >= 0 && u < s.n; u += way {
			f := &s.m.frames[u]
			if !f.known {
				continue
			}
			v := share(f)
			if v < leftShare {
				return true
			}
			if v < lostShare {
				if steps++; steps > 1 {
					break
				}
			}
		}
	}
	return false
}

// cellPx is the size of a cell of Luma, pixels of the measured picture.
func (s *solver) cellPx() float64 {
	for t := range s.m.frames {
		if f := &s.m.frames[t]; f.known {
			return f.cell
		}
	}
	return 1
}
