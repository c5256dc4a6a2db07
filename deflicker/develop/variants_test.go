package develop_test

import (
	"bytes"
	"encoding/binary"
	"math"
	"math/bits"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"stillspan/deflicker/develop"
	"stillspan/ingest/format"
	"stillspan/internal/scene"
	"stillspan/internal/srgb"
)

// variant is one of the ways in which cameras write a sensor's codes into a DNG.
type variant struct {
	name     string
	bits     int
	black    [4]uint16 // of the 2 x 2 filters
	white    uint16
	border   [4]int // masked rows and columns: top, left, bottom, right; even
	lossless bool   // JPEG of ITU-T T.81, process 14
	order    binary.AppendByteOrder
}

// write makes a DNG of linear light, w x h behind red, green, green and blue filters.
// Masked pixels hold the black level.
func (v variant) write(light []float64, w, h int) []byte {
	W, H := w+v.border[1]+v.border[3], h+v.border[0]+v.border[2]
	codes := make([]uint16, W*H)
	for y := range H {
		for x := range W {
			black, l := float64(v.black[y&1<<1|x&1]), 0.0
			if at := (y-v.border[0])*w + x - v.border[1]; x >= v.border[1] && x < W-v.border[3] && y >= v.border[0] && y < H-v.border[2] {
				l = light[at]
			}
			codes[y*W+x] = uint16(math.Round(black + l*(float64(v.white)-black)))
		}
	}
	data, compression := v.pack(codes, W, H), uint32(1)
	if v.lossless {
		data, compression = losslessJPEG(codes, W, H, v.bits), 7
	}
	tags := []tag{
		{0xFE, 4, longs(0)}, {0x100, 4, longs(uint32(W))}, {0x101, 4, longs(uint32(H))}, {0x102, 3, longs(uint32(v.bits))},
		{0x103, 3, longs(compression)}, {0x106, 3, longs(32803)}, {0x10F, 2, longs('I', 'n', 'v', 0)}, {0x110, 2, longs('O', 'n', 'e', 0)},
		{0x111, 4, longs(0)}, {0x112, 3, longs(1)}, {0x115, 3, longs(1)}, {0x116, 4, longs(uint32(H))}, {0x117, 4, longs(uint32(len(data)))},
		{0x828D, 3, longs(2, 2)}, {0x828E, 1, longs(0, 1, 1, 2)}, {0xC612, 1, longs(1, 4, 0, 0)}, {0xC614, 2, longs('O', 'n', 'e', 0)},
		{0xC619, 3, longs(2, 2)}, {0xC61A, 3, longs(uint32(v.black[0]), uint32(v.black[1]), uint32(v.black[2]), uint32(v.black[3]))},
		{0xC61D, 4, longs(uint32(v.white))},
		{0xC621, 10, ratios(32406, -15372, -4986, -9689, 18758, 415, 557, -2040, 10570)}, {0xC628, 5, ratios(10000, 10000, 10000)},
		{0xC65A, 3, longs(21)}, {0xC68D, 4, longs(uint32(v.border[0]), uint32(v.border[1]), uint32(H-v.border[2]), uint32(W-v.border[3]))},
	}
	return tiff(tags, data, v.order)
}

// pack writes codes row by row, highest bit first unless they fill words (DNG 1.4,
// "BitsPerSample").
func (v variant) pack(codes []uint16, w, h int) (out []byte) {
	for y := range h {
		b := bitWriter{}
		for _, c := range codes[y*w : (y+1)*w] {
			if v.bits == 16 {
				out = v.order.AppendUint16(out, c)
			} else {
				b.put(uint32(c), v.bits)
			}
		}
		out = append(out, b.flush(0)...)
	}
	return out
}

type bitWriter struct {
	out []byte
	acc uint64
	n   int
}

func (b *bitWriter) put(v uint32, n int) {
	b.acc, b.n = b.acc<<n|uint64(v)&(1<<n-1), b.n+n
	for ; b.n >= 8; b.n -= 8 {
		b.out = append(b.out, byte(b.acc>>(b.n-8)))
	}
}

