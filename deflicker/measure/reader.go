package measure

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"image"
	"io/fs"
	"os"
	"os/exec"
	"time"

	"stillspan/deflicker/develop"
	"stillspan/deflicker/measure/jpeg"
	"stillspan/ingest/format"
	"stillspan/ingest/meta"
	"stillspan/internal/files"
)

// reader measures stills one after another in memory of its own.
type reader struct {
	opt    Options
	cache  *cache // nil for none
	buf    []byte // a file's bytes, or a preview's
	ends   []byte // a file's tail
	blocks jpeg.Picture
	meter  meter
}

func newReader(opt Options, c *cache) *reader {
	return &reader{opt: opt, cache: c, blocks: jpeg.Picture{MaxPixels: opt.MaxPixels}}
}

// measure measures one still from source.
func (r *reader) measure(ctx context.Context, in Input, source string) (*Grid, *Finding, error) {
	if err := ended(ctx); err != nil {
		return nil, nil, err
	}
	f, info, err := files.Open(in.Path)
	if err != nil {
		return nil, openFinding(err), nil
	}
	defer f.Close()
	if info.Size() == 0 {
		return nil, &Finding{Kind: "empty", Text: "the file has no content", Try: "copy it from the card again"}, nil
	}
	was := files.IdentityOf(info)
	if !in.ModTime.IsZero() && (in.Size != was.Size || !in.ModTime.Equal(info.ModTime())) {
		return nil, changed(), nil
	}
	from := source
	if source == SourceDeveloped {
		from = fmt.Sprint(source, *r.opt.Develop)
	}
	k, err := keyOf(in, was, from)
	cached := r.cache != nil && err == nil && keeps(f, was, time.Now())
	if cached {
		if g, finding, ok := r.cache.get(k); ok {
			return g, finding, nil
		}
	}
	tail, err := r.readTail(f, info.Size())
	if err != nil {
		return nil, readFinding(err), nil
	}
	s := openStill(in, f, info.Size())
	s.tail = tail
	g, finding, err := r.from(ctx, s, source)
	if err != nil {
		return nil, nil, err
	}
	// By its path: other programs opened it by that.
	info, err = os.Stat(in.Path)
	switch {
	case err != nil:
		return nil, openFinding(err), nil
	case files.IdentityOf(info) != was:
		return nil, changed(), nil
	}
	if g != nil {
		g.round()
	}
	if cached && lasting(g, finding) {
		r.cache.put(k, g, finding)
	}
	return g, finding, nil
}

