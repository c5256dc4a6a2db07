package report

import (
	"fmt"
	"slices"

	"stillspan/assemble/shoot"
	"stillspan/ingest"
	"stillspan/ingest/meta"
	"stillspan/internal/words"
)

// settings lists what the camera was set to, and where it moved.
func (b *builder) settings() {
	b.out.Settings, b.out.SettingsChanges = []Setting{}, []SettingChange{}
	for _, c := range b.seq.Settings {
		b.out.SettingsChanges = append(b.out.SettingsChanges, SettingChange{b.name(c.Frame), c.Frame + 1, c.Field, c.From, c.To})
	}
	number := func(name string, get func(*meta.Facts) float64, write func(float64) string) {
		var seen []float64
		for k := range b.seq.Frames {
			if v := get(&b.seq.Frames[k].Facts); v > 0 && !slices.Contains(seen, v) {
				seen = append(seen, v)
			}
		}
		if len(seen) == 0 {
			return
		}
		lo, hi := slices.Min(seen), slices.Max(seen)
		s := Setting{Name: name, Value: write(lo), Steady: len(seen) == 1}
		if !s.Steady {
			s.Value = write(lo) + " to " + write(hi)
		}
		b.out.Settings = append(b.out.Settings, s)
	}
	word := func(name string, get func(*meta.Facts) string) {
		var seen []string
		for k := range b.seq.Frames {
			if v := get(&b.seq.Frames[k].Facts); v != "" && !slices.Contains(seen, v) {
				seen = append(seen, v)
			}
		}
		if len(seen) == 0 {
			return
		}
		s := Setting{Name: name, Value: seen[0], Steady: len(seen) == 1}
		for _, v := range seen[1:] {
			s.Value += ", " + v
		}
		b.out.Settings = append(b.out.Settings, s)
	}
	number("shutter", func(f *meta.Facts) float64 { return f.ExposureS }, words.Exposure)
	number("aperture", func(f *meta.Facts) float64 { return f.FNumber }, func(v float64) string { return "f/" + tenths(v) })
	number("ISO", func(f *meta.Facts) float64 { return f.ISO }, tenths)
	word("white balance", func(f *meta.Facts) string { return f.WhiteBalance })
	word("exposure mode", func(f *meta.Facts) string { return f.ExposureMode })
	word("program", func(f *meta.Facts) string { return f.Program })
	number("focal length", func(f *meta.Facts) float64 { return f.FocalMM }, func(v float64) string { return tenths(v) + " mm" })
	number("focus distance", func(f *meta.Facts) float64 { return f.FocusM }, words.Distance)
	word("focus mode", func(f *meta.Facts) string { return f.FocusMode })
	space := shoot.ClipOptions(b.s.Settings).ColourSpace().Gamut.Name
	word("colours", func(f *meta.Facts) string { return b.colours(f, space) })
	if len(b.seq.Frames) > 0 {
		f := &b.seq.Frames[0].Facts
		b.out.Settings = append(b.out.Settings, Setting{"stills", fmt.Sprintf("%d x %d %s", f.Width, f.Height, f.Format), true})
	}
}

// colours says what a still's colours are called and what becomes of them in a clip
// of that space.
func (b *builder) colours(f *meta.Facts, space string) string {
	if b.developed(f) {
		return "developed to " + space
	}
	name, profile, why := f.Colour.Read()
	switch {
	case f.Colour == (meta.Colour{}):
		return "not stated, taken for sRGB"
	case why != "":
		return name + ", not converted"
	case profile != nil:
		return name + ", converted to " + space
	}
	return name
}

func (b *builder) developed(f *meta.Facts) bool {
	return f.Raw && b.s.Measured != nil && b.s.Measured.Develop != nil
}

// colourNotes say which colours are not converted, and why, and which stills a
// wide clip gains nothing of.
func (b *builder) colourNotes() []string {
	var out []string
	for k := range b.seq.Frames {
		f := &b.seq.Frames[k].Facts
		if name, _, why := f.Colour.Read(); why != "" && !b.developed(f) {
			note := fmt.Sprintf("Colours of %s are not converted (%s) and may come out wrong: have such stills converted to sRGB first", name, why)
			if !slices.Contains(out, note) {
				out = append(out, note)
			}
		}
	}
	if s := shoot.ClipOptions(b.s.Settings).ColourSpace(); s.Wide() {
		shallow := func(f ingest.Frame) bool {
			return !b.developed(&f.Facts) && (f.Facts.Raw || f.Facts.Bits > 0 && f.Facts.Bits <= 8)
		}
		if slices.ContainsFunc(b.seq.Frames, shallow) {
			out = append(out, fmt.Sprintf("Stills of 8 bits gain nothing from a clip in %s, and graded far their steps show: raw files, developed, or stills of more bits do", s.Name))
		}
	}
	return out
}

func tenths(v float64) string { return words.Number(v, 1) }
