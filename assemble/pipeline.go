package assemble

import (
	"context"
	"fmt"
	"maps"
	"math"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"time"

	ffmpeg "github.com/u2takey/ffmpeg-go"

	"stillspan/deflicker"
	"stillspan/deflicker/develop"
	"stillspan/ingest/format"
	"stillspan/internal/codec"
	"stillspan/internal/files"
	"stillspan/internal/icc"
	"stillspan/internal/orientation"
)

// Job is one clip to be made.
type Job struct {
	Sources []Source
	Gaps    []Gap
	// Response is the camera's, which corrections are made through; nil for
	// IEC 61966-2-1.
	Response *deflicker.Response `json:",omitempty"`
	// Profiles are those whose colours are converted to the clip's.
	Profiles []icc.Profile `json:",omitempty"`
	// Slate stands before the first frame; nil for none.
	Slate *Slate `json:",omitempty"`
	Options
}

// Pipeline is a job that has been checked and can run.
type Pipeline struct {
	// Accept, when set before Run, sees the verified clip while it still has
	// its temporary name; an error keeps it from being published.
	Accept func(context.Context, Clip) error

	watch *watch // nil when nobody watches
	proof *proof // nil when none is wanted

	job   Job
	codec codec.Codec
	geo   geometry
	total int // frames of the clip
	// srcW and srcH are the pixels that come out of the decoder, as stored.
	srcW, srcH int
	raw        *develop.Settings // nil unless raw files are developed
	// narrow takes frames of a wide clip to BT.709, for whoever looks at them; nil
	// for others.
	narrow *conversion
	// pipedAs is ffmpeg's name for the kind of pictures that are made here and
	// handed to the decoder; empty where it opens the stills itself.
	pipedAs string
	reduced *reduction // nil unless JPEGs are decoded here
	// early are the places in ahead of the first sources.
	ahead *Ahead
	early []int
	notes []string
	// complaints are what ffmpeg had to say of stills that it decoded.
	complaints []string
	// in is the pixel format of the stream from the decoder, out that to the
	// encoder.
	in, out string
}

// Prepare checks all that can be checked before a frame is read: the options,
// ffmpeg and its encoder, sizes, the output's place, and disk space.
func Prepare(ctx context.Context, job Job) (*Pipeline, error) {
	p, err := planWithEncoder(ctx, job)
	if err != nil {
		return nil, err
	}
	return p, p.checkOutput()
}

// Commands are those of Pipeline.Commands for a job that is not to be run: its
// place need not be there.
func Commands(ctx context.Context, job Job) ([][]string, error) {
	p, err := planWithEncoder(ctx, job)
	if err != nil {
		return nil, err
	}
	return p.Commands(), nil
}

func planWithEncoder(ctx context.Context, job Job) (*Pipeline, error) {
	p, err := plan(ctx, job)
	if err != nil {
		return nil, err
	}
	if ok, err := hasEncoder(p.codec.Encoder); err != nil {
		return nil, err
	} else if !ok {
		return nil, &Error{Text: fmt.Sprintf("this ffmpeg has no encoder %s, which codec %s needs", p.codec.Encoder, p.codec.Name), Try: "another codec, or an ffmpeg built with it"}
	}
	return p, nil
}

