package jpeg

import (
	"bytes"
	"fmt"
	"image/jpeg"
	"math"
	"os"
	"testing"
)

// Each block's samples are those of the inverse transform's lowest frequencies:
// from image/jpeg's samples by a cosine transform (T.81, A.3.3), cut, and one of
// the smaller size, both written down as they are defined.
func TestReduce(t *testing.T) {
	for name, data := range fixtures(t) {
		if name == "arithmetic" || name == "progressive-restart" {
			continue
		}
		img, err := jpeg.Decode(bytes.NewReader(data))
		if err != nil {
			t.Fatal(err)
		}
		for _, per := range []int{1, 2, 4} {
			b := &Picture{MaxPixels: 1 << 28}
			err := b.Reduce(append(make([]byte, 0, len(data)+Slack), data...), per)
			if name == "rgb" || name == "progressive" || name == "refined" {
				if err != ErrKind {
					t.Errorf("%s, %d: %v", name, per, err)
				}
				continue
			}
			if err != nil || b.Damage() != nil {
				t.Fatalf("%s, %d: %v, %v", name, per, err, b.Damage())
			}
			sum, n := 0.0, 0
			for i, plane := range planes(t, img) {
				pix, stride, w, h := b.Plane(i)
				if wantW, wantH := ceilDiv(plane.Rect.Dx()*per, 8), ceilDiv(plane.Rect.Dy()*per, 8); w != wantW || h != wantH {
					t.Errorf("%s, %d: plane %d is %dx%d, want %dx%d", name, per, i, w, h, wantW, wantH)
				}
				for row := range plane.Rect.Dy() / 8 {
					for col := range plane.Rect.Dx() / 8 {
						want, clipped := cut(plane.Pix[8*row*plane.Stride+8*col:], plane.Stride, per)
						if clipped {
							continue
						}
						for y := range per {
							for x := range per {
								got := float64(pix[(row*per+y)*stride+col*per+x]) / 256
								d := math.Abs(got - min(max(want[y*per+x], 0), 255))
								if sum, n = sum+d, n+1; d > 2 {
									t.Fatalf("%s, %d: plane %d, block %d,%d: sample %d,%d is %.2f, want %.2f", name, per, i, row, col, y, x, got, want[y*per+x])
								}
							}
						}
					}
				}
			}
			if n == 0 || sum/float64(n) > 0.3 {
				t.Errorf("%s, %d: %.3f codes off in the mean of %d samples", name, per, sum/float64(n), n)
			}
			t.Logf("%s, %d: %.3f", name, per, sum/float64(n))
		}
	}
}

// cut brings a block of 8 x 8 samples to per x per. clipped says that some are at
// an end of the codes, where the coded terms went beyond.
func cut(pix []byte, stride, per int) (out []float64, clipped bool) {
	a := func(u int) float64 {
		if u == 0 {
			return math.Sqrt(0.5)
		}
		return 1
	}
	cos := func(x, u, n int) float64 { return math.Cos(float64((2*x+1)*u) * math.Pi / float64(2*n)) }
	out = make([]float64, per*per)
	for v := range per {
		for u := range per {
			term := 0.0
			for y := range 8 {
				for x := range 8 {
					s := pix[y*stride+x]
					clipped = clipped || s == 0 || s == 255
					term += a(u) * a(v) / 4 * float64(s) * cos(x, u, 8) * cos(y, v, 8)
				}
			}
			for y := range per {
				for x := range per {
					out[y*per+x] += a(u) * a(v) * 2 / float64(per) * float64(per) / 8 * term * cos(x, u, per) * cos(y, v, per)
				}
			}
		}
	}
	return out, clipped
}

// BenchmarkReduce reads the JPEG that STILLSPAN_JPEG names.
func BenchmarkReduce(b *testing.B) {
	data, err := os.ReadFile(os.Getenv("STILLSPAN_JPEG"))
	if err != nil {
		b.Skip(err)
	}
	p := &Picture{MaxPixels: 1 << 28}
	buf := make([]byte, len(data), len(data)+Slack)
	for _, per := range []int{0, 1, 2, 4} {
		b.Run(fmt.Sprint(per), func(b *testing.B) {
			for b.Loop() {
				copy(buf, data)
				if per == 0 {
					err = p.Decode(buf)
				} else {
					err = p.Reduce(buf, per)
				}
				if err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
