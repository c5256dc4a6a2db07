package jpeg

import (
	"bytes"
	"image"
	"image/jpeg"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"stillspan/internal/bounded"
)

// fixtures are the JPEGs of testdata that the block reader reads.
func fixtures(t testing.TB) map[string][]byte {
	t.Helper()
	files, err := filepath.Glob("testdata/*.jpg")
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

// readBlocks decodes a copy of data.
func readBlocks(data []byte) (*Picture, error) {
	b := &Picture{MaxPixels: 1 << 28}
	buf := make([]byte, len(data), len(data)+Slack)
	copy(buf, data)
	return b, b.Decode(buf)
}

// planes are the components of a decoded JPEG as its own decoder gives them.
func planes(t *testing.T, img image.Image) []image.Gray {
	t.Helper()
	gray := func(pix []byte, stride, w, h int) image.Gray {
		return image.Gray{Pix: pix, Stride: stride, Rect: image.Rect(0, 0, w, h)}
	}
	w, h := img.Bounds().Dx(), img.Bounds().Dy()
	switch img := img.(type) {
	case *image.Gray:
		return []image.Gray{*img}
	case *image.YCbCr:
		full := image.NewYCbCr(image.Rect(0, 0, w, h), img.SubsampleRatio)
		cw, ch := full.CStride, len(full.Cb)/full.CStride
		return []image.Gray{gray(img.Y, img.YStride, w, h), gray(img.Cb, img.CStride, cw, ch), gray(img.Cr, img.CStride, cw, ch)}
	case *image.RGBA:
		var out []image.Gray
		for c := range 3 {
			g := image.NewGray(image.Rect(0, 0, w, h))
			for i := range g.Pix {
				g.Pix[i] = img.Pix[4*i+c]
			}
			out = append(out, *g)
		}
		return out
	}
	t.Fatalf("unexpected %T", img)
	return nil
}

// compareBlocks compares each whole block's mean with that of image/jpeg's
// decoded samples. Blocks with clipped samples are left out: decoding clips
// what the DC term still counts.
func compareBlocks(t *testing.T, b *Picture, img image.Image) (worst float64, compared int) {
	t.Helper()
	for i, plane := range planes(t, img) {
		p := &b.parts[i]
		for row := range plane.Rect.Dy() / 8 {
			for col := range plane.Rect.Dx() / 8 {
				sum, clipped := 0, false
				for y := range 8 {
					for x := range 8 {
						v := plane.Pix[(8*row+y)*plane.Stride+8*col+x]
						sum += int(v)
						clipped = clipped || v == 0 || v == 255
					}
				}
				if clipped {
					continue
				}
				got := float64(p.means[row*p.stride+col])/8 + 128
				worst = max(worst, math.Abs(got-float64(sum)/64))
				compared++
			}
		}
	}
	return worst, compared
}

// A block's DC term is the mean of its samples (ITU-T T.81, A.3.3), so Go's
// image/jpeg, which shares no code with the block reader, has to agree within
// half a code: its samples are rounded, all alike in an even block. It does
// not read progressive-restart.
func TestBlockMeansAgainstImageJPEG(t *testing.T) {
	for name, data := range fixtures(t) {
		b, err := readBlocks(data)
		if name == "arithmetic" {
			if err != ErrKind {
				t.Errorf("%s: error %v, want %v", name, err, ErrKind)
			}
			continue
		}
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if f := b.Damage(); f != nil || b.left() != 1 {
			t.Errorf("%s: a sound picture is called damaged: %+v, left %v", name, f, b.left())
		}
		if name == "progressive-restart" {
			same, err := readBlocks(fixtures(t)["progressive"])
			if err != nil || !slices.Equal(b.parts[0].means, same.parts[0].means) || !slices.Equal(b.parts[2].means, same.parts[2].means) {
				t.Errorf("%s differs from progressive (%v)", name, err)
			}
			continue
		}
		img, err := jpeg.Decode(bytes.NewReader(data))
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if b.rgb != (name == "rgb") {
			t.Errorf("%s: rgb is %v", name, b.rgb)
		}
		worst, compared := compareBlocks(t, b, img)
		if worst > 0.5 || compared < 300 {
			t.Errorf("%s: %d block means differ by up to %.3f codes, want 0.5", name, compared, worst)
		}
	}
}

// A file cut anywhere must be told as cut, with about as much left as the cut
// leaves; never as sound.
func TestTruncated(t *testing.T) {
	for name, data := range fixtures(t) {
		if name == "arithmetic" {
			continue
		}
		last := 1.0
		for _, share := range []float64{0.999, 0.9, 0.75, 0.5, 0.3} {
			cut := data[:int(share*float64(len(data)))]
			b, err := readBlocks(cut)
			if err != nil {
				continue // not a single scan begins: TestNoPicture's case
			}
			f := b.Damage()
			if f == nil || f.Kind != "truncated" {
				t.Errorf("%s cut to %.0f %%: %+v", name, 100*share, f)
				continue
			}
			if f.Left > last {
				t.Errorf("%s cut to %.0f %%: %.2f left, more than of a longer one", name, 100*share, f.Left)
			}
			last = f.Left
			// The tables at the file's head are of a picture this small a good
			// part, and the sky at the top costs less than the land below.
			if !b.progressive && name != "separate" && math.Abs(f.Left-share) > 0.25 {
				t.Errorf("%s cut to %.0f %%: %.2f left", name, 100*share, f.Left)
			}
		}
	}
}

// With restart markers, damage costs no more than the interval it is in
// (ITU-T T.81, F.2.1.3.1).
func TestDamagedInterval(t *testing.T) {
	data := bytes.Clone(fixtures(t)["restart-rows"])
	for i := len(data) / 2; i < len(data)/2+40; i++ {
		data[i] = 0x5a ^ byte(i*37)
	}
	b, err := readBlocks(data)
	if err != nil {
		t.Fatal(err)
	}
	f := b.Damage()
	if f == nil || f.Kind != "corrupt" {
		t.Fatalf("damage in the middle gives %+v", f)
	}
	// Ten rows of units; at most two of them may be lost.
	if f.Left < 0.8 || f.Left > 1 {
		t.Errorf("%.3f of the picture left, want 0.8 to 1", f.Left)
	}
}

// A copy that was interrupted is often of full length with zeros at its end.
func TestZeroFilled(t *testing.T) {
	for _, name := range []string{"420", "444", "grey", "restart-rows"} {
		data := bytes.Clone(fixtures(t)[name])
		clear(data[2*len(data)/3:])
		b, err := readBlocks(data)
		if err != nil {
			t.Fatal(err)
		}
		f := b.Damage()
		if f == nil || f.Left > 0.85 {
			t.Errorf("%s with zeros in its last third: %+v", name, f)
		}
	}
}

func TestNoPicture(t *testing.T) {
	sound := fixtures(t)["420"]
	for name, data := range map[string][]byte{
		"nothing":     nil,
		"text":        []byte("this is not a picture at all"),
		"only a head": sound[:200],
		"only ends":   {0xff, 0xd8, 0xff, 0xd9},
	} {
		if _, err := readBlocks(data); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

// A picture's stated size must not make memory: 65500 x 65500 in 200 bytes.
func TestSizeBomb(t *testing.T) {
	data := bytes.Clone(fixtures(t)["420"])
	at := bytes.Index(data, []byte{0xff, mSOF0})
	copy(data[at+5:], []byte{0xff, 0xdc, 0xff, 0xdc})
	if _, err := readBlocks(data); err == nil || !strings.Contains(err.Error(), "million pixels") {
		t.Errorf("error %v", err)
	}
}

func FuzzBlocks(f *testing.F) {
	for _, data := range fixtures(f) {
		f.Add(data)
		f.Add(data[:len(data)*2/3])
	}
	read := func(t *testing.T, data []byte) {
		b := &Picture{MaxPixels: 1 << 22}
		buf := make([]byte, len(data), len(data)+Slack)
		copy(buf, data)
		if b.Decode(buf) != nil {
			return
		}
		if left := b.left(); !(left >= 0 && left <= 1) {
			t.Fatalf("%v of the picture left", left)
		}
		if b.Damage() == nil && b.left() < 1 {
			t.Fatalf("%v of the picture left without a finding", b.left())
		}
		b.Image()
	}
	f.Fuzz(func(t *testing.T, data []byte) { bounded.Run(t, func() { read(t, data) }) })
}
