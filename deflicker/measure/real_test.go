package measure_test

import (
	"bytes"
	"context"
	"encoding/binary"
	"image"
	_ "image/jpeg"
	"math"
	"os"
	"path/filepath"
	"sort"
	"testing"

	"stillspan/deflicker"
	"stillspan/deflicker/measure"
	"stillspan/ingest/meta"
	"stillspan/internal/photographs"
)

// stillOf is the measure.Input of a JPEG, with the previews that lie in its Exif
// segment and behind its main picture (as CIPA DC-007 puts them). It looks for
// their start markers and nothing else: enough for sound files.
func stillOf(t testing.TB, path string) measure.Input {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	config, _, err := image.DecodeConfig(bytes.NewReader(data))
	if err != nil {
		t.Fatalf("%s: %v", path, err)
	}
	in := measure.Input{Path: path, Size: int64(len(data)), Facts: meta.Facts{Format: "jpeg", Width: config.Width, Height: config.Height, Orientation: 1}}
	add := func(from, end int) {
		p := meta.Preview{Offset: int64(from), Length: int64(end - from)}
		if c, _, err := image.DecodeConfig(bytes.NewReader(data[from:end])); err == nil {
			p.Width, p.Height = c.Width, c.Height
		}
		in.Facts.Previews = append(in.Facts.Previews, p)
	}
	start := []byte{0xff, 0xd8, 0xff}
	if at := bytes.Index(data, []byte("Exif\x00\x00")); at > 4 && at < 100 {
		end := at - 2 + int(binary.BigEndian.Uint16(data[at-2:]))
		if i := bytes.Index(data[at:end], start); i >= 0 {
			add(at+i, end)
		}
	}
	if i := bytes.LastIndex(data, start); i > len(data)/2 {
		add(i, len(data))
	}
	return in
}

// jpegs are the JPEGs of a set, by name.
func jpegs(t testing.TB, set string) []measure.Input {
	t.Helper()
	var all []measure.Input
	files, _ := filepath.Glob(filepath.Join(photographs.Folder(t, set), "*"))
	sort.Strings(files)
	for _, f := range files {
		if ext := filepath.Ext(f); ext == ".jpg" || ext == ".JPG" || ext == ".jpeg" {
			all = append(all, stillOf(t, f))
		}
	}
	if len(all) == 0 {
		t.Skipf("no photographs of the set %s", set)
	}
	return all
}

// curve is the light curve of a sequence from one source, EV, and the source
// of its grids.
func curve(t testing.TB, in []measure.Input, opt measure.Options) (ev []float64, source string) {
	t.Helper()
	opt.NoCache = true
	err := measure.All(context.Background(), in, opt, func(i int, g *measure.Grid, f *measure.Finding) error {
		if f != nil {
			t.Errorf("%s: %s", in[i].Path, f.Text)
		}
		if g == nil {
			ev = append(ev, math.NaN())
			return nil
		}
		source = g.Source
		ev = append(ev, math.Log2(g.MeanLum))
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return ev, source
}

// stepError is how far two curves disagree about the change from frame to
// frame, EV rms.
func stepError(a, b []float64) float64 {
	var sum float64
	n := 0
	for i := 1; i < len(a); i++ {
		d := (a[i] - a[i-1]) - (b[i] - b[i-1])
		if !math.IsNaN(d) {
			sum, n = sum+d*d, n+1
		}
	}
	return math.Sqrt(sum / float64(n))
}

// The faster sources against every pixel, over real sequences.
func TestSourcesOnPhotographs(t *testing.T) {
	for _, set := range []string{"seneca-reduced", "brighton-reduced", "brighton-original", "banana-reduced"} {
		in := jpegs(t, set)
		in = in[:min(len(in), 24)]
		if in[0].Facts.Width > 2000 {
			in = in[:min(len(in), 3)]
		}
		full, _ := curve(t, in, measure.Options{Source: measure.SourceFull})
		for _, source := range []string{measure.SourceReduced, measure.SourcePreview} {
			got, _ := curve(t, in, measure.Options{Source: source})
			t.Logf("%-18s %3d frames %s: %.4f EV rms from frame to frame; flicker %.4f, of every pixel %.4f EV, of the difference %.4f", set, len(in), source,
				stepError(got, full), deflicker.FlickerEV(got), deflicker.FlickerEV(full), deflicker.FlickerEV(minus(got, full)))
		}
		// In these sets the view moves, and with it what a preview or a block
		// mean leaves out; where it stands still, the error is far smaller
		// (TestSourcesOfOneView). What is chosen has to be near the pixels.
		got, chosen := curve(t, in, measure.Options{})
		if f := deflicker.FlickerEV(minus(got, full)); !(f < 0.006) {
			t.Errorf("%s from %s: flicker of %.4f EV that is not in the pixels", set, chosen, f)
		}
		t.Logf("%-18s chosen: %s", set, chosen)
	}
}

func minus(a, b []float64) []float64 {
	d := make([]float64, len(a))
	for i := range a {
		d[i] = a[i] - b[i]
	}
	return d
}

// Sound photographs of many cameras are not called damaged: what Go's
// image/jpeg decodes without complaint has no finding, and the same light.
func TestSoundPhotographs(t *testing.T) {
	n := 0
	for _, set := range []string{"exif-samples/hdr", "exif-samples/orientation", "exif-samples/tests", "seneca-original"} {
		for i, in := range jpegs(t, set) {
			if i%2 != 0 { // every pixel of all of them would take a minute under the race detector
				continue
			}
			opt := measure.Options{NoCache: true, Source: measure.SourceFull}
			full, trouble, err := measure.File(t.Context(), in, opt)
			if err != nil {
				t.Fatal(err)
			}
			opt.Source = measure.SourceReduced
			g, f, err := measure.File(t.Context(), in, opt)
			if err != nil {
				t.Fatal(err)
			}
			if trouble != nil || f != nil {
				t.Errorf("%s: full %+v, reduced %+v", in.Path, trouble, f)
				continue
			}
			if ev := math.Log2(g.MeanLum / full.MeanLum); !(math.Abs(ev) < 0.15) || g.W != full.W || g.H != full.H {
				t.Errorf("%s: %.3f EV between block means and pixels, %dx%d and %dx%d cells", in.Path, ev, g.W, g.H, full.W, full.H)
			}
			n++
		}
	}
	t.Logf("%d photographs", n)
}
