package report

import (
	"fmt"
	"slices"

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
	if len(b.seq.Frames) > 0 {
		f := &b.seq.Frames[0].Facts
		b.out.Settings = append(b.out.Settings, Setting{"stills", fmt.Sprintf("%d x %d %s", f.Width, f.Height, f.Format), true})
	}
}

func tenths(v float64) string { return words.Number(v, 1) }