func (b *bitWriter) flush(fill uint32) []byte {
	if b.n > 0 {
		b.put(fill, 8-b.n)
	}
	return b.out
}

// losslessJPEG packs codes as DNG does: a frame of two components half as wide, the
// filters of a row by turns; predictor 1 (ITU-T T.81, annex H), and a Huffman table of
// 17 codes of five bits each.
func losslessJPEG(codes []uint16, w, h, depth int) []byte {
	out := []byte{0xFF, 0xD8, 0xFF, 0xC3, 0, 14, byte(depth), byte(h >> 8), byte(h), byte(w / 2 >> 8), byte(w / 2), 2, 0, 0x11, 0, 1, 0x11, 0}
	out = append(out, 0xFF, 0xC4, 0, 19+17, 0, 0, 0, 0, 0, 17, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0)
	for s := range 17 {
		out = append(out, byte(s))
	}
	out = append(out, 0xFF, 0xDA, 0, 10, 2, 0, 0, 1, 0, 1, 0, 0)
	b := bitWriter{}
	for i, c := range codes {
		x, y := i%w, i/w
		var guess uint16
		switch {
		case x >= 2:
			guess = codes[i-2]
		case y > 0:
			guess = codes[i-w]
		default:
			guess = 1 << (depth - 1)
		}
		d := int32(int16(c - guess))
		size := bits.Len32(uint32(max(d, -d)))
		b.put(uint32(size), 5)
		if size > 0 && size < 16 {
			if d < 0 {
				d--
			}
			b.put(uint32(d), size)
		}
	}
	out = append(out, bytes.ReplaceAll(b.flush(0xFF), []byte{0xFF}, []byte{0xFF, 0})...)
	return append(out, 0xFF, 0xD9)
}

// tag is an entry of a TIFF directory: its number, type and values, two for a ratio.
type tag struct {
	id, kind uint16
	values   []uint32
}

func longs(v ...uint32) []uint32 { return v }

func ratios(v ...int32) (out []uint32) {
	for _, n := range v {
		out = append(out, uint32(n), 10000)
	}
	return out
}

// tiff writes one directory, what is too long for it, and data as its only strip.
func tiff(tags []tag, data []byte, order binary.AppendByteOrder) []byte {
	put := order.(binary.ByteOrder)
	out := order.AppendUint32(order.AppendUint16([]byte(map[bool]string{true: "MM", false: "II"}[put.Uint16([]byte{0, 1}) == 1]), 42), 8)
	end := uint32(8 + 2 + 12*len(tags) + 4)
	var more []byte
	out = order.AppendUint16(out, uint16(len(tags)))
	strip := 0
	for _, t := range tags {
		var body []byte
		for _, v := range t.values {
			switch t.kind {
			case 1, 2:
				body = append(body, byte(v))
			case 3:
				body = order.AppendUint16(body, uint16(v))
			default:
				body = order.AppendUint32(body, v)
			}
		}
		n := len(t.values)
		if t.kind == 5 || t.kind == 10 {
			n /= 2
		}
		out = order.AppendUint32(order.AppendUint16(order.AppendUint16(out, t.id), t.kind), uint32(n))
		if t.id == 0x111 {
			strip = len(out)
		}
		if len(body) > 4 {
			out = order.AppendUint32(out, end+uint32(len(more)))
			more = append(more, body...)
			more = append(more, make([]byte, len(more)&1)...)
			continue
		}
		out = append(out, append(body, make([]byte, 4-len(body))...)...)
	}
	out = append(order.AppendUint32(out, 0), more...)
	put.PutUint32(out[strip:], uint32(len(out)))
	return append(out, data...)
}

