package assemble

import (
	"fmt"
	"image"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/math/fixed"
)

// Slate is a title card that stands before the first frame.
type Slate struct {
	Frames int // of the clip that it takes
	Title  string
	Lines  []string
}

// draw writes the card over p, on black in a grey of that code, 0 to 1.
func (s *Slate) draw(p picture, grey float64) error {
	img := image.NewGray(image.Rect(0, 0, p.y.w, p.y.h))
	left, wide := p.y.w/12, p.y.w*10/12
	lineHeight := min(float64(p.y.h)/float64(2*len(s.Lines)+6), float64(p.y.h)/16)
	at := float64(p.y.h)/3 - lineHeight
	for i, text := range append([]string{s.Title}, s.Lines...) {
		face, size := goregular.TTF, lineHeight
		if i == 0 {
			face, size = gobold.TTF, 2*lineHeight
		}
		if err := drawLine(img, face, size, left, int(at), wide, text); err != nil {
			return fmt.Errorf("cannot draw the slate: %w", err)
		}
		at += 1.6 * lineHeight
	}
	for i, v := range img.Pix {
		p.y.pix[i] = uint16(yBlack + grey*float64(v)*yRange/255)
	}
	for i := range p.cb.pix {
		p.cb.pix[i], p.cr.pix[i] = cMid, cMid
	}
	return nil
}

// drawLine writes text with its base line at y, smaller than size pixels where it is
// wider than that.
func drawLine(img *image.Gray, ttf []byte, size float64, x, y, wide int, text string) error {
	parsed, err := opentype.Parse(ttf)
	if err != nil {
		return err
	}
	for {
		face, err := opentype.NewFace(parsed, &opentype.FaceOptions{Size: size, DPI: 72, Hinting: font.HintingNone})
		if err != nil {
			return err
		}
		if got := font.MeasureString(face, text).Ceil(); got > wide && size > 4 {
			size = max(size*float64(wide)/float64(got)*0.99, 4)
			continue
		}
		d := font.Drawer{Dst: img, Src: image.White, Face: face, Dot: fixed.P(x, y)}
		d.DrawString(text)
		return face.Close()
	}
}
