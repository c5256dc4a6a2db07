package assemble

import (
	"fmt"
	"path/filepath"
	"strings"
	"testing"
)

// What is said of the progress goes up, counts what the encoder holds back by half,
// and is all only once the parts are whole.
func TestProgress(t *testing.T) {
	needFFmpeg(t)
	dir := t.TempDir()
	src := stills(t, dir, 4)
	for len(src) < 60 {
		src = append(src, src[:4]...)
	}
	for _, segment := range []int{0, 25} {
		j := jobFor(filepath.Join(dir, fmt.Sprint(segment, ".mp4")), src)
		j.SegmentFrames, j.GapMode, j.Gaps = segment, GapHold, []Gap{{After: 10, Count: 30}}
		p, err := Prepare(t.Context(), j)
		if err != nil {
			t.Fatal(err)
		}
		var said []int
		if _, err := p.Run(t.Context(), func(done, total int) {
			if total != len(src) {
				t.Errorf("of %d", total)
			}
			said = append(said, done)
		}); err != nil {
			t.Fatal(err)
		}
		for i := 1; i < len(said); i++ {
			if said[i] <= said[i-1] {
				t.Errorf("%d after %d", said[i], said[i-1])
			}
		}
		if len(said) < 20 || said[0] > 1 || said[len(said)-1] != len(src) {
			t.Errorf("said %v", said)
		}
	}
	var last int
	c := &counting{n: 10, frames: 40, progress: func(done, _ int) { last = done }}
	for _, step := range []struct {
		in   int
		out  string
		want int
	}{{in: 10, want: 5}, {out: "fps=3\nframe=2", want: 5}, {out: "0\nframe", want: 7}, {out: "=x\nframe=-8\n" + strings.Repeat("y", 1<<16) + "\n", want: 7}, {out: "frame= 4000\nprogress=end\n", want: 9}} {
		if step.in > 0 {
			c.given(step.in)
		}
		_, _ = c.Write([]byte(step.out))
		if last != step.want || len(c.line) > maxLine {
			t.Errorf("%+v: %d, %d bytes kept", step, last, len(c.line))
		}
	}
	if c.whole(); last != 10 {
		t.Errorf("whole at %d", last)
	}
}
