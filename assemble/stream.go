package assemble

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"strings"
	"unsafe"

	"golang.org/x/sync/errgroup"

	"stillspan/deflicker"
	"stillspan/internal/bt2100"
	"stillspan/internal/files"
	"stillspan/internal/icc"
	"stillspan/internal/orientation"
	"stillspan/internal/process"
	"stillspan/internal/srgb"
)

// framesAhead is how many decoded frames wait to be corrected: with the one in
// hand, the one before (for gaps) and the one being written, all the frames
// this process holds, however long the clip.
const framesAhead = 2

// Run makes the clip: beside its name first, then verified, then renamed. On
// any error nothing is left. progress, unless nil, is never called twice at once.
func (p *Pipeline) Run(ctx context.Context, progress func(done, total int)) (Clip, error) {
	w, err := p.beside()
	if err != nil {
		return Clip{}, err
	}
	defer w.Close()
	tmp, err := p.unfinished(w)
	if err != nil {
		return Clip{}, err
	}
	if p.proof != nil {
		p.proof.begin(ctx, p.job.Rate.String())
	}
	if segments := Segments(p.job); len(segments) > 1 {
		err = p.runSegments(ctx, segments, w, tmp, progress)
	} else {
		err = p.encode(ctx, tmp, progress)
	}
	if p.proof != nil {
		p.proof.end(err)
	}
	if err != nil {
		return Clip{}, err
	}
	return p.deliver(ctx, w, tmp)
}

// encode writes the whole of the job to tmp.
func (p *Pipeline) encode(ctx context.Context, tmp string, progress func(done, total int)) error {
	w, err := files.WorkInTemp()
	if err != nil {
		return fmt.Errorf("cannot make a folder for links: %w", err)
	}
	defer w.Close()
	links := w.Path("links")
	if err := os.Mkdir(links, 0o700); err != nil {
		return err
	}
	if err := p.link(links); err != nil {
		return err
	}
	return p.stream(ctx, links, tmp, progress)
}

// deliver verifies the clip and gives it its name.
func (p *Pipeline) deliver(ctx context.Context, w *files.Work, tmp string) (Clip, error) {
	clip, err := Verify(ctx, tmp, p.expect())
	if err != nil {
		return Clip{}, err
	}
	if !clip.Verified {
		return Clip{}, &Error{Text: fmt.Sprintf("the clip %q did not come out as ordered: %s", p.job.Out, strings.Join(clip.Problems, "; "))}
	}
	clip.Held = p.job.HoldFirst + p.job.HoldLast
	clip.Slate = p.job.slateFrames()
	clip.Filled = p.total - p.job.shot() - clip.Held - clip.Slate
	clip.Problems = p.complaints
	if p.Accept != nil {
		if err := p.Accept(ctx, clip); err != nil {
			return Clip{}, err
		}
	}
	if p.codec.Image != "" {
		if err := listImages(tmp); err != nil {
			return Clip{}, err
		}
	}
	if err := p.publish(w, tmp); err != nil {
		return Clip{}, err
	}
	clip.File = p.job.Out
	return clip, nil
}

// link gives every still a plain numbered name, so that no character of its
// own name and no hole in its numbers can mislead ffmpeg. Embedded previews
// are copied out.
func (p *Pipeline) link(dir string) error {
	if p.pipedAs != "" {
		return nil
	}
	for d := range p.decoders() {
		if err := os.Mkdir(p.share(dir, d), 0o700); err != nil {
			return err
		}
	}
	for i, s := range p.job.Sources {
		name := p.linkOf(dir, i)
		if s.Raw {
			if err := copyPreview(s, name); err != nil {
				return err
			}
			continue
		}
		if err := files.Alias(s.Path, name); err != nil {
			return fmt.Errorf("cannot link %q: %w", s.Path, err)
		}
	}
	return nil
}

func copyPreview(s Source, name string) error {
	if s.Preview == nil {
		return &Error{Text: fmt.Sprintf("%q has no embedded preview", s.Path), Try: "developing it to TIFF first"}
	}
	in, _, err := files.Open(s.Path)
	if err != nil {
		return fmt.Errorf("cannot read still: %w", err)
	}
	defer in.Close()
	out, err := os.Create(name)
	if err != nil {
		return err
	}
	_, err = io.Copy(out, io.NewSectionReader(in, s.Preview.Offset, s.Preview.Length))
	return errors.Join(err, out.Close(), s.changed())
}

