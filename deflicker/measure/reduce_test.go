package measure

import (
	"bytes"
	"image/jpeg"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	blocks "stillspan/deflicker/measure/jpeg"
	"stillspan/internal/srgb"
)

// fixtures are the JPEGs of package jpeg's testdata.
func fixtures(t testing.TB) map[string][]byte {
	t.Helper()
	files, err := filepath.Glob("jpeg/testdata/*.jpg")
	if err != nil || len(files) < 10 {
		t.Fatalf("testdata holds %d JPEGs: %v", len(files), err)
	}
	all := make(map[string][]byte)
	for _, f := range files {
		data, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		all[strings.TrimSuffix(filepath.Base(f), ".jpg")] = data
	}
	return all
}

func readBlocks(t *testing.T, data []byte) *blocks.Picture {
	t.Helper()
	b := &blocks.Picture{MaxPixels: 1 << 28}
	buf, err := readPart(bytes.NewReader(data), 0, int64(len(data)), nil)
	if err == nil {
		err = b.Decode(buf)
	}
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// gridError is the root mean square and the mean of the difference of two
// grids' cells, EV, over cells of which both say something.
func gridError(a, b *Grid) (rms, mean float64) {
	if a.W != b.W || a.H != b.H {
		return math.NaN(), math.NaN()
	}
	var n, sum, square float64
	for i := range a.Clip {
		if a.Clip[i] > 0.1 || b.Clip[i] > 0.1 || a.Code[1][i] <= 0 || b.Code[1][i] <= 0 {
			continue
		}
		d := math.Log2(srgb.Decode(a.Code[1][i]) / srgb.Decode(b.Code[1][i]))
		sum, square, n = sum+d, square+d*d, n+1
	}
	return math.Sqrt(square / n), sum / n
}

// The reduced measurement has to stand near the plain one. It may lie below
// it, as the luminance of a mean code is below the mean luminance where a
// block is not even; the fixtures' noise of 6 % is far above a photograph's.
func TestReducedGridAgainstPlain(t *testing.T) {
	for name, data := range fixtures(t) {
		if name == "arithmetic" || name == "progressive-restart" {
			continue
		}
		got := blockGrid(readBlocks(t, data), &meter{}, &looker{})
		img, err := jpeg.Decode(bytes.NewReader(data))
		if err != nil {
			t.Fatal(err)
		}
		want := FromImage(img)
		rms, mean := gridError(got, want)
		if !(rms < 0.08) || !(math.Abs(mean) < 0.04) {
			t.Errorf("%s: cells differ by %.4f EV rms, %.4f EV in the mean", name, rms, mean)
		}
		if d := math.Log2(got.MeanLum / want.MeanLum); !(math.Abs(d) < 0.02) {
			t.Errorf("%s: mean luminance differs by %.4f EV", name, d)
		}
		t.Logf("%-20s cells %.4f EV rms, %+.4f EV; mean %+.4f EV", name, rms, mean, math.Log2(got.MeanLum/want.MeanLum))
	}
}
