package measure

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"image"
	"io"
	"io/fs"
	"os"
	"os/exec"
	"runtime/debug"
	"time"

	"golang.org/x/sync/semaphore"

	"stillspan/deflicker/develop"
	"stillspan/deflicker/measure/jpeg"
	"stillspan/ingest/format"
	"stillspan/ingest/meta"
	"stillspan/internal/files"
	"stillspan/internal/problem"
)

// reader measures stills one after another in memory of its own.
type reader struct {
	opt    Options
	cache  *cache // nil for none
	buf    []byte // a file's bytes, or a preview's
	ends   []byte // a file's tail
	blocks jpeg.Picture
	meter  meter
	looker looker
}

func newReader(opt Options, c *cache) *reader {
	return &reader{opt: opt, cache: c, blocks: jpeg.Picture{MaxPixels: opt.MaxPixels}}
}

// measure measures one still from source.
func (r *reader) measure(ctx context.Context, in Input, source string) (*Grid, *Finding, error) {
	g, err := r.still(ctx, in, source)
	finding, ok := errors.AsType[*Finding](err)
	if err != nil && !ok {
		return nil, nil, err
	}
	return g, finding, nil
}

// still measures one still from source. Here and below, what is wrong with the
// still is an error of type *Finding, beside what could be measured.
func (r *reader) still(ctx context.Context, in Input, source string) (*Grid, error) {
	if err := context.Cause(ctx); err != nil {
		return nil, err
	}
	if in.Problem != nil {
		return nil, in.Problem
	}
	f, info, err := files.Open(in.Path)
	if err != nil {
		return nil, problem.Unread(err)
	}
	defer f.Close()
	if info.Size() == 0 {
		return nil, problem.Empty()
	}
	was := files.IdentityOf(info)
	if !in.ModTime.IsZero() && (in.Size != was.Size || !in.ModTime.Equal(info.ModTime())) {
		return nil, changed()
	}
	k, keep := r.key(in, f, was, source)
	if keep {
		if g, finding, ok := r.cache.get(k); ok {
			return g, asError(finding)
		}
	}
	g, err := r.fresh(ctx, in, f, was, source)
	finding, ok := errors.AsType[*Finding](err)
	if keep && (ok || err == nil) && lasting(g, finding) {
		r.cache.put(k, g, finding)
	}
	return g, err
}

// key names the measurement in the cache; keep is false where it is not to be
// kept there.
func (r *reader) key(in Input, f *os.File, was files.Identity, source string) (k key, keep bool) {
	if source == SourceDeveloped {
		source = fmt.Sprint(source, *r.opt.Develop)
	}
	k, err := keyOf(in, was, source)
	return k, r.cache != nil && err == nil && keeps(f, was, time.Now())
}

// fresh measures an open still and makes sure that it is still the one that
// was opened.
func (r *reader) fresh(ctx context.Context, in Input, f *os.File, was files.Identity, source string) (*Grid, error) {
	s := openStill(in, f, was.Size)
	var err error
	if s.tail, err = r.readTail(f, was.Size); err != nil {
		return nil, problem.Unread(err)
	}
	g, err := r.within(ctx, s, source)
	if _, ok := errors.AsType[*Finding](err); err != nil && !ok {
		return nil, err
	}
	// By its path: other programs opened it by that.
	info, gone := os.Stat(in.Path)
	switch {
	case gone != nil:
		return nil, problem.Unread(gone)
	case files.IdentityOf(info) != was:
		return nil, changed()
	}
	if g != nil {
		g.round()
	}
	return g, err
}

// asError keeps a nil finding from becoming an error.
func asError(f *Finding) error {
	if f == nil {
		return nil
	}
	return f
}

// changed says that what was measured is not what lies there.
func changed() *Finding {
	return &Finding{Kind: "changed", Text: "the file changed while it was read", Try: "run again when nothing writes to the folder any more"}
}

// undecodable says that a still's bytes are no picture that can be read.
func undecodable(err error) error {
	return problem.Undecodable("the picture cannot be decoded: " + files.Cause(err).Error())
}

// still is an Input with its file open.
type still struct {
	in   Input
	f    *os.File
	size int64
	tail []byte // the file's last bytes
	by   format.Decoder
}

func openStill(in Input, f *os.File, size int64) still {
	return still{in: in, f: f, size: size, by: format.ByName(in.Facts.Format).Decoder}
}

// pixels is how many the headers state.
func (s still) pixels() int64 { return int64(s.in.Facts.Width) * int64(s.in.Facts.Height) }

// endBytes is how much of a file's tail is looked at.
const endBytes = 64 << 10

