package report

import (
	"fmt"
	"html/template"
	"math"
	"slices"
	"strings"

	"stillspan/ingest/account"
	"stillspan/internal/words"
)

// tallest is the longest step the interval plot has room for, in intervals.
const tallest = 6

// charts are the drawings of a shoot, one above the other over one axis.
type charts struct {
	Slice, Marks, Interval, Lateness, Light, Correction, Colour, Framing, Lanes template.HTML
	Legend                                                                      []markKind
	Axis                                                                        string // what runs along it
	Rounds                                                                      bool   // the clock rounds to more than can be seen
}

func chartsOf(s *Sequence) charts {
	if len(s.Rows) == 0 {
		return charts{}
	}
	t := newTimeline(s)
	c := charts{Axis: t.label, Rounds: s.ClockTickS >= 0.5}
	c.Marks, c.Legend = marksLane(s, t)
	c.Slice = sliceOf(s, t)
	c.Interval, c.Lateness = intervalChart(s, t), latenessChart(s, t)
	if s.Luminance.FlickerEVBefore.Known() {
		c.Light, c.Colour = lightChart(s, t), colourChart(s, t)
		if s.Luminance.Corrected {
			c.Correction = correctionChart(s, t)
		}
	}
	c.Framing, c.Lanes = framingChart(s, t), lanes(s, t)
	return c
}

// intervalChart shows the time from each frame to the next.
func intervalChart(s *Sequence, t *timeline) template.HTML {
	steps := make([]float64, len(s.Rows))
	known := 0
	for k := range s.Rows {
		if steps[k] = float64(s.Rows[k].StepS); s.Rows[k].StepS.Known() {
			known++
		}
	}
	if known == 0 {
		return ""
	}
	lo, hi := bounds(steps)
	mid := float64(s.IntervalS)
	desc := fmt.Sprintf("%s over %s", intervalText(s), frames(len(s.Rows)))
	if s.IntervalS.Known() {
		lo, hi = min(lo, mid), max(hi, mid)
		if most := tallest * mid; hi > most {
			// One long pause must not flatten all the rest.
			desc += fmt.Sprintf("; longer ones, up to %s, are drawn at the top", words.Seconds(hi))
			hi = most
			for k := range steps {
				steps[k] = min(steps[k], hi)
			}
		}
	}
	// A steady shoot is a level line, not a magnified grain.
	lo, hi = min(lo, hi*0.8), max(hi, lo*1.2)
	p := newPlot(t, "Time from the frame before, seconds", desc, lo, hi)
	if s.IntervalS.Known() {
		if tick := float64(s.ClockTickS); tick >= 0.5 {
			p.across("round", mid-tick, mid+tick)
		}
		p.level("fit", mid)
	}
	p.dots("", steps)
	return p.done()
}

// latenessChart shows how late each frame was against the plan, or against the
// cadence where nothing was planned.
func latenessChart(s *Sequence, t *timeline) template.HTML {
	against, interval := "the plan", unknown
	if s.Plan != nil {
		interval = s.Plan.IntervalS
	}
	if !interval.Known() {
		against, interval = "the interval it kept", s.IntervalS
	}
	if t.secs == nil || !interval.Known() || s.TimingNote != "" {
		return ""
	}
	late := make([]float64, len(s.Rows))
	first := -1
	for k := range s.Rows {
		late[k] = math.NaN()
		slot := s.Rows[k].Slot
		if slot < 0 || s.Rows[k].Time.IsZero() {
			continue
		}
		if first < 0 {
			first = k
		}
		late[k] = t.secs[k] - t.secs[first] - float64(slot-s.Rows[first].Slot)*float64(interval)
	}
	if first < 0 {
		return ""
	}
	tick := float64(s.ClockTickS)
	lo, hi := bounds(late)
	desc := fmt.Sprintf("from %s to %s at most, %s at the end", lateText(lo), lateText(hi), lateText(late[len(late)-1]))
	room := max(1.5*tick, 0.2*float64(interval))
	p := newPlot(t, "Late against "+against+", seconds", desc, min(lo, -room), max(hi, room))
	if tick >= 0.5 {
		p.across("round", -tick, tick)
	}
	p.level("zero", 0)
	p.dots("", late)
	return p.done()
}

