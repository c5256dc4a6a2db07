package main

import (
	"image"
	"image/png"
	"os"
)

// strip lays a slice of each of the first 60 frames beside those of the next,
// as shot above as in the clip: flicker shows as bars.
type strip struct{ img *image.RGBA }

const stripFrames = 60

func newStrip(w, h int) *strip { return &strip{image.NewRGBA(image.Rect(0, 0, w, 2*h+8))} }

// add puts frame t of a picture of h rows into a half, 0 or 1.
// It does nothing to a nil strip or another half.
func (s *strip) add(half, t, h int, at func(pixel, channel int) uint8) {
	if s == nil || half < 0 || t >= stripFrames {
		return
	}
	w := s.img.Rect.Dx()
	for y := range h {
		for x := t * w / stripFrames; x < (t+1)*w/stripFrames; x++ {
			p := s.img.Pix[s.img.PixOffset(x, y+half*(h+8)):][:4]
			p[0], p[1], p[2], p[3] = at(y*w+x, 0), at(y*w+x, 1), at(y*w+x, 2), 255
		}
	}
}

func (s *strip) write(name string) error {
	f, err := os.Create(name)
	if err != nil {
		return err
	}
	err = png.Encode(f, s.img)
	if e := f.Close(); err == nil {
		err = e
	}
	return err
}
