package measure

import (
	"image"
	"sync"

	"stillspan/internal/srgb"
)

// Block means are in eighths of an 8-bit code less mid-grey, as DC terms are:
// meanZero is code 0 and meanFull the 255 that is full code.
const (
	meanZero = 8 * 128
	meanFull = 8 * 255
)

// linearMean is Linear for each block mean above meanZero.
var linearMean = sync.OnceValue(func() *[meanFull + 1]float32 {
	var t [meanFull + 1]float32
	for i := range t {
		t[i] = float32(srgb.Decode(float64(i) / meanFull))
	}
	return &t
})

// grid measures the picture decoded last by its block means. A block counts
// as clipped when its mean is; where its pixels differ, the luminance of the
// mean stands below the mean luminance.
func (b *blocks) grid(m *meter) *Grid {
	cell := max(cellPixels(b.width, b.height), 8)
	m.reset(b.width, b.height, cell)
	lin, perCell := linearMean(), cell/8
	for row := range b.parts[0].down {
		high := min(8, b.height-8*row)
		for col := range b.parts[0].across {
			r, g, bl, ok := b.block(row, col)
			if !ok {
				continue
			}
			n := int32(high * min(8, b.width-8*col))
			lum := weightR*lin[r] + weightG*lin[g] + weightB*lin[bl]
			m.add(col/perCell, row/perCell, n, float32(r)/meanFull, float32(g)/meanFull, float32(bl)/meanFull, lum)
		}
	}
	return m.grid(SourceReduced)
}

// block is the mean colour of the picture's block at row and col, each
// channel 0 to meanFull; ok is false where it was not read.
func (b *blocks) block(row, col int) (red, green, blue int, ok bool) {
	p := &b.parts[0]
	y := int(p.means[row*p.stride+col])
	if y == unread {
		return 0, 0, 0, false
	}
	y += meanZero
	if b.n == 1 {
		y = clampMean(y)
		return y, y, y, true
	}
	u, v := b.chroma(1, row, col), b.chroma(2, row, col)
	if b.rgb {
		return clampMean(y), clampMean(u + meanZero), clampMean(v + meanZero), true
	}
	// ITU-T T.871, clause 7, in 16-bit fixed point.
	red = y + (91881*v+1<<15)>>16
	green = y - (22554*u+46802*v+1<<15)>>16
	blue = y + (116130*u+1<<15)>>16
	return clampMean(red), clampMean(green), clampMean(blue), true
}

// chroma is the mean of a further component under the block at row and col of
// the first: 0, mid-grey, where it was not read.
func (b *blocks) chroma(i, row, col int) int {
	p := &b.parts[i]
	if m := p.means[row*p.v/b.vmax*p.stride+col*p.h/b.hmax]; m != unread {
		return int(m)
	}
	return 0
}

func clampMean(v int) int { return min(max(v, 0), meanFull) }

// image is the picture decoded last, one pixel a block, mid-grey where it was
// not read.
func (b *blocks) image() image.Image {
	p := &b.parts[0]
	img := image.NewNRGBA(image.Rect(0, 0, p.across, p.down))
	for row := range p.down {
		line := img.Pix[row*img.Stride:]
		for col := range p.across {
			px := line[4*col : 4*col+4 : 4*col+4]
			r, g, bl, ok := b.block(row, col)
			if !ok {
				r, g, bl = meanZero, meanZero, meanZero
			}
			px[0], px[1], px[2], px[3] = uint8((r+4)/8), uint8((g+4)/8), uint8((bl+4)/8), 255
		}
	}
	return img
}
