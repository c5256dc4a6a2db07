package report

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"stillspan/assemble/shoot"
	"stillspan/internal/settings"
	"stillspan/internal/words"
)

func (b *builder) light() {
	l := &b.out.Luminance
	*l = Luminance{
		FlickerEVBefore: unknown, FlickerEVAfter: unknown, ColourEVBefore: unknown, ColourEVAfter: unknown,
		PumpingEVBefore: unknown, PumpingEVAfter: unknown,
		HighShareMax: unknown, HighShareMean: unknown, LowShareMax: unknown, LowShareMean: unknown,
		Steps: []Step{}, Events: []Event{}, Biggest: []Correction{},
	}
	m, r := b.s.Measured, b.s.Solved
	if m == nil || r == nil {
		return
	}
	l.Source, l.Local, l.Corrected = m.Source, m.Local.Use, r.Corrects
	if n := m.Bands; n.Count > 0 {
		l.Bands = newBands(n.Count, n.ScatterEV, n.Use, b.exposure())
	}
	if z := settings.Zone.Of(b.s.Settings); settings.Zone.Stated(b.s.Settings) {
		l.Zone = &Zone{z.X, z.Y, z.W, z.H}
	}
	l.Confidence, l.Why = r.Confidence, r.Why
	l.FlickerEVBefore, l.FlickerEVAfter = Float(r.FlickerBefore), Float(r.FlickerAfter)
	l.ColourEVBefore, l.ColourEVAfter = Float(r.ColourBefore), Float(r.ColourAfter)
	l.PumpingEVBefore, l.PumpingEVAfter = Float(r.PumpingBefore), Float(r.PumpingAfter)
	if !r.Corrects {
		l.FlickerEVAfter, l.ColourEVAfter, l.PumpingEVAfter = l.FlickerEVBefore, l.ColourEVBefore, l.PumpingEVBefore
	} else if l.Response = "srgb"; m.Response != nil {
		l.Response = "camera"
	} else {
		l.ResponseWhy = m.ResponseWhy
	}
	l.InClip = inClip(b.s.Rendered)
	l.HighShareMax, l.HighShareMean = peakAndMean(m.HighShare)
	l.LowShareMax, l.LowShareMean = peakAndMean(m.LowShare)
	for _, s := range r.Steps {
		l.Steps = append(l.Steps, Step{b.name(s.Frame), s.Frame + 1, Float(s.EV), Float(s.LabelEV)})
	}
	for _, e := range r.Events {
		l.Events = append(l.Events, Event{b.name(e.First), b.name(e.Last), e.First + 1, e.Last + 1, Float(e.EV)})
	}
	for k, ev := range r.CorrectionEV {
		if math.Abs(ev) >= 0.005 && r.Corrects {
			l.Biggest = append(l.Biggest, Correction{b.name(k), k + 1, Float(ev)})
		}
	}
	slices.SortStableFunc(l.Biggest, func(a, c Correction) int {
		return cmp.Compare(math.Abs(float64(c.EV)), math.Abs(float64(a.EV)))
	})
	l.Biggest = l.Biggest[:min(biggest, len(l.Biggest))]
}

// exposure is the usual exposure time of the stills, s; 0 where it is not known.
func (b *builder) exposure() float64 {
	var all []float64
	for k := range b.seq.Frames {
		if e := b.seq.Frames[k].Facts.ExposureS; e > 0 {
			all = append(all, e)
		}
	}
	if len(all) == 0 {
		return 0
	}
	slices.Sort(all)
	return all[len(all)/2]
}

// newBands finds what exposures near one of s seconds leave no bands: of whole
// halves of the mains' period all rows get the same light.
func newBands(count, ev float64, evened bool, s float64) *Bands {
	n := &Bands{Count: Float(count), EV: Float(ev), EvenedOut: evened}
	for k, halves := range [2]float64{100, 120} { // a second, of 50 and 60 Hz
		n.Exposures[k] = Float(max(1, math.Round(s*halves)) / halves)
	}
	return n
}

func (n *Bands) text() string {
	done := "left as they are"
	if n.EvenedOut {
		done = "evened out"
	}
	return fmt.Sprintf("Lamps on the mains left %.1f bands of %.3f EV rms over the picture, %s; an exposure of %s on 50 Hz mains, or %s on 60 Hz, would have left none",
		float64(n.Count), float64(n.EV), done, words.Exposure(float64(n.Exposures[0])), words.Exposure(float64(n.Exposures[1])))
}