// changed says that what was measured is not what lies there.
func changed() *Finding {
	return &Finding{Kind: "changed", Text: "the file changed while it was read", Try: "run again when nothing writes to the folder any more"}
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

// from measures s from source, or from the next better one where it has none.
func (r *reader) from(ctx context.Context, s still, source string) (*Grid, *Finding, error) {
	switch source {
	case SourcePreview:
		if g := r.preview(s); g != nil {
			return g, r.endFinding(s), nil
		}
		return r.reduced(ctx, s)
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
func (r *reader) developed(ctx context.Context, s still) (*Grid, *Finding, error) {
	img, err := r.opt.Develop.Half(ctx, s.in.Path)
	switch {
	case ctx.Err() != nil:
		return nil, nil, context.Cause(ctx)
	case err != nil:
		return nil, undecodable(err), nil
	}
	g := FromImage(img)
	g.Source = SourceDeveloped
	return g, nil, nil
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
	if r.blocks.Decode(r.buf) != nil || blockFinding(&r.blocks) != nil {
		return nil
	}
	g := blockGrid(&r.blocks, &r.meter)
	g.Source = SourcePreview
	return g
}

// endFinding looks whether the main picture of a still whose preview was
// measured has its end marker, and where it has not, how much of it is left.
func (r *reader) endFinding(s still) *Finding {
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
		return readFinding(err)
	}
	if r.blocks.Decode(r.buf) != nil {
		return nil // not a kind whose end could be judged
	}
	return blockFinding(&r.blocks)
}

// main is where the main picture lies and what decodes it: of a raw file it is
// the largest preview; a HEIF or AVIF is made a JPEG. ok is false for a raw file
// without any.
func (s still) main() (part meta.Preview, by format.Decoder, ok bool) {
	switch previews := s.in.Facts.Previews; {
	case s.by == format.Libheif:
		return meta.Preview{}, format.JPEG, true
	case !s.in.Facts.Raw:
		return meta.Preview{Length: s.size}, s.by, true
	case len(previews) > 0:
		return previews[len(previews)-1], format.JPEG, true
	}
	return meta.Preview{}, format.Embedded, false
}

// fetch reads the main picture's bytes into r.buf.
func (r *reader) fetch(ctx context.Context, s still, part meta.Preview) (*Finding, error) {
	var err error
	if s.by != format.Libheif {
		if r.buf, err = readPart(s.f, part.Offset, part.Length, r.buf); err != nil {
			return readFinding(err), nil
		}
		return nil, nil
	}
	data, err := develop.JPEG(ctx, s.in.Path)
	switch {
	case ctx.Err() != nil:
		return nil, context.Cause(ctx)
	case errors.Is(err, develop.ErrNoHEIF):
		return &Finding{Kind: "undecodable", Text: err.Error(), Try: "install " + develop.HEIFPackage}, nil
	case err != nil:
		return undecodable(err), nil
	}
	if r.buf, err = readPart(bytes.NewReader(data), 0, int64(len(data)), r.buf); err != nil {
		return readFinding(err), nil
	}
	return nil, nil
}

// smallSide is the longer side up to which a main picture is decoded in full:
// its blocks are no finer than the cells, so that block means would be coarse,
// and decoding costs no more than walking a large picture.
const smallSide = 8 * MaxCells

// reduced measures the main picture's block means, or every pixel where its
// format does not give them.
func (r *reader) reduced(ctx context.Context, s still) (*Grid, *Finding, error) {
	part, by, ok := s.main()
	if !ok {
		return nil, noPreview(), nil
	}
	if by != format.JPEG {
		return r.full(ctx, s)
	}
	if finding, err := r.fetch(ctx, s, part); finding != nil || err != nil {
		return nil, finding, err
	}
	if err := r.blocks.Decode(r.buf); err == jpeg.ErrKind {
		return r.full(ctx, s)
	} else if err != nil {
		return nil, undecodable(err), nil
	}
	finding := blockFinding(&r.blocks)
	if finding == nil && max(r.blocks.Width, r.blocks.Height) <= smallSide {
		return r.full(ctx, s)
	}
	if finding != nil && finding.Left == 0 {
		return nil, finding, nil
	}
	return blockGrid(&r.blocks, &r.meter), finding, nil
}

// full measures every pixel of the main picture.
func (r *reader) full(ctx context.Context, s still) (*Grid, *Finding, error) {
	img, reduced, finding, err := r.decode(ctx, s)
	if img == nil {
		return nil, finding, err
	}
	g := FromImage(img)
	if reduced {
		g.Source = SourceReduced
	}
	return g, nil, nil
}

// decode decodes the main picture. reduced is set for one that ffmpeg has
// reduced.
func (r *reader) decode(ctx context.Context, s still) (img image.Image, reduced bool, finding *Finding, err error) {
	part, by, ok := s.main()
	if !ok {
		return nil, false, noPreview(), nil
	}
	if by == format.JPEG || by == format.Go {
		if finding, err := r.fetch(ctx, s, part); finding != nil || err != nil {
			return nil, false, finding, err
		}
		img, ok, err := decodeImage(r.buf, r.opt.MaxPixels)
		if ok && err != nil {
			return nil, false, r.broken(by, err), nil
		}
		if ok {
			return img, false, nil, nil
		}
	}
	if s.in.Facts.Raw { // ffmpeg would look for the sensor's data
		return nil, false, undecodable(jpeg.ErrKind), nil
	}
	img, err = ffmpegImage(ctx, r.opt.FFmpeg, s.in.Path, r.opt.MaxPixels)
	switch {
	case ctx.Err() != nil:
		return nil, false, nil, context.Cause(ctx)
	case errors.Is(err, exec.ErrNotFound) || errors.Is(err, fs.ErrNotExist):
		return nil, false, &Finding{Kind: "undecodable", Text: "this kind of picture needs ffmpeg, which was not found", Try: "install ffmpeg (Debian package ffmpeg)"}, nil
	case err != nil:
		return nil, false, undecodable(err), nil
	}
	return img, true, nil, nil
}

// broken says why the picture in r.buf could not be decoded, and of a JPEG how
// much is left.
func (r *reader) broken(by format.Decoder, err error) *Finding {
	if by == format.JPEG && r.blocks.Decode(r.buf) == nil {
		if f := blockFinding(&r.blocks); f != nil {
			return f
		}
	}
	return undecodable(err)
}

// noPreview says that a raw file has no picture to measure.
func noPreview() *Finding {
	return &Finding{Kind: "undecodable", Text: "the raw file holds no preview to measure", Try: "install LibRaw (Debian package libraw-bin) and render from the raw data"}
}
