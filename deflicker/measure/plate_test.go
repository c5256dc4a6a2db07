package measure

import (
	"image"
	"testing"

	"stillspan/deflicker/pictures"
)

// A plate is the mean luma of whole squares of pixels, as few as keep it within
// its side.
func TestPlate(t *testing.T) {
	img := image.NewYCbCr(image.Rect(0, 0, 2*pictures.PlateSide+2, 9), image.YCbCrSubsampleRatio420)
	for y := range 9 {
		for x := range img.Rect.Dx() {
			img.Y[img.YOffset(x, y)] = uint8(x%3*60 + y%3*20)
		}
	}
	p := plateOf(img)
	if p.W != img.Rect.Dx()/3 || p.H != 3 {
		t.Fatalf("%d x %d", p.W, p.H)
	}
	for _, v := range p.Luma {
		if v != 80 {
			t.Fatalf("mean %d, want 80", v)
		}
	}
	if p := plateOf(image.NewGray(image.Rect(0, 0, 0, 0))); p.W != 0 {
		t.Errorf("a plate of nothing: %+v", p)
	}
}
