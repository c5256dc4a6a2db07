package measure

import (
	"image"
	"image/color"
	"sync"

	"stillspan/internal/srgb"
)

// Rec. 709 (ITU-R BT.709-6, item 3.2) luminance weights.
const (
	weightR = 0.2126
	weightG = 0.7152
	weightB = 0.0722
)

// Shares of full code at which a sample counts as clipped or crushed. A
// highlight is clipped as soon as one channel is; a shadow only when all are.
// Below blindBelow the steps of an 8-bit code are a tenth of an EV and more,
// so that such samples say nothing of exposure.
const (
	clippedFrom = 0.99
	crushedTo   = 0.01
	blindBelow  = 0.03
)

// linear16 is the linear light of each 16-bit code.
var linear16 = sync.OnceValue(func() *[1 << 16]float32 {
	var t [1 << 16]float32
	for i := range t {
		t[i] = float32(srgb.Decode(float64(i) / 0xffff))
	}
	return &t
})

// cellPixels is the side of a cell, in pixels, of a w x h picture: 1 where the
// picture has no more than MaxCells pixels along its longer side, otherwise
// whole blocks of 8, so that a reduced and a full decode share one geometry.
func cellPixels(w, h int) int {
	side := max(w, h)
	if side <= MaxCells {
		return 1
	}
	blocks := (side + 7) / 8
	return 8 * ((blocks + MaxCells - 1) / MaxCells)
}

// FromImage measures every pixel of img: the plain path that the faster ones
// are checked against. Codes are taken as sRGB; transparent pixels as lying on
// black. An empty image gives an empty Grid.
func FromImage(img image.Image) *Grid {
	b := img.Bounds()
	m := newMeter(b.Dx(), b.Dy(), cellPixels(b.Dx(), b.Dy()))
	at := rgba64At(img)
	lin := linear16()
	for y := range b.Dy() {
		for x := range b.Dx() {
			c := at(b.Min.X+x, b.Min.Y+y)
			lum := weightR*lin[c.R] + weightG*lin[c.G] + weightB*lin[c.B]
			m.add(x/m.cell, y/m.cell, 1, float32(c.R)/0xffff, float32(c.G)/0xffff, float32(c.B)/0xffff, lum)
		}
	}
	g := m.grid("full")
	g.Look = new(looker).image(img)
	return g
}

// rgba64At is img's fastest way to a pixel of 16 bits.
func rgba64At(img image.Image) func(x, y int) color.RGBA64 {
	if i, ok := img.(image.RGBA64Image); ok {
		return i.RGBA64At
	}
	return func(x, y int) color.RGBA64 {
		r, g, b, a := img.At(x, y).RGBA()
		return color.RGBA64{R: uint16(r), G: uint16(g), B: uint16(b), A: uint16(a)}
	}
}
