package assemble

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"strings"

	"stillspan/ingest/format"
	"stillspan/internal/process"
)

// decoder is what makes frames of the stills, at work: several processes side by
// side where ffmpeg's takes one core.
type decoder struct {
	p      *Pipeline
	frames turns // but those decoded ahead
	tail   *process.Tail
	wait   func() error // for its end
	fed    func() error // what became of the pictures that it is handed
	// faults are what is wrong with stills that are reduced here, by their index,
	// once they were fed.
	faults []string
}

// turns are the pipes that frames come out of, by turns: frame i out of the one
// at i modulo their number.
type turns []*os.File

// read reads the frame of source i; io.EOF where there is none.
func (d *decoder) read(i int, buf []uint16) error {
	early := d.p.early
	if i < len(early) {
		return d.p.ahead.read(early[i], buf)
	}
	if len(d.frames) == 0 {
		return io.EOF
	}
	return d.frames.read(i-len(early), len(d.p.job.Sources)-len(early), buf)
}

// read reads frame i of n; io.EOF where there is none, and after the last only
// once all pipes have ended.
func (t turns) read(i, n int, buf []uint16) error {
	err := readWords(t[i%len(t)], buf)
	for k := i + 1; err == io.EOF && i >= n && k < i+len(t); k++ {
		err = readWords(t[k%len(t)], buf)
	}
	return err
}

func (t turns) close() {
	for _, r := range t {
		r.Close()
	}
}

// maxDecoders bounds the processes that decode side by side.
const maxDecoders = 8

// sharePixels is what each of them has to do at least, or it would not be worth
// its start; tests have less to do.
var sharePixels int64 = 50e6

// decoders is how many processes decode side by side: ffmpeg's decoder of JPEG
// takes one core, and those of other formats as many as there are.
func (p *Pipeline) decoders() int {
	if p.pipedAs != "" || p.pixelBytes() > 3 {
		return 1
	}
	n := len(p.job.Sources)
	pixels := int64(n) * int64(p.srcW) * int64(p.srcH)
	return max(1, min(p.sideBySide(), n, int(pixels/sharePixels)))
}

// sideBySide is how many stills may be decoded at once: one a processor, within
// bounds of memory.
func (p *Pipeline) sideBySide() int {
	return max(1, min(runtime.NumCPU(), maxDecoders, int(format.MaxDecoded/p.pictureBytes())))
}

// startDecoders starts the decoders of all stills. On an error, those that are
// at work are in what it returns.
func (p *Pipeline) startDecoders(ctx context.Context, links string) (*decoder, error) {
	d := &decoder{p: p, tail: &process.Tail{}, fed: func() error { return nil }}
	var waits []func() error
	d.wait = func() (err error) {
		for _, wait := range waits {
			err = errors.Join(err, wait())
		}
		return err
	}
	if len(p.early) == len(p.job.Sources) {
		return d, nil
	}
	for k := range p.decoders() {
		r, w, err := os.Pipe()
		if err != nil {
			return d, err
		}
		widen(r)
		d.frames = append(d.frames, r)
		wait, err := p.startDecoder(ctx, links, k, w, d)
		if err != nil {
			return d, err
		}
		waits = append(waits, wait)
	}
	return d, nil
}

// startDecoder starts the decoder of share k, which writes to out and closes it.
func (p *Pipeline) startDecoder(ctx context.Context, links string, k int, out *os.File, d *decoder) (wait func() error, err error) {
	if p.alone() {
		ended := make(chan error, 1)
		go func() {
			err := p.decodeEach(ctx, links, out, d.tail)
			ended <- errors.Join(err, out.Close())
		}()
		return func() error { return <-ended }, nil
	}
	defer out.Close() // the process has its own
	cmd, _ := process.Command(ctx, "ffmpeg", p.decodeArgs(p.share(links, k))...)
	cmd.Stdout, cmd.Stderr = out, d.tail
	if p.pipedAs == "" {
		return cmd.Wait, start(cmd, p.decoderMemory())
	}
	r, w, err := os.Pipe()
	if err != nil {
		return nil, err
	}
	defer r.Close()
	widen(w)
	cmd.Stdin = r
	if err := start(cmd, p.decoderMemory()); err != nil {
		return nil, errors.Join(err, w.Close())
	}
	fed := make(chan error, 1)
	go func() {
		if p.reduced == nil {
			fed <- p.feed(ctx, w)
			return
		}
		var err error
		d.faults, err = p.feedReduced(ctx, w)
		fed <- err
	}()
	d.fed = func() error { return <-fed }
	return cmd.Wait, nil
}

