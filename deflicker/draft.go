package deflicker

import (
	"math"

	"stillspan/internal/orientation"
)

// Draft keeps the frames of a sequence in coarse cells, from which the light of
// any zone is forecast at once, thousands of frames within a second. A Meter
// measures finer, through the camera's response and across the picture.
type Draft struct{ frames []*cells }

const (
	// draftCells is the most cells along the longer side that are kept, and
	// draftSide that are compared.
	draftCells = 48
	draftSide  = 16
)

// Add takes the next frame's grid; nil stands for one that could not be
// measured. The grid is not kept.
func (d *Draft) Add(g *Grid) {
	var c *cells
	if g != nil {
		if c = newCells(g, MeterOptions{}); c != nil {
			for max(c.w, c.h) > draftCells {
				c = c.coarser()
			}
		}
	}
	d.frames = append(d.frames, c)
}

// Curve is the light within a zone of pictures of an EXIF orientation.
func (d *Draft) Curve(z Zone, exif int) Curve {
	m := NewMeter(MeterOptions{Zone: z})
	if z == (Zone{}) {
		z = Zone{W: 1, H: 1}
	}
	z = z.stored(orientation.Of(exif))
	for _, c := range d.frames {
		if c != nil {
			c = c.within(z)
		}
		for c != nil && max(c.w, c.h) > draftSide {
			c = c.coarser()
		}
		m.frames = append(m.frames, c)
	}
	return m.Curve()
}

// within is the part of c that a zone of the stored picture covers; nil when
// there is nothing to measure in it.
func (c *cells) within(z Zone) *cells {
	x0, y0 := int(z.X*float64(c.w)), int(z.Y*float64(c.h))
	x1 := min(int(math.Ceil((z.X+z.W)*float64(c.w)-1e-9)), c.w)
	y1 := min(int(math.Ceil((z.Y+z.H)*float64(c.h)-1e-9)), c.h)
	d := emptyCells(x1-x0, y1-y0)
	lin := linear()
	var sum, total float64
	for y := range d.h {
		fy := overlap(float64(y0+y)/float64(c.h), float64(y0+y+1)/float64(c.h), z.Y, z.Y+z.H)
		for x := range d.w {
			from, to := (y0+y)*c.w+x0+x, y*d.w+x
			in := fy * overlap(float64(x0+x)/float64(c.w), float64(x0+x+1)/float64(c.w), z.X, z.X+z.W)
			for j := range d.code {
				d.code[j][to] = c.code[j][from]
				sum += in * lumWeight[j] * float64(lin[c.code[j][from]])
			}
			total += in
			d.open[to] = uint8(math.Round(in * float64(c.open[from])))
		}
	}
	if !(sum > 0) {
		return nil
	}
	d.lumEV = math.Log2(sum / total)
	return d
}
