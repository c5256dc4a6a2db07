package measure_test

import (
	"fmt"
	"image"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"sort"
	"syscall"
	"testing"
	"time"

	"github.com/disintegration/imaging"

	"stillspan/deflicker/measure"
	"stillspan/ingest/meta"
)

// noisy is a sky and a wavy land with a sensor's noise, of which a JPEG of 24
// million pixels takes about 8 MB.
func noisy(w, h int, seed uint64) image.Image {
	rng := rand.New(rand.NewPCG(seed, 1))
	var noise [1 << 16]int8
	for i := range noise {
		noise[i] = int8(math.Round(7 * rng.NormFloat64()))
	}
	img := image.NewYCbCr(image.Rect(0, 0, w, h), image.YCbCrSubsampleRatio420)
	fill := func(pix []byte, w, h int, base, swing float64) {
		for y := range h {
			level := base + swing*math.Sin(float64(y)/float64(h)*9)
			from := rng.IntN(len(noise))
			for x := range w {
				v := level + 20*math.Sin(float64(x+y)/float64(w)*40) + float64(noise[(from+x)&0xffff])
				pix[y*w+x] = byte(min(max(v, 0), 255))
			}
		}
	}
	fill(img.Y, w, h, 128, 60)
	fill(img.Cb, (w+1)/2, (h+1)/2, 128, 10)
	fill(img.Cr, (w+1)/2, (h+1)/2, 128, -10)
	return img
}

// benchStills writes n stills of 24 million pixels, each with a preview behind
// its main picture.
func benchStills(b *testing.B, n int) (dir string, in []measure.Input) {
	b.Helper()
	dir = b.TempDir()
	var files [3][]byte
	var previews [3]meta.Preview
	for i := range files {
		img := noisy(6000, 4000, uint64(i))
		main, thumb := encode(b, img, 91), encode(b, imaging.Resize(img, 160, 107, imaging.Box), 85)
		previews[i] = meta.Preview{Offset: int64(len(main)), Length: int64(len(thumb)), Width: 160, Height: 107}
		files[i] = append(main, thumb...)
	}
	for i := range n {
		data := files[i%len(files)]
		path := filepath.Join(dir, fmt.Sprintf("%04d.jpg", i))
		if err := os.WriteFile(path, data, 0o600); err != nil {
			b.Fatal(err)
		}
		in = append(in, measure.Input{Path: path, Size: int64(len(data)), Facts: meta.Facts{
			Format: "jpeg", Width: 6000, Height: 4000, Orientation: 1, Previews: previews[i%len(files):][:1],
		}})
	}
	return dir, in
}

// cpuTime is what this process and its ended children have used.
func cpuTime() time.Duration {
	var sum time.Duration
	for _, who := range []int{syscall.RUSAGE_SELF, syscall.RUSAGE_CHILDREN} {
		var u syscall.Rusage
		if syscall.Getrusage(who, &u) == nil {
			sum += time.Duration(u.Utime.Nano() + u.Stime.Nano())
		}
	}
	return sum
}

// spent is a run's wall and CPU time.
type spent struct{ wall, cpu time.Duration }

func timed(run func()) spent {
	wall, cpu := time.Now(), cpuTime()
	run()
	return spent{time.Since(wall), cpuTime() - cpu}
}

// BenchmarkCheck compares ffmpeg, which decodes 24 stills of 24 million pixels
// and throws them away, with measuring the same stills: in turns, medians of
// three. The last line is of 1,000 stills out of the cache.
func BenchmarkCheck(b *testing.B) {
	if _, err := exec.LookPath("ffmpeg"); err != nil {
		b.Skip("ffmpeg is not installed")
	}
	const n = 24
	dir, in := benchStills(b, n)
	run := func(in []measure.Input, opt measure.Options, source string) func() {
		return func() {
			err := measure.All(b.Context(), in, opt, func(i int, g *measure.Grid, f *measure.Finding) error {
				if g == nil || f != nil || g.Source != source {
					return fmt.Errorf("%s: finding %+v, or not measured %s", in[i].Path, f, source)
				}
				return nil
			})
			if err != nil {
				b.Fatal(err)
			}
		}
	}
	ways := []struct {
		name string
		run  func()
	}{
		{"ffmpeg", func() {
			if out, err := exec.Command("ffmpeg", "-v", "error", "-nostdin", "-i", filepath.Join(dir, "%04d.jpg"), "-f", "null", "-").CombinedOutput(); err != nil {
				b.Fatalf("%v: %s", err, out)
			}
		}},
		{"reduced", run(in, measure.Options{NoCache: true, Verify: true}, measure.SourceReduced)},
		{"preview", run(in, measure.Options{NoCache: true}, measure.SourcePreview)},
	}
	b.ResetTimer()
	for b.Loop() {
		runs := make([][]spent, len(ways))
		for range 3 {
			for i, way := range ways {
				runs[i] = append(runs[i], timed(way.run))
			}
		}
		var plain spent
		fmt.Printf("\n%d stills of %.1f MB   wall s   CPU s   wall ratio   CPU ratio   MB/s and core\n", n, float64(in[0].Size)/1e6)
		for i, way := range ways {
			sort.Slice(runs[i], func(a, b int) bool { return runs[i][a].wall < runs[i][b].wall })
			got := runs[i][1]
			if i == 0 {
				plain = got
			}
			fmt.Printf("%-22s  %7.3f %7.3f %12.3f %11.3f %15.0f\n", way.name, got.wall.Seconds(), got.cpu.Seconds(),
				got.wall.Seconds()/plain.wall.Seconds(), got.cpu.Seconds()/plain.cpu.Seconds(), n*float64(in[0].Size)/1e6/got.cpu.Seconds())
		}
		opt := measure.Options{CacheDir: b.TempDir(), Verify: true}
		var thousand []measure.Input
		for range 1000 / n {
			thousand = append(thousand, in...)
		}
		run(in, opt, measure.SourceReduced)()
		got := timed(run(thousand, opt, measure.SourceReduced))
		fmt.Printf("1,000 from the cache    %7.3f %7.3f\n", got.wall.Seconds()*1000/float64(len(thousand)), got.cpu.Seconds()*1000/float64(len(thousand)))
	}
}

// BenchmarkReduced is one worker on one still of 24 million pixels.
func BenchmarkReduced(b *testing.B) {
	_, in := benchStills(b, 3)
	b.SetBytes(in[0].Size)
	b.ReportAllocs()
	for b.Loop() {
		opt := measure.Options{NoCache: true, Verify: true, Workers: 1}
		if err := measure.All(b.Context(), in[:1], opt, func(int, *measure.Grid, *measure.Finding) error { return nil }); err != nil {
			b.Fatal(err)
		}
	}
}
