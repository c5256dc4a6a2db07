package measure_test

import (
	"bytes"
	"context"
	"errors"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"io/fs"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/disintegration/imaging"
	"golang.org/x/image/tiff"

	"stillspan/deflicker"
	"stillspan/deflicker/measure"
	"stillspan/ingest/meta"
	"stillspan/internal/hostile"
	"stillspan/internal/scene"
	"stillspan/internal/srgb"
)

// shoot writes frames of an invented landscape as JPEGs, each with a preview
// behind its main picture that thumb makes of it; nil for none.
func shoot(t testing.TB, o scene.Options, thumb func(i int, img image.Image) image.Image) []measure.Input {
	t.Helper()
	dir := t.TempDir()
	var all []measure.Input
	for i, img := range drawn(o) {
		data := encode(t, img, 92)
		in := measure.Input{Path: filepath.Join(dir, string(rune('a'+i/26))+string(rune('a'+i%26))+".jpg")}
		in.Facts = meta.Facts{Format: "jpeg", Width: o.Width, Height: o.Height, Orientation: 1}
		if thumb != nil {
			small := thumb(i, img)
			preview := encode(t, small, 85)
			in.Facts.Previews = []meta.Preview{{
				Offset: int64(len(data)), Length: int64(len(preview)),
				Width: small.Bounds().Dx(), Height: small.Bounds().Dy(),
			}}
			data = append(data, preview...)
		}
		if err := os.WriteFile(in.Path, data, 0o600); err != nil {
			t.Fatal(err)
		}
		in.Size = int64(len(data))
		all = append(all, in)
	}
	return all
}

// drawn are a scene's frames, drawn once for all tests.
func drawn(o scene.Options) []image.Image {
	once, _ := scenes.LoadOrStore(o, sync.OnceValue(func() (all []image.Image) {
		s := scene.New(o)
		for i := range o.Frames {
			all = append(all, s.Frame(i))
		}
		return all
	}))
	return once.(func() []image.Image)()
}

var scenes sync.Map

func encode(t testing.TB, img image.Image, quality int) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := jpeg.Encode(&b, img, &jpeg.Options{Quality: quality}); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// small is a preview as cameras make them.
func small(_ int, img image.Image) image.Image { return imaging.Fit(img, 160, 160, imaging.Box) }

// barred is a preview in a frame of 160 x 120 with black bars.
func barred(i int, img image.Image) image.Image {
	return imaging.PasteCenter(imaging.New(160, 120, color.Black), small(i, img))
}

// dusk is a sequence with a ramp, flicker and noise.
var dusk = scene.Options{Width: 216, Height: 144, Frames: 24, Seed: 7, ScatterEV: 0.08, LightEV: [2]float64{-1, -2}, Clouds: 0.4, Noise: 0.05}

// Where the camera stands still, what the faster sources leave out is the same
// in every frame: their flicker has to be that of every pixel.
func TestSourcesOfOneView(t *testing.T) {
	large := dusk // than what is decoded in full for being small
	large.Width, large.Height, large.Frames = 1296, 324, 8
	in := shoot(t, large, small)
	full, _ := curve(t, in, measure.Options{Source: measure.SourceFull})
	if f := deflicker.FlickerEV(full); f < 0.04 {
		t.Fatalf("the scene's flicker is %.4f EV: nothing to compare", f)
	}
	for source, most := range map[string]float64{measure.SourceReduced: 0.001, measure.SourcePreview: 0.003} {
		got, is := curve(t, in, measure.Options{Source: source})
		if is != source {
			t.Errorf("source is %s, want %s", is, source)
		}
		f := deflicker.FlickerEV(minus(got, full))
		if !(f < most) {
			t.Errorf("%s: flicker of %.5f EV that is not in the pixels, want less than %v", source, f, most)
		}
		t.Logf("%s: %.5f EV", source, f)
	}
}

