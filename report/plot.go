package report

import (
	"fmt"
	"html/template"
	"math"
	"strconv"
	"strings"
)

// wide and high are the units of a drawing; the page stretches it to its place,
// and the words over it keep their size on any screen.
const (
	wide, high = 1000.0, 1000.0
	plotPoints = 1200 // most columns of a line; more are drawn as ranges
)

// plot is one drawing over a shoot's timeline.
type plot struct {
	at     *timeline
	svg    strings.Builder
	words  strings.Builder // ticks and notes, set over the drawing
	lo, hi float64         // of the vertical axis
	title  string          // with the unit of the vertical axis
	desc   string
}

// newPlot opens a plot for values between lo and hi.
func newPlot(at *timeline, title, desc string, lo, hi float64) *plot {
	if !(hi > lo) {
		lo, hi = lo-0.5, lo+0.5
	}
	pad := 0.06 * (hi - lo)
	p := &plot{at: at, lo: lo - pad, hi: hi + pad, title: title, desc: desc}
	step := niceStep(p.hi-p.lo, 4)
	for v := math.Ceil(p.lo/step) * step; v <= p.hi+1e-9; v += step {
		p.level("grid", v)
		fmt.Fprintf(&p.words, `<span class="yt" style="top:%s%%">%s</span>`, n(p.y(v)/high*100), tickText(v, step))
	}
	for _, t := range at.ticks {
		fmt.Fprintf(&p.svg, `<path class="grid" d="M%s 0V1000"/>`, n(t.x))
	}
	if at.shot < wide {
		p.shade("unshot", at.shot, wide, "planned, and not shot")
	}
	return p
}

func (p *plot) y(v float64) float64 { return (p.hi - v) / (p.hi - p.lo) * high }

// n writes a coordinate short.
func n(v float64) string { return strconv.FormatFloat(math.Round(v*10)/10, 'f', -1, 64) }

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
	per := max((len(v)+plotPoints-1)/plotPoints, 1)
	var d strings.Builder
	pen := "M"
	for i := 0; i < len(v); i += per {
		lo, hi := math.NaN(), math.NaN()
		for _, x := range v[i:min(i+per, len(v))] {
			if !math.IsNaN(x) {
				lo, hi = minNaN(lo, x), maxNaN(hi, x)
			}
		}
		if math.IsNaN(lo) {
			pen = "M"
			continue
		}
		d.WriteString(pen + n(p.at.x[i]) + " " + n(p.y(lo)))
		pen = "L"
		if hi != lo {
			d.WriteString("V" + n(p.y(hi)))
		}
	}
	fmt.Fprintf(&p.svg, `<path class="%s" d="%s"/>`, class, d.String())
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

// dots draws values as points; what cannot be told apart is drawn once.
func (p *plot) dots(class string, v []float64) {
	seen := map[string]bool{}
	var d strings.Builder
	for i, x := range v {
		if math.IsNaN(x) {
			continue
		}
		at := n(p.at.x[i])
		if len(v) > plotPoints {
			at = strconv.Itoa(int(p.at.x[i]))
		}
		if at += " " + n(p.y(x)); !seen[at] {
			seen[at] = true
			d.WriteString("M" + at + "h0")
		}
	}
	fmt.Fprintf(&p.svg, `<path class="dots %s" d="%s"/>`, class, d.String())
}

// bars draws values from zero.
func (p *plot) bars(class string, v []float64) {
	var d strings.Builder
	for i, x := range v {
		if !math.IsNaN(x) && x != 0 {
			d.WriteString("M" + n(p.at.x[i]) + " " + n(p.y(0)) + "V" + n(p.y(x)))
		}
	}
	fmt.Fprintf(&p.svg, `<path class="%s" d="%s"/>`, class, d.String())
}

// level draws a line across at v.
func (p *plot) level(class string, v float64) {
	fmt.Fprintf(&p.svg, `<path class="%s" d="M0 %sH1000"/>`, class, n(p.y(v)))
}

// upright draws a line from top to bottom at x, with what it means.
func (p *plot) upright(class string, x float64, title string) {
	fmt.Fprintf(&p.svg, `<path class="%s" d="M%s 0V1000"><title>%s</title></path>`, class, n(x), template.HTMLEscapeString(title))
}

// shade lays a colour over a stretch from x0 to x1.
func (p *plot) shade(class string, x0, x1 float64, title string) {
	fmt.Fprintf(&p.svg, `<rect class="%s" x="%s" y="0" width="%s" height="1000"><title>%s</title></rect>`,
		class, n(x0), n(max(x1-x0, 2)), template.HTMLEscapeString(title))
}

// across lays a colour over all values from lo to hi.
func (p *plot) across(class string, lo, hi float64) {
	top, bottom := max(p.y(hi), 0), min(p.y(lo), high)
	fmt.Fprintf(&p.svg, `<rect class="%s" x="0" y="%s" width="1000" height="%s"/>`, class, n(top), n(max(bottom-top, 0)))
}

// Notes are written into a plot only while there are few enough to read.
const mostNotes = 8

// note writes a word beside a place, on its left near the right edge.
func (p *plot) note(x, y float64, text string) {
	side := "left"
	if x > 800 {
		side, x = "right", wide-x
	}
	fmt.Fprintf(&p.words, `<span class="note" style="%s:%s%%;top:%s%%">%s</span>`, side, n(x/wide*100), n(y/high*100), template.HTMLEscapeString(text))
}

func (p *plot) done() template.HTML {
	return template.HTML(fmt.Sprintf(`<h4>%s</h4><div class="plot"><div class="area" role="img" aria-label="%s"><svg viewBox="0 0 1000 1000" preserveAspectRatio="none" aria-hidden="true">%s</svg>%s<i class="head"></i></div>%s</div>`,
		template.HTMLEscapeString(p.title), template.HTMLEscapeString(p.title+": "+p.desc), p.svg.String(), p.words.String(), p.at.axis()))
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
