package assemble

import (
	"bytes"
	"strconv"
	"sync"
)

// counting tells how far the work is: half of it is a frame's way to the encoder,
// which holds back some sixty, and half its end there, which ffmpeg says on its
// standard output. The last frame counts once the clip is whole.
type counting struct {
	mu                sync.Mutex
	n, frames         int // stills, and frames of the clip
	in, out, reported int // stills on their way, those encoded, and what was said
	line              []byte
	progress          func(done, total int) // nil for nobody
}

func (p *Pipeline) counting(progress func(done, total int)) *counting {
	return &counting{n: len(p.job.Sources), frames: p.total, progress: progress}
}

// given is called when so many stills were handed on.
func (c *counting) given(done int) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.in = done
	c.report((c.in + c.out) / 2)
}

func (c *counting) whole() {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.say(c.n)
}

// report says that done stills are, unless it was said or they are all.
func (c *counting) report(done int) { c.say(min(done, c.n-1)) }

func (c *counting) say(done int) {
	if c.progress != nil && done > c.reported {
		c.reported = done
		c.progress(done, c.n)
	}
}

// maxLine bounds a line of what ffmpeg says.
const maxLine = 256

// Write takes what ffmpeg's -progress writes: lines of a name, "=" and a value,
// "frame" among them. It never fails.
func (c *counting) Write(b []byte) (int, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	for _, char := range b {
		if char != '\n' {
			if len(c.line) < maxLine {
				c.line = append(c.line, char)
			}
			continue
		}
		if value, ok := bytes.CutPrefix(c.line, []byte("frame=")); ok {
			if frames, err := strconv.Atoi(string(bytes.TrimSpace(value))); err == nil && frames >= 0 {
				c.out = int(min(int64(frames)*int64(c.n)/int64(c.frames), int64(c.n)))
				c.report((c.in + c.out) / 2)
			}
		}
		c.line = c.line[:0]
	}
	return len(b), nil
}
