package ingest

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"stillspan/ingest/format"
	"stillspan/ingest/meta"
	"stillspan/internal/words"
)

// setting is one value a photographer sets, and how it is spelled. An empty
// word means that the file does not state it.
type setting struct {
	field string
	word  func(*meta.Facts) string
}

var settings = []setting{
	{"shutter", func(f *meta.Facts) string { return words.Exposure(f.ExposureS) }},
	{"aperture", func(f *meta.Facts) string { return numberWord("f/", f.FNumber, 1, "") }},
	{"iso", func(f *meta.Facts) string { return numberWord("ISO ", f.ISO, 0, "") }},
	{"exposure compensation", func(f *meta.Facts) string { return biasWord(f.BiasEV) }},
	{"white balance", func(f *meta.Facts) string { return f.WhiteBalance }},
	{"colour profile", func(f *meta.Facts) string {
		if f.Colour == (meta.Colour{}) {
			return ""
		}
		name, _, _ := f.Colour.Read()
		return name
	}},
	{"focus distance", func(f *meta.Facts) string { return words.Distance(f.FocusM) }},
	{"focus mode", func(f *meta.Facts) string { return f.FocusMode }},
	{"focal length", func(f *meta.Facts) string { return numberWord("", f.FocalMM, 1, " mm") }},
	{"exposure mode", func(f *meta.Facts) string { return f.ExposureMode }},
	{"exposure program", func(f *meta.Facts) string { return f.Program }},
}

// numberWord spells a number with at most so many decimals.
func numberWord(before string, v float64, decimals int, after string) string {
	if !(v > 0) || math.IsInf(v, 0) {
		return ""
	}
	return before + words.Number(v, decimals) + after
}

// biasWord spells an exposure compensation; a camera that states none set none.
func biasWord(ev float64) string {
	if math.Abs(ev) < 0.05 {
		return "0 EV"
	}
	return fmt.Sprintf("%+.1f EV", ev)
}

// settingChanges lists every setting that moved from one frame to the next
// that states it, in the order of frames.
func settingChanges(frames []Frame) []SettingChange {
	var list []SettingChange
	last := make([]string, len(settings))
	for i := range frames {
		if frames[i].Facts.Width == 0 {
			continue // an unread header states nothing
		}
		for k, s := range settings {
			word := s.word(&frames[i].Facts)
			if word == "" {
				continue
			}
			if last[k] != "" && last[k] != word {
				list = append(list, SettingChange{Frame: i, Field: s.field, From: last[k], To: word})
			}
			last[k] = word
		}
	}
	return list
}

// exposure is one of the settings that make the exposure, and its value in
// stops: more light is more.
type exposure struct {
	field string
	stops func(*meta.Facts) float64
}

var exposures = []exposure{
	{"shutter", func(f *meta.Facts) float64 { return math.Log2(f.ExposureS) }},
	{"aperture", func(f *meta.Facts) float64 { return -2 * math.Log2(f.FNumber) }},
	{"iso", func(f *meta.Facts) float64 { return math.Log2(f.ISO) }},
}

// fewMoves is up to how many frames with another exposure are spoken of one by
// one; more are one story.
const fewMoves = 3

// exposureMoves tells how the exposure moved over the frames: every move by
// itself where they are few, else all as one. Settings that move at one frame,
// or within two so that they cancel, are one move.
func exposureMoves(frames []Frame, changes []SettingChange) []ExposureMove {
	var steps []ExposureMove
	for _, c := range changes {
		k := slices.IndexFunc(exposures, func(e exposure) bool { return e.field == c.Field })
		if k < 0 {
			continue
		}
		ev := exposures[k].stops(&frames[c.Frame].Facts) - lastStops(frames[:c.Frame], exposures[k])
		if n := len(steps); n > 0 && (c.Frame == steps[n-1].Last || c.Frame-steps[n-1].Last <= 2 && ev*steps[n-1].NetEV < 0) {
			steps[n-1].Last = c.Frame
			steps[n-1].NetEV += ev
			steps[n-1].Settings = append(steps[n-1].Settings, c)
			continue
		}
		steps = append(steps, ExposureMove{First: c.Frame, Last: c.Frame, Steps: 1, NetEV: ev, Settings: []SettingChange{c}})
	}
	if len(steps) > fewMoves {
		steps = []ExposureMove{oneMove(steps)}
	}
	for i := range steps {
		m := &steps[i]
		m.Mode = exposureMode(frames[m.First : m.Last+1])
		if m.First > 0 {
			if from, to := frames[m.First-1].Facts.Taken, frames[m.Last].Facts.Taken; !from.IsZero() && to.After(from) {
				m.Lasts = to.Sub(from)
			}
		}
	}
	return steps
}

// lastStops is the setting's value in stops before the frame that follows.
func lastStops(before []Frame, e exposure) float64 {
	for i := len(before) - 1; i >= 0; i-- {
		if v := e.stops(&before[i].Facts); !math.IsInf(v, 0) && !math.IsNaN(v) {
			return v
		}
	}
	return math.NaN()
}

