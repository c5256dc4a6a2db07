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
		s.move(out, wide, by)
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
