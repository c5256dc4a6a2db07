package assemble

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"

	ffmpeg "github.com/u2takey/ffmpeg-go"

	"stillspan/deflicker/measure/jpeg"
	"stillspan/ingest/format"
	"stillspan/internal/files"
	"stillspan/internal/orientation"
	"stillspan/internal/process"
)

// reduction is how JPEGs much larger than the clip are decoded: here, by the lowest
// frequencies of their blocks alone, to per eighths of their size, from which
// ffmpeg scales them to the clip's.
type reduction struct {
	per    int
	pixFmt string // ffmpeg's name for the planes
	// samplingX and samplingY are how many samples of luma lie over one of
	// chroma; 0 without chroma.
	samplingX, samplingY int
	w, h                 int // of luma
	// free are those whose still was handed on: as many as work at once, and one.
	free chan *reducer
}

// reducer is what a still in work takes.
type reducer struct {
	jpeg   jpeg.Picture
	file   []byte
	planes [][]byte // in order, or parts of them
}

// reducedOver is how much larger than the clip a reduced still has to be at least:
// what is scaled from it then differs from what is scaled from all pixels by less
// than the grain that scaling leaves.
const reducedOver = 1.25

// reducedFormats are ffmpeg's names for planes by their sampling.
var reducedFormats = map[[2]int]string{{0, 0}: "gray16le", {1, 1}: "yuv444p16le", {2, 1}: "yuv422p16le", {2, 2}: "yuv420p16le"}

// reduce settles whether the stills are decoded at a reduced size: where crop and
// planes keep their places to the sample.
func (p *Pipeline) reduce() {
	first := &p.job.Sources[0]
	if p.pipedAs != "" || !first.Raw && format.ByName(first.Format).Decoder != format.JPEG {
		return
	}
	d := &reducer{jpeg: jpeg.Picture{MaxPixels: int64(p.srcW) * int64(p.srcH)}}
	if d.read(first) != nil || d.jpeg.Head(d.file) != nil || d.jpeg.Width != p.srcW || d.jpeg.Height != p.srcH {
		return // whoever decodes it has more to say
	}
	x, y, _ := d.jpeg.Sampling()
	r := &reduction{pixFmt: reducedFormats[[2]int{x, y}], samplingX: x, samplingY: y}
	if r.pixFmt == "" {
		return
	}
	for r.per = 1; r.per < 8; r.per *= 2 {
		if p.fits(8/r.per, max(1, x), max(1, y)) {
			r.w, r.h = p.srcW*r.per/8, p.srcH*r.per/8
			r.free = make(chan *reducer, p.sideBySide()+1)
			r.free <- d
			p.reduced, p.pipedAs = r, "rawvideo"
			return
		}
	}
}

// fits tells whether stills may be reduced by that factor, with as many samples of
// luma over one of chroma across and down.
func (p *Pipeline) fits(by, x, y int) bool {
	g := p.geo
	if p.srcW%(by*x) != 0 || p.srcH%(by*y) != 0 {
		return false
	}
	if orientation.Of(p.job.Sources[0].Orientation).Transpose {
		x, y = y, x
	}
	across, down := g.cropX|g.cropW|g.marginX, g.cropY|g.cropH|g.marginY // powers of two divide all or none
	return across%(by*x) == 0 && down%(by*y) == 0 &&
		float64(g.cropW) >= reducedOver*float64(by*g.w) && float64(g.cropH) >= reducedOver*float64(by*g.h)
}

// args are those that have ffmpeg read the planes.
func (r *reduction) args() ffmpeg.KwArgs {
	return ffmpeg.KwArgs{"f": "rawvideo", "pix_fmt": r.pixFmt, "s": fmt.Sprintf("%dx%d", r.w, r.h), "framerate": "25"}
}

func (r *reduction) words() int {
	if r.samplingX == 0 {
		return r.w * r.h
	}
	return pictureWords(r.w, r.h, r.samplingX, r.samplingY)
}

// get is a reducer that is free, or a new one.
func (r *reduction) get() *reducer {
	select {
	case d := <-r.free:
		return d
	default:
		return &reducer{}
	}
}

// read reads the file of a still, or its preview.
func (d *reducer) read(s *Source) error {
	f, info, err := files.Open(s.Path)
	if err != nil {
		return err
	}
	defer f.Close()
	from, length := int64(0), info.Size()
	if s.Raw {
		if s.Preview == nil {
			return errors.New("no preview")
		}
		from, length = s.Preview.Offset, s.Preview.Length
	}
	if from < 0 || length < 0 || from > info.Size() || length > min(info.Size()-from, math.MaxInt32) {
		return io.ErrUnexpectedEOF
	}
	if int64(cap(d.file)) < length+jpeg.Slack {
		d.file = make([]byte, length+length/4+jpeg.Slack)
	}
	d.file = d.file[:length]
	_, err = f.ReadAt(d.file, from)
	clear(d.file[length : length+jpeg.Slack])
	if err == io.EOF {
		err = nil
	}
	return err
}

