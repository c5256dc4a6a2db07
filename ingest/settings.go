package ingest

import (
	"fmt"
	"math"
	"strconv"

	"stillspan/ingest/meta"
)

// setting is one value a photographer sets, and how it is spelled. An empty
// word means that the file does not state it.
type setting struct {
	field string
	word  func(*meta.Facts) string
}

var settings = []setting{
	{"shutter", func(f *meta.Facts) string { return shutterWord(f.ExposureS) }},
	{"aperture", func(f *meta.Facts) string { return numberWord("f/", f.FNumber, 1, "") }},
	{"iso", func(f *meta.Facts) string { return numberWord("ISO ", f.ISO, 0, "") }},
	{"exposure compensation", func(f *meta.Facts) string { return biasWord(f.BiasEV) }},
	{"white balance", func(f *meta.Facts) string { return f.WhiteBalance }},
	{"focus distance", func(f *meta.Facts) string { return focusWord(f.FocusM) }},
	{"focus mode", func(f *meta.Facts) string { return f.FocusMode }},
	{"focal length", func(f *meta.Facts) string { return numberWord("", f.FocalMM, 1, " mm") }},
	{"exposure mode", func(f *meta.Facts) string { return f.ExposureMode }},
	{"exposure program", func(f *meta.Facts) string { return f.Program }},
	{"orientation", func(f *meta.Facts) string { return strconv.Itoa(f.Orientation) }},
}

// shutterWord spells an exposure time as it stands on a camera: 1/125 s below
// a third of a second, decimals above.
func shutterWord(s float64) string {
	switch {
	case !(s > 0) || math.IsInf(s, 0):
		return ""
	case s < 0.3:
		return fmt.Sprintf("1/%.0f s", 1/s)
	}
	return numberWord("", s, 1, " s")
}

// numberWord spells a number with at most so many decimals.
func numberWord(before string, v float64, decimals int, after string) string {
	if !(v > 0) || math.IsInf(v, 0) {
		return ""
	}
	scale := math.Pow10(decimals)
	return before + strconv.FormatFloat(math.Round(v*scale)/scale, 'f', -1, 64) + after
}

// biasWord spells an exposure compensation; a camera that states none set none.
func biasWord(ev float64) string {
	if math.Abs(ev) < 0.05 {
		return "0 EV"
	}
	return fmt.Sprintf("%+.1f EV", ev)
}

func focusWord(m float64) string {
	if math.IsInf(m, 1) {
		return "infinity"
	}
	return numberWord("", m, 2, " m")
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

// settingNotes says in a word what a long list of changes means.
func (s *Sequence) settingNotes() {
	moved := make(map[string]int)
	for _, c := range s.Settings {
		moved[c.Field]++
	}
	for _, field := range []string{"shutter", "aperture", "iso"} {
		if n := moved[field]; n > 3 && 10*n > len(s.Frames) {
			s.note("%s moved %d times in %d frames: exposure was automatic", field, n, len(s.Frames))
		}
	}
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
