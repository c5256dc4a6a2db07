package report

import (
	"cmp"
	"fmt"
	"math"
	"path"
	"path/filepath"
	"slices"
	"time"

	"stillspan/assemble/flash"
	"stillspan/assemble/shoot"
	"stillspan/ingest"
	"stillspan/ingest/meta"
	"stillspan/ingest/plan"
	"stillspan/internal/playback"
	"stillspan/internal/words"
)

// A drift is a finding when it is beyond both of these: what a plan's interval
// may be off by without harm, and what the fit can tell from none.
const (
	driftShare  = 0.002 // of the planned interval
	driftSigmas = 3
)

// Beyond these shares of the planned interval the drift is another interval,
// and the scatter of single steps no interval at all.
const (
	otherShare  = 0.02
	unevenShare = 0.05
)

// biggest is how many corrections are listed by size.
const biggest = 8

// Build sets planned against shot.
func Build(in Input) *Report {
	r := &Report{
		Version: Version, Root: in.Dump.Root, Made: Stamp{Time: in.Made, HasOffset: true},
		Sequences: []Sequence{}, Loose: []string{}, Ignored: []Ignored{}, Unreadable: []Damage{}, NotFound: []Plan{},
		Warnings: append([]string{}, in.Warnings...), Findings: []Finding{},
	}
	for i := range in.Shoots {
		r.Sequences = append(r.Sequences, in.sequence(i))
	}
	for _, f := range in.Dump.Loose {
		r.Loose = append(r.Loose, f.Name)
	}
	for _, g := range in.Dump.Ignored {
		r.Ignored = append(r.Ignored, Ignored(g))
	}
	for _, f := range in.Dump.Unreadable {
		d := Damage{File: f.Name, Left: unknown}
		if f.Problem != nil {
			d.Kind, d.Problem, d.Try = f.Problem.Kind, f.Problem.Text, f.Problem.Try
		}
		r.Unreadable = append(r.Unreadable, d)
	}
	for _, n := range in.NotFound {
		r.NotFound = append(r.NotFound, planOf(n))
	}
	r.dumpFindings(&in)
	return r
}

func frames(n int) string { return words.Count(n, "frame") }

// planOf is what was planned of a shoot.
func planOf(s *shoot.Shoot) Plan {
	was := s.Planned
	rate := s.Rate
	if was.Rate.Num != 0 {
		rate = was.Rate
	}
	p := Plan{
		Name: was.Name, Frames: was.Frames, IntervalS: positive(was.IntervalS), Rate: plan.RateLabel(rate),
		ClipS: positive(was.ClipS), MatchedBy: string(s.MatchedBy),
	}
	if !p.ClipS.Known() && was.Frames > 0 {
		p.ClipS = Float(float64(was.Frames) / rate.FPS())
	}
	return p
}

// builder gathers one sequence.
type builder struct {
	s     *shoot.Shoot
	seq   *ingest.Sequence
	i     int // of Input.Shoots
	match *plan.Matching
	plans []plan.Shoot
	seams []string // remarks on where a shoot may end
	out   Sequence
}

func (in *Input) sequence(i int) Sequence {
	s := in.Shoots[i]
	b := &builder{s: s, seq: s.Sequence, i: i, match: &in.Match}
	if in.Plan != nil {
		b.plans = in.Plan.Shoots
	}
	b.head()
	b.timing()
	b.settings()
	b.damage()
	b.light()
	b.seen()
	b.examined()
	b.copies()
	b.plan()
	b.clip()
	b.count()
	b.rows()
	b.findings()
	b.out.Notes = b.notes()
	b.verdict()
	b.pictures()
	b.out.Warnings = append([]string{}, s.Warnings...)
	if w := lightWarning(&b.out.Luminance); w != "" {
		b.out.Warnings = append(b.out.Warnings, w)
	}
	return b.out
}

func (b *builder) name(k int) string {
	if k < 0 || k >= len(b.seq.Frames) {
		return ""
	}
	return b.seq.Frames[k].Name
}

func (b *builder) head() {
	fr := b.seq.Frames
	b.out = Sequence{ID: b.seq.ID, Frames: len(fr), ClockAheadOfUTCS: unknown}
	if len(fr) == 0 {
		return
	}
	b.out.First, b.out.Last = fr[0].Name, fr[len(fr)-1].Name
	b.out.Folder = path.Dir(fr[0].Name)
	for k := range fr {
		f := &fr[k].Facts
		if b.out.Camera == (Camera{}) {
			b.out.Camera = Camera{f.Make, f.Model, f.Serial, f.Lens}
		}
		if f.Taken.IsZero() {
			continue
		}
		s := Stamp{f.Taken, f.HasOffset}
		if b.out.Start.IsZero() {
			b.out.Start = s
		}
		b.out.End = s
		// A fix gets old, so that the least difference is the nearest to the truth.
		if ahead := wall(s).Sub(f.GPS); !f.GPS.IsZero() && ahead.Abs() <= mostAhead {
			if x := Float(ahead.Seconds()); !(x >= b.out.ClockAheadOfUTCS) {
				b.out.ClockAheadOfUTCS = x
			}
		}
	}
}

