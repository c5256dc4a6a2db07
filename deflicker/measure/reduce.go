package measure

import (
	"sync"

	"stillspan/deflicker/measure/jpeg"
	"stillspan/internal/srgb"
)

// linearMean is the linear light of each block mean.
var linearMean = sync.OnceValue(func() *[jpeg.Full + 1]float32 {
	var t [jpeg.Full + 1]float32
	for i := range t {
		t[i] = float32(srgb.Decode(float64(i) / jpeg.Full))
	}
	return &t
})

// blockGrid measures a picture by its block means. A block counts as clipped
// when its mean is; where its pixels differ, the luminance of the mean stands
// below the mean luminance.
func blockGrid(b *jpeg.Picture, m *meter, l *looker) *Grid {
	cell := max(cellPixels(b.Width, b.Height), 8)
	m.reset(b.Width, b.Height, cell)
	lin, perCell := linearMean(), cell/8
	across, down := b.Blocks()
	for row := range down {
		high := min(8, b.Height-8*row)
		for col := range across {
			r, g, bl, ok := b.Mean(row, col)
			if !ok {
				continue
			}
			n := int32(high * min(8, b.Width-8*col))
			lum := weightR*lin[r] + weightG*lin[g] + weightB*lin[bl]
			m.add(col/perCell, row/perCell, n, float32(r)/jpeg.Full, float32(g)/jpeg.Full, float32(bl)/jpeg.Full, lum)
		}
	}
	g := m.grid(SourceReduced)
	g.Look = l.blocks(b)
	return g
}
