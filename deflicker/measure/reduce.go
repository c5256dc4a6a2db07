package measure

import (
	"math"
	"sync"

	"stillspan/deflicker/measure/jpeg"
	"stillspan/internal/srgb"
)

// lightOfMean is the luminance that each block mean of a channel gives.
var lightOfMean = sync.OnceValue(func() *[3][jpeg.Full + 1]float32 {
	var t [3][jpeg.Full + 1]float32
	for c, weight := range []float64{weightR, weightG, weightB} {
		for i := range t[c] {
			t[c][i] = float32(weight * srgb.Decode(float64(i)/jpeg.Full))
		}
	}
	return &t
})

// Block means that count as clipped, as blind and as crushed.
var (
	clippedMean = int16(math.Ceil(clippedFrom * jpeg.Full))
	blindMean   = int16(math.Floor(blindBelow * jpeg.Full))
	crushedMean = int16(math.Floor(crushedTo * jpeg.Full))
)

// blockGrid measures a picture by its block means. A block counts as clipped
// when its mean is; where its pixels differ, the luminance of the mean stands
// below the mean luminance.
func blockGrid(b *jpeg.Picture, m *meter, l *looker) *Grid {
	cell := max(cellPixels(b.Width, b.Height), 8)
	m.reset(b.Width, b.Height, cell)
	_, down := b.Blocks()
	for row := range down {
		l.colours = b.Colours(row, l.colours)
		high := min(8, b.Height-8*row)
		for col := range m.cols {
			blocks := l.colours[col*cell/8 : min((col+1)*cell/8, len(l.colours))]
			at := row*8/cell*m.cols + col
			last := len(blocks)
			if col == m.cols-1 { // its last block may hold less picture
				last--
				m.addBlocks(at, blocks[last:], high*(b.Width-8*(len(l.colours)-1)))
			}
			m.addBlocks(at, blocks[:last], 8*high)
		}
	}
	g := m.grid(SourceReduced)
	g.Look = l.blocks(b)
	return g
}

// addBlocks counts blocks of so many pixels each in cell i, as add does.
func (m *meter) addBlocks(i int, blocks []jpeg.RGB, pixels int) {
	light := lightOfMean()
	var sum [3]int
	var lum float32
	n, ends, high, low := 0, 0, 0, 0
	for _, c := range blocks {
		if c[0] < 0 {
			continue
		}
		n++
		sum[0] += int(c[0])
		sum[1] += int(c[1])
		sum[2] += int(c[2])
		lum += light[0][c[0]] + light[1][c[1]] + light[2][c[2]]
		switch top := max(c[0], c[1], c[2]); {
		case top >= clippedMean:
			high++
		case top <= blindMean:
			ends++
			if top <= crushedMean {
				low++
			}
		}
	}
	for c := range sum {
		m.code[c][i] += float64(sum[c]*pixels) / jpeg.Full
	}
	m.lum += float64(lum) * float64(pixels)
	m.pixels[i] += int32(n * pixels)
	m.blind[i] += int32((ends + high) * pixels)
	m.high += int64(high * pixels)
	m.low += int64(low * pixels)
}
