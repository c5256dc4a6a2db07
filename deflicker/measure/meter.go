package measure

import "stillspan/deflicker"

// meter adds samples up to a Grid. A sample is one pixel of a full decode or
// one block of a reduced one.
type meter struct {
	w, h, cell int // picture and side of a cell, pixels
	cols, rows int
	code       [3][]float64 // per cell: sums of R', G', B' times pixels
	blind      []int32      // per cell: pixels that say nothing of exposure
	pixels     []int32      // per cell: pixels added
	high, low  int64        // whole picture: clipped and crushed pixels
	lum        float64      // whole picture: sum of luminance times pixels
}

func newMeter(w, h, cell int) *meter {
	m := &meter{}
	m.reset(w, h, cell)
	return m
}

// reset readies the meter for a picture of w x h pixels, keeping its memory.
func (m *meter) reset(w, h, cell int) {
	m.w, m.h, m.cell = w, h, cell
	m.cols, m.rows = (w+cell-1)/cell, (h+cell-1)/cell
	n := m.cols * m.rows
	for c := range m.code {
		m.code[c] = zeroed(m.code[c], n)
	}
	m.blind = zeroed(m.blind, n)
	m.pixels = zeroed(m.pixels, n)
	m.high, m.low, m.lum = 0, 0, 0
}

// zeroed is s with n zero elements, in its own memory where that is enough.
func zeroed[T any](s []T, n int) []T {
	if cap(s) < n {
		return make([]T, n)
	}
	s = s[:n]
	clear(s)
	return s
}

// add counts a sample of n pixels in the cell at col, row: its channels, each
// a share of full code, and its luminance. The largest channel tells both
// ends: one clipped channel is a clipped highlight, and a shadow is crushed
// only when all are.
func (m *meter) add(col, row int, n int32, r, g, b, lum float32) {
	i := row*m.cols + col
	m.code[0][i] += float64(r) * float64(n)
	m.code[1][i] += float64(g) * float64(n)
	m.code[2][i] += float64(b) * float64(n)
	m.lum += float64(lum) * float64(n)
	m.pixels[i] += n
	top := max(r, g, b)
	switch {
	case top >= clippedFrom:
		m.blind[i] += n
		m.high += int64(n)
	case top <= blindBelow:
		m.blind[i] += n
		if top <= crushedTo {
			m.low += int64(n)
		}
	}
}

// grid is the sum of what was added. Cells without a single pixel have Code 0
// and Clip 1; shares and mean are of the pixels there are.
func (m *meter) grid(source string) *Grid {
	n := len(m.pixels)
	g := &Grid{Grid: deflicker.Grid{W: m.cols, H: m.rows, Clip: make([]float64, n)}, Source: source}
	for c := range g.Code {
		g.Code[c] = make([]float64, n)
	}
	var all int64
	for i, n := range m.pixels {
		if n == 0 {
			g.Clip[i] = 1
			continue
		}
		for c := range g.Code {
			g.Code[c][i] = m.code[c][i] / float64(n)
		}
		g.Clip[i] = float64((255*int64(m.blind[i])+int64(n)/2)/int64(n)) / 255
		all += int64(n)
	}
	if all > 0 {
		g.MeanLum = m.lum / float64(all)
		g.HighShare = float64(m.high) / float64(all)
		g.LowShare = float64(m.low) / float64(all)
	}
	return g
}