// All takes previews where they are true to the pictures, bars or not, and
// never where they would add flicker. (Main pictures this small are measured in
// full.)
func TestChoice(t *testing.T) {
	stale := func(i int, img image.Image) image.Image {
		return imaging.AdjustGamma(small(i, img), 1+0.2*float64(i%3))
	}
	for _, c := range []struct {
		name  string
		thumb func(int, image.Image) image.Image
		opt   measure.Options
		want  string
	}{
		{"true", small, measure.Options{}, measure.SourcePreview},
		{"with bars", barred, measure.Options{}, measure.SourcePreview},
		{"larger than thumbnails", func(_ int, img image.Image) image.Image { return imaging.Resize(img, 330, 220, imaging.Linear) }, measure.Options{}, measure.SourcePreview},
		{"processed otherwise", stale, measure.Options{}, measure.SourceFull},
		{"another shape", func(i int, img image.Image) image.Image { return imaging.Resize(img, 160, 120, imaging.Box) }, measure.Options{}, measure.SourceFull},
		{"too small", func(i int, img image.Image) image.Image { return imaging.Fit(img, 80, 80, imaging.Box) }, measure.Options{}, measure.SourceFull},
		{"none", nil, measure.Options{}, measure.SourceFull},
		{"verified", small, measure.Options{Verify: true}, measure.SourceFull},
	} {
		if _, got := curve(t, shoot(t, dusk, c.thumb), c.opt); got != c.want {
			t.Errorf("previews %s: measured %s, want %s", c.name, got, c.want)
		}
	}
}

// An empty, missing or special file is a finding of that frame.
func TestBadFiles(t *testing.T) {
	dir := t.TempDir()
	write := func(name string, data []byte) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, data, 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	fifo := filepath.Join(dir, "fifo")
	if err := syscall.Mkfifo(fifo, 0o600); err != nil {
		t.Skip("no pipes in the file system here")
	}
	sound := encode(t, scene.New(scene.Options{Width: 320, Height: 240, Frames: 1}).Frame(0), 90)
	for path, want := range map[string]string{
		write("empty.jpg", nil):                              "empty",
		write("text.jpg", []byte("no picture, only words")):  "undecodable",
		write("text.png", []byte("no picture, only words")):  "undecodable",
		write("text.heif", []byte("no picture, only words")): "undecodable",
		write("cut.jpg", sound[:len(sound)/2]):               "truncated",
		filepath.Join(dir, "gone.jpg"):                       "vanished",
		fifo:                                                 "not-a-file",
		dir:                                                  "not-a-file",
	} {
		format := strings.TrimPrefix(filepath.Ext(path), ".")
		if format == "" || format == "jpg" {
			format = "jpeg"
		}
		for _, source := range []string{"", measure.SourcePreview, measure.SourceFull} {
			in := measure.Input{Path: path, Facts: meta.Facts{Format: format, Width: 320, Height: 240}}
			_, f, err := measure.File(context.Background(), in, measure.Options{NoCache: true, Source: source})
			if err != nil || f == nil || f.Kind != want || f.Text == "" || f.Try == "" || strings.Contains(f.Text, dir) {
				t.Errorf("%s %s: finding %+v, error %v; want %s", filepath.Base(path), source, f, err, want)
			}
		}
	}
}

// Damage behind a preview that was measured: a cut file is found by its
// missing end, the share that is left by walking it.
func TestCutBehindPreview(t *testing.T) {
	in := shoot(t, dusk, small)[0]
	data, err := os.ReadFile(in.Path)
	if err != nil {
		t.Fatal(err)
	}
	main, preview := data[:in.Facts.Previews[0].Offset], data[in.Facts.Previews[0].Offset:]
	// As an Exif thumbnail lies: in a segment before the picture.
	app1 := append([]byte{0xff, 0xe1, byte((len(preview) + 2) >> 8), byte(len(preview) + 2)}, preview...)
	file := slices.Concat(main[:2], app1, main[2:])
	cut := file[:len(file)-len(main)/2]
	if err := os.WriteFile(in.Path, cut, 0o600); err != nil {
		t.Fatal(err)
	}
	in.Facts.Previews[0].Offset = 6
	g, f, err := measure.File(context.Background(), in, measure.Options{NoCache: true, Source: measure.SourcePreview})
	if err != nil || g == nil || g.Source != measure.SourcePreview {
		t.Fatalf("grid %+v, error %v: the preview is whole", g, err)
	}
	if f == nil || f.Kind != "truncated" || f.Left < 0.3 || f.Left > 0.8 {
		t.Errorf("finding %+v, want truncated with about half left", f)
	}
}

