package report

import (
	"fmt"
	"html/template"
	"math"
	"strconv"

	"stillspan/ingest/account"
	"stillspan/internal/words"
)

// tallest is the longest step the interval plot has room for, in intervals.
const tallest = 6

// intervalChart shows the time from each frame to the next, faults marked.
func intervalChart(s *Sequence) template.HTML {
	steps := make([]float64, len(s.Rows))
	for k := range s.Rows {
		steps[k] = float64(s.Rows[k].StepS)
	}
	lo, hi := bounds(steps)
	if math.IsNaN(float64(s.IntervalS)) && hi-lo == 1 && len(s.Rows) > 0 && math.IsNaN(steps[len(steps)-1]) {
		return ""
	}
	if s.IntervalS.Known() {
		lo, hi = min(lo, float64(s.IntervalS)), max(hi, float64(s.IntervalS))
	}
	desc := fmt.Sprintf("%s over %d frames", intervalText(s), len(s.Rows))
	if most := tallest * float64(s.IntervalS); hi > most {
		// One long pause must not flatten all the rest.
		desc += fmt.Sprintf("; longer ones, up to %s, are drawn at the top", words.Seconds(hi))
		hi = most
		for k := range steps {
			steps[k] = min(steps[k], hi)
		}
	}
	lo = min(lo, hi*0.8) // a steady shoot is a level line, not a magnified grain
	p := newPlot("Time from the frame before", desc, "seconds", len(s.Rows), lo, hi)
	if s.IntervalS.Known() {
		p.level("fit", float64(s.IntervalS))
	}
	p.dots("dots", steps)
	p.faults(s, steps, lo, hi)
	return p.done()
}

// faults marks what is wrong with a shoot among its steps.
func (p *plot) faults(s *Sequence, steps []float64, lo, hi float64) {
	for _, m := range s.Missing {
		shape := "gap"
		if account.Cause(m.Cause) == account.FileLost {
			shape = "lost"
		}
		if m.Frame < len(steps) {
			p.mark(shape, float64(m.Frame), orMid(steps[m.Frame], lo, hi), fmt.Sprintf("%s: %d missing, %s", place(m), m.Count, causeText(m.Cause)))
			if len(s.Missing) <= mostNotes {
				p.note(float64(m.Frame), p.y(orMid(steps[m.Frame], lo, hi)), strconv.Itoa(m.Count))
			}
		}
	}
	for _, x := range s.Irregular {
		p.mark("late", float64(x.Frame-1), orMid(steps[x.Frame-1], lo, hi), fmt.Sprintf("%s: %s by %s", base(x.File), x.Kind, words.Seconds(math.Abs(float64(x.OffsetS)))))
	}
	for _, d := range s.Damaged {
		if d.Frame > 0 {
			p.mark("damage", float64(d.Frame-1), lo, base(d.File)+": "+d.Problem)
		}
	}
}

func orMid(v, lo, hi float64) float64 {
	if math.IsNaN(v) {
		return (lo + hi) / 2
	}
	return v
}

// lightChart shows the light as shot and as corrected.
func lightChart(s *Sequence) template.HTML {
	before, after := lightOf(s)
	lo, hi := bounds(before, after)
	if hi-lo < 0.2 {
		mid := (lo + hi) / 2
		lo, hi = mid-0.1, mid+0.1
	}
	l := &s.Luminance
	desc := fmt.Sprintf("flicker %.3f EV rms as shot, %.3f expected; %d exposure steps and %d short events marked",
		float64(l.FlickerEVBefore), float64(l.FlickerEVAfter), len(l.Steps), len(l.Events))
	p := newPlot("Light of each frame", desc, "EV (0 = white)", len(before), lo, hi)
	for _, e := range l.Events {
		p.band("event", float64(e.FirstFrame-1), float64(e.LastFrame-1), fmt.Sprintf("short event, %+.2f EV, kept as it is", float64(e.EV)))
		if len(l.Events) <= mostNotes {
			p.note(float64(e.LastFrame)-1, plotTop+plotInnerH-7, "event")
		}
	}
	clear := 0.0 // no note is written over the one before
	for _, st := range l.Steps {
		p.upright("step", float64(st.Frame)-1.5, fmt.Sprintf("exposure step at %s: %+.2f EV measured, %+.2f by the labels", base(st.File), float64(st.EV), float64(st.LabelEV)))
		if at := p.x(float64(st.Frame)); len(l.Steps) <= mostNotes && at > clear {
			clear = at + 75 // the width of a note
			p.note(float64(st.Frame)-1.5, plotTop+7, signed(float64(st.EV), 2)+" EV")
		}
	}
	p.line("before", before)
	if l.Corrected {
		p.line("after", after)
	}
	return p.done()
}

// lightOf is the measured light of each frame, and that with its correction.
func lightOf(s *Sequence) (before, after []float64) {
	before, after = make([]float64, len(s.Rows)), make([]float64, len(s.Rows))
	for k := range s.Rows {
		before[k] = float64(s.Rows[k].LumEV)
		after[k] = before[k]
		if c := s.Rows[k].CorrectionEV; c.Known() {
			after[k] += float64(c)
		}
	}
	return before, after
}

// correctionChart shows what each frame was pushed or pulled by.
func correctionChart(s *Sequence) template.HTML {
	ev := make([]float64, len(s.Rows))
	for k := range s.Rows {
		ev[k] = float64(s.Rows[k].CorrectionEV)
	}
	lo, hi := bounds(ev)
	lo, hi = min(lo, -0.02), max(hi, 0.02)
	p := newPlot("Correction of each frame", fmt.Sprintf("from %+.2f to %+.2f EV", lo, hi), "EV", len(ev), lo, hi)
	p.level("zero", 0)
	p.bars("bars", ev)
	return p.done()
}