// One scene, written in the ways that cameras write it, comes out of each the same, as
// far as the bits go: black levels taken off, masked borders cut off, codes unpacked.
// There are no raw files of cameras, whole and free, to be had for this.
func TestVariants(t *testing.T) {
	if !develop.Available() {
		t.Skip("LibRaw's tools are not installed (Debian: libraw-bin)")
	}
	const w, h = 192, 128
	img := scene.New(scene.Options{Width: w, Height: h, Frames: 1, Seed: 5}).Frame(0)
	light := make([]float64, w*h)
	for i := range light {
		c := img.RGBAAt(i%w, i/w)
		code := [2][2]uint8{{c.R, c.G}, {c.G, c.B}}[i/w&1][i%w&1]
		light[i] = srgb.Decode(float64(code) / 255)
	}
	le, be := binary.AppendByteOrder(binary.LittleEndian), binary.AppendByteOrder(binary.BigEndian)
	four := [4]uint16{512, 514, 511, 509}
	var want []byte
	for _, v := range []variant{
		{name: "plain", bits: 16, white: 65535, order: le},
		{name: "14 bits in words", bits: 16, white: 15000, black: [4]uint16{1024, 1024, 1024, 1024}, order: be},
		{name: "14 bits packed", bits: 14, white: 16383, black: four, order: le},
		{name: "12 bits packed", bits: 12, white: 4095, black: [4]uint16{128, 128, 128, 128}, order: be},
		{name: "14 bits lossless JPEG", bits: 14, white: 15892, black: four, lossless: true, order: le},
		{name: "12 bits lossless JPEG", bits: 12, white: 4000, lossless: true, order: be},
		{name: "masked borders", bits: 14, white: 16000, black: four, border: [4]int{18, 40, 6, 10}, order: le},
		{name: "masked borders, lossless JPEG", bits: 14, white: 16000, black: four, border: [4]int{18, 40, 6, 10}, lossless: true, order: be},
	} {
		t.Run(v.name, func(t *testing.T) {
			data := v.write(light, w, h)
			name := filepath.Join(t.TempDir(), "a.dng")
			if err := os.WriteFile(name, data, 0o666); err != nil {
				t.Fatal(err)
			}
			facts, err := format.Read(bytes.NewReader(data), int64(len(data)))
			if err != nil || facts.Format != "dng" || !facts.Raw || facts.Model != "One" {
				t.Fatalf("%+v, %v", facts, err)
			}
			damaged := bytes.Clone(data)
			copy(damaged[len(data)/2:], data[len(data)/4:][:5000])
			for _, c := range [][]byte{data, damaged} {
				d := format.Walk(bytes.NewReader(c), int64(len(c)), &facts)
				if want := v.lossless && !bytes.Equal(c, data); (d != nil) != want {
					t.Errorf("damage told: %+v, damaged: %v", d, want)
				}
			}
			s, err := develop.Identify(t.Context(), name)
			if err != nil || s.W != w || s.H != h {
				t.Fatalf("%+v, %v", s, err)
			}
			ppm, err := s.PPM(t.Context(), name)
			if err != nil {
				t.Fatal(err)
			}
			got := slices.Clone(ppm[len(ppm)-6*w*h:])
			if want == nil {
				want = got
				return
			}
			// 12 bits are steps of 0.0003 in light, of which the curve's foot makes 13
			// times as much; interpolation may turn another way at single pixels.
			sum, far := 0.0, 0
			for i := 0; i < len(got); i += 2 {
				d := math.Abs(float64(binary.BigEndian.Uint16(got[i:]))-float64(binary.BigEndian.Uint16(want[i:]))) / 257
				if sum += d; d > 2 {
					far++
				}
			}
			mean := sum / float64(len(got)/2)
			share := float64(far) / float64(len(got)/2)
			t.Logf("off by %.3f of 255 on the mean, by more than 2 in %.2f %%", mean, 100*share)
			if mean > 0.1 || share > 0.005 {
				t.Errorf("codes are off by %.3f on the mean, by more than 2 in %.2f %%", mean, 100*share)
			}
		})
	}
}
