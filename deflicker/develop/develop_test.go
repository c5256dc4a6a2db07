package develop_test

import (
	"context"
	"encoding/binary"
	"errors"
	"image"
	"math"
	"os"
	"path/filepath"
	"testing"

	"stillspan/deflicker/develop"
	"stillspan/internal/stamp"
)

// writeRaw writes a raw file of light that rises from left to right, up to
// half of white, all colours alike.
func writeRaw(t *testing.T, name string, w, h int) {
	t.Helper()
	m := stamp.Mosaic{W: w, H: h, White: 16383, Pix: make([]uint16, w*h)}
	for i := range m.Pix {
		m.Pix[i] = uint16(100 + i%w*8000/w)
	}
	data, err := stamp.DNG(m, stamp.Fields{Make: "Invented", Model: "One"}, nil, 0, 0)
	if err == nil {
		err = os.WriteFile(name, data, 0o666)
	}
	if err != nil {
		t.Fatal(err)
	}
}

// The half-size picture is the full one's: what is measured is what will be
// corrected. Odd sizes are those LibRaw might round another way.
func TestHalfIsTheSamePicture(t *testing.T) {
	if !develop.Available() {
		t.Skip("LibRaw's tools are not installed (Debian: libraw-bin)")
	}
	for _, size := range []image.Point{{300, 200}, {301, 201}} {
		name := filepath.Join(t.TempDir(), "-a b.dng")
		writeRaw(t, name, size.X, size.Y)
		s, err := develop.Identify(t.Context(), name)
		if err != nil || s.W < size.X-2 || s.H < size.Y-2 {
			t.Fatalf("%v: settings %+v, %v", size, s, err)
		}
		ppm, err := s.PPM(t.Context(), name)
		if err != nil {
			t.Fatal(err)
		}
		half, err := s.Half(t.Context(), name)
		if err != nil {
			t.Fatal(err)
		}
		pix := ppm[len(ppm)-6*s.W*s.H:]
		for _, at := range []float64{0.2, 0.5, 0.8} {
			x, y := int(at*float64(s.W)), s.H/2
			full := float64(binary.BigEndian.Uint16(pix[6*(y*s.W+x):]))
			b := half.Bounds()
			r, _, _, _ := half.At(int(at*float64(b.Dx())), b.Dy()/2).RGBA()
			if math.Abs(float64(r)/full-1) > 0.01 {
				t.Errorf("%v at %.1f: half has code %d, full %.0f", size, at, r, full)
			}
		}
	}
}

func TestTrouble(t *testing.T) {
	if !develop.Available() {
		t.Skip("LibRaw's tools are not installed (Debian: libraw-bin)")
	}
	dir := t.TempDir()
	good, bad := filepath.Join(dir, "good.dng"), filepath.Join(dir, "bad.dng")
	writeRaw(t, good, 64, 48)
	if err := os.WriteFile(bad, []byte("II*\x00\x08\x00\x00\x00\x00\x00"), 0o666); err != nil {
		t.Fatal(err)
	}
	if _, err := develop.Identify(t.Context(), bad); !errors.Is(err, develop.ErrUnknown) {
		t.Errorf("no raw file: %v", err)
	}
	s, err := develop.Identify(t.Context(), good)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.PPM(t.Context(), bad); err == nil {
		t.Error("no raw file: developed")
	}
	larger := s
	larger.W += 2
	if _, err := larger.PPM(t.Context(), good); err == nil {
		t.Error("a picture of another size is taken")
	}
	smaller := s
	smaller.W, smaller.H = 8, 8
	if _, err := smaller.Half(t.Context(), good); err == nil {
		t.Error("a picture larger than promised is taken")
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := s.PPM(ctx, good); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
}