// mostAhead is the most that a zone, summer time and a badly set clock come to.
// A clock that is further off was never set.
const mostAhead = 26 * time.Hour

func (b *builder) timing() {
	t := &b.seq.Timing
	b.out.IntervalS, b.out.IntervalUncertaintyS = unknown, unknown
	b.out.DriftSPerHour, b.out.DriftPPM, b.out.JitterRMSS = unknown, unknown, unknown
	b.out.ClockTickS = positive(t.TickS)
	b.out.Missing, b.out.Irregular, b.out.TooLong = []Missing{}, []Irregular{}, []TooLong{}
	if !t.Judged {
		b.out.TimingNote = cmp.Or(t.Why, "timing could not be judged")
	} else {
		b.out.IntervalS, b.out.IntervalUncertaintyS = positive(t.IntervalS), Float(t.UncertaintyS)
		b.out.JitterRMSS = Float(t.JitterRMSS)
	}
	for _, g := range t.Gaps {
		b.out.Missing = append(b.out.Missing, Missing{b.name(g.After), g.After + 1, g.Count, Float(g.GapS), string(g.Cause), advice[g.Cause], g.Spare})
	}
	b.breaks()
	for _, x := range t.Irregular {
		b.out.Irregular = append(b.out.Irregular, Irregular{b.name(x.Index), x.Index + 1, string(x.Kind), Float(x.OffsetS)})
	}
	for _, k := range t.TooLong {
		b.out.TooLong = append(b.out.TooLong, TooLong{b.name(k), k + 1, Float(b.seq.Frames[k].Facts.ExposureS)})
	}
}

// companion is the name of the other file of a pair, relative to the root.
func (b *builder) companion(f *ingest.Frame) string {
	p := cmp.Or(f.Raw, f.Picture)
	rel, err := filepath.Rel(b.s.Root, p)
	if err != nil {
		return filepath.ToSlash(p)
	}
	return filepath.ToSlash(rel)
}

func (b *builder) damage() {
	b.out.Damaged, b.out.DamagedCompanions = []Damage{}, []Damage{}
	for k := range b.seq.Frames {
		f := &b.seq.Frames[k]
		if p := f.Companion; p != nil {
			b.out.DamagedCompanions = append(b.out.DamagedCompanions, Damage{b.companion(f), k + 1, p.Kind, p.Text, p.Try, unknown})
		}
		if f.Problem != nil {
			b.out.Damaged = append(b.out.Damaged, Damage{f.Name, k + 1, f.Problem.Kind, f.Problem.Text, f.Problem.Try, unknown})
		} else if m := b.s.Measured; m != nil {
			if d, ok := m.Damage[k]; ok {
				b.out.Damaged = append(b.out.Damaged, Damage{f.Name, k + 1, d.Kind, d.Text, d.Try, Float(d.Left)})
			}
		}
	}
}

func peakAndMean(v []float64) (peak, mean Float) {
	n := 0
	for _, x := range v {
		if math.IsNaN(x) {
			continue
		}
		if n == 0 || x > float64(peak) {
			peak = Float(x)
		}
		mean += Float(x)
		n++
	}
	if n == 0 {
		return unknown, unknown
	}
	return peak, mean / Float(n)
}

func (b *builder) clip() {
	b.out.Flashes = []Flash{}
	r := b.s.Rendered
	if r == nil {
		return
	}
	for _, p := range r.Flashes {
		b.out.Flashes = append(b.out.Flashes, flashOf(p, b.s.Rate))
	}
	c := &r.Clip
	b.out.Render = &Render{
		File: c.File, Frames: c.Frames, Filled: c.Filled, Held: c.Held, Slate: c.Slate, Chosen: b.s.Chosen(), DurationS: Float(c.DurationS), Rate: plan.RateLabel(c.Rate),
		Codec: c.Codec, Verified: c.Verified, Problems: append([]string{}, c.Problems...), Profile: c.Profile,
		Width: c.Width, Height: c.Height, PixFmt: c.PixFmt, Bytes: c.Bytes,
		Range: c.ColorRange, Matrix: c.ColorSpace, Primaries: c.ColorPrimaries, Transfer: c.ColorTransfer,
		WhiteNits: shoot.ClipOptions(b.s.Settings).White(), Timecode: c.Timecode,
	}
}

