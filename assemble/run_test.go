package assemble

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"stillspan/deflicker"
	"stillspan/ingest/meta"
	"stillspan/internal/codec"
	"stillspan/internal/orientation"
	"stillspan/internal/playback"
)

const stillW, stillH = 96, 64

// Few and small stills are decoded side by side here as many and large ones are.
func TestMain(m *testing.M) {
	sharePixels = 1
	os.Exit(m.Run())
}

// needFFmpeg skips where the tools are not installed.
func needFFmpeg(t *testing.T) {
	t.Helper()
	if err := findTools(); err != nil {
		t.Skip(err)
	}
}

// writeStill draws with at and writes a JPEG or PNG by the name's ending.
func writeStill(t testing.TB, name string, w, h int, at func(x, y int) color.NRGBA) {
	t.Helper()
	m := image.NewNRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			m.SetNRGBA(x, y, at(x, y))
		}
	}
	f, err := os.Create(name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if strings.HasSuffix(name, ".png") {
		err = png.Encode(f, m)
	} else {
		err = jpeg.Encode(f, m, &jpeg.Options{Quality: 100})
	}
	if err != nil {
		t.Fatal(err)
	}
}

func grey(v uint8) func(x, y int) color.NRGBA {
	return func(int, int) color.NRGBA { return color.NRGBA{v, v, v, 255} }
}

// stills makes n plain frames, each brighter than the last by 4 codes.
func stills(t testing.TB, dir string, n int) []Source {
	t.Helper()
	out := make([]Source, n)
	for i := range n {
		name := filepath.Join(dir, fmt.Sprintf("P%04d.jpg", i))
		writeStill(t, name, stillW, stillH, grey(uint8(60+4*i)))
		out[i] = Source{Path: name, Format: "jpeg", Width: stillW, Height: stillH, Orientation: 1}
	}
	return out
}

func jobFor(out string, s []Source) Job {
	j := Job{Sources: s, Options: DefaultOptions()}
	j.Out, j.Aspect = out, "source"
	return j
}