// readTail reads the tail of a file.
func (r *reader) readTail(f *os.File, size int64) ([]byte, error) {
	if r.ends == nil {
		r.ends = make([]byte, endBytes)
	}
	tail := r.ends[:min(size, endBytes)]
	_, err := f.ReadAt(tail, size-int64(len(tail)))
	return tail, err
}

// large is the size, in bytes, from which files and pictures share one bound,
// that of a single still, among all readers.
const large = 64 << 20

var largeOnes = semaphore.NewWeighted(format.MaxDecoded)

// within measures s, waiting its turn where it is large.
func (r *reader) within(ctx context.Context, s still, source string) (*Grid, error) {
	need := int64(0)
	if source != SourcePreview && s.size > large {
		need += s.size
	}
	if picture := 8 * s.pixels(); s.by == format.Go && picture > large {
		need += picture
	}
	if need == 0 {
		return r.from(ctx, s, source)
	}
	need = min(need, format.MaxDecoded)
	if err := largeOnes.Acquire(ctx, need); err != nil {
		return nil, context.Cause(ctx)
	}
	defer largeOnes.Release(need)
	g, err := r.from(ctx, s, source)
	r.buf = nil
	debug.FreeOSMemory() // before another is begun, here or in another process
	return g, err
}

// from measures s from source, or from the next better one where it has none.
func (r *reader) from(ctx context.Context, s still, source string) (*Grid, error) {
	switch source {
	case SourcePreview:
		if g := r.preview(s); g != nil {
			return g, r.ending(s)
		}
	case SourceFull:
		return r.full(ctx, s)
	case SourceDeveloped:
		if s.in.Facts.Raw {
			return r.developed(ctx, s)
		}
	}
	return r.reduced(ctx, s)
}

// developed measures the developed picture of a raw file.
func (r *reader) developed(ctx context.Context, s still) (*Grid, error) {
	img, err := r.opt.Develop.Half(ctx, s.in.Path)
	switch {
	case ctx.Err() != nil:
		return nil, context.Cause(ctx)
	case err != nil:
		return nil, undecodable(err)
	}
	g := FromImage(img)
	g.Source = SourceDeveloped
	return g, nil
}

// preview measures the preview; nil where there is none that is good enough.
func (r *reader) preview(s still) *Grid {
	p, inner, ok := bestPreview(s.in)
	if !ok || p.Offset < 0 || p.Offset > s.size-p.Length {
		return nil
	}
	var err error
	if r.buf, err = readPart(s.f, p.Offset, p.Length, r.buf); err != nil {
		return nil
	}
	if max(p.Width, p.Height) <= decodePreview {
		img, ok, err := decodeImage(r.buf, r.opt.MaxPixels)
		if !ok || err != nil || img.Bounds() != image.Rect(0, 0, p.Width, p.Height) {
			return nil
		}
		if inner != img.Bounds() && !hasBars(img, inner) {
			return nil
		}
		g := FromImage(cropped(img, inner))
		g.Source = SourcePreview
		return g
	}
	if r.blocks.Decode(r.buf) != nil || r.blocks.Damage() != nil {
		return nil
	}
	g := blockGrid(&r.blocks, &r.meter, &r.looker)
	g.Source = SourcePreview
	return g
}

// ending looks whether the main picture of a still whose preview was measured
// has its end marker, and where it has not, how much of it is left.
func (r *reader) ending(s still) error {
	if s.by != format.JPEG {
		return nil
	}
	// In a small file the marker could be that of a preview in its head, and
	// walking costs next to nothing.
	if s.size > 4*endBytes && bytes.Contains(s.tail, []byte{0xff, 0xd9}) {
		return nil
	}
	var err error
	if r.buf, err = readPart(s.f, 0, s.size, r.buf); err != nil {
		return problem.Unread(err)
	}
	if r.blocks.Decode(r.buf) != nil {
		return nil // not a kind whose end could be judged
	}
	return asError(r.blocks.Damage())
}

// main is where the main picture lies and what decodes it: of a raw file it is
// the largest preview; a HEIF or AVIF is made a JPEG.
func (s still) main() (part meta.Preview, by format.Decoder, err error) {
	switch previews := s.in.Facts.Previews; {
	case s.by == format.Libheif:
		return meta.Preview{}, format.JPEG, nil
	case !s.in.Facts.Raw:
		return meta.Preview{Length: s.size}, s.by, nil
	case len(previews) > 0:
		return previews[len(previews)-1], format.JPEG, nil
	}
	return part, format.Embedded, &Finding{
		Kind: "undecodable", Text: "the raw file holds no preview to measure",
		Try: "install LibRaw (Debian package libraw-bin) and render from the raw data",
	}
}

