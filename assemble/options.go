package assemble

import (
	"fmt"
	"maps"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"stillspan/deflicker/develop"
	"stillspan/internal/playback"
	"stillspan/internal/problem"
)

// Error is work that cannot be done, with what to try.
type Error = problem.Error

// Options says what clip is wanted. Start from DefaultOptions.
type Options struct {
	// Out is the clip's file name; for an image sequence the folder.
	Out       string
	Overwrite bool
	// SourceRoot, when set, is a folder that Out must not lie in.
	SourceRoot string

	Rate playback.Rate // playback rate; 24 when zero
	// Preset names a set of defaults for codec, quality and size: "delivery",
	// "edit" or "proof".
	Preset string
	// Codec overrides the preset's: see Codecs.
	Codec string
	// Quality is the encoder's constant-quality number, lower is better; 0
	// takes the codec's default. Codecs of fixed data rate refuse it.
	Quality int
	// Width and Height are the clip's pixels. With one of them 0 it follows
	// from the aspect; with both 0 the clip is as large as the crop allows,
	// at most 3840 wide (960 for a proof).
	Width, Height int
	// Aspect is "16:9" or any W:H, or "source" for no crop.
	Aspect string
	// CropX and CropY say where the crop lies, 0 left or top to 1.
	CropX, CropY float64
	GapMode      GapMode
	// Raw says where the pixels of raw files come from, and Develop how they
	// are developed; nil: as LibRaw says of the first.
	Raw     RawMode
	Develop *develop.Settings
	// SegmentFrames is how many stills are encoded as one stretch; longer jobs
	// are cut and joined, see Segments. Default (0) 600, least 2.
	SegmentFrames int
}

// DefaultOptions is a delivery file in 16:9, cropped from the middle.
func DefaultOptions() Options {
	return Options{Rate: playback.Rate{Num: 24, Den: 1}, Preset: "delivery", Aspect: "16:9", CropX: 0.5, CropY: 0.5, GapMode: GapLeave}
}

// maxSide is the longest side of a clip, pixels.
const maxSide = 16384

// Validate says which option is out of its range.
func (o Options) Validate() error {
	if _, ok := presets[o.Preset]; !ok {
		return fmt.Errorf("preset %q: want one of %s", o.Preset, strings.Join(slices.Sorted(maps.Keys(presets)), ", "))
	}
	if _, ok := codecs[o.codecName()]; !ok {
		return fmt.Errorf("codec %q: want one of %s", o.Codec, strings.Join(Codecs(), ", "))
	}
	if _, _, err := parseAspect(o.Aspect); err != nil {
		return err
	}
	switch {
	case o.Width < 0 || o.Height < 0 || o.Width > maxSide || o.Height > maxSide:
		return fmt.Errorf("size %dx%d: each side must be 2 to %d pixels", o.Width, o.Height, maxSide)
	case o.Width%2 != 0 || o.Height%2 != 0:
		return fmt.Errorf("size %dx%d: both sides must be even, as chroma is halved", o.Width, o.Height)
	case !(o.CropX >= 0 && o.CropX <= 1 && o.CropY >= 0 && o.CropY <= 1):
		return fmt.Errorf("crop position %g,%g: both must be 0 to 1", o.CropX, o.CropY)
	case o.GapMode != GapLeave && o.GapMode != GapHold && o.GapMode != GapBlend:
		return fmt.Errorf("gaps %q: want leave, hold or blend", o.GapMode)
	case o.Raw != RawAuto && o.Raw != RawDevelop && o.Raw != RawPreview:
		return fmt.Errorf("raw %q: want develop or preview", o.Raw)
	case o.SegmentFrames < 0 || o.SegmentFrames == 1:
		return fmt.Errorf("segments of %d frames: want 2 or more, or 0 for %d", o.SegmentFrames, segmentFrames)
	case o.Quality < 0 || o.Quality > 63:
		return fmt.Errorf("quality %d: want 1 to 63, or 0 for the codec's default", o.Quality)
	case o.Rate.Num < 0 || o.Rate.Den < 0 || (o.Rate.Num == 0) != (o.Rate.Den == 0):
		return fmt.Errorf("rate %d/%d: want frames per second above 0", o.Rate.Num, o.Rate.Den)
	}
	return nil
}

// Ext is the usual file extension of such a clip; none for an image sequence,
// which is a folder.
func (o Options) Ext() string {
	if c := codecs[o.codecName()]; c.image == "" && len(c.exts) > 0 {
		return c.exts[0]
	}
	return ""
}

func (o Options) codecName() string {
	if o.Codec != "" {
		return o.Codec
	}
	return presets[o.Preset].codec
}

// parseAspect reads "16:9"; "source" gives 0, 0.
func parseAspect(s string) (w, h int, err error) {
	if s == "source" {
		return 0, 0, nil
	}
	a, b, _ := strings.Cut(s, ":")
	w, err1 := strconv.Atoi(a)
	h, err2 := strconv.Atoi(b)
	if err1 != nil || err2 != nil || w < 1 || h < 1 || w > 10000 || h > 10000 {
		return 0, 0, fmt.Errorf(`aspect %q: want W:H such as 16:9, or "source"`, s)
	}
	return w, h, nil
}