// plan settles what is to be done.
func plan(ctx context.Context, job Job) (*Pipeline, error) {
	job.Rate = job.rate()
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
	p := &Pipeline{job: job, codec: c, total: job.frames()}
	if s := job.ColourSpace(); s.Wide() {
		p.narrow = toGamut(s.Gamut, &icc.SRGB)
	}
	first := job.Sources[0]
	for _, s := range job.Sources {
		if s.Width != first.Width || s.Height != first.Height || s.Orientation != first.Orientation || s.Raw != first.Raw || s.Format != first.Format {
			return nil, &Error{
				Text: fmt.Sprintf("%q is %s, unlike the first still, which is %s", s.Path, s.kind(), first.kind()),
				Try:  "leaving it out",
			}
		}
	}
	if err := p.pixels(ctx); err != nil {
		return nil, err
	}
	w, h := orientation.Of(first.Orientation).Size(p.srcW, p.srcH)
	if p.geo, err = job.layOut(w, h); err != nil {
		return nil, err
	}
	if p.geo.marginX > 0 {
		p.notes = append(p.notes, fmt.Sprintf("steadying moves frames by up to %.1f pixels of %d and cuts for it %.1f %% of the width and %.1f %% of the height",
			math.Hypot(job.Steady[0]*float64(w), job.Steady[1]*float64(h)), w, 200*float64(p.geo.marginX)/float64(w), 200*float64(p.geo.marginY)/float64(h)))
	}
	p.formats()
	p.reduce()
	return p, nil
}

func (s Source) kind() string {
	return fmt.Sprintf("%s of %dx%d, orientation %d", s.Format, s.Width, s.Height, s.Orientation)
}

// pixels settles where the stills' pixels come from, and their stored size.
func (p *Pipeline) pixels(ctx context.Context) error {
	first := p.job.Sources[0]
	p.srcW, p.srcH = first.Width, first.Height
	switch {
	case format.ByName(first.Format).Decoder == format.Libheif:
		return p.convertible(ctx, first)
	case !first.Raw:
		return nil
	}
	switch {
	case p.job.Develops():
		if !develop.Available() {
			return &Error{Text: "raw files cannot be developed on this machine", Try: "installing " + develop.Package + ", or their previews"}
		}
		if p.raw = p.job.Develop; p.raw == nil {
			d, err := identify(ctx, first.Path)
			if err != nil {
				return err
			}
			p.raw = &d
		}
		p.pipedAs, p.srcW, p.srcH = "ppm", p.raw.W, p.raw.H
		return nil
	case p.job.Raw == RawAuto && p.job.Preset != "proof":
		p.notes = append(p.notes, "raw files are shown by their embedded previews, since LibRaw is not installed; to develop them, install "+develop.Package)
	}
	if first.Preview == nil {
		return &Error{Text: fmt.Sprintf("%q has no embedded preview", first.Path), Try: "developing the raw files: " + develop.Package}
	}
	if first.Preview.Width > 0 {
		p.srcW, p.srcH = first.Preview.Width, first.Preview.Height
	}
	return nil
}

// Size is that of the clip, pixels.
func (p *Pipeline) Size() (w, h int) { return p.geo.w, p.geo.h }

// Notes are plain remarks on how the clip will be made.
func (p *Pipeline) Notes() []string { return p.notes }

// frames is how many frames the clip will have.
func (j Job) frames() int {
	n := j.slateFrames() + j.shot() + j.HoldFirst + j.HoldLast
	if j.GapMode != GapLeave {
		for _, g := range j.Gaps {
			n += g.Count
		}
	}
	return n
}

func (j Job) slateFrames() int {
	if j.Slate == nil {
		return 0
	}
	return j.Slate.Frames
}

// shot is how many frames are made of stills.
func (j Job) shot() (n int) {
	for i := range j.Sources {
		if !j.Sources[i].Joins {
			n++
		}
	}
	return n
}

// formats picks the pixel formats of the two pipes.
func (p *Pipeline) formats() {
	sub := fmt.Sprintf("4%d%d", 4/p.codec.SampleW, map[bool]int{true: 0, false: 4 / p.codec.SampleW}[p.codec.SampleH == 2])
	// ffmpeg scales to 16 bits faster than to 12.
	p.in = "yuv" + sub + "p16le"
	switch p.codec.Depth {
	case 8:
		p.out = "yuv" + sub + "p"
	case 16:
		p.out = "yuv" + sub + "p16le"
	default:
		p.out = fmt.Sprintf("yuv%sp%dle", sub, p.codec.Depth)
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
		inside, err := files.Inside(dir, p.job.SourceRoot)
		if err != nil {
			return err
		}
		if inside {
			return &Error{Text: fmt.Sprintf("%q lies among the originals", out), Try: "a place outside " + p.job.SourceRoot}
		}
	}
	if err := MayPlace(out, p.job.Overwrite); err != nil {
		return err
	}
	need := uint64(float64(p.geo.w) * float64(p.geo.h) * float64(p.total) * p.codec.BitsPerPixel / 8)
	free, err := freeBytes(dir)
	if err == nil && free < need/2 {
		return &Error{
			Text: fmt.Sprintf("not enough space in %q: the clip may take %d MB and %d MB are free", dir, need/1e6, free/1e6),
			Try:  "free some space, another disk, or the proof preset",
			Err:  syscall.ENOSPC,
		}
	}
	return nil
}

