package jpeg

import "image"

// Block means are in eighths of an 8-bit code less mid-grey, as DC terms are:
// meanZero is code 0 and Full the 255 that is full code.
const (
	meanZero = 8 * 128
	Full     = 8 * 255
)

// Blocks is how many blocks of 8 x 8 hold picture, across and down.
func (b *Picture) Blocks() (across, down int) { return b.parts[0].across, b.parts[0].down }

// Mean is the mean colour of the picture's block at row and col, each
// channel 0 to Full; ok is false where it was not read.
func (b *Picture) Mean(row, col int) (red, green, blue int, ok bool) {
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

// Luma is the mean luma of the block at row and col, 0 to Full: the first
// component, green where the components are colours.
func (b *Picture) Luma(row, col int) (luma int, ok bool) {
	p := &b.parts[0]
	if b.rgb {
		p = &b.parts[1]
		row, col = row*p.v/b.vmax, col*p.h/b.hmax
	}
	y := int(p.means[row*p.stride+col])
	return clampMean(y + meanZero), y != unread
}

// Coded is how many bits the AC terms of the block at row and col take; ok is
// false where they were not read, as in progressive pictures.
func (b *Picture) Coded(row, col int) (bits int, ok bool) {
	p := &b.parts[0]
	n := int(p.coded[row*p.stride+col])
	return n, n > 0
}

// chroma is the mean of a further component under the block at row and col of
// the first: 0, mid-grey, where it was not read.
func (b *Picture) chroma(i, row, col int) int {
	p := &b.parts[i]
	if m := p.means[row*p.v/b.vmax*p.stride+col*p.h/b.hmax]; m != unread {
		return int(m)
	}
	return 0
}

func clampMean(v int) int { return min(max(v, 0), Full) }

// Image is the picture, one pixel a block, mid-grey where it was not read.
func (b *Picture) Image() image.Image {
	p := &b.parts[0]
	img := image.NewNRGBA(image.Rect(0, 0, p.across, p.down))
	for row := range p.down {
		line := img.Pix[row*img.Stride:]
		for col := range p.across {
			px := line[4*col : 4*col+4 : 4*col+4]
			r, g, bl, ok := b.Mean(row, col)
			if !ok {
				r, g, bl = meanZero, meanZero, meanZero
			}
			px[0], px[1], px[2], px[3] = uint8((r+4)/8), uint8((g+4)/8), uint8((bl+4)/8), 255
		}
	}
	return img
}
