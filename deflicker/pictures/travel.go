package pictures

import (
	"cmp"
	"math"
	"slices"
)

// Travel is how the content moved by the way the camera went, jumps and shake left
// out, pixels of the measured picture.
type Travel struct {
	Moved bool
	X, Y  float64 // from the first frame to the last
	// Step is the median from frame to frame; nine tenths lie from Least to Most.
	Step, Least, Most float64
}

const (
	// stillCells is how far a picture may wander that stands still, cells of Luma.
	stillCells = 1.5
	// allTiles is the share of the tiles that have to agree whether it moved: of
	// clouds before a ground that keeps still nothing is said.
	allTiles = 0.85
)

// travels tells how the camera went; nil where that is not clear.
func (s *solver) travels() *Travel {
	x, y := s.out.SmoothX, s.out.SmoothY
	if s.n < 10 || len(x) < s.n || !s.oneView(math.Inf(1)) {
		return nil
	}
	far := max(slices.Max(x)-slices.Min(x), slices.Max(y)-slices.Min(y))
	if far < stillCells*s.cellPx() {
		return &Travel{}
	}
	known, moved, alike := s.m.went()
	switch {
	case known < 6 || s.m.agreement() < sure || moved > (1-allTiles)*known && moved < allTiles*known:
		return nil
	case moved < known/2:
		return &Travel{}
	case alike < allTiles*known: // near and far, or clouds, each at a speed of its own
		return nil
	}
	steps := make([]float64, s.n-1)
	for t := range steps {
		steps[t] = math.Hypot(x[t+1]-x[t], y[t+1]-y[t])
	}
	slices.Sort(steps)
	at := func(k float64) float64 { return steps[int(k*float64(len(steps)-1))] }
	return &Travel{true, x[s.n-1] - x[0], y[s.n-1] - y[0], at(0.5), at(0.05), at(0.95)}
}

// went counts the tiles that tell whether they moved, those that did, and those that
// went as far as the picture.
func (m *Meter) went() (known, moved, alike float64) {
	g := m.goes()
	for i, k := range g.known {
		if k {
			if known++; g.moved[i] {
				moved++
			}
			if math.Abs(g.share[i]-1) < 0.15 {
				alike++
			}
		}
	}
	return known, moved, alike
}

// usualStep is the median step from frame to frame, cells of Luma.
func (m *Meter) usualStep() float64 {
	var all []float64
	for t := range m.frames {
		if f := &m.frames[t]; f.from >= 0 {
			all = append(all, math.Hypot(f.step.x, f.step.y)/float64(t-f.from)/f.cell)
		}
	}
	return medianOf(all) + 1e-9
}

// agreement is the median of how well frames lie on each other: low where water,
// or a crowd, makes most of the picture.
func (m *Meter) agreement() float64 {
	var all []float64
	for t := range m.frames {
		if f := &m.frames[t]; f.from >= 0 {
			all = append(all, f.step.good)
		}
	}
	return medianOf(all)
}

// tileMoves says of each tile of the picture whether it moved when the picture
// did, where it shows enough to tell.
type tileMoves struct {
	w, h         int
	known, moved []bool
	share        []float64 // of the picture's movement, where known
}

// goes is what the tiles did over all frames.
func (m *Meter) goes() tileMoves {
	n := m.across * m.down
	g := tileMoves{m.across, m.down, make([]bool, n), make([]bool, n), make([]float64, n)}
	usual := m.usualStep()
	for i := range n {
		var along, square, way, x, y float64
		for t := range m.frames {
			f := &m.frames[t]
			if f.from < 0 || len(f.tiles) != n || f.tiles[i].match < 0.3 || f.tiles[i].tensor().edge() {
				continue
			}
			steps := float64(t-f.from) * f.cell
			tx, ty, sx, sy := float64(f.tiles[i].x)/f.cell, float64(f.tiles[i].y)/f.cell, f.step.x/steps, f.step.y/steps
			// A jump weighs no more than another step.
			size := math.Hypot(sx, sy)
			w := usual / max(size, usual)
			along, square, way = along+w*w*(tx*sx+ty*sy), square+w*w*size*size, way+w*size
			x, y = x+w*tx, y+w*ty
		}
		// Clouds go their own way.
		g.share[i] = along / square
		g.known[i], g.moved[i] = way >= moveCells, along > 0.6*square || math.Hypot(x, y) > 0.4*way
	}
	return g
}

// about tells whether the tiles nearest to a place, fractions of the picture, moved
// with it, but for one, which may have a spot of its own; those that a spot of that
// width is in say where that is.
func (g *tileMoves) about(x, y, wide float64) bool {
	type tile struct {
		off   float64
		moved bool
	}
	var near []tile
	own := 0.8 + wide*float64(g.w)
	for i := range g.known {
		tx, ty := float64(i%g.w)+0.5-x*float64(g.w), float64(i/g.w)+0.5-y*float64(g.h)
		if g.known[i] && max(math.Abs(tx), math.Abs(ty)) > own {
			near = append(near, tile{math.Hypot(tx, ty), g.moved[i]})
		}
	}
	slices.SortFunc(near, func(a, b tile) int { return cmp.Compare(a.off, b.off) })
	const asked = 6
	still := 0
	for _, t := range near[:min(asked, len(near))] {
		if !t.moved {
			still++
		}
	}
	return len(near) >= asked && still <= 1
}
