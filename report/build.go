package report

import (
	"cmp"
	"fmt"
	"math"
	"path"
	"slices"
	"time"

	"stillspan/assemble"
	"stillspan/deflicker"
	"stillspan/ingest"
	"stillspan/ingest/meta"
	"stillspan/ingest/timing"
	"stillspan/report/plan"
)

// A drift from the planned interval is a finding when it is beyond both: this
// share of the interval, one and a half frames in 300, and this many standard
// deviations of the fit.
const (
	driftShare  = 0.005
	driftSigmas = 3
)

// biggestCorrections is how many of the largest corrections are listed.
const biggestCorrections = 8

// Build sets planned against shot.
func Build(in Input) *Report {
	r := &Report{
		Version: Version, Root: in.Dump.Root, Made: Stamp{in.Made.Truncate(time.Second), true},
		Sequences: []Sequence{}, Loose: []string{}, Ignored: []Ignored{}, Unreadable: []Damage{}, NotFound: []Plan{},
		Warnings: slices.Clone(in.Warnings), Findings: []Finding{},
	}
	if r.Warnings == nil {
		r.Warnings = []string{}
	}
	for _, f := range in.Dump.Loose {
		r.Loose = append(r.Loose, f.Name)
	}
	for _, g := range in.Dump.Ignored {
		r.Ignored = append(r.Ignored, Ignored{g.Kind, g.Count})
	}
	for i := range in.Dump.Unreadable {
		if d, bad := problemOf(&in.Dump.Unreadable[i], -1, nil); bad {
			r.Unreadable = append(r.Unreadable, d)
		}
	}
	for _, j := range in.Match.NotFound {
		r.NotFound = append(r.NotFound, planOf(&in.Plan.Shoots[j], in.Rate))
	}
	for i := range in.Dump.Sequences {
		var w Work
		if i < len(in.Work) {
			w = in.Work[i]
		}
		var shoot *plan.Shoot
		var how plan.How
		if in.Plan != nil && i < len(in.Match.Shoot) && in.Match.Shoot[i] >= 0 {
			shoot, how = &in.Plan.Shoots[in.Match.Shoot[i]], in.Match.How[i]
		}
		r.Sequences = append(r.Sequences, buildSequence(&in.Dump.Sequences[i], &w, shoot, how, in.Rate))
	}
	r.Findings = append(r.Findings, runFindings(r)...)
	return r
}

// builder holds what the parts of one sequence are made from.
type builder struct {
	seq   *ingest.Sequence
	work  *Work
	shoot *plan.Shoot
	out   *Sequence
	rate  assemble.Rate
}

func buildSequence(seq *ingest.Sequence, w *Work, shoot *plan.Shoot, how plan.How, fallback assemble.Rate) Sequence {
	s := Sequence{
		ID: seq.ID, Frames: len(seq.Frames), Missing: []Missing{}, Irregular: []Irregular{}, TooLong: []TooLong{},
		Settings: []Setting{}, SettingsChanges: []SettingChange{}, Damaged: []Damage{}, Remedies: []Remedy{},
		Flashes: []Flash{}, Findings: []Finding{}, Notes: append([]string{}, seq.Notes...),
		Warnings: append([]string{}, w.Warnings...), Rows: []Row{},
		pictures: pictures{w.Strip, w.Before, w.After, w.ZonePicture},
	}
	b := builder{seq: seq, work: w, shoot: shoot, out: &s, rate: playbackRate(w, shoot, fallback)}
	if n := len(seq.Frames); n > 0 {
		first, last := &seq.Frames[0], &seq.Frames[n-1]
		s.First, s.Last, s.Folder = first.Name, last.Name, path.Dir(first.Name)
		s.Camera = Camera{first.Facts.Make, first.Facts.Model, first.Facts.Serial, first.Facts.Lens}
		s.Start, s.End = stampOf(&first.Facts), stampOf(&last.Facts)
	}
	if shoot != nil {
		p := planOf(shoot, b.rate)
		p.MatchedBy = string(how)
		s.Plan = &p
	}
	b.timing()
	b.damage()
	b.rows()
	b.settings()
	b.luminance()
	b.clip()
	b.delivered()
	b.findings()
	return s
}

// playbackRate is the clip's own, else the one ordered, else the plan's, else
// the run's, else 24.
func playbackRate(w *Work, shoot *plan.Shoot, fallback assemble.Rate) assemble.Rate {
	switch {
	case w.Clip != nil && w.Clip.Rate.Num > 0:
		return w.Clip.Rate
	case w.Rate.Num > 0:
		return w.Rate
	case shoot != nil && shoot.Rate.Num > 0:
		return shoot.Rate
	case fallback.Num > 0:
		return fallback
	}
	return assemble.Rate{Num: 24, Den: 1}
}