// Results come in order, all of them, and an error ends the work.
func TestAllOrder(t *testing.T) {
	in := shoot(t, dusk, nil)
	in[5].Path += ".gone"
	n := 0
	err := measure.All(context.Background(), in, measure.Options{Workers: 7, NoCache: true}, func(i int, g *measure.Grid, f *measure.Finding) error {
		if i != n || (g == nil) != (i == 5) || (f != nil) != (i == 5) {
			t.Errorf("result %d when %d was due: %v, %+v", i, n, g != nil, f)
		}
		n++
		return nil
	})
	if err != nil || n != len(in) {
		t.Errorf("%d results of %d, error %v", n, len(in), err)
	}
	stop := errors.New("enough")
	err = measure.All(context.Background(), in, measure.Options{NoCache: true}, func(i int, _ *measure.Grid, _ *measure.Finding) error {
		if i == 3 {
			return stop
		}
		return nil
	})
	if err != stop {
		t.Errorf("error %v, want the callback's", err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	err = measure.All(ctx, in, measure.Options{NoCache: true}, func(i int, _ *measure.Grid, _ *measure.Finding) error {
		cancel()
		return nil
	})
	if !errors.Is(err, context.Canceled) {
		t.Errorf("error %v after cancelling", err)
	}
	if err := measure.All(context.Background(), nil, measure.Options{NoCache: true}, nil); err != nil {
		t.Errorf("no stills at all: %v", err)
	}
}

func cacheFiles(t *testing.T, dir string) (paths []string, bytes int64) {
	t.Helper()
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		info, err := d.Info()
		paths, bytes = append(paths, path), bytes+info.Size()
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return paths, bytes
}

// measured is what All gives for in.
func measured(t *testing.T, in []measure.Input, opt measure.Options) (all []measure.Grid) {
	t.Helper()
	err := measure.All(context.Background(), in, opt, func(i int, g *measure.Grid, f *measure.Finding) error {
		if g == nil {
			t.Fatalf("%s: %+v", in[i].Path, f)
		}
		all = append(all, *g)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return all
}

func sameGrid(a, b measure.Grid) bool {
	return a.W == b.W && a.H == b.H && a.MeanLum == b.MeanLum && a.HighShare == b.HighShare && a.LowShare == b.LowShare &&
		a.Source == b.Source && slices.Equal(a.Code[0], b.Code[0]) && slices.Equal(a.Code[1], b.Code[1]) && slices.Equal(a.Code[2], b.Code[2]) && slices.Equal(a.Clip, b.Clip)
}

// settle waits until what was written is old enough to be told from what may be
// written later.
func settle() { time.Sleep(2100 * time.Millisecond) }

// kept counts the grids that came out of the cache.
func kept(all []measure.Grid) (n int) {
	for i := range all {
		if all[i].Kept {
			n++
		}
	}
	return n
}

// A second run gives the same numbers without decoding; broken entries are
// ignored and made good; who wants every picture walked is given none.
func TestCache(t *testing.T) {
	big := dusk
	big.Width, big.Height, big.Noise, big.Frames = 720, 480, 0.2, 3
	in := shoot(t, big, nil)
	opt := measure.Options{CacheDir: t.TempDir()}
	early := measured(t, in, opt)
	if files, _ := cacheFiles(t, opt.CacheDir); len(files) != 0 {
		t.Error("files that may still be written to are kept")
	}
	settle()
	first := measured(t, in, opt)
	if plain := measured(t, in, measure.Options{NoCache: true}); !slices.EqualFunc(first, plain, sameGrid) || !slices.EqualFunc(first, early, sameGrid) {
		t.Error("the cache changes what is measured")
	}
	if second := measured(t, in, opt); !slices.EqualFunc(first, second, sameGrid) || kept(second) != 3 {
		t.Errorf("a second run takes %d of 3 from the cache, or gives other numbers", kept(second))
	}
	thorough := opt
	thorough.Verify = true
	if walked := measured(t, in, thorough); !slices.EqualFunc(first, walked, sameGrid) || kept(walked) != 0 {
		t.Errorf("of every picture walked, %d came from the cache", kept(walked))
	}
	files, _ := cacheFiles(t, opt.CacheDir)
	if len(files) != 3 {
		t.Fatalf("%d files in the cache, want 3", len(files))
	}
	for i, path := range files {
		entry, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		entry[len(entry)*(i+1)/4]++
		if i == 2 {
			entry = entry[:40]
		}
		if err := os.WriteFile(path, entry, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	again := measured(t, in, opt)
	if !slices.EqualFunc(first, again, sameGrid) || kept(again) != 0 {
		t.Error("broken entries change what is measured, or are believed")
	}
}

// What was found out about a still's bytes is believed of no others: not of a
// copy that keeps the times, nor of the still after it was written to and its
// time put back, nor of one that lies where another lay.
func TestCacheKnowsTheFile(t *testing.T) {
	big := dusk
	big.Width, big.Height, big.Noise, big.Frames = 720, 480, 0.2, 1
	in := shoot(t, big, nil)[:1]
	settle()
	opt := measure.Options{CacheDir: t.TempDir()}
	measured(t, in, opt)
	data, err := os.ReadFile(in[0].Path)
	if err != nil {
		t.Fatal(err)
	}
	info, err := os.Stat(in[0].Path)
	if err != nil || info.Size() < 140<<10 {
		t.Fatalf("%d bytes, error %v: too small for a middle", info.Size(), err)
	}
	clear(data[66<<10 : len(data)-66<<10])
	damaged := func(path string, write func() error) {
		t.Helper()
		if err := write(); err != nil {
			t.Fatal(err)
		}
		if err := os.Chtimes(path, info.ModTime(), info.ModTime()); err != nil {
			t.Fatal(err)
		}
		still := in[0]
		still.Path = path
		if _, f, err := measure.File(t.Context(), still, opt); err != nil || f == nil || f.Kind != "corrupt" {
			t.Errorf("%s: finding %+v, %v", path, f, err)
		}
	}
	twin := in[0].Path + ".copy.jpg"
	damaged(twin, func() error { return os.WriteFile(twin, data, 0o600) })
	damaged(in[0].Path, func() error { return os.Rename(twin, in[0].Path) })
	damaged(in[0].Path, func() error { return os.WriteFile(in[0].Path, data, 0o600) })
}

// A still that is written to while it is measured, or was since its headers
// were read, is said to have changed.
func TestChangedStill(t *testing.T) {
	in := shoot(t, dusk, nil)[:1]
	info, err := os.Stat(in[0].Path)
	if err != nil {
		t.Fatal(err)
	}
	in[0].Size, in[0].ModTime = info.Size()-1, info.ModTime()
	if _, f, err := measure.File(t.Context(), in[0], measure.Options{NoCache: true}); err != nil || f == nil || f.Kind != "changed" {
		t.Errorf("finding %+v, %v", f, err)
	}
}

// The cache does not outgrow its limit.
func TestCacheLimit(t *testing.T) {
	in := shoot(t, dusk, nil)
	settle()
	opt := measure.Options{CacheDir: t.TempDir()}
	measured(t, in[1:], opt)
	_, before := cacheFiles(t, opt.CacheDir)
	opt.CacheBytes = before / 2
	measured(t, in, opt)
	if _, after := cacheFiles(t, opt.CacheDir); after > opt.CacheBytes || after < opt.CacheBytes/2 {
		t.Errorf("%d bytes with a limit of %d", after, opt.CacheBytes)
	}
}

// Pictures of 16 bits against ffmpeg's own mean of them (filter signalstats
// sees 8 to 16 bits): a ramp whose codes are not those of 8 bits.
func TestSixteenBits(t *testing.T) {
	img := image.NewGray16(image.Rect(0, 0, 200, 120))
	var want float64
	for i := range 200 * 120 {
		v := uint16(3000 + i*2)
		img.SetGray16(i%200, i/200, color.Gray16{Y: v})
		want += srgb.Decode(float64(v)/65535) / (200 * 120)
	}
	dir := t.TempDir()
	for format, write := range map[string]func(*os.File) error{
		"png":  func(f *os.File) error { return png.Encode(f, img) },
		"tiff": func(f *os.File) error { return tiff.Encode(f, img, nil) },
	} {
		path := filepath.Join(dir, "ramp."+format)
		f, err := os.Create(path)
		if err != nil {
			t.Fatal(err)
		}
		if err := errors.Join(write(f), f.Close()); err != nil {
			t.Fatal(err)
		}
		in := measure.Input{Path: path, Facts: meta.Facts{Format: format, Width: 200, Height: 120}}
		g, finding, err := measure.File(context.Background(), in, measure.Options{NoCache: true})
		if err != nil || finding != nil {
			t.Fatalf("%s: %+v, %v", format, finding, err)
		}
		if math.Abs(g.MeanLum/want-1) > 1e-5 || g.Source != measure.SourceFull {
			t.Errorf("%s: mean %.7f from %s, want %.7f", format, g.MeanLum, g.Source, want)
		}
		// As a kind unknown to Go's decoders it goes to ffmpeg, reduced.
		in.Facts.Format = "other"
		if _, err := exec.LookPath("ffmpeg"); err != nil {
			continue
		}
		g, finding, err = measure.File(context.Background(), in, measure.Options{NoCache: true})
		if err != nil || finding != nil {
			t.Fatalf("%s by ffmpeg: %+v, %v", format, finding, err)
		}
		if math.Abs(math.Log2(g.MeanLum/want)) > 0.002 {
			t.Errorf("%s by ffmpeg: mean %.7f, want %.7f", format, g.MeanLum, want)
		}
	}
}

// Without ffmpeg a picture that needs it is a finding that says so.
func TestNoFFmpeg(t *testing.T) {
	path := filepath.Join(t.TempDir(), "a.jxl")
	if err := os.WriteFile(path, []byte("whatever"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, program := range []string{"no-such-ffmpeg", filepath.Join(t.TempDir(), "ffmpeg")} {
		_, f, err := measure.File(t.Context(), measure.Input{Path: path, Facts: meta.Facts{Format: "jxl"}}, measure.Options{NoCache: true, FFmpeg: program})
		if err != nil || f == nil || !strings.Contains(f.Try, "install ffmpeg") {
			t.Errorf("%s: finding %+v, error %v", program, f, err)
		}
	}
}

// A raw file is measured by its previews, and never by what ffmpeg would make
// of the sensor's data.
func TestRaw(t *testing.T) {
	in := shoot(t, dusk, small)[0]
	in.Facts.Format, in.Facts.Raw = "dng", true
	in.Facts.Previews = append(in.Facts.Previews, meta.Preview{Length: in.Facts.Previews[0].Offset, Width: dusk.Width, Height: dusk.Height})
	var mean [2]float64
	for i, source := range []string{measure.SourcePreview, ""} {
		g, f, err := measure.File(t.Context(), in, measure.Options{NoCache: true, Source: source})
		if err != nil || f != nil {
			t.Fatalf("source %q: %+v, %v", source, f, err)
		}
		mean[i] = g.MeanLum
	}
	if d := math.Log2(mean[0] / mean[1]); math.Abs(d) > 0.1 {
		t.Errorf("the two previews differ by %.3f EV", d)
	}
	in.Facts.Previews = nil
	if _, f, err := measure.File(t.Context(), in, measure.Options{NoCache: true}); err != nil || f == nil || !strings.Contains(f.Try, "LibRaw") {
		t.Errorf("without previews: %+v, %v", f, err)
	}
}

// The block reader refuses arithmetic coding; ffmpeg 5.1 does, too, so that
// such a file is a finding, with the reason, and not an error.
func TestArithmetic(t *testing.T) {
	in := measure.Input{Path: "jpeg/testdata/arithmetic.jpg", Facts: meta.Facts{Format: "jpeg", Width: 203, Height: 149}}
	g, f, err := measure.File(context.Background(), in, measure.Options{NoCache: true})
	if err != nil || (g == nil) == (f == nil) {
		t.Errorf("grid %v, finding %+v, error %v", g, f, err)
	}
}

// Clipped and blind shares of a picture made of known parts.
func TestShares(t *testing.T) {
	img := image.NewNRGBA(image.Rect(0, 0, 100, 100))
	for y := range 100 {
		c := color.NRGBA{128, 128, 128, 255}
		switch {
		case y < 10:
			c = color.NRGBA{255, 90, 90, 255} // one channel clipped
		case y < 15:
			c = color.NRGBA{1, 2, 1, 255} // crushed
		case y < 20:
			c = color.NRGBA{6, 5, 6, 255} // blind, not crushed
		}
		for x := range 100 {
			img.SetNRGBA(x, y, c)
		}
	}
	g := measure.FromImage(img)
	if g.HighShare != 0.10 || g.LowShare != 0.05 || g.W != 100 || g.H != 100 {
		t.Errorf("high %v, low %v, %d x %d; want 0.1, 0.05, 100 x 100", g.HighShare, g.LowShare, g.W, g.H)
	}
	for y, want := range map[int]float64{5: 1, 12: 1, 17: 1, 50: 0} {
		if got := g.Clip[y*g.W+50]; got != want {
			t.Errorf("row %d: clip %g, want %g", y, got, want)
		}
	}
	if want := 128. / 255; math.Abs(g.Code[1][50*g.W]-want) > 1e-6 {
		t.Errorf("grey is %v, want %v", g.Code[1][50*g.W], want)
	}
}

// Thumbnails stand upright, whatever way the camera was held.
func TestThumbUpright(t *testing.T) {
	img := scene.New(scene.Options{Width: 400, Height: 240, Frames: 1, Clouds: 0.5}).Frame(0)
	turned := map[int]image.Image{ // by CIPA DC-008, tag 0x0112, what undoes it
		1: img, 2: imaging.FlipH(img), 3: imaging.Rotate180(img), 4: imaging.FlipV(img),
		5: imaging.Transpose(img), 6: imaging.Rotate90(img), 7: imaging.Transverse(img), 8: imaging.Rotate270(img),
	}
	want := imaging.Fit(img, 50, 50, imaging.Box)
	for orientation, stored := range turned {
		path := filepath.Join(t.TempDir(), "a.jpg")
		if err := os.WriteFile(path, encode(t, stored, 95), 0o600); err != nil {
			t.Fatal(err)
		}
		in := measure.Input{Path: path, Facts: meta.Facts{Format: "jpeg", Width: stored.Bounds().Dx(), Height: stored.Bounds().Dy(), Orientation: orientation}}
		for _, side := range []int{50, 120} { // by block means, by a full decode
			got, err := measure.Thumb(context.Background(), in, side)
			if err != nil {
				t.Fatal(err)
			}
			if b := got.Bounds(); b.Dx() != side || b.Dy() != side*240/400 {
				t.Errorf("orientation %d: thumbnail of %v for %d", orientation, b, side)
			}
			if d := difference(imaging.Resize(got, 50, 30, imaging.Box), want); d > 6 {
				t.Errorf("orientation %d, %d pixels: thumbnail differs by %.1f codes", orientation, side, d)
			}
		}
	}
}

// What is kept while a still is measured is the thumbnail that reading it again gives.
func TestThumbWhileMeasuring(t *testing.T) {
	in := shoot(t, scene.Options{Width: 1600, Height: 960, Frames: 1, Clouds: 0.5}, nil)[0]
	in.Facts.Orientation, in.Thumb = 6, 120
	want, err := measure.Thumb(t.Context(), in, in.Thumb)
	if err != nil {
		t.Fatal(err)
	}
	g, _, err := measure.File(t.Context(), in, measure.Options{NoCache: true})
	if err != nil || !reflect.DeepEqual(g.Thumb, want) {
		t.Errorf("kept %v, want %v: %v", g.Thumb, want, err)
	}
}

// difference is the mean difference of two pictures of one size, codes.
func difference(a, b *image.NRGBA) float64 {
	sum := 0.0
	for i := range a.Pix {
		sum += math.Abs(float64(a.Pix[i]) - float64(b.Pix[i]))
	}
	return sum / float64(len(a.Pix))
}

// A picture in more scans than any program makes is refused when it is walked:
// each scan could cost a decoder a walk of its own.
func TestManyScans(t *testing.T) {
	data, err := hostile.Bomb("jpeg-scans")
	if err != nil {
		t.Fatal(err)
	}
	in := measure.Input{Path: filepath.Join(t.TempDir(), "a.jpg"), Facts: meta.Facts{Format: "jpeg", Width: 320, Height: 240, Orientation: 1}}
	if err := os.WriteFile(in.Path, data, 0o600); err != nil {
		t.Fatal(err)
	}
	_, f, err := measure.File(t.Context(), in, measure.Options{NoCache: true})
	if err != nil || f == nil || !strings.Contains(f.Text, "more scans than any program makes") {
		t.Errorf("finding %+v, %v", f, err)
	}
}

// A still that something is known of is not opened.
func TestKnownProblem(t *testing.T) {
	known := &measure.Finding{Kind: "corrupt"}
	in := []measure.Input{{Path: "not-there.jpg", Problem: known}}
	err := measure.All(t.Context(), in, measure.Options{NoCache: true}, func(_ int, g *measure.Grid, f *measure.Finding) error {
		if g != nil || f != known {
			t.Errorf("%v, %v", g, f)
		}
		return nil
	})
	if err != nil {
		t.Error(err)
	}
}
