package assemble

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"stillspan/internal/codec"
	"stillspan/internal/playback"
	"stillspan/internal/process"
)

// Expect is what a clip should be. Zero fields are not checked.
type Expect struct {
	Frames, Width, Height int
	Rate                  playback.Rate
	Codec, PixFmt         string // as ffprobe names them
	// Timecode is the label of the first frame, Created the moment it was taken.
	Timecode string
	Created  time.Time
	// Space wants its colour tags and limited range.
	Space *codec.Space
}

func (p *Pipeline) expect() Expect {
	e := Expect{
		Frames: p.total, Width: p.geo.w, Height: p.geo.h, Rate: p.job.Rate,
		Codec: p.codec.Probe, PixFmt: p.codec.ProbePixFmt,
	}
	if p.codec.Image == "" {
		e.Space = p.job.ColourSpace()
		e.Timecode, e.Created = p.job.Timecode, p.job.Created
	}
	return e
}

// probed is what ffprobe prints.
type probed struct {
	Streams []struct {
		CodecName      string `json:"codec_name"`
		CodecType      string `json:"codec_type"`
		Profile        string `json:"profile"`
		Width          int    `json:"width"`
		Height         int    `json:"height"`
		PixFmt         string `json:"pix_fmt"`
		ColorRange     string `json:"color_range"`
		ColorSpace     string `json:"color_space"`
		ColorTransfer  string `json:"color_transfer"`
		ColorPrimaries string `json:"color_primaries"`
		AvgFrameRate   string `json:"avg_frame_rate"`
		Packets        string `json:"nb_read_packets"`
		Duration       string `json:"duration"`
		Tags           tags   `json:"tags"`
	} `json:"streams"`
	Format struct {
		Duration string `json:"duration"`
		Tags     tags   `json:"tags"`
	} `json:"format"`
}

// tags are what a container says in words. QuickTime files have a time code of
// the stream, others of the whole, and Matroska writes capitals.
type tags map[string]string

func (t tags) of(name string) string { return cmp.Or(t[name], t[strings.ToUpper(name)]) }

// Verify asks ffprobe what the clip is, counts its frames, and compares with
// what was ordered. What differs is in Clip.Problems; the error is for a file
// that cannot be read at all.
func Verify(ctx context.Context, path string, want Expect) (Clip, error) {
	info, err := os.Stat(path)
	if err != nil {
		return Clip{}, err
	}
	if info.IsDir() {
		return verifyImages(ctx, path, want)
	}
	pr, err := probe(ctx, path)
	if err != nil {
		return Clip{}, err
	}
	st := pr.Streams[0]
	c := Clip{
		File: path, Bytes: info.Size(), Codec: st.CodecName, Profile: st.Profile, Width: st.Width, Height: st.Height,
		PixFmt: st.PixFmt, ColorRange: st.ColorRange, ColorSpace: st.ColorSpace,
		ColorPrimaries: st.ColorPrimaries, ColorTransfer: st.ColorTransfer,
		Timecode: cmp.Or(st.Tags.of("timecode"), pr.Format.Tags.of("timecode")),
	}
	// MXF keeps one date, that of the last change.
	c.Created, _ = time.Parse(time.RFC3339, cmp.Or(pr.Format.Tags.of("creation_time"), pr.Format.Tags.of("modification_date")))
	c.Frames, _ = strconv.Atoi(st.Packets)
	if c.Rate, err = playback.ParseRate(st.AvgFrameRate); err != nil {
		c.Problems = append(c.Problems, "ffprobe finds no frame rate")
	}
	d := st.Duration
	if d == "" {
		d = pr.Format.Duration
	}
	c.DurationS, _ = strconv.ParseFloat(d, 64)
	c.compare(want)
	return c, nil
}

