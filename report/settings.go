package report

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"stillspan/ingest/meta"
	"stillspan/report/plan"
)

// settings makes the settings table: one line a setting the files state, with
// its value, or its range where it moved.
func (b *builder) settings() {
	for _, c := range b.seq.Settings {
		b.out.SettingsChanges = append(b.out.SettingsChanges, SettingChange{b.file(c.Frame), c.Frame + 1, c.Field, c.From, c.To})
	}
	numbers := []struct {
		name string
		of   func(*meta.Facts) float64
		text func(float64) string
	}{
		{"Shutter", func(f *meta.Facts) float64 { return f.ExposureS }, plan.FormatExposure},
		{"Aperture", func(f *meta.Facts) float64 { return f.FNumber }, func(v float64) string { return "f/" + num(v, 1) }},
		{"ISO", func(f *meta.Facts) float64 { return f.ISO }, func(v float64) string { return num(v, 0) }},
		{"Exposure bias", func(f *meta.Facts) float64 { return f.BiasEV }, func(v float64) string { return signed(v, 2) + " EV" }},
		{"Focal length", func(f *meta.Facts) float64 { return f.FocalMM }, func(v float64) string { return num(v, 1) + " mm" }},
		{"Focus distance", func(f *meta.Facts) float64 { return f.FocusM }, distance},
	}
	for _, n := range numbers {
		var seen []float64
		for i := range b.seq.Frames {
			if v := n.of(&b.seq.Frames[i].Facts); v != 0 && !math.IsNaN(v) && !slices.Contains(seen, v) {
				seen = append(seen, v)
			}
		}
		if len(seen) == 0 {
			continue
		}
		lo, hi := n.text(slices.Min(seen)), n.text(slices.Max(seen))
		s := Setting{n.name, lo, true}
		if lo != hi {
			s.Value, s.Steady = fmt.Sprintf("%s to %s, %d values", lo, hi, len(seen)), false
		}
		b.out.Settings = append(b.out.Settings, s)
	}
	words := []struct {
		name string
		of   func(*meta.Facts) string
	}{
		{"Exposure mode", func(f *meta.Facts) string { return cmp.Or(f.Program, f.ExposureMode) }},
		{"White balance", func(f *meta.Facts) string { return f.WhiteBalance }},
		{"Focus mode", func(f *meta.Facts) string { return f.FocusMode }},
		{"Lens", func(f *meta.Facts) string { return f.Lens }},
		{"Picture", func(f *meta.Facts) string {
			if f.Width == 0 || f.Height == 0 {
				return ""
			}
			return fmt.Sprintf("%d x %d, %s", f.Width, f.Height, f.Format)
		}},
	}
	for _, w := range words {
		var seen []string
		for i := range b.seq.Frames {
			if v := w.of(&b.seq.Frames[i].Facts); v != "" && !slices.Contains(seen, v) {
				seen = append(seen, v)
			}
		}
		switch {
		case len(seen) == 1:
			b.out.Settings = append(b.out.Settings, Setting{w.name, seen[0], true})
		case len(seen) == 2:
			b.out.Settings = append(b.out.Settings, Setting{w.name, seen[0] + ", then " + seen[1], false})
		case len(seen) > 2:
			b.out.Settings = append(b.out.Settings, Setting{w.name, fmt.Sprintf("%s and %d others", seen[0], len(seen)-1), false})
		}
	}
}

func distance(m float64) string {
	if math.IsInf(m, 0) {
		return "infinity"
	}
	return num(m, 2) + " m"
}
