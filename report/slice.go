package report

import (
	"fmt"
	"html/template"
	"image"
	"image/color"
	"strings"
)

// Pixels of one half of a time slice as the page holds it.
const (
	sliceW = 1000
	sliceH = 96
)

// sliceOf draws one column of each frame over the shoot's timeline: flicker is
// stripes. What was not shot stays open.
func sliceOf(s *Sequence, t *timeline) template.HTML {
	sl := s.pictures.slice
	if sl == nil {
		return ""
	}
	every := 1
	if len(sl.Frames) > 1 {
		every = max(1, (sl.Frames[len(sl.Frames)-1]-sl.Frames[0])/(len(sl.Frames)-1))
	}
	reach := max(float64(every)*t.half*1.3, wide/sliceW)
	cols := make([]int, sliceW)
	var open strings.Builder // over what was not shot
	from := 0
	for x := range cols {
		cols[x] = t.nearest((float64(x)+0.5)/sliceW*wide, reach, sl.Frames, &from)
		if cols[x] < 0 && (x == 0 || cols[x-1] >= 0) {
			fmt.Fprintf(&open, "M%d 0v1000", x)
		}
		if cols[x] >= 0 && x > 0 && cols[x-1] < 0 {
			fmt.Fprintf(&open, "H%dV0z", x)
		}
	}
	if cols[sliceW-1] < 0 {
		open.WriteString("H1000V0z")
	}
	second := "in the clip"
	if sl.Forecast {
		second = "expected of a clip"
	}
	if !s.Luminance.Corrected {
		second += ", light left as it is"
	}
	half := func(img *image.RGBA, word string) string {
		return fmt.Sprintf(`<div class="area"><img src="%s" alt="One column of each frame side by side, %s"/><svg viewBox="0 0 1000 1000" preserveAspectRatio="none" aria-hidden="true"><path class="open" d="%s"/></svg><span class="tag">%s</span><i class="head"></i></div>`,
			dataURL(columnsAt(img, cols)), word, open.String(), word)
	}
	return template.HTML(`<div class="slice">` + half(sl.Shot, "as shot") + half(sl.Clip, second) + `</div>`)
}

// columnsAt lays columns of img side by side; -1 is open.
func columnsAt(img *image.RGBA, cols []int) image.Image {
	h := img.Bounds().Dy()
	out := image.NewRGBA(image.Rect(0, 0, len(cols), sliceH))
	for x, k := range cols {
		for y := range sliceH {
			c := color.RGBA{128, 128, 128, 255}
			if k >= 0 {
				c = columnAt(img, k, y*h/sliceH, max((y+1)*h/sliceH, y*h/sliceH+1))
			}
			out.SetRGBA(x, y, c)
		}
	}
	return out
}

// columnAt is the mean of column x from y0 to y1.
func columnAt(img *image.RGBA, x, y0, y1 int) color.RGBA {
	var sum [3]int
	for y := y0; y < y1; y++ {
		c := img.RGBAAt(x, y)
		sum[0], sum[1], sum[2] = sum[0]+int(c.R), sum[1]+int(c.G), sum[2]+int(c.B)
	}
	k := y1 - y0
	return color.RGBA{uint8(sum[0] / k), uint8(sum[1] / k), uint8(sum[2] / k), 255}
}
