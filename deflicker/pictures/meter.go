package pictures

import (
	"math"

	"stillspan/internal/srgb"
)

// Meter takes the stills of one sequence as they come and keeps of each about 4
// KB: where it lies against its neighbours, and the light, colour and detail of
// at most CellSide x CellSide cells. Not for concurrent use.
type Meter struct {
	// Steady asks for a path whose errors do not add up, to take shake out by: each
	// frame is laid over one further back, too.
	Steady bool

	cw, ch       int
	across, down int          // tiles
	middles      [][2]float64 // of the tiles, cells of Luma from the picture's
	half         [2]float64   // half the picture's width and height, cells of Luma
	coded        bool
	frames       []frame
	// Where the frames lie is told from the views of the last one and of the
	// last that fitted what came before it.
	last, anchor sight
	key          sight // with Steady, what frames are laid over
	speed        shift // of the last step
	reach        shift // of the last frame, from the key
	room         room
	spare        *view
}

// sight is a frame's view.
type sight struct {
	frame int
	view  *view
}

// frame is what is kept of a still.
type frame struct {
	known bool
	// lum, red and blue are log2 of the linear light and of red and blue against
	// green, EV; detail as in Still, over the square of the code. NaN where a cell
	// does not tell.
	lum, red, blue, detail []float32
	dark, light            float64 // shares of the cells at the ends of the scale
	// step is the movement since frame from, pixels of the measured picture;
	// from is -1 where the frame fits none before it.
	from int
	step shift
	// far is the movement since frame key; key is -1 for none.
	key int
	far shift
	// tiles are the movements of the tiles, a frame.
	tiles []tileMove
	cell  float64 // pixels of the measured picture in one cell of Luma
	wide  int     // the measured picture, pixels
}

// tileMove is the movement of a tile in pixels of the measured picture, and how
// well it fits, 0 to 1. Of an edge it does not say how far it went along it: along
// and across are the tensor of its contrast over its trace, as xx - yy and 2 xy.
type tileMove struct {
	x, y, match   float32
	along, across float32
}

// tensor is that of its contrast, its trace being 1.
func (m *tileMove) tensor() tensor {
	return tensor{float64(1+m.along) / 2, float64(m.across) / 2, float64(1-m.along) / 2}
}

// Codes from darkCode down and from lightCode up are at the ends of the scale,
// where nothing of the picture is left.
const (
	darkCode  = 0.05
	paleCode  = 0.12 // below it a step of a channel's codes is a change of colour
	lightCode = 0.97
)

// Add takes the next still and its mean codes: code are R', G' and B' of w x h
// cells, 0 to 1, known where clip is below 1. A nil still stands for one that
// could not be measured.
func (m *Meter) Add(s *Still, code *[3][]float64, w, h int) {
	f := frame{from: -1, key: -1}
	if s == nil || s.W == 0 || w < 1 || h < 1 {
		m.frames = append(m.frames, f)
		return
	}
	if m.cw == 0 {
		m.cw, m.ch, m.coded = s.CW, s.CH, s.Coded
	}
	if s.CW != m.cw || s.CH != m.ch || s.Coded != m.coded {
		m.frames = append(m.frames, f) // of another form: it goes into no clip with the others
		return
	}
	f.known, f.cell, f.wide = true, float64(s.Pixels), s.Width
	f.cells(s, code, w, h)
	m.place(&f, s)
	m.frames = append(m.frames, f)
}

