package pictures

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"stillspan/internal/orientation"
)

// drawn is a still of value noise at three scales, its content moved by x, y
// cells of Luma, times gain; change may alter its codes (0 to 1) and detail.
func drawn(x, y, gain float64, change func(x, y int, code float64) float64, detail float32) (*Still, *[3][]float64, int, int) {
	return turned(x, y, 0, gain, change, detail)
}

// turned is drawn, turned before by that many degrees about the middle.
func turned(x, y, degrees, gain float64, change func(x, y int, code float64) float64, detail float32) (*Still, *[3][]float64, int, int) {
	const w, h = 240, 160
	s := &Still{Width: 720, Pixels: 3, W: w, H: h, Luma: make([]uint8, w*h)}
	s.CW, s.CH = Cells(w, h)
	s.Detail = slices.Repeat([]float32{detail}, s.CW*s.CH)
	sin, cos := math.Sincos(degrees * math.Pi / 180)
	var code [3][]float64
	for j := range code {
		code[j] = make([]float64, w*h)
	}
	for py := range h {
		for px := range w {
			v := 0.2
			for k, scale := range []float64{4.3, 9.7, 31} {
				dx, dy := float64(px)-x-(w-1)/2., float64(py)-y-(h-1)/2.
				v += 0.12 * smoothNoise((cos*dx+sin*dy+(w-1)/2.)/scale+100, (cos*dy-sin*dx+(h-1)/2.)/scale+100, uint64(k))
			}
			v = min(v*gain, 1)
			if change != nil {
				v = change(px, py, v)
			}
			i := py*w + px
			s.Luma[i] = uint8(255*math.Sqrt(v) + 0.5)
			for j := range code {
				code[j][i] = v
			}
		}
	}
	return s, &code, w, h
}

func smoothNoise(x, y float64, seed uint64) float64 {
	at := func(i, j int) float64 { return rand.New(rand.NewPCG(seed, uint64(i)<<20|uint64(j))).Float64() }
	fx, fy := math.Floor(x), math.Floor(y)
	s := func(t float64) float64 { return t * t * (3 - 2*t) }
	u, v, i, j := s(x-fx), s(y-fy), int(fx), int(fy)
	return (at(i, j)*(1-u)+at(i+1, j)*u)*(1-v) + (at(i, j+1)*(1-u)+at(i+1, j+1)*u)*v
}

// Displacements of known size are told to a twentieth of a cell whatever the
// exposure, near and far.
func TestAlign(t *testing.T) {
	a, _, _, _ := drawn(0, 0, 1, nil, 5)
	from := newView(a, nil, &room{})
	for _, d := range [][2]float64{{0, 0}, {0.3, -0.2}, {1.7, 0.4}, {-6.5, 3.25}, {31, -14}, {-50.5, 0}} {
		b, _, _, _ := drawn(d[0], d[1], 1.3, nil, 5)
		got, _ := from.align(newView(b, nil, &room{}), shift{})
		if e := math.Hypot(got.x-d[0], got.y-d[1]); e > 0.05 || got.good < poor {
			t.Errorf("moved by %v: told %.3f, %.3f, agreement %.2f", d, got.x, got.y, got.good)
		}
	}
	b, _, _, _ := drawn(0, 0, 1, func(x, y int, _ float64) float64 { return smoothNoise(float64(x)/5+900, float64(y)/5, 9) }, 5)
	if got, _ := from.align(newView(b, nil, &room{}), shift{}); got.good >= poor {
		t.Errorf("another picture fits: %+v", got)
	}
}