func lateText(s float64) string {
	switch {
	case math.IsNaN(s):
		return "not known"
	case s < 0:
		return words.Seconds(-s) + " early"
	}
	return words.Seconds(s) + " late"
}

// lightChart shows the light as shot and as corrected.
func lightChart(s *Sequence, t *timeline) template.HTML {
	before, after := lightOf(s)
	lo, hi := bounds(before, after)
	if hi-lo < 0.2 {
		mid := (lo + hi) / 2
		lo, hi = mid-0.1, mid+0.1
	}
	l := &s.Luminance
	desc := fmt.Sprintf("flicker %s; %s and %s marked", l.change(l.FlickerEVBefore, l.FlickerEVAfter, unknown),
		words.Count(len(l.Steps), "exposure step"), words.Count(len(l.Events), "short event"))
	p := newPlot(t, "Light, EV (0 = white)", desc, lo, hi)
	for _, e := range l.Events {
		p.shade("event", t.x[e.FirstFrame-1]-t.half, t.x[e.LastFrame-1]+t.half, fmt.Sprintf("short event, %+.2f EV, kept as it is", float64(e.EV)))
		if len(l.Events) <= mostNotes {
			p.note(t.x[e.LastFrame-1]+t.half, high-90, "event")
		}
	}
	clear := 0.0 // no note is written over the one before
	for _, st := range l.Steps {
		at := t.x[st.Frame-1] - t.half
		p.upright("step", at, fmt.Sprintf("exposure step at %s: %+.2f EV measured, %s by the labels", base(st.File), float64(st.EV), known(st.LabelEV, "%+.2f")))
		if len(l.Steps) <= mostNotes && at > clear {
			clear = at + 160 // the width of a note on a phone
			p.note(at, 70, signed(float64(st.EV), 2)+" EV")
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
func correctionChart(s *Sequence, t *timeline) template.HTML {
	ev := make([]float64, len(s.Rows))
	for k := range s.Rows {
		ev[k] = float64(s.Rows[k].CorrectionEV)
	}
	lo, hi := bounds(ev)
	lo, hi = min(lo, -0.02), max(hi, 0.02)
	p := newPlot(t, "Correction, EV", fmt.Sprintf("from %+.2f to %+.2f EV", lo, hi), lo, hi)
	p.level("zero", 0)
	p.bars("bars", ev)
	return `<div class="screenonly">` + p.done() + `</div>` // on paper the light says it
}

// colourChart shows red and blue against green, as shot and as corrected, where
// they move enough to be seen.
func colourChart(s *Sequence, t *timeline) template.HTML {
	c := &s.pictures.colour
	if !(s.Luminance.ColourEVBefore >= seenColour) || len(c.red[0]) != len(s.Rows) || len(c.blue[0]) != len(s.Rows) {
		return ""
	}
	lo, hi := bounds(c.red[0], c.blue[0])
	l := &s.Luminance
	p := newPlot(t, "Colour against green, EV: red whole, blue dashed", "colour flicker "+l.change(l.ColourEVBefore, l.ColourEVAfter, unknown), lo, hi)
	p.line("before", c.red[0])
	p.line("before dashed", c.blue[0])
	if l.Corrected {
		p.line("after", c.red[1])
		p.line("after dashed", c.blue[1])
	}
	return p.done()
}

// seenFraming is by how many pixels a frame has to lie off to be worth a plot.
const seenFraming = 1.0

// framingChart shows by how much each frame's content lies off its smooth way.
func framingChart(s *Sequence, t *timeline) template.HTML {
	right, down := s.pictures.framing[0], s.pictures.framing[1]
	if len(right) != len(s.Rows) || len(down) != len(s.Rows) {
		return ""
	}
	lo, hi := bounds(right, down)
	if max(-lo, hi) < seenFraming {
		return ""
	}
	p := newPlot(t, "Framing off its smooth way, pixels of the still: right whole, down dashed", fmt.Sprintf("from %.1f to %.1f pixels", lo, hi), min(lo, -seenFraming), max(hi, seenFraming))
	p.level("zero", 0)
	p.line("before", right)
	p.line("before dashed", down)
	return p.done()
}

// lane is a setting's value on each frame.
type lane struct {
	name   string
	values []string
}

// mostSegments is how many stretches of one value a lane has words for.
const mostSegments = 60

// lanes draws what the camera was set to, a lane for each setting that moved and
// a line for those that did not.
func lanes(s *Sequence, t *timeline) template.HTML {
	var b strings.Builder
	var steady []string
	for _, l := range s.pictures.lanes {
		distinct := slices.Compact(slices.DeleteFunc(slices.Clone(l.values), func(v string) bool { return v == "" }))
		if len(distinct) == 0 {
			continue
		}
		if len(distinct) == 1 {
			steady = append(steady, l.name+" "+distinct[0])
			continue
		}
		said := fmt.Sprintf("%s at first, %s at last, %s", distinct[0], distinct[len(distinct)-1], words.Count(len(distinct)-1, "change"))
		fmt.Fprintf(&b, `<div class="lane"><span class="name">%s</span><div class="area" role="img" aria-label="%s: %s">`, l.name, l.name, template.HTMLEscapeString(said))
		l.segments(&b, t, len(distinct))
		b.WriteString(`<i class="head"></i></div></div>`)
	}
	if len(steady) > 0 {
		fmt.Fprintf(&b, `<p class="lane soft">Steady: %s</p>`, template.HTMLEscapeString(strings.Join(steady, ", ")))
	}
	return template.HTML(b.String())
}

func (l *lane) segments(b *strings.Builder, t *timeline, distinct int) {
	tone := 0
	for k := 0; k < len(l.values); {
		to := k
		for to+1 < len(l.values) && (l.values[to+1] == l.values[k] || l.values[to+1] == "") {
			to++
		}
		left, right := max(t.x[k]-t.half, 0), min(t.x[to]+t.half, wide)
		if to+1 < len(l.values) {
			right = (t.x[to] + t.x[to+1]) / 2
		}
		text := l.values[k]
		if distinct > mostSegments || right-left < 9*float64(len(text)) {
			text = ""
		}
		if l.values[k] != "" {
			fmt.Fprintf(b, `<span class="seg s%d" style="left:%s%%;width:%s%%" title="%s">%s</span>`, tone, n(left/10), n(max(right-left, 1)/10),
				template.HTMLEscapeString(l.values[k]), template.HTMLEscapeString(text))
		}
		k, tone = to+1, 1-tone
	}
}

// markKind is what a mark over the plots stands for: a letter of its own, with
// its word in the legend.
type markKind struct{ Letter, Word string }

var markKinds = map[string]markKind{
	string(account.NotFired):   {"N", "never fired"},
	string(account.FileLost):   {"L", "lost after being shot"},
	string(account.Unknown):    {"U", "missing, cause not known"},
	string(account.NumberSkip): {"#", "missing by number alone"},
	string(account.Late):       {"T", "late"},
	string(account.Early):      {"E", "early"},
	string(account.Double):     {"W", "fired twice"},
	BreakPause:                 {"P", "pause"},
	BreakRest:                  {"R", "rest by daily hours"},
	BreakClockSet:              {"C", "clock set"},
	BreakWrongStamp:            {"Z", "wrong stamp"},
	string(KindDamaged):        {"D", "damaged"},
}

// mark is one of them at its place; frame, from 0, is the one it opens.
type mark struct {
	kind  string
	x     float64
	frame int
	text  string
}

// marksOf lists what is to be marked on a shoot's timeline, from left to right.
func marksOf(s *Sequence, t *timeline) []mark {
	var all []mark
	in := func(frame int) int { return min(max(frame, 0), len(t.x)-1) }
	for _, m := range s.Missing {
		k := in(m.Frame - 1)
		x := t.x[k]
		if k+1 < len(t.x) && m.Frame > 0 {
			x = (x + t.x[k+1]) / 2
		}
		all = append(all, mark{m.Cause, x, k, fmt.Sprintf("%s: %d missing%s, %s", place(m), m.Count, over(m.GapS), causeText(m.Cause))})
	}
	for _, x := range s.Irregular {
		k := in(x.Frame - 1)
		all = append(all, mark{x.Kind, t.x[k], k, fmt.Sprintf("%s: %s by %s", base(x.File), markKinds[x.Kind].Word, words.Seconds(math.Abs(float64(x.OffsetS))))})
	}
	for _, x := range s.Breaks {
		k := in(x.Frame - 1)
		text := fmt.Sprintf("%s: %s", base(x.File), markKinds[x.Kind].Word)
		if x.ByS.Known() {
			text += ", " + words.Seconds(math.Abs(float64(x.ByS)))
		}
		all = append(all, mark{x.Kind, t.x[k], k, text})
	}
	for _, d := range s.Damaged {
		k := in(d.Frame - 1)
		all = append(all, mark{string(KindDamaged), t.x[k], k, base(d.File) + ": " + d.Problem})
	}
	all = slices.DeleteFunc(all, func(m mark) bool { return markKinds[m.kind].Letter == "" })
	slices.SortStableFunc(all, func(a, b mark) int {
		if d := a.x - b.x; d != 0 {
			return int(math.Copysign(1, d))
		}
		return 0
	})
	return all
}

// letterRoom is how far apart letters have to be to be read.
const letterRoom = 14.0

// gatherMarks makes one mark of those of a kind that could not be told apart.
func gatherMarks(all []mark) []mark {
	var out []mark
	open := map[string]int{} // the last of each kind, by index in out
	more := map[int]int{}
	for _, m := range all {
		if k, ok := open[m.kind]; ok && m.x-out[k].x < letterRoom {
			more[k]++
			continue
		}
		open[m.kind] = len(out)
		out = append(out, m)
	}
	for k, n := range more {
		out[k].text += fmt.Sprintf("; %d more %s soon after", n, markKinds[out[k].kind].Word)
	}
	return out
}

// marksLane sets the marks over the plots, as buttons that open their frame. A
// letter that would stand on the one before moves up, or is left out.
func marksLane(s *Sequence, t *timeline) (template.HTML, []markKind) {
	var b strings.Builder
	var legend []markKind
	taken := [2]float64{-letterRoom, -letterRoom}
	for _, m := range gatherMarks(marksOf(s, t)) {
		kind := markKinds[m.kind]
		if !slices.Contains(legend, kind) {
			legend = append(legend, kind)
		}
		letter, level := "", 0
		for l := range taken {
			if m.x-taken[l] >= letterRoom {
				letter, level, taken[l] = kind.Letter, l, m.x
				break
			}
		}
		fmt.Fprintf(&b, `<button type="button" class="mark l%d" style="left:%s%%" data-frame="%d" title="%s" aria-label="%s">%s</button>`,
			level, n(m.x/wide*100), m.frame, template.HTMLEscapeString(m.text), template.HTMLEscapeString(m.text), template.HTMLEscapeString(letter))
	}
	if len(legend) == 0 {
		return "", nil
	}
	return template.HTML(`<div class="marks" role="group" aria-label="Marked frames: arrow keys go from one to the next"><div class="area">` + b.String() + `<i class="head"></i></div></div>`), legend
}
