package review

import (
	"bytes"
	"container/list"
	"context"
	"image"
	"image/jpeg"
	"sync"

	"stillspan/assemble/shoot"
	"stillspan/deflicker/measure"
	"stillspan/ingest"
)

// pictures makes frames small for the browser and keeps the last of them,
// bounded in bytes. Around the frame last asked for they are made ahead.
type pictures struct {
	seqs  []ingest.Sequence
	limit int64

	mu     sync.Mutex
	more   *sync.Cond
	kept   map[frameKey]*list.Element // of *made
	order  *list.List                 // the last used first
	bytes  int64
	making map[frameKey]chan struct{}
	at     frameKey // last asked for
	step   int      // 1 or -1: the way it goes
	paused int      // above 0 while nothing is made ahead
}

type frameKey struct {
	seq, frame int
	sharp      bool
}

type made struct {
	key  frameKey
	jpeg []byte
	err  error
}

func newPictures(seqs []ingest.Sequence, limit int64) *pictures {
	p := &pictures{
		seqs: seqs, limit: limit, kept: map[frameKey]*list.Element{}, order: list.New(),
		making: map[frameKey]chan struct{}{}, at: frameKey{seq: -1}, step: 1,
	}
	p.more = sync.NewCond(&p.mu)
	return p
}

// get is a frame as JPEG. The error is what is wrong with the still.
func (p *pictures) get(ctx context.Context, k frameKey) ([]byte, error) {
	p.mu.Lock()
	if !k.sharp {
		if p.at.seq == k.seq && p.at.frame != k.frame {
			p.step = 1
			if k.frame < p.at.frame {
				p.step = -1
			}
		}
		p.at = k
		p.more.Broadcast()
	}
	for {
		if e, ok := p.kept[k]; ok {
			p.order.MoveToFront(e)
			p.mu.Unlock()
			m := e.Value.(*made)
			return m.jpeg, m.err
		}
		wait, busy := p.making[k]
		if !busy {
			break
		}
		p.mu.Unlock()
		select {
		case <-wait:
		case <-ctx.Done():
			return nil, ctx.Err()
		}
		p.mu.Lock()
	}
	p.begin(k)
	p.mu.Unlock()
	return p.make(ctx, k)
}

// begin notes that a picture is being made; p.mu is held.
func (p *pictures) begin(k frameKey) { p.making[k] = make(chan struct{}) }

// make makes a picture that was begun, and keeps it.
func (p *pictures) make(ctx context.Context, k frameKey) ([]byte, error) {
	m := &made{key: k}
	m.jpeg, m.err = p.fresh(ctx, k)
	p.mu.Lock()
	defer p.mu.Unlock()
	close(p.making[k])
	delete(p.making, k)
	if ctx.Err() != nil {
		return nil, ctx.Err()
	}
	p.kept[k] = p.order.PushFront(m)
	p.bytes += m.size()
	for p.bytes > p.limit && p.order.Len() > 1 {
		e := p.order.Back()
		old := p.order.Remove(e).(*made)
		delete(p.kept, old.key)
		p.bytes -= old.size()
	}
	return m.jpeg, m.err
}

// size counts what a picture takes, with what is kept about it.
func (m *made) size() int64 { return int64(cap(m.jpeg)) + 512 }

// sharpSide is the longer side of a picture that is looked at closely.
const sharpSide = 1600

func (p *pictures) fresh(ctx context.Context, k frameKey) ([]byte, error) {
	f := &p.seqs[k.seq].Frames[k.frame]
	side, quality := quickSide(f), 78
	if k.sharp {
		side, quality = sharpSide, 86
	}
	img, err := measure.Thumb(ctx, shoot.Input(f), side)
	if err != nil {
		return nil, err
	}
	if n, ok := img.(*image.NRGBA); ok { // stills are opaque, and the encoder knows this form
		img = &image.RGBA{Pix: n.Pix, Stride: n.Stride, Rect: n.Rect}
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, img, &jpeg.Options{Quality: quality}); err != nil {
		return nil, err
	}
	return bytes.Clone(b.Bytes()), nil
}

// quickSide is the longer side of pictures for scrubbing: what a large JPEG
// gives without its full decode, an eighth of its own, and never more than a
// small still holds.
func quickSide(f *ingest.Frame) int {
	const least, most, small = 360, 960, 4 << 20
	long := max(f.Facts.Width, f.Facts.Height)
	if f.Facts.Width*f.Facts.Height <= small {
		return max(min(long, most), 1)
	}
	return min(max(long/8, least), most)
}

// readAhead makes pictures around the one last asked for until ctx ends and
// wake is called.
func (p *pictures) readAhead(ctx context.Context) {
	for {
		p.mu.Lock()
		k, ok := p.next()
		for !ok && ctx.Err() == nil {
			p.more.Wait()
			k, ok = p.next()
		}
		if ctx.Err() != nil {
			p.mu.Unlock()
			return
		}
		p.begin(k)
		p.mu.Unlock()
		p.make(ctx, k)
	}
}

// wake has readAhead look whether its context has ended.
func (p *pictures) wake() {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.more.Broadcast()
}

// pause leaves the machine to what somebody waits for, until the end is called.
func (p *pictures) pause() (end func()) {
	add := func(n int) {
		p.mu.Lock()
		defer p.mu.Unlock()
		p.paused += n
		p.more.Broadcast()
	}
	add(1)
	return func() { add(-1) }
}

// next is the next picture to be made ahead: those in the way it goes, as far as
// three quarters of the room, then some behind. p.mu is held.
func (p *pictures) next() (frameKey, bool) {
	if p.at.seq < 0 || p.paused > 0 {
		return frameKey{}, false
	}
	room := int64(64)
	if n := int64(p.order.Len()); n > 8 && p.bytes > 0 {
		room = p.limit * 3 / 4 / max(1, p.bytes/n)
	}
	n := len(p.seqs[p.at.seq].Frames)
	for _, part := range []struct{ step, count int }{{p.step, int(room * 7 / 8)}, {-p.step, int(room / 8)}} {
		for d := 1; d <= part.count; d++ {
			k := frameKey{seq: p.at.seq, frame: p.at.frame + d*part.step}
			if k.frame < 0 || k.frame >= n {
				break
			}
			if p.kept[k] == nil && p.making[k] == nil {
				return k, true
			}
		}
	}
	return frameKey{}, false
}