// Each fault alone in a sequence that is sound otherwise, and none in one without.
func TestFound(t *testing.T) {
	all := func(code float64) func(int, int, float64) float64 {
		return func(int, int, float64) float64 { return code }
	}
	passerBy := func(x, y int, code float64) float64 {
		if x > 150 && y > 40 && y < 120 {
			return 0.08
		}
		return code
	}
	for _, c := range []struct {
		name  string
		frame func(t int) (x, y, gain float64, change func(x, y int, code float64) float64, detail float32)
		kind  Kind
		first int
		last  int
	}{
		{name: "sound", first: -1, frame: func(t int) (float64, float64, float64, func(int, int, float64) float64, float32) {
			return 0.4 * float64(t), 0, 1 + 0.1*float64(t%3), nil, 5
		}},
		{"bump", func(t int) (float64, float64, float64, func(int, int, float64) float64, float32) {
			return map[bool]float64{true: 2}[t == 11 || t == 12], 0, 1, nil, 5
		}, Jump, 11, 12},
		{"jump", func(t int) (float64, float64, float64, func(int, int, float64) float64, float32) {
			return 0.5 * float64(t), map[bool]float64{true: -1}[t >= 7], 1, nil, 5
		}, Jump, 7, 7},
		{"blur", func(t int) (float64, float64, float64, func(int, int, float64) float64, float32) {
			return 0, 0, 1, nil, map[bool]float32{true: 2.5, false: 5}[t == 9]
		}, Blurred, 9, 9},
		{"dew", func(t int) (float64, float64, float64, func(int, int, float64) float64, float32) {
			return 0, 0, 1, nil, 5 - float32(max(0, t-8))*0.119
		}, Soft, 14, 39},
		{"black", func(t int) (float64, float64, float64, func(int, int, float64) float64, float32) {
			if t == 20 {
				return 0, 0, 1, all(0.01), 0
			}
			return 0, 0, 1, nil, 5
		}, Black, 20, 20},
		{"blown", func(t int) (float64, float64, float64, func(int, int, float64) float64, float32) {
			if t == 20 {
				return 0, 0, 1, all(1), 0
			}
			return 0, 0, 1, nil, 5
		}, Blown, 20, 20},
		{"cover", func(t int) (float64, float64, float64, func(int, int, float64) float64, float32) {
			if t == 5 || t == 6 {
				return 0, 0, 1, passerBy, 5
			}
			return 0, 0, 1, nil, 5
		}, Covered, 5, 6},
		{"long cover", func(t int) (float64, float64, float64, func(int, int, float64) float64, float32) {
			if t >= 8 && t <= 20 {
				return 0, 0, 1, passerBy, 5
			}
			return 0, 0, 1, nil, 5
		}, Covered, 8, 20},
		{name: "sun on a part for long", first: -1, last: coverSide, frame: func(t int) (float64, float64, float64, func(int, int, float64) float64, float32) {
			return 0, 0, 1, func(x, y int, code float64) float64 {
				if t >= 8 && t <= 20 && x > 150 && y > 40 && y < 120 {
					return 1.6 * code
				}
				return code
			}, 5
		}},
	} {
		var m Meter
		n := 30
		if c.last-c.first >= coverSide {
			n = 40
		}
		for f := range n {
			m.Add(drawn(c.frame(f)))
		}
		got := m.Found(Options{}).Findings
		if c.first < 0 {
			if len(got) > 0 {
				t.Errorf("%s: invented %+v", c.name, got)
			}
			continue
		}
		if len(got) != 1 || got[0].Kind != c.kind || got[0].First != c.first || got[0].Last != c.last {
			t.Errorf("%s: want %s %d to %d, got %+v", c.name, c.kind, c.first, c.last, got)
		}
	}
}

// A knock that turns the camera is told in degrees, and its movement is that of the
// middle; its corner's movement is its amount.
func TestTurn(t *testing.T) {
	for _, want := range [][3]float64{{0, 0, 0.25}, {2.2, -1, -0.5}, {-6, 3.5, 2}} {
		var m Meter
		for f := range 12 {
			d := want
			if f < 6 {
				d = [3]float64{}
			}
			m.Add(turned(d[0], d[1], d[2], 1, nil, 5))
		}
		found := m.Found(Options{})
		got := found.Findings
		if len(got) != 1 || got[0].Kind != Jump || got[0].First != 6 {
			t.Errorf("%v: %+v", want, got)
			continue
		}
		if found.Turned[5] != 0 || found.Turned[6] != got[0].Turn || found.Turned[11] != got[0].Turn {
			t.Errorf("%v: turned by %v", want, found.Turned)
		}
		g := got[0]
		if math.Hypot(g.X/3-want[0], g.Y/3-want[1]) > 0.06 || math.Abs(g.Turn-want[2]) > 0.02 {
			t.Errorf("%v cells and degrees: told %.3f, %.3f, %.3f", want, g.X/3, g.Y/3, g.Turn)
		}
		if want[0] == 0 && math.Abs(g.Amount-want[2]*math.Pi/180*math.Hypot(360, 240)) > 0.2 {
			t.Errorf("%v: amounts to %.2f px", want, g.Amount)
		}
	}
}

