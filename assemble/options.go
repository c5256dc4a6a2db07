package assemble

import (
	"cmp"
	"fmt"
	"maps"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"stillspan/deflicker/develop"
	"stillspan/internal/bt2100"
	"stillspan/internal/codec"
	"stillspan/internal/playback"
	"stillspan/internal/problem"
	"stillspan/internal/timecode"
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
	// Preset names a set of defaults for codec, quality and size: see
	// codec.Presets.
	Preset string
	// Codec overrides the preset's: see codec.Codecs.
	Codec string
	// Space overrides the preset's colour space: see codec.Spaces.
	Space string
	// WhiteNits is the luminance that the stills' white has in a wide clip, cd/m2:
	// bt2100.WhiteNits when 0, at most the space's PeakNits.
	WhiteNits float64
	// Quality is the encoder's constant-quality number, lower is better; 0
	// takes the codec's default. Codecs of fixed data rate refuse it.
	Quality int
	// Width and Height are the clip's pixels. With one of them 0 it follows
	// from the aspect; with both 0 the clip is as large as the crop allows,
	// at most as wide as the preset says.
	Width, Height int
	// Aspect is "16:9" or any W:H, or "source" for no crop.
	Aspect string
	// Steady is how far frames are moved at most, by Source.Shift, in shares of
	// the upright still's width and height; as much is cut from each side. Zero
	// for frames that stay.
	Steady [2]float64
	// Crop is the part of the upright picture that Aspect is cut from.
	Crop Part
	// CropX and CropY say where in it the cut lies, 0 left or top to 1.
	CropX, CropY float64
	GapMode      GapMode
	// Raw says where the pixels of raw files come from, and Develop how they
	// are developed; nil: as LibRaw says of the first.
	Raw     RawMode
	Develop *develop.Settings
	// HoldFirst and HoldLast are how many more frames the first and the last
	// source stand still.
	HoldFirst, HoldLast int
	// Timecode is the label of the clip's first frame as timecode.Parse reads it
	// at Rate, and Created the moment it was taken; empty and zero for none.
	// Image sequences have neither.
	Timecode string
	Created  time.Time
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

// maxHold is the most frames that an end of the clip stands still.
const maxHold = 1_000_000

// Validate says which option is out of its range.
func (o Options) Validate() error {
	if c, err := o.codec(); err != nil {
		return err
	} else if err := o.spaceFits(c); err != nil {
		return err
	}
	if o.Out != "" {
		if _, err := o.resolved(); err != nil {
			return err
		}
	}
	if _, _, err := parseAspect(o.Aspect); err != nil {
		return err
	}
	if o.Timecode != "" { // of a label it doubts ffmpeg writes another or none, and ends well
		if _, err := timecode.Parse(o.Timecode, o.rate()); err != nil {
			return fmt.Errorf("time code: %w", err)
		}
	}
	switch {
	case o.Width < 0 || o.Height < 0 || o.Width > maxSide || o.Height > maxSide:
		return fmt.Errorf("size %dx%d: each side must be 2 to %d pixels", o.Width, o.Height, maxSide)
	case o.Width%2 != 0 || o.Height%2 != 0:
		return fmt.Errorf("size %dx%d: both sides must be even, as chroma is halved", o.Width, o.Height)
	case o.Crop != Part{} && !(o.Crop.X >= 0 && o.Crop.Y >= 0 && o.Crop.W > 0 && o.Crop.H > 0 && o.Crop.X+o.Crop.W <= 1+1e-9 && o.Crop.Y+o.Crop.H <= 1+1e-9):
		return fmt.Errorf("crop %g,%g,%g,%g: x, y, width and height are fractions from 0 to 1 and must lie within the picture", o.Crop.X, o.Crop.Y, o.Crop.W, o.Crop.H)
	case !(o.Steady[0] >= 0 && o.Steady[0] < 0.4 && o.Steady[1] >= 0 && o.Steady[1] < 0.4):
		return fmt.Errorf("steadying by %g, %g of the picture: want 0 to 0.4", o.Steady[0], o.Steady[1])
	case !(o.CropX >= 0 && o.CropX <= 1 && o.CropY >= 0 && o.CropY <= 1):
		return fmt.Errorf("crop position %g,%g: both must be 0 to 1", o.CropX, o.CropY)
	case o.GapMode != GapLeave && o.GapMode != GapHold && o.GapMode != GapBlend:
		return fmt.Errorf("gaps %q: want leave, hold or blend", o.GapMode)
	case o.Raw != RawAuto && o.Raw != RawDevelop && o.Raw != RawPreview:
		return fmt.Errorf("raw %q: want develop or preview", o.Raw)
	case o.HoldFirst < 0 || o.HoldLast < 0 || o.HoldFirst > maxHold || o.HoldLast > maxHold:
		return fmt.Errorf("hold of %d and %d frames: want 0 to %d", o.HoldFirst, o.HoldLast, maxHold)
	case o.SegmentFrames < 0 || o.SegmentFrames == 1:
		return fmt.Errorf("segments of %d frames: want 2 or more, or 0 for %d", o.SegmentFrames, segmentFrames)
	case o.Quality < 0 || o.Quality > 63:
		return fmt.Errorf("quality %d: want 1 to 63, or 0 for the codec's default", o.Quality)
	case o.Rate.Num < 0 || o.Rate.Den < 0 || (o.Rate.Num == 0) != (o.Rate.Den == 0):
		return fmt.Errorf("rate %d/%d: want frames per second above 0", o.Rate.Num, o.Rate.Den)
	}
	return nil
}

// rate is Rate, or the default.
func (o Options) rate() playback.Rate {
	if o.Rate.Num == 0 {
		return playback.Rate{Num: 24, Den: 1}
	}
	return o.Rate
}

// Ext is the usual file extension of such a clip; none for an image sequence,
// which is a folder.
func (o Options) Ext() string {
	if c, err := o.codec(); err == nil && len(c.Exts) > 0 {
		return c.Exts[0]
	}
	return ""
}

// codec is the one named, or else the preset's.
func (o Options) codec() (codec.Codec, error) {
	p, err := codec.FindPreset(o.Preset)
	if err != nil {
		return codec.Codec{}, err
	}
	return codec.Find(cmp.Or(o.Codec, p.Codec))
}

// ColourSpace is the one named, or else the preset's; nil for a name that is none.
func (o Options) ColourSpace() *codec.Space {
	p, _ := codec.FindPreset(o.Preset)
	s, _ := codec.FindSpace(cmp.Or(o.Space, p.Space, codec.Spaces[0].Name))
	return s
}

// White is WhiteNits, or the default; 0 where the colour space is not wide.
func (o Options) White() float64 {
	if !o.ColourSpace().Wide() {
		return 0
	}
	return cmp.Or(o.WhiteNits, bt2100.WhiteNits)
}

// spaceFits tells why the colour space goes with no such codec or white.
func (o Options) spaceFits(c codec.Codec) error {
	s := o.ColourSpace()
	switch {
	case s == nil:
		_, err := codec.FindSpace(o.Space)
		return err
	case !s.Wide() && o.WhiteNits != 0:
		return &Error{Text: "a white level is for wide colour spaces, " + s.Name + " has none", Try: "a colour space such as bt2020-hlg, or leaving it out"}
	case !s.Wide():
		return nil
	case c.Depth < s.Depth || c.Image != "":
		return &Error{
			Text: fmt.Sprintf("%s wants clips of %d bits a sample that state it, which codec %s does not make", s.Name, s.Depth, c.Name),
			Try:  "codec h265-10bit, av1, prores-hq, prores-4444 or ffv1",
		}
	case !(o.White() >= 1 && o.White() <= s.PeakNits):
		return fmt.Errorf("white of %g cd/m2: %s reaches from 1 to %g", o.White(), s.Name, s.PeakNits)
	}
	return nil
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

// resolved is the codec with the preset's and the options' choices laid over.
func (o Options) resolved() (codec.Codec, error) {
	c, err := o.codec()
	if err != nil {
		return c, err
	}
	p, err := codec.FindPreset(o.Preset)
	if err != nil {
		return c, err
	}
	c.Args = maps.Clone(c.Args)
	if c.Args == nil {
		c.Args = map[string]string{}
	}
	if p.Quality != 0 && c.Quality != 0 {
		c.Quality = p.Quality
	}
	if o.Quality != 0 {
		if c.Quality == 0 {
			return c, &Error{Text: fmt.Sprintf("codec %s has a fixed data rate and takes no quality", c.Name), Try: "leave the quality out"}
		}
		c.Quality = o.Quality
	}
	if p.Speed != "" && c.Speeds {
		c.Args["preset"] = p.Speed
	}
	if c.Image != "" {
		return c, nil
	}
	ext := strings.ToLower(filepath.Ext(o.Out))
	if !slices.Contains(c.Exts, ext) {
		return c, &Error{
			Text: fmt.Sprintf("cannot write %s into %q", c.Name, filepath.Base(o.Out)),
			Try:  "a name that ends in " + strings.Join(c.Exts, ", "),
		}
	}
	return c, nil
}