// probe runs ffprobe; reader are options for how to read the file.
func probe(ctx context.Context, path string, reader ...string) (probed, error) {
	var pr probed
	args := append([]string{"-hide_banner", "-loglevel", "error"}, reader...)
	cmd, t := process.Command(ctx, "ffprobe", append(args, "-count_packets",
		"-select_streams", "v:0", "-show_streams", "-show_format", "-of", "json", file(path))...)
	cmd.Stdout = nil
	out, err := cmd.Output()
	if err != nil {
		return pr, failure(ctx, fmt.Sprintf("ffprobe cannot read %q", path), err, t)
	}
	if err := json.Unmarshal(out, &pr); err != nil {
		return pr, fmt.Errorf("cannot understand ffprobe: %w", err)
	}
	if len(pr.Streams) == 0 {
		return pr, &Error{Text: fmt.Sprintf("%q holds no picture", path)}
	}
	return pr, nil
}

// compare fills in Problems and Verified.
func (c *Clip) compare(want Expect) {
	wrong := func(what string, got, want any) {
		c.Problems = append(c.Problems, fmt.Sprintf("%s is %v, ordered %v", what, got, want))
	}
	if want.Frames != 0 && c.Frames != want.Frames {
		wrong("frame count", c.Frames, want.Frames)
	}
	if want.Width != 0 && (c.Width != want.Width || c.Height != want.Height) {
		wrong("size", fmt.Sprintf("%dx%d", c.Width, c.Height), fmt.Sprintf("%dx%d", want.Width, want.Height))
	}
	if want.Rate.Num != 0 {
		// Containers that count in milliseconds round the rate.
		if math.Abs(c.Rate.FPS()-want.Rate.FPS()) > 1e-3*want.Rate.FPS() {
			wrong("rate", c.Rate, want.Rate)
		} else {
			c.Rate = want.Rate
		}
		if d := float64(want.Frames) / want.Rate.FPS(); want.Frames > 0 && math.Abs(c.DurationS-d) > 0.5/want.Rate.FPS()+0.002 {
			wrong("duration", fmt.Sprintf("%.3f s", c.DurationS), fmt.Sprintf("%.3f s", d))
		}
	}
	if want.Codec != "" && c.Codec != want.Codec {
		wrong("codec", c.Codec, want.Codec)
	}
	if want.PixFmt != "" && c.PixFmt != want.PixFmt {
		wrong("pixel format", c.PixFmt, want.PixFmt)
	}
	if want.Timecode != "" && c.Timecode != want.Timecode {
		wrong("time code", cmp.Or(c.Timecode, "not there"), want.Timecode)
	}
	if !want.Created.IsZero() && c.Created.Sub(want.Created).Abs() >= time.Second { // QuickTime counts seconds
		wrong("creation time", created(c.Created), created(want.Created))
	}
	if s := want.Space; s != nil {
		for _, t := range []struct{ what, got, want string }{
			{"colour range", c.ColorRange, "tv"}, {"colour matrix", c.ColorSpace, s.Matrix},
			{"colour primaries", c.ColorPrimaries, s.Primaries}, {"colour transfer", c.ColorTransfer, s.Transfer},
		} {
			if t.got != t.want {
				wrong(t.what, orNone(t.got), t.want)
			}
		}
	}
	c.Verified = len(c.Problems) == 0
}

func orNone(s string) string {
	if s == "" {
		return "not tagged"
	}
	return s
}

// verifyImages counts an image sequence and looks at its first and last.
func verifyImages(ctx context.Context, dir string, want Expect) (Clip, error) {
	entries, err := images(dir)
	if err != nil {
		return Clip{}, err
	}
	c := Clip{File: dir, Rate: want.Rate, Frames: len(entries), Codec: want.Codec}
	if len(entries) == 0 {
		return c, &Error{Text: fmt.Sprintf("no frames in %q", dir)}
	}
	for _, e := range entries {
		info, err := e.Info()
		if err != nil {
			return c, err
		}
		c.Bytes += info.Size()
	}
	for _, e := range []os.DirEntry{entries[0], entries[len(entries)-1]} {
		pr, err := probe(ctx, filepath.Join(dir, e.Name()), "-f", "image2", "-pattern_type", "none")
		if err != nil {
			return c, err
		}
		st := pr.Streams[0]
		c.Codec, c.Width, c.Height, c.PixFmt = st.CodecName, st.Width, st.Height, st.PixFmt
	}
	if want.Rate.Num != 0 {
		c.DurationS = float64(c.Frames) / want.Rate.FPS()
	}
	c.compare(want)
	return c, nil
}
