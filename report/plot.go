package report

import (
	"fmt"
	"html/template"
	"math"
	"strconv"
	"strings"
)

// The plots share one size, in SVG units; the page scales them to its width.
const (
	plotW, plotH           = 960.0, 230.0
	plotLeft, plotRight    = 64.0, 14.0
	plotTop, plotBottom    = 14.0, 40.0
	plotPoints             = 1200 // most columns of a line; more are drawn as ranges
	plotInnerW, plotInnerH = plotW - plotLeft - plotRight, plotH - plotTop - plotBottom
)

// plot is one chart over frame numbers.
type plot struct {
	b          strings.Builder
	frames     int
	lo, hi     float64 // of the vertical axis
	title      string
	desc       string
	label      string // of the vertical axis, with its unit
	horizontal string // of the horizontal axis
}

// newPlot opens a chart for values between lo and hi.
func newPlot(title, desc, label string, frames int, lo, hi float64) *plot {
	if !(hi > lo) {
		lo, hi = lo-0.5, lo+0.5
	}
	pad := 0.06 * (hi - lo)
	p := &plot{frames: frames, lo: lo - pad, hi: hi + pad, title: title, desc: desc, label: label, horizontal: "frame"}
	fmt.Fprintf(&p.b, `<svg class="plot" viewBox="0 0 %g %g" role="img" aria-label="%s"><title>%s</title>`,
		plotW, plotH, template.HTMLEscapeString(title+". "+desc), template.HTMLEscapeString(title))
	p.axes()
	return p
}

func (p *plot) x(frame float64) float64 {
	n := max(float64(p.frames-1), 1)
	return plotLeft + frame/n*plotInnerW
}

func (p *plot) y(v float64) float64 {
	return plotTop + (p.hi-v)/(p.hi-p.lo)*plotInnerH
}

// n writes a coordinate short.
func n(v float64) string { return strconv.FormatFloat(math.Round(v*10)/10, 'f', -1, 64) }

func (p *plot) axes() {
	step := niceStep(p.hi-p.lo, 5)
	for v := math.Ceil(p.lo/step) * step; v <= p.hi+1e-9; v += step {
		y := n(p.y(v))
		fmt.Fprintf(&p.b, `<line class="grid" x1="%s" x2="%s" y1="%s" y2="%s"/><text class="tick" x="%s" y="%s" text-anchor="end" dy="0.32em">%s</text>`,
			n(plotLeft), n(plotW-plotRight), y, y, n(plotLeft-8), y, tickText(v, step))
	}
	xs := max(niceStep(float64(p.frames), 8), 1)
	for f := 0.0; f < float64(p.frames); f += xs {
		at := max(f-1, 0) // frames count from 1
		fmt.Fprintf(&p.b, `<text class="tick" x="%s" y="%s" text-anchor="middle">%d</text>`, n(p.x(at)), n(plotH-plotBottom+16), int(at)+1)
	}
	fmt.Fprintf(&p.b, `<text class="axis" x="%s" y="%s" text-anchor="middle">%s</text>`, n(plotLeft+plotInnerW/2), n(plotH-5), p.horizontal)
	fmt.Fprintf(&p.b, `<text class="axis" transform="translate(14 %s) rotate(-90)" text-anchor="middle">%s</text>`, n(plotTop+plotInnerH/2), template.HTMLEscapeString(p.label))
}

// niceStep is 1, 2 or 5 times a power of ten that gives about count steps.
func niceStep(span float64, count int) float64 {
	raw := span / float64(count)
	if !(raw > 0) {
		return 1
	}
	ten := math.Pow(10, math.Floor(math.Log10(raw)))
	for _, m := range []float64{1, 2, 5} {
		if raw <= m*ten {
			return m * ten
		}
	}
	return 10 * ten
}

func tickText(v, step float64) string {
	d := max(0, int(math.Ceil(-math.Log10(step)-1e-9)))
	s := strconv.FormatFloat(v, 'f', d, 64)
	if strings.Trim(s, "-0.") == "" {
		return strings.TrimPrefix(s, "-")
	}
	return strings.Replace(s, "-", "\u2212", 1)
}

// line draws values by frame; NaN interrupts it. Where there are more frames
// than columns, each column is drawn from its lowest to its highest value, so
// that no outlier is hidden.
func (p *plot) line(class string, v []float64) {
	per := (len(v) + plotPoints - 1) / plotPoints
	var d strings.Builder
	pen := false
	point := func(f, val float64) {
		cmd := "L"
		if !pen {
			cmd, pen = "M", true
		}
		d.WriteString(cmd + n(p.x(f)) + " " + n(p.y(val)))
	}
	for i := 0; i < len(v); i += max(per, 1) {
		lo, hi := math.NaN(), math.NaN()
		for _, x := range v[i:min(i+per, len(v))] {
			if !math.IsNaN(x) {
				lo, hi = minNaN(lo, x), maxNaN(hi, x)
			}
		}
		if math.IsNaN(lo) {
			pen = false
			continue
		}
		point(float64(i), lo)
		if hi != lo {
			point(float64(i), hi)
		}
	}
	fmt.Fprintf(&p.b, `<path class="%s" d="%s"/>`, class, d.String())
}

