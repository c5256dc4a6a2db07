package assemble

import (
	"math"
	"testing"
)

// A wave of known phase, moved by parts of a pixel, comes out at the phase that
// the move says: within a hundredth of a pixel, of luma and of chroma.
func TestSteadierMoves(t *testing.T) {
	o := DefaultOptions()
	o.Aspect, o.Steady = "source", [2]float64{0.02, 0.03}
	g, err := o.layOut(400, 300)
	if err != nil {
		t.Fatal(err)
	}
	wave := func(x float64) uint16 { return uint16(32768 + 20000*math.Sin(x/5)) }
	ww, wh := g.w+2*g.padX, g.h+2*g.padY
	wide := newPicture(make([]uint16, pictureWords(ww, wh, 2, 2)), ww, wh, 2, 2)
	for y := range wh {
		for x := range ww {
			wide.y.row(y)[x] = wave(float64(x) + 0.5*float64(y))
		}
	}
	for y := range wh / 2 {
		for x := range ww / 2 {
			wide.cb.row(y)[x] = wave(2*float64(x) + float64(y))
			wide.cr.row(y)[x] = 5000
		}
	}
	for _, by := range [][2]float64{{0, 0}, {0.02, -0.03}, {-0.00613, 0.0271}} {
		out := newPicture(make([]uint16, pictureWords(g.w, g.h, 2, 2)), g.w, g.h, 2, 2)
		s := newSteadier(g, 400, 300)
		s.move(out, wide, by, 0)
		dx, dy := float64(g.padX)-by[0]*s.scale[0], float64(g.padY)-by[1]*s.scale[1]
		for y := 4; y < g.h-4; y += 7 {
			for x := 4; x < g.w-4; x += 3 {
				if got, want := out.y.row(y)[x], wave(float64(x)+dx+0.5*(float64(y)+dy)); math.Abs(float64(got)-float64(want)) > 60 {
					t.Fatalf("moved by %v: luma at %d,%d is %d, want %d", by, x, y, got, want)
				}
				if got, want := out.cb.row(y / 2)[x/2], wave(float64(x&^1)+dx+float64(y/2)+dy/2); math.Abs(float64(got)-float64(want)) > 900 {
					t.Fatalf("moved by %v: chroma at %d,%d is %d, want %d", by, x, y, got, want)
				}
				if out.cr.row(y / 2)[x/2] != 5000 {
					t.Fatalf("a flat plane has %d", out.cr.row(y / 2)[x/2])
				}
			}
		}
	}
}

// A picture that is turned lies where turning each place about the still's middle has
// it, luma and chroma alike, and then moved.
func TestSteadierTurns(t *testing.T) {
	const turn = 0.03
	o := DefaultOptions()
	o.Aspect, o.Steady = "16:9", [2]float64{0.05, 0.06}
	g, err := o.layOut(400, 300)
	if err != nil {
		t.Fatal(err)
	}
	// By place in the still, pixels.
	at := func(x, y float64) float64 { return 32768 + 15000*math.Sin(x/9+0.3*math.Sin(y/14)) }
	ww, wh := g.w+2*g.padX, g.h+2*g.padY
	wide := newPicture(make([]uint16, pictureWords(ww, wh, 2, 2)), ww, wh, 2, 2)
	kx, ky := float64(g.cropW+2*g.marginX)/float64(ww), float64(g.cropH+2*g.marginY)/float64(wh)
	still := func(x, y float64) (float64, float64) { // of a place in wide
		return float64(g.cropX-g.marginX) + kx*x, float64(g.cropY-g.marginY) + ky*y
	}
	fill := func(p plane, size float64) {
		for y := range p.h {
			for x := range p.w {
				p.row(y)[x] = uint16(at(still((float64(x)+0.5)*size, (float64(y)+0.5)*size)))
			}
		}
	}
	fill(wide.y, 1)
	fill(wide.cb, 2)
	out := newPicture(make([]uint16, pictureWords(g.w, g.h, 2, 2)), g.w, g.h, 2, 2)
	by := [2]float64{0.01, -0.015}
	newSteadier(g, 400, 300).move(out, wide, by, turn)
	check := func(p plane, size float64) {
		for y := 4; y < p.h-4; y += 5 {
			for x := 4; x < p.w-4; x += 3 {
				sx, sy := still((float64(x)+0.5)*size+float64(g.padX), (float64(y)+0.5)*size+float64(g.padY))
				dx, dy := sx-by[0]*400-200, sy-by[1]*300-150
				want := at(200+math.Cos(turn)*dx+math.Sin(turn)*dy, 150+math.Cos(turn)*dy-math.Sin(turn)*dx)
				if got := float64(p.row(y)[x]); math.Abs(got-want) > 120*size*size {
					t.Fatalf("samples of %g pixels: %d,%d is %.0f, want %.0f", size, x, y, got, want)
				}
			}
		}
	}
	check(out.y, 1)
	check(out.cb, 2)
}
