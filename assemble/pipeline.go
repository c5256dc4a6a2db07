package assemble

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	ffmpeg "github.com/u2takey/ffmpeg-go"
)

// Job is one clip to be made.
type Job struct {
	Sources []Source
	Gaps    []Gap
	Options
}

// Pipeline is a job that has been checked and can run.
type Pipeline struct {
	job   Job
	codec codec
	geo   geometry
	total int // frames of the clip
	// in is the pixel format of the stream from the decoder, out that to the
	// encoder.
	in, out string
}

// Prepare checks all that can be checked before a frame is read: the options,
// ffmpeg and its encoder, sizes, the output's place, and disk space.
func Prepare(ctx context.Context, job Job) (*Pipeline, error) {
	if job.Rate.Num == 0 {
		job.Rate = Rate{24, 1}
	}
	if err := job.Options.Validate(); err != nil {
		return nil, err
	}
	if len(job.Sources) == 0 {
		return nil, &Error{Text: "no frames to assemble", Try: "a sequence with sound frames"}
	}
	c, err := job.resolved()
	if err != nil {
		return nil, err
	}
	if err := findTools(); err != nil {
		return nil, err
	}
	if ok, err := hasEncoder(c.encoder); err != nil {
		return nil, err
	} else if !ok {
		return nil, &Error{Text: fmt.Sprintf("this ffmpeg has no encoder %s, which codec %s needs", c.encoder, job.codecName()), Try: "another codec, or an ffmpeg built with it"}
	}
	p := &Pipeline{job: job, codec: c}
	first := job.Sources[0]
	for _, s := range job.Sources {
		if s.Width != first.Width || s.Height != first.Height || s.Orientation != first.Orientation {
			return nil, &Error{
				Text: fmt.Sprintf("%q is %dx%d, orientation %d, unlike the first still's %dx%d, orientation %d",
					s.Path, s.Width, s.Height, s.Orientation, first.Width, first.Height, first.Orientation),
				Try: "leaving it out",
			}
		}
	}
	w, h := uprightSize(first.Width, first.Height, first.Orientation)
	if p.geo, err = job.layOut(w, h); err != nil {
		return nil, err
	}
	p.formats()
	p.total = len(job.Sources)
	if job.GapMode != GapLeave {
		for _, g := range job.Gaps {
			p.total += g.Count
		}
	}
	return p, p.checkOutput()
}

// formats picks the pixel formats of the two pipes.
func (p *Pipeline) formats() {
	sub := fmt.Sprintf("4%d%d", 4/p.codec.sampleW, map[bool]int{true: 0, false: 4 / p.codec.sampleW}[p.codec.sampleH == 2])
	// ffmpeg scales to 16 bits faster than to 12.
	p.in = "yuv" + sub + "p16le"
	switch p.codec.depth {
	case 8:
		p.out = "yuv" + sub + "p"
	case 16:
		p.out = "yuv" + sub + "p16le"
	default:
		p.out = fmt.Sprintf("yuv%sp%dle", sub, p.codec.depth)
	}
}

func (p *Pipeline) checkOutput() error {
	out := p.job.Out
	if out == "" {
		return &Error{Text: "no name for the clip"}
	}
	dir := filepath.Dir(out)
	if info, err := os.Stat(dir); err != nil || !info.IsDir() {
		return &Error{Text: fmt.Sprintf("no folder %q for the clip", dir), Try: "make it first, or name another"}
	}
	if p.job.SourceRoot != "" {
		inside, err := within(dir, p.job.SourceRoot)
		if err != nil {
			return err
		}
		if inside {
			return &Error{Text: fmt.Sprintf("%q lies among the originals", out), Try: "a place outside " + p.job.SourceRoot}
		}
	}
	if _, err := os.Lstat(out); err == nil && !p.job.Overwrite {
		return &Error{Text: fmt.Sprintf("%q is there already", out), Try: "another name, or overwriting it on purpose"}
	} else if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return &Error{Text: fmt.Sprintf("cannot write %q", out), Err: err}
	}
	need := uint64(float64(p.geo.w) * float64(p.geo.h) * float64(p.total) * p.codec.bpp / 8)
	free, err := freeBytes(dir)
	if err == nil && free < need/2 {
		return &Error{
			Text: fmt.Sprintf("not enough space in %q: the clip may take %d MB and %d MB are free", dir, need/1e6, free/1e6),
			Try:  "free some space, another disk, or the proof preset",
		}
	}
	return nil
}

// within tells whether dir is root or lies below it, links resolved.
func within(dir, root string) (bool, error) {
	d, err := filepath.EvalSymlinks(dir)
	if err != nil {
		return false, err
	}
	r, err := filepath.EvalSymlinks(root)
	if err != nil {
		return false, err
	}
	if d, err = filepath.Abs(d); err != nil {
		return false, err
	}
	if r, err = filepath.Abs(r); err != nil {
		return false, err
	}
	rel, err := filepath.Rel(r, d)
	return err == nil && rel != ".." && !strings.HasPrefix(rel, ".."+string(filepath.Separator)), nil
}