// flashOf puts a passage of the flash check into the report's terms.
func flashOf(p flash.Passage, rate playback.Rate) Flash {
	return Flash{
		FromS: Float(float64(p.From) / rate.FPS()), ToS: Float(float64(p.To+1) / rate.FPS()),
		From: p.Start, To: p.End, Kind: string(p.Kind),
		Text: fmt.Sprintf("%d flashes in one second over %.0f %% of a 10 degree field", p.Flashes, 100*p.Area),
	}
}

func (b *builder) rows() {
	t := &b.seq.Timing
	m := b.s.Measured
	if m == nil {
		m = &shoot.Measured{}
	}
	b.out.Rows = make([]Row, 0, len(b.seq.Frames))
	var last *ingest.Frame
	for k := range b.seq.Frames {
		f := &b.seq.Frames[k]
		row := Row{
			File: f.Name, Number: f.Number, Time: Stamp{f.Facts.Taken, f.Facts.HasOffset}, Slot: -1,
			OffsetS: unknown, StepS: unknown, ShutterS: positive(f.Facts.ExposureS), FNumber: positive(f.Facts.FNumber), ISO: positive(f.Facts.ISO),
			LumEV: at(m.Curve.LumEV, k), CorrectionEV: unknown, HighShare: at(m.HighShare, k), LowShare: at(m.LowShare, k),
		}
		if t.Judged && k < len(t.Slot) {
			row.Slot = t.Slot[k]
		}
		if r := b.s.Solved; r != nil && r.Corrects {
			row.CorrectionEV = at(r.CorrectionEV, k)
		}
		if !f.Facts.Taken.IsZero() {
			if last != nil {
				row.StepS = Float(f.Facts.Taken.Sub(last.Facts.Taken).Seconds())
			}
			last = f
		}
		b.out.Rows = append(b.out.Rows, row)
	}
	for _, x := range t.Irregular {
		b.out.Rows[x.Index].OffsetS = Float(x.OffsetS)
	}
	for _, d := range b.out.Damaged {
		if d.Frame > 0 {
			b.out.Rows[d.Frame-1].Problem = d.Kind
		}
	}
}

// pictures gathers what is for the page alone.
func (b *builder) pictures() {
	p := &b.s.Pictures
	b.out.pictures = pictures{strip: p.Strip, measured: p.Zone, proof: p.Proof, slice: p.Slice, gallery: p.Gallery, exhibits: b.exhibits(), fps: b.s.Rate.FPS()}
	out := &b.out.pictures
	for _, l := range []struct {
		name string
		of   func(*meta.Facts) string
	}{
		{"Shutter", func(f *meta.Facts) string { return words.Exposure(f.ExposureS) }},
		{"Aperture", func(f *meta.Facts) string { return above0("f/", f.FNumber) }},
		{"ISO", func(f *meta.Facts) string { return above0("", f.ISO) }},
		{"White balance", func(f *meta.Facts) string { return f.WhiteBalance }},
	} {
		values := make([]string, len(b.seq.Frames))
		for k := range b.seq.Frames {
			values[k] = l.of(&b.seq.Frames[k].Facts)
		}
		out.lanes = append(out.lanes, lane{l.name, values})
	}
	if m, r := b.s.Measured, b.s.Solved; m != nil && r != nil {
		out.colour.red = corrected(m.Curve.RedEV, r.RedEV)
		out.colour.blue = corrected(m.Curve.BlueEV, r.BlueEV)
	}
	if m := b.s.Measured; m != nil {
		out.framing = [2][]float64{offWay(m.Seen.X, m.Seen.SmoothX), offWay(m.Seen.Y, m.Seen.SmoothY)}
	}
}

// offWay is by how much places lie off a way.
func offWay(at, way []float64) []float64 {
	if len(at) != len(way) {
		return nil
	}
	out := make([]float64, len(at))
	for k := range at {
		out[k] = at[k] - way[k]
	}
	return out
}

// above0 spells a setting that is stated.
func above0(before string, v float64) string {
	if !(v > 0) {
		return ""
	}
	return before + tenths(v)
}

// corrected is v without and with what is added to it; nothing where that is nil.
func corrected(v, add []float64) (both [2][]float64) {
	both[0], both[1] = v, slices.Clone(v)
	for k := range add {
		if k < len(v) {
			both[1][k] += add[k]
		}
	}
	return both
}

func at(v []float64, k int) Float {
	if k < len(v) {
		return Float(v[k])
	}
	return unknown
}
