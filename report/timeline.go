package report

import (
	"fmt"
	"html/template"
	"math"
	"strconv"
	"strings"
	"time"
)

// timeline is the horizontal axis that all drawings of a shoot share: the
// camera's clock from the first frame to the last or to the planned end, or the
// frames' numbers where the clock does not run forward all the way.
type timeline struct {
	x     []float64 // of each frame, 0 to wide
	shot  float64   // of the last frame
	half  float64   // half an interval
	ticks []tickMark
	label string
	secs  []float64 // since the first frame; nil without a clock
}

type tickMark struct {
	x    float64
	text string
}

// longestPlan is how many times longer than the shoot a planned one may be and
// still be shown to its end.
const longestPlan = 5

// newTimeline lays out a shoot's axis.
func newTimeline(s *Sequence) *timeline {
	count := len(s.Rows)
	t := &timeline{x: make([]float64, count), shot: wide, label: "frame", secs: clockSecs(s.Rows)}
	if t.secs == nil {
		span := max(float64(count-1), 1)
		for k := range t.x {
			t.x[k] = float64(k) / span * wide
		}
		t.half = wide / span / 2
		step := max(niceStep(float64(count), 6), 1)
		for f := 0.0; f < float64(count); f += step {
			at := max(f-1, 0) // frames count from 1
			t.ticks = append(t.ticks, tickMark{at / span * wide, strconv.Itoa(int(at) + 1)})
		}
		return t
	}
	span := t.secs[count-1]
	if p := s.Plan; p != nil && p.IntervalS.Known() && p.Frames > 1 {
		if end := float64(p.IntervalS) * float64(p.Frames-1); end < longestPlan*span {
			span = max(span, end)
		}
	}
	for k := range t.x {
		t.x[k] = t.secs[k] / span * wide
	}
	t.shot, t.label = t.secs[count-1]/span*wide, "camera's clock"
	step := t.secs[count-1] / float64(count-1)
	if s.IntervalS.Known() {
		step = float64(s.IntervalS)
	}
	t.half = step / 2 / span * wide
	t.ticks = clockTicks(s.Start.Time, span)
	return t
}

// clockSecs is when each frame was taken, seconds since the first, those without
// a time between their neighbours; nil where the clock does not run forward.
func clockSecs(rows []Row) []float64 {
	if len(rows) < 2 || rows[0].Time.IsZero() || rows[len(rows)-1].Time.IsZero() {
		return nil
	}
	secs := make([]float64, len(rows))
	last := 0
	for k := range rows {
		if rows[k].Time.IsZero() {
			continue
		}
		secs[k] = rows[k].Time.Sub(rows[0].Time.Time).Seconds()
		if secs[k] < secs[last] {
			return nil
		}
		for j := last + 1; j < k; j++ {
			secs[j] = secs[last] + (secs[k]-secs[last])*float64(j-last)/float64(k-last)
		}
		last = k
	}
	if secs[last] <= 0 {
		return nil
	}
	return secs
}

// clockSteps are those from one tick of a clock to the next, seconds.
var clockSteps = []float64{1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 10800, 21600, 43200, 86400}

// clockTicks are at round times of the day, at most about seven.
func clockTicks(start time.Time, span float64) []tickMark {
	step := clockSteps[len(clockSteps)-1]
	for _, s := range clockSteps {
		if span/s <= 7 {
			step = s
			break
		}
	}
	for span/step > 7 {
		step *= 2
	}
	form := "15:04"
	switch {
	case step < 60:
		form = "15:04:05"
	case step >= 86400:
		form = "2 Jan"
	}
	h, m, s := start.Clock()
	into := math.Mod(float64(h*3600+m*60+s), step) + float64(start.Nanosecond())/1e9
	var out []tickMark
	for at := math.Ceil(into/step)*step - into; at <= span; at += step {
		when := start.Add(time.Duration(at * float64(time.Second)))
		text := when.Format(form)
		if h, m, s := when.Clock(); h+m+s == 0 {
			text = when.Format("2 Jan")
		}
		out = append(out, tickMark{at / span * wide, text})
	}
	return out
}

// axis writes the ticks below a drawing.
func (t *timeline) axis() string {
	var b strings.Builder
	b.WriteString(`<div class="xt" aria-hidden="true">`)
	for k, at := range t.ticks {
		class := ""
		if k%2 == 1 {
			class = ` class="odd"`
		}
		fmt.Fprintf(&b, `<span%s style="left:%s%%">%s</span>`, class, n(at.x/wide*100), template.HTMLEscapeString(at.text))
	}
	b.WriteString(`</div>`)
	return b.String()
}

// nearest is the frame among of at x, -1 where none was taken about then. of are
// indices in order; from is where to look on, and is kept.
func (t *timeline) nearest(x, reach float64, of []int, from *int) int {
	for *from+1 < len(of) && math.Abs(t.x[of[*from+1]]-x) <= math.Abs(t.x[of[*from]]-x) {
		*from++
	}
	if len(of) == 0 || math.Abs(t.x[of[*from]]-x) > reach {
		return -1
	}
	return *from
}