// What blurs a quarter of the picture is told with the part, also where it comes
// slowly; a few cells that lose detail are something that passed.
func TestPart(t *testing.T) {
	for _, c := range []struct {
		name string
		lost func(t int, x, y float64) float32
		kind Kind
	}{
		{"blur", func(t int, x, y float64) float32 { return map[bool]float32{true: 3}[t == 9 && x < 0.5 && y < 0.5] }, Blurred},
		{"dew", func(t int, x, y float64) float32 {
			return map[bool]float32{true: float32(max(0, t-8)) * 0.2}[x < 0.5 && y < 0.5]
		}, Soft},
		{"passed", func(t int, x, y float64) float32 { return map[bool]float32{true: 3}[t == 9 && x < 0.15 && y < 0.5] }, ""},
	} {
		var m Meter
		for f := range 30 {
			s, code, w, h := drawn(0, 0, 1, nil, 5)
			for i := range s.Detail {
				s.Detail[i] -= c.lost(f, (float64(i%s.CW)+0.5)/float64(s.CW), (float64(i/s.CW)+0.5)/float64(s.CH))
			}
			m.Add(s, code, w, h)
		}
		got := m.Found(Options{}).Findings
		if c.kind == "" && len(got) == 0 {
			continue
		}
		if len(got) != 1 || got[0].Kind != c.kind || got[0].Part != (Rect{0, 0, 0.5, 0.5}) || got[0].Severity != Look {
			t.Errorf("%s: %+v", c.name, got)
		}
	}
}

// Dust and a hot pixel are told where the picture moves, and nothing is where it
// does not or where only the scene has spots.
func TestSpots(t *testing.T) {
	for _, c := range []struct {
		name  string
		speed float64 // cells of Luma a frame
		dust  bool
		want  int
	}{{"dust in a pan", 1.1, true, 2}, {"dust, all still", 0, true, 0}, {"a pan", 1.1, false, 0}} {
		var m Meter
		const n, cell = 30, 3
		plates := map[int]Plate{}
		for f := range n {
			s, code, w, h := drawn(c.speed*float64(f), 0, 1, nil, 5)
			m.Add(s, code, w, h)
			p := Plate{W: w * cell, H: h * cell, Luma: make([]uint8, w*cell*h*cell)}
			for y := range p.H {
				for x := range p.W {
					v := 255 * code[0][y/cell*w+x/cell]
					if d := math.Hypot(float64(x)-500, float64(y)-100); c.dust && d < 5 {
						v *= 0.75
					} else if c.dust && x == 200 && y == 300 {
						v = 250
					}
					p.Luma[y*p.W+x] = uint8(v)
				}
			}
			plates[f] = p
		}
		found := m.Found(Options{})
		at := m.SpotFrames(&found, 8)
		if c.speed == 0 {
			if at != nil {
				t.Errorf("%s: wants frames %v", c.name, at)
			}
			continue
		}
		var list []Plate
		for _, f := range at {
			list = append(list, plates[f])
		}
		got := m.Spots(&found, at, list)
		if len(got) != c.want {
			t.Fatalf("%s: %+v", c.name, got)
		}
		for i, want := range []struct{ x, y, wide float64 }{{500, 100, 10}, {200, 300, 1}}[:c.want] {
			p := got[i].Part
			if x, y := 720*(p.X+p.W/2), 480*(p.Y+p.H/2); math.Hypot(x-want.x-0.5, y-want.y-0.5) > 1.5 || math.Abs(got[i].Amount-want.wide) > 2 {
				t.Errorf("%s: at %.1f, %.1f, %.1f px wide, want %v", c.name, x, y, got[i].Amount, want)
			}
		}
	}
}

