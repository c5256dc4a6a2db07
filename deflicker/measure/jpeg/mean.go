package jpeg

import (
	"image"
	"slices"
)

// Block means are in eighths of an 8-bit code less mid-grey, as DC terms are:
// meanZero is code 0 and Full the 255 that is full code.
const (
	meanZero = 8 * 128
	Full     = 8 * 255
)

// Blocks is how many blocks of 8 x 8 hold picture, across and down.
func (b *Picture) Blocks() (across, down int) { return b.parts[0].across, b.parts[0].down }

// RGB is a mean colour, each channel 0 to Full; below 0 where it was not read.
type RGB [3]int16

// Colours are the mean colours of a row of blocks that hold picture, in the memory of
// to where that is enough.
func (b *Picture) Colours(row int, to []RGB) []RGB {
	p := &b.parts[0]
	to = slices.Grow(to[:0], p.across)[:p.across]
	luma := p.means[row*p.stride:][:len(to)]
	var u, v []int16
	perU, perV := uint32(1), uint32(1) // blocks of the first over one of those
	if b.n == 3 {
		u, v = b.parts[1].under(row, b.vmax), b.parts[2].under(row, b.vmax)
		perU, perV = uint32(b.hmax/b.parts[1].h), uint32(b.hmax/b.parts[2].h)
	}
	for col, y := range luma {
		c := &to[col]
		switch y := int(y) + meanZero; {
		case y == unread+meanZero:
			*c = RGB{-1, -1, -1}
		case u == nil:
			*c = RGB{clampMean(y), clampMean(y), clampMean(y)}
		default:
			u, v := known(u[uint32(col)/perU]), known(v[uint32(col)/perV])
			if b.rgb {
				*c = RGB{clampMean(y), clampMean(u + meanZero), clampMean(v + meanZero)}
				continue
			}
			// ITU-T T.871, clause 7, in 16-bit fixed point.
			c[0] = clampMean(y + (91881*v+1<<15)>>16)
			c[1] = clampMean(y - (22554*u+46802*v+1<<15)>>16)
			c[2] = clampMean(y + (116130*u+1<<15)>>16)
		}
	}
	return to
}

// Lumas are the mean lumas of a row of blocks that hold picture, 0 to Full and below 0
// where they were not read: of the first component, green where the components are
// colours.
func (b *Picture) Lumas(row int, to []int16) []int16 {
	p, across := &b.parts[0], b.parts[0].across
	if b.rgb {
		p = &b.parts[1]
	}
	to = slices.Grow(to[:0], across)[:across]
	from := p.under(row, b.vmax)
	for col := range to {
		to[col] = -1
		if y := from[col*p.h/b.hmax]; y != unread {
			to[col] = clampMean(int(y) + meanZero)
		}
	}
	return to
}

// under are the means of a component under a row of blocks of the first.
func (p *component) under(row, vmax int) []int16 {
	return p.means[row*p.v/vmax*p.stride:][:p.stride]
}

// Coded are how many bits the AC terms of a row of blocks that hold picture take; 0
// where they were not read, as in progressive pictures.
func (b *Picture) Coded(row int) []uint16 {
	p := &b.parts[0]
	return p.coded[row*p.stride:][:p.across]
}

// known is a mean, or mid-grey where it was not read.
func known(mean int16) int {
	if mean == unread {
		return 0
	}
	return int(mean)
}

func clampMean(v int) int16 { return int16(min(max(v, 0), Full)) }

// Image is the picture, one pixel a block, mid-grey where it was not read.
func (b *Picture) Image() image.Image {
	p := &b.parts[0]
	img := image.NewNRGBA(image.Rect(0, 0, p.across, p.down))
	var line []RGB
	for row := range p.down {
		line = b.Colours(row, line)
		for col, c := range line {
			px := img.Pix[row*img.Stride+4*col:][:4]
			for i, v := range c {
				if px[i] = uint8((v + 4) / 8); v < 0 {
					px[i] = (meanZero + 4) / 8
				}
			}
			px[3] = 255
		}
	}
	return img
}
