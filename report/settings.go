package report

import (
	"fmt"
	"math"
	"slices"
	"strconv"

	"stillspan/ingest/meta"
	"stillspan/ingest/plan"
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
	number("shutter", func(f *meta.Facts) float64 { return f.ExposureS }, plan.FormatExposure)
	number("aperture", func(f *meta.Facts) float64 { return f.FNumber }, func(v float64) string { return "f/" + short(v) })
	number("ISO", func(f *meta.Facts) float64 { return f.ISO }, short)
	word("white balance", func(f *meta.Facts) string { return f.WhiteBalance })
	word("exposure mode", func(f *meta.Facts) string { return f.ExposureMode })
	word("program", func(f *meta.Facts) string { return f.Program })
	number("focal length", func(f *meta.Facts) float64 { return f.FocalMM }, func(v float64) string { return short(v) + " mm" })
	number("focus distance", func(f *meta.Facts) float64 { return f.FocusM }, func(v float64) string {
		if math.IsInf(v, 1) {
			return "infinity"
		}
		return short(v) + " m"
	})
	word("focus mode", func(f *meta.Facts) string { return f.FocusMode })
	if len(b.seq.Frames) > 0 {
		f := &b.seq.Frames[0].Facts
		b.out.Settings = append(b.out.Settings, Setting{"stills", fmt.Sprintf("%d x %d %s", f.Width, f.Height, f.Format), true})
	}
}

// short writes a number without needless decimals.
func short(v float64) string { return strconv.FormatFloat(math.Round(v*10)/10, 'f', -1, 64) }
