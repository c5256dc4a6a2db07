package assemble

import (
	"fmt"
	"image"
	"math"

	"stillspan/internal/codec"
	"stillspan/internal/orientation"
)

// geometry is how a still becomes a frame of the clip.
type geometry struct {
	cropX, cropY, cropW, cropH int // of the upright still
	w, h                       int // of the clip
	// Frames that are to be moved come from the decoder with a margin on each
	// side: pixels of the still, and of the clip.
	marginX, marginY, padX, padY int
}

// layOut finds crop and size for stills of srcW x srcH upright pixels.
func (o Options) layOut(srcW, srcH int) (geometry, error) {
	aw, ah, err := parseAspect(o.Aspect)
	if err != nil {
		return geometry{}, err
	}
	if o.Width > 0 && o.Height > 0 {
		aw, ah = o.Width, o.Height
	}
	part := o.Crop.Of(image.Rect(0, 0, srcW, srcH))
	left, top := part.Min.X, part.Min.Y
	srcW, srcH = part.Dx(), part.Dy()
	mx, my := o.margin(srcW, srcH)
	left, top, srcW, srcH = left+mx, top+my, srcW-2*mx, srcH-2*my
	if srcW < 16 || srcH < 16 {
		return geometry{}, &Error{Text: "the picture shakes by more than there is of it", Try: "rendering without --steady"}
	}
	g := geometry{cropW: srcW, cropH: srcH}
	gridX, gridY := 2, 2 // even offsets keep chroma, which most stills hold at half size, in place
	if aw > 0 {
		if srcW*ah > srcH*aw {
			g.cropW, gridX = onGrid(float64(srcH)*float64(aw)/float64(ah), o.Width, srcW)
		} else {
			g.cropH, gridY = onGrid(float64(srcW)*float64(ah)/float64(aw), o.Height, srcH)
		}
	}
	g.cropX = (left + int(float64(srcW-g.cropW)*o.CropX)) &^ (gridX - 1)
	g.cropY = (top + int(float64(srcH-g.cropH)*o.CropY)) &^ (gridY - 1)
	switch {
	case o.Width > 0 && o.Height > 0:
		g.w, g.h = o.Width, o.Height
	case o.Width > 0:
		g.w, g.h = o.Width, evenIn(float64(o.Width)*float64(g.cropH)/float64(g.cropW), g.cropH)
	case o.Height > 0:
		g.w, g.h = evenIn(float64(o.Height)*float64(g.cropW)/float64(g.cropH), g.cropW), o.Height
	default:
		p, err := codec.FindPreset(o.Preset)
		if err != nil {
			return g, err
		}
		g.w = evenIn(float64(p.MaxWidth), g.cropW)
		g.h = evenIn(float64(g.w)*float64(g.cropH)/float64(g.cropW), g.cropH)
	}
	if g.w < 16 || g.h < 16 || g.w > maxSide || g.h > maxSide {
		return g, &Error{Text: fmt.Sprintf("a clip of %dx%d pixels is out of range (16 to %d a side)", g.w, g.h, maxSide), Try: "another size or aspect"}
	}
	if g.w > g.cropW || g.h > g.cropH {
		return g, &Error{
			Text: fmt.Sprintf("a clip of %dx%d pixels is larger than the %dx%d there are in the stills", g.w, g.h, g.cropW, g.cropH),
			Try:  "a smaller size, or none for the largest there is",
		}
	}
	if o.Steady != [2]float64{} {
		even := func(v float64) int { return 2 * int(math.Round(v/2)) }
		g.marginX, g.marginY = mx, my
		g.padX, g.padY = even(float64(mx)*float64(g.w)/float64(g.cropW)), even(float64(my)*float64(g.h)/float64(g.cropH))
	}
	return g, nil
}

// onGrid is a crop's side rounded to the pixel, or within bounds to up to 8 of them,
// and the grid of its offset: so that the crop of a JPEG keeps its place where that
// is reduced. The aspect stays within an eighth of a percent.
func onGrid(v float64, least, most int) (side, offset int) {
	step := 1
	for step < 8 && 800*step <= int(v) {
		step *= 2
	}
	if n := step * int(math.Round(v/float64(step))); n >= least && n <= most {
		return n, min(2*step, 8)
	}
	return int(math.Round(v)), 2
}

// margin is what frames that are moved take on each side of a picture of w x h,
// even numbers of pixels: their way, and what interpolation reaches.
func (o Options) margin(w, h int) (x, y int) {
	if o.Steady == [2]float64{} {
		return 0, 0
	}
	way := func(share float64, side int) int { return 2 * int(math.Ceil((share*float64(side)+2)/2)) }
	return way(o.Steady[0], w), way(o.Steady[1], h)
}

// Part is a part of the upright picture, in fractions from the top left. The
// zero Part is the whole.
type Part struct{ X, Y, W, H float64 }

// Of is the part of a picture with the bounds b, at least one pixel of it.
func (p Part) Of(b image.Rectangle) image.Rectangle {
	if p == (Part{}) {
		return b
	}
	at := func(v float64, side int) int { return int(math.Round(v * float64(side))) }
	x, y := min(at(p.X, b.Dx()), b.Dx()-1), min(at(p.Y, b.Dy()), b.Dy()-1)
	return image.Rect(x, y, max(at(p.X+p.W, b.Dx()), x+1), max(at(p.Y+p.H, b.Dy()), y+1)).Add(b.Min).Intersect(b)
}

// Shows is the part of an upright still of srcW x srcH pixels that the clip
// shows, and the clip's size in pixels.
func (o Options) Shows(srcW, srcH int) (part Part, w, h int, err error) {
	if srcW < 1 || srcH < 1 {
		return Part{}, 0, 0, &Error{Text: "the size of the stills is not known"}
	}
	g, err := o.layOut(srcW, srcH)
	x, y := float64(srcW), float64(srcH)
	return Part{float64(g.cropX) / x, float64(g.cropY) / y, float64(g.cropW) / x, float64(g.cropH) / y}, g.w, g.h, err
}

// evenIn is the even number nearest to v that is at most most, and at least 2.
func evenIn(v float64, most int) int {
	n := 2 * int(math.Round(min(v, float64(most))/2))
	if n > most {
		n -= 2
	}
	return max(2, n)
}

// turn lists the ffmpeg filters that make a still of this EXIF orientation
// upright. The transpose filter mirrors as well, its direction the sum of 1
// for left to right and 2 for top to bottom.
func turn(exif int) []string {
	t := orientation.Of(exif)
	var filters []string
	direction := 0
	if t.FlipX {
		filters, direction = append(filters, "hflip"), direction+1
	}
	if t.FlipY {
		filters, direction = append(filters, "vflip"), direction+2
	}
	if t.Transpose {
		return []string{fmt.Sprintf("transpose=%d", direction)}
	}
	return filters
}