func minNaN(a, b float64) float64 {
	if math.IsNaN(a) || b < a {
		return b
	}
	return a
}

func maxNaN(a, b float64) float64 {
	if math.IsNaN(a) || b > a {
		return b
	}
	return a
}

// dots draws values as points; beyond what can be told apart, one a column and
// value.
func (p *plot) dots(class string, v []float64) {
	seen := map[string]bool{}
	fmt.Fprintf(&p.b, `<g class="%s">`, class)
	for i, x := range v {
		if math.IsNaN(x) {
			continue
		}
		at := n(p.x(float64(i)))
		if len(v) > plotPoints {
			at = strconv.Itoa(int(p.x(float64(i))))
		}
		key := at + "," + n(p.y(x))
		if !seen[key] {
			seen[key] = true
			fmt.Fprintf(&p.b, `<circle cx="%s" cy="%s" r="2"/>`, at, n(p.y(x)))
		}
	}
	p.b.WriteString(`</g>`)
}

// bars draws values from zero.
func (p *plot) bars(class string, v []float64) {
	var d strings.Builder
	for i, x := range v {
		if !math.IsNaN(x) && x != 0 {
			d.WriteString("M" + n(p.x(float64(i))) + " " + n(p.y(0)) + "V" + n(p.y(x)))
		}
	}
	fmt.Fprintf(&p.b, `<path class="%s" d="%s"/>`, class, d.String())
}

// level draws a line across at v.
func (p *plot) level(class string, v float64) {
	fmt.Fprintf(&p.b, `<line class="%s" x1="%s" x2="%s" y1="%s" y2="%s"/>`, class, n(plotLeft), n(plotW-plotRight), n(p.y(v)), n(p.y(v)))
}

// upright draws a line from top to bottom at a frame, with what it means.
func (p *plot) upright(class string, frame float64, title string) {
	fmt.Fprintf(&p.b, `<line class="%s" x1="%s" x2="%s" y1="%s" y2="%s"><title>%s</title></line>`,
		class, n(p.x(frame)), n(p.x(frame)), n(plotTop), n(plotTop+plotInnerH), template.HTMLEscapeString(title))
}

// band shades frames from first to last.
func (p *plot) band(class string, first, last float64, title string) {
	x0, x1 := p.x(first-0.5), p.x(last+0.5)
	fmt.Fprintf(&p.b, `<rect class="%s" x="%s" y="%s" width="%s" height="%s"><title>%s</title></rect>`,
		class, n(x0), n(plotTop), n(max(x1-x0, 2)), n(plotInnerH), template.HTMLEscapeString(title))
}

// mark sets a sign on a frame: its shape tells what it is, so that colour need
// not.
func (p *plot) mark(shape string, frame, v float64, title string) {
	x, y := p.x(frame), min(max(p.y(v), plotTop), plotTop+plotInnerH)
	d := map[string]string{
		"gap":    "M-6 5H6L0 -6Z",
		"lost":   "M-6 -5H6L0 6Z",
		"late":   "M-5.5 0L0 -5.5L5.5 0L0 5.5Z",
		"damage": "M-4.5 -4.5L4.5 4.5M4.5 -4.5L-4.5 4.5",
	}[shape]
	class := "mark"
	if shape == "damage" {
		class = "cross"
	}
	fmt.Fprintf(&p.b, `<path class="%s" transform="translate(%s %s)" d="%s"><title>%s</title></path>`, class, n(x), n(y), d, template.HTMLEscapeString(title))
}

// Notes are written into a chart only while there are few enough to read.
const mostNotes = 12

// note writes a word beside a frame, on its left near the right edge.
func (p *plot) note(frame, y float64, text string) {
	x, anchor, dx := p.x(frame), "start", 9.0
	if x > plotW-plotRight-70 {
		anchor, dx = "end", -9.0
	}
	fmt.Fprintf(&p.b, `<text class="note" x="%s" y="%s" text-anchor="%s" dy="0.32em">%s</text>`, n(x+dx), n(y), anchor, template.HTMLEscapeString(text))
}

func (p *plot) done() template.HTML {
	p.b.WriteString(`</svg>`)
	return template.HTML(p.b.String())
}

// bounds are the least and greatest of the values that are known.
func bounds(lists ...[]float64) (lo, hi float64) {
	lo, hi = math.NaN(), math.NaN()
	for _, l := range lists {
		for _, v := range l {
			if !math.IsNaN(v) && !math.IsInf(v, 0) {
				lo, hi = minNaN(lo, v), maxNaN(hi, v)
			}
		}
	}
	if math.IsNaN(lo) {
		return 0, 1
	}
	return lo, hi
}