type preset struct {
	codec    string
	quality  int
	maxWidth int
	speed    string // of encoders that have presets of their own
}

var presets = map[string]preset{
	"delivery": {codec: "h264", maxWidth: 3840},
	"edit":     {codec: "prores-hq", maxWidth: 8192},
	"proof":    {codec: "h264", quality: 28, maxWidth: 960, speed: "veryfast"},
}

// codec is one way to write a clip.
type codec struct {
	encoder string
	probe   string // ffprobe's codec_name
	pixFmt  string
	sampleW int // chroma subsampling across: 1 or 2
	sampleH int
	depth   int      // bits a sample
	exts    []string // containers; none for an image sequence
	quality int      // default of -crf; 0 where the data rate is fixed
	args    map[string]string
	// bpp is a generous guess of the bits a pixel takes, for the check of
	// disk space.
	bpp float64
	// image is the file extension of an image sequence; empty for a clip.
	image string
}

var mp4 = []string{".mp4", ".mov", ".mkv"}

var codecs = map[string]codec{
	"h264": {encoder: "libx264", probe: "h264", pixFmt: "yuv420p", sampleW: 2, sampleH: 2, depth: 8, exts: mp4, quality: 18, bpp: 1},
	"h265": {encoder: "libx265", probe: "hevc", pixFmt: "yuv420p", sampleW: 2, sampleH: 2, depth: 8, exts: mp4, quality: 20, bpp: 1,
		args: map[string]string{"tag:v": "hvc1", "x265-params": "log-level=error"}},
	"h265-10bit": {encoder: "libx265", probe: "hevc", pixFmt: "yuv420p10le", sampleW: 2, sampleH: 2, depth: 10, exts: mp4, quality: 20, bpp: 1.2,
		args: map[string]string{"tag:v": "hvc1", "x265-params": "log-level=error"}},
	"prores-hq": {encoder: "prores_ks", probe: "prores", pixFmt: "yuv422p10le", sampleW: 2, sampleH: 1, depth: 10, exts: []string{".mov", ".mkv"}, bpp: 5,
		args: map[string]string{"profile:v": "hq", "vendor": "apl0"}},
	"prores-4444": {encoder: "prores_ks", probe: "prores", pixFmt: "yuv444p10le", sampleW: 1, sampleH: 1, depth: 10, exts: []string{".mov", ".mkv"}, bpp: 8,
		args: map[string]string{"profile:v": "4444", "vendor": "apl0"}},
	"dnxhr-hq": {encoder: "dnxhd", probe: "dnxhd", pixFmt: "yuv422p", sampleW: 2, sampleH: 1, depth: 8, exts: []string{".mov", ".mxf", ".mkv"}, bpp: 4,
		args: map[string]string{"profile:v": "dnxhr_hq"}},
	"av1": {encoder: "libsvtav1", probe: "av1", pixFmt: "yuv420p10le", sampleW: 2, sampleH: 2, depth: 10, exts: []string{".mp4", ".mkv"}, quality: 30, bpp: 1,
		args: map[string]string{"preset": "8"}},
	"png":  {encoder: "png", probe: "png", pixFmt: "rgb48be", sampleW: 1, sampleH: 1, depth: 16, bpp: 40, image: ".png"},
	"tiff": {encoder: "tiff", probe: "tiff", pixFmt: "rgb48le", sampleW: 1, sampleH: 1, depth: 16, bpp: 50, image: ".tif"},
}

// Codecs lists the codec names that Options takes.
func Codecs() []string { return slices.Sorted(maps.Keys(codecs)) }

// resolved is the codec with the preset's and the options' choices laid over.
func (o Options) resolved() (codec, error) {
	c := codecs[o.codecName()]
	p := presets[o.Preset]
	c.args = maps.Clone(c.args)
	if c.args == nil {
		c.args = map[string]string{}
	}
	if p.quality != 0 && c.quality != 0 {
		c.quality = p.quality
	}
	if o.Quality != 0 {
		if c.quality == 0 {
			return c, &Error{Text: fmt.Sprintf("codec %s has a fixed data rate and takes no quality", o.codecName()), Try: "leave the quality out"}
		}
		c.quality = o.Quality
	}
	if p.speed != "" && (c.encoder == "libx264" || c.encoder == "libx265") {
		c.args["preset"] = p.speed
	}
	if c.image != "" {
		return c, nil
	}
	ext := strings.ToLower(filepath.Ext(o.Out))
	if !slices.Contains(c.exts, ext) {
		return c, &Error{
			Text: fmt.Sprintf("cannot write %s into %q", o.codecName(), filepath.Base(o.Out)),
			Try:  "a name that ends in " + strings.Join(c.exts, ", "),
		}
	}
	return c, nil
}
