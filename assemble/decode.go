package assemble

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"stillspan/ingest/format"
	"stillspan/internal/process"
)

// decoder is what makes frames of the stills, at work.
type decoder struct {
	tail *process.Tail
	wait func() error // for its end
	fed  func() error // what became of the pictures that it is handed
}

// startDecoder starts the decoder of all stills, which writes to out and closes
// it.
func (p *Pipeline) startDecoder(ctx context.Context, links string, out *os.File) (*decoder, error) {
	fed := make(chan error, 1)
	d := &decoder{fed: func() error { return <-fed }}
	if p.alone() {
		d.tail = &process.Tail{}
		ended := make(chan error, 1)
		go func() {
			err := p.decodeEach(ctx, links, out, d.tail)
			ended <- errors.Join(err, out.Close())
		}()
		d.wait = func() error { return <-ended }
		fed <- nil
		return d, nil
	}
	defer out.Close() // the process has its own
	cmd, tail := process.Command(ctx, "ffmpeg", p.decodeArgs(links)...)
	d.tail, d.wait, cmd.Stdout = tail, cmd.Wait, out
	if p.pipedAs == "" {
		fed <- nil
		return d, start(cmd, p.decoderMemory())
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
	go func() { fed <- p.feed(ctx, w) }()
	return d, nil
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

func (p *Pipeline) linkOf(links string, i int) string {
	return filepath.Join(links, fmt.Sprintf(p.linkName(), i))
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

// complained names the stills that ffmpeg decoded and found fault with: what the
// clip shows of them may be broken.
func (p *Pipeline) complained(ctx context.Context, links string, tail *process.Tail) error {
	if complaint(tail.Last()) == "" {
		return nil
	}
	for i, s := range p.job.Sources {
		said, err := p.tryDecoding(ctx, links, i)
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if err != nil && said == "" {
			said = err.Error()
		}
		if said == "" {
			continue
		}
		p.complaints = append(p.complaints, fmt.Sprintf("ffmpeg finds fault with %q (frame %d): %s; look at this frame of the clip, and copy the still from the card again", s.Path, i+1, said))
		if len(p.complaints) == maxComplaints {
			break
		}
	}
	return nil
}