// fetch reads the main picture's bytes into r.buf.
func (r *reader) fetch(ctx context.Context, s still, part meta.Preview) (err error) {
	from, offset, length := io.ReaderAt(s.f), part.Offset, part.Length
	if s.by == format.Libheif {
		data, err := develop.Convert(ctx, s.in.Path, "jpg", s.pixels())
		switch {
		case ctx.Err() != nil:
			return context.Cause(ctx)
		case errors.Is(err, develop.ErrNoHEIF):
			return &Finding{Kind: "undecodable", Text: err.Error(), Try: "install " + develop.HEIFPackage}
		case err != nil:
			return undecodable(err)
		}
		from, offset, length = bytes.NewReader(data), 0, int64(len(data))
	}
	if r.buf, err = readPart(from, offset, length, r.buf); err != nil {
		return problem.Unread(err)
	}
	return nil
}

// smallSide is the longer side up to which a main picture is decoded in full:
// its blocks are no finer than the cells, so that block means would be coarse,
// and decoding costs no more than walking a large picture.
const smallSide = 8 * MaxCells

// reduced measures the main picture's block means, or every pixel where its
// format does not give them.
func (r *reader) reduced(ctx context.Context, s still) (*Grid, error) {
	part, by, err := s.main()
	if err != nil {
		return nil, err
	}
	if by != format.JPEG {
		return r.full(ctx, s)
	}
	if err := r.fetch(ctx, s, part); err != nil {
		return nil, err
	}
	planes := s.in.Planes != nil
	if planes {
		if err := r.blocks.Reduce(r.buf, s.in.Per); err != nil {
			planes = false // it may be measured all the same
			if err := r.fetch(ctx, s, part); err != nil {
				return nil, err
			}
		}
	}
	if !planes {
		if err := r.blocks.Decode(r.buf); err == jpeg.ErrKind {
			return r.full(ctx, s)
		} else if err != nil {
			return nil, undecodable(err)
		}
	}
	damage := r.blocks.Damage()
	if planes && damage == nil {
		s.in.Planes(&r.blocks)
	}
	if damage == nil && max(r.blocks.Width, r.blocks.Height) <= smallSide {
		return r.full(ctx, s)
	}
	if damage != nil && damage.Left == 0 {
		return nil, damage
	}
	g := blockGrid(&r.blocks, &r.meter, &r.looker)
	if s.in.Thumb > 0 && damage == nil && r.showsBlocks(s.in.Thumb) {
		g.Thumb = upright(r.blocks.Image(), s.in, s.in.Thumb)
	}
	return g, asError(damage)
}

// full measures every pixel of the main picture.
func (r *reader) full(ctx context.Context, s still) (*Grid, error) {
	img, reduced, err := r.decode(ctx, s)
	if err != nil {
		return nil, err
	}
	g := FromImage(img)
	if reduced {
		g.Source = SourceReduced
	}
	return g, nil
}

// decode decodes the main picture. reduced is set for one that ffmpeg has
// reduced.
func (r *reader) decode(ctx context.Context, s still) (img image.Image, reduced bool, err error) {
	part, by, err := s.main()
	if err != nil {
		return nil, false, err
	}
	if by == format.JPEG || by == format.Go {
		if err := r.fetch(ctx, s, part); err != nil {
			return nil, false, err
		}
		img, ok, err := decodeImage(r.buf, r.opt.MaxPixels)
		if ok && err != nil {
			return nil, false, r.broken(by, err)
		}
		if ok {
			return img, false, nil
		}
	}
	if s.in.Facts.Raw { // ffmpeg would look for the sensor's data
		return nil, false, undecodable(jpeg.ErrKind)
	}
	img, err = ffmpegImage(ctx, r.opt.FFmpeg, s.in.Path, s.pixels(), r.opt.MaxPixels)
	switch {
	case ctx.Err() != nil:
		return nil, false, context.Cause(ctx)
	case errors.Is(err, exec.ErrNotFound) || errors.Is(err, fs.ErrNotExist):
		return nil, false, &Finding{Kind: "undecodable", Text: "this kind of picture needs ffmpeg, which was not found", Try: "install ffmpeg (Debian package ffmpeg)"}
	case err != nil:
		return nil, false, undecodable(err)
	}
	return img, true, nil
}

// broken says why the picture in r.buf could not be decoded, and of a JPEG how
// much is left.
func (r *reader) broken(by format.Decoder, err error) error {
	if by == format.JPEG && r.blocks.Decode(r.buf) == nil {
		if d := r.blocks.Damage(); d != nil {
			return d
		}
	}
	return undecodable(err)
}