// inClip is what was measured in the clip; nil where there is none.
func inClip(r *shoot.Rendered) *InClip {
	if r == nil || r.Light.Frames == 0 {
		return nil
	}
	f := r.Light
	c := &InClip{FlickerEV: Float(f.FlickerEV), ColourEV: Float(f.ColourEV), PumpingEV: Float(f.PumpingEV), ToneEV: []Float{}, Frames: f.Frames}
	for _, e := range f.ToneEV {
		c.ToneEV = append(c.ToneEV, Float(e))
	}
	return c
}

// worst is the flicker of the sixth of the tones that flickers most.
func (c *InClip) worst() Float {
	w := c.FlickerEV
	for _, e := range c.ToneEV {
		if e.Known() && !(e <= w) {
			w = e
		}
	}
	return w
}

// What of colour and pumping is worth a line, EV rms.
const (
	seenColour  = 0.002
	seenPumping = 0.005
)

// row is a named line of text.
type row struct{ Name, Text string }

// lightRows say what was seen of the light and done about it.
func lightRows(l *Luminance) []row {
	if !l.FlickerEVBefore.Known() {
		return nil
	}
	var clip, colour, pumping, tone Float = unknown, unknown, unknown, unknown
	if c := l.InClip; c != nil {
		clip, colour, pumping, tone = c.FlickerEV, c.ColourEV, c.PumpingEV, c.worst()
	}
	rows := []row{{"flicker", l.flickerText(clip, tone)}}
	if l.ColourEVBefore >= seenColour || colour >= seenColour {
		rows = append(rows, row{"colour", l.change(l.ColourEVBefore, l.ColourEVAfter, colour)})
	}
	if l.PumpingEVBefore >= seenPumping || pumping >= seenPumping {
		rows = append(rows, row{"pumping", l.change(l.PumpingEVBefore, l.PumpingEVAfter, pumping)})
	}
	if l.Local {
		rows = append(rows, row{"corners", "flicker against the middle evened out"})
	}
	if n := l.Bands; n != nil && n.EvenedOut {
		rows = append(rows, row{"bands", fmt.Sprintf("%.1f bands of mains-lit lamps, %.4f EV rms as shot, evened out", float64(n.Count), float64(n.EV))})
	}
	if l.Response == "camera" {
		rows = append(rows, row{"tones", "corrected through the camera's own response, as told from the sequence"})
	}
	return rows
}

// flickerText is the flicker as shot and in the clip, and how far it can be told.
func (l *Luminance) flickerText(clip, tone Float) string {
	text := l.change(l.FlickerEVBefore, l.FlickerEVAfter, clip)
	if tone.Known() && l.Corrected {
		text += fmt.Sprintf(", %.4f in the tones that flicker most", float64(tone))
	}
	if l.Confidence != "" && l.Confidence != "good" {
		text += "; confidence " + l.Confidence
		if l.Why != "" {
			text += ": " + l.Why
		}
	}
	return text
}

// change is a figure as shot, and in the clip or expected there.
func (l *Luminance) change(before, after, clip Float) string {
	text := fmt.Sprintf("%.4f EV rms as shot", float64(before))
	switch {
	case !l.Corrected:
		text += ", left as it is"
	case clip.Known():
		text += fmt.Sprintf(", %.4f in the clip", float64(clip))
	case after.Known():
		text += fmt.Sprintf(", %.4f expected", float64(after))
	}
	return text
}

// mayDiffer is by how much, EV rms, a clip may flicker more than was expected
// before it is worth a warning: independent errors of frames begin to show
// there.
const mayDiffer = 0.003

// lightWarning compares what was measured in the clip with what was expected;
// empty where they agree.
func lightWarning(l *Luminance) string {
	if l.InClip == nil || !l.Corrected {
		return ""
	}
	for _, f := range []struct {
		name               string
		expected, measured Float
	}{
		{"flicker", l.FlickerEVAfter, l.InClip.FlickerEV},
		{"flicker of the tones that flicker most", l.FlickerEVAfter, l.InClip.worst()},
		{"colour flicker", l.ColourEVAfter, l.InClip.ColourEV},
	} {
		if f.expected.Known() && f.measured.Known() && f.measured-f.expected > mayDiffer {
			return fmt.Sprintf("The %s measured in the clip is %.4f EV rms, where %.4f was expected: look at it before it is handed over", f.name, float64(f.measured), float64(f.expected))
		}
	}
	return ""
}