// stream runs decode -> correct -> encode.
func (p *Pipeline) stream(parent context.Context, links, tmp string, progress func(done, total int)) error {
	ctx, cancel := context.WithCancel(parent)
	defer cancel()
	encR, encW, err := os.Pipe()
	if err != nil {
		return err
	}
	widen(encW)
	enc, encTail := process.Command(ctx, "ffmpeg", append([]string{"-progress", "pipe:1"}, p.encodeArgs(tmp)...)...)
	enc.Stdin = encR
	count := p.counting(progress)
	enc.Stdout = count
	dec, err := p.startDecoders(ctx, links)
	if err == nil {
		err = start(enc, 0)
	}
	encR.Close()
	if err != nil {
		cancel()
		dec.frames.close()
		_ = dec.wait() // killed on purpose
		_ = dec.fed()
		return errors.Join(err, encW.Close())
	}
	watched := p.watchInputs(ctx, cancel)
	got, streamErr := p.pump(ctx, dec, encW, func(done int) {
		watched.at(done)
		count.given(done)
	})
	changed := watched.end()
	encW.Close()
	dec.frames.close()
	if streamErr != nil && !errors.Is(streamErr, errStopped) {
		cancel()
	}
	e := ending{got: got, stream: streamErr, changed: changed, decode: dec.wait(), encode: enc.Wait(), feed: dec.fed()}
	if err := p.judge(parent, links, e, dec.tail, encTail); err != nil {
		return err
	}
	count.whole()
	return p.complained(parent, links, dec)
}

// ending is how the parts of a stream ended, and how many frames were decoded.
type ending struct {
	got                                   int
	stream, changed, decode, encode, feed error
}

// judge tells which of a stream's errors is the cause of the others.
func (p *Pipeline) judge(ctx context.Context, links string, e ending, decTail, encTail *process.Tail) error {
	stopped := errors.Is(e.stream, errStopped)
	switch {
	case ctx.Err() != nil:
		return ctx.Err()
	case e.changed != nil:
		return e.changed
	case e.feed != nil && !errors.Is(e.feed, errStopped) && !errors.Is(e.feed, context.Canceled):
		return e.feed
	case stopped || e.stream == nil && e.encode != nil || encTail.Contains(noSpace):
		// Out of space for a file's last bytes, ffmpeg says so and ends as if
		// all were well.
		return failure(ctx, fmt.Sprintf("cannot encode the clip %q", p.job.Out), e.encode, encTail)
	case e.got > len(p.job.Sources), errors.Is(e.stream, errChanged):
		return e.stream
	case e.got < len(p.job.Sources):
		if e.decode != nil {
			e.decode = failure(ctx, "cannot decode the stills", e.decode, decTail)
		}
		return p.lostFrame(ctx, links, e.got, e.decode)
	}
	return e.stream
}

// start starts an ffmpeg, which may take as much memory unless that is 0: what is
// decoded comes from anywhere.
func start(cmd *exec.Cmd, memory int64) (err error) {
	if memory > 0 {
		err = process.Start(cmd, memory)
	} else {
		err = cmd.Start()
	}
	if err != nil {
		return &Error{Text: "cannot start ffmpeg", Err: err}
	}
	return nil
}

// pump reads decoded frames, corrects them, fills gaps and writes to the
// encoder. It returns how many frames were decoded.
func (p *Pipeline) pump(ctx context.Context, in *decoder, out io.Writer, progress func(done int)) (int, error) {
	g, gctx := errgroup.WithContext(ctx)
	free := make(chan []uint16, framesAhead)
	full := make(chan []uint16, framesAhead)
	for range framesAhead {
		free <- make([]uint16, p.wideWords())
	}
	g.Go(func() error {
		defer close(full)
		return in.readAll(gctx, free, full)
	})
	got := 0
	g.Go(func() error {
		w := p.newWriter(out)
		for {
			buf, err := next(gctx, full)
			if buf == nil || err != nil {
				return err
			}
			if got >= len(p.job.Sources) {
				got++
				return &Error{Text: "ffmpeg gave more frames than there are stills"}
			}
			if err := p.job.Sources[got].changed(); err != nil {
				return err
			}
			if buf, err = w.frame(got, buf); err != nil {
				return err
			}
			got++
			free <- buf
			progress(got)
		}
	})
	err := g.Wait()
	return got, err
}