func mustRun(t testing.TB, j Job) Clip {
	t.Helper()
	p, err := Prepare(t.Context(), j)
	if err != nil {
		t.Fatal(err)
	}
	c, err := p.Run(t.Context(), nil)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// onlyHolds fails when anything but the named files lies in dir.
func onlyHolds(t testing.TB, dir string, names ...string) {
	t.Helper()
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, e := range entries {
		got = append(got, e.Name())
	}
	if strings.Join(got, " ") != strings.Join(names, " ") {
		t.Errorf("%s holds %q, want %q", dir, got, names)
	}
}

// planes decodes a clip's first frame to its own code values, 8 bits.
func planes(t testing.TB, clip string, w, h int) (y, cb, cr []byte) {
	t.Helper()
	out, err := exec.Command("ffmpeg", "-v", "error", "-i", "file:"+clip, "-frames:v", "1", "-pix_fmt", "yuv444p", "-sws_flags", "accurate_rnd",
		"-f", "rawvideo", "-").Output()
	if err != nil || len(out) != 3*w*h {
		t.Fatalf("%s: %d bytes, %v", clip, len(out), err)
	}
	return out[:w*h], out[w*h : 2*w*h], out[2*w*h:]
}

// TestCodecs writes a clip with every codec in every container it is offered
// in, and has ffprobe say whether it came out as ordered: Run fails otherwise.
func TestCodecs(t *testing.T) {
	needFFmpeg(t)
	dir := t.TempDir()
	src := stills(t, dir, 5)
	// The names ffprobe gives, and the four-character codes: Apple's for
	// ProRes and HEVC in QuickTime from memory.
	tags := map[string]string{"prores-hq": "apch", "prores-4444": "ap4h", "h265": "hvc1", "h264": "avc1", "dnxhr-hq": "AVdh"}
	for _, c := range codec.Codecs {
		name := c.Name
		if ok, _ := hasEncoder(c.Encoder); !ok {
			t.Logf("no encoder %s here", c.Encoder)
			continue
		}
		exts := c.Exts
		if c.Image != "" {
			exts = []string{""}
		}
		for _, ext := range exts {
			t.Run(name+ext, func(t *testing.T) {
				t.Parallel()
				s := src
				if c.Probe == "dnxhd" {
					s = nil // its smallest frame is larger
					for i := range 5 {
						p := filepath.Join(t.TempDir(), fmt.Sprint(i, ".jpg"))
						writeStill(t, p, 320, 256, grey(uint8(60+4*i)))
						s = append(s, Source{Path: p, Format: "jpeg", Width: 320, Height: 256, Orientation: 1})
					}
				}
				out := filepath.Join(t.TempDir(), "clip"+ext)
				j := jobFor(out, s)
				j.Codec, j.Rate = name, playback.Rate{Num: 24000, Den: 1001}
				clip := mustRun(t, j)
				if !clip.Verified || clip.Frames != 5 || clip.Rate != (playback.Rate{Num: 24000, Den: 1001}) || clip.File != out || clip.Bytes == 0 {
					t.Errorf("%+v", clip)
				}
				onlyHolds(t, filepath.Dir(out), filepath.Base(out))
				if want := tags[name]; want != "" && ext == ".mov" {
					got, err := exec.Command("ffprobe", "-v", "error", "-show_entries", "stream=codec_tag_string", "-of", "csv=p=0", out).Output()
					if err != nil || strings.TrimSpace(string(got)) != want {
						t.Errorf("tag %q, want %q, %v", got, want, err)
					}
				}
			})
		}
	}
}

// TestPatches puts known sRGB colours through the whole pipeline; the clip must
// hold the codes of ITU-R BT.709-6 for them: E'Y = 0.2126 R + 0.7152 G +
// 0.0722 B, 8-bit limited range.
func TestPatches(t *testing.T) {
	needFFmpeg(t)
	const side = 32
	colours := []color.NRGBA{
		{0, 0, 0, 255}, {255, 255, 255, 255}, {128, 128, 128, 255}, {200, 30, 30, 255}, {30, 200, 30, 255}, {30, 30, 200, 255},
		{255, 255, 0, 255}, {0, 255, 255, 255}, {230, 170, 140, 255},
	}
	w, h := side*len(colours), side
	for _, format := range []string{"jpeg", "png"} {
		for _, ev := range []float64{0, 0.3} {
			dir := t.TempDir()
			name := filepath.Join(dir, "p."+format)
			writeStill(t, name, w, h, func(x, _ int) color.NRGBA { return colours[x/side] })
			out := filepath.Join(dir, "clip.mp4")
			j := jobFor(out, []Source{{Path: name, Format: format, Width: w, Height: h, Orientation: 1, CorrectionEV: ev}})
			j.Quality = 1
			mustRun(t, j)
			y, cb, cr := planes(t, out, w, h)
			for i, c := range colours {
				ch := func(v uint8) float64 { return (*deflicker.Response)(nil).Tone(0, float64(v)/255, ev) }
				r, g, b := ch(c.R), ch(c.G), ch(c.B)
				l := 0.2126*r + 0.7152*g + 0.0722*b
				want := [3]float64{16 + 219*l, 128 + 224*(b-l)/1.8556, 128 + 224*(r-l)/1.5748}
				for k, p := range [][]byte{y, cb, cr} {
					sum := 0.0
					for row := 12; row < 20; row++ {
						for x := range 8 {
							sum += float64(p[row*w+i*side+12+x]) / 64
						}
					}
					if math.Abs(sum-want[k]) > 1.5 {
						t.Errorf("%s, %g EV, colour %v, plane %d: mean %.2f, want %.2f", format, ev, c, k, sum, want[k])
					}
				}
			}
		}
	}
}

// TestOrientations: each still is stored so that its EXIF orientation (EXIF
// 2.32, tag 0x0112) brings the same picture upright: red upper left, green
// upper right, blue lower left, white lower right.
func TestOrientations(t *testing.T) {
	needFFmpeg(t)
	const w, h = 96, 64 // upright
	upright := func(x, y int) color.NRGBA {
		return map[[2]bool]color.NRGBA{
			{false, false}: {255, 0, 0, 255}, {true, false}: {0, 255, 0, 255}, {false, true}: {0, 0, 255, 255}, {true, true}: {255, 255, 255, 255},
		}[[2]bool{x >= w/2, y >= h/2}]
	}
	// Where a stored pixel lies when upright, by what the 0th row and column
	// are in the standard's table.
	place := []func(x, y int) (int, int){
		1: func(x, y int) (int, int) { return x, y },
		2: func(x, y int) (int, int) { return w - 1 - x, y },
		3: func(x, y int) (int, int) { return w - 1 - x, h - 1 - y },
		4: func(x, y int) (int, int) { return x, h - 1 - y },
		5: func(x, y int) (int, int) { return y, x },
		6: func(x, y int) (int, int) { return w - 1 - y, x },
		7: func(x, y int) (int, int) { return w - 1 - y, h - 1 - x },
		8: func(x, y int) (int, int) { return y, h - 1 - x },
	}
	for o := 1; o <= 8; o++ {
		t.Run(fmt.Sprint(o), func(t *testing.T) {
			t.Parallel()
			dir := t.TempDir()
			sw, sh := orientation.Of(o).Size(w, h)
			name := filepath.Join(dir, "p.png")
			writeStill(t, name, sw, sh, func(x, y int) color.NRGBA { return upright(place[o](x, y)) })
			out := filepath.Join(dir, "clip.mp4")
			clip := mustRun(t, jobFor(out, []Source{{Path: name, Format: "png", Width: sw, Height: sh, Orientation: o}}))
			if clip.Width != w || clip.Height != h {
				t.Fatalf("clip is %dx%d", clip.Width, clip.Height)
			}
			readClip(t, out, 2, 2, func(_ int, rgb []byte) {
				for i, want := range []color.NRGBA{{255, 0, 0, 255}, {0, 255, 0, 255}, {0, 0, 255, 255}, {255, 255, 255, 255}} {
					for k, v := range []uint8{want.R, want.G, want.B} {
						if d := int(v) - int(rgb[3*i+k]); d < -40 || d > 40 {
							t.Errorf("corner %d is %v, want %v", i, rgb[3*i:3*i+3], want)
							break
						}
					}
				}
			})
		})
	}
}

// lumas is the mean sRGB grey of each frame of a clip.
func lumas(t *testing.T, clip string) []float64 {
	t.Helper()
	var out []float64
	readClip(t, clip, 8, 8, func(_ int, rgb []byte) {
		sum := 0
		for _, v := range rgb {
			sum += int(v)
		}
		out = append(out, float64(sum)/float64(len(rgb)))
	})
	return out
}

func TestGaps(t *testing.T) {
	needFFmpeg(t)
	dir := t.TempDir()
	var src []Source
	for i, v := range []uint8{60, 180, 180} {
		name := filepath.Join(dir, fmt.Sprint(i, ".jpg"))
		writeStill(t, name, stillW, stillH, grey(v))
		src = append(src, Source{Path: name, Format: "jpeg", Width: stillW, Height: stillH, Orientation: 1})
	}
	// IEC 61966-2-1: codes 60 and 180 are 0.04519 and 0.45641 in linear light;
	// thirds between them are 0.18226 and 0.31934, codes 118.3 and 153.2.
	for mode, want := range map[GapMode][]float64{
		GapLeave: {60, 180, 180},
		GapHold:  {60, 60, 60, 180, 180},
		GapBlend: {60, 118.3, 153.2, 180, 180},
	} {
		j := jobFor(filepath.Join(dir, string(mode)), src)
		j.GapMode, j.Gaps, j.Codec = mode, []Gap{{After: 0, Count: 2}}, "png"
		clip := mustRun(t, j)
		if clip.Filled != len(want)-3 || clip.Frames != len(want) {
			t.Errorf("%s: %d frames, %d filled", mode, clip.Frames, clip.Filled)
		}
		for i, v := range lumas(t, clip.File) {
			if math.Abs(v-want[i]) > 1 {
				t.Errorf("%s: frame %d is %.1f, want %.1f", mode, i, v, want[i])
			}
		}
	}
}

// Names that mislead shells, option parsers, sequence patterns and lists, for
// stills and clip.
func TestAwkwardNames(t *testing.T) {
	needFFmpeg(t)
	dir := filepath.Join(t.TempDir(), "a folder, it's 100%d \"odd\"\n-é日")
	if err := os.Mkdir(dir, 0o777); err != nil {
		t.Fatal(err)
	}
	t.Chdir(dir)
	var src []Source
	for i, name := range []string{"-y.jpg", "%04d.jpg", "it's.jpg", "new\nline.jpg", "日本 é.jpg", "http:x.jpg", "*?.jpg"} {
		writeStill(t, name, stillW, stillH, grey(uint8(60+20*i)))
		src = append(src, Source{Path: name, Format: "jpeg", Width: stillW, Height: stillH, Orientation: 1})
	}
	for _, out := range []string{"-clip %d's é.mp4", "images %03d"} {
		j := jobFor(out, src)
		j.SegmentFrames = 4
		if !strings.HasSuffix(out, ".mp4") {
			j.Codec = "png"
		}
		clip := mustRun(t, j)
		if clip.File != out || clip.Frames != len(src) {
			t.Errorf("%+v", clip)
		}
		for i, v := range lumas(t, out) {
			if math.Abs(v-float64(60+20*i)) > 2 {
				t.Errorf("%q frame %d is %.1f", out, i, v)
			}
		}
	}
}

// A still that cannot be decoded is named, and nothing is left behind.
func TestUndecodable(t *testing.T) {
	needFFmpeg(t)
	dir, outDir := t.TempDir(), t.TempDir()
	for i, data := range map[int]string{2: "no picture", 3: "", 5: "no picture"} {
		src := stills(t, dir, 6)
		if err := os.WriteFile(src[i].Path, []byte(data), 0o666); err != nil {
			t.Fatal(err)
		}
		p, err := Prepare(t.Context(), jobFor(filepath.Join(outDir, "clip.mp4"), src))
		if err != nil {
			t.Fatal(err)
		}
		_, err = p.Run(t.Context(), nil)
		var e *Error
		if !errors.As(err, &e) || !strings.Contains(e.Text, src[i].Path) {
			t.Errorf("still %d: %v", i, err)
		}
		onlyHolds(t, outDir)
	}
}

// A still that ffmpeg decodes and finds fault with is named.
func TestComplaints(t *testing.T) {
	needFFmpeg(t)
	dir := t.TempDir()
	s := stills(t, dir, 4)
	bad := filepath.Join(dir, "bad.jpg")
	writeStill(t, bad, s[0].Width, s[0].Height, func(x, y int) color.NRGBA { v := uint8(x*y + x); return color.NRGBA{v, v, v, 255} })
	data, err := os.ReadFile(bad)
	if err != nil {
		t.Fatal(err)
	}
	copy(data[len(data)/2:], bytes.Repeat([]byte{0xf7, 0xfe}, 20))
	if err := os.WriteFile(bad, data, 0o644); err != nil {
		t.Fatal(err)
	}
	s[2].Path = bad
	c := mustRun(t, jobFor(filepath.Join(t.TempDir(), "clip.mp4"), s))
	if !c.Verified || len(c.Problems) != 1 || !strings.Contains(c.Problems[0], "bad.jpg") || !strings.Contains(c.Problems[0], "frame 3") {
		t.Errorf("%+v", c)
	}
}

func TestCancel(t *testing.T) {
	needFFmpeg(t)
	dir, outDir := t.TempDir(), t.TempDir()
	src := stills(t, dir, 4)
	for len(src) < 400 {
		src = append(src, src[:4]...)
	}
	p, err := Prepare(t.Context(), jobFor(filepath.Join(outDir, "clip.mp4"), src))
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	last := 0
	_, err = p.Run(ctx, func(done, _ int) {
		if last = done; done == 5 {
			cancel()
		}
	})
	if !errors.Is(err, context.Canceled) || last > len(src)/2 {
		t.Errorf("error %v after %d frames, want the context's soon after the fifth", err, last)
	}
	onlyHolds(t, outDir)
}

// A disk that fills up gets one clear word and leaves nothing.
func TestDiskFull(t *testing.T) {
	needFFmpeg(t)
	disk := t.TempDir()
	if out, err := exec.Command("mount", "-t", "tmpfs", "-o", "size=64k", "tmpfs", disk).CombinedOutput(); err != nil {
		t.Skipf("cannot mount a small disk here: %s", out)
	}
	t.Cleanup(func() { _ = exec.Command("umount", disk).Run() })
	var src []Source
	for i := range 40 {
		name := filepath.Join(t.TempDir(), fmt.Sprint(i, ".jpg"))
		writeStill(t, name, stillW, stillH, func(x, y int) color.NRGBA {
			v := uint8((x*7919 + y*104729 + i*1299709) >> 3)
			return color.NRGBA{v, v * 3, v * 7, 255}
		})
		src = append(src, Source{Path: name, Format: "jpeg", Width: stillW, Height: stillH, Orientation: 1})
	}
	j := jobFor(filepath.Join(disk, "clip.mp4"), src)
	j.Quality = 1
	p, err := Prepare(t.Context(), j)
	if err != nil {
		t.Fatal(err)
	}
	_, err = p.Run(t.Context(), nil)
	if !errors.Is(err, syscall.ENOSPC) || !strings.Contains(err.Error(), "disk is full") {
		t.Errorf("error %v", err)
	}
	onlyHolds(t, disk)
	j.Sources = nil
	for range 200 {
		j.Sources = append(j.Sources, src...)
	}
	if _, err := Prepare(t.Context(), j); !errors.Is(err, syscall.ENOSPC) {
		t.Errorf("a clip far larger than the disk: %v", err)
	}
}

// packets are the presentation times of a clip's packets, in order, and their
// count.
func packets(t testing.TB, clip string) []float64 {
	t.Helper()
	out, err := exec.Command("ffprobe", "-v", "error", "-show_entries", "frame=pts_time", "-of", "json", clip).Output()
	if err != nil {
		t.Fatal(err)
	}
	var pr struct {
		Frames []struct {
			PTS float64 `json:"pts_time,string"`
		} `json:"frames"`
	}
	if err := json.Unmarshal(out, &pr); err != nil {
		t.Fatal(err)
	}
	var at []float64
	for _, f := range pr.Frames {
		at = append(at, f.PTS)
	}
	return at
}

func frameMD5(t testing.TB, clip string) string {
	t.Helper()
	out, err := exec.Command("ffmpeg", "-v", "error", "-i", clip, "-f", "framemd5", "-").Output()
	if err != nil {
		t.Fatal(err)
	}
	return string(out)
}

// Parts made apart and joined give the frames of a local run, evenly spaced.
func TestSegments(t *testing.T) {
	needFFmpeg(t)
	dir := t.TempDir()
	src := stills(t, dir, 23)
	for _, c := range []struct{ codec, ext string }{{"h264", ".mp4"}, {"prores-hq", ".mov"}, {"h264", ".mkv"}} {
		t.Run(c.codec+c.ext, func(t *testing.T) {
			t.Parallel()
			dir := t.TempDir()
			j := jobFor(filepath.Join(dir, "local"+c.ext), src)
			j.Codec, j.SegmentFrames, j.GapMode = c.codec, 8, GapBlend
			j.Rate = playback.Rate{Num: 30000, Den: 1001}
			j.Gaps = []Gap{{After: 6, Count: 2}, {After: 20, Count: 1}}
			local := mustRun(t, j)
			if local.Frames != 26 || local.Filled != 3 {
				t.Errorf("%+v", local)
			}
			segments := Segments(j)
			if len(segments) != 3 || len(segments[0].Sources) != 8 {
				t.Fatalf("%d segments, the first of %d", len(segments), len(segments[0].Sources))
			}
			var parts []string
			for i, s := range segments {
				s.Out = filepath.Join(dir, fmt.Sprint("part", i, c.ext))
				mustRun(t, s)
				parts = append(parts, s.Out)
			}
			j.Out = filepath.Join(dir, "joined"+c.ext)
			joined, err := Join(t.Context(), j, parts)
			if err != nil {
				t.Fatal(err)
			}
			if joined.Frames != 26 || joined.Filled != 3 || !joined.Verified {
				t.Errorf("%+v", joined)
			}
			if frameMD5(t, local.File) != frameMD5(t, joined.File) {
				t.Error("joined parts differ from the local run")
			}
			for i, at := range packets(t, joined.File) {
				if want := float64(i) * 1001 / 30000; math.Abs(at-want) > 0.0011 {
					t.Errorf("frame %d at %.4f s, want %.4f", i, at, want)
				}
			}
			v := lumas(t, joined.File)
			if len(v) != 26 {
				t.Fatalf("%d frames", len(v))
			}
			for i := range 7 {
				if math.Abs(v[i]-float64(60+4*i)) > 2 {
					t.Errorf("frame %d is %.1f", i, v[i])
				}
			}
			if math.Abs(v[25]-148) > 2 {
				t.Errorf("the last frame is %.1f", v[25])
			}
		})
	}
}

func TestRefusals(t *testing.T) {
	needFFmpeg(t)
	dir := t.TempDir()
	src := stills(t, dir, 2)
	taken := filepath.Join(t.TempDir(), "taken.mp4")
	if err := os.WriteFile(taken, nil, 0o666); err != nil {
		t.Fatal(err)
	}
	elsewhere := t.TempDir()
	for name, set := range map[string]func(*Job){
		"is there already":       func(j *Job) { j.Out = taken },
		"lies among":             func(j *Job) { j.Out, j.SourceRoot = filepath.Join(dir, "clip.mp4"), dir },
		"no folder":              func(j *Job) { j.Out = filepath.Join(elsewhere, "none", "clip.mp4") },
		"cannot write prores-hq": func(j *Job) { j.Codec = "prores-hq" },
		"fixed data rate":        func(j *Job) { j.Codec, j.Quality, j.Out = "prores-hq", 10, filepath.Join(elsewhere, "c.mov") },
		"no frames":              func(j *Job) { j.Sources = nil },
		"unlike the first":       func(j *Job) { j.Sources[1].Width = 95 },
		"larger than":            func(j *Job) { j.Width = 200 },
	} {
		j := jobFor(filepath.Join(elsewhere, "clip.mp4"), append([]Source(nil), src...))
		set(&j)
		if _, err := Prepare(t.Context(), j); err == nil || !strings.Contains(err.Error(), name) {
			t.Errorf("%s: %v", name, err)
		}
	}
	onlyHolds(t, elsewhere)
}

// The previews of raw files stand in for them, at their own size; one that is
// broken is named.
func TestPreviews(t *testing.T) {
	needFFmpeg(t)
	dir, outDir := t.TempDir(), t.TempDir()
	src := stills(t, dir, 3)
	for i := range src {
		b, err := os.ReadFile(src[i].Path)
		if err != nil {
			t.Fatal(err)
		}
		src[i].Path = filepath.Join(dir, fmt.Sprint(i, ".nef"))
		if err := os.WriteFile(src[i].Path, append([]byte("sensor data"), b...), 0o666); err != nil {
			t.Fatal(err)
		}
		src[i].Format, src[i].Raw, src[i].Width, src[i].Height = "nef", true, 6000, 4000
		src[i].Preview = &meta.Preview{Offset: 11, Length: int64(len(b)), Width: stillW, Height: stillH}
	}
	j := jobFor(filepath.Join(outDir, "clip.mp4"), src)
	j.Raw = RawPreview
	clip := mustRun(t, j)
	if clip.Width != stillW || clip.Height != stillH || clip.Frames != 3 {
		t.Errorf("%+v", clip)
	}
	j.Overwrite = true
	src[1].Preview.Length = 100
	p, err := Prepare(t.Context(), j)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := p.Run(t.Context(), nil); err == nil || !strings.Contains(err.Error(), "1.nef") {
		t.Errorf("error %v", err)
	}
	onlyHolds(t, outDir, "clip.mp4")
}