// oneMove joins many moves: where each setting began and where it ended.
func oneMove(steps []ExposureMove) ExposureMove {
	out := ExposureMove{First: steps[0].First, Last: steps[len(steps)-1].Last, Steps: len(steps)}
	lo, hi, way := 0.0, 0.0, 0.0
	for _, m := range steps {
		out.NetEV += m.NetEV
		way += math.Abs(m.NetEV)
		lo, hi = min(lo, out.NetEV), max(hi, out.NetEV)
		for _, c := range m.Settings {
			k := slices.IndexFunc(out.Settings, func(have SettingChange) bool { return have.Field == c.Field })
			if k < 0 {
				out.Settings = append(out.Settings, c)
				continue
			}
			out.Settings[k].To = c.To
		}
	}
	out.RangeEV = hi - lo
	out.Ramp = math.Abs(out.NetEV) >= rampShare*way && out.RangeEV >= rampEV
	return out
}

// Many moves are a ramp when they lead this share of their way in one direction,
// and at least so far (common practice, no published source).
const (
	rampShare = 0.8
	rampEV    = 1.0
)

// exposureMode says who set the exposure: "manual" if any of the frames says so,
// else what the camera says of its program; empty where none says anything.
func exposureMode(frames []Frame) string {
	mode := ""
	for i := range frames {
		f := &frames[i].Facts
		if f.ExposureMode == "manual" || f.Program == "manual" {
			return "manual"
		}
		mode = cmp.Or(mode, f.Program, f.ExposureMode)
	}
	return mode
}

// settleOrientation has one orientation hold for all frames, since a camera that
// points up or down flips the flag without being turned: the commonest, of
// equals the first. Decoders of the HEIF family turn pictures by themselves.
func (s *Sequence) settleOrientation() {
	count := make(map[int]int)
	for i := range s.Frames {
		if f := &s.Frames[i].Facts; f.Width > 0 && !format.ByName(f.Format).Upright() {
			count[f.Orientation]++
		}
	}
	if len(count) < 2 {
		return
	}
	held := 0
	for i := range s.Frames {
		if f := &s.Frames[i].Facts; f.Width > 0 && !format.ByName(f.Format).Upright() && (held == 0 || count[f.Orientation] > count[held]) {
			held = f.Orientation
		}
	}
	s.Turned = &Turned{Held: held, First: -1}
	for i := range s.Frames {
		if f := &s.Frames[i].Facts; f.Width > 0 && !format.ByName(f.Format).Upright() && f.Orientation != held {
			if s.Turned.Count++; s.Turned.First < 0 {
				s.Turned.First = i
			}
			f.Orientation = held
		}
	}
}

// settingNotes remarks on what the camera was left to choose.
func (s *Sequence) settingNotes() {
	auto, manual, autoWhite := 0, 0, 0
	for i := range s.Frames {
		f := &s.Frames[i].Facts
		switch {
		case f.ExposureMode == "manual" || f.Program == "manual":
			manual++
		case f.ExposureMode != "" || f.Program != "":
			auto++
		}
		if f.WhiteBalance == "auto" {
			autoWhite++
		}
	}
	if auto > 0 {
		s.note("exposure mode is not manual in %d of %d frames", auto, auto+manual)
	}
	if autoWhite > 0 {
		s.note("white balance is automatic in %d of %d frames: colour may wander in JPEGs", autoWhite, len(s.Frames))
	}
}

// halves lists the frames that have one file where others have the raw file and
// the JPEG.
func halves(frames []Frame) []int {
	var single []int
	for i := range frames {
		if frames[i].Raw == "" && frames[i].Picture == "" {
			single = append(single, i)
		}
	}
	if len(single) == len(frames) {
		return nil
	}
	return single
}

// apart lists the sound frames whose stills are of another form than most; of
// forms equally common the first counts.
func apart(frames []Frame) []int {
	type form struct {
		format        string
		width, height int
	}
	of := func(f *Frame) form { return form{f.Facts.Format, f.Facts.Width, f.Facts.Height} }
	count := make(map[form]int)
	for i := range frames {
		if frames[i].Problem == nil {
			count[of(&frames[i])]++
		}
	}
	if len(count) < 2 {
		return nil
	}
	var most form
	for i := range frames {
		if f := of(&frames[i]); frames[i].Problem == nil && count[f] > count[most] {
			most = f
		}
	}
	var list []int
	for i := range frames {
		if frames[i].Problem == nil && of(&frames[i]) != most {
			list = append(list, i)
		}
	}
	return list
}

// border is by what share the raw data of a body may be larger than its JPEGs
// either way: cameras trim the edge of the sensor (common practice, no published
// source).
const border = 0.05

// sameView reports whether two stills show the same view: of one size, or the
// raw data and the JPEG of one body, which differ by a border.
func sameView(a, b *meta.Facts) bool {
	if a.Raw == b.Raw {
		return a.Width == b.Width && a.Height == b.Height
	}
	near := func(x, y int) bool { return math.Abs(float64(x-y)) <= border*float64(max(x, y)) }
	return near(a.Width, b.Width) && near(a.Height, b.Height)
}
