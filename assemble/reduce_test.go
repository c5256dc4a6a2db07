package assemble

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"stillspan/internal/photographs"
)

// pictureLike has ffmpeg draw a still that has what photographs have: edges of all
// directions, gradients, colours and a sensor's noise, in planes of pixFmt.
func pictureLike(t testing.TB, path string, w, h int, pixFmt string, noise int) {
	t.Helper()
	out, err := exec.Command("ffmpeg", "-v", "error", "-f", "lavfi", "-i", fmt.Sprintf("testsrc2=s=%dx%d:d=1:r=1,gblur=1.5,scale=out_range=pc:out_color_matrix=bt601,format=%s,noise=alls=%d:all_seed=3", w, h, pixFmt, noise),
		"-frames:v", "1", "-strict", "unofficial", "-q:v", "3", "-y", path).CombinedOutput()
	if err != nil {
		t.Fatalf("%v: %s", err, out)
	}
}

// decoded are the words of a still as they reach the correction, decoded at a
// reduced size or in full.
func decoded(t testing.TB, j Job, reduced bool) []uint16 {
	t.Helper()
	p, err := plan(t.Context(), j)
	if err != nil {
		t.Fatal(err)
	}
	if reduced != (p.reduced != nil) {
		if reduced {
			t.Fatal("the still is not reduced")
		}
		p.reduced, p.pipedAs = nil, ""
	}
	dir := t.TempDir()
	if err := p.link(dir); err != nil {
		t.Fatal(err)
	}
	d, err := p.startDecoders(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	buf := make([]uint16, p.wideWords())
	if err := d.read(0, buf); err != nil {
		t.Fatal(err, d.tail.Last())
	}
	d.frames.close()
	_, _ = d.wait(), d.fed()
	return buf
}

// apart is how far two planes lie apart: their mean difference, parts of white, and
// the shift between them, pixels across and down, of the least squares.
func apart(a, b plane) (mean, dx, dy float64) {
	var sxx, sxy, syy, sxd, syd float64
	for y := 1; y < a.h-1; y++ {
		for x := 1; x < a.w-1; x++ {
			gx := float64(int(a.row(y)[x+1])-int(a.row(y)[x-1])) / 2
			gy := float64(int(a.row(y + 1)[x])-int(a.row(y - 1)[x])) / 2
			d := float64(int(b.row(y)[x]) - int(a.row(y)[x]))
			mean += math.Abs(d)
			sxx, sxy, syy, sxd, syd = sxx+gx*gx, sxy+gx*gy, syy+gy*gy, sxd+gx*d, syd+gy*d
		}
	}
	det := sxx*syy - sxy*sxy
	if det > 0 {
		dx, dy = (syy*sxd-sxy*syd)/det, (sxx*syd-sxy*sxd)/det
	}
	return mean / float64((a.w-2)*(a.h-2)) / (255 << 8), dx, dy
}

// Stills that are reduced give the frames that all their pixels give: no more than
// 1/255 off in the mean, in no plane, half or corner shifted by a tenth of a pixel.
func TestReduced(t *testing.T) {
	needFFmpeg(t)
	dir := t.TempDir()
	for _, c := range []struct {
		pixFmt                   string
		w, h, orientation, width int
		per                      int // 0 where it is not to be reduced
	}{
		{"yuvj422p", 1536, 1056, 1, 480, 4},
		{"yuvj422p", 1536, 1056, 6, 420, 4},
		{"yuvj420p", 1536, 1056, 1, 300, 2},
		{"yuvj420p", 1536, 1056, 8, 210, 2},
		{"yuvj420p", 1536, 1056, 3, 150, 1},
		{"yuvj444p", 1536, 1056, 2, 480, 4},
		{"yuvj444p", 1536, 1056, 5, 210, 2},
		{"gray", 1536, 1056, 1, 480, 4},
		{"gray", 1536, 1056, 7, 210, 2},
		{"yuvj422p", 1536, 1056, 1, 800, 0},
		{"yuvj420p", 1535, 1055, 1, 480, 0},
		{"yuvj420p", 1540, 1054, 1, 480, 0},
	} {
		name := fmt.Sprintf("%s of %dx%d, orientation %d, to %d", c.pixFmt, c.w, c.h, c.orientation, c.width)
		still := filepath.Join(dir, "still.jpg")
		pictureLike(t, still, c.w, c.h, c.pixFmt, 18)
		for _, aspect := range []string{"source", "3:2"} {
			j := jobFor(filepath.Join(dir, "clip.mp4"), []Source{{Path: still, Format: "jpeg", Width: c.w, Height: c.h, Orientation: c.orientation}})
			j.Aspect, j.Width = aspect, c.width
			p, err := plan(t.Context(), j)
			if err != nil {
				t.Fatal(err)
			}
			if c.per == 0 && p.reduced == nil {
				continue
			}
			if p.reduced == nil || p.reduced.per != c.per {
				t.Errorf("%s, %s: reduced by %+v, want %d eighths", name, aspect, p.reduced, c.per)
				continue
			}
			compare(t, name+", "+aspect, p, decoded(t, j, true), decoded(t, j, false))
		}
	}
}

func compare(t *testing.T, name string, p *Pipeline, reduced, full []uint16) {
	t.Helper()
	a, b := p.picture(full), p.picture(reduced)
	for i, planes := range [][2]plane{{a.y, b.y}, {a.cb, b.cb}, {a.cr, b.cr}} {
		if i > 0 && p.reduced.samplingX == 0 {
			continue
		}
		mean, dx, dy := apart(planes[0], planes[1])
		t.Logf("%s, plane %d: %.2f codes, shift %.3f, %.3f", name, i, 255*mean, dx, dy)
		if mean > 1.0/255 || math.Abs(dx) > 0.1 || math.Abs(dy) > 0.1 {
			t.Errorf("%s, plane %d: %.2f codes, shift %.3f, %.3f", name, i, 255*mean, dx, dy)
		}
	}
}

// Of a sequence that is reduced, a still of another kind comes by way of ffmpeg,
// a damaged one is named and shown, and one without a picture is named and ends
// the work.
func TestReducedStills(t *testing.T) {
	needFFmpeg(t)
	dir := t.TempDir()
	var src []Source
	for i := range 5 {
		path := filepath.Join(dir, fmt.Sprintf("%d it's.jpg", i))
		pictureLike(t, path, 768, 512, "yuvj422p", 10)
		src = append(src, Source{Path: path, Format: "jpeg", Width: 768, Height: 512, Orientation: 1})
	}
	writeStill(t, src[1].Path, 768, 512, func(x, y int) color.NRGBA { return color.NRGBA{uint8(x / 4), uint8(y / 2), 90, 255} }) // 4:2:0
	data, err := os.ReadFile(src[2].Path)
	if err != nil {
		t.Fatal(err)
	}
	copy(data[len(data)*3/4:], bytes.Repeat([]byte{0xf7, 0xfe}, 20))
	if err := os.WriteFile(src[2].Path, data, 0o600); err != nil {
		t.Fatal(err)
	}
	j := jobFor(filepath.Join(dir, "images"), src)
	j.Width, j.Codec = 240, "png"
	p, err := Prepare(t.Context(), j)
	if err != nil || p.reduced == nil {
		t.Fatal(p, err)
	}
	clip, err := p.Run(t.Context(), nil)
	if err != nil || len(clip.Problems) != 1 || !strings.Contains(clip.Problems[0], src[2].Path) || !strings.Contains(clip.Problems[0], "frame 3") {
		t.Fatalf("%+v, %v", clip, err)
	}
	if got := lumas(t, clip.File); math.Abs(got[0]-got[4]) > 0.5 || math.Abs(got[1]-104) > 3 {
		t.Errorf("means of frames: %.1f", got)
	}
	for _, bad := range []string{"", "no picture", string(data[:150])} {
		if err := os.WriteFile(src[3].Path, []byte(bad), 0o600); err != nil {
			t.Fatal(err)
		}
		j.Out = filepath.Join(dir, "more")
		p, err := Prepare(t.Context(), j)
		if err != nil || p.reduced == nil {
			t.Fatal(p, err)
		}
		if _, err := p.Run(t.Context(), nil); err == nil || !strings.Contains(err.Error(), src[3].Path) || !strings.Contains(err.Error(), "frame 4") {
			t.Errorf("%d bytes: %v", len(bad), err)
		}
		if _, err := os.Stat(j.Out); err == nil {
			t.Error("a clip is left")
		}
	}
}

// The same of photographs, to a bit less than half and a quarter of their size.
func TestReducedPhotographs(t *testing.T) {
	needFFmpeg(t)
	for _, set := range []string{"seneca-original", "brighton-original"} {
		names, _ := filepath.Glob(filepath.Join(photographs.Folder(t, set), "*.[jJ]*"))
		for _, name := range names[:min(len(names), 2)] {
			f, err := os.Open(name)
			if err != nil {
				t.Fatal(err)
			}
			c, _, err := image.DecodeConfig(f)
			f.Close()
			if err != nil {
				t.Fatal(err)
			}
			for _, by := range []float64{1.3, 2.6, 5.2} {
				j := jobFor(filepath.Join(t.TempDir(), "clip.mp4"), []Source{{Path: name, Format: "jpeg", Width: c.Width, Height: c.Height, Orientation: 1}})
				j.Width = int(float64(c.Width)/by/1.25) &^ 1
				if p, err := plan(t.Context(), j); err != nil || p.reduced == nil {
					t.Logf("%s of %dx%d is not reduced to %d: %v", name, c.Width, c.Height, j.Width, err)
				} else {
					compare(t, filepath.Base(name), p, decoded(t, j, true), decoded(t, j, false))
				}
			}
		}
	}
}