// cells reduces light and colour to the cells of detail.
func (f *frame) cells(s *Still, code *[3][]float64, w, h int) {
	n := s.CW * s.CH
	var sum [3][]float64
	count := make([]float64, n)
	for j := range sum {
		sum[j] = make([]float64, n)
	}
	for y := range h {
		row := y * s.CH / h * s.CW
		for x := range w {
			c, i := row+x*s.CW/w, y*w+x
			for j := range sum {
				sum[j][c] += code[j][i]
			}
			count[c]++
		}
	}
	f.lum, f.red, f.blue, f.detail = make([]float32, n), make([]float32, n), make([]float32, n), make([]float32, n)
	nan := float32(math.NaN())
	for c := range n {
		k := max(1, count[c])
		r, g, b := sum[0][c]/k, sum[1][c]/k, sum[2][c]/k
		lr, lg, lb := srgb.Decode(r), srgb.Decode(g), srgb.Decode(b)
		f.lum[c] = float32(math.Log2(max(0.2126*lr+0.7152*lg+0.0722*lb, 1e-4)))
		f.red[c], f.blue[c] = nan, nan
		low, high := min(r, g, b), max(r, g, b)
		// Under water there is no red.
		if min(r, g) > paleCode && high < lightCode {
			f.red[c] = float32(math.Log2(lr / lg))
		}
		if min(b, g) > paleCode && high < lightCode {
			f.blue[c] = float32(math.Log2(lb / lg))
		}
		if high <= darkCode {
			f.dark += 1 / float64(n)
		}
		if high >= lightCode && low >= 0.8 {
			f.light += 1 / float64(n)
		}
		if f.detail[c] = nan; high < lightCode && g > 0.04 {
			// Detail grows with the codes themselves.
			f.detail[c] = s.Detail[c] - 2*float32(math.Log2(0.2126*r+0.7152*g+0.0722*b))
		}
	}
}

// place lays the frame over the one before it or, where that shows something
// else, over the last that fitted.
func (m *Meter) place(f *frame, s *Still) {
	t := len(m.frames)
	v := newView(s, m.spare, &m.room)
	if v == nil {
		return
	}
	m.spare = nil
	if m.middles == nil {
		m.across, m.down = v.across, len(v.tiles)/v.across
		m.half = [2]float64{float64(v.w) / 2, float64(v.h) / 2}
		for i := range v.tiles {
			m.middles = append(m.middles, [2]float64{v.tiles[i].x, v.tiles[i].y})
		}
	}
	now := sight{t, v}
	if m.last.view == nil {
		m.last, m.anchor, m.key = now, now, now
		return
	}
	m.over(f, v)
	at, was := m.last, m.anchor
	d, fit := m.last.view.align(v, m.speed)
	if d.good < sure && m.anchor.frame != m.last.frame {
		gap := float64(t - m.anchor.frame)
		if far, farFit := m.anchor.view.align(v, shift{x: m.speed.x * gap, y: m.speed.y * gap}); far.good > d.good {
			at, d, fit = m.anchor, far, farFit
		}
	}
	// Where it lies as was to be expected, less will do.
	least, n := poor, float64(t-at.frame)
	if math.Hypot(d.x-n*m.speed.x, d.y-n*m.speed.y) < 0.5 {
		least = 0.6 * poor
	}
	if d.good >= least {
		f.from, f.step = at.frame, shift{d.x * f.cell, d.y * f.cell, d.turn, d.good}
		f.tiles = make([]tileMove, len(fit))
		for i, t := range fit {
			of := &at.view.tiles[i]
			trace := of.xx + of.yy + 1e-9
			f.tiles[i] = tileMove{float32(t.x * f.cell / n), float32(t.y * f.cell / n), float32(t.match), float32((of.xx - of.yy) / trace), float32(2 * of.xy / trace)}
			if t.texture < flatTile {
				f.tiles[i].match = 0
			}
		}
		m.speed = shift{x: d.x / n, y: d.y / n}
		m.anchor = now
	} else if t-m.anchor.frame > longestRun {
		m.anchor = now // the view is another from here on
	}
	for _, old := range []*view{m.last.view, was.view} {
		if old != m.anchor.view && old != m.key.view {
			m.spare = old
		}
	}
	m.last = now
	if m.Steady && f.key < 0 {
		m.key = now
	}
}

// over lays the frame over the key frame.
func (m *Meter) over(f *frame, v *view) {
	if !m.Steady {
		return
	}
	guess := m.reach
	guess.x, guess.y = guess.x+m.speed.x, guess.y+m.speed.y
	d, _ := m.key.view.align(v, guess)
	if d.good < sameView || math.Hypot(d.x, d.y) > float64(v.w)/6 {
		m.reach = shift{}
		return
	}
	m.reach = d
	f.key, f.far = m.key.frame, shift{d.x * f.cell, d.y * f.cell, d.turn, d.good}
}

// longestRun is the most frames that are told apart from those before and after.
const longestRun = 48