// alone tells whether each still gets a decoder of its own: ffmpeg's of PNG keeps
// the picture before while it makes the next.
func (p *Pipeline) alone() bool {
	return p.job.Sources[0].Format == "png" && 2*p.pictureBytes() > format.MaxDecoded
}

// decodeEach decodes one still after the other, each by a process of its own.
func (p *Pipeline) decodeEach(ctx context.Context, links string, out *os.File, tail *process.Tail) error {
	for i := range p.job.Sources {
		cmd, _ := process.Command(ctx, "ffmpeg", p.decodeOneArgs(p.linkOf(links, i))...)
		cmd.Stdout, cmd.Stderr = out, tail
		if err := process.Run(cmd, p.decoderMemory()); err != nil {
			return err
		}
	}
	return nil
}

// share is the folder of the links to decoder k's stills.
func (p *Pipeline) share(links string, k int) string { return filepath.Join(links, fmt.Sprint(k)) }

func (p *Pipeline) linkOf(links string, i int) string {
	n := p.decoders()
	return filepath.Join(p.share(links, i%n), fmt.Sprintf(p.linkName(), i/n))
}

// lostFrame finds the still that ffmpeg could not decode: corrections must
// never shift onto other frames.
func (p *Pipeline) lostFrame(ctx context.Context, links string, got int, cause error) error {
	for i := range p.job.Sources {
		if err := p.job.Sources[i].changed(); err != nil {
			return err
		}
	}
	for i, s := range p.job.Sources {
		said, err := p.tryDecoding(ctx, links, i)
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if err != nil {
			return &Error{
				Text: fmt.Sprintf("ffmpeg cannot decode %q (frame %d): %s", s.Path, i+1, said),
				Try:  "copying the file from the card again, or moving it out of the folder",
			}
		}
	}
	if cause != nil {
		return cause
	}
	return &Error{Text: fmt.Sprintf("ffmpeg decoded %d of %d stills and does not say which are missing", got, len(p.job.Sources))}
}

// tryDecoding decodes a still by itself, and returns what ffmpeg says of it. Of
// stills that are made into pictures here each has one.
func (p *Pipeline) tryDecoding(ctx context.Context, links string, i int) (said string, err error) {
	if p.pipedAs != "" {
		return "", nil
	}
	cmd, t := FFmpeg(ctx, "-xerror", "-f", "image2", "-pattern_type", "none", "-i", file(p.linkOf(links, i)), "-f", "null", "-")
	err = process.Run(cmd, p.decoderMemory())
	return complaint(t.Last()), err
}

// complaint is what a decoder says of a picture, without that which it says of
// the facts beside it.
func complaint(line string) string {
	if strings.Contains(line, "APP fields") || strings.Contains(line, "EXIF") {
		return ""
	}
	return line
}

// maxComplaints bounds the stills that are named.
const maxComplaints = 10

// complained names the stills that were decoded and found fault with: what the
// clip shows of them may be broken.
func (p *Pipeline) complained(ctx context.Context, links string, d *decoder) error {
	if d.faults == nil && complaint(d.tail.Last()) == "" {
		return nil
	}
	for i, s := range p.job.Sources {
		said := ""
		if d.faults != nil {
			said = d.faults[i]
		} else {
			var err error
			said, err = p.tryDecoding(ctx, links, i)
			if ctx.Err() != nil {
				return ctx.Err()
			}
			if err != nil && said == "" {
				said = err.Error()
			}
		}
		if said == "" {
			continue
		}
		p.complaints = append(p.complaints, fmt.Sprintf("the decoder finds fault with %q (frame %d): %s; look at this frame of the clip, and copy the still from the card again", s.Path, i+1, said))
		if len(p.complaints) == maxComplaints {
			break
		}
	}
	return nil
}