// planOf takes the playback rate of shoots that state none from fallback.
func planOf(s *plan.Shoot, fallback assemble.Rate) Plan {
	rate := s.Rate
	if rate.Num == 0 {
		rate = fallback
	}
	if rate.Num == 0 {
		rate = assemble.Rate{Num: 24, Den: 1}
	}
	p := Plan{Name: s.Name, Frames: s.Frames, IntervalS: positive(s.IntervalS), Rate: rate.String(), ClipS: positive(s.ClipS)}
	if !p.ClipS.Known() && s.Frames > 0 {
		p.ClipS = Float(float64(s.Frames) / rate.FPS())
	}
	return p
}

func stampOf(f *meta.Facts) Stamp { return Stamp{f.Taken, f.HasOffset} }

func (b *builder) file(i int) string {
	if i < 0 || i >= len(b.seq.Frames) {
		return ""
	}
	return b.seq.Frames[i].Name
}

func (b *builder) timing() {
	t, s := &b.seq.Timing, b.out
	s.IntervalS, s.IntervalUncertaintyS, s.JitterRMSS, s.ClockTickS = unknown, unknown, unknown, unknown
	s.DriftSPerHour, s.DriftPPM = unknown, unknown
	for _, g := range t.Gaps {
		s.Missing = append(s.Missing, Missing{
			After: b.file(g.After), Frame: g.After + 1, Count: g.Count, GapS: Float(g.GapS),
			Cause: string(g.Cause), Advice: gapAdvice(g.Cause),
		})
	}
	for _, i := range t.TooLong {
		if i < len(b.seq.Frames) {
			s.TooLong = append(s.TooLong, TooLong{b.file(i), i + 1, positive(b.seq.Frames[i].Facts.ExposureS)})
		}
	}
	if !t.Judged {
		s.TimingNote = cmp.Or(t.Why, "timing was not judged")
		return
	}
	s.IntervalS, s.IntervalUncertaintyS = Float(t.IntervalS), Float(t.UncertaintyS)
	s.JitterRMSS, s.ClockTickS = Float(t.JitterRMSS), Float(t.TickS)
	for _, x := range t.Irregular {
		s.Irregular = append(s.Irregular, Irregular{b.file(x.Index), x.Index + 1, string(x.Kind), Float(x.OffsetS)})
	}
	for _, d := range t.Delays {
		s.Notes = append(s.Notes, fmt.Sprintf("From frame %d (%s) on, every frame is %s: the cadence began anew there.",
			d.Index+1, b.file(d.Index), lateEarly(d.ByS)))
	}
	for _, c := range t.Changes {
		s.Notes = append(s.Notes, fmt.Sprintf("From frame %d (%s) on the interval is %s, before it was %s.",
			c.Index+1, b.file(c.Index), plan.FormatSeconds(c.ToS), plan.FormatSeconds(c.FromS)))
	}
	if t.FreeRunning {
		s.Notes = append(s.Notes, "Each frame was timed from the one before, so delays add up; jitter is the scatter of single steps.")
	}
	if b.shoot != nil && b.shoot.IntervalS > 0 {
		perHour, ppm := timing.Drift(t.IntervalS, b.shoot.IntervalS)
		s.DriftSPerHour, s.DriftPPM = Float(perHour), Float(ppm)
		off := math.Abs(t.IntervalS - b.shoot.IntervalS)
		s.DriftMatters = off > driftShare*b.shoot.IntervalS && off > driftSigmas*t.UncertaintyS
	}
}

func lateEarly(s float64) string {
	if s < 0 {
		return plan.FormatSeconds(-s) + " early"
	}
	return plan.FormatSeconds(s) + " late"
}

// problemOf is what is wrong with a frame, from its headers or from decoding.
func problemOf(f *ingest.Frame, i int, found map[int]Damage) (Damage, bool) {
	if p := f.Problem; p != nil {
		return Damage{File: f.Name, Frame: i + 1, Kind: p.Kind, Problem: p.Text, Try: p.Try, Left: unknown}, true
	}
	d, bad := found[i]
	d.File, d.Frame = f.Name, i+1
	return d, bad
}

func (b *builder) damage() {
	for i := range b.seq.Frames {
		if d, bad := problemOf(&b.seq.Frames[i], i, b.work.Damage); bad {
			b.out.Damaged = append(b.out.Damaged, d)
		}
	}
}

// at is v[i], or NaN where there is none.
func at(v []float64, i int) float64 {
	if i < len(v) {
		return v[i]
	}
	return math.NaN()
}

