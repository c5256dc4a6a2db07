package assemble

import (
	"context"
	"errors"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"sync"

	"stillspan/deflicker/measure/jpeg"
	"stillspan/internal/files"
	"stillspan/internal/process"
)

// Ahead decodes the first stills of a clip while they are measured, so that none of
// them is read and decoded twice. What comes out of the decoder lies in a file of no
// name beside the clip until the clip is made. All trouble costs no more than what
// it would have saved.
type Ahead struct {
	p    *Pipeline // of the job as far as it was known
	ctx  context.Context
	at   map[string]int // of sources by their paths
	have []bool

	mu    sync.Mutex
	cmd   *exec.Cmd // nil until there is a still
	in    *os.File
	file  *os.File
	order chan int
	ended chan error
	err   error
}

// aheadBytes bounds the file: beyond, reading it again would cost more than
// decoding.
const aheadBytes = 1 << 30

// NewAhead is for a job whose corrections are not known yet; nil where its stills
// are not decoded here. Close ends it.
func NewAhead(ctx context.Context, job Job) *Ahead {
	p, err := plan(ctx, job)
	if err != nil || p.reduced == nil || len(Segments(job)) > 1 || p.checkOutput() != nil {
		return nil
	}
	free, err := freeBytes(filepath.Dir(job.Out))
	n := min(int(min(aheadBytes, free/4)/uint64(p.frameBytes())), len(job.Sources))
	if err != nil || n == 0 {
		return nil
	}
	a := &Ahead{p: p, ctx: ctx, at: map[string]int{}, have: make([]bool, n), order: make(chan int, n), ended: make(chan error, 1)}
	for i := range n {
		a.at[job.Sources[i].Path] = i
	}
	return a
}

// Wants tells whether a still is to be decoded, and at how many eighths of its size.
func (a *Ahead) Wants(path string) (per int, ok bool) {
	if a == nil {
		return 0, false
	}
	_, ok = a.at[path]
	return a.p.reduced.per, ok
}

// Take takes the planes of a still without fault. It may be called by several at
// once.
func (a *Ahead) Take(path string, b *jpeg.Picture) {
	planes, ok := a.p.reduced.planes(nil, b)
	a.mu.Lock()
	defer a.mu.Unlock()
	i := a.at[path]
	if !ok || a.err != nil || a.ended == nil || a.have[i] {
		return
	}
	if a.cmd == nil {
		if a.err = a.start(); a.err != nil {
			return
		}
	}
	a.have[i] = true
	a.order <- i
	a.err = writeAll(a.in, planes)
}

// start starts the process that scales and, beside it, the one that keeps.
func (a *Ahead) start() (err error) {
	if a.file, err = os.CreateTemp(filepath.Dir(a.p.job.Out), files.TempPrefix+"frames-*"+files.TempSuffix); err != nil {
		return err
	}
	os.Remove(a.file.Name()) // where the system lets an open file go without a name
	in, w, err := os.Pipe()
	if err != nil {
		return err
	}
	defer in.Close()
	widen(w)
	a.in = w
	a.cmd, _ = process.Command(a.ctx, "ffmpeg", a.p.decodeArgs("")...)
	a.cmd.Stdin = in
	out, err := a.cmd.StdoutPipe()
	if err == nil {
		err = start(a.cmd, a.p.decoderMemory())
	}
	if err != nil {
		a.cmd = nil
		return errors.Join(err, w.Close())
	}
	go func() {
		err := a.keep(out)
		if err != nil {
			_ = a.cmd.Process.Kill() // it would wait for ever to be read
			err = errors.Join(err, a.file.Truncate(0))
		}
		a.ended <- err
	}()
	return nil
}

// keep writes the frames to their places in the file.
func (a *Ahead) keep(out io.Reader) error {
	frame := make([]byte, a.p.frameBytes())
	for i := range a.order {
		if _, err := io.ReadFull(out, frame); err != nil {
			return err
		}
		if _, err := a.file.WriteAt(frame, int64(i)*int64(len(frame))); err != nil {
			return err
		}
	}
	return nil
}

// end waits until all frames are kept.
func (a *Ahead) end() error {
	a.mu.Lock()
	defer a.mu.Unlock()
	if a.cmd != nil && a.ended != nil {
		close(a.order)
		a.err = errors.Join(a.err, a.in.Close(), <-a.ended, a.cmd.Wait())
	}
	a.ended = nil
	return a.err
}

// Close ends the work and lets the frames go.
func (a *Ahead) Close() {
	if a == nil {
		return
	}
	_ = a.end()
	if a.file != nil {
		a.file.Close()
		os.Remove(a.file.Name())
	}
}

// UseAhead has Run take the frames that were decoded ahead, where they are those that
// its own decoder would make.
func (p *Pipeline) UseAhead(a *Ahead) {
	if a == nil || p.reduced == nil || a.end() != nil || p.in != a.p.in || !slices.Equal(p.decodeArgs(""), a.p.decodeArgs("")) {
		return
	}
	p.ahead = a
	for _, s := range p.job.Sources {
		i, ok := a.at[s.Path]
		if !ok || !a.have[i] {
			return
		}
		p.early = append(p.early, i)
	}
}

// frameBytes is what a frame from the decoder takes.
func (p *Pipeline) frameBytes() int { return 2 * p.wideWords() }

// read reads a frame by its place.
func (a *Ahead) read(i int, buf []uint16) error {
	b := asBytes(buf)
	return readWords(io.NewSectionReader(a.file, int64(i)*int64(len(b)), int64(len(b))), buf)
}