// The way of a pan is told in pixels, that of a camera that keeps still, too, and a
// bump is part of neither.
func TestTravel(t *testing.T) {
	for _, speed := range []float64{0, 0.5} {
		var m Meter
		for f := range 20 {
			x := speed * float64(f)
			if f == 7 {
				x += 9
			}
			m.Add(drawn(x, 0, 1, nil, 5))
		}
		got := m.Found(Options{}).Travel
		if got == nil || got.Moved != (speed > 0) {
			t.Fatalf("at %g cells a frame: %+v", speed, got)
		}
		if got.Moved && (math.Abs(got.X-3*19*speed) > 0.5 || math.Abs(got.Step-3*speed) > 0.1) {
			t.Errorf("at %g cells a frame: %+v", speed, got)
		}
	}
}

// A pan that stops for a while has stalled; clouds over ground that keeps still have
// not, unless the camera was to move.
func TestStalled(t *testing.T) {
	for _, c := range []struct {
		name         string
		ground, plan bool
		want         int
	}{{"pan", false, false, 1}, {"clouds", true, false, 0}, {"clouds, planned", true, true, 1}} {
		var m Meter
		at := 0.0
		for f := range 30 {
			if f < 10 || f > 18 {
				at += 1.2
			}
			s, code, w, h := drawn(at, 0, 1, nil, 5)
			if c.ground {
				still, _, _, _ := drawn(0, 0, 1, nil, 5)
				copy(s.Luma[w*h*2/3:], still.Luma[w*h*2/3:])
			}
			m.Add(s, code, w, h)
		}
		n := 0
		for _, f := range m.Found(Options{Travels: c.plan}).Findings {
			if f.Kind == Stalled {
				n++
			}
		}
		if n != c.want {
			t.Errorf("%s: told %d times", c.name, n)
		}
	}
}

// Planck radiators of 3200, 5000 and 6500 K have the chromaticities 0.4234 0.3990,
// 0.3451 0.3516 and 0.3135 0.3237 (CIE 1931 observer; CIE 15, from memory); in
// linear sRGB that is these R, G and B of unit luminance.
func TestMired(t *testing.T) {
	radiators := []struct{ kelvin, r, g, b float64 }{{3200, 1.680, 0.866, 0.326}, {5000, 1.213, 0.961, 0.763}, {6500, 1.043, 0.984, 1.035}}
	for i, to := range radiators[:2] {
		from := radiators[i+1]
		red, blue := math.Log2(to.r/to.g)-math.Log2(from.r/from.g), math.Log2(to.b/to.g)-math.Log2(from.b/from.g)
		if got, want := mired(red, blue), 1e6/to.kelvin-1e6/from.kelvin; math.Abs(got/want-1) > 0.06 {
			t.Errorf("from %g to %g K: %.1f mired, want %.1f", from.kelvin, to.kelvin, got, want)
		}
	}
	if got := mired(0.2, 0.15); got != 0 {
		t.Errorf("magenta is %g mired", got)
	}
}

// Frames that are missing, of another size or too small for a judgement are
// passed over.
func TestFoundEdges(t *testing.T) {
	var m Meter
	if f := m.Found(Options{}); len(f.Findings) > 0 || f.Width != 0 {
		t.Errorf("found %+v in nothing", f)
	}
	for range 4 {
		m.Add(nil, nil, 0, 0)
		m.Add(&Still{Width: 4, Pixels: 1, W: 4, H: 3, Luma: make([]uint8, 12), CW: 1, CH: 1, Detail: []float32{0}}, &[3][]float64{{0.5}, {0.5}, {0.5}}, 1, 1)
	}
	m.Add(drawn(0, 0, 1, nil, 5))
	if f := m.Found(Options{Travels: true}); len(f.Findings) > 0 {
		t.Errorf("found %+v in stills of 4 x 3 pixels", f.Findings)
	}
}

// A camera turned a quarter to the right, EXIF 6: what lies at the stored left
// lies on top, and what moves right in store moves down.
func TestUpright(t *testing.T) {
	f := Found{Width: 100, Findings: []Finding{{Kind: Jump, X: 3, Y: 1, Turn: 1, Amount: math.Hypot(3, 1), Unit: "px", Part: Rect{0, 0, 0.25, 0.5}}}}
	got := f.Upright(orientation.Of(6), 2).Findings[0]
	if got.X != -2 || got.Y != 6 || got.Turn != 1 || got.Part != (Rect{0.5, 0, 0.5, 0.25}) || math.Abs(got.Amount-2*math.Hypot(3, 1)) > 1e-12 {
		t.Errorf("upright %+v", got)
	}
}
