// Package codec is the one table of the codecs and presets that clips are
// written with.
package codec

import (
	"fmt"
	"slices"
	"strings"
)

// Codec is one way to write a clip.
type Codec struct {
	Name    string
	Encoder string // as ffmpeg names it
	Probe   string // as ffprobe names what was written
	PixFmt  string
	// ProbePixFmt is what ffprobe reads back; empty where that depends on the
	// decoder.
	ProbePixFmt      string
	SampleW, SampleH int // chroma subsampling across and down: 1 or 2
	Depth            int // bits a sample
	// Exts are the containers, the usual first; none for an image sequence.
	Exts    []string
	Quality int // default of -crf; 0 where the data rate is fixed
	// Speeds is set where -preset takes words such as "veryfast".
	Speeds bool
	Args   map[string]string
	// BitsPerPixel is a generous guess, for the check of disk space.
	BitsPerPixel float64
	// Image is the file extension of an image sequence; empty for a clip.
	Image string
}

// Preset is a set of defaults.
type Preset struct {
	Name, About string
	Codec       string
	Space       string // empty: the first of Spaces
	Quality     int    // 0: the codec's
	MaxWidth    int    // of a clip whose size is not said, pixels
	Speed       string
}

var (
	movies  = []string{".mp4", ".mov", ".mkv"}
	masters = []string{".mov", ".mkv"}
	x265    = map[string]string{"tag:v": "hvc1", "x265-params": "log-level=error"}
)

// Codecs is the table, one row a codec.
var Codecs = []Codec{
	{Name: "h264", Encoder: "libx264", Probe: "h264", PixFmt: "yuv420p", ProbePixFmt: "yuv420p", SampleW: 2, SampleH: 2, Depth: 8, Exts: movies, Quality: 18, BitsPerPixel: 1, Speeds: true},
	{Name: "h265", Encoder: "libx265", Probe: "hevc", PixFmt: "yuv420p", ProbePixFmt: "yuv420p", SampleW: 2, SampleH: 2, Depth: 8, Exts: movies, Quality: 20, BitsPerPixel: 1, Speeds: true, Args: x265},
	{Name: "h265-10bit", Encoder: "libx265", Probe: "hevc", PixFmt: "yuv420p10le", ProbePixFmt: "yuv420p10le", SampleW: 2, SampleH: 2, Depth: 10, Exts: movies, Quality: 20, BitsPerPixel: 1.2, Speeds: true, Args: x265},
	// ffmpeg decodes 4444 to 12 bits a sample, whatever went in.
	{Name: "prores-hq", Encoder: "prores_ks", Probe: "prores", PixFmt: "yuv422p10le", ProbePixFmt: "yuv422p10le", SampleW: 2, SampleH: 1, Depth: 10, Exts: masters, BitsPerPixel: 5, Args: map[string]string{"profile:v": "hq", "vendor": "apl0"}},
	{Name: "prores-4444", Encoder: "prores_ks", Probe: "prores", PixFmt: "yuv444p10le", SampleW: 1, SampleH: 1, Depth: 10, Exts: masters, BitsPerPixel: 8, Args: map[string]string{"profile:v": "4444", "vendor": "apl0"}},
	{Name: "dnxhr-hq", Encoder: "dnxhd", Probe: "dnxhd", PixFmt: "yuv422p", ProbePixFmt: "yuv422p", SampleW: 2, SampleH: 1, Depth: 8, Exts: []string{".mov", ".mxf", ".mkv"}, BitsPerPixel: 4, Args: map[string]string{"profile:v": "dnxhr_hq"}},
	{Name: "av1", Encoder: "libsvtav1", Probe: "av1", PixFmt: "yuv420p10le", ProbePixFmt: "yuv420p10le", SampleW: 2, SampleH: 2, Depth: 10, Exts: []string{".mp4", ".mkv"}, Quality: 30, BitsPerPixel: 1, Args: map[string]string{"preset": "8"}},
	{Name: "ffv1", Encoder: "ffv1", Probe: "ffv1", PixFmt: "yuv444p10le", ProbePixFmt: "yuv444p10le", SampleW: 1, SampleH: 1, Depth: 10, Exts: []string{".mkv"}, BitsPerPixel: 16, Args: map[string]string{"level": "3", "slicecrc": "1"}},
	{Name: "png", Encoder: "png", Probe: "png", PixFmt: "rgb48be", ProbePixFmt: "rgb48be", SampleW: 1, SampleH: 1, Depth: 16, BitsPerPixel: 40, Image: ".png"},
	{Name: "tiff", Encoder: "tiff", Probe: "tiff", PixFmt: "rgb48le", ProbePixFmt: "rgb48le", SampleW: 1, SampleH: 1, Depth: 16, BitsPerPixel: 50, Image: ".tif"},
}

// Presets is the table, one row a preset, the default first.
var Presets = []Preset{
	{Name: "delivery", About: "H.264 4:2:0", Codec: "h264", MaxWidth: 3840},
	{Name: "edit", About: "ProRes 422 HQ", Codec: "prores-hq", MaxWidth: 8192},
	{Name: "hdr", About: "H.265 10-bit, BT.2020 HLG", Codec: "h265-10bit", Space: "bt2020-hlg", MaxWidth: 3840},
	{Name: "grade", About: "ProRes 4444, BT.2020 PQ", Codec: "prores-4444", Space: "bt2020-pq", MaxWidth: 8192},
	{Name: "proof", About: "small and quick", Codec: "h264", Quality: 28, MaxWidth: 960, Speed: "veryfast"},
}

// Find returns the codec of that name.
func Find(name string) (Codec, error) {
	i := slices.IndexFunc(Codecs, func(c Codec) bool { return c.Name == name })
	if i < 0 {
		return Codec{}, fmt.Errorf("codec %q: want one of %s", name, strings.Join(Names(), ", "))
	}
	return Codecs[i], nil
}

// FindPreset returns the preset of that name.
func FindPreset(name string) (Preset, error) {
	i := slices.IndexFunc(Presets, func(p Preset) bool { return p.Name == name })
	if i < 0 {
		return Preset{}, fmt.Errorf("preset %q: want one of %s", name, strings.Join(PresetNames(), ", "))
	}
	return Presets[i], nil
}

// Names lists the codecs.
func Names() []string {
	out := make([]string, len(Codecs))
	for i, c := range Codecs {
		out[i] = c.Name
	}
	return out
}

// PresetNames lists the presets.
func PresetNames() []string {
	out := make([]string, len(Presets))
	for i, p := range Presets {
		out[i] = p.Name
	}
	return out
}