// next is what comes out of a channel; nil where it is closed.
func next(ctx context.Context, from <-chan []uint16) ([]uint16, error) {
	select {
	case buf := <-from:
		return buf, nil
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}

// readAll reads all frames, each into memory that is free.
func (d *decoder) readAll(ctx context.Context, free <-chan []uint16, full chan<- []uint16) error {
	for i := 0; ; i++ {
		buf, err := next(ctx, free)
		if err != nil {
			return err
		}
		switch err := d.read(i, buf); {
		case err == io.EOF:
			return nil
		case err != nil:
			return fmt.Errorf("cannot read decoded frames: %w", err)
		}
		select {
		case full <- buf:
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

// readWords fills buf with little-endian words; io.EOF before the first byte.
func readWords(r io.Reader, buf []uint16) error {
	b := asBytes(buf)
	if _, err := io.ReadFull(r, b); err != nil {
		return err
	}
	if !littleEndian {
		for i := range buf {
			buf[i] = binary.LittleEndian.Uint16(b[2*i:])
		}
	}
	return nil
}

// asBytes is the memory of buf seen as bytes.
func asBytes(buf []uint16) []byte {
	return unsafe.Slice((*byte)(unsafe.Pointer(unsafe.SliceData(buf))), 2*len(buf))
}

var littleEndian = func() bool {
	v := []uint16{1}
	return asBytes(v)[0] == 1
}()

// writer corrects frames and writes them to the encoder. It keeps the frame
// before where gaps are to be filled from it.
type writer struct {
	p        *Pipeline
	out      io.Writer
	tone     *corrector
	before   []uint16 // corrected; nil unless gaps are filled
	filled   []uint16
	mixer    *mixer // nil unless frames are mixed
	bytes    []byte
	gaps     map[int]int   // frames missing before source i
	profiles []*conversion // by Source.Profile; nil for frames that need none
	signal   *conversion   // of a wide clip: what the encoder is given
	coded    []uint16      // the frame that signal made
	steady   *steadier     // nil where frames stay
	moved    []uint16      // the frame that steady made
}

func (p *Pipeline) newWriter(out io.Writer) *writer {
	first := p.job.Sources[0]
	srcW, srcH := orientation.Of(first.Orientation).Size(p.srcW, p.srcH)
	w := &writer{p: p, out: out, tone: newCorrector(p.job.Response, p.geo, srcW, srcH), gaps: map[int]int{}}
	space := p.job.ColourSpace()
	w.profiles = []*conversion{nil} // sRGB is as it is
	if space.Wide() {
		w.profiles[0] = toGamut(&icc.SRGB, space.Gamut)
		w.signal, w.coded = toSignal(space, p.job.White()), make([]uint16, p.words())
	}
	for i := range p.job.Profiles {
		w.profiles = append(w.profiles, toGamut(&p.job.Profiles[i], space.Gamut))
	}
	if p.job.Steady != [2]float64{} {
		w.steady, w.moved = newSteadier(p.geo, srcW, srcH), make([]uint16, p.words())
	}
	if p.job.shot() < len(p.job.Sources) {
		w.mixer = newMixer()
	}
	if p.job.GapMode == GapLeave || len(p.job.Gaps) == 0 {
		return w
	}
	for _, g := range p.job.Gaps {
		w.gaps[g.After+1] += g.Count
	}
	w.before = make([]uint16, p.words())
	if p.job.GapMode == GapBlend {
		w.filled, w.mixer = make([]uint16, p.words()), newMixer()
	}
	return w
}

func (p *Pipeline) words() int {
	return pictureWords(p.geo.w, p.geo.h, p.codec.SampleW, p.codec.SampleH)
}

// wideWords is what a frame from the decoder takes, its margin with it.
func (p *Pipeline) wideWords() int {
	g := p.geo
	return pictureWords(g.w+2*g.padX, g.h+2*g.padY, p.codec.SampleW, p.codec.SampleH)
}

func (p *Pipeline) picture(words []uint16) picture {
	return newPicture(words, p.geo.w, p.geo.h, p.codec.SampleW, p.codec.SampleH)
}

// frame corrects and writes source i, and the frames that are missing before
// it. It takes words and gives back a buffer that is free again.
func (w *writer) frame(i int, words []uint16) ([]uint16, error) {
	s, decoded := &w.p.job.Sources[i], words
	if w.steady != nil {
		g := w.p.geo
		words = w.moved
		w.steady.move(w.p.picture(words), newPicture(decoded, g.w+2*g.padX, g.h+2*g.padY, w.p.codec.SampleW, w.p.codec.SampleH), s.Shift, s.Turn)
	}
	now := w.p.picture(words)
	colours := w.profiles[s.Profile]
	if q := w.p.proof; q != nil && !s.Joins {
		q.asShot(now, colours)
	}
	w.tone.correct(now, deflicker.Channels(s.CorrectionEV, s.ColourEV[0], s.ColourEV[1]), s.Fields)
	if colours != nil {
		colours.run(now)
	}
	first, whole := w.join(i, now)
	if whole {
		if err := w.writeAll(first, i, now); err != nil {
			return words, err
		}
	}
	if whole && w.before != nil {
		words, w.before = w.before, words
	}
	if w.steady != nil {
		w.moved = words
		return decoded, nil
	}
	return words, nil
}

// join takes source i into the frame that it goes into, of which first is the first
// source, and tells whether now is the whole of it.
func (w *writer) join(i int, now picture) (first int, whole bool) {
	sources := w.p.job.Sources
	for first = i; sources[first].Joins; {
		first--
	}
	last := w.p.job.lastOf(i)
	if first == last {
		return i, true
	}
	w.mixer.add(now, 1/float32(last-first+1), i == first)
	if i == last {
		w.mixer.take(now)
	}
	return first, i == last
}

// writeAll writes the frame of sources first to last, what is missing before it,
// and as often as it is held.
func (w *writer) writeAll(first, last int, now picture) error {
	if n := w.gaps[first]; n > 0 && first > 0 {
		before := w.p.picture(w.before)
		for k := range n {
			fill := before
			if w.filled != nil {
				fill = w.p.picture(w.filled)
				share := float32(k+1) / float32(n+1)
				w.mixer.add(before, 1-share, true)
				w.mixer.add(now, share, false)
				w.mixer.take(fill)
			}
			if err := w.write(fill, true); err != nil {
				return err
			}
		}
	}
	times := 1
	if first == 0 {
		if err := w.slate(); err != nil {
			return err
		}
		times += w.p.job.HoldFirst
	}
	if last == len(w.p.job.Sources)-1 {
		times += w.p.job.HoldLast
	}
	for range times {
		if err := w.write(now, false); err != nil {
			return err
		}
	}
	return nil
}

// slate writes the slate, if there is one.
func (w *writer) slate() error {
	s := w.p.job.Slate
	if s == nil {
		return nil
	}
	card := w.p.picture(make([]uint16, w.p.words()))
	grey := 1.0
	if white := w.p.job.White(); white > bt2100.WhiteNits {
		grey = srgb.Encode(bt2100.WhiteNits / white) // graphics are no brighter
	}
	if err := s.draw(card, grey); err != nil {
		return err
	}
	for range s.Frames {
		if err := w.write(card, true); err != nil {
			return err
		}
	}
	return nil
}

func (w *writer) write(pic picture, madeUp bool) error {
	if w.p.watch != nil {
		w.p.watch.show(pic)
	}
	if w.p.proof != nil {
		w.p.proof.inClip(pic, madeUp)
	}
	if w.signal != nil {
		copy(w.coded, pic.words)
		pic = w.p.picture(w.coded)
		w.signal.run(pic)
	}
	depth := w.p.codec.Depth
	size := 1
	if depth > 8 {
		size = 2
	}
	n := len(pic.y.pix) + 2*len(pic.cb.pix)
	if w.bytes == nil {
		w.bytes = make([]byte, n*size)
	}
	at := 0
	for _, pl := range []plane{pic.y, pic.cb, pic.cr} {
		dither(w.bytes[at:], pl, depth)
		at += len(pl.pix) * size
	}
	if _, err := w.out.Write(w.bytes); err != nil {
		return errors.Join(errStopped, err)
	}
	return nil
}
