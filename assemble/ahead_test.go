package assemble

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"stillspan/deflicker/measure/jpeg"
)

// A clip is the same whether its stills were decoded ahead, all of them or the first
// alone, or not, and when keeping them has failed.
func TestAhead(t *testing.T) {
	needFFmpeg(t)
	dir := t.TempDir()
	var src []Source
	for i := range 5 {
		path := filepath.Join(dir, fmt.Sprint(i, ".jpg"))
		pictureLike(t, path, 768, 512, "yuvj422p", 4+8*i)
		src = append(src, Source{Path: path, Format: "jpeg", Width: 768, Height: 512, Orientation: 1})
	}
	clip := func(name string, taken []int, fail bool, change func(*Job)) (frames []byte, early int) {
		j := jobFor(filepath.Join(dir, name), src)
		j.Width, j.Codec = 240, "png"
		a := NewAhead(t.Context(), j)
		if a == nil {
			t.Fatal("nothing is decoded ahead")
		}
		defer a.Close()
		for _, i := range taken {
			data, err := os.ReadFile(src[i].Path)
			if err != nil {
				t.Fatal(err)
			}
			per, ok := a.Wants(src[i].Path)
			b := &jpeg.Picture{MaxPixels: 1 << 24}
			if err := b.Reduce(append(make([]byte, 0, len(data)+jpeg.Slack), data...), per); err != nil || !ok {
				t.Fatal(err, ok)
			}
			a.Take(src[i].Path, b)
			if fail {
				a.file.Close()
			}
		}
		for i := range j.Sources {
			j.Sources[i].CorrectionEV = 0.1
		}
		change(&j)
		p, err := Prepare(t.Context(), j)
		if err != nil {
			t.Fatal(err)
		}
		p.UseAhead(a)
		if _, err := p.Run(t.Context(), nil); err != nil {
			t.Fatal(name, err)
		}
		for i := range src {
			b, err := os.ReadFile(filepath.Join(j.Out, fmt.Sprintf("%06d.png", i+1)))
			if err != nil {
				t.Fatal(err)
			}
			frames = append(frames, b...)
		}
		return frames, len(p.early)
	}
	as := func(*Job) {}
	want, _ := clip("none", nil, false, as)
	for _, c := range []struct {
		name  string
		taken []int
		fail  bool
		early int
	}{{"all", []int{3, 0, 4, 1, 2}, false, 5}, {"first", []int{1, 0, 3}, false, 2}, {"failed", []int{0, 1, 2, 3, 4}, true, 0}} {
		got, early := clip(c.name, c.taken, c.fail, as)
		if early != c.early || !bytes.Equal(got, want) {
			t.Errorf("%s: %d frames were decoded ahead, want %d; the same clip: %v", c.name, early, c.early, bytes.Equal(got, want))
		}
	}
	if _, early := clip("other", []int{0, 1, 2, 3, 4}, false, func(j *Job) { j.Width = 200 }); early != 0 {
		t.Errorf("%d frames of another size were taken", early)
	}
	if left, _ := filepath.Glob(filepath.Join(dir, ".*")); len(left) > 0 {
		t.Errorf("left behind: %q", left)
	}
}
