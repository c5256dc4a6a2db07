package measure

import (
	"image"
	"math"

	"stillspan/deflicker/measure/jpeg"
	"stillspan/deflicker/pictures"
)

// looker sums up a pictures.Still.
type looker struct {
	w, h, n       int // picture, pixels; its pixels per cell of luma
	still         pictures.Still
	sum           []int64
	count         []int32
	detail        []float64
	samples       []int32
	near, at, far []int32 // three rows of pairs of pixels, for their Laplacian
	line          []uint8
	lumas         []int16 // of a row of blocks
	colours       []jpeg.RGB
}

// reset readies l for a picture of w x h pixels, in units of unit pixels.
func (l *looker) reset(w, h, unit int) {
	l.w, l.h = w, h
	l.n = unit * pictures.LumaPixels((max(w, h)+unit-1)/unit)
	s := &l.still
	*s = pictures.Still{Width: w, Pixels: l.n, W: (w + l.n - 1) / l.n, H: (h + l.n - 1) / l.n}
	s.CW, s.CH = pictures.Cells(w, h)
	l.sum, l.count = zeroed(l.sum, s.W*s.H), zeroed(l.count, s.W*s.H)
	l.detail, l.samples = zeroed(l.detail, s.CW*s.CH), zeroed(l.samples, s.CW*s.CH)
}

// done gives what was summed up; full is full luma.
func (l *looker) done(full float64, detail func(mean float64) float32) pictures.Still {
	s := l.still
	s.Luma, s.Detail = make([]uint8, s.W*s.H), make([]float32, s.CW*s.CH)
	pictures.Lumas(s.Luma, l.sum, l.count, full)
	for i, n := range l.samples {
		s.Detail[i] = float32(math.NaN())
		if n > 0 {
			s.Detail[i] = detail(l.detail[i] / float64(n))
		}
	}
	return s
}

// image looks at every pixel. The Laplacian is of means of 2 x 2 pixels: noise
// and the rounding of an encoder weigh less there, and blur takes nearly as much.
func (l *looker) image(img image.Image) pictures.Still {
	b := img.Bounds()
	l.reset(b.Dx(), b.Dy(), 1)
	half := l.w / 2
	l.near, l.at, l.far = zeroed(l.near, half), zeroed(l.at, half), zeroed(l.far, half)
	l.line = zeroed(l.line, l.w)
	row := lumaRows(img)
	for y := range l.h {
		line := row(y, l.line)
		l.addLine(y, line)
		pair := l.far
		if y%2 == 0 {
			for x := range half {
				pair[x] = int32(line[2*x]) + int32(line[2*x+1])
			}
			continue
		}
		for x := range half {
			pair[x] += int32(line[2*x]) + int32(line[2*x+1])
		}
		if y >= 5 {
			l.laplace(y - 2)
		}
		l.near, l.at, l.far = l.at, l.far, l.near
	}
	return l.done(255, func(square float64) float32 { return pictures.EnergyDetail(square / 16) })
}

// addLine adds a row of pixels to luma.
func (l *looker) addLine(y int, line []uint8) {
	at := y / l.n * l.still.W
	for from := 0; from < len(line); from += l.n {
		to := min(from+l.n, len(line))
		sum := 0
		for _, v := range line[from:to] {
			sum += int(v)
		}
		l.sum[at] += int64(sum)
		l.count[at] += int32(to - from)
		at++
	}
}

// laplace adds the squared Laplacian of row l.at, at line y of the picture.
func (l *looker) laplace(y int) {
	s := &l.still
	row, half := y*s.CH/l.h*s.CW, len(l.at)
	for c := range s.CW {
		from, to := max(1, (c*half+s.CW-1)/s.CW), min(half-1, ((c+1)*half+s.CW-1)/s.CW)
		sum := int64(0)
		for x := from; x < to; x++ {
			d := int64(4*l.at[x] - l.at[x-1] - l.at[x+1] - l.near[x] - l.far[x])
			sum += d * d
		}
		l.detail[row+c] += float64(sum)
		l.samples[row+c] += int32(max(0, to-from))
	}
}

// lumaRows is img's fastest way to a row of luma of 8 bits; buf serves where the
// picture does not hold it.
func lumaRows(img image.Image) func(y int, buf []uint8) []uint8 {
	b := img.Bounds()
	switch m := img.(type) {
	case *image.YCbCr:
		return func(y int, _ []uint8) []uint8 { i := m.YOffset(b.Min.X, b.Min.Y+y); return m.Y[i : i+b.Dx()] }
	case *image.Gray:
		return func(y int, _ []uint8) []uint8 { i := m.PixOffset(b.Min.X, b.Min.Y+y); return m.Pix[i : i+b.Dx()] }
	}
	at := rgba64At(img)
	return func(y int, buf []uint8) []uint8 {
		for x := range buf {
			c := at(b.Min.X+x, b.Min.Y+y)
			buf[x] = uint8((54*uint32(c.R) + 183*uint32(c.G) + 19*uint32(c.B)) >> 16)
		}
		return buf
	}
}

// blocks looks at a JPEG's block means and the coded lengths of its blocks.
func (l *looker) blocks(b *jpeg.Picture) pictures.Still {
	l.reset(b.Width, b.Height, 8)
	s := &l.still
	across, down := b.Blocks()
	each := l.n / 8
	for row := range down {
		l.lumas = b.Lumas(row, l.lumas)
		luma := row / each * s.W
		for i := range s.W {
			sum, n := 0, int32(0)
			for _, y := range l.lumas[i*each : min((i+1)*each, across)] {
				if y >= 0 {
					sum += int(y)
					n++
				}
			}
			l.sum[luma+i] += int64(sum)
			l.count[luma+i] += n
		}
		coded, cell := b.Coded(row), row*s.CH/down*s.CW
		for i := range s.CW {
			sum, n := 0, int32(0)
			for _, bits := range coded[(i*across+s.CW-1)/s.CW : ((i+1)*across+s.CW-1)/s.CW] {
				if bits > 0 {
					sum += int(bits)
					n++
				}
			}
			l.detail[cell+i] += float64(sum)
			l.samples[cell+i] += n
		}
	}
	out := l.done(jpeg.Full, pictures.CodedDetail)
	out.Coded = true
	return out
}