// Commands are the two ffmpeg commands, as they are run: the one that decodes,
// crops and scales the stills, and the one that encodes the corrected frames.
// "STILLS" stands for the folder of links that gives the stills plain names,
// in order; JPEGs are decoded by several of the first side by side, each with its
// share of them, and much larger ones come to its standard input, reduced. Raw
// files that are developed, and HEIF, come before both, one command each, of which
// the first is given.
func (p *Pipeline) Commands() [][]string {
	var all [][]string
	switch first := p.job.Sources[0].Path; {
	case p.raw != nil:
		all = append(all, append([]string{develop.Tool}, p.raw.Args(first, false)...))
	case p.pipedAs != "" && p.reduced == nil:
		all = append(all, develop.HEIFCommand(first, "STILL."+pictureKinds[p.pipedAs]))
	}
	return append(all,
		append([]string{"ffmpeg"}, p.decodeArgs("STILLS")...),
		append([]string{"ffmpeg"}, p.encodeArgs(p.job.Out)...),
	)
}

// linkName is the pattern of the links' names; all frames of a job share one
// ending, which picks ffmpeg's decoder.
func (p *Pipeline) linkName() string {
	s := p.job.Sources[0]
	if s.Raw { // its preview
		return "%08d.jpg"
	}
	return "%08d" + format.ByName(s.Format).Suffix()
}

func (p *Pipeline) decodeArgs(links string) []string {
	how := ffmpeg.KwArgs{"f": "image2", "start_number": "0", "framerate": "25", "noautorotate": ""}
	if n := p.frameThreads(); n > 0 {
		how["threads"] = n
	}
	s := ffmpeg.Input(filepath.Join(strings.ReplaceAll(links, "%", "%%"), p.linkName()), how)
	if p.reduced != nil {
		s = ffmpeg.Input("pipe:0", p.reduced.args())
	} else if p.pipedAs != "" {
		s = ffmpeg.Input("pipe:0", ffmpeg.KwArgs{"f": "image2pipe", "c:v": p.pipedAs, "framerate": "25", "noautorotate": ""})
	}
	return p.decodeFrom(s)
}

// decodeOneArgs are those for a single still.
func (p *Pipeline) decodeOneArgs(link string) []string {
	return p.decodeFrom(ffmpeg.Input(link, ffmpeg.KwArgs{"f": "image2", "pattern_type": "none", "framerate": "25", "noautorotate": "", "threads": 1}))
}