func (b *builder) rows() {
	t, w := &b.seq.Timing, b.work
	var before time.Time
	var start time.Time
	for i := range b.seq.Frames {
		f := &b.seq.Frames[i]
		row := Row{
			File: f.Name, Number: f.Number, Time: stampOf(&f.Facts), Slot: -1, OffsetS: unknown, StepS: unknown,
			ShutterS: positive(f.Facts.ExposureS), FNumber: positive(f.Facts.FNumber), ISO: positive(f.Facts.ISO),
			LumEV: Float(at(w.Curve.LumEV, i)), CorrectionEV: unknown,
			HighShare: Float(at(w.HighShare, i)), LowShare: Float(at(w.LowShare, i)),
		}
		if w.Measured {
			row.CorrectionEV = Float(at(w.Result.CorrectionEV, i))
		}
		if now := f.Facts.Taken; !now.IsZero() {
			if start.IsZero() {
				start = now
			}
			if !before.IsZero() {
				row.StepS = Float(now.Sub(before).Seconds())
			}
			before = now
		}
		if t.Judged && i < len(t.Slot) {
			row.Slot = t.Slot[i]
		}
		if d, bad := problemOf(f, i, w.Damage); bad {
			row.Problem = d.Problem
		}
		b.out.Rows = append(b.out.Rows, row)
	}
	if t.Judged && !start.IsZero() && !t.FreeRunning {
		b.offsets()
	}
}

// offsets gives each frame's departure from its place in the cadence. The
// fit's zero is not needed: the median departure is taken for the cadence.
func (b *builder) offsets() {
	t := &b.seq.Timing
	var at0 time.Time
	var all []float64
	off := make([]float64, len(b.out.Rows))
	for i := range b.out.Rows {
		r := &b.out.Rows[i]
		off[i] = math.NaN()
		if r.Time.IsZero() || r.Slot < 0 {
			continue
		}
		if at0.IsZero() {
			at0 = r.Time.Time
		}
		off[i] = r.Time.Sub(at0).Seconds() - float64(r.Slot)*t.IntervalS
		all = append(all, off[i])
	}
	if len(all) == 0 {
		return
	}
	slices.Sort(all)
	for i := range off {
		b.out.Rows[i].OffsetS = Float(math.Round((off[i]-all[len(all)/2])*1e4) / 1e4)
	}
}

func (b *builder) luminance() {
	l, w := &b.out.Luminance, b.work
	l.FlickerEVBefore, l.FlickerEVAfter = unknown, unknown
	l.Steps, l.Events, l.Biggest = []Step{}, []Event{}, []Correction{}
	l.HighShareMax, l.HighShareMean = maxMean(w.HighShare)
	l.LowShareMax, l.LowShareMean = maxMean(w.LowShare)
	l.Zone, l.Source = w.Zone, w.Source
	if !w.Measured {
		return
	}
	r := &w.Result
	l.Corrected, l.Local = !w.Uncorrected, w.Local
	l.FlickerEVBefore, l.FlickerEVAfter = Float(r.FlickerBefore), Float(r.FlickerAfter)
	l.Confidence, l.Why = r.Confidence, r.Why
	for _, s := range r.Steps {
		l.Steps = append(l.Steps, Step{b.file(s.Frame), s.Frame + 1, Float(s.EV), Float(s.LabelEV)})
	}
	for _, e := range r.Events {
		l.Events = append(l.Events, Event{b.file(e.First), b.file(e.Last), e.First + 1, e.Last + 1, Float(e.EV)})
	}
	l.Biggest = b.biggest(r)
}

// biggest lists the frames corrected most, largest first; corrections that no
// eye sees, below 0.01 EV, are left out.
func (b *builder) biggest(r *deflicker.Result) []Correction {
	out := []Correction{}
	for i, ev := range r.CorrectionEV {
		if math.Abs(ev) >= 0.01 && !math.IsInf(ev, 0) {
			out = append(out, Correction{b.file(i), i + 1, Float(ev)})
		}
	}
	slices.SortStableFunc(out, func(a, c Correction) int {
		return cmp.Compare(math.Abs(float64(c.EV)), math.Abs(float64(a.EV)))
	})
	return slices.Clip(out[:min(len(out), biggestCorrections)])
}

func maxMean(v []float64) (most, mean Float) {
	var sum float64
	n := 0
	top := math.Inf(-1)
	for _, x := range v {
		if !math.IsNaN(x) {
			sum, n, top = sum+x, n+1, math.Max(top, x)
		}
	}
	if n == 0 {
		return unknown, unknown
	}
	return Float(top), Float(sum / float64(n))
}

func (b *builder) clip() {
	c := b.work.Clip
	if c == nil {
		return
	}
	b.out.Render = &Render{
		File: c.File, Frames: c.Frames, Filled: c.Filled, DurationS: Float(c.DurationS), Rate: c.Rate.String(),
		Codec: c.Codec, Verified: c.Verified, Problems: append([]string{}, c.Problems...), Profile: c.Profile,
		Width: c.Width, Height: c.Height, PixFmt: c.PixFmt, Bytes: c.Bytes,
		Range: c.ColorRange, Matrix: c.ColorSpace, Primaries: c.ColorPrimaries, Transfer: c.ColorTransfer,
	}
	b.out.Flashes = append(b.out.Flashes, b.work.Flashes...)
}
