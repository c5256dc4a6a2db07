package measure

import (
	"encoding/binary"
	"hash/crc32"
	"math"
	"testing"

	"stillspan/deflicker"

	"stillspan/internal/bounded"
	"stillspan/internal/srgb"
)

// A kept code gives less than 0.001 EV of error from a code of 4 of 255 on,
// and comes back as itself the second time.
func TestWideCode(t *testing.T) {
	for i := range 20001 {
		v := float64(i) / 20000
		kept := float64(wideCode(v)) / 65535
		if v >= 4./255 && !(math.Abs(math.Log2(srgb.Decode(kept)/srgb.Decode(v))) < 0.001) {
			t.Errorf("%v comes back as %v", v, kept)
		}
		if wideCode(kept) != wideCode(v) {
			t.Fatalf("%v would drift", v)
		}
	}
	if wideCode(-1) != 0 || wideCode(2) != 65535 {
		t.Error("codes outside are not clamped")
	}
}

func TestEntry(t *testing.T) {
	k := key{1, 2, 3}
	g := &Grid{Grid: deflicker.Grid{W: 2, H: 1, Code: [3][]float64{{0, 1}, {0, 0.2}, {0, 0.4}}, Clip: []float64{1, 7. / 255}}, HighShare: 0.25, LowShare: 0.5, MeanLum: 0.125, Source: SourceReduced}
	f := &Finding{Kind: "truncated", Text: "the file ends", Try: "copy it again", Left: 0.75}
	for _, c := range []struct {
		g *Grid
		f *Finding
	}{{g, nil}, {g, f}, {nil, f}} {
		got, finding, ok := decodeEntry(encodeEntry(k, c.g, c.f), k)
		if !ok || (finding == nil) != (c.f == nil) || finding != nil && *finding != *c.f {
			t.Errorf("finding %+v comes back as %+v, %v", c.f, finding, ok)
		}
		if (got == nil) != (c.g == nil) {
			t.Errorf("grid %+v comes back as %+v", c.g, got)
		}
		if got != nil && (got.Code[0][1] != 1 || got.Code[2][1] != 0.4 || got.Clip[1] != 7./255 || got.HighShare != 0.25 || got.LowShare != 0.5 || got.MeanLum != 0.125 || got.Source != SourceReduced) {
			t.Errorf("grid %+v comes back as %+v", c.g, got)
		}
	}
	if _, _, ok := decodeEntry(encodeEntry(k, g, nil), key{9}); ok {
		t.Error("an entry of another key is taken")
	}
}

// Sizes whose products overflow to the bytes that are there are no picture's.
func TestEntryOfHugeSizes(t *testing.T) {
	k := key{1}
	g := &Grid{Grid: deflicker.Grid{W: 1, H: 1, Code: [3][]float64{{0.5}, {0.5}, {0.5}}, Clip: []float64{0}}, Source: SourceFull}
	entry := encodeEntry(k, g, nil)
	entry = entry[:len(entry)-4] // its checksum
	le := binary.LittleEndian
	sizes := entry[len(entry)-25:]
	for i, n := range []uint32{1, 1, math.MaxUint32, math.MaxUint32, 1 << 16, 1 << 15} {
		le.PutUint32(sizes[4*i:], n)
	}
	entry = append(entry, 0)
	entry = le.AppendUint32(entry, crc32.Checksum(entry, castagnoli))
	if _, _, ok := decodeEntry(entry, k); ok {
		t.Error("it was read")
	}
}

func FuzzEntry(f *testing.F) {
	k := key{1}
	f.Add(encodeEntry(k, &Grid{Grid: deflicker.Grid{W: 1, H: 1, Code: [3][]float64{{0.5}, {0.5}, {0.5}}, Clip: []float64{0}}, Source: SourceFull}, nil))
	f.Add(encodeEntry(k, nil, &Finding{Kind: "corrupt", Text: "text"}))
	f.Fuzz(func(t *testing.T, data []byte) {
		// With the right key and checksum, so that the rest is looked at.
		entry := append(k[:len(k):len(k)], data...)
		entry = binary.LittleEndian.AppendUint32(entry, crc32.Checksum(entry, castagnoli))
		bounded.Run(t, func() {
			if g, _, ok := decodeEntry(entry, k); ok && g != nil && (len(g.Code[0]) != g.W*g.H || len(g.Code[2]) != g.W*g.H || len(g.Clip) != g.W*g.H) {
				t.Errorf("%d x %d cells with %d and %d values", g.W, g.H, len(g.Code[0]), len(g.Clip))
			}
		})
	})
}