// reducedPicture makes the planes of one still. fault is what is wrong with it,
// where it can be shown all the same.
func (p *Pipeline) reducedPicture(ctx context.Context, i int) (d *reducer, fault string, err error) {
	r, s := p.reduced, &p.job.Sources[i]
	d = r.get()
	if err = d.read(s); err == nil {
		if fault, err = d.decode(r, int64(p.srcW)*int64(p.srcH)); errors.Is(err, jpeg.ErrKind) {
			if err = d.read(s); err == nil {
				fault, err = d.convert(ctx, r, p.decoderMemory())
			}
		}
	}
	switch {
	case ctx.Err() != nil:
		return d, "", ctx.Err()
	case err == nil:
		return d, fault, nil
	}
	if changed := s.changed(); changed != nil {
		return d, "", changed
	}
	return d, "", &Error{
		Text: fmt.Sprintf("cannot decode %q (frame %d): %s", s.Path, i+1, files.Cause(err)),
		Try:  "copying the file from the card again, or moving it out of the folder", Err: err,
	}
}

// decode makes the planes of the file that was read, whose bytes it spoils. The
// error is jpeg.ErrKind where ffmpeg has to.
func (d *reducer) decode(r *reduction, pixels int64) (fault string, err error) {
	d.jpeg.MaxPixels = pixels
	if err := d.jpeg.Reduce(d.file, r.per); err != nil {
		return "", err
	}
	if damage := d.jpeg.Damage(); damage != nil {
		if fault = damage.Text; damage.Left == 0 {
			return "", damage
		}
	}
	var ok bool
	if d.planes, ok = r.planes(d.planes, &d.jpeg); !ok {
		return "", jpeg.ErrKind
	}
	return fault, nil
}

// planes are the bytes of a reduced picture's, in to where that has room; ok is
// false where they are not of the size that is wanted.
func (r *reduction) planes(to [][]byte, b *jpeg.Picture) (planes [][]byte, ok bool) {
	x, y, same := b.Sampling()
	if !same || x != r.samplingX || y != r.samplingY || b.Width*r.per != 8*r.w || b.Height*r.per != 8*r.h {
		return to, false
	}
	to = to[:0]
	for i := range min(1+2*x, 3) {
		pix, stride, w, h := b.Plane(i)
		if !littleEndian {
			for i, v := range pix {
				binary.LittleEndian.PutUint16(asBytes(pix[i:i+1]), v)
			}
		}
		if stride > w { // rows as they stand in a picture
			for row := range h {
				copy(pix[row*w:], pix[row*stride:][:w])
			}
		}
		to = append(to, asBytes(pix[:w*h]))
	}
	return to, true
}

func writeAll(w io.Writer, parts [][]byte) error {
	for _, b := range parts {
		if _, err := w.Write(b); err != nil {
			return err
		}
	}
	return nil
}

// convert has ffmpeg make the planes of the file that was read, of a kind that is
// not reduced here.
func (d *reducer) convert(ctx context.Context, r *reduction, memory int64) (fault string, err error) {
	cmd, tail := FFmpeg(ctx, "-f", "image2pipe", "-c:v", "mjpeg", "-noautorotate", "-i", "pipe:0", "-frames:v", "1",
		"-vf", fmt.Sprintf("scale=%d:%d:flags=bicubic:in_range=pc:out_range=pc:in_color_matrix=bt601:out_color_matrix=bt601,format=%s", r.w, r.h, r.pixFmt),
		"-f", "rawvideo", "pipe:1")
	out := process.Output{Limit: 2 * r.words()}
	out.Reserve()
	cmd.Stdin, cmd.Stdout = bytes.NewReader(d.file), &out
	err = process.Run(cmd, memory)
	fault = complaint(tail.Last())
	if len(out.Bytes()) != out.Limit {
		return "", fmt.Errorf("ffmpeg makes no picture of it: %s: %w", fault, errors.Join(err, io.ErrUnexpectedEOF))
	}
	d.planes = [][]byte{out.Bytes()}
	return fault, nil
}

// feedReduced writes the planes of all stills, but those decoded ahead, to out in
// order, and returns what is wrong with those that are shown all the same, by their
// index.
func (p *Pipeline) feedReduced(ctx context.Context, out io.WriteCloser) (faults []string, err error) {
	faults = make([]string, len(p.job.Sources))
	early := len(p.early)
	err = inOrder(ctx, len(faults)-early, p.sideBySide(), func(ctx context.Context, i int) (d *reducer, err error) {
		d, faults[early+i], err = p.reducedPicture(ctx, early+i)
		return d, err
	}, func(d *reducer) error {
		err := writeAll(out, d.planes)
		p.reduced.free <- d
		return err
	})
	return faults, errors.Join(err, out.Close())
}