// decodeFrom turns, crops and scales what comes in.
func (p *Pipeline) decodeFrom(s *ffmpeg.Stream) []string {
	for _, f := range turn(p.job.Sources[0].Orientation) {
		name, arg, ok := strings.Cut(f, "=")
		if ok {
			s = s.Filter(name, ffmpeg.Args{arg})
		} else {
			s = s.Filter(name, nil)
		}
	}
	g, by := p.geo, 1
	if p.reduced != nil {
		by = 8 / p.reduced.per
	}
	if g.cropX != 0 || g.cropY != 0 || p.cropped() {
		s = s.Filter("crop", ffmpeg.Args{fmt.Sprintf("%d:%d:%d:%d", (g.cropW+2*g.marginX)/by, (g.cropH+2*g.marginY)/by, (g.cropX-g.marginX)/by, (g.cropY-g.marginY)/by)}, ffmpeg.KwArgs{"exact": "1"})
	}
	// Out comes what JFIF stores: full range, the matrix of BT.601. JPEGs have
	// it, so ffmpeg scales them without converting; stills in RGB are brought
	// to it.
	s = s.Filter("scale", nil, ffmpeg.KwArgs{
		"w": g.w + 2*g.padX, "h": g.h + 2*g.padY, "flags": "bicubic", "out_range": "pc", "out_color_matrix": "bt601",
		"in_range": "pc", "in_color_matrix": "bt601",
	}).Filter("format", ffmpeg.Args{p.in})
	args := s.Output("pipe:1", ffmpeg.KwArgs{"f": "rawvideo", "vsync": "passthrough", "pix_fmt": p.in}).GetArgs()
	return silenced(args)
}

func (p *Pipeline) cropped() bool {
	w, h := orientation.Of(p.job.Sources[0].Orientation).Size(p.srcW, p.srcH)
	return p.geo.cropW != w || p.geo.cropH != h
}

func (p *Pipeline) encodeArgs(out string) []string {
	tags := colourTags(p.job.ColourSpace())
	how := ffmpeg.KwArgs{"f": "rawvideo", "pix_fmt": p.out, "s": fmt.Sprintf("%dx%d", p.geo.w, p.geo.h), "framerate": p.job.Rate.String()}
	maps.Copy(how, tags)
	in := ffmpeg.Input("pipe:0", how)
	kw := ffmpeg.KwArgs{"c:v": p.codec.Encoder, "pix_fmt": p.codec.PixFmt, "an": "", "map_metadata": "-1"}
	maps.Copy(kw, p.moment())
	for k, v := range p.codec.Args {
		kw[k] = v
	}
	if p.codec.Quality != 0 {
		kw["crf"] = p.codec.Quality
	}
	if p.codec.Image != "" {
		kw["f"] = "image2"
		kw["start_number"] = "1"
		s := in.Filter("scale", nil, ffmpeg.KwArgs{"in_range": "tv", "in_color_matrix": "bt709", "flags": "accurate_rnd+full_chroma_int"})
		return finish(s.Output(file(filepath.Join(strings.ReplaceAll(out, "%", "%%"), "%06d"+p.codec.Image)), kw).GetArgs())
	}
	maps.Copy(kw, tags)
	if flags := movFlags(out); flags != "" {
		kw["movflags"] = flags
	}
	return finish(in.Output(file(out), kw).GetArgs())
}

// colourTags are ffmpeg's options for what frames of limited range are in.
func colourTags(s *codec.Space) ffmpeg.KwArgs {
	return ffmpeg.KwArgs{"color_range": "tv", "colorspace": s.Matrix, "color_primaries": s.Primaries, "color_trc": s.Transfer}
}

// moment are the encoder's options that say when the clip was taken.
func (p *Pipeline) moment() ffmpeg.KwArgs {
	kw := ffmpeg.KwArgs{}
	if p.codec.Image != "" {
		return kw
	}
	if p.job.Timecode != "" {
		kw["timecode"] = p.job.Timecode
	}
	if !p.job.Created.IsZero() {
		kw["metadata"] = "creation_time=" + created(p.job.Created)
	}
	return kw
}

// created is a moment as containers keep it: UTC, to the microsecond.
func created(t time.Time) string { return t.UTC().Format("2006-01-02T15:04:05.000000Z") }

// movFlags puts the index of an MP4 or QuickTime file first and writes its
// colour tags.
func movFlags(out string) string {
	switch strings.ToLower(filepath.Ext(out)) {
	case ".mp4", ".mov", ".m4v":
		return "+faststart+write_colr"
	}
	return ""
}

func finish(args []string) []string {
	return silenced(append(args, "-y"))
}

// file makes a name that ffmpeg cannot take for an option or a protocol.
func file(name string) string { return "file:" + name }