var quiet = []string{"-hide_banner", "-nostdin", "-loglevel", "error"}

// Commands are the two ffmpeg commands, as they are run: the one that decodes,
// crops and scales the stills, and the one that encodes the corrected frames.
// "STILLS" stands for the folder of links that gives the stills plain names,
// in order.
func (p *Pipeline) Commands() [][]string {
	return [][]string{
		append([]string{"ffmpeg"}, p.decodeArgs("STILLS")...),
		append([]string{"ffmpeg"}, p.encodeArgs(p.job.Out)...),
	}
}

// linkName is the pattern of the links' names; all frames of a job share one
// ending, which picks ffmpeg's decoder.
func (p *Pipeline) linkName() string {
	ext := map[string]string{"jpeg": ".jpg", "png": ".png", "tiff": ".tif"}[p.job.Sources[0].Format]
	if ext == "" {
		ext = ".jpg" // previews
	}
	return "%08d" + ext
}

func (p *Pipeline) decodeArgs(links string) []string {
	in := ffmpeg.Input(filepath.Join(links, p.linkName()), ffmpeg.KwArgs{
		"f": "image2", "start_number": "0", "framerate": "25", "noautorotate": "",
	})
	s := in
	for _, f := range turn(p.job.Sources[0].Orientation) {
		name, arg, ok := strings.Cut(f, "=")
		if ok {
			s = s.Filter(name, ffmpeg.Args{arg})
		} else {
			s = s.Filter(name, nil)
		}
	}
	g := p.geo
	if g.cropX != 0 || g.cropY != 0 || p.cropped() {
		s = s.Filter("crop", ffmpeg.Args{fmt.Sprintf("%d:%d:%d:%d", g.cropW, g.cropH, g.cropX, g.cropY)}, ffmpeg.KwArgs{"exact": "1"})
	}
	// Out comes what JFIF stores: full range, the matrix of BT.601. JPEGs have
	// it, so ffmpeg scales them without converting; stills in RGB are brought
	// to it.
	s = s.Filter("scale", nil, ffmpeg.KwArgs{
		"w": g.w, "h": g.h, "flags": "bicubic", "out_range": "pc", "out_color_matrix": "bt601",
		"in_range": "pc", "in_color_matrix": "bt601",
	}).Filter("format", ffmpeg.Args{p.in})
	args := s.Output("pipe:1", ffmpeg.KwArgs{"f": "rawvideo", "vsync": "passthrough", "pix_fmt": p.in}).GetArgs()
	return append(append([]string(nil), quiet...), args...)
}

func (p *Pipeline) cropped() bool {
	w, h := uprightSize(p.job.Sources[0].Width, p.job.Sources[0].Height, p.job.Sources[0].Orientation)
	return p.geo.cropW != w || p.geo.cropH != h
}

func (p *Pipeline) encodeArgs(out string) []string {
	in := ffmpeg.Input("pipe:0", ffmpeg.KwArgs{
		"f": "rawvideo", "pix_fmt": p.out, "s": fmt.Sprintf("%dx%d", p.geo.w, p.geo.h), "framerate": p.job.Rate.String(),
		"color_range": "tv", "colorspace": "bt709", "color_primaries": "bt709", "color_trc": "bt709",
	})
	kw := ffmpeg.KwArgs{"c:v": p.codec.encoder, "pix_fmt": p.codec.pixFmt, "an": "", "map_metadata": "-1"}
	for k, v := range p.codec.args {
		kw[k] = v
	}
	if p.codec.quality != 0 {
		kw["crf"] = p.codec.quality
	}
	if p.codec.image != "" {
		kw["f"] = "image2"
		kw["start_number"] = "1"
		s := in.Filter("scale", nil, ffmpeg.KwArgs{"in_range": "tv", "in_color_matrix": "bt709", "flags": "accurate_rnd+full_chroma_int"})
		return finish(s.Output(file(filepath.Join(strings.ReplaceAll(out, "%", "%%"), "%06d"+p.codec.image)), kw).GetArgs())
	}
	for _, k := range []string{"colorspace", "color_primaries", "color_trc"} {
		kw[k] = "bt709"
	}
	kw["color_range"] = "tv"
	if ext := strings.ToLower(filepath.Ext(out)); ext == ".mp4" || ext == ".mov" || ext == ".m4v" {
		kw["movflags"] = "+faststart+write_colr"
	}
	return finish(in.Output(file(out), kw).GetArgs())
}

func finish(args []string) []string {
	return append(append([]string(nil), quiet...), append(args, "-y")...)
}

// file makes a name that ffmpeg cannot take for an option or a protocol.
func file(name string) string { return "file:" + name }
